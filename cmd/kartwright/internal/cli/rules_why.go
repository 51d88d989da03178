package cli

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"kartwright/advisor"
	"kartwright/rules"
	"kartwright/rules/author"
	"kartwright/rules/diag"
	"kartwright/rules/ruleset"
)

type whyOptions struct {
	rules []string
	facts factFlags
	moves []string
	all   bool
	kart  string
	past  pastFlags
}

func (a *app) rulesWhyCommand() *cobra.Command {
	var o whyOptions
	cmd := &cobra.Command{
		Use:   "why --symptom ID[/phase][:severity] … [conditions]",
		Short: "Which rules answer a situation, which nearly did, and what would change it",
		Long: `why takes a situation, with the flags of advise, and shows for each move which
rules fired for the answer, which were overruled, and which asked to leave the
move alone; which rules one condition kept from firing; and what would have to
be otherwise for another answer. It looks at rules only, not at a kart; but if
you keep a journal, each rule counts as much as what came of it on your kart
lets it, and the answer says so.`,
		Example: `  kartwright rules why --symptom understeer/entry --track tight --grip 6/10
  kartwright rules why -s oversteer/exit --grip high --move caster`,
		Args: noArgs,
		RunE: func(*cobra.Command, []string) error { return a.runRulesWhy(o) },
	}
	rulesFlag(cmd, &o.rules)
	o.facts.add(cmd)
	f := cmd.Flags()
	f.StringArrayVar(&o.moves, "move", nil, "only this `MOVE`, such as caster; may be repeated")
	kartFlag(cmd, &o.kart)
	o.past.add(cmd)
	f.BoolVar(&o.all, "all", false, "list every rule that nearly fired, not only the first of them")
	return cmd
}

type nearJSON struct {
	Rule    string   `json:"rule"`
	Place   string   `json:"place"`
	Key     string   `json:"condition" jsonschema_description:"the one condition that is not met"`
	Wants   string   `json:"wants"`
	Has     string   `json:"has,omitempty" jsonschema_description:"missing if it was not said"`
	Support float64  `json:"support" jsonschema_description:"at most, if the condition were met"`
	Votes   []string `json:"votes" jsonschema_description:"what the rule would say"`
}

type rulesWhyJSON struct {
	Command    string        `json:"command"`
	Understood factsJSON     `json:"understood"`
	Verdicts   []verdictJSON `json:"verdicts" jsonschema_description:"every move on which a rule spoke"`
	Checks     []checkJSON   `json:"checks"`
	Near       []nearJSON    `json:"near" jsonschema_description:"rules about the complaint that one condition kept from firing"`
	Flips      []flipJSON    `json:"flips" jsonschema_description:"what would have to be otherwise for another answer"`
	Silent     int           `json:"silent" jsonschema_description:"other rules about the moves that did not fire"`
}

