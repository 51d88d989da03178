package adjust

import (
	"fmt"
	"strings"

	"kartwright/geometry"
	"kartwright/geometry/frontend"
)

var _ = register(Kind{
	Name: "bush",
	Doc:  "a set of inserts, or one insert that fits several ways, each holding one end of the kingpin at its own offset",
	Fields: []Field{
		pivotField,
		{Name: "positions", Type: Positions, Required: true, Doc: "each with a name and its offset from the bore's centre", Example: `[{ name = "centre" }, { name = "back 2", rearward = "2 mm" }, { name = "in 2", inboard = "2 mm" }]`},
		{Name: "standard", Type: Text, Required: true, Doc: "name of the standard one", Example: `"centre"`},
		lockField("kingpin bolt"),
	},
	Build: buildBush,
})

// bush holds a pivot at one of several named offsets. Positions are indices
// into the list.
type bush struct {
	top    bool
	names  []string
	offset []geometry.Vec // relative to standard
	home   int
	lock   string
}

func buildBush(v *Values) Adjuster {
	b := &bush{top: v.Word("pivot", "top", "bottom") == "top", home: -1, lock: v.lock("the kingpin bolt")}
	list, ok := tables(v.Raw["positions"])
	if !ok || len(list) < 2 {
		v.fail("positions", "must list at least two positions, each { name = \"…\", rearward = \"2 mm\", inboard = \"0 mm\" }")
		list = []map[string]any{{"name": "a"}}
		v.Errors[len(v.Errors)-1].Field = "positions"
	}
	seen := map[string]bool{}
	for i, p := range list {
		at := fmt.Sprintf("positions[%d]", i)
		name, _ := p["name"].(string)
		switch {
		case name == "":
			v.fail(at, "needs a name in quotes")
		case seen[name]:
			v.fail(at+".name", "%q is there twice", name)
		}
		seen[name] = true
		for key := range p {
			if _, known := directions[key]; !known && key != "name" {
				v.fail(at+"."+key, "%q is not one of name, rearward, forward, inboard, outboard", key)
			}
		}
		var d geometry.Vec
		for _, key := range []string{"rearward", "forward", "inboard", "outboard"} {
			if raw, ok := p[key]; ok {
				d = d.AddScaled(v.length(at+"."+key, raw), directions[key])
			}
		}
		if d.Norm() > 20 {
			v.fail(at, "is %v from the centre; a bush moves a kingpin by less than 20 mm", geometry.Length(d.Norm()))
		}
		b.names, b.offset = append(b.names, name), append(b.offset, d)
		if name == v.Text("standard") {
			b.home = i
		}
	}
	if b.home < 0 {
		if v.Has("standard") {
			v.fail("standard", "%q is not one of %s", v.Text("standard"), strings.Join(b.names, ", "))
		}
		b.home = 0
	}
	home := b.offset[b.home]
	for i := range b.offset {
		b.offset[i] = b.offset[i].Sub(home)
	}
	return b
}

// tables accepts both shapes that a TOML decoder gives a list of tables.
func tables(raw any) ([]map[string]any, bool) {
	switch x := raw.(type) {
	case []map[string]any:
		return x, true
	case []any:
		out := make([]map[string]any, len(x))
		for i, e := range x {
			m, ok := e.(map[string]any)
			if !ok {
				return nil, false
			}
			out[i] = m
		}
		return out, true
	}
	return nil, false
}

func (b *bush) Part() Part          { return OnPivot }
func (b *bush) Travel() Travel      { return Travel{Max: float64(len(b.names) - 1), Step: 1} }
func (b *bush) Standard() float64   { return float64(b.home) }
func (b *bush) Positions() []string { return b.names }
func (b *bush) Lock() string        { return b.lock }

func (b *bush) Shift(p float64) frontend.Shift { return pivotShift(b.top, b.offset[int(p)]) }

func (b *bush) Read(text string) (float64, error) {
	t := strings.TrimSpace(text)
	if strings.EqualFold(t, "standard") {
		return float64(b.home), nil
	}
	for i, n := range b.names {
		if strings.EqualFold(n, t) {
			return float64(i), nil
		}
	}
	return 0, fmt.Errorf("%q is not one of its positions: %s", text, strings.Join(b.names, ", "))
}

func (b *bush) Print(p float64, _ geometry.Units) string { return b.names[int(p)] }

func (b *bush) Move(from, to float64, u geometry.Units) string {
	d := b.offset[int(to)].Sub(b.offset[int(from)])
	var parts []string
	say := func(v float64, plus, minus string) {
		if v > 1e-9 {
			parts = append(parts, u.Length(geometry.Length(v))+" "+plus)
		} else if v < -1e-9 {
			parts = append(parts, u.Length(geometry.Length(-v))+" "+minus)
		}
	}
	say(d.X, "forward", "rearward")
	say(d.Y, "outboard", "inboard")
	end := map[bool]string{true: "top", false: "bottom"}[b.top]
	return fmt.Sprintf("change the position from %q to %q; the kingpin's %s goes %s", b.names[int(from)], b.names[int(to)], end, strings.Join(parts, " and "))
}
