package cli

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"kartwright/advisor"
	"kartwright/advisor/profile"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
	"kartwright/geometry/measure"
)

type (
	angle  = geometry.Measured[geometry.Angle]
	length = geometry.Measured[geometry.Length]
)

func (a *app) measureCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "measure",
		Short: "Readings to angles, and wanted angles to the reading to look for",
		Long: `measure turns what lasers, rules, gauges and scales read into camber, toe,
caster and weights, and, the other way, says what they should read for what is
wanted. Readings may carry their ±, "26 mm ± 1 mm", and results then carry
theirs; a ± covers all but one reading in twenty.

'measure check' compares both sides after a change and says what to turn to put
right what is out.

Signs are the same on both sides: camber + top of the wheel outward, toe +
toe-in, caster + top of the kingpin rearward.`,
		RunE: needSub,
	}
	cmd.AddCommand(
		a.laserCommand(), a.widthsCommand(), a.lineCommand(), a.inclineCommand(), a.plumbCommand(), a.sweepCommand(),
		a.lockCommand(), a.gaugeCommand(), a.centreCommand(), a.scalesCommand(), a.measureCheckCommand(),
	)
	return cmd
}

// inputs are the flags of one reading. Its methods return zero for what was not
// given or cannot be read, and keep the first fault in err.
type inputs struct {
	cmd   *cobra.Command
	texts map[string]*string
	kart  string
	err   error
}

// reading builds a subcommand from its flags: "name: usage" each, "name!: usage"
// for one without a value.
func (a *app) reading(cmd *cobra.Command, run func(*inputs) (measured, error), flags ...string) *cobra.Command {
	in := &inputs{cmd: cmd, texts: map[string]*string{}}
	in.add(flags...)
	kartFlag(cmd, &in.kart)
	cmd.Args = noArgs
	cmd.RunE = func(*cobra.Command, []string) error {
		m, err := run(in)
		if in.err != nil {
			err = in.err
		}
		if err != nil {
			return err
		}
		return a.answerMeasured(in, m)
	}
	return cmd
}

func (in *inputs) add(flags ...string) {
	for _, f := range flags {
		name, usage, _ := strings.Cut(f, ": ")
		if name, is := strings.CutSuffix(name, "!"); is {
			in.cmd.Flags().Bool(name, false, usage)
			continue
		}
		in.texts[name] = in.cmd.Flags().String(name, "", usage)
	}
}

func (in *inputs) has(name string) bool { return in.cmd.Flags().Changed(name) }

func (in *inputs) fail(format string, args ...any) {
	if in.err == nil {
		in.err = usagef(format, args...)
	}
}

func (in *inputs) some(names ...string) bool {
	for _, n := range names {
		if in.has(n) {
			return true
		}
	}
	return false
}

// need keeps as a fault what was not given of names.
func (in *inputs) need(names ...string) {
	for _, n := range names {
		if !in.has(n) {
			in.fail("--%s is missing\nRun '%s --help' for usage.", n, in.cmd.CommandPath())
		}
	}
}

// wanted reports whether a reading is asked for instead of given; one of the
// two must be.
func (in *inputs) wanted(readings, wants []string) bool {
	dashed := func(names []string) string { return "--" + strings.Join(names, ", --") }
	r, w := in.some(readings...), in.some(wants...)
	switch {
	case r && w:
		in.fail("give either readings (%s) or what is wanted (%s), not both", dashed(readings), dashed(wants))
	case !r && !w:
		in.fail("give readings (%s), or what is wanted (%s)\nRun '%s --help' for usage.", dashed(readings), dashed(wants), in.cmd.CommandPath())
	}
	return w
}

func parsed[T any](in *inputs, name string, parse func(string) (T, error)) T {
	var zero T
	if !in.has(name) {
		return zero
	}
	v, err := parse(*in.texts[name])
	if err != nil {
		in.fail("--%s: %w", name, err)
		return zero
	}
	return v
}

func (in *inputs) angle(name string) angle { return parsed(in, name, geometry.ParseMeasuredAngle) }

func (in *inputs) length(name string) length { return parsed(in, name, geometry.ParseMeasuredLength) }

func (in *inputs) toe(name string) angle { return parsed(in, name, frontend.ParseToe) }

func (in *inputs) word(name string, words ...string) string {
	w := *in.texts[name]
	if !slices.Contains(words, w) {
		in.fail("--%s is %q, expected %s", name, w, strings.Join(words, " or "))
	}
	return w
}

