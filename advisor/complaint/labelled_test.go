package complaint

import (
	"bufio"
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"kartwright/rulesets/words"
)

var quiet = flag.Bool("quiet", false, "with -labels: print the score only")

var labels = flag.String("labels", "", "score this file of labelled sentences and print what fails")

type labelled struct {
	ID         string
	Language   string
	Speaker    string
	Text       string
	Expected   []Reading
	Conditions Conditions
}

func readLabelled(t *testing.T, path string) []labelled {
	t.Helper()
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	var out []labelled
	for s := bufio.NewScanner(bytes.NewReader(data)); s.Scan(); {
		var l labelled
		require.NoError(t, json.Unmarshal(s.Bytes(), &l))
		if l.Language == "" {
			l.Language = "en"
		}
		out = append(out, l)
	}
	return out
}

type count struct{ hit, extra, missed int }

func (c count) f1() float64 {
	if c.hit == 0 && c.extra == 0 && c.missed == 0 {
		return 1
	}
	return 2 * float64(c.hit) / float64(2*c.hit+c.extra+c.missed)
}

// A score compares readings with labels. Symptom counts (symptom, phase) pairs,
// negation those that are negated; severity is the share of positive readings,
// found with their phase, whose severity agrees.
type score struct {
	sentences, exact      int
	symptom, negation     count
	severity, severityAll int
	corner, condition     count
	opposite              []string
}

func balanceOpposite(a, b Reading) bool {
	return a.Symptom == "understeer" && b.Symptom == "oversteer" || a.Symptom == "oversteer" && b.Symptom == "understeer"
}

func (s *score) add(l labelled, got Report) (failures []string) {
	s.sentences++
	before := len(failures)
	used := make([]bool, len(got.Readings))
	find := func(w Reading, match func(g Reading) bool) int {
		for i, g := range got.Readings {
			if !used[i] && g.Symptom == w.Symptom && g.Phase == w.Phase && match(g) {
				used[i] = true
				return i
			}
		}
		return -1
	}
	for _, w := range l.Expected {
		i := find(w, func(g Reading) bool { return g.Negated == w.Negated && g.Corner == w.Corner })
		if i < 0 {
			i = find(w, func(g Reading) bool { return g.Negated == w.Negated })
		}
		if i < 0 {
			i = find(w, func(Reading) bool { return true })
		}
		if i < 0 {
			s.symptom.missed++
			if w.Negated {
				s.negation.missed++
			}
			failures = append(failures, fmt.Sprintf("missed %s", show(w)))
			for _, g := range got.Readings {
				if g.Negated == w.Negated && !w.Negated && balanceOpposite(g, w) && (g.Phase == w.Phase || g.Phase == "any" || w.Phase == "any") && !expects(l, g) ||
					g.Symptom == w.Symptom && g.Negated != w.Negated && !expects(l, g) {
					s.opposite = append(s.opposite, l.ID)
				}
			}
			continue
		}
		g := got.Readings[i]
		s.symptom.hit++
		switch {
		case w.Negated && g.Negated:
			s.negation.hit++
		case w.Negated != g.Negated:
			s.opposite = append(s.opposite, l.ID)
			failures = append(failures, fmt.Sprintf("negation of %s", show(w)))
			if w.Negated {
				s.negation.missed++
			} else {
				s.negation.extra++
			}
		default:
			s.severityAll++
			if g.Severity == w.Severity {
				s.severity++
			} else {
				failures = append(failures, fmt.Sprintf("severity %s of %s", g.Severity, show(w)))
			}
		}
		if g.Corner == w.Corner {
			s.corner.hit++
		} else {
			s.corner.missed++
			failures = append(failures, fmt.Sprintf("corner %s of %s", g.Corner, show(w)))
		}
	}
	for i, g := range got.Readings {
		if !used[i] {
			s.symptom.extra++
			if g.Negated {
				s.negation.extra++
			}
			failures = append(failures, fmt.Sprintf("extra %s (%q)", show(g), g.Words))
		}
	}
	for _, c := range [][3]string{{"track", got.Conditions.Track, l.Conditions.Track}, {"grip", got.Conditions.Grip, l.Conditions.Grip}, {"tyres", got.Conditions.Tyres, l.Conditions.Tyres}} {
		switch {
		case c[1] == c[2] && c[1] != "":
			s.condition.hit++
			continue
		case c[1] == c[2]:
			continue
		}
		if c[1] != "" {
			s.condition.extra++
		}
		if c[2] != "" {
			s.condition.missed++
		}
		failures = append(failures, fmt.Sprintf("%s %q, want %q", c[0], c[1], c[2]))
	}
	if len(failures) == before {
		s.exact++
	}
	return failures
}

func expects(l labelled, g Reading) bool {
	for _, w := range l.Expected {
		if w.Symptom == g.Symptom && w.Negated == g.Negated {
			return true
		}
	}
	return false
}

func show(r Reading) string {
	s := r.Symptom
	if r.Phase != "any" {
		s += "/" + r.Phase
	}
	if r.Corner != "any" {
		s += "@" + r.Corner
	}
	if r.Severity != "normal" {
		s += ":" + r.Severity
	}
	if r.Negated {
		s = "!" + s
	}
	return s
}

func (s *score) String() string {
	return fmt.Sprintf("%d sentences, %d exact; symptom and phase F1 %.3f (%d right, %d extra, %d missed); negation F1 %.3f (%d, %d, %d); severity %.3f of %d; corner %.3f; conditions F1 %.3f; opposite %d %v",
		s.sentences, s.exact, s.symptom.f1(), s.symptom.hit, s.symptom.extra, s.symptom.missed, s.negation.f1(), s.negation.hit, s.negation.extra, s.negation.missed,
		s.severityShare(), s.severityAll, float64(s.corner.hit)/float64(max(1, s.corner.hit+s.corner.missed)), s.condition.f1(), len(s.opposite), s.opposite)
}

func (s *score) severityShare() float64 {
	return float64(s.severity) / float64(max(1, s.severityAll))
}

func loadLanguage(t testing.TB, name string) *Lexicon {
	t.Helper()
	l, found := Load(words.FS, name+".toml")
	for _, d := range found {
		t.Fatalf("word file: %v", d)
	}
	return l
}

func scoreFile(t *testing.T, path string, print bool) map[string]*score {
	lexicons := make(map[string]*Lexicon)
	scores := make(map[string]*score)
	for _, l := range readLabelled(t, path) {
		lex, ok := lexicons[l.Language]
		if !ok {
			lex = loadLanguage(t, l.Language)
			lexicons[l.Language] = lex
			scores[l.Language] = new(score)
		}
		got := lex.Read(l.Text)
		if f := scores[l.Language].add(l, got); len(f) > 0 && print {
			fmt.Printf("%s %s\n    %s\n    unused %q unsure %v\n", l.ID, l.Text, strings.Join(f, "\n    "), got.Unused, got.Unsure)
		}
	}
	return scores
}

func TestLabels(t *testing.T) {
	if *labels == "" {
		t.Skip("no -labels")
	}
	for lang, s := range scoreFile(t, *labels, !*quiet) {
		fmt.Printf("%s: %v\n", lang, s)
	}
}
