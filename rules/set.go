package rules

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"math/bits"
	"slices"
	"strings"
)

// A Set is a vocabulary and its rules, ready to be evaluated. It never changes
// and may be used by several goroutines at once.
type Set struct {
	*compiled
	learned  []float64  // ℓ by rule
	strength []strength // by place of gate
}

// A strength is what a rule can bring to bear.
type strength struct {
	weight float64 // confidence · ℓ
	full   force   // with every condition met
}

// compiled is what sets with different learned factors share.
//
// Rules have two numbers: their place in order of ID, and the place of their
// gate, which lies near those of rules with the same equality conditions because
// these are tried together. Where nothing is said, the first is meant.
type compiled struct {
	vocabulary Vocabulary
	rules      []Rule // in order of ID
	byID       map[string]int32

	symptoms map[string]int32
	moves    map[string]int32
	tracks   map[string]int32

	gates  []gate
	gateAt []int32     // place of the gate of each rule
	votes  []ballot    // of all rules, in order of gates
	ranges []Trapezoid // likewise
	slots  int         // how many family×move×side there are
	index  index
}

// gate returns the gate of a rule.
func (c *compiled) gate(rule int32) *gate { return &c.gates[c.gateAt[rule]] }

// ballots returns the ballots of a gate.
func (c *compiled) ballots(g *gate) []ballot { return c.votes[g.votes[0]:g.votes[1]] }

// A gate is the conditions of one rule in the form in which they are tested.
// Masks have a bit for each word; bit 0 is "not said".
type gate struct {
	rule         int32
	symptom      int32 // the only symptom asked for, or anyOf, or oneOf
	track        int32 // likewise
	needsReading bool
	several      bool // reachable through several groups of the index
	phases       uint8
	corners      uint8
	severities   uint8
	wet          uint8
	grip, tyres  levelGate
	lists        *lists   // nil for most rules
	votes        [2]int32 // its part of compiled.votes
}

const (
	anyOf int32 = -1 // no condition
	oneOf int32 = -2 // see lists
)

// lists are the conditions that few rules have.
type lists struct {
	symptoms      []int32 // if symptom is oneOf
	with, without []int32
	track         trackGate // if track is oneOf
}

// A levelGate is a condition on a value of a scale.
type levelGate struct {
	asked   bool
	is, not uint16 // words
	ranges  []Trapezoid
}

// A trackGate is a condition on the kind of track.
type trackGate struct{ is, not []int32 }

// A ballot is one vote of one rule.
type ballot struct {
	move   int32
	side   side
	slot   int32   // of its family, −1 without one
	amount float64 // signed, 0 for a vote to leave the move alone
	size   uint64  // |amount| in billionths
}

// A side is what a ballot is cast for.
type side uint8

const (
	increase side = iota
	decrease
	leave
	sides
)

// maxAmount bounds an amount so that its billionths fit an int64.
const maxAmount = 1e9

// New checks rules against a vocabulary and compiles them. The error lists every
// fault it found; the order of rules makes no difference to the set.
func New(v Vocabulary, rules []Rule) (*Set, error) {
	c := &compiled{
		vocabulary: v,
		rules:      slices.Clone(rules),
		byID:       make(map[string]int32, len(rules)),
		symptoms:   make(map[string]int32, len(v.Symptoms)),
		moves:      make(map[string]int32, len(v.Moves)),
		tracks:     make(map[string]int32, len(v.Tracks)),
	}
	slices.SortStableFunc(c.rules, func(a, b Rule) int { return cmp.Compare(a.ID, b.ID) })

	p := &problems{}
	c.intern(p)
	drafts := make([]draft, len(c.rules))
	slots := map[string]int32{}
	for i := range c.rules {
		p.where = fmt.Sprintf("rule %q", c.rules[i].ID)
		if _, twice := c.byID[c.rules[i].ID]; twice {
			p.add("the id is used twice")
		}
		c.byID[c.rules[i].ID] = int32(i)
		drafts[i] = c.draft(int32(i), slots, p)
	}
	if err := errors.Join(p.errs...); err != nil {
		return nil, err
	}
	c.slots = len(slots)
	c.arrange(drafts)
	s := &Set{compiled: c}
	return s.WithLearned(nil), nil
}

