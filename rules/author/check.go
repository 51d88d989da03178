package author

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"kartwright/rules"
	"kartwright/rules/diag"
	"kartwright/rules/ruleset"
	"kartwright/rules/source"
)

// Spoken is what a driver's own words can produce: for each key of a condition
// (symptom, track, grip, tyres) the words that some phrase stands for. A key that
// is not there is not checked.
type Spoken map[string]map[string]bool

// Check returns warnings about rules that load without errors, in order of place.
// It panics if loaded has no set.
func Check(loaded *ruleset.Loaded, spoken Spoken) []diag.Diagnostic {
	c := newChecker(loaded, spoken)
	for _, s := range c.spaces {
		c.conditions(s)
	}
	c.contradictions()
	c.exceptions()
	c.vocabulary()
	c.idleChanges()
	return diag.Sort(c.found)
}

// Hints returns what need not be a fault: rules that are written down and shown,
// but never count, because their family always has a stronger one.
func Hints(loaded *ruleset.Loaded) []diag.Diagnostic {
	c := newChecker(loaded, nil)
	c.families()
	return diag.Sort(c.found)
}

func newChecker(loaded *ruleset.Loaded, spoken Spoken) *checker {
	c := &checker{loaded: loaded, set: loaded.Set, written: writtenIn(loaded), universe: universeOf(loaded.Set), spoken: spoken, dead: map[string]bool{}}
	all := loaded.Set.Rules()
	for i := range all {
		c.spaces = append(c.spaces, c.universe.spaceOf(&all[i]))
	}
	return c
}

type checker struct {
	loaded   *ruleset.Loaded
	set      *rules.Set
	written  *written
	universe *universe
	spoken   Spoken
	spaces   []*space
	dead     map[string]bool
	found    []diag.Diagnostic
}

func (c *checker) report(d diag.Diagnostic) { c.found = append(c.found, d) }

// vote returns the place of a rule's vote on a move.
func (c *checker) vote(id, move string) source.Span {
	return c.written.value(c.loaded, id, "vote", move)
}

// order tells which of two rules comes later: in a file loaded later, or further
// down in the same file.
func (c *checker) order(a, b *rules.Rule) int {
	at := func(r *rules.Rule) (int, int) {
		p := c.loaded.Place(r.ID)
		return slices.IndexFunc(c.loaded.Files, func(f ruleset.File) bool { return f.Source == p.File }), p.Start
	}
	fa, oa := at(a)
	fb, ob := at(b)
	return cmp.Or(cmp.Compare(fa, fb), cmp.Compare(oa, ob))
}

// mostNamed is how many other rules a finding names.
const mostNamed = 3

// contradictions reports, for each rule and move, the earlier rules that want the
// opposite of it.
func (c *checker) contradictions() {
	inOrder := slices.Clone(c.spaces)
	slices.SortFunc(inOrder, func(a, b *space) int { return c.order(a.rule, b.rule) })
	for i, s := range inOrder {
		for _, v := range s.rule.Votes {
			var against []*space
			var where rules.Facts
			for _, o := range inOrder[:i] {
				w := voteOn(o.rule, v.Move)
				if w == nil || (w.Amount > 0) == (v.Amount > 0) {
					continue
				}
				f, ok := c.universe.meet(o, s, true)
				if !ok || narrower(s, o) || narrower(o, s) || !sameCase(s, o) && c.explained(f, v.Move) {
					continue
				}
				if len(against) == 0 {
					where = f
				}
				against = append(against, o)
			}
			if len(against) == 0 {
				continue
			}
			m := c.move(v.Move)
			who := against[0].rule.ID + " wants " + wish(m, -v.Amount)
			if n := len(against); n > 1 {
				who = fmt.Sprintf("%d rules want %s", n, wish(m, -v.Amount))
			}
			d := diag.Warnf(Contradicting, c.vote(s.rule.ID, v.Move), "%s wants %s where %s: both hold for %s",
				s.rule.ID, wish(m, v.Amount), who, Describe(c.universe.vocabulary, where))
			for _, o := range against[:min(len(against), mostNamed)] {
				d = d.WithNote(c.vote(o.rule.ID, v.Move), "%s votes %s with confidence %g", o.rule.ID, voteOn(o.rule, v.Move).Text, o.rule.Confidence)
			}
			c.report(d.WithHelp(`add the condition that tells them apart, switch one off with [[change]] and off = true, or give both the same "contested" name`))
		}
	}
}

