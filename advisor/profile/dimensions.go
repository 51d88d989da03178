package profile

import (
	"slices"

	"kartwright/geometry"
	"kartwright/geometry/frontend"
)

// A dimension is one measured number of a profile: where it stands, what it is
// assumed to be when it is left out, and what is plausible.
type dimension struct {
	table, key string
	unit       unit
	usual      float64 // assumed value, in the unit's word
	spread     float64 // ± of the assumed value: it lies within with some certainty
	lo, hi     float64 // plausible, in the unit's word
	doc        string
	put        func(*frontend.Dimensions, float64) // mm or radians; nil for what no corner depends on
}

type unit uint8

const (
	lengthUnit unit = iota
	angleUnit
	toeUnit
	massUnit
	rateUnit
	torsionUnit
	shareUnit
)

// word is how the unit is written in a profile.
func (u unit) word() string {
	return [...]string{"mm", "deg", "deg", "kg", "N/mm", "N·m/deg", "%"}[u]
}

// sign is the unit as it is printed behind a number.
func (u unit) sign() string {
	if u.angle() {
		return "°"
	}
	return " " + u.word()
}

// stored is one of the unit's word as values are kept: in mm, radians, kg,
// N/mm, N·m/deg or as a fraction.
func (u unit) stored() float64 {
	switch {
	case u.angle():
		return float64(geometry.Degree)
	case u == shareUnit:
		return 0.01
	}
	return 1
}

func (u unit) angle() bool { return u == angleUnit || u == toeUnit }

func length(get func(*frontend.Dimensions) *geometry.Length) func(*frontend.Dimensions, float64) {
	return func(d *frontend.Dimensions, v float64) { *get(d) = geometry.Length(v) }
}

func angle(get func(*frontend.Dimensions) *geometry.Angle) func(*frontend.Dimensions, float64) {
	return func(d *frontend.Dimensions, v float64) { *get(d) = geometry.Angle(v) }
}

// The assumed values are those of an ordinary senior kart (common practice);
// wheelbase 1045 mm and tyre sizes near those of R. Lot and N. Dal Bianco,
// Vehicle System Dynamics 54(2), 2016.
var dimensions = []dimension{
	{"kart", "wheelbase", lengthUnit, 1045, 10, 700, 1400, "front to rear axle, wheel centre to wheel centre", nil},
	{"kart", "tyre_radius", lengthUnit, 128, 3, 90, 180, "front tyre: floor to wheel centre with the driver in", length(func(d *frontend.Dimensions) *geometry.Length { return &d.TyreRadius })},

	{"corner", "caster", angleUnit, 12, 2, -5, 30, "side-view lean of the kingpin at standard setting, + = top rearward", angle(func(d *frontend.Dimensions) *geometry.Angle { return &d.Caster })},
	{"corner", "kpi", angleUnit, 11, 2, -5, 25, "kingpin inclination: front-view lean of the kingpin at standard, + = top inboard", angle(func(d *frontend.Dimensions) *geometry.Angle { return &d.KPI })},
	{"corner", "camber", angleUnit, 0, 0.5, -10, 10, "lean of the wheel at standard, + = top outward", angle(func(d *frontend.Dimensions) *geometry.Angle { return &d.Camber })},
	{"corner", "toe", toeUnit, 0, 0.3, -5, 5, "of this wheel at standard, + = toe-in; an angle, or a length over a length: \"1 mm out over 255 mm\"", angle(func(d *frontend.Dimensions) *geometry.Angle { return &d.Toe })},
	{"corner", "kingpin_spacing", lengthUnit, 720, 30, 400, 1000, "between the two kingpins' axes at the height of the stub axles", length(func(d *frontend.Dimensions) *geometry.Length { return &d.KingpinSpacing })},
	{"corner", "pivot_span", lengthUnit, 78, 6, 30, 200, "from the middle of the lower to the middle of the upper kingpin bush, along the kingpin (caliper)", length(func(d *frontend.Dimensions) *geometry.Length { return &d.PivotSpan })},
	{"corner", "stub_height", lengthUnit, 39, 5, -100, 150, "from the middle of the lower bush up to the stub axle's line, along the kingpin", length(func(d *frontend.Dimensions) *geometry.Length { return &d.StubHeight })},
	{"corner", "stub_length", lengthUnit, 165, 20, 30, 350, "from the kingpin's axis out to the middle of the tyre, along the stub axle", length(func(d *frontend.Dimensions) *geometry.Length { return &d.StubLength })},
	{"corner", "stub_lead", lengthUnit, 0, 2, -40, 40, "how far the stub axle's line passes ahead of the kingpin's axis", length(func(d *frontend.Dimensions) *geometry.Length { return &d.StubLead })},
	{"corner", "arm_length", lengthUnit, 105, 5, 50, 200, "from the kingpin's axis at stub height to the tie-rod joint on the steering arm, seen from above", length(func(d *frontend.Dimensions) *geometry.Length { return &d.ArmLength })},
	{"corner", "arm_angle", angleUnit, 10, 4, -45, 45, "of the steering arm, from straight back toward inboard", angle(func(d *frontend.Dimensions) *geometry.Angle { return &d.ArmAngle })},
	{"corner", "arm_drop", lengthUnit, 8, 5, -80, 80, "how far the tie-rod joint lies below stub height", length(func(d *frontend.Dimensions) *geometry.Length { return &d.ArmDrop })},

	{"steering", "column_behind", lengthUnit, 125, 10, 20, 400, "from the line between the kingpins back to the steering column's axis, at its lug", length(func(d *frontend.Dimensions) *geometry.Length { return &d.ColumnBehind })},
	{"steering", "column_height", lengthUnit, 15, 10, -150, 200, "of that point above stub height", length(func(d *frontend.Dimensions) *geometry.Length { return &d.ColumnHeight })},
	{"steering", "column_rake", angleUnit, 45, 5, 10, 80, "of the steering column from the floor", angle(func(d *frontend.Dimensions) *geometry.Angle { return &d.ColumnRake })},
	{"steering", "lug_drop", lengthUnit, 38, 5, -120, 120, "from the column's axis to the line through the lug's two holes, + = toward the floor", length(func(d *frontend.Dimensions) *geometry.Length { return &d.LugDrop })},
	{"steering", "lug_spacing", lengthUnit, 40, 10, 0, 200, "between the two tie-rod holes of the column's lug", length(func(d *frontend.Dimensions) *geometry.Length { return &d.LugSpacing })},
}

// Dimension tells a person about one number of a profile.
type Dimension struct {
	Table, Key string
	Assumed    string // what is taken if it is left out, with its ±
	Doc        string
}

// Dimensions returns every number that a profile by angles and lengths can
// give, in the order of the file: first what the front end depends on, then
// the table "mass", which only the wheel loads depend on.
func Dimensions() []Dimension {
	var out []Dimension
	for _, d := range slices.Concat(dimensions, loadDimensions) {
		out = append(out, Dimension{d.table, d.key, d.assumed(), d.doc})
	}
	return out
}

func (d dimension) assumed() string {
	u := " " + d.unit.word()
	if d.spread == 0 {
		return trim(d.usual) + u
	}
	return trim(d.usual) + u + " ± " + trim(d.spread) + u
}
