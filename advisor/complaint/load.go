package complaint

import (
	"errors"
	"io/fs"
	"slices"
	"strconv"
	"strings"

	"kartwright/rules/diag"
	"kartwright/rules/source"
	"kartwright/rules/tables"
)

// fileFormat is the newest word-file format that is understood.
const fileFormat = 1

// The codes that a word file can be found at fault with, beside those of any
// TOML file.
const (
	Unreadable   diag.Code = "words-unreadable"
	NewerFormat  diag.Code = "words-newer-format"
	ExtendsCycle diag.Code = "words-extends-cycle"
	TwoLanguages diag.Code = "words-two-languages"
	UnknownValue diag.Code = "words-unknown-value"
	NoMeaning    diag.Code = "words-no-meaning"
	FormTwice    diag.Code = "words-form-twice"
	BadPhrase    diag.Code = "words-phrase"
	ClassCycle   diag.Code = "words-class-cycle"
	TooAlike     diag.Code = "words-too-alike"
)

// Codes explains the codes of this package.
func Codes() []diag.Explanation {
	return []diag.Explanation{
		{Code: Unreadable, Title: "a word file cannot be read",
			Text: "The file is not there, or not in the same folder as the file that extends it. The shipped files are found by their bare name."},
		{Code: NewerFormat, Title: "the format of the word file is not known",
			Text: "A word file begins with format = 1. A higher number comes from a newer kartwright, whose meaning cannot be guessed."},
		{Code: ExtendsCycle, Title: "a word file extends itself",
			Text: "Files are read after those that they extend, so that there must be a first one."},
		{Code: TwoLanguages, Title: "a word file extends one of another language",
			Text: "Words of two languages in one lexicon would be taken for each other. Load two files instead."},
		{Code: UnknownValue, Title: "a value is none of those that are known",
			Text: "Symptoms, phases, roles and the other meanings of phrases are fixed in the program; the words for them are free."},
		{Code: NoMeaning, Title: "words without a meaning",
			Text: "A phrase table has to say what its words mean, and a contraction what it stands for."},
		{Code: FormTwice, Title: "a word is a form of two words",
			Text: "Phrases are compared by words, whatever their form, so that each form has to belong to one word only."},
		{Code: BadPhrase, Title: "a phrase is not written as phrases are",
			Text: "A phrase is one line of words. a/b means either word, <name> any phrase of a class, <num> a number, <any> any word, * up to three words between two others, a trailing ? that the word may be missing, $ that the clause must end. What a hyphen or an apostrophe joins is written apart."},
		{Code: ClassCycle, Title: "a class begins with itself",
			Text: "A class may name other classes, but not, directly or through them, itself as its first word."},
		{Code: TooAlike, Title: "two words could be taken for each other",
			Text: "A slip of the keyboard must never turn one word into another: it could turn the advice round. Leave one of them out of the words that may be misspelt, allow it one slip only, or put the pair under ask, so that the driver is asked."},
	}
}

// Load reads word files, and those that they extend, by name from fsys. Files of
// one language are joined; several languages stand side by side. All findings
// are returned at once; with an error among them there is no lexicon.
func Load(fsys fs.FS, names ...string) (*Lexicon, []diag.Diagnostic) {
	ld := loader{fsys: fsys, files: make(map[string]*file)}
	var order []string
	byLanguage := make(map[string][]*file)
	for _, n := range names {
		f := ld.read(n, nil, nil)
		if f == nil {
			continue
		}
		if byLanguage[f.language] == nil {
			order = append(order, f.language)
		}
		for _, f := range append(f.extends, f) {
			if !slices.Contains(byLanguage[f.language], f) {
				byLanguage[f.language] = append(byLanguage[f.language], f)
			}
		}
	}
	lex := new(Lexicon)
	for _, name := range order {
		lex.languages = append(lex.languages, compile(&ld, name, byLanguage[name]))
	}
	found := diag.Sort(ld.findings)
	if diag.HasErrors(found) {
		return nil, found
	}
	return lex, found
}

// A file is a word file, read but not compiled.
type file struct {
	src      *source.File
	language string
	weights  *weights // second opinion beside the file, or nil
	extends  []*file  // all of them, each after those that it extends itself
}

