package author_test

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"

	"kartwright/rules"
	"kartwright/rules/author"
	"kartwright/rules/diag"
	"kartwright/rules/ruleset"
	"kartwright/rulesets"
	"kartwright/rulesets/words"
)

// vocabulary is what every fixture stands on: three complaints, two moves.
const vocabulary = `
[symptom.push]
title = "push"
means = "it pushes"
phases = ["entry", "exit", "any"]
[symptom.hop]
title = "hop"
means = "it hops"
phases = ["any"]
[symptom.shake]
title = "shake"
means = "it shakes"
phases = ["any"]
check_first = true
[move.caster]
title = "caster"
increase = "more caster"
decrease = "less caster"
unit = "deg"
usual = ["0.25 deg", "2 deg"]
lever = "front"
[move.toe]
title = "toe"
increase = "less toe-out"
decrease = "more toe-out"
unit = "deg"
usual = ["0.1 deg", "0.5 deg"]
lever = "front"
[track.tight]
title = "tight"
[track.fast]
title = "fast"
[track.mixed]
title = "both"
counts_as = { tight = 0.5, fast = 0.5 }
[scale.grip]
of = 10
low = [0, 0, 3, 5]
medium = [3, 5, 6, 8]
high = [6, 8, 10, 10]
[scale.tyres]
unit = "laps"
new = [0, 0, 20, 30]
used = [20, 30, 70, 90]
worn = [70, 90, 1e9, 1e9]
[scale.severity]
slight = 0.6
normal = 0.8
strong = 1.0
`

// answers answers every symptom of the vocabulary under all conditions.
const answers = `
[[rule]]
id = "push-toe"
when = { symptom = "push" }
vote = { toe = "-0.2 deg" }
confidence = 0.5
because = "Because."
source = "common practice"
[[rule]]
id = "hop-toe"
when = { symptom = "hop" }
vote = { toe = "+0.2 deg" }
confidence = 0.5
because = "Because."
source = "common practice"
[[rule]]
id = "shake-check"
when = { symptom = "shake" }
checks = ["wheel bearings"]
source = "common practice"
`

// rule writes a rule; more are further lines.
func rule(id, when, vote, confidence string, more ...string) string {
	return fmt.Sprintf("[[rule]]\nid = %q\nwhen = { %s }\nvote = { %s }\nconfidence = %s\nbecause = \"Because.\"\nsource = \"common practice\"\n%s\n",
		id, when, vote, confidence, strings.Join(more, "\n"))
}

func file(set string, extends []string, body ...string) *fstest.MapFile {
	list := ""
	for i, e := range extends {
		if i > 0 {
			list += ", "
		}
		list += fmt.Sprintf("%q", e)
	}
	return &fstest.MapFile{Data: []byte(fmt.Sprintf("format = 1\nset = %q\ntitle = \"x\"\nextends = [%s]\n%s", set, list, strings.Join(body, "")))}
}

// load loads club.toml, which extends base.toml with the vocabulary and, if
// complete, with answers.
func load(t *testing.T, complete bool, body ...string) *ruleset.Loaded {
	t.Helper()
	base := vocabulary
	if complete {
		base += answers
	}
	fsys := fixture(body...)
	fsys["base.toml"] = file("base", nil, base)
	loaded, found := ruleset.Load(fsys, "club.toml")
	for _, d := range found {
		if d.Severity == diag.Error {
			t.Fatalf("the fixture has an error: %v", d)
		}
	}
	return loaded
}

// fixture are base.toml with the vocabulary and club.toml, which extends it.
func fixture(body ...string) fstest.MapFS {
	return fstest.MapFS{"base.toml": file("base", nil, vocabulary), "club.toml": file("club", []string{"base.toml"}, body...)}
}

// found writes findings as "code: text of the place".
func found(list []diag.Diagnostic) []string {
	out := []string{}
	for _, d := range list {
		out = append(out, string(d.Code)+": "+d.At.Text())
	}
	return out
}

const exit, entry = `symptom = "push", phase = "exit"`, `symptom = "push", phase = "entry"`

