package geometry

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Units says how a person wants figures printed. The zero value is
// millimetres and decimal degrees.
type Units struct {
	Inches  bool // lengths in inches instead of millimetres
	Minutes bool // angles in degrees and minutes instead of decimal degrees
}

// Angle prints a in degrees with two decimals, or to the nearest minute.
func (u Units) Angle(a Angle) string { return u.angle(a, false) }

// AngleBy prints a as a change, with its sign.
func (u Units) AngleBy(a Angle) string { return u.angle(a, true) }

func (u Units) angle(a Angle, signed bool) string {
	if !u.Minutes {
		return fixed(a.Degrees(), 2, signed) + "°"
	}
	minutes := int64(math.Round(math.Abs(float64(a / Minute))))
	sign := ""
	switch {
	case a < 0 && minutes > 0:
		sign = "-"
	case signed && minutes > 0:
		sign = "+"
	}
	return fmt.Sprintf("%s%d°%02d'", sign, minutes/60, minutes%60)
}

// Length prints l in millimetres with two decimals, or in thousandths of an
// inch.
func (u Units) Length(l Length) string { return u.length(l, false) }

// LengthBy prints l as a change, with its sign.
func (u Units) LengthBy(l Length) string { return u.length(l, true) }

func (u Units) length(l Length, signed bool) string {
	if u.Inches {
		return fixed(l.Inches(), 3, signed) + " in"
	}
	return fixed(float64(l), 2, signed) + " mm"
}

// LengthName is the unit that Length prints in.
func (u Units) LengthName() string {
	if u.Inches {
		return "in"
	}
	return "mm"
}

// fixed prints v with the decimals given and never prints a negative zero.
func fixed(v float64, decimals int, signed bool) string {
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
		return s
	}
	if signed && v > 0 {
		s = "+" + s
	}
	return s
}

// String prints a in decimal degrees, for messages and test failures.
func (a Angle) String() string { return Units{}.Angle(a) }

// String prints l in millimetres, for messages and test failures.
func (l Length) String() string { return Units{}.Length(l) }

// String prints t to a hundredth of a turn.
func (t Turns) String() string {
	s := fixed(float64(t), 2, false)
	if s == "1.00" || s == "-1.00" {
		return s + " turn"
	}
	return s + " turns"
}

// Spoken prints the size of t, without its sign, as a mechanic would turn it: a
// fraction if that is exact, else the hundredths with the nearest sixteenth.
// "3/4 turn", "1.13 turns (about 1 1/8)".
func (t Turns) Spoken() string {
	v := math.Abs(float64(t))
	n := int64(math.Round(v * 16))
	whole, part := n/16, n%16
	den := int64(16)
	for part > 0 && part%2 == 0 {
		part, den = part/2, den/2
	}
	var s string
	switch {
	case n == 0:
		return fixed(v, 3, false) + " turn"
	case part == 0:
		s = strconv.FormatInt(whole, 10)
	case whole == 0:
		s = fmt.Sprintf("%d/%d", part, den)
	default:
		s = fmt.Sprintf("%d %d/%d", whole, part, den)
	}
	word := " turns"
	if v <= 1.0005 {
		word = " turn"
	}
	if math.Abs(v-float64(n)/16) < 0.0005 {
		return s + word
	}
	return fixed(v, 2, false) + word + " (about " + s + ")"
}

// String prints c as an hour: "12 o'clock", "1:30".
func (c Clock) String() string {
	minutes := int64(math.Round(float64(c)*60)) % 720
	h := minutes / 60
	if h == 0 {
		h = 12
	}
	if minutes%60 == 0 {
		return strconv.FormatInt(h, 10) + " o'clock"
	}
	return fmt.Sprintf("%d:%02d", h, minutes%60)
}
