// Package diag holds what is wrong with a file that a person wrote: where, how
// bad, a code that can be looked up, one sentence, and what to write instead.
// It knows nothing of what the files are about; each package that reads files
// brings its own codes.
package diag

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"kartwright/rules/source"
)

// A Severity says whether a file can be used in spite of a finding.
type Severity uint8

const (
	Error   Severity = iota // the file cannot be used
	Warning                 // it can
)

// String returns "error" or "warning".
func (s Severity) String() string {
	if s == Warning {
		return "warning"
	}
	return "error"
}

// A Code names a kind of finding, in kebab-case, for good.
type Code string

// A Diagnostic is one finding.
type Diagnostic struct {
	Severity Severity
	Code     Code
	At       source.Span // the smallest thing that has to be edited
	Message  string      // one sentence, lower case, no full stop
	Related  []Note      // other places that took part
	Help     string      // what to write instead; empty when that is not known
}

// A Note is another place that took part in a finding.
type Note struct {
	At      source.Span
	Message string
}

// Errorf returns a finding that makes the file unusable. It panics if at is no
// place, so that a finding without one cannot be written by accident.
func Errorf(code Code, at source.Span, format string, args ...any) Diagnostic {
	return newDiagnostic(Error, code, at, format, args)
}

// Warnf returns a finding that leaves the file usable. It panics if at is no place.
func Warnf(code Code, at source.Span, format string, args ...any) Diagnostic {
	return newDiagnostic(Warning, code, at, format, args)
}

func newDiagnostic(s Severity, code Code, at source.Span, format string, args []any) Diagnostic {
	d := Diagnostic{Severity: s, Code: code, At: at, Message: fmt.Sprintf(format, args...)}
	if at.IsZero() {
		panic("diag: no place given for " + string(code) + ": " + d.Message)
	}
	return d
}

// WithHelp returns the finding with what to write instead; "" changes nothing.
func (d Diagnostic) WithHelp(help string) Diagnostic {
	if help != "" {
		d.Help = help
	}
	return d
}

// WithNote returns the finding with another place that took part. It panics if
// at is no place.
func (d Diagnostic) WithNote(at source.Span, format string, args ...any) Diagnostic {
	if at.IsZero() {
		panic("diag: no place given for a note to " + string(d.Code))
	}
	d.Related = append(slices.Clip(d.Related), Note{at, fmt.Sprintf(format, args...)})
	return d
}

// Sort orders findings by file, line, column and code, and drops those that say
// the same of the same place. It works in place and returns the shortened slice.
func Sort(list []Diagnostic) []Diagnostic {
	order := func(a, b Diagnostic) int {
		al, ac := a.At.Position()
		bl, bc := b.At.Position()
		for _, c := range []int{
			strings.Compare(a.At.File.Name, b.At.File.Name), al - bl, ac - bc,
			strings.Compare(string(a.Code), string(b.Code)), strings.Compare(a.Message, b.Message),
		} {
			if c != 0 {
				return c
			}
		}
		return 0
	}
	slices.SortStableFunc(list, order)
	return slices.CompactFunc(list, func(a, b Diagnostic) bool { return order(a, b) == 0 })
}

// HasErrors reports whether any finding makes a file unusable.
func HasErrors(list []Diagnostic) bool {
	return slices.ContainsFunc(list, func(d Diagnostic) bool { return d.Severity == Error })
}

// String returns the finding on one line: "dry.toml:3:12: error: … [code]".
func (d Diagnostic) String() string {
	return fmt.Sprintf("%s: %s: %s [%s]", d.At, d.Severity, d.Message, d.Code)
}

