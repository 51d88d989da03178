package advisor_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"kartwright/advisor"
	"kartwright/advisor/profile"
	"kartwright/advisor/profile/demo"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
	"kartwright/geometry/loads"
)

const degree = geometry.Degree

func demoKart(t testing.TB, name string) *profile.Kart {
	data, ok := demo.Read(name)
	require.True(t, ok)
	k, found := profile.Parse(name+".toml", data)
	require.NotNil(t, k, "%v", found)
	return k
}

func standing(t testing.TB, k *profile.Kart) *advisor.Variant {
	v, err := advisor.Standing(k)
	require.NoError(t, err)
	return v
}

func inBend(t testing.TB, v *advisor.Variant, column geometry.Angle, ay loads.Accel) [2]advisor.InBend {
	b, err := v.InBend(column, ay)
	require.NoError(t, err)
	return b
}

// Turning a knob is the same as writing the other number into the profile.
func TestKnobsAreTheProfilesNumbers(t *testing.T) {
	k := demoKart(t, "birch") // no scales: their unevenness would be read anew
	for _, tt := range []struct {
		knob advisor.Knob
		path string
		d    float64
	}{
		{advisor.KnobCaster, "corner.caster", float64(1.5 * degree)},
		{advisor.KnobKPI, "corner.kpi", float64(-1 * degree)},
		{advisor.KnobCamber, "corner.camber", float64(-0.75 * degree)},
		{advisor.KnobTrack, "corner.stub_length", 5},
	} {
		v, err := standing(t, k).With(tt.knob, tt.d)
		require.NoError(t, err)
		other, err := k.With(tt.path, tt.d)
		require.NoError(t, err)
		got, err := v.Figures()
		require.NoError(t, err)
		want, err := other.Figures(other.Present)
		require.NoError(t, err)
		for _, s := range frontend.Sides {
			g, w := got[s], want[s]
			if !g.Caster.Near(w.Caster, 1e-9) || !g.KPI.Near(w.KPI, 1e-9) || !g.Camber.Near(w.Camber, 1e-9) || !g.Toe.Near(w.Toe, 1e-9) ||
				!g.Trail.Near(w.Trail, 1e-6) || g.Contact.Sub(w.Contact).Norm() > 1e-6 {
				t.Errorf("%s by %g, %v side: %+v, from the profile %+v", tt.knob, tt.d, s, g, w)
			}
		}
		if tt.knob == advisor.KnobCamber {
			continue // the profile takes the height that camber costs as where the kart stands
		}
		column := 30 * degree
		a, b := inBend(t, v, column, 1.4), inBend(t, standing(t, other), column, 1.4)
		if math.Abs(float64(a[0].Load-b[0].Load)) > 0.2 || !a[0].OuterCamber.Near(b[0].OuterCamber, 1e-9) {
			t.Errorf("%s by %g: inner rear %.3f N, outer camber %v; from the profile %.3f N, %v", tt.knob, tt.d, float64(a[0].Load), a[0].OuterCamber, float64(b[0].Load), b[0].OuterCamber)
		}
	}
}

