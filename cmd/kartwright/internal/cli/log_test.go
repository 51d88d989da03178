package cli

import (
	"bytes"
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"kartwright/advisor/journal"
)

// logRun runs a command on a journal, at a time, with answers typed at a terminal
// if there are any.
func logRun(t *testing.T, path, at, typed string, args ...string) (status int, stdout, stderr string) {
	t.Helper()
	now, err := time.Parse(time.RFC3339, at)
	require.NoError(t, err)
	var out, errs bytes.Buffer
	status = Main(App{In: strings.NewReader(typed), Out: &out, Err: &errs, Ask: typed != "", Now: func() time.Time { return now }, Getenv: func(k string) string {
		return map[string]string{"KARTWRIGHT_JOURNAL": path}[k]
	}}, args)
	return status, out.String(), errs.String()
}

// At a terminal, log add asks and log outcome asks how it was.
func TestLogAsks(t *testing.T) {
	path := filepath.Join(t.TempDir(), "journal.db")
	status, out, errs := logRun(t, path, "2026-05-03T09:00:00Z", "home\ntight\n6/10\nsunny\nnew\nB\nKim\n48.61 48.42 1:02.5\npushes on the way in\n\n", "log", "add")
	if status != 0 || !strings.Contains(errs, "What did the driver say? (Enter: not said)") {
		t.Fatalf("log add at a terminal: status %d, asked %q", status, errs)
	}
	words := strings.Join(strings.Fields(out), " ")
	for _, want := range []string{"home; tight; grip 6/10; tyres new; set B; driver Kim; 3 laps, best 48.42", `"pushes on the way in"`} {
		if !strings.Contains(words, want) {
			t.Errorf("what was logged is %q, want %s in it", words, want)
		}
	}
	status, advice, errs := logRun(t, path, "2026-05-03T09:05:00Z", "", "--json", "advise", "pushes on the way in", "--grip", "6/10", "--track", "tight")
	require.Zero(t, status, errs)
	status, _, errs = logRun(t, path, "2026-05-03T09:05:00Z", advice, "log", "add", "--advice", "-")
	require.Zero(t, status, errs)
	status, out, errs = logRun(t, path, "2026-05-03T09:30:00Z", "so so\nsame\n", "log", "outcome")
	if status != 0 || strings.Count(errs, "better, same or worse?") != 2 || !strings.Contains(out, "understeer on entry: same") {
		t.Errorf("log outcome at a terminal: status %d, asked %q, logged %q", status, errs, out)
	}
}

// JSON answers carry whole entries, and compare only what differs.
func TestLogJSON(t *testing.T) {
	path := filepath.Join(t.TempDir(), "journal.db")
	ids := map[string]string{}
	for at, args := range map[string][]string{
		"2026-05-03T09:00:00Z": {"--json", "log", "add", "hops", "--grip", "high", "--laps", "48.6 48.5"},
		"2026-05-03T10:00:00Z": {"--json", "log", "add", "fine", "--grip", "low", "--laps", "48.6 48.5", "--set", "caster screw=1/2 turn tighter"},
	} {
		status, out, errs := logRun(t, path, at, "", args...)
		require.Zero(t, status, errs)
		var v struct {
			Command string
			Entries []journal.Header
		}
		require.NoError(t, json.Unmarshal([]byte(out), &v))
		last := v.Entries[len(v.Entries)-1]
		if v.Command != "log add" || last.Kind != journal.KindSession || last.Journal == "" {
			t.Errorf("log add answers %s", out)
		}
		ids[at] = string(last.ID)
	}
	status, out, errs := logRun(t, path, "2026-05-03T11:00:00Z", "", "--json", "log", "compare", ids["2026-05-03T09:00:00Z"], "last")
	require.Zero(t, status, errs)
	var c logCompareJSON
	require.NoError(t, json.Unmarshal([]byte(out), &c))
	got := map[string][2]string{}
	for _, d := range c.Differences {
		got[d.What] = [2]string{d.A, d.B}
	}
	if got["grip"] != [2]string{"high", "low"} || got["said"] != [2]string{"hops", "fine"} {
		t.Errorf("grip and what was said differ as %v", got)
	}
	if _, ok := got["laps"]; ok {
		t.Errorf("laps are listed though they are the same: %v", got["laps"])
	}
	status, out, errs = logRun(t, path, "2026-05-03T11:00:00Z", "", "--json", "log", "standard", "--log")
	require.Zero(t, status, errs)
	var w struct {
		Plan    planJSON
		Entries []journal.Header
	}
	require.NoError(t, json.Unmarshal([]byte(out), &w))
	if len(w.Entries) != 1 || len(w.Plan.Sides["left"].Moves)+len(w.Plan.Sides["right"].Moves) == 0 {
		t.Errorf("going back to standard logs %d entries and turns %+v", len(w.Entries), w.Plan.Sides)
	}
	status, out, errs = logRun(t, path, "2026-05-03T12:00:00Z", "", "log", "undo", ids["2026-05-03T10:00:00Z"])
	if status != 0 || !strings.Contains(out, "1/2 turn") {
		t.Errorf("undo to the setting of a session: status %d, %s%s", status, out, errs)
	}
}