// problems collects what is wrong with a vocabulary and its rules.
type problems struct {
	where string
	errs  []error
}

func (p *problems) add(format string, args ...any) {
	p.errs = append(p.errs, fmt.Errorf("%s: %s", p.where, fmt.Sprintf(format, args...)))
}

// intern numbers the words of the vocabulary.
func (c *compiled) intern(p *problems) {
	p.where = "vocabulary"
	number := func(ids map[string]int32, kind, id string) {
		if id == "" {
			p.add("a %s has no name", kind)
		}
		if _, twice := ids[id]; twice {
			p.add("%s %q is defined twice", kind, id)
		}
		ids[id] = int32(len(ids))
	}
	for _, s := range c.vocabulary.Symptoms {
		number(c.symptoms, "symptom", s.ID)
	}
	for _, m := range c.vocabulary.Moves {
		number(c.moves, "move", m.ID)
	}
	for _, t := range c.vocabulary.Tracks {
		number(c.tracks, "track", t.ID)
	}
	for _, t := range c.vocabulary.Tracks {
		for _, as := range t.CountsAs {
			if _, known := c.tracks[as.Track]; !known {
				p.add("track %q counts as %q, which is not a track", t.ID, as.Track)
			}
			if !(as.Grade > 0 && as.Grade <= 1) {
				p.add("track %q counts as %q to the grade %v, which is not above 0 and at most 1", t.ID, as.Track, as.Grade)
			}
		}
	}
	for _, l := range []struct {
		name, off string
		scale     Scale
	}{{"grip", Wet, c.vocabulary.Grip}, {"tyres", Wets, c.vocabulary.Tyres}} {
		if len(l.scale.Words) > maxScaleWords {
			p.add("the scale of %s has %d words, more than %d", l.name, len(l.scale.Words), maxScaleWords)
		}
		for i, w := range l.scale.Words {
			if w.Word == "" || w.Word == Any || l.scale.word(w.Word, l.off) != i {
				p.add("the scale of %s cannot have the word %q here", l.name, w.Word)
			}
			if !w.Shape.valid() {
				p.add("%s %q is %v; its four numbers have to rise", l.name, w.Word, w.Shape)
			}
		}
	}
	if s := c.vocabulary.Severity; s != (SeverityScale{}) {
		for _, g := range []float64{s.Slight, s.Normal, s.Strong} {
			if !(g > 0 && g <= 1) {
				p.add("the severity grade %v is not above 0 and at most 1", g)
			}
		}
	}
}

// A draft is a rule's gate before it has its place.
type draft struct {
	gate
	lists
	ballots []ballot
}

