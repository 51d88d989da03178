package complaint

import (
	"strings"
	"testing"
	"testing/fstest"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"

	"kartwright/rules/diag"
)

// files makes a file system; each file gets the two keys that all need.
func files(named map[string]string) fstest.MapFS {
	out := make(fstest.MapFS)
	for name, s := range named {
		out[name] = &fstest.MapFile{Data: []byte("format = 1\nlanguage = \"en\"\n" + s)}
	}
	return out
}

const tiny = `
forms = '''
push pushes pushing
hop hops hopping
'''
fillers = 'the it is'
[spelling]
words = 'pushing hopping'
[[phrase]]
symptom = "understeer"
words = 'push'
[[phrase]]
symptom = "hop"
words = 'hop'
[[phrase]]
phase = "entry"
words = 'on entry, way in'
`

func TestLoadFindings(t *testing.T) {
	for _, tt := range []struct {
		name string
		file string // after the first two lines
		want string // place, code and message
	}{
		{"unknown key", "phrases = 1", `club.toml:3:1: error: the key "phrases" is not known here [unknown-key]`},
		{"wrong type", "fillers = 3", `club.toml:3:11: error: fillers has to be a string [wrong-type]`},
		{"backslash", `fillers = "a\nb"`, `club.toml:3:11: error: fillers has a backslash, which word files do not use [wrong-type]`},
		{"form of two words", "forms = '''\npush pushes\npress pushes\n'''", `club.toml:5:7: error: "pushes" is already a form of "push" [words-form-twice]`},
		{"contraction of nothing", "contractions = 'dont'", `club.toml:3:17: error: contraction "dont" has no words to stand for [words-no-meaning]`},
		{"number word", "[numbers]\nsix = 'six'", `club.toml:4:7: error: six has to be a number [wrong-type]`},
		{"no such symptom", "[[phrase]]\nsymptom = \"understear\"\nrole = \"not\"\nwords = 'x'", `club.toml:4:11: error: "understear" is not a symptom [words-unknown-value]`},
		{"no such phase", "[[phrase]]\nphase = \"middle\"\nrole = \"not\"\nwords = 'x'", `club.toml:4:9: error: "middle" is not a phase [words-unknown-value]`},
		{"no such need", "[[phrase]]\nseverity = \"strong\"\nneeds = [\"bind\", \"binds\"]\nwords = 'x'", `club.toml:5:18: error: "binds" is not a symptom [words-unknown-value]`},
		{"nothing said", "[[phrase]]\nwords = 'x'", `club.toml:3:1: error: this phrase table says nothing [words-no-meaning]`},
		{"no words", "[[phrase]]\nsymptom = \"hop\"", `club.toml:3:1: error: a phrase table needs the key "words" [missing-key]`},
		{"true or false", "[[phrase]]\nsymptom = \"hop\"\ncured = 1\nwords = 'x'", `club.toml:5:9: error: cured has to be true or false [wrong-type]`},
		{"class that is not there", "[[phrase]]\nsymptom = \"hop\"\nwords = 'a b, <tail> hops'", `club.toml:5:15: error: there is no class "tail" [words-unknown-value]`},
		{"hyphen", "[[phrase]]\nsymptom = \"hop\"\nwords = 'a b, mid-corner'", `club.toml:5:15: error: "mid-corner" has characters that no word of a text has [words-phrase]`},
		{"gap at the end", "[[phrase]]\nsymptom = \"hop\"\nwords = 'a b, hops *'", `club.toml:5:15: error: a phrase must not begin or end with *, nor begin with <any> or $ [words-phrase]`},
		{"number missing", "[[phrase]]\ntyres = \"laps\"\nwords = 'laps old'", `club.toml:5:10: error: this phrase has no number to count [words-phrase]`},
		{"class of itself", "[class]\na = '<b> x'\nb = '<a>'", `club.toml:4:1: error: class "a" begins with itself [words-class-cycle]`},
		{"phase of a together", "[[together]]\nsymptom = \"hop\"\nwords = 'a + @end'", `club.toml:5:14: error: "end" is not a phase [words-unknown-value]`},
		{"together without symptom", "[[together]]\nphase = \"mid\"\nwords = 'a + b'", `club.toml:3:1: error: a together table needs the key "symptom" [missing-key]`},
		{"not TOML", "fillers = 'a", `club.toml:3:11: error: this string does not end [syntax]`},
		{"extends nothing", "extends = \"base.toml\"", `club.toml:3:11: error: the word file base.toml cannot be read: file does not exist [words-unreadable]`},
		{"extends itself", "extends = [\"club.toml\"]", `club.toml:3:12: error: club.toml extends itself: club.toml → club.toml [words-extends-cycle]`},
		{"too alike", "extends = \"tiny.toml\"\n[spelling]\nwords = 'popping'\n[[phrase]]\nsymptom = \"hop\"\nwords = 'popping'",
			`club.toml:4:1: error: "hopping" and "popping" are only 1 slips apart, and together may have 2 [words-too-alike]`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			lex, found := Load(files(map[string]string{"club.toml": tt.file, "tiny.toml": tiny}), "club.toml")
			if len(found) != 1 || found[0].String() != tt.want {
				t.Errorf("findings are %v, want only\n%s", found, tt.want)
			}
			if lex != nil {
				t.Error("a file with errors gave a lexicon")
			}
		})
	}
}

