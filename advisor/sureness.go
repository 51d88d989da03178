package advisor

import (
	"fmt"
	"math"
	"sort"

	"kartwright/advisor/profile"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/uncertain"
)

// Sure is the probability with which a ± holds, everywhere in kartwright: two
// standard deviations.
const Sure = 0.95

// sds is how many standard deviations a ± is.
const sds = 2

// Sureness is how well a plan is known, from the ± of the profile's numbers:
// first order as the GUM has it (JCGM 100:2008).
type Sureness struct {
	Turns  [2]map[int]float64 // ± of where each moved adjuster is set, by its index
	After  [2]FiguresPM       // ± of what is measured after turning as the plan says
	Change [2]FiguresPM       // ± of the change that this makes
	Rests  []Rest             // what that rests on, most first
}

// FiguresPM are the ± of a corner's figures.
type FiguresPM struct{ Caster, Camber, Toe geometry.Angle }

// Rest is a number of the profile that a plan rests on.
type Rest struct {
	Number profile.Number
	Turns  float64        // how far the adjuster Of moves if the number is off by its ±, in its positions
	Of     string         // "" if no adjuster moves
	Figure geometry.Angle // otherwise: how far the change of a figure moves
	Name   string         // of that figure
}

// sureModel is the plan as a function of the profile's uncertain numbers.
type sureModel struct {
	p       *Plan
	numbers []profile.Number
	inputs  []uncertain.Input
}

func (p *Plan) sureModel() sureModel {
	m := sureModel{p: p}
	for _, n := range p.Kart.Numbers {
		if n.PM > 0 {
			m.numbers = append(m.numbers, n)
			m.inputs = append(m.inputs, uncertain.Input{Name: n.Path, Dist: uncertain.Normal{Mean: n.Value, SD: n.PM / sds}})
		}
	}
	return m
}

// eval returns, side by side, the position of each moved adjuster, then caster,
// camber and toe after, then their changes.
func (m sureModel) eval(x []float64) ([]float64, error) {
	by := map[string]float64{}
	for i, n := range m.numbers {
		if d := x[i] - n.Value; d != 0 {
			by[n.Path] = d
		}
	}
	k := m.p.Kart
	if len(by) > 0 {
		var err error
		if k, err = m.p.Kart.Nudged(by); err != nil {
			return nil, err
		}
	}
	var out []float64
	for _, s := range m.p.Sides {
		set := m.p.To[s.Side]
		if s.Answer != nil && len(s.Moves) > 0 {
			a, err := solve(m.p.job, k, s.Side, set)
			if err != nil {
				return nil, err
			}
			set = a.Best.Setting
		}
		for _, mv := range s.Moves {
			out = append(out, set[mv.Index])
		}
		// The figures are those after turning as the plan says.
		before, err := k.Corners[s.Side].Values(m.p.From[s.Side])
		if err != nil {
			return nil, err
		}
		after, err := k.Corners[s.Side].Values(m.p.To[s.Side])
		if err != nil {
			return nil, err
		}
		for _, f := range []adjust.Figure{adjust.Caster, adjust.Camber, adjust.Toe} {
			out = append(out, after[f])
		}
		for _, f := range []adjust.Figure{adjust.Caster, adjust.Camber, adjust.Toe} {
			out = append(out, after[f]-before[f])
		}
	}
	return out, nil
}

// Sureness works out how well the plan is known. It is nil if no number of the
// profile has a ±.
func (p *Plan) Sureness() (*Sureness, error) {
	m := p.sureModel()
	if len(m.inputs) == 0 {
		return nil, nil
	}
	outs, err := uncertain.Propagate(m.eval, m.inputs)
	if err != nil {
		return nil, fmt.Errorf("how sure this is cannot be worked out: %w", err)
	}
	s := &Sureness{Turns: [2]map[int]float64{{}, {}}}
	rests := make([]Rest, len(m.numbers))
	for i, n := range m.numbers {
		rests[i].Number = n
	}
	k := 0
	next := func() uncertain.Output { k++; return outs[k-1] }
	for _, side := range p.Sides {
		worth := map[int]bool{}
		for _, mv := range side.Worth() {
			worth[mv.Index] = true
		}
		for _, mv := range side.Moves {
			o := next()
			s.Turns[side.Side][mv.Index] = sds * o.U
			for i, part := range o.Parts {
				if e := sds * math.Abs(part.Effect); worth[mv.Index] && e > rests[i].Turns {
					rests[i].Turns, rests[i].Of = e, mv.Name
				}
			}
		}
		pm := func() geometry.Angle { return geometry.Angle(sds * next().U) }
		s.After[side.Side] = FiguresPM{pm(), pm(), pm()}
		for j, into := range []*geometry.Angle{&s.Change[side.Side].Caster, &s.Change[side.Side].Camber, &s.Change[side.Side].Toe} {
			o := next()
			*into = geometry.Angle(sds * o.U)
			for i, part := range o.Parts {
				if e := geometry.Angle(sds * math.Abs(part.Effect)); e > rests[i].Figure {
					rests[i].Figure, rests[i].Name = e, adjust.Figure(j).String()
				}
			}
		}
	}
	for _, r := range rests {
		if r.Turns > 0.005 || r.Figure > 0.005*geometry.Degree {
			s.Rests = append(s.Rests, r)
		}
	}
	sort.SliceStable(s.Rests, func(i, j int) bool {
		a, b := s.Rests[i], s.Rests[j]
		if math.Abs(a.Turns-b.Turns) > 5e-4 {
			return a.Turns > b.Turns
		}
		return a.Figure > b.Figure
	})
	return s, nil
}

// CheckSureness repeats Sureness by Monte Carlo (JCGM 101:2008) with the number
// of draws given and says where the two differ; nothing if they agree to two
// digits. run spreads the draws over goroutines, or is nil.
func (p *Plan) CheckSureness(seed uint64, draws int, run func(n int, do func(int))) ([]string, error) {
	m := p.sureModel()
	if len(m.inputs) == 0 {
		return nil, nil
	}
	outs, err := uncertain.Propagate(m.eval, m.inputs)
	if err != nil {
		return nil, err
	}
	spread, err := uncertain.MonteCarlo(m.eval, m.inputs, uncertain.Options{Seed: seed, P: Sure, Draws: draws, Run: run})
	if err != nil {
		return nil, err
	}
	var notes []string
	k := 0
	check := func(name string, say func(float64) string) {
		o, s := outs[k], spread[k]
		k++
		if o.U < 1e-6 {
			return // not worth a word
		}
		// One digit: what is printed of a ± is meant no finer.
		if text := uncertain.Compare(o, s, 1).Sentence(say); text != "" {
			notes = append(notes, name+": "+text)
		}
	}
	degrees := func(v float64) string { return geometry.Angle(v).String() }
	for _, side := range p.Sides {
		for _, mv := range side.Moves {
			check(fmt.Sprintf("%v %s", side.Side, mv.Name), func(v float64) string { return fmt.Sprintf("%.2f", v) })
		}
		for _, when := range []string{"after", "change"} {
			for _, f := range []adjust.Figure{adjust.Caster, adjust.Camber, adjust.Toe} {
				check(fmt.Sprintf("%v %v %s", side.Side, f, when), degrees)
			}
		}
	}
	return notes, nil
}
