package ruleset

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"kartwright/geometry"
)

// Units are the units that a move can be measured in.
func Units() []string { return []string{"deg", "mm", "bar", "step"} }

// examples are amounts of each unit as they should be written.
var examples = map[string]string{"deg": "0.5 deg", "mm": "5 mm", "bar": "0.05 bar", "step": "1 step"}

// What can be wrong with an amount beside its being nonsense.
var (
	errNoUnit = errors.New("no unit")
	errNoSign = errors.New("no sign")
	errZero   = errors.New("no change")
)

// ParseAmount reads a signed change of a move measured in a unit of Units, and
// returns it in that unit: "+0.5 deg", "−30'", "+5 mm", "-0.7 psi", "+1 step".
// An angle may also be given as the distance by which one wheel is out over a
// length, "−1 mm over 255 mm": the two are the ends of the wheel's diameter, so
// the angle is asin(1/255).
func ParseAmount(text, unit string) (float64, error) {
	t := strings.TrimSpace(text)
	sign, rest := 1.0, ""
	for prefix, s := range map[string]float64{"+": 1, "-": -1, "−": -1, "–": -1} {
		if r, ok := strings.CutPrefix(t, prefix); ok {
			sign, rest = s, strings.TrimSpace(r)
		}
	}
	if rest == "" {
		size, err := ParseSize(t, unit)
		if err != nil {
			return 0, err
		}
		if size == 0 {
			return 0, errZero
		}
		return 0, errNoSign
	}
	size, err := ParseSize(rest, unit)
	if err == nil && size == 0 {
		err = errZero
	}
	return sign * size, err
}

// ParseValue reads where a move stands, in its unit: like ParseAmount, but zero
// is a value and a value above it needs no sign.
func ParseValue(text, unit string) (float64, error) {
	x, err := ParseAmount(text, unit)
	switch {
	case errors.Is(err, errZero):
		return 0, nil
	case errors.Is(err, errNoSign):
		return ParseSize(text, unit)
	}
	return x, err
}

// ParseSize reads an amount without a sign and returns it in the unit, to the
// nearest billionth.
func ParseSize(text, unit string) (float64, error) {
	t := strings.TrimSpace(text)
	if t == "" || strings.ContainsAny(t[:1], "+-") || strings.HasPrefix(t, "−") || strings.HasPrefix(t, "–") {
		return 0, fmt.Errorf("%q is not an amount (write %s)", text, examples[unit])
	}
	if number, err := plainNumber(t); err == nil && !strings.HasSuffix(t, `"`) {
		return number, errNoUnit
	}
	var x float64
	var err error
	switch unit {
	case "deg":
		if distance, over, ok := strings.Cut(t, " over "); ok {
			var d, l geometry.Length
			d, err = geometry.ParseLength(distance)
			if err == nil {
				l, err = geometry.ParseLength(over)
			}
			if err == nil && !(d >= 0 && d < l) {
				err = fmt.Errorf("%q is not an angle: the distance has to be less than the length it is over", text)
			}
			x = geometry.Angle(math.Asin(float64(d / l))).Degrees()
			break
		}
		var a geometry.Angle
		a, err = geometry.ParseAngle(t)
		x = a.Degrees()
	case "mm":
		var l geometry.Length
		l, err = geometry.ParseLength(t)
		x = l.Millimetres()
	case "bar":
		// 1 psi = 0.0689475729 bar, from the international pound and inch
		x, err = inUnits(t, map[string]float64{"bar": 1, "mbar": 0.001, "kPa": 0.01, "kpa": 0.01, "psi": 0.0689475729}, "bar, mbar, kPa or psi")
	case "step":
		x, err = inUnits(t, map[string]float64{"step": 1, "steps": 1}, "step")
	default:
		return 0, fmt.Errorf("%q is not a unit of a move", unit)
	}
	return math.Round(x*1e9) / 1e9, err
}

// inUnits reads a number followed by one of the units.
func inUnits(t string, units map[string]float64, list string) (float64, error) {
	i := strings.LastIndexAny(t, "0123456789") + 1
	word := strings.TrimSpace(t[i:])
	per, known := units[word]
	if !known {
		return 0, fmt.Errorf("%q has the unit %q, which is not %s", t, word, list)
	}
	x, err := plainNumber(strings.TrimSpace(t[:i]))
	if err != nil {
		return 0, fmt.Errorf("%q is not a number with a unit", t)
	}
	return x * per, nil
}

// plainNumber reads "0.5", "0,5" or "1/2".
func plainNumber(t string) (float64, error) {
	if a, b, ok := strings.Cut(t, "/"); ok {
		x, err1 := plainNumber(a)
		y, err2 := plainNumber(b)
		if err1 != nil || err2 != nil || y == 0 {
			return 0, errors.New("not a fraction")
		}
		return x / y, nil
	}
	if strings.ContainsFunc(t, func(r rune) bool { return (r < '0' || r > '9') && r != '.' && r != ',' }) {
		return 0, errors.New("not a number")
	}
	return strconv.ParseFloat(strings.Replace(t, ",", ".", 1), 64)
}

// FormatAmount writes a signed amount as ParseAmount reads it: "+0.5 deg", with
// at most three decimals.
func FormatAmount(x float64, unit string) string {
	return fmt.Sprintf("%+g %s", round3(x), unit)
}

// FormatSize writes an amount without its sign.
func FormatSize(x float64, unit string) string {
	return fmt.Sprintf("%g %s", round3(math.Abs(x)), unit)
}

func round3(x float64) float64 {
	if r := math.Round(x*1000) / 1000; r != 0 {
		return r
	}
	return x
}

func isUnit(unit string) bool { return slices.Contains(Units(), unit) }
