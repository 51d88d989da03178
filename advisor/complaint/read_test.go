package complaint

import (
	"encoding/json"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"kartwright/rulesets/words"
)

// How far negation, places and severity reach. Readings in short form:
// ! no longer there, / phase, @ corner speed, : severity.
func TestRead(t *testing.T) {
	lex := load(t, "en")
	for _, tt := range []struct{ name, text, want string }{
		{"a place without a symptom", "pushes on the way in at the hairpins, fine on exit", "understeer/entry@slow"},
		{"place before its symptom", "under braking, the back steps out", "oversteer/braking"},
		{"two symptoms, each with its place", "loose on entry, tight on exit", "oversteer/entry; understeer/exit"},
		{"several places of one symptom", "it pushes on entry and on exit", "understeer/entry; understeer/exit"},
		{"from here to there", "pushes from apex to exit", "understeer/mid; understeer/exit"},
		{"a narrower place", "it is loose, particularly on the brakes", "oversteer/braking"},
		{"a place of the next sentence", "It hops. Only in the fast corners.", "hop@fast"},
		{"the better balance of two words", "tighter than a drum off the corner", "understeer/exit:strong"},

		{"the straight does not reach over what has no place there", "the wheel shakes, it is heavy and it drifts to the left on the straight", "vibration; heavy_steering; pull/straight"},
		{"wander with a place beside play", "there is play in the column, it wanders on the straight because of it", "play; wander/straight"},
		{"wander that only says play", "there is play in the column and it wanders", "play"},

		{"well one way and badly the other", "Good in the left, rubbish in the right.", "asymmetric"},
		{"a list of places of the sentence before", "Loose. On the brakes and on the gas.", "oversteer/exit; oversteer/braking"},
		{"a corner for all that was told", "Understeer in, oversteer out. In the hairpin.", "understeer/entry@slow; oversteer/exit@slow"},
		{"a symptom that was placed before", "nervous at the rear on the brakes, tends to step out, and then it is tight in the middle", "oversteer/braking; understeer/mid"},
		{"both ends at once", "the front is sliding, the back is sliding, all four wheels together", "no_grip"},
		{"the slide goes on in its corner", "He is scared of the rear in the fast corners. It slides at the apex.", "oversteer/mid@fast"},
		{"where it is instead", "it's not under braking that the rear goes, it's when he turns in", "!oversteer/braking; oversteer/entry"},
		{"where it is instead, after a comma", "it's not on entry that it pushes, it's later, at the apex", "!understeer/entry; understeer/mid"},
		{"not there, but now here", "the back no longer steps out on entry, but now it slips away from him at the apex", "!oversteer/entry; oversteer/mid"},
		{"a place that is denied alone", "it washes out in the slow ones; fast stuff, never", "!understeer@fast; understeer@slow"},

		{"no", "no hop", "!hop"},
		{"no longer", "it no longer pushes", "!understeer"},
		{"gone", "the push is gone", "!understeer"},
		{"two gone", "the hop and the push are gone", "!hop; !understeer"},
		{"and the other too", "the push has gone and the hop too", "!understeer; !hop"},
		{"gone, said of the sentence before", "It pushed on entry. That's gone.", "!understeer/entry"},
		{"used to", "it used to hop", "!hop"},
		{"was, now", "it was loose, now it pushes", "!oversteer; understeer"},
		{"cured by a change", "it turns in well now", "!understeer/entry"},
		{"well, but no change", "it turns in well", ""},
		{"not well", "it doesn't turn in well", "understeer/entry"},
		{"a contrast ends it", "no hop but it pushes", "!hop; understeer"},
		{"a new clause ends it", "no hop, pushes on entry", "!hop; understeer/entry"},
		{"a list goes on", "no hop, push or bind", "!hop; !understeer; !bind"},
		{"and a noun goes on", "no hop and push", "!hop; !understeer"},
		{"and a verb does not", "no hop and pushes", "!hop; understeer"},
		{"the window of eight words", "no spare one two three four five six seven eight nine hop", "hop"},
		{"masked first", "no change, it pushes", "understeer"},
		{"none of it", "there's none of that push any more", "!understeer"},
		{"a negator that is part of the symptom", "the rear slides and I can't catch it", "oversteer:strong"},
		{"not gone", "the push has not gone", "understeer"},
		{"only a condition", "if it did not push I would win", "understeer"},
		{"ends with it", "when it doesn't it pushes", "understeer"},
		{"not there", "it pushes in the slow ones but not in the fast ones", "!understeer@fast; understeer@slow"},
		{"only there", "no push, only in the hairpin", "!understeer; understeer@slow"},
		{"first there, then not", "first run it hopped, second run no hop", "!hop"},
		{"it does now", "it didn't turn in, now it does", "!understeer/entry"},
		{"it did not then", "it wasn't hopping, now it does", "hop"},
		{"took it out", "the softer axle took the hop out of it", "!hop"},
		{"a verb between", "the wheel has stopped kicking over the kerbs", "!kickback"},
		{"a negator between", "the front does not wash out", "!understeer"},
		{"a condition", "if I brake earlier the push goes away", "understeer"},
		{"until", "never push until lap five", "understeer"},
		{"the other end", "it's the rear that slides, not the front", "oversteer; !understeer"},
		{"the opposite", "yesterday it pushed, today the opposite", "!understeer; oversteer"},
		{"gone sticky", "it hops, the track has gone really sticky", "hop"},
		{"an opinion denied", "he says it's loose, but the front slides first", "!oversteer; understeer"},

		{"slight", "a touch of push", "understeer:slight"},
		{"strong", "it hops really badly", "hop:strong"},
		{"drawn out", "the steering is sooooo heavy", "heavy_steering:strong"},
		{"capitals", "it PUSHES", "understeer:strong"},
		{"a picture", "pushes like a wheelbarrow", "understeer:strong"},
		{"of the track, not of the kart", "a really fast track, it pushes", "understeer"},
		{"in the next clause", "it pushes, nothing dramatic", "understeer:slight"},

		{"an end by itself", "slides wide after the apex. Not the back, the front.", "!oversteer/exit; understeer/exit"},
		{"the other end", "the front slides on entry and the rear on exit", "understeer/entry; oversteer/exit"},
		{"corrections on the straight", "constant corrections down the straight", "wander/straight"},
		{"corrections on the brakes", "constant corrections under braking", "darting/braking"},
		{"bumps", "jumpy over the bumps", "bump_unsettled"},
		{"contact, not balance", "he pushed me off", ""},
		{"a loose part", "the chain came loose", ""},
		{"one misspelling", "undersetering in the hairpins", "understeer@slow"},
		{"nothing", "", ""},
	} {
		if got := readings(lex.Read(tt.text)); got != tt.want {
			t.Errorf("%s: %q is read as %q, want %q", tt.name, tt.text, got, tt.want)
		}
	}
}

