package complaint

import (
	"encoding/binary"
	"errors"
	"hash/fnv"
	"math"
	"slices"
)

// Phrases say what is in a text; weights are a second opinion on it. They are
// learnt from labelled sentences, one logistic regression for each symptom over the
// words of the text and their neighbours, and one each for whether a symptom is gone
// and for every part of the corner over the words around it; they know nothing of
// clauses or scopes. What the phrases read against all odds is not used, what they
// miss although the odds are high is read from the words that say it most, a place
// follows the odds where these are clear, and where the two differ on whether a
// symptom is gone, the driver is asked.
const (
	hardly = 0.003 // a symptom read from phrases that is less likely is not meant
	surely = 0.75  // a symptom that no phrase names, and that is more likely, is meant
	wholly = 0.95  // the same, for a balance where a phrase names the other one
	meant  = 3.0   // but not if its own words speak for it so much, as logarithm of odds
	maybe  = 0.3   // and is asked about from here on, if nothing else was understood
	there  = 0.6   // a symptom without a place is put where it is more likely than this,
	unlike = 0.3   // if it is less likely than this to have none
	moved  = 0.97  // a symptom with a place is moved where it is more likely than this,
	never  = 0.01  // if it is less likely than this where it was
	differ = 0.9   // what is there is asked about if it is more likely than this to be gone, and the other way round
)

// Weights of other things stand after those of the symptoms: that a symptom is there
// no longer, or not at all; and where it is, for each of phaseNames and for none.
const (
	gone     = len(symptomTitles)
	isAt     = gone + 1
	isNot    = isAt + len(phaseNames)
	outcomes = isNot + 1
)

// weights is a file of weights: of every feature, by its hash, the symptoms that it
// speaks for or against.
//
//	4 bytes  "kww1"
//	4 bytes  number of features n
//	for each outcome but 0: a float32, the unit of its weights
//	n uint32, the hashes of the features, rising
//	n + 1 uint32, where the entries of each feature begin, counted in entries
//	entries of two bytes: the outcome, and its weight in units as an int8
//
// All numbers are little-endian.
type weights struct {
	units                   [outcomes]float64
	hashes, starts, entries []byte
	n                       int
}

const weightsMagic = "kww1"

var errWeights = errors.New("this is no file of weights, or it is cut off")

func parseWeights(data []byte) (*weights, error) {
	head := len(weightsMagic) + 4 + 4*(outcomes-1)
	if len(data) < head || string(data[:4]) != weightsMagic {
		return nil, errWeights
	}
	w := &weights{n: int(binary.LittleEndian.Uint32(data[4:]))}
	for s := 1; s < outcomes; s++ {
		w.units[s] = float64(math.Float32frombits(binary.LittleEndian.Uint32(data[4+4*s:])))
	}
	rest := data[head:]
	if w.n > len(rest)/8 || len(rest) < 8*w.n+4 {
		return nil, errWeights
	}
	w.hashes, w.starts, w.entries = rest[:4*w.n], rest[4*w.n:8*w.n+4], rest[8*w.n+4:]
	last := uint32(0)
	for i := range w.n + 1 {
		at := binary.LittleEndian.Uint32(w.starts[4*i:])
		if at < last || int(at) > len(w.entries)/2 {
			return nil, errWeights
		}
		last = at
	}
	for i := 0; i+1 < len(w.entries); i += 2 {
		if s := w.entries[i]; s == 0 || int(s) >= outcomes {
			return nil, errWeights
		}
	}
	return w, nil
}

// find returns the entries of a feature; ok is false for a feature never met.
func (w *weights) find(hash uint32) (entries []byte, ok bool) {
	lo, hi := 0, w.n
	for lo < hi {
		m := int(uint(lo+hi) >> 1)
		switch h := binary.LittleEndian.Uint32(w.hashes[4*m:]); {
		case h == hash:
			from, to := binary.LittleEndian.Uint32(w.starts[4*m:]), binary.LittleEndian.Uint32(w.starts[4*m+4:])
			return w.entries[2*from : 2*to], true
		case h < hash:
			lo = m + 1
		default:
			hi = m
		}
	}
	return nil, false
}

