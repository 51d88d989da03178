package cli

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"kartwright/advisor/profile"
	"kartwright/advisor/profile/demo"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
	"kartwright/geometry/measure"
	"kartwright/rules/diag"
)

const writeFlag = "write: put the result into the profile, `PLACE` being present (the adjusters stand so that the kart measures this) or standard (the adjusters stand where the profile says, and the kart's own numbers were off)"

type writtenJSON struct {
	File    string        `json:"file"`
	Changes []writeChange `json:"changes" jsonschema_description:"empty if the profile said so already"`
	Notes   []string      `json:"notes"`
}

type writeChange struct {
	Path string `json:"path"`
	Was  string `json:"was,omitempty" jsonschema_description:"as written; absent if the profile did not say"`
	Now  string `json:"now"`
}

func (a *app) writeMeasured(in *inputs, m measured) (*writtenJSON, error) {
	if !in.has("write") {
		return nil, nil
	}
	place := in.word("write", "present", "standard")
	switch side := in.cmd.Flags().Lookup("side"); {
	case in.err != nil:
		return nil, in.err
	case len(m.found) == 0:
		return nil, usagef("--write puts readings into the profile, and none were given")
	case m.edits != nil && place != m.place:
		return nil, usagef("what this reads goes to %s: --write %s", m.place, m.place)
	case m.edits == nil && side != nil && !side.Changed:
		return nil, usagef("--write needs --side left or --side right: which wheel was read?")
	}
	return a.writeProfile(in.kart, func(k *profile.Kart, name string, data []byte) ([]profile.Edit, []string, error) {
		if m.edits != nil {
			return m.edits, nil, nil
		}
		return a.figureEdits(k, name, data, place, in.cmd.Name(), m.figures)
	})
}

// writeProfile edits the profile that --kart names, whole or not at all.
func (a *app) writeProfile(name string, edits func(k *profile.Kart, name string, data []byte) ([]profile.Edit, []string, error)) (*writtenJSON, error) {
	name = cmp.Or(name, a.Getenv("KARTWRIGHT_KART"))
	if _, isDemo := demo.Read(name); isDemo || name == "" {
		return nil, usagef("--write needs a profile of your own: --kart FILE.toml ('kartwright kart new' makes one)")
	}
	file, err := filepath.EvalSymlinks(name)
	if err != nil {
		return nil, readError("the kart's profile", name, err)
	}
	info, err := os.Stat(file)
	if err != nil {
		return nil, readError("the kart's profile", name, err)
	}
	data, err := os.ReadFile(file)
	if err != nil {
		return nil, readError("the kart's profile", name, err)
	}
	k, found := profile.Parse(name, data)
	if diag.HasErrors(found) {
		return nil, fileError{found}
	}
	list, notes, err := edits(k, name, data)
	if err != nil {
		return nil, fmt.Errorf("nothing was written: %w", err)
	}
	out, changes, err := profile.Rewrite(name, data, a.Now(), list...)
	if err != nil {
		return nil, fmt.Errorf("nothing was written: %w", err)
	}
	w := &writtenJSON{name, []writeChange{}, append([]string{}, notes...)}
	for _, c := range changes {
		w.Changes = append(w.Changes, writeChange(c))
	}
	if len(changes) == 0 {
		return w, nil
	}
	if err := writeFile(file, out); err != nil {
		return nil, err
	}
	return w, os.Chmod(file, info.Mode().Perm())
}

func (a *app) printWritten(w *writtenJSON) {
	if w == nil {
		return
	}
	if len(w.Changes) == 0 {
		a.heading("The profile " + w.File + " said so already; nothing was written")
	} else {
		a.heading("Wrote " + w.File)
	}
	for _, c := range w.Changes {
		text := c.Now
		if c.Was != "" {
			text += " (was " + c.Was + ")"
		}
		a.para("  "+c.Path+" = ", text)
	}
	for _, n := range w.Notes {
		a.para("  - ", n)
	}
}

