package cli

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"kartwright/advisor/complaint"
	"kartwright/advisor/profile"
	"kartwright/geometry"
)

// ask runs the program with a person at the terminal who types the lines.
func ask(typed string, args ...string) (status int, stdout, stderr string) {
	var out, errs bytes.Buffer
	status = Main(App{In: strings.NewReader(typed), Out: &out, Err: &errs, Getenv: func(string) string { return "" }, Ask: true}, args)
	return status, out.String(), errs.String()
}

// At a terminal kart new asks; a wrong answer is explained and asked again, and
// Enter leaves a number to be assumed.
func TestKartNewAsks(t *testing.T) {
	file := filepath.Join(t.TempDir(), "my.toml")
	answers := []string{"Club kart 7", "oak", "birch", "1045 mm", "128", "128 mm ± 1 mm", "11 deg"}
	for len(answers) < 30 {
		answers = append(answers, "")
	}
	status, out, errs := ask(strings.Join(answers, "\n")+"\n", "kart", "new", file)
	if status != exitDone || !strings.Contains(out, "kart Club kart 7") {
		t.Fatalf("exit status %d, %s%s", status, out, errs)
	}
	for _, want := range []string{`there is no "oak"`, `length "128" has no unit (write 128mm or 128in)`} {
		if !strings.Contains(errs, want) {
			t.Errorf("the dialogue lacks %q:\n%s", want, errs)
		}
	}
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	k, found := profile.Parse(file, data)
	require.Empty(t, found)
	got := map[string]string{}
	for _, n := range k.Numbers {
		got[n.Path] = n.Text(geometry.Units{})
		if n.Assumed {
			got[n.Path] = "assumed"
		}
	}
	for path, want := range map[string]string{"kart.wheelbase": "1045.00 mm", "kart.tyre_radius": "128.00 mm ± 1.00 mm", "corner.caster": "11.00°", "corner.kpi": "assumed"} {
		if got[path] != want {
			t.Errorf("%s = %q, want %q", path, got[path], want)
		}
	}
}

// A dialogue that breaks off writes nothing.
func TestKartNewBrokenOff(t *testing.T) {
	file := filepath.Join(t.TempDir(), "my.toml")
	status, _, errs := ask("Club kart 7\n", "kart", "new", file)
	if _, err := os.Stat(file); status != exitCould || !os.IsNotExist(err) || !strings.Contains(errs, "nothing was written") {
		t.Errorf("exit status %d, file %v, %s", status, err, errs)
	}
}

// At a terminal a word that must not be guessed is asked about.
func TestHearAsks(t *testing.T) {
	status, out, errs := ask("2\n", "hear", "camter feels wrong and it pushes on entry")
	if status != exitDone || !strings.Contains(errs, "1  camber") || !strings.Contains(out, "understeer on entry") {
		t.Errorf("exit status %d\n%s\n%s", status, out, errs)
	}
}

// The answer to a question about a symptom is what counts, whatever stands around the
// words that it was asked about.
func TestHearTakesTheAnswer(t *testing.T) {
	for _, tt := range []struct{ text, typed, want string }{
		{"New tyres. We were suffering with graining; with the lower pressure there is none.", "2\n", "Understood: front tread grained or feathered: not there, or no longer."},
		{"New tyres. We were suffering with graining; with the lower pressure there is none.", "1\n", "Understood: front tread grained or feathered (normal)."},
		{"New tyres. To the left a lamb, to the right a donkey, that's what my son says.", "1\n", "Understood: left and right turns differ (normal)."},
		{"On new tyres it slides on exit.", "2\n", "Understood: oversteer on exit (normal)."},
	} {
		status, out, errs := ask(tt.typed, "hear", tt.text)
		if status != exitDone || !strings.Contains(out, tt.want) || !strings.Contains(out, "tyres new") {
			t.Errorf("%q answered with %q: exit status %d\n%s\n%s\nwant %s", tt.text, tt.typed, status, out, errs, tt.want)
		}
	}
}

func TestUnsureText(t *testing.T) {
	fade := complaint.Question{Words: "no more drop", Candidates: []string{"fade"}}
	slides := complaint.Question{Words: "slides", Candidates: []string{"understeer", "oversteer"}}
	for _, tt := range []struct {
		questions []complaint.Question
		want      string
	}{
		{[]complaint.Question{fade}, `"no more drop" could be fade: say whether it is`},
		{[]complaint.Question{slides}, `"slides" could be understeer or oversteer: say which`},
		{[]complaint.Question{slides, fade}, `"slides" could be understeer or oversteer; "no more drop" could be fade: say which`},
	} {
		if got := unsureText(complaint.Report{Unsure: tt.questions}); got != tt.want {
			t.Errorf("unsure of %v: %s, want %s", tt.questions, got, tt.want)
		}
	}
}

// BenchmarkAdviseCommand is the whole of "kartwright advise" but for starting
// the process: under 20 ms.
func BenchmarkAdviseCommand(b *testing.B) {
	args := []string{"advise", "--symptom", "understeer/entry:strong", "--track", "tight", "--grip", "6/10", "--tyres", "25 laps"}
	for b.Loop() {
		if status := Main(App{In: strings.NewReader(""), Out: io.Discard, Err: io.Discard, Getenv: func(string) string { return "" }}, args); status != exitDone {
			b.Fatalf("exit status %d", status)
		}
	}
}
