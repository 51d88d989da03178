package loads_test

import (
	"errors"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"kartwright/geometry"
	"kartwright/geometry/frontend"
	"kartwright/geometry/loads"
)

// racing is an invented front end, both corners alike.
func racing() frontend.Dimensions {
	return frontend.Dimensions{
		Caster: 14 * deg, KPI: 11 * deg, Camber: -0.5 * deg, Toe: -0.1 * deg,
		KingpinSpacing: 716, PivotSpan: 78, StubHeight: 39, StubLength: 165, TyreRadius: 128,
		ArmLength: 105, ArmAngle: 11 * deg, ColumnBehind: 124, ColumnHeight: 20, ColumnRake: 40 * deg, LugDrop: 38, LugSpacing: 40,
	}
}

func axleOf(t testing.TB, d frontend.Dimensions) *frontend.Axle {
	t.Helper()
	c, err := d.Corner()
	require.NoError(t, err)
	return &frontend.Axle{Corner: [2]frontend.Corner{c, c}, Wheelbase: 1045}
}

func setupOf(t testing.TB, d frontend.Dimensions) (loads.Setup, *frontend.Axle) {
	t.Helper()
	a := axleOf(t, d)
	zero, err := loads.Straight(a, [2]frontend.Shift{})
	require.NoError(t, err)
	k, _ := loads.Published()
	k.Track[loads.Front] = geometry.Length(zero[0].Y + zero[1].Y)
	return loads.Setup{Kart: k, Front: loads.Kinematics(a, [2]frontend.Shift{}, zero)}, a
}

func (f draw) setup(t interface {
	require.TestingT
	Skip(...any)
}) (loads.Setup, *frontend.Axle) {
	corner := func() frontend.Corner {
		d := racing()
		d.Caster, d.KPI, d.Camber = geometry.Angle(f("caster", 3, 22))*deg, geometry.Angle(f("KPI", 0, 16))*deg, geometry.Angle(f("camber", -3, 3))*deg
		d.StubLength, d.ArmLength, d.LugSpacing = geometry.Length(f("stub", 100, 190)), geometry.Length(f("arm", 90, 120)), geometry.Length(f("lug", 20, 50))
		c, err := d.Corner()
		if err != nil {
			t.Skip(err.Error())
		}
		return c
	}
	a := &frontend.Axle{Corner: [2]frontend.Corner{corner(), corner()}, Wheelbase: 1045} // unlike each other
	zero, err := loads.Straight(a, [2]frontend.Shift{})
	require.NoError(t, err)
	k, _ := loads.Published()
	k.Track[loads.Front] = geometry.Length(zero[0].Y + zero[1].Y)
	return loads.Setup{Kart: k, Front: loads.Kinematics(a, [2]frontend.Shift{}, zero)}, a
}

// Heights and steer angles are those of frontend.Axle.Sweep.
func TestKinematicsIsTheSweep(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, a := fromRapid(t).setup(t)
		phi := geometry.Angle(rapid.Float64Range(-30, 30).Draw(t, "column")) * deg
		want, err := a.Sweep([2]frontend.Shift{}, []geometry.Angle{phi})
		if err != nil {
			t.Skip(err.Error())
		}
		got, err := s.Front(phi)
		if err != nil {
			t.Fatal(err)
		}
		for _, side := range frontend.Sides {
			if math.Abs(float64(got[side].Rise-want[0].Height[side])) > 1e-9 || math.Abs(float64(got[side].Steer-want[0].Steer[side])) > 1e-12 {
				t.Fatalf("%v contact at %v: rise %v, steer %v; the sweep has %v, %v", side, phi, got[side].Rise, got[side].Steer, want[0].Height[side], want[0].Steer[side])
			}
		}
	})
}

// tyrePoint follows the piece of tyre that touches with the column at phi to
// where it is with the column at psi, in the kart's axes.
func tyrePoint(t *rapid.T, a *frontend.Axle, s frontend.Side, phi, psi geometry.Angle) (point, spindle geometry.Vec) {
	p, err := a.Pose(s, frontend.Shift{}, geometry.TurnOf(phi))
	if err != nil {
		t.Skip(err.Error())
	}
	q, err := a.Pose(s, frontend.Shift{}, geometry.TurnOf(psi))
	if err != nil {
		t.Skip(err.Error())
	}
	by := geometry.TurnOf(q.Spin.Angle() - p.Spin.Angle())
	point = q.Foot.Add(p.Contact().Sub(p.Foot).Rotate(by, p.Axis))
	spindle = q.Spindle
	if s == frontend.Right {
		point, spindle = point.MirrorY(), spindle.MirrorY()
	}
	return point, spindle
}

