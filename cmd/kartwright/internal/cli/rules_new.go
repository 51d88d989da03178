package cli

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"kartwright/rules"
	"kartwright/rules/author"
	"kartwright/rules/diag"
	"kartwright/rules/ruleset"
	"kartwright/rules/ruletest"
	"kartwright/rulesets"
)

type newRuleOptions struct {
	file     string
	symptoms []string
	draft    author.Draft
	wet, dry bool
}

func (a *app) rulesNewCommand() *cobra.Command {
	var o newRuleOptions
	cmd := &cobra.Command{
		Use:   "new ID --symptom … --move MOVE --amount AMOUNT --because SENTENCE",
		Short: "Write a rule of your own, with its test",
		Long: `new appends a rule to a file, and to the test file beside it a test in which the
rule fires. A file that is not there yet is begun as one that extends the shipped
rules. Nothing that is there is changed, and nothing is written unless the file
with the new rule loads without errors.

It then says what the answer is in the situation for which the rule was written,
and which other rules are against it.`,
		Example: `  kartwright rules new club-push-low --symptom understeer/entry --grip low \
      --move caster --amount "+1 deg" --confidence 0.7 \
      --because "On our green track only caster wakes the front."`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) != 1 {
				return usagef("give the new rule one name, such as club-push-low\nRun '%s --help' for usage.", cmd.CommandPath())
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			o.draft.ID = args[0]
			return a.runRulesNew(o)
		},
	}
	f, d := cmd.Flags(), &o.draft
	f.StringVar(&o.file, "file", "club.toml", "the rule `FILE`.toml to write into")
	f.StringArrayVarP(&o.symptoms, "symptom", "s", nil, "the `COMPLAINT`: ID[/phase][@slow|@fast][:severity]; repeated: any of them; with ! in front: must not be reported")
	f.StringArrayVar(&d.With, "with", nil, "another `SYMPTOM` that has to be reported too; may be repeated")
	f.StringArrayVar(&d.Track, "track", nil, "kind of `TRACK`; repeated: any of them; \"not tight\": any other")
	f.StringArrayVar(&d.Grip, "grip", nil, "`GRIP`: low, medium, high, wet; repeated: any of them; \"not high\": any other")
	f.StringArrayVar(&d.Tyres, "tyres", nil, "`TYRES`: new, used, worn, wets; repeated: any of them")
	f.BoolVar(&o.wet, "wet", false, "only on a wet track")
	f.BoolVar(&o.dry, "dry", false, "only on a dry track")
	f.StringVar(&d.Move, "move", "", "the `MOVE` to vote on, such as caster")
	f.StringVar(&d.Amount, "amount", "", "the `AMOUNT` with sign and unit, \"+0.5 deg\" or \"-0.5 mm over 255 mm\"")
	f.Float64Var(&d.Confidence, "confidence", 0.5, "how sure you are that it helps when all conditions hold, above 0 and at most 1: `W`")
	f.StringVar(&d.Because, "because", "", "the reason, one `SENTENCE` that a novice understands")
	f.StringVar(&d.Source, "source", "our club", "where the rule comes from, `TEXT`")
	f.StringVar(&d.Title, "title", "", "a short `NAME`")
	f.StringVar(&d.Family, "family", "", "a `FAMILY` of rules with the same reasoning, which counts once")
	f.StringVar(&d.Caution, "caution", "", "what to beware of, a `SENTENCE`")
	f.StringVar(&d.Contested, "contested", "", "the `POINT` about which the trade is split")
	f.StringVar(&d.Decide, "decide", "", "the observation that settles the contested point, `TEXT`")
	return cmd
}

