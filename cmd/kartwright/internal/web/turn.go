package web

import (
	"errors"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"kartwright/advisor"
	"kartwright/advisor/profile"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
)

// The fields of Turn it beside settingField: the position of each adjuster as
// "l0", "r2" (side and place), and
const (
	apartField  = "apart"   // "on": the sides are set each for itself
	nudgeField  = "nudge"   // "l0:1": one step of an adjuster
	goField     = "go"      // now, standard: back to there; hold: keep this to compare with
	againstWord = "against" // now, standard, held: what to compare with
	heldField   = "held"    // a setting that was held
	steerField  = "steer"   // the steering wheel in the drawings, degrees to the left
	partField   = "part"    // answer with what follows the controls only
	ofField     = "of"      // the kart that all of these are about; another was chosen if it differs
)

// maxSteer is how far the drawings and curves steer, in degrees of the column.
const maxSteer = 30

// control is one adjuster to turn.
type control struct {
	Field          string // l0
	Name, Side     string
	Min, Max, Step string
	Value          string
	Says           string // the position in a mechanic's words
	Standard, Now  string
	Fixed          bool
	Options        []choice // of an adjuster whose positions have names
	Less, More     string   // nudges, "" at an end
	Unit, By       string   // what a nudge is, and how far
}

// turnView is the page Turn it.
type turnView struct {
	Kart     string
	Karts    []choice
	Controls [][]control // by side; one list if the sides go together
	Apart    bool
	At, Held string
	Against  string
	Steer    string
	Live     liveView
}

// liveView is what follows the controls.
type liveView struct {
	Trouble  string
	Outs     []out
	Strip    []out  // the chief figures, beside the controls
	Against  string // in words
	Rows     []figureRow
	Bend     *bendView
	Warnings []string
	Work     []workView
	Moved    bool
	Drawings []template.HTML
	Curves   []template.HTML
	Steer    string
	Card     template.URL // of this setting
}

// out is the text beside a control.
type out struct{ For, Name, Text string }

// nudge is how far a button moves an adjuster: a step, or a sixteenth of a turn.
func nudge(a adjust.Adjuster) (by float64, unit string) {
	if t := a.Travel(); t.Step > 0 {
		return t.Step, "one position"
	}
	if w, ok := a.(adjust.Wraps); ok && w.Wraps() {
		return 5, "5°"
	}
	return 1. / 16, "1/16 turn"
}

// parseSetting reads settingQuery's field.
func parseSetting(k *profile.Kart, text string) (out [2]adjust.Setting, err error) {
	sides := strings.Split(text, sideMark)
	if len(sides) != 2 {
		return out, fmt.Errorf("a setting needs both sides, left%sright", sideMark)
	}
	for _, s := range frontend.Sides {
		n := len(k.Corners[s].Adjusters)
		parts := strings.Split(sides[s], ",")
		if n == 0 && sides[s] == "" {
			continue
		}
		if len(parts) != n {
			return out, fmt.Errorf("the %v side of this kart has %d adjusters, the setting has %d positions", s, n, len(parts))
		}
		for i, p := range parts {
			v, err := strconv.ParseFloat(p, 64)
			if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
				return out, fmt.Errorf("%v side, %s: %q is no position", s, k.Corners[s].Adjusters[i].Name, p)
			}
			out[s] = append(out[s], k.Corners[s].Adjusters[i].Travel().Clamp(v))
		}
	}
	return out, nil
}

// turnState is what the form of Turn it says.
type turnState struct {
	apart   bool
	against string
	held    *[2]adjust.Setting
	steer   geometry.Angle
}

// together reports whether both sides stand alike, adjuster by adjuster.
func together(k *profile.Kart, at [2]adjust.Setting) bool {
	if len(at[0]) != len(at[1]) {
		return false
	}
	for i := range at[0] {
		if k.Corners[0].Adjusters[i].Name != k.Corners[1].Adjusters[i].Name || math.Abs(at[0][i]-at[1][i]) > 1e-9 {
			return false
		}
	}
	return true
}

