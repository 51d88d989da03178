package cli

import (
	"bufio"
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"kartwright/advisor"
	"kartwright/advisor/journal"
	"kartwright/advisor/learn"
	"kartwright/advisor/profile"
	"kartwright/geometry/adjust"
	"kartwright/rules"
)

// pastFlags say which journal advice looks at.
type pastFlags struct {
	journal     string
	none        bool
	fromProfile bool
}

func (f *pastFlags) add(cmd *cobra.Command) {
	fl := cmd.Flags()
	fl.StringVar(&f.journal, "journal", "", "the journal's `FILE`; if not given, $KARTWRIGHT_JOURNAL or the one in your data folder, if there is one")
	fl.BoolVar(&f.none, "no-journal", false, "leave the journal out: nothing is known of earlier days")
}

func (f *pastFlags) addProfile(cmd *cobra.Command) {
	cmd.Flags().BoolVar(&f.fromProfile, "from-profile", false, "start from the setting in the profile, not from where the kart stands by the journal")
}

// A past is what a journal knows that matters to advice. A nil past knows
// nothing.
type past struct {
	setting *journal.Setting // by which the kart stands; nil: as in the profile
	note    string           // why the setting of the journal is left alone, or what it lacks
	learned map[string]learn.Record
	tries   []journal.Try
	moved   string // what was moved down from the first place, and why
}

// hasJournal says where the journal is, "" if there is none.
func (a *app) hasJournal(f pastFlags) (string, error) {
	if f.none {
		if f.journal != "" || f.fromProfile {
			return "", usagef("--no-journal leaves nothing for --journal and --from-profile to say")
		}
		return "", nil
	}
	path := cmp.Or(f.journal, a.Getenv("KARTWRIGHT_JOURNAL"))
	if path == "" {
		var err error
		if path, err = journal.DefaultPath(a.Getenv, runtime.GOOS); err != nil {
			return "", nil // nowhere to look is nothing there
		}
	}
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		if f.journal != "" {
			return "", fmt.Errorf("the journal %s does not exist; check the name, or begin it with 'kartwright log add' or 'advise --log'", path)
		}
		return "", nil
	}
	return path, nil
}

// lookBack reads what the journal knows of the kart, and at a terminal asks
// first what became of advice. Without a journal it returns nil and makes none.
func (a *app) lookBack(f pastFlags, k *profile.Kart) (p *past, err error) {
	path, err := a.hasJournal(f)
	if err != nil || path == "" {
		return nil, err
	}
	ctx := context.Background()
	j, err := journal.Open(ctx, path, journal.Options{Now: a.Now})
	if err != nil {
		return nil, fmt.Errorf("%w; --no-journal does without", err)
	}
	defer func() { err = errors.Join(err, j.Close()) }()
	if err := a.askPending(ctx, j, k); err != nil {
		return nil, err
	}
	p = &past{}
	if p.learned, err = j.Learned(ctx, k.Name); err != nil {
		return nil, err
	}
	if p.tries, err = j.Tries(ctx, k.Name, triesShown); err != nil {
		return nil, err
	}
	if !f.fromProfile {
		if p.setting, err = j.LatestSetting(ctx, k.Name); err != nil {
			return nil, err
		}
	}
	return p, nil
}

// learnedOf reads what the journal knows of the rules, for the kart that is
// named; nothing if there is no journal.
func (a *app) learnedOf(f pastFlags, kart string) (*past, error) {
	if path, err := a.hasJournal(f); err != nil || path == "" {
		return nil, err
	}
	k, _, err := a.loadKart(kart)
	if err != nil {
		return nil, err
	}
	return a.lookBack(f, k)
}

// stands returns the kart as it stands by the journal.
func (p *past) stands(k *profile.Kart) *profile.Kart {
	if p == nil || p.setting == nil {
		return k
	}
	set, notes, err := p.setting.On(k)
	if err != nil {
		p.note = fmt.Sprintf("the setting of %s in the journal is left alone, and the kart taken to stand as in its profile: %v", localTime(p.setting.At), err)
		p.setting = nil
		return k
	}
	p.note = strings.Join(notes, "; ")
	return standing(k, set)
}

// standing returns the kart at another setting.
func standing(k *profile.Kart, set [2]adjust.Setting) *profile.Kart {
	other := *k
	other.Present = set
	return &other
}

