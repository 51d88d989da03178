package cli

import (
	"fmt"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"kartwright/advisor"
	"kartwright/advisor/profile"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
	"kartwright/geometry/measure"
)

// checkedFigures can be checked, in the order in which they are listed.
var checkedFigures = []adjust.Figure{adjust.Caster, adjust.Camber, adjust.Toe}

func (a *app) measureCheckCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "check --left-FIGURE … --right-FIGURE … [--want-FIGURE …]",
		Short: "Both sides after a change: equal or not, what is out, what to turn",
		Long: `check compares readings of both sides after a change, with each other and with
what was wanted, and says what is out, whether the readings can show it, and
what to turn on this kart to put it right. A FIGURE is caster, camber or toe;
what is wanted is an angle, or the word profile for what the profile promises as
the adjusters stand.

Two readings count as equal if they are within 1 mm on a rule over the rim, or
what --within and --over say; for caster, with the wheel steered by --lock.
--within may be an angle instead.

Readings that look like a slipped decimal point, or like left and right swapped,
are named, and then no turns are given and nothing is written. Exit status 1
says so, or that the kart cannot be put right all the way.`,
		Example: `  kartwright measure check --left-camber "-1.0 ± 0.1 deg" \
      --right-camber "-1.5 ± 0.1 deg"
  kartwright measure check --left-toe "1 mm out over 255 mm" \
      --right-toe "1 mm in over 255 mm" --want-toe profile
  kartwright measure check --left-caster 12.4deg --right-caster 11.2deg \
      --want-caster 12.5deg --over 1500mm`,
		Args: noArgs,
	}
	in := &inputs{cmd: cmd, texts: map[string]*string{}}
	for _, f := range checkedFigures {
		in.add(fmt.Sprintf("left-%v: left `%s` as it reads", f, strings.ToUpper(f.String())), fmt.Sprintf("right-%v: right `%s` as it reads", f, strings.ToUpper(f.String())),
			fmt.Sprintf("want-%v: wanted `%s` of both sides, or profile", f, strings.ToUpper(f.String())))
	}
	in.add("within: how far apart still counts as equal, `LENGTH` on the rule or ANGLE; 1 mm if not given",
		"over: `LENGTH` that the rule reads across: the rim, or the laser's distance; 255 mm if not given",
		"lock: `ANGLE` that each wheel is steered by when caster is compared; 20 deg if not given", writeFlag)
	kartFlag(cmd, &in.kart)
	cmd.RunE = func(*cobra.Command, []string) error { return a.runMeasureCheck(in) }
	return cmd
}

// readAngle reads a figure's flag.
func (in *inputs) readAngle(name string, f adjust.Figure) angle {
	m := angle{}
	if f == adjust.Toe {
		m = in.toe(name)
	} else {
		m = in.angle(name)
	}
	if in.has(name) && in.err == nil {
		if err := plausible(figure{key: f.String(), angle: m}); err != nil {
			in.fail("--%s: %w", name, err)
		}
	}
	return m
}

// tolerances returns how far figures may differ, in radians.
func (in *inputs) tolerances(k measure.Kingpin) (within [adjust.FigureCount]float64, over geometry.Length, lock geometry.Angle) {
	over, lock = advisor.RimLength, 20*geometry.Degree
	if in.has("over") {
		over = in.length("over").Value
	}
	if in.has("lock") {
		lock = in.angle("lock").Value
	}
	rule := measure.RuleTolerance
	if in.has("within") {
		text := *in.texts["within"]
		if g, err := geometry.ParseAngle(text); err == nil {
			if g <= 0 {
				in.fail("--within: %s is no tolerance", text)
			}
			for _, f := range checkedFigures {
				within[f] = float64(g)
			}
			return within, over, lock
		}
		rule = in.length("within").Value
	}
	per, err := measure.EqualLock{Lock: lock, Reach: over}.PerCaster(k)
	switch {
	case err != nil:
		in.fail("%w", err)
		return within, over, lock
	case rule <= 0 || rule > over/10:
		in.fail("--within: %v over %v is no tolerance", rule, over)
	}
	within[adjust.Caster] = float64(rule) / per
	within[adjust.Camber] = math.Atan(float64(rule / over))
	within[adjust.Toe] = within[adjust.Camber]
	return within, over, lock
}