func voteOn(r *rules.Rule, move string) *rules.Vote {
	for i := range r.Votes {
		if r.Votes[i].Move == move {
			return &r.Votes[i]
		}
	}
	return nil
}

func (c *checker) move(id string) rules.Move { return moveOf(c.universe.vocabulary, id) }

func moveOf(v rules.Vocabulary, id string) rules.Move {
	i := slices.IndexFunc(v.Moves, func(m rules.Move) bool { return m.ID == id })
	return v.Moves[i]
}

// wish says what a vote wants: "more caster".
func wish(m rules.Move, amount float64) string {
	if amount > 0 {
		return m.Increase
	}
	return m.Decrease
}

// sameCase reports whether two rules hold for the same, and neither says that it
// is contested: then no other rules can explain why they disagree.
func sameCase(a, b *space) bool {
	return within(a, b) && within(b, a) && a.rule.Contested == "" && b.rule.Contested == ""
}

// explained reports whether the answer to facts tells that the trade is split on
// a move: rules of both camps of one contested point fire.
func (c *checker) explained(f rules.Facts, move string) bool {
	res, err := c.set.Evaluate(f)
	if err != nil {
		return true // facts that cannot be
	}
	return slices.ContainsFunc(res.Verdicts, func(v rules.Verdict) bool { return v.Move == move && split(v) })
}

func split(v rules.Verdict) bool {
	return slices.ContainsFunc(v.Contested, func(d rules.Dispute) bool { return len(d.Inc) > 0 && len(d.Dec) > 0 })
}

// exceptions reports special cases that lose where they hold.
func (c *checker) exceptions() {
	for _, s := range c.spaces {
		if s.rule.Contested != "" || c.dead[s.rule.ID] {
			continue
		}
		f, ok := c.universe.meet(s, s, true)
		if !ok || len(s.rule.Votes) == 0 {
			continue
		}
		res, err := c.set.Evaluate(f)
		if err != nil {
			continue
		}
		for _, v := range s.rule.Votes {
			i := slices.IndexFunc(res.Verdicts, func(x rules.Verdict) bool { return x.Move == v.Move })
			verdict := res.Verdicts[i]
			if verdict.Direction != 0 && (verdict.Direction > 0) == (v.Amount > 0) {
				continue
			}
			var general []*space
			for _, o := range c.spaces {
				w := voteOn(o.rule, v.Move)
				fires := slices.ContainsFunc(verdict.Fired, func(x rules.Firing) bool { return x.Rule.ID == o.rule.ID })
				if fires && w != nil && (w.Amount > 0) != (v.Amount > 0) && narrower(s, o) {
					general = append(general, o)
				}
			}
			if len(general) == 0 {
				continue
			}
			m := c.move(v.Move)
			answer := "as much speaks for it as against"
			if verdict.Direction != 0 {
				answer = "the answer is still " + wish(m, -v.Amount)
			}
			d := diag.Warnf(Outvoted, c.vote(s.rule.ID, v.Move), "%s is an exception that never wins: for %s %s (belief %.2f against %.2f)",
				s.rule.ID, Describe(c.universe.vocabulary, f), answer, max(verdict.Inc, verdict.Dec), min(verdict.Inc, verdict.Dec))
			for _, o := range general[:min(len(general), mostNamed)] {
				d = d.WithNote(c.vote(o.rule.ID, v.Move), "%s votes %s with confidence %g", o.rule.ID, voteOn(o.rule, v.Move).Text, o.rule.Confidence)
			}
			c.report(d.WithHelp("give it more confidence than the rules against it have together, or keep them away from this case"))
		}
	}
}

// families reports rules that another one of their family always outdoes.
func (c *checker) families() {
	for _, s := range c.spaces {
		r := s.rule
		if r.Family == "" || r.Contested != "" || len(r.Votes) == 0 || len(r.Checks)+len(r.Leave) > 0 || c.dead[r.ID] {
			continue
		}
		var mates []*space
		covered := 0
		for _, v := range r.Votes {
			for _, o := range c.spaces {
				w := voteOn(o.rule, v.Move)
				if o != s && o.rule.Family == r.Family && w != nil && (w.Amount > 0) == (v.Amount > 0) && outdoes(o, s) {
					mates, covered = append(mates, o), covered+1
					break
				}
			}
		}
		if covered < len(r.Votes) {
			continue
		}
		d := diag.Warnf(NeverCounts, c.loaded.Place(r.ID), "%s never counts: %s of the same family holds whenever it does, with confidence %g against %g",
			r.ID, mates[0].rule.ID, mates[0].rule.Confidence, r.Confidence)
		for _, o := range mates {
			d = d.WithNote(c.loaded.Place(o.rule.ID), "%s", o.rule.ID)
		}
		c.report(d.WithHelp("give it more confidence, or another family, or remove it"))
	}
}