// figureEdits returns what makes a kart measure the figures, as it stands.
func (a *app) figureEdits(k *profile.Kart, name string, data []byte, place, how string, figures []figure) ([]profile.Edit, []string, error) {
	now, err := k.Figures(k.Present)
	if err != nil {
		return nil, nil, err
	}
	for _, f := range figures {
		was := figureOf(now[f.side], f.key)
		if x, y := math.Abs(float64(f.Value)), math.Abs(float64(was)); math.Abs(float64(f.Value-was)) > float64(0.75*geometry.Degree) && min(x, y) > 0 && measure.Slipped(x, y) {
			return nil, nil, fmt.Errorf("by the profile the %v side has %s %s, and this is %s, ten times as much or a tenth: has a decimal point slipped?", f.side, title[f.key], a.units.Angle(was), a.units.Angle(f.Value))
		}
	}
	if place == "present" {
		return a.presentEdits(k, how, figures)
	}
	return a.standardEdits(k, name, data, how, figures)
}

// presentEdits finds where the adjusters must stand.
func (a *app) presentEdits(k *profile.Kart, how string, figures []figure) ([]profile.Edit, []string, error) {
	var goal [2]adjust.Goal
	var said, notes []string
	for _, f := range figures {
		if f.key == "kpi" {
			continue // no adjuster is set by it
		}
		goal[f.side] = goal[f.side].Ask(figureByName[f.key], float64(f.Value))
		said = append(said, fmt.Sprintf("%v %s %s", f.side, title[f.key], profileAngle(f.angle)))
	}
	to := k.Present
	for _, s := range frontend.Sides {
		if goal[s].Asked == ([adjust.FigureCount]bool{}) {
			continue
		}
		answer, err := k.Corners[s].Solve(k.Present[s], goal[s])
		if err != nil {
			return nil, nil, err
		}
		if !a.nearEnd(answer) {
			return nil, nil, fmt.Errorf("the %v side's adjusters cannot stand so that it measures this (%s); if they stand where the profile says, use --write standard", s, strings.Join(answer.Reasons, "; "))
		}
		to[s] = printable(&k.Corners[s], answer.Best.Setting)
		for f, asked := range goal[s].Asked {
			if off := answer.Best.Residual[f]; asked && answer.Outcome[f] == adjust.Nearby {
				notes = append(notes, fmt.Sprintf("%v %v: the nearest step makes %s, %s from the reading.", s, adjust.Figure(f), a.units.Angle(geometry.Angle(answer.Best.Values[f])), a.units.Angle(geometry.Angle(math.Abs(off)))))
			}
		}
	}
	return k.PresentEdits(to, "measured ("+how+"): "+strings.Join(said, ", ")), notes, nil
}

// hair is half of the last digit that an angle or a length is printed with. A
// figure that is beyond the end of a travel by no more may be at the end.
func (a *app) hair() (geometry.Angle, geometry.Length) {
	angle, length := 0.005*geometry.Degree, 0.005*geometry.Millimetre
	if a.units.Minutes {
		angle = geometry.Minute / 2
	}
	if a.units.Inches {
		length = 0.0005 * geometry.Inch
	}
	return angle + 1e-9, length + 1e-9
}

// nearEnd reports whether an answer meets what was asked, but for a hair beyond
// the end of a travel.
func (a *app) nearEnd(answer *adjust.Answer) bool {
	angle, length := a.hair()
	for f, o := range answer.Outcome {
		most := float64(angle)
		if adjust.Figure(f).IsLength() {
			most = float64(length)
		}
		if o == adjust.Beyond && !(math.Abs(answer.Best.Residual[f]) <= most) {
			return false
		}
	}
	return true
}

// onGauge returns a reading, or what the gauge shows at the end of its travel if
// the reading is a hair beyond that.
func (a *app) onGauge(adj adjust.Adjuster, reading geometry.Length) geometry.Length {
	g, ok := adj.(adjust.Gauged)
	if !ok {
		return reading
	}
	_, most := a.hair()
	x, _ := g.Gauge(adj.Travel().Min)
	y, _ := g.Gauge(adj.Travel().Max)
	if end := max(min(x, y), min(max(x, y), reading)); math.Abs(float64(end-reading)) <= float64(most) {
		return end
	}
	return reading
}

// gaugeText writes a gauge reading to a thousandth, rounded so that the adjuster
// can stand there.
func gaugeText(adj adjust.Adjuster, reading geometry.Length) string {
	thousandths := math.Round(float64(reading) * 1000)
	for _, by := range []float64{0, -1, 1} {
		text := profileLength(length{Value: geometry.Length((thousandths + by) / 1000)})
		if _, err := adj.Read(text); err == nil {
			return text
		}
	}
	return profileLength(length{Value: reading}) // whoever reads it says why not
}

