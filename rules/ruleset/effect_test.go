package ruleset_test

import (
	"strings"
	"testing"
	"testing/fstest"

	"kartwright/rules"
	"kartwright/rules/diag"
	"kartwright/rules/ruleset"
	"kartwright/rulesets"
)

// What a rule relies on is one of the words that can be computed, once and not
// both ways, and belongs to a vote.
func TestEffectKeys(t *testing.T) {
	base, err := rulesets.FS.ReadFile("base.toml")
	if err != nil {
		t.Fatal(err)
	}
	const head = "format = 1\nset = \"x\"\ntitle = \"x\"\nextends = [\"base.toml\"]\n\n[[rule]]\nid = \"a\"\nwhen = { symptom = \"understeer\" }\nconfidence = 0.5\nbecause = \"b\"\nsource = \"s\"\n"
	const vote = "vote = { caster = \"+0.5 deg\" }\n"
	for _, tt := range []struct{ text, want string }{
		{vote + `effect = ["more inner-rear lift", "heavier steering"]`, ""},
		{vote + `effect = "more trail"` + "\n" + `effect_except = "not on a kart without trail"`, ""},
		{vote + `effect = ["more inner rear lift"]`, `"more inner rear lift" is not an effect that can be computed [unknown-word]`},
		{vote + `effect = ["more inner rear lift"]`, `did you mean "more inner-rear lift"?`},
		{vote + `effect = ["more trail", "less trail"]`, `the rule relies on "more trail" and on "less trail" [self-contrary]`},
		{`leave = ["caster"]` + "\n" + `effect = ["more trail"]`, `an effect is that of a vote, and the rule has none [says-nothing]`},
		{vote + `effect_except = "because"`, `"effect_except" explains nothing without the key "effect" [says-nothing]`},
	} {
		loaded, found := ruleset.Load(fstest.MapFS{"base.toml": {Data: base}, "x.toml": {Data: []byte(head + tt.text + "\n")}}, "x.toml")
		var b strings.Builder
		if err := diag.WriteText(&b, found); err != nil {
			t.Fatal(err)
		}
		if tt.want == "" {
			if diag.HasErrors(found) {
				t.Errorf("%s\nis refused: %s", tt.text, b.String())
			} else if r := loaded.Set.Rule("a"); len(r.Effects) == 0 {
				t.Errorf("%s\nleaves no effect in the rule", tt.text)
			}
			continue
		}
		if !strings.Contains(b.String(), tt.want) {
			t.Errorf("%s\nfindings:\n%swant %s", tt.text, b.String(), tt.want)
		}
	}
}

func TestEffectWords(t *testing.T) {
	seen := map[string]int{}
	for _, w := range rules.EffectWords() {
		first, direction := rules.EffectDirection(w)
		if direction == 0 {
			t.Errorf("%q has no direction", w)
		}
		seen[first] += direction
	}
	for first, sum := range seen {
		if sum != 0 {
			t.Errorf("%q has no opposite", first)
		}
	}
	if _, d := rules.EffectDirection("more power"); d != 0 {
		t.Errorf("\"more power\" has direction %d", d)
	}
}
