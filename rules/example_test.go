package rules_test

import (
	"fmt"

	"kartwright/rules"
)

// Two rules agree and one does not: what they say is pooled for each side, and
// the disagreement is told.
func ExampleSet_Evaluate() {
	vocabulary := rules.Vocabulary{
		Symptoms: []rules.SymptomWord{{ID: "understeer"}, {ID: "over_lift"}},
		Moves:    []rules.Move{{ID: "caster", Unit: "deg"}},
		Grip:     rules.Scale{Of: 10, Words: []rules.ScaleWord{{Word: "low", Shape: rules.Trapezoid{0, 0, 3, 5}}, {Word: "high", Shape: rules.Trapezoid{3, 5, 10, 10}}}},
	}
	push := []string{"understeer"}
	set, err := rules.New(vocabulary, []rules.Rule{
		{ID: "push", When: rules.When{Symptom: push}, Confidence: 0.5, Votes: []rules.Vote{{Move: "caster", Amount: 0.5}}},
		{ID: "push-low-grip", When: rules.When{Symptom: push, Grip: rules.Terms{{Word: "low"}}}, Confidence: 0.6, Votes: []rules.Vote{{Move: "caster", Amount: 1}}},
		{ID: "over-lift", When: rules.When{Symptom: push, With: []string{"over_lift"}}, Confidence: 0.4, Votes: []rules.Vote{{Move: "caster", Amount: -0.5}}},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	result, err := set.Evaluate(rules.Facts{
		Symptoms: []rules.Symptom{{ID: "understeer"}, {ID: "over_lift"}},
		Grip:     rules.Level{Number: 4, IsNumber: true},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	v := result.Verdicts[0]
	fmt.Printf("%s %+.2f deg, net %.2f, conflict %.2f\n", v.Move, v.Amount, v.Net, v.Conflict)
	for _, f := range v.Fired {
		fmt.Printf("%-14s %+.1f  support %.2f  limit %q\n", f.Rule.ID, f.Amount, f.Support, f.Limit)
	}
	// Output:
	// caster +0.69 deg, net 0.42, conflict 0.26
	// over-lift      -0.5  support 0.40  limit ""
	// push           +0.5  support 0.50  limit ""
	// push-low-grip  +1.0  support 0.30  limit "grip"
}
