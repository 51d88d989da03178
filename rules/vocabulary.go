package rules

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// A Vocabulary is the words that rules and complaints may use, in the order in
// which they are shown.
type Vocabulary struct {
	Symptoms []SymptomWord
	Moves    []Move
	Tracks   []Track
	Grip     Scale // its word off the scale is "wet"
	Tyres    Scale // its word off the scale is "wets"
	Severity SeverityScale
}

// A SymptomWord is something that a driver can report.
type SymptomWord struct {
	ID         string
	Title      string   // "understeer (push)"
	Means      string   // a sentence for a novice
	Phases     []string // phases that it is normally reported in
	Balance    string   // "understeer", "oversteer" or ""
	CheckFirst bool     // answered with something to check, never with a setting first
}

// A Move is a quantity that a rule can vote to increase or decrease.
type Move struct {
	ID       string
	Title    string     // "caster"
	Increase string     // "more caster"
	Decrease string     // "less caster"
	Unit     string     // deg, mm, bar or step: the unit of every amount of this move
	Usual    [2]float64 // the usual size of one step, least and most, in Unit; zero when not given
	Lever    string     // "front": turns are computed for it; "other": direction and usual step only
	// Where advice stops going down and up, whatever the rules want; nil: nowhere.
	Floor, Ceiling *Stop
}

// A Stop is a value of a move beyond which no advice goes, in the move's unit.
type Stop struct {
	At      float64
	Because string // why, for a novice
}

// A Track is a kind of track. A fact that names it meets conditions on other
// kinds to the grades of CountsAs.
type Track struct {
	ID       string
	Title    string
	CountsAs []CountsAs
}

// CountsAs grades one kind of track as another.
type CountsAs struct {
	Track string
	Grade float64 // above 0, at most 1
}

// A Scale maps numbers to graded words.
type Scale struct {
	Of    float64 // the number is out of this, "6/10"; 0 for a scale without an end
	Unit  string  // written after the number, "laps"; empty for a scale with Of
	Words []ScaleWord
}

// A ScaleWord is one word of a scale and the numbers that it stands for.
type ScaleWord struct {
	Word  string
	Shape Trapezoid
}

// SeverityScale is the grade of a symptom that is reported with each severity,
// above 0 and at most 1. A symptom without a severity counts as normal. The zero
// value grades every symptom as 1.
type SeverityScale struct{ Slight, Normal, Strong float64 }

// Words with a meaning fixed in code. "any" stands for "not said" in a fact and
// for "does not matter" in a condition.
const (
	Any  = "any"
	Wet  = "wet"  // the grip word that is off the grip scale
	Wets = "wets" // the tyre word that is off the tyre scale: rain tyres
)

// PhaseWords returns the phases of a corner that a symptom can belong to, "any" last.
func PhaseWords() []string { return []string{"entry", "mid", "exit", "straight", "braking", Any} }

// CornerWords returns the kinds of corner that a symptom can belong to, "any" last.
func CornerWords() []string { return []string{"slow", "fast", Any} }

// SeverityWords returns the severities, mildest first.
func SeverityWords() []string { return []string{"slight", "normal", "strong"} }

// maxScaleWords bounds a scale: its words and the one off the scale are bits of a mask.
const maxScaleWords = 15

// endless is the number from which a corner of a word's shape means "and beyond".
const endless = 1e9

// Typical returns the number that stands for a word of the scale where a rule
// asks for numbers: the middle of the word's plateau, or its lower end if the
// plateau has no upper one. ok is false for a word that is not on the scale.
func (s Scale) Typical(word string) (x float64, ok bool) {
	for _, w := range s.Words {
		if w.Word == word {
			if w.Shape[2] >= endless {
				return w.Shape[1], true
			}
			return (w.Shape[1] + w.Shape[2]) / 2, true
		}
	}
	return 0, false
}

// Parse reads a value of the scale as people write it: one of its words, the
// word off the scale, a number out of Of ("6/10", "6"), or a number with the
// scale's unit ("25 laps", "25"). A number out of something else is converted.
func (s Scale) Parse(text, offScale string) (Level, error) {
	text = strings.TrimSpace(text)
	if text == offScale {
		return Level{Word: text}, nil
	}
	var words []string
	for _, w := range s.Words {
		if w.Word == text {
			return Level{Word: text}, nil
		}
		words = append(words, w.Word)
	}
	number, rest := text, ""
	if i := strings.IndexFunc(text, func(r rune) bool { return (r < '0' || r > '9') && r != '.' && r != '-' && r != '+' }); i >= 0 {
		number, rest = text[:i], strings.TrimSpace(text[i:])
	}
	expected := fmt.Sprintf("expected %s or %s", strings.Join(append(words, offScale), ", "), s.Example())
	x, err := strconv.ParseFloat(number, 64)
	if err != nil {
		return Level{}, fmt.Errorf("%q is not a value here: %s", text, expected)
	}
	if of, found := strings.CutPrefix(rest, "/"); found && s.Of > 0 {
		den, err := strconv.ParseFloat(strings.TrimSpace(of), 64)
		if err != nil || !(den > 0) || math.IsInf(den, 0) {
			return Level{}, fmt.Errorf("%q is not a value here: %s", text, expected)
		}
		x, rest = x*s.Of/den, ""
	}
	if rest != "" && (s.Unit == "" || rest != s.Unit && rest != strings.TrimSuffix(s.Unit, "s")) {
		return Level{}, fmt.Errorf("%q is not a value here: %s", text, expected)
	}
	l := Level{Number: x, IsNumber: true}
	return l, s.check(l)
}

// Example returns how a number of the scale is written.
func (s Scale) Example() string {
	if s.Of > 0 {
		return "a number out of " + number(s.Of) + ` such as "` + s.Format(Level{Number: math.Floor(s.Of * 0.6), IsNumber: true}) + `"`
	}
	return `a number such as "` + s.Format(Level{Number: 25, IsNumber: true}) + `"`
}

// Format writes a value of the scale: "medium", "6/10", "25 laps".
func (s Scale) Format(l Level) string {
	switch {
	case !l.IsNumber:
		return l.Word
	case s.Of > 0:
		return number(l.Number) + "/" + number(s.Of)
	case s.Unit != "":
		return number(l.Number) + " " + s.Unit
	}
	return number(l.Number)
}

// check reports why a number cannot be on the scale.
func (s Scale) check(l Level) error {
	switch {
	case !l.IsNumber:
		return nil
	case math.IsNaN(l.Number) || l.Number < 0:
		return fmt.Errorf("%s is below the scale, which begins at %s", s.Format(l), s.Format(Level{IsNumber: true}))
	case s.Of > 0 && l.Number > s.Of:
		return fmt.Errorf("%s is above the scale, which ends at %s", s.Format(l), s.Format(Level{Number: s.Of, IsNumber: true}))
	case math.IsInf(l.Number, 0):
		return fmt.Errorf("%s is above the scale", s.Format(l))
	}
	return nil
}

// word returns the place of a word, counting the word off the scale as the last.
func (s Scale) word(word, offScale string) int {
	if word == offScale {
		return len(s.Words)
	}
	return slices.IndexFunc(s.Words, func(w ScaleWord) bool { return w.Word == word })
}

func (s SeverityScale) grade(severity int) float64 {
	if s == (SeverityScale{}) {
		return 1
	}
	return [...]float64{s.Normal, s.Slight, s.Normal, s.Strong}[severity]
}

func number(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }
