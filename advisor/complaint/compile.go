package complaint

import (
	"maps"
	"slices"
	"strconv"
	"strings"

	"kartwright/rules/diag"
	"kartwright/rules/source"
	"kartwright/rules/tables"
)

// The keys of a word file's tables.
var (
	topKeys = []string{"asides", "breaks", "class", "contractions", "empty", "extends", "fillers", "format", "forms",
		"joins", "language", "nouns", "numbers", "ordinary", "phrase", "pronouns", "spelling", "spoilers", "subjects", "title", "together"}
	spellingKeys = []string{"ask", "endings", "once", "twice", "words"}
	phraseKeys   = []string{"axle", "before", "beside", "busy", "corner", "cured", "either", "grip", "instead_of", "needs",
		"over", "phase", "role", "severity", "side", "speed", "symptom", "track", "tyres", "words"}
)

// A compiler turns the files of one language into a language.
type compiler struct {
	*loader
	l        *language
	classes  map[string]int32
	classAt  []source.Span
	cache    map[string][]element // elements of the words of phrases
	arena    []element            // room for the elements of phrases
	patterns [][]element          // of the line compiled last
}

// compile builds the language of files, each of which comes after those that it
// extends.
func compile(ld *loader, name string, files []*file) *language {
	size := 0 // bytes; the shares below are those of the shipped files
	for _, f := range files {
		size += len(f.src.Data)
	}
	c := &compiler{
		loader: ld,
		l: &language{
			name:         name,
			words:        make(map[string]int32, size/80),
			lemmas:       make([]string, firstWord, int(firstWord)+size/70),
			flags:        make([]flags, firstWord, int(firstWord)+size/70),
			contractions: make(map[string][]string, 128),
			numbers:      make(map[string]float64, 64),
			nouns:        make(map[string]bool),
			asks:         make(map[[2]int32]bool),
			negators:     make(map[int32]bool),
			goners:       make(map[int32]bool),
			phrases:      make([]phrase, 0, size/24),
		},
		classes: make(map[string]int32),
		cache:   make(map[string][]element, size/110),
		arena:   make([]element, 0, size/7),
	}
	for _, f := range files {
		ld.allow(f.src.Root(), topKeys)
		c.wordLists(f.src.Root())
	}
	for _, f := range files {
		if f.weights != nil {
			c.l.weights = f.weights
		}
		c.classNames(ld.table(f.src.Root().Entry("class")))
	}
	for _, f := range files {
		c.classTable(f.src.Root().Entry("class"))
	}
	c.firstWords()
	for _, f := range files {
		for _, t := range ld.list(f.src.Root().Entry("phrase")) {
			c.phraseTable(t)
		}
		for _, t := range ld.list(f.src.Root().Entry("together")) {
			c.togetherTable(t)
		}
	}
	for i, f := range files {
		t := ld.table(f.src.Root().Entry("spelling"))
		c.spelling(t)
		if i > 0 && t != nil {
			c.tooAlike(func(s spelling) bool { return s.table == t })
		}
	}
	c.index()
	for _, f := range files {
		// Last, so that a word of a phrase is never shadowed.
		if t, ok := ld.text(f.src.Root().Entry("ordinary")); ok {
			t.words(func(w text) {
				key := fold(w.s)
				if _, known := c.l.words[key]; !known {
					c.l.words[key] = ordinaryWord
				}
			})
		}
	}
	return c.l
}

