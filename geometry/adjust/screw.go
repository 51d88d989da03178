package adjust

import (
	"fmt"
	"math"
	"strings"

	"kartwright/geometry"
	"kartwright/geometry/frontend"
)

var _ = register(Kind{
	Name: "screw",
	Doc:  "a screw that carries one end of the kingpin fore and aft, or in and out; a depth gauge beside it may show where it stands",
	Fields: []Field{
		pivotField,
		{Name: "tightening_moves", Type: Word, Required: true, Choices: []string{"rearward", "forward", "inboard", "outboard"}, Doc: "where tightening the screw moves that end", Example: `"rearward"`},
		threadField, pitchField,
		{Name: "ratio", Type: Ratio, Doc: "travel of the kingpin's end for 1 mm of screw; may carry ±", Example: `"1.00 ± 0.02"`},
		{Name: "hand", Type: Word, Choices: []string{"right", "left"}, Doc: "thread's hand; a right-hand screw tightens clockwise", Example: `"right"`},
		{Name: "travel_in", Type: TurnCount, Required: true, Doc: "turns of tightening left from standard", Example: `"3 turns"`},
		{Name: "travel_out", Type: TurnCount, Required: true, Doc: "turns of loosening left from standard", Example: `"3 turns"`},
		{Name: "gauge", Type: Length, Doc: "depth-gauge reading at standard", Example: `"7.60 mm"`},
		{Name: "gauge_when_tightened", Type: Word, Choices: []string{"shrinks", "grows"}, Doc: "what tightening does to the reading", Example: `"shrinks"`},
		lockField("kingpin bolt"),
	},
	Build: buildScrew,
})

// screw moves a pivot along a direction by pitch × ratio for each turn.
// Positions are turns of tightening from standard.
type screw struct {
	top       bool
	perTurn   geometry.Vec // mm the pivot moves for one turn of tightening
	left      bool
	travel    Travel
	gauge     geometry.Length
	gaugeTurn geometry.Length // change of the reading for one turn of tightening
	gauged    bool
	lock      string
}

func buildScrew(v *Values) Adjuster {
	pitch, ratio := v.Pitch(), v.Ratio("ratio", 1)
	s := &screw{
		top:     v.Word("pivot", "top", "bottom") == "top",
		left:    v.Word("hand", "right", "left") == "left",
		travel:  Travel{Min: -float64(v.Turns("travel_out")), Max: float64(v.Turns("travel_in"))},
		gauged:  v.Has("gauge"),
		gauge:   v.Length("gauge"),
		lock:    v.lock("the kingpin bolt"),
		perTurn: directions[v.Word("tightening_moves", "rearward", "forward", "inboard", "outboard")].Scale(float64(pitch) * ratio),
	}
	s.gaugeTurn = -pitch
	if v.Word("gauge_when_tightened", "shrinks", "grows") == "grows" {
		s.gaugeTurn = pitch
	}
	for _, f := range []string{"travel_in", "travel_out"} {
		if v.Has(f) && v.Turns(f) < 0 {
			v.fail(f, "must not be negative: travel is counted from standard in its own direction")
		}
	}
	if ratio <= 0 || ratio > 10 {
		v.fail("ratio", "must lie between 0 and 10, not %g", ratio)
	}
	return s
}

func (s *screw) Part() Part        { return OnPivot }
func (s *screw) Travel() Travel    { return s.travel }
func (s *screw) Standard() float64 { return 0 }
func (s *screw) Lock() string      { return s.lock }

func (s *screw) Shift(p float64) frontend.Shift { return pivotShift(s.top, s.perTurn.Scale(p)) }

// Gauge returns the depth reading at p, if the profile gave one at standard.
func (s *screw) Gauge(p float64) (geometry.Length, bool) {
	return s.gauge + geometry.Length(p)*s.gaugeTurn, s.gauged
}

func (s *screw) Read(text string) (float64, error) {
	t := strings.ToLower(strings.TrimSpace(text))
	if t == "standard" {
		return 0, nil
	}
	sign := 1.
	for _, w := range []string{"tighter", "in"} {
		t = strings.TrimSpace(strings.TrimSuffix(t, " "+w))
	}
	for _, w := range []string{"looser", "out"} {
		if rest, ok := strings.CutSuffix(t, " "+w); ok {
			t, sign = strings.TrimSpace(rest), -1
		}
	}
	if turns, err := geometry.ParseTurns(t); err == nil {
		return inTravel(s, sign*float64(turns))
	}
	if l, err := geometry.ParseLength(strings.TrimSpace(strings.TrimPrefix(t, "gauge"))); err == nil {
		if !s.gauged {
			return 0, fmt.Errorf("a gauge reading needs gauge = \"…\" at standard in the profile; otherwise write turns (1/2 turn)")
		}
		return inTravel(s, float64((l-s.gauge)/s.gaugeTurn))
	}
	return 0, fmt.Errorf("%q is not a screw position (write 1/2 turn tighter, -0.75 turns%s)", text, map[bool]string{true: ", or the gauge reading, 6.97 mm"}[s.gauged])
}

func (s *screw) Print(p float64, _ geometry.Units) string {
	switch {
	case math.Abs(p) < 5e-4:
		return "standard"
	case p < 0:
		return geometry.Turns(p).String()[1:] + " looser"
	}
	return geometry.Turns(p).String() + " tighter"
}

func (s *screw) Move(from, to float64, u geometry.Units) string {
	tighten := to > from
	verb, way := "tighten", "clockwise"
	if !tighten {
		verb = "loosen"
	}
	if tighten == s.left {
		way = "anticlockwise"
	}
	out := fmt.Sprintf("%s it %s, %s", verb, geometry.Turns(to-from).Spoken(), way)
	if s.gauged {
		a, _ := s.Gauge(from)
		b, _ := s.Gauge(to)
		out += fmt.Sprintf("; depth gauge %s to %s", u.Length(a), u.Length(b))
	}
	return out
}
