package testday

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"unicode"
)

// A Flag says that a lap is not a timed lap of its run.
type Flag string

// The flags.
const (
	Timed   Flag = ""
	OutLap  Flag = "out"
	InLap   Flag = "in"
	Spoiled Flag = "spoiled" // somebody saw why: traffic, a spin, a yellow flag
)

// Lap is one lap time.
type Lap struct {
	Seconds  float64
	Decimals int // as written: 2 for hundredths
	Flag     Flag
	Why      string // of a spoiled lap, as it was written
}

// String writes the lap as ParseLaps reads it.
func (l Lap) String() string {
	s := strconv.FormatFloat(l.Seconds, 'f', l.Decimals, 64)
	switch {
	case l.Flag == Spoiled:
		return s + " " + l.Why
	case l.Flag != Timed:
		return s + " " + string(l.Flag)
	}
	return s
}

// A lap outside this range is a slip, not a kart's, in seconds.
const (
	shortestLap = 10
	longestLap  = 600
)

// flagWords are what people write beside a lap that does not count.
var flagWords = map[string]Flag{
	"out": OutLap, "out-lap": OutLap, "outlap": OutLap, "in": InLap, "in-lap": InLap, "inlap": InLap, "pit": InLap, "pits": InLap,
	"traffic": Spoiled, "spin": Spoiled, "spun": Spoiled, "yellow": Spoiled, "flag": Spoiled, "off": Spoiled, "contact": Spoiled,
	"blocked": Spoiled, "spoiled": Spoiled, "spoilt": Spoiled, "aborted": Spoiled, "slow": Spoiled,
}

// flagList is the most usual ones, for messages.
const flagList = "out, in, traffic, spin, yellow, contact or spoiled"

var (
	timeWord = regexp.MustCompile(`^(?:(\d{1,2}):)?(\d{1,3})[.,](\d{1,4})$`)
	// commaTime is a time with a decimal comma that does not stand in a list
	// separated by commas.
	commaTime = regexp.MustCompile(`^(?:\d{1,2}:)?\d{1,3},\d{1,4}$`)
	pointTime = regexp.MustCompile(`\d\.\d`)
)

// MaxLaps is how many laps a run holds at most.
const MaxLaps = 300

// LapError says which line of a paste is not understood.
type LapError struct {
	Line    int // from 1
	Lap     int // from 1: the lap that was being read
	Text    string
	Message string
}

func (e *LapError) Error() string {
	return fmt.Sprintf("lap times, line %d, lap %d, %q: %s", e.Line, e.Lap, e.Text, e.Message)
}

// ParseLaps reads lap times as people paste them: one or several on a line, as
// 48.60, 0:48.60 or 48,60; with a lap number before (3  48.60, 3: 48.60, lap 3
// 48.60) and a word after that says why a lap does not count (out, in, traffic,
// spin …); or a table separated by commas, semicolons or tabs whose first line
// names a column "time". Empty lines and what follows # are skipped. A decimal
// comma is understood if no time in the paste has a decimal point and columns
// are not separated by commas.
//
// The error is a *LapError, except for a paste without any lap or with more than
// MaxLaps. Every lap lies
// between 10 s and 10 minutes.
func ParseLaps(text string) ([]Lap, error) {
	text = strings.TrimPrefix(text, "\ufeff")
	text = strings.NewReplacer("\r\n", "\n", "\r", "\n", "\u00a0", " ", "\u202f", " ").Replace(text)
	p := lapParser{points: pointTime.MatchString(text)}
	for i, line := range strings.Split(text, "\n") {
		line, _, _ = strings.Cut(line, "#")
		if line = strings.TrimSpace(line); line == "" {
			continue
		}
		p.line, p.text = i+1, line
		p.ahead = 0
		if err := p.read(); err != nil {
			return nil, err
		}
		if len(p.laps) > MaxLaps {
			return nil, fmt.Errorf("there are more than %d lap times; expected those of one run", MaxLaps)
		}
	}
	if len(p.laps) == 0 {
		return nil, fmt.Errorf("there are no lap times; expected one on a line, such as 48.60 or 0:48.60")
	}
	return p.laps, nil
}

