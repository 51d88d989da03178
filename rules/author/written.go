package author

import (
	"strings"

	"kartwright/rules/ruleset"
	"kartwright/rules/source"
)

// written is where each key of each rule is written, changes laid over it.
type written struct {
	rules   map[string]map[string]*source.Node
	changes []writtenChange
}

type writtenChange struct {
	rule string
	node *source.Node
}

func writtenIn(l *ruleset.Loaded) *written {
	w := &written{rules: map[string]map[string]*source.Node{}}
	lay := func(id string, from *source.Node, except ...string) {
		keys := w.rules[id]
		if keys == nil {
			keys = map[string]*source.Node{}
			w.rules[id] = keys
		}
		for _, e := range from.Nodes() {
			keys[e.Name] = e
		}
		for _, k := range except {
			delete(keys, k)
		}
	}
	for _, f := range l.Files { // what is extended comes first
		for _, n := range f.Source.Root().Entry("rule").Nodes() {
			lay(text(n.Entry("id")), n)
		}
	}
	for _, f := range l.Files {
		for _, n := range f.Source.Root().Entry("change").Nodes() {
			id := text(n.Entry("rule"))
			w.changes = append(w.changes, writtenChange{id, n})
			lay(id, n, "rule", "off")
		}
	}
	return w
}

// text returns an id, which has no characters that need escaping.
func text(n *source.Node) string {
	if n == nil {
		return ""
	}
	return strings.Trim(n.Value.Text(), `"'`)
}

// value returns the place of the value at a path below a rule, or of the
// innermost part of the path that is there; of its id if nothing is.
func (w *written) value(l *ruleset.Loaded, rule string, path ...string) source.Span {
	n := w.find(rule, path)
	if n == nil {
		return l.Place(rule)
	}
	return n.Value
}

// element returns the place of element i of the list at a path; a single value
// stands for a list of one.
func (w *written) element(l *ruleset.Loaded, rule string, i int, path ...string) source.Span {
	n := w.find(rule, path)
	if e := n.Element(i); e != nil {
		return e.Value
	}
	return w.value(l, rule, path...)
}

func (w *written) find(rule string, path []string) *source.Node {
	n := w.rules[rule][path[0]]
	for _, p := range path[1:] {
		next := n.Entry(p)
		if next == nil {
			break
		}
		n = next
	}
	return n
}
