package geometry_test

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"kartwright/geometry"
)

type bare = geometry.Measured[float64]

// The conversions of the pound are those of NIST SP 811 (2008), appendix B.8:
// lb to kg 4.535 924 E−01, lbf/in to N/m 1.751 268 E+02, ft·lbf to N·m
// 1.355 818 E+00.
func TestParseLoadQuantities(t *testing.T) {
	for _, tt := range []struct {
		read      func(string) (bare, error)
		text      string
		value, pm float64
	}{
		{geometry.ParseMeasuredMass[float64], "165 kg", 165, 0},
		{geometry.ParseMeasuredMass[float64], "36,4 ± 0,2 kg", 36.4, 0.2},
		{geometry.ParseMeasuredMass[float64], "850g +/- 5 g", 0.85, 0.005},
		{geometry.ParseMeasuredMass[float64], "100 lb", 45.35924, 0},
		{geometry.ParseMeasuredRate[float64], "64.5 N/mm", 64.5, 0},
		{geometry.ParseMeasuredRate[float64], "61 ± 5 kN/m", 61, 5},
		{geometry.ParseMeasuredRate[float64], "100 lb/in", 17.51268, 0},
		{geometry.ParseMeasuredTorsion[float64], "400 N·m/deg", 400, 0},
		{geometry.ParseMeasuredTorsion[float64], "400 ± 50 Nm/°", 400, 50},
		{geometry.ParseMeasuredTorsion[float64], "22.918312 kN·m/rad", 400, 0},
		{geometry.ParseMeasuredTorsion[float64], "100 lb ft/deg", 135.5818, 0},
		{geometry.ParseMeasuredShare[float64], "42 %", 0.42, 0},
		{geometry.ParseMeasuredShare[float64], "42 ± 1 percent", 0.42, 0.01},
	} {
		got, err := tt.read(tt.text)
		if err != nil || math.Abs(got.Value-tt.value) > 5e-6*tt.value || math.Abs(got.PM-tt.pm) > 1e-12 {
			t.Errorf("%q is read as %v ± %v, error %v; want %v ± %v", tt.text, got.Value, got.PM, err, tt.value, tt.pm)
		}
	}
}

func TestParseLoadQuantitiesRefuse(t *testing.T) {
	for _, tt := range []struct {
		read       func(string) (bare, error)
		text, want string
	}{
		{geometry.ParseMeasuredMass[float64], "165", `mass "165" has no unit (write 165kg or 165lb)`},
		{geometry.ParseMeasuredMass[float64], "165 N", `mass "165 N" has the unit "n", which is not one of kg, g or lb`},
		{geometry.ParseMeasuredMass[float64], "165 ± -1 kg", `what follows ± must not be negative`},
		{geometry.ParseMeasuredRate[float64], "64.5 mm", `which is not one of N/mm, kN/m, N/m or lb/in`},
		{geometry.ParseMeasuredTorsion[float64], "400 N·m", `which is not one of N·m/deg, N·m/rad, kN·m/rad or lb·ft/deg`},
		{geometry.ParseMeasuredShare[float64], "0.42", `share "0.42" has no unit (write 0.42 % or 0.42 percent)`},
		{geometry.ParseMeasuredShare[float64], "", `share is missing (write 1 % or 1 percent)`},
	} {
		if _, err := tt.read(tt.text); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%q is refused with %v, want a message with %q", tt.text, err, tt.want)
		}
	}
}

// A torsional stiffness per radian is the same one per degree.
func TestTorsionUnitsAgree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`[1-9][0-9]{0,4}(\.[0-9]{1,3})?`).Draw(t, "number")
		deg, err1 := geometry.ParseMeasuredTorsion[float64](text + " N·m/deg")
		rad, err2 := geometry.ParseMeasuredTorsion[float64](text + " Nm/rad")
		if err1 != nil || err2 != nil || math.Abs(rad.Value*180/math.Pi-deg.Value) > 1e-9*deg.Value {
			t.Fatalf("%s: %v N·m/deg, %v as N·m/rad (%v, %v)", text, deg.Value, rad.Value, err1, err2)
		}
	})
}
