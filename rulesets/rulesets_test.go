package rulesets_test

import (
	"io/fs"
	"strings"
	"testing"

	"kartwright/rules"
	"kartwright/rules/diag"
	"kartwright/rules/ruleset"
	"kartwright/rules/ruletest"
	"kartwright/rulesets"
)

// shipped loads the whole set and fails the test on any finding, warnings too.
func shipped(t *testing.T) *rules.Set {
	t.Helper()
	loaded, findings := ruleset.Load(rulesets.FS, rulesets.Default)
	for _, d := range findings {
		t.Errorf("finding in the shipped rules: %v", d)
	}
	if loaded.Set == nil {
		t.Fatal("the shipped rules do not load")
	}
	return loaded.Set
}

// Every file with rules has a test file of its own, and every test in it passes.
func TestRuleFiles(t *testing.T) {
	files, err := fs.Glob(rulesets.FS, "*.toml")
	if err != nil {
		t.Fatal(err)
	}
	var tests []string
	for _, name := range files {
		base, isTest := strings.CutSuffix(name, ".test.toml")
		switch {
		case isTest:
			tests = append(tests, name)
		case name != "base.toml": // words only, no rules
			if _, err := fs.Stat(rulesets.FS, strings.TrimSuffix(base, ".toml")+".test.toml"); err != nil {
				t.Errorf("%s has no test file beside it", name)
			}
		}
	}
	for _, name := range tests {
		t.Run(name, func(t *testing.T) {
			report, findings := ruletest.Run(rulesets.FS, name)
			for _, d := range findings {
				if d.Severity == diag.Error {
					t.Errorf("finding: %v", d)
				}
			}
			if n := len(report.Results); n < 10 {
				t.Errorf("%s ran %d tests, want at least 10", name, n)
			}
			if report.Failed() > 0 {
				var out strings.Builder
				if err := report.WriteText(&out); err != nil {
					t.Fatal(err)
				}
				t.Errorf("%d of %d tests failed:\n%s", report.Failed(), len(report.Results), out.String())
			}
		})
	}
}