// teach returns the rules with what was learned of them.
func (p *past) teach(set *rules.Set) *rules.Set {
	if p == nil || len(p.learned) == 0 {
		return set
	}
	return set.WithLearned(journal.Factors(set, p.learned))
}

// record says how often a rule helped, "" if it was never tried.
func (p *past) record(rule string) string {
	if p != nil {
		if r, ok := p.learned[rule]; ok {
			return r.String()
		}
	}
	return ""
}

// because is the first reason, with how often its rule helped.
func (p *past) because(fired []rules.Firing) string {
	text := sentence(firstReason(fired))
	if len(fired) > 0 {
		if r := p.record(fired[0].Rule.ID); r != "" {
			text += " (" + r + ")"
		}
	}
	return text
}

// triedJSON is what came of the same change under the same conditions.
type triedJSON struct {
	Times  int     `json:"times"`
	Helped float64 `json:"helped" jsonschema_description:"how many of them it helped; undecided ones are parts of one"`
	Failed bool    `json:"failed" jsonschema_description:"it helped less often than not"`
	Last   string  `json:"last" jsonschema_description:"day of the latest"`
	Advice string  `json:"last_advice_id"`
	Text   string  `json:"text"`
}

// tried returns what came of a change under the conditions of the request, nil
// if it was never tried under them.
func (p *past) tried(s *advisor.Suggestion, r advisor.Request) *triedJSON {
	if p == nil {
		return nil
	}
	voc := r.Rules.Vocabulary()
	var symptoms []string
	for _, x := range r.Facts.Symptoms {
		symptoms = append(symptoms, x.String())
	}
	now := conditions(voc, r.Facts)
	var out *triedJSON
	for _, t := range p.tries { // latest first
		if t.Move != s.Move.ID || t.Direction != direction(s.Verdict.Direction) || !t.Same(voc, symptoms, now) {
			continue
		}
		if out == nil {
			out = &triedJSON{Last: localTime(t.At)[:len(time.DateOnly)], Advice: string(t.Advice)}
		}
		out.Times++
		out.Helped += t.Helped
	}
	if out == nil {
		return nil
	}
	out.Helped = round(out.Helped)
	out.Failed = out.Helped < 0.5*float64(out.Times)
	switch {
	case out.Times > 1:
		out.Text = fmt.Sprintf("tried %d times under such conditions, the last time on %s: it helped %s of %d times", out.Times, out.Last, strconv.FormatFloat(out.Helped, 'f', -1, 64), out.Times)
	case out.Failed:
		out.Text = fmt.Sprintf("tried on %s under such conditions: it did not help", out.Last)
	case out.Helped == 1:
		out.Text = fmt.Sprintf("tried on %s under such conditions: it helped", out.Last)
	default:
		out.Text = fmt.Sprintf("tried on %s under such conditions: it helped in part", out.Last)
	}
	return out
}

// demote moves a change that failed before down from the first place.
func (p *past) demote(adv *advisor.Advice) {
	if p == nil || len(p.tries) == 0 || adv.First == nil {
		return
	}
	was := *adv.First
	if adv.Demote(func(s *advisor.Suggestion) bool { t := p.tried(s, adv.Request); return t != nil && t.Failed }) {
		p.moved = fmt.Sprintf("%s would come first by the rules, but it was %s", was.Title(), p.tried(&was, adv.Request).Text)
	}
}

// about says what the journal knows of the first change.
func (p *past) about(s *advisor.Suggestion, adv *advisor.Advice) (out []string) {
	if p == nil {
		return nil
	}
	if p.moved != "" {
		out = append(out, p.moved)
	}
	if t := p.tried(s, adv.Request); t != nil {
		out = append(out, t.Text)
	}
	return out
}

// standsJSON says where advice starts from.
type standsJSON struct {
	Setting string `json:"setting_id" jsonschema_description:"of the journal, by which the kart stands; empty: as its profile has it"`
	At      string `json:"at,omitempty"`
	Note    string `json:"note,omitempty" jsonschema_description:"what the journal lacks, or why its setting was left alone"`
}

