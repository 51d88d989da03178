package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"kartwright/cmd/kartwright/internal/cli"
)

// TestReadme runs every command that the README shows and compares what it
// prints. A line "…" stands for any lines. UPDATE_SCRIPTS=1 rewrites blocks
// that have no such line.
func TestReadme(t *testing.T) {
	const name = "../../README.md"
	text, err := os.ReadFile(name)
	require.NoError(t, err)
	dir := t.TempDir()
	lines := strings.Split(string(text), "\n")
	var out []string
	var toml []string
	wd, err := os.Getwd()
	require.NoError(t, err)
	t.Chdir(dir)
	ran := 0
	for i := 0; i < len(lines); i++ {
		out = append(out, lines[i])
		switch lines[i] {
		case "```toml": // the club's file, as the text says to save it
			for i++; lines[i] != "```"; i++ {
				toml, out = append(toml, lines[i]), append(out, lines[i])
			}
			out = append(out, lines[i])
			require.NoError(t, os.WriteFile("club.toml", []byte(strings.Join(toml, "\n")+"\n"), 0o600))
		case "```console":
			for i++; lines[i] != "```"; {
				command, ok := strings.CutPrefix(lines[i], "$ kartwright ")
				if !ok {
					t.Fatalf("README line %d: expected a command, got %q", i+1, lines[i])
				}
				out = append(out, lines[i])
				i++
				var want []string
				for ; lines[i] != "```" && !strings.HasPrefix(lines[i], "$ "); i++ {
					want = append(want, lines[i])
				}
				var stdout, stderr bytes.Buffer
				app := cli.App{In: strings.NewReader(""), Out: &stdout, Err: &stderr, Getenv: func(string) string { return "" }}
				if status := cli.Main(app, words(command)); status != 0 {
					t.Errorf("README: %s: exit status %d: %s", command, status, stderr.String())
				}
				ran++
				got := strings.Split(strings.TrimRight(stdout.String(), "\n"), "\n")
				if !matches(got, want) {
					if !update {
						t.Errorf("README: %s prints\n%s\nnot\n%s", command, strings.Join(got, "\n"), strings.Join(want, "\n"))
					}
					want = got
				}
				out = append(out, want...)
			}
			out = append(out, lines[i])
		}
	}
	if ran < 3 {
		t.Errorf("only %d commands of the README were run", ran)
	}
	if update {
		require.NoError(t, os.WriteFile(filepath.Join(wd, name), []byte(strings.Join(out, "\n")), 0o644))
	}
}

// matches compares lines; "…" in want stands for any number of lines.
func matches(got, want []string) bool {
	if len(want) == 0 {
		return len(got) == 0
	}
	if want[0] == "…" {
		for i := 0; i <= len(got); i++ {
			if matches(got[i:], want[1:]) {
				return true
			}
		}
		return false
	}
	return len(got) > 0 && got[0] == want[0] && matches(got[1:], want[1:])
}

// words splits a command as a shell would, as far as double quotes go.
func words(s string) []string {
	var out []string
	var b strings.Builder
	quoted, some := false, false
	for _, r := range s {
		switch {
		case r == '"':
			quoted, some = !quoted, true
		case r == ' ' && !quoted:
			if some {
				out = append(out, b.String())
				b.Reset()
				some = false
			}
		default:
			b.WriteRune(r)
			some = true
		}
	}
	if some {
		out = append(out, b.String())
	}
	return out
}

// TestReadmeBuilds sees that what the README says to build with is there: a go
// generate that has something to run, and packages that can be listed.
func TestReadmeBuilds(t *testing.T) {
	text, err := os.ReadFile("../../README.md")
	require.NoError(t, err)
	found := regexp.MustCompile(`(?m)^go (generate|install) (\S+)$`).FindAllStringSubmatch(string(text), -1)
	if len(found) < 2 {
		t.Fatal("the README does not say how to build a program that can write the page anywhere")
	}
	for _, m := range found {
		cmd := exec.Command("go", "list", m[2])
		if m[1] == "generate" {
			cmd = exec.Command("go", "generate", "-n", m[2])
		}
		cmd.Dir = "../.."
		if out, err := cmd.CombinedOutput(); err != nil || len(out) == 0 {
			t.Errorf("README: %s: there is nothing to do it with: %v %s", m[0], err, out)
		}
	}
}
