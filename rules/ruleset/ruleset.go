// Package ruleset reads rule files: TOML in, a rules.Set and findings out. It
// reports everything it finds at once, each at the place that has to be edited,
// and nothing that only follows from another finding.
package ruleset

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"path"
	"regexp"
	"slices"
	"strings"

	"kartwright/rules"
	"kartwright/rules/diag"
	"kartwright/rules/source"
	"kartwright/rules/tables"
)

// Format is the newest format of rule files that this package reads.
const Format = 1

// Loaded is a set and the files that it comes from.
type Loaded struct {
	Set   *rules.Set // nil if a finding is an error
	Files []File     // in the order of loading: what is extended comes first

	ids map[string]source.Span
}

// A File is one rule file.
type File struct {
	Name    string // as given, or as the path of the file that extends it and the name
	Set     string // its short name
	Title   string
	Extends []string // names of files
	Source  *source.File
}

// Place returns where the id of a rule is written; the zero span if it is not
// among those loaded.
func (l *Loaded) Place(ruleID string) source.Span { return l.ids[ruleID] }

// Load reads rule files and those that they extend, each once. The findings are
// in order of place. The order of names makes no difference.
func Load(fsys fs.FS, names ...string) (*Loaded, []diag.Diagnostic) {
	l := &loader{
		begun: map[string]*reading{},
		fsys:  fsys, files: map[string]*file{}, out: &Loaded{ids: map[string]source.Span{}},
		moves: map[string]string{}, drafts: map[string]*draft{}, words: map[string]source.Span{},
	}
	for _, name := range slices.Sorted(slices.Values(names)) {
		l.load(path.Clean(name), nil)
	}
	for _, f := range l.order {
		l.vocabularyOf(f)
	}
	l.trackWords = append(l.defined("track"), rules.Any)
	for _, item := range l.countsAs {
		l.isDefined("track", UnknownTrack, item)
	}
	for _, f := range l.order {
		l.rulesOf(f)
	}
	for _, f := range l.order {
		l.changesOf(f)
	}
	list := l.finish()
	l.lonelyFamilies()
	if findings := l.Findings(); diag.HasErrors(findings) {
		return l.out, findings
	}
	set, err := rules.New(l.vocabulary, list)
	if err != nil { // the checks above leave nothing to refuse
		l.Report(diag.Errorf(SelfContrary, l.order[0].src.Start(), "the rules do not fit together: %v", err))
		return l.out, l.Findings()
	}
	l.out.Set = set
	return l.out, l.Findings()
}

type loader struct {
	tables.Reader
	fsys  fs.FS
	begun map[string]*reading // files that are being read, or were
	files map[string]*file
	order []*file
	out   *Loaded

	// partial is set when a file could not be used: what it may have defined
	// is then not missed elsewhere.
	partial bool

	vocabulary rules.Vocabulary
	words      map[string]source.Span // "symptom understeer" → where it is defined
	moves      map[string]string      // unit of each move, "" if it is at fault
	countsAs   []tables.Item          // kinds of track that must be defined somewhere
	trackWords []string               // the kinds of track, and "any"
	drafts     map[string]*draft
	draftOrder []*draft
}

// A file is in the state of being loaded.
type file struct {
	name    string
	src     *source.File
	root    *tables.Table
	extends []string
	loading bool
}

// A draft is a rule before it is built: its table, with changes laid over it.
type draft struct {
	id      string
	home    *file
	table   *tables.Table
	off     bool
	changes []change
	final   rules.Rule
	changed bool
}

type change struct {
	file *file
	key  string
	at   source.Span
}

// place is where a name is written that led to a file; nil for the caller's own.
type place struct {
	at    source.Span
	chain []string // files being loaded, outermost first
}

