// Package ruletest runs the tests that come with rule files: complaints with the
// advice that is expected for them, written as data so that the author of rules
// can write them. Its report shows only what differs, and the rules behind it.
package ruletest

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"path"
	"slices"
	"strings"

	"kartwright/rules"
	"kartwright/rules/diag"
	"kartwright/rules/ruleset"
	"kartwright/rules/source"
	"kartwright/rules/tables"
)

// The codes of findings in test files, beside those of rule files.
const (
	BadGiven    diag.Code = "bad-given"
	BadExpect   diag.Code = "bad-expect"
	NoTests     diag.Code = "no-tests"
	RulesFaulty diag.Code = "rules-faulty"
)

// Codes explains the codes of this package that ruleset does not have.
func Codes() []diag.Explanation {
	return []diag.Explanation{
		{Code: BadGiven, Title: "the facts of a test cannot be",
			Text: "Facts use the words of the rules under test, as a driver's complaint does, and must not contradict each other: symptoms = [\"understeer/entry:strong\", \"!hop\"], grip = \"medium\" or \"6/10\", tyres = \"25 laps\"."},
		{Code: BadExpect, Title: "an expectation cannot be understood",
			Text: "An expectation names a move with an amount, a direction or leave, or a rule that fires, or part of the text of a check. The direction is one of +, -, more, less, none, conflict, and for toe in or out."},
		{Code: NoTests, Title: "a test file has no tests",
			Text: "A file without [[test]] passes whatever the rules say."},
		{Code: RulesFaulty, Title: "the rules under test have errors",
			Text: "Tests run only against rules without errors. Their findings are shown with this one."},
	}
}

// A Report is what came of tests.
type Report struct{ Results []Result }

// A Result is what came of one test.
type Result struct {
	Name     string
	At       source.Span
	Failures []Failure
}

// A Failure is one expectation that was not met.
type Failure struct {
	At     source.Span // the expectation
	Text   string      // what was found and what was wanted
	Causes []string    // the rules behind it, each with its place
}

// Failed counts the tests with failures.
func (r Report) Failed() int {
	n := 0
	for _, res := range r.Results {
		if len(res.Failures) > 0 {
			n++
		}
	}
	return n
}

