package complaint

import (
	"testing"

	"pgregory.net/rapid"
)

// Distances that are printed in textbooks and in the literature on spelling; the
// first tells the unrestricted distance (2) from the restricted one (3).
func TestDistance(t *testing.T) {
	for _, tt := range []struct {
		a, b string
		want int
	}{
		{"ca", "abc", 2},
		{"kitten", "sitting", 3},
		{"saturday", "sunday", 3},
		{"abcd", "acbd", 1},
		{"a cat", "an act", 2},
		{"", "abc", 3},
		{"understeer", "understear", 1},
		{"understeer", "undersetter", 2},
		{"oversteer", "understeer", 3},
		{"camber", "caster", 2},
		{"toe", "tow", 1},
	} {
		if got := distance(tt.a, tt.b, 9); got != tt.want {
			t.Errorf("distance(%q, %q) = %d, want %d", tt.a, tt.b, got, tt.want)
		}
		if got := distance(tt.a, tt.b, tt.want-1); got != tt.want {
			t.Errorf("distance(%q, %q) up to %d = %d, want one more", tt.a, tt.b, tt.want-1, got)
		}
	}
}

// The unrestricted distance is a metric, and never above the number of slips made.
func TestDistanceIsMetric(t *testing.T) {
	word := rapid.StringMatching(`[a-d]{0,8}`)
	rapid.Check(t, func(t *rapid.T) {
		a, b, c := word.Draw(t, "a"), word.Draw(t, "b"), word.Draw(t, "c")
		ab, bc, ac := distance(a, b, 20), distance(b, c, 20), distance(a, c, 20)
		switch {
		case ab != distance(b, a, 20):
			t.Fatalf("the distance of %q and %q depends on their order", a, b)
		case (ab == 0) != (a == b):
			t.Fatalf("%q and %q are %d apart", a, b, ab)
		case ac > ab+bc:
			t.Fatalf("%q to %q is %d, but %d by way of %q", a, c, ac, ab+bc, b)
		case !overlap(letters(a), letters(b), ab):
			t.Fatalf("the letters of %q and %q say that they are more than %d apart", a, b, ab)
		}
	})
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.StringMatching(`[a-z]{4,10}`).Draw(t, "word")
		b := a
		n := rapid.IntRange(0, 3).Draw(t, "slips")
		for range n {
			b = slip(t, b)
		}
		if got := distance(a, b, 20); got > n {
			t.Fatalf("%q is %q after %d slips, but their distance is %d", a, b, n, got)
		}
	})
}

// slip makes one slip of the keyboard.
func slip(t *rapid.T, s string) string {
	i := rapid.IntRange(0, len(s)-1).Draw(t, "at")
	c := rapid.StringMatching(`[a-z]`).Draw(t, "letter")
	switch rapid.IntRange(0, 3).Draw(t, "kind") {
	case 0:
		return s[:i] + c + s[i:]
	case 1:
		if len(s) > 1 {
			return s[:i] + s[i+1:]
		}
	case 2:
		return s[:i] + c + s[i+1:]
	case 3:
		if i+1 < len(s) {
			return s[:i] + s[i+1:i+2] + s[i:i+1] + s[i+2:]
		}
	}
	return s
}

// No misspelling can be either of two words: words of different meaning are
// further apart than the slips they may have together, or are asked about.
func TestSpellingsApart(t *testing.T) {
	for _, name := range []string{"en", "it", "es", "fr", "de"} {
		l := load(t, name).languages[0]
		if len(l.spellings) < 20 {
			t.Errorf("%s: only %d words may be misspelt", name, len(l.spellings))
		}
		for _, p := range l.tooAlike(func(spelling) bool { return true }) {
			t.Errorf("%s: one misspelling can be %q and %q", name, p[0].form, p[1].form)
		}
	}
}

// One slip in a balance never gives the other one.
func TestSlipNeverTurnsTheBalance(t *testing.T) {
	lex := load(t, "en")
	rapid.Check(t, func(t *rapid.T) {
		word := rapid.SampledFrom([]string{"understeer", "oversteer"}).Draw(t, "word")
		bad := slip(t, word)
		if rapid.Bool().Draw(t, "twice") {
			bad = slip(t, bad)
		}
		for _, x := range lex.Read("it has " + bad + " today").Readings {
			if x.Balance != "" && x.Symptom != word {
				t.Fatalf("%q is read as %s", bad, x.Symptom)
			}
		}
	})
}

func TestSlips(t *testing.T) {
	for n, want := range map[int]int{0: 0, 3: 0, 4: 1, 6: 1, 7: 2, 24: 2, 25: 0} {
		if got := slips(n); got != want {
			t.Errorf("a word of %d letters may have %d slips, want %d", n, got, want)
		}
	}
}
