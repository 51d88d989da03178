package cli

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// width is the longest line that is printed.
const width = 80

// para prints text broken at width: the first line after lead, the others
// indented by as much.
func (a *app) para(lead, text string) {
	indent := strings.Repeat(" ", utf8.RuneCountInString(lead))
	line := lead
	used := utf8.RuneCountInString(lead)
	fresh := true
	for _, word := range strings.Fields(text) {
		n := utf8.RuneCountInString(word)
		if !fresh && used+1+n > width {
			fmt.Fprintln(&a.out, line)
			line, used, fresh = indent, utf8.RuneCountInString(indent), true
		}
		if !fresh {
			line, used = line+" ", used+1
		}
		line, used, fresh = line+word, used+n, false
	}
	fmt.Fprintln(&a.out, strings.TrimRight(line, " "))
}

// heading prints a section's title after an empty line.
func (a *app) heading(title string) { fmt.Fprintf(&a.out, "\n%s\n", title) }

func (a *app) printf(format string, args ...any) { fmt.Fprintf(&a.out, format, args...) }

// pad fills s with spaces to n characters.
func pad(s string, n int) string {
	if m := utf8.RuneCountInString(s); m < n {
		return s + strings.Repeat(" ", n-m)
	}
	return s
}
func itoa(n int) string { return strconv.Itoa(n) }

// trim2 prints v to two decimals, or as less than the last of them.
func trim2(v float64) string {
	if v < 0.01 {
		return "less than 0.01"
	}
	return strconv.FormatFloat(v, 'f', 2, 64)
}

func capital(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[n:]
}

// sentence ends s with a full stop.
func sentence(s string) string {
	s = capital(strings.TrimSpace(s))
	if s == "" || strings.HasSuffix(s, ".") || strings.HasSuffix(s, "?") || strings.HasSuffix(s, "!") {
		return s
	}
	return s + "."
}
