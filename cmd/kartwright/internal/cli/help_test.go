package cli

import (
	"bytes"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/spf13/cobra"
)

// Help fits a terminal as answers do, the flags of every command first of all. A command to copy is not broken, so usage
// and examples may be longer.
func TestHelpFits(t *testing.T) {
	var visit func(*cobra.Command)
	visit = func(c *cobra.Command) {
		var out bytes.Buffer
		args := append(strings.Fields(c.CommandPath())[1:], "--help")
		if status := Main(App{Out: &out, Err: &out, Getenv: func(string) string { return "" }}, args); status != 0 {
			t.Errorf("%q has exit status %d", args, status)
		}
		if strings.Contains(out.String(), " string[") {
			t.Errorf("%q names a value by its type:\n%s", args, out.String())
		}
		text := out.String()
		switch c.Name() {
		case "kartwright", "advise", "hear", "dial", "whatif", "serve", "page": // what people begin with
		default:
			_, text, _ = strings.Cut(text, "\nFlags:")
		}
		for _, line := range strings.Split(text, "\n") {
			if n := utf8.RuneCountInString(line); n > width && !strings.HasPrefix(line, "  kartwright ") {
				t.Errorf("%q prints a line of %d characters, want at most %d:\n%s", args, n, width, line)
			}
		}
		for _, sub := range c.Commands() {
			visit(sub)
		}
	}
	visit((&app{}).root())
}
