package profile

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
	"kartwright/rules/diag"
	"kartwright/rules/source"
	"kartwright/rules/tables"
)

// Edit is one key of a profile to set or to add.
type Edit struct {
	// Path names the key as Number.Path does, corner.left.caster or
	// adjuster "caster screw".gauge, or as PresentPath does.
	Path string
	// Value is what the key becomes, without quotes: "12.4 deg ± 0.2 deg".
	Value string
	// Note, if not empty, is written above the key with the date: how the
	// value was come by.
	Note string
}

// Change is an edit that was made.
type Change struct {
	Path string
	Was  string // as written, "" if the key was not there
	Now  string
}

// PresentPath is the path of where an adjuster stands: on one side, or on both
// if none is given.
func PresentPath(adjuster string, side ...frontend.Side) string {
	path := "present."
	if len(side) == 1 {
		path += side[0].String() + "."
	}
	return path + strconv.Quote(adjuster)
}

// PresentEdits returns the edits that make a setting the present one. What
// stands alike on both sides is written once, unless the profile has it by side
// already. Positions are written as precisely as adjust prints them.
func (k *Kart) PresentEdits(to [2]adjust.Setting, note string) []Edit {
	var out []Edit
	u := geometry.Units{}
	for _, side := range frontend.Sides {
		c, other := &k.Corners[side], &k.Corners[1-side]
		for i, a := range c.Adjusters {
			text, was := a.Print(to[side][i], u), a.Print(k.Present[side][i], u)
			j := other.Index(a.Name)
			if j >= 0 && k.spec.present[side][a.Name] == k.spec.present[1-side][a.Name] {
				b := other.Adjusters[j]
				if otherText := b.Print(to[1-side][j], u); otherText == text {
					if side == frontend.Left && (text != was || text != b.Print(k.Present[1-side][j], u)) {
						out = append(out, Edit{PresentPath(a.Name), text, note})
					}
					continue
				}
			}
			if text != was {
				out = append(out, Edit{PresentPath(a.Name, side), text, note})
			}
		}
	}
	return out
}

// Rewrite returns a profile's text with the edits made and every other byte as
// it was. What a key was until then stays above it as a comment with the date.
// The result has been read again: it says what was asked, and nothing else in
// it changed. With an error nothing may be written.
func Rewrite(name string, data []byte, on time.Time, edits ...Edit) ([]byte, []Change, error) {
	k, found := Parse(name, data)
	if k == nil {
		return nil, nil, fmt.Errorf("a profile with errors is not edited: %w", firstError(found))
	}
	var changes []Change
	done := map[string]bool{}
	for _, e := range edits {
		if done[e.Path] {
			return nil, nil, fmt.Errorf("%s is to be set twice", e.Path)
		}
		done[e.Path] = true
		next, c, err := k.rewrite(name, data, on, e)
		if err != nil {
			return nil, nil, fmt.Errorf("%s cannot be set: %w", e.Path, err)
		}
		if c != nil {
			data, changes = next, append(changes, *c)
		}
	}
	if k, found := Parse(name, data); k == nil {
		return nil, nil, fmt.Errorf("the profile would be wrong then: %w", firstError(found))
	}
	return data, changes, nil
}

func firstError(found []diag.Diagnostic) error {
	i := slices.IndexFunc(found, func(d diag.Diagnostic) bool { return d.Severity == diag.Error })
	return errors.New(found[i].String())
}