type lapParser struct {
	points bool // times have decimal points, so commas separate
	laps   []Lap
	ahead  int // laps of the line that were read already
	line   int
	text   string

	begun  bool // a line with content was seen
	column int  // of the time, from 1; 0 if there is no header
	flags  int  // column of the flag; 0 if there is none
}

func (p *lapParser) fail(format string, args ...any) error {
	text := p.text
	if r := []rune(text); len(r) > 40 {
		text = string(r[:40]) + "…"
	}
	return &LapError{p.line, len(p.laps) + p.ahead + 1, text, fmt.Sprintf(format, args...)}
}

func (p *lapParser) read() error {
	first := !p.begun
	p.begun = true
	if first && p.header() {
		return nil
	}
	if p.column > 0 {
		return p.row()
	}
	return p.free()
}

// cells splits a line of a table.
func (p *lapParser) cells() []string {
	sep := ","
	switch {
	case strings.Contains(p.text, "\t"):
		sep = "\t"
	case strings.Contains(p.text, ";"):
		sep = ";"
	}
	cells := strings.Split(p.text, sep)
	for i, c := range cells {
		cells[i] = strings.Trim(strings.TrimSpace(c), `"`)
	}
	return cells
}

// header reads the first line if it names a column for the time.
func (p *lapParser) header() bool {
	cells := p.cells()
	for i, c := range cells {
		switch strings.ToLower(strings.NewReplacer("_", " ", "-", " ").Replace(c)) {
		case "time", "lap time", "laptime", "lap time (s)", "time (s)", "seconds":
			p.column = i + 1
		case "flag", "note", "comment", "remark", "state":
			p.flags = i + 1
		}
	}
	if p.column == 0 {
		p.flags = 0
	}
	return p.column > 0
}

// row reads a line of a table with a header.
func (p *lapParser) row() error {
	cells := p.cells()
	if p.column == len(cells)-1 && !p.points && p.flags == 0 && strings.Contains(p.text, ",") && !strings.ContainsAny(p.text, ";\t") {
		return p.fail("the comma separates columns and decimals; write 48.60, or separate the columns by ;")
	}
	if p.column > len(cells) {
		return p.fail("column %d, the lap time, is missing", p.column)
	}
	l, err := p.time(cells[p.column-1])
	if err != nil {
		return err
	}
	if p.flags > 0 && p.flags <= len(cells) && cells[p.flags-1] != "" {
		words := strings.FieldsFunc(cells[p.flags-1], func(r rune) bool { return !unicode.IsLetter(r) && r != '-' })
		for _, w := range words {
			l.note(w)
		}
		if l.Flag == Timed {
			return p.fail("%q is not a reason to leave a lap out; expected %s", cells[p.flags-1], flagList)
		}
	}
	p.laps = append(p.laps, l)
	return nil
}

// skipWords say nothing.
var skipWords = map[string]bool{"": true, "lap": true, "l": true, "s": true, "sec": true}

// note takes a word that stands beside the lap: the first that is known flags
// it, and what follows the reason of a spoiled lap is kept with it. It reports
// whether it made anything of the word.
func (l *Lap) note(word string) bool {
	word = strings.Trim(strings.ToLower(word), "-!*.,:")
	if l.Flag == Timed {
		if l.Flag = flagWords[word]; l.Flag == Spoiled {
			l.Why = word
		}
		return l.Flag != Timed
	}
	if strings.ContainsFunc(word, unicode.IsDigit) {
		return false
	}
	word = strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) {
			return r
		}
		return -1
	}, word)
	if l.Flag == Spoiled && !skipWords[word] {
		l.Why += " " + word
	}
	return l.Flag == Spoiled
}

