package fit

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
)

// Lesson is what one further reading would teach.
type Lesson struct {
	Reading    Reading
	Text       string  // the reading in words
	Expected   float64 // what it should come to; its Value is set to this
	Before, SD float64 // SD of the answer without and with it, to first order
}

// Next ranks readings by how certain each alone would make the answer of that
// name, best first; equal ones stay in the order given. A candidate's Value does
// not matter, its SD does. nil candidates means the problem's, or Reachable's.
// Readings that the kart cannot be brought to are left out.
func Next(r *Result, answer string, candidates []Reading) ([]Lesson, error) {
	i := slices.IndexFunc(r.Answers, func(a Answered) bool { return a.Name == answer })
	if i < 0 {
		names := make([]string, len(r.Answers))
		for k, a := range r.Answers {
			names[k] = a.Name
		}
		return nil, fmt.Errorf("there is no answer %q among %s", answer, list(names))
	}
	if candidates == nil {
		candidates = r.at.candidates()
	}
	return r.lessons(r.Answers[i].gradient, candidates)
}

func (m *model) candidates() []Reading {
	if m.Candidates != nil {
		return m.Candidates
	}
	return Reachable(m.base, m.Readings)
}

// lessons ranks the candidates for a quantity with the derivatives g. A reading
// with the sensitivities j and the variance σ² lowers gᵀCg by
// (gᵀCj)²/(σ² + jᵀCj).
func (r *Result) lessons(g []float64, candidates []Reading) ([]Lesson, error) {
	m := r.at
	var usable []Reading
	for _, c := range candidates {
		if !(c.SD > 0) || math.IsInf(c.SD, 0) {
			return nil, fmt.Errorf("candidate %s: its ± must be positive, not %v", c.describe(m.base, m.Units), c.SD)
		}
		if m.predict([]Reading{c}, m.zeros([]Reading{c}), r.Value, make([]float64, 1)) == nil {
			usable = append(usable, c)
		}
	}
	zero := m.zeros(usable)
	of := func(b, out []float64) error { return m.predict(usable, zero, b, out) }
	at := make([]float64, len(usable))
	if err := of(r.Value, at); err != nil {
		return nil, err
	}
	jac, err := m.gradients(r.Value, len(usable), of)
	if err != nil {
		return nil, err
	}
	before := quadratic(r.Cov, g, g)
	out := make([]Lesson, len(usable))
	j := make([]float64, len(g))
	for i, c := range usable {
		for k := range jac {
			j[k] = jac[k][i]
		}
		c.Value = at[i]
		gj := quadratic(r.Cov, g, j)
		after := before - float64(gj*gj)/(float64(c.SD*c.SD)+quadratic(r.Cov, j, j))
		out[i] = Lesson{c, c.describe(m.base, m.Units), at[i], math.Sqrt(before), math.Sqrt(math.Max(0, after))}
	}
	sort.SliceStable(out, func(a, b int) bool { return out[a].SD < out[b].SD })
	return out, nil
}

// Reachable returns readings of every sort among those given, with each
// adjuster in turn at five places over its travel on both sides and the others
// at standard: what a person with the same tools could read next.
func Reachable(k *Kart, readings []Reading) []Reading {
	var sorts []Reading
	for _, r := range readings {
		r.Name, r.Value, r.Setting = "", 0, [2]adjust.Setting{}
		known := slices.ContainsFunc(sorts, func(s Reading) bool {
			return s.Quantity == r.Quantity && s.Side == r.Side && s.Adjuster == r.Adjuster && s.Instrument == r.Instrument &&
				s.Column == r.Column && s.AtSteer == r.AtSteer && s.Steer == r.Steer
		})
		if !known {
			sorts = append(sorts, r)
		}
	}
	standard := [2]adjust.Setting{k[0].Standard(), k[1].Standard()}
	settings := [][2]adjust.Setting{standard}
	for i, a := range k[frontend.Left].Adjusters {
		t := a.Travel()
		if t.Fixed() {
			continue
		}
		var places []float64
		for n := range 5 {
			p := t.Clamp(t.Min + (t.Max-t.Min)*float64(n)/4)
			if p == a.Standard() || slices.Contains(places, p) {
				continue
			}
			places = append(places, p)
			set := [2]adjust.Setting{slices.Clone(standard[0]), slices.Clone(standard[1])}
			set[frontend.Left][i] = p
			if o := k[frontend.Right].Index(a.Name); o >= 0 {
				set[frontend.Right][o] = k[frontend.Right].Adjusters[o].Travel().Clamp(p)
			}
			settings = append(settings, set)
		}
	}
	var out []Reading
	for _, set := range settings {
		for _, r := range sorts {
			r.Setting = set
			out = append(out, r)
		}
	}
	return out
}
