package source

import (
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/BurntSushi/toml"
	"github.com/google/go-cmp/cmp"
)

// The decoder lists every key in the order of the file; the index has to list
// the same ones for every file that the decoder accepts.
func FuzzKeysAgainstDecoder(f *testing.F) {
	for _, seed := range []string{
		"a = 1\n",
		"[a.b]\nc = [1, 2]\n[[rule]]\nid = \"x\" # c\nwhen = { grip = [\"low\", 'high'], x.y = 1 }\n[[rule]]\n[rule.when]\nid = '''a\n'''\n",
		"\"a b\".'c' = \"\"\"x\\\"\"\"\"\"\n[ \"\\u00e9\" . x ]\n",
		"t = 1979-05-27 07:32:00\nn = -inf\nx = [ # c\n {a=1}, {b=[{c=2}]},\n]\n",
		"a.b.c = 1\na.b.d = 2\n[a.e]\nf=1\r\n",
		"\xef\xbb\xbfa=1",
		"\xfe\xff",
		"\xff\xfea=1",
		"s = \"\"\"a\"\"\"\"\"\nq = ''''x'''''\n",
		"a.b = 1\na = 2\n",
		"i = {\n a = 1,\n # c\n b = 2,\n}\n",
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		var m map[string]any
		meta, err := toml.Decode(string(data), &m)
		if err != nil {
			Parse("x.toml", data) // must not panic
			return
		}
		file, err := Parse("x.toml", data)
		if err != nil && strings.Contains(err.Error(), "defined") {
			// The decoder lets a dotted key be replaced ("a.b = 1", "a = 2"),
			// which TOML 1.0 forbids. The name has to be there twice, though.
			for _, k := range meta.Keys() {
				for i := range k {
					if strings.Contains(err.Error(), strconv.Quote(k[i])) {
						return
					}
				}
			}
		}
		if err != nil {
			t.Fatalf("Parse refuses a file that the decoder accepts: %v\n%q", err, data)
		}
		var want [][]string
		for _, k := range meta.Keys() {
			want = append(want, k)
		}
		if diff := cmp.Diff(want, file.Keys()); diff != "" {
			t.Errorf("keys of %q (-decoder +index):\n%s", data, diff)
		}
		compare(t, file.Root(), m)
	})
}

// compare checks that node and decoded value have the same shape, that spans lie
// inside those of their parents, and that every path leads back to its node.
func compare(t *testing.T, n *Node, value any) {
	t.Helper()
	if n.Value.Start < 0 || n.Value.End > len(n.Value.File.Data) || n.Value.Start > n.Value.End {
		t.Fatalf("%s has the span %d to %d", n.Path(), n.Value.Start, n.Value.End)
	}
	if got := n.Value.File.Find(n.Path()); got != n && n.parent != nil {
		t.Errorf("path %q does not lead back to its node", n.Path())
	}
	switch v := value.(type) {
	case map[string]any:
		if n.Kind != Table && n.Kind != InlineTable {
			t.Fatalf("%s is of kind %d, the decoder has a table", n.Path(), n.Kind)
		}
		if len(v) != len(n.Nodes()) {
			t.Errorf("%s has %d entries, the decoder has %d", n.Path(), len(n.Nodes()), len(v))
		}
		for k, e := range v {
			if n.Entry(k) == nil {
				t.Fatalf("%s has no entry %q", n.Path(), k)
			}
			compare(t, n.Entry(k), e)
		}
	case []map[string]any:
		if n.Kind != TableArray && n.Kind != Array {
			t.Fatalf("%s is of kind %d, the decoder has an array of tables", n.Path(), n.Kind)
		}
		for i, e := range v {
			if n.Element(i) == nil {
				t.Fatalf("%s has no element %d", n.Path(), i)
			}
			compare(t, n.Element(i), e)
		}
	case []any:
		if n.Kind != Array || len(n.Nodes()) != len(v) {
			t.Fatalf("%s is of kind %d with %d elements, the decoder has an array of %d", n.Path(), n.Kind, len(n.Nodes()), len(v))
		}
		for i, e := range v {
			compare(t, n.Element(i), e)
			if in := n.Element(i).Value; in.Start < n.Value.Start || in.End > n.Value.End {
				t.Errorf("%s lies outside its array", n.Element(i).Path())
			}
		}
	default:
		if n.Kind != Scalar {
			t.Errorf("%s is of kind %d, the decoder has %T", n.Path(), n.Kind, value)
		}
		if s, ok := value.(string); ok && !strings.ContainsAny(s, "\\\"'\r\n") && !strings.Contains(n.Value.Text(), "\\") && !strings.Contains(n.Value.Text(), s) {
			t.Errorf("%s spans %q, which does not contain %q", n.Path(), n.Value.Text(), s)
		}
	}
}