// rewrite makes one edit. The change is nil if the key has the value already.
func (k *Kart) rewrite(name string, data []byte, on time.Time, e Edit) ([]byte, *Change, error) {
	if err := oneLine(e.Value); err != nil {
		return nil, nil, err
	}
	if err := oneLine(e.Note); err != nil {
		return nil, nil, err
	}
	if e.Value == "" {
		return nil, nil, errors.New("there is no value to set")
	}
	f, err := source.Parse(name, data)
	if err != nil {
		return nil, nil, err
	}
	w := writer{file: f, date: on.Format(time.DateOnly), note: e.Note, newline: "\n"}
	if i := bytes.IndexByte(data, '\n'); i > 0 && data[i-1] == '\r' {
		w.newline = "\r\n"
	}
	nth, steps, err := k.locate(e.Path)
	if err != nil {
		return nil, nil, err
	}
	root := f.Root()
	if nth >= 0 {
		root = root.Entry("adjuster").Element(nth)
	}
	text, value, err := k.spell(root, nth, steps, e.Value)
	if err != nil {
		return nil, nil, err
	}
	was, err := w.set(root, steps, text)
	if err != nil {
		return nil, nil, err
	}
	if was == text {
		return data, nil, nil
	}
	out := w.apply()
	want, err := decode(name, data)
	if err != nil {
		return nil, nil, err
	}
	from := any(want)
	if nth >= 0 {
		from = want["adjuster"].([]any)[nth]
	}
	if w.replaced != "" {
		delete(from.(map[string]any), w.replaced)
	}
	put(from, steps, value)
	if got, err := decode(name, out); err != nil || !reflect.DeepEqual(got, want) {
		return nil, nil, errors.New("the way it is written in this file would have to change; edit the file by hand")
	}
	return out, &Change{e.Path, was, text}, nil
}

// oneLine refuses what cannot stand on one line of a TOML file.
func oneLine(text string) error {
	if !utf8.ValidString(text) || strings.ContainsFunc(text, unicode.IsControl) {
		return fmt.Errorf("%q does not fit on a line of text", text)
	}
	return nil
}

// A step is one part of a path: a name or, with name "", an index.
type step struct {
	name  string
	index int
}

// locate finds the adjuster whose table a path begins in, −1 for the file's own,
// and the steps from there.
func (k *Kart) locate(path string) (nth int, steps []step, err error) {
	nth = -1
	rest, isAdjuster := strings.CutPrefix(path, "adjuster ")
	if isAdjuster {
		quoted, err := strconv.QuotedPrefix(rest)
		if err != nil {
			return 0, nil, errors.New(`write the adjuster's name in quotes: adjuster "tie rod".pitch`)
		}
		name, err := strconv.Unquote(quoted)
		if err != nil {
			return 0, nil, err
		}
		for i, a := range k.spec.adjusters {
			switch {
			case a.name != name:
			case nth >= 0:
				return 0, nil, fmt.Errorf("there are two tables for %q, one for each side, and a path does not say which", name)
			default:
				nth = i
			}
		}
		if nth < 0 {
			return 0, nil, fmt.Errorf("there is no adjuster %q here; %s", name, orList(name, k.adjusterNames()))
		}
		rest = strings.TrimPrefix(rest[len(quoted):], ".")
	}
	steps, ok := split(rest)
	if !ok {
		return 0, nil, errors.New("it is not a path such as corner.left.caster")
	}
	return nth, steps, nil
}

// orList says what a word may have been meant for.
func orList(word string, known []string) string {
	if hint := diag.DidYouMean(word, known); hint != "" {
		return hint
	}
	return "there is " + strings.Join(known, ", ")
}

func (k *Kart) adjusterNames() []string {
	var out []string
	for _, a := range k.spec.adjusters {
		if !slices.Contains(out, a.name) {
			out = append(out, a.name)
		}
	}
	return out
}

// split reads a path: names, bare or quoted, with points between them, and
// indices in brackets.
func split(path string) (out []step, ok bool) {
	for path != "" {
		switch {
		case path[0] == '[':
			end := strings.IndexByte(path, ']')
			if end < 0 {
				return nil, false
			}
			i, err := strconv.Atoi(path[1:end])
			if err != nil || i < 0 {
				return nil, false
			}
			out, path = append(out, step{index: i}), path[end+1:]
		case path[0] == '"':
			quoted, err := strconv.QuotedPrefix(path)
			if err != nil {
				return nil, false
			}
			name, err := strconv.Unquote(quoted)
			if err != nil || name == "" {
				return nil, false
			}
			out, path = append(out, step{name: name}), path[len(quoted):]
		default:
			end := strings.IndexAny(path, ".[")
			if end < 0 {
				end = len(path)
			}
			if end == 0 {
				return nil, false
			}
			out, path = append(out, step{name: path[:end]}), path[end:]
		}
		if rest, dot := strings.CutPrefix(path, "."); dot {
			if rest == "" || rest[0] == '[' {
				return nil, false
			}
			path = rest
		}
	}
	return out, len(out) > 0 && out[0].name != ""
}

