package fit_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/fit"
	"kartwright/geometry/frontend"
)

const deg = float64(geometry.Degree)

// params are what a person knows of an ordinary kart, and how well.
var params = []fit.Param{
	{Name: "left.caster", Value: 12 * deg, SD: 1.5 * deg},
	{Name: "right.caster", Value: 12 * deg, SD: 1.5 * deg},
	{Name: "left.kpi", Value: 11 * deg, SD: 1 * deg},
	{Name: "right.kpi", Value: 11 * deg, SD: 1 * deg},
	{Name: "left.camber", Value: -0.5 * deg, SD: 0.5 * deg},
	{Name: "right.camber", Value: -0.5 * deg, SD: 0.5 * deg},
	{Name: "left.toe", SD: 0.3 * deg},
	{Name: "right.toe", SD: 0.3 * deg},
	{Name: "span", Unit: fit.Millimetre, Value: 78, SD: 4},
	{Name: "pitch", Unit: fit.Millimetre, Value: 1.25, SD: 0.05},
	{Name: "ratio", Unit: fit.None, Value: 1, SD: 0.15},
	{Name: "eccentricity", Unit: fit.Millimetre, Value: 2, SD: 0.15},
	{Name: "arm length", Unit: fit.Millimetre, Value: 105, SD: 4},
	{Name: "arm angle", Value: 10 * deg, SD: 3 * deg},
	{Name: "stub lead", Unit: fit.Millimetre, SD: 2},
	{Name: "zero of the camber gauge", Value: 0, SD: 0.2 * deg, Zero: "camber gauge"},
	{Name: "zero of the depth gauge", Unit: fit.Millimetre, SD: 0.2, Zero: "depth gauge"},
}

// only picks some of the params by name, in their order.
func only(names ...string) (out []fit.Param) {
	for _, p := range params {
		if slices.Contains(names, p.Name) {
			out = append(out, p)
		}
	}
	if len(out) != len(names) {
		panic("a parameter is misspelt")
	}
	return out
}

// bench builds the test's kart: a caster screw, a twelve-hole camber plate and
// tie rods, with the numbers of params where at does not give them.
func bench(at map[string]float64) (*fit.Kart, error) {
	v := func(name string) float64 {
		if x, ok := at[name]; ok {
			return x
		}
		return params[slices.IndexFunc(params, func(p fit.Param) bool { return p.Name == name })].Value
	}
	var k fit.Kart
	for _, s := range frontend.Sides {
		angle := func(name string) geometry.Angle { return geometry.Angle(v(name)) }
		own := func(name string) geometry.Angle { return angle(s.String() + "." + name) }
		c, err := frontend.Dimensions{
			Caster: own("caster"), KPI: own("kpi"), Camber: own("camber"), Toe: own("toe"),
			KingpinSpacing: 716, PivotSpan: geometry.Length(v("span")), StubHeight: 39, StubLength: 165, StubLead: geometry.Length(v("stub lead")),
			TyreRadius: 128, ArmLength: geometry.Length(v("arm length")), ArmAngle: angle("arm angle"), ArmDrop: 8,
			ColumnBehind: 125, ColumnHeight: 15, ColumnRake: 45 * geometry.Degree, LugDrop: 38, LugSpacing: 40,
		}.Corner()
		if err != nil {
			return nil, err
		}
		k[s] = adjust.Corner{Side: s, Front: c}
		if k[s].Adjusters, err = adjusters(s, v("pitch"), v("ratio"), v("eccentricity")); err != nil {
			return nil, err
		}
	}
	return &k, nil
}

// fitted remembers the adjusters of each side last built: most numbers do not
// concern them.
var fitted [2]struct {
	numbers [3]float64
	named   []adjust.Named
}

