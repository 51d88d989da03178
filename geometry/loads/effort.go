package loads

import (
	"math"

	"kartwright/geometry"
	"kartwright/geometry/frontend"
)

// TyreForces returns the ground's forces on both front wheels, in the kart's
// axes and N. The front axle's part of the sideways force, m·ay·b/L, is shared
// between the wheels in proportion to their loads; each wheel's acts square to
// its own heading. Drive and braking forces are at the rear on a kart and take
// no part.
func (k *Kart) TyreForces(st *State) (f [2]geometry.Vec) {
	demand := float64(k.Static()[Front]) * float64(st.Motion.Ay)
	var share float64
	for _, s := range frontend.Sides {
		share += float64(float64(st.Load[s]) * math.Cos(float64(st.Contact[s].Steer)))
	}
	for _, s := range frontend.Sides {
		load := float64(st.Load[s])
		sin, cos := math.Sincos(float64(st.Contact[s].Steer))
		var side float64
		if share > 0 {
			side = demand * load / share
		}
		f[s] = geometry.Vec{X: -side * sin, Y: side * cos, Z: load}
	}
	return f
}

// Effort returns the torque that the driver applies to the column to hold the
// state, + = to the left. It is minus the work of the ground's forces for a
// small turn of the column (virtual work), so it is exact for any linkage
// without friction. The frame's own tilt, a fraction of a degree, is left out.
func (k *Kart) Effort(st *State) Torque {
	forces := k.TyreForces(st)
	var work float64 // N·mm per radian
	for _, s := range frontend.Sides {
		c := &st.Contact[s]
		sin, cos := math.Sincos(float64(c.Steer))
		side := float64(forces[s].Y*cos) - float64(forces[s].X*sin)
		work += forces[s].Dot(c.Lever) - float64(c.Spin.Z*side*float64(k.PneumaticTrail))
	}
	return Torque(-work / 1000)
}

// Of returns t as a multiple of other, another state's effort. It is NaN if
// other is zero.
func (t Torque) Of(other Torque) float64 {
	if other == 0 {
		return math.NaN()
	}
	return float64(t / other)
}
