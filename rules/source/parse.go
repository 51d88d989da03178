package source

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"
)

// A SyntaxError says where a file stops to be TOML.
type SyntaxError struct {
	At      Span
	Message string
}

// Error returns "file:line:column: message".
func (e *SyntaxError) Error() string { return e.At.String() + ": " + e.Message }

// Parse indexes a file. The File is never nil: with an error, a *SyntaxError, it
// holds what was found before it. Parse looks for structure only; it accepts
// some files that a TOML decoder refuses (numbers, dates, names defined twice)
// but accepts every file that is TOML.
func Parse(name string, data []byte) (*File, error) {
	f := &File{Name: name, Data: data, lines: []int{0}}
	for i, b := range data {
		if b == '\n' {
			f.lines = append(f.lines, i+1)
		}
	}
	f.root = &Node{Kind: Table, Key: f.Start(), Value: f.Start(), index: -1}
	p := &parser{f: f, data: data}
	return f, p.file()
}

type parser struct {
	f     *File
	data  []byte
	pos   int
	depth int
	spare []Node // room for nodes, made many at a time
	parts []part // of the key read last
}

// node returns a new node.
func (p *parser) node(name string, kind Kind, key, value Span, index int) *Node {
	if len(p.spare) == 0 {
		p.spare = make([]Node, 128)
	}
	n := &p.spare[0]
	p.spare = p.spare[1:]
	n.Name, n.Kind, n.Key, n.Value, n.index = name, kind, key, value, index
	return n
}

// maxDepth bounds nesting, so that a hostile file cannot exhaust the stack.
const maxDepth = 1000

func (p *parser) fail(at int, format string, args ...any) error {
	at = min(at, len(p.data))
	_, size := utf8.DecodeRune(p.data[at:])
	return &SyntaxError{At: p.f.Span(at, at+size), Message: fmt.Sprintf(format, args...)}
}

// peek returns the byte at the current place, 0 at the end of the file.
func (p *parser) peek() byte {
	if p.pos < len(p.data) {
		return p.data[p.pos]
	}
	return 0
}

func (p *parser) atEnd() bool { return p.pos >= len(p.data) }

func (p *parser) blanks() {
	for !p.atEnd() && (p.data[p.pos] == ' ' || p.data[p.pos] == '\t') {
		p.pos++
	}
}

// space skips blanks, line ends and comments.
func (p *parser) space() {
	for !p.atEnd() {
		switch p.data[p.pos] {
		case ' ', '\t', '\n', '\r':
			p.pos++
		case '#':
			p.comment()
		default:
			return
		}
	}
}

func (p *parser) comment() {
	if i := bytes.IndexByte(p.data[p.pos:], '\n'); i >= 0 {
		p.pos += i
	} else {
		p.pos = len(p.data)
	}
}

func (p *parser) file() error {
	// The decoder reads over a mark of UTF-8, and over one of UTF-16 that a tool has
	// put before plain text.
	for _, mark := range []string{"\xef\xbb\xbf", "\xff\xfe", "\xfe\xff"} {
		if bytes.HasPrefix(p.data, []byte(mark)) {
			p.pos = len(mark)
			break
		}
	}
	table := p.f.root
	for {
		p.space()
		if p.atEnd() {
			return nil
		}
		if p.peek() == '[' {
			t, err := p.header()
			if err != nil {
				return err
			}
			table = t
		} else if err := p.entry(table); err != nil {
			return err
		}
		p.blanks()
		switch p.peek() {
		case '\n', '\r', '#':
		default:
			if !p.atEnd() {
				return p.fail(p.pos, "expected the end of the line")
			}
		}
	}
}

// A part is one part of a dotted key.
type part struct {
	name string
	at   Span
}

// header reads [a.b] or [[a.b]] and returns its table.
func (p *parser) header() (*Node, error) {
	start := p.pos
	p.pos++
	array := p.peek() == '['
	if array {
		p.pos++
	}
	parts, err := p.dottedKey(']')
	if err != nil {
		return nil, err
	}
	p.pos++
	if array {
		if p.peek() != ']' {
			return nil, p.fail(p.pos, "expected ]] at the end of the table's name")
		}
		p.pos++
	}
	at := p.f.Span(start, p.pos)

	n := p.f.root
	for _, part := range parts[:len(parts)-1] {
		if n, err = p.into(n, part, at); err != nil {
			return nil, err
		}
	}
	if n, err = p.open(n, parts[len(parts)-1], at, array); err == nil {
		p.f.order = append(p.f.order, n)
	}
	return n, err
}

