package frontend_test

import (
	"errors"
	"math"
	"testing"

	"gonum.org/v1/gonum/num/quat"
	"pgregory.net/rapid"

	"kartwright/geometry"
	"kartwright/geometry/frontend"
)

// anyDimensions draws a kart that could stand in a paddock.
func anyDimensions(t *rapid.T) frontend.Dimensions {
	f := func(name string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
	a := func(name string, lo, hi float64) geometry.Angle { return geometry.Angle(f(name, lo, hi)) * deg }
	l := func(name string, lo, hi float64) geometry.Length { return geometry.Length(f(name, lo, hi)) }
	return frontend.Dimensions{
		Caster: a("caster", 2, 25), KPI: a("kpi", 0, 18), Camber: a("camber", -4, 4), Toe: a("toe", -3, 3),
		KingpinSpacing: l("spacing", 560, 860), PivotSpan: l("span", 50, 110), StubHeight: l("stub height", 20, 60),
		StubLength: l("stub length", 60, 200), StubLead: l("stub lead", -10, 10), TyreRadius: l("radius", 110, 145),
		ArmLength: l("arm", 80, 130), ArmAngle: a("arm angle", 0, 25), ArmDrop: l("arm drop", -20, 30),
		ColumnBehind: l("behind", 70, 180), ColumnHeight: l("column height", -10, 40), ColumnRake: a("rake", 25, 60),
		LugDrop: l("lug drop", 25, 50), LugSpacing: l("lug spacing", 15, 60),
	}
}

func anyCorner(t *rapid.T) frontend.Corner {
	c, err := anyDimensions(t).Corner()
	if err != nil {
		t.Skip(err.Error())
	}
	return c
}

func anyShift(t *rapid.T) frontend.Shift {
	v := func(name string, r float64) geometry.Vec {
		g := rapid.Float64Range(-r, r)
		return geometry.Vec{X: g.Draw(t, name+" x"), Y: g.Draw(t, name+" y"), Z: g.Draw(t, name+" z") / 4}
	}
	return frontend.Shift{
		Top: v("top", 8), Bottom: v("bottom", 4),
		Slide: geometry.Length(rapid.Float64Range(-10, 10).Draw(t, "slide")),
		Rod:   geometry.Length(rapid.Float64Range(-4, 4).Draw(t, "rod")),
	}
}

// A stub axle keeps its angle to the kingpin, so cos γ (tan τ sin δ − tan σ
// cos δ) − sin γ is the same at every steer angle.
func TestSteerInvariant(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, s := anyCorner(t), anyShift(t)
		k := func(p frontend.Pose) float64 {
			d, g := float64(p.Steer()), float64(p.Camber())
			return math.Cos(g)*(math.Tan(float64(p.Caster()))*math.Sin(d)-math.Tan(float64(p.KPI()))*math.Cos(d)) - math.Sin(g)
		}
		at := geometry.TurnOf(geometry.Angle(rapid.Float64Range(-45, 45).Draw(t, "spin")) * deg)
		if got, want := k(c.PoseAtSpin(s, at)), k(c.PoseAtSpin(s, geometry.Turn{Cos: 1})); math.Abs(got-want) > 1e-12 {
			t.Fatalf("invariant %.15f at spin %v, %.15f straight ahead", got, at.Angle(), want)
		}
	})
}

// The published value of that invariant for caster 15°, KPI 10° (K-9).
func TestSteerInvariantValue(t *testing.T) {
	c := caseK(t, nil)
	p := spun(&c, 17)
	d, g := float64(p.Steer()), float64(p.Camber())
	k := math.Cos(g)*(math.Tan(float64(p.Caster()))*math.Sin(d)-math.Tan(float64(p.KPI()))*math.Cos(d)) - math.Sin(g)
	near(t, "K", k, -0.176326980708465, 1e-15)
}