// entry decodes the first of some entries: an outcome, and how much it is spoken for.
// No product is fused with a sum, so that every machine reads the same.
func (w *weights) entry(entries []byte) (outcome int, v float64) {
	o := int(entries[0])
	return o, float64(float64(int8(entries[1])) * w.units[o])
}

// logistic turns a sum of weights into a chance.
func logistic(sum float64) float64 { return 1 / (1 + math.Exp(-sum)) }

// A feature is a word, a part of a word, or two or three words in their order, as a
// hash; from and to are its tokens.
type feature struct {
	hash     uint32
	from, to int
	word     bool // it is a whole word
}

const (
	weighReach = 4 // words between which a pair is a feature
	weighPart  = 3 // letters of a part of a word
)

func hashed(parts ...string) uint32 {
	h := fnv.New32a()
	for _, p := range parts {
		h.Write([]byte(p))
		h.Write([]byte{0})
	}
	return h.Sum32()
}

// weighed is what a token counts as: its lemma, so that the forms of a word are one.
func (l *language) weighed(t *token) string {
	switch {
	case t.mark != 0:
		return string(rune(t.mark))
	case t.isNumber:
		return "#"
	case t.word < firstWord:
		return "~" + t.norm
	}
	return l.lemmas[t.word]
}

// features lists what a text is weighed by, each once. Silent words are left out, and
// no pair reaches over a mark.
func (l *language) features(t []token) []feature {
	words := make([]string, 0, len(t))
	at := make([]int, 0, len(t))
	for i := range t {
		w := ""
		if t[i].mark == 0 {
			if l.is(t[i].word, silent) {
				continue
			}
			w = l.weighed(&t[i])
		}
		words, at = append(words, w), append(at, i)
	}
	seen := make(map[uint32]bool, 32*len(words)+1)
	var out []feature
	add := func(from, to int, parts ...string) {
		if k := hashed(parts...); !seen[k] {
			seen[k] = true
			out = append(out, feature{k, from, to, len(parts) == 1})
		}
	}
	add(0, 0) // how often the symptom is met at all
	for i, w := range words {
		if w == "" {
			continue
		}
		a := at[i]
		add(a, a+1, w)
		if n := t[a].norm; !t[a].isNumber && len(n) > weighPart {
			n = "^" + n + "$"
			for k := 0; k+weighPart <= len(n); k++ {
				add(a, a+1, "%", n[k:k+weighPart])
			}
		}
		for d := 1; d <= weighReach && i+d < len(words) && words[i+d] != ""; d++ {
			kind := "_"
			if d == 1 {
				kind = " "
			}
			add(a, at[i+d]+1, w, kind, words[i+d])
			if d == 2 {
				add(a, at[i+2]+1, w, words[i+1], words[i+2])
			}
		}
	}
	return out
}

// odds are the chances of each symptom that a text speaks of it, as there or as gone.
type odds struct {
	text   []feature
	chance [len(symptomTitles)]float64
	says   [][len(symptomTitles)]float64 // by token: how much it speaks for each symptom
	known  []bool                        // by token: the word was met in the labelled sentences
}

func (l *language) odds(t []token) odds {
	o := odds{text: l.features(t), says: make([][len(symptomTitles)]float64, len(t)), known: make([]bool, len(t))}
	for _, f := range o.text {
		entries, ok := l.weights.find(f.hash)
		for ; len(entries) > 0; entries = entries[2:] {
			s, v := l.weights.entry(entries)
			if s >= gone {
				continue
			}
			o.chance[s] += v
			for k := f.from; k < f.to; k++ {
				o.says[k][s] += v / float64(f.to-f.from)
			}
		}
		if f.word {
			o.known[f.from] = ok
		}
	}
	for s := range o.chance {
		o.chance[s] = logistic(o.chance[s])
	}
	return o
}