// amount is one line of an answer.
type amount struct {
	What  string  `json:"what"`
	Side  string  `json:"side,omitempty" jsonschema:"enum=left,enum=right"`
	Value float64 `json:"value"`
	PM    float64 `json:"pm" jsonschema_description:"0 if no reading had a ±"`
	Unit  string  `json:"unit" jsonschema:"enum=deg,enum=mm,enum=kg,enum=%,enum=squares"`
	Text  string  `json:"text" jsonschema_description:"for a person, with what goes with it"`
}

// figure is a measured figure of one corner, as the profile names it: caster,
// kpi, camber or toe.
type figure struct {
	key  string
	side frontend.Side
	angle
}

// measured is the answer of a reading.
type measured struct {
	title   string
	found   []amount
	look    []amount
	notes   []string
	laser   bool
	figures []figure       // for --write
	edits   []profile.Edit // for --write, if they are not of figures
	place   string         // where edits go: present or standard
	beyond  bool           // what was wanted is out of the adjusters' reach
}

type measureJSON struct {
	Command  string       `json:"command"`
	Found    []amount     `json:"found" jsonschema_description:"what the readings say"`
	LookFor  []amount     `json:"look_for" jsonschema_description:"the readings to look for, for what is wanted"`
	Notes    []string     `json:"notes"`
	Cautions []string     `json:"cautions"`
	Written  *writtenJSON `json:"written,omitempty" jsonschema_description:"with --write"`
}

const laserCaution = "Never look into a laser or set one at eye height."

// answerMeasured writes, if that was asked for, and prints.
func (a *app) answerMeasured(in *inputs, m measured) error {
	for _, f := range m.figures {
		if err := plausible(f); err != nil {
			return err
		}
	}
	for _, f := range m.figures {
		if note := a.profileSays(in.kart, f); note != "" {
			m.notes = append(m.notes, note)
		}
	}
	exact := len(m.found) > 0
	for _, x := range m.found {
		exact = exact && x.PM == 0
	}
	if exact {
		m.notes = append(m.notes, `No ± was given, so none is stated; write it behind a reading, "26 mm ± 1 mm".`)
	}
	written, err := a.writeMeasured(in, m)
	if err != nil {
		return err
	}
	var cautions []string
	if m.laser {
		cautions = []string{laserCaution}
	}
	var short error
	if m.beyond {
		short = couldNot{"this kart cannot do it; the nearest that it can do is printed"}
	}
	if a.json {
		command := strings.TrimPrefix(in.cmd.CommandPath(), "kartwright ")
		if err := a.writeJSON(measureJSON{command, append([]amount{}, m.found...), append([]amount{}, m.look...), list(m.notes), list(cautions), written}); err != nil {
			return err
		}
		return short
	}
	a.para("", m.title)
	for i, list := range [2][]amount{m.found, m.look} {
		if i == 1 && len(list) > 0 {
			a.heading("Look for")
		}
		for _, x := range list {
			a.para("  "+pad(strings.TrimSpace(x.Side+" "+x.What), 26)+" ", x.Text)
		}
	}
	if len(m.notes) > 0 {
		a.printf("\n")
	}
	for _, n := range m.notes {
		a.para("", n)
	}
	a.printWritten(written)
	a.printCautions(cautions)
	return short
}

// plausible refuses a figure that no kart has.
func plausible(f figure) error {
	text := strconv.FormatFloat(f.Value.Degrees(), 'f', 2, 64) + " deg"
	if err := profile.CheckDimension(f.key, text); err != nil {
		return usagef("%w deg. Has a decimal point slipped, is a unit wrong, or are two readings swapped?", err)
	}
	return nil
}

// profileSays compares a figure with the profile, if one was named.
func (a *app) profileSays(name string, f figure) string {
	if !a.namesKart(name) {
		return ""
	}
	k, _, err := a.loadKart(name)
	if err != nil {
		return "" // whatever needs the profile reports it
	}
	figures, err := k.Figures(k.Present)
	if err != nil {
		return ""
	}
	return fmt.Sprintf("By its profile, %s has %s %s on the %v now.", k.Name, title[f.key], a.units.Angle(figureOf(figures[f.side], f.key)), f.side)
}

// namesKart reports whether the user said which kart is meant.
func (a *app) namesKart(name string) bool {
	return name != "" || a.Getenv("KARTWRIGHT_KART") != ""
}

// title is what a person calls a key of [corner].
var title = map[string]string{"caster": "caster", "kpi": "KPI", "camber": "camber", "toe": "toe"}

func figureOf(f frontend.Figures, key string) geometry.Angle {
	return map[string]geometry.Angle{"caster": f.Caster, "kpi": f.KPI, "camber": f.Camber, "toe": f.Toe}[key]
}

