// Package tables reads TOML files that people write. A table hands out its
// fields by the type that is wanted and collects, instead of returning errors,
// one finding for everything that is not as it should be: an unknown key, a key
// that is missing, a value of the wrong type, each with its exact place.
//
// It is the only package that imports the TOML decoder, whose own positions it
// uses for nothing but syntax errors: those of arrays of tables are wrong.
package tables

import (
	"cmp"
	"errors"
	"fmt"
	"iter"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/BurntSushi/toml"

	"kartwright/rules/diag"
	"kartwright/rules/source"
)

// The codes that any TOML file can be found at fault with.
const (
	Syntax     diag.Code = "syntax"
	UnknownKey diag.Code = "unknown-key"
	MissingKey diag.Code = "missing-key"
	WrongType  diag.Code = "wrong-type"
	EmptyFile  diag.Code = "empty-file"
)

// Codes explains the codes of this package.
func Codes() []diag.Explanation {
	return []diag.Explanation{
		{Code: Syntax, Title: "the file is not TOML",
			Text: "Nothing in a file can be used before its syntax is right. Common slips are a missing quote, a missing comma in a list, a key given twice in one table, and a table opened twice."},
		{Code: UnknownKey, Title: "a key has no meaning here",
			Text: "A key that is not known would be ignored, and with it what its author meant. It is usually a slip of the keyboard, or a key that belongs into another table."},
		{Code: MissingKey, Title: "a key is missing",
			Text: "The table cannot be used without this key. The place given is the table that lacks it."},
		{Code: WrongType, Title: "a value is of the wrong type",
			Text: "A quantity with a unit is a string, \"0.5 deg\"; a bare number has no quotes; a list stands in brackets. Nothing is converted silently."},
		{Code: EmptyFile, Title: "the file is empty",
			Text: "A file with nothing in it is more likely cut short, or saved in the wrong place, than meant."},
	}
}

// A Reader collects findings while files are read. The zero value is ready.
type Reader struct{ findings []diag.Diagnostic }

// Report adds a finding.
func (r *Reader) Report(d diag.Diagnostic) { r.findings = append(r.findings, d) }

// Findings returns what was found, in order of place, each thing once.
func (r *Reader) Findings() []diag.Diagnostic {
	return diag.Sort(slices.Clone(r.findings))
}

// Decoded is a file that was decoded and indexed, and of which nothing was made
// yet.
type Decoded struct {
	file          *source.File
	data          document
	err, indexErr error
}

// Decode decodes and indexes a file. It touches nothing else, so several files
// can be decoded at once.
func Decode(name string, data []byte) Decoded {
	var d Decoded
	d.file, d.indexErr = source.Parse(name, data)
	_, d.err = toml.Decode(string(data), &d.data)
	return d
}

// Read decodes a file and uses it.
func (r *Reader) Read(name string, data []byte) (*Table, *source.File) {
	return r.Use(Decode(name, data))
}

// Use returns the table that is a file. It is nil if the file is not TOML, or
// empty, which is then a finding; the source file is never nil.
func (r *Reader) Use(d Decoded) (*Table, *source.File) {
	file, data := d.file, d.file.Data
	var syntax toml.ParseError
	var index *source.SyntaxError
	switch {
	case errors.As(d.err, &syntax):
		start := min(max(0, syntax.Position.Start), len(data))
		end := min(start+max(1, syntax.Position.Len), len(data))
		r.Report(diag.Errorf(Syntax, file.Span(start, end), "%s", lower(strings.TrimSuffix(syntax.Message, "."))))
		return nil, file
	case d.err != nil:
		r.Report(diag.Errorf(Syntax, file.Start(), "%s", lower(d.err.Error())))
		return nil, file
	case errors.As(d.indexErr, &index):
		r.Report(diag.Errorf(Syntax, index.At, "%s", index.Message))
		return nil, file
	case len(d.data) == 0:
		r.Report(diag.Errorf(EmptyFile, file.Start(), "the file says nothing"))
		return nil, file
	}
	return r.table(d.data, file.Root()), file
}

func lower(s string) string {
	if len(s) > 1 && s[0] >= 'A' && s[0] <= 'Z' && (s[1] < 'A' || s[1] > 'Z') {
		return strings.ToLower(s[:1]) + s[1:]
	}
	return s
}

// A document receives what the decoder has read, as it is.
type document map[string]any

// UnmarshalTOML implements toml.Unmarshaler.
func (d *document) UnmarshalTOML(data any) error {
	*d, _ = data.(map[string]any)
	return nil
}

