package complaint

import "slices"

// A where is a place, or several: "entry", "mid to exit", "the slow ones".
type where struct {
	phase  phases
	corner corner
	speed  corner
	side   side
}

// A group is a where with the words that say it.
type group struct {
	where
	hits     []int
	from, to int
	mainly   bool // "especially", "only"
	listed   bool // its phases were said one by one: "entry and exit", "mid to exit"
}

// wheres returns the groups of places of a clause, in order.
func (r *reader) wheres(c int) []group {
	var out []group
	mainly := false
	for _, n := range r.clauses[c].hits {
		h := &r.hits[n]
		if h.role == roleMainly || h.role == roleOnly {
			mainly = true
		}
		if b := n - 1; b >= 0 && r.hits[b].role == roleBefore && r.words(r.hits[b].to, h.from) == 0 && r.sameClause(b, n) {
			// "On the brake before the hairpin" is at the hairpin.
			k := len(out) - 1
			if k < 0 || out[k].phase != braking || h.phase != 0 || h.corner == 0 || r.words(out[k].to, r.hits[b].from) > 0 {
				continue
			}
		}
		if h.symptom != 0 && h.instead == 0 || h.either || h.phase == 0 && h.corner == 0 && h.speed == 0 && h.side == 0 {
			continue
		}
		if k := len(out) - 1; k >= 0 && r.words(out[k].to, h.from) <= r.conjoined(out[k].to, h.from) &&
			(h.corner == 0 || out[k].corner == 0 || h.corner == out[k].corner) {
			w := &out[k]
			if h.phase != 0 && w.phase != 0 && r.conjoined(w.to, h.from) > 0 {
				w.listed = true
			}
			w.phase |= h.phase
			w.corner, w.speed, w.side = max(w.corner, h.corner), max(w.speed, h.speed), max(w.side, h.side)
			w.hits, w.to = append(w.hits, n), h.to
			continue
		}
		out = append(out, group{where: where{h.phase, h.corner, h.speed, h.side},
			hits: []int{n}, from: h.from, to: h.to, mainly: mainly})
		mainly = false
	}
	for k := range out {
		w := &out[k]
		if w.listed {
			continue
		}
		// "braking into the corner" is one place, and so is "out onto the straight".
		if w.phase&braking != 0 && w.phase&entry != 0 {
			w.phase &^= entry
		}
		if w.phase&(exit|braking) != 0 {
			w.phase &^= straight
		}
		if w.phase&mid != 0 {
			w.phase &^= entry // "when I lift mid-corner"
		}
	}
	return out
}

// conjoined counts the words between two tokens that list: or, and, to.
func (r *reader) conjoined(from, to int) int {
	n := 0
	for i := range r.hits {
		if h := &r.hits[i]; h.lists() && h.from >= from && h.to <= to {
			n++
		}
	}
	return n
}

// give gives a place to a mention; what the mention already has stays unless
// replace.
func (r *reader) give(i int, w group, replace bool) {
	m := &r.mentions[i]
	took := false
	if m.symptom == understeer && m.phase == 0 && w.phase == straight {
		m.symptom = wander // a line that is not held on the straight
	}
	if m.symptom == asymmetric {
		w.side = 0
	}
	w.phase &^= elsewhere[m.symptom]
	if w.phase != 0 && (m.phase == 0 || replace) && !m.fixed {
		m.phase, took = w.phase, true
	}
	if w.corner != 0 && (m.corner == 0 || replace) {
		m.corner, took = w.corner, true
	}
	if w.speed != 0 {
		took = true
		if showsOnStraight[m.symptom] {
			if m.phase == 0 && w.speed == fast {
				m.phase = straight
			}
		} else if m.corner == 0 {
			m.corner = w.speed
		}
	}
	if w.side != 0 && (m.side == 0 || replace) {
		m.side, took = w.side, true
	}
	if took {
		for _, n := range w.hits {
			r.took[n] = true
		}
	}
}

var showsOnStraight = map[symptom]bool{wander: true, vibration: true, pull: true, slowStraight: true, darting: true, lightSteering: true}

