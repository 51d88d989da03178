package cli

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"kartwright/rules"
	"kartwright/rules/author"
	"kartwright/rules/diag"
	"kartwright/rules/ruleset"
	"kartwright/rulesets"
)

// The heat map is XML with a cell for every condition of every symptom, and no
// state is told by colour alone.
func TestHeatMap(t *testing.T) {
	loaded, _ := ruleset.Load(rulesets.FS, rulesets.Default)
	require.NotNil(t, loaded.Set)
	s := author.TakeSurvey(loaded.Set, func(rules.SymptomWord) bool { return true })
	svg := heatMap(&s)
	dec := xml.NewDecoder(bytes.NewReader(svg))
	cells := 0
	for {
		tok, err := dec.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err)
		if e, ok := tok.(xml.StartElement); ok && e.Name.Local == "g" {
			cells++
		}
	}
	if want := len(s.Symptoms)*len(s.Tracks)*len(s.Grip)*len(s.Tyres) + len(looks); cells != want {
		t.Errorf("the map has %d cells, want %d with the legend", cells, want)
	}
	letters := map[string]bool{}
	for _, l := range looks {
		letters[l.letter] = true
	}
	if len(letters) != len(looks) || len(marks) != len(looks) {
		t.Errorf("%d states share the letters %v", len(looks), letters)
	}
}

// No line of the answers in text is wider than a terminal.
func TestRulesTextFitsTheWidth(t *testing.T) {
	for _, args := range []string{
		"rules gaps", "rules gaps -s hop", "rules list", "rules why -s understeer/entry --grip 7/10 --all", "rules explain",
		"rules explain contradicting-rules", "rules diff shipped.toml base.toml",
	} {
		status, out, errs := run(strings.Split(args, " ")...)
		if status != 0 {
			t.Errorf("%s: exit status %d: %s", args, status, errs)
		}
		for _, line := range strings.Split(out, "\n") {
			if n := len([]rune(line)); n > width {
				t.Errorf("%s prints a line of %d characters: %s", args, n, line)
			}
		}
	}
}

// Every code that a command can print is explained, once for each kind of file.
func TestEveryCodeIsExplained(t *testing.T) {
	for _, k := range explained() {
		if _, err := diag.NewRegistry(k.codes); err != nil {
			t.Errorf("%s: %v", k.files, err)
		}
	}
}

// A table is put behind what is there, with the file's own line ends.
func TestJoined(t *testing.T) {
	for _, tt := range []struct{ name, data, want string }{
		{"unix", "a = 1\n", "a = 1\n\n[[rule]]\nx = 1\n"},
		{"no end of the last line", "a = 1", "a = 1\n\n[[rule]]\nx = 1\n"},
		{"windows", "a = 1\r\n", "a = 1\r\n\r\n[[rule]]\r\nx = 1\r\n"},
	} {
		if got := string(joined([]byte(tt.data), "[[rule]]\nx = 1\n")); got != tt.want {
			t.Errorf("%s: the file becomes %q, want %q", tt.name, got, tt.want)
		}
	}
}