// The inner rear wheel's load with a knob turned is what package loads has for
// it, which builds its karts from dimensions.
func TestKnobsAgainstLoads(t *testing.T) {
	k := demoKart(t, "elm") // at standard, no unevenness
	l, err := k.Loads()
	require.NoError(t, err)
	dims := frontend.Dimensions{
		Caster: 12 * degree, KPI: 11 * degree, KingpinSpacing: 720, PivotSpan: 78, StubHeight: 39, StubLength: 165, TyreRadius: 128,
		ArmLength: 105, ArmAngle: 10 * degree, ArmDrop: 8, ColumnBehind: 125, ColumnHeight: 15, ColumnRake: 45 * degree, LugDrop: 38, LugSpacing: 40,
	}
	knobs, err := loads.FrontKnobs(l, func(edit func(*frontend.Dimensions)) (*frontend.Axle, [2]frontend.Shift, error) {
		d := dims
		edit(&d)
		c, err := d.Corner()
		return &frontend.Axle{Corner: [2]frontend.Corner{c, c}, Wheelbase: 1060}, [2]frontend.Shift{}, err
	})
	require.NoError(t, err)
	column := 35 * degree
	for _, tt := range []struct {
		knob advisor.Knob
		name string
		step float64
		per  float64 // of the other's unit in one of the knob's
		tol  float64 // relative
	}{
		{advisor.KnobCaster, "caster", float64(0.5 * degree), 1, 1e-3},
		{advisor.KnobKPI, "KPI", float64(0.5 * degree), 1, 1e-3},
		{advisor.KnobTrack, "front track", 2, 2, 1e-3},
	} {
		var v [2]float64
		for i, d := range []float64{-tt.step, tt.step} {
			n, err := standing(t, k).With(tt.knob, d)
			require.NoError(t, err)
			v[i] = float64(inBend(t, n, column, 1.2)[0].Load)
		}
		got := (v[1] - v[0]) / (2 * tt.step)
		for _, knob := range knobs {
			if knob.Name != tt.name {
				continue
			}
			want, err := loads.Sensitivity(loads.LoadOn(loads.RearLeft, column, loads.Motion{Ay: 1.2}), knob)
			require.NoError(t, err)
			if want *= tt.per; math.Abs(got-want) > tt.tol*math.Abs(want) {
				t.Errorf("%s: the inner rear's load changes by %.5f N a unit, package loads has %.5f", tt.knob, got, want)
			}
		}
	}

	// Washers between stub axles and top pivots: seen from the stub axles the
	// column rises, the kingpins are further apart and ahead of the column, and
	// the frame with kingpins and column leans back about the rear axle.
	const along = 3. // the kingpins
	n, err := standing(t, k).With(advisor.KnobHeight, along)
	require.NoError(t, err)
	tanCaster, tanKPI := math.Tan(float64(dims.Caster)), math.Tan(float64(dims.KPI))
	up := along / math.Sqrt(1+tanCaster*tanCaster+tanKPI*tanKPI)
	lean := geometry.Angle(math.Atan(up / 1060))
	d := dims
	d.Caster += lean
	d.ColumnRake -= lean
	d.ColumnHeight += geometry.Length(up)
	d.ColumnBehind += geometry.Length(up * tanCaster)
	d.KingpinSpacing += geometry.Length(2 * up * tanKPI)
	c, err := d.Corner()
	require.NoError(t, err)
	a := &frontend.Axle{Corner: [2]frontend.Corner{c, c}, Wheelbase: 1060}
	zero, err := loads.Straight(a, [2]frontend.Shift{})
	require.NoError(t, err)
	l.CGHeight += geometry.Length(up) * (1 - l.CGBehind/l.Wheelbase)
	l.CGBehind += geometry.Length(up * tanCaster) // the wheels stand further ahead
	l.Wheelbase += geometry.Length(up * tanCaster)
	l.Track[loads.Front] += geometry.Length(2 * up * tanKPI)
	s := loads.Setup{Kart: l, Front: loads.Kinematics(a, [2]frontend.Shift{}, zero)}
	want, err := s.At(column, loads.Motion{Ay: 1.2})
	require.NoError(t, err)
	now := inBend(t, standing(t, k), column, 1.2)[0].Load
	if got := inBend(t, n, column, 1.2)[0].Load; math.Abs(float64(got-want.Load[loads.RearLeft])) > 0.01*math.Abs(float64(now-want.Load[loads.RearLeft])) {
		t.Errorf("with the front 3 mm higher the inner rear carries %.3f N instead of %.3f, built from dimensions %.3f", float64(got), float64(now), float64(want.Load[loads.RearLeft]))
	}
}

