package uncertain_test

import (
	"runtime"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/require"

	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
	"kartwright/geometry/uncertain"
)

const deg = geometry.Degree

// answer is a kart's full answer to "half a degree more caster, toe as it
// was": the screw's and the tie rod's turns, for dimensions that differ a
// little each time.
func answer(tb testing.TB) (uncertain.Model, []uncertain.Input) {
	part := func(kind string, raw map[string]any) adjust.Adjuster {
		k, ok := adjust.KindNamed(kind)
		require.True(tb, ok, kind)
		v := &adjust.Values{Raw: raw}
		a := k.Build(v)
		require.Empty(tb, v.Errors)
		return a
	}
	adjusters := []adjust.Named{
		{Name: "caster screw", Adjuster: part("screw", map[string]any{"pivot": "top", "tightening_moves": "rearward", "thread": "M8", "travel_in": "3 turns", "travel_out": "3 turns"})},
		{Name: "tie rod", Adjuster: part("tie-rod", map[string]any{"thread": "M8"})},
	}
	model := func(x []float64) ([]float64, error) {
		front, err := frontend.Dimensions{
			Caster: geometry.Angle(x[0]), KPI: geometry.Angle(x[1]), Camber: -0.5 * deg, Toe: -0.1 * deg,
			KingpinSpacing: 720, PivotSpan: geometry.Length(x[2]), StubHeight: 38, StubLength: 150, TyreRadius: 128,
			ArmLength: geometry.Length(x[3]), ArmAngle: geometry.Angle(x[4]), ArmDrop: 8,
			ColumnBehind: geometry.Length(x[5]), ColumnHeight: 15, ColumnRake: 45 * deg, LugDrop: 38, LugSpacing: 40,
		}.Corner()
		if err != nil {
			return nil, err
		}
		c := adjust.Corner{Front: front, Adjusters: adjusters}
		a, err := c.Solve(adjust.Setting{0, 0}, adjust.Goal{}.Ask(adjust.Caster, x[0]+float64(0.5*deg)).Ask(adjust.Toe, float64(-0.1*deg)))
		if err != nil {
			return nil, err
		}
		return a.Best.Setting, nil
	}
	normal := func(name string, v, u float64) uncertain.Input {
		return uncertain.Input{Name: name, Dist: uncertain.Normal{Mean: v, SD: u}}
	}
	return model, []uncertain.Input{
		normal("caster", float64(12*deg), float64(0.5*deg)), normal("KPI", float64(10*deg), float64(0.5*deg)),
		normal("pivot span", 76, 1), normal("arm length", 105, 1), normal("arm angle", float64(12*deg), float64(deg)),
		normal("column behind", 120, 2),
	}
}

// twoCores runs blocks on every core.
func twoCores(n int, do func(int)) {
	var next atomic.Int64
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				do(i)
			}
		})
	}
	wg.Wait()
}

// First order and Monte Carlo agree on a kart's answer, and both say that the
// pivot span is what the screw's turns rest on.
func TestKartAnswer(t *testing.T) {
	model, in := answer(t)
	o, err := uncertain.Propagate(model, in)
	require.NoError(t, err)
	s, err := uncertain.MonteCarlo(model, in, uncertain.Options{Seed: 1, Draws: 20_000, Run: twoCores})
	require.NoError(t, err)
	for k, name := range []string{"screw", "tie rod"} {
		near(t, name+" turns", s[k].Mean, o[k].Value, 0.05*o[k].U)
		near(t, name+" ± by Monte Carlo", s[k].U, o[k].U, 0.05*o[k].U)
	}
	if got := o[0].Rank()[0].Name; got != "pivot span" {
		t.Errorf("the screw's turns are said to rest most on the %s, want the pivot span", got)
	}
}

// BenchmarkMonteCarloAnswer is 10 000 draws of a full answer: under 100 ms on
// two cores.
func BenchmarkMonteCarloAnswer(b *testing.B) {
	model, in := answer(b)
	for b.Loop() {
		if _, err := uncertain.MonteCarlo(model, in, uncertain.Options{Seed: 1, Draws: 10_000, Run: twoCores}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkMonteCarloGauge(b *testing.B) {
	for b.Loop() {
		if _, err := uncertain.MonteCarlo(gaugeDraw, gaugeDraws, uncertain.Options{Seed: 1, Draws: 10_000}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkPropagateAnswer(b *testing.B) {
	model, in := answer(b)
	for b.Loop() {
		if _, err := uncertain.Propagate(model, in); err != nil {
			b.Fatal(err)
		}
	}
}
