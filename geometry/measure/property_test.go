package measure_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"kartwright/geometry"
	"kartwright/geometry/frontend"
	"kartwright/geometry/measure"
)

func draw(t *rapid.T, name string, lo, hi float64) float64 {
	return rapid.Float64Range(lo, hi).Draw(t, name)
}

func drawAngle(t *rapid.T, name string, lo, hi float64) angle {
	return a(draw(t, name, lo, hi))
}

// spindle is the stub axle's direction of a left corner, from the front-end
// model and not from the gauge's formulas.
func spindle(t require.TestingT, camber, toe angle) geometry.Vec {
	c, err := frontend.Dimensions{
		Caster: 12 * deg, KPI: 10 * deg, Camber: camber.Value, Toe: toe.Value, KingpinSpacing: 720, PivotSpan: 76, StubHeight: 38,
		StubLength: 150, TyreRadius: 128, ArmLength: 105, ArmAngle: 12 * deg, ColumnBehind: 120, ColumnHeight: 15, ColumnRake: 45 * deg,
		LugDrop: 38, LugSpacing: 40,
	}.Corner()
	require.NoError(t, err)
	return c.PoseAtSpin(frontend.Shift{}, geometry.Turn{Cos: 1}).Spindle
}

// A beam along the model's stub axle lands where Spot says, and Read gives the
// wheel's angles back.
func TestLaserHitsTheTarget(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tilt := measure.Tilt{Camber: drawAngle(t, "camber", -6, 6), Toe: drawAngle(t, "toe", -5, 5)}
		l := measure.Laser{Distance: mm(draw(t, "distance", 300, 3000)), Beam: measure.Beam(rapid.IntRange(0, 1).Draw(t, "beam"))}
		s := spindle(t, tilt.Camber, tilt.Toe)
		if l.Beam == measure.Across {
			s = s.Scale(-1)
		}
		reach := float64(l.Distance.Value) / math.Abs(s.Y)
		spot, err := l.Spot(tilt)
		if err != nil {
			t.Fatal(err)
		}
		if up := geometry.Length(s.Z * reach); !spot.Up.Value.Near(up, 1e-9) {
			t.Fatalf("the spot is said to be %v up, the beam lands at %v", spot.Up.Value, up)
		}
		if forward := geometry.Length(s.X * reach); !spot.Forward.Value.Near(forward, 1e-9) {
			t.Fatalf("the spot is said to be %v forward, the beam lands at %v", spot.Forward.Value, forward)
		}
		back, err := l.Read(spot)
		if err != nil {
			t.Fatal(err)
		}
		if !back.Camber.Value.Near(tilt.Camber.Value, 1e-12) || !back.Toe.Value.Near(tilt.Toe.Value, 1e-12) {
			t.Fatalf("the spot of %+v reads as %+v", tilt, back)
		}
	})
}

func TestLaserSigns(t *testing.T) {
	out := measure.Laser{Distance: pm(1000, 5), Beam: measure.Outward, Square: 5}
	across := out
	across.Beam = measure.Across
	ten := pm(10, 1)
	for _, tt := range []struct {
		name        string
		l           measure.Laser
		s           measure.Spot
		camber, toe float64 // degrees
	}{
		{"outward, high: top leans in", out, measure.Spot{Up: ten}, -0.5729, 0},
		{"across, high: top leans out", across, measure.Spot{Up: ten}, 0.5729, 0},
		{"outward, forward: toe-in", out, measure.Spot{Forward: ten}, 0, 0.5729},
		{"across, forward: toe-out", across, measure.Spot{Forward: ten}, 0, -0.5729},
	} {
		got, err := tt.l.Read(tt.s)
		require.NoError(t, err)
		near(t, tt.name+": camber", got.Camber.Value.Degrees(), tt.camber, 0.00005)
		near(t, tt.name+": toe", got.Toe.Value.Degrees(), tt.toe, 0.00005)
		// 1 mm of 1000 mm, and 0.5 % of the angle.
		near(t, tt.name+": ±", math.Hypot(got.Camber.PM.Degrees(), got.Toe.PM.Degrees()), math.Hypot(0.0573, 0.005*0.5729), 0.0001)
	}
	n, err := out.FromSquares(geometry.Measured[float64]{Value: 2, PM: 0.2})
	require.NoError(t, err)
	if n != ten {
		t.Errorf("two squares of 5 mm, ± 0.2, are %v ± %v, want 10 ± 1 mm", n.Value, n.PM)
	}
	if back, err := out.ToSquares(n); err != nil || math.Abs(back.Value-2) > 1e-12 || math.Abs(back.PM-0.2) > 1e-12 {
		t.Errorf("10 ± 1 mm are %v squares of 5 mm (error %v), want 2 ± 0.2", back, err)
	}
}

