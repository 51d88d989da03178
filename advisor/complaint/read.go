package complaint

import (
	"cmp"
	"math/bits"
	"slices"
)

// negationWindow is how many words a negator reaches over.
const negationWindow = 8

// A lead says how a clause follows the one before it.
type lead uint8

const (
	leadStart  lead = iota // first of its sentence
	leadComma              // , : - ( )
	leadAnd                // and, then, + and the like
	leadBut                // contrast
	leadReason             // because
)

// A clause is a stretch of tokens between marks, conjunctions and contrasts.
type clause struct {
	from, to int
	lead     lead
	sentence int
	hits     []int // indices into reader.hits, in order
	symptoms []int // indices into reader.mentions
	fine     bool
	change   bool
	copied   bool // it only denies a symptom of an earlier clause
}

// A mention is one report of a symptom before it is given its phases.
type mention struct {
	symptom  symptom
	phase    phases
	corner   corner
	severity severity
	negated  bool
	final    bool // negation was decided by something stronger than a scope
	side     side
	either   bool // front or rear is still to be found out
	cured    bool // the phrase says that it is well
	busy     bool // corrections, see resolveBusy
	fixed    bool // the phrase itself names the phase
	clause   int
	hit      int // -1 for a copy of an earlier mention
	from, to int // bytes of the words
	at       int // token, gives the order
}

// A reader holds the state of one Read.
type reader struct {
	l        *language
	text     string
	t        []token
	m        *matcher
	hits     []hit
	took     []bool // by hit: its words are part of the report
	places   []hit  // all that were found, used or not
	clauses  []clause
	mentions []mention
	doubts   []hit // phrases that are hardly meant
	odds     odds
	report   Report
}

// Read says what a text reports. It never fails: what it does not know it lists
// as unused, and what it must not guess it asks. With several languages the one
// that knows most of the text reads it.
func (l *Lexicon) Read(text string) Report {
	r := reader{text: text, report: Report{Readings: []Reading{}, Unused: []string{}, Unsure: []Question{}}}
	most := -1
	for _, lang := range l.languages {
		t := lang.tokens(text)
		known := 0
		for i := range t {
			if t[i].word != unknownWord && t[i].word != numberWord && (i == 0 || t[i].from != t[i-1].from) {
				known += t[i].to - t[i].from // a contraction is one word
			}
		}
		if known > most {
			most, r.l, r.t = known, lang, t
		}
	}
	if r.l == nil {
		return r.report
	}
	r.report.Language = r.l.name
	r.read()
	r.doubtGone()
	r.sides()
	r.askDoubts()
	r.readings()
	r.conditions()
	r.unused()
	r.fine()
	return r.report
}

// read finds the mentions.
func (r *reader) read() {
	r.spell()
	r.find()
	r.split()
	r.gather()
	r.weigh()
	r.mention()
	r.negate()
	r.strengthen()
	r.place()
	r.weighPlaces()
	r.turnedRound()
	r.swallow()
	r.resolveBusy()
	r.resolveAxles()
	r.resolveDoubts()
	r.resolveWishes()
}

// spell replaces misspelt words, or asks.
func (r *reader) spell() {
	for i := range r.t {
		t := &r.t[i]
		if t.mark != 0 || t.word != unknownWord {
			continue
		}
		id, asks := r.l.correct(squeeze(t.norm, 1))
		if t.word = id; asks == nil {
			continue
		}
		q := Question{Words: r.text[t.from:t.to], Question: "which word is meant?", Candidates: []string{}}
		for _, a := range asks {
			q.Candidates = append(q.Candidates, r.l.lemmas[a])
		}
		slices.Sort(q.Candidates)
		r.report.Unsure = append(r.report.Unsure, q)
	}
}

