package geometry_test

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	. "kartwright/geometry"
)

func TestParseAngle(t *testing.T) {
	for in, want := range map[string]Angle{
		"12deg": 12 * Degree, "12°": 12 * Degree, " -0.5 deg": -0.5 * Degree, "−0,5°": -0.5 * Degree, "+1 1/2 deg": 1.5 * Degree,
		"0°30'": 30 * Minute, "1°30'15\"": Degree + 30.25*Minute, "30'": 30 * Minute, "-0°30'": -30 * Minute, "1d30m": 90 * Minute,
		"0.1 rad": 0.1, "3/4 deg": 0.75 * Degree,
	} {
		if got, err := ParseAngle(in); err != nil || math.Abs(float64(got-want)) > 1e-15 {
			t.Errorf("ParseAngle(%q) = %.17g, %v, want %.17g", in, float64(got), err, float64(want))
		}
	}
}

func TestParseLength(t *testing.T) {
	for in, want := range map[string]Length{
		"105 mm": 105, "10.5cm": 105, "1.2 m": 1200, "1/16 in": 25.4 / 16, "4 1/8 inch": 4.125 * 25.4, "1 1/2\"": 38.1, "-0,65mm": -0.65, "20 thou": 0.508,
	} {
		if got, err := ParseLength(in); err != nil || !got.Near(want, 1e-12) {
			t.Errorf("ParseLength(%q) = %v, %v, want %v", in, got, err, want)
		}
	}
}

func TestParseTurnsAndClock(t *testing.T) {
	for in, want := range map[string]Turns{"1/2 turn": 0.5, "-1.25 turns": -1.25, "3 half turns": 1.5, "90 deg": 0.25, "2 flats": 1. / 3} {
		if got, err := ParseTurns(in); err != nil || math.Abs(float64(got-want)) > 1e-15 {
			t.Errorf("ParseTurns(%q) = %v, %v, want %v", in, got, err, want)
		}
	}
	for in, want := range map[string]string{"1 o'clock": "1 o'clock", "12 o’clock": "12 o'clock", "0h": "12 o'clock", "1:30": "1:30", "10.5h": "10:30"} {
		if got, err := ParseClock(in); err != nil || got.String() != want {
			t.Errorf("ParseClock(%q) = %v, %v, want %v", in, got, err, want)
		}
	}
	if got := ClockOf(-30 * Degree).String(); got != "11 o'clock" {
		t.Errorf("30° anticlockwise of 12 is %s, want 11 o'clock", got)
	}
}

func TestParseMeasured(t *testing.T) {
	for in, want := range map[string]Measured[Length]{
		"105 mm": {105, 0}, "105 ± 0.5 mm": {105, 0.5}, "105mm±0.5mm": {105, 0.5}, "-3 +/- 1/16 in": {-76.2, 25.4 / 16}, "10.5 cm +- 1 mm": {105, 1},
	} {
		if got, err := ParseMeasuredLength(in); err != nil || !got.Value.Near(want.Value, 1e-12) || !got.PM.Near(want.PM, 1e-12) {
			t.Errorf("ParseMeasuredLength(%q) = %v, %v, want %v", in, got, err, want)
		}
	}
	if got, err := ParseMeasuredAngle("12° ± 30'"); err != nil || got != (Measured[Angle]{12 * Degree, 30 * Minute}) {
		t.Errorf("ParseMeasuredAngle(12° ± 30') = %v, %v", got, err)
	}
}

func TestParseErrorsSayWhatToWrite(t *testing.T) {
	angle := func(s string) error { _, err := ParseAngle(s); return err }
	length := func(s string) error { _, err := ParseLength(s); return err }
	clock := func(s string) error { _, err := ParseClock(s); return err }
	measured := func(s string) error { _, err := ParseMeasuredLength(s); return err }
	for _, tt := range []struct {
		parse    func(string) error
		in, want string
	}{
		{angle, "1.5", `angle "1.5" has no unit (write 1.5deg or 1.5rad)`},
		{angle, "-2", `angle "-2" has no unit (write -2deg or -2rad)`},
		{angle, "", "angle is missing (write 1deg or 1rad)"},
		{angle, "lots", `angle "lots" is not a number with a unit (write 1.5deg or 1.5rad)`},
		{angle, "3 mm", `angle "3 mm" has the unit "mm", which is not one of deg, ', " (degrees, minutes, seconds) or rad`},
		{length, "3 deg", `length "3 deg" has the unit "deg", which is not one of mm, cm, m or in`},
		{length, "3 mm 4 mm", `length "3 mm 4 mm" has more than one value`},
		{angle, "1'1°", `angle "1'1°" has more than one value`},
		{clock, "13 o'clock", `clock hour "13 o'clock" must lie between 0 and 12`},
		{clock, "1", `clock hour "1" is not understood (write 1 o'clock or 1:30)`},
		{measured, "3 ± -1 mm", `length "3 ± -1 mm": what follows ± must not be negative`},
	} {
		if err := tt.parse(tt.in); err == nil || err.Error() != tt.want {
			t.Errorf("%q: error %v, want %s", tt.in, err, tt.want)
		}
	}
}

