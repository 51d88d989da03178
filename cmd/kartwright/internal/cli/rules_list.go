package cli

import (
	"fmt"
	"slices"
	"sort"
	"strings"

	"github.com/spf13/cobra"

	"kartwright/rules"
	"kartwright/rules/ruleset"
)

type listOptions struct {
	rules     []string
	symptoms  []string
	moves     []string
	files     []string
	contested bool
	wide      bool
}

func (a *app) rulesListCommand() *cobra.Command {
	var o listOptions
	cmd := &cobra.Command{
		Use:   "list",
		Short: "List rules: name, place, what each wants and when",
		Long: `list prints for each rule its name, where it is written, what it wants and when.
Filters narrow the list; a rule has to pass all of them.`,
		Example: `  kartwright rules list --symptom hop --move caster
  kartwright rules list --contested`,
		Args: noArgs,
		RunE: func(*cobra.Command, []string) error { return a.runRulesList(o) },
	}
	rulesFlag(cmd, &o.rules)
	f := cmd.Flags()
	f.StringArrayVarP(&o.symptoms, "symptom", "s", nil, "only rules about this `SYMPTOM`, or about it in a phase (understeer/entry); may be repeated")
	f.StringArrayVar(&o.moves, "move", nil, "only rules that vote on this `MOVE` or ask to leave it; may be repeated")
	f.StringArrayVar(&o.files, "file", nil, "only rules of this `FILE`; may be repeated")
	f.BoolVar(&o.wide, "wide", false, "print each rule on one line, however long")
	f.BoolVar(&o.contested, "contested", false, "only rules on a point about which the trade is split")
	return cmd
}

type ruleJSON struct {
	ID         string   `json:"id"`
	Place      string   `json:"place"`
	Title      string   `json:"title,omitempty"`
	Wants      []string `json:"wants" jsonschema_description:"votes, moves to leave, checks"`
	When       string   `json:"when"`
	Confidence float64  `json:"confidence"`
	Family     string   `json:"family,omitempty"`
	Contested  string   `json:"contested,omitempty"`
	Decide     string   `json:"decide,omitempty"`
	Because    string   `json:"because,omitempty"`
	Source     string   `json:"source"`
}

type rulesListJSON struct {
	Command string     `json:"command"`
	Rules   []ruleJSON `json:"rules"`
}

func (a *app) runRulesList(o listOptions) error {
	set, err := a.loadRules(o.rules)
	if err != nil {
		return err
	}
	voc := set.Vocabulary()
	if err := knownMoves(voc, o.moves); err != nil {
		return err
	}
	var about []rules.Symptom
	for _, text := range o.symptoms {
		s, err := parseSymptom(set, text)
		if err != nil {
			return err
		}
		about = append(about, s)
	}
	out := rulesListJSON{"rules list", []ruleJSON{}}
	for i := range set.Rules() {
		r := &set.Rules()[i]
		if o.contested && r.Contested == "" || len(about) > 0 && !slices.ContainsFunc(about, func(s rules.Symptom) bool { return isAbout(r, s) }) ||
			len(o.moves) > 0 && !slices.ContainsFunc(o.moves, func(m string) bool { return touches(r, m) }) ||
			len(o.files) > 0 && !slices.ContainsFunc(o.files, func(f string) bool { return inFile(r, f) }) {
			continue
		}
		out.Rules = append(out.Rules, ruleJSON{
			r.ID, r.Place, r.Title, ruleWants(voc, r), whenText(r.When), round(r.Confidence), r.Family, r.Contested, r.Decide, r.Because, r.Source,
		})
	}
	sort.SliceStable(out.Rules, func(i, j int) bool { return byPlace(out.Rules[i].Place, out.Rules[j].Place) })
	if a.json {
		return a.writeJSON(out)
	}
	for _, r := range out.Rules {
		text := strings.Join(r.Wants, ", ") + " when " + r.When
		if r.Contested != "" {
			text += " (contested: " + r.Contested + ")"
		}
		if o.wide {
			a.printf("%s  %s  %s\n", r.ID, r.Place, text)
			continue
		}
		a.printf("%s  (%s)\n", r.ID, r.Place)
		a.para("    ", text)
	}
	a.printf("%d of %d rules\n", len(out.Rules), len(set.Rules()))
	return nil
}

// byPlace orders places by file, then line.
func byPlace(a, b string) bool {
	fa, la, _ := strings.Cut(a, ":")
	fb, lb, _ := strings.Cut(b, ":")
	if fa != fb {
		return fa < fb
	}
	if len(la) != len(lb) {
		return len(la) < len(lb)
	}
	return la < lb
}

// parseSymptom reads a complaint with the words of a set.
func parseSymptom(set *rules.Set, text string) (rules.Symptom, error) {
	f := factFlags{symptoms: []string{text}}
	facts, err := f.facts(set)
	if err != nil {
		return rules.Symptom{}, err
	}
	return facts.Symptoms[0], nil
}

func isAbout(r *rules.Rule, s rules.Symptom) bool {
	w := r.When
	if !slices.Contains(w.Symptom, s.ID) {
		return slices.Contains(w.With, s.ID)
	}
	if s.Phase == "" || s.Phase == rules.Any || len(w.Phase) == 0 {
		return true
	}
	return slices.ContainsFunc(w.Phase, func(t rules.Term) bool { return t.Word == rules.Any || (t.Word == s.Phase) != t.Not })
}

func touches(r *rules.Rule, move string) bool {
	return slices.Contains(r.Leave, move) || slices.ContainsFunc(r.Votes, func(v rules.Vote) bool { return v.Move == move })
}

func inFile(r *rules.Rule, file string) bool {
	name, _, _ := strings.Cut(r.Place, ":")
	return name == file || strings.HasSuffix(name, "/"+file) || name == file+".toml"
}

// ruleWants says what a rule votes for, asks to leave, or wants checked.
func ruleWants(voc rules.Vocabulary, r *rules.Rule) []string {
	out := []string{}
	for _, v := range r.Votes {
		out = append(out, v.Move+" "+ruleset.FormatAmount(v.Amount, moveWord(voc, v.Move).Unit))
	}
	for _, m := range r.Leave {
		out = append(out, "leave "+m)
	}
	if n := len(r.Checks); n == 1 {
		out = append(out, "1 check")
	} else if n > 1 {
		out = append(out, fmt.Sprintf("%d checks", n))
	}
	return out
}

// whenText writes the conditions of a rule on one line.
func whenText(w rules.When) string {
	var parts []string
	if len(w.Symptom) > 0 {
		parts = append(parts, strings.Join(w.Symptom, " or "))
	}
	for _, c := range []struct {
		key   string
		terms rules.Terms
	}{{"phase", w.Phase}, {"corner", w.Corner}, {"severity", w.Severity}, {"track", w.Track}, {"grip", w.Grip}, {"tyres", w.Tyres}} {
		if len(c.terms) > 0 {
			parts = append(parts, c.key+" "+c.terms.String())
		}
	}
	switch w.Wet {
	case rules.Yes:
		parts = append(parts, "wet")
	case rules.No:
		parts = append(parts, "dry")
	}
	if len(w.With) > 0 {
		parts = append(parts, "with "+strings.Join(w.With, " and "))
	}
	if len(w.Without) > 0 {
		parts = append(parts, "without "+strings.Join(w.Without, ", "))
	}
	if len(parts) == 0 {
		return "always"
	}
	return strings.Join(parts, "; ")
}