type rulesNewJSON struct {
	Command   string        `json:"command"`
	Rule      string        `json:"rule"`
	File      string        `json:"file"`
	Test      string        `json:"test_file"`
	Created   []string      `json:"created" jsonschema_description:"files that were not there before"`
	Situation factsJSON     `json:"situation" jsonschema_description:"for which the rule was tried"`
	Won       bool          `json:"won" jsonschema_description:"the answer there is what the rule wants"`
	Verdict   verdictJSON   `json:"verdict" jsonschema_description:"the answer there about the rule's move"`
	Findings  []findingJSON `json:"findings" jsonschema_description:"warnings about the rule"`
	Failing   []string      `json:"failing" jsonschema_description:"tests of the file that fail with the new rule"`
}

func (a *app) runRulesNew(o newRuleOptions) error {
	before, err := o.read()
	if err != nil {
		return err
	}
	set := before.loaded.Set
	if err := o.settle(set); err != nil {
		return err
	}
	if at := before.loaded.Place(o.draft.ID); !at.IsZero() {
		return fmt.Errorf("there is a rule %s already, at %s; choose another name, or alter that rule with [[change]]", o.draft.ID, at)
	}

	text := joined(before.rule, o.draft.TOML())
	trialFS := overlay{ruleFS, map[string][]byte{before.file: text}}
	loaded, found := ruleset.Load(trialFS, before.file)
	if diag.HasErrors(found) { // in what is not written yet, so a place would mean nothing
		var why []string
		for _, d := range found {
			if d.Severity == diag.Error {
				why = append(why, d.Message)
			}
		}
		return usagef("nothing was written, for the rule would not load: %s", strings.Join(why, "; "))
	}
	trial, ok := author.Try(loaded.Set, o.draft.ID)
	if !ok {
		return fmt.Errorf("the rule %s would never fire: no complaint meets all of its conditions", o.draft.ID)
	}
	voc := loaded.Set.Vocabulary()
	name := o.draft.ID + ": " + wish(moveWord(voc, trial.Wants.Move), sign(trial.Wants.Amount))
	test := joined(before.test, trial.TOML(voc, name, o.draft.ID))
	trialFS.over[before.testFile] = test
	report, faults := ruletest.Run(trialFS, before.testFile)
	if diag.HasErrors(faults) {
		return fileError{faults}
	}
	if err := writeBoth(o.file, text, testName(o.file), test); err != nil {
		return err
	}

	found = slices.DeleteFunc(append(found, author.Check(loaded, nil)...), func(d diag.Diagnostic) bool {
		return d.At.File.Name != before.file || d.At.Start < len(before.rule)
	})
	out := rulesNewJSON{
		Command: "rules new", Rule: o.draft.ID, File: o.file, Test: testName(o.file), Created: list(before.missing), Situation: viewFacts(voc, trial.Facts),
		Won: trial.Won(), Verdict: viewVerdict(trial.Verdict, moveWord(voc, trial.Wants.Move)), Findings: viewFindings(diag.Sort(found)), Failing: []string{},
	}
	for _, r := range report.Results {
		if len(r.Failures) > 0 {
			out.Failing = append(out.Failing, r.Name)
		}
	}
	if a.json {
		return a.writeJSON(out)
	}
	a.printf("%s: the rule %s\n%s: a test of it\n", o.file, o.draft.ID, testName(o.file))
	if slices.Contains(before.missing, o.file) {
		a.printf("%s is new; it extends the shipped rules.\n", o.file)
	}
	situation := author.Describe(voc, trial.Facts)
	switch m := moveWord(voc, trial.Wants.Move); {
	case trial.Won():
		a.para("", fmt.Sprintf("For %s the answer is %s by %s (belief %.2f).", situation, wish(m, trial.Verdict.Direction), ruleset.FormatSize(trial.Verdict.Amount, m.Unit), max(trial.Verdict.Net, -trial.Verdict.Net)))
	default:
		a.para("", fmt.Sprintf("For %s it fires, but does not win: more confidence, or a [[change]] of what is against it.", situation))
		a.printWhy(voc, trial.Verdict, nil)
	}
	if len(found) > 0 {
		a.printf("\n")
		if err := diag.WriteText(&a.out, found); err != nil {
			return err
		}
	}
	for _, f := range out.Failing {
		a.para("Now fails: ", f)
	}
	a.printf("Next: kartwright rules check %s; kartwright rules test %s\n", o.file, testName(o.file))
	return nil
}

