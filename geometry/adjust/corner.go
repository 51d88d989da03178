package adjust

import (
	"fmt"

	"kartwright/geometry"
	"kartwright/geometry/frontend"
)

// Named is an adjuster under the name that the kart's owner gave it.
type Named struct {
	Name string
	Adjuster
}

// Corner is one corner of a kart with what can be turned on it.
type Corner struct {
	Side      frontend.Side
	Front     frontend.Corner
	Adjusters []Named
}

// Setting is the position of each adjuster of a corner, in their order.
type Setting []float64

// Standard returns every adjuster's home position.
func (c *Corner) Standard() Setting {
	s := make(Setting, len(c.Adjusters))
	for i, a := range c.Adjusters {
		s[i] = a.Standard()
	}
	return s
}

// Index returns the place of the adjuster of that name, or −1.
func (c *Corner) Index(name string) int {
	for i, a := range c.Adjusters {
		if a.Name == name {
			return i
		}
	}
	return -1
}

// Shift returns what a setting does to the corner.
func (c *Corner) Shift(s Setting) frontend.Shift {
	var t frontend.Shift
	for i, p := range s {
		t = t.Add(c.Adjusters[i].Shift(p))
	}
	return t
}

// Figures returns what the corner measures at a setting, steering straight
// ahead.
func (c *Corner) Figures(s Setting) (frontend.Figures, error) {
	p, err := c.Front.Pose(c.Shift(s), geometry.Turn{Cos: 1})
	if err != nil {
		return frontend.Figures{}, fmt.Errorf("%v side: %w", c.Side, err)
	}
	return p.Figures(), nil
}

// Figure is something that can be asked for.
type Figure uint8

// The figures in the order in which they are listed. Height is how far the
// frame stands above its standard height at that corner.
const (
	Caster Figure = iota
	Camber
	Toe
	Height
	figures
)

// FigureCount is their number.
const FigureCount = int(figures)

func (f Figure) String() string {
	return [...]string{"caster", "camber", "toe", "front ride height"}[f]
}

// IsLength reports whether f is a length; otherwise it is an angle.
func (f Figure) IsLength() bool { return f == Height }

// values lines up the figures of a pose: radians, and mm for the height over
// the contact height given.
func values(f frontend.Figures, level float64) [FigureCount]float64 {
	return [FigureCount]float64{float64(f.Caster), float64(f.Camber), float64(f.Toe), level - f.Contact.Z}
}

// Values returns the figures at a setting: radians, mm for Height.
func (c *Corner) Values(s Setting) ([FigureCount]float64, error) {
	f, err := c.Figures(s)
	if err != nil {
		return [FigureCount]float64{}, err
	}
	return values(f, c.level()), nil
}

// level is the contact height at standard.
func (c *Corner) level() float64 {
	return c.Front.PoseAtSpin(frontend.Shift{}, geometry.Turn{Cos: 1}).Contact().Z
}