// find matches the phrases. Where one is chosen that the second opinion doubts, it
// chooses again without it, so that its words may mean something else.
func (r *reader) find() {
	r.m = r.l.matcher(r.t)
	all := r.m.hits()
	for _, h := range all {
		if h.symptom == 0 && h.phase|phases(h.corner) != 0 {
			r.places = append(r.places, h)
		}
	}
	// "The rear track has made the oversteer disappear" is no rear that disappears.
	all = slices.DeleteFunc(all, func(h hit) bool {
		return h.symptom != 0 && r.l.goners[r.t[h.to-1].word] && h.size() < h.to-h.from && slices.ContainsFunc(all, func(q hit) bool {
			return q.symptom != 0 && q.from > h.from && q.to < h.to && q.own<<(q.from-h.from)&h.own == 0
		})
	})
	// "No rear slide" is no lack of rear.
	all = slices.DeleteFunc(all, func(h hit) bool {
		return h.symptom.balance() && h.size() == 2 && r.l.negators[r.t[h.from].word] && slices.ContainsFunc(all, func(q hit) bool {
			return q.from == h.to-1 && q.to > h.to && q.symptom != 0 && !q.cured && !q.over && q.size() == q.to-q.from
		})
	})
	// "Turn in the slow ones" is no turn-in.
	r.places = slices.DeleteFunc(r.places, func(p hit) bool {
		return p.phase != 0 && slices.ContainsFunc(r.places, func(q hit) bool { return q.phase == 0 && q.from == p.from && q.to > p.to && q.content > p.content })
	})
	if r.l.weights != nil {
		r.odds = r.l.odds(r.t)
	}
	r.hits = r.pick(all)
	for doubts := r.doubtful(r.hits); len(doubts) > 0; doubts = r.doubtful(r.hits) {
		r.doubts = append(r.doubts, doubts...)
		all = slices.DeleteFunc(all, func(h hit) bool {
			return slices.ContainsFunc(doubts, func(d hit) bool { return d.from == h.from && d.order == h.order })
		})
		r.hits = r.pick(all)
	}
	r.placeDenied(all)
	r.took = make([]bool, len(r.hits))
	r.listed()
	r.goneFrom()
	r.inner()
}

// pick chooses among the phrases found. Those with a need count only if another one
// meets it.
func (r *reader) pick(all []hit) []hit {
	plain := slices.DeleteFunc(slices.Clone(all), func(h hit) bool { return h.needs != 0 })
	hits := choose(plain, len(r.t))
	if len(plain) == len(all) {
		return hits
	}
	var have uint32
	for _, h := range hits {
		if h.symptom != 0 && !h.cured && !h.over {
			have |= 1 << h.symptom
		}
	}
	return choose(slices.DeleteFunc(slices.Clone(all), func(h hit) bool { return h.needs != 0 && h.needs&have == 0 }), len(r.t))
}

// placeDenied takes "it washes out at the apex, not going in" as the place where
// it does not, and not as a kart that does not go in.
func (r *reader) placeDenied(all []hit) {
	told := false
	for n := 0; n < len(r.hits); n++ {
		h := r.hits[n]
		if h.symptom == 0 || !told || h.from == 0 || r.t[h.from-1].mark == 0 || h.to < len(r.t) && r.t[h.to].mark == 0 {
			told = told || h.symptom != 0
			continue
		}
		not := slices.IndexFunc(all, func(o hit) bool { return o.role == roleNot && o.from == h.from && o.to < h.to })
		if not < 0 {
			continue
		}
		place := slices.IndexFunc(r.places, func(o hit) bool { return o.phase&^straight != 0 && o.from == all[not].to && o.to == h.to })
		// "No front at the apex, no back on the gas" has no back.
		if place >= 0 && !slices.ContainsFunc(all, func(o hit) bool { return o.axle != 0 && o.from == r.places[place].from }) {
			r.hits = slices.Replace(r.hits, n, n+1, all[not], r.places[place])
			n++
		}
	}
}

// goneFrom takes "the chatter at the front is gone" as the end of the chatter, not of
// the front.
func (r *reader) goneFrom() {
	for n := 1; n < len(r.hits); n++ {
		h, before := &r.hits[n], &r.hits[n-1]
		if (h.symptom != 0 || h.tyres != "") && h.to-h.from > 1 && r.l.goners[r.t[h.to-1].word] && before.symptom != 0 && !before.cured && !before.over &&
			before.to <= h.from && r.t[before.to].mark == 0 && r.words(before.to, h.from) <= 2 {
			h.effect = &effect{role: roleGone}
		}
	}
}

// listed takes "tight, twisty layout" as said of the track: a word that may be of
// the kart or of the track is of the track before another one that is.
func (r *reader) listed() {
	for n := 0; n+1 < len(r.hits); n++ {
		h, next := &r.hits[n], &r.hits[n+1]
		if h.symptom == 0 || h.size() > 1 || next.track == "" || next.from != h.to+1 || r.t[h.to].mark != ',' {
			continue
		}
		for p := range r.l.phrases {
			if q := &r.l.phrases[p]; q.effect.track == next.track && len(q.words) > 1 && q.words[0].kind == exactly && q.words[0].id == r.t[h.from].word {
				h.effect = q.effect
				break
			}
		}
	}
}