func sign(x float64) int {
	if x < 0 {
		return -1
	}
	return 1
}

// ruleName is the form of the names of rules, families and contested points.
var ruleName = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)

// testName returns the test file beside a rule file.
func testName(file string) string { return strings.TrimSuffix(file, ".toml") + ".test.toml" }

// settle turns the flags into a draft and refuses what a rule file would refuse,
// in the words of the command line.
func (o *newRuleOptions) settle(set *rules.Set) error {
	d, voc := &o.draft, set.Vocabulary()
	for _, need := range []struct{ flag, value string }{{"symptom", strings.Join(o.symptoms, "")}, {"move", d.Move}, {"amount", d.Amount}, {"because", d.Because}, {"source", d.Source}} {
		if strings.TrimSpace(need.value) == "" {
			return usagef("a rule needs --%s\nRun 'kartwright rules new --help' for usage.", need.flag)
		}
	}
	for _, text := range []string{d.Because, d.Source, d.Title, d.Caution, d.Decide} {
		if !utf8.ValidString(text) {
			return usagef("%q is not text in UTF-8", text)
		}
	}
	for _, n := range []struct{ what, name string }{{"the name of a rule", d.ID}, {"--family", d.Family}, {"--contested", d.Contested}} {
		if n.name != "" && !ruleName.MatchString(n.name) {
			return usagef("%s is %q; small letters and digits joined by hyphens are expected, as in club-push-low", n.what, n.name)
		}
	}
	if d.ID == "" {
		return usagef("the rule needs a name, such as club-push-low")
	}
	for i, text := range o.symptoms {
		s, err := parseSymptom(set, text)
		if err != nil {
			return err
		}
		if s.Absent {
			d.Without = append(d.Without, s.ID)
			continue
		}
		d.Symptom = append(d.Symptom, s.ID)
		for _, part := range []struct {
			word string
			into *[]string
			what string
		}{{s.Phase, &d.Phase, "phase"}, {s.Corner, &d.Corner, "kind of corner"}, {s.Severity, &d.Severity, "severity"}} {
			now := []string{}
			if part.word != "" && part.word != rules.Any {
				now = []string{part.word}
			}
			if i > 0 && len(d.Symptom) > 1 && !slices.Equal(now, *part.into) {
				return usagef("a rule has one %s for all its symptoms; %s differs from the one before, so write two rules", part.what, text)
			}
			if len(now) > 0 {
				*part.into = now
			}
		}
	}
	if len(d.Symptom) == 0 {
		return usagef("--symptom names only what must not be reported; name the complaint too")
	}
	for _, text := range d.With {
		s, err := parseSymptom(set, text)
		if err != nil {
			return err
		}
		if s.String() != s.ID {
			return usagef("--with %q: only the symptom's name can be asked for", text)
		}
	}
	var tracks []string
	for _, t := range voc.Tracks {
		tracks = append(tracks, t.ID)
	}
	for _, c := range []struct {
		flag           string
		words, allowed []string
	}{{"track", d.Track, tracks}, {"grip", d.Grip, []string{"low", "medium", "high", rules.Wet}}, {"tyres", d.Tyres, []string{"new", "used", "worn", rules.Wets}}} {
		for _, w := range c.words {
			if word := strings.TrimPrefix(w, "not "); !slices.Contains(c.allowed, word) {
				return usagef("--%s is %q; %s", c.flag, w, cmp.Or(diag.DidYouMean(word, c.allowed), "expected "+strings.Join(c.allowed, ", ")))
			}
		}
	}
	switch {
	case o.wet && o.dry:
		return usagef("the track cannot be --wet and --dry at once")
	case o.wet:
		d.Wet = rules.Yes
	case o.dry:
		d.Wet = rules.No
	}
	if err := knownMoves(voc, []string{d.Move}); err != nil {
		return err
	}
	m := moveWord(voc, d.Move)
	if _, err := ruleset.ParseAmount(d.Amount, m.Unit); err != nil {
		return usagef("--amount is %q: %w; write %q for %s or %q for %s", d.Amount, err,
			ruleset.FormatAmount(m.Usual[0], m.Unit), m.Increase, ruleset.FormatAmount(-m.Usual[0], m.Unit), m.Decrease)
	}
	if !(d.Confidence > 0 && d.Confidence <= 1) {
		return usagef("--confidence is %v; it has to be above 0 and at most 1", d.Confidence)
	}
	if d.Contested != "" && d.Decide == "" {
		return usagef("--contested needs --decide: the observation that settles the point")
	}
	return nil
}

