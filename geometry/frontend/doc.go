// Package frontend is the kinematics of a kart's steered front axle: two
// corners, each a stub axle that can only turn about its kingpin, steered by
// tie rods from one column. There is no suspension.
//
// # Frame
//
// ISO 8855 axes: x forward, y left, z up, in millimetres, fixed to the frame.
// A Corner is always written as a left one. A right corner's coordinates are
// those of its mirror image, so y points outboard in every Corner; Axle does
// the mirroring, and hands out steer angles with ISO 8855's sign (positive to
// the left) for both sides.
//
// # Words and signs
//
//   - caster: side-view lean of the kingpin axis, positive with the top
//     rearward (ISO 8855 7.2.2); kingpin inclination (KPI): front-view lean,
//     positive with the top inboard. Both are projected angles, not successive
//     rotations.
//   - camber: lean of the wheel, positive with the top outward.
//   - toe: positive is toe-in (ISO 8855 7.1.6), per wheel.
//   - spin: rotation of the stub axle about its kingpin from the reference
//     state, right-handed about the upward axis, so that a positive spin turns
//     the front of the wheel outboard. Spin and steer angle differ.
//   - trail: castor offset at ground (7.2.3), positive when the kingpin axis
//     meets the ground ahead of the contact centre; steering-axis offset at
//     ground (7.2.6), positive when it meets it inboard.
package frontend