func adjusters(s frontend.Side, pitch, ratio, eccentricity float64) ([]adjust.Named, error) {
	last := &fitted[s]
	numbers := [3]float64{pitch, ratio, eccentricity}
	if last.named != nil && last.numbers == numbers {
		return last.named, nil
	}
	var named []adjust.Named
	for _, a := range []struct {
		name, kind string
		raw        map[string]any
		nudge      map[string]float64
	}{
		{"caster screw", "screw", map[string]any{"pivot": "top", "tightening_moves": "rearward", "pitch": "1.25 mm", "ratio": ratio,
			"travel_in": "3 turns", "travel_out": "3 turns", "gauge": "7.6 mm"}, map[string]float64{"pitch": pitch - 1.25}},
		{"camber plate", "eccentric", map[string]any{"pivot": "top", "moves": "in-out", "eccentricity": "2 mm", "positions": int64(12),
			"home": "12 o'clock", "hole_from_mark": "180 deg"}, map[string]float64{"eccentricity": eccentricity - 2}},
		{"tie rod", "tie-rod", map[string]any{"thread": "M8"}, nil},
	} {
		kind, ok := adjust.KindNamed(a.kind)
		if !ok {
			panic("no kind " + a.kind)
		}
		values := adjust.Values{Side: s, Raw: a.raw, Nudge: a.nudge}
		built := kind.Build(&values)
		if len(values.Errors) > 0 {
			return nil, values.Errors[0]
		}
		named = append(named, adjust.Named{Name: a.name, Adjuster: built})
	}
	last.numbers, last.named = numbers, named
	return named, nil
}

// both is one setting on both sides: turns of the screw, holes of the plate.
func both(screw, plate float64) [2]adjust.Setting {
	return [2]adjust.Setting{{screw, plate, 0}, {screw, plate, 0}}
}

// read appends readings of both sides with the spread that a careful person
// reaches with workshop gauges.
func read(rs []fit.Reading, set [2]adjust.Setting, what ...fit.Quantity) []fit.Reading {
	for _, q := range what {
		for _, s := range frontend.Sides {
			r := fit.Reading{Quantity: q, Side: s, Setting: set}
			switch q {
			case fit.Camber:
				r.SD, r.Instrument = 0.1*deg, "camber gauge"
			case fit.Toe:
				r.SD = 0.06 * deg
			case fit.Caster:
				r.SD = 0.2 * deg
			case fit.KPI:
				r.SD = 0.3 * deg
			case fit.Depth:
				r.SD, r.Instrument, r.Adjuster = 0.05, "depth gauge", "caster screw"
			}
			rs = append(rs, r)
		}
	}
	return rs
}

// session is an afternoon's readings: the screw at three places, the plate at
// two, and the column left and right.
func session() []fit.Reading {
	rs := read(nil, both(0, 0), fit.Camber, fit.Toe, fit.Caster, fit.KPI, fit.Depth)
	rs = read(rs, both(2.5, 0), fit.Camber, fit.Caster, fit.Depth)
	rs = read(rs, both(-2.5, 0), fit.Camber, fit.Caster, fit.Depth)
	rs = read(rs, both(0, 3), fit.Camber, fit.KPI, fit.Toe)
	for _, s := range frontend.Sides {
		for _, c := range []geometry.Angle{20, -20} {
			rs = append(rs, fit.Reading{Quantity: fit.Steer, Side: s, Column: c * geometry.Degree, SD: 0.3 * deg})
		}
	}
	return rs
}

// truth draws a kart from what is known.
func truth(r *rand.Rand, params []fit.Param) map[string]float64 {
	at := map[string]float64{}
	for _, p := range params {
		at[p.Name] = p.Value + p.SD*r.NormFloat64()
	}
	return at
}

// take fills in what the readings show on the true kart, with errors of size
// times their SD.
func take(t testing.TB, r *rand.Rand, rs []fit.Reading, at map[string]float64, size float64) []fit.Reading {
	t.Helper()
	k, err := bench(at)
	require.NoError(t, err)
	rs = slices.Clone(rs)
	for i := range rs {
		v, err := rs[i].Of(k)
		require.NoError(t, err)
		if rs[i].Instrument != "" {
			v += at["zero of the "+rs[i].Instrument]
		}
		rs[i].Value = v + size*rs[i].SD*r.NormFloat64()
	}
	return rs
}

const casterTurns = "turns for +0.5° caster"

func halfDegree(s frontend.Side) fit.Answer {
	return fit.Moves(casterTurns, s, nil, "caster screw", adjust.Caster, 0.5*deg)
}

