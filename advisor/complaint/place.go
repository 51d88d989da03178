package complaint

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// strengthen gives the severity words to the mentions they belong to.
func (r *reader) strengthen() {
	type given struct {
		distance int
		severity severity
	}
	best := make(map[int]given)
	for c := range r.clauses {
		cl := &r.clauses[c]
		for _, n := range cl.hits {
			h := &r.hits[n]
			if h.severity == unsaid || h.symptom != 0 || h.either || h.phase != 0 {
				continue
			}
			if r.other(n) {
				continue
			}
			for _, i := range r.meant(c, n) {
				m := &r.mentions[i]
				d := r.gap(n, m.hit)
				if b, ok := best[i]; !ok || d < b.distance || d == b.distance && h.severity == strong {
					best[i] = given{d, h.severity}
				}
				r.took[n] = true
			}
		}
	}
	for i, g := range best {
		r.mentions[i].severity = g.severity
	}
}

// other reports whether a severity belongs to no symptom: "a really fast track",
// "a lot of speed".
func (r *reader) other(n int) bool {
	h := &r.hits[n]
	beside := func(o int) bool {
		return o >= 0 && o < len(r.hits) && (r.hits[o].symptom != 0 || r.hits[o].either) &&
			r.words(min(h.to, r.hits[o].to), max(h.from, r.hits[o].from)) == 0
	}
	if h.before {
		return !beside(n+1) || r.hits[n+1].from != h.to
	}
	for o := range r.hits {
		if x := &r.hits[o]; o != n && (x.symptom != 0 || x.either) && x.from < h.to && h.from < x.to {
			if h.beside {
				return true // the simile is the symptom itself
			}
			if x.from < h.from && h.to < x.to {
				return false // "lifts way too high"
			}
		}
		if x := &r.hits[o]; x.from < h.from && h.to < x.to && (x.track != "" || x.grip != "" || x.tyres != "") {
			return true // "the track is very gummed"
		}
	}
	if h.beside {
		return !beside(n-1) && !beside(n+1)
	}
	if n+1 >= len(r.hits) || beside(n-1) {
		return false
	}
	next := &r.hits[n+1]
	return r.words(h.to, next.from) == 0 && r.sameClause(n, n+1) &&
		(next.track != "" || next.grip != "" || next.tyres != "" || next.corner|next.speed != 0 && next.phase == 0 && next.symptom == 0 || next.role == roleFine)
}

func (r *reader) sameClause(a, b int) bool {
	return r.clauseAt(r.hits[a].from) == r.clauseAt(r.hits[b].from)
}

// meant returns the mentions that a word of clause c belongs to: the nearest of
// its own clause, else those of the clause before, else those of the next.
func (r *reader) meant(c, n int) []int {
	cl := &r.clauses[c]
	if len(cl.symptoms) > 0 {
		i := slices.MinFunc(cl.symptoms, func(a, b int) int {
			return cmp.Or(cmp.Compare(r.gap(n, r.mentions[a].hit), r.gap(n, r.mentions[b].hit)), cmp.Compare(b, a))
		})
		return []int{i}
	}
	if cl.copied || cl.fine {
		return nil
	}
	if cl.lead != leadBut || r.words(cl.from, cl.to) <= 4 {
		for p := c - 1; p >= 0 && r.clauses[p].sentence == cl.sentence; p-- {
			if s := r.clauses[p].symptoms; len(s) > 0 {
				return s[len(s)-1:]
			}
			if r.clauses[p].lead == leadBut {
				break
			}
		}
	}
	for p := c + 1; p < len(r.clauses) && r.clauses[p].sentence == cl.sentence; p++ {
		if s := r.clauses[p].symptoms; len(s) > 0 {
			return s[:1]
		}
	}
	if p := r.sentenceBefore(c); p >= 0 {
		s := r.clauses[p].symptoms
		return s[len(s)-1:]
	}
	return nil
}

// sentenceBefore returns the last clause with symptoms of the sentence before
// the one of clause c, if this sentence has none itself; else -1.
func (r *reader) sentenceBefore(c int) int {
	s := r.clauses[c].sentence
	found := -1
	for p := range r.clauses {
		if len(r.clauses[p].symptoms) == 0 {
			continue
		}
		switch r.clauses[p].sentence {
		case s:
			return -1
		case s - 1:
			found = p
		}
	}
	return found
}

