package ruletest

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/google/go-cmp/cmp"

	"kartwright/rules/diag"
	"kartwright/rules/ruleset"
)

var update = flag.Bool("update", false, "rewrite the golden files")

func TestPassingTestsAreSilent(t *testing.T) {
	report, findings := Run(os.DirFS("testdata"), "pass.test.toml")
	for _, d := range findings {
		t.Errorf("unexpected: %s", d)
	}
	var b bytes.Buffer
	if err := report.WriteText(&b); err != nil {
		t.Fatal(err)
	}
	if len(report.Results) != 4 || report.Failed() != 0 || b.Len() > 0 {
		t.Errorf("%d of %d tests fail:\n%s", report.Failed(), len(report.Results), b.String())
	}
}

func TestFailuresShowTheDifferenceAndItsRules(t *testing.T) {
	report, findings := Run(os.DirFS("testdata"), "fail.test.toml")
	for _, d := range findings {
		t.Errorf("unexpected: %s", d)
	}
	if len(report.Results) != 4 || report.Failed() != 3 {
		t.Errorf("%d of %d tests fail, want 3 of 4", report.Failed(), len(report.Results))
	}
	var b bytes.Buffer
	if err := report.WriteText(&b); err != nil {
		t.Fatal(err)
	}
	golden(t, "testdata/fail.txt", b.Bytes())
}

func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	if *update {
		if err := os.WriteFile(name, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), string(got)); diff != "" {
		t.Errorf("%s (-want +got):\n%s", name, diff)
	}
}

var wantForm = regexp.MustCompile(`"([a-z-]+)"`)

func TestFindings(t *testing.T) {
	seen := map[diag.Code]bool{}
	var all bytes.Buffer
	for _, name := range []string{"bad.test.toml", "none.test.toml", "faulty.test.toml"} {
		data, err := os.ReadFile("testdata/" + name)
		if err != nil {
			t.Fatal(err)
		}
		var want, got []string
		for i, line := range strings.Split(string(data), "\n") {
			_, comment, _ := strings.Cut(line, "# want ")
			for _, m := range wantForm.FindAllStringSubmatch(comment, -1) {
				want = append(want, fmt.Sprintf("%s:%d %s", name, i+1, m[1]))
			}
		}
		report, findings := Run(os.DirFS("testdata"), name)
		for _, d := range findings {
			line, _ := d.At.Position()
			got = append(got, fmt.Sprintf("%s:%d %s", d.At.File.Name, line, d.Code))
			seen[d.Code] = true
		}
		if name == "faulty.test.toml" {
			want = append(want, "dyr.toml:1 unreadable-file")
		}
		slices.Sort(want)
		slices.Sort(got)
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("findings in %s (-want +got):\n%s", name, diff)
		}
		if len(report.Results) > 0 {
			t.Errorf("%s: a test that cannot be understood was run", name)
		}
		if err := diag.WriteText(&all, findings); err != nil {
			t.Fatal(err)
		}
	}
	golden(t, "testdata/findings.txt", all.Bytes())
	for _, e := range Codes() {
		if !seen[e.Code] {
			t.Errorf("no fixture has the finding %q", e.Code)
		}
	}
	if _, err := diag.NewRegistry(ruleset.Codes(), Codes()); err != nil {
		t.Error(err)
	}
}

func TestMissingAndNewerFiles(t *testing.T) {
	fsys := fstest.MapFS{"new.test.toml": {Data: []byte("format = 9\nfor = \"x.toml\"\n")}, "bare.test.toml": {Data: []byte("format = 1\n")}}
	_, findings := Run(fsys, "new.test.toml", "bare.test.toml", "gone.test.toml")
	var got []string
	for _, d := range findings {
		got = append(got, d.String())
	}
	want := []string{
		`bare.test.toml:1:1: error: a test file needs the key "for" [missing-key]`,
		`gone.test.toml:1:1: error: cannot read the file: file does not exist [unreadable-file]`,
		`new.test.toml:1:10: error: the file has format 9; this kartwright reads format 1 [newer-format]`,
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("findings (-want +got):\n%s", diff)
	}
}