// gonum's quaternions as a second opinion on every rotation.
func TestRotationAgainstQuaternions(t *testing.T) {
	vec := func(t *rapid.T, name string) geometry.Vec {
		g := rapid.Float64Range(-300, 300)
		return geometry.Vec{X: g.Draw(t, name+" x"), Y: g.Draw(t, name+" y"), Z: g.Draw(t, name+" z")}
	}
	turn := func(v geometry.Vec, q quat.Number) geometry.Vec {
		r := quat.Mul(quat.Mul(q, quat.Number{Imag: v.X, Jmag: v.Y, Kmag: v.Z}), quat.Conj(q))
		return geometry.Vec{X: r.Imag, Y: r.Jmag, Z: r.Kmag}
	}
	rapid.Check(t, func(t *rapid.T) {
		v := vec(t, "v")
		axis, err := vec(t, "axis").Unit()
		if err != nil {
			t.Skip("no axis")
		}
		a := geometry.Angle(rapid.Float64Range(-math.Pi, math.Pi).Draw(t, "angle"))
		s, c := math.Sincos(float64(a) / 2)
		q := quat.Number{Real: c, Imag: s * axis.X, Jmag: s * axis.Y, Kmag: s * axis.Z}
		if d := v.Rotate(geometry.TurnOf(a), axis).Sub(turn(v, q)).Norm(); d > 1e-11 {
			t.Fatalf("Rotate differs from the quaternion by %g", d)
		}
		to, err := vec(t, "to").Unit()
		if err != nil || axis.Dot(to) < -0.9 {
			t.Skip("opposite")
		}
		// The half-way quaternion of two directions: 1 + from·to, from × to.
		x := axis.Cross(to)
		h := quat.Number{Real: 1 + axis.Dot(to), Imag: x.X, Jmag: x.Y, Kmag: x.Z}
		h = quat.Scale(1/quat.Abs(h), h)
		if d := v.Carry(axis, to).Sub(turn(v, h)).Norm(); d > 1e-9 {
			t.Fatalf("Carry differs from the quaternion by %g", d)
		}
	})
}

// The rod keeps its length: rebuild both of its ends from the pose by
// quaternion-free means and measure between them.
func TestPoseClosesTheLinkage(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, s := anyCorner(t), anyShift(t)
		column := geometry.Angle(rapid.Float64Range(-25, 25).Draw(t, "column")) * deg
		p, err := c.Pose(s, geometry.TurnOf(column))
		var reach *frontend.ReachError
		if errors.As(err, &reach) {
			// The rod plus its shortfall must be exactly at the edge of what closes.
			s.Rod += reach.Shortfall * (1 + 1e-9)
			if _, err := c.Pose(s, geometry.TurnOf(column)); err != nil {
				t.Fatalf("a rod %v longer should just reach: %v", reach.Shortfall, err)
			}
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		foot := c.Bottom.Add(s.Bottom).AddScaled(float64(s.Slide), p.Axis)
		k0, _ := c.Top.Sub(c.Bottom).Unit()
		joint := foot.Add(c.ArmJoint.Sub(c.Bottom).Carry(k0, p.Axis).Rotate(p.Spin, p.Axis))
		lug := c.ColumnPoint.Add(c.Lug.Sub(c.ColumnPoint).Rotate(geometry.TurnOf(column), c.ColumnAxis))
		if got, want := lug.Sub(joint).Norm(), float64(c.Rod()+s.Rod); math.Abs(got-want) > 1e-9 {
			t.Fatalf("rod is %.12f mm long in the pose, %.12f mm on the bench", got, want)
		}
		if d := math.Hypot(p.Spin.Cos, p.Spin.Sin); math.Abs(d-1) > 1e-9 {
			t.Fatalf("spin is not a rotation: |%v| = %.15f", p.Spin, d)
		}
	})
}