// gap is the number of tokens between two hits; a copy (-1) is far away.
func (r *reader) gap(a, b int) int {
	if a < 0 || b < 0 {
		return len(r.t)
	}
	x, y := &r.hits[a], &r.hits[b]
	if x.from > y.from {
		x, y = y, x
	}
	return max(0, y.from-x.to)
}

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
		if b := n - 1; b >= 0 && r.hits[b].role == roleBefore && r.words(r.hits[b].to, h.from) == 0 {
			continue
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
		if h := &r.hits[i]; h.role == roleOr && h.from >= from && h.to <= to {
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

var showsOnStraight = map[symptom]bool{wander: true, vibration: true, pull: true, slowStraight: true, darting: true, lightSteering: true, play: true}

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
	// "Excess lock and falling revs in the middle": a bare symptom shares the place
	// of the one it is joined to.
	for c := 1; c < len(r.clauses); c++ {
		if r.clauses[c].lead != leadAnd || len(r.clauses[c].symptoms) == 0 || !r.bare(c-1) {
			continue
		}
		from := &r.mentions[r.clauses[c].symptoms[0]]
		for _, i := range r.clauses[c-1].symptoms {
			if m := &r.mentions[i]; spreads[m.symptom] && !from.fixed && m.phase == 0 && m.corner == 0 {
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
			if o.phase&(straight|braking) != 0 && !o.fixed && showsOnStraight[o.symptom] &&
				r.clauses[o.clause].sentence == r.clauses[m.clause].sentence && !r.contrast(min(o.clause, m.clause), max(o.clause, m.clause)) {
				m.phase = o.phase & (straight | braking)
				break
			}
		}
	}
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
			if p >= 0 && (w.phase != 0 && m.phase == 0 || same && (w.corner|w.speed) != 0 && m.corner == 0 || same && w.side != 0 && m.side == 0) {
				out = append(out, i)
			}
		}
		return out
	}
	if prev >= 0 {
		s := r.clauses[prev].symptoms
		last := s[len(s)-1]
		switch {
		case cl.lead == leadAnd && w.phase != 0 && r.mentions[last].phase != 0 && !r.mentions[last].fixed && r.follows(c, w):
			// "on entry and on exit"
			m := &r.mentions[last]
			m.phase |= w.phase
			w.phase = 0
			r.give(last, w, false)
			for _, n := range w.hits {
				r.took[n] = true
			}
			return false
		case w.mainly:
			r.give(last, w, true)
			return false
		case cl.lead == leadAnd && len(lacks(next)) > 0 && !r.contrast(c, next) && len(lacks(prev)) == 0:
		default:
			if l := lacks(prev); len(l) > 0 {
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
			for _, i := range lacks(p) {
				r.give(i, w, false)
			}
		} else if c+1 < len(r.clauses) && len(r.clauses[c+1].symptoms) > 0 && r.words(cl.from, cl.to) <= 4 {
			r.give(r.clauses[c+1].symptoms[0], w, false)
		}
	}
	return false
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

// resolveBusy says what corrections at the wheel are a sign of: on the straight
// the kart wanders, before and into the corner it is too sharp, after that the
// rear slides.
func (r *reader) resolveBusy() {
	for i := range r.mentions {
		m := &r.mentions[i]
		if !m.busy {
			continue
		}
		switch {
		case m.phase&(mid|exit) != 0:
			m.symptom = oversteer
		case m.phase&(braking|entry) != 0:
			m.symptom = darting
		default:
			m.symptom = wander
		}
	}
}

// resolveAxles decides which end a slide is at, or asks.
func (r *reader) resolveAxles() {
	drop := make([]bool, len(r.mentions), 2*len(r.mentions))
	for i := range r.mentions {
		m := r.mentions[i]
		if !m.either {
			continue
		}
		is, not := r.axles(m.clause)
		if is == 0 && not != 0 {
			is = front + back - not
		}
		if is == 0 {
			drop[i] = true
			r.took[m.hit] = false
			q := Question{Words: r.text[m.from:m.to], Question: "which end slides first, the front or the rear?"}
			for _, s := range []string{"understeer", "oversteer"} {
				if p := phaseOf(m.phase); p != "any" {
					s += "/" + p
				}
				q.Candidates = append(q.Candidates, s)
			}
			r.report.Unsure = append(r.report.Unsure, q)
			continue
		}
		of := func(a axle) symptom {
			if a == front {
				return understeer
			}
			return oversteer
		}
		r.mentions[i].symptom, r.mentions[i].either = of(is), false
		if not != 0 && not != is {
			n := m
			n.symptom, n.either, n.negated, n.hit, n.severity = of(not), false, !m.negated, -1, unsaid
			n.at = m.at - 1
			r.mentions = append(r.mentions, n)
			drop = append(drop, false)
			r.clauses[m.clause].symptoms = append(r.clauses[m.clause].symptoms, len(r.mentions)-1)
		}
	}
	r.drop(drop)
	r.correctAxles()
	r.otherAxles()
}

// otherAxles takes "the front slides on entry, the rear on exit" as both ends
// sliding, each in its place.
func (r *reader) otherAxles() {
	for i := range r.mentions {
		m := r.mentions[i]
		c := m.clause + 1
		if m.negated || m.hit < 0 || m.symptom != understeer && m.symptom != oversteer || c >= len(r.clauses) {
			continue
		}
		cl := &r.clauses[c]
		if cl.sentence != r.clauses[m.clause].sentence || len(cl.symptoms) > 0 || cl.fine || cl.copied || r.words(cl.from, cl.to) > 5 || r.denies(c) {
			continue
		}
		w := r.whereOf(c)
		for _, n := range cl.hits {
			a := r.hits[n].axle
			if w.phase|phases(w.corner) == 0 || !(a == front && m.symptom == oversteer || a == back && m.symptom == understeer) {
				continue
			}
			o := mention{symptom: understeer + oversteer - m.symptom, phase: w.phase, corner: w.corner, clause: c, hit: -1, at: r.hits[n].from,
				from: r.t[r.hits[n].from].from, to: r.t[r.hits[n].to-1].to}
			r.mentions = append(r.mentions, o)
			cl.copied = true
			for _, k := range cl.hits {
				r.took[k] = true
			}
			break
		}
	}
}

// correctAxles takes "the rear is not sliding, it's the front" as the front
// sliding.
func (r *reader) correctAxles() {
	for i := range r.mentions {
		m := r.mentions[i]
		c := m.clause + 1
		if !m.negated || m.hit < 0 || m.symptom != understeer && m.symptom != oversteer ||
			c >= len(r.clauses) || r.clauses[c].sentence > r.clauses[m.clause].sentence+1 || len(r.clauses[c].symptoms) > 0 ||
			r.clauses[c].fine || r.words(r.clauses[c].from, r.clauses[c].to) > 2 || r.denies(c) {
			continue
		}
		for _, n := range r.clauses[c].hits {
			if a := r.hits[n].axle; a == front && m.symptom == oversteer || a == back && m.symptom == understeer {
				m.symptom, m.negated, m.hit, m.severity = understeer+oversteer-m.symptom, false, -1, unsaid
				m.at, m.from, m.to = r.hits[n].from, r.t[r.hits[n].from].from, r.t[r.hits[n].to-1].to
				r.mentions = append(r.mentions, m)
				r.took[n] = true
				break
			}
		}
	}
}

// axles finds which end the clauses around c name, and which they deny.
func (r *reader) axles(c int) (is, not axle) {
	look := func(at int) {
		denied := false
		for _, n := range r.clauses[at].hits {
			switch h := &r.hits[n]; {
			case h.role == roleNot:
				denied = true
			case h.role == roleOr:
				is, not = 0, 0
				return
			case h.axle != 0 && denied:
				not, denied = h.axle, false
				r.took[n] = true
			case h.axle != 0:
				is = h.axle
				r.took[n] = true
			}
		}
	}
	look(c)
	for at := c + 1; at < len(r.clauses) && is == 0 && r.clauses[at].sentence <= r.clauses[c].sentence+1 && len(r.clauses[at].symptoms) == 0; at++ {
		look(at)
	}
	if is == 0 && not == 0 && c > 0 && len(r.clauses[c-1].symptoms) == 0 && r.clauses[c-1].sentence == r.clauses[c].sentence {
		look(c - 1)
	}
	return is, not
}

// sides adds the complaint that left and right turns differ, if the text names a
// side and says that the other is different.
func (r *reader) sides() {
	var named [3]bool
	only := false
	at := -1
	for c := range r.clauses {
		for _, n := range r.clauses[c].hits {
			h := &r.hits[n]
			if h.side == 0 || h.symptom != 0 {
				continue
			}
			named[h.side] = true
			if len(r.mentions) > 0 {
				r.took[n] = true
			}
			if at < 0 {
				at = n
			}
			for _, o := range r.clauses[c].hits {
				only = only || r.hits[o].role == roleOnly
			}
		}
	}
	for _, m := range r.mentions {
		if m.symptom == asymmetric {
			return
		}
	}
	if at < 0 || len(r.mentions) == 0 || !only && !(named[left] && named[right]) {
		return
	}
	h := &r.hits[at]
	m := mention{symptom: asymmetric, hit: at, at: len(r.t), from: r.t[h.from].from, to: r.t[h.to-1].to, clause: r.clauseAt(h.from)}
	r.mentions = append(r.mentions, m)
}

func phaseOf(p phases) string {
	for i, name := range phaseNames {
		if p == 1<<i {
			return name
		}
	}
	return "any"
}

// readings turns the mentions into readings, one for each phase, and joins those
// that speak of the same thing.
func (r *reader) readings() {
	slices.SortStableFunc(r.mentions, func(a, b mention) int { return cmp.Compare(a.at, b.at) })
	var out []reading
	for _, m := range r.mentions {
		if m.negated {
			m.severity = normal
		}
		parts := []phases{0}
		if m.phase != 0 {
			parts = parts[:0]
			for i := range phaseNames {
				if p := phases(1 << i); m.phase&p != 0 {
					parts = append(parts, p)
				}
			}
		}
		for _, p := range parts {
			out = join1(out, reading{m.symptom, p, m.corner, m.severity, m.negated, m.side, m.from, m.to})
		}
	}
	// The same symptom and phase both there and not: what is there comes last.
	for i := range out {
		for j := i + 1; j < len(out); j++ {
			if a, b := out[i], out[j]; a.symptom == b.symptom && a.phase == b.phase && !a.negated && b.negated {
				out = append(append(append(out[:i:i], out[i+1:j+1]...), a), out[j+1:]...)
			}
		}
	}
	for _, g := range out {
		x := Reading{Symptom: symptomNames[g.symptom], Phase: phaseOf(g.phase), Severity: severityNames[g.severity],
			Corner: cornerNames[g.corner], Negated: g.negated, Side: sideNames[g.side], Words: r.text[g.from:g.to]}
		if g.symptom == understeer || g.symptom == oversteer {
			x.Balance = x.Symptom
		}
		r.report.Readings = append(r.report.Readings, x)
		if g.symptom == asymmetric && !g.negated || g.side != 0 {
			r.report.Note = "compare the left and right side of the kart before any set-up change"
		}
	}
}

type reading struct {
	symptom  symptom
	phase    phases
	corner   corner
	severity severity
	negated  bool
	side     side
	from, to int
}

// join1 adds a reading to those before it. The same symptom said twice is one
// reading; said first to be there and then not, it is not there any more.
func join1(out []reading, n reading) []reading {
	for i := range out {
		o := &out[i]
		if o.symptom != n.symptom || o.phase != 0 && n.phase != 0 && o.phase != n.phase ||
			o.corner != 0 && n.corner != 0 && o.corner != n.corner || o.side != 0 && n.side != 0 && o.side != n.side {
			continue
		}
		same := o.phase == n.phase && o.corner == n.corner && o.side == n.side
		switch {
		case o.negated == n.negated:
			o.severity = worse(o.severity, n.severity)
		case n.negated && (n.phase == 0 && n.corner == 0 && n.side == 0 || same):
			o.negated, o.severity = true, normal
			return out
		case same:
			o.negated, o.severity = n.negated, n.severity
		default:
			continue
		}
		o.phase, o.corner, o.side = o.phase|n.phase, max(o.corner, n.corner), max(o.side, n.side)
		return out
	}
	return append(out, n)
}

// worse joins two severities of one symptom: what was said counts more than what
// was not, and strong more than slight.
func worse(a, b severity) severity {
	if a == unsaid || a == normal {
		return max(b, a)
	}
	if b == unsaid || b == normal {
		return a
	}
	return max(a, b)
}

// conditions reads track, grip and tyres. What is said last counts.
func (r *reader) conditions() {
	c := &r.report.Conditions
	set := func(to *string, v string, n int) {
		*to = v
		r.took[n] = true
	}
	for n := range r.hits {
		h := &r.hits[n]
		if h.track == "" && h.grip == "" && h.tyres == "" || r.denied(n) {
			continue
		}
		value := 0.0
		for i := h.from; i < h.to; i++ {
			if r.t[i].isNumber && h.own>>(i-h.from)&1 == 1 && value == 0 {
				value = r.t[i].number
				if r.t[i].isRatio {
					value *= 10
				}
			}
		}
		if h.track != "" {
			set(&c.Track, h.track, n)
		}
		switch h.grip {
		case "":
		case "tenths":
			c.GripTenths = value
			set(&c.Grip, gripWord(value), n)
		default:
			set(&c.Grip, h.grip, n)
		}
		switch h.tyres {
		case "":
		case "laps", "sessions", "days":
			if h.tyres == "laps" {
				c.TyreLaps = value
			}
			if c.Tyres != "wets" {
				set(&c.Tyres, tyreWord(h.tyres, value), n)
			}
		default:
			if c.Tyres != "wets" {
				set(&c.Tyres, h.tyres, n)
			}
		}
	}
}

// denied reports whether a negator stands right before a hit: "no rain".
func (r *reader) denied(n int) bool {
	for o := range r.hits {
		if h := &r.hits[o]; h.role == roleNot && h.to <= r.hits[n].from && r.words(h.to, r.hits[n].from) == 0 &&
			r.clauseAt(h.from) == r.clauseAt(r.hits[n].from) {
			return true
		}
	}
	return false
}

// gripWord says a grip of 0 to 10 as the word it is nearest to; the bounds are
// the middles of the usual scale's edges, 3 to 5 and 6 to 8.
func gripWord(tenths float64) string {
	switch {
	case tenths < 4:
		return "low"
	case tenths <= 7:
		return "medium"
	}
	return "high"
}

// tyreWord says an age as a word. New is at most one session or 20 laps, used at
// most four sessions or 80 laps; a day is taken to be more than four sessions
// (from memory).
func tyreWord(unit string, n float64) string {
	newest, usedUp := 20.0, 80.0
	switch unit {
	case "sessions":
		newest, usedUp = 1, 4
	case "days":
		newest, usedUp = 0, 0.5
	}
	switch {
	case n <= newest:
		return "new"
	case n <= usedUp:
		return "used"
	}
	return "worn"
}

// unused lists the stretches of text that led to nothing.
func (r *reader) unused() {
	used := make([]bool, len(r.t))
	for n := range r.hits {
		h := &r.hits[n]
		if !r.took[n] && h.role != roleOr && h.role != roleNow && h.role != roleMainly && h.role != roleOnly && h.role != roleAnd {
			continue
		}
		for i := h.from; i < h.to; i++ {
			if h.own>>(i-h.from)&1 == 1 {
				used[i] = true
			}
		}
	}
	var run [2]int // first and last content token
	open := false
	flush := func() {
		if open {
			r.report.Unused = append(r.report.Unused, strings.TrimSpace(r.text[r.t[run[0]].from:r.t[run[1]].to]))
		}
		open = false
	}
	for i := range r.t {
		switch t := &r.t[i]; {
		case t.mark != 0 || used[i]:
			flush()
		case r.l.is(t.word, empty):
		default:
			if !open {
				run[0], open = i, true
			}
			run[1] = i
		}
	}
	flush()
}

// Say returns what was understood as sentences for a person: one for each
// reading, then the conditions, the questions, the note and what was not used.
func (r Report) Say() []string {
	var out []string
	for _, x := range r.Readings {
		out = append(out, "understood: "+x.say())
	}
	var c []string
	for _, p := range [][2]string{{"track", r.Conditions.Track}, {"grip", r.Conditions.Grip}, {"tyres", r.Conditions.Tyres}} {
		if p[1] != "" {
			c = append(c, p[0]+" "+p[1])
		}
	}
	if len(c) > 0 {
		out = append(out, "conditions: "+strings.Join(c, ", "))
	}
	for _, q := range r.Unsure {
		out = append(out, fmt.Sprintf("not sure: %q: %s (%s)", q.Words, q.Question, strings.Join(q.Candidates, " or ")))
	}
	if r.Note != "" {
		out = append(out, "first: "+r.Note)
	}
	if len(r.Unused) > 0 {
		quoted := make([]string, len(r.Unused))
		for i, u := range r.Unused {
			quoted[i] = "'" + u + "'"
		}
		out = append(out, "not used: "+strings.Join(quoted, ", "))
	}
	if len(r.Readings) == 0 {
		out = append([]string{"understood: no complaint"}, out...)
	}
	return out
}

var phaseSaid = map[string]string{"entry": " on entry", "mid": " in the middle", "exit": " on exit", "straight": " on the straight", "braking": " under braking"}

func (x Reading) say() string {
	s := symptomTitles[slices.Index(symptomNames, x.Symptom)]
	if x.Symptom != "slow_straight" {
		s += phaseSaid[x.Phase]
	}
	if x.Corner != "any" {
		s += ", " + x.Corner + " corners"
	}
	if x.Side != "" {
		s += ", " + x.Side + "-hand turns"
	}
	if x.Negated {
		return s + ": not there, or no longer"
	}
	return s + " (" + x.Severity + ")"
}
