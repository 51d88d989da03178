package rulesets_test

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"

	"kartwright/rules"
)

// situations calls visit for every symptom of the kind, phase, corner, track,
// grip and tyres: each of the last four also not stated, and grip and tyres also
// as numbers that lie between two words.
func situations(set *rules.Set, checkFirst bool, visit func(rules.Facts)) {
	tracks := []string{""}
	for _, t := range set.Vocabulary().Tracks {
		tracks = append(tracks, t.ID)
	}
	for _, s := range set.Vocabulary().Symptoms {
		if s.CheckFirst != checkFirst {
			continue
		}
		for _, phase := range rules.PhaseWords() {
			for _, corner := range rules.CornerWords() {
				for _, track := range tracks {
					for _, grip := range levels(4, 7, "", "low", "medium", "high", "wet") {
						for _, tyres := range levels(25, 80, "", "new", "used", "worn", "wets") {
							f := rules.Facts{Track: track, Grip: grip, Tyres: tyres}
							f.Symptoms = []rules.Symptom{{ID: s.ID, Phase: phase, Corner: corner}}
							visit(f)
						}
					}
				}
			}
		}
	}
}

// levels returns two numbers and some words of a scale.
func levels(a, b float64, words ...string) []rules.Level {
	out := []rules.Level{{Number: a, IsNumber: true}, {Number: b, IsNumber: true}}
	for _, w := range words {
		out = append(out, rules.Level{Word: w})
	}
	return out
}

func describe(f rules.Facts) string {
	return fmt.Sprintf("%v track %q grip %v tyres %v", f.Symptoms, f.Track, f.Grip, f.Tyres)
}

// Every complaint that a setting can answer gets an answer in every part of the
// bend and under every condition, and none at all stated. Where rules speak for
// both directions of a move, both camps of a contested point are among them.
func TestEverySituationIsAnswered(t *testing.T) {
	set := shipped(t)
	n := 0
	situations(set, false, func(f rules.Facts) {
		n++
		res, err := set.Evaluate(f)
		if err != nil {
			t.Fatalf("%s: %v", describe(f), err)
		}
		if !slices.ContainsFunc(res.Verdicts, func(v rules.Verdict) bool { return proposed(v) != 0 }) {
			t.Errorf("%s: no move is proposed", describe(f))
		}
		for _, v := range res.Verdicts {
			explained := func(d rules.Dispute) bool { return len(d.Inc) > 0 && len(d.Dec) > 0 }
			if v.Inc > 0 && v.Dec > 0 && !slices.ContainsFunc(v.Contested, explained) {
				t.Errorf("%s: the rules about %s speak both ways and no contested point explains it: %v", describe(f), v.Move, voters(v))
			}
		}
	})
	t.Logf("%d situations", n)
}

func voters(v rules.Verdict) (ids []string) {
	for _, f := range v.Fired {
		ids = append(ids, fmt.Sprintf("%s %+d", f.Rule.ID, f.Direction))
	}
	return ids
}

// Complaints about the kart's condition are answered with checks, and with
// nothing to set, whatever the conditions.
func TestConditionIsCheckedFirst(t *testing.T) {
	set := shipped(t)
	situations(set, true, func(f rules.Facts) {
		res, err := set.Evaluate(f)
		if err != nil {
			t.Fatalf("%s: %v", describe(f), err)
		}
		if len(res.Checks) == 0 {
			t.Errorf("%s: nothing is to be checked", describe(f))
		}
		for _, v := range res.Verdicts {
			if v.Status != rules.None {
				t.Errorf("%s: the rules vote about %s: %v", describe(f), v.Move, voters(v))
			}
		}
	})
}

// A contested point has camps that want different things, and one observation
// that decides it.
func TestContestedPointsHaveTwoCamps(t *testing.T) {
	camps := map[string]map[string]bool{}
	for _, r := range shipped(t).Rules() {
		if r.Contested == "" {
			continue
		}
		if camps[r.Contested] == nil {
			camps[r.Contested] = map[string]bool{}
		}
		for _, v := range r.Votes {
			camps[r.Contested][fmt.Sprintf("%s %t", v.Move, v.Amount > 0)] = true
		}
		for _, m := range r.Leave {
			camps[r.Contested][m+" leave"] = true
		}
	}
	for _, point := range []string{"caster-high-grip", "camber-push", "front-width", "static-toe", "toe-wet",
		"caster-low-grip", "loose-low-grip", "exit-push-grip", "hop-high-grip"} {
		if camps[point] == nil {
			t.Errorf("no rule is about the contested point %q", point)
		}
	}
	for point, camp := range camps {
		if len(camp) < 2 {
			t.Errorf("contested point %q has one camp only: %v", point, camp)
		}
	}
}

// What a rule says is one whole sentence of its own, and its source is a kind
// of source and not a name.
func TestRulesReadWell(t *testing.T) {
	set := shipped(t)
	if n := len(set.Rules()); n < 200 {
		t.Errorf("there are %d rules, want at least 200", n)
	}
	sources := []string{"common practice", "computed", "textbook, from memory", "karting trade press"}
	sentence := regexp.MustCompile(`^[A-Z][^.!?]*\.$`)
	said := map[string]string{}
	for _, r := range set.Rules() {
		if !slices.Contains(sources, r.Source) {
			t.Errorf("%s: rule %s has source %q, want one of %s", r.Place, r.ID, r.Source, strings.Join(sources, "; "))
		}
		if !sentence.MatchString(r.Because) || len(strings.Fields(r.Because)) < 8 {
			t.Errorf("%s: rule %s does not give its reason as one whole sentence: %q", r.Place, r.ID, r.Because)
		}
		if other, twice := said[r.Because]; twice {
			t.Errorf("%s: rule %s gives the same reason as %s", r.Place, r.ID, other)
		}
		said[r.Because] = r.ID
	}
}