// draft checks rule i and compiles it.
func (c *compiled) draft(i int32, slots map[string]int32, p *problems) draft {
	r := &c.rules[i]
	d := draft{gate: gate{rule: i, symptom: anyOf, track: anyOf}}
	if r.ID == "" {
		p.add("a rule needs an id")
	}
	if !(r.Confidence > 0 && r.Confidence <= 1) {
		p.add("confidence %v is not above 0 and at most 1", r.Confidence)
	}
	if len(r.Votes)+len(r.Leave)+len(r.Checks) == 0 {
		p.add("it has neither a vote, nor a move to leave, nor a check")
	}

	w := &r.When
	d.symptoms = c.ids(c.symptoms, "symptom", w.Symptom, p)
	d.with = c.ids(c.symptoms, "symptom", w.With, p)
	d.without = c.ids(c.symptoms, "symptom", w.Without, p)
	switch len(d.symptoms) {
	case 0:
	case 1:
		d.symptom = d.symptoms[0]
	default:
		d.symptom = oneOf
	}
	d.phases = mask(w.Phase, "phase", PhaseWords(), p)
	d.corners = mask(w.Corner, "corner", CornerWords(), p)
	d.severities = mask(w.Severity, "severity", SeverityWords(), p)
	d.needsReading = len(w.Symptom) > 0 || d.phases&1 == 0 || d.corners&1 == 0 || d.severities&1 == 0
	d.lists.track = c.trackGate(w.Track, p)
	switch tr := &d.lists.track; {
	case len(tr.is) == 1 && tr.not == nil:
		d.gate.track = tr.is[0]
	case tr.is != nil || tr.not != nil:
		d.gate.track = oneOf
	}
	d.grip = scaleGate(w.Grip, "grip", Wet, c.vocabulary.Grip, p)
	d.tyres = scaleGate(w.Tyres, "tyres", Wets, c.vocabulary.Tyres, p)
	d.wet = 1<<Unknown | 1<<No | 1<<Yes
	if w.Wet != Unknown {
		d.wet = 1 << w.Wet
	}

	cast := func(name string, sd side, amount float64) {
		m, known := c.moves[name]
		if !known {
			p.add("%q is not a move", name)
			return
		}
		for _, b := range d.ballots {
			if b.move == m {
				p.add("it says two things about %s", name)
			}
		}
		b := ballot{move: m, side: sd, slot: -1, amount: amount, size: uint64(math.Round(math.Abs(amount) * nano))}
		if r.Family != "" {
			key := fmt.Sprint(r.Family, "\x00", m, sd)
			slot, known := slots[key]
			if !known {
				slot = int32(len(slots))
				slots[key] = slot
			}
			b.slot = slot
		}
		d.ballots = append(d.ballots, b)
	}
	for _, v := range r.Votes {
		if !(math.Abs(v.Amount) >= 1/nano && math.Abs(v.Amount) <= maxAmount) {
			p.add("the vote on %s has the amount %v, which is no change", v.Move, v.Amount)
			continue
		}
		sd := increase
		if v.Amount < 0 {
			sd = decrease
		}
		cast(v.Move, sd, v.Amount)
	}
	for _, m := range r.Leave {
		cast(m, leave, 0)
	}
	return d
}

func (c *compiled) ids(known map[string]int32, kind string, names []string, p *problems) []int32 {
	var out []int32
	for _, n := range names {
		id, ok := known[n]
		if !ok {
			p.add("%q is not a %s", n, kind)
		}
		out = append(out, id)
	}
	return out
}

// mask turns terms over fixed words into a mask: bit i+1 for word i, bit 0 for
// "not said". No terms, or the word "any" among them, let everything pass.
func mask(terms Terms, kind string, words []string, p *problems) uint8 {
	const everything = 1<<8 - 1
	n := len(words)
	if words[n-1] == Any {
		n--
	}
	all := uint8(1<<n-1) << 1
	var m uint8
	for _, t := range terms {
		switch i := slices.Index(words[:n], t.Word); {
		case t.Range != nil:
			p.add("the condition on %s cannot be a range of numbers", kind)
		case t.Word == Any && n < len(words) && !t.Not:
			m = everything
		case i < 0:
			p.add("%q is not a %s", t.Word, kind)
		case t.Not:
			m |= all &^ (1 << (i + 1))
		default:
			m |= 1 << (i + 1)
		}
	}
	if len(terms) == 0 {
		return everything
	}
	return m
}

// trackGate returns an empty gate for terms that any track meets.
func (c *compiled) trackGate(terms Terms, p *problems) trackGate {
	var g trackGate
	for _, t := range terms {
		id, known := c.tracks[t.Word]
		switch {
		case t.Range != nil:
			p.add("the condition on track cannot be a range of numbers")
		case t.Word == Any && !t.Not:
			return trackGate{}
		case !known:
			p.add("%q is not a track", t.Word)
		case t.Not:
			g.not = append(g.not, id)
		default:
			g.is = append(g.is, id)
		}
	}
	return g
}

func scaleGate(terms Terms, kind, offScale string, s Scale, p *problems) levelGate {
	var g levelGate
	for _, t := range terms {
		switch i := s.word(t.Word, offScale); {
		case t.Range != nil && (t.Word != "" || t.Not || !t.Range.valid()):
			p.add("the range %v of %s has to be four rising numbers", t, kind)
		case t.Range != nil:
			g.ranges = append(g.ranges, *t.Range)
		case t.Word == Any && !t.Not:
			return levelGate{}
		case i < 0:
			p.add("%q is not a word for %s", t.Word, kind)
		case t.Not:
			g.not |= 1 << i
		default:
			g.is |= 1 << i
		}
		g.asked = true
	}
	return g
}

