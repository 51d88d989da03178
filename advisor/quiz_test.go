package advisor_test

import (
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"

	"kartwright/advisor"
	"kartwright/advisor/profile/demo"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
)

// Every kart gives fair questions: as many as asked for, each once, with
// choices that differ and an answer among them, the same for the same seed.
func TestQuiz(t *testing.T) {
	set := shipped(t)
	kinds := map[string]int{}
	for _, name := range demo.Names() {
		k := demoKart(t, name)
		for seed := range uint64(2) {
			qs, err := advisor.Quiz(k, set, advisor.SlowBend, seed, 8)
			require.NoError(t, err)
			if len(qs) != 8 {
				t.Errorf("%s, seed %d: %d questions, want 8", name, seed, len(qs))
			}
			asked := map[string]bool{}
			for _, q := range qs {
				kinds[q.Kind]++
				if asked[q.Text] {
					t.Errorf("%s, seed %d: %q is asked twice", name, seed, q.Text)
				}
				asked[q.Text] = true
				choices := map[string]bool{}
				for _, c := range q.Choices {
					choices[c] = true
				}
				if len(choices) != 3 || q.Right < 0 || q.Right > 2 || q.Worked == "" {
					t.Errorf("%s, seed %d: %+v", name, seed, q)
				}
			}
			again, err := advisor.Quiz(k, set, advisor.SlowBend, seed, 8)
			require.NoError(t, err)
			if d := cmp.Diff(qs, again); d != "" {
				t.Errorf("%s, seed %d, asked again: %s", name, seed, d)
			}
		}
	}
	for _, kind := range []string{"wheel loads", "turns", "geometry", "steering", "advice", "contested"} {
		if kinds[kind] == 0 {
			t.Errorf("no question of the kind %q in %v", kind, kinds)
		}
	}
}

// The turns that the answer names do what the question asks for.
func TestQuizTurnsAreRight(t *testing.T) {
	k := demoKart(t, "alder")
	seen := 0
	for seed := range uint64(8) {
		qs, err := advisor.Quiz(k, shipped(t), advisor.SlowBend, seed, 8)
		require.NoError(t, err)
		for _, q := range qs {
			w := advisor.Want{Figure: adjust.Toe, Value: float64(-frontend.ToeAngle(1, advisor.RimLength)), By: true}
			if q.Kind != "turns" || !strings.Contains(q.Text, "toe") {
				continue
			}
			seen++
			p, err := advisor.NewPlan(advisor.Job{Kart: k, From: k.Present, Sides: frontend.Sides[:], Wants: [2][]advisor.Want{{w}, {w}}})
			require.NoError(t, err)
			var need float64
			for _, m := range p.Sides[0].Moves {
				if m.Part == adjust.OnRod {
					need = math.Abs(m.To - m.From)
				}
			}
			if want := geometry.Turns(need).Spoken(); q.Choices[q.Right] != want {
				t.Errorf("answer %q, the solver turns the rod by %s", q.Choices[q.Right], want)
			}
		}
	}
	if seen == 0 {
		t.Error("no question about turns of the tie rod")
	}
}

// A point on which the trade is split is never asked as if it were settled.
func TestQuizIsHonest(t *testing.T) {
	k := demoKart(t, "cedar")
	for seed := range uint64(4) {
		qs, err := advisor.Quiz(k, shipped(t), advisor.SlowBend, seed, 10)
		require.NoError(t, err)
		for _, q := range qs {
			if q.Kind == "contested" && (!strings.Contains(q.Text, "The trade is split") || !strings.HasPrefix(q.Worked, "Nobody is simply right.")) {
				t.Errorf("%+v takes sides", q)
			}
		}
	}
}