var more, less = `caster = "+0.5 deg"`, `caster = "-0.5 deg"`

// Each planted fault is found, at the smallest thing to edit; what is next to it
// and meant is not.
func TestCheckFindsPlantedFaults(t *testing.T) {
	const decide = `decide = "does it lift?"`
	contested := func(name string) string { return fmt.Sprintf("contested = %q", name) }
	for _, tt := range []struct {
		name string
		body string
		want []string
	}{
		{"nothing planted", "", nil},

		{"opposite votes for the same complaint",
			rule("a", exit, more, "0.5") + rule("b", exit, less, "0.4"), []string{`contradicting-rules: "-0.5 deg"`}},
		{"opposite votes whose conditions cross",
			rule("a", exit+`, track = "fast"`, more, "0.5") + rule("b", exit+`, grip = "high"`, less, "0.4"), []string{`contradicting-rules: "-0.5 deg"`}},
		{"one finding for a rule against two",
			rule("a", exit+`, track = "fast"`, more, "0.5") + rule("b", exit+`, tyres = "new"`, more, "0.5") + rule("c", exit+`, grip = "high"`, less, "0.4"),
			[]string{`contradicting-rules: "-0.5 deg"`}},
		{"ranges of numbers that overlap fully",
			rule("a", exit+`, grip = [4, 5, 7, 8]`, more, "0.5") + rule("b", exit+`, grip = [6, 7, 9, 10]`, less, "0.4"), []string{`contradicting-rules: "-0.5 deg"`}},
		{"a pair of complaints asked for from either side",
			rule("a", `symptom = "push", with = ["hop"]`, more, "0.5") + rule("b", `symptom = "hop", with = ["push"]`, less, "0.4"), []string{`contradicting-rules: "-0.5 deg"`}},
		{"words of a scale that only meet half way",
			rule("a", exit+`, grip = "low"`, more, "0.5") + rule("b", exit+`, grip = "medium"`, less, "0.4"), nil},
		{"kinds of track that only meet on a mixture",
			rule("a", exit+`, track = "tight"`, more, "0.5") + rule("b", exit+`, track = "fast"`, less, "0.4"), nil},
		{"a wet track and a dry grip",
			rule("a", exit+`, wet = true`, more, "0.5") + rule("b", exit+`, grip = ["low", "medium"]`, less, "0.4"), nil},
		{"other phases", rule("a", exit, more, "0.5") + rule("b", entry, less, "0.4"), nil},
		{"kept apart by without",
			rule("a", exit+`, track = "fast", without = ["hop"]`, more, "0.5") + rule("b", exit+`, grip = "high", with = ["hop"]`, less, "0.4"), nil},
		{"two wishes at once", rule("a", `symptom = "push"`, more, "0.5") + rule("b", `symptom = "hop"`, less, "0.4"), nil},
		{"both say that it is contested",
			rule("a", exit, more, "0.5", contested("x"), decide) + rule("b", exit, less, "0.4", contested("x"), decide), nil},
		{"contested, but not the same point",
			rule("a", exit, more, "0.5", contested("x"), decide) + rule("b", exit, less, "0.4", contested("y"), decide), []string{`contradicting-rules: "-0.5 deg"`}},
		{"without makes no special case",
			rule("a", exit, more, "0.5") + rule("b", exit+`, without = ["hop"]`, less, "0.4"), []string{`contradicting-rules: "-0.5 deg"`}},
		{"others may be split, these two are not explained",
			rule("a", exit, more, "0.5") + rule("b", exit, less, "0.4") + rule("c", exit, more, "0.5", contested("x"), decide) + rule("d", exit, less, "0.4", contested("x"), decide),
			[]string{`contradicting-rules: "-0.5 deg"`}},
		{"conditions that cross where a contested point tells of both sides",
			rule("a", exit+`, track = "fast"`, more, "0.5") + rule("b", exit+`, grip = "high"`, less, "0.4") +
				rule("c", exit, more, "0.5", contested("x"), decide) + rule("d", exit, less, "0.4", contested("x"), decide), nil},
		{"a general rule and a surer special case",
			rule("a", exit, more, "0.3") + rule("b", exit+`, grip = "high"`, less, "0.7"), nil},
		{"a complaint and the pair that decides it",
			rule("a", `symptom = "push"`, more, "0.3") + rule("b", `symptom = "push", with = ["hop"]`, less, "0.7"), nil},

		{"a special case that the general rule outvotes",
			rule("a", exit, more, "0.7") + rule("b", exit+`, grip = "high"`, less, "0.3"), []string{`outvoted-exception: "-0.5 deg"`}},
		{"a pair that the single complaint outvotes",
			rule("a", `symptom = "push"`, more, "0.7") + rule("b", `symptom = "push", with = ["hop"]`, less, "0.3"), []string{`outvoted-exception: "-0.5 deg"`}},
		{"outvoted, but contested",
			rule("a", exit, more, "0.7") + rule("b", exit+`, grip = "high"`, less, "0.3", contested("x"), decide), nil},

		{"a range off the scale", rule("a", `symptom = "push", grip = [11, 12, 13, 14]`, more, "0.5"), []string{"never-fires: [11, 12, 13, 14]"}},
		{"laps below none", rule("a", `symptom = "push", tyres = [-9, -8, -7, -6]`, more, "0.5"), []string{"never-fires: [-9, -8, -7, -6]"}},
		{"a wet track that is not wet", rule("a", `symptom = "push", wet = true, grip = "not wet"`, more, "0.5"), []string{`never-fires: "not wet"`}},
		{"all symptoms excluded", rule("a", `symptom = ["push", "hop"], without = ["hop", "push"]`, more, "0.5"), []string{`never-fires: ["hop", "push"]`}},
		{"a wet track with any grip", rule("a", `symptom = "push", wet = true, grip = ["not low"]`, more, "0.5"), nil},

		{"a symptom with itself", rule("a", `symptom = "push", with = ["push"]`, more, "0.5"), []string{`idle-condition: "push"`}},
		{"one of two symptoms excluded", rule("a", `symptom = ["push", "hop"], without = ["hop"]`, more, "0.5"), []string{`idle-condition: "hop"`}},
		{"a word twice", rule("a", `symptom = "push", grip = ["low", "medium", "low"]`, more, "0.5"), []string{`idle-condition: "low"`}},
		{"any beside a word", rule("a", `symptom = "push", track = ["any", "fast"]`, more, "0.5"), []string{`idle-condition: "any"`}},
		{"a word and its opposite", rule("a", `symptom = "push", tyres = ["new", "not new"]`, more, "0.5"), []string{`idle-condition: "not new"`}},
		{"one idle alternative of a wet rule", rule("a", `symptom = "push", wet = true, grip = ["wet", "low"]`, more, "0.5"), []string{`idle-condition: "low"`}},

		{"a phase for a complaint without phases", rule("a", `symptom = "hop", phase = "exit"`, more, "0.5"), []string{`unusual-phase: "exit"`}},
		{"a phase in which it is not reported", rule("a", `symptom = "push", phase = ["exit", "straight"]`, more, "0.5"), []string{`unusual-phase: "straight"`}},
		{"a check may ask for an odd complaint",
			"[[rule]]\nid = \"a\"\nwhen = { symptom = \"push\", phase = \"straight\" }\nchecks = [\"the frame\"]\nsource = \"common practice\"\n", nil},

		{"a change of a rule that it switches off", "[[change]]\nrule = \"push-toe\"\noff = true\nconfidence = 0.4\n" + rule("a", `symptom = "push"`, more, "0.5"),
			[]string{"idle-change: confidence"}},
		{"switched off and nothing else", "[[change]]\nrule = \"push-toe\"\noff = true\n" + rule("a", `symptom = "push"`, more, "0.5"), nil},
		{"a symptom whose only rule is switched off", "[[change]]\nrule = \"hop-toe\"\noff = true\n", []string{"unanswered-symptom: hop"}},
		{"a change that turns a rule against its neighbour", rule("a", exit, more, "0.5") + rule("b", `symptom = "push", phase = "exit", grip = ["low", "medium"]`, more, "0.4"), nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			list := author.Check(load(t, true, tt.body), nil)
			want := tt.want
			if want == nil {
				want = []string{}
			}
			if diff := cmp.Diff(want, found(list)); diff != "" {
				t.Errorf("Check finds otherwise (-want +got):\n%s", diff)
			}
		})
	}
}

