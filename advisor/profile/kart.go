package profile

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
)

// Format is the version of the file format that this package reads.
const Format = 1

// Number is a measured or assumed number of a profile.
type Number struct {
	Path    string // corner.left.caster; adjuster "caster screw".gauge; mass.total
	Doc     string
	Value   float64 // mm or radians, or in Unit
	PM      float64 // ±: about 95 % sure, two standard deviations; 0 if the profile states none
	Angle   bool
	Unit    string // of what is neither a length nor an angle: kg, N/mm, N·m/deg, % (a fraction), RatioUnit
	Assumed bool   // not in the file
	Source  string // where an assumed value was published, if it was
}

// RatioUnit is the Unit of a plain ratio.
const RatioUnit = "to 1"

// Text prints the number with its unit and, if it has one, its ±.
func (n Number) Text(u geometry.Units) string {
	say := func(v float64) string {
		switch n.Unit {
		case "":
		case RatioUnit:
			return strconv.FormatFloat(v, 'f', 3, 64)
		case shareUnit.word():
			return strconv.FormatFloat(100*v, 'f', 1, 64) + " %"
		default:
			return strconv.FormatFloat(v, 'f', 1, 64) + " " + n.Unit
		}
		if n.Angle {
			return u.Angle(geometry.Angle(v))
		}
		return u.Length(geometry.Length(v))
	}
	if n.PM == 0 {
		return say(n.Value)
	}
	return say(n.Value) + " ± " + say(n.PM)
}

// A Limited thing is what a limit holds for.
type Limited string

// What can be limited.
const (
	LimitCaster    Limited = "caster"
	LimitCamber    Limited = "camber"
	LimitToe       Limited = "toe"
	LimitTrack     Limited = "front_track"
	LimitWheelbase Limited = "wheelbase"
)

// Limit is a bound that advice stays inside. Lo and Hi are in mm or radians.
type Limit struct {
	Of     Limited
	Lo, Hi float64
	Class  bool // the class's rule; otherwise the owner's own wish
}

// Whose says who set the limit.
func (l Limit) Whose(k *Kart) string {
	if !l.Class {
		return "your own limit"
	}
	if k.Class != "" {
		return "the limit of " + k.Class
	}
	return "the class limit"
}

// Text prints the bound.
func (l Limit) Text(u geometry.Units) string {
	if l.Of == LimitTrack || l.Of == LimitWheelbase {
		return fmt.Sprintf("%s to %s", u.Length(geometry.Length(l.Lo)), u.Length(geometry.Length(l.Hi)))
	}
	return fmt.Sprintf("%s to %s", u.Angle(geometry.Angle(l.Lo)), u.Angle(geometry.Angle(l.Hi)))
}

// Kart is one kart.
type Kart struct {
	Name, Note string
	Class      string
	Axle       frontend.Axle
	Corners    [2]adjust.Corner  // by side
	Present    [2]adjust.Setting // how it stands now
	Limits     []Limit
	Numbers    []Number // measured and assumed, in the order of the file
	// LoadNumbers are those of the table "mass": nothing but the wheel loads
	// and the steering effort depends on them.
	LoadNumbers []Number

	spec  *spec
	nudge map[string]float64
	root  *Kart // the kart as the profile has it; nudges count from there
}

// With returns the kart as it would be if the number at path were greater by
// delta (in the unit of its Value): the same adjuster positions on a slightly
// different kart. Positions that the profile gives as gauge readings are read anew.
func (k *Kart) With(path string, delta float64) (*Kart, error) {
	return k.Nudged(map[string]float64{path: delta})
}

// Nudged is With for several numbers at once, by path.
func (k *Kart) Nudged(by map[string]float64) (*Kart, error) {
	b := builder{spec: k.spec, nudge: by, base: k.root}
	if n := b.build(); n != nil {
		return n, nil
	}
	var paths []string
	for p := range by {
		paths = append(paths, p)
	}
	slices.Sort(paths)
	return nil, fmt.Errorf("with %s changed the kart is impossible", strings.Join(paths, ", "))
}

// Figures returns what both corners measure at the settings given.
func (k *Kart) Figures(set [2]adjust.Setting) (out [2]frontend.Figures, err error) {
	for _, s := range frontend.Sides {
		if out[s], err = k.Corners[s].Figures(set[s]); err != nil {
			return out, err
		}
	}
	return out, nil
}

// Standard returns the home setting of both corners.
func (k *Kart) Standard() [2]adjust.Setting {
	return [2]adjust.Setting{k.Corners[0].Standard(), k.Corners[1].Standard()}
}

// FrontTrack returns the distance between the two contact centres.
func FrontTrack(f [2]frontend.Figures) geometry.Length {
	return geometry.Length(f[0].Contact.Y + f[1].Contact.Y)
}

// RideHeightChange returns how much higher the frame stands at the front, the
// mean of both corners, than at the figures before.
func RideHeightChange(before, after [2]frontend.Figures) geometry.Length {
	var sum float64
	for s := range before {
		sum += before[s].Contact.Z - after[s].Contact.Z
	}
	return geometry.Length(sum / 2)
}

// Assumed returns the numbers of the front end that are not in the file.
func (k *Kart) Assumed() []Number {
	return slices.DeleteFunc(slices.Clone(k.Numbers), func(n Number) bool { return !n.Assumed })
}

func trim(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
