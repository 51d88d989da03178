package ruleset

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/google/go-cmp/cmp"

	"kartwright/rules"
	"kartwright/rules/diag"
)

var update = flag.Bool("update", false, "rewrite the golden files")

var wantForm = regexp.MustCompile(`"([a-z-]+)"`)

// wants returns "file:line code" for every code in a # want comment of a file.
func wants(name string, data []byte) []string {
	var out []string
	for i, line := range strings.Split(string(data), "\n") {
		_, comment, found := strings.Cut(line, "# want ")
		if !found {
			continue
		}
		for _, m := range wantForm.FindAllStringSubmatch(comment, -1) {
			out = append(out, fmt.Sprintf("%s:%d %s", name, i+1, m[1]))
		}
	}
	return out
}

// Every file in testdata/err says in comments, # want "code", which findings it
// has on which line, and in a .txt file how they are shown. Files named part-…
// are there for others to extend.
func TestFindings(t *testing.T) {
	dir := filepath.Join("testdata", "err")
	names, err := filepath.Glob(filepath.Join(dir, "*.toml"))
	if err != nil || len(names) < 20 {
		t.Fatalf("only %d fixtures: %v", len(names), err)
	}
	seen := map[diag.Code]bool{Unreadable: false}
	for _, path := range names {
		name := filepath.Base(path)
		if strings.HasPrefix(name, "part-") {
			continue // loaded by another
		}
		t.Run(name, func(t *testing.T) {
			loaded, findings := Load(os.DirFS(dir), name)
			var got, want []string
			for _, d := range findings {
				seen[d.Code] = true
				line, _ := d.At.Position()
				got = append(got, fmt.Sprintf("%s:%d %s", d.At.File.Name, line, d.Code))
			}
			for _, f := range loaded.Files {
				want = append(want, wants(f.Name, f.Source.Data)...)
			}
			switch name { // where no comment can stand on the line
			case "empty.toml":
				want = []string{"empty.toml:1 empty-file"}
			case "syntax.toml":
				want = []string{"syntax.toml:6 syntax"}
			case "extends-missing.toml":
				want = slices.DeleteFunc(want, func(w string) bool { return strings.HasPrefix(w, "syntax.toml") })
				want = append(want, "syntax.toml:6 syntax")
			}
			slices.Sort(got)
			slices.Sort(want)
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("findings (-want +got):\n%s", diff)
			}
			if (loaded.Set == nil) != diag.HasErrors(findings) {
				t.Errorf("there is a set: %v, there are errors: %v", loaded.Set != nil, diag.HasErrors(findings))
			}
			var text bytes.Buffer
			if err := diag.WriteText(&text, findings); err != nil {
				t.Fatal(err)
			}
			golden(t, strings.TrimSuffix(path, ".toml")+".txt", text.Bytes())
		})
	}
	for _, e := range Codes() {
		if e.Code != Unreadable && !seen[e.Code] {
			t.Errorf("no fixture has the finding %q", e.Code)
		}
	}
	if _, err := diag.NewRegistry(Codes()); err != nil {
		t.Error(err)
	}
}

// golden compares with a file, which is absent if nothing is to be shown.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	if *update {
		os.Remove(name)
		if len(got) > 0 {
			if err := os.WriteFile(name, got, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		return
	}
	want, err := os.ReadFile(name)
	if err != nil && !os.IsNotExist(err) {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), string(got)); diff != "" {
		t.Errorf("%s (-want +got):\n%s", name, diff)
	}
}

// Files in testdata/ok stay silent.
func TestSilence(t *testing.T) {
	fsys := os.DirFS(filepath.Join("testdata", "ok"))
	names, err := filepath.Glob(filepath.Join("testdata", "ok", "*.toml"))
	if err != nil || len(names) == 0 {
		t.Fatalf("no fixtures: %v", err)
	}
	for _, path := range names {
		loaded, findings := Load(fsys, filepath.Base(path))
		for _, d := range findings {
			t.Errorf("unexpected: %s", d)
		}
		if loaded.Set == nil {
			t.Errorf("%s gives no set", path)
		}
	}
}

