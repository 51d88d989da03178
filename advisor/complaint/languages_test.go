package complaint

import (
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"

	"kartwright/rulesets/words"
)

// Sentences whose id ends in h were not looked at while the word files were
// worked on: their score is what a stranger's sentence is worth. The floors are
// what the shipped files reach, and rise with them.
func TestSentencesSetAside(t *testing.T) {
	for language, floor := range map[string]float64{"it": 0.93, "es": 0.85, "fr": 0.82, "de": 0.85} {
		lex := load(t, language)
		open, aside := new(score), new(score)
		for _, s := range readSentences(t, filepath.Join(labelled, language+".jsonl")) {
			to := open
			if strings.HasSuffix(s.ID, "h") {
				to = aside
			}
			to.add(s, lex.Read(s.Text))
		}
		t.Logf("%s, worked on: %v", language, open)
		t.Logf("%s, set aside: %v", language, aside)
		if 3*aside.sentences < open.sentences+aside.sentences {
			t.Errorf("%s: %d of %d sentences are set aside, less than a third", language, aside.sentences, open.sentences+aside.sentences)
		}
		if f := aside.symptoms.f1(); f < floor {
			t.Errorf("%s: symptom and phase F1 of the sentences set aside is %.3f, below %.2f", language, f, floor)
		}
		if len(aside.opposite) > 0 {
			t.Errorf("%s: read as their opposite: %v", language, aside.opposite)
		}
	}
}

// With all languages loaded a sentence is read in its own, and as if there were
// no other.
func TestLanguagesSideBySide(t *testing.T) {
	all, found := Load(words.FS, "en.toml", "it.toml", "es.toml", "fr.toml", "de.toml")
	require.Empty(t, found)
	for _, tt := range []struct{ language, file string }{
		{"en", "second.jsonl"}, {"it", "it.jsonl"}, {"es", "es.jsonl"}, {"fr", "fr.jsonl"}, {"de", "de.jsonl"},
	} {
		alone := load(t, tt.language)
		for _, s := range readSentences(t, filepath.Join(labelled, tt.file)) {
			if diff := cmp.Diff(alone.Read(s.Text), all.Read(s.Text)); diff != "" {
				t.Errorf("%s %q is read otherwise with all languages loaded (-alone +all):\n%s", s.ID, s.Text, diff)
			}
		}
	}
}

// No single slip of the keyboard, of all that there are, turns a balance into the
// other one: it is read, asked about or left alone.
func TestSlipKeepsTheBalanceInEveryLanguage(t *testing.T) {
	for _, tt := range []struct{ language, before, understeer, oversteer string }{
		{"it", "ha ", "sottosterzo", "sovrasterzo"},
		{"es", "tiene ", "subviraje", "sobreviraje"},
		{"fr", "il y a du ", "sousvirage", "survirage"},
		{"de", "er hat ", "untersteuern", "übersteuern"},
	} {
		lex := load(t, tt.language)
		read := func(symptom, word string) {
			for _, x := range lex.Read(tt.before + word).Readings {
				if x.Balance != "" && x.Balance != symptom {
					t.Fatalf("%s: %q, a slip in a word for %s, is read as %s", tt.language, word, symptom, x.Symptom)
				}
			}
		}
		for symptom, word := range map[string]string{"understeer": fold(tt.understeer), "oversteer": fold(tt.oversteer)} {
			got := lex.Read(tt.before + word).Readings
			if len(got) != 1 || got[0].Symptom != symptom {
				t.Errorf("%s: %q is read as %v, want %s", tt.language, word, got, symptom)
			}
			for i := range word {
				read(symptom, word[:i]+word[i+1:])
				if i > 0 {
					read(symptom, word[:i-1]+word[i:i+1]+word[i-1:i]+word[i+1:])
				}
				for c := 'a'; c <= 'z'; c++ {
					read(symptom, word[:i]+string(c)+word[i+1:])
					read(symptom, word[:i]+string(c)+word[i:])
				}
			}
		}
	}
}

// How each language denies: before the word, after it, around it, and by saying
// that it is gone.
func TestDenialsInFourLanguages(t *testing.T) {
	for _, tt := range []struct{ language, text, want string }{
		{"it", "Non sovrasterza più.", "!oversteer"},
		{"it", "Non sottosterza né sovrasterza.", "!understeer !oversteer"},
		{"it", "Il sottosterzo non è sparito.", "understeer"},
		{"it", "Non scivola dietro, scivola davanti.", "!oversteer understeer"},
		{"it", "prima vibrava il volante, adesso no", "!vibration"},
		{"it", "Non gira bene in ingresso.", "understeer"},
		{"es", "El kart ya no sobrevira.", "!oversteer"},
		{"es", "No subvira ni sobrevira.", "!understeer !oversteer"},
		{"es", "El subviraje no ha desaparecido.", "understeer"},
		{"es", "No desliza de atrás, desliza de delante.", "!oversteer understeer"},
		{"es", "antes vibraba el volante, ahora no", "!vibration"},
		{"es", "no hay sobreviraje pero va lento en la recta", "!oversteer slow_straight/straight"},
		{"fr", "Le kart ne survire plus.", "!oversteer"},
		{"fr", "Pas de sous-virage, pas de survirage.", "!understeer !oversteer"},
		{"fr", "L'arrière tient pas en entrée.", "oversteer/entry"},
		{"fr", "L'arrière tient bien maintenant.", "!oversteer"},
		{"fr", "Ça ne saute plus.", "!hop"},
		{"fr", "Avant le réglage il sautait, maintenant plus rien.", "!hop"},
		{"de", "Er untersteuert nicht mehr.", "!understeer"},
		{"de", "Das Heck bricht nicht mehr aus.", "!oversteer"},
		{"de", "Übersteuern ist nicht weg.", "oversteer"},
		{"de", "Weder hüpft er noch schiebt er.", "!hop !understeer"},
		{"de", "Kein Untersteuern, kein Übersteuern, nur springt er ein wenig.", "!understeer !oversteer hop:slight"},
	} {
		var got []string
		for _, x := range load(t, tt.language).Read(tt.text).Readings {
			got = append(got, show(x))
		}
		if strings.Join(got, " ") != tt.want {
			t.Errorf("%s: %q is read as %v, want %s", tt.language, tt.text, got, tt.want)
		}
	}
}
