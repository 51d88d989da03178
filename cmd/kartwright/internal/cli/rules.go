package cli

import (
	"fmt"
	"io/fs"

	"github.com/spf13/cobra"

	"kartwright/rules/diag"
	"kartwright/rules/ruleset"
	"kartwright/rules/ruletest"
	"kartwright/rulesets"
)

func (a *app) rulesCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "rules",
		Short: "Rule files: check, test, and what complaints they know",
		Long: `rules checks and tests rule files, and lists the complaints that they know. A
club's own file extends the shipped set:

  format = 1
  set = "club"
  title = "Our club"
  extends = ["shipped.toml"]

and adds [[rule]] tables of its own, or [[change]] tables that change a shipped
rule or switch it off.`,
		RunE: needSub,
	}
	cmd.AddCommand(a.rulesCheckCommand(), a.rulesTestCommand(), a.rulesSymptomsCommand())
	return cmd
}

func (a *app) rulesCheckCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "check [FILE.toml …]",
		Short: "Find everything that is wrong with rule files",
		Long: `check reads rule files with all that they extend and prints everything it finds:
errors, which make a file unusable (exit status 3), and warnings. Without a
file it checks the shipped rules.`,
		Example: "  kartwright rules check\n  kartwright rules check club.toml",
		RunE: func(_ *cobra.Command, args []string) error {
			fsys, files, err := ruleFiles(args, rulesets.Default)
			if err != nil {
				return err
			}
			loaded, found := ruleset.Load(fsys, files...)
			if diag.HasErrors(found) {
				return fileError{found}
			}
			n := len(loaded.Set.Rules())
			if a.json {
				return a.writeJSON(rulesCheckJSON{"rules check", n, len(loaded.Files), viewFindings(found)})
			}
			if err := diag.WriteText(&a.out, found); err != nil {
				return err
			}
			a.printf("%d rules in %d files; %d warnings\n", n, len(loaded.Files), len(found))
			return nil
		},
	}
}

func (a *app) rulesTestCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "test [FILE.test.toml …]",
		Short: "Run the tests that come with rule files",
		Long: `test runs *.test.toml files: situations with the advice that is expected. Failing
cases print only what differs and the rules that caused it; the exit status is
then 1. Without a file it runs the tests of the shipped rules.`,
		Example: "  kartwright rules test\n  kartwright rules test club.test.toml",
		RunE: func(_ *cobra.Command, args []string) error {
			shipped, err := fs.Glob(rulesets.FS, "*.test.toml")
			if err != nil {
				return err
			}
			fsys, files, err := ruleFiles(args, shipped...)
			if err != nil {
				return err
			}
			report, found := ruletest.Run(fsys, files...)
			if diag.HasErrors(found) {
				return fileError{found}
			}
			failed := report.Failed()
			if a.json {
				out := []resultJSON{}
				for _, r := range report.Results {
					x := resultJSON{r.Name, r.At.String(), len(r.Failures) == 0, []string{}}
					for _, f := range r.Failures {
						x.Failures = append(x.Failures, f.Text)
					}
					out = append(out, x)
				}
				if err := a.writeJSON(rulesTestJSON{"rules test", len(report.Results) - failed, failed, out}); err != nil {
					return err
				}
			} else {
				if err := report.WriteText(&a.out); err != nil {
					return err
				}
				a.printf("%d passed, %d failed\n", len(report.Results)-failed, failed)
			}
			if failed > 0 {
				return couldNot{fmt.Sprintf("%d of %d rule tests failed", failed, len(report.Results))}
			}
			return nil
		},
	}
}

func (a *app) rulesSymptomsCommand() *cobra.Command {
	var files []string
	cmd := &cobra.Command{
		Use:   "symptoms",
		Short: "List the complaints that the rules know, with their meaning",
		Args:  noArgs,
		RunE: func(*cobra.Command, []string) error {
			set, err := a.loadRules(files)
			if err != nil {
				return err
			}
			voc := set.Vocabulary()
			if a.json {
				out := []symptomJSON{}
				for _, s := range voc.Symptoms {
					out = append(out, symptomJSON{s.ID, s.Title, s.Means, list(s.Phases), s.CheckFirst})
				}
				return a.writeJSON(rulesSymptomsJSON{"rules symptoms", out})
			}
			for _, s := range voc.Symptoms {
				phases := ""
				for _, p := range s.Phases {
					if p != "any" {
						phases += " /" + p
					}
				}
				a.printf("%s%s\n", s.ID, phases)
				text := s.Means
				if s.CheckFirst {
					text += " (answered with a check of the kart, not with a setting)"
				}
				a.para("    ", sentence(text))
			}
			return nil
		},
	}
	rulesFlag(cmd, &files)
	return cmd
}