// swallows lists what is only another way to say a symptom that the sentence names
// too: "over the bumps it skips about", "play: I can wiggle the wheel". Of what is
// not there only the bumps do: "planted over the bumps now, no more skipping about".
var swallows = map[symptom][]symptom{
	bumpUnsettled: {hop, chatter, wander, noGrip},
	play:          {heavySteering, wander},
	noGrip:        {understeer},
	heavySteering: {fade},
	darting:       {wander, hop},
}

func (r *reader) swallow() {
	drop := make([]bool, len(r.mentions))
	for i := range r.mentions {
		m := &r.mentions[i]
		if m.negated && m.symptom != bumpUnsettled {
			continue
		}
		for j := range r.mentions {
			o := &r.mentions[j]
			a, b := min(m.clause, o.clause), max(m.clause, o.clause)
			if o.symptom == fade && a != b {
				continue // what goes off is not the arms: "the fronts go off, and it is heavy"
			}
			if m.symptom == play && o.symptom == wander && o.phase != 0 {
				continue // "there is play in it, it wanders on the straight because of it"
			}
			if o.negated == m.negated && (!m.negated || o.at > m.at && o.phase == 0) && slices.Contains(swallows[m.symptom], o.symptom) && r.clauses[a].sentence == r.clauses[b].sentence && !r.contrast(a, b) {
				drop[j] = true
			}
		}
	}
	// "The front slides, the back slides, all four wheels together."
	for i := range r.mentions {
		m := &r.mentions[i]
		alone := func(o mention, s symptom) bool {
			return o.symptom == s && !o.negated && o.phase == 0 && o.corner == 0 && r.clauses[o.clause].sentence == r.clauses[m.clause].sentence
		}
		if m.symptom != oversteer || !alone(*m, oversteer) {
			continue
		}
		drop[i] = drop[i] || slices.ContainsFunc(r.mentions, func(o mention) bool { return alone(o, understeer) }) &&
			slices.ContainsFunc(r.mentions, func(o mention) bool { return alone(o, noGrip) })
	}
	r.drop(drop)
}

// inherit gives a symptom that was denied or repeated for another corner the phase
// that it was first given.
func (r *reader) inherit() {
	for i := range r.mentions {
		m := &r.mentions[i]
		if m.hit >= 0 || m.phase != 0 || m.corner == 0 {
			continue
		}
		for j := i - 1; j >= 0; j-- {
			if o := &r.mentions[j]; o.symptom == m.symptom && o.phase != 0 && o.phase&(o.phase-1) == 0 {
				m.phase = o.phase
				break
			}
		}
	}
}

// there gives "just understeer there" the place of the symptom before.
func (r *reader) there() {
	for c := range r.clauses {
		if !r.says(c, roleThere) {
			continue
		}
		for _, i := range r.clauses[c].symptoms {
			m := &r.mentions[i]
			if m.phase != 0 || m.corner != 0 {
				continue
			}
			if c > 0 && len(r.clauses[c-1].symptoms) == 0 && r.clauses[c-1].sentence == r.clauses[c].sentence {
				// "Neutral into the corner, no oversteer there."
				if w := r.whereOf(c - 1); w.phase != 0 {
					m.phase, m.corner = w.phase&^elsewhere[m.symptom], w.corner
					continue
				}
			}
			for j := len(r.mentions) - 1; j >= 0; j-- {
				o := &r.mentions[j]
				if o.at < m.at && (o.phase != 0 || o.corner != 0) && r.clauses[m.clause].sentence-r.clauses[o.clause].sentence <= 1 {
					m.phase, m.corner = o.phase&^elsewhere[m.symptom], o.corner
					break
				}
			}
		}
	}
}

// fineThere gives "the exit is perfect now, no more understeer" its place.
func (r *reader) fineThere() {
	for c := 1; c < len(r.clauses); c++ {
		before := &r.clauses[c-1]
		w := r.whereOf(c - 1)
		if !before.fine || !before.change && !r.says(c-1, rolePast) || len(before.symptoms) > 0 || before.sentence != r.clauses[c].sentence || w.phase|phases(w.corner) == 0 || r.clauses[c].lead == leadBut {
			continue
		}
		for _, i := range r.clauses[c].symptoms {
			if m := &r.mentions[i]; m.negated && m.phase == 0 && m.corner == 0 {
				m.phase, m.corner = w.phase&^elsewhere[m.symptom], w.corner
			}
		}
	}
}

