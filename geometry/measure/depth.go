package measure

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"kartwright/geometry"
	"kartwright/geometry/adjust"
)

// Depth is the depth gauge beside a screw, on a corner that stands at a
// setting.
type Depth struct {
	Corner  *adjust.Corner
	Setting adjust.Setting
	Screw   string // the adjuster's name
}

// DepthCaster is what a depth reading tells.
type DepthCaster struct {
	Caster  geometry.Measured[geometry.Angle]
	Setting adjust.Setting // with the screw where the reading puts it
}

// Caster returns the caster that belongs to a depth reading, the other
// adjusters staying where they are. Its ± is the reading's alone; the corner's
// own dimensions add theirs.
func (d Depth) Caster(reading geometry.Measured[geometry.Length]) (DepthCaster, error) {
	if err := sane("the depth reading", reading); err != nil {
		return DepthCaster{}, err
	}
	i, err := d.screw()
	if err != nil {
		return DepthCaster{}, err
	}
	p, err := d.position(i, reading.Value)
	if err != nil {
		return DepthCaster{}, err
	}
	out := DepthCaster{Setting: slices.Clone(d.Setting)}
	out.Setting[i] = p
	f, err := d.Corner.Figures(out.Setting)
	if err != nil {
		return DepthCaster{}, err
	}
	perMM, err := d.slope(i, out.Setting)
	out.Caster = geometry.Measured[geometry.Angle]{Value: f.Caster, PM: geometry.Angle(math.Abs(perMM) * float64(reading.PM))}
	return out, err
}

// DepthReading is the reading to look for.
type DepthReading struct {
	Reading geometry.Measured[geometry.Length]
	Answer  *adjust.Answer // how the corner gets there: the other adjusters too, and what could not be met
}

// Reading returns what the depth gauge shows once the corner has a wanted
// caster, camber and toe staying as they are.
func (d Depth) Reading(caster geometry.Measured[geometry.Angle]) (DepthReading, error) {
	if err := leans("caster", caster); err != nil {
		return DepthReading{}, err
	}
	i, err := d.screw()
	if err != nil {
		return DepthReading{}, err
	}
	if _, err := d.slope(i, d.Setting); err != nil {
		return DepthReading{}, err
	}
	a, err := d.Corner.Solve(d.Setting, adjust.Goal{}.Ask(adjust.Caster, float64(caster.Value)))
	if err != nil {
		return DepthReading{}, err
	}
	perMM, err := d.slope(i, a.Best.Setting)
	if err != nil {
		return DepthReading{}, err
	}
	depth, _ := d.gauge(i, a.Best.Setting[i])
	return DepthReading{geometry.Measured[geometry.Length]{Value: depth, PM: geometry.Length(float64(caster.PM) / math.Abs(perMM))}, a}, nil
}

// screw finds the adjuster and checks that it has a gauge.
func (d Depth) screw() (int, error) {
	if len(d.Setting) != len(d.Corner.Adjusters) {
		return 0, fmt.Errorf("%v side: the setting has %d positions for %d adjusters", d.Corner.Side, len(d.Setting), len(d.Corner.Adjusters))
	}
	i := d.Corner.Index(d.Screw)
	if i >= 0 {
		if _, ok := d.gauge(i, d.Setting[i]); ok {
			return i, nil
		}
	}
	var names []string
	for j, a := range d.Corner.Adjusters {
		if _, ok := d.gauge(j, a.Standard()); ok {
			names = append(names, fmt.Sprintf("%q", a.Name))
		}
	}
	switch {
	case len(names) == 0:
		return 0, fmt.Errorf("no adjuster of the %v side has a depth gauge: give its screw gauge = \"…\", the reading at standard", d.Corner.Side)
	case i < 0:
		return 0, fmt.Errorf("the %v side has no adjuster %q; with a depth gauge it has %s", d.Corner.Side, d.Screw, strings.Join(names, ", "))
	}
	return 0, fmt.Errorf("%q has no depth gauge; %s has", d.Screw, strings.Join(names, ", "))
}

func (d Depth) gauge(i int, p float64) (geometry.Length, bool) {
	g, ok := d.Corner.Adjusters[i].Adjuster.(adjust.Gauged)
	if !ok {
		return 0, false
	}
	return g.Gauge(p)
}

// position returns where the screw stands at a reading; readings change
// steadily with turns.
func (d Depth) position(i int, reading geometry.Length) (float64, error) {
	t := d.Corner.Adjusters[i].Travel()
	a, _ := d.gauge(i, t.Min)
	b, _ := d.gauge(i, t.Max)
	if a == b {
		return 0, fmt.Errorf("the depth gauge of %q reads the same at both ends of its travel", d.Screw)
	}
	f := float64((reading - a) / (b - a))
	if f < -1e-9 || f > 1+1e-9 {
		return 0, fmt.Errorf("a depth of %v is outside what %q can show, %v to %v", reading, d.Screw, min(a, b), max(a, b))
	}
	return t.Clamp(t.Min + float64(f*(t.Max-t.Min))), nil
}

// slope returns the change of caster, in radians, for a millimetre more on the
// gauge.
func (d Depth) slope(i int, at adjust.Setting) (float64, error) {
	const h = 1e-3 // turns
	s := slices.Clone(at)
	s[i] = at[i] + h
	up, err1 := d.Corner.Figures(s)
	high, _ := d.gauge(i, s[i])
	s[i] = at[i] - h
	down, err2 := d.Corner.Figures(s)
	low, _ := d.gauge(i, s[i])
	if err := errors.Join(err1, err2); err != nil {
		return 0, err
	}
	perMM := float64(up.Caster-down.Caster) / float64(high-low)
	if math.Abs(perMM) < 1e-6 {
		return 0, fmt.Errorf("%q does not change caster, so its depth says nothing about it", d.Screw)
	}
	return perMM, nil
}
