package adjust

import (
	"fmt"
	"math"
	"strings"

	"kartwright/geometry"
	"kartwright/geometry/frontend"
)

var _ = register(Kind{
	Name: "tie-rod",
	Doc:  "the tie rod: a sleeve with a left-hand and a right-hand end changes by two pitches a turn, a single threaded end by one pitch in half turns",
	Fields: []Field{
		threadField, pitchField,
		{Name: "ends", Type: Word, Choices: []string{"both", "one"}, Doc: "both: left- and right-hand thread, turned in place; one: only one end is threaded and has to come off", Example: `"both"`},
		{Name: "travel_longer", Type: TurnCount, Doc: "turns left to make it longer", Example: `"4 turns"`},
		{Name: "travel_shorter", Type: TurnCount, Doc: "turns left to make it shorter", Example: `"4 turns"`},
		lockField("both lock nuts of the tie rod"),
	},
	Build: func(v *Values) Adjuster {
		r := &tieRod{lead: 2 * v.Pitch(), travel: Travel{Min: -4, Max: 4}, lock: v.lock("both lock nuts of the tie rod")}
		if v.Has("travel_longer") {
			r.travel.Max = float64(v.Turns("travel_longer"))
		}
		if v.Has("travel_shorter") {
			r.travel.Min = -float64(v.Turns("travel_shorter"))
		}
		for _, f := range []string{"travel_longer", "travel_shorter"} {
			if v.Has(f) && v.Turns(f) < 0 {
				v.fail(f, "must not be negative: travel is counted from standard in its own direction")
			}
		}
		if v.Word("ends", "both", "one") == "one" {
			r.lead /= 2
			r.travel.Step = 0.5
			r.lock = v.lock("the rod end's lock nut and bolt")
		}
		return r
	},
})

// unseen is a rod length that no gauge at the rim shows: about a quarter of a
// millimetre there.
const unseen = 0.1 * geometry.Millimetre

// tieRod changes the tie rod's length. Positions are turns that make it
// longer, from standard.
type tieRod struct {
	lead   geometry.Length // of one turn
	travel Travel
	lock   string
}

func (r *tieRod) Part() Part        { return OnRod }
func (r *tieRod) Travel() Travel    { return r.travel }
func (r *tieRod) Standard() float64 { return 0 }
func (r *tieRod) Lock() string      { return r.lock }

func (r *tieRod) Shift(p float64) frontend.Shift {
	return frontend.Shift{Rod: geometry.Length(p) * r.lead}
}

func (r *tieRod) Read(text string) (float64, error) {
	t := strings.ToLower(strings.TrimSpace(text))
	if t == "standard" {
		return 0, nil
	}
	sign := 1.
	if rest, ok := strings.CutSuffix(t, " longer"); ok {
		t = rest
	} else if rest, ok := strings.CutSuffix(t, " shorter"); ok {
		t, sign = rest, -1
	}
	if turns, err := geometry.ParseTurns(t); err == nil {
		return inTravel(r, sign*float64(turns))
	}
	if l, err := geometry.ParseLength(t); err == nil {
		return inTravel(r, sign*float64(l/r.lead))
	}
	return 0, fmt.Errorf("%q is not a tie-rod position (write 1/4 turn longer, or 0.6 mm shorter)", text)
}

func (r *tieRod) Print(p float64, _ geometry.Units) string {
	switch {
	case math.Abs(p) < 5e-4:
		return "standard"
	case p < 0:
		return geometry.Turns(p).String()[1:] + " shorter"
	}
	return geometry.Turns(p).String() + " longer"
}

// Negligible reports whether a move is too small to be worth a spanner.
func (r *tieRod) Negligible(from, to float64) bool {
	return geometry.Length(math.Abs(to-from))*r.lead < unseen
}

func (r *tieRod) Move(from, to float64, u geometry.Units) string {
	d := to - from
	way := "longer"
	if d < 0 {
		way = "shorter"
	}
	by := geometry.Length(math.Abs(d)) * r.lead
	if r.Negligible(from, to) {
		return fmt.Sprintf("%s %s would be exact; so little that it may stay", u.Length(by), way)
	}
	out := fmt.Sprintf("make it %s by %s: %s", way, u.Length(by), geometry.Turns(d).Spoken())
	if r.travel.Step > 0 {
		out += "; take its joint off and screw it in half turns"
	}
	return out
}
