package fit

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
)

// Quantity is what a reading measures. Signs are those of package frontend.
type Quantity uint8

// The quantities.
const (
	Camber   Quantity = iota // lean of the wheel
	Toe                      // of one wheel
	TotalToe                 // of both wheels together; Side does not matter
	Caster                   // of the kingpin, by a gauge on it or worked out from a sweep
	KPI                      // of the kingpin
	Steer                    // of the wheel, + = left on both sides
	Height                   // of the frame over its height at standard, at this corner
	Track                    // between the contact centres; Side does not matter
	Depth                    // a screw's depth gauge
)

func (q Quantity) String() string {
	return [...]string{"camber", "toe", "total toe", "caster", "kpi", "steer", "ride height", "front track", "depth gauge"}[q]
}

// Unit is that of the quantity.
func (q Quantity) Unit() Unit {
	if q == Height || q == Track || q == Depth {
		return Millimetre
	}
	return Radian
}

// bothSides reports whether the quantity belongs to the axle.
func (q Quantity) bothSides() bool { return q == TotalToe || q == Track }

// Unit says what a number of the fit is stored in.
type Unit uint8

// The units.
const (
	Radian Unit = iota
	Millimetre
	Turn
	None // a ratio
)

// Text prints a value with its unit.
func (unit Unit) Text(v float64, u geometry.Units) string {
	switch unit {
	case Radian:
		return u.Angle(geometry.Angle(v))
	case Millimetre:
		return u.Length(geometry.Length(v))
	case Turn:
		return fmt.Sprintf("%.3f turns", v)
	}
	return fmt.Sprintf("%.3g", v)
}

// by prints a change with its sign.
func (unit Unit) by(v float64, u geometry.Units) string {
	switch unit {
	case Radian:
		return u.AngleBy(geometry.Angle(v))
	case Millimetre:
		return u.LengthBy(geometry.Length(v))
	}
	return fmt.Sprintf("%+.3g", v)
}

// Reading is one figure read off a kart, and how the kart stood.
type Reading struct {
	Name     string // where it comes from, "line 12", for messages; may be empty
	Quantity Quantity
	Side     frontend.Side
	Setting  [2]adjust.Setting // of both sides; nil means standard
	Adjuster string            // whose depth gauge was read

	// The wheel is read with the column turned by Column (+ = left) or, if
	// AtSteer, with the wheel itself held at the steer angle Steer (+ = left).
	Column, Steer geometry.Angle
	AtSteer       bool

	Instrument string  // what it was read with, if that may have a zero offset
	Value, SD  float64 // mm or radians; SD is one standard deviation
}

// Kart is both corners of a kart, by side.
type Kart = [2]adjust.Corner

// Of returns what the reading would be on that kart, its instrument without
// fault.
func (r *Reading) Of(k *Kart) (float64, error) {
	if r.Quantity.bothSides() {
		var sum float64
		for _, s := range frontend.Sides {
			p, err := r.pose(k, s)
			if err != nil {
				return 0, err
			}
			if r.Quantity == Track {
				sum += p.Contact().Y
			} else {
				sum += float64(p.Toe())
			}
		}
		return sum, nil
	}
	if r.Quantity == Depth {
		c := &k[r.Side]
		i := c.Index(r.Adjuster)
		if i < 0 {
			return 0, fmt.Errorf("the %v side has no adjuster %q", r.Side, r.Adjuster)
		}
		g, ok := c.Adjusters[i].Adjuster.(adjust.Gauged)
		if ok {
			var reading geometry.Length
			if reading, ok = g.Gauge(r.setting(k, r.Side)[i]); ok {
				return float64(reading), nil
			}
		}
		return 0, fmt.Errorf("%s has no depth gauge in this profile", r.Adjuster)
	}
	p, err := r.pose(k, r.Side)
	if err != nil {
		return 0, err
	}
	switch r.Quantity {
	case Camber:
		return float64(p.Camber()), nil
	case Toe:
		return float64(p.Toe()), nil
	case Caster:
		return float64(p.Caster()), nil
	case KPI:
		return float64(p.KPI()), nil
	case Steer:
		return float64(iso(p.Steer(), r.Side)), nil
	case Height:
		level := k[r.Side].Front.PoseAtSpin(frontend.Shift{}, geometry.Turn{Cos: 1}).Contact().Z
		return level - p.Contact().Z, nil
	}
	return 0, fmt.Errorf("quantity %d is unknown", r.Quantity)
}

// iso turns a steer angle of a corner's own frame into ISO 8855's, or back.
func iso(a geometry.Angle, s frontend.Side) geometry.Angle {
	if s == frontend.Right {
		return -a
	}
	return a
}

func (r *Reading) setting(k *Kart, s frontend.Side) adjust.Setting {
	if r.Setting[s] == nil {
		return k[s].Standard()
	}
	return r.Setting[s]
}

var errHeld = errors.New("this wheel cannot be steered so far")

func (r *Reading) pose(k *Kart, s frontend.Side) (frontend.Pose, error) {
	c := &k[s]
	shift := c.Shift(r.setting(k, s))
	if r.AtSteer {
		p, _, ok := c.Front.PoseAtToe(shift, -iso(r.Steer, s))
		if !ok {
			return p, fmt.Errorf("%v side: steered %v: %w", s, r.Steer, errHeld)
		}
		return p, nil
	}
	p, err := c.Front.Pose(shift, geometry.TurnOf(iso(r.Column, s)))
	if err != nil {
		return p, fmt.Errorf("%v side: %w", s, err)
	}
	return p, nil
}

// describe says the reading as a person would: what, where, how the kart stood.
func (r *Reading) describe(k *Kart, u geometry.Units) string {
	var b strings.Builder
	if r.Name != "" {
		b.WriteString(r.Name + ", ")
	}
	sides := []frontend.Side{r.Side}
	switch {
	case r.Quantity.bothSides():
		b.WriteString(r.Quantity.String())
		sides = frontend.Sides[:]
	case r.Quantity == Depth:
		fmt.Fprintf(&b, "%v %s of %s", r.Side, r.Quantity, r.Adjuster)
	default:
		fmt.Fprintf(&b, "%v %s", r.Side, r.Quantity)
	}
	switch {
	case r.AtSteer:
		fmt.Fprintf(&b, " with the wheel steered %s", u.AngleBy(r.Steer))
	case r.Column != 0:
		fmt.Fprintf(&b, " with the column at %s", u.AngleBy(r.Column))
	}
	var moved []string
	for n, s := range sides {
		set := r.setting(k, s)
		for i, a := range k[s].Adjusters {
			if i >= len(set) || set[i] == a.Standard() {
				continue
			}
			at := a.Name + " at " + a.Print(set[i], u)
			if n == 1 && len(r.Setting[0]) > i && r.Setting[0][i] == set[i] {
				continue // said already
			}
			moved = append(moved, at)
		}
	}
	if len(moved) == 0 {
		b.WriteString(" at standard")
	} else {
		b.WriteString(" with " + list(moved))
	}
	return b.String()
}

// sameStand reports whether two readings were taken with the kart standing
// alike.
func (r *Reading) sameStand(q *Reading, k *Kart) bool {
	if r.AtSteer != q.AtSteer || r.AtSteer && r.Steer != q.Steer || !r.AtSteer && r.Column != q.Column {
		return false
	}
	for _, s := range frontend.Sides {
		a, b := r.setting(k, s), q.setting(k, s)
		for i := range a {
			if math.Abs(a[i]-b[i]) > 1e-9 {
				return false
			}
		}
	}
	return true
}
