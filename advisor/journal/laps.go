package journal

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// A lap of a kart is longer than a few seconds and shorter than a quarter of
// an hour; anything else is a slip.
const (
	shortestMS = 5_000
	longestMS  = 900_000
)

// ParseLaps reads lap times as they are pasted or written down: "48.61 48.42
// 1:02.341", separated by spaces, line ends, semicolons or commas; decimal
// commas are understood where a comma cannot separate. A word after a time
// flags it: "49.92 out" (or in), "55.10 x" for a lap that traffic or a spin
// spoiled.
func ParseLaps(text string) ([]Lap, error) {
	var out []Lap
	fields := strings.FieldsFunc(text, func(r rune) bool { return unicode.IsSpace(r) || r == ';' })
	var tokens []string
	for _, f := range fields {
		f = strings.Trim(f, ",")
		if strings.Contains(f, ".") {
			tokens = append(tokens, strings.Split(f, ",")...)
		} else {
			tokens = append(tokens, f)
		}
	}
	for _, tok := range tokens {
		if tok == "" {
			continue
		}
		number, word := tok, ""
		if i := strings.IndexFunc(tok, unicode.IsLetter); i >= 0 {
			number, word = tok[:i], tok[i:]
		}
		if number != "" {
			ms, err := parseTime(number)
			if err != nil {
				return nil, err
			}
			out = append(out, Lap{MS: ms})
		}
		switch strings.ToLower(word) {
		case "", "s":
			continue
		case "out", "in":
			word = strings.ToLower(word)
		case "x", "spoiled":
			word = "spoiled"
		default:
			return nil, fmt.Errorf("%q is not a lap time: write seconds (48.61) or minutes (1:02.34), and after a time out, in or x for a lap that does not count", tok)
		}
		if len(out) == 0 {
			return nil, fmt.Errorf("%q comes before any lap time", tok)
		}
		out[len(out)-1].Flag = word
	}
	return out, nil
}

// parseTime reads 48.61, 48,61, 1:02.341 or 0:01:02.341 as milliseconds.
func parseTime(text string) (int64, error) {
	bad := fmt.Errorf("%q is not a lap time: write seconds (48.61) or minutes (1:02.34)", text)
	parts := strings.Split(strings.Replace(text, ",", ".", 1), ":")
	if len(parts) > 3 {
		return 0, bad
	}
	total := 0.0
	for i, p := range parts {
		if p == "" || strings.Trim(p, "0123456789.") != "" || i < len(parts)-1 && strings.Contains(p, ".") {
			return 0, bad
		}
		v, err := strconv.ParseFloat(p, 64)
		if err != nil || i > 0 && v >= 60 {
			return 0, bad
		}
		total = total*60 + v
	}
	ms := int64(math.Round(total * 1000))
	if ms < shortestMS || ms > longestMS {
		return 0, fmt.Errorf("a lap of %s is not one: expected %d s to %d min", text, shortestMS/1000, longestMS/60000)
	}
	return ms, nil
}

// ReadLapsCSV reads the lap times of a table: of the column that is named, of
// the one called lap time or time, or of the only one. name is the file's, for
// errors.
func ReadLapsCSV(name string, r io.Reader, column string) ([]Lap, error) {
	data, err := io.ReadAll(r)
	if err != nil {
		return nil, fmt.Errorf("%s cannot be read: %w", name, err)
	}
	in := csv.NewReader(strings.NewReader(strings.TrimPrefix(string(data), "\uFEFF")))
	in.FieldsPerRecord, in.TrimLeadingSpace = -1, true
	first, _, _ := strings.Cut(string(data), "\n")
	for _, sep := range []rune{'\t', ';'} {
		if strings.ContainsRune(first, sep) {
			in.Comma = sep
			break
		}
	}
	var out []Lap
	at := -1
	for line := 1; ; line++ {
		row, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		var pe *csv.ParseError
		if errors.As(err, &pe) {
			return nil, fmt.Errorf("%s:%d:%d: %w", name, pe.Line, pe.Column, pe.Err)
		} else if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		if at < 0 {
			var headed bool
			if at, headed, err = timeColumn(row, column); err != nil {
				return nil, fmt.Errorf("%s:1: %w", name, err)
			}
			if headed {
				continue
			}
		}
		place, _ := in.FieldPos(0)
		if at >= len(row) || strings.TrimSpace(row[at]) == "" {
			continue
		}
		laps, err := ParseLaps(row[at])
		if err == nil && len(laps) != 1 {
			err = fmt.Errorf("%q is not one lap time", row[at])
		}
		if err != nil {
			return nil, fmt.Errorf("%s:%d: %w", name, place, err)
		}
		out = append(out, laps[0])
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("%s has no lap times", name)
	}
	return out, nil
}

// timeColumn chooses the column of the lap times by the first row, and says if
// that row is a heading.
func timeColumn(row []string, want string) (at int, headed bool, err error) {
	names := make([]string, len(row))
	for i, c := range row {
		names[i] = strings.ToLower(strings.NewReplacer("_", " ", "-", " ").Replace(strings.TrimSpace(c)))
	}
	if want != "" {
		at = slices.Index(names, strings.ToLower(strings.NewReplacer("_", " ", "-", " ").Replace(want)))
		if at < 0 {
			return 0, false, fmt.Errorf("there is no column %q among %s", want, strings.Join(row, ", "))
		}
		return at, true, nil
	}
	for _, name := range []string{"lap time", "laptime", "time"} {
		if at = slices.Index(names, name); at >= 0 {
			return at, true, nil
		}
	}
	var times []int
	for i, c := range row {
		if _, err := ParseLaps(c); err == nil && strings.ContainsAny(c, ".,:") {
			times = append(times, i)
		}
	}
	if len(times) == 1 {
		return times[0], false, nil
	}
	return 0, false, fmt.Errorf("it is not clear which column has the lap times, among %s; name it with --laps-column", strings.Join(row, ", "))
}
