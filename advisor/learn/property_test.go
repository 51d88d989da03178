package learn_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"kartwright/advisor/learn"
)

func anyEvidence(t *rapid.T) []learn.Evidence {
	n := rapid.IntRange(0, 40).Draw(t, "n")
	var out []learn.Evidence
	for i := range n {
		out = append(out, learn.Evidence{
			ID: fmt.Sprint("e", i), Rule: rapid.SampledFrom([]string{"a", "b"}).Draw(t, "rule"), Source: learn.Source(rapid.IntRange(0, 2).Draw(t, "source")),
			Diary: rapid.SampledFrom([]string{"x", "y"}).Draw(t, "diary"), Day: fmt.Sprintf("2026-05-%02d", rapid.IntRange(1, 9).Draw(t, "day")),
			Helped: rapid.Float64Range(0, 1).Draw(t, "helped"),
		})
	}
	return out
}

var exact = cmp.AllowUnexported(learn.Record{}, learn.Count{})

// Order and repetition never matter, to the last bit.
func TestTallyIsOfASet(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ev := anyEvidence(t)
		want := learn.Tally(ev, learn.Usual)
		again := append(append([]learn.Evidence(nil), ev...), ev...)
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		r.Shuffle(len(again), func(i, j int) { again[i], again[j] = again[j], again[i] })
		if diff := cmp.Diff(want, learn.Tally(again, learn.Usual), exact); diff != "" {
			t.Fatalf("the same evidence twice and in another order (-once +twice):\n%s", diff)
		}
	})
}

// The nearest source of the same evidence is the one that counts.
func TestTallyTakesTheNearestSource(t *testing.T) {
	e := learn.Evidence{ID: "1", Rule: "a", Source: learn.OtherPeople, Day: "2026-05-03", Helped: 1}
	own := e
	own.Source = learn.ThisKart
	got := learn.Tally([]learn.Evidence{e, own}, learn.Usual)["a"].String()
	if want := "helped 1 of 1 time here"; got != want {
		t.Errorf("own evidence that came back from somebody else reads %q, want %q", got, want)
	}
}

// The factor lies in (0, 1], falls with every failure, never falls with a
// success, and is 1 for a rule of which nothing is known.
func TestFactor(t *testing.T) {
	if got := (learn.Record{}).Factor(.7); got != 1 {
		t.Errorf("the factor of an untried rule is %g, want 1", got)
	}
	rapid.Check(t, func(t *rapid.T) {
		ev := anyEvidence(t)
		w := rapid.Float64Range(.01, 1).Draw(t, "confidence")
		for i := range ev {
			ev[i].Rule, ev[i].Day = "a", "2026-05-03"
		}
		factor := func(more ...learn.Evidence) float64 {
			return learn.Tally(append(append([]learn.Evidence(nil), ev...), more...), learn.Usual)["a"].Factor(w)
		}
		e := learn.Evidence{ID: "new", Rule: "a", Day: "2026-05-03"}
		f, worse := factor(), factor(e)
		e.Helped = 1
		better := factor(e)
		if !(f > 0 && f <= 1) {
			t.Fatalf("the factor is %g, want above 0 and at most 1", f)
		}
		if !(worse < f) && !(f == 1 && worse <= 1) {
			t.Fatalf("a failure takes the factor from %g to %g", f, worse)
		}
		if better < f {
			t.Fatalf("a success takes the factor from %g to %g", f, better)
		}
	})
}

// An outcome of ten event days ago counts as much as 0.9¹⁰ of one, and only
// days of its own diary age it.
func TestMemory(t *testing.T) {
	ev := []learn.Evidence{{ID: "old", Rule: "a", Diary: "mine", Day: "2026-01-01"}}
	alone := learn.Tally(ev, learn.Usual)["a"].Belief(.5)
	for i := range 10 {
		ev = append(ev, learn.Evidence{ID: fmt.Sprint(i), Rule: "b", Diary: "theirs", Day: fmt.Sprintf("2026-03-%02d", i+1)})
	}
	if got := learn.Tally(ev, learn.Usual)["a"].Belief(.5); got != alone {
		t.Errorf("days of another diary turn the belief %v into %v", alone, got)
	}
	for i := range 10 {
		ev = append(ev, learn.Evidence{ID: fmt.Sprint("m", i), Rule: "b", Diary: "mine", Day: fmt.Sprintf("2026-02-%02d", i+1)})
	}
	got := learn.Tally(ev, learn.Usual)["a"].Belief(.5).B - 2
	near(t, "what is left of the outcome", got, 0.34867844, 8) // 0.9 to the tenth
}

// The probabilities of being best add up to 1 and are fair to equals, for
// flat, U-shaped and very sharp beliefs.
func TestBestAddsUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		one := rapid.Custom(func(t *rapid.T) learn.Beta {
			return learn.Beta{A: rapid.Float64Range(.3, 100).Draw(t, "a"), B: rapid.Float64Range(.3, 100).Draw(t, "b")}
		})
		beliefs := rapid.SliceOfN(one, 1, 5).Draw(t, "beliefs")
		sum := 0.0
		for _, p := range learn.Best(beliefs) {
			sum += p
		}
		if math.Abs(sum-1) > 1e-7 {
			t.Fatalf("the probabilities of being best add up to %.12f, want 1", sum)
		}
		b := beliefs[0]
		if p := learn.Best([]learn.Beta{b, b}); math.Abs(p[0]-.5) > 1e-7 {
			t.Fatalf("of two equal beliefs the first is best with probability %.12f, want ½", p[0])
		}
	})
}

// Several outcomes of a day count as they would one by one.
func TestTimes(t *testing.T) {
	one := []learn.Evidence{{ID: "1", Rule: "a", Helped: 1}, {ID: "2", Rule: "a", Helped: 0.5}, {ID: "3", Rule: "a"}}
	sum := []learn.Evidence{{ID: "x", Rule: "a", Helped: 1.5, Times: 3}}
	if diff := cmp.Diff(learn.Tally(one, learn.Usual), learn.Tally(sum, learn.Usual), exact); diff != "" {
		t.Errorf("three outcomes and their sum (-one by one +sum):\n%s", diff)
	}
}

func TestWords(t *testing.T) {
	ev := []learn.Evidence{
		{ID: "1", Rule: "a", Helped: 1}, {ID: "2", Rule: "a", Helped: 1}, {ID: "3", Rule: "a", Helped: .7}, {ID: "4", Rule: "a"},
		{ID: "5", Rule: "a", Source: learn.OtherPeople, Helped: 1}, {ID: "6", Rule: "b", Source: learn.OtherKart},
		{ID: "7", Rule: "c", Helped: math.NaN()},
	}
	got := learn.Tally(ev, learn.Usual)
	for rule, want := range map[string]string{
		"a": "helped 2.7 of 4 times here, 1 of 1 time in other journals", "b": "helped 0 of 1 time on your other karts", "c": "not tried yet",
	} {
		if got[rule].String() != want {
			t.Errorf("rule %s: %q, want %q", rule, got[rule].String(), want)
		}
	}
	if !got["a"].WorthATest(.5) {
		t.Error("3 of 5 on an even prior is not called worth a test")
	}
}