// WriteText writes the tests that failed, each with what differs and the rules
// that caused it. It writes nothing about those that passed.
func (r Report) WriteText(w io.Writer) error {
	var b strings.Builder
	for _, res := range r.Results {
		if len(res.Failures) == 0 {
			continue
		}
		fmt.Fprintf(&b, "%s: FAIL %s\n", res.At, res.Name)
		for _, f := range res.Failures {
			line, column := f.At.Position()
			fmt.Fprintf(&b, "  %d:%d: %s\n", line, column, f.Text)
			for _, c := range f.Causes {
				fmt.Fprintf(&b, "    %s\n", c)
			}
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// Run reads test files, loads the rules that each is for, and runs its tests. A
// file with findings that are errors is not run; neither is one whose rules have
// errors, which are then among the findings.
func Run(fsys fs.FS, names ...string) (Report, []diag.Diagnostic) {
	r := &runner{fsys: fsys, loaded: map[string]*ruleset.Loaded{}}
	for _, name := range names {
		r.file(path.Clean(name))
	}
	return r.report, r.Findings()
}

type runner struct {
	tables.Reader
	fsys   fs.FS
	loaded map[string]*ruleset.Loaded // by the joined names of what was loaded
	report Report
}

func (r *runner) file(name string) {
	data, err := fs.ReadFile(r.fsys, name)
	if err != nil {
		src, _ := source.Parse(name, nil)
		reason := err.Error()
		var pe *fs.PathError
		if errors.As(err, &pe) {
			reason = pe.Err.Error()
		}
		r.Report(diag.Errorf(ruleset.Unreadable, src.Start(), "cannot read the file: %s", reason))
		return
	}
	root, _ := r.Read(name, data)
	if root == nil || !root.Need("a test file", "format") {
		return
	}
	if format, ok := root.Whole("format"); !ok || format != ruleset.Format {
		if ok {
			r.Report(diag.Errorf(ruleset.NewerFormat, root.Value("format"), "the file has format %d; this kartwright reads format %d", format, ruleset.Format).
				WithHelp("update kartwright"))
		}
		return
	}
	root.Allow("format", "for", "test")
	if !root.Need("a test file", "for") {
		return
	}
	var files []string
	for _, item := range root.Texts("for") {
		files = append(files, path.Join(path.Dir(name), item.Text))
	}
	if len(files) == 0 {
		return
	}
	key := strings.Join(files, "\x00")
	loaded, known := r.loaded[key]
	if !known {
		var findings []diag.Diagnostic
		loaded, findings = ruleset.Load(r.fsys, files...)
		for _, d := range findings {
			r.Report(d)
		}
		r.loaded[key] = loaded
	}
	if loaded.Set == nil {
		r.Report(diag.Errorf(RulesFaulty, root.Value("for"), "the rules in %s have errors", strings.Join(files, ", ")))
		return
	}
	tests := root.Tables("test")
	if len(tests) == 0 {
		r.Report(diag.Errorf(NoTests, root.At, "the file has no [[test]]"))
	}
	for _, t := range tests {
		if res, ok := r.test(t, loaded); ok {
			r.report.Results = append(r.report.Results, res)
		}
	}
}

// test reads and runs one test; ok is false if it cannot be run.
func (r *runner) test(t *tables.Table, loaded *ruleset.Loaded) (res Result, ok bool) {
	t.Allow("name", "given", "expect", "not")
	if !t.Need("a test", "name", "given") {
		return res, false
	}
	if !t.Has("expect") && !t.Has("not") {
		r.Report(diag.Errorf(tables.MissingKey, t.At, "a test needs the key %q or %q", "expect", "not"))
		return res, false
	}
	if expect, not := t.Tables("expect"), t.Texts("not"); len(expect)+len(not) == 0 {
		r.Report(diag.Errorf(BadExpect, t.At, "the test expects nothing, so it cannot fail"))
		return res, false
	}
	name, okName := t.Text("name")
	given := t.Table("given")
	if !okName || given == nil {
		return res, false
	}
	res = Result{Name: name, At: t.At}
	facts, ok := r.facts(given, loaded.Set.Vocabulary())
	if !ok {
		return res, false
	}
	run, err := newRun(loaded, facts)
	if err != nil {
		r.Report(diag.Errorf(BadGiven, t.Value("given"), "%s", strings.ReplaceAll(err.Error(), "\n", "; ")))
		return res, false
	}
	for _, e := range t.Tables("expect") {
		fail, okExpect := r.expect(e, run)
		ok = ok && okExpect
		res.Failures = append(res.Failures, fail...)
	}
	for _, item := range t.Texts("not") {
		if !r.isRule(item, run) {
			ok = false
		} else if a := run.account(item.Text); a.Fired {
			res.Failures = append(res.Failures, Failure{At: item.At, Text: "rule " + item.Text + " fires, and should not",
				Causes: []string{because(a)}})
		}
	}
	return res, ok
}

// facts reads what a test is given.
func (r *runner) facts(t *tables.Table, v rules.Vocabulary) (rules.Facts, bool) {
	t.Allow("symptoms", "track", "grip", "tyres", "wet")
	var f rules.Facts
	ok := true
	bad := func(at source.Span, err error) {
		ok = false
		r.Report(diag.Errorf(BadGiven, at, "%s", err))
	}
	for _, item := range t.Texts("symptoms") {
		s, err := rules.ParseSymptom(item.Text)
		if err != nil {
			bad(item.At, err)
			continue
		}
		if !slices.ContainsFunc(v.Symptoms, func(w rules.SymptomWord) bool { return w.ID == s.ID }) {
			ok = false
			var ids []string
			for _, w := range v.Symptoms {
				ids = append(ids, w.ID)
			}
			r.Report(diag.Errorf(ruleset.UnknownSymptom, item.At, "%q is not a symptom of these rules", s.ID).WithHelp(diag.DidYouMean(s.ID, ids)))
		}
		f.Symptoms = append(f.Symptoms, s)
	}
	if track, has := t.Text("track"); has {
		var ids []string
		for _, w := range v.Tracks {
			ids = append(ids, w.ID)
		}
		if !slices.Contains(ids, track) {
			ok = false
			r.Report(diag.Errorf(ruleset.UnknownTrack, t.Value("track"), "%q is not a kind of track of these rules", track).WithHelp(diag.DidYouMean(track, ids)))
		}
		f.Track = track
	}
	for _, l := range []struct {
		key, off string
		scale    rules.Scale
		into     *rules.Level
	}{{"grip", rules.Wet, v.Grip, &f.Grip}, {"tyres", rules.Wets, v.Tyres, &f.Tyres}} {
		if !t.Has(l.key) {
			continue
		}
		var text string
		if t.IsNumber(l.key) {
			x, _ := t.Number(l.key)
			text = fmt.Sprint(x)
		} else if s, isText := t.Text(l.key); isText {
			text = s
		} else {
			ok = false
			continue
		}
		level, err := l.scale.Parse(text, l.off)
		if err != nil {
			bad(t.Value(l.key), err)
			continue
		}
		*l.into = level
	}
	if wet, has := t.Bool("wet"); has {
		f.Wet = rules.No
		if wet {
			f.Wet = rules.Yes
		}
	}
	return f, ok
}

// run is the outcome of the facts of one test.
type run struct {
	loaded   *ruleset.Loaded
	result   rules.Result
	accounts []rules.Account
	told     []string // moves whose causes have been listed
}

func newRun(loaded *ruleset.Loaded, f rules.Facts) (*run, error) {
	res, err := loaded.Set.Evaluate(f)
	if err != nil {
		return nil, err
	}
	accounts, err := loaded.Set.Explain(f)
	return &run{loaded: loaded, result: res, accounts: accounts}, err
}

func (r *run) account(id string) rules.Account {
	i := slices.IndexFunc(r.accounts, func(a rules.Account) bool { return a.Rule.ID == id })
	return r.accounts[i]
}

func (r *runner) isRule(item tables.Item, run *run) bool {
	if run.loaded.Set.Rule(item.Text) != nil {
		return true
	}
	var ids []string
	for _, rule := range run.loaded.Set.Rules() {
		ids = append(ids, rule.ID)
	}
	r.Report(diag.Errorf(ruleset.UnknownRule, item.At, "there is no rule %q", item.Text).WithHelp(diag.DidYouMean(item.Text, ids)))
	return false
}

// expect checks one expectation; ok is false if it cannot be understood.
func (r *runner) expect(t *tables.Table, run *run) (failures []Failure, ok bool) {
	t.Allow("move", "amount", "within", "direction", "leave", "rule", "check")
	ok = true
	bad := func(code diag.Code, at source.Span, help, format string, args ...any) {
		ok = false
		r.Report(diag.Errorf(code, at, format, args...).WithHelp(help))
	}
	fail := func(at source.Span, causes []string, format string, args ...any) {
		failures = append(failures, Failure{At: at, Text: fmt.Sprintf(format, args...), Causes: causes})
	}

	if id, has := t.Text("rule"); has {
		if item := (tables.Item{Text: id, At: t.Value("rule")}); !r.isRule(item, run) {
			ok = false
		} else if a := run.account(id); !a.Fired {
			fail(item.At, []string{because(a)}, "rule %s does not fire", id)
		}
	}
	if part, has := t.Text("check"); has {
		found := slices.ContainsFunc(run.result.Checks, func(c rules.Check) bool {
			return strings.Contains(strings.ToLower(c.Text), strings.ToLower(part))
		})
		if !found {
			var causes []string
			for _, c := range run.result.Checks {
				causes = append(causes, fmt.Sprintf("there is the check %q of %s", c.Text, strings.Join(c.Rules, ", ")))
			}
			fail(t.Value("check"), causes, "no check speaks of %q", part)
		}
	}

	name, hasMove := t.Text("move")
	if !hasMove {
		for _, key := range []string{"amount", "within", "direction", "leave"} {
			if t.Has(key) {
				bad(BadExpect, t.Key(key), "", "%q needs the key %q", key, "move")
			}
		}
		if !t.Has("move") && !t.Has("rule") && !t.Has("check") {
			bad(BadExpect, t.At, "", "an expectation needs the key %q, %q or %q", "move", "rule", "check")
		}
		return failures, ok
	}
	moves := run.loaded.Set.Vocabulary().Moves
	i := slices.IndexFunc(moves, func(m rules.Move) bool { return m.ID == name })
	if i < 0 {
		var ids []string
		for _, m := range moves {
			ids = append(ids, m.ID)
		}
		bad(ruleset.UnknownMove, t.Value("move"), diag.DidYouMean(name, ids), "%q is not a move of these rules", name)
		return failures, ok
	}
	move, verdict := moves[i], run.result.Verdicts[i]
	if !t.Has("amount") && !t.Has("direction") && !t.Has("leave") && !t.Has("rule") {
		bad(BadExpect, t.Value("move"), "", "an expectation of a move needs the key %q, %q or %q", "amount", "direction", "leave")
	}
	if t.Has("within") && !t.Has("amount") {
		bad(BadExpect, t.Key("within"), "", "%q needs the key %q", "within", "amount")
	}
	if text, has := t.Text("amount"); has {
		want, err := ruleset.ParseAmount(text, move.Unit)
		if err != nil {
			bad(BadExpect, t.Value("amount"), "", "the amount %q of %s is not understood: %s", text, name, err)
		}
		within := 0.005
		if text, has := t.Text("within"); has {
			size, sizeErr := ruleset.ParseSize(text, move.Unit)
			if sizeErr != nil {
				err = sizeErr
				bad(BadExpect, t.Value("within"), "", "the tolerance %q of %s is not understood: %s", text, name, sizeErr)
			}
			within = size
		}
		if err == nil && !(math.Abs(verdict.Amount-want) <= within+1e-9) {
			fail(t.Value("amount"), run.causes(verdict), "%s, want %s ± %s", describe(verdict, move),
				ruleset.FormatAmount(want, move.Unit), ruleset.FormatSize(within, move.Unit))
		}
	}
	if word, has := t.Text("direction"); has {
		status, direction, known := directionOf(word, name)
		switch {
		case !known:
			bad(BadExpect, t.Value("direction"), diag.Expected(directionWords(name)), "%q is not a direction of %s", word, name)
		case verdict.Status != status || verdict.Direction != direction:
			fail(t.Value("direction"), run.causes(verdict), "%s, want %s", describe(verdict, move), word)
		}
	}
	if want, has := t.Bool("leave"); has && want != (verdict.Hold > 0) {
		text := "%s is not to be left alone, and should be"
		if !want {
			text = "%s is to be left alone, and should not be"
		}
		fail(t.Value("leave"), run.causes(verdict), text, name)
	}
	return failures, ok
}

func directionWords(move string) []string {
	words := []string{"+", "-", "more", "less", "none", "conflict"}
	if move == "toe" {
		words = append(words, "in", "out")
	}
	return words
}

// directionOf turns a word into a status and direction. "in" and "out" belong to
// toe, where + is toe-in.
func directionOf(word, move string) (rules.Status, int, bool) {
	if !slices.Contains(directionWords(move), word) {
		return 0, 0, false
	}
	switch word {
	case "+", "more", "in":
		return rules.Advice, +1, true
	case "-", "less", "out":
		return rules.Advice, -1, true
	case "conflict":
		return rules.Conflict, 0, true
	}
	return rules.None, 0, true
}

// describe says what a verdict is: "caster +0.5 deg".
func describe(v rules.Verdict, m rules.Move) string {
	switch v.Status {
	case rules.Advice:
		return m.ID + " " + ruleset.FormatAmount(v.Amount, m.Unit)
	case rules.Conflict:
		return m.ID + " is in conflict"
	}
	return "nothing is advised for " + m.ID
}

// mostNear is how many rules that just missed are listed.
const mostNear = 3

// causes lists the rules behind a verdict: those that voted, or, if none did,
// those that would have but for one condition. A verdict's causes are listed
// once in a test.
func (r *run) causes(v rules.Verdict) []string {
	if slices.Contains(r.told, v.Move) {
		return nil
	}
	r.told = append(r.told, v.Move)
	var out []string
	for _, f := range v.Fired {
		vote := "asks to leave " + v.Move + " alone"
		if f.Direction != 0 {
			i := slices.IndexFunc(f.Rule.Votes, func(vote rules.Vote) bool { return vote.Move == v.Move })
			vote = "votes " + f.Rule.Votes[i].Text
		}
		line := fmt.Sprintf("%s (%s) %s with support %.2f", f.Rule.ID, f.Rule.Place, vote, f.Support)
		if !f.Counted {
			line += ", covered by " + f.CoveredBy
		}
		out = append(out, line, "  because "+met(r.account(f.Rule.ID)))
	}
	if len(out) > 0 {
		return out
	}
	for _, a := range r.accounts {
		votes := slices.ContainsFunc(a.Rule.Votes, func(vote rules.Vote) bool { return vote.Move == v.Move })
		if a.Near && votes && len(out) < mostNear {
			out = append(out, because(a))
		}
	}
	return out
}

// because says why a rule fired, or why not.
func because(a rules.Account) string {
	if a.Fired {
		return fmt.Sprintf("%s (%s) fires because %s", a.Rule.ID, a.Rule.Place, met(a))
	}
	return fmt.Sprintf("%s (%s) is silent: %s", a.Rule.ID, a.Rule.Place, unmet(a))
}

// met lists the conditions of a rule that fired.
func met(a rules.Account) string {
	var parts []string
	for _, c := range a.Conditions {
		parts = append(parts, c.Key+" is "+c.Wants)
	}
	if len(parts) == 0 {
		return "it has no conditions"
	}
	return strings.Join(parts, ", ")
}

// unmet lists the conditions that keep a rule from firing.
func unmet(a rules.Account) string {
	var parts []string
	for _, c := range a.Conditions {
		if c.Grade > 0 {
			continue
		}
		has := c.Has
		if has == "" {
			has = "not known"
			if c.Key == "symptom" || c.Key == "with" {
				has = "not reported"
			}
		}
		parts = append(parts, fmt.Sprintf("%s is %s (it wants %s)", c.Key, has, c.Wants))
	}
	if len(parts) == 0 {
		return fmt.Sprintf("its support is %g", a.Support)
	}
	return strings.Join(parts, ", ")
}