func withPM(value, pm string, zero bool) string {
	if zero {
		return value
	}
	if !strings.ContainsAny(pm, "123456789") {
		last := strings.LastIndex(pm, "0")
		pm = "less than " + pm[:last] + "1" + pm[last+1:]
	}
	return value + " ± " + pm
}

func (a *app) angleText(m angle) string {
	return withPM(a.units.Angle(m.Value), a.units.Angle(m.PM), m.PM == 0)
}

func (a *app) lengthText(m length) string {
	return withPM(a.units.Length(m.Value), a.units.Length(m.PM), m.PM == 0)
}

// plainLength prints a length that somebody chose, 255 mm, without its noughts.
func (a *app) plainLength(m length) string {
	return strings.Replace(a.lengthText(m), ".00", "", 1)
}

func (a *app) angleIs(what string, m angle) amount {
	return amount{What: what, Value: degrees(m.Value), PM: degrees(m.PM), Unit: "deg", Text: a.angleText(m)}
}

// toeIs adds the length that a toe makes.
func (a *app) toeIs(what string, m angle, over geometry.Length) amount {
	x := a.angleIs(what, m)
	l := frontend.ToeLength(m.Value, over)
	way := "in"
	if l < 0 {
		way = "out"
	}
	x.Text += fmt.Sprintf(" (%s %s over %s)", a.units.Length(geometry.Length(math.Abs(float64(l)))), way, a.plainLength(length{Value: over}))
	return x
}

func (a *app) lengthIs(what string, m length) amount {
	return amount{What: what, Value: round(float64(m.Value)), PM: round(float64(m.PM)), Unit: "mm", Text: a.lengthText(m)}
}

const sideFlag = "side: `SIDE` of the kart that was read, left or right; needed with --write"

// side returns the side that was read.
func (in *inputs) side() (s frontend.Side, given bool) {
	if !in.has("side") {
		return 0, false
	}
	if in.word("side", "left", "right") == "right" {
		return frontend.Right, true
	}
	return frontend.Left, true
}

// ofSide makes figures of the side that was read.
func (in *inputs) ofSide(m *measured, figures ...figure) {
	s, _ := in.side()
	for i := range figures {
		figures[i].side = s
	}
	m.figures = figures
	if in.has("side") {
		for i := range m.found {
			m.found[i].Side = s.String()
		}
	}
}

func (a *app) laserCommand() *cobra.Command {
	return a.reading(&cobra.Command{
		Use:   "laser --beam WAY --distance LENGTH {--up OFFSET | --camber ANGLE} …",
		Short: "Camber and toe from where a laser on the stub axle lands",
		Long: `laser reads a laser that sits on the plain part of the stub axle and shines
along it at an upright target. Offsets are counted from the mark that the beam
would hit without camber and toe: straight across from the stub axle, as high as
it. An offset is a length, or a number of squares of the target.

Given --camber or --toe instead, it says where the spot should be.`,
		Example: `  kartwright measure laser --beam across --distance "1500 mm ± 2 mm" \
      --up "-26 mm ± 1 mm"
  kartwright measure laser --beam outward --distance 2m --square 10mm \
      --up "1.5 squares" --forward="-1 squares"
  kartwright measure laser --beam across --distance 1500mm --camber=-1deg \
      --toe "1 mm out over 255 mm"`,
	}, a.laser,
		"beam: `WAY` the laser shines: across the kart, or outward",
		"distance: `LENGTH` from the stub axle's end of the laser to the target",
		"up: `OFFSET` of the spot upward, - if it is low: 26 mm, or 2.5 squares",
		"forward: `OFFSET` of the spot toward the front, - if it is toward the rear",
		"square: `LENGTH` of the edge of the target's squares",
		"camber: wanted `ANGLE` of camber", "toe: wanted `TOE` of this wheel", sideFlag, writeFlag)
}

