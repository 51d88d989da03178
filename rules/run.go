package rules

import (
	"fmt"
	"math"
	"math/bits"
	"slices"
)

// Compiled is facts made ready for a set and the sets made from it by
// WithLearned. It never changes.
type Compiled struct{ *situation }

type situation struct {
	owner    *compiled
	facts    Facts // settled
	readings []reading
	tracks   []trackGrade
	grip     level
	tyres    level
	cells    []int32 // of the index, each once
	keys     []int32 // of the index, each once
}

// A reading is a symptom that is there.
type reading struct {
	symptom  int32
	phase    uint8 // 0: not said
	corner   uint8
	severity uint8
	grade    float64
	source   int // in Facts.Symptoms
}

type trackGrade struct {
	track int32
	grade float64
}

// A level is a value of a scale with the grade of each word.
type level struct {
	known  uint16 // words whose grade is known
	number bool   // x can be compared with ranges
	x      float64
	glance float32 // x, a NaN without one: it rules out no range
	above0 uint16  // words whose grade is above 0
	words  [maxScaleWords + 1]float64
}

// Compile checks facts against the vocabulary and against each other.
func (s *Set) Compile(f Facts) (Compiled, error) {
	f, err := s.vocabulary.settle(f)
	if err != nil {
		return Compiled{}, err
	}
	c := &situation{owner: s.compiled, facts: f}
	c.cells = append(c.cells, cellOf(anyOf, 0))
	add := func(list []int32, x int32) []int32 {
		if slices.Contains(list, x) {
			return list
		}
		return append(list, x)
	}
	for i, symptom := range f.Symptoms {
		if symptom.Absent {
			continue
		}
		r := reading{
			symptom:  s.symptoms[symptom.ID],
			phase:    wordBit(PhaseWords(), symptom.Phase),
			corner:   wordBit(CornerWords(), symptom.Corner),
			severity: wordBit(SeverityWords(), symptom.Severity),
			source:   i,
		}
		r.grade = s.vocabulary.Severity.grade(int(r.severity))
		c.readings = append(c.readings, r)
		c.cells = add(c.cells, cellOf(r.symptom, 0))
		c.cells = add(c.cells, cellOf(r.symptom, int(r.phase)))
		c.cells = add(c.cells, cellOf(anyOf, int(r.phase)))
	}
	if f.Track != "" {
		id := s.tracks[f.Track]
		c.tracks = append(c.tracks, trackGrade{id, 1})
		for _, as := range s.vocabulary.Tracks[id].CountsAs {
			if as.Track != f.Track {
				c.tracks = append(c.tracks, trackGrade{s.tracks[as.Track], as.Grade})
			}
		}
	}
	c.grip = s.vocabulary.Grip.level(f.Grip, Wet)
	c.tyres = s.vocabulary.Tyres.level(f.Tyres, Wets)
	if f.Wet == No {
		c.grip.known |= 1 << len(s.vocabulary.Grip.Words) // whatever the grip is, it is not "wet"
	}
	wets := []Tri{Unknown}
	if f.Wet != Unknown {
		wets = append(wets, f.Wet)
	}
	for _, w := range wets {
		c.keys = append(c.keys, keyOf(-1, w))
		for _, t := range c.tracks {
			c.keys = add(c.keys, keyOf(t.track, w))
		}
	}
	return Compiled{c}, nil
}

// wordBit returns the bit of a word in a mask, 0 when nothing is said.
func wordBit(words []string, word string) uint8 {
	if said(word) == "" {
		return 0
	}
	return uint8(slices.Index(words, word) + 1)
}

// level grades a value for every word of the scale.
func (s Scale) level(l Level, offScale string) level {
	var out level
	if l.stated() {
		out.known = 1<<(len(s.Words)+1) - 1
	}
	switch {
	case l.IsNumber:
		out.number, out.x = true, l.Number
		for i, w := range s.Words {
			out.words[i] = w.Shape.Grade(l.Number)
		}
	case l.stated():
		out.words[s.word(l.Word, offScale)] = 1
		out.x, out.number = s.Typical(l.Word)
	}
	out.glance = float32(math.NaN())
	if out.number {
		out.glance = float32(out.x)
	}
	for i, g := range out.words {
		if g > 0 {
			out.above0 |= 1 << i
		}
	}
	return out
}