// Every reading comes back from the figure it gave, ± included.
func TestReadingsComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		over := mm(draw(t, "over", 200, 400))
		width := draw(t, "width", 700, 1200)
		toe := draw(t, "toe mm", -20, 20)
		total, err := measure.Widths{Front: pm(width, 0.3), Rear: pm(width+toe, 0.4), Over: over}.Toe()
		if err != nil {
			t.Fatal(err)
		}
		want, err := measure.WidthsFor(total.Total, over)
		same(t, "width difference", want, pm(toe, 0.5), err)

		inside := rapid.Bool().Draw(t, "inside")
		line := measure.Line{Front: pm(100+toe, 0.3), Rear: pm(100, 0.4), Over: over, Inside: inside}
		each, err := line.Toe()
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(toe) > 1e-6 && (each.Value > 0) != (toe > 0 != inside) {
			t.Fatalf("a front distance %v more than the rear (line inside: %v) reads as toe %v", toe, inside, each.Value)
		}
		want, err = line.Difference(each)
		same(t, "line difference", want, pm(toe, 0.5), err)

		camber, err := measure.Plumb{Top: pm(50, 0.3), Bottom: pm(50+toe, 0.4), Apart: over}.Camber()
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(toe) > 1e-6 && (camber.Value > 0) != (toe > 0) {
			t.Fatalf("a bottom gap %v wider reads as camber %v", toe, camber.Value)
		}
		want, err = measure.PlumbFor(camber, over)
		same(t, "plumb difference", want, pm(toe, 0.5), err)

		g := measure.Inclinometer{Level: drawAngle(t, "level", -3, 3), Reversed: rapid.Bool().Draw(t, "reversed")}
		reading := angle{Value: geometry.Angle(draw(t, "reading", -5, 5)) * deg, PM: 0.1 * deg}
		lean, err := g.Camber(reading)
		if err != nil {
			t.Fatal(err)
		}
		back, err := g.Reading(lean)
		if err != nil || !back.Value.Near(reading.Value, 1e-12) || !back.PM.Near(reading.PM, 1e-12) {
			t.Fatalf("reading %v comes back as %v (error %v)", reading, back, err)
		}

		c := measure.Centre{Left: pm(200, 0.3), Right: pm(200-toe, 0.4), Radius: mm(rapid.SampledFrom([]float64{-140, 40, 38}).Draw(t, "radius"))}
		column, err := c.Column()
		if err != nil {
			t.Fatal(err)
		}
		want, err = c.Difference(column)
		same(t, "column difference", want, pm(toe, 0.5), err)
	})
}

func same(t *rapid.T, what string, got, want length, err error) {
	if err != nil {
		t.Fatal(err)
	}
	if !got.Value.Near(want.Value, 1e-9) || math.Abs(float64(got.PM-want.PM)) > 0.01 {
		t.Fatalf("%s = %v ± %v, want %v ± %v", what, got.Value, got.PM, want.Value, want.PM)
	}
}

