package complaint

import (
	"cmp"
	"math/bits"
	"slices"
)

// Word ids below firstWord have a meaning of their own.
const (
	unknownWord  int32 = iota - 1 // not in the lexicon
	_                             // a map's zero value
	ordinaryWord                  // a word that spelling must leave alone
	numberWord                    // digits
	firstWord
)

// An element is one place of a phrase: a word, one of several words, a class,
// a number, or a gap.
type element struct {
	kind     elementKind
	optional bool  // only while it is compiled
	id       int32 // word, class, or words of a oneOf
}

type elementKind uint8

const (
	exactly elementKind = iota
	oneOf
	classOf
	number
	gap     // up to gapWords words, none of them a mark or a break
	anyWord // any word, which adds nothing to the phrase's length
	end     // no word: a mark, a joining word or the end must follow
)

const (
	gapWords  = 3 // words that * may stand for, fillers not counted
	skipWords = 4 // fillers in a row that may stand inside a phrase
)

// A class is a named list of alternatives, <front> for instance. An
// alternative may name a class that is defined before it.
type class struct {
	name  string
	alts  [][]element
	first wordSet // words that an alternative may begin with
}

// A phrase is a sequence of words with an effect. Fillers may stand between
// its words; they are not used up.
type phrase struct {
	words  []element
	effect *effect
}

// Together is a set of phrases that mean something when one clause has all of
// them, in any order. It counts only where the clause has no symptom phrase.
type together struct {
	items  [][][]element // of each, any pattern
	phase  phases        // a place that the clause must name too, 0 for none
	effect *effect
}

// A hit is a phrase found in a text. The set of its own tokens is relative to
// from, so that a phrase reaches over 64 tokens at most.
type hit struct {
	*effect
	from, to int    // tokens, to exclusive
	own      uint64 // bit i = token from+i is used up
	content  int    // how many of them are no fillers
	denied   int    // negators between them
	spread   bool   // found as a together
	weighed  bool   // no phrase: the second opinion found it
	order    int32  // place in the lexicon
}

func (h hit) size() int { return bits.OnesCount64(h.own) }

// said counts what a hit says beside its symptom.
func (h hit) said() int {
	return btoi(h.phase != 0) + btoi(h.corner != 0) + btoi(h.severity != unsaid) + btoi(h.over)
}

// A span is one way in which a class or phrase matches at a token.
type span struct {
	to  int
	own uint64
}

type matcher struct {
	l     *language
	t     []token
	spans map[int64][]span // by class and token
	one   []span           // by token: itself
}

func (l *language) matcher(t []token) *matcher {
	m := &matcher{l: l, t: t, spans: make(map[int64][]span), one: make([]span, len(t))}
	for i := range t {
		m.one[i] = span{i + 1, 1}
	}
	return m
}

// hits finds every phrase of the language in the tokens, in the order of their
// first token.
func (m *matcher) hits() []hit {
	l, t := m.l, m.t
	var found []hit
	for i := range t {
		if t[i].mark != 0 {
			continue
		}
		try := func(ids []int32) {
			for _, n := range ids {
				p := &l.phrases[n]
				if s, ok := m.phrase(p.words, i, i, 0); ok {
					h := hit{effect: p.effect, from: i, to: s.to, own: s.own, order: n}
					for k := i; k < s.to; k++ {
						switch own := s.own>>(k-i)&1 == 1; {
						case own && !l.is(t[k].word, fills):
							h.content++
						case !own && l.negators[t[k].word]:
							h.denied++
						}
					}
					if (h.over || h.cured) && m.spoilt(h) || (h.over || h.symptom == asymmetric) && h.denied > 0 {
						continue
					}
					found = append(found, h)
				}
			}
		}
		from := func(w int32) {
			try(l.begin[w])
			for _, c := range l.classesOf[w] {
				try(l.beginClass[c])
			}
		}
		if t[i].isNumber {
			from(numberWord)
		}
		if w := t[i].word; w >= firstWord {
			from(w)
		}
	}
	return found
}

// all finds the items of a together between two tokens and returns the hit that
// they make. No token serves two items, and none that is taken serves any.
func (m *matcher) all(g *together, from, to int, taken []bool) (hit, bool) {
	h := hit{effect: g.effect, from: to, to: from, spread: true}
	var used [64]bool
	for i := from; i < to && i-from < len(used); i++ {
		used[i-from] = taken[i]
	}
	var at []int
items:
	for _, item := range g.items {
		for i := from; i < to && i-from < 64; i++ {
			for _, p := range item {
				s, ok := m.phrase(p, i, i, 0)
				if !ok || s.to > to {
					continue
				}
				free := true
				for k := i; k < s.to; k++ {
					free = free && (s.own>>(k-i)&1 == 0 || !used[k-from])
				}
				if !free {
					continue
				}
				for k := i; k < s.to; k++ {
					if s.own>>(k-i)&1 == 1 {
						used[k-from] = true
						at = append(at, k)
					}
				}
				h.from, h.to = min(h.from, i), max(h.to, s.to)
				continue items
			}
		}
		return hit{}, false
	}
	for _, k := range at {
		h.own |= 1 << (k - h.from)
		if !m.l.is(m.t[k].word, fills) {
			h.content++
		}
	}
	return h, true
}

