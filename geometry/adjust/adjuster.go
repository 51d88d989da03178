package adjust

import (
	"fmt"
	"math"
	"sort"
	"strconv"
	"strings"

	"kartwright/geometry"
	"kartwright/geometry/frontend"
)

// Part is what an adjuster acts on.
type Part uint8

// The parts. A tie rod is set last, whatever else moved, because every other
// move disturbs toe.
const (
	OnNothing Part = iota // a place where a kart has no adjuster
	OnPivot               // the kingpin's top or bottom
	OnStub                // the stub axle's height on its kingpin
	OnRod                 // the tie rod's length
)

// Travel is where an adjuster can stand: from Min to Max in steps of Step,
// counted from its standard position; Step 0 means anywhere between.
type Travel struct{ Min, Max, Step float64 }

// Fixed reports whether there is nowhere to go.
func (t Travel) Fixed() bool { return t.Max <= t.Min }

// Clamp returns the position nearest to p that t allows.
func (t Travel) Clamp(p float64) float64 {
	if t.Step > 0 {
		p = math.Round(p/t.Step) * t.Step
	}
	return math.Max(t.Min, math.Min(t.Max, p))
}

// Adjuster is one adjustable thing at one corner.
type Adjuster interface {
	// Part says what the adjuster acts on.
	Part() Part
	// Travel says where it can stand.
	Travel() Travel
	// Standard is its position at standard setting.
	Standard() float64
	// Shift is what position p does to the corner, relative to standard.
	Shift(p float64) frontend.Shift
	// Read understands a position as a person writes it in a profile or on
	// the command line.
	Read(text string) (float64, error)
	// Print says position p so that Read understands it.
	Print(p float64, u geometry.Units) string
	// Move says, as an instruction, how to go from one position to another.
	Move(from, to float64, u geometry.Units) string
	// Lock names, with its article, what is loosened before a move and
	// tightened after it: "the kingpin bolt".
	Lock() string
}

// Gauged is an adjuster whose position shows on a depth gauge.
type Gauged interface {
	Gauge(p float64) (reading geometry.Length, ok bool)
}

// Fine is an adjuster that can tell a move too small to be worth a spanner.
type Fine interface {
	Negligible(from, to float64) bool
}

// Listed is an adjuster whose positions have names of their own.
type Listed interface{ Positions() []string }

// Wraps is an adjuster that comes round to where it began, so that several of
// its positions may give the same figure.
type Wraps interface{ Wraps() bool }

// A FieldType says how a field of a kind is written in a profile.
type FieldType uint8

// The field types.
const (
	Length    FieldType = iota // "2 mm", may carry ±
	Angle                      // "30 deg", may carry ±
	TurnCount                  // "3 turns"
	Number                     // 0.8
	Ratio                      // 0.8, or with its ± "0.80 ± 0.02"
	Count                      // 12
	Word                       // one of Choices
	Text                       // anything
	Positions                  // a list of named offsets
)

// Field describes one key of a kind's table in a profile.
type Field struct {
	Name     string
	Type     FieldType
	Required bool
	Choices  []string // of a Word
	Doc      string   // what it is and how to measure it
	Example  string   // as TOML
}

// Kind describes one kind of adjuster.
type Kind struct {
	Name   string
	Doc    string // a sentence for a mechanic
	Fields []Field
	Build  func(*Values) Adjuster
}

var kinds = map[string]Kind{}

// register is called once by each kind's file; the table never changes after
// the package is loaded.
func register(k Kind) struct{} {
	kinds[k.Name] = k
	return struct{}{}
}

// Kinds returns every kind of adjuster, by name.
func Kinds() []Kind {
	out := make([]Kind, 0, len(kinds))
	for _, k := range kinds {
		out = append(out, k)
	}
	sort.Slice(out, func(i, j int) bool { return out[i].Name < out[j].Name })
	return out
}

// KindNamed returns the kind of that name.
func KindNamed(name string) (Kind, bool) {
	k, ok := kinds[name]
	return k, ok
}

// FieldError is a fault in one field of an adjuster's table.
type FieldError struct {
	Field string // may name an element, positions[2].inboard
	Err   error
}

func (e FieldError) Error() string { return e.Field + ": " + e.Err.Error() }

// Quantity is a measured number that a table stated; a thread states its pitch.
type Quantity struct {
	Field     string
	Value, PM float64 // mm, radians or a plain ratio; ± is two standard deviations
	Angle     bool
	Ratio     bool
}

