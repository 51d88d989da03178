package diag

import (
	"bytes"
	"slices"
	"strings"
	"testing"

	"kartwright/rules/source"
)

func parse(t testing.TB, name, text string) *source.File {
	t.Helper()
	f, err := source.Parse(name, []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func TestWriteText(t *testing.T) {
	f := parse(t, "wet.toml", "[[rule]]\nid = \"entry-understeer\"\nadvise = { casster = \"+1deg\" }\n\t\"ß\" = \"é\"\nlong = \""+strings.Repeat("x", 200)+"\"\nm = '''a\nb'''\n")
	list := []Diagnostic{
		Errorf("unknown-lever", f.Find("rule[0].advise.casster").Key, "%q is not something a kart can adjust", "casster").
			WithNote(f.Find("rule[0].id").Key, "in rule %s", "entry-understeer").WithHelp(`did you mean "caster"?`),
		Warnf("x", f.Span(f.LineStart(5)+100, f.LineStart(5)+104), "long line"),
		Warnf("x", f.Find("rule[0].m").Value, "two lines"),
		Errorf("empty", f.Start(), "empty"),
	}
	var b bytes.Buffer
	if err := WriteText(&b, list[:1]); err != nil {
		t.Fatal(err)
	}
	const want = `wet.toml:3:12: error: "casster" is not something a kart can adjust [unknown-lever]
    3 | advise = { casster = "+1deg" }
      |            ^^^^^^^
  wet.toml:2:1: in rule entry-understeer
  help: did you mean "caster"?
`
	if b.String() != want {
		t.Errorf("the text is\n%s\nwant\n%s", b.String(), want)
	}
	b.Reset()
	if err := WriteText(&b, list[1:]); err != nil {
		t.Fatal(err)
	}
	for _, line := range strings.Split(b.String(), "\n") {
		if n := len([]rune(line)); n > widest+12 {
			t.Errorf("a line of %d characters is not cut: %s", n, line)
		}
	}
}

// Every mark stands under the character it is about, however the line begins.
func TestMarkStandsUnderThePlace(t *testing.T) {
	for _, text := range []string{"a = \"X\"\n", "\t\ta = \"X\"\n", "\"é→\" = \"X\"\n", "a = \"" + strings.Repeat("é", 150) + "X" + strings.Repeat("y", 150) + "\"\n"} {
		f := parse(t, "a.toml", text)
		i := strings.Index(text, "X")
		var b bytes.Buffer
		if err := WriteText(&b, []Diagnostic{Errorf("c", f.Span(i, i+1), "here")}); err != nil {
			t.Fatal(err)
		}
		lines := strings.Split(b.String(), "\n")
		shown, mark := []rune(lines[1]), []rune(lines[2])
		if c := slices.Index(mark, '^'); c < 0 || shown[c] != 'X' {
			t.Errorf("the mark is not under the X:\n%s", b.String())
		}
	}
}

func TestWriteJSON(t *testing.T) {
	f := parse(t, "a.toml", "x = \"é\" \ny = 1\n")
	var b bytes.Buffer
	d := Warnf("c", f.Find("x").Value, "an <odd> value").WithHelp("h").WithNote(f.Find("y").Key, "and here")
	if err := WriteJSON(&b, []Diagnostic{d}); err != nil {
		t.Fatal(err)
	}
	const want = `[
  {
    "file": "a.toml",
    "line": 1,
    "column": 5,
    "endLine": 1,
    "endColumn": 8,
    "severity": "warning",
    "code": "c",
    "message": "an <odd> value",
    "help": "h",
    "related": [
      {
        "file": "a.toml",
        "line": 2,
        "column": 1,
        "endLine": 2,
        "endColumn": 2,
        "message": "and here"
      }
    ]
  }
]
`
	if b.String() != want {
		t.Errorf("the JSON is\n%s\nwant\n%s", b.String(), want)
	}
	b.Reset()
	if err := WriteJSON(&b, nil); err != nil || b.String() != "[]\n" {
		t.Errorf("no findings are written as %q, want []", b.String())
	}
}

func TestSortOrdersAndDropsRepeats(t *testing.T) {
	a, b := parse(t, "a.toml", "x = 1\ny = 2\n"), parse(t, "b.toml", "x = 1\n")
	list := []Diagnostic{
		Errorf("z", b.Find("x").Key, "m"), Errorf("z", a.Find("y").Key, "m"), Errorf("b", a.Find("x").Value, "m"),
		Errorf("a", a.Find("x").Value, "m"), Errorf("z", a.Find("x").Key, "m"), Errorf("z", a.Find("y").Key, "m"),
	}
	var got []string
	for _, d := range Sort(list) {
		got = append(got, d.String())
	}
	want := []string{"a.toml:1:1: error: m [z]", "a.toml:1:5: error: m [a]", "a.toml:1:5: error: m [b]", "a.toml:2:1: error: m [z]", "b.toml:1:1: error: m [z]"}
	if !slices.Equal(got, want) {
		t.Errorf("the order is\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

func TestNoPlacePanics(t *testing.T) {
	for name, f := range map[string]func(){
		"error": func() { Errorf("c", source.Span{}, "m") },
		"note":  func() { Errorf("c", parse(t, "a", "").Start(), "m").WithNote(source.Span{}, "n") },
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%s without a place does not panic", name)
				}
			}()
			f()
		}()
	}
}

func TestRegistry(t *testing.T) {
	r, err := NewRegistry([]Explanation{{"b", "t", "x"}}, []Explanation{{"a", "t", "y"}})
	if err != nil {
		t.Fatal(err)
	}
	if e, ok := r.Explain("a"); !ok || e.Text != "y" {
		t.Errorf("code a is explained as %+v", e)
	}
	if _, ok := r.Explain("c"); ok {
		t.Error("a code that nobody registered is explained")
	}
	if _, err := NewRegistry([]Explanation{{"b", "t", "x"}, {"b", "t", "x"}}); err == nil {
		t.Error("a code can be registered twice")
	}
	if _, err := NewRegistry([]Explanation{{"b", "t", ""}}); err == nil {
		t.Error("a code can go without an explanation")
	}
}

func TestNearest(t *testing.T) {
	words := []string{"caster", "camber", "toe", "front_width", "ackermann"}
	for _, tt := range []struct{ word, want string }{
		{"casster", "caster"}, {"caser", "caster"}, {"csater", "caster"}, {"CASTER", "caster"},
		{"cambre", "camber"}, {"tow", "toe"}, {"to", ""}, {"t", ""}, {"front-width", "front_width"},
		{"akerman", "ackermann"}, {"spring", ""}, {"", ""}, {"cazber", "camber"},
	} {
		if got, _ := Nearest(tt.word, words); got != tt.want {
			t.Errorf("Nearest(%q) is %q, want %q", tt.word, got, tt.want)
		}
	}
	if got := DidYouMean("spring", words); got != `expected "caster", "camber", "toe", "front_width" or "ackermann"` {
		t.Errorf("a word that is near none is helped with %s", got)
	}
}

// Damerau 1964: a slip is one character put in, left out or wrong, or two
// neighbours swapped. The pairs are the usual textbook ones, from memory.
func TestDistance(t *testing.T) {
	for _, tt := range []struct {
		a, b string
		want int
	}{
		{"kitten", "sitting", 3}, {"ca", "abc", 2}, {"", "abc", 3}, {"ab", "ba", 1}, {"saturday", "sunday", 3}, {"a cat", "an abct", 3}, {"é", "e", 1},
	} {
		if got := distance([]rune(tt.a), []rune(tt.b)); got != tt.want {
			t.Errorf("the distance of %q and %q is %d, want %d", tt.a, tt.b, got, tt.want)
		}
	}
}

func FuzzNearest(f *testing.F) {
	f.Add("caster", "casster", "toe")
	f.Add("", "a", "ü")
	f.Fuzz(func(t *testing.T, word, x, y string) {
		if len(word)+len(x)+len(y) > 200 {
			return
		}
		a, b, c := []rune(word), []rune(x), []rune(y)
		ab := distance(a, b)
		if ba := distance(b, a); ab != ba {
			t.Errorf("the distance of %q and %q is %d one way and %d the other", word, x, ab, ba)
		}
		if same := slices.Equal(a, b); same != (ab == 0) {
			t.Errorf("the distance of %q and %q is %d", word, x, ab)
		}
		if bc, ac := distance(b, c), distance(a, c); ac > ab+bc {
			t.Errorf("the way from %q to %q is %d, over %q only %d", word, y, ac, x, ab+bc)
		}
		if longest := max(len(a), len(b)); ab > longest || ab < max(len(a)-len(b), len(b)-len(a)) {
			t.Errorf("the distance of %q and %q is %d", word, x, ab)
		}
		near, ok := Nearest(word, []string{x, y})
		if ok && near != x && near != y {
			t.Errorf("Nearest(%q) is %q, which is not allowed", word, near)
		}
		small := strings.ToLower(word)
		if slices.Contains([]string{strings.ToLower(x), strings.ToLower(y)}, small) && !ok {
			t.Errorf("Nearest(%q) does not find %q", word, x)
		}
		swapped, _ := Nearest(word, []string{y, x})
		if one, other := strings.ToLower(near), strings.ToLower(swapped); one != other {
			t.Errorf("Nearest(%q) depends on the order: %q, %q", word, near, swapped)
		}
	})
}