// Five hundred karts drawn from what is known of them, each measured with
// Gaussian errors: the 95 % intervals must hold the truth in 95 % of the cases,
// and the turns for half a degree of caster must come out to a tenth of a turn.
func TestSyntheticKarts(t *testing.T) {
	const karts = 500
	r := rand.New(rand.NewPCG(2026, 500))
	covered := make([]int, len(params))
	answers, within, before, converged := 0, 0, 0, 0
	var ratio float64 // of SD after to SD before, of the answer
	for n := range karts {
		at := truth(r, params)
		p := fit.Problem{Params: params, Kart: bench, Readings: take(t, r, session(), at, 1), Answers: []fit.Answer{halfDegree(frontend.Left)}}
		got, err := fit.Fit(p)
		require.NoErrorf(t, err, "kart %d", n)
		if got.Status == fit.Converged {
			converged++
		}
		k := got.Interval(0.95)
		for j, q := range params {
			if math.Abs(got.Value[j]-at[q.Name]) <= k*got.SD[j] {
				covered[j]++
			}
		}
		real, err := bench(at)
		require.NoError(t, err)
		want, err := p.Answers[0].Of(real)
		require.NoError(t, err)
		a := got.Answers[0]
		if math.Abs(a.Value-want) <= k*a.SD {
			answers++
		}
		if math.Abs(a.Value-want) <= 0.1 {
			within++
		}
		if math.Abs(a.Prior-want) <= 0.1 {
			before++
		}
		ratio += a.SD / a.PriorSD / karts
	}
	if converged != karts {
		t.Errorf("%d of %d fits converged", converged, karts)
	}
	all := 0
	for j, c := range covered {
		all += c
		// One of the intervals alone may stray by three binomial SDs of 1 %.
		if c < karts*92/100 || c > karts*98/100 {
			t.Errorf("95 %% intervals of %s hold the truth in %d of %d karts", params[j].Name, c, karts)
		}
	}
	share := float64(all) / float64(karts*len(params))
	if share < 0.93 || share > 0.97 {
		t.Errorf("95 %% intervals hold the truth in %.1f %% of the cases, want 93 to 97 %%", 100*share)
	}
	if answers < karts*93/100 || answers > karts*97/100 {
		t.Errorf("the interval of the turns holds the truth in %d of %d karts, want 93 to 97 %%", answers, karts)
	}
	if within < karts*95/100 {
		t.Errorf("the turns are within 0.1 of the true kart's in %d of %d karts, want at least 95 %%", within, karts)
	}
	t.Logf("coverage %.2f %%, of the turns %.1f %%; turns within 0.1: %d of %d (before the readings %d); SD of the turns falls to %.0f %%",
		100*share, 100*float64(answers)/karts, within, karts, before, 100*ratio)
}

// Readings without error give the kart back, however far off the start was.
func TestExactReadings(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	ps := only("left.caster", "right.caster", "left.camber", "right.camber", "left.toe", "right.toe", "left.kpi", "right.kpi", "span", "arm length", "arm angle")
	for n := range 20 {
		at := truth(r, ps)
		rs := take(t, r, session(), at, 0)
		for i := range rs {
			rs[i].SD /= 1000
		}
		got, err := fit.Fit(fit.Problem{Params: ps, Kart: bench, Readings: rs})
		require.NoError(t, err)
		for j, p := range ps {
			if math.Abs(got.Value[j]-at[p.Name]) > 2e-3*p.SD {
				t.Errorf("kart %d: %s = %v, want %v", n, p.Name, got.Value[j], at[p.Name])
			}
		}
	}
}

// A number known only to lie in a range is learnt as well as the readings
// allow.
func TestRange(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	ps := only("left.caster", "span")
	ps[1].SD, ps[1].Lo, ps[1].Hi = 0, 50, 120
	at := map[string]float64{"span": 91, "left.caster": 11 * deg}
	rs := read(read(read(nil, both(0, 0), fit.Caster), both(3, 0), fit.Caster), both(-3, 0), fit.Caster)
	rs = slices.DeleteFunc(rs, func(r fit.Reading) bool { return r.Side == frontend.Right })
	got, err := fit.Fit(fit.Problem{Params: ps, Kart: bench, Readings: take(t, r, rs, at, 0)})
	require.NoError(t, err)
	// Six turns are 7.5 mm: 2.3 % of the change of caster, so some 4 mm of span.
	if d := math.Abs(got.Value[1] - 91); d > 1.5 || got.SD[1] < 2 || got.SD[1] > 7 {
		t.Errorf("span %.2f ± %.2f, want 91 within 1.5 and an SD near 5", got.Value[1], got.SD[1])
	}
}

