package cli

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"sort"
	"strings"

	"github.com/spf13/cobra"

	"kartwright/advisor"
	"kartwright/advisor/complaint"
	"kartwright/advisor/journal"
	"kartwright/cmd/kartwright/internal/web"
	"kartwright/geometry"
	"kartwright/geometry/frontend"
	"kartwright/rules"
	"kartwright/rules/ruleset"
)

type adviseOptions struct {
	kart  string
	rules []string
	facts factFlags
	words wordFlags
	text  string
	why   string
	draws int
	short bool
	past  pastFlags
	log   bool
	card  cardName
}

func (a *app) adviseCommand() *cobra.Command {
	var o adviseOptions
	cmd := &cobra.Command{
		Use:   "advise [TEXT] [--symptom ID[/phase][:severity] …] [conditions]",
		Short: "A complaint and the conditions to one change with exact turns",
		Long: `advise takes what the driver says, in quotes, or the complaint by --symptom, and
the conditions, asks the rules, and answers with the one change of the front end
to try first: what to turn on each side of this kart, what else moves, why, what
speaks against it, what to check before, how to confirm it and how to undo it.

A condition that is not given is not guessed: rules that need it stay silent,
and the answer says what it would change.

If you keep a journal ('kartwright help log'), advice starts from where the kart
stands by it, says what was tried under the same conditions and did not help,
and believes rules less that did not help here. --log records the answer, so
that 'kartwright log outcome' can say later how it turned out.

'kartwright rules symptoms' lists the complaints, 'kartwright help units' how
conditions are written.`,
		Example: `  kartwright advise "pushes on the way in at the hairpins, fine on exit, new tyres, track is green"
  kartwright advise --symptom understeer/entry:strong --track tight --grip 6/10 --tyres "25 laps"
  kartwright advise -s oversteer/exit -s '!hop' --grip high --kart cedar
  kartwright advise -s bind/exit --track tight --why
  kartwright advise "hops on exit" --grip high --log
  kartwright advise -s bind/exit --track tight --card card.svg`,
		RunE: func(_ *cobra.Command, args []string) error {
			o.text = strings.Join(args, " ")
			return a.runAdvise(o)
		},
	}
	kartFlag(cmd, &o.kart)
	rulesFlag(cmd, &o.rules)
	o.facts.add(cmd)
	o.words.add(cmd)
	cardFlag(cmd, &o.card)
	f := cmd.Flags()
	f.StringVar(&o.why, "why", "", "`HOW` the answer comes about: the rules behind it, or with --why=terms every term with its numbers")
	drawsFlag(cmd, &o.draws)
	f.BoolVar(&o.short, "short", false, "only the checks, the change, what to turn and the cautions")
	o.past.add(cmd)
	o.past.addProfile(cmd)
	f.BoolVar(&o.log, "log", false, "record the answer in the journal, which is begun if there is none")
	f.Lookup("why").NoOptDefVal = "rules"
	return cmd
}

