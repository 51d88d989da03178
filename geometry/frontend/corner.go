package frontend

import (
	"errors"
	"fmt"
	"math"

	"kartwright/geometry"
)

// Corner is one steered corner in its reference state: column straight ahead,
// every adjuster at standard. Coordinates are a left corner's (see the package
// comment), in millimetres.
type Corner struct {
	Bottom, Top geometry.Vec // kingpin pivots, fixed to the frame
	WheelCentre geometry.Vec
	Spindle     geometry.Vec // unit vector along the stub axle, outboard
	ArmJoint    geometry.Vec // tie-rod joint on the steering arm
	Lug         geometry.Vec // tie-rod joint on the column
	ColumnPoint geometry.Vec // any point of the column's axis
	ColumnAxis  geometry.Vec // unit vector of the column's axis, upward
	TyreRadius  geometry.Length

	axis   geometry.Vec    // unit vector Bottom → Top
	rod    geometry.Length // joint to joint
	branch float64         // which of the two closures of the linkage, ±1
}

// Shift is what the adjusters do to a corner: how far the pivots are moved,
// how far the stub axle is slid up its kingpin, how much longer the tie rod
// is. The zero value is the reference state.
type Shift struct {
	Bottom, Top geometry.Vec    // mm
	Slide       geometry.Length // upward along the kingpin
	Rod         geometry.Length // + = longer
}

// Add returns the two shifts together.
func (s Shift) Add(t Shift) Shift {
	return Shift{s.Bottom.Add(t.Bottom), s.Top.Add(t.Top), s.Slide + t.Slide, s.Rod + t.Rod}
}

// Pose is a corner as it stands after a shift and a turn of the column.
type Pose struct {
	Axis        geometry.Vec // unit vector of the kingpin, upward
	Foot        geometry.Vec // where the stub axle sits on the kingpin
	Spin        geometry.Turn
	Spindle     geometry.Vec
	WheelCentre geometry.Vec
	TyreRadius  geometry.Length
}

// ReachError reports a tie rod that cannot join its two ends.
type ReachError struct {
	Rod       geometry.Length // the rod's length
	Min, Max  geometry.Length // what the joints allow
	Shortfall geometry.Length // how much longer (or, negative, shorter) the rod would have to be
}

func (e *ReachError) Error() string {
	if e.Shortfall > 0 {
		return fmt.Sprintf("the tie rod is %v too short: it is %v long and its joints are at least %v apart", e.Shortfall, e.Rod, e.Min)
	}
	return fmt.Sprintf("the tie rod is %v too long: it is %v long and its joints are at most %v apart", -e.Shortfall, e.Rod, e.Max)
}

// Complete checks c and works out what follows from its points: the kingpin
// axis, the tie rod's length and which way the linkage closes. The other
// methods need it to have been called.
func (c *Corner) Complete() error {
	var err error
	if c.axis, err = c.Top.Sub(c.Bottom).Unit(); err != nil {
		return errors.New("the kingpin's two pivots are the same point")
	}
	if c.axis.Z < 0.5 {
		return errors.New("the kingpin leans more than 60° from upright: are its pivots swapped?")
	}
	if c.Spindle, err = c.Spindle.Unit(); err != nil || c.Spindle.Y < 0.5 {
		return errors.New("the stub axle must point outboard")
	}
	if c.ColumnAxis, err = c.ColumnAxis.Unit(); err != nil {
		return errors.New("the steering column has no direction")
	}
	if c.TyreRadius <= 0 {
		return errors.New("the tyre radius must be positive")
	}
	c.rod = geometry.Length(c.Lug.Sub(c.ArmJoint).Norm())
	p, q := c.ArmJoint.Sub(c.Bottom), c.Lug.Sub(c.Bottom)
	par := c.axis.Scale(c.axis.Dot(p))
	arm := p.Sub(par)
	if arm.Norm() < 1 {
		return errors.New("the tie-rod joint lies on the kingpin axis, so the rod cannot steer the wheel")
	}
	b := c.axis.Cross(p).Dot(q)
	if lever := math.Abs(b) / (arm.Norm() * float64(c.rod)); lever < 0.05 {
		return errors.New("the steering arm and the tie rod are in line, so the rod cannot steer the wheel")
	}
	c.branch = 1
	if b > 0 {
		c.branch = -1
	}
	return nil
}