// inner gives a phrase the place that is named within it: "reacts too quickly at
// turn-in", "out of the slow ones".
func (r *reader) inner() {
	for n := range r.hits {
		h := &r.hits[n]
		if h.symptom == 0 && !h.busy && (h.phase == 0 || h.corner != 0) || h.instead != 0 {
			continue
		}
		e := *h.effect
		for _, p := range r.places {
			if p.from < h.from || p.to > h.to || p.own<<(p.from-h.from)&h.own == 0 {
				continue
			}
			phase, corner := p.phase, p.corner
			if (h.symptom == bind || h.symptom == overLift) && p.from > h.from && p.to < h.to {
				phase = 0 // "does not come off the floor" is no coming off
			}
			if p.size() < p.to-p.from {
				corner = anyCorner // "slow to turn" is no slow turn
			}
			if p.content < 2 || !showsOnStraight[h.symptom] && phase == straight ||
				(h.symptom == bind || h.symptom == overLift) && phase&(mid|exit) == 0 {
				phase = 0
			}
			if h.phase == 0 {
				e.phase |= phase
			}
			e.corner = max(e.corner, corner)
		}
		if e.phase&mid != 0 || e.phase&braking != 0 {
			e.phase &^= entry
		}
		if h.phase == 0 {
			e.phase &^= elsewhere[h.symptom]
		}
		if e != *h.effect {
			h.effect = &e
		}
	}
}

// split parts the text into clauses.
func (r *reader) split() {
	starts := make(map[int]int)
	for n, h := range r.hits {
		starts[h.from] = n
	}
	cur := clause{lead: leadStart}
	sentence := 0
	next := func(at int, ld lead) {
		if cur.hasWords(r.t) {
			r.clauses = append(r.clauses, cur)
			cur = clause{from: at, to: at, lead: ld, sentence: sentence}
			return
		}
		// Nothing stood between two boundaries: the stronger one counts.
		cur.from, cur.to, cur.sentence = at, at, sentence
		if cur.lead != leadStart || ld == leadBut {
			cur.lead = max(cur.lead, ld)
		}
		if ld == leadStart {
			cur.lead = leadStart
		}
	}
	for i := range r.t {
		switch t := &r.t[i]; {
		case t.mark == '.' || t.mark == '!' || t.mark == '?' || t.mark == ';':
			if cur.hasWords(r.t) {
				sentence++
			}
			next(i+1, leadStart)
			continue
		case t.mark == ',' || t.mark == ':' || t.mark == '-':
			next(i+1, leadComma)
			continue
		case t.mark == '+' || t.mark == '/':
			next(i+1, leadAnd)
			continue
		}
		if n, ok := starts[i]; ok {
			switch h := &r.hits[n]; h.role {
			case roleAnd:
				next(h.to, leadAnd)
				r.took[n] = true
			case roleBut:
				next(h.to, leadBut)
				r.took[n] = true
			case roleOnly:
				if r.exceptAfter(cur.hits) {
					next(i, leadComma)
				}
			case roleBecause:
				next(h.to, leadReason)
				r.took[n] = true
			case roleWhen:
				next(i, leadComma)
				r.took[n] = true
			}
			cur.hits = append(cur.hits, n)
		} else if k := len(cur.hits); k == 2 && r.l.is(r.t[i].word, subject) && r.hits[cur.hits[0]].role == roleNot && r.hits[cur.hits[1]].axle != 0 &&
			r.hits[cur.hits[1]].to == i && r.words(cur.from, i) <= r.hits[cur.hits[0]].size()+r.hits[cur.hits[1]].size() {
			next(i, leadComma) // "not the back its the front that slides"
		}
		cur.to = i + 1
	}
	if cur.hasWords(r.t) {
		r.clauses = append(r.clauses, cur)
	}
	r.however()
	for c := range r.clauses {
		cl := &r.clauses[c]
		for _, n := range cl.hits {
			switch r.hits[n].role {
			case roleFine:
				cl.fine = true
			case roleNow, roleChange, roleCure:
				cl.change = true
			}
		}
	}
}

