package rules

import (
	"fmt"

	"pgregory.net/rapid"
)

// testVocabulary is small enough for random rules and facts to meet.
func testVocabulary() Vocabulary {
	return Vocabulary{
		Symptoms: []SymptomWord{{ID: "push"}, {ID: "loose"}, {ID: "lift"}, {ID: "hop"}},
		Moves:    []Move{{ID: "caster"}, {ID: "camber"}, {ID: "toe"}},
		Tracks: []Track{{ID: "tight"}, {ID: "fast"},
			{ID: "mixed", CountsAs: []CountsAs{{"tight", 0.5}, {"fast", 0.75}}}},
		Grip:     Scale{Of: 10, Words: []ScaleWord{{"low", Trapezoid{0, 0, 3, 5}}, {"medium", Trapezoid{3, 5, 6, 8}}, {"high", Trapezoid{6, 8, 10, 10}}}},
		Tyres:    Scale{Unit: "laps", Words: []ScaleWord{{"new", Trapezoid{0, 0, 20, 30}}, {"used", Trapezoid{20, 30, 70, 90}}, {"worn", Trapezoid{70, 90, 1e9, 1e9}}}},
		Severity: SeverityScale{Slight: 0.6, Normal: 0.8, Strong: 1},
	}
}

func ids[T any](list []T, id func(T) string) []string {
	out := make([]string, len(list))
	for i, x := range list {
		out[i] = id(x)
	}
	return out
}

var (
	testSymptoms = ids(testVocabulary().Symptoms, func(s SymptomWord) string { return s.ID })
	testMoves    = ids(testVocabulary().Moves, func(m Move) string { return m.ID })
	testTracks   = ids(testVocabulary().Tracks, func(t Track) string { return t.ID })
)

// maybe draws true once in n times on average.
func maybe(t *rapid.T, n int, label string) bool { return rapid.IntRange(1, n).Draw(t, label) == 1 }

func drawTerms(t *rapid.T, words []string, label string) Terms {
	var out Terms
	for range rapid.IntRange(1, 2).Draw(t, label+" terms") {
		out = append(out, Term{Word: rapid.SampledFrom(words).Draw(t, label), Not: maybe(t, 4, label+" not")})
	}
	return out
}

// drawRange draws corners at least a quarter apart, so that no edge is upright.
func drawRange(t *rapid.T, end int, label string) Terms {
	var x Trapezoid
	at := 0
	for i := range x {
		if i == 2 {
			at += rapid.IntRange(0, end).Draw(t, label)
		} else {
			at += rapid.IntRange(1, end).Draw(t, label)
		}
		x[i] = float64(at) / 4
	}
	return Terms{{Range: &x}}
}

func drawSome(t *rapid.T, from []string, most int, label string) []string {
	return rapid.SliceOfNDistinct(rapid.SampledFrom(from), 1, most, rapid.ID).Draw(t, label)
}

func drawWhen(t *rapid.T) When {
	var w When
	if !maybe(t, 4, "any symptom") {
		w.Symptom = drawSome(t, testSymptoms, 2, "symptom")
	}
	if maybe(t, 4, "with") {
		w.With = drawSome(t, testSymptoms, 2, "with")
	}
	if maybe(t, 4, "without") {
		w.Without = drawSome(t, testSymptoms, 2, "without")
	}
	if maybe(t, 2, "has phase") {
		w.Phase = drawTerms(t, PhaseWords()[:3], "phase")
		if maybe(t, 6, "any phase") {
			w.Phase = Terms{{Word: Any}}
		}
	}
	if maybe(t, 4, "has corner") {
		w.Corner = drawTerms(t, CornerWords()[:2], "corner")
	}
	if maybe(t, 5, "has severity") {
		w.Severity = drawTerms(t, SeverityWords(), "severity")
	}
	if maybe(t, 2, "has track") {
		w.Track = drawTerms(t, testTracks, "track")
		if maybe(t, 6, "any track") {
			w.Track = append(w.Track, Term{Word: Any})
		}
	}
	if maybe(t, 2, "has grip") {
		w.Grip = drawTerms(t, []string{"low", "medium", "high", Wet}, "grip")
		if maybe(t, 6, "any grip") {
			w.Grip = append(w.Grip, Term{Word: Any})
		} else if maybe(t, 3, "grip range") {
			w.Grip = drawRange(t, 12, "grip corner")
		}
	}
	if maybe(t, 3, "has tyres") {
		w.Tyres = drawTerms(t, []string{"new", "used", "worn", Wets}, "tyres")
		if maybe(t, 3, "tyre range") {
			w.Tyres = drawRange(t, 120, "tyre corner")
		}
	}
	if maybe(t, 5, "has wet") {
		w.Wet = rapid.SampledFrom([]Tri{No, Yes}).Draw(t, "wet")
	}
	return w
}

