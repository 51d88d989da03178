package author

import (
	"math"
	"reflect"
	"slices"

	"kartwright/rules"
)

// A Kind is how two answers about one move differ.
type Kind uint8

// The kinds, the weightier ones first.
const (
	Turned    Kind = iota // from one direction to the other
	NewAnswer             // only the second set proposes the move
	NoAnswer              // only the first set does
	Amount                // both propose the same direction, by another amount
	Belief                // and the same amount, but one is surer by more than BeliefStep
)

// String returns "turned", "new", "gone", "amount" or "belief".
func (k Kind) String() string { return [...]string{"turned", "new", "gone", "amount", "belief"}[k] }

// BeliefStep is the difference in belief from which two answers differ.
const BeliefStep = 0.05

// amountStep is the difference, in the unit of a move, from which two amounts
// differ: half of the last decimal that is printed.
const amountStep = 0.0005

// A Difference is one move about which two sets answer one situation differently.
type Difference struct {
	Kind     Kind
	Move     rules.Move
	Facts    rules.Facts
	Was, Now rules.Verdict
}

// A Comparison is how the answers of two sets differ.
type Comparison struct {
	OnlyA, OnlyB, Changed []string // IDs of rules, in order
	Situations            int      // that were compared
	Differing             int      // situations with a difference
	Differences           []Difference
	Count                 [5]int // of Differences, by Kind

	bufA, bufB rules.Buffer
}

// Compare compares the answers of two sets to every symptom that both know, in
// each phase that either lists for it, under every kind of track, word of grip
// and word of tyres, each also not stated; and to the complaints with more than
// one symptom that a rule asks for which is not the same in both. A move that
// only one set knows counts as not proposed by the other.
func Compare(a, b *rules.Set) Comparison {
	var c Comparison
	va, vb := a.Vocabulary(), b.Vocabulary()
	complaints := c.rules(a, b)
	for _, w := range va.Symptoms {
		i := slices.IndexFunc(vb.Symptoms, func(x rules.SymptomWord) bool { return x.ID == w.ID })
		if i < 0 {
			continue
		}
		for _, p := range rules.PhaseWords() {
			if p == rules.Any || slices.Contains(w.Phases, p) || slices.Contains(vb.Symptoms[i].Phases, p) {
				complaints = append(complaints, []rules.Symptom{{ID: w.ID, Phase: p}})
			}
		}
	}
	tracks := []string{""}
	for _, t := range va.Tracks {
		if slices.ContainsFunc(vb.Tracks, func(x rules.Track) bool { return x.ID == t.ID }) {
			tracks = append(tracks, t.ID)
		}
	}
	common := func(x, y []string) []string {
		out := []string{""}
		for _, w := range x {
			if slices.Contains(y, w) {
				out = append(out, w)
			}
		}
		return out
	}
	s := Survey{
		Tracks: tracks,
		Grip:   common(scaleWords(va.Grip, rules.Wet), scaleWords(vb.Grip, rules.Wet)),
		Tyres:  common(scaleWords(va.Tyres, rules.Wets), scaleWords(vb.Tyres, rules.Wets)),
	}
	seen := map[string]bool{}
	for _, complaint := range complaints {
		s.each(func(track, grip, tyres string) {
			f := rules.Facts{Symptoms: complaint, Track: track, Grip: rules.Level{Word: grip}, Tyres: rules.Level{Word: tyres}}
			if key := Describe(va, f); !seen[key] {
				seen[key] = true
				c.situation(a, b, f)
			}
		})
	}
	slices.SortStableFunc(c.Differences, func(x, y Difference) int { return int(x.Kind) - int(y.Kind) })
	return c
}

// rules compares the rules, and returns complaints of more than one symptom, or
// with a kind of corner or a severity, that those ask for which differ.
func (c *Comparison) rules(a, b *rules.Set) [][]rules.Symptom {
	var out [][]rules.Symptom
	note := func(set *rules.Set, r *rules.Rule) {
		u := universeOf(set)
		one := u.spaceOf(r)
		if f, ok := u.meet(one, one, false); ok && len(f.Symptoms) > 0 {
			out = append(out, f.Symptoms)
		}
	}
	for i := range a.Rules() {
		r := &a.Rules()[i]
		other := b.Rule(r.ID)
		switch {
		case other == nil:
			c.OnlyA = append(c.OnlyA, r.ID)
			note(a, r)
		case !sameRule(*r, *other):
			c.Changed = append(c.Changed, r.ID)
			note(a, r)
			note(b, other)
		}
	}
	for i := range b.Rules() {
		if r := &b.Rules()[i]; a.Rule(r.ID) == nil {
			c.OnlyB = append(c.OnlyB, r.ID)
			note(b, r)
		}
	}
	return out
}

func sameRule(a, b rules.Rule) bool {
	a.Place, b.Place = "", ""
	return reflect.DeepEqual(a, b)
}

func (c *Comparison) situation(a, b *rules.Set, f rules.Facts) {
	fa, err := a.Compile(f)
	if err != nil {
		return // facts that only one set knows the words for
	}
	fb, err := b.Compile(f)
	if err != nil {
		return
	}
	ra, rb := a.Run(fa, &c.bufA), b.Run(fb, &c.bufB)
	c.Situations++
	before := len(c.Differences)
	verdict := func(list []rules.Verdict, move string) rules.Verdict {
		for _, v := range list {
			if v.Move == move {
				return v
			}
		}
		return rules.Verdict{Move: move}
	}
	add := func(m rules.Move) {
		va, vb := verdict(ra, m.ID), verdict(rb, m.ID)
		if k, differ := kindOf(va, vb); differ {
			c.Count[k]++
			c.Differences = append(c.Differences, Difference{k, m, f, va, vb})
		}
	}
	for _, m := range a.Vocabulary().Moves {
		add(m)
	}
	for _, m := range b.Vocabulary().Moves {
		if !slices.ContainsFunc(a.Vocabulary().Moves, func(x rules.Move) bool { return x.ID == m.ID }) {
			add(m)
		}
	}
	if len(c.Differences) > before {
		c.Differing++
	}
}

func kindOf(a, b rules.Verdict) (Kind, bool) {
	switch sa, sb := Stance(a), Stance(b); {
	case sa == -sb && sa != 0:
		return Turned, true
	case sa == 0 && sb != 0:
		return NewAnswer, true
	case sa != 0 && sb == 0:
		return NoAnswer, true
	case sa == 0:
		return 0, false
	case math.Abs(a.Amount-b.Amount) >= amountStep:
		return Amount, true
	case math.Abs(a.Net-b.Net) > BeliefStep:
		return Belief, true
	}
	return 0, false
}

// Of returns the comparison with the differences about some moves only.
func (c Comparison) Of(moves []string) Comparison {
	all := c.Differences
	c.Differences, c.Count, c.Differing = nil, [5]int{}, 0
	seen := map[string]bool{}
	for _, d := range all {
		if !slices.Contains(moves, d.Move.ID) {
			continue
		}
		c.Differences = append(c.Differences, d)
		c.Count[d.Kind]++
		if key := Describe(rules.Vocabulary{}, d.Facts); !seen[key] {
			seen[key] = true
			c.Differing++
		}
	}
	return c
}