// Values is an adjuster's table as read from a profile, and the side that it
// is for. Its accessors return zero and note an error when a field cannot be
// read, so that all faults of a table are found at once.
type Values struct {
	Side frontend.Side
	Raw  map[string]any
	// Nudge is added to a measured field's value (mm or radians), to ask what
	// would change if the profile were a little wrong.
	Nudge map[string]float64

	Errors     []FieldError
	Quantities []Quantity
}

func (v *Values) fail(field, format string, args ...any) {
	v.Errors = append(v.Errors, FieldError{field, fmt.Errorf(format, args...)})
}

// Has reports whether the table states the field.
func (v *Values) Has(field string) bool { _, ok := v.Raw[field]; return ok }

// Text returns a string field, "" if absent.
func (v *Values) Text(field string) string {
	switch x := v.Raw[field].(type) {
	case nil:
		return ""
	case string:
		return x
	default:
		v.fail(field, "must be text in quotes, not %v", x)
		return ""
	}
}

// Word returns a field that must be one of the choices; the first if absent.
func (v *Values) Word(field string, choices ...string) string {
	if !v.Has(field) {
		return choices[0]
	}
	w := v.Text(field)
	for _, c := range choices {
		if w == c {
			return w
		}
	}
	if w != "" {
		v.fail(field, "%q is not one of %s", w, strings.Join(choices, ", "))
	}
	return choices[0]
}

// Length returns a measured length, 0 if absent.
func (v *Values) Length(field string) geometry.Length {
	return geometry.Length(v.length(field, v.Raw[field]))
}

func (v *Values) length(field string, raw any) float64 {
	if raw == nil {
		return 0
	}
	s, ok := raw.(string)
	if !ok {
		v.fail(field, "length %v has no unit (write \"%v mm\")", raw, raw)
		return 0
	}
	m, err := geometry.ParseMeasuredLength(s)
	if err != nil {
		v.Errors = append(v.Errors, FieldError{field, err})
	}
	return v.note(field, float64(m.Value), float64(m.PM), false)
}

// Angle returns a measured angle, 0 if absent.
func (v *Values) Angle(field string) geometry.Angle {
	if !v.Has(field) {
		return 0
	}
	s, ok := v.Raw[field].(string)
	if !ok {
		v.fail(field, "angle %v has no unit (write \"%v deg\")", v.Raw[field], v.Raw[field])
		return 0
	}
	m, err := geometry.ParseMeasuredAngle(s)
	if err != nil {
		v.Errors = append(v.Errors, FieldError{field, err})
	}
	return geometry.Angle(v.note(field, float64(m.Value), float64(m.PM), true))
}

func (v *Values) note(field string, value, pm float64, angle bool) float64 {
	v.Quantities = append(v.Quantities, Quantity{Field: field, Value: value, PM: pm, Angle: angle})
	return value + v.Nudge[field]
}

// Ratio returns a ratio, written as a number or, with its ±, as text: "1.05 ±
// 0.02"; otherwise if absent. An absent one is known exactly.
func (v *Values) Ratio(field string, otherwise float64) float64 {
	q := Quantity{Field: field, Value: otherwise, Ratio: true}
	if text, ok := v.Raw[field].(string); ok {
		value, pm, spread := strings.Cut(strings.ReplaceAll(text, "+/-", "±"), "±")
		n, ok := plainNumber(value)
		if ok && spread {
			q.PM, ok = plainNumber(pm)
		}
		if !ok || q.PM < 0 {
			v.fail(field, "%q is not a ratio (write 1.05, or \"1.05 ± 0.02\")", text)
			return otherwise
		}
		q.Value = n
	} else {
		q.Value = v.Number(field, otherwise)
	}
	if v.Has(field) {
		v.Quantities = append(v.Quantities, q)
	}
	return q.Value + v.Nudge[field]
}

// Turns returns a field in turns, 0 if absent.
func (v *Values) Turns(field string) geometry.Turns {
	if !v.Has(field) {
		return 0
	}
	s, ok := v.Raw[field].(string)
	if !ok {
		v.fail(field, "%v has no unit (write \"%v turns\")", v.Raw[field], v.Raw[field])
		return 0
	}
	t, err := geometry.ParseTurns(s)
	if err != nil {
		v.Errors = append(v.Errors, FieldError{field, err})
	}
	return t
}

// Number returns a plain number, or otherwise if absent.
func (v *Values) Number(field string, otherwise float64) float64 {
	switch x := v.Raw[field].(type) {
	case nil:
		return otherwise
	case int64:
		return float64(x)
	case float64:
		return x
	default:
		v.fail(field, "must be a number, not %v", x)
		return otherwise
	}
}

