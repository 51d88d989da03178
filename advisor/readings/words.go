package readings

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"kartwright/geometry"
	"kartwright/geometry/fit"
	"kartwright/geometry/frontend"
)

// Coverage is what a ± is of a standard deviation: a ± holds about 95 % of the
// time.
const Coverage = 2

// form is how a value is written.
type form uint8

const (
	angle    form = iota
	toe           // an angle, or a length over a length
	turned        // an angle that may say left or right
	distance      // a length
)

func (f form) unit() fit.Unit {
	if f == distance {
		return fit.Millimetre
	}
	return fit.Radian
}

// parse reads a value and its ± in radians or mm.
func (f form) parse(text string) (value, pm float64, err error) {
	var m geometry.Measured[geometry.Angle]
	switch f {
	case distance:
		m, err := geometry.ParseMeasuredLength(text)
		return float64(m.Value), float64(m.PM), err
	case toe:
		m, err = frontend.ParseToe(text)
	case turned:
		t, sign := strings.TrimSpace(text), geometry.Angle(1)
		for word, s := range map[string]geometry.Angle{" left": 1, " right": -1} {
			if rest, ok := strings.CutSuffix(t, word); ok {
				if strings.ContainsAny(rest, "-−") {
					return 0, 0, fmt.Errorf("%q has both a sign and a direction", text)
				}
				t, sign = rest, s
			}
		}
		if m, err = geometry.ParseMeasuredAngle(t); err != nil {
			return 0, 0, fmt.Errorf("%w; write 20 deg left, or its sign, + = left", err)
		}
		m.Value *= sign
	default:
		m, err = geometry.ParseMeasuredAngle(text)
	}
	return float64(m.Value), float64(m.PM), err
}

// word is a quantity as a readings file names it.
type word struct {
	key      string
	quantity fit.Quantity
	form     form
	usual    float64 // ± if none is stated, in mm or degrees (common practice)
	csv      string  // unit in the title of a CSV template
	doc      string
}

var words = []word{
	{"camber", fit.Camber, angle, 0.2, "deg", "lean of the wheel, + = top outward"},
	{"toe", fit.Toe, toe, 0.15, "mm over 255 mm", "of this wheel alone, + = toe-in; an angle, or 1 mm out over 255 mm"},
	{"caster", fit.Caster, angle, 0.5, "deg", "of the kingpin, + = top rearward: by a gauge on it, or from a camber sweep"},
	{"kpi", fit.KPI, angle, 0.5, "deg", "kingpin inclination, + = top inboard"},
	{"steer", fit.Steer, turned, 1, "deg", "angle of the wheel seen from above, + = left on both sides"},
	{"height", fit.Height, distance, 1, "mm", "how much higher this corner of the frame stands than at standard"},
	{"total_toe", fit.TotalToe, toe, 0.2, "mm over 255 mm", "of both wheels together, + = toe-in; in a row whose side is both"},
	{"front_track", fit.Track, distance, 2, "mm", "between the middles of the tyres on the floor; in a row whose side is both"},
	{"depth", fit.Depth, distance, 0.1, "mm", "what a screw's depth gauge shows; the key is the adjuster's name and depth"},
}

// wordOf returns the word of a quantity.
func wordOf(q fit.Quantity) word {
	return words[slices.IndexFunc(words, func(w word) bool { return w.quantity == q })]
}

// usualPM is the ± of a reading for which none is stated, in mm or radians.
func (w word) usualPM() float64 {
	if w.form == distance {
		return w.usual
	}
	return w.usual * float64(geometry.Degree)
}

// both reports whether the quantity belongs to the axle.
func (w word) both() bool { return w.quantity == fit.TotalToe || w.quantity == fit.Track }

// instrument names what a quantity is read with.
func (w word) instrument() string { return plain(w.key) + " gauge" }

// plain is a key as it is compared and said: the case, and underscores for
// spaces, make no difference.
func plain(key string) string {
	return strings.Join(strings.Fields(strings.ReplaceAll(strings.ToLower(key), "_", " ")), " ")
}

const (
	sideKey   = "side"
	columnKey = "column"
	heldKey   = "wheel_steered"
	noteKey   = "note"
	setPrefix = "set " // before an adjuster whose name is also a word of the file
)

// reserved reports whether a key means something whatever the adjusters are
// called.
func reserved(key string) bool {
	key = plain(key)
	return slices.ContainsFunc(words, func(w word) bool { return w.quantity != fit.Depth && plain(w.key) == key }) ||
		slices.ContainsFunc([]string{sideKey, columnKey, heldKey, noteKey}, func(k string) bool { return plain(k) == key })
}

// settingKey is the key under which a row gives an adjuster's position.
func settingKey(adjuster string) string {
	if reserved(adjuster) {
		return setPrefix + adjuster
	}
	return adjuster
}

func depthKey(adjuster string) string { return adjuster + " depth" }

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
