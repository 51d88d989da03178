package adjust

import (
	"fmt"
	"math"
	"strings"

	"kartwright/geometry"
	"kartwright/geometry/frontend"
)

var _ = register(Kind{
	Name: "eccentric",
	Doc:  "a bush or plate whose hole is off centre; turning it moves one end of the kingpin round a circle, or only in and out where that end is guided",
	Fields: []Field{
		pivotField,
		{Name: "eccentricity", Type: Length, Required: true, Doc: "from the bush's centre to its hole: half of what the hole wanders in one turn", Example: `"2 mm"`},
		{Name: "positions", Type: Count, Doc: "how many holes or notches hold it; leave out if it can stand anywhere", Example: `12`},
		{Name: "home", Type: Text, Doc: "where the mark points at standard, seen from above: a clock hour on the LEFT side (12 is forward, 9 outboard; the right side is its mirror image) or forward, rearward, inboard, outboard", Example: `"12 o'clock"`},
		{Name: "hole_from_mark", Type: Angle, Doc: "angle from the mark to the off-centre hole: 0 deg if the mark points at it, 180 deg if away from it", Example: `"0 deg"`},
		{Name: "moves", Type: Word, Choices: []string{"around", "in-out", "fore-aft"}, Doc: "around: the end follows the circle; in-out or fore-aft: a slot lets only that part through", Example: `"around"`},
		lockField("locking screw"),
	},
	Build: buildEccentric,
})

// eccentric carries a pivot at a distance from the bore's centre. Positions
// are steps (holes, or degrees where it can stand anywhere) that the mark is
// turned from home toward the outboard side; seen from above that is
// anticlockwise on the left of the kart and clockwise on the right.
type eccentric struct {
	side   frontend.Side
	top    bool
	ecc    float64        // mm
	home   geometry.Angle // of the mark, from forward toward outboard
	hole   geometry.Angle // from the mark, same sense
	step   geometry.Angle // of one position
	x, y   float64        // 1 if that part of the offset reaches the pivot
	travel Travel
	free   bool           // stands anywhere
	shifts []geometry.Vec // by hole, relative to home, from travel.Min on; nil if free
	lock   string
}

func buildEccentric(v *Values) Adjuster {
	e := &eccentric{side: v.Side, top: v.Word("pivot", "top", "bottom") == "top", ecc: float64(v.Length("eccentricity")), hole: v.Angle("hole_from_mark"), x: 1, y: 1, lock: v.lock("the locking screw")}
	if v.Has("eccentricity") && !(e.ecc > 0 && e.ecc < 15) {
		v.fail("eccentricity", "must lie between 0 and 15 mm, not %v", geometry.Length(e.ecc))
	}
	if v.Has("positions") {
		n := v.Count("positions", 12, 2, 96)
		e.step = 360 * geometry.Degree / geometry.Angle(n)
		e.travel = Travel{Min: -float64((n - 1) / 2), Max: float64(n / 2), Step: 1}
	} else {
		e.free, e.step, e.travel = true, geometry.Degree, Travel{Min: -180, Max: 180}
	}
	switch v.Word("moves", "around", "in-out", "fore-aft") {
	case "in-out":
		e.x = 0
	case "fore-aft":
		e.y = 0
	}
	defer e.tabulate()
	switch h := v.Text("home"); h {
	case "", "forward":
	case "outboard":
		e.home = 90 * geometry.Degree
	case "rearward":
		e.home = 180 * geometry.Degree
	case "inboard":
		e.home = -90 * geometry.Degree
	default:
		c, err := geometry.ParseClock(h)
		if err != nil {
			v.fail("home", "%q is not a direction (write a clock hour such as 12 o'clock, or forward, rearward, inboard, outboard)", h)
		}
		e.home = -c.Angle() // the left side's hours run clockwise, toward inboard
	}
	return e
}

func (e *eccentric) Part() Part        { return OnPivot }
func (e *eccentric) Travel() Travel    { return e.travel }
func (e *eccentric) Standard() float64 { return 0 }
func (e *eccentric) Lock() string      { return e.lock }
func (e *eccentric) Wraps() bool       { return true }