// The camber at a steer angle against the front-end model, and caster back
// from any two or three of them.
func TestSweepOfTheModel(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := frontend.Dimensions{
			Caster: drawAngle(t, "caster", -3, 28).Value, KPI: drawAngle(t, "kpi", 0, 18).Value,
			Camber: drawAngle(t, "camber", -4, 4).Value, Toe: drawAngle(t, "toe", -3, 3).Value,
			KingpinSpacing: 720, PivotSpan: 76, StubHeight: 38, StubLength: 150, TyreRadius: 128,
			ArmLength: 105, ArmAngle: 12 * deg, ColumnBehind: 120, ColumnHeight: 15, ColumnRake: 45 * deg, LugDrop: 38, LugSpacing: 40,
		}
		c, err := d.Corner()
		if err != nil {
			t.Skip(err.Error())
		}
		k := measure.Kingpin{Caster: angle{Value: d.Caster}, KPI: angle{Value: d.KPI}, Camber: angle{Value: d.Camber}, Toe: angle{Value: d.Toe}}
		var r [3]measure.Reading
		for i, spin := range []float64{draw(t, "in", -35, -12), draw(t, "near", -1, 1), draw(t, "out", 12, 35)} {
			p := c.PoseAtSpin(frontend.Shift{}, geometry.TurnOf(geometry.Angle(spin)*deg))
			r[i] = measure.Reading{Steer: angle{Value: p.Steer()}, Camber: angle{Value: p.Camber()}}
			if got := k.CamberAt(r[i].Steer).Value; !got.Near(p.Camber(), 1e-12) {
				t.Fatalf("camber at %v = %v, the model says %v", p.Steer(), got, p.Camber())
			}
		}
		// Large toe with a short sweep can bring two of them close.
		if r[1].Steer.Value-r[0].Steer.Value < 10*deg || r[2].Steer.Value-r[1].Steer.Value < 10*deg {
			t.Skip("too close")
		}
		two, err := measure.CasterFromTwo(r[0], r[2], k.KPI)
		if err != nil || !two.Caster.Value.Near(d.Caster, 1e-10) {
			t.Fatalf("caster from two readings = %v (error %v), want %v", two.Caster.Value, err, d.Caster)
		}
		three, err := measure.CasterFromThree(r[0], r[1], r[2])
		if err != nil || !three.Caster.Value.Near(d.Caster, 1e-9) || !three.KPI.Value.Near(d.KPI, 1e-8) {
			t.Fatalf("from three readings caster %v, KPI %v (error %v), want %v, %v", three.Caster.Value, three.KPI.Value, err, d.Caster, d.KPI)
		}
	})
}

// First-order ± against draws, for a caster sweep and for a laser.
func TestPlusMinusByDrawing(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	spread := func(n int, f func() float64) float64 {
		var sum, sq float64
		for range n {
			v := f()
			sum += v / float64(n)
			sq += v * v / float64(n)
		}
		return math.Sqrt(sq - sum*sum)
	}
	jiggle := func(m angle) angle { return angle{Value: m.Value + m.PM*geometry.Angle(r.NormFloat64())} }
	jiggleLength := func(m length) length { return length{Value: m.Value + m.PM*geometry.Length(r.NormFloat64())} }

	k := kingpin(14, 11)
	out := measure.Reading{Steer: apm(20, 0.5), Camber: apm(k.CamberAt(a(20)).Value.Degrees(), 0.1)}
	in := measure.Reading{Steer: apm(-18, 0.4), Camber: apm(k.CamberAt(a(-18)).Value.Degrees(), 0.1)}
	kpi := apm(11, 1)
	want, err := measure.CasterFromTwo(out, in, kpi)
	require.NoError(t, err)
	got := spread(40_000, func() float64 {
		s, err := measure.CasterFromTwo(measure.Reading{Steer: jiggle(out.Steer), Camber: jiggle(out.Camber)}, measure.Reading{Steer: jiggle(in.Steer), Camber: jiggle(in.Camber)}, jiggle(kpi))
		require.NoError(t, err)
		return s.Caster.Value.Degrees()
	})
	near(t, "drawn ± of caster", got, want.Caster.PM.Degrees(), 0.02*got)

	l := measure.Laser{Distance: pm(1200, 10), Beam: measure.Outward}
	spot := measure.Spot{Up: pm(-20, 1), Forward: pm(8, 1)}
	tilt, err := l.Read(spot)
	require.NoError(t, err)
	got = spread(40_000, func() float64 {
		x, err := measure.Laser{Distance: jiggleLength(l.Distance), Beam: l.Beam}.Read(measure.Spot{Up: jiggleLength(spot.Up), Forward: jiggleLength(spot.Forward)})
		require.NoError(t, err)
		return x.Camber.Value.Degrees()
	})
	near(t, "drawn ± of camber", got, tilt.Camber.PM.Degrees(), 0.02*got)
}

// The column's centre against the lug of the front-end model turned in space.
func TestCentreAgainstTheColumn(t *testing.T) {
	for _, phi := range []float64{-20, -3, 0, 5, 25} {
		axis := geometry.Vec{X: -math.Sqrt2 / 2, Z: math.Sqrt2 / 2}
		hang := geometry.Vec{X: -math.Sqrt2 / 2, Z: -math.Sqrt2 / 2} // toward the ground, square to the axis
		for _, radius := range []float64{40, -150} {
			y := hang.Scale(radius).Rotate(geometry.TurnOf(geometry.Angle(phi)*deg), axis).Y // + = left
			c := measure.Centre{Left: pm(250-y, 0.5), Right: pm(250+y, 0.5), Radius: mm(radius)}
			got, err := c.Column()
			require.NoError(t, err)
			near(t, "column", got.Value.Degrees(), phi, 1e-9)
			near(t, "both distances when centred", float64(c.Centred().Value), 250, 1e-9)
			near(t, "their ±", float64(c.Centred().PM), 0.5/math.Sqrt2, 1e-9)
		}
	}
}