// however takes "off the hairpins, however, the engine bogs" as a contrast before
// the place and not after it.
func (r *reader) however() {
	for c := 1; c < len(r.clauses); c++ {
		before, cl := &r.clauses[c-1], &r.clauses[c]
		if cl.lead != leadBut || cl.sentence != before.sentence || r.t[cl.from-1].mark != ',' || r.t[before.to].mark != ',' {
			continue
		}
		place := false
		for _, n := range before.hits {
			h := &r.hits[n]
			place = place || h.placed()
			if h.symptom != 0 || h.role == roleFine {
				place = false
				break
			}
		}
		if place {
			before.lead, cl.lead = leadBut, leadComma
		}
	}
}

// exceptAfter reports whether the hits of a clause deny a symptom in some place, so
// that "only" begins a new one: "it does not hop in the slow ones only in the quick one".
func (r *reader) exceptAfter(hits []int) bool {
	denies, symptom := false, false
	for _, n := range hits {
		h := &r.hits[n]
		switch {
		case h.role == roleNot:
			denies = true
		case h.symptom != 0:
			symptom = true
		case h.placed() && denies && symptom:
			return true
		}
	}
	return false
}

// gather looks for symptoms that are said in scattered words: in the clauses that
// have no symptom phrase, and then in the sentences that have none.
func (r *reader) gather() {
	told := make(map[int]bool) // sentences that have a symptom, or deny something
	for c := range r.clauses {
		cl := &r.clauses[c]
		if best, ok := r.scattered(c, c); ok && !r.beginsGone(c) {
			r.addHit(c, best)
			told[cl.sentence] = true
		}
		for _, n := range cl.hits {
			h := &r.hits[n]
			told[cl.sentence] = told[cl.sentence] || h.symptom != 0 && h.instead == 0 || h.either || h.busy ||
				h.role == roleCure || h.role == roleGone || h.role == roleFine
		}
	}
	for c := 0; c < len(r.clauses); {
		last := c
		for last+1 < len(r.clauses) && r.clauses[last+1].sentence == r.clauses[c].sentence {
			last++
		}
		if !told[r.clauses[c].sentence] && last > c {
			if best, ok := r.scattered(c, last); ok && !r.deniedOutside(&best, c, last) {
				r.addHit(r.clauseAt(best.from), best)
			}
		}
		c = last + 1
	}
	for c := 1; c < len(r.clauses); c++ {
		if best, ok := r.carried(c); ok {
			r.addHit(c, best)
		}
	}
	if len(r.hits) > len(r.took) {
		r.order()
	}
}

// beginsGone reports whether a clause has no subject of its own and says of
// another's that it is gone: "the chatter, I think, has gone with the new front".
func (r *reader) beginsGone(c int) bool {
	for i := r.clauses[c].from; i < r.clauses[c].to; i++ {
		if r.l.is(r.t[i].word, fills) {
			continue
		}
		for _, n := range r.clauses[c].hits {
			if h := &r.hits[n]; h.from == i && (h.role == roleGone || h.role == roleCure) {
				return true
			}
		}
		return false
	}
	return false
}

// deniedOutside reports whether the clauses from c to last have a negator that is
// none of the hit's own words.
func (r *reader) deniedOutside(h *hit, c, last int) bool {
	for i := c; i <= last; i++ {
		for _, n := range r.clauses[i].hits {
			if o := &r.hits[n]; o.role == roleNot && !h.covers(o) {
				return true
			}
		}
	}
	return false
}

// carried returns the best of the together sets of which clause c says a part and
// the clause before, whose subject it goes on with, the rest: "the steering was
// heavy, now it is too light". The hit holds the words of clause c alone.
func (r *reader) carried(c int) (best hit, ok bool) {
	first := c
	for first > 0 && r.goesOn(first) {
		first--
	}
	cl, before := &r.clauses[c], &r.clauses[first]
	told := slices.ContainsFunc(before.hits, func(n int) bool { return r.hits[n].symptom != 0 })
	if cl.fine || cl.sentence != before.sentence || cl.lead == leadReason || first == c ||
		told && cl.lead != leadBut && !r.says(c, roleNow) {
		return hit{}, false
	}
	for _, n := range cl.hits {
		switch h := &r.hits[n]; h.role {
		case roleIgnore, rolePlain, roleNot, roleGone, roleCure, roleStill, roleThen:
			return hit{}, false
		default:
			if h.symptom != 0 || h.either || h.busy || h.axle != 0 {
				return hit{}, false
			}
		}
	}
	taken := r.taken()
	for i := range r.l.together {
		g := &r.l.together[i]
		if g.phase != 0 {
			continue
		}
		h, all := r.m.all(g, before.from, cl.to, taken)
		if !all || h.from >= cl.from {
			continue
		}
		from := max(0, cl.from-h.from)
		if h.own >>= from; h.own == 0 {
			continue
		}
		h.from, h.content = h.from+from, 0
		for k := h.from; k < h.to; k++ {
			if h.own>>(k-h.from)&1 == 1 && !r.l.is(r.t[k].word, fills) {
				h.content++
			}
		}
		if h.content > best.content {
			best, ok = h, true
		}
	}
	return best, ok
}