func (a *app) runMeasureCheck(in *inputs) error {
	k, _, err := a.loadKart(in.kart)
	if err != nil {
		return err
	}
	model, err := k.Figures(k.Present)
	if err != nil {
		return err
	}
	c := measure.Check{Corners: [2]*adjust.Corner{&k.Corners[0], &k.Corners[1]}, Settings: k.Present}
	var over geometry.Length
	var lock geometry.Angle
	c.Within, over, lock = in.tolerances(kingpinOf(model[frontend.Left]))
	read := [2]measure.Readings{{}, {}}
	var figures []figure
	expected := [2]map[adjust.Figure]geometry.Angle{{}, {}}
	for _, f := range checkedFigures {
		want := "want-" + f.String()
		for _, s := range frontend.Sides {
			name := s.String() + "-" + f.String()
			if m := in.readAngle(name, f); in.has(name) {
				read[s][f] = geometry.Measured[float64]{Value: float64(m.Value), PM: float64(m.PM)}
				figures = append(figures, figure{f.String(), s, m})
			}
			expected[s][f] = figureOf(model[s], f.String())
			if in.has(want) {
				if *in.texts[want] != "profile" {
					expected[s][f] = in.readAngle(want, f).Value
				}
				c.Want[s] = c.Want[s].Ask(f, float64(expected[s][f]))
			}
		}
		if in.has(want) && !in.some("left-"+f.String(), "right-"+f.String()) {
			in.fail("--%s wants something of %v, and no reading of it was given", want, f)
		}
	}
	if in.err != nil {
		return in.err
	}
	if len(figures) == 0 {
		return usagef("there are no readings to check, for example --left-camber=-1deg --right-camber=-1.2deg\nRun 'kartwright measure check --help' for usage.")
	}
	outcome, err := c.Compare(read)
	if err != nil {
		return err
	}
	v := checkView{k: k, check: c, outcome: outcome, read: read, over: over, lock: lock, ruled: !in.has("within") || c.Within[adjust.Camber] != c.Within[adjust.Caster]}
	for _, s := range frontend.Sides {
		if v.models[s], err = k.Corners[s].Values(k.Present[s]); err != nil {
			return err
		}
	}
	v.doubts = c.Doubts(read, expected, a.units)
	to := k.Present
	for _, fix := range outcome.Corrections {
		to = withSide(to, fix.Side, fix.Answer.Best.Setting)
	}
	if v.plan, err = advisor.PlanBetween(k, k.Present, to); err != nil {
		return err
	}
	var written *writtenJSON
	if in.has("write") {
		place := in.word("write", "present", "standard")
		if in.err != nil {
			return in.err
		}
		if len(v.doubts) > 0 {
			return fmt.Errorf("nothing was written: %s", v.doubts[0])
		}
		if written, err = a.writeProfile(in.kart, func(k *profile.Kart, name string, data []byte) ([]profile.Edit, []string, error) {
			return a.figureEdits(k, name, data, place, "check", figures)
		}); err != nil {
			return err
		}
	}
	if a.json {
		if err := a.writeJSON(a.viewCheck(v, written)); err != nil {
			return err
		}
	} else {
		a.printCheck(v)
		a.printWritten(written)
	}
	if len(v.doubts) > 0 {
		return couldNot{"look at the readings again first"}
	}
	for _, fix := range outcome.Corrections {
		if !fix.Answer.OK() {
			return couldNot{"this kart cannot be put right all the way; the nearest setting is printed"}
		}
	}
	return nil
}

// checkView is what a check prints.
type checkView struct {
	k       *profile.Kart
	check   measure.Check
	outcome measure.Outcome
	read    [2]measure.Readings
	models  [2][adjust.FigureCount]float64 // the figures as the adjusters stand
	plan    *advisor.Plan                  // the corrections
	doubts  []string
	over    geometry.Length
	lock    geometry.Angle
	ruled   bool // the tolerance is one on a rule
}

type valueJSON struct {
	Value float64 `json:"value_deg"`
	PM    float64 `json:"pm_deg"`
}

type checkedJSON struct {
	Figure     string                `json:"figure" jsonschema:"enum=caster,enum=camber,enum=toe"`
	Read       map[string]valueJSON  `json:"read" jsonschema_description:"by side"`
	Within     float64               `json:"within_deg" jsonschema_description:"how far apart counts as equal"`
	Difference *valueJSON            `json:"difference,omitempty" jsonschema_description:"left less right, less a difference that is wanted"`
	Wanted     map[string]wantedJSON `json:"wanted" jsonschema_description:"by side, if something was wanted"`
	Out        []string              `json:"out" jsonschema_description:"sides to correct"`
	Verdict    string                `json:"verdict"`
}

type wantedJSON struct {
	Value   float64 `json:"value_deg"`
	Off     float64 `json:"off_deg" jsonschema_description:"read less wanted"`
	Equal   bool    `json:"equal"`
	Clear   bool    `json:"clear" jsonschema_description:"by more than the readings' ±"`
	Verdict string  `json:"verdict"`
}

type measureCheckJSON struct {
	Command string        `json:"command"`
	Kart    string        `json:"kart"`
	Equal   bool          `json:"equal" jsonschema_description:"nothing is out"`
	Clear   bool          `json:"clear" jsonschema_description:"what is out is so by more than the readings' ±"`
	Doubts  []string      `json:"doubts" jsonschema_description:"signs of a slip in the readings; no corrections are given then"`
	Figures []checkedJSON `json:"figures"`
	Correct *planJSON     `json:"correct" jsonschema:"nullable" jsonschema_description:"what puts it right; null if nothing is out"`
	Written *writtenJSON  `json:"written,omitempty" jsonschema_description:"with --write"`
}