// spell returns how a value is written at a place, as text and as decoded, and
// refuses places that are not edited.
func (k *Kart) spell(root *source.Node, nth int, steps []step, value string) (string, any, error) {
	quoted := func() (string, any, error) { return strconv.Quote(value), value, nil }
	if nth >= 0 {
		return spellField(root, k.spec.adjusters[nth].kind, steps, value)
	}
	top, rest := steps[0].name, steps[1:]
	if top == "mass" && len(rest) == 2 && rest[0].name == "scales" {
		if slices.Contains(scaleKeys[:], rest[1].name) {
			return quoted()
		}
		return "", nil, fmt.Errorf("there is no scale %q; %s", rest[1].name, orList(rest[1].name, scaleKeys[:]))
	}
	var side []frontend.Side
	if len(rest) == 2 && rest[0].name != "" {
		for _, s := range frontend.Sides {
			if rest[0].name == s.String() {
				side, rest = []frontend.Side{s}, rest[1:]
			}
		}
	}
	switch {
	case (top == "corner" || top == "steering") && k.spec.byPoints:
		return "", nil, errors.New("this kart is given by [points], which angles and lengths follow from")
	case top == "points" && isScalar(root, steps):
		return quoted()
	case len(rest) != 1 || rest[0].name == "":
	case top == "present":
		key := rest[0].name
		if len(side) == 0 {
			side = frontend.Sides[:]
		}
		if !slices.ContainsFunc(side, func(s frontend.Side) bool { return k.Corners[s].Index(key) >= 0 }) {
			return "", nil, fmt.Errorf("there is no adjuster %q here; %s", key, orList(key, k.adjusterNames()))
		}
		return quoted()
	case len(side) > 0 && top != "corner":
	default:
		var keys []string
		for _, d := range slices.Concat(dimensions, loadDimensions) {
			if d.table == top {
				keys = append(keys, d.key)
			}
		}
		switch {
		case slices.Contains(keys, rest[0].name):
			return quoted()
		case keys != nil:
			return "", nil, fmt.Errorf("[%s] has no number %q; %s", top, rest[0].name, orList(rest[0].name, keys))
		}
	}
	return "", nil, errors.New("only measured numbers and the positions in [present] are set this way; edit the file by hand")
}

// isScalar reports whether steps lead to a single value that the file has.
func isScalar(root *source.Node, steps []step) bool {
	n := root
	for _, s := range steps {
		n = s.in(n)
	}
	return n != nil && n.Kind == source.Scalar
}

