package complaint

import (
	"bufio"
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"kartwright/rules/diag"
	"kartwright/rulesets/words"
)

var (
	labels = flag.String("labels", "", "score this file of labelled sentences and print what fails")
	quiet  = flag.Bool("quiet", false, "with -labels: print the score only")
)

const labelled = "../../testdata/complaints"

// A sentence is one line of a file of labelled sentences.
type sentence struct {
	ID         string
	Language   string
	Speaker    string
	Text       string
	Expected   []Reading
	Conditions Conditions
}

func readSentences(t testing.TB, path string) []sentence {
	t.Helper()
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	var out []sentence
	lines := bufio.NewScanner(bytes.NewReader(data))
	for lines.Scan() {
		s := sentence{Language: "en"}
		require.NoError(t, json.Unmarshal(lines.Bytes(), &s))
		out = append(out, s)
	}
	require.NoError(t, lines.Err())
	return out
}

// A count is what was found, found without being there, and not found.
type count struct{ right, extra, missed int }

func (c count) f1() float64 {
	if c == (count{}) {
		return 1
	}
	return 2 * float64(c.right) / float64(2*c.right+c.extra+c.missed)
}

// A score compares reports with labels. Symptoms counts pairs of symptom and
// phase, negations those that are negated; severity is counted over the readings
// that are there and were found with their phase. Opposite lists the sentences
// in which a symptom was taken for absent, an absent one for there, or
// understeer for oversteer or the other way round.
type score struct {
	sentences, exact                int
	symptoms, negations, conditions count
	severity, corner                count
	opposite                        []string
}

func (s *score) String() string {
	return fmt.Sprintf("%d sentences, %d exact; symptom and phase F1 %.3f %v; negation F1 %.3f %v; severity %.3f of %d; corner %.3f; conditions F1 %.3f %v; opposite %d %v",
		s.sentences, s.exact, s.symptoms.f1(), s.symptoms, s.negations.f1(), s.negations, share(s.severity), s.severity.right+s.severity.missed,
		share(s.corner), s.conditions.f1(), s.conditions, len(s.opposite), s.opposite)
}

func share(c count) float64 {
	if c.right+c.missed == 0 {
		return 1
	}
	return float64(c.right) / float64(c.right+c.missed)
}

// add scores one report and returns what is wrong with it.
func (s *score) add(l sentence, got Report) (wrong []string) {
	s.sentences++
	used := make([]bool, len(got.Readings))
	find := func(match func(g Reading) bool) *Reading {
		for i, g := range got.Readings {
			if !used[i] && match(g) {
				used[i] = true
				return &got.Readings[i]
			}
		}
		return nil
	}
	for _, w := range l.Expected {
		here := func(g Reading) bool { return g.Symptom == w.Symptom && g.Phase == w.Phase }
		g := find(func(g Reading) bool { return here(g) && g.Negated == w.Negated && g.Corner == w.Corner })
		if g == nil {
			g = find(func(g Reading) bool { return here(g) && g.Negated == w.Negated })
		}
		if g == nil {
			g = find(here)
		}
		if g == nil {
			s.symptoms.missed++
			if w.Negated {
				s.negations.missed++
			}
			wrong = append(wrong, "missed "+show(w))
			continue
		}
		s.symptoms.right++
		switch {
		case w.Negated && g.Negated:
			s.negations.right++
		case w.Negated:
			s.negations.missed++
			wrong = append(wrong, "not negated: "+show(w))
		case g.Negated:
			s.negations.extra++
			wrong = append(wrong, "negated: "+show(w))
		case g.Severity == w.Severity:
			s.severity.right++
		default:
			s.severity.missed++
			wrong = append(wrong, "severity "+g.Severity+": "+show(w))
		}
		if g.Corner == w.Corner {
			s.corner.right++
		} else {
			s.corner.missed++
			wrong = append(wrong, "corner "+g.Corner+": "+show(w))
		}
	}
	for i, g := range got.Readings {
		if !used[i] {
			s.symptoms.extra++
			if g.Negated {
				s.negations.extra++
			}
			wrong = append(wrong, fmt.Sprintf("extra %s (%q)", show(g), g.Words))
		}
	}
	for _, c := range [][3]string{
		{"track", got.Conditions.Track, l.Conditions.Track}, {"grip", got.Conditions.Grip, l.Conditions.Grip}, {"tyres", got.Conditions.Tyres, l.Conditions.Tyres},
	} {
		if c[1] == c[2] {
			if c[1] != "" {
				s.conditions.right++
			}
			continue
		}
		if c[1] != "" {
			s.conditions.extra++
		}
		if c[2] != "" {
			s.conditions.missed++
		}
		wrong = append(wrong, fmt.Sprintf("%s %q, want %q", c[0], c[1], c[2]))
	}
	if opposite(l.Expected, got.Readings) {
		s.opposite = append(s.opposite, l.ID)
	}
	if len(wrong) == 0 {
		s.exact++
	}
	return wrong
}