func (a *app) runAdvise(o adviseOptions) error {
	if o.why != "" && o.why != "rules" && o.why != "terms" {
		return usagef("--why is %q, expected rules or terms", o.why)
	}
	if o.log && o.past.none {
		return usagef("--no-journal leaves nothing for --log to record in")
	}
	set, err := a.loadRules(o.rules)
	if err != nil {
		return err
	}
	facts, err := o.facts.facts(set)
	if err != nil {
		return err
	}
	var heard *complaint.Report
	if o.text != "" {
		l, err := a.lexicon(o.words)
		if err != nil {
			return err
		}
		r, err := a.settle(l, o.text)
		if err != nil {
			return err
		}
		if len(r.Unsure) > 0 {
			return errors.New(unsureText(r))
		}
		if facts, err = addHeard(r, facts, set.Vocabulary()); err != nil {
			return err
		}
		if len(facts.Symptoms) == 0 {
			what := "no complaint"
			if r.Nothing() {
				what = "nothing"
			}
			return fmt.Errorf("%s was understood in %q; say in other words what the kart does and where, or use --symptom", what, o.text)
		}
		heard = &r
	}
	if len(facts.Symptoms) == 0 {
		return usagef("say what the kart does, for example \"it pushes on the way in\" or --symptom understeer/entry\nRun 'kartwright advise --help' for usage.")
	}
	if _, err := set.Compile(facts); err != nil {
		return usageError{err}
	}
	k, _, err := a.loadKart(o.kart)
	if err != nil {
		return err
	}
	from := o.past
	if o.log && from.journal != "" {
		if _, err := os.Stat(from.journal); errors.Is(err, fs.ErrNotExist) {
			from.none, from.journal, from.fromProfile = true, "", false // it is begun below
		}
	}
	p, err := a.lookBack(from, k)
	if err != nil {
		return err
	}
	k, set = p.stands(k), p.teach(set)
	adv, err := advisor.Advise(advisor.Request{Kart: k, Rules: set, Facts: facts})
	if err != nil {
		return err
	}
	p.demote(adv)
	var plan *advisor.Plan
	if adv.First != nil {
		plan = adv.First.Plan
	}
	sure, notes, err := a.sureness(plan, o.draws)
	if err != nil {
		return err
	}
	var accounts []rules.Account
	if o.why != "" || o.log {
		if accounts, err = set.Explain(facts); err != nil {
			return err
		}
	}
	var job web.Job
	if plan != nil {
		if job, err = web.SuggestionJob(adv.First, set, facts, k, a.units); err != nil {
			return err
		}
	}
	wrote, err := a.writeCard(o.card, job)
	if err != nil {
		return err
	}
	var view adviceJSON
	if a.json || o.log {
		view = viewAdvice(adv, heard, sure, notes, accounts, a.units)
		p.view(&view, adv)
	}
	var logged *journal.Advice
	var began string
	var failed error
	if o.log {
		if logged, began, failed = a.logAdvice(o.past, k, p, view); failed != nil {
			failed = couldNot{"the advice was not logged: " + failed.Error()}
		} else {
			view.Logged = string(logged.ID)
		}
	}
	failed = errors.Join(failed, o.card.without(wrote))
	if a.json {
		view.Card = wrote
		return errors.Join(a.writeJSON(view), failed)
	}
	a.printAdvice(adv, heard, o, sure, notes, p)
	if o.why != "" {
		a.printTrace(adv, accounts, o.why == "terms", p)
	}
	if logged != nil {
		a.heading("Logged")
		if began != "" {
			a.para("  ", "Began a new journal, "+began+".")
		}
		a.para("  ", fmt.Sprintf("This is advice %s. When you have driven: kartwright log outcome better, same or worse.", logged.ID.Short()))
	}
	a.printCard(wrote)
	return failed
}

func (a *app) printAdvice(adv *advisor.Advice, heard *complaint.Report, o adviseOptions, sure *advisor.Sureness, notes []string, p *past) {
	voc := adv.Request.Rules.Vocabulary()
	if heard != nil {
		a.printReport(*heard)
		a.printf("\n")
	}
	var said []string
	for _, s := range adv.Request.Facts.Symptoms {
		said = append(said, advisor.SaySymptom(voc, s))
	}
	conditions, unsaid := advisor.SayConditions(voc, adv.Request.Facts)
	a.para("", sentence(strings.Join(said, "; ")))
	if len(conditions) > 0 {
		a.para("", sentence(strings.Join(conditions, ", ")))
	}
	kart := "Kart " + adv.Request.Kart.Name
	if o.kart == "" && a.Getenv("KARTWRIGHT_KART") == "" {
		kart += " (a demo kart; yours with --kart)"
	}
	if p != nil && p.setting != nil {
		kart += fmt.Sprintf(", as it stands by the journal since %s (%s; --from-profile ignores it)", localTime(p.setting.At), p.setting.ID.Short())
	}
	a.para("", kart+".")
	if p != nil && p.note != "" {
		a.para("", sentence(p.note))
	}

	if len(adv.Checks) > 0 {
		a.heading("Check before you touch the front end")
		for i, c := range adv.Checks {
			if i == 5 && adv.Status != advisor.CheckFirst {
				a.printf("  and %d more (--why)\n", len(adv.Checks)-i)
				break
			}
			a.para("  - ", sentence(c.Text))
		}
	}
	if len(adv.Unusual) > 0 {
		a.heading("Far out as the kart stands; set this right first")
		for _, u := range adv.Unusual {
			a.para("  - ", sentence(u))
		}
	}
	if len(adv.Uneven) > 0 {
		a.heading("The sides differ as the kart stands")
		for _, u := range adv.Uneven {
			a.para("  - ", u)
		}
		if adv.Equal != nil {
			a.para("  ", "To make the right like the left first:")
			a.printTurns(adv.Equal)
		} else {
			a.para("  ", "These adjusters bring them no nearer; judge each side by its own figures.")
		}
	}

	switch adv.Status {
	case advisor.CheckFirst:
		a.heading("No setting before that: put right what the checks find, then drive again")
	case advisor.NoAdvice:
		a.heading("No advice")
		if len(adv.Refused) == 0 {
			a.para("  ", "No rule speaks to this complaint under these conditions.")
		}
	case advisor.Undecided:
		a.heading("Undecided")
		a.para("  ", "As much speaks for as against, so nothing is suggested. What decides it is below.")
	case advisor.TryThis:
		if o.short {
			a.printShort(adv.First, p.about(adv.First, adv))
			return
		}
		a.printFirst(adv.First, p.about(adv.First, adv), p)
	}
	if s := adv.First; s != nil {
		if s.Plan != nil {
			a.printSteps(s.Plan)
		}
		a.heading("To confirm it")
		for _, c := range s.Confirm() {
			a.para("  - ", c)
		}
		if s.Plan != nil {
			a.printUndo(s.Plan)
			a.printSureness(s.Plan, sure, notes)
		}
		cautions := s.Cautions()
		if s.Plan != nil {
			cautions = append(cautions, s.Plan.Cautions()...)
		}
		a.printCautions(cautions)
	}
	a.printAlternatives(adv, p)
	a.printOpen(adv)
	a.printMissing(adv, unsaid)
}

