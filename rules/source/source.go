// Package source knows where everything in a TOML file is written: the byte
// span of every table header, key, value, array element and inline-table entry.
// It exists because the decoder's own positions cannot be used for arrays of
// tables. It knows nothing of what the file is about.
package source

import (
	"slices"
	"sort"
	"strconv"
	"strings"
	"unicode/utf8"
)

// A File is the bytes of a file and the index of what is written in it.
type File struct {
	Name string
	Data []byte

	lines []int // byte offset of the start of each line
	root  *Node
	order []*Node // of the keys and headers
}

// A Span is a part of a file, from the byte Start up to but not including End.
// The zero Span is no place.
type Span struct {
	File       *File
	Start, End int
}

// IsZero reports whether the span is no place.
func (s Span) IsZero() bool { return s.File == nil }

// Text returns the bytes of the span.
func (s Span) Text() string {
	if s.File == nil {
		return ""
	}
	return string(s.File.Data[s.Start:s.End])
}

// Position returns the line and column at which the span begins, both from 1.
// A column is a character, not a byte.
func (s Span) Position() (line, column int) { return s.File.Position(s.Start) }

// EndPosition returns the line and column of the first character after the span.
func (s Span) EndPosition() (line, column int) { return s.File.Position(s.End) }

// String returns "file:line:column", or "-" for no place.
func (s Span) String() string {
	if s.IsZero() {
		return "-"
	}
	line, column := s.Position()
	return s.File.Name + ":" + strconv.Itoa(line) + ":" + strconv.Itoa(column)
}

// Position returns the line and column of a byte offset, both from 1, the column
// in characters. An offset outside the file is moved to its nearer end.
func (f *File) Position(offset int) (line, column int) {
	offset = min(max(offset, 0), len(f.Data))
	line = sort.SearchInts(f.lines, offset+1)
	return line, utf8.RuneCount(f.Data[f.lines[line-1]:offset]) + 1
}

// Line returns the text of a line, counted from 1, without its end; "" for a
// line that the file does not have.
func (f *File) Line(n int) string {
	if n < 1 || n > len(f.lines) {
		return ""
	}
	end := len(f.Data)
	if n < len(f.lines) {
		end = f.lines[n]
	}
	return strings.TrimRight(string(f.Data[f.lines[n-1]:end]), "\r\n")
}

// LineStart returns the byte offset at which a line, counted from 1, begins.
func (f *File) LineStart(n int) int { return f.lines[n-1] }

// Start returns the empty span at the beginning of the file: the place for what
// concerns the file as a whole.
func (f *File) Start() Span { return Span{File: f} }

// Span returns the part of the file between two byte offsets.
func (f *File) Span(start, end int) Span { return Span{f, start, end} }

// Root returns the table that is the file.
func (f *File) Root() *Node { return f.root }

// Keys returns every key and table header in the order of the file, with
// repeats, each as a path of names without indices.
func (f *File) Keys() [][]string {
	var keys [][]string
	for _, n := range f.order {
		var path []string
		for ; n.parent != nil; n = n.parent {
			if n.index < 0 {
				path = append(path, n.Name)
			}
		}
		slices.Reverse(path)
		keys = append(keys, path)
	}
	return keys
}

// A Kind says how a node is written.
type Kind uint8

const (
	Scalar      Kind = iota // a string, number, boolean, date or time
	Array                   // [ … ]
	InlineTable             // { … }
	Table                   // [header], the file itself, or a table that only a longer path implies
	TableArray              // all [[header]] of one name; its elements are of kind Table
)

// A Node is a table, a value, or an element of an array.
type Node struct {
	Name   string // its key; "" for the file itself and for elements
	Kind   Kind
	Key    Span // the key as first written, its last part only; for elements the same as Value
	Value  Span // the value; for a table its header with brackets; empty at the start of the file for the file itself
	parent *Node
	index  int // among the parent's elements, −1 if not an element
	nodes  []*Node
	byName map[string]*Node // nil while the entries are few
}

// Nodes returns the entries of a table, or the elements of an array, in the order
// of the file.
func (n *Node) Nodes() []*Node {
	if n == nil {
		return nil
	}
	return n.nodes
}

// Entry returns the entry of a table with a name, or nil. It may be called on nil.
func (n *Node) Entry(name string) *Node {
	if n == nil {
		return nil
	}
	if n.byName != nil {
		return n.byName[name]
	}
	for _, e := range n.nodes {
		if e.index < 0 && e.Name == name {
			return e
		}
	}
	return nil
}

// Element returns element i of an array, or nil. It may be called on nil.
func (n *Node) Element(i int) *Node {
	if n == nil || n.Kind != Array && n.Kind != TableArray || i < 0 || i >= len(n.nodes) {
		return nil
	}
	return n.nodes[i]
}

// Path returns where the node is in the file's data: rule[3].when.grip[1], the
// elements counted from 0. Names that are not plain are quoted.
func (n *Node) Path() string {
	if n == nil || n.parent == nil {
		return ""
	}
	if n.index >= 0 {
		return n.parent.Path() + "[" + strconv.Itoa(n.index) + "]"
	}
	name := n.Name
	if name == "" || strings.IndexFunc(name, func(r rune) bool { return !isBare(r) }) >= 0 {
		name = strconv.Quote(name)
	}
	if up := n.parent.Path(); up != "" {
		return up + "." + name
	}
	return name
}

// Find returns the node at a path in the form of Path, or nil.
func (f *File) Find(path string) *Node {
	n := f.root
	for rest := path; rest != "" && n != nil; {
		switch {
		case rest[0] == '[':
			end := strings.IndexByte(rest, ']')
			if end < 0 {
				return nil
			}
			i, err := strconv.Atoi(rest[1:end])
			if err != nil {
				return nil
			}
			n, rest = n.Element(i), rest[end+1:]
		case rest[0] == '"':
			quoted, err := strconv.QuotedPrefix(rest)
			if err != nil {
				return nil
			}
			name, _ := strconv.Unquote(quoted)
			n, rest = n.Entry(name), rest[len(quoted):]
		default:
			end := strings.IndexAny(rest, ".[")
			if end < 0 {
				end = len(rest)
			}
			n, rest = n.Entry(rest[:end]), rest[end:]
		}
		if rest == "." {
			return nil
		}
		rest = strings.TrimPrefix(rest, ".")
	}
	return n
}

func isBare(r rune) bool {
	return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '_' || r == '-'
}