// Lever and Spin, which come out of the linkage in closed form, against
// differences of the linkage itself.
func TestLeverByDifferences(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, a := fromRapid(t).setup(t)
		phi := geometry.Angle(rapid.Float64Range(-25, 25).Draw(t, "column")) * deg
		const h = 1e-5
		c, err := s.Front(phi)
		if err != nil {
			t.Skip(err.Error())
		}
		for _, side := range frontend.Sides {
			ahead, sa := tyrePoint(t, a, side, phi, phi+h)
			behind, sb := tyrePoint(t, a, side, phi, phi-h)
			_, now := tyrePoint(t, a, side, phi, phi)
			if d := ahead.Sub(behind).Scale(1 / (2 * h)).Sub(c[side].Lever).Norm(); d > 1e-5 {
				t.Fatalf("%v side at %v: the lever is off by %g mm/rad", side, phi, d)
			}
			if d := sa.Sub(sb).Scale(1 / (2 * h)).Sub(c[side].Spin.Cross(now)).Norm(); d > 1e-7 {
				t.Fatalf("%v side at %v: the spin is off by %g", side, phi, d)
			}
			up, err1 := s.Front(phi + h)
			down, err2 := s.Front(phi - h)
			require.NoError(t, errors.Join(err1, err2))
			if d := float64(up[side].Rise-down[side].Rise)/(2*h) - c[side].Lever.Z; math.Abs(d) > 1e-5 {
				t.Fatalf("%v side at %v: the contact's height changes %g mm/rad faster than its lever says", side, phi, d)
			}
		}
	})
}

// energy is what the kart stores at rest: springs, frame and height of the
// weight. The driver's torque is its slope over column angle.
func energy(k *loads.Kart, st *loads.State) float64 {
	var e float64 // N·mm
	for _, w := range loads.Wheels {
		f := float64(st.Load[w])
		e += f * f / 2 / float64(k.Corner(w.End()))
	}
	twist := float64(st.Roll[loads.Front] - st.Roll[loads.Rear])
	if !math.IsInf(float64(k.Torsion), 1) {
		e += twist * twist / 2 * float64(k.Torsion) * 1000 * 180 / math.Pi
	}
	// The mass hangs between the axles' rolls in proportion to distance.
	rear := float64(k.CGBehind / k.Wheelbase)
	roll := float64(st.Roll[loads.Front])*(1-rear) + float64(st.Roll[loads.Rear])*rear
	h := float64(k.CGHeight)
	w := float64(loads.Weight(k.Mass))
	return e + w*(float64(st.Heave)+roll*float64(k.CGLeft)-float64(st.Motion.Ay)*roll*h-float64(st.Motion.Ax)*float64(st.Pitch)*h)
}

// The torque of the wheel loads is the slope of the stored energy, in every
// pattern of contact: with the contact points held still in plan, and with
// them free to wander once the work of the frame's tilt along their way, which
// Effort leaves out, is added.
func TestEffortIsTheSlopeOfEnergy(t *testing.T) {
	lifted := 0
	check := func(t interface {
		require.TestingT
		Skip(...any)
		Fatalf(string, ...any)
	}, f draw) {
		s, _ := f.setup(t)
		s.Kart.CGLeft = geometry.Length(f("left", -30, 30))
		s.Kart.Torsion = loads.Torsion(f("torsion", 100, 2000))
		s.Kart.Uneven[loads.FrontLeft] = geometry.Length(f("uneven", -60, 60))
		m := loads.Motion{Ax: loads.Accel(f("ax", -0.8, 0.5))} // ay would add sideways forces
		phi := geometry.Angle(f("column", -25, 25)) * deg
		exact := s.Front
		still := loads.Setup{Kart: s.Kart, Front: func(c geometry.Angle) ([2]loads.Contact, error) {
			at, err := exact(c)
			for i := range at {
				at[i].Ahead, at[i].Out = 0, 0
			}
			return at, err
		}}
		const h = 1e-4
		for _, s := range []loads.Setup{still, s} {
			st, err := s.At(phi, m)
			up, err1 := s.At(phi+h, m)
			down, err2 := s.At(phi-h, m)
			if err := errors.Join(err, err1, err2); err != nil {
				return
			}
			slope := (energy(&s.Kart, &up) - energy(&s.Kart, &down)) / (2 * h)
			for i, sign := range []float64{1, -1} {
				slope += float64(st.Load[i]) * float64(st.Pitch) * float64(up.Contact[i].Ahead-down.Contact[i].Ahead) / (2 * h)
				slope += float64(st.Load[i]) * float64(st.Roll[loads.Front]) * sign * float64(up.Contact[i].Out-down.Contact[i].Out) / (2 * h)
			}
			for _, w := range loads.Wheels {
				if st.Off(w) {
					lifted++
				}
			}
			if effort := float64(s.Kart.Effort(&st)); math.Abs(slope/1000-effort) > 1e-5 {
				t.Fatalf("at %v the energy's slope is %.8f N·m, the effort %.8f N·m", phi, slope/1000, effort)
			}
		}
	}
	rapid.Check(t, func(t *rapid.T) { check(t, fromRapid(t)) })
	for seed := range uint64(100) {
		check(t, fromSeed(seed))
	}
	if lifted == 0 {
		t.Error("no draw had a wheel off the ground")
	}
}