// amountText is the size of a suggestion, with where it applies.
func (a *app) amountText(s *advisor.Suggestion) string {
	size := math.Abs(s.Amount)
	if by, ok := s.Actual(); ok {
		size = math.Abs(by.Degrees())
	}
	if s.Move.Unit == "deg" {
		angle := geometry.Angle(size) * geometry.Degree
		if s.Move.ID == "toe" {
			return fmt.Sprintf("by %s on each side (%s over %s)", a.units.Angle(angle), a.units.Length(frontend.ToeLength(angle, advisor.RimLength)), strings.Replace(a.units.Length(advisor.RimLength), ".00", "", 1))
		}
		return "by " + a.units.Angle(angle) + " on each side"
	}
	return "by " + ruleset.FormatSize(size, s.Move.Unit)
}

// printShort prints what to turn and nothing else but the cautions.
func (a *app) printShort(s *advisor.Suggestion, tried []string) {
	a.printf("\n")
	a.para("Try first: ", fmt.Sprintf("%s %s (confidence %.2f)", s.Title(), a.amountText(s), math.Abs(s.Verdict.Net)))
	cautions := s.Cautions()
	if s.Plan != nil {
		a.printTurns(s.Plan)
		cautions = append(cautions, s.Plan.Cautions()...)
	}
	for _, n := range append(tried, s.Notes...) {
		a.para("  - ", sentence(n))
	}
	a.printCautions(cautions)
}

func (a *app) printFirst(s *advisor.Suggestion, tried []string, p *past) {
	a.printf("\n")
	a.para("Try first: ", fmt.Sprintf("%s %s (confidence %.2f)", s.Title(), a.amountText(s), math.Abs(s.Verdict.Net)))
	if s.Plan != nil {
		a.printTurns(s.Plan)
	} else {
		a.para("  ", "This kart's profile has no adjuster for it: set it as your kart does, both sides alike.")
	}
	for _, n := range append(tried, s.Notes...) {
		a.para("  - ", sentence(n))
	}
	a.heading("Why")
	a.printReasonList(s.For, p)
	if len(s.Against) > 0 || len(s.Leave) > 0 || len(s.Verdict.Contested) > 0 {
		a.heading("What speaks against it")
		a.printReasonList(append(append([]rules.Firing(nil), s.Against...), s.Leave...), p)
		for _, d := range s.Verdict.Contested {
			a.para("  - ", "The trade is split here. What decides it: "+sentence(d.Decide))
		}
		if s.Verdict.Conflict > 0.005 {
			a.para("  ", fmt.Sprintf("Belief for %.2f, against %.2f, conflict %.2f.", max(s.Verdict.Inc, s.Verdict.Dec), min(s.Verdict.Inc, s.Verdict.Dec), s.Verdict.Conflict))
		}
	}
	if s.Plan != nil {
		a.heading("Before → after")
		a.printFigures(s.Plan)
		a.printEffects(s.Plan, s.For)
		if len(s.Plan.Warnings) > 0 {
			a.heading("Outside a limit")
			for _, w := range s.Plan.Warnings {
				a.para("  - ", sentence(w))
			}
		}
	}
}