// wordLists reads the lists of single words: inflections, contractions,
// numbers, fillers and so on.
func (c *compiler) wordLists(root *source.Node) {
	if t, ok := c.text(root.Entry("forms")); ok {
		t.lines(func(line text) {
			id := unknownWord
			line.words(func(w text) {
				if id == unknownWord {
					id = c.word(w.s)
				} else if old, ok := c.l.words[fold(w.s)]; ok && old != id {
					c.report(diag.Errorf(FormTwice, w.all(), "%q is already a form of %q", w.s, c.l.lemmas[old]))
				} else {
					c.form(w.s, id)
				}
			})
		})
	}
	if t, ok := c.text(root.Entry("contractions")); ok {
		t.lines(func(line text) {
			key, rest, _ := strings.Cut(line.s, " ")
			parts := strings.Fields(fold(rest))
			if len(parts) == 0 {
				c.report(diag.Errorf(NoMeaning, line.all(), "contraction %q has no words to stand for", key))
			}
			c.l.contractions[strings.ToLower(key)] = parts
		})
	}
	for _, n := range c.table(root.Entry("numbers")).Nodes() {
		v, err := strconv.ParseFloat(n.Value.Text(), 64)
		if err != nil {
			c.wrong(n, "a number")
		}
		c.l.numbers[fold(n.Name)] = v
		c.word(n.Name)
	}
	if t, ok := c.text(root.Entry("nouns")); ok {
		t.words(func(w text) { c.l.nouns[fold(w.s)] = true })
	}
	for _, list := range []struct {
		key  string
		flag flags
	}{
		{"fillers", fills | silent | empty}, {"asides", fills | empty}, {"breaks", breaks}, {"joins", joins},
		{"spoilers", spoils}, {"subjects", subject}, {"empty", empty}, {"pronouns", pronoun},
	} {
		if t, ok := c.text(root.Entry(list.key)); ok {
			t.words(func(w text) { c.l.flags[c.word(w.s)] |= list.flag })
		}
	}
}

// word returns the id of a word, a new one if it is not known yet.
func (c *compiler) word(w string) int32 {
	key := fold(w)
	if id, ok := c.l.words[key]; ok {
		return id
	}
	id := int32(len(c.l.lemmas))
	c.l.lemmas = append(c.l.lemmas, key)
	c.l.flags = append(c.l.flags, 0)
	c.form(w, id)
	return id
}

// form makes w, and w with umlauts written as two letters, a form of a word.
func (c *compiler) form(w string, id int32) {
	key := fold(w)
	c.l.words[key] = id
	if key != w {
		if e := fold(umlauts.Replace(strings.ToLower(w))); e != key {
			if _, ok := c.l.words[e]; !ok {
				c.l.words[e] = id
			}
		}
	}
}

// classNames gives every class an id, so that classes may name each other in any
// order.
func (c *compiler) classNames(table *source.Node) {
	for _, n := range table.Nodes() {
		if _, ok := c.classes[n.Name]; !ok {
			c.classes[n.Name] = int32(len(c.l.classes))
			c.l.classes = append(c.l.classes, class{name: n.Name})
			c.classAt = append(c.classAt, n.Key)
		}
	}
}

func (c *compiler) classTable(table *source.Node) {
	for _, n := range table.Nodes() {
		if t, ok := c.text(n); ok {
			cl := &c.l.classes[c.classes[n.Name]]
			t.phrases(func(line text) { cl.alts = append(cl.alts, c.pattern(line)...) })
		}
	}
}

// firstWords completes, for every class, the set of words it may begin with.
func (c *compiler) firstWords() {
	const busy, done = 1, 2
	state := make([]int, len(c.l.classes))
	size := len(c.l.lemmas) + 64
	var visit func(id int32)
	visit = func(id int32) {
		cl := &c.l.classes[id]
		switch state[id] {
		case done:
			return
		case busy:
			c.report(diag.Errorf(ClassCycle, c.classAt[id], "class %q begins with itself", cl.name))
			cl.alts = nil
			return
		}
		state[id] = busy
		first := newWordSet(size)
		for _, a := range cl.alts {
			switch e := a[0]; e.kind {
			case exactly:
				first.add(e.id)
			case oneOf:
				for _, w := range c.l.choices[e.id] {
					first.add(w)
				}
			case number:
				first.add(numberWord)
			case classOf:
				visit(e.id)
				first.join(c.l.classes[e.id].first)
			}
		}
		c.l.classes[id].first = first
		state[id] = done
	}
	for id := range c.l.classes {
		visit(int32(id))
	}
}

