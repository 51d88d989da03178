package rules

import "slices"

// effects are the physical effects that a rule may say it relies on, in pairs:
// the second is the first turned round. They are of a bend, the steering turned
// as far as before.
var effects = [][2]string{
	{"more inner-rear lift", "less inner-rear lift"},
	{"more outer-rear load", "less outer-rear load"},
	{"more inner-front load", "less inner-front load"},
	{"more outer-front load", "less outer-front load"},
	{"more front camber at lock", "less front camber at lock"}, // the outer wheel leans in further
	{"more inner-wheel angle", "less inner-wheel angle"},       // the inner front wheel is steered further
	{"more trail", "less trail"},
	{"heavier steering", "lighter steering"},
}

// EffectWords returns the effects that a rule may say it relies on.
func EffectWords() []string {
	var out []string
	for _, e := range effects {
		out = append(out, e[:]...)
	}
	return out
}

// EffectDirection returns the first word of an effect's pair, and +1 or, if
// word is the second of the pair, −1; 0 if it is no effect.
func EffectDirection(word string) (first string, direction int) {
	for _, e := range effects {
		if i := slices.Index(e[:], word); i >= 0 {
			return e[0], 1 - 2*i
		}
	}
	return "", 0
}