// Sides of different caster read apart by what the model gives.
func TestEqualLock(t *testing.T) {
	const reach, lock = 260., 20.
	read := func(caster float64) length {
		k := kingpin(caster, 10)
		k.Camber = a(-0.5)
		return pm(reach*math.Tan(float64(k.CamberAt(a(lock)).Value-k.Camber.Value)), 0.5)
	}
	k := kingpin(12, 10)
	k.Camber = a(-0.5)
	e := measure.EqualLock{Left: read(12.25), Right: read(11.75), Lock: lock * deg, Reach: reach}
	got, err := e.Caster(k)
	require.NoError(t, err)
	near(t, "difference of caster", got.Value.Degrees(), 0.5, 0.002)
	back, err := e.Difference(got, k)
	require.NoError(t, err)
	near(t, "difference of readings", float64(back.Value), float64(e.Left.Value-e.Right.Value), 1e-9)
	near(t, "± of that", float64(back.PM), 0.5*math.Sqrt2, 1e-9)
	// Common practice: within 1 mm on the rule counts as equal. Half a degree
	// of caster on a 260 mm disc is 0.8 mm.
	agreement, err := e.Compare(measure.RuleTolerance)
	require.NoError(t, err)
	if !agreement.Equal || agreement.Verdict() != "equal" {
		t.Errorf("readings %v apart are %q, want equal within %v", agreement.Difference.Value, agreement.Verdict(), agreement.Within)
	}
}

func TestVerdicts(t *testing.T) {
	for _, tt := range []struct {
		left, right, pm float64
		want            string
		equal, clear    bool
	}{
		{10, 10.9, 0.1, "equal", true, true},
		{10, 11, 0, "equal", true, true},
		{10, 10.2, 1, "equal as far as these readings can show; their ± is wider than the tolerance", true, false},
		{10, 11.5, 0.5, "different", false, true},
		{10, 11.5, 1.5, "out of tolerance, but not by more than the readings can show: measure again", false, false},
	} {
		got := measure.Agree(pm(tt.left, tt.pm), pm(tt.right, tt.pm), measure.RuleTolerance)
		if got.Verdict() != tt.want || got.Equal != tt.equal || got.Clear != tt.clear {
			t.Errorf("%g and %g ± %g: %q, equal %v, clear %v; want %q, %v, %v", tt.left, tt.right, tt.pm, got.Verdict(), got.Equal, got.Clear, tt.want, tt.equal, tt.clear)
		}
		near(t, "± of the difference", float64(got.Difference.PM), tt.pm*math.Sqrt2, 1e-12)
	}
}

func kg(v float64) geometry.Measured[measure.Mass] {
	return geometry.Measured[measure.Mass]{Value: measure.Mass(v), PM: 0.2}
}

// Computed by hand: 36, 34, 47, 43 kg.
func TestCornerWeights(t *testing.T) {
	s := measure.Scales{LeftFront: kg(36), RightFront: kg(34), LeftRear: kg(47), RightRear: kg(43)}
	w, err := s.Weights()
	require.NoError(t, err)
	near(t, "total", float64(w.Total.Value), 160, 1e-12)
	near(t, "± of the total", float64(w.Total.PM), 0.4, 1e-12)
	near(t, "front share", w.Front.Value, 70./160, 1e-12)
	near(t, "left share", w.Left.Value, 83./160, 1e-12)
	near(t, "cross weight", w.Cross.Value, 81./160, 1e-12)
	// ∂(a/T) = b/T² for the two that count and −a/T² for the others.
	near(t, "± of the cross weight", w.Cross.PM, 0.2*math.Sqrt(2*79*79+2*81*81)/(160*160), 1e-9)
	back, err := w.Scales()
	require.NoError(t, err)
	for i, pair := range [][2]geometry.Measured[measure.Mass]{{back.LeftFront, s.LeftFront}, {back.RightFront, s.RightFront}, {back.LeftRear, s.LeftRear}, {back.RightRear, s.RightRear}} {
		near(t, "scale "+[]string{"left front", "right front", "left rear", "right rear"}[i], float64(pair[0].Value), float64(pair[1].Value), 1e-9)
	}
}