// WithLearned returns a set with the same rules whose supports are multiplied by
// the learned factors ℓ given by rule ID. A rule that is not named has 1; a
// factor outside 0 to 1 counts as the nearer end, and a NaN as 1. IDs of rules
// that the set does not have are ignored.
func (s *Set) WithLearned(learned map[string]float64) *Set {
	t := &Set{
		compiled: s.compiled,
		learned:  make([]float64, len(s.rules)),
		strength: make([]strength, len(s.rules)),
	}
	for i := range s.rules {
		t.learned[i] = 1
		if l, ok := learned[s.rules[i].ID]; ok && !math.IsNaN(l) {
			t.learned[i] = min(1, max(0, l))
		}
		w := s.rules[i].Confidence * t.learned[i]
		t.strength[s.gateAt[i]] = strength{w, forceOf(support(1, w))}
	}
	return t
}

// Rules returns the rules in order of ID. The caller must not change them.
func (s *Set) Rules() []Rule { return s.rules }

// Rule returns the rule with an ID, or nil.
func (s *Set) Rule(id string) *Rule {
	if i, ok := s.byID[id]; ok {
		return &s.rules[i]
	}
	return nil
}

// Learned returns the learned factor ℓ of a rule, 1 for one that is not known.
func (s *Set) Learned(id string) float64 {
	if i, ok := s.byID[id]; ok {
		return s.learned[i]
	}
	return 1
}

// Vocabulary returns the words of the set. The caller must not change them.
func (s *Set) Vocabulary() Vocabulary { return s.vocabulary }

// An index finds the rules whose equality conditions (symptom, phase, track,
// wet) can be met. A cell stands for a symptom and a phase, "any" being one of
// each; its groups are sorted by key, which joins track and wet.
type index struct {
	cells   []int32 // first group of each cell, and the end
	groups  []group
	entries []entry
}

type group struct {
	key   int32
	first int32 // in index.entries
	last  int32
}

// An entry is a gate and what tells at a glance that its conditions on scales
// cannot be met. The entries of a group lie side by side in memory.
type entry struct {
	gate        int32
	grip, tyres glance
}

// A glance is what a condition on a scale can be met by: one of the words, if
// there is a mask, and a number from low to high.
type glance struct {
	words     uint16
	low, high float32
}

