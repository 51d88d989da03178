package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"kartwright/rules"
	"kartwright/rules/author"
	"kartwright/rules/ruleset"
	"kartwright/rulesets"
)

type diffOptions struct {
	examples int
	moves    []string
	all      bool
}

func (a *app) rulesDiffCommand() *cobra.Command {
	var o diffOptions
	cmd := &cobra.Command{
		Use:   "diff A.toml [B.toml]",
		Short: "Which answers differ between two rule sets",
		Long: `diff asks two rule sets about every complaint under every combination of track,
grip and tyres, said or not, and about the complaints of the rules that differ,
and shows which answers change from A to B: moves that turn round first, then
moves that are proposed by one set only, then other amounts, then answers that
are surer or less sure by more than 0.05. With one file it compares the shipped
rules with it.`,
		Example: `  kartwright rules diff shipped.toml shipped.toml
  kartwright rules diff old/club.toml club.toml`,
		RunE: func(cmd *cobra.Command, args []string) error {
			switch len(args) {
			case 1:
				args = []string{rulesets.Default, args[0]}
			case 2:
			default:
				return usagef("give one rule file or two\nRun '%s --help' for usage.", cmd.CommandPath())
			}
			return a.runRulesDiff(args[0], args[1], o)
		},
	}
	f := cmd.Flags()
	f.IntVar(&o.examples, "examples", 3, "how many situations of each kind to show, `N`")
	f.BoolVar(&o.all, "all", false, "show every situation in which an answer differs")
	f.StringArrayVar(&o.moves, "move", nil, "only this `MOVE`; may be repeated")
	return cmd
}

type answerJSON struct {
	Direction string  `json:"direction,omitempty" jsonschema_description:"increase or decrease; missing if the move is not proposed"`
	Amount    float64 `json:"amount" jsonschema_description:"signed, in unit"`
	Net       float64 `json:"net" jsonschema_description:"net belief, signed"`
}

type differenceJSON struct {
	Kind       string     `json:"kind" jsonschema:"enum=turned,enum=new,enum=gone,enum=amount,enum=belief"`
	Move       string     `json:"move"`
	Unit       string     `json:"unit"`
	Understood factsJSON  `json:"situation"`
	Was        answerJSON `json:"was"`
	Now        answerJSON `json:"now"`
}

type rulesDiffJSON struct {
	Command     string           `json:"command"`
	A           string           `json:"a"`
	B           string           `json:"b"`
	OnlyA       []string         `json:"rules_only_a"`
	OnlyB       []string         `json:"rules_only_b"`
	Changed     []string         `json:"rules_changed"`
	Situations  int              `json:"situations" jsonschema_description:"that were compared"`
	Differing   int              `json:"differing" jsonschema_description:"situations with at least one difference"`
	Count       map[string]int   `json:"count" jsonschema_description:"differences by kind"`
	Differences []differenceJSON `json:"differences" jsonschema_description:"weightiest first"`
}

// diffKinds are the kinds of difference and how they are said.
var diffKinds = []struct {
	kind author.Kind
	text string
}{
	{author.Turned, "the other way round"},
	{author.NewAnswer, "proposed now, and not before"},
	{author.NoAnswer, "proposed before, and not now"},
	{author.Amount, "by another amount"},
	{author.Belief, "surer or less sure"},
}

func (a *app) runRulesDiff(nameA, nameB string, o diffOptions) error {
	setA, err := a.loadRules([]string{nameA})
	if err != nil {
		return err
	}
	setB, err := a.loadRules([]string{nameB})
	if err != nil {
		return err
	}
	if err := knownMoves(setA.Vocabulary(), o.moves); err != nil {
		if err := knownMoves(setB.Vocabulary(), o.moves); err != nil {
			return err
		}
	}
	c := author.Compare(setA, setB)
	if len(o.moves) > 0 {
		c = c.Of(o.moves)
	}
	if a.json {
		out := rulesDiffJSON{"rules diff", nameA, nameB, list(c.OnlyA), list(c.OnlyB), list(c.Changed), c.Situations, c.Differing, map[string]int{}, []differenceJSON{}}
		for k, n := range c.Count {
			out.Count[author.Kind(k).String()] = n
		}
		for _, d := range c.Differences {
			out.Differences = append(out.Differences, differenceJSON{d.Kind.String(), d.Move.ID, d.Move.Unit, viewFacts(setA.Vocabulary(), d.Facts), viewAnswer(d.Was), viewAnswer(d.Now)})
		}
		return a.writeJSON(out)
	}
	a.printDiff(setA, c, o)
	return nil
}

func viewAnswer(v rules.Verdict) answerJSON {
	out := answerJSON{Net: round(v.Net)}
	if s := author.Stance(v); s != 0 {
		out.Direction, out.Amount = direction(s), round(v.Amount)
	}
	return out
}

func (a *app) printDiff(set *rules.Set, c author.Comparison, o diffOptions) {
	for _, l := range []struct {
		text string
		ids  []string
	}{{"Rules only in the first set", c.OnlyA}, {"Rules only in the second set", c.OnlyB}, {"Rules that differ", c.Changed}} {
		if len(l.ids) == 0 {
			continue
		}
		ids := l.ids
		more := ""
		if n := 8; len(ids) > n && !o.all {
			ids, more = ids[:n], fmt.Sprintf(" and %d more", len(ids)-n)
		}
		a.para(fmt.Sprintf("%s (%d): ", l.text, len(l.ids)), strings.Join(ids, ", ")+more)
	}
	if c.Differing == 0 {
		a.printf("No answer differs in %d situations.\n", c.Situations)
		return
	}
	a.printf("%d of %d situations are answered differently.\n", c.Differing, c.Situations)
	for _, k := range diffKinds {
		if c.Count[k.kind] == 0 {
			continue
		}
		a.heading(fmt.Sprintf("%s: %d", capital(k.text), c.Count[k.kind]))
		shown := 0
		for _, d := range c.Differences {
			if d.Kind != k.kind {
				continue
			}
			if shown == o.examples && !o.all {
				a.printf("  and %d more (--all)\n", c.Count[k.kind]-shown)
				break
			}
			shown++
			a.para("  - ", author.Describe(set.Vocabulary(), d.Facts))
			a.para("      ", fmt.Sprintf("%s: %s → %s", d.Move.Title, sayAnswer(d.Move, d.Was), sayAnswer(d.Move, d.Now)))
		}
	}
}

func sayAnswer(m rules.Move, v rules.Verdict) string {
	s := author.Stance(v)
	if s == 0 {
		if v.Hold > 0 {
			return "left alone"
		}
		return "nothing"
	}
	return fmt.Sprintf("%s (%.2f)", ruleset.FormatAmount(v.Amount, m.Unit), max(v.Net, -v.Net))
}