// open returns the table of a header within n.
func (p *parser) open(n *Node, last part, at Span, array bool) (*Node, error) {
	old := n.Entry(last.name)
	switch {
	case !array && old == nil:
		return n.add(p.node(last.name, Table, last.at, at, -1)), nil
	case !array && old.Kind == Table:
		old.Key, old.Value = last.at, at // until now it was only implied
		return old, nil
	case array && old == nil:
		old = n.add(p.node(last.name, TableArray, last.at, at, -1))
		fallthrough
	case array && old.Kind == TableArray:
		return old.add(p.node("", Table, last.at, at, len(old.nodes))), nil
	}
	return nil, p.fail(last.at.Start, "%q is defined already, at %s", last.name, old.Key)
}

// into returns the table that a part of a path leads to, making one if needed.
func (p *parser) into(n *Node, pt part, value Span) (*Node, error) {
	next := n.Entry(pt.name)
	if next == nil {
		return n.add(p.node(pt.name, Table, pt.at, value, -1)), nil
	}
	switch next.Kind {
	case Table, InlineTable:
		return next, nil
	case TableArray:
		return next.nodes[len(next.nodes)-1], nil
	}
	return nil, p.fail(pt.at.Start, "%q is a value, defined at %s, not a table", pt.name, next.Key)
}

// few is how many entries are looked through for a name; more get a map.
const few = 16

func (n *Node) add(child *Node) *Node {
	child.parent = n
	n.nodes = append(n.nodes, child)
	switch {
	case child.index >= 0:
	case n.byName != nil:
		n.byName[child.Name] = child
	case len(n.nodes) > few:
		n.byName = make(map[string]*Node, 2*few)
		for _, e := range n.nodes {
			n.byName[e.Name] = e
		}
	}
	return child
}

// entry reads key = value into a table.
func (p *parser) entry(table *Node) error {
	parts, err := p.dottedKey('=')
	if err != nil {
		return err
	}
	p.pos++
	p.blanks()
	n := table
	for _, pt := range parts[:len(parts)-1] {
		if n, err = p.into(n, pt, pt.at); err != nil {
			return err
		}
	}
	last := parts[len(parts)-1]
	if old := n.Entry(last.name); old != nil {
		return p.fail(last.at.Start, "%q is defined already, at %s", last.name, old.Key)
	}
	n = n.add(p.node(last.name, Scalar, last.at, Span{}, -1))
	p.f.order = append(p.f.order, n)
	return p.value(n)
}

// dottedKey reads the parts of a key up to, but not including, the byte end. They
// hold until the next key.
func (p *parser) dottedKey(end byte) ([]part, error) {
	parts := p.parts[:0]
	for {
		p.blanks()
		start := p.pos
		var name string
		switch c := p.peek(); {
		case c == '"' || c == '\'':
			if err := p.line(c); err != nil {
				return nil, err
			}
			name = string(p.data[start+1 : p.pos-1])
			if c == '"' {
				name = unescape(name)
			}
		default:
			for !p.atEnd() && isBare(rune(p.data[p.pos])) {
				p.pos++
			}
			name = string(p.data[start:p.pos])
			if name == "" {
				return nil, p.fail(p.pos, "expected a key")
			}
		}
		parts = append(parts, part{name, p.f.Span(start, p.pos)})
		p.blanks()
		switch c := p.peek(); {
		case c == '.':
			p.pos++
		case c == end:
			p.parts = parts
			return parts, nil
		default:
			return nil, p.fail(p.pos, "expected . or %c after the key", end)
		}
	}
}

// line reads a string that ends on its line, quotes included.
func (p *parser) line(quote byte) error {
	start := p.pos
	for p.pos++; !p.atEnd(); p.pos++ {
		switch c := p.data[p.pos]; {
		case c == quote:
			p.pos++
			return nil
		case c == '\n':
			return p.fail(start, "this string does not end on its line")
		case c == '\\' && quote == '"':
			p.pos++
		}
	}
	return p.fail(start, "this string does not end")
}