// printReasonList prints the sentences of rules, each once, those that count
// only.
func (a *app) printReasonList(fired []rules.Firing, p *past) {
	n := 0
	for _, f := range fired {
		if !f.Counted {
			continue
		}
		if n++; n > 4 {
			a.printf("  and more (--why)\n")
			return
		}
		a.para("  - ", p.because([]rules.Firing{f}))
	}
}

// printOpen prints the moves on which the rules balance, with both sides.
func (a *app) printOpen(adv *advisor.Advice) {
	moves := moveWords(adv)
	for _, v := range adv.Undecided {
		m := moves[v.Move]
		a.heading("Not decided: " + m.Title)
		for _, side := range []struct {
			title string
			dir   int
		}{{m.Increase, 1}, {m.Decrease, -1}, {"leave it", 0}} {
			for _, f := range v.Fired {
				if f.Direction == side.dir && f.Counted {
					a.para("  "+pad(side.title+":", 24), sentence(f.Rule.Because))
				}
			}
		}
		said := map[string]bool{}
		for _, d := range v.Contested {
			if !said[d.Decide] {
				a.para("  ", "What decides it: "+sentence(d.Decide))
			}
			said[d.Decide] = true
		}
	}
}

func moveWords(adv *advisor.Advice) map[string]rules.Move {
	out := map[string]rules.Move{}
	for _, m := range adv.Request.Rules.Vocabulary().Moves {
		out[m.ID] = m
	}
	return out
}

func (a *app) printAlternatives(adv *advisor.Advice, p *past) {
	if len(adv.Alternatives) > 0 {
		if adv.First == nil {
			a.heading("After that, if it is still there, one at a time")
		} else {
			a.heading("If that does not help, one at a time")
		}
		for i, s := range adv.Alternatives {
			if i == 4 {
				a.printf("  and %d weaker ones\n", len(adv.Alternatives)-i)
				break
			}
			a.para("  - ", fmt.Sprintf("%s %s (confidence %.2f). %s", s.Title(), a.amountText(&s), math.Abs(s.Verdict.Net), p.because(s.For)))
			if t := p.tried(&s, adv.Request); t != nil {
				a.para("    ", sentence(t.Text))
			}
			if len(s.Against) > 0 {
				a.para("    against: ", sentence(firstReason(s.Against)))
			}
			for _, d := range s.Verdict.Contested {
				a.para("    the trade is split; what decides it: ", sentence(d.Decide))
			}
			if s.Plan != nil {
				a.printTurns(s.Plan)
			}
		}
	}
	if len(adv.Refused) > 0 {
		a.heading("Not on this kart, or not now")
		for _, r := range adv.Refused {
			a.para("  - ", r.Title+": "+sentence(strings.Join(r.Reasons, "; ")))
		}
	}
}

func firstReason(fired []rules.Firing) string {
	if len(fired) == 0 {
		return ""
	}
	return fired[0].Rule.Because
}

// printMissing says what else could be said, and what it would change.
func (a *app) printMissing(adv *advisor.Advice, unsaid []string) {
	voc := adv.Request.Rules.Vocabulary()
	if len(unsaid) > 0 && adv.Status != advisor.CheckFirst {
		a.heading("Not said: " + strings.Join(unsaid, ", "))
		lines := flipLines(voc, adv.Missing, adv.First)
		if len(lines) == 0 {
			a.para("  ", "Saying more would not turn the answer round.")
		}
		for _, l := range lines {
			a.para("  - ", "If "+l+".")
		}
	}
	if lines := flipLines(voc, adv.Turning, adv.First); len(lines) > 0 && adv.Status == advisor.TryThis {
		a.heading("It would be the other way")
		for _, l := range lines {
			a.para("  - ", l+".")
		}
	}
}