func (a *app) runRulesWhy(o whyOptions) error {
	set, err := a.loadRules(o.rules)
	if err != nil {
		return err
	}
	voc := set.Vocabulary()
	if err := knownMoves(voc, o.moves); err != nil {
		return err
	}
	facts, err := o.facts.facts(set)
	if err != nil {
		return err
	}
	if len(facts.Symptoms) == 0 {
		return usagef("say what the kart does, for example --symptom understeer/entry\nRun 'kartwright rules why --help' for usage.")
	}
	if _, err := set.Compile(facts); err != nil {
		return usageError{err}
	}
	p, err := a.learnedOf(o.past, o.kart)
	if err != nil {
		return err
	}
	set = p.teach(set)
	res, err := set.Evaluate(facts)
	if err != nil {
		return err
	}
	accounts, err := set.Explain(facts)
	if err != nil {
		return err
	}
	flips, err := set.Flips(facts)
	if err != nil {
		return err
	}
	wanted := func(move string) bool { return len(o.moves) == 0 || slices.Contains(o.moves, move) }
	res.Verdicts = slices.DeleteFunc(res.Verdicts, func(v rules.Verdict) bool { return len(v.Fired) == 0 || !wanted(v.Move) })
	near, silent := nearly(voc, accounts, wanted)
	flips = flipsOf(flips, wanted)

	if a.json {
		out := rulesWhyJSON{
			Command: "rules why", Understood: viewFacts(voc, facts), Verdicts: []verdictJSON{}, Checks: []checkJSON{},
			Near: []nearJSON{}, Flips: viewFlips(voc, flips), Silent: silent,
		}
		for _, v := range res.Verdicts {
			out.Verdicts = append(out.Verdicts, viewVerdict(v, moveWord(voc, v.Move)))
			p.viewReasons(out.Verdicts[len(out.Verdicts)-1].Rules)
		}
		for _, c := range res.Checks {
			out.Checks = append(out.Checks, checkJSON{c.Text, list(c.Rules)})
		}
		out.Near = append(out.Near, near...)
		return a.writeJSON(out)
	}

	a.para("", sentence(author.Describe(voc, facts)))
	if len(res.Verdicts) == 0 {
		a.heading("No rule speaks about a move")
	}
	for _, v := range res.Verdicts {
		a.printWhy(voc, v, p)
	}
	if len(res.Checks) > 0 && len(o.moves) == 0 {
		a.heading("To be checked first")
		for _, c := range res.Checks {
			a.para("  - ", sentence(c.Text)+" ("+strings.Join(c.Rules, ", ")+")")
		}
	}
	a.printNear(near, o.all)
	if len(flips) > 0 {
		a.heading("It would be otherwise")
		for _, f := range flips {
			text := advisor.SayFlip(voc, f)
			if rest, ok := strings.CutPrefix(text, f.Key+" "+f.To); ok && f.Key == "symptom" {
				text = "with " + f.To + " as well" + rest
			}
			a.para("  - ", text+".")
		}
	}
	return nil
}

func viewFacts(voc rules.Vocabulary, f rules.Facts) factsJSON {
	out := factsJSON{Symptoms: []string{}, Track: f.Track, Grip: voc.Grip.Format(f.Grip), Tyres: voc.Tyres.Format(f.Tyres), Wet: f.Wet.String()}
	for _, s := range f.Symptoms {
		out.Symptoms = append(out.Symptoms, s.String())
	}
	return out
}

// knownMoves refuses moves that the vocabulary does not have.
func knownMoves(voc rules.Vocabulary, moves []string) error {
	var ids []string
	for _, m := range voc.Moves {
		ids = append(ids, m.ID)
	}
	for _, m := range moves {
		if !slices.Contains(ids, m) {
			return usagef("there is no move %q; %s", m, cmp.Or(diag.DidYouMean(m, ids), "they are "+strings.Join(ids, ", ")))
		}
	}
	return nil
}

func moveWord(voc rules.Vocabulary, id string) rules.Move {
	for _, m := range voc.Moves {
		if m.ID == id {
			return m
		}
	}
	return rules.Move{ID: id, Title: id}
}

// wish says a direction of a move: "more caster".
func wish(m rules.Move, direction int) string {
	switch {
	case direction > 0:
		return m.Increase
	case direction < 0:
		return m.Decrease
	}
	return "leave " + m.Title + " alone"
}

// nearly returns the rules about the complaint that one condition kept from
// firing, the best supported first, and how many others are silent.
func nearly(voc rules.Vocabulary, accounts []rules.Account, wanted func(move string) bool) (near []nearJSON, silent int) {
	for _, acc := range accounts {
		if acc.Fired {
			continue
		}
		var votes []string
		for _, v := range acc.Rule.Votes {
			if wanted(v.Move) {
				votes = append(votes, v.Move+" "+ruleset.FormatAmount(v.Amount, moveWord(voc, v.Move).Unit))
			}
		}
		for _, m := range acc.Rule.Leave {
			if wanted(m) {
				votes = append(votes, "leave "+m+" alone")
			}
		}
		switch {
		case len(votes) == 0: // nothing but checks, or other moves
		case !acc.Near || unmet(acc) == "symptom": // a rule about another complaint is not near
			silent++
		default:
			n := nearJSON{Rule: acc.Rule.ID, Place: acc.Rule.Place, Votes: votes}
			grade := 1.0
			for _, c := range acc.Conditions {
				if c.Grade == 0 {
					n.Key, n.Wants, n.Has = c.Key, c.Wants, c.Has
				} else {
					grade = min(grade, c.Grade)
				}
			}
			n.Support = round(min(0.99, grade*acc.Rule.Confidence*acc.Learned))
			near = append(near, n)
		}
	}
	slices.SortStableFunc(near, func(x, y nearJSON) int {
		switch {
		case x.Support > y.Support:
			return -1
		case x.Support < y.Support:
			return 1
		}
		return 0
	})
	return near, silent
}

