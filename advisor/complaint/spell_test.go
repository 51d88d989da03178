package complaint

import "testing"

func TestSpellingsApart(t *testing.T) {
	for _, name := range []string{"en", "it", "es", "fr", "de"} {
		l := load(t, name).languages[0]
		for _, p := range l.tooAlike(func(spelling) bool { return true }) {
			t.Errorf("%s: %s and %s", name, p[0].form, p[1].form)
		}
	}
}
