package cli

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"kartwright/advisor/profile"
	"kartwright/advisor/profile/demo"
	"kartwright/geometry"
	"kartwright/geometry/frontend"
)

// What is written as the kart's own numbers makes it measure, standing as it
// stands, what was read; and the side that was not read stays as it was.
func TestWriteStandardMakesTheKartMeasureIt(t *testing.T) {
	dir := t.TempDir()
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.SampledFrom([]string{"alder", "birch", "cedar", "elm"}).Draw(t, "kart")
		data, _ := demo.Read(name)
		k, _ := profile.Parse(name, data)
		to := k.Present
		for _, s := range frontend.Sides {
			for i, a := range k.Corners[s].Adjusters {
				v := a.Travel()
				to[s][i] = v.Clamp(rapid.Float64Range(v.Min/2, v.Max/2).Draw(t, a.Name))
			}
		}
		data, _, err := profile.Rewrite(name, data, noon, k.PresentEdits(to, "")...)
		if err != nil {
			t.Fatal(err)
		}
		file := filepath.Join(dir, name+".toml")
		if err := os.WriteFile(file, data, 0o600); err != nil {
			t.Fatal(err)
		}
		k, _ = profile.Parse(name, data)
		was, err := k.Figures(k.Present)
		if err != nil {
			t.Fatal(err)
		}
		side := rapid.SampledFrom(frontend.Sides[:]).Draw(t, "side")
		camber := was[side].Camber + geometry.Angle(rapid.Float64Range(-0.5, 0.5).Draw(t, "camber by"))*geometry.Degree
		status, _, errs := run("measure", "incline", "--kart", file, "--side", side.String(), "--write", "standard",
			"--reading", fmt.Sprintf("%.6f ± 0.1 deg", camber.Degrees()))
		if status != exitDone {
			if strings.Contains(errs, "ten times as much") || strings.Contains(errs, "is not a kart's") {
				t.Skip("a reading that is rightly doubted")
			}
			t.Fatalf("exit status %d: %s", status, errs)
		}
		data, err = os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		k, found := profile.Parse(name, data)
		if k == nil {
			t.Fatalf("the profile has errors now: %v", found)
		}
		got, err := k.Figures(k.Present)
		if err != nil {
			t.Fatal(err)
		}
		// A number of a profile has three decimals.
		if !got[side].Camber.Near(camber, 0.0006*geometry.Degree) {
			t.Errorf("%v camber is %.5f°, read was %.5f°", side, got[side].Camber.Degrees(), camber.Degrees())
		}
		if other := 1 - side; math.Abs(float64(got[other].Camber-was[other].Camber)) > 1e-12 || math.Abs(float64(got[other].Toe-was[other].Toe)) > 1e-12 {
			t.Errorf("the %v side moved, which was not read", other)
		}
	})
}

// The examples of the help do what they show.
func TestMeasureExamplesRun(t *testing.T) {
	a := &app{App: App{Getenv: func(string) string { return "" }}}
	n := 0
	for _, cmd := range a.measureCommand().Commands() {
		for line := range strings.SplitSeq(strings.ReplaceAll(cmd.Example, "\\\n", ""), "\n") {
			args := shellWords(line)
			if len(args) < 2 || args[0] != "kartwright" {
				t.Errorf("%s: the example %q is no command", cmd.Name(), line)
				continue
			}
			n++
			if status, out, errs := run(args[1:]...); status != exitDone || out == "" {
				t.Errorf("%s: exit status %d: %s", line, status, errs)
			}
		}
	}
	if n < 20 {
		t.Errorf("only %d examples", n)
	}
}

// shellWords splits a command line as a shell does, with double quotes only.
func shellWords(line string) []string {
	var out []string
	var word strings.Builder
	open, begun := false, false
	for _, r := range line + " " {
		switch {
		case r == '"':
			open, begun = !open, true
		case r == ' ' && !open:
			if begun {
				out = append(out, word.String())
			}
			word.Reset()
			begun = false
		default:
			word.WriteRune(r)
			begun = true
		}
	}
	return out
}

// A profile keeps its mode, and a link to one stays a link.
func TestWriteKeepsTheFilesMode(t *testing.T) {
	file := mine(t)
	require.NoError(t, os.Chmod(file, 0o640))
	link := filepath.Join(t.TempDir(), "link.toml")
	require.NoError(t, os.Symlink(file, link))
	if status, _, errs := run("measure", "gauge", "--reading", "7mm", "--write", "present", "--kart", link); status != exitDone {
		t.Fatalf("exit status %d: %s", status, errs)
	}
	info, err := os.Stat(file)
	require.NoError(t, err)
	if info.Mode().Perm() != 0o640 {
		t.Errorf("the profile's mode is %v now, it was -rw-r-----", info.Mode().Perm())
	}
	info, err = os.Lstat(link)
	require.NoError(t, err)
	if info.Mode()&os.ModeSymlink == 0 {
		t.Error("the link to the profile became a file")
	}
}
