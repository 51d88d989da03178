package complaint

import (
	"math"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"kartwright/rulesets/words"
)

// toy is a language of a few words, and sentences in it.
func toy(t testing.TB) (*language, []sentence) {
	t.Helper()
	l, found := Load(fstest.MapFS{"toy.toml": {Data: []byte(`
format   = 1
language = "en"
fillers  = "it the"
[[phrase]]
symptom = "hop"
words   = "bounces"
[[phrase]]
role  = "not"
words = "not"
[[phrase]]
phase = "exit"
words = "going out"
`)}}, "toy.toml")
	require.Empty(t, found)
	say := func(text string, readings ...Reading) sentence { return sentence{Text: text, Expected: readings} }
	var out []sentence
	for _, where := range []string{"", " at the hairpin", " in turn one", " again", " all day"} {
		out = append(out,
			say("it bounces"+where, Reading{Symptom: "hop", Phase: "any"}),
			say("it bounces"+where+" going out", Reading{Symptom: "hop", Phase: "exit"}),
			say("it jumps about"+where, Reading{Symptom: "hop", Phase: "any"}),
			say("it not bounces"+where, Reading{Symptom: "hop", Phase: "any", Negated: true}),
			say("the cheque bounces"+where),
			say("lunch was good"+where),
			say("the wheel is heavy"+where, Reading{Symptom: "heavy_steering", Phase: "any"}))
	}
	return l.languages[0], out
}

func TestWeightsKnowWhatTheyLearnt(t *testing.T) {
	l, sentences := toy(t)
	w, err := parseWeights(learn(l, sentences))
	require.NoError(t, err)
	l.weights = w
	for _, tt := range []struct {
		text    string
		symptom symptom
		likely  bool
	}{
		{"it bounces today", hop, true},
		{"it jumps about in turn six", hop, true},
		{"the cheque bounces there", hop, false},
		{"lunch was cold", hop, false},
		{"the wheel is so heavy", heavySteering, true},
		{"the wheel is so heavy", hop, false},
	} {
		o := l.odds(l.tokens(tt.text))
		if p := o.chance[tt.symptom]; p > 0.5 != tt.likely {
			t.Errorf("%q speaks of %s with a chance of %.3f; likely: %v", tt.text, symptomNames[tt.symptom], p, tt.likely)
		}
	}
}

// The chance is the logistic function of the sum of the weights, those of words once
// each however often they are said.
func TestChanceIsASum(t *testing.T) {
	l, sentences := toy(t)
	w, err := parseWeights(learn(l, sentences))
	require.NoError(t, err)
	l.weights = w
	once, twice := l.tokens("bounces"), l.tokens("bounces, bounces")
	if a, b := l.odds(once).chance[hop], l.odds(twice).chance[hop]; a != b {
		t.Errorf("said once the chance is %v, twice %v", a, b)
	}
	sum := 0.0
	for _, f := range l.features(once) {
		entries, _ := w.find(f.hash)
		for i := 0; i < len(entries); i += 2 {
			if symptom(entries[i]) == hop {
				sum += float64(int8(entries[i+1])) * w.units[hop]
			}
		}
	}
	if got, want := l.odds(once).chance[hop], 1/(1+math.Exp(-sum)); math.Abs(got-want) > 1e-12 {
		t.Errorf("the chance is %v, the logistic function of the weights %v", got, want)
	}
}

