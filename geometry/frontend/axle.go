package frontend

import (
	"fmt"
	"math"
	"strings"

	"kartwright/geometry"
)

// Side names a corner of the kart as the driver sits in it.
type Side uint8

// The two sides, in the order in which everything is listed.
const (
	Left Side = iota
	Right
)

// Sides are both sides in order, to range over.
var Sides = [2]Side{Left, Right}

func (s Side) String() string {
	if s == Left {
		return "left"
	}
	return "right"
}

// Figures are what one corner measures with the column straight ahead.
type Figures struct {
	Caster, KPI, Camber, Toe geometry.Angle
	Trail, Offset            geometry.Length // at ground
	Contact                  geometry.Vec    // of the tyre, corner's own frame
}

// Figures returns what the pose measures.
func (p Pose) Figures() Figures {
	trail, offset := p.GroundOffsets()
	return Figures{
		Caster: p.Caster(), KPI: p.KPI(), Camber: p.Camber(), Toe: p.Toe(),
		Trail: trail, Offset: offset, Contact: p.Contact(),
	}
}

// Axle is the steered axle: both corners and the distance to the rear axle.
type Axle struct {
	Corner    [2]Corner // by Side
	Wheelbase geometry.Length
}

// Pose returns the corner on side s after its shift, with the column turned by
// column (+ = left turn).
func (a *Axle) Pose(s Side, shift Shift, column geometry.Turn) (Pose, error) {
	if s == Right {
		column.Sin = -column.Sin // the mirror image turns the other way
	}
	p, err := a.Corner[s].Pose(shift, column)
	if err != nil {
		return Pose{}, fmt.Errorf("%v side: %w", s, err)
	}
	return p, nil
}

// Steered is the axle at one angle of the column.
type Steered struct {
	Column    geometry.Angle // + = left
	Steer     [2]geometry.Angle
	Camber    [2]geometry.Angle
	Height    [2]geometry.Length // of the contact points over straight ahead; + = contact rises, the frame sinks
	Ackermann geometry.Angle     // outer wheel's steer beyond the ideal; 0 = both wheels roll about one centre, + = parallel side
}

// Sweep returns the axle at each column angle given. Steer angles are ISO
// 8855's, + = left, on both sides.
func (a *Axle) Sweep(shift [2]Shift, column []geometry.Angle) ([]Steered, error) {
	var level [2]float64
	for _, s := range Sides {
		p, err := a.Pose(s, shift[s], geometry.Turn{Cos: 1})
		if err != nil {
			return nil, err
		}
		level[s] = p.Contact().Z
	}
	out := make([]Steered, len(column))
	for i, phi := range column {
		st := Steered{Column: phi}
		var centre [2]geometry.Vec
		for _, s := range Sides {
			p, err := a.Pose(s, shift[s], geometry.TurnOf(phi))
			if err != nil {
				return nil, fmt.Errorf("column at %v: %w", phi, err)
			}
			st.Steer[s], st.Camber[s] = p.Steer(), p.Camber()
			st.Height[s] = geometry.Length(p.Contact().Z - level[s])
			centre[s] = p.WheelCentre
			if s == Right {
				st.Steer[s], centre[s] = -st.Steer[s], centre[s].MirrorY()
			}
		}
		st.Ackermann = a.ackermann(st.Steer, centre)
		out[i] = st
	}
	return out, nil
}

// ackermann returns how far the outer wheel's steer is beyond what ISO 8855
// 7.1.9 asks: that the two wheels' axes meet on the rear axle's line. It is
// zero within a tenth of a degree of straight ahead, where no centre exists.
func (a *Axle) ackermann(steer [2]geometry.Angle, centre [2]geometry.Vec) geometry.Angle {
	inner, outer := Left, Right
	if steer[Left]+steer[Right] < 0 {
		inner, outer = Right, Left
	}
	if math.Abs(steer[inner].Degrees()) < 0.1 {
		return 0
	}
	// The turn centre on the rear axle's line, as the inner wheel sees it.
	reach := float64(a.Wheelbase) + centre[inner].X
	y := centre[inner].Y + reach/math.Tan(float64(steer[inner]))
	ideal := math.Atan2(float64(a.Wheelbase)+centre[outer].X, math.Abs(y-centre[outer].Y))
	return geometry.Angle(math.Abs(float64(steer[outer])) - ideal)
}

// AckermannOuter returns the steer angle that the outer wheel needs so that
// both wheels roll about one centre: cot δo = cot δi + w/L, with w the spacing
// of the kingpins (ISO 8855 7.1.9; R. N. Jazar, Vehicle Dynamics, ch. 7, from
// memory). inner must lie between 0 and 90°, exclusive.
func AckermannOuter(inner geometry.Angle, kingpins, wheelbase geometry.Length) geometry.Angle {
	return geometry.Angle(math.Atan(1 / (1/math.Tan(float64(inner)) + float64(kingpins/wheelbase))))
}

// ToeLength returns toe a of one wheel as a length: how much closer to the
// kart's centre line the front end of a straight edge of length over is than
// its rear end. It is over·sin a.
func ToeLength(a geometry.Angle, over geometry.Length) geometry.Length {
	return geometry.Length(float64(over) * math.Sin(float64(a)))
}

// ToeAngle is the inverse of ToeLength. The length must not exceed over.
func ToeAngle(d, over geometry.Length) geometry.Angle {
	return geometry.Angle(math.Asin(float64(d / over)))
}

// ParseToe reads the toe of one wheel as an angle (-0.2deg, 0°12' in) or as a
// length over a length (-1 mm over 255 mm, 1 mm out over 255 mm). Positive is
// toe-in; "out" and "in" say it in words instead of the sign.
func ParseToe(s string) (geometry.Measured[geometry.Angle], error) {
	var none geometry.Measured[geometry.Angle]
	amount, over, isLength := strings.Cut(s, " over ")
	sign, amount := geometry.Angle(1), " "+amount+" "
	for word, v := range map[string]geometry.Angle{" out ": -1, " in ": 1} {
		// "1/16 in" is inches: a word counts only after a unit.
		if i := strings.LastIndex(amount, word); i > 0 && strings.ContainsAny(amount[:i], "m°d'\"n") {
			if strings.ContainsAny(amount[:i], "-−") {
				return none, fmt.Errorf("toe %q has both a sign and a word", s)
			}
			sign, amount = v, amount[:i]+" "+amount[i+len(word):]
		}
	}
	if !isLength {
		m, err := geometry.ParseMeasuredAngle(amount)
		if err != nil {
			return none, fmt.Errorf("%w; toe may also be written -1 mm over 255 mm", err)
		}
		m.Value *= sign
		return m, nil
	}
	d, err := geometry.ParseMeasuredLength(amount)
	if err != nil {
		return none, err
	}
	l, err := geometry.ParseLength(over)
	if err != nil {
		return none, err
	}
	if l <= 0 || math.Abs(float64(d.Value)) > float64(l)/2 {
		return none, fmt.Errorf("toe %q: the length after \"over\" must be positive and much longer than the toe", s)
	}
	return geometry.Measured[geometry.Angle]{Value: sign * ToeAngle(d.Value, l), PM: geometry.Angle(d.PM / l)}, nil
}