// spellField is spell for a field of an adjuster.
func spellField(root *source.Node, kindName string, steps []step, value string) (string, any, error) {
	kind, _ := adjust.KindNamed(kindName)
	i := slices.IndexFunc(kind.Fields, func(f adjust.Field) bool { return f.Name == steps[0].name })
	switch {
	case i < 0 && slices.Contains([]string{"name", "kind", "side"}, steps[0].name):
		return "", nil, fmt.Errorf("an adjuster's %s says which it is; edit the file by hand", steps[0].name)
	case i < 0:
		var names []string
		for _, f := range kind.Fields {
			names = append(names, f.Name)
		}
		return "", nil, fmt.Errorf("an adjuster of kind %s has no %q; %s", kind.Name, steps[0].name, orList(steps[0].name, names))
	case len(steps) > 1:
		if !isScalar(root, steps) {
			return "", nil, errors.New("the file has no such value")
		}
	case kind.Fields[i].Type == adjust.Positions:
		return "", nil, errors.New("it is a list; name one value of it, or edit the file by hand")
	case kind.Fields[i].Type == adjust.Count:
		n, err := strconv.ParseInt(value, 10, 32)
		if err != nil {
			return "", nil, fmt.Errorf("%q is not a whole number", value)
		}
		return strconv.FormatInt(n, 10), n, nil
	case kind.Fields[i].Type == adjust.Number, kind.Fields[i].Type == adjust.Ratio && !strings.Contains(value, "±"):
		x, err := strconv.ParseFloat(value, 64)
		if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
			return "", nil, fmt.Errorf("%q is not a number", value)
		}
		text := trim(x)
		if !strings.Contains(text, ".") {
			text += ".0"
		}
		return text, x, nil
	}
	return strconv.Quote(value), value, nil
}

func (s step) in(n *source.Node) *source.Node {
	if s.name == "" {
		return n.Element(s.index)
	}
	return n.Entry(s.name)
}

// writer splices text into a file.
type writer struct {
	file             *source.File
	date, note       string
	newline          string
	replaced         string // key that another took the place of
	splices          []splice
	values, headings []*source.Node // outermost values, and tables with a header of their own
}

type splice struct {
	start, end int
	text       string
}

func (w *writer) apply() []byte {
	slices.SortStableFunc(w.splices, func(a, b splice) int { return a.start - b.start })
	var out []byte
	at := 0
	for _, s := range w.splices {
		out = append(append(out, w.file.Data[at:s.start]...), s.text...)
		at = s.end
	}
	return append(out, w.file.Data[at:]...)
}

// set makes the value at steps below root the text, and returns what it was.
func (w *writer) set(root *source.Node, steps []step, text string) (was string, err error) {
	w.survey(w.file.Root())
	n, statement := root, (*source.Node)(nil)
	if root.Kind == source.InlineTable { // an adjuster in adjuster = [{…}]
		statement = w.file.Root().Entry("adjuster")
	}
	for i, s := range steps {
		next := s.in(n)
		if next == nil {
			if old := n.Entry(instead[s.name]); old != nil && i == len(steps)-1 && old.Kind == source.Scalar {
				w.replaced = old.Name
				if statement == nil {
					statement = old
				}
				w.replace(old, statement)
				w.splices = append(w.splices, splice{old.Key.Start, old.Key.End, s.name}, splice{old.Value.Start, old.Value.End, text})
				return old.Key.Text() + " = " + old.Value.Text(), nil
			}
			return "", w.add(n, statement, steps[i:], text)
		}
		if n = next; statement == nil && n.Kind != source.Table && n.Kind != source.TableArray {
			statement = n
		}
	}
	if n.Kind != source.Scalar {
		return "", errors.New("it is a list or a table, not a single value")
	}
	if was = n.Value.Text(); was != text {
		w.replace(n, statement)
		w.splices = append(w.splices, splice{n.Value.Start, n.Value.End, text})
	}
	return was, nil
}

// instead names the keys of which an adjuster has one or the other.
var instead = map[string]string{"pitch": "thread", "thread": "pitch"}

// survey collects the outermost values and the tables with a header.
func (w *writer) survey(n *source.Node) {
	for _, c := range n.Nodes() {
		switch {
		case c.Kind != source.Table && c.Kind != source.TableArray:
			w.values = append(w.values, c)
			continue
		case c.Kind == source.Table && w.headed(c):
			w.headings = append(w.headings, c)
		}
		w.survey(c)
	}
}

// headed reports whether a table has a header of its own, and is not only
// implied by a longer one or by a dotted key.
func (w *writer) headed(n *source.Node) bool {
	return strings.HasPrefix(n.Value.Text(), "[") && !slices.ContainsFunc(n.Nodes(), func(c *source.Node) bool {
		return (c.Kind == source.Table || c.Kind == source.TableArray) && c.Value == n.Value
	})
}