func drawRule(t *rapid.T, id string) Rule {
	r := Rule{
		ID:         id,
		When:       drawWhen(t),
		Confidence: float64(rapid.IntRange(1, 100).Draw(t, "confidence")) / 100,
		Family:     rapid.SampledFrom([]string{"", "", "f1", "f2"}).Draw(t, "family"),
	}
	for _, m := range drawSome(t, testMoves, 2, "moves") {
		if maybe(t, 6, "leave") {
			r.Leave = append(r.Leave, m)
			continue
		}
		amount := float64(rapid.IntRange(1, 40).Draw(t, "amount")) / 8
		if maybe(t, 2, "decrease") {
			amount = -amount
		}
		r.Votes = append(r.Votes, Vote{Move: m, Amount: amount})
	}
	if maybe(t, 5, "has check") {
		r.Checks = []string{rapid.SampledFrom([]string{"bearings", "pressures"}).Draw(t, "check")}
	}
	if maybe(t, 5, "contested") {
		r.Contested, r.Decide = rapid.SampledFrom([]string{"p1", "p2"}).Draw(t, "point"), "look"
	}
	return r
}

// drawRules draws rules with the ids prefix000, prefix001, ….
func drawRules(t *rapid.T, least, most int, prefix string) []Rule {
	n := rapid.IntRange(least, most).Draw(t, "rules")
	out := make([]Rule, n)
	for i := range out {
		out[i] = drawRule(t, fmt.Sprintf("%s%03d", prefix, i))
	}
	return out
}

// tester is what tests, benchmarks and properties have in common.
type tester interface {
	Helper()
	Fatal(...any)
	Fatalf(string, ...any)
}

// drawFacts draws facts that do not contradict each other.
func drawFacts(t *rapid.T) Facts {
	var f Facts
	type key struct{ id, phase, corner string }
	seen := map[key]bool{}
	for range rapid.IntRange(0, 3).Draw(t, "readings") {
		s := Symptom{
			ID:       rapid.SampledFrom(testSymptoms).Draw(t, "symptom"),
			Phase:    rapid.SampledFrom([]string{"", "entry", "mid", "exit", Any}).Draw(t, "phase"),
			Corner:   rapid.SampledFrom([]string{"", "slow", "fast"}).Draw(t, "corner"),
			Severity: rapid.SampledFrom([]string{"", "slight", "normal", "strong"}).Draw(t, "severity"),
			Absent:   maybe(t, 6, "absent"),
		}
		if k := (key{s.ID, said(s.Phase), s.Corner}); !seen[k] {
			seen[k] = true
			f.Symptoms = append(f.Symptoms, s)
		}
	}
	f.Track = rapid.SampledFrom(append([]string{""}, testTracks...)).Draw(t, "track")
	switch rapid.IntRange(0, 3).Draw(t, "grip kind") {
	case 1:
		f.Grip.Word = rapid.SampledFrom([]string{"low", "medium", "high", Wet}).Draw(t, "grip")
	case 2:
		f.Grip = Level{Number: float64(rapid.IntRange(0, 40).Draw(t, "grip")) / 4, IsNumber: true}
	case 3:
		f.Wet = rapid.SampledFrom([]Tri{No, Yes}).Draw(t, "wet")
	}
	switch rapid.IntRange(0, 2).Draw(t, "tyres kind") {
	case 1:
		f.Tyres.Word = rapid.SampledFrom([]string{"new", "used", "worn", Wets}).Draw(t, "tyres")
	case 2:
		f.Tyres = Level{Number: float64(rapid.IntRange(0, 120).Draw(t, "laps")), IsNumber: true}
	}
	return f
}

func mustNew(t tester, list []Rule) *Set {
	s, err := New(testVocabulary(), list)
	if err != nil {
		t.Fatalf("the rules are refused: %v", err)
	}
	return s
}

func mustEvaluate(t tester, s *Set, f Facts) Result {
	res, err := s.Evaluate(f)
	if err != nil {
		t.Fatalf("the facts are refused: %v", err)
	}
	return res
}