type loader struct {
	fsys     fs.FS
	files    map[string]*file
	findings []diag.Diagnostic
}

func (ld *loader) report(d diag.Diagnostic) { ld.findings = append(ld.findings, d) }

// read reads a file and those that it extends. It returns nil, and a finding, if
// it cannot be used. at is where the file is named, chain the files that led here.
func (ld *loader) read(name string, at *source.Span, chain []string) *file {
	if slices.Contains(chain, name) {
		ld.report(diag.Errorf(ExtendsCycle, *at, "%s extends itself: %s", name, strings.Join(append(chain, name), " → ")))
		return nil
	}
	if f, ok := ld.files[name]; ok {
		return f
	}
	data, err := fs.ReadFile(ld.fsys, name)
	src, syntax := source.Parse(name, data)
	place := src.Start()
	if at != nil {
		place = *at
	}
	ld.files[name] = nil
	if err != nil {
		var p *fs.PathError
		if errors.As(err, &p) {
			err = p.Err
		}
		ld.report(diag.Errorf(Unreadable, place, "the word file %s cannot be read: %v", name, err))
		return nil
	}
	var s *source.SyntaxError
	if errors.As(syntax, &s) {
		ld.report(diag.Errorf(tables.Syntax, s.At, "%s", s.Message))
		return nil
	}
	root := src.Root()
	if len(root.Nodes()) == 0 {
		ld.report(diag.Errorf(tables.EmptyFile, src.Start(), "the file says nothing").WithHelp(`begin with format = 1 and language = "en"`))
		return nil
	}
	f := &file{src: src}
	if data, err := fs.ReadFile(ld.fsys, strings.TrimSuffix(name, ".toml")+".weights"); !errors.Is(err, fs.ErrNotExist) {
		if err == nil {
			f.weights, err = parseWeights(data)
		}
		if err != nil {
			ld.report(diag.Errorf(Unreadable, place, "the weights beside %s cannot be used: %v", name, err).WithHelp("take them from where the word file is from, or leave them out"))
		}
	}
	if n := root.Entry("format"); n == nil {
		ld.report(diag.Errorf(tables.MissingKey, src.Start(), `a word file needs the key "format"`).WithHelp("begin with format = 1"))
		return nil
	} else if v, err := strconv.Atoi(n.Value.Text()); err != nil || v < 1 || v > fileFormat {
		ld.report(diag.Errorf(NewerFormat, n.Value, "format %s is not known; the newest is %d", n.Value.Text(), fileFormat).WithHelp("update kartwright"))
		return nil
	}
	if n := root.Entry("language"); n == nil {
		ld.report(diag.Errorf(tables.MissingKey, src.Start(), `a word file needs the key "language"`).WithHelp(`for instance language = "en"`))
		return nil
	} else if t, ok := ld.text(n); ok {
		f.language = t.s
	}
	for _, t := range ld.texts(root.Entry("extends")) {
		g := ld.read(t.s, &t.at, append(chain, name))
		if g == nil {
			continue
		}
		if g.language != f.language {
			ld.report(diag.Errorf(TwoLanguages, t.at, "%s is of language %q, this file of %q", t.s, g.language, f.language))
			continue
		}
		for _, g := range append(g.extends, g) {
			if !slices.Contains(f.extends, g) {
				f.extends = append(f.extends, g)
			}
		}
	}
	ld.files[name] = f
	return f
}

// A text is a string of a file; offset is where its first character stands.
type text struct {
	s      string
	at     source.Span
	offset int
}

// span returns the place of a part of the text.
func (t text) span(from, to int) source.Span {
	return t.at.File.Span(t.offset+from, t.offset+to)
}