// weigh asks for the second opinion: it takes symptoms from phrases that hardly mean
// them, and adds symptoms that the text surely speaks of.
func (r *reader) weigh() {
	if r.l.weights == nil {
		return
	}
	var have uint32
	for n := range r.hits {
		h := &r.hits[n]
		switch {
		case h.either || h.busy || h.instead != 0:
			have |= 1<<understeer | 1<<oversteer | 1<<wander | 1<<darting
		case h.symptom == 0:
		case r.doubt(h): // said in scattered words
			r.doubts = append(r.doubts, *h)
			h.effect = &effect{}
		default:
			have |= 1 << h.symptom
		}
	}
	added := false
	for s := symptom(1); int(s) < len(symptomTitles) && len(r.report.Unsure) == 0; s++ {
		need := surely
		if s.balance() && have&(1<<(understeer+oversteer-s)) != 0 {
			need = wholly
		}
		if s != asymmetric && r.odds.chance[s] > need && have&(1<<s) == 0 { // sides are counted later
			added = r.propose(s) || added
		}
	}
	if added {
		r.order()
	}
}

// doubt reports whether a hit's symptom is hardly meant: the text as a whole speaks
// against it, and its own words do not speak for it much. A word that was never met
// is trusted, and so is what ends a text as a short sentence, as an answer does.
func (r *reader) doubt(h *hit) bool {
	if h.from > 0 && r.t[h.from-1].mark == '.' && len(r.t)-h.from <= 5 {
		return false
	}
	return h.symptom != 0 && !h.cured && !h.over && !h.either && !h.busy && h.instead == 0 && r.odds.chance[h.symptom] < hardly && r.known(h) && r.speaks(h) < meant
}

// doubtful returns the hits that are hardly meant.
func (r *reader) doubtful(hits []hit) (out []hit) {
	if r.l.weights == nil {
		return nil
	}
	for i := range hits {
		if r.doubt(&hits[i]) {
			out = append(out, hits[i])
		}
	}
	return out
}

// speaks returns how much the words of a hit speak for its symptom by themselves.
func (r *reader) speaks(h *hit) (sum float64) {
	for i := h.from; i < h.to; i++ {
		if h.own>>(i-h.from)&1 == 1 {
			sum += r.odds.says[i][h.symptom]
		}
	}
	return sum
}

// known reports whether each word of a hit that is no filler was met before.
func (r *reader) known(h *hit) bool {
	for i := h.from; i < h.to; i++ {
		if h.own>>(i-h.from)&1 == 1 && !r.odds.known[i] && !r.l.is(r.t[i].word, fills) {
			return false
		}
	}
	return true
}

// propose adds a hit for a symptom: in the clause that speaks for it most, the words
// that do, of those that mean nothing else.
func (r *reader) propose(s symptom) bool {
	taken := r.taken()
	for n := range r.hits {
		if h := &r.hits[n]; h.symptom != 0 || h.role != roleNone || h.severity != unsaid || h.axle != 0 {
			h.mark(taken)
		}
	}
	best, most := -1, 0.0
	for c := range r.clauses {
		sum := 0.0
		for i := r.clauses[c].from; i < r.clauses[c].to; i++ {
			sum += max(0, r.odds.says[i][s])
		}
		if sum > most {
			best, most = c, sum
		}
	}
	if best < 0 {
		return false
	}
	cl := &r.clauses[best]
	var by []int
	for i := cl.from; i < cl.to; i++ {
		if r.t[i].mark == 0 && !taken[i] && !r.l.is(r.t[i].word, silent) && r.odds.says[i][s] >= most/8 {
			by = append(by, i)
		}
	}
	if len(by) == 0 {
		return false
	}
	h := hit{effect: &effect{symptom: s}, from: by[0], to: by[len(by)-1] + 1, content: len(by), spread: true, weighed: true}
	if h.to-h.from > 64 {
		return false
	}
	for _, i := range by {
		h.own |= 1 << (i - h.from)
	}
	r.addHit(best, h)
	return true
}