// Readings are what package frontend's sweep of the whole axle shows.
func TestReadingsAgreeWithSweep(t *testing.T) {
	r := rand.New(rand.NewPCG(71, 72))
	k, err := bench(truth(r, params))
	require.NoError(t, err)
	set := [2]adjust.Setting{{1.5, 3, 0.25}, {-2, -1, 0}}
	axle := frontend.Axle{Wheelbase: 1045}
	var shift [2]frontend.Shift
	for _, s := range frontend.Sides {
		axle.Corner[s], shift[s] = k[s].Front, k[s].Shift(set[s])
	}
	of := func(r fit.Reading) float64 {
		t.Helper()
		r.Setting = set
		v, err := r.Of(k)
		require.NoError(t, err)
		return v
	}
	same := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 1e-12*(1+math.Abs(want)) {
			t.Errorf("%s reads %v, the axle shows %v", what, got, want)
		}
	}
	column := []geometry.Angle{0, 0.3, -0.3}
	sweep, err := axle.Sweep(shift, column)
	require.NoError(t, err)
	for _, s := range frontend.Sides {
		level := of(fit.Reading{Quantity: fit.Height, Side: s})
		f, err := k[s].Values(set[s])
		require.NoError(t, err)
		same("height", level, f[adjust.Height])
		same("caster", of(fit.Reading{Quantity: fit.Caster, Side: s}), f[adjust.Caster])
		same("toe", of(fit.Reading{Quantity: fit.Toe, Side: s}), f[adjust.Toe])
		for i, c := range column {
			same("steer", of(fit.Reading{Quantity: fit.Steer, Side: s, Column: c}), float64(sweep[i].Steer[s]))
			same("camber", of(fit.Reading{Quantity: fit.Camber, Side: s, Column: c}), float64(sweep[i].Camber[s]))
			same("height", of(fit.Reading{Quantity: fit.Height, Side: s, Column: c})-level, -float64(sweep[i].Height[s]))
			held := fit.Reading{Quantity: fit.Camber, Side: s, AtSteer: true, Steer: sweep[i].Steer[s]}
			same("camber with the wheel held", of(held), float64(sweep[i].Camber[s]))
		}
		g, ok := k[s].Adjusters[0].Adjuster.(adjust.Gauged)
		require.True(t, ok)
		depth, ok := g.Gauge(set[s][0])
		require.True(t, ok)
		same("depth", of(fit.Reading{Quantity: fit.Depth, Side: s, Adjuster: "caster screw"}), float64(depth))
	}
	same("total toe", of(fit.Reading{Quantity: fit.TotalToe}), float64(sweep[0].Steer[1]-sweep[0].Steer[0]))
	l, err := k[0].Figures(set[0])
	require.NoError(t, err)
	o, err := k[1].Figures(set[1])
	require.NoError(t, err)
	same("track", of(fit.Reading{Quantity: fit.Track}), l.Contact.Y+o.Contact.Y)
	same("kpi", of(fit.Reading{Quantity: fit.KPI, Side: frontend.Right}), float64(o.KPI))
}

// Moves agrees with the inverse of package adjust.
func TestMovesAgreesWithSolve(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for range 20 {
		k, err := bench(truth(r, params))
		require.NoError(t, err)
		c := &k[frontend.Left]
		now := c.Standard()
		v, err := c.Values(now)
		require.NoError(t, err)
		a, err := c.Solve(now, adjust.Goal{}.Ask(adjust.Caster, v[adjust.Caster]+0.5*deg))
		require.NoError(t, err)
		got, err := halfDegree(frontend.Left).Of(k)
		require.NoError(t, err)
		if want := a.Best.Setting[0]; math.Abs(got-want) > 1e-6 {
			t.Errorf("Moves says %v turns, Solve %v", got, want)
		}
	}
}