func TestReferenceStateIsWhatWasMeasured(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := anyDimensions(t)
		c, err := d.Corner()
		if err != nil {
			t.Skip(err.Error())
		}
		p, err := c.Pose(frontend.Shift{}, geometry.Turn{Cos: 1})
		if err != nil {
			t.Fatal(err)
		}
		for _, q := range []struct {
			name      string
			got, want geometry.Angle
		}{{"caster", p.Caster(), d.Caster}, {"KPI", p.KPI(), d.KPI}, {"camber", p.Camber(), d.Camber}, {"toe", p.Toe(), d.Toe}} {
			if math.Abs(float64(q.got-q.want)) > 1e-9 {
				t.Fatalf("%s is %.12f°, measured %.12f°", q.name, q.got.Degrees(), q.want.Degrees())
			}
		}
	})
}

// PoseAtToe is the inverse of Pose in the tie rod.
func TestPoseAtToeInvertsPose(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, s := anyCorner(t), anyShift(t)
		want := geometry.Angle(rapid.Float64Range(-4, 4).Draw(t, "toe")) * deg
		p, rod, ok := c.PoseAtToe(s, want)
		if !ok {
			t.Fatal("a small toe angle must be possible")
		}
		s.Rod = rod
		q, err := c.Pose(s, geometry.Turn{Cos: 1})
		if err != nil {
			t.Skip("the rod's other closure") // the arm would have to pass over centre
		}
		if p.Spin.Cos > 0.9 && q.Spin.Cos > 0.9 && math.Abs(float64(q.Toe()-want)) > 1e-9 {
			t.Fatalf("toe %v fed forward gives %v", want, q.Toe())
		}
	})
}

// A symmetrical axle turned left is the mirror image of it turned right.
func TestMirror(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, s := anyCorner(t), anyShift(t)
		a := frontend.Axle{Corner: [2]frontend.Corner{c, c}, Wheelbase: 1045}
		phi := geometry.Angle(rapid.Float64Range(1, 20).Draw(t, "column")) * deg
		sw, err := a.Sweep([2]frontend.Shift{s, s}, []geometry.Angle{phi, -phi})
		if err != nil {
			t.Skip(err.Error())
		}
		l, r := sw[0], sw[1]
		for _, d := range []float64{
			float64(l.Steer[0] + r.Steer[1]), float64(l.Steer[1] + r.Steer[0]), float64(l.Camber[0] - r.Camber[1]),
			float64(l.Height[0] - r.Height[1]), float64(l.Ackermann - r.Ackermann),
		} {
			if math.Abs(d) > 1e-9 {
				t.Fatalf("left %+v is not the mirror image of right %+v", l, r)
			}
		}
	})
}

// d(contact height)/d(spin) = −q·c·tan τ straight ahead with static camber and
// toe zero, whatever the tyre radius (virtual work and geometry agree).
func TestJackingRateStraightAhead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := anyDimensions(t)
		d.Camber, d.Toe, d.StubLead = 0, 0, 0
		c, err := d.Corner()
		if err != nil {
			t.Skip(err.Error())
		}
		const h = 1e-4
		up := c.PoseAtSpin(frontend.Shift{}, geometry.TurnOf(h)).Contact().Z
		down := c.PoseAtSpin(frontend.Shift{}, geometry.TurnOf(-h)).Contact().Z
		tt, ts := math.Tan(float64(d.Caster)), math.Tan(float64(d.KPI))
		want := -float64(d.StubLength) * tt / math.Sqrt(1+tt*tt+ts*ts)
		if got := (up - down) / (2 * h); math.Abs(got-want) > 1e-4 {
			t.Fatalf("dz/dθ = %.6f mm/rad, want %.6f", got, want)
		}
	})
}

// Ackermann error is zero for wheels that aim at one centre, by construction.
func TestAckermannErrorOfIdealSteer(t *testing.T) {
	// Vertical pins, wheels on the pins: the plan formula is then exact.
	inner := 20 * deg
	outer := frontend.AckermannOuter(inner, 800, 1050)
	y := 1050/math.Tan(float64(inner)) + 400 // left turn, centre on the left
	if got := math.Atan2(1050, y+400); math.Abs(got-float64(outer)) > 1e-12 {
		t.Errorf("outer angle %v does not aim at the inner wheel's centre (%v)", outer, geometry.Angle(got))
	}
}