func (e *eccentric) offset(p float64) geometry.Vec {
	sin, cos := math.Sincos(float64(e.home + e.hole + geometry.Angle(p)*e.step))
	return geometry.Vec{X: e.x * e.ecc * cos, Y: e.y * e.ecc * sin}
}

// tabulate works out each hole's offset once: the inverse asks for them often.
func (e *eccentric) tabulate() {
	if e.free {
		return
	}
	for p := e.travel.Min; p <= e.travel.Max; p++ {
		e.shifts = append(e.shifts, e.offset(p).Sub(e.offset(0)))
	}
}

func (e *eccentric) Shift(p float64) frontend.Shift {
	if i := p - e.travel.Min; !e.free && i == math.Trunc(i) && i >= 0 && i < float64(len(e.shifts)) {
		return pivotShift(e.top, e.shifts[int(i)])
	}
	return pivotShift(e.top, e.offset(p).Sub(e.offset(0)))
}

// clock is where the mark points at p, seen from above.
func (e *eccentric) clock(p float64) geometry.Clock {
	a := e.home + geometry.Angle(p)*e.step
	if e.side == frontend.Left {
		a = -a // outboard is to the left, anticlockwise
	}
	return geometry.ClockOf(a)
}

func (e *eccentric) Read(text string) (float64, error) {
	t := strings.ToLower(strings.TrimSpace(text))
	if t == "standard" || t == "home" {
		return 0, nil
	}
	sign, body := 1., t
	for _, w := range []string{"outward", "out", "inward", "in"} {
		if rest, ok := strings.CutSuffix(t, " "+w); ok {
			body = rest
			if strings.HasPrefix(w, "in") {
				sign = -1
			}
			break
		}
	}
	if n, ok := plainNumber(body, "holes", "hole", "notches", "notch", "positions", "position"); ok && !e.free {
		return inTravel(e, sign*n)
	}
	if a, err := geometry.ParseAngle(body); err == nil {
		return e.nearest(sign*float64(a/e.step), text)
	}
	c, err := geometry.ParseClock(t)
	if err != nil {
		return 0, fmt.Errorf("%q is not a position of an eccentric (write where its mark points, 1 o'clock, or how far it is turned, 2 holes out)", text)
	}
	a := c.Angle()
	if e.side == frontend.Left {
		a = -a
	}
	return e.nearest(math.Remainder(float64(a-e.home), 2*math.Pi)/float64(e.step), text)
}

// nearest accepts a position that is within a twentieth of a step of a hole.
func (e *eccentric) nearest(p float64, text string) (float64, error) {
	if e.free {
		return inTravel(e, p)
	}
	q := math.Round(p)
	if math.Abs(p-q) > 0.05 {
		below, above := math.Floor(p), math.Ceil(p)
		return 0, fmt.Errorf("%q lies between two holes; the nearest are %v and %v", text, e.clock(below), e.clock(above))
	}
	if q < e.travel.Min {
		q += e.travel.Max - e.travel.Min + 1
	} else if q > e.travel.Max {
		q -= e.travel.Max - e.travel.Min + 1
	}
	return inTravel(e, q)
}

func (e *eccentric) Print(p float64, _ geometry.Units) string {
	if e.free {
		if math.Abs(p) < 0.05 {
			return "home"
		}
		way := "out"
		if p < 0 {
			way = "in"
		}
		return fmt.Sprintf("%.1f° %s", math.Abs(p), way)
	}
	return e.clock(p).String()
}

func (e *eccentric) Move(from, to float64, _ geometry.Units) string {
	d := to - from
	clockwise := (d < 0) == (e.side == frontend.Left)
	way := "anticlockwise"
	if clockwise {
		way = "clockwise"
	}
	if e.free {
		return fmt.Sprintf("turn it %.1f° %s seen from above; the mark goes from %v to %v", math.Abs(d), way, e.clock(from), e.clock(to))
	}
	holes := "holes"
	if math.Abs(d) == 1 {
		holes = "hole"
	}
	return fmt.Sprintf("turn it %.0f %s %s seen from above; the mark goes from %v to %v", math.Abs(d), holes, way, e.clock(from), e.clock(to))
}
