package cli

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"kartwright/advisor"
	"kartwright/advisor/complaint"
	"kartwright/advisor/journal"
	"kartwright/advisor/profile"
	"kartwright/cmd/kartwright/internal/web"
	"kartwright/rules"
)

// pageLog is the journal as the page uses it. Each request opens it anew, as the
// commands do, so that both may be used at the same time.
type pageLog struct {
	a    *app // that never asks: there is nobody at its terminal
	from pastFlags
}

// pageLog returns the page's log, nil if the flags leave the journal out.
func (a *app) pageLog(f pastFlags) web.Log {
	if f.none {
		return nil
	}
	quiet := &app{App: a.App, json: a.json, units: a.units}
	quiet.Ask = false
	return pageLog{quiet, f}
}

func (l pageLog) Past(k *profile.Kart, set *rules.Set) (*web.Past, error) {
	p, err := l.a.lookBack(l.from, k)
	if err != nil || p == nil {
		return nil, err
	}
	out := &web.Past{Kart: p.stands(k), Rules: p.teach(set), Note: p.note, Demote: p.demote, About: p.about, Record: p.record}
	if p.setting != nil {
		out.Since = localTime(p.setting.At)
	}
	return out, nil
}

func (l pageLog) Keep(k *profile.Kart, adv *advisor.Advice, heard *complaint.Report, accounts []rules.Account) (string, error) {
	var plan *advisor.Plan
	if adv.First != nil {
		plan = adv.First.Plan
	}
	sure, _, err := l.a.sureness(plan, 0)
	if err != nil {
		return "", err
	}
	p, err := l.a.lookBack(l.from, k)
	if err != nil {
		return "", err
	}
	p.stands(k)
	view := viewAdvice(adv, heard, sure, nil, accounts, l.a.units)
	p.view(&view, adv)
	logged, _, err := l.a.logAdvice(l.from, k, p, view)
	if err != nil {
		return "", fmt.Errorf("the advice was not logged: %w", err)
	}
	return logged.ID.Short(), nil
}

// with opens the journal if there is one and does something with it.
func (l pageLog) with(do func(context.Context, *journal.Journal) error) error {
	path, err := l.a.hasJournal(l.from)
	if err != nil || path == "" {
		return err
	}
	ctx := context.Background()
	j, err := journal.Open(ctx, path, journal.Options{Now: l.a.Now})
	if err != nil {
		return err
	}
	return errors.Join(do(ctx, j), j.Close())
}

func (l pageLog) entry(r journal.Record) web.Entry {
	h := r.Head()
	return web.Entry{ID: string(h.ID), Kind: string(h.Kind), When: localTime(h.At), Text: l.a.summary(r)}
}

func (l pageLog) Waiting(k *profile.Kart) (out []web.Entry, err error) {
	err = l.with(func(ctx context.Context, j *journal.Journal) error {
		list, err := j.Pending(ctx, k.Name, l.a.Now().AddDate(0, 0, -pendingDays))
		for _, adv := range list {
			out = append(out, l.entry(adv))
		}
		return err
	})
	return out, err
}

func (l pageLog) Entries(k *profile.Kart, limit int) (out []web.Entry, err error) {
	err = l.with(func(ctx context.Context, j *journal.Journal) error {
		list, err := j.Recent(ctx, journal.Filter{Kart: k.Name, Limit: limit})
		for _, r := range list {
			e := l.entry(r)
			if s, ok := r.(*journal.Setting); ok {
				if at, _, err := s.On(k); err == nil { // otherwise it is of another kart of that name
					e.Setting = &at
				}
			}
			out = append(out, e)
		}
		return err
	})
	return out, err
}

func (l pageLog) Judge(k *profile.Kart, id, verdict string) (notes []string, err error) {
	err = fmt.Errorf("there is no journal yet")
	if jerr := l.with(func(ctx context.Context, j *journal.Journal) error {
		var adv *journal.Advice
		if adv, err = findAdvice(ctx, j, k.Name, id); err != nil {
			return nil
		}
		if verdict == "not tried" {
			err = j.Add(ctx, &journal.Strike{Header: journal.Header{Kart: k.Name}, Of: adv.ID, Why: verdict})
			return nil
		}
		if !slices.Contains(verdictWords, verdict) {
			err = fmt.Errorf("say better, same, worse or not tried, not %q", verdict)
			return nil
		}
		out := &journal.Outcome{Header: journal.Header{At: l.a.Now().UTC().Truncate(time.Millisecond), Kart: k.Name}, Advice: adv.ID, Followed: true}
		if err = l.a.verdicts(adv, logOutcomeOptions{verdict: verdict}, out); err != nil {
			return nil
		}
		if err = out.Judge(); err != nil {
			return nil
		}
		_, notes, err = addOutcome(ctx, j, k, adv, out, "")
		return nil
	}); jerr != nil {
		return nil, jerr
	}
	return notes, err
}