func (a *app) laser(in *inputs) (measured, error) {
	reverse := in.wanted([]string{"up", "forward"}, []string{"camber", "toe"})
	in.need("beam", "distance")
	l := measure.Laser{Distance: in.length("distance"), Square: in.length("square").Value}
	if in.has("beam") && in.word("beam", "across", "outward") == "outward" {
		l.Beam = measure.Outward
	}
	m := measured{title: "Laser, " + a.plainLength(l.Distance) + " to the target", laser: true}
	if reverse {
		spot, err := l.Spot(measure.Tilt{Camber: in.angle("camber"), Toe: in.toe("toe")})
		if err != nil || in.err != nil {
			return m, usageError{err}
		}
		line := func(what string, x length, up, down string) {
			y := a.lengthIs(what, x)
			way := up
			if x.Value < 0 {
				way = down
			}
			y.Text += " (" + way + ")"
			m.look = append(m.look, y)
			if n, err := l.ToSquares(x); err == nil {
				m.look = append(m.look, amount{What: what, Value: round(n.Value), PM: round(n.PM), Unit: "squares", Text: number(n, 1) + " squares"})
			}
		}
		if in.has("camber") {
			line("spot up", spot.Up, "high", "low")
		}
		if in.has("toe") {
			line("spot forward", spot.Forward, "toward the front", "toward the rear")
		}
		return m, nil
	}
	tilt, err := l.Read(measure.Spot{Up: in.offset("up", l), Forward: in.offset("forward", l)})
	if err != nil || in.err != nil {
		return m, usageError{err}
	}
	var figures []figure
	if in.has("up") {
		m.found = append(m.found, a.angleIs("camber", tilt.Camber))
		figures = append(figures, figure{key: "camber", angle: tilt.Camber})
	}
	if in.has("forward") {
		m.found = append(m.found, a.toeIs("toe", tilt.Toe, advisor.RimLength))
		figures = append(figures, figure{key: "toe", angle: tilt.Toe})
	}
	in.ofSide(&m, figures...)
	return m, nil
}

// offset reads a place on a target, in a length or in its squares.
func (in *inputs) offset(name string, l measure.Laser) length {
	text := *in.texts[name]
	if !strings.Contains(text, "square") {
		return in.length(name)
	}
	return parsed(in, name, func(text string) (length, error) {
		n, err := geometry.ParseMeasuredLength(strings.NewReplacer("squares", "mm", "square", "mm").Replace(text))
		if err != nil {
			return length{}, fmt.Errorf("%q is not a number of squares (write 2.5 squares)", text)
		}
		return l.FromSquares(geometry.Measured[float64]{Value: float64(n.Value), PM: float64(n.PM)})
	})
}

func number(m geometry.Measured[float64], decimals int) string {
	say := func(v float64) string { return strconv.FormatFloat(v, 'f', decimals, 64) }
	if m.PM == 0 {
		return say(m.Value)
	}
	return say(m.Value) + " ± " + say(m.PM)
}

func (a *app) widthsCommand() *cobra.Command {
	return a.reading(&cobra.Command{
		Use:   "widths --over LENGTH {--front LENGTH --rear LENGTH | --toe TOE | --total TOE}",
		Short: "Toe from the width between the wheels, ahead and behind",
		Long: `widths takes two distances between the front wheels, at one height: ahead of the
stub axles and behind them, and the length fore and aft between the two. Rear
wider than front is toe-in. Each wheel's own toe is half of the total with the
steering centred.

Given a wanted toe of one wheel (--toe) or of both together (--total), it says
by how much the rear should be wider.`,
		Example: `  kartwright measure widths --front "1102 mm ± 0.5 mm" --rear "1101 mm ± 0.5 mm" \
      --over 255mm
  kartwright measure widths --toe "0.5 mm out over 255 mm" --over 255mm`,
	}, func(in *inputs) (measured, error) {
		reverse := in.wanted([]string{"front", "rear"}, []string{"toe", "total"})
		in.need("over")
		over := in.length("over")
		m := measured{title: "Widths, read over " + a.plainLength(over)}
		if reverse {
			total := in.toe("total")
			if in.has("toe") {
				if in.has("total") {
					in.fail("give either --toe, of one wheel, or --total")
				}
				total = in.toe("toe")
				total.Value, total.PM = 2*total.Value, 2*total.PM
			}
			d, err := measure.WidthsFor(total, over)
			if err != nil || in.err != nil {
				return m, usageError{err}
			}
			m.look = []amount{a.lengthIs("rear less front", d)}
			return m, nil
		}
		in.need("front", "rear")
		t, err := measure.Widths{Front: in.length("front"), Rear: in.length("rear"), Over: over}.Toe()
		if err != nil || in.err != nil {
			return m, usageError{err}
		}
		m.found = []amount{a.toeIs("toe of each wheel", t.Each, t.Over), a.angleIs("total toe", t.Total), a.lengthIs("rear less front", t.Width)}
		m.figures = []figure{{"toe", frontend.Left, t.Each}, {"toe", frontend.Right, t.Each}}
		m.notes = append(m.notes, "Each wheel has half of it only if the steering is centred.")
		return m, nil
	}, "front: `LENGTH` between the wheels ahead of the stub axles", "rear: `LENGTH` between the wheels behind them",
		"over: `LENGTH` fore and aft between the two", "toe: wanted `TOE` of one wheel", "total: wanted `TOE` of both together", writeFlag)
}