// What Next promises of a reading is what taking it brings, if it reads as
// expected.
func TestNextKeepsItsPromise(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	ps := only("left.caster", "left.kpi", "left.camber", "span", "ratio", "pitch", "eccentricity")
	rs := take(t, r, read(read(nil, both(0, 0), fit.Camber, fit.Caster), both(1, 0), fit.Caster), truth(r, ps), 1)
	p := fit.Problem{Params: ps, Kart: bench, Readings: rs, Answers: []fit.Answer{halfDegree(frontend.Left)}}
	before, err := fit.Fit(p)
	require.NoError(t, err)
	lessons, err := fit.Next(before, casterTurns, nil)
	require.NoError(t, err)
	if len(lessons) < 20 {
		t.Fatalf("only %d readings to choose from", len(lessons))
	}
	for i, l := range lessons {
		if i > 0 && l.SD < lessons[i-1].SD {
			t.Errorf("lesson %d (%v) is better than the one before it", i, l.Text)
		}
		if l.SD > l.Before {
			t.Errorf("%s: the SD would grow from %v to %v", l.Text, l.Before, l.SD)
		}
		if i%5 != 0 {
			continue
		}
		p.Readings = append(slices.Clone(rs), l.Reading)
		after, err := fit.Fit(p)
		require.NoError(t, err)
		if got := after.Answers[0].SD; math.Abs(got-l.SD) > 1e-3*l.SD {
			t.Errorf("%s: SD %.5f after it was taken, promised %.5f", l.Text, got, l.SD)
		}
	}
	// What the screw does is seen by turning it all the way.
	best := lessons[0].Reading
	if best.Quantity != fit.Caster || math.Abs(best.Setting[0][0]) != 3 {
		t.Errorf("best lesson is %q, want caster with the screw at one end of its travel", lessons[0].Text)
	}
	if _, err := fit.Next(before, "lap time", nil); err == nil || !strings.Contains(err.Error(), casterTurns) {
		t.Errorf("error %v, want one that lists the answers", err)
	}
}

// Caster against turns gives ratio over span and never either: the report says
// so and names the reading that would tell.
func TestReportInseparable(t *testing.T) {
	r := rand.New(rand.NewPCG(21, 22))
	ps := only("left.caster", "left.kpi", "left.camber", "span", "ratio")
	ps[3].Doc, ps[4].Doc = "the span between the pivots", "the screw's ratio"
	at := truth(r, ps)
	rs := read(read(read(nil, both(0, 0), fit.Caster), both(3, 0), fit.Caster), both(-3, 0), fit.Caster)
	rs = read(rs, both(0, 0), fit.Camber)
	rs = slices.DeleteFunc(rs, func(r fit.Reading) bool { return r.Side == frontend.Right })
	for i := range rs {
		rs[i].SD = 0.02 * deg
	}
	rs = take(t, r, rs, at, 1)
	p := fit.Problem{Params: ps, Kart: bench, Readings: rs, Answers: []fit.Answer{halfDegree(frontend.Left)}}
	got, err := fit.Fit(p)
	require.NoError(t, err)
	lines, err := got.Report()
	require.NoError(t, err)
	text := strings.Join(lines, "\n")
	t.Log("\n" + text)
	for _, want := range []string{
		"cannot tell the span between the pivots and the screw's ratio apart",
		"One more reading would: left camber with camber plate at ",
		"say little of left.kpi:",
		casterTurns + ": ",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the report does not say %q:\n%s", want, text)
		}
	}
	// Yet the turns, which need only ratio over span, are well known.
	if a := got.Answers[0]; a.SD > 0.1*a.PriorSD {
		t.Errorf("%s ± %v, before ± %v: want a tenth", a.Name, a.SD, a.PriorSD)
	}
	if rho := got.Correlation(3, 4); rho < 0.99 {
		t.Errorf("span and ratio correlate by %v, want nearly 1", rho)
	}
}