// lines reads a string between triple quotes, quotes included.
func (p *parser) lines(quote byte) error {
	start := p.pos
	end := []byte{quote, quote, quote}
	for p.pos += 3; !p.atEnd(); p.pos++ {
		if quote == '\'' {
			// Nothing is escaped: the end can be looked for at once.
			i := bytes.Index(p.data[p.pos:], end)
			if i < 0 {
				break
			}
			p.pos += i
		}
		switch {
		case p.data[p.pos] == '\\' && quote == '"':
			p.pos++
		case bytes.HasPrefix(p.data[p.pos:], end):
			// up to two quotes may stand before the closing three
			p.pos += 3
			for i := 0; i < 2 && p.peek() == quote; i++ {
				p.pos++
			}
			return nil
		}
	}
	p.pos = len(p.data)
	return p.fail(start, "this string does not end")
}

// value reads a value into its node.
func (p *parser) value(n *Node) error {
	if p.depth++; p.depth > maxDepth {
		return p.fail(p.pos, "values are nested more than %d deep", maxDepth)
	}
	defer func() { p.depth-- }()
	start := p.pos
	var err error
	switch c := p.peek(); c {
	case '"', '\'':
		if bytes.HasPrefix(p.data[p.pos:], []byte{c, c, c}) {
			err = p.lines(c)
		} else {
			err = p.line(c)
		}
	case '[':
		n.Kind = Array
		err = p.array(n)
	case '{':
		n.Kind = InlineTable
		err = p.inline(n)
	default:
		end := bytes.IndexAny(p.data[p.pos:], ",]}#\r\n")
		if end < 0 {
			end = len(p.data) - p.pos
		}
		p.pos += len(bytes.TrimRight(p.data[p.pos:p.pos+end], " \t"))
		if p.pos == start {
			return p.fail(p.pos, "expected a value")
		}
	}
	n.Value = p.f.Span(start, min(p.pos, len(p.data)))
	if n.index >= 0 {
		n.Key = n.Value
	}
	return err
}

func (p *parser) array(n *Node) error {
	start := p.pos
	p.pos++
	for {
		p.space()
		if p.atEnd() {
			return p.fail(start, "this array does not end")
		}
		if p.peek() == ']' {
			p.pos++
			return nil
		}
		if err := p.value(n.add(p.node("", Scalar, Span{}, Span{}, len(n.nodes)))); err != nil {
			return err
		}
		p.space()
		switch {
		case p.peek() == ',':
			p.pos++
		case p.peek() != ']' && !p.atEnd():
			return p.fail(p.pos, "expected , or ] after an element of the array")
		}
	}
}

func (p *parser) inline(n *Node) error {
	start := p.pos
	p.pos++
	for {
		p.space()
		if p.atEnd() {
			return p.fail(start, "this table does not end")
		}
		if p.peek() == '}' {
			p.pos++
			return nil
		}
		if err := p.entry(n); err != nil {
			return err
		}
		p.space()
		switch {
		case p.peek() == ',':
			p.pos++
		case p.peek() != '}' && !p.atEnd():
			return p.fail(p.pos, "expected , or } after an entry of the table")
		}
	}
}

// unescape resolves the escapes of a basic string on one line.
func unescape(s string) string {
	if !strings.Contains(s, `\`) {
		return s
	}
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		if s[i] != '\\' || i+1 == len(s) {
			b.WriteByte(s[i])
			continue
		}
		i++
		digits := 0
		switch s[i] {
		case 'b':
			b.WriteByte('\b')
		case 't':
			b.WriteByte('\t')
		case 'n':
			b.WriteByte('\n')
		case 'f':
			b.WriteByte('\f')
		case 'r':
			b.WriteByte('\r')
		case 'e':
			b.WriteByte(0x1b)
		case 'x':
			digits = 2
		case 'u':
			digits = 4
		case 'U':
			digits = 8
		default:
			b.WriteByte(s[i])
		}
		if digits > 0 && i+digits < len(s) {
			if r, err := strconv.ParseUint(s[i+1:i+1+digits], 16, 32); err == nil {
				b.WriteRune(rune(r))
				i += digits
			}
		}
	}
	return b.String()
}
