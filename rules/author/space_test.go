package author

import (
	"testing"

	"pgregory.net/rapid"

	"kartwright/rules"
	"kartwright/rules/ruleset"
	"kartwright/rulesets"
)

func shipped(t *testing.T) *rules.Set {
	t.Helper()
	loaded, _ := ruleset.Load(rulesets.FS, rulesets.Default)
	if loaded.Set == nil {
		t.Fatal("the shipped rules do not load")
	}
	return loaded.Set
}

// The grades of a space are those of the engine, for every rule and every value
// of the universe.
func TestSpacesAgreeWithTheEngine(t *testing.T) {
	set := withRanges(t)
	u := universeOf(set)
	check := func(f rules.Facts, grades func(*space) (key string, g float64)) {
		accounts, err := set.Explain(f)
		if err != nil {
			t.Fatalf("%s: %v", Describe(u.vocabulary, f), err)
		}
		for _, a := range accounts {
			key, got := grades(u.spaceOf(a.Rule))
			want := 1.0
			for _, c := range a.Conditions {
				if c.Key == key || c.Key == "wet" && key == "grip" {
					want = min(want, c.Grade)
				}
			}
			if got != want {
				t.Errorf("%s: the condition on %s of rule %s has the grade %g, the engine says %g", Describe(u.vocabulary, f), key, a.Rule.ID, got, want)
			}
		}
	}
	for i, track := range u.tracks {
		check(rules.Facts{Track: track}, func(s *space) (string, float64) { return "track", s.track[i] })
	}
	for i, g := range u.grips {
		check(rules.Facts{Grip: g.level, Wet: g.wet}, func(s *space) (string, float64) { return "grip", s.grip[i] })
	}
	for i, l := range u.tyres {
		check(rules.Facts{Tyres: l}, func(s *space) (string, float64) { return "tyres", s.tyres[i] })
	}
}

// withRanges is the shipped set with rules that use what it does not: ranges and
// negations.
func withRanges(t *testing.T) *rules.Set {
	set := shipped(t)
	extra := []rules.When{
		{Symptom: []string{"hop"}, Grip: rules.Terms{{Range: &rules.Trapezoid{2, 4, 5, 9}}}},
		{Symptom: []string{"hop"}, Grip: rules.Terms{{Word: "wet", Not: true}}},
		{Symptom: []string{"hop"}, Grip: rules.Terms{{Word: "high", Not: true}}, Wet: rules.Yes},
		{Symptom: []string{"hop"}, Tyres: rules.Terms{{Range: &rules.Trapezoid{5, 5, 40, 41}}, {Word: "worn"}}},
		{Symptom: []string{"hop"}, Track: rules.Terms{{Word: "tight", Not: true}}},
		{Symptom: []string{"hop"}, Track: rules.Terms{{Word: "any"}, {Word: "tight"}}},
	}
	all := append([]rules.Rule(nil), set.Rules()...)
	for i, w := range extra {
		all = append(all, rules.Rule{ID: "extra-" + string(rune('a'+i)), When: w, Confidence: 0.5, Checks: []string{"x"}})
	}
	out, err := rules.New(set.Vocabulary(), all)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// The situation in which two rules are said to meet is one: both fire there, and
// what limits them is at most how strongly the complaint is meant.
func TestMeetIsASituation(t *testing.T) {
	set := withRanges(t)
	u := universeOf(set)
	all := set.Rules()
	rapid.Check(t, func(t *rapid.T) {
		a := u.spaceOf(&all[rapid.IntRange(0, len(all)-1).Draw(t, "a")])
		b := u.spaceOf(&all[rapid.IntRange(0, len(all)-1).Draw(t, "b")])
		f, ok := u.meet(a, b, rapid.Bool().Draw(t, "alike"))
		if !ok {
			return
		}
		accounts, err := set.Explain(f)
		if err != nil {
			t.Fatalf("%s and %s meet in a situation that cannot be: %v", a.rule.ID, b.rule.ID, err)
		}
		for _, acc := range accounts {
			if acc.Rule.ID != a.rule.ID && acc.Rule.ID != b.rule.ID {
				continue
			}
			for _, c := range acc.Conditions {
				full := c.Key == "symptom" || c.Key == "with" || c.Grade == 1 || len(acc.Rule.When.Symptom) == 0
				if !acc.Fired || !full {
					t.Fatalf("%s and %s are said to meet in %s, but %s has %s of grade %g", a.rule.ID, b.rule.ID, Describe(u.vocabulary, f), acc.Rule.ID, c.Key, c.Grade)
				}
			}
		}
	})
}

// A narrower rule never fires without the wider one, but for what the wider one
// wants not to be reported; and no two rules are narrower than each other.
func TestNarrowerImpliesWider(t *testing.T) {
	set := withRanges(t)
	u := universeOf(set)
	all := set.Rules()
	spaces := make([]*space, len(all))
	for i := range all {
		spaces[i] = u.spaceOf(&all[i])
	}
	pairs := 0
	for _, a := range spaces {
		f, ok := u.meet(a, a, true)
		if !ok {
			continue
		}
		accounts, err := set.Explain(f)
		if err != nil {
			t.Fatal(err)
		}
		for i, b := range spaces {
			if a == b || !narrower(a, b) {
				continue
			}
			pairs++
			if narrower(b, a) {
				t.Errorf("%s and %s are narrower than each other", a.rule.ID, b.rule.ID)
			}
			for _, c := range accounts[i].Conditions {
				if c.Grade == 0 && c.Key != "without" {
					t.Errorf("%s is narrower than %s, but in %s the wider one fails by %s", a.rule.ID, b.rule.ID, Describe(u.vocabulary, f), c.Key)
				}
			}
		}
	}
	if pairs < 100 {
		t.Errorf("only %d pairs were tried", pairs)
	}
}