// A Table is a table of a file, or of one with parts of others laid over it.
type Table struct {
	// At is where something that the table lacks is missed: its header, its key,
	// or the start of the file.
	At     source.Span
	reader *Reader
	data   map[string]any
	node   *source.Node
	over   map[string]field // laid over data
}

type field struct {
	data any
	node *source.Node
}

func (r *Reader) table(data map[string]any, n *source.Node) *Table {
	t := &Table{At: n.Value, reader: r, data: data, node: n}
	if n.Kind == source.InlineTable {
		t.At = n.Key
		if n.Key == n.Value { // an element of a list
			t.At = n.Value.File.Span(n.Value.Start, n.Value.Start+1)
		}
	}
	return t
}

// field returns a value and its node.
func (t *Table) field(key string) (field, bool) {
	if f, ok := t.over[key]; ok {
		return f, true
	}
	v, ok := t.data[key]
	if !ok {
		return field{}, false
	}
	return field{v, t.node.Entry(key)}, true
}

// fields returns every field, in no order.
func (t *Table) fields() iter.Seq2[string, field] {
	return func(yield func(string, field) bool) {
		for k, f := range t.over {
			if !yield(k, f) {
				return
			}
		}
		for k, v := range t.data {
			if _, over := t.over[k]; !over && !yield(k, field{v, t.node.Entry(k)}) {
				return
			}
		}
	}
}

// Over returns the table with the fields of another laid over it, apart from
// those named. Neither table changes.
func (t *Table) Over(top *Table, except ...string) *Table {
	u := *t
	u.over = make(map[string]field)
	maps.Copy(u.over, t.over)
	for k, f := range top.fields() {
		if !slices.Contains(except, k) {
			u.over[k] = f
		}
	}
	return &u
}

// Has reports whether the table has a key.
func (t *Table) Has(key string) bool { _, ok := t.field(key); return ok }

// Keys returns the keys of the table in the order in which they are written.
func (t *Table) Keys() []string {
	var keys []string
	at := map[string]source.Span{}
	for k, f := range t.fields() {
		keys = append(keys, k)
		at[k] = f.node.Key
	}
	slices.SortFunc(keys, func(a, b string) int {
		x, y := at[a], at[b]
		return cmp.Or(strings.Compare(x.File.Name, y.File.Name), cmp.Compare(x.Start, y.Start), strings.Compare(a, b))
	})
	return keys
}

// Key returns the place of a key, or of the table if it does not have it.
func (t *Table) Key(key string) source.Span {
	if f, ok := t.field(key); ok {
		return f.node.Key
	}
	return t.At
}

// Value returns the place of a value, or of the table if it does not have the key.
func (t *Table) Value(key string) source.Span {
	if f, ok := t.field(key); ok {
		return f.node.Value
	}
	return t.At
}

// Report adds a finding.
func (t *Table) Report(d diag.Diagnostic) { t.reader.Report(d) }

// Allow reports every key that is not among those allowed.
func (t *Table) Allow(keys ...string) {
	for k, f := range t.fields() {
		if !slices.Contains(keys, k) {
			t.Report(diag.Errorf(UnknownKey, f.node.Key, "the key %q is not known here", k).WithHelp(diag.DidYouMean(k, keys)))
		}
	}
}

// Need reports every one of the keys that the table does not have, and whether
// it has them all. The table is named as what, "a rule".
func (t *Table) Need(what string, keys ...string) bool {
	all := true
	for _, k := range keys {
		if !t.Has(k) {
			all = false
			t.Report(diag.Errorf(MissingKey, t.At, "%s needs the key %q", what, k))
		}
	}
	return all
}

// wrong reports a value of the wrong type.
func (t *Table) wrong(name string, n *source.Node, data any, want string) {
	t.Report(diag.Errorf(WrongType, n.Value, "%s has to be %s, not %s", name, want, typeName(data)))
}

func typeName(v any) string {
	switch v := v.(type) {
	case string:
		return "a string"
	case float64:
		if math.IsNaN(v) {
			return "nan"
		}
		return "a number"
	case int64:
		return "a number"
	case bool:
		return "true or false"
	case time.Time:
		return "a date or time"
	case map[string]any:
		return "a table"
	case []any, []map[string]any:
		return "a list"
	default:
		return fmt.Sprintf("%T", v)
	}
}

// Text returns a string. ok is false if the key is not there or, which is a
// finding, not a string.
func (t *Table) Text(key string) (s string, ok bool) {
	f, there := t.field(key)
	if !there {
		return "", false
	}
	if s, ok = f.data.(string); !ok {
		t.wrong(key, f.node, f.data, "a string")
	}
	return s, ok
}