// Readings that cannot be what they are said to be are named, and nothing is
// fitted.
func TestFaults(t *testing.T) {
	r := rand.New(rand.NewPCG(31, 32))
	at := truth(r, params)
	at["left.caster"], at["right.caster"] = 13*deg, 10.5*deg
	at["left.camber"], at["right.camber"] = -1.6*deg, 0.4*deg
	good := take(t, r, session(), at, 1)
	index := func(q fit.Quantity, s frontend.Side, screw, plate float64) int {
		i := slices.IndexFunc(good, func(r fit.Reading) bool {
			return r.Quantity == q && r.Side == s && r.Setting[s] != nil && r.Setting[s][0] == screw && r.Setting[s][1] == plate
		})
		if i < 0 {
			panic("no such reading")
		}
		return i
	}
	caster := index(fit.Caster, frontend.Left, 2.5, 0)
	depth := index(fit.Depth, frontend.Right, -2.5, 0)
	camber := index(fit.Camber, frontend.Left, 0, 0)
	other := index(fit.Camber, frontend.Right, 0, 0)
	steer := slices.IndexFunc(good, func(r fit.Reading) bool { return r.Quantity == fit.Steer })
	for _, tt := range []struct {
		name  string
		kind  fit.FaultKind
		at    int
		says  string
		spoil func([]fit.Reading) []fit.Reading
	}{
		{"NaN", fit.NotANumber, caster, "value is not a number", func(r []fit.Reading) []fit.Reading { r[caster].Value = math.NaN(); return r }},
		{"no spread", fit.NotANumber, caster, "± must be positive", func(r []fit.Reading) []fit.Reading { r[caster].SD = 0; return r }},
		{"ten times", fit.UnitMixUp, depth, "ten times too large", func(r []fit.Reading) []fit.Reading { r[depth].Value *= 10; return r }},
		{"radians twice", fit.UnitMixUp, caster, "57.3 times too small", func(r []fit.Reading) []fit.Reading { r[caster].Value *= deg; return r }},
		{"a tenth", fit.UnitMixUp, caster, "ten times too small", func(r []fit.Reading) []fit.Reading { r[caster].Value /= 10; return r }},
		{"ten times a small camber", fit.UnitMixUp, camber, "ten times too large", func(r []fit.Reading) []fit.Reading { r[camber].Value *= 10; return r }},
		{"inches", fit.UnitMixUp, depth, "inches had been taken for millimetres", func(r []fit.Reading) []fit.Reading { r[depth].Value /= 25.4; return r }},
		{"all depths in inches", fit.UnitMixUp, depth, "inches had been taken for millimetres", func(r []fit.Reading) []fit.Reading {
			for i := range r {
				if r[i].Quantity == fit.Depth {
					r[i].Value /= 25.4
				}
			}
			return r
		}},
		{"degrees as radians", fit.UnitMixUp, caster, "is no angle that a wheel or kingpin stands at", func(r []fit.Reading) []fit.Reading { r[caster].Value /= deg; return r }},
		{"wrong way", fit.WrongSign, steer, "sign turned round", func(r []fit.Reading) []fit.Reading { r[steer].Value *= -1; return r }},
		{"a pair swapped", fit.SidesSwapped, camber, "look swapped", func(r []fit.Reading) []fit.Reading {
			r[camber].Value, r[other].Value = r[other].Value, r[camber].Value
			return r
		}},
		{"too few", fit.TooFew, -1, "too few readings: 1", func(r []fit.Reading) []fit.Reading { return r[:1] }},
		{"one setting", fit.OneSetting, -1, "all readings were taken at one setting, so they say nothing of span, ", func(r []fit.Reading) []fit.Reading { return r[:10] }},
		{"outside its travel", fit.BadSetting, 3, "caster screw stands at 9.00 turns tighter, outside its travel, 3.00 turns looser to 3.00 turns tighter", func(r []fit.Reading) []fit.Reading {
			r[3].Setting = both(9, 0)
			return r
		}},
		{"a setting too short", fit.BadSetting, 3, "1 positions for the 3 adjusters", func(r []fit.Reading) []fit.Reading {
			r[3].Setting = [2]adjust.Setting{{0}, {0}}
			return r
		}},
		{"no such gauge", fit.BadSetting, depth, "camber plate has no depth gauge", func(r []fit.Reading) []fit.Reading { r[depth].Adjuster = "camber plate"; return r }},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := fit.Fit(fit.Problem{Params: params, Kart: bench, Readings: tt.spoil(slices.Clone(good))})
			var f *fit.Faults
			if !errors.As(err, &f) {
				t.Fatalf("error %v, want faults", err)
			}
			if !slices.ContainsFunc(f.List, func(f fit.Fault) bool {
				return f.Kind == tt.kind && (f.Reading == tt.at || tt.name == "a pair swapped" && f.Reading == other) && strings.Contains(f.Text, tt.says)
			}) {
				t.Errorf("faults %v, want %v of reading %d that says %q", f, tt.kind, tt.at, tt.says)
			}
			t.Log(f)
		})
	}
	if _, err := fit.Fit(fit.Problem{Params: params, Kart: bench, Readings: good}); err != nil {
		t.Errorf("the readings unspoilt: %v", err)
	}
}