func (a *app) lineCommand() *cobra.Command {
	return a.reading(&cobra.Command{
		Use:   "line --over LENGTH [--inside] {--front LENGTH --rear LENGTH | --toe TOE}",
		Short: "Toe of one wheel from a string or straight edge along the kart",
		Long: `line takes the distances of one wheel from a straight line fore and aft, ahead
of its stub axle and behind it. The line runs outside the wheels unless --inside
is given. Given --toe, it says by how much the front distance should be larger.`,
		Example: `  kartwright measure line --front "52 mm ± 0.3 mm" --rear "51 mm ± 0.3 mm" \
      --over 255mm
  kartwright measure line --toe=-0.2deg --over 255mm`,
	}, func(in *inputs) (measured, error) {
		reverse := in.wanted([]string{"front", "rear"}, []string{"toe"})
		in.need("over")
		l := measure.Line{Front: in.length("front"), Rear: in.length("rear"), Over: in.length("over")}
		if in.has("inside") {
			l.Inside = true
		}
		m := measured{title: "From a line, read over " + a.plainLength(l.Over)}
		if reverse {
			d, err := l.Difference(in.toe("toe"))
			if err != nil || in.err != nil {
				return m, usageError{err}
			}
			m.look = []amount{a.lengthIs("front less rear", d)}
			return m, nil
		}
		in.need("front", "rear")
		t, err := l.Toe()
		if err != nil || in.err != nil {
			return m, usageError{err}
		}
		m.found = []amount{a.toeIs("toe", t, l.Over.Value)}
		in.ofSide(&m, figure{key: "toe", angle: t})
		return m, nil
	}, "front: `LENGTH` from the line to the wheel ahead of its stub axle", "rear: `LENGTH` from the line to the wheel behind it",
		"over: `LENGTH` fore and aft between the two", "inside!: the line runs between the wheels", "toe: wanted `TOE` of this wheel", sideFlag, writeFlag)
}

func (a *app) inclineCommand() *cobra.Command {
	return a.reading(&cobra.Command{
		Use:   "incline {--reading ANGLE | --camber ANGLE} [--level ANGLE] [--reversed]",
		Short: "Camber from a gauge that shows a lean",
		Long: `incline takes what a lean gauge shows, held upright against the wheel, square to
it. --level is what it shows held the same way against something upright on the
same floor; 0° if not given. --reversed is for a gauge that shows more when the
top leans inward. Given --camber, it says what the gauge should show.`,
		Example: `  kartwright measure incline --reading "89.1 deg ± 0.1 deg" --level 90deg
  kartwright measure incline --camber=-1deg --level 90deg`,
	}, func(in *inputs) (measured, error) {
		reverse := in.wanted([]string{"reading"}, []string{"camber"})
		g := measure.Inclinometer{Level: in.angle("level"), Reversed: in.has("reversed")}
		m := measured{title: "Lean gauge, " + a.angleText(g.Level) + " against something upright"}
		if reverse {
			r, err := g.Reading(in.angle("camber"))
			if err != nil || in.err != nil {
				return m, usageError{err}
			}
			m.look = []amount{a.angleIs("reading", r)}
			return m, nil
		}
		c, err := g.Camber(in.angle("reading"))
		if err != nil || in.err != nil {
			return m, usageError{err}
		}
		m.found = []amount{a.angleIs("camber", c)}
		in.ofSide(&m, figure{key: "camber", angle: c})
		return m, nil
	}, "reading: `ANGLE` that the gauge shows", "level: `ANGLE` that it shows against something upright", "reversed!: it shows more when the top leans inward",
		"camber: wanted `ANGLE` of camber", sideFlag, writeFlag)
}