// askDoubts asks about what was not read after all, or is only likely, if nothing
// else was understood.
func (r *reader) askDoubts() {
	if len(r.mentions) > 0 || len(r.report.Unsure) > 0 || r.l.weights == nil {
		return
	}
	for _, h := range r.doubts {
		r.report.Unsure = append(r.report.Unsure, Question{Words: r.text[r.t[h.from].from:r.t[h.to-1].to], Question: "is this meant?",
			Candidates: []string{symptomNames[h.symptom]}})
	}
	if len(r.report.Unsure) > 0 {
		return
	}
	var likely []symptom
	for s := symptom(1); int(s) < len(symptomTitles); s++ {
		if r.odds.chance[s] > maybe {
			likely = append(likely, s)
		}
	}
	if len(likely) == 0 || slices.ContainsFunc(r.clauses, func(c clause) bool { return c.fine }) {
		return
	}
	q := Question{Words: r.text, Question: "is this meant?", Candidates: []string{}}
	for _, s := range likely {
		q.Candidates = append(q.Candidates, symptomNames[s])
	}
	r.report.Unsure = append(r.report.Unsure, q)
}

const (
	aroundReach = 14 // words on each side by which it is weighed whether a symptom is gone
	aroundMarks = 2  // marks that these reach over
)

// adder returns a function that adds features to a list, each once.
func adder(list *[]uint32) func(parts ...string) {
	seen := make(map[uint32]bool)
	return func(parts ...string) {
		if k := hashed(parts...); !seen[k] {
			seen[k] = true
			*list = append(*list, k)
		}
	}
}

// around lists what it is weighed by whether a mention is gone, each once: the words
// of its phrase and between them, and those before and after it by how near they are
// and how many marks stand between.
func (r *reader) around(m *mention) []uint32 {
	h := &r.hits[m.hit]
	var out []uint32
	add := adder(&out)
	add("gone")
	add("gone of", symptomNames[m.symptom])
	if h.cured || h.over {
		add("gone, as the phrase says")
	}
	for i := h.from; i < h.to; i++ {
		if r.t[i].mark != 0 || r.l.is(r.t[i].word, silent) {
			continue
		}
		if h.own>>(i-h.from)&1 == 1 {
			add("own", r.l.weighed(&r.t[i]))
		} else {
			add("within", r.l.weighed(&r.t[i]))
		}
	}
	look := func(side string, from, step int) {
		marks, last := "", ""
		for i, n := from, 0; i >= 0 && i < len(r.t) && n < aroundReach && len(marks) <= aroundMarks; i += step {
			t := &r.t[i]
			if t.mark == 0 && r.l.is(t.word, silent) {
				continue
			}
			n++
			w := r.l.weighed(t)
			if t.mark != 0 {
				marks += w
			}
			near := "far"
			if n <= 2 {
				near = "near"
			} else if n <= 6 {
				near = "some"
			}
			add(side, marks, near, w)
			add(side, marks, w)
			add(side, last, w, "pair")
			if marks != "" {
				add(side, "beyond", w)
			}
			last = w
		}
	}
	look("before", h.from-1, -1)
	look("after", h.to, 1)
	return out
}