func (a *app) viewCheck(v checkView, w *writtenJSON) measureCheckJSON {
	out := measureCheckJSON{Command: "measure check", Kart: v.k.Name, Equal: v.outcome.Equal, Clear: v.outcome.Clear, Doubts: list(v.doubts), Figures: []checkedJSON{}, Written: w}
	deg := func(m geometry.Measured[float64]) valueJSON {
		return valueJSON{degrees(geometry.Angle(m.Value)), degrees(geometry.Angle(m.PM))}
	}
	for _, f := range v.outcome.Figures {
		x := checkedJSON{Figure: f.Figure.String(), Read: map[string]valueJSON{}, Within: degrees(geometry.Angle(v.check.Within[f.Figure])), Wanted: map[string]wantedJSON{}, Out: []string{}, Verdict: verdictOf(f)}
		if f.Sides != nil {
			d := deg(f.Sides.Difference)
			x.Difference = &d
		}
		for _, s := range frontend.Sides {
			if f.Read[s] != nil {
				x.Read[s.String()] = deg(*f.Read[s])
			}
			if w := f.Wanted[s]; w != nil {
				x.Wanted[s.String()] = wantedJSON{degrees(geometry.Angle(v.check.Want[s].Value[f.Figure])), degrees(geometry.Angle(w.Difference.Value)), w.Equal, w.Clear, w.Verdict()}
			}
			if f.Out[s] {
				x.Out = append(x.Out, s.String())
			}
		}
		out.Figures = append(out.Figures, x)
	}
	if !v.outcome.Equal && len(v.doubts) == 0 {
		out.Correct = viewPlan(v.plan, nil, nil, a.units)
		for _, fix := range v.outcome.Corrections {
			out.Correct.OK = out.Correct.OK && fix.Answer.OK()
			out.Correct.Reasons = append(out.Correct.Reasons, v.outcome.Then(fix, v.models[fix.Side], a.units)...)
		}
	}
	return out
}

// verdictOf compares the sides in one figure.
func verdictOf(f measure.Checked) string {
	if f.Sides == nil {
		return "read on one side only"
	}
	return f.Sides.Verdict()
}

func (a *app) printCheck(v checkView) {
	u := a.units
	say := func(m geometry.Measured[float64]) string {
		return a.angleText(angle{Value: geometry.Angle(m.Value), PM: geometry.Angle(m.PM)})
	}
	verdict := "equal, as far as was measured"
	compared := false
	for _, f := range v.outcome.Figures {
		compared = compared || f.Sides != nil
	}
	switch {
	case v.outcome.Equal && !compared:
		verdict = "as wanted, as far as was measured; no figure was read on both sides, so nothing says that they are equal"
	case !v.outcome.Equal && v.outcome.Clear:
		verdict = "something is out"
	case !v.outcome.Equal:
		verdict = "something is out, but not by more than the readings can show"
	}
	if len(v.doubts) > 0 {
		verdict = "look at the readings again first"
	}
	a.para("Kart "+v.k.Name+": ", verdict)
	for _, d := range v.doubts {
		a.para("  - ", sentence(d))
	}
	a.printf("\n  %s%s%s%s\n", pad("", 10), pad("left", 22), pad("right", 22), "equal within")
	for _, f := range v.outcome.Figures {
		cells := [2]string{"not read", "not read"}
		for _, s := range frontend.Sides {
			if f.Read[s] != nil {
				cells[s] = say(*f.Read[s])
			}
		}
		a.printf("  %s%s%s%s\n", pad(f.Figure.String(), 10), pad(cells[0], 22), pad(cells[1], 22), u.Angle(geometry.Angle(v.check.Within[f.Figure])))
	}
	a.printf("\n")
	for _, f := range v.outcome.Figures {
		lead := "  " + pad(f.Figure.String(), 10)
		if f.Sides != nil {
			a.para(lead, "left less right "+say(f.Sides.Difference)+": "+f.Sides.Verdict())
			lead = pad("", 12)
		}
		for _, s := range frontend.Sides {
			if w := f.Wanted[s]; w != nil {
				a.para(lead, fmt.Sprintf("%v, wanted %s: off by %s: %s", s, u.Angle(geometry.Angle(v.check.Want[s].Value[f.Figure])), say(w.Difference), w.Verdict()))
				lead = pad("", 12)
			}
		}
	}
	if v.ruled {
		rule := math.Tan(v.check.Within[adjust.Camber]) * float64(v.over)
		a.para("  ", fmt.Sprintf("Equal means within %s on a rule over %s, for caster with each wheel steered by %s.", a.plainLength(length{Value: geometry.Length(rule)}), a.plainLength(length{Value: v.over}), u.Angle(v.lock)))
	}
	if v.outcome.Equal || len(v.doubts) > 0 {
		return
	}
	a.heading("Turn to put it right")
	a.printTurns(v.plan)
	for _, fix := range v.outcome.Corrections {
		for _, text := range v.outcome.Then(fix, v.models[fix.Side], a.units) {
			a.para("  - ", sentence(text))
		}
	}
	for _, w := range v.plan.Warnings {
		a.para("  - ", sentence(w))
	}
	a.printCautions(v.plan.Cautions())
}
