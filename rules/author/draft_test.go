package author_test

import (
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"kartwright/rules"
	"kartwright/rules/author"
	"kartwright/rules/diag"
	"kartwright/rules/ruleset"
	"kartwright/rules/ruletest"
	"kartwright/rulesets"
)

// A draft of any text is read back as it was meant.
func TestDraftIsReadBack(t *testing.T) {
	line := rapid.StringMatching(`[^\x00\p{Z}][^\x00]{0,40}`)
	some := func(words ...string) *rapid.Generator[[]string] {
		return rapid.SliceOfNDistinct(rapid.SampledFrom(words), 0, 2, func(s string) string { return s })
	}
	rapid.Check(t, func(t *rapid.T) {
		d := author.Draft{
			ID: "a-rule", Title: line.Draw(t, "title"), Because: line.Draw(t, "because"), Source: line.Draw(t, "source"), Caution: line.Draw(t, "caution"),
			Symptom: []string{"push"}, With: some("hop", "shake").Draw(t, "with"), Phase: some("entry", "exit").Draw(t, "phase"),
			Track: some("tight", "not fast").Draw(t, "track"), Grip: some("low", "not high").Draw(t, "grip"), Tyres: some("new", "used").Draw(t, "tyres"),
			Wet: rapid.SampledFrom([]rules.Tri{rules.Unknown, rules.No}).Draw(t, "wet"), Move: "caster", Amount: "+0.5 deg",
			Confidence: rapid.Float64Range(0.01, 1).Draw(t, "confidence"),
		}
		fsys := fstest.MapFS{"club.toml": file("club", nil, vocabulary, "\n", d.TOML())}
		loaded, found := ruleset.Load(fsys, "club.toml")
		if diag.HasErrors(found) {
			t.Fatalf("the draft does not load: %v\n%s", found, d.TOML())
		}
		r := loaded.Set.Rule("a-rule")
		words := func(terms rules.Terms) string {
			var out []string
			for _, x := range terms {
				out = append(out, x.String())
			}
			return strings.Join(out, ",")
		}
		for _, c := range []struct{ what, got, want string }{
			{"title", r.Title, d.Title}, {"because", r.Because, d.Because}, {"source", r.Source, d.Source}, {"caution", r.Cautions[0], d.Caution},
			{"with", strings.Join(r.When.With, ","), strings.Join(d.With, ",")}, {"phase", words(r.When.Phase), strings.Join(d.Phase, ",")},
			{"track", words(r.When.Track), strings.Join(d.Track, ",")}, {"grip", words(r.When.Grip), strings.Join(d.Grip, ",")},
			{"tyres", words(r.When.Tyres), strings.Join(d.Tyres, ",")}, {"wet", r.When.Wet.String(), d.Wet.String()},
		} {
			if c.got != c.want {
				t.Fatalf("%s is read back as %q, and was %q:\n%s", c.what, c.got, c.want, d.TOML())
			}
		}
		if r.Confidence != d.Confidence || len(r.Votes) != 1 || r.Votes[0].Amount != 0.5 {
			t.Fatalf("the vote is read back as %v with confidence %v", r.Votes, r.Confidence)
		}
	})
}

// The test that is written for a rule passes, for every rule that votes.
func TestTrialsOfShippedRulesPass(t *testing.T) {
	loaded, findings := ruleset.Load(rulesets.FS, rulesets.Default)
	require.Empty(t, findings)
	text := "format = 1\nfor = \"shipped.toml\"\n"
	want, won := 0, 0
	for _, r := range loaded.Set.Rules() {
		if len(r.Votes) == 0 {
			continue
		}
		trial, ok := author.Try(loaded.Set, r.ID)
		if !ok {
			t.Errorf("no situation is found in which the rule %s holds", r.ID)
			continue
		}
		want++
		if trial.Won() {
			won++
		}
		text += "\n" + trial.TOML(loaded.Set.Vocabulary(), "test of "+r.ID, r.ID)
	}
	fsys := fstest.MapFS{"trial.test.toml": {Data: []byte(text)}}
	for _, f := range loaded.Files {
		fsys[f.Name] = &fstest.MapFile{Data: f.Source.Data}
	}
	report, found := ruletest.Run(fsys, "trial.test.toml")
	if diag.HasErrors(found) {
		t.Fatalf("the tests are not understood: %v", found[0])
	}
	if n := len(report.Results); n != want || report.Failed() > 0 {
		var out strings.Builder
		require.NoError(t, report.WriteText(&out))
		t.Errorf("%d tests ran, %d failed; want %d and none:\n%s", n, report.Failed(), want, out.String())
	}
	if won < want*3/4 {
		t.Errorf("only %d of %d rules get their way where they hold", won, want)
	}
}