// The sideways force is the front axle's part of m·ay, works with trail, and
// with pneumatic trail behind it.
func TestSidewaysForce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, a := fromRapid(t).setup(t)
		phi := geometry.Angle(rapid.Float64Range(-20, 20).Draw(t, "column")) * deg
		m := loads.Motion{Ay: loads.Accel(rapid.Float64Range(-1.6, 1.6).Draw(t, "ay"))}
		st, err := s.At(phi, m)
		if err != nil {
			t.Skip(err.Error())
		}
		f := s.Kart.TyreForces(&st)
		want := float64(s.Kart.Static()[loads.Front]) * float64(m.Ay)
		if math.Abs(f[0].Y+f[1].Y-want) > 1e-9 {
			t.Fatalf("sideways forces add up to %g N, want %g N", f[0].Y+f[1].Y, want)
		}
		// Work of all forces by differences of the linkage, at a point a
		// pneumatic trail behind each contact.
		s.Kart.PneumaticTrail = geometry.Length(rapid.Float64Range(0, 25).Draw(t, "pneumatic trail"))
		const h = 1e-5
		var work float64
		for _, side := range frontend.Sides {
			level := geometry.Vec{X: f[side].X, Y: f[side].Y}
			heading := geometry.Vec{X: math.Cos(float64(st.Contact[side].Steer)), Y: math.Sin(float64(st.Contact[side].Steer))}
			if along := level.Dot(heading); math.Abs(along) > 1e-9 {
				t.Fatalf("the sideways force on the %v wheel has %g N along its heading", side, along)
			}
			ahead, _ := tyrePoint(t, a, side, phi, phi+h)
			behind, _ := tyrePoint(t, a, side, phi, phi-h)
			up, err1 := s.Front(phi + h)
			down, err2 := s.Front(phi - h)
			require.NoError(t, errors.Join(err1, err2))
			work += ahead.Sub(behind).Dot(f[side]) / (2 * h)
			// To first order a rigid stub axle carries a point behind the
			// contact by the steer rate across the heading.
			mean := st.Contact[side].Spin.Z
			work -= mean * float64(s.Kart.PneumaticTrail) * level.Dot(geometry.Vec{X: -heading.Y, Y: heading.X})
			// The steer rate from above exceeds Spin.Z only through the lean.
			rate := float64(up[side].Steer-down[side].Steer) / (2 * h)
			if math.Abs(rate-mean) > 0.25*math.Abs(rate) {
				t.Fatalf("the wheel steers at %g per column angle, the stub axle turns at %g", rate, mean)
			}
		}
		if got := float64(s.Kart.Effort(&st)); math.Abs(got+work/1000) > 1e-5 {
			t.Fatalf("effort %.7f N·m, by differences %.7f N·m", got, -work/1000)
		}
	})

	s, _ := setupOf(t, racing())
	resting, err := s.At(0, loads.Motion{})
	require.NoError(t, err)
	near(t, "effort straight ahead at rest", float64(s.Kart.Effort(&resting)), 0, 1e-9)
	turning, err := s.At(0, loads.Motion{Ay: 1})
	require.NoError(t, err)
	effort := s.Kart.Effort(&turning)
	if effort <= 0 {
		t.Errorf("holding a left turn takes %g N·m, want a torque to the left", float64(effort))
	}
	near(t, "ratio", effort.Of(effort/2), 2, 1e-12)
	if got := effort.Of(0); !math.IsNaN(got) {
		t.Errorf("effort as a multiple of nothing = %g, want NaN", got)
	}
}