func TestFormat(t *testing.T) {
	for _, tt := range []struct{ got, want string }{
		{Units{}.Angle(-0.5 * Degree), "-0.50°"},
		{Units{}.Angle(-0.001 * Degree), "0.00°"},
		{Units{}.AngleBy(0.5 * Degree), "+0.50°"},
		{Units{Minutes: true}.Angle(-1.5 * Degree), "-1°30'"},
		{Units{Minutes: true}.AngleBy(0.5 * Degree), "+0°30'"},
		{Units{}.Length(6.966), "6.97 mm"},
		{Units{Inches: true}.Length(25.4), "1.000 in"},
		{Turns(0.75).Spoken(), "3/4 turn"},
		{Turns(-1.13).Spoken(), "1.13 turns (about 1 1/8)"},
		{Turns(2).Spoken(), "2 turns"},
		{Turns(0.01).Spoken(), "0.010 turn"},
		{Turns(0.5).String(), "0.50 turns"},
	} {
		if tt.got != tt.want {
			t.Errorf("got %q, want %q", tt.got, tt.want)
		}
	}
}

// Degrees to radians and back is exact where a mechanic's numbers live.
func TestNamedConversions(t *testing.T) {
	if math.Pi*Radian != 180*Degree {
		t.Error("π rad must be exactly 180°")
	}
	if 30*Minute != 0.5*Degree {
		t.Error("30' must be exactly half a degree")
	}
	if !(359.99 * Degree).Near(0.01*Degree, 0.021*Degree) {
		t.Error("359.99° must be near 0.01°")
	}
}

func TestFormattedQuantitiesParseBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := Angle(rapid.Float64Range(-40, 40).Draw(t, "a")) * Degree
		for _, u := range []Units{{}, {Minutes: true}} {
			back, err := ParseAngle(u.Angle(a))
			if err != nil || !a.Near(back, 0.6*Minute) {
				t.Fatalf("%v printed as %s reads back as %v, %v", a, u.Angle(a), back, err)
			}
		}
		l := Length(rapid.Float64Range(-2000, 2000).Draw(t, "l"))
		for _, u := range []Units{{}, {Inches: true}} {
			back, err := ParseLength(u.Length(l))
			if err != nil || !l.Near(back, 0.0128) {
				t.Fatalf("%v printed as %s reads back as %v, %v", l, u.Length(l), back, err)
			}
		}
		n := Turns(rapid.Float64Range(0, 9).Draw(t, "turns"))
		back, err := ParseTurns(strings.SplitN(n.Spoken(), " (", 2)[0])
		if err != nil || math.Abs(float64(n-back)) > 0.005+1e-9 {
			t.Fatalf("%v spoken as %s reads back as %v, %v", n, n.Spoken(), back, err)
		}
	})
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"12deg", "1°30'", "1 1/2\"", "105 ± 0.5 mm", "1/0 mm", "±", "1e400 mm", "9'9\"", "−½°", "1:30", "3 half turns"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		finite := func(what string, v float64, err error) {
			if err == nil && (math.IsNaN(v) || math.IsInf(v, 0)) {
				t.Errorf("%s(%q) = %v without an error", what, s, v)
			}
		}
		a, err := ParseMeasuredAngle(s)
		finite("angle", float64(a.Value+a.PM), err)
		l, err := ParseMeasuredLength(s)
		finite("length", float64(l.Value+l.PM), err)
		n, err := ParseTurns(s)
		finite("turns", float64(n), err)
		c, err := ParseClock(s)
		finite("clock", float64(c), err)
		if err == nil && (c < 0 || c >= 12) {
			t.Errorf("ParseClock(%q) = %v", s, float64(c))
		}
	})
}
