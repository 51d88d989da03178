package cli

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"kartwright/advisor/complaint"
	"kartwright/advisor/profile"
	"kartwright/rules/author"
	"kartwright/rules/diag"
	"kartwright/rules/ruleset"
	"kartwright/rules/ruletest"
	"kartwright/rulesets"
)

type checkOptions struct {
	words         []string
	hints, strict bool
	model         string
}

func (a *app) rulesCheckCommand() *cobra.Command {
	var o checkOptions
	cmd := &cobra.Command{
		Use:   "check [FILE.toml …]",
		Short: "Find everything that is wrong with rule files",
		Long: `check reads rule files with all that they extend and prints everything it finds:
errors, which make a file unusable (exit status 3), and warnings: rules that
contradict each other, that can never fire or never win, complaints that no rule
answers, words that no driver's sentence can produce, unusual amounts. Without a
file it checks the shipped rules.

'kartwright rules explain CODE' says what the code in brackets means.`,
		Example: "  kartwright rules check\n  kartwright rules check --hints",
		RunE:    func(_ *cobra.Command, args []string) error { return a.runRulesCheck(args, o) },
	}
	f := cmd.Flags()
	f.StringArrayVar(&o.words, "words", nil, "a word `FILE`.toml of your own, whose phrases count as words that drivers say; may be repeated")
	f.BoolVar(&o.hints, "hints", false, "also list what need not be a fault: rules that never count because their family always has a stronger one")
	f.BoolVar(&o.strict, "strict", false, "exit with status 1 if there are warnings")
	f.StringVar(&o.model, "model", "", "also compute on `KART` (a profile, a demo kart, or all demo karts with 'all') the physical effects that rules rely on, and list those that it does not show")
	return cmd
}

func (a *app) runRulesCheck(args []string, o checkOptions) error {
	fsys, files, err := ruleFiles(args, rulesets.Default)
	if err != nil {
		return err
	}
	loaded, found := ruleset.Load(fsys, files...)
	if diag.HasErrors(found) {
		return fileError{found}
	}
	spoken, unread, err := author.Speech(wordFS, append([]string{"en.toml"}, o.words...)...)
	if err != nil {
		return readError("the word file", strings.Join(o.words, ", "), err)
	}
	if diag.HasErrors(unread) {
		return fileError{unread}
	}
	found = append(found, author.Check(loaded, spoken)...)
	hints := 0
	if o.hints {
		list := author.Hints(loaded)
		hints = len(list)
		found = append(found, list...)
	}
	found = diag.Sort(found)
	n, warnings := len(loaded.Set.Rules()), len(found)-hints
	var model *modelReport
	if o.model != "" {
		if model, err = a.checkModel(loaded.Set, o.model); err != nil {
			return err
		}
	}
	if a.json {
		out := rulesCheckJSON{"rules check", n, len(loaded.Files), viewFindings(found), nil}
		if model != nil {
			out.Model = model.claims
		}
		err = a.writeJSON(out)
	} else {
		err = diag.WriteText(&a.out, found)
		a.printf("%d rules in %d files; %d warnings", n, len(loaded.Files), warnings)
		if o.hints {
			a.printf(", %d hints", hints)
		}
		a.printf("\n")
		if len(found) > 0 {
			a.printf("What a code in brackets means: kartwright rules explain %s\n", found[0].Code)
		}
		if model != nil {
			a.printModel(model)
		}
	}
	if err == nil && model != nil {
		err = model.failed()
	}
	if err == nil && o.strict && warnings > 0 {
		err = couldNot{fmt.Sprintf("there are %d warnings", warnings)}
	}
	return err
}

// explained are the codes of all files that people write, by kind of file.
func explained() []codesOf {
	return []codesOf{
		{"rule files", slices.Concat(ruleset.Codes(), author.Codes())},
		{"rule tests", ruletest.Codes()},
		{"kart profiles", profile.Codes()},
		{"word files", complaint.Codes()},
	}
}

type codesOf struct {
	files string
	codes []diag.Explanation
}

type explanationJSON struct {
	Code  string `json:"code"`
	Files string `json:"files" jsonschema_description:"the kind of file in which it is found"`
	Title string `json:"title"`
	Text  string `json:"text" jsonschema_description:"why it matters and how to put it right"`
}

type rulesExplainJSON struct {
	Command string            `json:"command"`
	Codes   []explanationJSON `json:"codes"`
}

func (a *app) rulesExplainCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "explain [CODE]",
		Short: "What the code of a finding means, and how to put it right",
		Long: `explain says what a code that check, test or 'kartwright kart check' prints in
brackets means and how to put the finding right. Without a code it lists all.`,
		Example: "  kartwright rules explain contradicting-rules",
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) > 1 {
				return usagef("give one code, or none for the list of all")
			}
			return a.runRulesExplain(args)
		},
	}
}

func (a *app) runRulesExplain(args []string) error {
	out := rulesExplainJSON{"rules explain", []explanationJSON{}}
	var all []string
	for _, k := range explained() {
		for _, e := range k.codes {
			all = append(all, string(e.Code))
			if len(args) == 0 || string(e.Code) == strings.Trim(args[0], "[]") {
				out.Codes = append(out.Codes, explanationJSON{string(e.Code), k.files, e.Title, e.Text})
			}
		}
	}
	if len(out.Codes) == 0 {
		return usagef("there is no code %q; %s", args[0], cmp.Or(diag.DidYouMean(args[0], all), "'kartwright rules explain' lists them"))
	}
	if a.json {
		return a.writeJSON(out)
	}
	if len(args) == 0 {
		files := ""
		for _, e := range out.Codes {
			if e.Files != files {
				if files != "" {
					a.printf("\n")
				}
				files = e.Files
				a.printf("In %s\n", files)
			}
			a.para("  "+pad(e.Code, 24), e.Title)
		}
		return nil
	}
	for i, e := range out.Codes {
		if i > 0 {
			a.printf("\n")
		}
		a.para("", fmt.Sprintf("%s (in %s)", sentence(e.Title), e.Files))
		a.para("  ", e.Text)
	}
	return nil
}
