package frontend_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"kartwright/geometry"
	"kartwright/geometry/frontend"
)

var sink frontend.Pose

// BenchmarkPose is the closed form: 0 allocations, under 500 ns.
func BenchmarkPose(b *testing.B) {
	c := caseK(b, nil)
	s := frontend.Shift{Top: geometry.Vec{X: -1, Y: -0.5}, Rod: 0.3}
	column := geometry.TurnOf(12 * deg)
	b.ReportAllocs()
	for b.Loop() {
		sink, _ = c.Pose(s, column)
	}
}

// BenchmarkPoseByRootFinder closes the same linkage by bracketed bisection and
// secant steps on the rod's length, as one would without the closed form.
func BenchmarkPoseByRootFinder(b *testing.B) {
	c := caseK(b, nil)
	s := frontend.Shift{Top: geometry.Vec{X: -1, Y: -0.5}, Rod: 0.3}
	column := geometry.TurnOf(12 * deg)
	b.ReportAllocs()
	for b.Loop() {
		sink = byRootFinder(&c, s, column)
	}
}

func byRootFinder(c *frontend.Corner, s frontend.Shift, column geometry.Turn) frontend.Pose {
	lug := c.ColumnPoint.Add(c.Lug.Sub(c.ColumnPoint).Rotate(column, c.ColumnAxis))
	k0, _ := c.Top.Sub(c.Bottom).Unit()
	foot := c.Bottom.Add(s.Bottom)
	k, _ := c.Top.Add(s.Top).Sub(foot).Unit()
	arm := c.ArmJoint.Sub(c.Bottom).Carry(k0, k)
	want := float64(c.Rod() + s.Rod)
	f := func(psi float64) float64 {
		return lug.Sub(foot.Add(arm.Rotate(geometry.TurnOf(geometry.Angle(psi)), k))).Norm() - want
	}
	lo, hi := -0.6, 0.6
	flo, fhi := f(lo), f(hi)
	x := 0.
	for range 60 {
		x = hi - fhi*(hi-lo)/(fhi-flo)
		if !(x > lo && x < hi) {
			x = (lo + hi) / 2
		}
		fx := f(x)
		if math.Abs(fx) < 1e-12 {
			break
		}
		if (fx < 0) == (flo < 0) {
			lo, flo = x, fx
			fhi /= 2 // Illinois
		} else {
			hi, fhi = x, fx
			flo /= 2
		}
	}
	return c.PoseAtSpin(s, geometry.TurnOf(geometry.Angle(x)))
}

func TestRootFinderAgreesWithClosedForm(t *testing.T) {
	c := caseK(t, nil)
	for _, phi := range []geometry.Angle{-25 * deg, -5 * deg, 0, 12 * deg, 25 * deg} {
		s := frontend.Shift{Top: geometry.Vec{X: -1, Y: -0.5}, Rod: 0.3}
		p, err := c.Pose(s, geometry.TurnOf(phi))
		require.NoError(t, err)
		near(t, "steer", byRootFinder(&c, s, geometry.TurnOf(phi)).Steer().Degrees(), p.Steer().Degrees(), 1e-9)
	}
}

func TestPoseDoesNotAllocate(t *testing.T) {
	c := caseK(t, nil)
	if n := testing.AllocsPerRun(100, func() { sink, _ = c.Pose(frontend.Shift{Rod: 0.1}, geometry.TurnOf(0.1)) }); n != 0 {
		t.Errorf("Pose allocates %v times, want 0", n)
	}
}