func TestSpans(t *testing.T) {
	const text = `# naïve
set = "dry"
[[rule]]
id = "a"
[[rule]]
id = "b"  # the second
when = { grip = ["low", "é", 'high'], tyres = [0, 1] }
[rule.vote]
caster = "+0.5 deg"
[scale.grip]
"of x" = 10
`
	f, err := Parse("dry.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct{ path, key, value, place string }{
		{"set", "set", `"dry"`, "dry.toml:2:7"},
		{"rule", "rule", "[[rule]]", "dry.toml:3:1"},
		{"rule[1]", "rule", "[[rule]]", "dry.toml:5:1"},
		{"rule[0].id", "id", `"a"`, "dry.toml:4:6"},
		{"rule[1].id", "id", `"b"`, "dry.toml:6:6"},
		{"rule[1].when", "when", `{ grip = ["low", "é", 'high'], tyres = [0, 1] }`, "dry.toml:7:8"},
		{"rule[1].when.grip[1]", `"é"`, `"é"`, "dry.toml:7:25"},
		{"rule[1].when.grip[2]", `'high'`, `'high'`, "dry.toml:7:30"}, // a column is a character
		{"rule[1].when.tyres[1]", "1", "1", "dry.toml:7:51"},
		{"rule[1].vote", "vote", "[rule.vote]", "dry.toml:8:1"},
		{"rule[1].vote.caster", "caster", `"+0.5 deg"`, "dry.toml:9:10"},
		{"scale", "scale", "[scale.grip]", "dry.toml:10:1"},
		{`scale.grip."of x"`, `"of x"`, "10", "dry.toml:11:10"},
	} {
		n := f.Find(tt.path)
		if n == nil {
			t.Errorf("%s is not found", tt.path)
			continue
		}
		if n.Key.Text() != tt.key || n.Value.Text() != tt.value || n.Value.String() != tt.place {
			t.Errorf("%s has the key %q and the value %q at %s, want %q and %q at %s",
				tt.path, n.Key.Text(), n.Value.Text(), n.Value, tt.key, tt.value, tt.place)
		}
		if n.Path() != tt.path {
			t.Errorf("the path of %s comes back as %s", tt.path, n.Path())
		}
	}
	for _, path := range []string{"nothing", "rule[2]", "rule[x]", "rule[0", "set.x", "rule[0].id[0]", `"`} {
		if n := f.Find(path); n != nil {
			t.Errorf("Find(%q) finds %s", path, n.Path())
		}
	}
	if got := f.Line(1); got != "# naïve" {
		t.Errorf("line 1 is %q", got)
	}
}

func TestParseErrors(t *testing.T) {
	for _, tt := range []struct{ text, want string }{
		{"a = \n", "x:1:5: expected a value"},
		{"a = [1\n", "x:1:5: this array does not end"},
		{"a = { b = 1\n", "x:1:5: this table does not end"},
		{"a = [1 2]\n", ""}, // looks like one value; the decoder complains
		{"é = 1\n", "x:1:1: expected a key"},
		{"a = \"b\nc = 1", "x:1:5: this string does not end on its line"},
		{"a = '''b\n", "x:1:5: this string does not end"},
		{"[a\n", "x:1:3: expected . or ] after the key"},
		{"[[a]\n", "x:1:5: expected ]] at the end of the table's name"},
		{"a = 1\n[a]\n", `x:2:2: "a" is defined already, at x:1:1`},
		{"a = 1\na = 2\n", `x:2:1: "a" is defined already, at x:1:1`},
		{"a = 1\na.b = 2\n", `x:2:1: "a" is a value, defined at x:1:1, not a table`},
		{"a = \"b\" c\n", "x:1:9: expected the end of the line"},
		{"a = " + strings.Repeat("[", 2000), "x:1:1005: values are nested more than 1000 deep"},
	} {
		f, err := Parse("x", []byte(tt.text))
		got := ""
		if err != nil {
			got = err.Error()
		}
		if got != tt.want {
			t.Errorf("Parse(%.40q) says %q, want %q", tt.text, got, tt.want)
		}
		if f == nil || f.Root() == nil {
			t.Errorf("Parse(%.40q) gives no file", tt.text)
		}
	}
}

func TestKeysAreInOrderWithRepeats(t *testing.T) {
	f, err := Parse("x", []byte("[[r]]\na=1\n[[r]]\na={b.c=1}\n"))
	if err != nil {
		t.Fatal(err)
	}
	want := [][]string{{"r"}, {"r", "a"}, {"r"}, {"r", "a"}, {"r", "a", "b", "c"}}
	if !slices.EqualFunc(f.Keys(), want, slices.Equal) {
		t.Errorf("keys are %q, want %q", f.Keys(), want)
	}
}
