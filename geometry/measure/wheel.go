package measure

import (
	"errors"
	"fmt"
	"math"

	"kartwright/geometry"
)

// leans refuses an angle that no wheel has.
func leans(what string, a geometry.Measured[geometry.Angle]) error {
	if err := sane(what, a); err != nil {
		return err
	}
	if math.Abs(float64(a.Value)) >= float64(maxLean) {
		return fmt.Errorf("a %s of %v is no angle of a wheel: the limit is %v", what, a.Value, maxLean)
	}
	return nil
}

// Widths are two distances between the wheels (or between plates on the stub
// axles), at one height: ahead of and behind the stub axles.
type Widths struct {
	Front, Rear geometry.Measured[geometry.Length]
	Over        geometry.Measured[geometry.Length] // fore and aft between the two, along the wheel
}

// Toe is the toe of both wheels together. It always names its length.
type Toe struct {
	Total geometry.Measured[geometry.Angle]  // the angle between the wheels
	Each  geometry.Measured[geometry.Angle]  // of one wheel, with the steering centred
	Width geometry.Measured[geometry.Length] // rear width less front width: the toe in mm over Over
	Over  geometry.Length
}

// Toe returns sin(each) = (rear − front)/(2·over) and twice that angle: a
// wheel's own plate of length over is nearer to the centre line by over·sin toe
// at its front than at its rear.
func (w Widths) Toe() (Toe, error) {
	if err := errors.Join(positive("the front width", w.Front), positive("the rear width", w.Rear), positive("the length between the two widths", w.Over)); err != nil {
		return Toe{}, err
	}
	if err := plausible("a difference of widths", w.Rear.Value-w.Front.Value, w.Over.Value); err != nil {
		return Toe{}, err
	}
	in := []number{bare(w.Front), bare(w.Rear), bare(w.Over)}
	each := func(x []float64) float64 { return math.Asin((x[1] - x[0]) / (2 * x[2])) }
	return Toe{
		Total: carry[geometry.Angle](func(x []float64) float64 { return 2 * each(x) }, in...),
		Each:  carry[geometry.Angle](each, in...),
		Width: carry[geometry.Length](func(x []float64) float64 { return x[1] - x[0] }, in...),
		Over:  w.Over.Value,
	}, nil
}

// WidthsFor returns by how much the rear width must exceed the front width for
// a wanted total toe, read over the length over: 2·over·sin(total/2).
func WidthsFor(total geometry.Measured[geometry.Angle], over geometry.Measured[geometry.Length]) (geometry.Measured[geometry.Length], error) {
	if err := errors.Join(leans("total toe", total), positive("the length between the two widths", over)); err != nil {
		return geometry.Measured[geometry.Length]{}, err
	}
	return carry[geometry.Length](func(x []float64) float64 { return 2 * x[1] * math.Sin(x[0]/2) }, bare(total), bare(over)), nil
}

// Line is the distances of one wheel, ahead of and behind its stub axle, from
// a straight line fore and aft: a string or a straight edge.
type Line struct {
	Front, Rear geometry.Measured[geometry.Length]
	Over        geometry.Measured[geometry.Length] // between the two, along the wheel
	Inside      bool                               // the line runs between the wheels, as the kart's centre line does; otherwise outside them
}

// Toe returns the wheel's own toe, asin((front − rear)/over) from a line
// outside the wheels and its negative from one between them.
func (l Line) Toe() (geometry.Measured[geometry.Angle], error) {
	if err := errors.Join(sane("the front distance", l.Front), sane("the rear distance", l.Rear), positive("the length between the two", l.Over)); err != nil {
		return geometry.Measured[geometry.Angle]{}, err
	}
	if err := plausible("a difference of distances", l.Front.Value-l.Rear.Value, l.Over.Value); err != nil {
		return geometry.Measured[geometry.Angle]{}, err
	}
	return carry[geometry.Angle](func(x []float64) float64 { return l.sign() * math.Asin((x[0]-x[1])/x[2]) }, bare(l.Front), bare(l.Rear), bare(l.Over)), nil
}