func TestEveryKeyArrives(t *testing.T) {
	loaded, findings := Load(os.DirFS("testdata/ok"), "every-key.toml")
	if len(findings) > 0 {
		t.Fatal(findings)
	}
	high, fresh := rules.Trapezoid{6, 8, 10, 10}, rules.Trapezoid{0, 0, 20, 30}
	want := []rules.Rule{
		{
			ID: "four", Confidence: 1, Source: "common practice", Checks: []string{"the pressures"}, Place: "every-key.toml:38",
			When: rules.When{Grip: rules.Terms{{Word: "wet"}}, Wet: rules.Yes, Phase: rules.Terms{{Word: "any"}}},
		},
		{
			ID: "one", Title: "more caster for a push", Confidence: 0.7, Family: "jacking", Source: "common practice",
			Because: "more caster lifts the inside rear wheel sooner", Cautions: []string{"the steering gets heavier"},
			Contested: "caster-and-grip", Decide: "does the inside rear wheel lift?", Place: "every-key.toml:7",
			When: rules.When{
				Symptom: []string{"understeer"}, Phase: rules.Terms{{Word: "entry"}}, Track: rules.Terms{{Word: "tight"}},
				Grip: rules.Terms{{Word: "low"}, {Word: "medium"}}, Tyres: rules.Terms{{Word: "new", Not: true}},
				Corner: rules.Terms{{Word: "slow"}}, Severity: rules.Terms{{Word: "normal"}, {Word: "strong"}},
			},
			Votes: []rules.Vote{
				{Move: "caster", Amount: 0.5, Text: "+0.5 deg"},
				{Move: "toe", Amount: -0.224689907, Text: "−1 mm over 255 mm"}, // asin(1/255), COMPUTED
				{Move: "front_pressure", Amount: 0.04826330103, Text: "+0.7 psi"},
			},
		},
		{
			ID: "three", Confidence: 1, Source: "common practice", Place: "every-key.toml:30",
			When: rules.When{Symptom: []string{"play"}}, Checks: []string{"rod ends and kingpin bolts for play"}, Leave: []string{"caster", "toe"},
		},
		{
			ID: "two", Confidence: 1, Family: "jacking", Because: "the front is overloaded already", Source: "common practice", Place: "every-key.toml:20",
			When: rules.When{
				Symptom: []string{"understeer", "oversteer"}, With: []string{"over_lift"}, Without: []string{"play"},
				Grip: rules.Terms{{Range: &high}}, Tyres: rules.Terms{{Range: &fresh}}, Wet: rules.No,
			},
			Votes: []rules.Vote{{Move: "caster", Amount: -1, Text: "-1°"}, {Move: "front_width", Amount: -6.35, Text: "-1/4 in"}},
		},
	}
	near := cmp.Comparer(func(a, b float64) bool { return a-b < 1e-9 && b-a < 1e-9 })
	if diff := cmp.Diff(want, loaded.Set.Rules(), near); diff != "" {
		t.Errorf("rules (-want +got):\n%s", diff)
	}
	if got := loaded.Place("two").String(); got != "every-key.toml:20:6" {
		t.Errorf("rule two is said to be at %s", got)
	}
}

func TestChange(t *testing.T) {
	loaded, findings := Load(os.DirFS("testdata/ok"), "change.toml")
	if len(findings) > 0 {
		t.Fatal(findings)
	}
	if loaded.Set.Rule("three") != nil {
		t.Error("a rule that is switched off is there")
	}
	one := loaded.Set.Rule("one")
	if one.Confidence != 0.4 || len(one.Votes) != 1 || one.Votes[0].Amount != 1 || one.Because == "" {
		t.Errorf("the changed rule is %+v", one)
	}
	var names []string
	for _, f := range loaded.Files {
		names = append(names, f.Name)
	}
	if want := []string{"base.toml", "every-key.toml", "change.toml"}; !slices.Equal(names, want) {
		t.Errorf("files are loaded in the order %q, want %q", names, want)
	}
}

// Neither the order in which files are named nor how rules are spread over them
// changes a bit of an answer.
func TestOrderAndSplitOfFilesDoNotMatter(t *testing.T) {
	fsys := manyRules(t, 30)
	whole := string(fsys["many.toml"].Data)
	head, rest, _ := strings.Cut(whole, "\n[[rule]]\n")
	parts := make([]string, 3)
	for i, rule := range strings.Split(rest, "\n[[rule]]\n") {
		parts[i%3] += "\n[[rule]]\n" + rule
	}
	names := []string{"a.toml", "b.toml", "c.toml"}
	for i, name := range names {
		// each file also brings words of its own
		fsys[name] = &fstest.MapFile{Data: []byte(head + parts[i] + fmt.Sprintf("\n[move.own_%d]\ntitle = \"t\"\nincrease = \"i\"\ndecrease = \"d\"\nunit = \"step\"\nusual = [\"1 step\", \"2 step\"]\nlever = \"other\"\n", i))}
	}
	answer := func(files ...string) rules.Result {
		loaded, findings := Load(fsys, files...)
		if diag.HasErrors(findings) {
			t.Fatal(findings)
		}
		res, err := loaded.Set.Evaluate(rules.Facts{
			Symptoms: []rules.Symptom{{ID: "understeer", Phase: "entry"}, {ID: "oversteer", Phase: "exit", Severity: "slight"}},
			Track:    "mixed", Grip: rules.Level{Number: 4.5, IsNumber: true}, Tyres: rules.Level{Number: 24, IsNumber: true},
		})
		if err != nil {
			t.Fatal(err)
		}
		return res
	}
	want := answer(names...)
	if want.Fired < 5 {
		t.Fatalf("only %d rules fire", want.Fired)
	}
	for _, order := range [][]string{{"a.toml", "c.toml", "b.toml"}, {"b.toml", "a.toml", "c.toml"}, {"c.toml", "b.toml", "a.toml"}, {"c.toml", "base.toml", "b.toml", "a.toml", "b.toml"}} {
		if diff := cmp.Diff(want, answer(order...)); diff != "" {
			t.Errorf("files in the order %q (-first +this):\n%s", order, diff)
		}
	}
	got := answer("many.toml")
	for i, v := range got.Verdicts {
		w := want.Verdicts[i]
		if v.EvidenceInc != w.EvidenceInc || v.EvidenceDec != w.EvidenceDec || v.Amount != w.Amount || v.Net != w.Net || v.Hold != w.Hold {
			t.Errorf("%s: in one file %+v, in three %+v", v.Move, v, w)
		}
	}
}

