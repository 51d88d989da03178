package advisor

import (
	"fmt"
	"strings"

	"kartwright/rules"
)

// phrases say a phase after a symptom's title.
var phrases = map[string]string{
	"entry": "on entry", "mid": "mid-corner", "exit": "on exit", "straight": "on the straight", "braking": "under braking",
}

// SaySymptom says a reading with the words of a vocabulary: "understeer (push)
// on entry in slow corners, strong".
func SaySymptom(v rules.Vocabulary, s rules.Symptom) string {
	out := s.ID
	for _, w := range v.Symptoms {
		if w.ID == s.ID {
			out = w.Title
		}
	}
	if p, ok := phrases[s.Phase]; ok {
		out += " " + p
	}
	if s.Corner == "slow" || s.Corner == "fast" {
		out += " in " + s.Corner + " corners"
	}
	if s.Absent {
		return "no " + out
	}
	if s.Severity == "slight" || s.Severity == "strong" {
		out += ", " + s.Severity
	}
	return out
}

// SayConditions lists what was said of the track and the tyres, and what was
// not.
func SayConditions(v rules.Vocabulary, f rules.Facts) (said, unsaid []string) {
	add := func(name, value string) {
		if value == "" {
			unsaid = append(unsaid, name)
		} else {
			said = append(said, name+" "+value)
		}
	}
	add("track", f.Track)
	grip := v.Grip.Format(f.Grip)
	if grip == "" && f.Wet == rules.Yes {
		grip = rules.Wet
	}
	add("grip", grip)
	add("tyres", v.Tyres.Format(f.Tyres))
	return said, unsaid
}

// SayFlip says what another value of a condition would change: "from grip
// 7/10 up: less caster".
func SayFlip(v rules.Vocabulary, f rules.Flip) string {
	lead := fmt.Sprintf("%s %s", f.Key, f.To)
	switch {
	case f.Key == "wet":
		lead = map[string]string{"yes": "in the wet", "no": "in the dry"}[f.To]
	case f.Bound > 0:
		lead = "from " + lead + " up"
	case f.Bound < 0:
		lead = "from " + lead + " down"
	}
	var what []string
	for _, c := range f.Changes {
		for _, m := range v.Moves {
			if m.ID != c.Move {
				continue
			}
			if c.Now > 0 {
				what = append(what, m.Increase)
			} else {
				what = append(what, m.Decrease)
			}
		}
	}
	return lead + ": " + strings.Join(what, ", ")
}

// watch says, for a move and its direction, by what one knows that it went too
// far (common practice).
var watch = map[string][2]string{ // decrease, increase
	"caster":         {"the kart gets lazy on entry or the inside rear stays down", "the steering gets heavy, the kart hops, or the inside rear comes down late"},
	"camber":         {"the fronts wear or heat on their inside edge", "the fronts wear or heat on their outside edge"},
	"toe":            {"the kart darts on the straight or loses top speed", "the first turn of the wheel brings nothing"},
	"front_height":   {"the kart no longer lifts its inside rear", "the kart hops or tips"},
	"front_width":    {"the steering goes light and the front washes out", "the steering gets heavy and kicks back"},
	"front_pressure": {"the fronts need too long to come in", "the fronts fade before the end of the run"},
	"ackermann":      {"the kart gets lazy in the hairpins", "the inside front scrubs in the long bends"},
	"rear_width":     {"the rear hops or tips", "the rear slides"},
}

// Confirm says how the change is judged at the track.
func (s *Suggestion) Confirm() []string {
	out := []string{"Back to back on comparable tyres: a run as it is, a run with the change, and a run back again if the clock and the driver disagree."}
	if w, ok := watch[s.Move.ID]; ok {
		text := w[0]
		if s.Verdict.Direction > 0 {
			text = w[1]
		}
		out = append(out, "It went too far if "+text+".")
	}
	return out
}
