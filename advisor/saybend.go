package advisor

import (
	"fmt"
	"math"

	"kartwright/geometry"
	"kartwright/geometry/loads"
)

// SayWeight says a wheel's load as the mass that a scale would show.
func SayWeight(f loads.Force) string { return fmt.Sprintf("%.1f kg", float64(f)/loads.G) }

// SayRear says what the inner rear wheel does: its load, or how high it is up.
func (b InBend) SayRear(u geometry.Units) string {
	if b.Lift > 0 {
		return u.Length(b.Lift) + " up"
	}
	return SayWeight(b.Load)
}

// SayLifts says at which angle of the steering the inner rear wheel lifts.
func (b InBend) SayLifts(u geometry.Units) string {
	switch {
	case !b.Lifts:
		return "does not lift"
	case b.LiftsAt <= 0:
		return "straight ahead"
	}
	return SaySteering(b.LiftsAt, u)
}

// SaySteering says an angle of the steering, of which hundredths mean nothing.
func SaySteering(a geometry.Angle, u geometry.Units) string {
	if u.Minutes {
		return u.Angle(a)
	}
	return fmt.Sprintf("%.1f°", a.Degrees())
}

// SayEffort says how heavy the steering is, as a multiple of before.
func SayEffort(ratio float64) string {
	switch {
	case math.IsNaN(ratio) || math.IsInf(ratio, 0):
		return "not to be compared"
	case math.Abs(ratio-1) < 0.005:
		return "as heavy as before"
	}
	return fmt.Sprintf("%.2f × as heavy as before", ratio)
}
