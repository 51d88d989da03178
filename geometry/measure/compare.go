package measure

import (
	"errors"
	"fmt"
	"math"

	"kartwright/geometry"
)

// RuleTolerance is how far the rule may read apart on the two sides for them
// to count as equal (common practice).
const RuleTolerance = 1 * geometry.Millimetre

// Agreement compares two readings, or a reading with what it should be.
type Agreement[T ~float64] struct {
	Difference geometry.Measured[T] // first less second (left less right, read less wanted), ± combined
	Within     T                    // the tolerance
	Equal      bool                 // the difference is within it
	Clear      bool                 // the readings' ± cannot explain the difference
}

// Agree compares a with b.
func Agree[T ~float64](a, b geometry.Measured[T], within T) Agreement[T] {
	d := carry[T](func(x []float64) float64 { return x[0] - x[1] }, bare(a), bare(b))
	size := math.Abs(float64(d.Value))
	return Agreement[T]{
		Difference: d, Within: within,
		Equal: size <= float64(within)+1e-12,
		Clear: size > float64(d.PM),
	}
}

// Verdict says the outcome in words.
func (a Agreement[T]) Verdict() string {
	switch {
	case a.Equal && float64(a.Difference.PM) > float64(a.Within):
		return "equal as far as these readings can show; their ± is wider than the tolerance"
	case a.Equal:
		return "equal"
	case a.Clear:
		return "different"
	}
	return "out of tolerance, but not by more than the readings can show: measure again"
}

// EqualLock compares the two sides' caster with a rule. Each wheel in turn is
// steered outboard by the same lock (the left one to the left, the right one
// to the right) and the rule shows how far something that leans with the wheel
// moved from straight ahead: the wheel's top over its bottom, or a laser's spot.
type EqualLock struct {
	Left, Right geometry.Measured[geometry.Length] // + = the top leans outward
	Lock        geometry.Angle                     // of each wheel, + = front outboard
	Reach       geometry.Length                    // what the rule reads across: height between the two points, or the laser's distance
}

// Compare says whether the two sides read equal, within RuleTolerance usually.
func (e EqualLock) Compare(within geometry.Length) (Agreement[geometry.Length], error) {
	err := errors.Join(sane("the left reading", e.Left), sane("the right reading", e.Right))
	return Agree(e.Left, e.Right, within), err
}

// PerCaster returns how much the rule's reading grows with caster, in mm for a
// radian, on a corner like k: the slope of reach·tan(camber at lock − camber
// straight ahead).
func (e EqualLock) PerCaster(k Kingpin) (float64, error) {
	if e.Reach <= 0 {
		return 0, fmt.Errorf("the rule's reach is %v: give the height between the two points it was read at, or the laser's distance", e.Reach)
	}
	if e.Lock < leastSweep/2 || e.Lock > maxLean {
		return 0, fmt.Errorf("a lock of %v is not between %v and %v", e.Lock, leastSweep/2, maxLean)
	}
	read := func(by geometry.Angle) float64 {
		other := k
		other.Caster.Value += by
		return float64(e.Reach) * math.Tan(other.at(float64(e.Lock))-other.at(-float64(k.Toe.Value)))
	}
	const h = 1e-4
	return (read(h) - read(-h)) / (2 * h), nil
}

// Caster returns the left side's caster less the right side's, both being
// near k.
func (e EqualLock) Caster(k Kingpin) (geometry.Measured[geometry.Angle], error) {
	a, err := e.Compare(0)
	if err != nil {
		return geometry.Measured[geometry.Angle]{}, err
	}
	per, err := e.PerCaster(k)
	if err != nil {
		return geometry.Measured[geometry.Angle]{}, err
	}
	return geometry.Measured[geometry.Angle]{
		Value: geometry.Angle(float64(a.Difference.Value) / per),
		PM:    geometry.Angle(float64(a.Difference.PM) / per),
	}, nil
}

// Difference returns how far apart the rule should read, left less right, for
// a wanted difference of caster between the sides.
func (e EqualLock) Difference(caster geometry.Measured[geometry.Angle], k Kingpin) (geometry.Measured[geometry.Length], error) {
	per, err := e.PerCaster(k)
	return geometry.Measured[geometry.Length]{
		Value: geometry.Length(float64(caster.Value) * per),
		PM:    geometry.Length(float64(caster.PM) * per),
	}, err
}

// Centre is the steering's rest position as a rule sees it: the distances from
// a mark on the column to the frame, equally far out on both sides.
type Centre struct {
	Left, Right geometry.Measured[geometry.Length]
	// Radius is the mark's distance from the column's axis, + on the side of
	// the axis where the tie-rod lug hangs (toward the ground), − on the other.
	Radius geometry.Measured[geometry.Length]
}

// Column returns how far the column stands from centre, + = to the left:
// asin((left − right)/(2·radius)). A lug below the axis swings to the right in
// a left turn.
func (c Centre) Column() (geometry.Measured[geometry.Angle], error) {
	if err := errors.Join(sane("the left distance", c.Left), sane("the right distance", c.Right), c.radius()); err != nil {
		return geometry.Measured[geometry.Angle]{}, err
	}
	if off := (c.Left.Value - c.Right.Value) / 2; math.Abs(float64(off)) >= math.Abs(float64(c.Radius.Value)) {
		return geometry.Measured[geometry.Angle]{}, fmt.Errorf("the mark cannot be %v off centre, as it is only %v from the column's axis", off, c.Radius.Value)
	}
	return carry[geometry.Angle](func(x []float64) float64 { return math.Asin((x[0] - x[1]) / (2 * x[2])) },
		bare(c.Left), bare(c.Right), bare(c.Radius)), nil
}

// Centred returns what both distances read when the steering is centred.
func (c Centre) Centred() geometry.Measured[geometry.Length] {
	return carry[geometry.Length](func(x []float64) float64 { return (x[0] + x[1]) / 2 }, bare(c.Left), bare(c.Right))
}

// Difference returns by how much the left distance exceeds the right one with
// the column at a wanted angle. Left and Right of c are not used.
func (c Centre) Difference(column geometry.Measured[geometry.Angle]) (geometry.Measured[geometry.Length], error) {
	if err := errors.Join(sane("the column's angle", column), c.radius()); err != nil {
		return geometry.Measured[geometry.Length]{}, err
	}
	return carry[geometry.Length](func(x []float64) float64 { return 2 * x[1] * math.Sin(x[0]) }, bare(column), bare(c.Radius)), nil
}

func (c Centre) radius() error {
	if c.Radius.Value == 0 {
		return errors.New("the mark's distance from the column's axis is missing")
	}
	return sane("the mark's distance from the column's axis", c.Radius)
}