// turned reads the setting that the form asks for.
func (s *Site) turned(w http.ResponseWriter, r *http.Request) (g garaged, at [2]adjust.Setting, st turnState, err error) {
	bad := func(err error) error { return failure{http.StatusBadRequest, err.Error()} }
	if g, err = s.chosenKart(w, r); err != nil {
		return g, at, st, err
	}
	q := r.URL.Query()
	if of := q.Get(ofField); of != "" && of != g.Key {
		q = url.Values{steerField: q[steerField]}
	}
	k := g.Kart
	at = copySetting(k.Present)
	known := [][2]adjust.Setting{k.Present, k.Standard()}
	if text := q.Get(settingField); text != "" {
		if at, err = parseSetting(k, text); err != nil {
			return g, at, st, bad(err)
		}
		known = append(known, copySetting(at))
	}
	if text := q.Get(heldField); text != "" {
		held, err := parseSetting(k, text)
		if err != nil {
			return g, at, st, bad(err)
		}
		st.held = &held
		known = append(known, held)
	}
	st.apart = q.Get(apartField) == "on" || !q.Has(apartField) && !together(k, at)
	// With the sides just taken apart there are no fields for the right yet.
	alone := !st.apart || q.Has(field(frontend.Left, 0)) && !q.Has(field(frontend.Right, 0))
	for _, side := range frontend.Sides {
		for i, a := range k.Corners[side].Adjusters {
			f := field(side, i)
			if side == frontend.Right && alone {
				f = field(frontend.Left, i)
			}
			text := q.Get(f)
			if text == "" {
				continue
			}
			v, err := strconv.ParseFloat(text, 64)
			if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
				return g, at, st, bad(fmt.Errorf("%s: %q is no position", a.Name, text))
			}
			at[side][i] = settle(a, v, known, side, i)
		}
	}
	if text := q.Get(nudgeField); text != "" {
		if err := applyNudge(k, &at, st.apart, text); err != nil {
			return g, at, st, bad(err)
		}
	}
	switch v := q.Get(goField); v {
	case "":
	case "now":
		at = copySetting(k.Present)
	case "standard":
		at = k.Standard()
	case "hold":
		held := copySetting(at)
		st.held = &held
	default:
		return g, at, st, bad(fmt.Errorf("go is %q, expected now, standard or hold", v))
	}
	st.against = q.Get(againstWord)
	if q.Get(goField) == "hold" {
		st.against = "held"
	}
	switch st.against {
	case "held":
		if st.held == nil {
			st.against = "now"
		}
	case "standard":
	case "":
		st.against = "now"
	case "now":
	default:
		return g, at, st, bad(fmt.Errorf("against is %q, expected now, standard or held", st.against))
	}
	if text := q.Get(steerField); text != "" {
		v, err := strconv.ParseFloat(text, 64)
		if err != nil || !(math.Abs(v) <= maxSteer) {
			return g, at, st, bad(fmt.Errorf("the steering wheel can be drawn up to %d° each way, not %q", maxSteer, text))
		}
		st.steer = geometry.Angle(v) * geometry.Degree
	}
	return g, at, st, nil
}

func copySetting(s [2]adjust.Setting) [2]adjust.Setting {
	return [2]adjust.Setting{append(adjust.Setting(nil), s[0]...), append(adjust.Setting(nil), s[1]...)}
}

// settle takes a control's number to where the adjuster can stand. A slider
// rounds; a number nearest to where the adjuster is known to stand means that.
func settle(a adjust.Adjuster, v float64, known [][2]adjust.Setting, side frontend.Side, i int) float64 {
	for _, k := range known {
		if math.Abs(k[side][i]-v) <= fineStep/2+1e-9 {
			return k[side][i]
		}
	}
	return a.Travel().Clamp(v)
}

// fineStep is the finest move of a slider without steps of its own.
const fineStep = 0.01

func field(side frontend.Side, i int) string { return side.String()[:1] + strconv.Itoa(i) }

// applyNudge moves one adjuster, or the same on both sides, by one step.
func applyNudge(k *profile.Kart, at *[2]adjust.Setting, apart bool, text string) error {
	name, way, _ := strings.Cut(text, ":")
	for _, side := range frontend.Sides {
		for i, a := range k.Corners[side].Adjusters {
			if f := field(side, i); f != name && !(side == frontend.Right && !apart && field(frontend.Left, i) == name) {
				continue
			}
			by, _ := nudge(a)
			switch way {
			case "1":
			case "-1":
				by = -by
			default:
				return fmt.Errorf("nudge is %q, expected an adjuster and 1 or -1", text)
			}
			at[side][i] = a.Travel().Clamp(at[side][i] + by)
		}
	}
	return nil
}