// misses reports whether a condition cannot be met, as far as a glance tells.
func (l *level) misses(g *glance) bool {
	return g.words&l.above0 == 0 && g.words != 1<<16-1 || l.glance < g.low || l.glance > g.high
}

// grade returns the grade to which the gate is open: the least of its conditions.
func (g *gate) grade(c *situation) float64 {
	if g.wet>>c.facts.Wet&1 == 0 {
		return 0
	}
	μ := 1.0
	if g.needsReading {
		if μ = g.bestReading(c); μ == 0 {
			return 0
		}
	}
	switch g.track {
	case anyOf:
	case oneOf:
		μ = min(μ, g.lists.track.grade(c.tracks))
	default:
		μ = min(μ, gradeOf(c.tracks, g.track))
	}
	if μ == 0 {
		return 0
	}
	if g.grip.asked {
		if μ = min(μ, g.grip.grade(&c.grip)); μ == 0 {
			return 0
		}
	}
	if g.tyres.asked {
		if μ = min(μ, g.tyres.grade(&c.tyres)); μ == 0 {
			return 0
		}
	}
	if g.lists != nil {
		for _, s := range g.lists.with {
			μ = min(μ, reported(c, s))
		}
		for _, s := range g.lists.without {
			if reported(c, s) > 0 {
				return 0
			}
		}
	}
	return μ
}

// bestReading returns the best grade of a reading that carries the rule.
func (g *gate) bestReading(c *situation) float64 {
	best := 0.0
	for i := range c.readings {
		r := &c.readings[i]
		if r.grade > best && g.phases>>r.phase&1 == 1 && g.corners>>r.corner&1 == 1 &&
			g.severities>>r.severity&1 == 1 && g.names(r.symptom) {
			best = r.grade
		}
	}
	return best
}

func (g *gate) names(symptom int32) bool {
	switch g.symptom {
	case anyOf, symptom:
		return true
	case oneOf:
		return slices.Contains(g.lists.symptoms, symptom)
	}
	return false
}

// reported returns the best grade of a symptom, in any phase and corner.
func reported(c *situation, symptom int32) float64 {
	best := 0.0
	for i := range c.readings {
		if r := &c.readings[i]; r.symptom == symptom {
			best = max(best, r.grade)
		}
	}
	return best
}

// gradeOf returns the grade to which the track is of a kind, 0 if nothing is
// known of the track.
func gradeOf(tracks []trackGrade, id int32) float64 {
	for _, t := range tracks {
		if t.track == id {
			return t.grade
		}
	}
	return 0
}

func (g *trackGate) grade(tracks []trackGrade) float64 {
	best := 0.0
	if len(tracks) == 0 {
		return best
	}
	for _, id := range g.is {
		best = max(best, gradeOf(tracks, id))
	}
	for _, id := range g.not {
		best = max(best, 1-gradeOf(tracks, id))
	}
	return best
}

func (g *levelGate) grade(l *level) float64 {
	best := 0.0
	for m := g.is & l.known; m != 0; m &= m - 1 {
		best = max(best, l.words[bits.TrailingZeros16(m)])
	}
	for m := g.not & l.known; m != 0; m &= m - 1 {
		best = max(best, 1-l.words[bits.TrailingZeros16(m)])
	}
	if l.number {
		for i := range g.ranges {
			best = max(best, g.ranges[i].Grade(l.x))
		}
	}
	return best
}

// A Buffer holds the working memory of Run and its result. The zero value is
// ready for use; it must not be used by two goroutines at once.
type Buffer struct {
	owner    *compiled
	round    uint32
	seen     []uint32 // by place of gate: the round in which it was met
	slots    []slot   // by family, move and side
	touched  []int32
	pools    []pool // by move and side
	verdicts []Verdict
	hits     []hit
}

// A slot holds the strongest ballot of a family for one side of one move.
type slot struct {
	round  uint32
	rule   int32
	ballot int32
	force  force
}