// Count returns a whole number between lo and hi, or otherwise if absent.
func (v *Values) Count(field string, otherwise, lo, hi int) int {
	if !v.Has(field) {
		return otherwise
	}
	n, ok := v.Raw[field].(int64)
	if !ok || n < int64(lo) || n > int64(hi) {
		v.fail(field, "must be a whole number from %d to %d, not %v", lo, hi, v.Raw[field])
		return otherwise
	}
	return int(n)
}

// pitches are the ISO 261 coarse series, in mm (from memory).
var pitches = map[string]geometry.Length{"M5": 0.8, "M6": 1, "M8": 1.25, "M10": 1.5, "M12": 1.75}

// Pitch returns the pitch that a table states as pitch = "1.25 mm" or as
// thread = "M8".
func (v *Values) Pitch() geometry.Length {
	switch {
	case v.Has("pitch") && v.Has("thread"):
		v.fail("thread", "give either thread or pitch, not both")
	case v.Has("pitch"):
		p := v.Length("pitch")
		if p <= 0 || p > 6 {
			v.fail("pitch", "a pitch lies between 0 and 6 mm, not %v", p)
		}
		return p
	case v.Has("thread"):
		name := strings.ToUpper(v.Text("thread"))
		if p, ok := pitches[name]; ok {
			return geometry.Length(v.note("pitch", float64(p), 0, false))
		}
		if bare, pitch, ok := strings.Cut(name, "X"); ok && pitches[strings.TrimSpace(bare)] != 0 { // M8x1
			if p, err := strconv.ParseFloat(strings.TrimSpace(pitch), 64); err == nil && p > 0 && p <= 6 {
				return geometry.Length(v.note("pitch", p, 0, false))
			}
		}
		v.fail("thread", "%q is not one of M5, M6, M8, M10, M12 (coarse) or a fine one such as M8x1; otherwise give pitch = \"1.25 mm\"", v.Text("thread"))
	default:
		v.fail("thread", "is missing: the thread (thread = \"M8\") or its pitch (pitch = \"1.25 mm\") is needed")
	}
	return 1
}

var (
	threadField = Field{Name: "thread", Type: Text, Doc: "metric thread; coarse pitch unless written M8x1", Example: `"M8"`}
	pitchField  = Field{Name: "pitch", Type: Length, Doc: "instead of thread: travel of one turn", Example: `"1.25 mm"`}
	pivotField  = Field{Name: "pivot", Type: Word, Required: true, Choices: []string{"top", "bottom"}, Doc: "which end of the kingpin it moves", Example: `"top"`}
)

func lockField(usual string) Field {
	return Field{Name: "lock", Type: Text, Doc: "what is loosened before and tightened after", Example: strconv.Quote(usual)}
}

func (v *Values) lock(usual string) string {
	if !v.Has("lock") {
		return usual
	}
	lock := v.Text("lock")
	if first, _, _ := strings.Cut(lock, " "); lock == "" || first == "the" || first == "both" || first == "a" {
		return lock
	}
	return "the " + lock
}

// pivotShift moves the pivot named by field pivot.
func pivotShift(top bool, d geometry.Vec) frontend.Shift {
	if top {
		return frontend.Shift{Top: d}
	}
	return frontend.Shift{Bottom: d}
}

// directions are the words for moving a pivot, in a corner's own frame.
var directions = map[string]geometry.Vec{
	"rearward": {X: -1}, "forward": {X: 1}, "inboard": {Y: -1}, "outboard": {Y: 1},
}

// plainNumber reads a bare signed number that may carry one of the words.
func plainNumber(text string, words ...string) (float64, bool) {
	t := strings.TrimSpace(strings.ReplaceAll(text, "−", "-"))
	for _, w := range words {
		if rest, ok := strings.CutSuffix(t, w); ok {
			t = strings.TrimSpace(rest)
			break
		}
	}
	n, err := strconv.ParseFloat(strings.TrimPrefix(t, "+"), 64)
	return n, err == nil && !math.IsInf(n, 0) && !math.IsNaN(n)
}

// inTravel refuses a position outside the travel, naming both ends.
func inTravel(a Adjuster, p float64) (float64, error) {
	t := a.Travel()
	if p < t.Min-1e-9 || p > t.Max+1e-9 {
		u := geometry.Units{}
		return 0, fmt.Errorf("%s is outside its travel, %s to %s", a.Print(p, u), a.Print(t.Min, u), a.Print(t.Max, u))
	}
	if q := t.Clamp(p); t.Step > 0 && math.Abs(q-p) > 1e-6 {
		return 0, fmt.Errorf("stands only in steps of %g", t.Step)
	}
	return p, nil
}