// text reads a string. Strings have no escapes here, so that every character of
// the value has its own place in the file.
func (ld *loader) text(n *source.Node) (text, bool) {
	if n == nil {
		return text{}, false
	}
	raw := n.Value.Text()
	at := n.Value.Start
	for _, q := range []string{"'''", `"""`, "'", `"`} {
		if n.Kind != source.Scalar || !strings.HasPrefix(raw, q) {
			continue
		}
		s := raw[len(q) : len(raw)-len(q)]
		at += len(q)
		if len(q) == 3 {
			for _, nl := range []string{"\n", "\r\n"} {
				if strings.HasPrefix(s, nl) {
					s = s[len(nl):]
					at += len(nl)
					break
				}
			}
		}
		if q[0] == '"' && strings.Contains(s, `\`) {
			ld.report(diag.Errorf(tables.WrongType, n.Value, "%s has a backslash, which word files do not use", n.Name).WithHelp("put the text between ' or '''"))
			return text{}, false
		}
		return text{s, n.Value, at}, true
	}
	ld.wrong(n, "a string")
	return text{}, false
}

func (ld *loader) wrong(n *source.Node, want string) {
	name := n.Name
	if name == "" {
		name = "this"
	}
	ld.report(diag.Errorf(tables.WrongType, n.Value, "%s has to be %s", name, want))
}

// texts reads a string or a list of strings.
func (ld *loader) texts(n *source.Node) []text {
	if n == nil {
		return nil
	}
	if n.Kind != source.Array {
		t, ok := ld.text(n)
		if !ok {
			return nil
		}
		return []text{t}
	}
	var out []text
	for _, e := range n.Nodes() {
		if t, ok := ld.text(e); ok {
			out = append(out, t)
		}
	}
	return out
}

func (ld *loader) bool(n *source.Node) bool {
	if n == nil {
		return false
	}
	switch n.Value.Text() {
	case "true":
		return true
	case "false":
		return false
	}
	ld.wrong(n, "true or false")
	return false
}

// allow reports the entries of a table that are not among keys.
func (ld *loader) allow(table *source.Node, keys []string) {
	for _, n := range table.Nodes() {
		if !slices.Contains(keys, n.Name) {
			ld.report(diag.Errorf(tables.UnknownKey, n.Key, "the key %q is not known here", n.Name).WithHelp(diag.DidYouMean(n.Name, keys)))
		}
	}
}

// table returns the entries of a table; list those of a list of tables.
func (ld *loader) table(n *source.Node) *source.Node {
	if n != nil && n.Kind != source.Table && n.Kind != source.InlineTable {
		ld.wrong(n, "a table")
		return nil
	}
	return n
}

func (ld *loader) list(n *source.Node) []*source.Node {
	if n != nil && n.Kind != source.TableArray {
		ld.wrong(n, "a list of tables, each under [["+n.Name+"]]")
		return nil
	}
	return n.Nodes()
}

// split calls do with what stands between separators, without the spaces around
// it; empty parts are empty texts.
func (t text) split(sep byte, do func(part text)) {
	for from := 0; from <= len(t.s); {
		to := len(t.s)
		if i := strings.IndexByte(t.s[from:], sep); i >= 0 {
			to = from + i
		}
		part := strings.TrimSpace(t.s[from:to])
		do(text{part, t.at, t.offset + from + strings.Index(t.s[from:to], part)})
		from = to + 1
	}
}

// lines calls do with every line of the text that is not empty or a comment.
func (t text) lines(do func(line text)) {
	t.split('\n', func(line text) {
		if i := strings.IndexByte(line.s, '#'); i >= 0 {
			line.s = strings.TrimSpace(line.s[:i])
		}
		if line.s != "" {
			do(line)
		}
	})
}

// phrases calls do with every phrase of the text: what stands between commas and
// line ends.
func (t text) phrases(do func(phrase text)) {
	t.lines(func(line text) {
		line.split(',', func(phrase text) {
			if phrase.s != "" {
				do(phrase)
			}
		})
	})
}

// words calls do with every word of the text.
func (t text) words(do func(word text)) {
	for i := 0; i < len(t.s); {
		for i < len(t.s) && isSpace(t.s[i]) {
			i++
		}
		from := i
		for i < len(t.s) && !isSpace(t.s[i]) {
			i++
		}
		if i > from {
			do(text{t.s[from:i], t.at, t.offset + from})
		}
	}
}

func isSpace(c byte) bool { return c == ' ' || c == '\n' || c == '\t' || c == '\r' }

// all is the place of the whole text within its file.
func (t text) all() source.Span { return t.span(0, len(t.s)) }
