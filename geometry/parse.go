package geometry

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Measured is a quantity as a person states it: a value and, if given, the ±
// that goes with it, both in the unit's stored form. PM is zero if none was
// given.
type Measured[T ~float64] struct{ Value, PM T }

// ParseAngle reads an angle with its unit: 12deg, 12°, 0.2rad, 30', 1°30',
// 1d30m15s, -0.5 deg. A decimal comma, a fraction (1/2 deg) and a leading
// minus sign of any kind are understood. An angle without a unit is an error
// that shows how to write it.
func ParseAngle(s string) (Angle, error) { return parseOne(s, angles) }

// ParseLength reads a length with its unit: 105 mm, 10.5cm, 1.2 m, 1/16 in,
// 1 1/2", 4 1/8 inch.
func ParseLength(s string) (Length, error) { return parseOne(s, lengths) }

// ParseTurns reads turns: 1/2 turn, 1.25 turns, -3/4 turn, 90 deg of screw.
func ParseTurns(s string) (Turns, error) { return parseOne(s, turns) }

// ParseMeasuredAngle reads an angle that may carry its uncertainty: 12deg,
// 12 ± 0.5 deg, 12° +/- 30'.
func ParseMeasuredAngle(s string) (Measured[Angle], error) { return parseMeasured(s, angles) }

// ParseMeasuredLength reads a length that may carry its uncertainty: 105 mm,
// 105 ± 0.5 mm, 4 1/8 in +/- 1/32 in.
func ParseMeasuredLength(s string) (Measured[Length], error) { return parseMeasured(s, lengths) }

// ParseClock reads a clock hour: 1 o'clock, 12 o'clock, 1:30, 10.5h. The hour
// must lie between 0 and 12; 0 and 12 are the same.
func ParseClock(s string) (Clock, error) {
	t := strings.TrimSpace(strings.ToLower(strings.ReplaceAll(s, "’", "'")))
	bad := func() (Clock, error) {
		return 0, fmt.Errorf("clock hour %q is not understood (write 1 o'clock or 1:30)", s)
	}
	stated := false
	for _, suffix := range []string{"o'clock", "oclock", "h"} {
		if rest, ok := strings.CutSuffix(t, suffix); ok {
			t, stated = strings.TrimSpace(rest), true
			break
		}
	}
	var h float64
	if hours, minutes, ok := strings.Cut(t, ":"); ok {
		hh, err1 := strconv.ParseUint(hours, 10, 8)
		mm, err2 := strconv.ParseUint(minutes, 10, 8)
		if err1 != nil || err2 != nil || mm > 59 {
			return bad()
		}
		h = float64(hh) + float64(mm)/60
	} else {
		if !stated {
			return bad()
		}
		v, rest, ok := number(t)
		if !ok || strings.TrimSpace(rest) != "" {
			return bad()
		}
		h = v
	}
	if h >= 13 || h > 12 && stated {
		return 0, fmt.Errorf("clock hour %q must lie between 0 and 12", s)
	}
	return Clock(math.Mod(h, 12)), nil
}

// dimension is what the parser must know of one quantity.
type dimension[T ~float64] struct {
	name  string // "angle"
	hint  string // how to write a number n that came without a unit
	among string // the units, for a message
	units map[string]T
	// sexagesimal allows a second and third part in smaller units: 1°30'15".
	sexagesimal bool
}

var angles = dimension[Angle]{
	name: "angle", hint: "write %sdeg or %srad", sexagesimal: true,
	among: "deg, ', \" (degrees, minutes, seconds) or rad",
	units: map[string]Angle{
		"deg": Degree, "degs": Degree, "degree": Degree, "degrees": Degree, "°": Degree, "º": Degree, "d": Degree,
		"'": Minute, "′": Minute, "min": Minute, "arcmin": Minute, "m": Minute,
		"\"": Minute / 60, "″": Minute / 60, "''": Minute / 60, "sec": Minute / 60, "arcsec": Minute / 60, "s": Minute / 60,
		"rad": Radian, "mrad": Radian / 1000,
	},
}

var lengths = dimension[Length]{
	name: "length", hint: "write %smm or %sin", among: "mm, cm, m or in",
	units: map[string]Length{
		"mm": Millimetre, "cm": Centimetre, "m": Metre, "µm": Millimetre / 1000, "um": Millimetre / 1000,
		"in": Inch, "inch": Inch, "inches": Inch, "\"": Inch, "″": Inch, "''": Inch, "thou": Inch / 1000,
	},
}

var turns = dimension[Turns]{
	name: "turns", hint: "write %s turns or %s deg", among: "turns, half turns, flats or deg",
	units: map[string]Turns{
		"turn": 1, "turns": 1, "t": 1, "half turn": 0.5, "half turns": 0.5, "half-turn": 0.5, "half-turns": 0.5,
		"quarter turn": 0.25, "quarter turns": 0.25, "flat": 1. / 6, "flats": 1. / 6,
		"deg": 1. / 360, "°": 1. / 360, "degrees": 1. / 360,
	},
}