func position(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// turn shows the controls and what follows them.
func (s *Site) turn(w http.ResponseWriter, r *http.Request) error {
	g, at, st, err := s.turned(w, r)
	if err != nil {
		return err
	}
	u := units(r)
	live, err := viewLive(g, at, st, u)
	if err != nil {
		return err
	}
	if r.URL.Query().Has(partField) {
		return s.execute(w, http.StatusOK, "turn", "live", live)
	}
	v := turnView{Kart: g.Key, Karts: s.kartChoices(g.Key), Apart: st.apart, At: settingQuery(g.Key, at).Get(settingField), Against: st.against, Steer: position(st.steer.Degrees()), Live: *live}
	if st.held != nil {
		v.Held = settingQuery(g.Key, *st.held).Get(settingField)
	}
	for _, side := range frontend.Sides {
		if side == frontend.Right && !st.apart {
			break
		}
		v.Controls = append(v.Controls, controls(g.Kart, side, at, st.apart, u))
	}
	return s.render(w, r, http.StatusOK, "turn", "Turn it", v)
}

func controls(k *profile.Kart, side frontend.Side, at [2]adjust.Setting, apart bool, u geometry.Units) []control {
	var out []control
	for i, a := range k.Corners[side].Adjusters {
		t := a.Travel()
		step := t.Step
		if step == 0 {
			step = fineStep
		}
		by, unit := nudge(a)
		c := control{
			Field: field(side, i), Name: a.Name, Min: position(t.Min), Max: position(t.Max), Step: position(step), Value: position(at[side][i]),
			Says: a.Print(at[side][i], u), Standard: a.Print(a.Standard(), u), Now: a.Print(k.Present[side][i], u), Fixed: t.Fixed(), Unit: unit, By: position(by),
		}
		if apart {
			c.Side = side.String()
		}
		if at[side][i]-by >= t.Min-by/2 {
			c.Less = c.Field + ":-1"
		}
		if at[side][i]+by <= t.Max+by/2 {
			c.More = c.Field + ":1"
		}
		if l, ok := a.Adjuster.(adjust.Listed); ok {
			for j, name := range l.Positions() {
				c.Options = append(c.Options, choice{Value: strconv.Itoa(j), Title: name, On: math.Abs(float64(j)-at[side][i]) < 0.5})
			}
		}
		out = append(out, c)
	}
	return out
}

// viewLive computes what the front end becomes at a setting.
func viewLive(g garaged, at [2]adjust.Setting, st turnState, u geometry.Units) (*liveView, error) {
	k := g.Kart
	from := k.Present
	v := &liveView{Against: "now", Card: link("/card", settingQuery(g.Key, at)), Steer: advisor.SaySteering(st.steer, u)}
	switch st.against {
	case "standard":
		from, v.Against = k.Standard(), "standard"
	case "held":
		from, v.Against = *st.held, "the held setting"
	}
	for _, side := range frontend.Sides {
		for i, a := range k.Corners[side].Adjusters {
			v.Outs = append(v.Outs, out{"says-" + field(side, i), a.Name, a.Print(at[side][i], u)})
		}
	}
	p, err := advisor.PlanBetween(k, from, at)
	var reach *frontend.ReachError
	switch {
	case errors.As(err, &reach):
		v.Trouble = "The front end does not go together like this: " + err.Error()
		return v, nil
	case err != nil:
		return nil, err
	}
	v.Rows, v.Moved, v.Warnings = figureRows(p.Before, p.After, u), p.Moved(), p.Warnings
	for _, row := range v.Rows[:3] {
		text := row.Side[0].After
		if row.Side[0].After != row.Side[1].After {
			text += " / " + row.Side[1].After
		}
		v.Strip = append(v.Strip, out{"strip-" + strings.ToLower(row.Name), row.Name, text})
	}
	if v.Bend, err = bend(p, nil, u); err != nil {
		v.Trouble = "What it does in a slow bend cannot be computed: " + err.Error()
	}
	if p.Moved() {
		v.Work = work(p, u)
	}
	if v.Drawings, err = frontDrawings(k, from, at, st.steer, v.Against); err != nil {
		v.Trouble = "It cannot be drawn: " + err.Error()
	}
	if v.Curves, err = curves(k, from, at, v.Against); err != nil {
		v.Trouble = "The curves cannot be drawn: " + err.Error()
	}
	return v, nil
}