// corrected gives both sides of "it is not push in the middle, it is the back that
// slides" the place that one of them names.
func (r *reader) corrected() {
	for c := 1; c < len(r.clauses); c++ {
		before, cl := &r.clauses[c-1], &r.clauses[c]
		if before.sentence != cl.sentence || len(before.symptoms) == 0 || len(cl.symptoms) == 0 || r.says(c, roleNow) || !r.goesOn(c) && cl.lead != leadBut {
			continue
		}
		a, b := &r.mentions[before.symptoms[0]], &r.mentions[cl.symptoms[0]]
		if a.symptom+b.symptom != understeer+oversteer || a.symptom == b.symptom || a.final || b.negated || !a.negated {
			continue
		}
		for _, x := range [][2]*mention{{a, b}, {b, a}} {
			if from, to := x[0], x[1]; to.phase == 0 && to.corner == 0 {
				to.phase, to.corner = from.phase, from.corner
			}
		}
	}
}

// elsewhere lists the parts of a corner that say nothing of a symptom: "the
// middle" of a worn tyre, the play that is felt "on the straight".
var elsewhere = map[symptom]phases{
	wearInner: ^phases(0), wearOuter: ^phases(0), graining: ^phases(0), fade: ^phases(0), play: ^phases(0),
	kickback: ^phases(0), asymmetric: ^phases(0), noGrip: ^phases(0),
	vibration: entry | mid | exit, slowStraight: ^straight, understeer: straight, oversteer: straight,
	wander: entry | mid | exit, pull: entry | mid, overLift: straight | braking, bind: entry | straight | braking,
}

// place gives phases, corners and sides to the mentions.
func (r *reader) place() {
	for i := range r.mentions {
		r.mentions[i].fixed = r.mentions[i].phase != 0
	}
	spread := make(map[int][]group) // by sentence: said before the first symptom
	seen := make(map[int]bool)
	for c := range r.clauses {
		cl := &r.clauses[c]
		if len(cl.symptoms) == 0 || cl.copied {
			continue
		}
		groups := r.wheres(c)
		for _, w := range groups {
			if cl.fine && r.claimed(c, w) {
				continue
			}
			i := r.owner(c, w)
			r.give(i, w, w.mainly)
			if !seen[cl.sentence] && r.mentions[cl.symptoms[0]].at > w.from {
				spread[cl.sentence] = append(spread[cl.sentence], w)
			}
		}
		seen[cl.sentence] = true
	}
	for c := range r.clauses {
		cl := &r.clauses[c]
		if len(cl.symptoms) > 0 || cl.copied || cl.fine {
			continue
		}
		for _, w := range r.wheres(c) {
			if lead := r.placeAlone(c, w); lead {
				spread[cl.sentence] = append(spread[cl.sentence], w)
			}
		}
	}
	for i := range r.mentions {
		m := &r.mentions[i]
		if m.hit < 0 {
			continue
		}
		cl := &r.clauses[m.clause]
		for _, w := range spread[cl.sentence] {
			if w.from > m.at || r.contrast(r.clauseAt(w.from), m.clause) {
				continue
			}
			if !spreads[m.symptom] {
				w.phase = 0
			}
			r.give(i, w, false)
		}
	}
	r.inherit()
	r.there()
	r.corrected()
	r.fineThere()
	// "Excess lock and falling revs in the middle": a bare symptom shares the place
	// of the one it is joined to.
	for c := 1; c < len(r.clauses); c++ {
		if r.clauses[c].lead != leadAnd || len(r.clauses[c].symptoms) == 0 || !r.bare(c-1) {
			continue
		}
		from := &r.mentions[r.clauses[c].symptoms[0]]
		for _, i := range r.clauses[c-1].symptoms {
			if m := &r.mentions[i]; spreads[m.symptom] && !from.fixed && m.phase == 0 && m.corner == 0 && !r.toldBefore(m) {
				m.phase, m.corner = from.phase, from.corner
			}
		}
	}
	// What shows on the straight takes the straight, or the braking, from its
	// neighbour: "wobbly on the straight and my hands shake".
	for i := range r.mentions {
		m := &r.mentions[i]
		if m.phase != 0 || !showsOnStraight[m.symptom] || m.hit < 0 {
			continue
		}
		for _, o := range r.mentions {
			if o.phase&(straight|braking) != 0 && (!o.fixed || o.at < m.at) && showsOnStraight[o.symptom] && m.symptom != lightSteering &&
				r.clauses[o.clause].sentence == r.clauses[m.clause].sentence && !r.contrast(min(o.clause, m.clause), max(o.clause, m.clause)) &&
				!r.parted(m, &o) {
				m.phase = o.phase & (straight | braking)
				break
			}
		}
	}
}

