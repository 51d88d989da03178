package testday

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"kartwright/advisor"
	"kartwright/advisor/profile"
)

// Wish says what day is wanted, in the words of whoever plans it. Numbers and
// words are checked by NewPlan.
type Wish struct {
	Changes       []Change
	Track, Driver string
	Runs          int     // that there is time for
	TyreSets      int     // used up one after the other
	Gap           float64 // minutes between two runs; 0 if not said
	Smallest      float64 // the effect that matters, seconds; 0 if not said
	Spread        Spread  // see SpreadOf
	Trend, Figure string  // as ParseTrend and ParseFigure read them
	Minutes       []string
	Order         string // one's own, as ParseOrder reads it; "" to have it found
	Pick          int    // number of the plan to take, from 1; 0 for the best
}

// Plan is a day that has been planned, and what it was chosen from.
type Plan struct {
	Day     *Day
	Work    *Work
	Request Request
	Options []Option // least work first
	Chosen  int      // place among them
}

// Option is the one that was taken.
func (p *Plan) Option() *Option { return &p.Options[p.Chosen] }

// NewPlan plans a day. kart is asked for the kart as it stands, and for its name
// as the day file is to keep it, if a change needs one. What is wrong with the
// wish itself is a *FieldError.
func NewPlan(w Wish, kart func() (*profile.Kart, string, error)) (*Plan, error) {
	d := &Day{Track: w.Track, Driver: w.Driver, Smallest: w.Smallest, Gap: w.Gap, Changes: w.Changes, Spread: w.Spread}
	for _, n := range []struct {
		field string
		value float64
		most  float64
	}{{"smallest", w.Smallest, mostSmallest}, {"gap", w.Gap, mostGap}} {
		if !(n.value >= 0 && n.value <= n.most) {
			return nil, fieldf(n.field, "it is %g, expected 0 to %g", n.value, n.most)
		}
	}
	if w.TyreSets < 1 {
		return nil, fieldf("tyre-sets", "it is %d, expected 1 or more", w.TyreSets)
	}
	var err error
	if d.Rates, err = ParseRates(w.Minutes); err != nil {
		return nil, &FieldError{"minutes", err}
	}
	if d.Trend, err = ParseTrend(w.Trend); err != nil {
		return nil, &FieldError{"trend", err}
	}
	if d.Figure, err = ParseFigure(w.Figure); err != nil {
		return nil, &FieldError{"figure", err}
	}
	for i, c := range d.Changes {
		for _, before := range d.Changes[:i] {
			if c.Name == before.Name {
				return nil, fieldf("change", "two changes are called %q; give one of them another name", c.Name)
			}
		}
	}
	var k *profile.Kart
	if d.NeedsKart() {
		if k, d.Kart, err = kart(); err != nil {
			return nil, err
		}
		d.Base = BaseOf(k, k.Present)
	}
	p := &Plan{Day: d}
	if p.Work, err = d.Work(k); err != nil {
		return nil, err
	}
	p.Request = d.Request(p.Work, w.Runs, w.TyreSets)
	if w.Order != "" {
		order, err := ParseOrder(w.Order, len(d.Changes))
		if err != nil {
			return nil, &FieldError{"order", err}
		}
		own, err := Given(p.Request, order)
		if err != nil {
			return nil, err
		}
		p.Options = []Option{own}
	} else {
		if p.Options, p.Chosen, err = Options(p.Request); err != nil {
			return nil, err
		}
		if w.Pick != 0 {
			if w.Pick < 1 || w.Pick > len(p.Options) {
				return nil, fieldf("pick", "there is no plan %d; there are plans 1 to %d", w.Pick, len(p.Options))
			}
			p.Chosen = w.Pick - 1
		}
	}
	d.Plan, d.Runs = p.Option().Name, p.Option().Runs(w.TyreSets)
	return p, nil
}

// ParseRates reads spanner times, each PART=MINUTES, into the usual ones.
func ParseRates(list []string) (Rates, error) {
	r := UsualRates.clone()
	for _, text := range list {
		name, value, ok := strings.Cut(text, "=")
		m, err := strconv.ParseFloat(strings.TrimSpace(value), 64)
		if !ok || err != nil {
			return r, fmt.Errorf("%q: write PART=MINUTES, for example screw=3", text)
		}
		if err := r.Set(strings.TrimSpace(name), m); err != nil {
			return r, err
		}
	}
	return r, nil
}

// EarlierDay is a day whose runs tell how far runs differ by themselves.
type EarlierDay struct {
	Name string // of its file, for errors
	Day  *Day
}

// SpreadOf is the spread between runs as somebody states it, or as earlier days
// tell it; with neither it is assumed. What is wrong is a *FieldError, except
// with the days themselves.
func SpreadOf(sd float64, df int, earlier []EarlierDay) (Spread, error) {
	s := Spread{SD: UsualSpread}
	switch {
	case sd == 0 && df != 0:
		return s, fieldf("spread-df", "it says how well the spread is known; give the spread too")
	case sd != 0 && len(earlier) > 0:
		return s, fieldf("spread", "give either the spread or earlier days, not both")
	case !(sd >= 0 && sd <= 5) || df < 0:
		return s, fieldf("spread", "it is %g s from %d spare runs; expected a time between 0 and 5 s and no negative count", sd, df)
	case sd > 0:
		return Spread{SD: sd, DF: df}, nil
	case len(earlier) == 0:
		return s, nil
	}
	var days []*Verdict
	for _, e := range earlier {
		own := *e.Day
		own.Spread.DF = 0 // its own runs only: nothing counts twice
		v, err := own.Judge()
		if err != nil {
			return s, fmt.Errorf("%s: %w", e.Name, err)
		}
		days = append(days, v)
	}
	if s = Pool(days...); s.DF == 0 {
		return s, errors.New("the earlier days have no run to spare, so they do not tell the spread; leave them out")
	}
	return s, nil
}

// Advised takes the first so many changes of advice, each with the advice as it
// would be had that change come first.
func Advised(adv *advisor.Advice, take int) ([]Change, []*advisor.Advice, error) {
	if adv.First == nil {
		return nil, nil, fmt.Errorf("there is no change to take from the advice (%s)", adv.Status)
	}
	all := append([]advisor.Suggestion{*adv.First}, adv.Alternatives...)
	var changes []Change
	var advice []*advisor.Advice
	for i := range all[:min(len(all), max(0, take))] {
		own := *adv
		own.First, own.Alternatives = &all[i], append(append([]advisor.Suggestion(nil), all[:i]...), all[i+1:]...)
		changes, advice = append(changes, Suggested(&all[i])), append(advice, &own)
	}
	return changes, advice, nil
}
