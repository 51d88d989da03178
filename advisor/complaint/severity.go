package complaint

import (
	"cmp"
	"slices"
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
			r.wordsBut(min(h.to, r.hits[o].to), max(h.from, r.hits[o].from)) == 0
	}
	if h.before && !r.within(n) {
		if r.opensAfterWord(h.from) {
			return true // "Right, so front tyres chatter"
		}
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
	if h.severity == slight && h.to == h.from+1 && n > 0 && slices.ContainsFunc(r.places, func(p hit) bool {
		return p.to == h.to && p.from < r.hits[n-1].to && p.from < h.from
	}) {
		return true // "wobbly on the straight bit"
	}
	if h.severity == slight && h.to == h.from+1 && h.to < len(r.t) && r.t[h.to].mark == 0 && !r.l.is(r.t[h.to].word, fills|empty) &&
		!r.covered(h.to) {
		return true // "the little gauge"
	}
	if h.severity == slight && n+1 < len(r.hits) && r.hits[n+1].track != "" && r.words(h.to, r.hits[n+1].from) == 0 {
		return true // "a tiny, twisty track"
	}
	if n > 0 && h.needs == 0 && len(r.clauses[r.clauseAt(h.from)].symptoms) == 0 {
		if x := &r.hits[n-1]; (x.track != "" || x.grip != "" || x.tyres != "") && r.words(x.to, h.from) == 0 {
			return true // "grip came up a lot"
		}
	}
	if n+1 >= len(r.hits) || beside(n-1) {
		return false
	}
	next := &r.hits[n+1]
	return r.words(h.to, next.from) == 0 && r.sameClause(n, n+1) &&
		(next.track != "" || next.grip != "" || next.tyres != "" || next.corner|next.speed != 0 && next.phase == 0 && next.symptom == 0 || next.role == roleFine)
}

// opensAfterWord reports whether token i opens what is said after a word or two of
// greeting: "Right, so …", "Okay then, so …". A word said twice is none: "Way, way
// too much lift".
func (r *reader) opensAfterWord(i int) bool {
	c := r.clauseAt(i)
	return c > 0 && r.clauses[c].from == i && len(r.clauses[c-1].symptoms) == 0 && r.words(r.clauses[c-1].from, r.clauses[c-1].to) <= 2 &&
		r.t[r.clauses[c-1].to].mark == ',' && r.t[r.clauses[c-1].from].word != r.t[i].word
}

// wordsBut counts the words between two tokens that are no fillers and say no place.
func (r *reader) wordsBut(from, to int) int {
	n := r.words(from, to)
	for o := range r.hits {
		if h := &r.hits[o]; from <= h.from && h.to <= to && h.symptom == 0 && h.placed() {
			n -= h.content
		}
	}
	return n
}

// within reports whether hit n stands between the words of a symptom phrase.
func (r *reader) within(n int) bool {
	for o := range r.hits {
		if x := &r.hits[o]; (x.symptom != 0 || x.either) && !x.spread && x.from < r.hits[n].from && r.hits[n].to < x.to {
			return true
		}
	}
	return false
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
	if p := r.sentenceBefore(c); p >= 0 && !r.strange(cl.from, cl.to) {
		s := r.clauses[p].symptoms
		return s[len(s)-1:]
	}
	return nil
}

// sentenceBefore returns the last clause with symptoms of the sentence before
// the one of clause c, if this sentence has none itself; else -1. Sentences of a
// word or two stand between the two: "It darts about. Every corner. Only a bit."
func (r *reader) sentenceBefore(c int) int {
	s := r.clauses[c].sentence
	if slices.ContainsFunc(r.clauses, func(x clause) bool { return x.sentence == s && len(x.symptoms) > 0 }) {
		return -1
	}
	for p := c - 1; p >= 0; p-- {
		x := &r.clauses[p]
		if len(x.symptoms) > 0 {
			return p
		}
		if x.sentence < s && r.words(x.from, x.to) > 2 && (p == 0 || r.clauses[p-1].sentence < x.sentence) {
			return -1
		}
	}
	return -1
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