// parted reports whether a symptom that has no place on the straight stands between
// two: "the wheel shakes, it is heavy, and it drifts left on the straight".
func (r *reader) parted(a, b *mention) bool {
	return slices.ContainsFunc(r.mentions, func(m mention) bool {
		return !showsOnStraight[m.symptom] && m.at > min(a.at, b.at) && m.at < max(a.at, b.at)
	})
}

// toldBefore reports whether the sentence has given mention m's symptom a place
// before: "nervous at the rear on the brakes, tends to step out, and then it is tight
// in the middle".
func (r *reader) toldBefore(m *mention) bool {
	return slices.ContainsFunc(r.mentions, func(o mention) bool {
		return o.symptom == m.symptom && o.at < m.at && o.phase != 0 && r.clauses[o.clause].sentence == r.clauses[m.clause].sentence
	})
}

// spreads lists the symptoms that belong to a part of the corner, so that a part
// named once at the beginning holds for all of them.
var spreads = map[symptom]bool{understeer: true, oversteer: true, darting: true, hop: true, chatter: true, bind: true,
	overLift: true, wander: true, vibration: true, bumpUnsettled: true}

func (r *reader) clauseAt(token int) int {
	for c := range r.clauses {
		if token < r.clauses[c].to {
			return c
		}
	}
	return len(r.clauses) - 1
}

// contrast reports whether a contrast stands between two clauses.
func (r *reader) contrast(a, b int) bool {
	for c := a + 1; c <= b; c++ {
		if r.clauses[c].lead == leadBut {
			return true
		}
	}
	return false
}

// owner returns the mention of clause c that a place belongs to: the last one
// before it, else the first.
func (r *reader) owner(c int, w group) int {
	s := r.clauses[c].symptoms
	own := s[0]
	for _, i := range s {
		if m := &r.mentions[i]; m.at < w.from {
			own = i
		}
	}
	// "loose on entry tight on exit": a place that is already taken by the
	// mention before it belongs to the next.
	if m := &r.mentions[own]; m.at < w.from && m.phase != 0 && w.phase != 0 && !w.mainly {
		for _, i := range s {
			if n := &r.mentions[i]; n.at > w.from && n.phase == 0 {
				return i
			}
		}
	}
	return own
}

// claimed reports whether a place belongs to "fine" and not to a symptom of the
// same clause.
func (r *reader) claimed(c int, w group) bool {
	cl := &r.clauses[c]
	near := len(r.t)
	for _, n := range cl.hits {
		if h := &r.hits[n]; h.role == roleFine {
			near = min(near, max(0, w.from-h.to, h.from-w.to))
		}
	}
	for _, i := range cl.symptoms {
		if m := &r.mentions[i]; m.hit >= 0 {
			h := &r.hits[m.hit]
			if max(0, w.from-h.to, h.from-w.to) < near {
				return false
			}
		}
	}
	return true
}

