package advisor_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"kartwright/advisor"
	"kartwright/advisor/profile/demo"
	"kartwright/rules"
)

// No shipped rule relies on an effect that a demo kart contradicts, unless it
// says why.
func TestShippedRulesDoWhatTheyRelyOn(t *testing.T) {
	set := shipped(t)
	relies, excepted := 0, map[string]bool{}
	all := set.Rules()
	for _, name := range demo.Names() {
		k := demoKart(t, name)
		for i := range all {
			claims, err := advisor.Claims(k, &all[i], set.Vocabulary(), advisor.SlowBend)
			require.NoError(t, err, all[i].ID)
			for _, c := range claims {
				relies++
				if c.Holds {
					continue
				}
				excepted[all[i].ID] = true
				if all[i].Except == "" {
					t.Errorf("%s: rule %s relies on %q, but on %s %s", all[i].Place, all[i].ID, c.Effect, name, c.Text)
				}
			}
		}
	}
	if relies < 500 {
		t.Errorf("%d effects were held against the karts, want the shipped rules to state what they rely on", relies)
	}
	for i := range all {
		if all[i].Except != "" && !excepted[all[i].ID] {
			t.Errorf("rule %s explains a disagreement that no demo kart shows", all[i].ID)
		}
	}
}

// Every word that a rule may use is computed, and its opposite is its opposite.
func TestEveryEffectIsComputed(t *testing.T) {
	set := shipped(t)
	k := demoKart(t, "alder")
	vote := func(move string, amount float64, effect string) advisor.Claim {
		r := rules.Rule{ID: "r", Votes: []rules.Vote{{Move: move, Amount: amount}}, Effects: []string{effect}}
		c, err := advisor.Claims(k, &r, set.Vocabulary(), advisor.SlowBend)
		require.NoError(t, err)
		return c[0]
	}
	for _, w := range rules.EffectWords() {
		up, down := vote("caster", 1, w), vote("caster", -1, w)
		if first, _ := rules.EffectDirection(w); first == "more inner-wheel angle" {
			up, down = vote("ackermann", 1, w), vote("ackermann", -1, w)
		}
		if up.Holds == down.Holds {
			t.Errorf("%q: more says %q, less says %q; want one of them to have the effect", w, up.Text, down.Text)
		}
	}
	r := rules.Rule{ID: "r", Votes: []rules.Vote{{Move: "front_pressure", Amount: 0.1}}, Effects: []string{"more trail"}}
	if _, err := advisor.Claims(k, &r, set.Vocabulary(), advisor.SlowBend); err == nil || !strings.Contains(err.Error(), "front_pressure") {
		t.Errorf("a rule that relies on tyre pressure for trail is answered with %v", err)
	}
}

// A rule that speaks for a plan and relies on what the plan does not do is
// named with the plan.
func TestContradicted(t *testing.T) {
	set := shipped(t)
	k := demoKart(t, "alder")
	adv, err := advisor.Advise(advisor.Request{Kart: k, Rules: set, Facts: rules.Facts{Symptoms: []rules.Symptom{{ID: "bind", Phase: "entry"}}, Track: "tight", Grip: rules.Level{Word: "medium"}}})
	require.NoError(t, err)
	require.NotNil(t, adv.First)
	p := adv.First.Plan
	e, err := p.Effects(advisor.SlowBend)
	require.NoError(t, err)
	if got := p.Contradicted(e, adv.First.For); len(got) != 0 {
		t.Errorf("shipped rules for %s are contradicted: %q", adv.First.Title(), got)
	}
	wrong := rules.Rule{ID: "wrong", Effects: []string{"less inner-rear lift", "more inner-rear lift"}, Except: "never mind"}
	got := p.Contradicted(e, []rules.Firing{{Rule: &wrong, Counted: true}})
	if len(got) != 1 || !strings.Contains(got[0], "Rule wrong relies on less inner-rear lift; computed for this kart, ") || !strings.HasSuffix(got[0], "kg are taken off the inner rear wheel. never mind.") {
		t.Errorf("a rule that relies on the opposite: %q", got)
	}
}
