package main

import (
	"errors"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"kartwright/cmd/kartwright/internal/cli"
)

var update = os.Getenv("UPDATE_SCRIPTS") != ""

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"kartwright": func() {
		app := cli.OS()
		app.Now = scriptTime
		os.Exit(cli.Main(app, os.Args[1:]))
	}})
}

// scriptTime is the time at which a script runs the program: that of the
// script's own variable NOW (RFC 3339), which only this test knows.
func scriptTime() time.Time {
	text := os.Getenv("NOW")
	if text == "" {
		text = "2026-11-25T12:00:00Z"
	}
	t, err := time.Parse(time.RFC3339, text)
	if err != nil {
		panic(err)
	}
	return t
}

// TestScripts runs every script under testdata/script. A comment in a script
// is a claim; UPDATE_SCRIPTS=1 rewrites the expected outputs, whose difference
// must then be read.
func TestScripts(t *testing.T) {
	root := filepath.Join("..", "..", "testdata", "script")
	var dirs []string
	if err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err == nil && d.IsDir() {
			dirs = append(dirs, path)
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	for _, dir := range dirs {
		t.Run(filepath.Base(dir), func(t *testing.T) {
			testscript.Run(t, testscript.Params{
				Dir:                 dir,
				RequireExplicitExec: true,
				RequireUniqueNames:  true,
				UpdateScripts:       update,
				Cmds:                map[string]func(*testscript.TestScript, bool, []string){"exits": exits},
				Setup: func(e *testscript.Env) error {
					e.Setenv("HOME", e.WorkDir)
					e.Setenv("XDG_DATA_HOME", filepath.Join(e.WorkDir, "data"))
					return nil
				},
			})
		})
	}
}

// exits N PROGRAM ARGS… runs a program and compares its exit status, which
// "! exec" cannot: it does not tell a wrong command line from a crash.
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits N program [args…]")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	got := 0
	if err := ts.Exec(args[1], args[2:]...); err != nil {
		var ee *exec.ExitError
		if !errors.As(err, &ee) {
			ts.Fatalf("%s did not run: %v", args[1], err)
		}
		got = ee.ExitCode()
	}
	if got != want {
		ts.Fatalf("exit status %d, want %d", got, want)
	}
}