// A finding about a changed rule points at the change, and names the other rule
// at its place.
func TestCheckPointsAtTheChange(t *testing.T) {
	middle := file("middle", []string{"base.toml"}, rule("a", exit, more, "0.5"), rule("b", exit, more, "0.4"))
	fsys := fstest.MapFS{"base.toml": file("base", nil, vocabulary+answers), "middle.toml": middle,
		"club.toml": file("club", []string{"middle.toml"}, "[[change]]\nrule = \"b\"\nvote = { caster = \"-1 deg\" }\n")}
	loaded, findings := ruleset.Load(fsys, "club.toml")
	require.Empty(t, findings)
	list := author.Check(loaded, nil)
	require.Len(t, list, 1)
	d := list[0]
	if got := d.At.String(); got != "club.toml:7:19" {
		t.Errorf("the finding is at %s, want the vote of the change at club.toml:7:19", got)
	}
	if len(d.Related) != 1 || d.Related[0].At.String() != "middle.toml:8:19" {
		t.Errorf("the other rule is at %v, want middle.toml:8:19", d.Related)
	}
	if want := `b wants less caster where a wants more caster: both hold for push/exit`; d.Message != want {
		t.Errorf("the message is %q, want %q", d.Message, want)
	}
}

// Symptoms without any answer are found where they are defined.
func TestCheckUnanswered(t *testing.T) {
	list := author.Check(load(t, false, rule("a", `symptom = "push"`, more, "0.5"), rule("b", `symptom = "shake"`, more, "0.5")), nil)
	want := []string{"unanswered-symptom: hop", "unanswered-symptom: shake"}
	if diff := cmp.Diff(want, found(list)); diff != "" {
		t.Errorf("a vote answers push, but hop has nothing and shake needs a check (-want +got):\n%s", diff)
	}
}