// Difference returns by how much the front distance must exceed the rear one
// for a wanted toe. Front and Rear of l are not used.
func (l Line) Difference(toe geometry.Measured[geometry.Angle]) (geometry.Measured[geometry.Length], error) {
	if err := errors.Join(leans("toe", toe), positive("the length between the two", l.Over)); err != nil {
		return geometry.Measured[geometry.Length]{}, err
	}
	return carry[geometry.Length](func(x []float64) float64 { return l.sign() * x[1] * math.Sin(x[0]) }, bare(toe), bare(l.Over)), nil
}

func (l Line) sign() float64 {
	if l.Inside {
		return -1
	}
	return 1
}

// Inclinometer is a gauge that shows a lean, held across the kart, square to
// the wheel.
type Inclinometer struct {
	// Level is what it shows on a wheel without camber: held the same way
	// against something upright on this floor.
	Level geometry.Measured[geometry.Angle]
	// Reversed is set for a gauge that shows more when the top leans inward.
	Reversed bool
}

// Camber returns the camber that belongs to a reading: reading − Level.
func (g Inclinometer) Camber(reading geometry.Measured[geometry.Angle]) (geometry.Measured[geometry.Angle], error) {
	if err := errors.Join(sane("the reading", reading), sane("the level reading", g.Level)); err != nil {
		return geometry.Measured[geometry.Angle]{}, err
	}
	c := carry[geometry.Angle](func(x []float64) float64 { return g.sign() * (x[0] - x[1]) }, bare(reading), bare(g.Level))
	return c, leans("camber", c)
}

// Reading returns what the gauge shows at a wanted camber.
func (g Inclinometer) Reading(camber geometry.Measured[geometry.Angle]) (geometry.Measured[geometry.Angle], error) {
	if err := errors.Join(leans("camber", camber), sane("the level reading", g.Level)); err != nil {
		return geometry.Measured[geometry.Angle]{}, err
	}
	return carry[geometry.Angle](func(x []float64) float64 { return x[1] + float64(g.sign()*x[0]) }, bare(camber), bare(g.Level)), nil
}

func (g Inclinometer) sign() float64 {
	if g.Reversed {
		return -1
	}
	return 1
}

// Plumb is a plumb line that hangs outboard of the wheel, and the gaps between
// it and the wheel's face (or a straight edge against the rim), measured level.
type Plumb struct {
	Top, Bottom geometry.Measured[geometry.Length]
	Apart       geometry.Measured[geometry.Length] // between the two, along the line
}

// Camber returns atan((bottom − top)/apart): a top that leans outward is
// nearer to the line.
func (p Plumb) Camber() (geometry.Measured[geometry.Angle], error) {
	if err := errors.Join(sane("the top gap", p.Top), sane("the bottom gap", p.Bottom), positive("the distance between the gaps", p.Apart)); err != nil {
		return geometry.Measured[geometry.Angle]{}, err
	}
	if err := plausible("a difference of gaps", p.Bottom.Value-p.Top.Value, p.Apart.Value); err != nil {
		return geometry.Measured[geometry.Angle]{}, err
	}
	return carry[geometry.Angle](func(x []float64) float64 { return math.Atan((x[1] - x[0]) / x[2]) }, bare(p.Top), bare(p.Bottom), bare(p.Apart)), nil
}

// PlumbFor returns by how much the bottom gap must exceed the top one for a
// wanted camber, with the gaps apart along the line: apart·tan camber.
func PlumbFor(camber geometry.Measured[geometry.Angle], apart geometry.Measured[geometry.Length]) (geometry.Measured[geometry.Length], error) {
	if err := errors.Join(leans("camber", camber), positive("the distance between the gaps", apart)); err != nil {
		return geometry.Measured[geometry.Length]{}, err
	}
	return carry[geometry.Length](func(x []float64) float64 { return x[1] * math.Tan(x[0]) }, bare(camber), bare(apart)), nil
}
