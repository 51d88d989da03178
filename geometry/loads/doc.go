// Package loads computes what stands on each of a kart's four wheels, when a
// wheel lifts and how far, and what the driver feels at the steering column.
//
// A kart has no differential and no suspension: it turns because steering
// pushes the inner front wheel down, pulls the outer one up, and so lifts the
// inner rear wheel. This package carries that chain from the exact height of
// both front contact points to the load on every wheel.
//
// # Model
//
// Four contact points that can push but not pull stand under a frame that can
// twist about its length. A corner is a tyre in series with its share of the
// frame; the frame is a torsion spring between the front and the rear axle.
// The frame's position has four unknowns: heave, pitch, front roll and rear
// roll. The mass hangs at the section of its centre of gravity, whose roll lies
// between the two axles' in proportion to distance. Accelerations act as
// d'Alembert forces at the centre of gravity. Springs are linear and the
// centre of gravity is not carried sideways by roll (less than 1 % of the load
// transfer on a kart).
//
// Kart.Solve is exact for every set of wheels that can be on the ground; see
// there for how. It changes continuously when a wheel lifts.
//
// # Frame and signs
//
// ISO 8855 axes: x forward, y left, z up; x = 0 on the front axle's line, y = 0
// on the centre line, z = 0 on the ground. Column, steer angles and lateral
// acceleration are positive to the left, so that in a left turn the left
// wheels are the inner ones. Forces are the ground's on the kart.
//
// # Units
//
// Newton, millimetre, radian and kilogram; rates in N/mm (the same number as
// kN/m), moments in N·m, frame torsion in N·m per degree, accelerations in g.
package loads
