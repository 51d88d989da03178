package measure

import (
	"fmt"
	"math"

	"kartwright/geometry"
)

// number is a reading stripped of its unit.
type number = geometry.Measured[float64]

func bare[T ~float64](m geometry.Measured[T]) number {
	return number{Value: float64(m.Value), PM: float64(m.PM)}
}

// carry evaluates f and its ± to first order by central differences over an
// eighth of each reading's own ±.
func carry[T ~float64](f func(x []float64) float64, in ...number) geometry.Measured[T] {
	x := make([]float64, len(in))
	for i, n := range in {
		x[i] = n.Value
	}
	out := geometry.Measured[T]{Value: T(f(x))}
	sq := 0.
	for i, n := range in {
		if n.PM == 0 {
			continue
		}
		h := n.PM / 8
		x[i] = n.Value + h
		up := f(x)
		x[i] = n.Value - h
		d := (up - f(x)) * 4
		x[i] = n.Value
		sq += float64(d * d)
	}
	out.PM = T(math.Sqrt(sq))
	return out
}

// sane refuses what is not a number or has a negative ±.
func sane[T ~float64](what string, m geometry.Measured[T]) error {
	switch v, pm := float64(m.Value), float64(m.PM); {
	case math.IsNaN(v) || math.IsInf(v, 0):
		return fmt.Errorf("%s is not a number", what)
	case !(pm >= 0) || math.IsInf(pm, 0):
		return fmt.Errorf("the ± of %s must be a number and not negative", what)
	}
	return nil
}

// positive refuses a length that is not one.
func positive(what string, m geometry.Measured[geometry.Length]) error {
	if err := sane(what, m); err != nil {
		return err
	}
	if m.Value <= 0 {
		return fmt.Errorf("%s is %v; it must be more than nothing", what, m.Value)
	}
	return nil
}

// maxLean is the largest angle that a wheel can have, to catch readings in
// the wrong unit.
const maxLean = 45 * geometry.Degree

// plausible refuses an offset that would be a lean of more than maxLean over
// the length it was read across.
func plausible(what string, offset, over geometry.Length) error {
	if math.Abs(float64(offset)) >= float64(over) {
		return fmt.Errorf("%s of %v over %v is more than %v, which is no angle of a wheel: are both in the same unit?", what, offset, over, maxLean)
	}
	return nil
}