// Number returns a number, whole or not; a NaN is a finding.
func (t *Table) Number(key string) (x float64, ok bool) {
	f, there := t.field(key)
	if !there {
		return 0, false
	}
	if x, ok = asNumber(f.data); !ok {
		t.wrong(key, f.node, f.data, "a number")
	}
	return x, ok
}

func asNumber(v any) (float64, bool) {
	switch v := v.(type) {
	case float64:
		return v, !math.IsNaN(v)
	case int64:
		return float64(v), true
	}
	return 0, false
}

// Whole returns a whole number.
func (t *Table) Whole(key string) (n int64, ok bool) {
	f, there := t.field(key)
	if !there {
		return 0, false
	}
	if n, ok = f.data.(int64); !ok {
		t.wrong(key, f.node, f.data, "a whole number")
	}
	return n, ok
}

// Bool returns true or false.
func (t *Table) Bool(key string) (b, ok bool) {
	f, there := t.field(key)
	if !there {
		return false, false
	}
	if b, ok = f.data.(bool); !ok {
		t.wrong(key, f.node, f.data, "true or false")
	}
	return b, ok
}

// An Item is one string of a list and its place.
type Item struct {
	Text string
	At   source.Span
}

// Texts returns a list of strings; a string by itself is a list of one. Elements
// of another type are findings and left out.
func (t *Table) Texts(key string) []Item {
	f, there := t.field(key)
	if !there {
		return nil
	}
	if s, ok := f.data.(string); ok {
		return []Item{{s, f.node.Value}}
	}
	list, ok := asList(f.data)
	if !ok {
		t.wrong(key, f.node, f.data, "a string or a list of strings")
		return nil
	}
	var out []Item
	for i, v := range list {
		n := f.node.Element(i)
		if s, ok := v.(string); ok {
			out = append(out, Item{s, n.Value})
		} else {
			t.wrong("an element of "+key, n, v, "a string")
		}
	}
	return out
}

// Numbers returns a list of numbers. ok is false if the key is not there or,
// which is a finding, something else.
func (t *Table) Numbers(key string) (xs []float64, ok bool) {
	f, there := t.field(key)
	if !there {
		return nil, false
	}
	list, ok := asList(f.data)
	if !ok {
		t.wrong(key, f.node, f.data, "a list of numbers")
		return nil, false
	}
	for i, v := range list {
		x, isNumber := asNumber(v)
		if !isNumber {
			t.wrong("an element of "+key, f.node.Element(i), v, "a number")
			ok = false
		}
		xs = append(xs, x)
	}
	return xs, ok
}

// IsNumbers reports whether a key holds a list whose first element is a number.
func (t *Table) IsNumbers(key string) bool {
	f, _ := t.field(key)
	list, ok := asList(f.data)
	if !ok || len(list) == 0 {
		return false
	}
	_, ok = asNumber(list[0])
	return ok
}

// Element returns the place of element i of the list at a key.
func (t *Table) Element(key string, i int) source.Span {
	f, _ := t.field(key)
	if e := f.node.Element(i); e != nil {
		return e.Value
	}
	return t.Value(key)
}

// Table returns the table at a key, or nil if it is not there or, which is a
// finding, not a table.
func (t *Table) Table(key string) *Table {
	f, there := t.field(key)
	if !there {
		return nil
	}
	m, ok := f.data.(map[string]any)
	if !ok {
		t.wrong(key, f.node, f.data, "a table")
		return nil
	}
	return t.reader.table(m, f.node)
}

// Tables returns the tables of a list, written as [[key]] or as key = [{…}].
func (t *Table) Tables(key string) []*Table {
	f, there := t.field(key)
	if !there {
		return nil
	}
	list, ok := asList(f.data)
	if !ok {
		t.wrong(key, f.node, f.data, "a list of tables, each under [["+key+"]]")
		return nil
	}
	var out []*Table
	for i, v := range list {
		n := f.node.Element(i)
		if m, ok := v.(map[string]any); ok {
			out = append(out, t.reader.table(m, n))
		} else {
			t.wrong("an element of "+key, n, v, "a table")
		}
	}
	return out
}

func asList(v any) ([]any, bool) {
	switch v := v.(type) {
	case []any:
		return v, true
	case []map[string]any:
		out := make([]any, len(v))
		for i, m := range v {
			out[i] = m
		}
		return out, true
	}
	return nil, false
}

// IsNumber reports whether a key holds a number.
func (t *Table) IsNumber(key string) bool {
	f, _ := t.field(key)
	_, ok := asNumber(f.data)
	return ok
}