// printable is a setting whose adjusters without steps still stand inside their
// travel once their positions are printed.
func printable(c *adjust.Corner, at adjust.Setting) adjust.Setting {
	out := slices.Clone(at)
	for i, adj := range c.Adjusters {
		for _, by := range []float64{0, -0.005, 0.005} {
			if _, err := adj.Read(adj.Print(at[i]+by, geometry.Units{})); err == nil || adj.Travel().Step > 0 {
				out[i] = at[i] + by
				break
			}
		}
	}
	return out
}

// standardEdits finds the numbers of [corner] with which the kart, standing as
// the profile says, measures the figures.
func (a *app) standardEdits(k *profile.Kart, name string, data []byte, how string, figures []figure) ([]profile.Edit, []string, error) {
	var notes []string
	figures = slices.DeleteFunc(slices.Clone(figures), func(f figure) bool {
		if f.key != "kpi" || f.PM > 0 && float64(f.PM) < pmOf(k, f.side, "kpi") {
			return false
		}
		notes = append(notes, "KPI is left as it was: the profile knows it better than a sweep can tell.")
		return true
	})
	text := make([]string, len(figures))
	value := make([]geometry.Angle, len(figures))
	edits := func() []profile.Edit {
		var out []profile.Edit
		for i, f := range figures {
			out = append(out, profile.Edit{
				Path: "corner." + f.side.String() + "." + f.key, Value: text[i],
				Note: "measured (" + how + ") as it stood: " + profileAngle(f.angle),
			})
		}
		return out
	}
	for i, f := range figures {
		value[i] = f.Value
	}
	// What a figure is as the kart stands follows what it is at standard
	// almost one to one, so that the difference is all that is to be added.
	for round := 0; ; round++ {
		for i := range figures {
			text[i] = strconv.FormatFloat(value[i].Degrees(), 'f', 12, 64) + " deg"
		}
		out, _, err := profile.Rewrite(name, data, a.Now(), edits()...)
		if err != nil {
			return nil, nil, err
		}
		other, _ := profile.Parse(name, out)
		got, err := other.Figures(other.Present)
		if err != nil {
			return nil, nil, err
		}
		worst := 0.
		for i, f := range figures {
			d := f.Value - figureOf(got[f.side], f.key)
			value[i] += d
			worst = max(worst, math.Abs(float64(d)))
		}
		if worst < 1e-7 {
			break
		}
		if round == 30 {
			return nil, nil, errors.New("no numbers of [corner] make the kart measure this as it stands")
		}
	}
	for i, f := range figures {
		text[i] = profileAngle(angle{Value: value[i], PM: f.PM})
	}
	return mergeSides(k, edits()), notes, nil
}

// mergeSides writes what is the same on both sides once, unless the profile has
// it by side already.
func mergeSides(k *profile.Kart, edits []profile.Edit) []profile.Edit {
	var out []profile.Edit
	for _, e := range edits {
		key, isLeft := strings.CutPrefix(e.Path, "corner.left.")
		right := slices.IndexFunc(edits, func(o profile.Edit) bool { return o.Path == "corner.right."+key && o.Value == e.Value })
		bySide := slices.ContainsFunc(k.Numbers, func(n profile.Number) bool {
			return n.Path == "corner.left."+key || n.Path == "corner.right."+key
		})
		if isLeft && right >= 0 && !bySide {
			e.Path = "corner." + key
		}
		if left, isRight := strings.CutPrefix(e.Path, "corner.right."); isRight && slices.ContainsFunc(out, func(o profile.Edit) bool { return o.Path == "corner."+left }) {
			continue
		}
		out = append(out, e)
	}
	return out
}

// profileAngle and profileLength write a quantity as a profile has it, to a
// thousandth.
func profileAngle(m angle) string {
	return profileText(m.Value.Degrees(), m.PM.Degrees(), "deg")
}

func profileLength(m length) string { return profileText(float64(m.Value), float64(m.PM), "mm") }

func profileText(v, pm float64, unit string) string {
	say := func(v float64) string {
		return strconv.FormatFloat(math.Round(v*1000)/1000+0, 'f', -1, 64) + " " + unit
	}
	if pm == 0 {
		return say(v)
	}
	return say(v) + " ± " + say(max(pm, 0.001))
}