// Both turns of an even kart are the same; weights that are uneven tell them
// apart.
func TestTurnsMirror(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.SampledFrom([]string{"birch", "dogwood", "elm"}).Draw(t, "kart")
		data, _ := demo.Read(name)
		k, _ := profile.Parse(name, data)
		v, err := advisor.Standing(k)
		if err != nil {
			t.Fatal(err)
		}
		b, err := v.InBend(geometry.Angle(rapid.Float64Range(0, 45).Draw(t, "column"))*degree, loads.Accel(rapid.Float64Range(0, 1.7).Draw(t, "ay")))
		if err != nil {
			t.Fatal(err)
		}
		for _, q := range []struct {
			name string
			v    [2]float64
		}{
			{"load", [2]float64{float64(b[0].Load), float64(b[1].Load)}}, {"lift", [2]float64{float64(b[0].Lift), float64(b[1].Lift)}},
			{"effort", [2]float64{float64(b[0].Effort), float64(b[1].Effort)}}, {"camber", [2]float64{float64(b[0].OuterCamber), float64(b[1].OuterCamber)}},
			{"lifts at", [2]float64{float64(b[0].LiftsAt), float64(b[1].LiftsAt)}},
		} {
			if math.Abs(q.v[0]-q.v[1]) > 1e-6 {
				t.Fatalf("%s of an even kart: %g in a left turn, %g in a right turn", q.name, q.v[0], q.v[1])
			}
		}
	})
	b := inBend(t, standing(t, demoKart(t, "alder")), 35*degree, 1.4)
	if math.Abs(float64(b[0].Load-b[1].Load)) < 0.5 {
		t.Errorf("Alder's scales are uneven, yet its inner rear carries %.2f and %.2f N in the two turns", float64(b[0].Load), float64(b[1].Load))
	}
}

// Down goes on through lift-off at the slope it had, and LiftsAt is where it
// does so.
func TestDownThroughLiftOff(t *testing.T) {
	v := standing(t, demoKart(t, "dogwood"))
	at := inBend(t, v, 0, 1.6)[0]
	if !at.Lifts {
		t.Fatal("Dogwood's inner rear does not lift at 1.6 g, want a kart that does for this test")
	}
	down := func(phi geometry.Angle) float64 { return float64(inBend(t, v, phi, 1.6)[0].Down) }
	const h = 0.2 * degree
	below, on, above := down(at.LiftsAt-h), down(at.LiftsAt), down(at.LiftsAt+h)
	if math.Abs(on) > 1e-6 || !(below > 0 && above < 0) {
		t.Errorf("pressed down with %g, %g, %g N before, at and after lift-off, want a fall through 0", below, on, above)
	}
	if math.Abs(below+above) > 0.1*below {
		t.Errorf("%g N before lift-off and %g N after: want one slope", below, above)
	}
	b := inBend(t, v, at.LiftsAt+5*degree, 1.6)[0]
	if b.Load != 0 || b.Lift <= 0 {
		t.Errorf("5° later the wheel carries %g N at %v, want nothing, in the air", float64(b.Load), b.Lift)
	}
}

func TestColumnTurnsTheWheels(t *testing.T) {
	for _, name := range demo.Names() {
		k := demoKart(t, name)
		v := standing(t, k)
		b := inBend(t, v, v.Column(12*degree), 1)
		mean := (b[0].InnerSteer + b[0].OuterSteer + b[1].InnerSteer + b[1].OuterSteer) / 4
		if !mean.Near(12*degree, 1e-6) {
			t.Errorf("%s: the wheels are turned %v, want 12°", name, mean)
		}
		if last := v.Column(89 * degree); last > advisor.LastColumn || last < 30*degree {
			t.Errorf("%s: the steering ends at %v", name, last)
		}
	}
}