// A file that is a part of a set is told so, once.
func TestCheckUnansweredInAPart(t *testing.T) {
	loaded, _ := ruleset.Load(rulesets.FS, "entry.toml")
	require.NotNil(t, loaded.Set)
	list := author.Check(loaded, nil)
	if len(list) != 1 || list[0].At.String() != "entry.toml:1:1" || !strings.Contains(list[0].Message, "no rule answers 19 of 22 symptoms") {
		t.Errorf("Check finds %v, want that entry.toml answers 3 of 22 symptoms", list)
	}
}

// Words that no phrase stands for are found where they are defined.
func TestCheckUnspoken(t *testing.T) {
	fsys := fstest.MapFS{
		"en.toml":   {Data: []byte("format = 1\n[[phrase]]\nsymptom = \"push\"\nwords = \"pushes\"\n[[phrase]]\ntrack = \"tight\"\ngrip = \"low\"\nwords = \"x\"\n")},
		"club.toml": {Data: []byte("format = 1\nextends = [\"en.toml\"]\n[[phrase]]\nsymptom = \"hop\"\nwords = \"hops\"\n[[phrase]]\ntrack = [\"fast\", \"mixed\"]\nwords = \"y\"\n")},
	}
	spoken, findings, err := author.Speech(fsys, "club.toml")
	require.NoError(t, err)
	require.Empty(t, findings)
	list := author.Check(load(t, true), spoken)
	want := []string{"unspoken-word: shake", "unspoken-word: medium", "unspoken-word: high", "unspoken-word: new", "unspoken-word: used", "unspoken-word: worn"}
	if diff := cmp.Diff(want, found(list)); diff != "" {
		t.Errorf("Check finds other words that nobody says (-want +got):\n%s", diff)
	}
}

