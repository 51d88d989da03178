package advisor

import (
	"fmt"
	"math"

	"kartwright/advisor/profile"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
	"kartwright/geometry/loads"
	"kartwright/rules"
)

// A Claim is a physical effect that a rule relies on, held against a kart.
type Claim struct {
	Rule   *rules.Rule
	Effect string
	Holds  bool
	Text   string  // what was computed: "the inner rear wheel carries 0.31 kg less"
	Change float64 // of the quantity, in Unit, + = more of it
	Unit   string
}

// claimed says of the first word of each pair of effects what is computed for
// it: a quantity that grows with the effect, and how to say a change of it.
var claimed = map[string]struct {
	of         func(InBend, [2]frontend.Figures) float64
	unit       string
	more, less string // sentences with room for the size of the change
}{
	"more inner-rear lift":      {func(b InBend, _ [2]frontend.Figures) float64 { return -float64(b.Down) / loads.G }, "kg", "%.2f kg are taken off the inner rear wheel", "%.2f kg are put on the inner rear wheel"},
	"more outer-rear load":      {func(b InBend, _ [2]frontend.Figures) float64 { return float64(b.OuterRear) / loads.G }, "kg", "%.2f kg are put on the outer rear wheel", "%.2f kg are taken off the outer rear wheel"},
	"more inner-front load":     {func(b InBend, _ [2]frontend.Figures) float64 { return float64(b.InnerFront) / loads.G }, "kg", "%.2f kg are put on the inner front wheel", "%.2f kg are taken off the inner front wheel"},
	"more outer-front load":     {func(b InBend, _ [2]frontend.Figures) float64 { return float64(b.OuterFront) / loads.G }, "kg", "%.2f kg are put on the outer front wheel", "%.2f kg are taken off the outer front wheel"},
	"more front camber at lock": {func(b InBend, _ [2]frontend.Figures) float64 { return -b.OuterCamber.Degrees() }, "deg", "the outer front wheel leans in by %.2f° more", "the outer front wheel leans in by %.2f° less"},
	"more inner-wheel angle":    {func(b InBend, _ [2]frontend.Figures) float64 { return b.InnerSteer.Degrees() }, "deg", "the inner front wheel is steered %.2f° further", "the inner front wheel is steered %.2f° less"},
	"more trail":                {func(_ InBend, f [2]frontend.Figures) float64 { return float64(f[0].Trail+f[1].Trail) / 2 }, "mm", "the trail grows by %.2f mm", "the trail shrinks by %.2f mm"},
	"heavier steering":          {func(b InBend, _ [2]frontend.Figures) float64 { return float64(b.Effort) }, "N·m", "holding the steering takes %.2f N·m more", "holding the steering takes %.2f N·m less"},
}

// Claims computes on a kart what each effect that the rule relies on does when
// its votes are carried out: by the kart's own adjusters where it has them,
// otherwise as if it had.
func Claims(k *profile.Kart, r *rules.Rule, vocabulary rules.Vocabulary, b Bend) ([]Claim, error) {
	if len(r.Effects) == 0 {
		return nil, nil
	}
	now, err := Standing(k)
	if err != nil {
		return nil, err
	}
	then := now
	for _, v := range r.Votes {
		if then, err = voted(k, then, v, vocabulary); err != nil {
			return nil, err
		}
	}
	column := now.Column(b.Steer)
	var at [2]state
	for i, v := range []*Variant{now, then} {
		if at[i].bend, err = v.InBend(column, b.Ay); err != nil {
			return nil, err
		}
		if at[i].figures, err = v.Figures(); err != nil {
			return nil, err
		}
	}
	var out []Claim
	for _, e := range r.Effects {
		c, ok := holds(e, at)
		if !ok {
			return nil, fmt.Errorf("nothing is computed for the effect %q", e)
		}
		c.Rule = r
		out = append(out, c)
	}
	return out, nil
}

// state is what effects are read from.
type state struct {
	bend    [2]InBend
	figures [2]frontend.Figures
}

// holds holds an effect against the kart before and after, the mean of both
// turns; ok is false for a word that nothing is computed for.
func holds(effect string, at [2]state) (c Claim, ok bool) {
	first, direction := rules.EffectDirection(effect)
	q, ok := claimed[first]
	if !ok {
		return Claim{}, false
	}
	mean := func(s state) float64 { return (q.of(s.bend[0], s.figures) + q.of(s.bend[1], s.figures)) / 2 }
	c = Claim{Effect: effect, Change: mean(at[1]) - mean(at[0]), Unit: q.unit}
	c.Holds = c.Change*float64(direction) > 1e-6
	text := q.more
	if c.Change < 0 {
		text = q.less
	}
	c.Text = fmt.Sprintf(text, math.Abs(c.Change))
	if math.Abs(c.Change) <= 1e-6 {
		c.Text = "nothing of it changes"
	}
	return c, true
}

// Contradicted says which of the rules that speak for a plan rely on an effect
// that the plan does not have on this kart, in a sentence each.
func (p *Plan) Contradicted(e *Effects, spoke []rules.Firing) []string {
	at := [2]state{{e.Before, p.Before}, {e.After, p.After}}
	var out []string
	for _, f := range spoke {
		for _, effect := range f.Rule.Effects {
			if c, ok := holds(effect, at); ok && f.Counted && !c.Holds {
				text := fmt.Sprintf("Rule %s relies on %s; computed for this kart, %s.", f.Rule.ID, effect, c.Text)
				if f.Rule.Except != "" {
					text += " " + sentenceOf(f.Rule.Except)
				}
				out = append(out, text)
			}
		}
	}
	return out
}

// voted returns the variant after a vote.
func voted(k *profile.Kart, v *Variant, vote rules.Vote, vocabulary rules.Vocabulary) (*Variant, error) {
	unit := ""
	for _, m := range vocabulary.Moves {
		if m.ID == vote.Move {
			unit = m.Unit
		}
	}
	by := vote.Amount
	if unit == "deg" {
		by *= float64(geometry.Degree)
	}
	knob := Knob(vote.Move)
	if unit == "step" {
		step := shimStep(k)
		if n, ok := knobNames[knob]; ok && (knob != KnobHeight || step == 0) {
			step = n.step
		}
		by *= step
	}
	if f, ok := levers[vote.Move]; ok && f != adjust.Height {
		w := []Want{{Figure: f, Value: by, By: true}}
		p, err := NewPlan(Job{Kart: k, From: k.Present, Sides: frontend.Sides[:], Wants: [2][]Want{w, w}, Keep: keep})
		if err != nil {
			return nil, err
		}
		if useful(p, f, by) && v.shift == shifts(k, k.Present) {
			n := *v
			n.shift = shifts(k, p.To)
			return &n, nil
		}
	}
	if _, ok := knobNames[knob]; !ok {
		return nil, fmt.Errorf("what %q does to the wheel loads is not computed, so a rule cannot rely on it", vote.Move)
	}
	return v.With(knob, by)
}