func (a *app) plumbCommand() *cobra.Command {
	return a.reading(&cobra.Command{
		Use:   "plumb --apart LENGTH {--top LENGTH --bottom LENGTH | --camber ANGLE}",
		Short: "Camber from a plumb line and a rule",
		Long: `plumb takes the gaps between a plumb line that hangs outside the wheel and the
rim, at the top and at the bottom, and the height between the two. Given
--camber, it says by how much the bottom gap should be larger.`,
		Example: `  kartwright measure plumb --top "24.5 mm ± 0.3 mm" --bottom "22 mm ± 0.3 mm" \
      --apart 130mm
  kartwright measure plumb --camber=-1deg --apart 130mm`,
	}, func(in *inputs) (measured, error) {
		reverse := in.wanted([]string{"top", "bottom"}, []string{"camber"})
		in.need("apart")
		p := measure.Plumb{Top: in.length("top"), Bottom: in.length("bottom"), Apart: in.length("apart")}
		m := measured{title: "Plumb line, gaps " + a.plainLength(p.Apart) + " apart"}
		if reverse {
			d, err := measure.PlumbFor(in.angle("camber"), p.Apart)
			if err != nil || in.err != nil {
				return m, usageError{err}
			}
			m.look = []amount{a.lengthIs("bottom less top", d)}
			return m, nil
		}
		in.need("top", "bottom")
		c, err := p.Camber()
		if err != nil || in.err != nil {
			return m, usageError{err}
		}
		m.found = []amount{a.angleIs("camber", c)}
		in.ofSide(&m, figure{key: "camber", angle: c})
		return m, nil
	}, "top: `LENGTH` of the gap at the top", "bottom: `LENGTH` of the gap at the bottom", "apart: `LENGTH` of line between the gaps",
		"camber: wanted `ANGLE` of camber", sideFlag, writeFlag)
}

func (a *app) gaugeCommand() *cobra.Command {
	return a.reading(&cobra.Command{
		Use:   "gauge [--screw NAME] {--reading LENGTH | --caster ANGLE}",
		Short: "Caster from the depth gauge of this kart's screw, and back",
		Long: `gauge says what caster belongs to a reading of the depth gauge beside a screw,
the other adjusters standing where the profile says; or, for a wanted caster,
what the gauge should read. The result's ± is the reading's alone: it does not
hold how well the profile knows its dimensions ('kartwright whatif' does).`,
		Example: `  kartwright measure gauge --reading "6.97 mm ± 0.02 mm"
  kartwright measure gauge --caster 12.5deg --side left`,
	}, a.gauge, "screw: `NAME` of the adjuster; not needed if only one has a gauge",
		"reading: `LENGTH` that the depth gauge shows", "caster: wanted `ANGLE` of caster", "side: `SIDE` that was read: left, right, or both", writeFlag)
}

func (a *app) gauge(in *inputs) (measured, error) {
	reverse := in.wanted([]string{"reading"}, []string{"caster"})
	on, err := sides(*in.texts["side"])
	if err != nil || in.err != nil {
		return measured{}, err
	}
	k, _, err := a.loadKart(in.kart)
	if err != nil {
		return measured{}, err
	}
	m := measured{title: "Kart " + k.Name + ", depth gauge"}
	screw, reading := "", in.length("reading")
	read := reading
	for _, s := range on {
		c := &k.Corners[s]
		screw = *in.texts["screw"]
		for i, adj := range c.Adjusters {
			if g, ok := adj.Adjuster.(adjust.Gauged); ok && screw == "" {
				if _, ok := g.Gauge(k.Present[s][i]); ok {
					screw = adj.Name
				}
			}
		}
		d := measure.Depth{Corner: c, Setting: k.Present[s], Screw: screw}
		if reverse {
			r, err := d.Reading(in.angle("caster"))
			if err != nil || in.err != nil {
				return m, err
			}
			x := a.lengthIs("depth gauge", r.Reading)
			x.Side = s.String()
			m.look = append(m.look, x)
			m.beyond = m.beyond || !r.Answer.OK()
			for _, why := range r.Answer.Reasons {
				m.notes = append(m.notes, sentence(s.String()+": "+why))
			}
			plan, err := advisor.PlanBetween(k, k.Present, withSide(k.Present, s, r.Answer.Best.Setting))
			if err != nil {
				return m, err
			}
			for _, mv := range plan.Sides[s].Worth() {
				m.notes = append(m.notes, sentence(s.String()+" "+mv.Name+": "+mv.Adjuster.Move(mv.From, mv.To, a.units)))
			}
			continue
		}
		if i := c.Index(screw); i >= 0 {
			reading.Value = a.onGauge(c.Adjusters[i].Adjuster, reading.Value)
		}
		r, err := d.Caster(reading)
		if err != nil || in.err != nil {
			return m, err
		}
		x := a.angleIs("caster", r.Caster)
		x.Side = s.String()
		x.Text += " (" + c.Adjusters[c.Index(screw)].Print(r.Setting[c.Index(screw)], a.units) + ")"
		m.found = append(m.found, x)
	}
	if !reverse {
		text := gaugeText(k.Corners[on[0]].Adjusters[k.Corners[on[0]].Index(screw)], reading.Value)
		path := profile.PresentPath(screw)
		if len(on) == 1 {
			path = profile.PresentPath(screw, on[0])
		}
		m.place = "present"
		m.edits = []profile.Edit{{Path: path, Value: text, Note: "depth gauge read " + profileLength(read)}}
	}
	return m, nil
}

