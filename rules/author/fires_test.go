package author_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"kartwright/rules"
	"kartwright/rules/author"
	"kartwright/rules/ruleset"
)

// A rule is said never to fire if and only if no situation makes it fire: an
// independent search over every word, and numbers all along both scales.
func TestNeverFiresIfAndOnlyIf(t *testing.T) {
	pick := func(t *rapid.T, key string, words ...string) string {
		list := rapid.SliceOfN(rapid.SampledFrom(words), 0, 2).Draw(t, key)
		if len(list) == 0 {
			return ""
		}
		return fmt.Sprintf(`, %s = ["%s"]`, key, strings.Join(list, `", "`))
	}
	// corners lie on the numbers that are tried, so that the search misses nothing
	shape := func(t *rapid.T, key string, low, high int, step float64) string {
		if !rapid.Bool().Draw(t, key+" as numbers") {
			return ""
		}
		x := rapid.SliceOfN(rapid.IntRange(low, high), 4, 4).Draw(t, key)
		slices.Sort(x)
		at := func(i int) float64 { return float64(x[i]) * step }
		return fmt.Sprintf(", %s = [%g, %g, %g, %g]", key, at(0), at(1), at(2), at(3))
	}
	levels := func(to, step float64, words ...string) []rules.Level {
		out := []rules.Level{{}}
		for _, w := range words {
			out = append(out, rules.Level{Word: w})
		}
		for x := 0.0; x <= to; x += step {
			out = append(out, rules.Level{Number: x, IsNumber: true})
		}
		return out
	}
	grips := levels(10, 0.5, "low", "medium", "high", "wet")
	tyres := levels(110, 10, "new", "used", "worn", "wets")
	rapid.Check(t, func(t *rapid.T) {
		when := `symptom = ["` + strings.Join(rapid.SliceOfNDistinct(rapid.SampledFrom([]string{"push", "hop"}), 1, 2, rapid.ID).Draw(t, "symptom"), `", "`) + `"]`
		when += pick(t, "with", "hop", "push") + pick(t, "without", "hop", "push", "shake") + pick(t, "phase", "entry", "not exit", "any") + pick(t, "track", "tight", "not fast", "mixed")
		if g := shape(t, "grip", -6, 32, 0.5); g != "" {
			when += g
		} else {
			when += pick(t, "grip", "low", "not high", "wet", "not wet")
		}
		if g := shape(t, "tyres", -3, 10, 10); g != "" {
			when += g
		} else {
			when += pick(t, "tyres", "new", "not new", "wets")
		}
		when += rapid.SampledFrom([]string{"", ", wet = true", ", wet = false"}).Draw(t, "wet")
		fsys := fixture(rule("r", when, more, "0.5"))
		loaded, _ := ruleset.Load(fsys, "club.toml")
		if loaded.Set == nil {
			t.Skip("the rule contradicts itself, which is an error")
		}
		dead := false
		for _, d := range author.Check(loaded, nil) {
			dead = dead || d.Code == author.NeverFires
		}
		if fires := everFires(loaded.Set, grips, tyres); fires == dead {
			t.Fatalf("when = { %s }: it can fire is %t, but Check says that it never fires is %t", when, fires, dead)
		}
	})
}

func everFires(set *rules.Set, grips, tyres []rules.Level) bool {
	var buf rules.Buffer
	fires := func(f rules.Facts) bool {
		c, err := set.Compile(f)
		if err != nil {
			return false
		}
		return slices.ContainsFunc(set.Run(c, &buf), func(v rules.Verdict) bool { return v.Move == "caster" && v.Inc > 0 })
	}
	for _, symptoms := range [][]string{{"push"}, {"hop"}, {"push", "hop"}, {"hop", "push"}} {
		for _, phase := range []string{"entry", "mid"} {
			var complaint []rules.Symptom
			for _, id := range symptoms {
				complaint = append(complaint, rules.Symptom{ID: id, Phase: phase})
			}
			for _, track := range []string{"tight", "fast", "mixed"} {
				for _, g := range grips {
					for _, wet := range []rules.Tri{rules.Unknown, rules.No, rules.Yes} {
						for _, l := range tyres {
							if fires(rules.Facts{Symptoms: complaint, Track: track, Grip: g, Wet: wet, Tyres: l}) {
								return true
							}
						}
					}
				}
			}
		}
	}
	return false
}