// flipLines says the flips that touch the suggestion's own move, or all of
// them if there is none; at most five.
func flipLines(voc rules.Vocabulary, flips []rules.Flip, first *advisor.Suggestion) []string {
	var out []string
	for _, f := range flips {
		if first != nil {
			var own []rules.Change
			for _, c := range f.Changes {
				if c.Move == first.Move.ID {
					own = append(own, c)
				}
			}
			f.Changes = own
		}
		if len(f.Changes) > 0 {
			out = append(out, advisor.SayFlip(voc, f))
		}
	}
	if len(out) > 5 {
		out = out[:5]
	}
	return out
}

// lacksSymptom reports whether it is another complaint that the rule is about:
// that is no near miss.
func lacksSymptom(acc rules.Account) bool {
	for _, c := range acc.Conditions {
		if c.Grade == 0 && c.Key == "symptom" {
			return true
		}
	}
	return false
}

// printTrace prints the second depth of the explanation, rules that fired or
// just missed, or the third, every term with its numbers.
func (a *app) printTrace(adv *advisor.Advice, accounts []rules.Account, terms bool, p *past) {
	var fired, near []rules.Account
	silent := 0
	for _, acc := range accounts {
		switch {
		case acc.Fired:
			fired = append(fired, acc)
		case acc.Near && !lacksSymptom(acc):
			near = append(near, acc)
		default:
			silent++
		}
	}
	sort.SliceStable(fired, func(i, j int) bool { return fired[i].Support > fired[j].Support })
	a.heading(fmt.Sprintf("Rules: %d fired, %d missed by one condition, %d silent", len(fired), len(near), silent))
	for _, acc := range fired {
		a.para("  fired   ", acc.Rule.ID+"  "+acc.Rule.Place)
		if r := p.record(acc.Rule.ID); r != "" {
			a.para("            ", fmt.Sprintf("%s: believed %.2f times as much", r, acc.Learned))
		}
		for _, s := range acc.Shares {
			text := direction(s.Direction) + " " + s.Move
			if s.Direction != 0 {
				text = s.Move + " " + ruleset.FormatAmount(s.Amount, moveWords(adv)[s.Move].Unit)
			}
			if !s.Counted {
				text += ", covered by " + s.CoveredBy
			}
			if terms {
				text += fmt.Sprintf("; support %.4f, evidence %.9f", acc.Support, float64(s.Evidence)/1e9)
			}
			a.para("            ", text)
		}
		if terms {
			a.para("            ", fmt.Sprintf("support %.4f = min(0.99, grade %.4f × confidence %.2f × learned %.2f)", acc.Support, acc.Grade, acc.Rule.Confidence, acc.Learned))
			for _, c := range acc.Conditions {
				a.para("            ", fmt.Sprintf("%s wants %s, is %s: %.4f", c.Key, c.Wants, cmp.Or(c.Has, "not said"), c.Grade))
			}
		} else if acc.Limit != "" {
			limit := acc.Limit
			if limit == "symptom" {
				limit = "how strong it is"
			}
			a.para("            ", fmt.Sprintf("held back by %s (%.2f)", limit, acc.Grade))
		}
	}
	for _, acc := range near {
		for _, c := range acc.Conditions {
			if c.Grade == 0 {
				a.para("  missed  ", fmt.Sprintf("%s  %s: %s is %s, wants %s", acc.Rule.ID, acc.Rule.Place, c.Key, cmp.Or(c.Has, "not said"), c.Wants))
			}
		}
	}
	if !terms {
		return
	}
	a.heading("Verdicts")
	for _, v := range adv.Verdicts {
		if v.Status == rules.None && v.Hold == 0 {
			continue
		}
		a.para("  ", fmt.Sprintf("%s: belief in more %.4f, in less %.4f, in leaving it %.4f; net %+.4f, conflict %.4f; for %.4f, against %.4f, undecided %.4f; amount %s (%s to %s)",
			v.Move, v.Inc, v.Dec, v.Hold, v.Net, v.Conflict, v.For, v.Against, v.Undecided,
			ruleset.FormatAmount(v.Amount, moveWords(adv)[v.Move].Unit), ruleset.FormatAmount(v.Least, moveWords(adv)[v.Move].Unit), ruleset.FormatAmount(v.Most, moveWords(adv)[v.Move].Unit)))
	}
}