// spoilt reports whether a word inside a good thing takes it back: "front has too
// much bite".
func (m *matcher) spoilt(h hit) bool {
	for i := max(0, h.from-2); i < h.to; i++ {
		if (i < h.from || h.own>>(i-h.from)&1 == 0) && m.l.is(m.t[i].word, spoils) {
			return true
		}
	}
	return false
}

// phrase matches the elements from token i on; from is the phrase's first
// token. The shortest gap and the longest class alternative win.
func (m *matcher) phrase(p []element, i, from int, own uint64) (span, bool) {
	if len(p) == 0 {
		return span{i, own}, true
	}
	if p[0].kind == end {
		return span{i, own}, len(p) == 1 && (i >= len(m.t) || m.t[i].mark != 0 || m.l.is(m.t[i].word, joins))
	}
	for skipped := 0; i < len(m.t) && i-from < 64; skipped++ {
		for _, s := range m.element(p[0], i) {
			if r, ok := m.phrase(p[1:], s.to, from, own|s.own<<(i-from)); ok {
				return r, true
			}
		}
		if p[0].kind == gap {
			for n := 0; i < len(m.t); i++ {
				if r, ok := m.phrase(p[1:], i, from, own); ok {
					return r, true
				}
				if m.breaks(i) {
					break
				}
				if !m.l.is(m.t[i].word, fills) {
					if n++; n > gapWords {
						break
					}
				}
			}
			return span{}, false
		}
		// A negator may stand inside too: "the front does not wash out" is found as
		// its washing out, which is then denied.
		if own == 0 || skipped == skipWords || m.t[i].mark != 0 || !m.l.is(m.t[i].word, fills) && !m.deniesHere(i) {
			return span{}, false
		}
		i++
	}
	return span{}, false
}

// deniesHere reports whether token i negates, and no new statement follows it.
func (m *matcher) deniesHere(i int) bool {
	return m.l.negators[m.t[i].word] && i+1 < len(m.t) && !m.l.is(m.t[i+1].word, subject)
}

// breaks reports whether a phrase may not reach over token i.
func (m *matcher) breaks(i int) bool {
	return i >= len(m.t) || m.t[i].mark != 0 || m.l.is(m.t[i].word, breaks)
}

// element returns the ways in which one element matches at token i.
func (m *matcher) element(e element, i int) []span {
	t := &m.t[i]
	if t.mark != 0 {
		return nil
	}
	ok := false
	switch e.kind {
	case exactly:
		ok = t.word == e.id
	case oneOf:
		ok = slices.Contains(m.l.choices[e.id], t.word)
	case number:
		ok = t.isNumber
	case anyWord:
		if m.l.is(t.word, fills|breaks) {
			return nil
		}
		return []span{{i + 1, 0}}
	case classOf:
		return m.class(e.id, i)
	}
	if !ok {
		return nil
	}
	return m.one[i : i+1]
}

// class returns the alternatives of a class at token i, longest first.
func (m *matcher) class(id int32, i int) []span {
	c := &m.l.classes[id]
	if !c.first.has(m.t[i].word) && !(m.t[i].isNumber && c.first.has(numberWord)) {
		return nil
	}
	key := int64(id)<<32 | int64(i)
	if s, ok := m.spans[key]; ok {
		return s
	}
	var out []span
	for _, a := range c.alts {
		if s, ok := m.phrase(a, i, i, 0); ok && !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	slices.SortStableFunc(out, func(a, b span) int {
		return cmp.Compare(bits.OnesCount64(b.own), bits.OnesCount64(a.own))
	})
	m.spans[key] = out
	return out
}

// weight is what a hit counts among those that share its words: its words that are
// no fillers, and two more if it is to be ignored.
func (h hit) weight() int { return h.content - h.denied + 2*btoi(h.role == roleIgnore) }

// choose picks the hits that count: the heaviest first, of equal weight those to be
// ignored, then those of more words, then the earlier in the text, then the one with
// a need that is met, then what says more, then the later in the lexicon. Each token
// is used once.
func choose(found []hit, tokens int) []hit {
	slices.SortStableFunc(found, func(a, b hit) int {
		return cmp.Or(
			cmp.Compare(b.weight(), a.weight()),
			-cmp.Compare(btoi(a.role == roleIgnore), btoi(b.role == roleIgnore)),
			cmp.Compare(b.size(), a.size()),
			cmp.Compare(a.from, b.from),
			-cmp.Compare(btoi(a.needs != 0), btoi(b.needs != 0)),
			cmp.Compare(b.said(), a.said()),
			cmp.Compare(a.to, b.to),
			cmp.Compare(b.order, a.order), // a club's own file comes after what it extends
		)
	})
	used := make([]bool, tokens)
	var out []hit
next:
	for _, h := range found {
		for own := h.own; own != 0; own &= own - 1 {
			if used[h.from+bits.TrailingZeros64(own)] {
				continue next
			}
		}
		for own := h.own; own != 0; own &= own - 1 {
			used[h.from+bits.TrailingZeros64(own)] = true
		}
		out = append(out, h)
	}
	slices.SortFunc(out, func(a, b hit) int { return cmp.Compare(a.from, b.from) })
	return out
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}