// A force is a support as it is summed up.
type force struct {
	evidence int64  // nano-nats
	weight   uint64 // billionths
}

func forceOf(support float64) force {
	return force{nats(support), uint64(math.Round(support * nano))}
}

// A pool sums up one side of one move. All sums are whole numbers, so their
// order does not matter.
type pool struct {
	evidence int64  // nano-nats
	weight   uint64 // Σ s in billionths
	hi, lo   uint64 // Σ s·|a| in billionths of billionths
	least    float64
	most     float64
}

// A hit is a rule that fired.
type hit struct {
	rule     int32
	grade    float64
	support  float64
	evidence int64
}

func (b *Buffer) prepare(s *Set) {
	if b.owner != s.compiled {
		*b = Buffer{
			owner:    s.compiled,
			seen:     make([]uint32, len(s.rules)),
			slots:    make([]slot, s.slots),
			pools:    make([]pool, len(s.moves)*int(sides)),
			verdicts: make([]Verdict, len(s.moves)),
		}
	}
	b.round++
	if b.round == 0 {
		clear(b.seen)
		clear(b.slots)
		b.round = 1
	}
	b.touched = b.touched[:0]
	b.hits = b.hits[:0]
	clear(b.pools)
	clear(b.verdicts)
}

// Run evaluates compiled facts. The verdicts are those of Evaluate without the
// lists of rules; they belong to the buffer and hold until its next use. Once
// the buffer has served this set, Run does not allocate.
//
// Run panics if the facts were compiled for another set.
func (s *Set) Run(c Compiled, buf *Buffer) []Verdict {
	if c.owner != s.compiled {
		panic("rules: facts compiled for another set")
	}
	return s.run(c.situation, buf, false)
}

// run evaluates with the index; keep makes it collect the hits in the buffer.
func (s *Set) run(c *situation, buf *Buffer, keep bool) []Verdict {
	buf.prepare(s)
	ix := &s.index
	for _, cell := range c.cells {
		groups := ix.groups[ix.cells[cell]:ix.cells[cell+1]]
		if len(groups) == 0 {
			continue
		}
		for _, key := range c.keys {
			g := groupOf(groups, key)
			entries := ix.entries[g.first:g.last]
			for i := range entries {
				if e := &entries[i]; !c.grip.misses(&e.grip) && !c.tyres.misses(&e.tyres) {
					s.try(e.gate, c, buf, keep)
				}
			}
		}
	}
	return s.pool(buf)
}

// scan evaluates without the index: every rule is tried.
func (s *Set) scan(c *situation, buf *Buffer, keep bool) []Verdict {
	buf.prepare(s)
	for i := range s.gates {
		s.try(int32(i), c, buf, keep)
	}
	return s.pool(buf)
}

// try casts the ballots of the rule with the i-th gate if it fires.
func (s *Set) try(i int32, c *situation, buf *Buffer, keep bool) {
	g := &s.gates[i]
	if g.several {
		if buf.seen[i] == buf.round {
			return
		}
		buf.seen[i] = buf.round
	}
	μ := g.grade(c)
	if μ == 0 {
		return
	}
	st := &s.strength[i]
	f := st.full
	if μ < 1 {
		f = forceOf(support(μ, st.weight))
	}
	if f.evidence == 0 {
		return
	}
	if keep {
		buf.hits = append(buf.hits, hit{g.rule, μ, support(μ, st.weight), f.evidence})
	}
	for v := g.votes[0]; v < g.votes[1]; v++ {
		b := &s.votes[v]
		if b.slot < 0 {
			buf.pools[b.move*int32(sides)+int32(b.side)].add(b, f)
			continue
		}
		sl := &buf.slots[b.slot]
		if sl.round != buf.round {
			*sl = slot{round: buf.round, rule: -1}
			buf.touched = append(buf.touched, b.slot)
		}
		// of equals, the first by ID stands for the family
		if f.evidence > sl.force.evidence || f.evidence == sl.force.evidence && g.rule < sl.rule {
			sl.rule, sl.force, sl.ballot = g.rule, f, v
		}
	}
}