// Both sides' columns exchanged are found when the sides stand differently.
func TestSidesSwapped(t *testing.T) {
	r := rand.New(rand.NewPCG(41, 42))
	ps := only("left.caster", "right.caster", "span")
	for i := range ps[:2] {
		ps[i].SD = 0.2 * deg
	}
	left := [2]adjust.Setting{{2, 0, 0}, {-2, 0, 0}}
	right := [2]adjust.Setting{{-1, 0, 0}, {1, 0, 0}}
	rs := take(t, r, read(read(read(nil, left, fit.Caster), right, fit.Caster), both(0, 0), fit.Caster), truth(r, ps), 1)
	for i := range rs {
		rs[i].Side = 1 - rs[i].Side
	}
	_, err := fit.Fit(fit.Problem{Params: ps, Kart: bench, Readings: rs})
	var f *fit.Faults
	if !errors.As(err, &f) || f.List[0].Kind != fit.SidesSwapped {
		t.Errorf("error %v, want that the sides look swapped", err)
	}
}

// A gross error without an explanation is flagged and does not stop the fit.
func TestPlainOutlier(t *testing.T) {
	r := rand.New(rand.NewPCG(51, 52))
	rs := take(t, r, session(), truth(r, params), 1)
	i := slices.IndexFunc(rs, func(r fit.Reading) bool { return r.Quantity == fit.Steer })
	rs[i].Value += 4 * deg
	got, err := fit.Fit(fit.Problem{Params: params, Kart: bench, Readings: rs})
	require.NoError(t, err)
	for n, row := range got.Rows {
		if row.Outlier != (n == i) {
			t.Errorf("reading %d (%s) flagged %v", n, row.Name, row.Outlier)
		}
	}
	lines, err := got.Report()
	require.NoError(t, err)
	if text := strings.Join(lines, "\n"); !strings.Contains(text, "Left steer with the column at +20.00° at standard is ") {
		t.Errorf("the report does not name the reading:\n%s", text)
	}
}

// What is asked for must make sense.
func TestProblems(t *testing.T) {
	for _, tt := range []struct {
		name, want string
		params     []fit.Param
	}{
		{"none", "no numbers to learn", nil},
		{"twice", "span is to be learnt twice", append(only("span"), only("span")...)},
		{"no spread", "needs a ± or a range", []fit.Param{{Name: "span", Value: 78}}},
		{"outside", "span = 78.00 mm lies outside its range, 80.00 mm to 90.00 mm", []fit.Param{{Name: "span", Unit: fit.Millimetre, Value: 78, SD: 1, Lo: 80, Hi: 90}}},
		{"no such gauge", "none was taken with the depth gauge, whose zero is to be learnt", only("zero of the depth gauge")},
		{"impossible kart", "with the numbers known before: ", []fit.Param{{Name: "span", Value: 0, SD: 1}}},
	} {
		_, err := fit.Fit(fit.Problem{Params: tt.params, Kart: bench, Readings: read(nil, both(0, 0), fit.Caster)})
		if err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: error %v, want one that says %q", tt.name, err, tt.want)
		}
	}
}

