package rules

import (
	"math"
	"testing"
)

// COMPUTED in the oracle note: the full example of the scheme.
func TestFullExample(t *testing.T) {
	v := Vocabulary{
		Symptoms: []SymptomWord{{ID: "understeer"}},
		Moves:    []Move{{ID: "caster", Unit: "deg"}, {ID: "toe", Unit: "deg"}},
		Tracks:   []Track{{ID: "tight"}},
	}
	rule := func(id, family string, w, amount float64) Rule {
		return Rule{ID: id, Family: family, Confidence: w, Votes: []Vote{{Move: "caster", Amount: amount}}, When: When{Symptom: []string{"understeer"}}}
	}
	s, err := New(v, []Rule{rule("a", "f1", .5, 2), rule("b", "f1", .4, 1), rule("c", "f2", .3, 1), rule("d", "", .35, -1)})
	if err != nil {
		t.Fatal(err)
	}
	res, err := s.Evaluate(Facts{Symptoms: []Symptom{{ID: "understeer"}}})
	if err != nil {
		t.Fatal(err)
	}
	got := res.Verdicts[0]
	if got.EvidenceInc != 693147181+356674944 || got.EvidenceDec != 430782916 {
		t.Errorf("evidence is %d for and %d against, want 1049822125 and 430782916", got.EvidenceInc, got.EvidenceDec)
	}
	near := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 1e-9 {
			t.Errorf("%s is %.10f, want %.10f", what, got, want)
		}
	}
	near("belief in an increase", got.Inc, 0.65)
	near("belief in a decrease", got.Dec, 0.35)
	near("net", got.Net, 6.0/13)
	near("conflict", got.Conflict, 0.2275)
	near("for", got.For, 0.5469255663)
	near("against", got.Against, 0.1585760518)
	near("undecided", got.Undecided, 0.2944983819)
	near("amount", got.Amount, 1.625)
	t.Logf("%+v", got)
}