// Rod returns the tie rod's length, joint to joint, in the reference state.
func (c *Corner) Rod() geometry.Length { return c.rod }

// carrier is the stub axle after its pivots moved and before it spins.
type carrier struct {
	axis, foot, spindle, centre, arm geometry.Vec // centre and arm from foot
}

// carry moves the stub axle with the kingpin: by the smallest rotation that
// takes the reference axis to the new one, about the lower pivot, then up the
// axis by the slide.
func (c *Corner) carry(s Shift) carrier {
	foot := c.Bottom.Add(s.Bottom)
	d := c.Top.Add(s.Top).Sub(foot)
	k := d.Scale(1 / d.Norm())
	return carrier{
		axis:    k,
		foot:    foot.AddScaled(float64(s.Slide), k),
		spindle: c.Spindle.Carry(c.axis, k),
		centre:  c.WheelCentre.Sub(c.Bottom).Carry(c.axis, k),
		arm:     c.ArmJoint.Sub(c.Bottom).Carry(c.axis, k),
	}
}

// lugAt returns the column's tie-rod joint with the column turned.
func (c *Corner) lugAt(column geometry.Turn) geometry.Vec {
	if column.Sin == 0 && column.Cos == 1 {
		return c.Lug
	}
	return c.ColumnPoint.Add(c.Lug.Sub(c.ColumnPoint).Rotate(column, c.ColumnAxis))
}

// Pose returns the corner after the shift s with the column turned by column,
// right-handed about ColumnAxis in this corner's own frame.
//
// The spin ψ that closes the linkage solves |P(ψ) − Q| = L. With the arm's
// part across the axis p⊥ and its quarter turn k×p this is
// a·cos ψ + b·sin ψ = c, a = p⊥·q, b = (k×p)·q, solved in closed form on the
// branch of the reference state. A *ReachError says by how much a rod cannot
// reach.
func (c *Corner) Pose(s Shift, column geometry.Turn) (Pose, error) {
	m := c.carry(s)
	q := c.lugAt(column).Sub(m.foot)
	length := float64(c.rod + s.Rod)
	along := m.axis.Dot(m.arm)
	across := m.arm.AddScaled(-along, m.axis)
	a, b := across.Dot(q), m.axis.Cross(m.arm).Dot(q)
	sum := m.arm.Dot(m.arm) + q.Dot(q)
	offset := float64(along * m.axis.Dot(q))
	e := (sum-float64(length*length))/2 - offset
	h2 := float64(a*a) + float64(b*b)
	r2 := h2 - float64(e*e)
	if r2 < 0 || length <= 0 {
		h := math.Sqrt(h2)
		lo := geometry.Length(math.Sqrt(math.Max(0, sum-2*offset-2*h)))
		hi := geometry.Length(math.Sqrt(sum - 2*offset + 2*h))
		re := &ReachError{Rod: geometry.Length(length), Min: lo, Max: hi}
		if re.Rod < lo {
			re.Shortfall = lo - re.Rod
		} else {
			re.Shortfall = hi - re.Rod
		}
		return Pose{}, re
	}
	r := c.branch * math.Sqrt(r2)
	t := geometry.Turn{
		Cos: (float64(a*e) - float64(b*r)) / h2,
		Sin: (float64(b*e) + float64(a*r)) / h2,
	}
	return m.spun(t, c.TyreRadius), nil
}