// placeAlone gives a place that stands in a clause without a symptom to the
// symptom it goes with, and reports whether it opens its sentence.
func (r *reader) placeAlone(c int, w group) (opens bool) {
	cl := &r.clauses[c]
	prev, next := -1, -1
	for p := c - 1; p >= 0 && r.clauses[p].sentence == cl.sentence; p-- {
		if len(r.clauses[p].symptoms) > 0 {
			prev = p
			break
		}
	}
	for p := c + 1; p < len(r.clauses) && r.clauses[p].sentence == cl.sentence; p++ {
		if len(r.clauses[p].symptoms) > 0 {
			next = p
			break
		}
	}
	if prev >= 0 && !w.mainly && r.contrast(prev, c) {
		prev = -1
	}
	lacks := func(p int) []int {
		var out []int
		for _, i := range r.clauses[max(p, 0)].symptoms {
			m := &r.mentions[i]
			same := w.phase == 0 || m.phase&w.phase != 0
			if p < c && m.final && cl.lead == leadAnd {
				continue // "the push has gone, and the exit is strong"
			}
			if m.phase == straight && w.phase == 0 && w.side == 0 {
				continue // a straight has no corner
			}
			if p >= 0 && (w.phase != 0 && m.phase == 0 || same && (w.corner|w.speed) != 0 && m.corner == 0 || same && w.side != 0 && m.side == 0) {
				out = append(out, i)
			}
		}
		return out
	}
	if prev >= 0 {
		s := r.clauses[prev].symptoms
		last := s[len(s)-1]
		switch m := &r.mentions[last]; {
		case w.phase == 0 && w.corner != 0 && m.corner != 0 && m.corner != w.corner && !w.mainly && r.words(cl.from, w.from)+r.words(w.to, cl.to) == 0:
			// "slow ones, fast ones"
			m.corner = anyCorner
			for _, n := range w.hits {
				r.took[n] = true
			}
			return false
		case cl.lead == leadAnd && w.phase != 0 && r.mentions[last].phase != 0 && !r.mentions[last].fixed && r.follows(c, w):
			// "on entry and on exit"
			r.widen(last, w)
			return false
		case w.mainly:
			r.give(last, w, true)
			return false
		case cl.lead == leadAnd && len(lacks(next)) > 0 && !r.contrast(c, next) && len(lacks(prev)) == 0:
		default:
			if l := lacks(prev); len(l) > 0 {
				if b := prev - 1; w.phase == 0 && b >= 0 && r.clauses[b].sentence == cl.sentence && !r.contrast(b, prev) && r.bareAt(b) && r.bareAt(prev) {
					l = append(l, lacks(b)...) // "oversteer in, understeer out, in the fast ones"
				}
				for _, i := range l {
					r.give(i, w, false)
				}
				return false
			}
		}
	}
	if next >= 0 && (!r.contrast(c, next) || w.phase == 0) {
		for _, i := range lacks(next)[:min(1, len(lacks(next)))] {
			r.give(i, w, false)
			return prev < 0
		}
	}
	if prev < 0 && next < 0 {
		if p := r.sentenceBefore(c); p >= 0 && r.words(cl.from, cl.to) <= 6 {
			l := lacks(p)
			for q := p - 1; w.phase == 0 && q >= 0 && r.clauses[q].sentence == r.clauses[p].sentence; q-- {
				l = append(l, lacks(q)...) // "Understeer in, oversteer out. In the hairpin."
			}
			for _, i := range l {
				r.give(i, w, false)
			}
			s := r.clauses[p].symptoms
			if last := s[len(s)-1]; len(l) == 0 && cl.lead == leadAnd && w.phase != 0 && !r.mentions[last].fixed && r.follows(c, w) &&
				!slices.ContainsFunc(r.clauses, func(o clause) bool { return o.fine && o.sentence == cl.sentence }) {
				r.widen(last, w) // "Loose. On the brakes and on the gas."
			}
		} else if c+1 < len(r.clauses) && len(r.clauses[c+1].symptoms) > 0 && r.words(cl.from, cl.to) <= 4 {
			r.give(r.clauses[c+1].symptoms[0], w, false)
		}
	}
	return false
}

// widen adds a place to those of a mention: "on entry and on exit".
func (r *reader) widen(i int, w group) {
	r.mentions[i].phase |= w.phase
	w.phase = 0
	r.give(i, w, false)
	for _, n := range w.hits {
		r.took[n] = true
	}
}

// bareAt reports whether a clause is nothing but symptoms and where they are.
func (r *reader) bareAt(c int) bool {
	return len(r.clauses[c].symptoms) > 0 && r.words(r.clauses[c].from, r.clauses[c].to) <= 3 && !r.strange(r.clauses[c].from, r.clauses[c].to)
}

// follows reports whether a place begins its clause and the clause before ended
// with a place.
func (r *reader) follows(c int, w group) bool {
	if r.words(r.clauses[c].from, w.from) > 0 || c == 0 {
		return false
	}
	p := r.wheres(c - 1)
	return len(p) > 0 && p[len(p)-1].phase != 0 && r.words(p[len(p)-1].to, r.clauses[c-1].to) == 0
}
