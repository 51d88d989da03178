package frontend

import (
	"errors"
	"math"

	"kartwright/geometry"
)

// Dimensions describe a corner by what a person can measure with a rule, a
// caliper and gauges, at standard setting and with the steering straight
// ahead. "Stub height" is the level of the stub axle's line at the kingpin.
// The origin that Corner returns points in lies there too, on the kart's centre
// line: x = 0 at the kingpin.
type Dimensions struct {
	Caster, KPI, Camber, Toe geometry.Angle

	KingpinSpacing geometry.Length // between both kingpin axes at stub height
	PivotSpan      geometry.Length // lower to upper pivot, along the kingpin
	StubHeight     geometry.Length // lower pivot to stub height, along the kingpin
	StubLength     geometry.Length // kingpin axis to the wheel's middle plane, along the stub axle
	StubLead       geometry.Length // how far the stub axle's line passes ahead of the kingpin axis
	TyreRadius     geometry.Length // loaded

	ArmLength geometry.Length // kingpin at stub height to the tie-rod joint, seen from above
	ArmAngle  geometry.Angle  // of the arm, from straight back toward inboard
	ArmDrop   geometry.Length // of the joint below stub height

	ColumnBehind geometry.Length // from the kingpins' line back to the column's axis, at the lugs
	ColumnHeight geometry.Length // of that point above stub height
	ColumnRake   geometry.Angle  // of the column from horizontal, top rearward
	LugDrop      geometry.Length // column axis to the line of the lug's holes, + = toward the ground
	LugSpacing   geometry.Length // between the two holes
}

// Corner returns the corner that d describes, complete.
func (d Dimensions) Corner() (Corner, error) {
	if math.Abs(d.Caster.Degrees()) > 60 || math.Abs(d.KPI.Degrees()) > 60 {
		return Corner{}, errors.New("caster and kingpin inclination must lie within 60°")
	}
	axis, err := geometry.Vec{X: -math.Tan(float64(d.Caster)), Y: -math.Tan(float64(d.KPI)), Z: 1}.Unit()
	if err != nil {
		return Corner{}, err
	}
	pin := geometry.Vec{Y: float64(d.KingpinSpacing) / 2}
	bottom := pin.AddScaled(-float64(d.StubHeight), axis)
	sinToe, cosToe := math.Sincos(float64(-d.Toe))
	sinCam, cosCam := math.Sincos(float64(d.Camber))
	spindle := geometry.Vec{X: -sinToe * cosCam, Y: cosToe * cosCam, Z: -sinCam}
	lead := geometry.Vec{X: cosToe, Y: sinToe}.Scale(float64(d.StubLead))
	sinArm, cosArm := math.Sincos(float64(d.ArmAngle))
	sinRake, cosRake := math.Sincos(float64(d.ColumnRake))
	column := geometry.Vec{X: -float64(d.ColumnBehind), Z: float64(d.ColumnHeight)}
	c := Corner{
		Bottom:      bottom,
		Top:         bottom.AddScaled(float64(d.PivotSpan), axis),
		WheelCentre: pin.Add(lead).AddScaled(float64(d.StubLength), spindle),
		Spindle:     spindle,
		ArmJoint: pin.Add(geometry.Vec{
			X: -float64(d.ArmLength) * cosArm, Y: -float64(d.ArmLength) * sinArm, Z: -float64(d.ArmDrop)}),
		Lug: column.Add(geometry.Vec{
			X: -float64(d.LugDrop) * sinRake, Y: float64(d.LugSpacing) / 2, Z: -float64(d.LugDrop) * cosRake}),
		ColumnPoint: column,
		ColumnAxis:  geometry.Vec{X: -cosRake, Z: sinRake},
		TyreRadius:  d.TyreRadius,
	}
	if err := c.Complete(); err != nil {
		return Corner{}, err
	}
	return c, nil
}