// pattern compiles one phrase of a class or table and returns one pattern for
// every choice of its optional places, good until the next call.
func (c *compiler) pattern(line text) [][]element {
	from := len(c.arena)
	optional := false
	ok := true
	other := 0 // words that are no fillers
	line.words(func(w text) {
		e, good := c.elements(w)
		ok = ok && good
		for i, x := range e {
			if len(w.s) > 1 && w.s[len(w.s)-1] == '?' && i == len(e)-1 {
				x.optional, optional = true, true
			}
			if x.kind != end && (x.kind != exactly || !c.l.is(x.id, fills)) {
				other++
			}
			c.arena = append(c.arena, x)
		}
	})
	p := c.arena[from:]
	if !ok {
		return nil
	}
	if other >= 2 {
		// Without the fillers that say nothing, except for a last one: "is over"
		// is not "over", but "front is over" is "front over".
		keep := p[:0]
		for i, e := range p {
			if i == len(p)-1 || e.kind != exactly || !c.l.is(e.id, silent) {
				keep = append(keep, e)
			}
		}
		p = keep
		c.arena = c.arena[:from+len(keep)]
	}
	c.patterns = append(c.patterns[:0], p[:len(p):len(p)])
	if optional {
		c.patterns = choices(p)
	}
	for _, p := range c.patterns {
		if k := p[0].kind; k == gap || k == end || k == anyWord || p[len(p)-1].kind == gap {
			c.report(diag.Errorf(BadPhrase, line.all(), "a phrase must not begin or end with *, nor begin with <any> or $"))
			return nil
		}
	}
	return c.patterns
}

// choices returns a pattern for every choice of the optional elements.
func choices(p []element) [][]element {
	out := [][]element{nil}
	for _, e := range p {
		n := len(out)
		if e.optional {
			for _, q := range out[:n] {
				out = append(out, slices.Clone(q))
			}
			e.optional = false
		}
		for i := range n {
			out[i] = append(out[i], e)
		}
	}
	return slices.DeleteFunc(out, func(p []element) bool { return len(p) == 0 })
}

// elements compiles one word of a line: several elements if it is a contraction.
func (c *compiler) elements(w text) ([]element, bool) {
	if e, ok := c.cache[w.s]; ok {
		return e, true
	}
	plain := strings.TrimSuffix(w.s, "?")
	var out []element
	switch {
	case plain == "*":
		out = []element{{kind: gap}}
	case plain == "$":
		out = []element{{kind: end}}
	case plain == "<num>":
		out = []element{{kind: number}}
	case plain == "<any>":
		out = []element{{kind: anyWord}}
	case strings.HasPrefix(plain, "<"):
		name := strings.TrimSuffix(plain[1:], ">")
		id, ok := c.classes[name]
		if !ok {
			c.report(diag.Errorf(UnknownValue, w.all(), "there is no class %q", name).WithHelp(diag.DidYouMean(name, slices.Sorted(maps.Keys(c.classes)))))
			return nil, false
		}
		out = []element{{kind: classOf, id: id}}
	case strings.Contains(plain, "/"):
		var words []int32
		for a := range strings.SplitSeq(plain, "/") {
			if !isWord(a) {
				c.report(diag.Errorf(BadPhrase, w.all(), "%q is not a choice of words", w.s))
				return nil, false
			}
			words = append(words, c.word(a))
		}
		out = []element{{kind: oneOf, id: int32(len(c.l.choices))}}
		c.l.choices = append(c.l.choices, words)
	case !isWord(plain):
		c.report(diag.Errorf(BadPhrase, w.all(), "%q has characters that no word of a text has", w.s).WithHelp("write apart what a hyphen or apostrophe joins"))
		return nil, false
	default:
		parts, ok := c.l.contractions[fold(plain)]
		if !ok {
			parts = []string{plain}
		}
		for _, p := range parts {
			out = append(out, element{kind: exactly, id: c.word(p)})
		}
	}
	c.cache[w.s] = out
	return out, true
}

func isWord(s string) bool {
	s = fold(s)
	for i := 0; i < len(s); i++ {
		if !('a' <= s[i] && s[i] <= 'z' || '0' <= s[i] && s[i] <= '9') {
			return false
		}
	}
	return s != ""
}

// phraseTable reads a [[phrase]].
func (c *compiler) phraseTable(table *source.Node) {
	e, words := c.meaning(table)
	if *e == (effect{}) {
		c.report(diag.Errorf(NoMeaning, table.Value, "this phrase table says nothing").WithHelp("say what its words mean, for instance symptom, phase, grip or role"))
	}
	words.phrases(func(line text) {
		for _, p := range c.pattern(line) {
			if e.counts() && !slices.ContainsFunc(p, func(e element) bool { return e.kind == number || e.kind == classOf }) {
				c.report(diag.Errorf(BadPhrase, line.all(), "this phrase has no number to count").WithHelp("write <num> where the number stands"))
				continue
			}
			c.l.phrases = append(c.l.phrases, phrase{p, e})
			if e.role == roleNot && len(p) == 1 && p[0].kind == exactly {
				c.l.negators[p[0].id] = true
			}
			if e.role == roleGone && len(p) == 1 && p[0].kind == exactly {
				c.l.goners[p[0].id] = true
			}
		}
	})
}

