package measure

import (
	"errors"
	"math"

	"kartwright/geometry"
)

// Beam says which way a laser shines along the stub axle.
type Beam uint8

// The directions.
const (
	Across  Beam = iota // inboard, across the kart, at a target on its other side
	Outward             // outboard, at a wall or a board beside the kart
)

// Laser is a laser seated on the plain cylinder of the stub axle, shining
// along it at an upright target that stands fore-and-aft, square to the beam
// of a wheel without camber and toe.
type Laser struct {
	Distance geometry.Measured[geometry.Length] // from the stub axle's cylinder to the target
	Beam     Beam
	Square   geometry.Length // edge of the target's squares; 0 if it is marked in mm
}

// Spot is where the beam lands, from the mark that it would hit without camber
// and toe: straight across from the stub axle and as high as it.
type Spot struct {
	Up      geometry.Measured[geometry.Length] // + = higher
	Forward geometry.Measured[geometry.Length] // + = toward the front of the kart
}

// Tilt is what a spot tells of its wheel.
type Tilt struct {
	Camber, Toe geometry.Measured[geometry.Angle]
}

// sign is + where toe-in sends the spot forward.
func (l Laser) sign() float64 {
	if l.Beam == Across {
		return -1
	}
	return 1
}

// Read returns the wheel's camber and toe: with D the distance, outward,
//
//	tan toe = forward/D      tan camber = −up·cos(toe)/D
//
// and with both signs reversed across the kart: the direction of the stub axle
// is (sin toe·cos camber, cos toe·cos camber, −sin camber).
func (l Laser) Read(s Spot) (Tilt, error) {
	if err := errors.Join(positive("the distance to the laser's target", l.Distance),
		sane("the spot's height", s.Up), sane("the spot's place fore and aft", s.Forward)); err != nil {
		return Tilt{}, err
	}
	if err := errors.Join(plausible("a spot offset", s.Up.Value, l.Distance.Value), plausible("a spot offset", s.Forward.Value, l.Distance.Value)); err != nil {
		return Tilt{}, err
	}
	toe := func(x []float64) float64 { return math.Atan(l.sign() * x[0] / x[1]) }
	camber := func(x []float64) float64 { return -math.Atan(l.sign() * x[2] * math.Cos(toe(x)) / x[1]) }
	in := []number{bare(s.Forward), bare(l.Distance), bare(s.Up)}
	return Tilt{Camber: carry[geometry.Angle](camber, in...), Toe: carry[geometry.Angle](toe, in...)}, nil
}

// Spot returns where the beam lands for a wanted camber and toe: the reading to
// look for.
func (l Laser) Spot(t Tilt) (Spot, error) {
	if err := errors.Join(positive("the distance to the laser's target", l.Distance), leans("camber", t.Camber), leans("toe", t.Toe)); err != nil {
		return Spot{}, err
	}
	forward := func(x []float64) float64 { return l.sign() * x[2] * math.Tan(x[1]) }
	up := func(x []float64) float64 { return -l.sign() * x[2] * math.Tan(x[0]) / math.Cos(x[1]) }
	in := []number{bare(t.Camber), bare(t.Toe), bare(l.Distance)}
	return Spot{Up: carry[geometry.Length](up, in...), Forward: carry[geometry.Length](forward, in...)}, nil
}

// errNoSquares is returned for a target whose squares have no stated size.
var errNoSquares = errors.New("squares were counted on a target whose squares have no size: measure ten of them and give a tenth of that")

// FromSquares returns a number of squares on the target as a length.
func (l Laser) FromSquares(n geometry.Measured[float64]) (geometry.Measured[geometry.Length], error) {
	if !(l.Square > 0) {
		return geometry.Measured[geometry.Length]{}, errNoSquares
	}
	return geometry.Measured[geometry.Length]{Value: geometry.Length(n.Value) * l.Square, PM: geometry.Length(n.PM) * l.Square}, sane("the number of squares", n)
}

// ToSquares returns a length on the target as a number of squares.
func (l Laser) ToSquares(m geometry.Measured[geometry.Length]) (geometry.Measured[float64], error) {
	if !(l.Square > 0) {
		return geometry.Measured[float64]{}, errNoSquares
	}
	return geometry.Measured[float64]{Value: float64(m.Value / l.Square), PM: float64(m.PM / l.Square)}, sane("the offset", m)
}
