package cli

import (
	"bytes"
	"encoding/xml"
	"errors"
	"html"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"kartwright/advisor"
	"kartwright/advisor/profile/demo"
)

// Every lesson of every demo kart prints within 80 columns, draws images that
// are well-formed, and explains on its sheet every word of its table.
func TestLessonsPrintDrawAndExplain(t *testing.T) {
	plain := map[string]bool{
		"front height": true, "inner rear wheel": true, "inner front wheel": true, "outer front wheel": true, "inner wheel steers": true,
		"outer wheel steers": true, "steering is": true, "outer front camber": true, "over 255 mm": true,
	}
	dir := t.TempDir()
	for _, kart := range demo.Names() {
		for _, topic := range advisor.Topics() {
			svg, sheet := filepath.Join(dir, "x.svg"), filepath.Join(dir, "x.html")
			status, out, errs := run("learn", topic.Name, "--kart", kart, "--svg", svg, "--sheet", sheet)
			if status != 0 {
				t.Errorf("%s of %s: exit status %d: %s", topic.Name, kart, status, errs)
				continue
			}
			for _, line := range strings.Split(out, "\n") {
				if n := len([]rune(line)); n > width && !strings.HasPrefix(line, "Wrote ") {
					t.Errorf("%s of %s: a line of %d columns: %s", topic.Name, kart, n, line)
				}
			}
			image, err := os.ReadFile(svg)
			require.NoError(t, err)
			dec := xml.NewDecoder(strings.NewReader(string(image)))
			for {
				if _, err := dec.Token(); errors.Is(err, io.EOF) {
					break
				} else if err != nil {
					t.Errorf("the drawings of %s of %s are not well-formed: %v", topic.Name, kart, err)
					break
				}
			}
			page, err := os.ReadFile(sheet)
			require.NoError(t, err)
			text := string(page)
			_, words, ok := strings.Cut(text, "<h2>Words</h2>")
			if !ok {
				t.Errorf("the sheet of %s of %s explains no words", topic.Name, kart)
			}
			for _, name := range tableNames(text) {
				if !plain[name] && !strings.Contains(words, "<dt>"+strings.TrimSuffix(name, " (+ in)")+"</dt>") {
					t.Errorf("the sheet of %s of %s does not explain %q", topic.Name, kart, name)
				}
			}
		}
	}
}

// tableNames returns the names of the rows of a sheet's second table.
func tableNames(page string) []string {
	_, rest, _ := strings.Cut(page, "<h2>On this kart")
	rest, _, _ = strings.Cut(rest, "</table>")
	var out []string
	for _, part := range strings.Split(rest, "<tr><th>")[1:] {
		name, _, _ := strings.Cut(part, "</th>")
		if name != "" {
			out = append(out, html.UnescapeString(name))
		}
	}
	return out
}

// At a terminal the quiz marks each answer, and try shows each change.
func TestLearnAtATerminal(t *testing.T) {
	ask := func(input string, args ...string) (string, string) {
		var out, errs bytes.Buffer
		status := Main(App{In: strings.NewReader(input), Out: &out, Err: &errs, Getenv: func(string) string { return "" }, Ask: true}, args)
		if status != 0 {
			t.Errorf("%q: exit status %d: %s", args, status, errs.String())
		}
		return out.String(), errs.String()
	}
	out, _ := ask("a\nb\nc\n", "learn", "quiz", "--count", "3")
	if n := strings.Count(out, "Right. ") + strings.Count(out, "It is "); n < 3 || !strings.Contains(out, " of 3 right.") {
		t.Errorf("three answers are marked %d times in\n%s", n, out)
	}
	out, _ = ask("a\n\n", "learn", "quiz", "--count", "3")
	if !strings.Contains(out, " of 1 right.") {
		t.Errorf("a quiz that is stopped after one answer ends with\n%s", out)
	}
	out, errs := ask("caster +1deg\nnonsense\nfront 5 mm wider\n\n", "learn", "try")
	if strings.Count(out, "Before → after") != 2 || !strings.Contains(errs, "names nothing that can be changed") || !strings.Contains(strings.Join(strings.Fields(out), " "), "Caster +1.00°, both sides; front, each wheel further out by +5.00 mm") {
		t.Errorf("two changes and a slip are answered with\n%s%s", out, errs)
	}
	out, _ = ask("\n", "learn", "try")
	if !strings.Contains(out, "Nothing was changed.") {
		t.Errorf("no change is answered with %q", out)
	}
}
