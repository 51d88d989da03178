package tables

import (
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"kartwright/rules/diag"
)

const sample = `name = "a"
n = 3
x = 1.5
yes = true
one = "single"
list = ["a", "b"]
nums = [1, 2.5]
mixed = ["a", 1]
when = 1979-05-27
void = []
odd = nan
sub = { a = 1 }
inline = [ { a = 1 }, { a = 2 } ]
[deep.table]
key = "v"
[[each]]
id = "first"
[[each]]
id = "second"
`

func read(t *testing.T, text string) (*Table, *Reader) {
	t.Helper()
	var r Reader
	root, _ := r.Read("s.toml", []byte(text))
	if root == nil {
		t.Fatal(r.Findings())
	}
	return root, &r
}

func findings(r *Reader) []string {
	var out []string
	for _, d := range r.Findings() {
		out = append(out, d.String())
	}
	return out
}

func TestFieldsOfTheRightType(t *testing.T) {
	root, r := read(t, sample)
	if s, ok := root.Text("name"); s != "a" || !ok {
		t.Errorf("name is %q, %v", s, ok)
	}
	if x, ok := root.Number("n"); x != 3 || !ok {
		t.Errorf("n is %v, %v", x, ok)
	}
	if x, ok := root.Number("x"); x != 1.5 || !ok {
		t.Errorf("x is %v, %v", x, ok)
	}
	if n, ok := root.Whole("n"); n != 3 || !ok {
		t.Errorf("n as a whole number is %v, %v", n, ok)
	}
	if b, ok := root.Bool("yes"); !b || !ok {
		t.Errorf("yes is %v, %v", b, ok)
	}
	texts := func(key string) (out []string) {
		for _, item := range root.Texts(key) {
			out = append(out, item.Text+" at "+item.At.String())
		}
		return out
	}
	if got, want := texts("one"), []string{"single at s.toml:5:7"}; !slices.Equal(got, want) {
		t.Errorf("one is %q, want %q", got, want)
	}
	if got, want := texts("list"), []string{"a at s.toml:6:9", "b at s.toml:6:14"}; !slices.Equal(got, want) {
		t.Errorf("list is %q, want %q", got, want)
	}
	if xs, ok := root.Numbers("nums"); !ok || !slices.Equal(xs, []float64{1, 2.5}) || !root.IsNumbers("nums") || root.IsNumbers("list") || root.IsNumbers("void") {
		t.Errorf("nums are %v, %v", xs, ok)
	}
	if got := root.Element("nums", 1).String(); got != "s.toml:7:12" {
		t.Errorf("the second number is at %s", got)
	}
	if got := root.Element("nums", 9); got != root.Value("nums") {
		t.Errorf("an element that is not there is at %s", got)
	}
	if sub := root.Table("sub"); sub == nil || sub.At.String() != "s.toml:12:1" {
		t.Errorf("the inline table is %+v", sub)
	}
	if key, ok := root.Table("deep").Table("table").Text("key"); key != "v" || !ok {
		t.Errorf("deep.table.key is %q, %v", key, ok)
	}
	var at []string
	for _, key := range []string{"each", "inline"} {
		for _, e := range root.Tables(key) {
			at = append(at, e.At.String())
		}
	}
	if want := []string{"s.toml:16:1", "s.toml:18:1", "s.toml:13:12", "s.toml:13:23"}; !slices.Equal(at, want) {
		t.Errorf("tables of lists are missed at %q, want %q", at, want)
	}
	for _, key := range []string{"none"} {
		_, text := root.Text(key)
		_, number := root.Number(key)
		_, whole := root.Whole(key)
		_, boolean := root.Bool(key)
		_, numbers := root.Numbers(key)
		if text || number || whole || boolean || numbers || root.Table(key) != nil || root.Tables(key) != nil || root.Texts(key) != nil || root.Has(key) {
			t.Errorf("a key that is not there has a value")
		}
		if root.Key(key) != root.At || root.Value(key) != root.At {
			t.Errorf("a key that is not there is at %s", root.Key(key))
		}
	}
	if got := root.Keys(); !slices.Equal(got, []string{"name", "n", "x", "yes", "one", "list", "nums", "mixed", "when", "void", "odd", "sub", "inline", "deep", "each"}) {
		t.Errorf("the keys are %q", got)
	}
	if got := findings(r); got != nil {
		t.Errorf("found %q", got)
	}
}