func TestSecondOpinion(t *testing.T) {
	l, phrases := load(t, "en"), load(t, "en")
	phrases.languages[0].weights = nil
	say := func(r Report) string {
		var said []string
		for _, x := range r.Readings {
			said = append(said, show(x))
		}
		for _, q := range r.Unsure {
			said = append(said, "?"+strings.Join(q.Candidates, "|"))
		}
		return strings.Join(said, "; ")
	}
	for _, tt := range []struct{ name, text, phrases, want string }{ // ? stands before what is asked
		{"a phrase that is not meant", "Fronts are badly grained. Cold greasy track, what d'you expect.", "understeer; graining", "graining:strong"},
		{"no phrase says so", "Turns into the slow stuff like a canal barge.", "", "understeer/entry@slow"},
		{"elsewhere", "Motor not breathe after slow corner, kart too much attached to the ground.", "bind@slow:strong", "bind/exit@slow:strong"},
		{"gone, perhaps", "We were suffering with graining; with the lower pressure there is none.", "graining", "?graining|no graining"},
		{"likely, but no more", "To the left a lamb, to the right a donkey, that's what my son says.", "", "?asymmetric"},
	} {
		if got := say(phrases.Read(tt.text)); got != tt.phrases {
			t.Errorf("%s: by its phrases %q is read as %q, want %q", tt.name, tt.text, got, tt.phrases)
		}
		if got := say(l.Read(tt.text)); got != tt.want {
			t.Errorf("%s: %q is read as %q, want %q", tt.name, tt.text, got, tt.want)
		}
	}
}

// The shipped weights know nothing of a club's slang, so that they never doubt it.
func TestSlangIsNotDoubted(t *testing.T) {
	shipped, err := words.FS.ReadFile("en.toml")
	require.NoError(t, err)
	weights, err := words.FS.ReadFile("en.weights")
	require.NoError(t, err)
	l, found := Load(fstest.MapFS{
		"en.toml": {Data: shipped}, "en.weights": {Data: weights},
		"club.toml": {Data: []byte("format = 1\nlanguage = \"en\"\nextends = \"en.toml\"\n[[phrase]]\nsymptom = \"hop\"\nwords = \"does the zebedee\"\n")},
	}, "club.toml")
	require.Empty(t, found)
	for _, text := range []string{"does the zebedee", "the steering is heavy and it does the zebedee", "lunch was lovely, thanks, but it does the zebedee"} {
		if got := l.Read(text).Readings; !slices.ContainsFunc(got, func(r Reading) bool { return r.Symptom == "hop" }) {
			t.Errorf("%q is read as %v, without the club's hop", text, got)
		}
	}
}

// Weights that are cut off anywhere are refused, or are read without a fault.
func TestWeightsCutOff(t *testing.T) {
	l, sentences := toy(t)
	data := learn(l, sentences)
	for n := range data {
		if w, err := parseWeights(data[:n]); err == nil {
			l.weights = w
			l.odds(l.tokens("it bounces, and the wheel is heavy"))
		}
	}
	if _, err := parseWeights(data[:len(data)/2]); err == nil {
		t.Error("half a file of weights is taken for a whole one")
	}
}

// Weights that are there and cannot be used are a finding, those that are not there none.
func TestWeightsBesideAFile(t *testing.T) {
	file := []byte("format = 1\nlanguage = \"en\"\n[[phrase]]\nsymptom = \"hop\"\nwords = \"bounces\"\n")
	for _, tt := range []struct {
		name string
		fsys fstest.MapFS
		want string
	}{
		{"none", fstest.MapFS{"toy.toml": {Data: file}}, ""},
		{"junk", fstest.MapFS{"toy.toml": {Data: file}, "toy.weights": {Data: []byte("junk")}}, "the weights beside toy.toml cannot be used: " + errWeights.Error()},
		{"a folder", fstest.MapFS{"toy.toml": {Data: file}, "toy.weights/x": {}}, "the weights beside toy.toml cannot be used: read toy.weights: "},
	} {
		_, found := Load(tt.fsys, "toy.toml")
		var got []string
		for _, d := range found {
			got = append(got, d.Message)
		}
		if s := strings.Join(got, "; "); !strings.HasPrefix(s, tt.want) || tt.want == "" && s != "" {
			t.Errorf("%s: the findings are %q, want %q", tt.name, s, tt.want)
		}
	}
}

func FuzzWeights(f *testing.F) {
	l, sentences := toy(f)
	f.Add(learn(l, sentences))
	f.Add([]byte(weightsMagic))
	f.Fuzz(func(t *testing.T, data []byte) {
		w, err := parseWeights(data)
		if err != nil {
			return
		}
		lexicon := Lexicon{languages: []*language{{}}}
		*lexicon.languages[0] = *l
		lexicon.languages[0].weights = w
		lexicon.Read("it bounces going out, and the wheel is heavy; not now")
	})
}