func TestLoadHeaders(t *testing.T) {
	fsys := fstest.MapFS{
		"empty.toml":    {Data: nil},
		"new.toml":      {Data: []byte("format = 2\nlanguage = \"en\"")},
		"format.toml":   {Data: []byte("language = \"en\"")},
		"language.toml": {Data: []byte("format = 1")},
		"it.toml":       {Data: []byte("format = 1\nlanguage = \"it\"\nextends = \"tiny.toml\"")},
		"tiny.toml":     {Data: []byte("format = 1\nlanguage = \"en\"\n" + tiny)},
	}
	for name, want := range map[string]string{
		"empty.toml":    `empty.toml:1:1: error: the file says nothing [empty-file]`,
		"new.toml":      `new.toml:1:10: error: format 2 is not known; the newest is 1 [words-newer-format]`,
		"format.toml":   `format.toml:1:1: error: a word file needs the key "format" [missing-key]`,
		"language.toml": `language.toml:1:1: error: a word file needs the key "language" [missing-key]`,
		"it.toml":       `it.toml:3:11: error: tiny.toml is of language "en", this file of "it" [words-two-languages]`,
		"none.toml":     `none.toml:1:1: error: the word file none.toml cannot be read: file does not exist [words-unreadable]`,
	} {
		if _, found := Load(fsys, name); len(found) != 1 || found[0].String() != want {
			t.Errorf("%s: findings are %v, want only %s", name, found, want)
		}
	}
}

// All findings of all files come at once, in the order of their places.
func TestLoadAllFindings(t *testing.T) {
	_, found := Load(files(map[string]string{"a.toml": "x = 1\ny = 2", "b.toml": "z = 3"}), "b.toml", "a.toml")
	var got []string
	for _, d := range found {
		got = append(got, d.At.String())
	}
	if diff := cmp.Diff([]string{"a.toml:3:1", "a.toml:4:1", "b.toml:3:1"}, got); diff != "" {
		t.Errorf("places of the findings (-want +got):\n%s", diff)
	}
}

// A club's own file adds to a shipped one and has the last word.
func TestLoadExtends(t *testing.T) {
	fsys := files(map[string]string{"tiny.toml": tiny, "club.toml": `
extends = "tiny.toml"
[[phrase]]
symptom = "oversteer"
words = 'does the donkey, hop'
`})
	lex, found := Load(fsys, "club.toml")
	require.Empty(t, found)
	for text, want := range map[string]string{
		"it does the donkey on entry": "oversteer/entry",
		"it hops":                     "oversteer",
		"it pushes":                   "understeer",
	} {
		if got := readings(lex.Read(text)); got != want {
			t.Errorf("%q is read as %q, want %q", text, got, want)
		}
	}
}

// Files of one language are one lexicon, of several stand side by side.
func TestLoadSeveral(t *testing.T) {
	fsys := files(map[string]string{"a.toml": tiny, "b.toml": "[[phrase]]\nsymptom = \"bind\"\nwords = 'bogs'"})
	fsys["it.toml"] = &fstest.MapFile{Data: []byte("format = 1\nlanguage = \"it\"\n[[phrase]]\nsymptom = \"hop\"\nwords = 'saltella in curva'")}
	lex, found := Load(fsys, "a.toml", "it.toml", "b.toml")
	require.Empty(t, found)
	if diff := cmp.Diff([]string{"en", "it"}, lex.Languages()); diff != "" {
		t.Fatalf("languages (-want +got):\n%s", diff)
	}
	for text, want := range map[string]string{"it pushes and bogs": "understeer; bind", "saltella in curva": "hop"} {
		if got := readings(lex.Read(text)); got != want {
			t.Errorf("%q is read as %q, want %q", text, got, want)
		}
	}
}

func TestCodesExplained(t *testing.T) {
	if _, err := diag.NewRegistry(Codes()); err != nil {
		t.Error(err)
	}
}

// readings writes the readings of a report on one line.
func readings(r Report) string {
	var out []string
	for _, x := range r.Readings {
		out = append(out, show(x))
	}
	return strings.Join(out, "; ")
}