// Hints find rules of a family that always has a stronger one, and only those.
func TestHints(t *testing.T) {
	const family = `family = "f"`
	for _, tt := range []struct {
		name string
		body string
		want []string
	}{
		{"a special case weaker than the general rule", rule("a", exit, more, "0.5", family) + rule("b", exit+`, grip = "high"`, more, "0.4", family), []string{`never-counts: "b"`}},
		{"a special case that is stronger", rule("a", exit, more, "0.5", family) + rule("b", exit+`, grip = "high"`, more, "0.6", family), nil},
		{"the stronger one is kept away", rule("a", exit+`, without = ["hop"]`, more, "0.5", family) + rule("b", exit+`, grip = "high"`, more, "0.4", family), nil},
		{"the stronger one holds by halves", rule("a", exit+`, grip = [6, 8, 10, 10]`, more, "0.5", family) + rule("b", exit+`, grip = [5, 6, 10, 10]`, more, "0.4", family), nil},
		{"other direction", rule("a", exit, more, "0.5", family) + rule("b", exit+`, grip = "high"`, less, "0.4", family), nil},
		{"equals: the first by name stands", rule("a", exit, more, "0.5", family) + rule("b", exit, more, "0.5", family), []string{`never-counts: "b"`}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			list := found(author.Hints(load(t, true, tt.body)))
			if diff := cmp.Diff(append([]string{}, tt.want...), list); diff != "" {
				t.Errorf("Hints finds otherwise (-want +got):\n%s", diff)
			}
		})
	}
}

// The shipped rules are clean, and every situation is answered without a
// conflict that nothing explains.
func TestShippedRules(t *testing.T) {
	loaded, findings := ruleset.Load(rulesets.FS, rulesets.Default)
	require.Empty(t, findings)
	spoken, findings, err := author.Speech(words.FS, "en.toml")
	require.NoError(t, err)
	require.Empty(t, findings)
	for _, d := range author.Check(loaded, spoken) {
		t.Errorf("warning about the shipped rules: %v", d)
	}
	s := author.TakeSurvey(loaded.Set, func(rules.SymptomWord) bool { return true })
	for _, c := range s.Cases {
		if c.State == author.Silent || c.State == author.Conflict {
			t.Errorf("%s is %s %v", author.Describe(loaded.Set.Vocabulary(), c.Facts), c.State, c.Moves)
		}
	}
	if cells := len(s.Symptoms) * len(s.Tracks) * len(s.Grip) * len(s.Tyres); cells != 22*3*4*4 || len(s.Cases) < cells {
		t.Errorf("the survey has %d cells and %d cases, want 1056 cells and at least as many cases", cells, len(s.Cases))
	}
}

// Every code has an explanation, and every explanation a code that is not taken.
func TestCodes(t *testing.T) {
	if _, err := diag.NewRegistry(ruleset.Codes(), author.Codes()); err != nil {
		t.Error(err)
	}
	kebab := regexp.MustCompile(`^[a-z]+(-[a-z]+)*$`)
	for _, e := range author.Codes() {
		if !kebab.MatchString(string(e.Code)) || !strings.HasSuffix(e.Text, ".") {
			t.Errorf("the explanation of %q does not read as one", e.Code)
		}
	}
}

func states(s author.Survey) map[string]int {
	out := map[string]int{}
	for _, c := range s.Cases {
		out[c.Symptom+"/"+c.Phase+" "+c.State.String()]++
	}
	return out
}

