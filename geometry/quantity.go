package geometry

import "math"

// Angle is a plane angle, stored in radians. Write a literal as a product with
// a unit, 12*Degree, so that no bare float crosses a package boundary. Sign
// conventions belong to the quantity (caster, camber, toe), not to the type.
type Angle float64

// Units of Angle. The minute of arc is what a workshop gauge is often read in.
const (
	Radian Angle = 1
	Degree       = Radian * (math.Pi / 180)
	Minute       = Degree / 60
)

// Degrees returns a in degrees.
func (a Angle) Degrees() float64 { return float64(a) * (180 / math.Pi) }

// Radians returns a in radians.
func (a Angle) Radians() float64 { return float64(a) }

// Near reports whether a and b differ by at most tol around the circle, so
// that 359.99° and 0.01° are 0.02° apart.
func (a Angle) Near(b, tol Angle) bool {
	return math.Abs(math.Remainder(float64(a-b), 2*math.Pi)) <= float64(tol)
}

// Length is a distance, stored in millimetres.
type Length float64

// Units of Length. The inch is exactly 25.4 mm (international yard and pound
// agreement, 1959).
const (
	Millimetre Length = 1
	Centimetre        = 10 * Millimetre
	Metre             = 1000 * Millimetre
	Inch              = 25.4 * Millimetre
)

// Millimetres returns l in millimetres.
func (l Length) Millimetres() float64 { return float64(l) }

// Inches returns l in inches.
func (l Length) Inches() float64 { return float64(l / Inch) }

// Near reports whether l and m differ by at most tol.
func (l Length) Near(m, tol Length) bool { return math.Abs(float64(l-m)) <= float64(tol) }

// Turns is how far a screw or a tie rod is turned; one is a whole turn. Which
// way is positive belongs to the adjuster.
type Turns float64

// Clock is a direction on a clock face, in hours, 0 ≤ c < 12; 0 prints as 12
// o'clock. On a kart it is seen from above with 12 o'clock pointing forward,
// so 3 o'clock is the kart's right and 9 o'clock its left.
type Clock float64

// ClockOf returns the hour at which a direction points that lies the angle a
// clockwise of 12 o'clock.
func ClockOf(a Angle) Clock {
	h := math.Mod(a.Degrees()/30, 12)
	if h < 0 {
		h += 12
	}
	if h >= 12-1e-9 {
		h = 0
	}
	return Clock(h)
}

// Angle returns the angle of c clockwise from 12 o'clock, 0 ≤ angle < 360°.
func (c Clock) Angle() Angle { return Angle(c) * 30 * Degree }