func TestFieldsOfTheWrongType(t *testing.T) {
	for _, tt := range []struct {
		read func(*Table)
		want string
	}{
		{func(t *Table) { t.Text("n") }, "s.toml:2:5: error: n has to be a string, not a number [wrong-type]"},
		{func(t *Table) { t.Number("name") }, "s.toml:1:8: error: name has to be a number, not a string [wrong-type]"},
		{func(t *Table) { t.Number("odd") }, "s.toml:11:7: error: odd has to be a number, not nan [wrong-type]"},
		{func(t *Table) { t.Whole("x") }, "s.toml:3:5: error: x has to be a whole number, not a number [wrong-type]"},
		{func(t *Table) { t.Bool("list") }, "s.toml:6:8: error: list has to be true or false, not a list [wrong-type]"},
		{func(t *Table) { t.Texts("yes") }, "s.toml:4:7: error: yes has to be a string or a list of strings, not true or false [wrong-type]"},
		{func(t *Table) { t.Texts("mixed") }, "s.toml:8:15: error: an element of mixed has to be a string, not a number [wrong-type]"},
		{func(t *Table) { t.Numbers("mixed") }, "s.toml:8:10: error: an element of mixed has to be a number, not a string [wrong-type]"},
		{func(t *Table) { t.Numbers("sub") }, "s.toml:12:7: error: sub has to be a list of numbers, not a table [wrong-type]"},
		{func(t *Table) { t.Table("when") }, "s.toml:9:8: error: when has to be a table, not a date or time [wrong-type]"},
		{func(t *Table) { t.Table("each") }, "s.toml:16:1: error: each has to be a table, not a list [wrong-type]"},
		{func(t *Table) { t.Tables("deep") }, "s.toml:14:1: error: deep has to be a list of tables, each under [[deep]], not a table [wrong-type]"},
		{func(t *Table) { t.Tables("list") }, "s.toml:6:9: error: an element of list has to be a table, not a string [wrong-type]"},
		{func(t *Table) { t.Need("a sample", "name", "colour") }, `s.toml:1:1: error: a sample needs the key "colour" [missing-key]`},
		{func(t *Table) { t.Tables("each")[1].Allow("id", "x"); t.Tables("each")[0].Allow("ix") }, `s.toml:17:1: error: the key "id" is not known here [unknown-key]`},
	} {
		root, r := read(t, sample)
		tt.read(root)
		got := findings(r)
		if len(got) == 0 || got[0] != tt.want {
			t.Errorf("found %q, want %q first", got, tt.want)
		}
	}
}

func TestOver(t *testing.T) {
	root, r := read(t, "[a]\nx = 1\ny = 2\n[b]\ny = 3\nz = 4\nid = \"b\"\n")
	a, b := root.Table("a"), root.Table("b")
	over := a.Over(b, "id").Over(b, "id", "z")
	got := map[string]float64{}
	for _, k := range over.Keys() {
		got[k], _ = over.Number(k)
	}
	if diff := cmp.Diff(map[string]float64{"x": 1, "y": 3, "z": 4}, got); diff != "" {
		t.Errorf("one table over the other (-want +got):\n%s", diff)
	}
	if over.Key("y").String() != "s.toml:5:1" || over.Key("x").String() != "s.toml:2:1" || over.At != a.At {
		t.Errorf("y is at %s, x at %s, the table at %s", over.Key("y"), over.Key("x"), over.At)
	}
	if y, _ := a.Number("y"); y != 2 || a.Has("z") {
		t.Error("the table below has changed")
	}
	if over.Has("id") || len(r.Findings()) > 0 {
		t.Errorf("an exception was laid over, or something found: %v", r.Findings())
	}
}

func TestFilesThatAreNotTables(t *testing.T) {
	for _, tt := range []struct{ text, want string }{
		{"", "s.toml:1:1: error: the file says nothing [empty-file]"},
		{"# only a remark\n", "s.toml:1:1: error: the file says nothing [empty-file]"},
		{"a = \n", "s.toml:1:5: error: expected value but found '\\n' instead [syntax]"},
		{"a = 1\na = 2\n", "s.toml:2:1: error: key 'a' has already been defined [syntax]"},
		{"a.b = 1\na = 2\n", `s.toml:2:1: error: "a" is defined already, at s.toml:1:1 [syntax]`},
		{"a = \"\xff\"\n", "s.toml:1:5: error: invalid UTF-8 byte: 0xff [syntax]"},
		{"\x00", "s.toml:1:1: error: files cannot contain NULL bytes; probably using UTF-16; TOML files must be UTF-8 [syntax]"},
	} {
		var r Reader
		root, file := r.Read("s.toml", []byte(tt.text))
		if got := findings(&r); root != nil || file == nil || len(got) != 1 || got[0] != tt.want {
			t.Errorf("%q: found %q, want %q", tt.text, got, tt.want)
		}
	}
	if _, err := diag.NewRegistry(Codes()); err != nil {
		t.Error(err)
	}
}