// minuses are the characters that people and their keyboards use for one.
var minuses = strings.NewReplacer("−", "-", "–", "-", "‑", "-", "’", "'", "\u00a0", " ", "\u202f", " ")

func parseOne[T ~float64](s string, d dimension[T]) (T, error) {
	t := strings.TrimSpace(minuses.Replace(s))
	if t == "" {
		return 0, fmt.Errorf("%s is missing (%s)", d.name, fmt.Sprintf(d.hint, "1", "1"))
	}
	sign := T(1)
	switch t[0] {
	case '-':
		sign, t = -1, strings.TrimSpace(t[1:])
	case '+':
		t = strings.TrimSpace(t[1:])
	}
	var total T
	var last T // the unit of the part before, which the next must be below
	for first := true; t != ""; first = false {
		v, rest, ok := number(t)
		if !ok {
			return 0, fmt.Errorf("%s %q is not a number with a unit (%s)", d.name, s, fmt.Sprintf(d.hint, "1.5", "1.5"))
		}
		word, rest := unitWord(rest)
		unit, known := d.units[word]
		switch {
		case word == "":
			n := strconv.FormatFloat(v*float64(sign), 'g', -1, 64)
			return 0, fmt.Errorf("%s %q has no unit (%s)", d.name, s, fmt.Sprintf(d.hint, n, n))
		case !known:
			return 0, fmt.Errorf("%s %q has the unit %q, which is not one of %s", d.name, s, word, d.among)
		case !first && (!d.sexagesimal || unit >= last):
			return 0, fmt.Errorf("%s %q has more than one value", d.name, s)
		}
		total += T(float64(unit) * v)
		last, t = unit, strings.TrimSpace(rest)
	}
	total *= sign
	if math.IsInf(float64(total), 0) || math.IsNaN(float64(total)) {
		return 0, fmt.Errorf("%s %q is too large", d.name, s)
	}
	return total, nil
}

func parseMeasured[T ~float64](s string, d dimension[T]) (Measured[T], error) {
	t := minuses.Replace(s)
	before, after, ok := strings.Cut(t, "±")
	if !ok {
		if before, after, ok = strings.Cut(t, "+/-"); !ok {
			before, after, ok = strings.Cut(t, "+-")
		}
	}
	if !ok {
		v, err := parseOne(s, d)
		return Measured[T]{Value: v}, err
	}
	pm, err := parseOne(after, d)
	if err != nil {
		return Measured[T]{}, err
	}
	if pm < 0 {
		return Measured[T]{}, fmt.Errorf("%s %q: what follows ± must not be negative", d.name, s)
	}
	// "105 ± 0.5 mm": the unit after the ± serves both numbers.
	before = strings.TrimSpace(before)
	if _, rest, ok := number(strings.TrimLeft(before, "+- ")); ok && strings.TrimSpace(rest) == "" {
		_, unit, _ := number(strings.TrimSpace(after))
		before += unit
	}
	v, err := parseOne(before, d)
	return Measured[T]{Value: v, PM: pm}, err
}

// number reads an unsigned decimal (point or comma), fraction or mixed number
// from the front of s and returns what follows it.
func number(s string) (v float64, rest string, ok bool) {
	v, rest, ok = decimal(s)
	if !ok {
		return 0, s, false
	}
	if strings.HasPrefix(rest, "/") {
		if den, r, ok := decimal(rest[1:]); ok && den != 0 {
			return v / den, r, true
		}
		return 0, s, false
	}
	// A whole number followed by a fraction: 1 1/2.
	if t := strings.TrimLeft(rest, " "); t != rest && v == math.Trunc(v) {
		if num, r, ok := decimal(t); ok && strings.HasPrefix(r, "/") {
			if den, r, ok := decimal(r[1:]); ok && den != 0 {
				return v + num/den, r, true
			}
		}
	}
	return v, rest, true
}

func decimal(s string) (float64, string, bool) {
	i, digits := 0, 0
	seenPoint := false
	for i < len(s) {
		switch c := s[i]; {
		case c >= '0' && c <= '9':
			digits++
		case (c == '.' || c == ',') && !seenPoint:
			seenPoint = true
		default:
			goto done
		}
		i++
	}
done:
	if digits == 0 || digits > 17 {
		return 0, s, false
	}
	// An exponent, as a computer prints very small numbers.
	if j := i; j < len(s) && (s[j] == 'e' || s[j] == 'E') {
		j++
		if j < len(s) && (s[j] == '+' || s[j] == '-') {
			j++
		}
		k := j
		for k < len(s) && s[k] >= '0' && s[k] <= '9' {
			k++
		}
		if k > j {
			i = k
		}
	}
	v, err := strconv.ParseFloat(strings.Replace(s[:i], ",", ".", 1), 64)
	return v, s[i:], err == nil
}

// unitWord splits the unit off the front of s: letters, or one of ° ' ".
func unitWord(s string) (word, rest string) {
	s = strings.TrimLeft(s, " ")
	i := 0
	for i < len(s) {
		c := s[i]
		if c >= '0' && c <= '9' || c == '+' || c == '.' {
			break
		}
		i++
	}
	return strings.ToLower(strings.TrimSpace(s[:i])), s[i:]
}