// opposite reports whether a reading says the contrary of what is expected, and
// nothing that is expected says what it does.
func opposite(want, got []Reading) bool {
	for _, g := range got {
		expected, contrary := false, false
		for _, w := range want {
			meets := g.Phase == w.Phase || g.Phase == "any" || w.Phase == "any"
			same := g.Symptom == w.Symptom
			balances := g.Balance != "" && (w.Symptom == "understeer" || w.Symptom == "oversteer")
			expected = expected || same && g.Negated == w.Negated
			contrary = contrary || same && meets && g.Negated != w.Negated ||
				!same && balances && meets && !g.Negated && !w.Negated
		}
		if contrary && !expected {
			return true
		}
	}
	return false
}

func show(r Reading) string {
	s := r.Symptom
	if r.Negated {
		s = "!" + s
	}
	if r.Phase != "any" {
		s += "/" + r.Phase
	}
	if r.Corner != "any" {
		s += "@" + r.Corner
	}
	if r.Severity != "normal" {
		s += ":" + r.Severity
	}
	return s
}

func load(t testing.TB, name string) *Lexicon {
	t.Helper()
	l, found := Load(words.FS, name+".toml")
	if len(found) > 0 {
		var b strings.Builder
		require.NoError(t, diag.WriteText(&b, found))
		t.Fatalf("%s.toml has findings:\n%s", name, b.String())
	}
	return l
}

// scoreFile scores a file; failed, which may be nil, is told what is wrong.
func scoreFile(t *testing.T, path string, failed func(sentence, Report, []string)) *score {
	lexicons := make(map[string]*Lexicon)
	total := new(score)
	for _, s := range readSentences(t, path) {
		if lexicons[s.Language] == nil {
			lexicons[s.Language] = load(t, s.Language)
		}
		got := lexicons[s.Language].Read(s.Text)
		if wrong := total.add(s, got); len(wrong) > 0 && failed != nil {
			failed(s, got, wrong)
		}
	}
	return total
}

// Labelled sentences of invented speakers. The word files were written against
// develop.jsonl; the others were scored before anything was learnt from them, see
// the README beside them, and the gates hold what came after. Nothing was learnt
// from aside, fresh and abroad: they say what a stranger's sentence is worth.
func TestLabelledSentences(t *testing.T) {
	for _, tt := range []struct {
		file                                      string
		symptoms, negations, severity, conditions float64
		opposite                                  int // at most
	}{
		{"develop.jsonl", 0.96, 0.98, 0.95, 0.98, 0},
		{"heldout.jsonl", 0.96, 0.97, 0.93, 0.93, 0},
		{"second.jsonl", 0.92, 0.97, 0.92, 0.95, 0},
		{"third.jsonl", 0.92, 0.85, 0.93, 0.92, 0},
		{"fourth.jsonl", 0.96, 0.97, 0.94, 0.95, 0},
		{"strangers.jsonl", 0.97, 0.95, 0.94, 0.97, 17},
		{"more.jsonl", 0.93, 0.87, 0.93, 0.95, 88},
		{"aside.jsonl", 0.91, 0.88, 0.92, 0.95, 17},
		{"fresh.jsonl", 0.91, 0.83, 0.93, 0.93, 10},
		{"abroad.jsonl", 0.68, 0.56, 0.88, 0.80, 52},
		{"it.jsonl", 0.94, 0.95, 0.86, 0.90, 0},
		{"es.jsonl", 0.92, 0.95, 0.90, 0.85, 0},
		{"fr.jsonl", 0.90, 0.95, 0.86, 0.85, 0},
		{"de.jsonl", 0.90, 0.95, 0.84, 0.90, 0},
	} {
		s := scoreFile(t, filepath.Join(labelled, tt.file), nil)
		t.Logf("%s: %v", tt.file, s)
		for _, g := range []struct {
			name      string
			got, gate float64
		}{
			{"symptom and phase F1", s.symptoms.f1(), tt.symptoms},
			{"negation F1", s.negations.f1(), tt.negations},
			{"share of right severities", share(s.severity), tt.severity},
			{"conditions F1", s.conditions.f1(), tt.conditions},
		} {
			if g.got < g.gate {
				t.Errorf("%s: %s is %.3f, below %.2f", tt.file, g.name, g.got, g.gate)
			}
		}
		if len(s.opposite) > tt.opposite {
			t.Errorf("%s: %d, not %d at most, read as their opposite: %v", tt.file, len(s.opposite), tt.opposite, s.opposite)
		}
	}
}

// With -labels it prints the score of any file, for work on the word files.
func TestLabels(t *testing.T) {
	if *labels == "" {
		t.Skip("no -labels")
	}
	s := scoreFile(t, *labels, func(l sentence, got Report, wrong []string) {
		if !*quiet {
			fmt.Printf("%s %s\n    %s\n    unused %q unsure %v\n", l.ID, l.Text, strings.Join(wrong, "\n    "), got.Unused, got.Unsure)
		}
	})
	fmt.Printf("all: %v\n", s)
}