// load reads a file and what it extends. It reports whether the file is not in
// the state of being loaded, that is, whether it can be extended.
func (l *loader) load(name string, from *place) bool {
	if f := l.files[name]; f != nil {
		if f.loading {
			l.partial = true
			l.Report(diag.Errorf(ExtendsCycle, from.at, "%q is extended in a circle: %s", name, circle(from.chain, name)))
		}
		return !f.loading
	}
	read := l.begin(name)
	<-read.done
	if read.err != nil {
		l.unreadable(name, read.err, from)
		return false
	}
	f := &file{name: name, loading: true}
	l.files[name] = f
	defer func() { f.loading = false }()
	f.root, f.src = l.Use(read.decoded)
	entry := File{Name: name, Source: f.src}
	if f.root == nil {
		l.partial = true
		l.out.Files = append(l.out.Files, entry)
		return true
	}
	if !l.head(f, &entry) {
		l.partial = true
		l.out.Files = append(l.out.Files, entry)
		return true
	}
	here := &place{chain: []string{name}}
	if from != nil {
		here.chain = append(slices.Clone(from.chain), name)
	}
	extends := f.root.Texts("extends")
	for _, item := range extends { // all at once: decoding takes most of the time
		if !strings.ContainsAny(item.Text, `/\`) {
			l.begin(path.Join(path.Dir(name), item.Text))
		}
	}
	for _, item := range extends {
		if strings.ContainsAny(item.Text, `/\`) {
			l.partial = true
			l.Report(diag.Errorf(ExtendsMissing, item.At, "%q is not the name of a file in this folder", item.Text))
			continue
		}
		here.at = item.At
		extended := path.Join(path.Dir(name), item.Text)
		if l.load(extended, here) {
			f.extends = append(f.extends, extended)
		}
	}
	entry.Extends = f.extends
	l.order = append(l.order, f)
	l.out.Files = append(l.out.Files, entry)
	return true
}

// reading is a file on its way; the rest of it is set when done is closed.
type reading struct {
	done    chan struct{}
	decoded tables.Decoded
	err     error
}

// begin starts to read and decode a file, unless it was begun before.
func (l *loader) begin(name string) *reading {
	if r := l.begun[name]; r != nil {
		return r
	}
	r := &reading{done: make(chan struct{})}
	l.begun[name] = r
	go func() {
		defer close(r.done)
		var data []byte
		if data, r.err = fs.ReadFile(l.fsys, name); r.err == nil {
			r.decoded = tables.Decode(name, data)
		}
	}()
	return r
}

func circle(chain []string, name string) string {
	i := slices.Index(chain, name)
	return strings.Join(append(slices.Clone(chain[i:]), name), " extends ")
}

func (l *loader) unreadable(name string, err error, from *place) {
	l.partial = true
	var pe *fs.PathError
	reason := err.Error()
	if errors.As(err, &pe) {
		reason = pe.Err.Error()
	}
	var there []string
	if found, globErr := fs.Glob(l.fsys, path.Join(path.Dir(name), "*.toml")); globErr == nil {
		for _, f := range found {
			if !strings.HasSuffix(f, ".test.toml") {
				there = append(there, path.Base(f))
			}
		}
	}
	help := diag.DidYouMean(path.Base(name), there)
	if errors.Is(err, fs.ErrNotExist) {
		reason = "there is no such file"
	}
	if from != nil {
		l.Report(diag.Errorf(ExtendsMissing, from.at, "cannot extend %q: %s", name, reason).WithHelp(help))
		return
	}
	src, _ := source.Parse(name, nil)
	l.Report(diag.Errorf(Unreadable, src.Start(), "cannot read the file: %s", reason).WithHelp(help))
}

// head reads what says what a file is. It reports false for one that must not
// be read further.
func (l *loader) head(f *file, entry *File) bool {
	t := f.root
	if !t.Need("a rule file", "format") {
		return false
	}
	format, ok := t.Whole("format")
	switch {
	case !ok:
		return false
	case format > Format:
		l.Report(diag.Errorf(NewerFormat, t.Value("format"), "the file has format %d; this kartwright reads formats up to %d", format, Format).
			WithHelp("update kartwright"))
		return false
	case format < 1:
		l.Report(diag.Errorf(OutOfRange, t.Value("format"), "format %d does not exist; the first is 1", format))
		return false
	}
	t.Allow("format", "set", "title", "extends", "symptom", "move", "track", "scale", "rule", "change")
	t.Need("a rule file", "set", "title")
	entry.Set, _ = t.Text("set")
	entry.Title, _ = t.Text("title")
	return true
}

// extendsOf reports whether a file extends another, directly or not.
func (l *loader) extendsOf(f *file, other string) bool {
	return slices.ContainsFunc(f.extends, func(name string) bool {
		return name == other || l.extendsOf(l.files[name], other)
	})
}

// define notes where a word is defined; false, and a finding, if it was before.
func (l *loader) define(kind, word string, at source.Span) bool {
	key := kind + " " + word
	if old, twice := l.words[key]; twice {
		l.Report(diag.Errorf(DuplicateWord, at, "%s %q is defined twice", kind, word).WithNote(old, "it is first defined here"))
		return false
	}
	l.words[key] = at
	return true
}

func (l *loader) vocabularyOf(f *file) {
	v := &l.vocabulary
	l.each(f, "symptom", func(id string, t *tables.Table) {
		t.Allow("title", "means", "phases", "balance", "check_first")
		t.Need("a symptom", "title", "means", "phases")
		w := rules.SymptomWord{ID: id}
		w.Title, _ = t.Text("title")
		w.Means, _ = t.Text("means")
		w.CheckFirst, _ = t.Bool("check_first")
		for _, p := range t.Texts("phases") {
			if !slices.Contains(rules.PhaseWords(), p.Text) {
				l.unknown(UnknownPhase, p, "a phase", rules.PhaseWords())
			}
			w.Phases = append(w.Phases, p.Text)
		}
		if b, ok := t.Text("balance"); ok {
			if allowed := []string{"understeer", "oversteer"}; !slices.Contains(allowed, b) {
				l.unknown(UnknownWord, tables.Item{Text: b, At: t.Value("balance")}, "a balance", allowed)
			}
			w.Balance = b
		}
		v.Symptoms = append(v.Symptoms, w)
	})
	l.each(f, "move", func(id string, t *tables.Table) {
		t.Allow("title", "increase", "decrease", "unit", "usual", "lever", "floor", "ceiling")
		t.Need("a move", "title", "increase", "decrease", "unit", "usual", "lever")
		m := rules.Move{ID: id}
		m.Title, _ = t.Text("title")
		m.Increase, _ = t.Text("increase")
		m.Decrease, _ = t.Text("decrease")
		if unit, ok := t.Text("unit"); ok {
			if isUnit(unit) {
				m.Unit = unit
			} else {
				l.unknown(UnknownWord, tables.Item{Text: unit, At: t.Value("unit")}, "a unit", Units())
			}
		}
		if lever, ok := t.Text("lever"); ok {
			if allowed := []string{"front", "other"}; !slices.Contains(allowed, lever) {
				l.unknown(UnknownWord, tables.Item{Text: lever, At: t.Value("lever")}, "a lever", allowed)
			}
			m.Lever = lever
		}
		l.usual(t, &m)
		m.Floor, m.Ceiling = l.stop(t, "floor", m), l.stop(t, "ceiling", m)
		if m.Floor != nil && m.Ceiling != nil && m.Floor.At > m.Ceiling.At {
			l.Report(diag.Errorf(BadShape, t.Key("floor"), "the floor of %s is above its ceiling", id))
		}
		l.moves[id] = m.Unit
		v.Moves = append(v.Moves, m)
	})
	l.each(f, "track", func(id string, t *tables.Table) {
		t.Allow("title", "counts_as")
		t.Need("a kind of track", "title")
		tr := rules.Track{ID: id}
		tr.Title, _ = t.Text("title")
		if as := t.Table("counts_as"); as != nil {
			for _, other := range as.Keys() {
				l.countsAs = append(l.countsAs, tables.Item{Text: other, At: as.Key(other)})
				if x, ok := as.Number(other); ok && l.grade(x, as.Value(other), "the grade") {
					tr.CountsAs = append(tr.CountsAs, rules.CountsAs{Track: other, Grade: x})
				}
			}
		}
		v.Tracks = append(v.Tracks, tr)
	})
	scales := f.root.Table("scale")
	if scales == nil {
		return
	}
	scales.Allow("grip", "tyres", "severity")
	for _, sc := range []struct {
		name  string
		into  *rules.Scale
		words []string
	}{
		{"grip", &v.Grip, []string{"low", "medium", "high"}},
		{"tyres", &v.Tyres, []string{"new", "used", "worn"}},
	} {
		t := scales.Table(sc.name)
		if t == nil || !l.define("scale", sc.name, scales.Key(sc.name)) {
			continue
		}
		t.Allow(append([]string{"of", "unit"}, sc.words...)...)
		t.Need("the scale of "+sc.name, sc.words...)
		if of, ok := t.Number("of"); ok {
			if !(of > 0) || math.IsInf(of, 0) {
				l.Report(diag.Errorf(OutOfRange, t.Value("of"), "a scale out of %v has no numbers; it has to be above 0", of))
			}
			sc.into.Of = of
		}
		sc.into.Unit, _ = t.Text("unit")
		for _, w := range sc.words {
			if shape, ok := l.shape(t, w); ok {
				sc.into.Words = append(sc.into.Words, rules.ScaleWord{Word: w, Shape: shape})
			}
		}
	}
	if t := scales.Table("severity"); t != nil && l.define("scale", "severity", scales.Key("severity")) {
		t.Allow(rules.SeverityWords()...)
		t.Need("the scale of severity", rules.SeverityWords()...)
		for w, into := range map[string]*float64{"slight": &v.Severity.Slight, "normal": &v.Severity.Normal, "strong": &v.Severity.Strong} {
			if x, ok := t.Number(w); ok && l.grade(x, t.Value(w), "the grade") {
				*into = x
			}
		}
	}
}

// each calls read for every table of a kind that defines a new word.
func (l *loader) each(f *file, kind string, read func(id string, t *tables.Table)) {
	all := f.root.Table(kind)
	if all == nil {
		return
	}
	for _, id := range all.Keys() {
		t := all.Table(id)
		if !l.define(kind, id, all.Key(id)) || t == nil {
			continue
		}
		if !wordForm.MatchString(id) {
			l.Report(diag.Errorf(BadID, all.Key(id), "%q is not a name for a %s: small letters, digits and underscores are", id, kind))
		}
		read(id, t)
	}
}

var (
	wordForm = regexp.MustCompile(`^[a-z][a-z0-9_]*$`)
	nameForm = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)
)

func (l *loader) grade(x float64, at source.Span, what string) bool {
	if x > 0 && x <= 1 {
		return true
	}
	l.Report(diag.Errorf(OutOfRange, at, "%s %v is not above 0 and at most 1", what, x))
	return false
}

func (l *loader) usual(t *tables.Table, m *rules.Move) {
	items := t.Texts("usual")
	if m.Unit == "" || items == nil {
		return
	}
	if len(items) != 2 {
		l.Report(diag.Errorf(BadAmount, t.Value("usual"), "usual has to be two amounts, the least and the most of one step"))
		return
	}
	for i, item := range items {
		x, err := ParseSize(item.Text, m.Unit)
		if err != nil {
			l.badAmount(item, m.Unit, err, *m)
			return
		}
		m.Usual[i] = x
	}
	if m.Usual[0] > m.Usual[1] {
		l.Report(diag.Errorf(BadShape, t.Value("usual"), "the least usual step %s is above the most, %s", items[0].Text, items[1].Text))
	}
}

// stop reads where advice on a move ends: { at = "0 deg", because = "…" }.
func (l *loader) stop(t *tables.Table, key string, m rules.Move) *rules.Stop {
	s := t.Table(key)
	if s == nil || m.Unit == "" {
		return nil
	}
	s.Allow("at", "because")
	if !s.Need("a "+key, "at", "because") {
		return nil
	}
	var out rules.Stop
	out.Because, _ = s.Text("because")
	text, ok := s.Text("at")
	if !ok {
		return nil
	}
	var err error
	if out.At, err = ParseValue(text, m.Unit); err != nil {
		l.badAmount(tables.Item{Text: text, At: s.Value("at")}, m.Unit, err, m)
		return nil
	}
	return &out
}

// shape reads four rising numbers.
func (l *loader) shape(t *tables.Table, key string) (rules.Trapezoid, bool) {
	xs, ok := t.Numbers(key)
	if !ok {
		return rules.Trapezoid{}, false
	}
	if len(xs) != 4 {
		l.Report(diag.Errorf(BadShape, t.Value(key), "%s has to be four numbers [a, b, c, d], not %d", key, len(xs)))
		return rules.Trapezoid{}, false
	}
	for i := 1; i < 4; i++ {
		if xs[i] < xs[i-1] {
			l.Report(diag.Errorf(BadShape, t.Element(key, i), "%v is below the number before it; the four numbers of %s have to rise", xs[i], key))
			return rules.Trapezoid{}, false
		}
	}
	return rules.Trapezoid(xs), true
}

// unknown reports a word that is not among those allowed.
func (l *loader) unknown(code diag.Code, item tables.Item, what string, allowed []string) {
	word, _ := strings.CutPrefix(item.Text, "not ")
	l.Report(diag.Errorf(code, item.At, "%q is not %s", item.Text, what).WithHelp(diag.DidYouMean(word, allowed)))
}

// defined returns the words of a kind, in the order of the vocabulary.
func (l *loader) defined(kind string) []string {
	var out []string
	for key := range l.words {
		if k, word, _ := strings.Cut(key, " "); k == kind {
			out = append(out, word)
		}
	}
	slices.Sort(out)
	return out
}

// isDefined reports whether a word is known, reporting one that is not.
func (l *loader) isDefined(kind string, code diag.Code, item tables.Item) bool {
	if _, ok := l.words[kind+" "+item.Text]; ok {
		return true
	}
	if !l.partial {
		l.unknown(code, item, "a "+kind+" of these rules", l.defined(kind))
	}
	return false
}

func (l *loader) badAmount(item tables.Item, unit string, err error, m rules.Move) {
	example := examples[unit]
	switch {
	case errors.Is(err, errNoUnit):
		l.Report(diag.Errorf(MissingUnit, item.At, "%q has no unit", item.Text).WithHelp(fmt.Sprintf("write it as in %q", withSign(item.Text, example))))
	case errors.Is(err, errNoSign):
		l.Report(diag.Errorf(MissingSign, item.At, "%q has no sign", item.Text).
			WithHelp(fmt.Sprintf(`write "+%[1]s" for %[2]s or "-%[1]s" for %[3]s`, item.Text, m.Increase, m.Decrease)))
	case errors.Is(err, errZero):
		l.Report(diag.Errorf(ZeroAmount, item.At, "%q is no change", item.Text).WithHelp("to ask that it is not touched, use leave"))
	default:
		l.Report(diag.Errorf(BadAmount, item.At, "%s", err).WithHelp(fmt.Sprintf("write it as in %q", withSign(item.Text, example))))
	}
}

// withSign gives an example the sign that was written, if any.
func withSign(text, example string) string {
	for _, sign := range []string{"+", "-", "−", "–"} {
		if strings.HasPrefix(strings.TrimSpace(text), sign) {
			return sign + example
		}
	}
	return example
}