// outdoes reports whether a has at least the support of b whenever b fires.
func outdoes(a, b *space) bool {
	wa, wb := a.rule.When, b.rule.When
	return (a.rule.Confidence > b.rule.Confidence || a.rule.Confidence == b.rule.Confidence && a.rule.ID < b.rule.ID) &&
		within(b, a) && subset(wa.Without, wb.Without) && atLeast(a.track, b.track) && atLeast(a.grip, b.grip) && atLeast(a.tyres, b.tyres)
}

func atLeast(a, b []float64) bool {
	for i := range a {
		if a[i] < b[i] {
			return false
		}
	}
	return true
}

// mostUnanswered is how many symptoms are reported one by one; more are taken for
// a file that is only a part of a set.
const mostUnanswered = 5

// vocabulary reports symptoms that nothing answers and words that nobody says.
func (c *checker) vocabulary() {
	v := c.universe.vocabulary
	var unanswered []diag.Diagnostic
	var names []string
	for _, w := range v.Symptoms {
		answered := slices.ContainsFunc(c.spaces, func(s *space) bool {
			says := len(s.rule.Votes) > 0
			if w.CheckFirst {
				says = len(s.rule.Checks) > 0
			}
			return says && !c.dead[s.rule.ID] && (len(s.rule.When.Symptom) == 0 || slices.Contains(s.rule.When.Symptom, w.ID))
		})
		if !answered {
			what := "votes for a move"
			if w.CheckFirst {
				what = "names a check"
			}
			names = append(names, w.ID)
			unanswered = append(unanswered, diag.Warnf(Unanswered, c.word("symptom", w.ID), "no rule that asks for the symptom %q %s", w.ID, what))
		}
		c.said("symptom", w.ID, c.word("symptom", w.ID))
	}
	if len(names) > mostUnanswered {
		last := c.loaded.Files[len(c.loaded.Files)-1]
		unanswered = []diag.Diagnostic{diag.Warnf(Unanswered, last.Source.Start(), "no rule answers %d of %d symptoms: %s", len(names), len(v.Symptoms), strings.Join(names, ", ")).
			WithHelp("if this file is a part of a set, check the file that extends all its parts")}
	}
	c.found = append(c.found, unanswered...)
	for _, t := range v.Tracks {
		c.said("track", t.ID, c.word("track", t.ID))
	}
	for key, s := range map[string]rules.Scale{"grip": v.Grip, "tyres": v.Tyres} {
		for _, w := range s.Words {
			c.said(key, w.Word, c.word("scale", key, w.Word))
		}
	}
}

func (c *checker) said(key, word string, at source.Span) {
	if can, known := c.spoken[key]; known && !can[word] {
		c.report(diag.Warnf(Unspoken, at, "no phrase of the word files stands for the %s %q", strings.TrimSuffix(key, "s"), word).
			WithHelp("add a phrase for it to a word file; until then it has to be given by its name"))
	}
}

// word returns the place where a word is defined.
func (c *checker) word(path ...string) source.Span {
	for _, f := range c.loaded.Files {
		n := f.Source.Root()
		for _, p := range path {
			n = n.Entry(p)
		}
		if n != nil {
			return n.Key
		}
	}
	return c.loaded.Files[0].Source.Start()
}

// idleChanges reports changes of rules that are switched off.
func (c *checker) idleChanges() {
	for _, ch := range c.written.changes {
		if c.set.Rule(ch.rule) != nil {
			continue
		}
		var keys []*source.Node
		off := false
		for _, e := range ch.node.Nodes() {
			switch {
			case e.Name == "off" && e.Value.Text() == "true":
				off = true
			case e.Name != "rule" && e.Name != "off":
				keys = append(keys, e)
			}
		}
		// switched off elsewhere, or here and changed as well
		for _, k := range keys {
			d := diag.Warnf(IdleChange, k.Key, "%s has no effect: the rule %s is switched off", k.Name, ch.rule)
			if off {
				d = d.WithNote(ch.node.Entry("off").Key, "it is switched off here")
			}
			c.report(d)
		}
	}
}
