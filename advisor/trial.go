package advisor

import (
	"fmt"
	"math"
	"regexp"
	"strings"

	"kartwright/advisor/profile"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
)

// A Trial is a kart on which things are changed, one after another, to see
// what becomes of it.
type Trial struct {
	Kart *profile.Kart
	Said []string // what was changed, in words

	set   [2]adjust.Setting
	knobs []knobTurn
}

type knobTurn struct {
	knob Knob
	by   float64
}

// NewTrial begins with the kart as it stands.
func NewTrial(k *profile.Kart) *Trial {
	return &Trial{Kart: k, set: [2]adjust.Setting{append(adjust.Setting(nil), k.Present[0]...), append(adjust.Setting(nil), k.Present[1]...)}}
}

// Variant returns the kart with all that was changed.
func (t *Trial) Variant() (*Variant, error) {
	v, err := Standing(t.Kart)
	if err != nil {
		return nil, err
	}
	v.shift = shifts(t.Kart, t.set)
	for _, k := range t.knobs {
		if v, err = v.With(k.knob, k.by); err != nil {
			return nil, err
		}
	}
	return v, nil
}

// knobWords are the words by which people call a knob, longer ones first where
// one holds another.
var knobWords = []struct {
	word string
	knob Knob
}{
	{"kingpin inclination", KnobKPI}, {"inclination", KnobKPI}, {"kpi", KnobKPI},
	{"caster", KnobCaster}, {"castor", KnobCaster}, {"camber", KnobCamber}, {"ackermann", KnobAckermann},
	{"rear width", KnobRear}, {"rear track", KnobRear}, {"wider rear", KnobRear}, {"narrower rear", KnobRear}, {"rear", KnobRear},
	{"ride height", KnobHeight}, {"front height", KnobHeight}, {"height", KnobHeight}, {"higher", KnobHeight}, {"lower", KnobHeight},
	{"front width", KnobTrack}, {"front track", KnobTrack}, {"track", KnobTrack}, {"width", KnobTrack}, {"wider", KnobTrack}, {"narrower", KnobTrack},
	{"toe", KnobToe},
}

// knobNames say a knob in a sentence, and the step that is taken if nobody says
// how much.
var knobNames = map[Knob]struct {
	name string
	step float64
}{
	KnobCaster: {"caster", float64(geometry.Degree)}, KnobKPI: {"kingpin inclination", float64(geometry.Degree)}, KnobCamber: {"camber", 0.5 * float64(geometry.Degree)},
	KnobToe: {"toe", 0.2 * float64(geometry.Degree)}, KnobAckermann: {"steering-arm hole nearer to the kingpin by", 10},
	KnobTrack: {"front, each wheel further out by", 5}, KnobRear: {"rear, each wheel further out by", 5}, KnobHeight: {"front of the frame higher by", 2},
}

func (q Knob) angle() bool {
	return q == KnobCaster || q == KnobKPI || q == KnobCamber || q == KnobToe
}

var (
	quantity = regexp.MustCompile(`[-+−]?\s*\d[\d.,/ ]*\s*(?:degrees|degree|deg|°|mm|cm|inches|inch|in\b|'|"|rad)?`)
	less     = regexp.MustCompile(`\b(less|reduce|reduced|decrease|narrower|lower|slower|down|negative|out|further away|smaller)\b|toe-?out`)
	undo     = regexp.MustCompile(`\b(less|reduce|reduced|decrease)\b.*(\bnegative\b|\bout\b|toe-?out)`)
)

// Change makes one change that is said in words: "caster +1deg", "more camber
// by 0.5 degrees", "front 5 mm wider", "toe 1 mm out", or, by the name of an
// adjuster of this kart, "caster screw 1/2 turn tighter", "left top insert to
// back 3". Without a number it is a usual step. Lengths of toe are over
// RimLength, at each wheel; widths are at each side.
func (t *Trial) Change(text string) error {
	plain := strings.ToLower(strings.Join(strings.Fields(text), " "))
	if plain == "" {
		return fmt.Errorf("say what to change, for example \"caster +1deg\"")
	}
	if name, ok := t.adjusterIn(plain); ok {
		return t.turn(plain, name)
	}
	for _, w := range knobWords {
		if strings.Contains(plain, w.word) {
			return t.knob(plain, w.knob)
		}
	}
	var names []string
	for _, a := range t.Kart.Corners[0].Adjusters {
		names = append(names, a.Name)
	}
	return fmt.Errorf("%q names nothing that can be changed: say caster, camber, toe, KPI, Ackermann, front width, rear width or ride height, or an adjuster of this kart (%s)", text, strings.Join(names, ", "))
}