// togetherTable reads a [[together]]: phrases of several parts with + between;
// @exit stands for a place in that phase.
func (c *compiler) togetherTable(table *source.Node) {
	e, words := c.meaning(table)
	if e.symptom == 0 {
		c.report(diag.Errorf(tables.MissingKey, table.Value, `a together table needs the key "symptom"`))
	}
	words.phrases(func(line text) {
		g := together{effect: e}
		line.split('+', func(item text) {
			place, isPlace := strings.CutPrefix(item.s, "@")
			k := slices.Index(phaseNames[:], place)
			switch {
			case isPlace && k < 0:
				c.report(diag.Errorf(UnknownValue, item.all(), "%q is not a phase", place).WithHelp(diag.DidYouMean(place, phaseNames[:])))
			case isPlace:
				g.phase |= 1 << k
			case item.s == "":
				c.report(diag.Errorf(BadPhrase, line.all(), "there is nothing between two +"))
			default:
				g.items = append(g.items, slices.Clone(c.pattern(item)))
			}
		})
		c.l.together = append(c.l.together, g)
	})
}

// meaning reads a phrase table: what it means, and its words.
func (c *compiler) meaning(table *source.Node) (*effect, text) {
	c.allow(table, phraseKeys)
	var e effect
	choice := func(key string, allowed ...string) int {
		n := table.Entry(key)
		t, ok := c.text(n)
		if !ok {
			return 0
		}
		i := slices.Index(allowed, t.s)
		if i < 0 || t.s == "" {
			known := slices.DeleteFunc(slices.Clone(allowed), func(s string) bool { return s == "" })
			c.report(diag.Errorf(UnknownValue, n.Value, "%q is not a %s", t.s, key).WithHelp(diag.DidYouMean(t.s, known)))
			return 0
		}
		return i
	}
	e.role = role(choice("role", roleNames...))
	e.symptom = symptom(choice("symptom", symptomNames...))
	e.corner = corner(choice("corner", "", "slow", "fast"))
	e.speed = corner(choice("speed", "", "slow", "fast"))
	e.severity = severity(choice("severity", "", "slight", "normal", "strong"))
	e.side = side(choice("side", sideNames...))
	e.axle = axle(choice("axle", axleNames...))
	if n := choice("phase", append([]string{""}, phaseNames[:]...)...); n > 0 {
		e.phase = 1 << (n - 1)
	}
	tracks := []string{"", "tight", "fast", "mixed"}
	grips := []string{"", "low", "medium", "high", "wet", "dry", "tenths"}
	tyres := []string{"", "new", "used", "worn", "wets", "laps", "sessions", "days"}
	e.track = tracks[choice("track", tracks...)]
	e.grip = grips[choice("grip", grips...)]
	e.tyres = tyres[choice("tyres", tyres...)]
	for key, to := range map[string]*bool{"before": &e.before, "beside": &e.beside, "busy": &e.busy, "cured": &e.cured, "either": &e.either, "over": &e.over} {
		*to = c.bool(table.Entry(key))
	}
	e.needs = c.symptoms(table.Entry("needs"))
	e.instead = c.symptoms(table.Entry("instead_of"))
	words, ok := c.text(table.Entry("words"))
	if !ok && table.Entry("words") == nil {
		c.report(diag.Errorf(tables.MissingKey, table.Value, `a phrase table needs the key "words"`))
	}
	return &e, words
}

// symptoms reads a list of symptom ids as a set.
func (c *compiler) symptoms(n *source.Node) (set uint32) {
	for _, t := range c.texts(n) {
		i := slices.Index(symptomNames, t.s)
		if i <= 0 {
			c.report(diag.Errorf(UnknownValue, t.at, "%q is not a symptom", t.s).WithHelp(diag.DidYouMean(t.s, symptomNames[1:])))
			continue
		}
		set |= 1 << i
	}
	return set
}