// dotted reports whether a table is only implied by dotted keys.
func dotted(n *source.Node) bool { return !strings.HasPrefix(n.Value.Text(), "[") }

func (w *writer) lineStart(at int) int {
	line, _ := w.file.Position(at)
	start := w.file.LineStart(line)
	if start == 0 && bytes.HasPrefix(w.file.Data, []byte("\xef\xbb\xbf")) {
		start = 3
	}
	return start
}

func (w *writer) lineEnd(at int) int {
	if i := bytes.IndexByte(w.file.Data[at:], '\n'); i >= 0 {
		return at + i + 1
	}
	return len(w.file.Data)
}

func (w *writer) indent(at int) string {
	line := w.file.Data[w.lineStart(at):]
	return string(line[:len(line)-len(bytes.TrimLeft(line, " \t"))])
}

// replace writes above its statement what a value was.
func (w *writer) replace(n, statement *source.Node) {
	start := w.lineStart(statement.Key.Start)
	indent := w.indent(statement.Key.Start)
	key := string(w.file.Data[start+len(indent) : statement.Key.End])
	old := key + strings.TrimPrefix(n.Path(), statement.Path()) + " = " + strings.ReplaceAll(n.Value.Text(), "\r", "")
	old = strings.ReplaceAll(old, "\n", w.newline+indent+"#   ")
	w.splices = append(w.splices, splice{start, start, indent + "# until " + w.date + ": " + old + w.newline + w.noted(indent)})
}

func (w *writer) noted(indent string) string {
	if w.note == "" {
		return ""
	}
	return indent + "# from " + w.date + ": " + w.note + w.newline
}

// add writes a key that is not there, at steps below the table n.
func (w *writer) add(n, statement *source.Node, steps []step, text string) error {
	var names []string
	for _, s := range steps {
		if s.name == "" {
			return errors.New("the file has no such value")
		}
		names = append(names, keyText(s.name))
	}
	key, table := names[len(names)-1], strings.Join(names[:len(names)-1], ".")
	line := strings.Join(names, ".") + " = " + text
	switch {
	case n.Kind == source.InlineTable:
		start, indent := w.lineStart(statement.Key.Start), w.indent(statement.Key.Start)
		at := n.Value.Start + 1
		if entries := n.Nodes(); len(entries) > 0 {
			at, line = last(entries).Value.End, ", "+line
		} else {
			line = " " + line + " "
		}
		w.splices = append(w.splices, splice{start, start, w.noted(indent)}, splice{at, at, line})
	case n.Kind != source.Table:
		return errors.New("what it would belong to is not a table")
	case n == w.file.Root() || !dotted(n) && !w.headed(n):
		// The table, or one above it, has no place yet.
		if n != w.file.Root() {
			table = strings.Trim(n.Path()+"."+table, ".")
		}
		w.section(len(w.file.Data), table, key+" = "+text)
	case dotted(n):
		end := last(n.Nodes())
		for end.Kind == source.Table {
			end = last(end.Nodes())
		}
		// What leads to n's own entries is what stands before the first of them.
		first := n.Nodes()[0]
		prefix := strings.TrimLeft(string(w.file.Data[w.lineStart(first.Key.Start):first.Key.Start]), " \t")
		w.insert(w.lineEnd(end.Value.End), w.indent(end.Key.Start), prefix+line)
	case table != "":
		w.section(w.sectionEnd(n, true), strings.Trim(n.Path()+"."+table, "."), key+" = "+text)
	default:
		at := w.sectionEnd(n, false)
		if after := w.commentedOut(n, steps[0].name); after > 0 {
			at = after
		}
		w.insert(at, w.indent(n.Value.Start), line)
	}
	return nil
}

// last returns the entry that ends last.
func last(list []*source.Node) *source.Node {
	return slices.MaxFunc(list, func(a, b *source.Node) int { return a.Value.End - b.Value.End })
}