// On the simplest model every derivative has a closed form: inner rear load
// F = m g a/(2L) − (2βδ/tf)/(1/Kf+1/Kr)/tr − m ay h Kr/(Kf+Kr)/tr.
func TestKartSensitivities(t *testing.T) {
	s := paper()
	const delta, ay = 10 * math.Pi / 180, 0.8
	q := loads.LoadOn(loads.RearLeft, delta, loads.Motion{Ay: ay})
	load := func(m, a, h, tf, tr, cf, cr float64) float64 {
		kf, kr := 1/(1/64.5+1/(17.7*cf)), 1/(1/61.3+1/(60*cr))
		rf, rr := kf*tf*tf/2, kr*tr*tr/2
		return m*9.81*a/2/1045 - 2*58*delta/tf/(1/rf+1/rr)/tr - m*9.81*ay*h*rr/(rf+rr)/tr
	}
	base := load(165, 645, 250, 1055, 1200, 1, 1)
	got, err := q(&s)
	require.NoError(t, err)
	near(t, "inner rear load", got, base, 1e-9)
	const e = 1e-3
	frame := float64(s.Kart.FrameTorsion())
	want := map[string]float64{
		"ride height":     (load(165, 645, 250+e, 1055, 1200, 1, 1) - base) / e,
		"rear track":      (load(165, 645, 250, 1055, 1200+e, 1, 1) - base) / e,
		"frame stiffness": (load(165, 645, 250, 1055, 1200, 1+e/frame, 1+e/frame) - base) / e,
		"driver's weight": (load(165+e, (165*645+e*600)/(165+e), (165*250+e*330)/(165+e), 1055, 1200, 1, 1) - base) / e,
		"seat back":       (load(165, 645+e*75/165, 250, 1055, 1200, 1, 1) - base) / e,
		"seat up":         (load(165, 645, 250+e*75/165, 1055, 1200, 1, 1) - base) / e,
	}
	for _, knob := range loads.KartKnobs(s) {
		got, err := loads.Sensitivity(q, knob)
		require.NoError(t, err)
		w, ok := want[knob.Name]
		if !ok {
			t.Errorf("no closed form for the knob %q", knob.Name)
		}
		near(t, "inner rear load by "+knob.Name+" ("+knob.Unit+")", got, w, 5e-5*math.Abs(w)+1e-6) // a step of 1 in 140 N·m/deg
	}
}

func frontKnobs(t testing.TB) (loads.Setup, map[string]loads.Knob) {
	t.Helper()
	s, _ := setupOf(t, racing())
	knobs, err := loads.FrontKnobs(s.Kart, func(edit func(*frontend.Dimensions)) (*frontend.Axle, [2]frontend.Shift, error) {
		d := racing()
		edit(&d)
		c, err := d.Corner()
		return &frontend.Axle{Corner: [2]frontend.Corner{c, c}, Wheelbase: 1045}, [2]frontend.Shift{}, err
	})
	require.NoError(t, err)
	by := map[string]loads.Knob{}
	for _, k := range knobs {
		by[k.Name] = k
	}
	return s, by
}