// view puts what the journal knows into the JSON form of advice.
func (p *past) view(out *adviceJSON, adv *advisor.Advice) {
	if p == nil {
		return
	}
	out.Stands = &standsJSON{Note: p.note}
	if p.setting != nil {
		out.Stands.Setting, out.Stands.At = string(p.setting.ID), p.setting.At.Format(time.RFC3339)
	}
	out.MovedDown = p.moved
	suggestion := func(v *suggestionJSON, s *advisor.Suggestion) {
		v.Tried = p.tried(s, adv.Request)
		for _, list := range [][]reasonJSON{v.Why, v.Against, v.Leave} {
			p.viewReasons(list)
		}
	}
	if out.First != nil {
		suggestion(out.First, adv.First)
	}
	for i := range out.Alternatives {
		suggestion(out.Alternatives[i], &adv.Alternatives[i])
	}
	for _, list := range [][]verdictJSON{out.Undecided, out.Verdicts} {
		for _, v := range list {
			p.viewReasons(v.Rules)
		}
	}
	for i, acc := range out.Trace {
		out.Trace[i].Record = p.record(acc.Rule)
	}
}

func (p *past) viewReasons(list []reasonJSON) {
	if p == nil {
		return
	}
	for i, r := range list {
		list[i].Record = p.record(r.Rule)
	}
}

// logAdvice records advice with its trace and says how. The kart's setting is
// recorded with it where the journal does not have it.
func (a *app) logAdvice(f pastFlags, k *profile.Kart, p *past, out adviceJSON) (adv *journal.Advice, began string, err error) {
	j, err := a.openJournal(f.journal)
	if err != nil {
		return nil, "", err
	}
	defer func() { err = errors.Join(err, j.Close()) }()
	ctx, at := context.Background(), a.Now()
	if p == nil || p.setting == nil {
		s, err := journal.SettingOf(k, k.Present)
		if err != nil {
			return nil, "", err
		}
		s.At, s.Note = at, "as in the profile"
		if err := j.Add(ctx, s); err != nil {
			return nil, "", err
		}
	}
	var text bytes.Buffer
	if err := json.NewEncoder(&text).Encode(out); err != nil {
		return nil, "", err
	}
	if adv, err = j.RecordAdvice(ctx, at, text.Bytes()); err != nil {
		return nil, "", err
	}
	if j.Created {
		began = j.Path
	}
	return adv, began, nil
}

// pendingDays is how long advice is asked about by itself.
const pendingDays = 14

// talks reports whether somebody reads what is asked and what is answered.
func (a *app) talks() bool {
	f, ok := a.Out.(*os.File)
	return a.Ask && !a.json && (!ok || term.IsTerminal(int(f.Fd())))
}

// askPending asks at a terminal what became of the latest advice that nobody
// has spoken about.
func (a *app) askPending(ctx context.Context, j *journal.Journal, k *profile.Kart) error {
	if !a.talks() {
		return nil
	}
	waiting, err := j.Pending(ctx, k.Name, a.Now().AddDate(0, 0, -pendingDays))
	if err != nil || len(waiting) == 0 {
		return err
	}
	in := bufio.NewReader(a.In)
	a.In = in
	adv := waiting[0]
	var said []string
	for _, s := range adv.Symptoms {
		said = append(said, sayReading(s))
	}
	fmt.Fprintf(a.Err, "How was it after %s, advised for %s (%s)?\n", adv.Title, strings.Join(said, ", "), localTime(adv.At))
	for {
		fmt.Fprint(a.Err, "  better, same, worse, or not tried? (Enter: later) ")
		line, err := in.ReadString('\n')
		word := strings.ToLower(strings.TrimSpace(line))
		switch {
		case slices.Contains(verdictWords, word):
			out := &journal.Outcome{Header: journal.Header{At: a.Now(), Kart: k.Name}, Advice: adv.ID, Followed: true}
			if err := a.verdicts(adv, logOutcomeOptions{verdict: word}, out); err != nil {
				return err
			}
			if err := out.Judge(); err != nil {
				return err
			}
			_, notes, err := addOutcome(ctx, j, k, adv, out, "")
			for _, n := range notes {
				fmt.Fprintf(a.Err, "  %s\n", sentence(n))
			}
			return err
		case word == "not tried":
			return j.Add(ctx, &journal.Strike{Header: journal.Header{Kart: k.Name}, Of: adv.ID, Why: "not tried"})
		case word == "" || err != nil:
			return nil
		}
	}
}