// unmet returns the key of the first condition that is not met.
func unmet(acc rules.Account) string {
	for _, c := range acc.Conditions {
		if c.Grade == 0 {
			return c.Key
		}
	}
	return ""
}

func flipsOf(flips []rules.Flip, wanted func(move string) bool) []rules.Flip {
	var out []rules.Flip
	for _, f := range flips {
		f.Changes = slices.DeleteFunc(slices.Clone(f.Changes), func(c rules.Change) bool { return !wanted(c.Move) })
		if len(f.Changes) > 0 {
			out = append(out, f)
		}
	}
	return out
}

func (a *app) printWhy(voc rules.Vocabulary, v rules.Verdict, p *past) {
	m := moveWord(voc, v.Move)
	title := capital(m.Title) + ": "
	switch stance := author.Stance(v); {
	case stance != 0:
		title += wish(m, stance) + " by " + ruleset.FormatSize(v.Amount, m.Unit)
	case v.Hold > math.Abs(v.Net):
		title += "leave it alone"
	default:
		title += "undecided, as much for as against"
	}
	a.printf("\n")
	a.para("", fmt.Sprintf("%s (more %.2f, less %.2f, leave %.2f)", title, v.Inc, v.Dec, v.Hold))
	for _, group := range []struct {
		name string
		in   func(rules.Firing) bool
	}{
		{"fired", func(f rules.Firing) bool { return f.Counted && f.Direction == author.Stance(v) }},
		{"overruled", func(f rules.Firing) bool {
			return f.Counted && f.Direction != author.Stance(v) && author.Stance(v) != 0
		}},
		{"either way", func(f rules.Firing) bool { return f.Counted && f.Direction != 0 && author.Stance(v) == 0 }},
		{"covered", func(f rules.Firing) bool { return !f.Counted }},
	} {
		var fired []rules.Firing
		for _, f := range v.Fired {
			if group.in(f) {
				fired = append(fired, f)
			}
		}
		slices.SortStableFunc(fired, func(x, y rules.Firing) int { return int(min(1, max(-1, y.Share-x.Share))) })
		for _, f := range fired {
			what := wish(m, f.Direction)
			if f.Direction != 0 {
				what = ruleset.FormatAmount(f.Amount, m.Unit)
			}
			text := fmt.Sprintf("%s, support %.2f", what, f.Support)
			if f.Limit != "" {
				limit := f.Limit
				if limit == "symptom" {
					limit = "severity" // the symptom's grade is that of its severity
				}
				text += fmt.Sprintf(", held back by %s (%.2f)", limit, f.Grade)
			}
			if r := p.record(f.Rule.ID); r != "" {
				text += fmt.Sprintf(", %s: confidence %.2f counts as %.2f", r, f.Rule.Confidence, f.Rule.Confidence*p.learned[f.Rule.ID].Factor(f.Rule.Confidence))
			}
			if !f.Counted {
				text += "; " + f.CoveredBy + " stands for its family"
			}
			a.para("  "+pad(group.name, 11), f.Rule.ID+" ("+f.Rule.Place+")")
			a.para("             ", text)
		}
	}
	for _, d := range v.Contested {
		a.para("  contested  ", d.Point+". What decides it: "+sentence(d.Decide))
	}
}

// mostNear is how many rules that nearly fired are listed without --all.
const mostNear = 8

func (a *app) printNear(near []nearJSON, all bool) {
	if len(near) == 0 {
		return
	}
	a.heading(fmt.Sprintf("Nearly fired, but for one condition (%d)", len(near)))
	for i, n := range near {
		if i == mostNear && !all {
			a.printf("  and %d more (--all)\n", len(near)-i)
			break
		}
		a.para("  - ", fmt.Sprintf("%s (%s): %s", n.Rule, n.Place, strings.Join(n.Votes, ", ")))
		text := fmt.Sprintf("%s is %s, wants %s", n.Key, cmp.Or(n.Has, "not said"), n.Wants)
		switch n.Key {
		case "with":
			text = "wants " + n.Wants + " reported as well"
		case "without":
			text = "wants " + n.Wants
		}
		a.para("      ", text)
	}
}