// goesOn reports whether a clause has the subject of the one before: it begins
// with a pronoun, or with no subject at all after "and then".
func (r *reader) goesOn(c int) bool {
	cl := &r.clauses[c]
	for i := cl.from; i < cl.to; i++ {
		switch w := r.t[i].word; {
		case r.l.is(w, subject):
			return true
		case r.t[i].mark != 0, r.l.is(w, joins), r.l.is(w, fills):
		default:
			return false
		}
	}
	return false
}

// scattered returns the best of the together sets within the clauses from c to
// last, if none of these has a symptom phrase or says that all is well.
func (r *reader) scattered(c, last int) (best hit, ok bool) {
	var have phases
	for i := c; i <= last; i++ {
		if r.clauses[i].fine {
			return hit{}, false
		}
		for _, n := range r.clauses[i].hits {
			h := &r.hits[n]
			have |= h.phase
			if h.symptom != 0 && h.instead == 0 || h.role == roleIgnore {
				return hit{}, false
			}
		}
	}
	plain := r.taken()
	for i := range r.l.together {
		g := &r.l.together[i]
		if g.phase&^have != 0 {
			continue
		}
		taken := plain
		if g.phase != 0 {
			// What says the place says nothing else: "flat out".
			taken = slices.Clone(plain)
			for j := c; j <= last; j++ {
				for _, n := range r.clauses[j].hits {
					if h := &r.hits[n]; h.phase&g.phase != 0 {
						h.mark(taken)
					}
				}
			}
		}
		if h, all := r.m.all(g, r.clauses[c].from, r.clauses[last].to, taken); all && h.content > best.content {
			best, ok = h, true
		}
	}
	return best, ok
}

// taken marks the tokens that say a corner, a condition, or nothing.
func (r *reader) taken() []bool {
	out := make([]bool, len(r.t))
	for n := range r.hits {
		h := &r.hits[n]
		if h.corner == 0 && h.speed == 0 && (h.phase == 0 || h.content < 3) && h.track == "" && h.grip == "" && h.tyres == "" && h.role != roleIgnore && h.role != rolePlain {
			continue
		}
		h.mark(out)
	}
	return out
}

// mark sets the tokens of a hit.
func (h *hit) mark(tokens []bool) {
	for own := h.own; own != 0; own &= own - 1 {
		tokens[h.from+bits.TrailingZeros64(own)] = true
	}
}

// addHit adds a hit to clause c; the words that it uses lose their own meaning.
func (r *reader) addHit(c int, h hit) {
	for n := range r.hits {
		if o := &r.hits[n]; h.covers(o) {
			o.effect = &effect{}
		}
	}
	r.clauses[c].hits = append(r.clauses[c].hits, len(r.hits))
	r.hits = append(r.hits, h)
}

// covers reports whether h uses all words of o, which is no place.
func (h *hit) covers(o *hit) bool {
	if o.from < h.from || o.to > h.to || o.phase != 0 || o.corner != 0 || o.speed != 0 {
		return false
	}
	own := o.own << (o.from - h.from)
	return own&h.own == own
}

// order brings the hits back into the order of the text.
func (r *reader) order() {
	by := make([]int, len(r.hits))
	for n := range by {
		by[n] = n
	}
	slices.SortStableFunc(by, func(a, b int) int { return cmp.Compare(r.hits[a].from, r.hits[b].from) })
	hits := make([]hit, len(by))
	took := make([]bool, len(by))
	to := make([]int, len(by))
	for n, old := range by {
		hits[n], to[old] = r.hits[old], n
		took[n] = old < len(r.took) && r.took[old]
	}
	r.hits, r.took = hits, took
	for c := range r.clauses {
		for k, n := range r.clauses[c].hits {
			r.clauses[c].hits[k] = to[n]
		}
		slices.Sort(r.clauses[c].hits)
	}
}

func (c *clause) hasWords(t []token) bool {
	for i := c.from; i < c.to; i++ {
		if t[i].mark == 0 {
			return true
		}
	}
	return false
}