// adjusterIn returns the longest name of an adjuster that the text has.
func (t *Trial) adjusterIn(plain string) (name string, ok bool) {
	for _, c := range t.Kart.Corners {
		for _, a := range c.Adjusters {
			if n := strings.ToLower(a.Name); strings.Contains(plain, n) && len(n) > len(name) {
				name, ok = a.Name, true
			}
		}
	}
	return name, ok
}

func (t *Trial) turn(plain, name string) error {
	before, after, _ := strings.Cut(plain, strings.ToLower(name))
	sides, where := frontend.Sides[:], "both sides"
	for _, s := range frontend.Sides {
		if strings.Contains(before, s.String()) {
			sides, where = []frontend.Side{s}, s.String()
		}
	}
	pos := strings.Trim(after, " :,")
	absolute := false
	for _, lead := range []string{"to ", "at ", "= ", "="} {
		if rest, ok := strings.CutPrefix(pos, lead); ok {
			pos, absolute = strings.TrimSpace(rest), true
		}
	}
	pos = strings.TrimPrefix(pos, "by ")
	next := [2]adjust.Setting{append(adjust.Setting(nil), t.set[0]...), append(adjust.Setting(nil), t.set[1]...)}
	found := false
	var how string
	for _, s := range sides {
		c := &t.Kart.Corners[s]
		i := c.Index(name)
		if i < 0 {
			continue
		}
		found = true
		a := c.Adjusters[i]
		v, err := a.Read(pos)
		if err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		_, listed := a.Adjuster.(adjust.Listed)
		if !absolute && !listed && !strings.Contains(pos, "o'clock") && !strings.Contains(pos, ":") {
			v += t.set[s][i] - a.Standard()
		}
		if tr := a.Travel(); v < tr.Min-1e-9 || v > tr.Max+1e-9 {
			return fmt.Errorf("%s: that is outside its travel, %s to %s", name, a.Print(tr.Min, geometry.Units{}), a.Print(tr.Max, geometry.Units{}))
		}
		next[s][i] = v
		how = a.Move(t.set[s][i], v, geometry.Units{})
	}
	if !found {
		return fmt.Errorf("there is no %s on the %s", name, where)
	}
	t.set = next
	t.Said = append(t.Said, fmt.Sprintf("%s, %s: %s", name, where, how))
	return nil
}

func (t *Trial) knob(plain string, q Knob) error {
	by, err := amount(plain, q)
	if err != nil {
		return err
	}
	n := knobNames[q]
	limit := map[bool]float64{true: 10 * float64(geometry.Degree), false: 100}[q.angle()]
	if math.Abs(by) > limit {
		return fmt.Errorf("%s by %s is more than any kart stands; at most %s", n.name, sayKnob(q, by), sayKnob(q, limit))
	}
	t.knobs = append(t.knobs, knobTurn{q, by})
	if _, err := t.Variant(); err != nil {
		t.knobs = t.knobs[:len(t.knobs)-1]
		return err
	}
	t.Said = append(t.Said, n.name+" "+sayKnob(q, by)+", both sides")
	return nil
}

func sayKnob(q Knob, v float64) string {
	if q.angle() {
		return geometry.Units{}.AngleBy(geometry.Angle(v))
	}
	return geometry.Units{}.LengthBy(geometry.Length(v))
}

// amount reads how much a sentence wants of a knob, with its sign.
func amount(plain string, q Knob) (float64, error) {
	by, signed := knobNames[q].step, false
	if m := quantity.FindString(plain); strings.TrimSpace(m) != "" {
		m = strings.TrimSpace(m)
		signed = strings.ContainsAny(m[:1], "+-") || strings.HasPrefix(m, "−")
		a, angleErr := geometry.ParseAngle(m)
		l, lengthErr := geometry.ParseLength(m)
		switch {
		case q == KnobToe && lengthErr == nil && math.Abs(float64(l)) < float64(RimLength):
			by = float64(frontend.ToeAngle(l, RimLength))
		case q.angle():
			if angleErr != nil {
				return 0, angleErr
			}
			by = float64(a)
		default:
			if lengthErr != nil {
				return 0, lengthErr
			}
			by = float64(l)
		}
	}
	if !signed && less.MatchString(plain) && !undo.MatchString(plain) {
		by = -by
	}
	return by, nil
}