func TestReadConditions(t *testing.T) {
	lex := load(t, "en")
	for _, tt := range []struct {
		text string
		want Conditions
	}{
		{"tight track, lots of rubber, brand new tyres", Conditions{Track: "tight", Grip: "high", Tyres: "new"}},
		{"fast flowing circuit, damp, on baldies", Conditions{Track: "fast", Grip: "low", Tyres: "worn"}},
		{"it rained, wets on", Conditions{Grip: "wet", Tyres: "wets"}},
		{"grip is 7/10", Conditions{Grip: "medium", GripTenths: 7}},
		{"grip about 8 out of 10", Conditions{Grip: "high", GripTenths: 8}},
		{"tyres are 20 laps old", Conditions{Tyres: "new", TyreLaps: 20}},
		{"tyres are 21 laps old", Conditions{Tyres: "used", TyreLaps: 21}},
		{"tyres are eighty laps old", Conditions{Tyres: "used", TyreLaps: 80}},
		{"tyres are 81 laps old", Conditions{Tyres: "worn", TyreLaps: 81}},
		{"a set with one session on it", Conditions{Tyres: "new"}},
		{"the set has done 4 sessions", Conditions{Tyres: "used"}},
		{"the set has done 5 sessions", Conditions{Tyres: "worn"}},
		{"third heat on these tyres", Conditions{Tyres: "used"}},
		{"seventh session on this set", Conditions{Tyres: "worn"}},
		{"a hundred and ten laps on these tyres", Conditions{Tyres: "worn", TyreLaps: 110}},
		{"fine in the wet but pushes in the dry", Conditions{}},
		{"after 8 laps my arms hurt", Conditions{}},
		{"no rain today", Conditions{}},
		{"slippery this morning, grippy now", Conditions{Grip: "high"}},
	} {
		if got := lex.Read(tt.text).Conditions; got != tt.want {
			t.Errorf("%q gives the conditions %+v, want %+v", tt.text, got, tt.want)
		}
	}
}