// What a turn of each knob does, against the setup built anew with a larger
// change, and against what any kart does.
func TestFrontSensitivities(t *testing.T) {
	s, knobs := frontKnobs(t)
	const column = 20 * deg
	q := loads.LiftOf(loads.RearLeft, column, loads.Motion{Ay: 1.9})
	now, err := q(&s)
	require.NoError(t, err)
	if now <= 0 {
		t.Fatalf("the inner rear wheel is %g mm up, want it off the ground for this test", now)
	}
	for name, edit := range map[string]func(*frontend.Dimensions, float64){
		"caster":      func(d *frontend.Dimensions, by float64) { d.Caster += geometry.Angle(by) },
		"KPI":         func(d *frontend.Dimensions, by float64) { d.KPI += geometry.Angle(by) },
		"camber":      func(d *frontend.Dimensions, by float64) { d.Camber += geometry.Angle(by) },
		"toe":         func(d *frontend.Dimensions, by float64) { d.Toe += geometry.Angle(by) },
		"front track": func(d *frontend.Dimensions, by float64) { d.StubLength += geometry.Length(by / 2) },
	} {
		got, err := loads.Sensitivity(q, knobs[name])
		require.NoError(t, err)
		// Richardson's extrapolation of one-sided setups that share nothing
		// with the knobs but the kinematics.
		step := knobs[name].Step * 4
		diff := func(h float64) float64 {
			var v [2]float64
			for i, by := range []float64{-h, h} {
				d := racing()
				edit(&d, by)
				// Measured from where the unchanged kart touches.
				zero, err := loads.Straight(axleOf(t, racing()), [2]frontend.Shift{})
				require.NoError(t, err)
				u := loads.Setup{Kart: s.Kart, Front: loads.Kinematics(axleOf(t, d), [2]frontend.Shift{}, zero)}
				v[i], err = q(&u)
				require.NoError(t, err)
			}
			return (v[1] - v[0]) / (2 * h)
		}
		want := (4*diff(step) - diff(2*step)) / 3
		near(t, "lift by "+name, got, want, 1e-4*math.Abs(want)+1e-5)
	}
	d := map[string]float64{}
	for name, k := range knobs {
		if d[name], err = loads.Sensitivity(q, k); err != nil {
			t.Fatal(err)
		}
	}
	perDegree := d["caster"] * math.Pi / 180
	if !(perDegree > 0.3 && perDegree < 3) {
		t.Errorf("a degree of caster changes the inner rear's lift by %.3f mm, want a rise of the order of a millimetre", perDegree)
	}
	lift := loads.LiftingColumn(loads.RearLeft, loads.Motion{Ay: 1.8}, 40*deg)
	later, err := loads.Sensitivity(lift, knobs["caster"])
	require.NoError(t, err)
	if !(later < 0) {
		t.Errorf("with more caster the inner rear wheel lifts %g rad of column per rad later, want earlier", later)
	}
	ay := loads.LiftingAy(loads.RearLeft, column, 0, 3)
	h, err := loads.Sensitivity(ay, knobs["front ride height"])
	require.NoError(t, err)
	if !(h < 0) {
		t.Errorf("a higher front lets the inner rear lift at %g g/mm more, want less", h)
	}
}

func TestQuantities(t *testing.T) {
	s, _ := setupOf(t, racing())
	st, err := s.At(5*deg, loads.Motion{Ay: 1})
	require.NoError(t, err)
	for name, tt := range map[string]struct {
		q    loads.Quantity
		want float64
	}{
		"load":         {loads.LoadOn(loads.RearLeft, 5*deg, loads.Motion{Ay: 1}), float64(st.Load[loads.RearLeft])},
		"lift":         {loads.LiftOf(loads.RearLeft, 5*deg, loads.Motion{Ay: 1}), float64(st.Lift[loads.RearLeft])},
		"cross weight": {loads.CrossWeightOf(loads.LeftFrontRightRear, 5*deg, loads.Motion{Ay: 1}), st.CrossWeight(loads.LeftFrontRightRear)},
		"effort":       {loads.EffortAt(5*deg, loads.Motion{Ay: 1}), float64(s.Kart.Effort(&st))},
	} {
		if got, err := tt.q(&s); err != nil || got != tt.want {
			t.Errorf("%s = %v, %v, want %v", name, got, err, tt.want)
		}
	}
	sweep, err := s.Sweep([]geometry.Angle{0, 5 * deg}, loads.Motion{Ay: 1})
	require.NoError(t, err)
	if sweep[1] != st {
		t.Errorf("Sweep gives %+v at 5°, At gives %+v", sweep[1], st)
	}
	var reach *frontend.ReachError
	short := loads.Setup{Kart: s.Kart, Front: loads.Kinematics(axleOf(t, racing()), [2]frontend.Shift{{}, {Rod: -150}}, [2]geometry.Vec{})}
	if _, err := short.Sweep([]geometry.Angle{0}, loads.Motion{}); !errors.As(err, &reach) {
		t.Errorf("a rod that cannot reach: error %v, want a *frontend.ReachError", err)
	}
	never := loads.LiftingColumn(loads.RearRight, loads.Motion{Ay: 1}, 5*deg)
	if v, err := loads.Sensitivity(never, loads.KartKnobs(s)[0]); !errors.Is(err, loads.ErrStays) || !math.IsNaN(v) {
		t.Errorf("sensitivity of a lift-off that does not happen = %v, %v, want NaN and %v", v, err, loads.ErrStays)
	}
}
