package tables

import (
	"strconv"
	"strings"

	"kartwright/rules/source"
)

// Data returns the table's values as they were decoded, for a reader that
// knows better than this package what to make of them. The caller must not
// change them.
func (t *Table) Data() map[string]any {
	out := make(map[string]any, len(t.data)+len(t.over))
	for k, f := range t.fields() {
		out[k] = f.data
	}
	return out
}

// Place returns the place of the value at a path below the table, such as
// positions[2].inboard, or of the innermost part of the path that is there.
func (t *Table) Place(path string) source.Span {
	var at *source.Node
	for part := range strings.SplitSeq(path, ".") {
		name, index, indexed := strings.Cut(part, "[")
		var n *source.Node
		if at == nil {
			f, _ := t.field(name)
			n = f.node
		} else {
			n = at.Entry(name)
		}
		if n == nil {
			break
		}
		at = n
		if indexed {
			i, err := strconv.Atoi(strings.TrimSuffix(index, "]"))
			if e := at.Element(i); err == nil && e != nil {
				at = e
			}
		}
	}
	if at == nil {
		return t.At
	}
	return at.Value
}