func withSide(set [2]adjust.Setting, s frontend.Side, to adjust.Setting) [2]adjust.Setting {
	set[s] = to
	return set
}

func (a *app) centreCommand() *cobra.Command {
	return a.reading(&cobra.Command{
		Use:   "centre {--left LENGTH --right LENGTH | --column ANGLE} …",
		Short: "Is the steering centred: two distances from a mark on the column",
		Long: `centre takes the distances from a mark on the steering column's lug to the frame
on the left and on the right, at points equally far out, and says how far the
column stands from centre and what both should read. --radius is the mark's
distance from the column's axis. The mark hangs below the axis, as a lug does;
give --above if it is above it. Given --column, it says how far apart the two
should read.`,
		Example: `  kartwright measure centre --left "210 mm ± 0.5 mm" --right "206 mm ± 0.5 mm" \
      --radius 38mm
  kartwright measure centre --column "2deg left" --radius 38mm`,
	}, a.centre, "left: `LENGTH` from the mark to the frame's left", "right: `LENGTH` from the mark to the frame's right",
		"radius: `LENGTH` from the column's axis to the mark", "above!: the mark is above the column's axis",
		"column: wanted `ANGLE` of the column, left or right")
}

func (a *app) centre(in *inputs) (measured, error) {
	reverse := in.wanted([]string{"left", "right"}, []string{"column"})
	c := measure.Centre{Left: in.length("left"), Right: in.length("right"), Radius: in.length("radius")}
	if in.has("above") {
		c.Radius.Value = -c.Radius.Value
	}
	m := measured{title: "Steering centre, by a mark on the column"}
	if reverse {
		in.need("radius")
		d, err := c.Difference(parsed(in, "column", func(text string) (angle, error) { return steered(text, "left", "right") }))
		if err != nil || in.err != nil {
			return m, usageError{err}
		}
		m.look = []amount{a.lengthIs("left less right", d)}
		return m, nil
	}
	in.need("left", "right")
	if in.err != nil {
		return m, in.err
	}
	agree := measure.Agree(c.Left, c.Right, measure.RuleTolerance)
	m.found = []amount{a.lengthIs("left less right", agree.Difference), a.lengthIs("centred, both read", c.Centred())}
	m.notes = append(m.notes, sentence("left and right: "+agree.Verdict()))
	if !in.has("radius") {
		return m, nil
	}
	col, err := c.Column()
	if err != nil {
		return m, usageError{err}
	}
	x := a.angleIs("column", angle{Value: geometry.Angle(math.Abs(float64(col.Value))), PM: col.PM})
	x.Value = degrees(col.Value)
	if x.Text += " to the left"; col.Value < 0 {
		x.Text = strings.Replace(x.Text, "to the left", "to the right", 1)
	}
	m.found = append(m.found, x)
	if !a.namesKart(in.kart) {
		return m, nil
	}
	k, _, err := a.loadKart(in.kart)
	if err != nil {
		return m, err
	}
	at, err := k.Axle.Sweep([2]frontend.Shift{k.Corners[0].Shift(k.Present[0]), k.Corners[1].Shift(k.Present[1])}, []geometry.Angle{0, col.Value})
	if err != nil {
		return m, err
	}
	for _, s := range frontend.Sides {
		by := at[1].Steer[s] - at[0].Steer[s]
		if s == frontend.Left {
			by = -by // steered to the left is toe-out of the left wheel
		}
		x := a.angleIs("toe reads off by", angle{Value: by})
		x.Side, x.Text = s.String(), a.units.AngleBy(by)
		m.found = append(m.found, x)
	}
	return m, nil
}

// steered reads an angle with the way it goes, + for the first word.
func steered(text, plus, minus string) (angle, error) {
	t := strings.TrimSpace(text)
	if t == "straight" {
		return angle{}, nil
	}
	sign := geometry.Angle(0)
	if rest, ok := strings.CutSuffix(t, plus); ok {
		t, sign = rest, 1
	} else if rest, ok := strings.CutSuffix(t, minus); ok {
		t, sign = rest, -1
	}
	m, err := geometry.ParseMeasuredAngle(strings.TrimSpace(t))
	if err == nil && m.Value < 0 {
		return m, fmt.Errorf("%q has a sign; say the way in words, 20deg %s or 20deg %s", text, plus, minus)
	}
	if err == nil && sign == 0 && m.Value != 0 {
		return m, fmt.Errorf("%q does not say which way; write 20deg %s or 20deg %s", text, plus, minus)
	}
	m.Value *= sign
	return m, err
}