func TestParseReading(t *testing.T) {
	for _, tt := range []struct{ text, side, what string }{
		{"left camber=-0.4deg ± 0.1deg", "left", "camber"}, {"kart front track=1040 mm", "kart", "front track"}, {"right toe=1 mm out over 255 mm", "right", "toe"},
	} {
		r, err := parseReading(tt.text)
		if err != nil || r.Side != tt.side || r.What != tt.what || (r.Angle == nil) == (r.Length == nil) {
			t.Errorf("%q is read as %+v (%v)", tt.text, r, err)
		}
	}
	for _, bad := range []string{"camber=3deg", "left=3deg", "left camber", "left camber=3", "up camber=3deg"} {
		if r, err := parseReading(bad); err == nil {
			t.Errorf("%q is read as %+v, want an error", bad, r)
		}
	}
}

// Advice that was logged is asked about at the next occasion at a terminal,
// until somebody has spoken, and never when answers are piped.
func TestPendingAdviceIsAskedAbout(t *testing.T) {
	path := filepath.Join(t.TempDir(), "journal.db")
	args := []string{"advise", "-s", "understeer/entry", "--track", "tight"}
	status, out, errs := logRun(t, path, "2026-05-03T09:00:00Z", "never read\n", append(args, "--log")...)
	if status != 0 || errs != "" || !strings.Contains(out, "Began a new journal") {
		t.Fatalf("advise --log at a terminal: status %d, asked %q", status, errs)
	}
	for _, tt := range []struct {
		name, at, typed string
		args            []string
		asked           int
		learned         string
	}{
		{"piped", "2026-05-03T10:00:00Z", "", args, 0, "Nothing is learned"},
		{"as JSON", "2026-05-03T10:00:00Z", "worse\n", append([]string{"--json"}, args...), 0, "Nothing is learned"},
		{"for another kart", "2026-05-03T10:00:00Z", "worse\n", append([]string{"--kart", "cedar"}, args...), 0, "Nothing is learned"},
		{"weeks later", "2026-06-03T10:00:00Z", "worse\n", args, 0, "Nothing is learned"},
		{"later", "2026-05-03T10:00:00Z", "\n", args, 1, "Nothing is learned"},
		{"a slip and an answer", "2026-05-03T10:00:00Z", "wrose\nworse\n", []string{"log", "add", "still pushes", "--laps", "48.6"}, 2, "helped 0 of 1 time"},
		{"once more", "2026-05-03T11:00:00Z", "better\n", args, 0, "helped 0 of 1 time"},
	} {
		status, out, errs := logRun(t, path, tt.at, tt.typed, tt.args...)
		if n := strings.Count(errs, "better, same, worse, or not tried?"); status != 0 || n != tt.asked {
			t.Errorf("%s: status %d, asked %d times, want %d: %s%s", tt.name, status, n, tt.asked, errs, out)
		}
		if _, out, _ := logRun(t, path, tt.at, "", "log", "show", "--learned"); !strings.Contains(out, tt.learned) {
			t.Errorf("%s: what is learned is %q, want %q in it", tt.name, out, tt.learned)
		}
	}
	// The session that was logged just before is the one that showed it.
	_, out, _ = logRun(t, path, "2026-05-03T12:00:00Z", "", "--json", "log", "show", "--kind", "outcome")
	if !strings.Contains(out, `"session_id": "`) {
		t.Errorf("the outcome names no session: %s", out)
	}

	status, _, _ = logRun(t, path, "2026-05-03T13:00:00Z", "", append(args, "--log")...)
	require.Zero(t, status)
	_, _, errs = logRun(t, path, "2026-05-03T14:00:00Z", "not tried\n", args...)
	_, _, again := logRun(t, path, "2026-05-03T14:10:00Z", "worse\n", args...)
	if !strings.Contains(errs, "not tried?") || again != "" {
		t.Errorf("advice that was not tried is asked about with %q and then %q", errs, again)
	}
}