// doubtGone asks about the mentions of which the phrases say that they are there, or
// gone, and the words around them surely the contrary, but not where the denial
// stands beside the symptom. Where no phrase names the symptom the words around must
// surely agree, and that it is gone is always asked.
func (r *reader) doubtGone() {
	if r.l.weights == nil {
		return
	}
	drop := make([]bool, len(r.mentions))
	for i := range r.mentions {
		m := &r.mentions[i]
		if m.symptom == 0 || m.hit < 0 || r.alone(m) {
			continue
		}
		p := r.l.weights.chances(r.around(m))[gone]
		if m.negated {
			p = 1 - p
		}
		switch { // p is the chance that it is the other way round
		case r.hits[m.hit].weighed: // no phrase says so, so that it must be sure
			if !m.negated && p < 1-differ {
				continue
			}
		case p < differ, m.negated && r.deniedBeside(m), !m.negated && m.final:
			continue
		}
		drop[i] = true
		name := candidate(m.symptom, m.phase)
		r.report.Unsure = append(r.report.Unsure, Question{Words: r.text[m.from:m.to], Question: "is it there, or is it gone?", Candidates: []string{name, "no " + name}})
	}
	r.drop(drop)
}

// alone reports whether a symptom is a whole sentence after others, as the answer to a
// question is.
func (r *reader) alone(m *mention) bool {
	c := m.clause
	return c > 0 && c == len(r.clauses)-1 && r.clauses[c].lead == leadStart && r.bare(c)
}

// deniedBeside reports whether a word that denies, or says that something is over,
// stands within a symptom's words or right beside them.
func (r *reader) deniedBeside(m *mention) bool {
	h := &r.hits[m.hit]
	from, to := h.from, h.to
	for n := 0; from > 0 && r.t[from-1].mark == 0 && n < 2; from-- {
		n += btoi(!r.l.is(r.t[from-1].word, fills))
	}
	for n := 0; to < len(r.t) && r.t[to].mark == 0 && n < 2; to++ {
		n += btoi(!r.l.is(r.t[to].word, fills))
	}
	for i := from; i < to; i++ {
		if w := r.t[i].word; r.l.negators[w] || r.l.goners[w] {
			return true
		}
	}
	return h.over || h.cured
}

// chances returns the chance of every outcome from features.
func (w *weights) chances(features []uint32) (p [outcomes]float64) {
	for _, f := range features {
		entries, _ := w.find(f)
		for ; len(entries) > 0; entries = entries[2:] {
			o, v := w.entry(entries)
			p[o] += v
		}
	}
	for o := range p {
		p[o] = logistic(p[o])
	}
	return p
}

// whereabouts lists what it is weighed by where a mention is: what is around it, what
// the text says, and the places that it names.
func (r *reader) whereabouts(m *mention, text []feature) []uint32 {
	out := r.around(m)
	said := hashed("text")
	for _, f := range text {
		out = append(out, said^f.hash)
	}
	add := adder(&out)
	add("place of", symptomNames[m.symptom])
	for n := range r.hits {
		h := &r.hits[n]
		if h.phase == 0 {
			continue
		}
		where := string(rune('0' + h.phase))
		switch {
		case n == m.hit:
			add("own place", where)
		case h.symptom == 0:
			side := "place before"
			if h.from > m.at {
				side = "place after"
			}
			if r.clauseAt(h.from) == m.clause {
				side += " it"
			}
			add(side, where)
			add("place of", symptomNames[m.symptom], where)
		}
	}
	return out
}

// weighPlaces gives a place to the mentions that the words around them put there, and
// moves those that they surely put elsewhere.
func (r *reader) weighPlaces() {
	if r.l.weights == nil {
		return
	}
	for i := range r.mentions {
		m := &r.mentions[i]
		if m.symptom == 0 || m.hit < 0 {
			continue
		}
		p := r.l.weights.chances(r.whereabouts(m, r.odds.text))
		best, here := isNot, 0.0
		if m.phase == 0 {
			here = p[isNot]
		}
		for k := range phaseNames {
			if elsewhere[m.symptom]&(1<<k) == 0 && p[isAt+k] > p[best] {
				best = isAt + k
			}
			if m.phase&(1<<k) != 0 {
				here = max(here, p[isAt+k])
			}
		}
		need, most := moved, never
		if m.phase == 0 {
			need, most = there, unlike
		}
		if p[best] > need && here < most {
			if m.phase = 0; best != isNot {
				m.phase = 1 << (best - isAt)
			}
		}
	}
}