// What must not be guessed is asked.
func TestReadUnsure(t *testing.T) {
	lex := load(t, "en")
	for _, tt := range []struct {
		text, words string
		candidates  []string
	}{
		{"it slides on exit", "slides", []string{"understeer/exit", "oversteer/exit"}},
		{"more camter", "camter", []string{"camber", "caster"}},
		{"it pushes or maybe it's loose, dunno", "pushes or maybe it's loose", []string{"understeer", "oversteer"}},
		{"is it loose or does it push on exit", "loose or does it push", []string{"understeer/exit", "oversteer/exit"}},
		{"it needs to be looser on entry", "looser", []string{"understeer/entry", "oversteer/entry"}},
		{"it undersetters", "undersetters", []string{"understeer"}},
	} {
		got := lex.Read(tt.text)
		if len(got.Readings) > 0 {
			t.Errorf("%q is read as %s, want a question", tt.text, readings(got))
		}
		if len(got.Unsure) != 1 || got.Unsure[0].Words != tt.words || !slices.Equal(got.Unsure[0].Candidates, tt.candidates) {
			t.Errorf("%q is asked about as %+v, want %q with %v", tt.text, got.Unsure, tt.words, tt.candidates)
		}
	}
}

func TestReadSides(t *testing.T) {
	lex := load(t, "en")
	for _, tt := range []struct {
		text, want, side string
		note             bool
	}{
		{"it pushes in the lefts", "understeer", "left", true},
		{"only pushes in right-handers", "understeer; asymmetric", "right", true},
		{"it is fine in the lefts but pushes in the rights", "understeer; asymmetric", "right", true},
		{"turns better left than right", "asymmetric", "", true},
		{"pushes in the fast left", "understeer@fast", "", false},
	} {
		got := lex.Read(tt.text)
		if readings(got) != tt.want || got.Readings[0].Side != tt.side || (got.Note != "") != tt.note {
			t.Errorf("%q: %q, side %q, note %q; want %q, side %q, note: %v", tt.text, readings(got), got.Readings[0].Side, got.Note, tt.want, tt.side, tt.note)
		}
	}
}

func TestSay(t *testing.T) {
	got := load(t, "en").Read("pushes on the way in at the hairpins, fine on exit. No hop in the lefts, new tyres. It slides too.").Say()
	want := []string{
		"understood: understeer on entry, slow corners (normal)",
		"understood: hops, left-hand turns: not there, or no longer",
		"conditions: tyres new",
		`not sure: "slides": which end slides first, the front or the rear? (understeer or oversteer)`,
		"first: compare the left and right side of the kart before any set-up change",
		"not used: 'fine on exit', 'slides'",
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("Say (-want +got):\n%s", diff)
	}
	// Somebody who says that all is well is told from words that mean nothing here.
	for text, want := range map[string]string{
		"": "nothing understood; say it in other words", "Lunch?": "nothing understood; say it in other words", "it is not good": "nothing understood; say it in other words",
		"all fine, it was lovely": "understood: no complaint", "sorted now": "understood: no complaint", "the track is damp": "understood: no complaint",
	} {
		if got := load(t, "en").Read(text).Say(); got[0] != want {
			t.Errorf("of %q it says first %q, want %q", text, got[0], want)
		}
	}
}

// Other programs read this form.
func TestReportJSON(t *testing.T) {
	lex := load(t, "en")
	for text, want := range map[string]string{
		"": `{"readings":[],"conditions":{},"unused":[],"unsure":[],"language":"en"}`,
		"pushes a bit on entry, wet track, zebra": `{"readings":[{"symptom":"understeer","balance":"understeer","phase":"entry","severity":"slight",` +
			`"corner":"any","negated":false,"words":"pushes"}],"conditions":{"grip":"wet"},"unused":["zebra"],"unsure":[],"language":"en"}`,
	} {
		got, err := json.Marshal(lex.Read(text))
		require.NoError(t, err)
		if string(got) != want {
			t.Errorf("%q gives\n%s\nwant\n%s", text, got, want)
		}
	}
}

// A lexicon has no memory: a text is read the same whatever was read before, also
// from several goroutines.
func TestReadHasNoMemory(t *testing.T) {
	lex := load(t, "en")
	all := readSentences(t, labelled+"/heldout.jsonl")[:100]
	alone := make([]Report, len(all))
	for i, s := range all {
		alone[i] = load(t, "en").Read(s.Text)
		if i == 19 {
			break // a lexicon for each text takes long
		}
	}
	var wg sync.WaitGroup
	for range 3 {
		wg.Go(func() {
			for i := len(all) - 1; i >= 0; i-- {
				if got := lex.Read(all[i].Text); i < 20 && !reflect.DeepEqual(got, alone[i]) {
					t.Errorf("%q is read as %q after others, by itself as %q", all[i].Text, readings(got), readings(alone[i]))
				}
			}
		})
	}
	wg.Wait()
}

