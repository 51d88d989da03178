package measure

import (
	"errors"
	"fmt"
	"math"

	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
)

// Readings are the figures that were measured on one side: radians, mm for
// adjust.Height. What was not measured is absent.
type Readings map[adjust.Figure]geometry.Measured[float64]

// Check holds readings of both sides after a change against what was meant and
// against each other.
type Check struct {
	Corners  [2]*adjust.Corner
	Settings [2]adjust.Setting // where the adjusters stand now
	// Want is what the change meant each side to measure. A figure that is not
	// asked for is only compared between the sides.
	Want   [2]adjust.Goal
	Within [adjust.FigureCount]float64 // tolerances, radians or mm
}

// Checked is the outcome for one figure.
type Checked struct {
	Figure adjust.Figure
	Read   [2]*geometry.Measured[float64] // nil if not measured on that side
	Sides  *Agreement[float64]            // left against right, less a difference that is wanted; nil unless both were measured
	Wanted [2]*Agreement[float64]         // reading against wanted; nil unless measured and wanted
	Out    [2]bool                        // the sides to correct
	Target [2]float64                     // what a side that is out should read instead
}

// Correction is how one side is put right.
type Correction struct {
	Side   frontend.Side
	Turns  []Turned       // the adjusters to move, in the corner's order
	Answer *adjust.Answer // what Solve found, in the model's figures, with what could not be met
}

// Turned is one adjuster's part in a correction. From and To are its positions:
// turns for screws and tie rods, and what adjust prints for the others.
type Turned struct {
	Adjuster int
	Name     string
	From, To float64
}

// Outcome is what a check found.
type Outcome struct {
	Figures     []Checked // in adjust's order
	Corrections []Correction
	Equal       bool // nothing is out
	Clear       bool // what is out is so by more than the readings' ±
}

// Compare judges the readings and works out the corrections. A side is out in
// a figure that differs from what is wanted by more than the tolerance. Where
// both sides are within it and still differ by more than the tolerance from
// each other, the one further from what is wanted is out. Where nothing is
// wanted, the side further from what its profile and setting promise is out,
// and should read what the other reads. The right one is, if they are equally
// far.
//
// A correction assumes that the corner turns a change of its adjusters into
// the change of figures that the model gives, whatever it reads now.
func (c Check) Compare(read [2]Readings) (Outcome, error) {
	out := Outcome{Equal: true, Clear: true}
	var model [2][adjust.FigureCount]float64
	for _, s := range frontend.Sides {
		for f, m := range read[s] {
			if int(f) >= adjust.FigureCount {
				return Outcome{}, fmt.Errorf("figure %d of the %v side is not one that can be measured", f, s)
			}
			if err := sane(fmt.Sprintf("the %v side's %v", s, f), m); err != nil {
				return Outcome{}, err
			}
			if limit := float64(maxLean); !f.IsLength() && math.Abs(m.Value) >= limit {
				return Outcome{}, fmt.Errorf("the %v side's %v of %v is no angle of a wheel: the limit is %v", s, f, geometry.Angle(m.Value), maxLean)
			}
		}
		var err error
		if model[s], err = c.Corners[s].Values(c.Settings[s]); err != nil {
			return Outcome{}, err
		}
	}
	if len(read[frontend.Left])+len(read[frontend.Right]) == 0 {
		return Outcome{}, errors.New("there is nothing to check: give at least one reading")
	}
	var goal [2]adjust.Goal
	for f := range adjust.Figure(adjust.FigureCount) {
		k := c.judge(f, read, model)
		if k == nil {
			continue
		}
		for _, s := range frontend.Sides {
			if k.Out[s] {
				out.Equal = false
				goal[s] = goal[s].Ask(f, model[s][f]+(k.Target[s]-k.Read[s].Value))
				a := k.Wanted[s]
				if a == nil || a.Equal {
					a = k.Sides
				}
				out.Clear = out.Clear && a.Clear
			}
		}
		out.Figures = append(out.Figures, *k)
	}
	for _, s := range frontend.Sides {
		if goal[s].Asked == ([adjust.FigureCount]bool{}) {
			continue
		}
		a, err := c.Corners[s].Solve(c.Settings[s], goal[s])
		if err != nil {
			return Outcome{}, err
		}
		fix := Correction{Side: s, Answer: a}
		for i, to := range a.Best.Setting {
			if from := c.Settings[s][i]; math.Abs(to-from) > 1e-9 {
				fix.Turns = append(fix.Turns, Turned{i, c.Corners[s].Adjusters[i].Name, from, to})
			}
		}
		out.Corrections = append(out.Corrections, fix)
	}
	return out, nil
}

// judge returns the outcome for one figure, nil if it was not measured.
func (c Check) judge(f adjust.Figure, read [2]Readings, model [2][adjust.FigureCount]float64) *Checked {
	k := Checked{Figure: f}
	within := c.Within[f]
	for _, s := range frontend.Sides {
		m, ok := read[s][f]
		if !ok {
			continue
		}
		k.Read[s] = &m
		if c.Want[s].Asked[f] {
			want := c.Want[s].Value[f]
			a := Agree(m, geometry.Measured[float64]{Value: want}, within)
			k.Wanted[s], k.Out[s], k.Target[s] = &a, !a.Equal, want
		}
	}
	l, r := k.Read[frontend.Left], k.Read[frontend.Right]
	if l == nil && r == nil {
		return nil
	}
	if l == nil || r == nil {
		return &k
	}
	both := k.Wanted[frontend.Left] != nil && k.Wanted[frontend.Right] != nil
	other, expected := *r, model
	if both {
		for _, s := range frontend.Sides {
			expected[s][f] = c.Want[s].Value[f]
		}
		other.Value += expected[frontend.Left][f] - expected[frontend.Right][f]
	}
	a := Agree(*l, other, within)
	k.Sides = &a
	if a.Equal || k.Out[frontend.Left] || k.Out[frontend.Right] || !both && (k.Wanted[frontend.Left] != nil || k.Wanted[frontend.Right] != nil) {
		return &k
	}
	out, target := frontend.Right, r.Value+a.Difference.Value
	off := func(s frontend.Side) float64 { return math.Abs(k.Read[s].Value - expected[s][f]) }
	if off(frontend.Left) > off(frontend.Right)+1e-12 {
		out, target = frontend.Left, l.Value-a.Difference.Value
	}
	if both {
		target = expected[out][f]
	}
	k.Out[out], k.Target[out] = true, target
	return &k
}

// Then says what a gauge should read, on the side that is corrected, once it is: what
// it reads now moves by as much as the model does, of which now are the figures.
func (o Outcome) Then(fix Correction, now [adjust.FigureCount]float64, u geometry.Units) []string {
	var out []string
	for _, f := range o.Figures {
		if !f.Out[fix.Side] {
			continue
		}
		reads := geometry.Angle(f.Read[fix.Side].Value + fix.Answer.Best.Values[f.Figure] - now[f.Figure])
		text := fmt.Sprintf("then %v %v should read %s", fix.Side, f.Figure, u.Angle(reads))
		target := u.Angle(geometry.Angle(f.Target[fix.Side]))
		switch fix.Answer.Outcome[f.Figure] {
		case adjust.Nearby:
			text += ", as near to " + target + " as the steps of its adjusters allow"
		case adjust.Beyond:
			text += ": " + target + " is out of its adjusters' reach"
		}
		out = append(out, text)
	}
	return out
}
