package loads_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"kartwright/geometry/loads"
)

var (
	sink  loads.Loads
	state loads.State
)

// BenchmarkSolve is one equilibrium: 0 allocations, under 5 µs.
func BenchmarkSolve(b *testing.B) {
	s, _ := setupOf(b, racing())
	for _, bb := range []struct {
		name string
		m    loads.Motion
	}{{"standing", loads.Motion{}}, {"lifted", loads.Motion{Ay: 1.6}}} {
		b.Run(bb.name, func(b *testing.B) {
			c, err := s.Front(14 * deg)
			require.NoError(b, err)
			b.ReportAllocs()
			for b.Loop() {
				sink, _ = s.Kart.Solve(bb.m, &c)
			}
		})
	}
}

// BenchmarkAt adds the front end's kinematics to the equilibrium.
func BenchmarkAt(b *testing.B) {
	s, _ := setupOf(b, racing())
	b.ReportAllocs()
	for b.Loop() {
		state, _ = s.At(14*deg, loads.Motion{Ay: 1.6})
	}
}

// BenchmarkLiftColumn finds where the inner rear lifts.
func BenchmarkLiftColumn(b *testing.B) {
	s, _ := setupOf(b, racing())
	_, err := s.LiftColumn(loads.RearLeft, loads.Motion{Ay: 1.8}, 40*deg)
	require.NoError(b, err)
	b.ReportAllocs()
	for b.Loop() {
		state, _ = s.LiftColumn(loads.RearLeft, loads.Motion{Ay: 1.8}, 40*deg)
	}
}

func TestSolveDoesNotAllocate(t *testing.T) {
	s, _ := setupOf(t, racing())
	if n := testing.AllocsPerRun(100, func() { state, _ = s.At(14*deg, loads.Motion{Ay: 1.6}) }); n != 0 {
		t.Errorf("At allocates %v times, want 0", n)
	}
}