// What everybody in the paddock knows of caster, on every demo kart.
func TestCasterDoesWhatItIsFor(t *testing.T) {
	for _, name := range demo.Names() {
		v := standing(t, demoKart(t, name))
		column := v.Column(advisor.SlowBend.Steer)
		now := inBend(t, v, column, advisor.SlowBend.Ay)
		n, err := v.With(advisor.KnobCaster, float64(degree))
		require.NoError(t, err)
		more := inBend(t, n, column, advisor.SlowBend.Ay)
		for _, turn := range advisor.Turns {
			a, b := now[turn], more[turn]
			if !(b.Down < a.Down) || !(b.Effort > a.Effort) || !(b.OuterCamber < a.OuterCamber) || !(b.InnerFront > a.InnerFront) {
				t.Errorf("%s, %v: a degree more caster takes the inner rear from %.1f to %.1f N, effort %.2f to %.2f N·m, outer camber %v to %v, inner front %.1f to %.1f N",
					name, turn, float64(a.Down), float64(b.Down), float64(a.Effort), float64(b.Effort), a.OuterCamber, b.OuterCamber, float64(a.InnerFront), float64(b.InnerFront))
			}
		}
	}
}

func TestPlanEffects(t *testing.T) {
	k := demoKart(t, "alder")
	job := func(by geometry.Angle) *advisor.Plan {
		w := []advisor.Want{{Figure: adjust.Caster, Value: float64(by), By: true}}
		p, err := advisor.NewPlan(advisor.Job{Kart: k, From: k.Present, Sides: frontend.Sides[:], Wants: [2][]advisor.Want{w, w}})
		require.NoError(t, err)
		return p
	}
	small, err := job(0.2 * degree).Effects(advisor.SlowBend)
	require.NoError(t, err)
	if len(small.Small) != 1 || !strings.Contains(small.Small[0], "+0.20° of caster takes only") {
		t.Errorf("a fifth of a degree of caster: %q, want one sentence that it is hardly felt", small.Small)
	}
	// The size that it names is worth making: 5 N, and not much more.
	var size float64
	_, rest, _ := strings.Cut(small.Small[0], "about +")
	_, err = fmt.Sscanf(rest, "%f°", &size)
	require.NoError(t, err)
	worth, err := job(geometry.Angle(size) * degree).Effects(advisor.SlowBend)
	require.NoError(t, err)
	if d := float64(worth.Lightened() - advisor.FeelLoad); math.Abs(d) > 0.05*float64(advisor.FeelLoad) {
		t.Errorf("%.2f° takes %.2f N off the inner rear, want about %g", size, float64(worth.Lightened()), float64(advisor.FeelLoad))
	}
	large, err := job(3 * degree).Effects(advisor.SlowBend)
	require.NoError(t, err)
	if len(large.Small) != 0 {
		t.Errorf("three degrees of caster: %q, want nothing small about it", large.Small)
	}
	if r := large.EffortRatio(); !(r > 1.05) {
		t.Errorf("three degrees of caster make the steering %.3f times as heavy, want clearly heavier", r)
	}
	same, err := advisor.PlanBetween(k, k.Present, k.Present)
	require.NoError(t, err)
	e, err := same.Effects(advisor.SlowBend)
	require.NoError(t, err)
	if e.Before != e.After || e.EffortRatio() != 1 || len(e.Small) != 0 {
		t.Errorf("a plan that moves nothing changes %+v to %+v", e.Before, e.After)
	}
	if e.Of != 13 || e.Assumed != 6 {
		t.Errorf("%d of %d numbers are assumed, want 6 of 13", e.Assumed, e.Of)
	}
}

func BenchmarkEffects(b *testing.B) {
	k := demoKart(b, "alder")
	w := []advisor.Want{{Figure: adjust.Caster, Value: float64(0.5 * degree), By: true}}
	p, err := advisor.NewPlan(advisor.Job{Kart: k, From: k.Present, Sides: frontend.Sides[:], Wants: [2][]advisor.Want{w, w}})
	require.NoError(b, err)
	for b.Loop() {
		if _, err := p.Effects(advisor.SlowBend); err != nil {
			b.Fatal(err)
		}
	}
}