// PoseAtToe returns the corner after the shift s (whose Rod is ignored) with
// the column straight ahead and the stub axle spun so that the wheel's toe is
// toe, and the rod change that does this. It is the inverse of Pose in the tie
// rod. ok is false if no spin gives that toe.
func (c *Corner) PoseAtToe(s Shift, toe geometry.Angle) (p Pose, rod geometry.Length, ok bool) {
	m := c.carry(s)
	sin, cos := math.Sincos(float64(-toe)) // steer angle in the corner's frame
	n := geometry.Vec{X: cos, Y: sin}      // the wheel's heading; the spindle must be square to it
	along := m.axis.Dot(m.spindle)
	a := n.Dot(m.spindle.AddScaled(-along, m.axis))
	b := n.Dot(m.axis.Cross(m.spindle))
	e := -float64(along * n.Dot(m.axis))
	h2 := float64(a*a) + float64(b*b)
	r2 := h2 - float64(e*e)
	if r2 < 0 || h2 == 0 {
		return Pose{}, 0, false
	}
	r := math.Sqrt(r2)
	t := geometry.Turn{Cos: (float64(a*e) - float64(b*r)) / h2, Sin: (float64(b*e) + float64(a*r)) / h2}
	if u := (geometry.Turn{Cos: (float64(a*e) + float64(b*r)) / h2, Sin: (float64(b*e) - float64(a*r)) / h2}); u.Cos > t.Cos {
		t = u // the small spin, not the one that points the stub axle inboard
	}
	joint := m.foot.Add(m.arm.Rotate(t, m.axis))
	return m.spun(t, c.TyreRadius), geometry.Length(c.Lug.Sub(joint).Norm()) - c.rod, true
}

// PoseAtSpin returns the corner after the shift s with its stub axle spun by t
// and no tie rod attached, as on the bench.
func (c *Corner) PoseAtSpin(s Shift, t geometry.Turn) Pose {
	return c.carry(s).spun(t, c.TyreRadius)
}

func (m carrier) spun(t geometry.Turn, radius geometry.Length) Pose {
	return Pose{
		Axis:        m.axis,
		Foot:        m.foot,
		Spin:        t,
		Spindle:     m.spindle.Rotate(t, m.axis),
		WheelCentre: m.foot.Add(m.centre.Rotate(t, m.axis)),
		TyreRadius:  radius,
	}
}

// Caster returns the projected side-view lean of the kingpin, + = top rearward.
func (p Pose) Caster() geometry.Angle { return geometry.Angle(math.Atan2(-p.Axis.X, p.Axis.Z)) }

// KPI returns the projected front-view lean of the kingpin, + = top inboard.
func (p Pose) KPI() geometry.Angle { return geometry.Angle(math.Atan2(-p.Axis.Y, p.Axis.Z)) }

// Camber returns the wheel's lean, + = top outward.
func (p Pose) Camber() geometry.Angle {
	return geometry.Angle(-math.Asin(math.Max(-1, math.Min(1, p.Spindle.Z))))
}

// Steer returns the wheel's steer angle in the corner's own frame: positive
// with the front of the wheel outboard. For a left corner that is ISO 8855's
// steer angle, for a right one its negative.
func (p Pose) Steer() geometry.Angle {
	return geometry.Angle(math.Atan2(-p.Spindle.X, p.Spindle.Y))
}

// Toe returns the toe of this wheel, + = toe-in.
func (p Pose) Toe() geometry.Angle { return -p.Steer() }

// Contact returns the lowest point of the tyre, a thin disc of TyreRadius in
// the wheel's plane.
func (p Pose) Contact() geometry.Vec {
	s := p.Spindle
	h := math.Sqrt(float64(s.X*s.X) + float64(s.Y*s.Y))
	down := geometry.Vec{X: float64(s.X*s.Z) / h, Y: float64(s.Y*s.Z) / h, Z: -h}
	return p.WheelCentre.AddScaled(float64(p.TyreRadius), down)
}

// GroundOffsets returns where the kingpin axis meets a level ground through
// the contact point, relative to that point in the wheel's own directions:
// trail (ISO 8855 7.2.3, + = axis ahead) and steering-axis offset (7.2.6, + =
// axis inboard).
func (p Pose) GroundOffsets() (trail, offset geometry.Length) {
	contact := p.Contact()
	d := p.Foot.AddScaled((contact.Z-p.Foot.Z)/p.Axis.Z, p.Axis).Sub(contact)
	sin, cos := math.Sincos(float64(p.Steer()))
	return geometry.Length(float64(d.X*cos) + float64(d.Y*sin)),
		geometry.Length(float64(d.X*sin) - float64(d.Y*cos))
}