// present is what is there before a rule is written.
type present struct {
	file, testFile string // as names for an fs.FS
	rule, test     []byte
	missing        []string
	loaded         *ruleset.Loaded
}

// read reads the files to be written into, or begins them.
func (o *newRuleOptions) read() (present, error) {
	if !strings.HasSuffix(o.file, ".toml") || strings.HasSuffix(o.file, ".test.toml") {
		return present{}, usagef("--file is %q; a rule file ends in .toml, and its tests stand beside it in .test.toml", o.file)
	}
	p := present{file: filepath.ToSlash(filepath.Clean(o.file)), testFile: filepath.ToSlash(filepath.Clean(testName(o.file)))}
	base := strings.TrimSuffix(filepath.Base(o.file), ".toml")
	for _, f := range []struct {
		name  string
		begin string
		into  *[]byte
	}{
		{o.file, fmt.Sprintf("format = 1\nset = %q\ntitle = %q\nextends = [%q]\n", base, capital(base)+": our own rules", rulesets.Default), &p.rule},
		{testName(o.file), fmt.Sprintf("format = 1\nfor = %q\n", filepath.Base(o.file)), &p.test},
	} {
		data, err := os.ReadFile(f.name)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			data = []byte(f.begin)
			p.missing = append(p.missing, f.name)
		case err != nil:
			return p, readError("the file", f.name, err)
		}
		*f.into = data
	}
	loaded, found := ruleset.Load(overlay{ruleFS, map[string][]byte{p.file: p.rule}}, p.file)
	if diag.HasErrors(found) {
		return p, fileError{found}
	}
	p.loaded = loaded
	return p, nil
}

// overlay is a file system with some files laid over it, for those who read it
// by fs.ReadFile.
type overlay struct {
	fs.FS
	over map[string][]byte
}

func (o overlay) ReadFile(name string) ([]byte, error) {
	if data, ok := o.over[name]; ok {
		return data, nil
	}
	return fs.ReadFile(o.FS, name)
}

// joined returns a file with a table put after what is there, separated by an
// empty line, with the line ends of the file.
func joined(data []byte, table string) []byte {
	out := slices.Clone(data)
	end := "\n"
	if bytes.Contains(data, []byte("\r\n")) {
		end = "\r\n"
	}
	if len(out) > 0 && out[len(out)-1] != '\n' {
		out = append(out, end...)
	}
	return append(out, strings.ReplaceAll("\n"+table, "\n", end)...)
}

// writeBoth writes two files, or leaves both as they were.
func writeBoth(first string, a []byte, second string, b []byte) error {
	old, err := os.ReadFile(first)
	missing := errors.Is(err, fs.ErrNotExist)
	if err != nil && !missing {
		return readError("the file", first, err)
	}
	if err := writeFile(first, a); err != nil {
		return err
	}
	if err := writeFile(second, b); err != nil {
		if missing {
			return errors.Join(err, os.Remove(first))
		}
		return errors.Join(err, writeFile(first, old))
	}
	return nil
}