// sane checks what holds for the report of any text.
func sane(text string, r Report) string {
	oneOf := func(s string, list ...string) bool { return slices.Contains(list, s) }
	for i, x := range r.Readings {
		switch {
		case !slices.Contains(Symptoms(), x.Symptom):
			return "unknown symptom " + x.Symptom
		case !oneOf(x.Phase, "entry", "mid", "exit", "straight", "braking", "any"):
			return "unknown phase " + x.Phase
		case !oneOf(x.Severity, "slight", "normal", "strong"):
			return "unknown severity " + x.Severity
		case x.Negated && x.Severity != "normal":
			return "a negated reading with a severity"
		case !oneOf(x.Corner, "slow", "fast", "any"):
			return "unknown corner " + x.Corner
		case x.Balance != "" && x.Balance != x.Symptom || x.Balance == "" && oneOf(x.Symptom, "understeer", "oversteer"):
			return "balance " + x.Balance + " of " + x.Symptom
		case !strings.Contains(text, x.Words):
			return "words that are not in the text: " + x.Words
		}
		for _, y := range r.Readings[i+1:] {
			if x.Symptom == y.Symptom && x.Phase == y.Phase && x.Corner == y.Corner && x.Side == y.Side {
				return "twice: " + show(x) + " and " + show(y)
			}
			if x.Symptom == y.Symptom && x.Phase == y.Phase && !x.Negated && y.Negated {
				return "what is there does not come last: " + show(x) + " and " + show(y)
			}
		}
	}
	for _, u := range r.Unused {
		if u == "" || !strings.Contains(text, u) {
			return "unused words that are not in the text: " + u
		}
	}
	for _, q := range r.Unsure {
		if len(q.Candidates) == 0 || !strings.Contains(text, q.Words) {
			return "a question without candidates or words: " + q.Words
		}
	}
	return ""
}

// Sentences thrown together from pieces of others.
func TestReadAnything(t *testing.T) {
	lex, found := Load(words.FS, "en.toml", "it.toml", "es.toml", "fr.toml", "de.toml")
	require.Empty(t, found)
	var pieces []string
	for _, s := range readSentences(t, labelled+"/develop.jsonl") {
		pieces = append(pieces, strings.Fields(s.Text)...)
	}
	pieces = append(pieces, "no", "not", "gone", "but", "and", ",", ".", "only", "too", "never", "now", "front", "rear", "on exit", "in the lefts")
	rapid.Check(t, func(t *rapid.T) {
		text := strings.Join(rapid.SliceOfN(rapid.SampledFrom(pieces), 0, 40).Draw(t, "pieces"), " ")
		if bad := sane(text, lex.Read(text)); bad != "" {
			t.Fatalf("%q: %s", text, bad)
		}
	})
}

// A word more at the end, which means nothing, changes no reading.
func TestReadIgnoresStrangers(t *testing.T) {
	lex := load(t, "en")
	all := readSentences(t, labelled+"/heldout.jsonl")
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.SampledFrom(all).Draw(t, "sentence")
		if s.Language != "en" {
			return
		}
		want := readings(lex.Read(s.Text))
		if got := readings(lex.Read(s.Text + " Xqzzy.")); got != want {
			t.Fatalf("%q with a stranger is read as %q, without as %q", s.Text, got, want)
		}
	})
}

func FuzzRead(f *testing.F) {
	lex := load(f, "en")
	for _, s := range readSentences(f, labelled+"/heldout.jsonl")[:40] {
		f.Add(s.Text)
	}
	f.Add("\xff\x00 ’’ 1/0 3/ -- … km/h")
	f.Fuzz(func(t *testing.T, text string) {
		if bad := sane(text, lex.Read(text)); bad != "" {
			t.Errorf("%q: %s", text, bad)
		}
	})
}

// A slip that is two away from the opposite word is asked about, though the
// nearer word is only one away.
func TestSlipBetweenOppositesIsAsked(t *testing.T) {
	for language, word := range map[string]string{"en": "onersteer", "fr": "suvirage", "es": "subreviraje", "it": "sovtosterzo"} {
		lex, found := Load(words.FS, language+".toml")
		require.Empty(t, found)
		r := lex.Read(word)
		if len(r.Readings) != 0 || len(r.Unsure) != 1 || len(r.Unsure[0].Candidates) < 2 {
			t.Errorf("%s: %q is read as %v and asked about as %v, want a question between both words", language, word, r.Readings, r.Unsure)
		}
	}
}