func keyText(name string) string {
	if strings.IndexFunc(name, func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '_' || r == '-')
	}) < 0 {
		return name
	}
	return strconv.Quote(name)
}

// insert writes whole lines at the start of a line, or at the end of the file.
func (w *writer) insert(at int, indent, line string) {
	text := w.noted(indent) + indent + line + w.newline
	if at > 0 && w.file.Data[at-1] != '\n' {
		text = w.newline + text
	}
	w.splices = append(w.splices, splice{at, at, text})
}

func (w *writer) section(at int, table, line string) {
	before := w.newline
	if at > 0 && w.file.Data[at-1] != '\n' {
		before += w.newline
	}
	w.splices = append(w.splices, splice{at, at, before + "[" + table + "]" + w.newline + w.noted("") + line + w.newline})
}

// bounds returns where the part of a file that a header heads begins and ends.
func (w *writer) bounds(n *source.Node) (start, end int) {
	start, end = n.Value.End, len(w.file.Data)
	for _, h := range w.headings {
		if h.Value.Start > n.Value.Start {
			end = min(end, h.Value.Start)
		}
	}
	return start, end
}

// sectionEnd returns the start of the line after the last key under a header;
// with comments, after those that follow it without an empty line, unless the
// next header follows them as closely.
func (w *writer) sectionEnd(n *source.Node, comments bool) int {
	start, end := w.bounds(n)
	at := start
	for _, v := range w.values {
		if v.Value.Start >= start && v.Value.End <= end {
			at = max(at, v.Value.End)
		}
	}
	at = w.lineEnd(at)
	if !comments {
		return at
	}
	for past := at; ; {
		line := string(bytes.TrimSpace(w.file.Data[past:w.lineEnd(past)]))
		switch {
		case line == "":
			return past
		case !strings.HasPrefix(line, "#"):
			return at
		}
		past = w.lineEnd(past)
	}
}

// commentedOut returns the start of the line after the last comment under a
// header that reads as a key, # name = …, or 0.
func (w *writer) commentedOut(n *source.Node, name string) int {
	start, end := w.bounds(n)
	after := 0
	for at := w.lineEnd(start); at < end; at = w.lineEnd(at) {
		line := strings.TrimSpace(string(w.file.Data[at:w.lineEnd(at)]))
		comment, ok := strings.CutPrefix(line, "#")
		key, _, assigned := strings.Cut(comment, "=")
		key = strings.TrimSpace(key)
		if ok && assigned && (key == name || key == strconv.Quote(name) || key == "'"+name+"'") &&
			!slices.ContainsFunc(w.values, func(v *source.Node) bool { return v.Value.Start < at && at < v.Value.End }) {
			after = w.lineEnd(at)
		}
	}
	return after
}

// decode returns what a file says, without what this package makes of it.
func decode(name string, data []byte) (map[string]any, error) {
	var r tables.Reader
	t, _ := r.Read(name, data)
	if t == nil {
		return nil, firstError(r.Findings())
	}
	return deepCopy(t.Data()).(map[string]any), nil
}

func deepCopy(v any) any {
	switch x := v.(type) {
	case map[string]any:
		out := maps.Clone(x)
		for k, v := range out {
			out[k] = deepCopy(v)
		}
		return out
	case []map[string]any:
		out := make([]any, len(x))
		for i, v := range x {
			out[i] = deepCopy(v)
		}
		return out
	case []any:
		out := make([]any, len(x))
		for i, v := range x {
			out[i] = deepCopy(v)
		}
		return out
	}
	return v
}

// put sets a value in decoded data.
func put(v any, steps []step, value any) {
	for i, s := range steps {
		end := i == len(steps)-1
		switch x := v.(type) {
		case []any:
			if end {
				x[s.index] = value
				return
			}
			v = x[s.index]
		case map[string]any:
			if end {
				x[s.name] = value
				return
			}
			if x[s.name] == nil {
				x[s.name] = map[string]any{}
			}
			v = x[s.name]
		}
	}
}