// free reads a line without a header.
func (p *lapParser) free() error {
	if p.points {
		for _, w := range strings.FieldsFunc(p.text, func(r rune) bool { return unicode.IsSpace(r) || r == ';' }) {
			if w = strings.TrimSuffix(w, ","); commaTime.MatchString(w) {
				return p.mixed(w)
			}
		}
	}
	words := strings.FieldsFunc(p.text, func(r rune) bool {
		return unicode.IsSpace(r) || r == ';' || r == '(' || r == ')' || r == '"' || r == ',' && p.points
	})
	var times []Lap
	number := false // a lap number waits for its time
	for _, w := range words {
		if !p.points {
			w = strings.TrimSuffix(w, ",")
		}
		lower := strings.ToLower(strings.TrimSuffix(strings.TrimSuffix(w, ":"), "."))
		switch {
		case timeWord.MatchString(w):
			l, err := p.time(w)
			if err != nil {
				return err
			}
			times, number = append(times, l), false
			p.ahead = len(times)
		case skipWords[lower] || lower == "-" || lower == "=":
		case isWhole(lower):
			if number {
				return p.fail("%q and the number before it are both without hundredths: which is the lap, which the time?", w)
			}
			number = true
		case len(times) > 0 && times[len(times)-1].note(w):
		case strings.Count(w, ",") > 1:
			return p.fail("the comma separates times and decimals; write 48.60, or a time on each line")
		case flagWords[lower] != Timed && len(times) == 0:
			return p.fail("%q stands before any time; write the time first, then the reason: 49.92 %s", w, lower)
		default:
			return p.fail("%q is neither a lap time (48.60, 0:48.60) nor a reason to leave a lap out (%s)", w, flagList)
		}
	}
	switch {
	case number && len(times) == 0:
		return p.fail("a whole number is a lap's number, not its time; write hundredths, such as 48.60")
	case number:
		return p.fail("the last number has no hundredths; is it a lap number or a time?")
	case len(times) == 0:
		return p.fail("there is no time on this line")
	}
	p.ahead = 0
	lo, hi := times[0].Seconds, times[0].Seconds
	for _, l := range times {
		lo, hi = min(lo, l.Seconds), max(hi, l.Seconds)
	}
	if hi > 1.5*lo && len(times) > 2 {
		return p.fail("these times are too different to be laps; if they are parts of a lap, put a first line that names the column of the lap time: lap,time,…")
	}
	p.laps = append(p.laps, times...)
	return nil
}

// mixed fails for a time with a decimal comma among others with a point.
func (p *lapParser) mixed(w string) error {
	return p.fail("commas and points are mixed: %q has a decimal comma, other times have a point; write all of them with one or the other", w)
}

func isWhole(w string) bool {
	w = strings.TrimPrefix(strings.TrimPrefix(strings.TrimPrefix(w, "lap"), "l"), "#")
	return w != "" && strings.Trim(w, "0123456789") == ""
}

// time reads one time.
func (p *lapParser) time(w string) (Lap, error) {
	m := timeWord.FindStringSubmatch(strings.TrimSuffix(strings.TrimSpace(w), "s"))
	if m == nil {
		return Lap{}, p.fail("%q is not a lap time; expected 48.60, 0:48.60 or 48,60", w)
	}
	if p.points && commaTime.MatchString(w) {
		return Lap{}, p.mixed(w)
	}
	seconds, _ := strconv.ParseFloat(m[2]+"."+m[3], 64)
	if m[1] != "" {
		if seconds >= 60 {
			return Lap{}, p.fail("%q has %s seconds after its minutes; expected 0 to 59", w, m[2])
		}
		minutes, _ := strconv.Atoi(m[1])
		seconds += float64(60 * minutes)
	}
	scale := math.Pow(10, float64(len(m[3])))
	seconds = math.Round(seconds*scale) / scale
	if seconds < shortestLap || seconds > longestLap {
		return Lap{}, p.fail("a lap of %s s is not a kart's; expected %d s to %d minutes", strconv.FormatFloat(seconds, 'f', -1, 64), shortestLap, longestLap/60)
	}
	return Lap{Seconds: seconds, Decimals: len(m[3])}, nil
}