func (p *pool) add(b *ballot, f force) {
	if p.evidence == 0 {
		p.least, p.most = b.amount, b.amount
	}
	p.evidence += f.evidence
	p.weight += f.weight
	hi, lo := bits.Mul64(f.weight, b.size)
	var carry uint64
	p.lo, carry = bits.Add64(p.lo, lo, 0)
	p.hi += hi + carry
	if math.Abs(b.amount) < math.Abs(p.least) {
		p.least = b.amount
	}
	if math.Abs(b.amount) > math.Abs(p.most) {
		p.most = b.amount
	}
}

// amount returns Σ s·a / Σ s (IEC 61131-7, COGS), between the least and the most.
func (p *pool) amount() float64 {
	size := (float64(p.hi)*(1<<64) + float64(p.lo)) / float64(p.weight) / nano
	size = min(math.Abs(p.most), max(math.Abs(p.least), size))
	return math.Copysign(size, p.least)
}

// pool turns ballots into verdicts.
func (s *Set) pool(buf *Buffer) []Verdict {
	for _, i := range buf.touched {
		sl := &buf.slots[i]
		b := &s.votes[sl.ballot]
		buf.pools[b.move*int32(sides)+int32(b.side)].add(b, sl.force)
	}
	for m := range buf.verdicts {
		v := &buf.verdicts[m]
		v.Move = s.vocabulary.Moves[m].ID
		pools := buf.pools[m*int(sides) : (m+1)*int(sides)]
		if pools[leave].evidence > 0 {
			v.Hold = belief(pools[leave].evidence)
		}
		inc, dec := &pools[increase], &pools[decrease]
		if inc.evidence == 0 && dec.evidence == 0 {
			v.Undecided = 1
			continue
		}
		win, lose := inc, dec
		if dec.evidence > inc.evidence {
			win, lose = dec, inc
		}
		// of one belief and its absence, nothing has to be worked out
		more, less := belief(win.evidence), 0.0
		net := more
		if lose.evidence > 0 {
			less, net = belief(lose.evidence), belief(win.evidence-lose.evidence)
		}
		v.For, v.Against, v.Undecided = normalise(more, less, net)
		v.EvidenceInc, v.EvidenceDec = inc.evidence, dec.evidence
		v.Inc, v.Dec, v.Net = more, less, net
		if win == dec {
			v.Inc, v.Dec, v.Net = less, more, -net
		}
		v.Conflict = more * less
		if win.evidence == lose.evidence {
			v.Status = Conflict
			continue
		}
		v.Status = Advice
		v.Direction = 1
		if win == dec {
			v.Direction = -1
		}
		v.Amount, v.Least, v.Most = win.amount(), win.least, win.most
	}
	return buf.verdicts
}

// A Verdict is what the rules say about one move.
type Verdict struct {
	Move        string
	Inc, Dec    float64 // pooled belief in an increase and in a decrease, at least 0, less than 1
	EvidenceInc int64   // the same as evidence, nano-nats
	EvidenceDec int64
	Net         float64 // belief that remains of the stronger side, with its sign
	Conflict    float64 // Inc·Dec: how much the rules contradict each other
	// What is believed for the winning side (increase when they tie), against
	// it and neither, once the conflict is set aside. They add up to 1.
	For, Against, Undecided float64
	Direction               int // +1 increase, −1 decrease, 0 none
	// The mean of the winning side's votes, weighted by support, and the
	// smallest and largest of them; signed, in the move's unit. 0 without a winner.
	Amount, Least, Most float64
	Hold                float64 // pooled belief that the move should be left alone
	Status              Status
	Fired               []Firing  // both sides and the holds, in order of rule ID; nil from Run
	Contested           []Dispute // disputed points among the rules that fired; nil from Run
}

// A Status tells a verdict without evidence from one whose evidence cancels.
type Status uint8

const (
	None     Status = iota // no rule that fired votes for a change of this move
	Advice                 // one direction wins
	Conflict               // there is evidence both ways and it is exactly equal
)

// String returns "none", "advice" or "conflict".
func (s Status) String() string {
	if int(s) < 3 {
		return [...]string{"none", "advice", "conflict"}[s]
	}
	return fmt.Sprintf("status %d", s)
}
