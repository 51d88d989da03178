package loads

import (
	"fmt"

	"kartwright/geometry"
	"kartwright/geometry/frontend"
)

// FrontEnd says where both front wheels touch with the column turned by an
// angle, + = left. The contacts are by frontend.Side.
type FrontEnd func(column geometry.Angle) ([2]Contact, error)

// Straight returns where the tyres touch with the steering straight ahead, in
// each corner's own frame: the places that Contact is measured from.
func Straight(a *frontend.Axle, shift [2]frontend.Shift) (at [2]geometry.Vec, err error) {
	for _, s := range frontend.Sides {
		p, err := a.Pose(s, shift[s], geometry.Turn{Cos: 1})
		if err != nil {
			return at, err
		}
		at[s] = p.Contact()
	}
	return at, nil
}

// Kinematics returns the front end of an axle after the shifts given, exact in
// every angle. zero is the place in each corner's own frame that belongs to
// the zero Contact: Straight of the same axle and shift, or, to see what a
// change of setting alone does, Straight of what stood before.
func Kinematics(a *frontend.Axle, shift [2]frontend.Shift, zero [2]geometry.Vec) FrontEnd {
	return func(column geometry.Angle) (c [2]Contact, err error) {
		turn := geometry.TurnOf(column)
		for _, s := range frontend.Sides {
			p, err := a.Pose(s, shift[s], turn)
			if err != nil {
				return c, fmt.Errorf("column at %v: %w", column, err)
			}
			d := p.Contact().Sub(zero[s])
			spin := geometry.Vec{}.AddScaled(spinRate(&a.Corner[s], p, s, turn), p.Axis)
			lever := spin.Cross(p.Contact().Sub(p.Foot))
			steer := p.Steer()
			if s == frontend.Right {
				// The mirror image turns the other way: a displacement per
				// angle mirrors and changes sign; so does a rotation, which as
				// an axial vector mirrors the opposite way.
				steer = -steer
				lever = lever.MirrorY().Scale(-1)
				spin = spin.MirrorY()
			}
			c[s] = Contact{
				Ahead: geometry.Length(d.X), Out: geometry.Length(d.Y), Rise: geometry.Length(d.Z),
				Steer: steer, Lever: lever, Spin: spin,
			}
		}
		return c, nil
	}
}

// spinRate returns how fast the stub axle spins about its kingpin as the
// column turns, both in the corner's own frame: the rod keeps its length when
// (P − Q)·(k × p)·dψ = (P − Q)·(u × q)·dφ.
func spinRate(c *frontend.Corner, p frontend.Pose, s frontend.Side, turn geometry.Turn) float64 {
	if s == frontend.Right {
		turn.Sin = -turn.Sin
	}
	axis, _ := c.Top.Sub(c.Bottom).Unit() // Complete has refused a kingpin without direction
	arm := c.ArmJoint.Sub(c.Bottom).Carry(axis, p.Axis).Rotate(p.Spin, p.Axis)
	lug := c.Lug.Sub(c.ColumnPoint).Rotate(turn, c.ColumnAxis)
	rod := p.Foot.Add(arm).Sub(c.ColumnPoint.Add(lug))
	return rod.Dot(c.ColumnAxis.Cross(lug)) / rod.Dot(p.Axis.Cross(arm))
}

// KingpinLever returns how the piece of tyre that touches moves when the stub
// axle spins about its kingpin, in the corner's own frame and mm per radian.
// Its scalar product with the ground's force is that force's torque about the
// kingpin in N·mm: z·Fz is the exact form of the vertical load's torque, and
// at straight ahead y·Fy is −c·(trail)·Fy and x·Fx is −c·(offset)·Fx, c the
// cosine of the kingpin's lean.
func KingpinLever(p frontend.Pose) geometry.Vec { return p.Axis.Cross(p.Contact().Sub(p.Foot)) }

// Linear returns the front end of the simplest published model: both wheels
// steer by the column's angle, the inner one is pushed down and the outer one
// pulled up by jacking, in mm per radian (R. Lot and N. Dal Bianco, Vehicle
// System Dynamics 54(2), 2016). Only the vertical load works on its column.
func Linear(jacking geometry.Length) FrontEnd {
	return func(column geometry.Angle) ([2]Contact, error) {
		rise := jacking * geometry.Length(column)
		return [2]Contact{
			{Rise: -rise, Steer: column, Lever: geometry.Vec{Z: -float64(jacking)}},
			{Rise: rise, Steer: column, Lever: geometry.Vec{Z: float64(jacking)}},
		}, nil
	}
}