// index files every phrase under the word or class that it begins with, and
// every class under the words that it may begin with.
func (c *compiler) index() {
	l := c.l
	byWord := make([]int32, len(l.lemmas)+1)
	byClass := make([]int32, len(l.classes)+1)
	each := func(do func(word, class, n int32)) {
		for n := range l.phrases {
			switch e := l.phrases[n].words[0]; e.kind {
			case exactly:
				do(e.id, -1, int32(n))
			case number:
				do(numberWord, -1, int32(n))
			case classOf:
				do(-1, e.id, int32(n))
			case oneOf:
				for _, w := range l.choices[e.id] {
					do(w, -1, int32(n))
				}
			}
		}
	}
	each(func(word, class, _ int32) {
		if word >= 0 {
			byWord[word]++
		} else {
			byClass[class]++
		}
	})
	l.begin, l.beginClass = room(byWord), room(byClass)
	each(func(word, class, n int32) {
		if word >= 0 {
			l.begin[word] = append(l.begin[word], n)
		} else {
			l.beginClass[class] = append(l.beginClass[class], n)
		}
	})
	l.classesOf = make([][]int32, len(l.lemmas))
	for id := range l.classes {
		if len(l.beginClass[id]) > 0 {
			for w := range l.classes[id].first.all() {
				l.classesOf[w] = append(l.classesOf[w], int32(id))
			}
		}
	}
}

// room returns slices of no length with the capacities that are given, all in
// one piece of memory.
func room(sizes []int32) [][]int32 {
	total := int32(0)
	for _, n := range sizes {
		total += n
	}
	all := make([]int32, total)
	out := make([][]int32, len(sizes))
	for i, n := range sizes {
		out[i], all = all[:0:n], all[n:]
	}
	return out
}

// spelling reads which words may be misspelt.
func (c *compiler) spelling(table *source.Node) {
	if table == nil {
		return
	}
	c.allow(table, spellingKeys)
	type most struct {
		slips int
		asked bool
	}
	wanted := make(map[int32]most)
	for key, m := range map[string]most{"words": {1, false}, "twice": {2, false}, "once": {1, true}} {
		if t, ok := c.text(table.Entry(key)); ok {
			t.words(func(w text) { wanted[c.word(w.s)] = m })
		}
	}
	have := make(map[string]bool, len(c.l.spellings))
	for _, s := range c.l.spellings {
		have[s.form] = true
	}
	for form, id := range c.l.words {
		if m, ok := wanted[id]; ok && slips(len(form)) > 0 && !have[form] {
			c.l.spellings = append(c.l.spellings, spelling{form, id, min(m.slips, slips(len(form))), m.asked, letters(form), table})
		}
	}
	slices.SortFunc(c.l.spellings, func(a, b spelling) int { return strings.Compare(a.form, b.form) })
	if n := table.Entry("endings"); n != nil {
		for _, pair := range n.Nodes() {
			words := c.texts(pair)
			if len(words) != 2 || words[0].s == "" {
				c.wrong(pair, "two endings: as typed, and as meant")
				continue
			}
			c.l.endings = append(c.l.endings, [2]string{words[0].s, words[1].s})
		}
	}
	if n := table.Entry("ask"); n != nil {
		for _, pair := range n.Nodes() {
			words := c.texts(pair)
			for _, x := range words {
				for _, y := range words {
					c.l.asks[[2]int32{c.word(x.s), c.word(y.s)}] = true
				}
			}
		}
	}
}

// tooAlike reports pairs of words of which one misspelling could be either, if
// check wants one of them looked at. The shipped files are looked at by a test.
func (c *compiler) tooAlike(check func(spelling) bool) {
	for _, p := range c.l.tooAlike(check) {
		a, b := p[0], p[1]
		c.report(diag.Errorf(TooAlike, b.table.Value, "%q and %q are only %d slips apart, and together may have %d",
			a.form, b.form, distance(a.form, b.form, a.slips+b.slips), a.slips+b.slips))
	}
}

// A wordSet is a set of word ids.
type wordSet []uint64

func newWordSet(size int) wordSet { return make(wordSet, size/64+1) }

func (s wordSet) add(w int32) { s[w/64] |= 1 << (w % 64) }

func (s wordSet) has(w int32) bool { return w >= 0 && int(w/64) < len(s) && s[w/64]>>(w%64)&1 == 1 }

func (s wordSet) join(o wordSet) {
	for i := range o {
		s[i] |= o[i]
	}
}

func (s wordSet) all() func(func(int32) bool) {
	return func(yield func(int32) bool) {
		for i, bits := range s {
			for w := int32(i * 64); bits != 0; w, bits = w+1, bits>>1 {
				if bits&1 == 1 && !yield(w) {
					return
				}
			}
		}
	}
}