func (a *app) scalesCommand() *cobra.Command {
	return a.reading(&cobra.Command{
		Use:   "scales {--left-front MASS … | --total MASS --front SHARE …}",
		Short: "Corner weights: total, front, left and cross weight, and back",
		Long: `scales takes what four scales show under the wheels, kart at rest and driver in
the seat unless you mean otherwise, and says the total and the shares. Cross
weight is the share of right front and left rear together.

Given the total and the wanted shares, it says what each scale should show.`,
		Example: `  kartwright measure scales --left-front 34.2kg --right-front 33.8kg \
      --left-rear 47.9kg --right-rear 49.1kg
  kartwright measure scales --total 165kg --front "41 %" --left "50 %" \
      --cross "50 %"`,
	}, a.scales, "left-front: `MASS` on the left front scale", "right-front: `MASS` on the right front scale",
		"left-rear: `MASS` on the left rear scale", "right-rear: `MASS` on the right rear scale",
		"total: `MASS` of all", "front: wanted `SHARE` on both front wheels", "left: wanted `SHARE` on both left wheels",
		"cross: wanted `SHARE` on right front and left rear", writeFlag)
}

func (a *app) scales(in *inputs) (measured, error) {
	readings, wants := []string{"left-front", "right-front", "left-rear", "right-rear"}, []string{"total", "front", "left", "cross"}
	reverse := in.wanted(readings, wants)
	m := measured{title: "Corner weights", place: "standard"}
	massOf := func(what string, x geometry.Measured[measure.Mass]) amount {
		f := geometry.Measured[float64]{Value: float64(x.Value), PM: float64(x.PM)}
		return amount{What: what, Value: round(f.Value), PM: round(f.PM), Unit: "kg", Text: number(f, 1) + " kg"}
	}
	mass := func(name string) geometry.Measured[measure.Mass] {
		return parsed(in, name, geometry.ParseMeasuredMass[measure.Mass])
	}
	if reverse {
		in.need(wants...)
		share := func(name string) geometry.Measured[float64] {
			return parsed(in, name, geometry.ParseMeasuredShare[float64])
		}
		s, err := measure.Weights{Total: mass("total"), Front: share("front"), Left: share("left"), Cross: share("cross")}.Scales()
		if err != nil || in.err != nil {
			return m, usageError{err}
		}
		m.look = []amount{massOf("left front", s.LeftFront), massOf("right front", s.RightFront), massOf("left rear", s.LeftRear), massOf("right rear", s.RightRear)}
		return m, nil
	}
	in.need(readings...)
	s := measure.Scales{LeftFront: mass("left-front"), RightFront: mass("right-front"), LeftRear: mass("left-rear"), RightRear: mass("right-rear")}
	w, err := s.Weights()
	if err != nil || in.err != nil {
		return m, usageError{err}
	}
	for i, x := range []geometry.Measured[measure.Mass]{s.LeftFront, s.RightFront, s.LeftRear, s.RightRear} {
		if x.Value < w.Total.Value/20 || x.Value > w.Total.Value*0.7 {
			return m, usagef("the %s scale shows %s kg of %s kg: has a decimal point slipped?", strings.ReplaceAll(readings[i], "-", " "), number(geometry.Measured[float64]{Value: float64(x.Value)}, 1), number(geometry.Measured[float64]{Value: float64(w.Total.Value)}, 1))
		}
		key := [4]string{"front_left", "front_right", "rear_left", "rear_right"}[i]
		text := massText(x.Value) + " kg"
		if x.PM > 0 {
			text += " ± " + massText(x.PM) + " kg"
		}
		m.edits = append(m.edits, profile.Edit{Path: "mass.scales." + key, Value: text})
	}
	part := func(what string, x geometry.Measured[float64]) amount {
		x.Value, x.PM = 100*x.Value, 100*x.PM
		return amount{What: what, Value: round(x.Value), PM: round(x.PM), Unit: "%", Text: number(x, 1) + " %"}
	}
	m.found = []amount{massOf("total", w.Total), part("front", w.Front), part("left", w.Left), part("cross weight", w.Cross)}
	m.found[3].Text += " (" + measure.CrossDiagonal + ")"
	return m, nil
}

func massText(v measure.Mass) string { return strconv.FormatFloat(float64(v), 'f', -1, 64) }
