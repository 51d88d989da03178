package fit

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Limits of the report, in spreads known before: a parameter that moves the
// readings by less than heard of their SDs is not spoken of by them; a
// combination below told is known better from before than from the readings; a
// share in it below share goes unmentioned; useful is how much better an
// answer must become for a reading to be worth proposing.
const (
	heard  = 0.5
	told   = 1.0
	share  = 0.35
	useful = 0.7
)

// Report says the outcome in plain words, a sentence a line: how well the
// readings agree, what they taught, what they do not tell and which reading
// would, what looks wrong, and the answers. Every ± is one SD.
func (r *Result) Report() ([]string, error) {
	u := r.at.Units
	var out []string
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	var ss float64
	for _, row := range r.Rows {
		d := row.Residual / row.SD
		ss += float64(d * d)
	}
	say("%d readings, %d numbers; on the whole the readings lie %.1f times their ± from the fitted kart.", len(r.Rows), len(r.Params), math.Sqrt(ss/float64(len(r.Rows))))
	apart, named, err := r.inseparable()
	if err != nil {
		return nil, err
	}
	var kept []string
	for _, p := range r.Params {
		if p.SD > useful*p.spread() {
			if !slices.Contains(named, p.text()) {
				kept = append(kept, p.text())
			}
			continue
		}
		say("%s is %s ± %s; before, %s ± %s.", p.text(), p.Unit.Text(p.Value, u), p.Unit.Text(p.SD, u), p.Unit.Text(p.Param.Value, u), p.Unit.Text(p.spread(), u))
	}
	if len(kept) > 0 {
		say("The readings say little of %s: what was known before still holds.", list(kept))
	}
	out = append(out, apart...)
	for _, w := range r.Warnings {
		if w.Code != Collinear { // said better above
			say("%s%s.", strings.ToUpper(w.Text[:1]), w.Text[1:])
		}
	}
	for _, a := range r.Answers {
		say("%s: %s ± %s; before, %s ± %s.", a.Name, a.Unit.Text(a.Value, u), a.Unit.Text(a.SD, u), a.Unit.Text(a.Prior, u), a.Unit.Text(a.PriorSD, u))
	}
	return out, nil
}

// inseparable names the combinations that the readings hardly determine and
// the reading that would, a sentence each, and the parameters in them.
func (r *Result) inseparable() (out, named []string, err error) {
	m := r.at
	n := len(m.Readings)
	jac, err := m.gradients(r.Value, n, func(b, out []float64) error { return m.predict(m.Readings, m.zero, b, out) })
	if err != nil {
		return nil, nil, err
	}
	var spoken []int
	var a columns
	for j, c := range jac {
		for i := range c {
			c[i] *= m.Params[j].spread() / m.Readings[i].SD
		}
		if norm(c) >= heard {
			spoken, a = append(spoken, j), append(a, c)
		}
	}
	s := a.decompose()
	for k := len(spoken) - 1; k >= 0 && s.Value[k] < told && len(out) < 3; k-- {
		var names, by []string
		g := make([]float64, len(m.Params))
		for i, j := range spoken {
			v := s.V[k][i]
			g[j] = v / m.Params[j].spread()
			if math.Abs(v) >= share {
				names = append(names, m.Params[j].text())
				by = append(by, fmt.Sprintf("%s by %s", m.Params[j].text(), m.Params[j].Unit.by(v*m.Params[j].spread(), m.Units)))
			}
		}
		if len(names) < 2 {
			continue
		}
		var most float64
		for _, d := range s.US[k] {
			most = math.Max(most, math.Abs(d))
		}
		text := fmt.Sprintf("These readings cannot tell %s apart: changing %s together moves no reading by more than %.1f of its ±.", list(names), list(by), most)
		best, err := r.lessons(g, m.candidates())
		if err != nil {
			return nil, nil, err
		}
		if len(best) > 0 && best[0].SD < useful*best[0].Before {
			text += fmt.Sprintf(" One more reading would: %s (it leaves %.0f %% of the doubt).", best[0].Text, 100*best[0].SD/best[0].Before)
		} else {
			text += " No single reading of these sorts would; measure one of them directly."
		}
		out, named = append(out, text), append(named, names...)
	}
	return out, named, nil
}