// WriteText writes findings for a person, each with the line in question and a
// mark under the place.
func WriteText(w io.Writer, list []Diagnostic) error {
	var b strings.Builder
	for _, d := range list {
		b.WriteString(d.String())
		b.WriteByte('\n')
		snippet(&b, d.At)
		for _, n := range d.Related {
			fmt.Fprintf(&b, "  %s: %s\n", n.At, n.Message)
		}
		if d.Help != "" {
			fmt.Fprintf(&b, "  help: %s\n", d.Help)
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// widest is how many characters of a line are shown; a longer one is cut around
// the place.
const widest = 110

func snippet(b *strings.Builder, at source.Span) {
	line, column := at.Position()
	text := []rune(strings.ToValidUTF8(at.File.Line(line), "�"))
	if len(text) == 0 {
		return
	}
	marked := 1
	if endLine, endColumn := at.EndPosition(); endLine > line {
		marked = len(text) - column + 1
	} else {
		marked = endColumn - column
	}
	from := column - 1
	marked = max(1, min(marked, len(text)-from))

	before, after := "", ""
	if len(text) > widest {
		start := max(0, min(from-widest/3, len(text)-widest))
		end := min(len(text), start+widest)
		if start > 0 {
			before = "…"
		}
		if end < len(text) {
			after = "…"
		}
		text, from = text[start:end], from-start
		marked = min(marked, len(text)-from)
	}
	fmt.Fprintf(b, "%5d | %s%s%s\n", line, before, string(text), after)
	b.WriteString("      | ")
	if before != "" {
		b.WriteByte(' ')
	}
	for _, r := range text[:min(from, len(text))] {
		if r == '\t' {
			b.WriteByte('\t') // as wide as the tab above
		} else {
			b.WriteByte(' ')
		}
	}
	b.WriteString(strings.Repeat("^", max(1, marked)))
	b.WriteByte('\n')
}

// place is a span as programs read it. The end is the first character after it.
type place struct {
	File      string `json:"file"`
	Line      int    `json:"line"`
	Column    int    `json:"column"`
	EndLine   int    `json:"endLine"`
	EndColumn int    `json:"endColumn"`
}

func placeOf(s source.Span) place {
	p := place{File: s.File.Name}
	p.Line, p.Column = s.Position()
	p.EndLine, p.EndColumn = s.EndPosition()
	return p
}

type jsonNote struct {
	place
	Message string `json:"message"`
}

// MarshalJSON writes file, line, column, endLine, endColumn, severity, code,
// message, help and related; lines and columns count from 1, columns in
// characters.
func (d Diagnostic) MarshalJSON() ([]byte, error) {
	out := struct {
		place
		Severity string     `json:"severity"`
		Code     Code       `json:"code"`
		Message  string     `json:"message"`
		Help     string     `json:"help,omitempty"`
		Related  []jsonNote `json:"related,omitempty"`
	}{placeOf(d.At), d.Severity.String(), d.Code, d.Message, d.Help, nil}
	for _, n := range d.Related {
		out.Related = append(out.Related, jsonNote{placeOf(n.At), n.Message})
	}
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	err := e.Encode(out)
	return b.Bytes(), err
}

// WriteJSON writes findings for a program, as one array; no findings are "[]".
func WriteJSON(w io.Writer, list []Diagnostic) error {
	if list == nil {
		list = []Diagnostic{}
	}
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(list)
}

// An Explanation tells what a code means.
type Explanation struct {
	Code  Code
	Title string // a short sentence, lower case, no full stop
	Text  string // why it matters and how to put it right
}

// A Registry holds the codes of all packages that find things.
type Registry struct{ list []Explanation }

// NewRegistry joins lists of codes. It is an error if a code is there twice or
// lacks an explanation.
func NewRegistry(lists ...[]Explanation) (Registry, error) {
	var r Registry
	for _, l := range lists {
		r.list = append(r.list, l...)
	}
	slices.SortFunc(r.list, func(a, b Explanation) int { return strings.Compare(string(a.Code), string(b.Code)) })
	for i, e := range r.list {
		if e.Code == "" || e.Title == "" || e.Text == "" {
			return Registry{}, fmt.Errorf("code %q has no title or no text", e.Code)
		}
		if i > 0 && r.list[i-1].Code == e.Code {
			return Registry{}, fmt.Errorf("code %q is registered twice", e.Code)
		}
	}
	return r, nil
}

// Explain returns what a code means.
func (r Registry) Explain(code Code) (Explanation, bool) {
	i, found := slices.BinarySearchFunc(r.list, code, func(e Explanation, c Code) int { return strings.Compare(string(e.Code), string(c)) })
	if !found {
		return Explanation{}, false
	}
	return r.list[i], true
}

// All returns every explanation, in order of code. The caller must not change it.
func (r Registry) All() []Explanation { return r.list }

// mostListed is how many allowed words a message lists.
const mostListed = 8

// Expected returns `expected "a", "b" or "c"` for allowed words, in their order,
// or "" if they are too many to list.
func Expected(allowed []string) string {
	if len(allowed) == 0 || len(allowed) > mostListed {
		return ""
	}
	quoted := make([]string, len(allowed))
	for i, w := range allowed {
		quoted[i] = `"` + w + `"`
	}
	if len(quoted) == 1 {
		return "expected " + quoted[0]
	}
	return "expected " + strings.Join(quoted[:len(quoted)-1], ", ") + " or " + quoted[len(quoted)-1]
}

// DidYouMean returns `did you mean "caster"?` for the nearest allowed word, the
// list of allowed words if none is near and they are few, or "".
func DidYouMean(word string, allowed []string) string {
	if near, ok := Nearest(word, allowed); ok {
		return `did you mean "` + near + `"?`
	}
	return Expected(allowed)
}

// Nearest returns the allowed word that the fewest slips of the keyboard turn
// into word, a slip being a character put in, left out, or wrong, or two
// neighbours swapped (Damerau–Levenshtein). ok is false if even the nearest is
// more slips away than a third of the word's length: a word of one or two letters
// is near nothing but itself. Upper
// and lower case are the same. Of equals the first in alphabetical order is
// returned.
func Nearest(word string, allowed []string) (near string, ok bool) {
	w := []rune(strings.ToLower(word))
	best := len(w)/3 + 1
	for _, a := range allowed {
		n := utf8.RuneCountInString(a)
		if n-len(w) >= best+1 || len(w)-n >= best+1 {
			continue
		}
		if d := distance(w, []rune(strings.ToLower(a))); d < best || d == best && ok && a < near {
			best, near, ok = d, a, true
		}
	}
	return near, ok
}

// distance is the Damerau–Levenshtein distance with neighbours swapped before or
// after other edits between them (the unrestricted form, a metric).
func distance(a, b []rune) int {
	last := map[rune]int{} // last row in which a character of a was seen, from 1
	width := len(b) + 2
	d := make([]int, (len(a)+2)*width)
	at := func(i, j int) *int { return &d[(i+1)*width+j+1] }
	far := len(a) + len(b)
	*at(-1, -1) = far
	for i := 0; i <= len(a); i++ {
		*at(i, -1), *at(i, 0) = far, i
	}
	for j := 0; j <= len(b); j++ {
		*at(-1, j), *at(0, j) = far, j
	}
	for i := 1; i <= len(a); i++ {
		lastMatch := 0
		for j := 1; j <= len(b); j++ {
			k, l, cost := last[b[j-1]], lastMatch, 1
			if a[i-1] == b[j-1] {
				cost, lastMatch = 0, j
			}
			*at(i, j) = min(*at(i-1, j-1)+cost, *at(i, j-1)+1, *at(i-1, j)+1, *at(k-1, l-1)+(i-k-1)+1+(j-l-1))
		}
		last[a[i-1]] = i
	}
	return *at(len(a), len(b))
}