// glanceOf returns a glance that never rules out what the gate lets pass.
func glanceOf(g *levelGate) glance {
	everything := glance{1<<16 - 1, float32(math.Inf(-1)), float32(math.Inf(1))}
	switch {
	case !g.asked || g.not != 0 || g.is != 0 && len(g.ranges) > 0:
		return everything
	case len(g.ranges) == 0:
		return glance{g.is, everything.low, everything.high}
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, r := range g.ranges {
		low, high = min(low, r[0]), max(high, r[3])
	}
	return glance{everything.words, math.Nextafter32(float32(low), everything.low), math.Nextafter32(float32(high), everything.high)}
}

// phaseCells is the number of cells of a symptom: any phase, then the phases.
const phaseCells = 6

// cellOf returns the cell of a symptom (anyOf for any) and a phase (0 for any).
func cellOf(symptom int32, phase int) int32 { return (symptom+1)*phaseCells + int32(phase) }

// keyOf returns the key of a track (−1 for any) and wet (Unknown for any).
func keyOf(track int32, wet Tri) int32 { return (track+1)*3 + int32(wet) }

// A location is a group of the index that a rule belongs to.
type location struct{ cell, key, rule int32 }

// arrange gives the gates their places and builds the index.
func (c *compiled) arrange(drafts []draft) {
	var all []location
	for i := range drafts {
		d := &drafts[i]
		before := len(all)
		all = d.locate(all, len(c.vocabulary.Grip.Words))
		d.several = len(all)-before > 1
	}
	slices.SortFunc(all, func(a, b location) int {
		return cmp.Or(cmp.Compare(a.cell, b.cell), cmp.Compare(a.key, b.key), cmp.Compare(a.rule, b.rule))
	})
	all = slices.Compact(all)

	c.gateAt = slices.Repeat([]int32{-1}, len(drafts))
	c.gates = make([]gate, 0, len(drafts))
	ranges := 0
	for i := range drafts {
		ranges += len(drafts[i].grip.ranges) + len(drafts[i].tyres.ranges)
	}
	c.ranges = make([]Trapezoid, 0, ranges) // gates keep parts of it: it must not move
	for _, l := range all {
		if c.gateAt[l.rule] < 0 {
			c.gateAt[l.rule] = int32(len(c.gates))
			c.gates = append(c.gates, c.place(&drafts[l.rule]))
		}
	}
	c.index = c.buildIndex(all)
}

// locate appends the groups that a rule belongs to.
func (d *draft) locate(all []location, offScale int) []location {
	symptoms := d.symptoms
	if len(symptoms) == 0 {
		symptoms = []int32{anyOf}
	}
	var phases []int
	if d.phases&1 != 0 {
		phases = []int{0}
	} else {
		for m := d.phases; m != 0; m &= m - 1 {
			phases = append(phases, bits.TrailingZeros8(m))
		}
	}
	// A negated track is met by tracks that are not named: the rule goes
	// with those that take any track, and its gate looks closer.
	tracks := d.lists.track.is
	if len(tracks) == 0 || len(d.lists.track.not) > 0 {
		tracks = []int32{anyOf}
	}
	wet := d.impliedWet(offScale)
	for _, s := range symptoms {
		for _, ph := range phases {
			for _, t := range tracks {
				all = append(all, location{cellOf(s, ph), keyOf(t, wet), d.rule})
			}
		}
	}
	return all
}

// place returns the gate of a draft, with its ballots and ranges put behind those
// of the gates before it.
func (c *compiled) place(d *draft) gate {
	g := d.gate
	if g.symptom == oneOf || g.track == oneOf || d.with != nil || d.without != nil {
		l := d.lists
		g.lists = &l
	}
	for _, l := range []*levelGate{&g.grip, &g.tyres} {
		start := len(c.ranges)
		c.ranges = append(c.ranges, l.ranges...)
		l.ranges = c.ranges[start:len(c.ranges):len(c.ranges)]
	}
	g.votes[0] = int32(len(c.votes))
	c.votes = append(c.votes, d.ballots...)
	g.votes[1] = int32(len(c.votes))
	return g
}

func (c *compiled) buildIndex(all []location) index {
	ix := index{cells: make([]int32, int(cellOf(int32(len(c.symptoms)), 0))+1), entries: make([]entry, len(all))}
	cell := int32(0)
	for i, l := range all {
		g := c.gate(l.rule)
		ix.entries[i] = entry{c.gateAt[l.rule], glanceOf(&g.grip), glanceOf(&g.tyres)}
		if i == 0 || all[i-1].cell != l.cell || all[i-1].key != l.key {
			for ; cell <= l.cell; cell++ {
				ix.cells[cell] = int32(len(ix.groups))
			}
			ix.groups = append(ix.groups, group{key: l.key, first: int32(i)})
		}
		ix.groups[len(ix.groups)-1].last = int32(i) + 1
	}
	for ; int(cell) < len(ix.cells); cell++ {
		ix.cells[cell] = int32(len(ix.groups))
	}
	return ix
}

// impliedWet returns what the track has to be for the gate to open: a rule for a
// grip of the scale is a rule for a dry track.
func (g *gate) impliedWet(offScale int) Tri {
	wetBit := uint16(1) << offScale
	switch {
	case g.wet == 1<<No:
		return No
	case g.wet == 1<<Yes:
		return Yes
	case !g.grip.asked || g.grip.not&^wetBit != 0 || (g.grip.not != 0 && g.grip.is&wetBit != 0):
		return Unknown
	case g.grip.is == wetBit && g.grip.not == 0 && len(g.grip.ranges) == 0:
		return Yes
	case g.grip.is&wetBit == 0:
		return No
	}
	return Unknown
}

// groupOf returns the group with a key among those of a cell, or an empty one.
func groupOf(groups []group, key int32) group {
	if len(groups) > 8 {
		i, found := slices.BinarySearchFunc(groups, key, func(g group, key int32) int { return cmp.Compare(g.key, key) })
		if !found {
			return group{}
		}
		return groups[i]
	}
	for _, g := range groups {
		if g.key == key {
			return g
		}
	}
	return group{}
}

// join writes words as "a, b or c".
func join(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " or " + words[len(words)-1]
}
