package cli

import (
	"fmt"
	"io/fs"

	"github.com/spf13/cobra"

	"kartwright/rules/diag"
	"kartwright/rules/ruletest"
	"kartwright/rulesets"
)

func (a *app) rulesCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "rules",
		Short: "Rule files: check, test, explain, survey, compare and write them",
		Long: `rules is for those who write rules: it checks and tests rule files, says why
rules answer as they do, surveys which situations they answer, compares two
sets, and writes new rules. A club's own file extends the shipped set:

  format = 1
  set = "club"
  title = "Our club"
  extends = ["shipped.toml"]

and adds [[rule]] tables of its own, or [[change]] tables that change a shipped
rule or switch it off. 'kartwright rules new' writes such a file.`,
		RunE: needSub,
	}
	cmd.AddCommand(a.rulesCheckCommand(), a.rulesExplainCommand(), a.rulesTestCommand(), a.rulesWhyCommand(), a.rulesGapsCommand(),
		a.rulesListCommand(), a.rulesNewCommand(), a.rulesDiffCommand(), a.rulesSymptomsCommand())
	return cmd
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
					x := resultJSON{r.Name, r.At.String(), len(r.Failures) == 0, []string{}, []string{}}
					for _, f := range r.Failures {
						x.Failures = append(x.Failures, f.Text)
						x.Causes = append(x.Causes, f.Causes...)
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