// A survey tells answered, contested, unexplained and silent situations apart.
func TestSurvey(t *testing.T) {
	const decide = `decide = "does it lift?"`
	l := load(t, false,
		rule("a", `symptom = "push", phase = "entry", track = ["tight", "mixed"]`, more, "0.5", `contested = "x"`, decide),
		rule("b", `symptom = "push", phase = "entry", grip = "wet"`, less, "0.4", `contested = "x"`, decide),
		rule("c", `symptom = "push", phase = "exit", track = "fast"`, more, "0.5"),
		rule("d", `symptom = "push", phase = "exit", tyres = "new"`, less, "0.4"),
		rule("e", `symptom = "hop"`, more, "0.3"),
		rule("f", `symptom = "hop", grip = "high"`, less, "0.6"),
		"[[rule]]\nid = \"g\"\nwhen = { symptom = \"hop\", tyres = \"wets\" }\nleave = [\"caster\"]\nconfidence = 0.9\nbecause = \"Because.\"\nsource = \"common practice\"\n",
	)
	s := author.TakeSurvey(l.Set, func(w rules.SymptomWord) bool { return !w.CheckFirst })
	// 48 conditions each: 3 tracks, 4 grips, 4 tyres
	want := map[string]int{
		// tight or mixed: 32, of them wet 8 contested; fast: wet 4 answered, the rest 12 silent
		"push/entry answered": 28, "push/entry contested": 8, "push/entry silent": 12,
		// c holds on fast 16 and, by halves, on mixed 16; d with new tyres 12, both in 8
		"push/exit answered": 28, "push/exit conflict": 8, "push/exit silent": 12,
		"push/any silent": 48,
		// a hold stronger than the vote leaves nothing to do: 12 of 48
		"hop/any answered": 36, "hop/any silent": 12,
	}
	if diff := cmp.Diff(want, states(s)); diff != "" {
		t.Errorf("the survey differs (-want +got):\n%s", diff)
	}
	if worst, phases := s.Cell("push", "fast", "low", "new"); worst != author.Silent || !slices.Equal(phases, []string{"entry", "any"}) {
		t.Errorf("the cell is %s in %v, want silent in entry and any", worst, phases)
	}
	for _, c := range s.Cases {
		if c.Symptom == "push" && c.Phase == "exit" && c.Track == "tight" && c.Grip == "low" && c.Tyres == "worn" {
			if diff := cmp.Diff([]author.Near{{Rule: "a", Key: "phase", Wants: "entry"}, {Rule: "c", Key: "track", Wants: "fast"}, {Rule: "d", Key: "tyres", Wants: "new"}}, c.Near); diff != "" {
				t.Errorf("what would answer differs (-want +got):\n%s", diff)
			}
		}
	}
}

// Comparing tells what a change of a set changes in its answers.
func TestCompare(t *testing.T) {
	base := []string{rule("a", `symptom = "push", phase = "exit"`, more, "0.5"), rule("b", `symptom = "hop", grip = "high"`, more, "0.5"), rule("w", `symptom = "push", with = ["hop"]`, `toe = "+0.2 deg"`, "0.5")}
	a := load(t, false, base...).Set
	for _, tt := range []struct {
		name string
		body []string
		want [5]int // turned, new, gone, amount, belief
	}{
		{"nothing", base, [5]int{}},
		// 4 tracks with "not said", 5 grips, 5 tyres: 100 situations
		{"turned", []string{rule("a", exit, less, "0.5"), base[1], base[2]}, [5]int{100}},
		{"gone", base[1:], [5]int{0, 0, 100}},
		{"new", append(base, rule("n", `symptom = "shake", track = "tight"`, less, "0.5")), [5]int{0, 50}}, // tight, and mixed by halves
		{"amount", []string{rule("a", exit, `caster = "+0.75 deg"`, "0.5"), base[1], base[2]}, [5]int{0, 0, 0, 100}},
		{"belief", []string{rule("a", exit, more, "0.9"), base[1], base[2]}, [5]int{0, 0, 0, 0, 100}},
		{"a hair surer", []string{rule("a", exit, more, "0.52"), base[1], base[2]}, [5]int{}},
		// seen only by the complaint that the rule asks for
		{"a pair", []string{base[0], base[1], rule("w", `symptom = "push", with = ["hop"]`, `toe = "-0.2 deg"`, "0.5")}, [5]int{100}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			b := load(t, false, tt.body...).Set
			c := author.Compare(a, b)
			if c.Count != tt.want {
				t.Errorf("the kinds count %v, want %v", c.Count, tt.want)
			}
			// the other way round, new and gone change places
			mirror := tt.want
			mirror[author.NewAnswer], mirror[author.NoAnswer] = mirror[author.NoAnswer], mirror[author.NewAnswer]
			if back := author.Compare(b, a); back.Count != mirror {
				t.Errorf("the other way round the kinds count %v, want %v", back.Count, mirror)
			}
		})
	}
}