func TestUnreadable(t *testing.T) {
	_, findings := Load(os.DirFS("testdata/ok"), "bsae.toml")
	var b bytes.Buffer
	diag.WriteText(&b, findings)
	const want = "bsae.toml:1:1: error: cannot read the file: there is no such file [unreadable-file]\n  help: did you mean \"base.toml\"?\n"
	if b.String() != want {
		t.Errorf("a missing file is reported as\n%s\nwant\n%s", b.String(), want)
	}
}

func TestParseAmount(t *testing.T) {
	for _, tt := range []struct {
		text, unit string
		want       float64
		err        string
	}{
		{"+0.5 deg", "deg", 0.5, ""}, {"-30'", "deg", -0.5, ""}, {"−1°30'", "deg", -1.5, ""}, {"+1/2 deg", "deg", 0.5, ""},
		{"-1 mm over 255 mm", "deg", -0.224689907, ""}, // asin(1/255), COMPUTED
		{"+5 mm", "mm", 5, ""}, {"-1/16 in", "mm", -1.5875, ""}, {"+0,05 bar", "bar", 0.05, ""}, {"+10 kPa", "bar", 0.1, ""},
		{"-1 step", "step", -1, ""}, {"+2 steps", "step", 2, ""}, {"+1/2 step", "step", 0.5, ""},
		{"0.5 deg", "deg", 0, "no sign"}, {"+0.5", "deg", 0, "no unit"}, {"0.5", "deg", 0, "no unit"}, {"0", "mm", 0, "no unit"},
		{"+0 deg", "deg", 0, "no change"}, {"0 deg", "deg", 0, "no change"}, {"", "deg", 0, `"" is not an amount (write 0.5 deg)`},
		{"+", "deg", 0, `"+" is not an amount (write 0.5 deg)`}, {"+-1 deg", "deg", 0, `"-1 deg" is not an amount (write 0.5 deg)`},
		{"+1 hole", "step", 0, `"1 hole" has the unit "hole", which is not step`},
		{"+5 mm over 5 mm", "deg", 0, `"5 mm over 5 mm" is not an angle: the distance has to be less than the length it is over`},
	} {
		got, err := ParseAmount(tt.text, tt.unit)
		text := ""
		if err != nil {
			text = err.Error()
		}
		if text != tt.err || err == nil && !(got-tt.want < 1e-9 && tt.want-got < 1e-9) {
			t.Errorf("ParseAmount(%q, %q) is %v, %q; want %v, %q", tt.text, tt.unit, got, text, tt.want, tt.err)
		}
		if err == nil {
			if again, err := ParseAmount(FormatAmount(got, tt.unit), tt.unit); err != nil || again-got > 0.0006 || got-again > 0.0006 {
				t.Errorf("%v %s is written %q and read back as %v, %v", got, tt.unit, FormatAmount(got, tt.unit), again, err)
			}
		}
	}
}

func FuzzLoad(f *testing.F) {
	for _, dir := range []string{"ok", "err"} {
		names, _ := filepath.Glob(filepath.Join("testdata", dir, "*.toml"))
		for _, n := range names {
			data, err := os.ReadFile(n)
			if err != nil {
				f.Fatal(err)
			}
			f.Add(data)
		}
	}
	base, err := os.ReadFile("testdata/ok/base.toml")
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		fsys := fstest.MapFS{"base.toml": {Data: base}, "x.toml": {Data: data}}
		loaded, findings := Load(fsys, "x.toml")
		if (loaded.Set == nil) != diag.HasErrors(findings) {
			t.Errorf("there is a set: %v, there are errors: %v", loaded.Set != nil, diag.HasErrors(findings))
		}
		for _, d := range findings {
			if d.Message == "" || strings.Contains(d.Message, "%!") {
				t.Errorf("a finding says %q", d.Message)
			}
			if strings.Contains(d.Message, "do not fit together") {
				t.Errorf("the checks let pass what the engine refuses: %s", d.Message)
			}
		}
		if err := diag.WriteText(&bytes.Buffer{}, findings); err != nil {
			t.Error(err)
		}
	})
}
