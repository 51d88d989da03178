package measure

import (
	"fmt"
	"math"

	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
)

// Slipped reports whether two sizes above zero are about ten times apart, as
// after a slip of the decimal point.
func Slipped(a, b float64) bool {
	r := max(a, b) / min(a, b)
	return r > 8 && r < 12.5
}

// Doubts are signs, as sentences, that readings are not what they seem: a
// slipped decimal point, sides exchanged. expected are the figures by side as
// the adjusters stand.
func (c Check) Doubts(read [2]Readings, expected [2]map[adjust.Figure]geometry.Angle, u geometry.Units) []string {
	var out []string
	straight, crossed, noise, apart := 0., 0., 0., false
	for _, f := range []adjust.Figure{adjust.Caster, adjust.Camber, adjust.Toe} {
		for _, s := range frontend.Sides {
			m, ok := read[s][f]
			e := float64(expected[s][f])
			if a, b := math.Abs(m.Value), math.Abs(e); ok && math.Abs(m.Value-e) > 3*c.Within[f] && min(a, b) > 0 && Slipped(a, b) {
				out = append(out, fmt.Sprintf("the %v side's %v reads %s where %s is expected, ten times as much or a tenth: has a decimal point slipped?", s, f, u.Angle(geometry.Angle(m.Value)), u.Angle(geometry.Angle(e))))
			}
		}
		l, okL := read[frontend.Left][f]
		r, okR := read[frontend.Right][f]
		if okL && okR {
			el, er := float64(expected[frontend.Left][f]), float64(expected[frontend.Right][f])
			straight += math.Abs(l.Value-el) + math.Abs(r.Value-er)
			crossed += math.Abs(l.Value-er) + math.Abs(r.Value-el)
			noise += l.PM + r.PM
			apart = apart || math.Abs(el-er) > c.Within[f]
		}
	}
	if apart && crossed < straight/3 && straight-crossed > noise {
		out = append(out, "the readings are what is expected with the sides exchanged: are left and right swapped? Left is the driver's left.")
	}
	return out
}
