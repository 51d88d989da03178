package rules

import "strings"

// A Rule is one piece of advice and the conditions under which it holds.
type Rule struct {
	ID         string
	Title      string // short name, may be empty
	When       When
	Votes      []Vote
	Leave      []string // moves not to touch for this complaint
	Checks     []string // to be looked at before any setting
	Confidence float64  // the author's confidence w, above 0 and at most 1
	Family     string   // rules with the same reasoning count once per move and direction
	Because    string
	Source     string
	Cautions   []string
	Contested  string // name of the disputed point, if it is one
	Decide     string // the observation that decides a disputed point
	// Effects are the physical effects that the rule relies on, of EffectWords;
	// Except says why a kart may not show them.
	Effects []string
	Except  string
	Place   string // where the rule was written, "dry.toml:12"
}

// When holds the conditions of a rule. All of them have to be met; one that is
// empty does not matter. Phase, Corner and Severity are met by the reading that
// carries the symptom.
type When struct {
	Symptom  []string // any of these is reported
	With     []string // all of these are reported too
	Without  []string // none of these is reported
	Phase    Terms
	Corner   Terms
	Severity Terms
	Track    Terms
	Grip     Terms
	Tyres    Terms
	Wet      Tri
}

// Terms are alternatives, any of which will do: the best grade counts.
type Terms []Term

// A Term is a word, the negation of a word (1 − grade), or, for grip and tyres,
// a range of numbers.
type Term struct {
	Word  string
	Not   bool
	Range *Trapezoid // instead of Word
}

// A Vote is for a change of one move.
type Vote struct {
	Move   string
	Amount float64 // signed, in the unit of the move, never 0
	Text   string  // as the author wrote it, may be empty
}

// String writes the alternatives as in "low or not high".
func (t Terms) String() string {
	parts := make([]string, len(t))
	for i, term := range t {
		parts[i] = term.String()
	}
	return strings.Join(parts, " or ")
}

// String writes one alternative.
func (t Term) String() string {
	if t.Range != nil {
		parts := make([]string, len(t.Range))
		for i, x := range t.Range {
			parts[i] = number(x)
		}
		return "[" + strings.Join(parts, ", ") + "]"
	}
	if t.Not {
		return "not " + t.Word
	}
	return t.Word
}