// Whatever was written down, the outcome is an error or finite numbers.
func TestAnyReadings(t *testing.T) {
	ps := only("left.caster", "right.caster", "left.camber", "span", "ratio", "arm length")
	k, err := bench(nil)
	require.NoError(t, err)
	fits := 0
	rapid.Check(t, func(t *rapid.T) {
		mad := rapid.IntRange(0, 3).Draw(t, "mad") == 0 // one in four makes no sense at all
		var rs []fit.Reading
		for range rapid.IntRange(1, 8).Draw(t, "n") {
			r := fit.Reading{
				Quantity:   fit.Quantity(rapid.IntRange(0, int(fit.Depth)).Draw(t, "quantity")),
				Side:       frontend.Sides[rapid.IntRange(0, 1).Draw(t, "side")],
				Setting:    both(rapid.Float64Range(-3, 3).Draw(t, "screw"), float64(rapid.IntRange(-5, 6).Draw(t, "plate"))),
				Adjuster:   "caster screw",
				Instrument: rapid.SampledFrom([]string{"", "camber gauge"}).Draw(t, "instrument"),
				Column:     geometry.Angle(rapid.Float64Range(-0.5, 0.5).Draw(t, "column")),
				Steer:      geometry.Angle(rapid.Float64Range(-0.5, 0.5).Draw(t, "steer")),
				AtSteer:    rapid.Bool().Draw(t, "at steer"),
			}
			r.SD = rapid.Float64Range(0.001, 0.02).Draw(t, "sd")
			if r.Quantity.Unit() == fit.Millimetre {
				r.SD *= 50
			}
			if v, err := r.Of(k); err == nil {
				r.Value = v + r.SD*rapid.Float64Range(-5, 5).Draw(t, "error")
			}
			if mad {
				r.Adjuster = rapid.SampledFrom([]string{"camber plate", "wing", "caster screw"}).Draw(t, "adjuster")
				r.Value = rapid.OneOf(rapid.Float64Range(-100, 100), rapid.Just(math.NaN())).Draw(t, "value")
				r.Column *= 10
				r.Steer *= 10
			}
			rs = append(rs, r)
		}
		got, err := fit.Fit(fit.Problem{Params: ps, Kart: bench, Readings: rs, Answers: []fit.Answer{halfDegree(frontend.Left)}})
		if err != nil {
			return
		}
		fits++
		for j, p := range got.Params {
			if math.IsNaN(p.Value+p.SD) || math.IsInf(p.Value+p.SD, 0) || p.SD > p.Param.SD*(1+1e-6) {
				t.Errorf("%s = %v ± %v, before ± %v", ps[j].Name, p.Value, p.SD, p.Param.SD)
			}
		}
		if a := got.Answers[0]; math.IsNaN(a.Value + a.SD) {
			t.Errorf("turns %v ± %v", a.Value, a.SD)
		}
		if _, err := got.Report(); err != nil {
			t.Errorf("no report: %v", err)
		}
	})
	if fits < 20 {
		t.Errorf("only %d of the drawn sets of readings were fitted: the test shows little", fits)
	}
}

// The same problem gives the same answer to the last bit.
func TestRepeatable(t *testing.T) {
	r := rand.New(rand.NewPCG(61, 62))
	p := fit.Problem{Params: params, Kart: bench, Readings: take(t, r, session(), truth(r, params), 1), Answers: []fit.Answer{halfDegree(frontend.Right)}}
	a, err := fit.Fit(p)
	require.NoError(t, err)
	b, err := fit.Fit(p)
	require.NoError(t, err)
	if d := cmp.Diff(a.Estimate, b.Estimate); d != "" {
		t.Errorf("two fits of one problem differ:\n%s", d)
	}
}

func BenchmarkFit(b *testing.B) {
	r := rand.New(rand.NewPCG(61, 62))
	p := fit.Problem{Params: params, Kart: bench, Readings: take(b, r, session(), truth(r, params), 1), Answers: []fit.Answer{halfDegree(frontend.Right)}}
	for b.Loop() {
		if _, err := fit.Fit(p); err != nil {
			b.Fatal(err)
		}
	}
}
