package geometry

import (
	"errors"
	"math"
)

// Vec is a point or a direction. As a point its coordinates are millimetres;
// as a direction they are pure numbers.
type Vec struct{ X, Y, Z float64 }

// ErrNoAxis is returned where a direction is needed and the vector is zero.
var ErrNoAxis = errors.New("a zero vector has no direction")

// Add returns v + w.
func (v Vec) Add(w Vec) Vec { return Vec{v.X + w.X, v.Y + w.Y, v.Z + w.Z} }

// Sub returns v − w.
func (v Vec) Sub(w Vec) Vec { return Vec{v.X - w.X, v.Y - w.Y, v.Z - w.Z} }

// Scale returns f·v.
func (v Vec) Scale(f float64) Vec { return Vec{f * v.X, f * v.Y, f * v.Z} }

// AddScaled returns v + f·w.
func (v Vec) AddScaled(f float64, w Vec) Vec {
	return Vec{v.X + float64(f*w.X), v.Y + float64(f*w.Y), v.Z + float64(f*w.Z)}
}

// Dot returns the scalar product v·w.
func (v Vec) Dot(w Vec) float64 {
	return float64(v.X*w.X) + float64(v.Y*w.Y) + float64(v.Z*w.Z)
}

// Cross returns the vector product v×w.
func (v Vec) Cross(w Vec) Vec {
	return Vec{
		float64(v.Y*w.Z) - float64(v.Z*w.Y),
		float64(v.Z*w.X) - float64(v.X*w.Z),
		float64(v.X*w.Y) - float64(v.Y*w.X),
	}
}

// Norm returns the length of v.
func (v Vec) Norm() float64 { return math.Sqrt(v.Dot(v)) }

// Unit returns v with length 1, or ErrNoAxis if v is zero or not finite.
func (v Vec) Unit() (Vec, error) {
	n := v.Norm()
	if !(n > 0) || math.IsInf(n, 0) {
		return Vec{}, ErrNoAxis
	}
	return v.Scale(1 / n), nil
}

// MirrorY returns v with its y reversed: a left corner's coordinates seen as a
// right corner's and the other way about.
func (v Vec) MirrorY() Vec { return Vec{v.X, -v.Y, v.Z} }

// Turn is a rotation about a direction, given by the cosine and sine of its
// angle so that a hot path need not call trigonometry.
type Turn struct{ Cos, Sin float64 }

// TurnOf returns the turn by the angle a.
func TurnOf(a Angle) Turn {
	s, c := math.Sincos(float64(a))
	return Turn{c, s}
}

// Angle returns the angle of t, −π < angle ≤ π.
func (t Turn) Angle() Angle { return Angle(math.Atan2(t.Sin, t.Cos)) }

// Rotate turns v about the unit vector axis through the origin, right-handed:
// with the thumb along axis, the fingers curl the way v moves (Rodrigues'
// formula). The axis must have length 1; Unit makes one or refuses.
func (v Vec) Rotate(t Turn, axis Vec) Vec {
	w := axis.Cross(v)
	k := float64(axis.Dot(v) * (1 - t.Cos))
	return Vec{
		float64(v.X*t.Cos) + float64(w.X*t.Sin) + float64(axis.X*k),
		float64(v.Y*t.Cos) + float64(w.Y*t.Sin) + float64(axis.Y*k),
		float64(v.Z*t.Cos) + float64(w.Z*t.Sin) + float64(axis.Z*k),
	}
}

// Carry turns v by the smallest rotation that takes the unit vector from to
// the unit vector to: v·c + w×v + w·(w·v)/(1+c) with w = from×to, c = from·to.
// The two must not be opposite; for pivots of one kingpin they never are.
func (v Vec) Carry(from, to Vec) Vec {
	w := from.Cross(to)
	c := from.Dot(to)
	x := w.Cross(v)
	k := w.Dot(v) / (1 + c)
	return Vec{
		float64(v.X*c) + x.X + float64(w.X*k),
		float64(v.Y*c) + x.Y + float64(w.Y*k),
		float64(v.Z*c) + x.Z + float64(w.Z*k),
	}
}
