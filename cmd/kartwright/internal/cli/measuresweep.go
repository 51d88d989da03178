package cli

import (
	"errors"
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

func (a *app) sweepCommand() *cobra.Command {
	var reads []string
	cmd := &cobra.Command{
		Use:   `sweep {--read "STEER = CAMBER" … | --caster ANGLE --steer ANGLE}`,
		Short: "Caster from the camber of one wheel at two or three steer angles",
		Long: `sweep works out caster from a wheel's camber at two steer angles and its kingpin
inclination, or from three without it; then it finds the inclination too, ten
times less exactly. It uses the exact relation, and says what the workshop
formula makes of the same readings.

Steer is that of the wheel, "20deg out" with its front outboard and "20deg in";
or, with --at column, that of the steering column, "20deg left", which this
kart's own linkage turns into the wheel's. Steer both ways by the same amount.

Given --caster and --steer, it says which camber to look for.`,
		Example: `  kartwright measure sweep --kpi 11deg --read "20 ± 0.3 deg out = 5.1 ± 0.1 deg" \
      --read "20 ± 0.3 deg in = -3.0 ± 0.1 deg"
  kartwright measure sweep --read "20deg out = 5.1deg" --read "straight = 0.4deg" \
      --read "20deg in = -3.0deg"
  kartwright measure sweep --kart alder --side left --caster 12deg \
      --steer 20deg --at column`,
	}
	cmd.Flags().StringArrayVar(&reads, "read", nil, "camber at a steer angle, `\"STEER = CAMBER\"`; two or three times")
	return a.reading(cmd, func(in *inputs) (measured, error) { return a.sweep(in, reads) },
		"at: `PLACE` where steer is read: wheel (usual) or column",
		"kpi: kingpin inclination, `ANGLE`; the profile's if --kart is given",
		"caster: wanted `ANGLE` of caster", "steer: `ANGLE` to steer to, both ways",
		"camber: `ANGLE` of camber straight ahead, with --caster; the profile's if --kart is given",
		"toe: `TOE` straight ahead, with --caster; the profile's if --kart is given",
		"side: `SIDE` of the kart that was read, left or right; needed with --write and --at column", writeFlag)
}

// sweeper is what a sweep knows of its kart.
type sweeper struct {
	in      *inputs
	kart    *profile.Kart // nil if none was named
	side    frontend.Side
	column  bool
	kingpin measure.Kingpin
}

func (a *app) newSweeper(in *inputs) (*sweeper, error) {
	w := &sweeper{in: in}
	if in.has("at") {
		w.column = in.word("at", "wheel", "column") == "column"
	}
	var given bool
	w.side, given = in.side()
	if w.column && !given {
		in.fail("--side is needed with --at column: each wheel steers by its own angle")
	}
	if a.namesKart(in.kart) || w.column {
		var err error
		if w.kart, _, err = a.loadKart(in.kart); err != nil {
			return nil, err
		}
		f, err := w.kart.Figures(w.kart.Present)
		if err != nil {
			return nil, err
		}
		w.kingpin = kingpinOf(f[w.side])
		w.kingpin.KPI.PM = geometry.Angle(pmOf(w.kart, w.side, "kpi"))
	}
	if in.has("kpi") {
		w.kingpin.KPI = in.angle("kpi")
	}
	if in.has("camber") {
		w.kingpin.Camber = in.angle("camber")
	}
	if in.has("toe") {
		w.kingpin.Toe = in.toe("toe")
	}
	return w, in.err
}

func kingpinOf(f frontend.Figures) measure.Kingpin {
	return measure.Kingpin{Caster: angle{Value: f.Caster}, KPI: angle{Value: f.KPI}, Camber: angle{Value: f.Camber}, Toe: angle{Value: f.Toe}}
}

// pmOf returns the ± of a number of [corner], in radians, 0 if it has none.
func pmOf(k *profile.Kart, s frontend.Side, key string) float64 {
	pm := 0.
	for _, n := range k.Numbers {
		switch n.Path {
		case "corner." + key:
			pm = n.PM
		case "corner." + s.String() + "." + key:
			return n.PM
		}
	}
	return pm
}

// steer reads a steer angle and its camber as a reading at the wheel.
func (w *sweeper) steer(text string, camber angle) (measure.Reading, error) {
	if !w.column {
		m, err := steered(text, "out", "in")
		if err != nil && (strings.HasSuffix(text, "left") || strings.HasSuffix(text, "right")) {
			err = errors.New("at the wheel, say out or in, where the front of this wheel goes; left and right are of the column (--at column)")
		}
		return measure.Reading{Steer: m, Camber: camber}, err
	}
	m, err := steered(text, "left", "right")
	if err != nil {
		return measure.Reading{}, err
	}
	k := w.kart
	return measure.AtWheel(&k.Axle, [2]frontend.Shift{k.Corners[0].Shift(k.Present[0]), k.Corners[1].Shift(k.Present[1])}, w.side, m, camber)
}

func (a *app) sweep(in *inputs, reads []string) (measured, error) {
	reverse := in.wanted([]string{"read"}, []string{"caster", "steer"})
	w, err := a.newSweeper(in)
	if err != nil {
		return measured{}, err
	}
	if reverse {
		return a.sweepFor(w)
	}
	if n := len(reads); n < 2 || n > 3 {
		return measured{}, usagef("%d of the readings were given; a sweep needs two, to both sides by the same amount, or three", n)
	}
	var r []measure.Reading
	for _, text := range reads {
		steer, camber, ok := strings.Cut(text, "=")
		if !ok {
			return measured{}, usagef("--read %q: write \"STEER = CAMBER\", for example \"20deg out = 5.1deg\"", text)
		}
		c, err := geometry.ParseMeasuredAngle(camber)
		if err != nil {
			return measured{}, usagef("--read %q: camber: %w", text, err)
		}
		x, err := w.steer(strings.TrimSpace(steer), c)
		if err != nil {
			return measured{}, usagef("--read %q: steer: %w", text, err)
		}
		r = append(r, x)
	}
	var s measure.Swept
	switch {
	case len(r) == 3:
		s, err = measure.CasterFromThree(r[0], r[1], r[2])
	case w.kart == nil && !in.has("kpi"):
		return measured{}, usagef("two readings need the kingpin inclination: --kpi 11deg, or --kart; or a third reading, straight ahead")
	default:
		s, err = measure.CasterFromTwo(r[0], r[1], w.kingpin.KPI)
	}
	if err != nil {
		return measured{}, usageError{err}
	}
	m := measured{title: fmt.Sprintf("Camber sweep, %d readings", len(r)), found: []amount{a.angleIs("caster", s.Caster)}}
	figures := []figure{{key: "caster", angle: s.Caster}}
	if s.Caster.Value < 0 {
		return m, usagef("these readings make a caster of %s: are out and in, or left and right, swapped?", a.units.Angle(s.Caster.Value))
	}
	if w.column {
		for i, x := range r {
			way := "out"
			if x.Steer.Value < 0 {
				way = "in"
			}
			steer, _, _ := strings.Cut(reads[i], "=")
			m.notes = append(m.notes, fmt.Sprintf("Column %s: this wheel stands %s %s.", strings.TrimSpace(steer), a.angleText(angle{Value: geometry.Angle(math.Abs(float64(x.Steer.Value))), PM: x.Steer.PM}), way))
		}
	}
	if len(r) == 3 {
		m.found = append(m.found, a.angleIs("KPI", s.KPI))
		figures = append(figures, figure{key: "kpi", angle: s.KPI})
	} else {
		m.notes = append(m.notes, "With a KPI of "+a.angleText(s.KPI)+".")
	}
	m.notes = append(m.notes, workshopNote(a.units, s))
	lo, hi := r[0].Steer.Value, r[0].Steer.Value
	for _, x := range r {
		lo, hi = min(lo, x.Steer.Value), max(hi, x.Steer.Value)
	}
	k := measure.Kingpin{Caster: s.Caster, KPI: s.KPI, Camber: w.kingpin.Camber}
	if e, err := k.SweepErrors((hi - lo) / 2); err == nil {
		m.notes = append(m.notes, fmt.Sprintf("If the wheel was steered a degree further to both sides than was read, caster is %.1f° too large; a tenth of a degree in each camber reading moves it by %.2f°.", e.Sweep, e.Reading/10))
	}
	in.ofSide(&m, figures...)
	return m, nil
}

func workshopNote(u geometry.Units, s measure.Swept) string {
	way := "too much"
	if s.WorkshopError < 0 {
		way = "too little"
	}
	return fmt.Sprintf("The workshop formula, which many gauges use, makes %s of it: %s %s.", u.Angle(s.Workshop), u.Angle(geometry.Angle(math.Abs(float64(s.WorkshopError)))), way)
}

// sweepFor says which cambers to look for.
func (a *app) sweepFor(w *sweeper) (measured, error) {
	in := w.in
	in.need("caster", "steer")
	k := w.kingpin
	if k.Caster = in.angle("caster"); w.kart == nil && !in.has("kpi") {
		in.fail("the camber to look for depends on the kingpin inclination: --kpi 11deg, or --kart")
	}
	if in.err != nil {
		return measured{}, in.err
	}
	for _, key := range []struct {
		name string
		angle
	}{{"caster", k.Caster}, {"kpi", k.KPI}, {"camber", k.Camber}, {"toe", k.Toe}} {
		if err := plausible(figure{key: key.name, angle: key.angle}); err != nil {
			return measured{}, err
		}
	}
	text := strings.TrimSpace(*in.texts["steer"])
	ways := [2]string{"out", "in"}
	if w.column {
		ways = [2]string{"left", "right"}
	}
	for _, way := range ways {
		text = strings.TrimSpace(strings.TrimSuffix(text, way))
	}
	m := measured{title: fmt.Sprintf("Camber to look for at a caster of %s, KPI %s, camber %s and toe %s straight ahead", a.angleText(k.Caster), a.angleText(k.KPI), a.units.Angle(k.Camber.Value), a.units.Angle(k.Toe.Value))}
	var at [2]angle
	for i, way := range ways {
		r, err := w.steer(text+" "+way, angle{})
		if err != nil {
			return m, usagef("--steer: %w", err)
		}
		if math.Abs(float64(r.Steer.Value)) > float64(60*geometry.Degree) {
			return m, usagef("--steer: no front wheel steers by %s", a.units.Angle(r.Steer.Value))
		}
		at[i] = k.CamberAt(r.Steer)
		what := text + " " + way
		if w.column {
			what = "column " + what
		}
		m.look = append(m.look, a.angleIs(what, at[i]))
	}
	m.look = append(m.look, a.angleIs(ways[0]+" less "+ways[1], angle{Value: at[0].Value - at[1].Value}))
	return m, nil
}

func (a *app) lockCommand() *cobra.Command {
	return a.reading(&cobra.Command{
		Use:   "lock {--left LENGTH --right LENGTH | --caster ANGLE} …",
		Short: "Is caster equal: a rule read on each wheel at the same lock",
		Long: `lock compares the caster of the two sides. Steer each wheel outboard in turn by
the same lock, the left one to the left and the right one to the right, and read
on a rule how far something that leans with the wheel moved from straight ahead:
the rim's top over its bottom, or a laser's spot. + is the top outward. The two
count as equal within 1 mm, or within --within.

With the lock and what the rule reads across (--reach: the height between the
two points, or the laser's distance), it says how much caster the difference is
and what would put it right on this kart; and, given a wanted difference of
caster, left less right, how far apart the rule should read.`,
		Example: `  kartwright measure lock --left "23.0 ± 0.5 mm" --right "24.5 ± 0.5 mm"
  kartwright measure lock --left 23mm --right 26mm --lock 20deg --reach 255mm \
      --kart alder
  kartwright measure lock --caster 0.3deg --lock 20deg --reach 1500mm`,
	}, a.lock, "left: `LENGTH` that the rule shows on the left", "right: `LENGTH` that it shows on the right",
		"within: `LENGTH` within which the two count as equal; 1 mm if not given",
		"lock: `ANGLE` that each wheel is steered by", "reach: `LENGTH` that the rule reads across",
		"caster: wanted `ANGLE` by which the left side's caster exceeds the right side's")
}

func (a *app) lock(in *inputs) (measured, error) {
	reverse := in.wanted([]string{"left", "right"}, []string{"caster"})
	e := measure.EqualLock{Left: in.length("left"), Right: in.length("right"), Lock: in.angle("lock").Value, Reach: in.length("reach").Value}
	m := measured{title: "Rule at equal lock", laser: true}
	k, _, err := a.loadKart(in.kart)
	if err != nil {
		return m, err
	}
	f, err := k.Figures(k.Present)
	if err != nil {
		return m, err
	}
	kingpin := kingpinOf(f[frontend.Left])
	if reverse {
		in.need("lock", "reach")
		d, err := e.Difference(in.angle("caster"), kingpin)
		if err != nil || in.err != nil {
			return m, usageError{err}
		}
		m.look = []amount{a.lengthIs("left less right", d)}
		return m, nil
	}
	in.need("left", "right")
	within := measure.RuleTolerance
	if in.has("within") {
		within = in.length("within").Value
	}
	agree, err := e.Compare(within)
	if err != nil || in.err != nil {
		return m, usageError{err}
	}
	m.found = []amount{a.lengthIs("left less right", agree.Difference)}
	m.notes = append(m.notes, sentence("caster left and right: "+agree.Verdict()+" (within "+a.plainLength(length{Value: within})+")"))
	if l, r := math.Abs(float64(e.Left.Value)), math.Abs(float64(e.Right.Value)); min(l, r) > 0 && measure.Slipped(l, r) {
		return m, usagef("one side reads ten times the other, %s and %s: has a decimal point slipped?", a.units.Length(e.Left.Value), a.units.Length(e.Right.Value))
	}
	if !in.some("lock", "reach") {
		return m, nil
	}
	in.need("lock", "reach")
	by, err := e.Caster(kingpin)
	if err != nil || in.err != nil {
		return m, usageError{err}
	}
	m.found = append(m.found, a.angleIs("caster left less right", by))
	if agree.Equal || !a.namesKart(in.kart) {
		return m, nil
	}
	m.notes = append(m.notes, fmt.Sprintf("The rule does not tell which side is off. On %s either of these would make them equal:", k.Name))
	for _, s := range frontend.Sides {
		want := by.Value
		if s == frontend.Left {
			want = -want
		}
		wants := []advisor.Want{{Figure: adjust.Caster, Value: float64(want), By: true}}
		plan, err := advisor.NewPlan(advisor.Job{Kart: k, From: k.Present, Sides: []frontend.Side{s}, Wants: [2][]advisor.Want{wants, wants}})
		if err != nil {
			return m, err
		}
		var moves []string
		for _, mv := range plan.Sides[0].Worth() {
			moves = append(moves, mv.Name+": "+mv.Adjuster.Move(mv.From, mv.To, a.units))
		}
		text := strings.Join(append(moves, plan.Reasons()...), "; ")
		m.notes = append(m.notes, sentence(fmt.Sprintf("%s, caster by %s: %s", s, a.units.AngleBy(want), text)))
	}
	return m, nil
}
