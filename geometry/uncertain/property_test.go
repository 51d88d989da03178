package uncertain_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"kartwright/geometry/uncertain"
)

// linear draws a linear model and its inputs.
func linear(t *rapid.T) (uncertain.Model, []float64, []uncertain.Input) {
	n := rapid.IntRange(1, 6).Draw(t, "inputs")
	c := make([]float64, n)
	in := make([]uncertain.Input, n)
	for i := range n {
		c[i] = rapid.Float64Range(-5, 5).Draw(t, "c")
		in[i] = uncertain.Input{
			Name: string(rune('a' + i)),
			Dist: uncertain.Normal{Mean: rapid.Float64Range(-10, 10).Draw(t, "x"), SD: rapid.Float64Range(0.01, 3).Draw(t, "u")},
		}
	}
	return func(x []float64) ([]float64, error) {
		y := 0.
		for i := range x {
			y += c[i] * x[i]
		}
		return []float64{y}, nil
	}, c, in
}

func TestPropagateLinear(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		model, c, in := linear(t)
		o, err := uncertain.Propagate(model, in)
		if err != nil {
			t.Fatal(err)
		}
		want := 0.
		for i := range c {
			want = math.Hypot(want, c[i]*in[i].Dist.U())
		}
		if math.Abs(o[0].U-want) > 1e-10*(1+want) {
			t.Fatalf("u = %.15g, the root of the sum of squares is %.15g", o[0].U, want)
		}
		// Scaling every ± scales the result's.
		k := rapid.Float64Range(0.1, 10).Draw(t, "k")
		wider := slices.Clone(in)
		for i := range wider {
			wider[i].Dist = uncertain.Normal{Mean: in[i].Dist.Estimate(), SD: k * in[i].Dist.U()}
		}
		w, err := uncertain.Propagate(model, wider)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(w[0].U-k*o[0].U) > 1e-9*(1+w[0].U) {
			t.Fatalf("with every ± times %g, u = %.15g, want %.15g", k, w[0].U, k*o[0].U)
		}
		// Without curvature the second order adds nothing.
		s, err := uncertain.SecondOrder(model, in)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(s[0].U-o[0].U) > 1e-6*(1+o[0].U) {
			t.Fatalf("second order moves u from %.12g to %.12g in a linear model", o[0].U, s[0].U)
		}
	})
}

func TestPropagatePermuted(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 7).Draw(t, "inputs")
		in := make([]uncertain.Input, n)
		for i := range n {
			in[i] = uncertain.Input{Name: string(rune('a' + i)), Dist: uncertain.Normal{
				Mean: rapid.Float64Range(0.5, 2).Draw(t, "x"), SD: rapid.Float64Range(0.001, 0.2).Draw(t, "u")}, DoF: float64(rapid.IntRange(0, 9).Draw(t, "ν"))}
		}
		corr := []uncertain.Correlation{{I: 0, J: n - 1, R: rapid.Float64Range(-1, 1).Draw(t, "r")}}
		if rapid.Bool().Draw(t, "independent") {
			corr = nil
		}
		perm := rapid.Permutation(indices(n)).Draw(t, "order") // place p of the second holds input perm[p]
		// A model that does its own arithmetic in one fixed order.
		model := func(x []float64) ([]float64, error) {
			y := 1.
			for i, v := range x {
				y *= math.Sin(v + float64(i))
			}
			return []float64{y}, nil
		}
		place := make([]int, n)
		in2 := make([]uncertain.Input, n)
		for p, i := range perm {
			place[i], in2[p] = p, in[i]
		}
		var corr2 []uncertain.Correlation
		for _, c := range corr {
			corr2 = append(corr2, uncertain.Correlation{I: place[c.J], J: place[c.I], R: c.R})
		}
		a, err := uncertain.Propagate(model, in, corr...)
		if err != nil {
			t.Fatal(err)
		}
		b, err := uncertain.Propagate(func(x []float64) ([]float64, error) {
			z := make([]float64, n)
			for p, i := range perm {
				z[i] = x[p]
			}
			return model(z)
		}, in2, corr2...)
		if err != nil {
			t.Fatal(err)
		}
		if a[0].U != b[0].U || a[0].DoF != b[0].DoF {
			t.Fatalf("u %v and ν %v become %v and %v when the inputs change places", a[0].U, a[0].DoF, b[0].U, b[0].DoF)
		}
		if diff := cmp.Diff(a[0].Rank(), b[0].Rank()); diff != "" {
			t.Fatalf("the ranking depends on the order of the inputs (-first +second):\n%s", diff)
		}
	})
}

func indices(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

func TestFullCorrelation(t *testing.T) {
	sum := func(x []float64) ([]float64, error) { return []float64{x[0] + x[1]}, nil }
	for _, tt := range []struct{ a, b, r, want float64 }{
		{3, 4, 0, 5}, {3, 4, 1, 7}, {3, 4, -1, 1}, {0.1, 0.1, -1, 0}, {0.3, 0.3, 1, 0.6}, {3, 4, 0.5, math.Sqrt(37)},
	} {
		o, err := uncertain.Propagate(sum, []uncertain.Input{{Dist: uncertain.Normal{0, tt.a}, DoF: 5}, {Dist: uncertain.Normal{0, tt.b}}}, uncertain.Correlation{I: 0, J: 1, R: tt.r})
		require.NoError(t, err)
		near(t, "u", o[0].U, tt.want, 1e-15*tt.want)
		near(t, "degrees of freedom", o[0].DoF, 5, 0)
	}
}

// GUM 5.1.2, note, against the known variance of a square: if x is normal
// about m, x² has the variance 4m²u² + 2u⁴.
func TestSecondOrderOfASquare(t *testing.T) {
	square := func(x []float64) ([]float64, error) { return []float64{x[0] * x[0], x[0] * x[1]}, nil }
	for _, m := range []float64{0, 1, -3} {
		in := []uncertain.Input{{Dist: uncertain.Normal{m, 0.5}}, {Dist: uncertain.Normal{2, 0.25}}}
		s, err := uncertain.SecondOrder(square, in)
		require.NoError(t, err)
		near(t, "u of a square", s[0].U, math.Sqrt(4*m*m*0.25+2*math.Pow(0.5, 4)), 1e-12)
		// A product of independent variables: m²v² + n²u² + u²v².
		near(t, "u of a product", s[1].U, math.Sqrt(m*m*0.0625+4*0.25+0.25*0.0625), 1e-12)
	}
	// A cubic's first-order term meets its third derivative: Var x³ = 15u⁶
	// about 0, of which the second-order formula sees f₁f₁₁₁ = 0 and f₁₁ = 0.
	// About 1: 9u² + 36u⁴ + O(u⁶), all of it seen.
	cube := func(x []float64) ([]float64, error) { return []float64{x[0] * x[0] * x[0]}, nil }
	s, err := uncertain.SecondOrder(cube, []uncertain.Input{{Dist: uncertain.Normal{1, 0.1}}})
	require.NoError(t, err)
	near(t, "u of a cube", s[0].U, math.Sqrt(9*0.01+36*0.0001), 0.0006)
}

func TestLinearModelsAgree(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 1))
	for range 10 {
		n := 1 + r.IntN(6)
		c := make([]float64, n)
		in := make([]uncertain.Input, n)
		for i := range n {
			c[i] = 1 + 4*r.Float64()
			in[i].Dist = uncertain.Normal{Mean: 10 * r.NormFloat64(), SD: 3 * r.Float64()}
		}
		model := func(x []float64) ([]float64, error) {
			y := 0.
			for i := range x {
				y += c[i] * x[i]
			}
			return []float64{y}, nil
		}
		o, err := uncertain.Propagate(model, in)
		require.NoError(t, err)
		s, err := uncertain.MonteCarlo(model, in, uncertain.Options{Seed: 5, Digits: 1, Draws: 100_000})
		require.NoError(t, err)
		cmp := uncertain.Compare(o[0], s[0], 1)
		if !cmp.Agree {
			t.Errorf("first order %v and Monte Carlo %v differ by more than %g in a linear model", cmp.First, cmp.Draw, cmp.Delta)
		}
		if text := cmp.Sentence(nil); text != "" {
			t.Errorf("agreement is not worth a sentence, got %q", text)
		}
	}
}

// The draws do not depend on who makes them.
func TestMonteCarloParallel(t *testing.T) {
	parallel := func(n int, do func(int)) {
		var wg sync.WaitGroup
		for i := range n {
			wg.Go(func() { do(n - 1 - i) })
		}
		wg.Wait()
	}
	one, err := uncertain.MonteCarlo(gaugeDraw, gaugeDraws, uncertain.Options{Seed: 3, Draws: 20_777})
	require.NoError(t, err)
	many, err := uncertain.MonteCarlo(gaugeDraw, gaugeDraws, uncertain.Options{Seed: 3, Draws: 20_777, Run: parallel})
	require.NoError(t, err)
	if diff := cmp.Diff(one, many); diff != "" {
		t.Errorf("blocks in another order give another result (-one +many):\n%s", diff)
	}
	if one[0].Draws != 20_777 || one[0].Stable {
		t.Errorf("%d draws, stable %v; want 20777 and no claim of stability", one[0].Draws, one[0].Stable)
	}
	other, err := uncertain.MonteCarlo(gaugeDraw, gaugeDraws, uncertain.Options{Seed: 4, Draws: 20_777})
	require.NoError(t, err)
	if one[0].Mean == other[0].Mean {
		t.Error("another seed gave the same draws")
	}
}

// A skewed output: the shortest interval of an exponential law starts at its
// peak. P = 0.95: [0, −ln 0.05]; the symmetric one is [−ln 0.975, −ln 0.025].
func TestShortestInterval(t *testing.T) {
	in := []uncertain.Input{{Dist: uncertain.Rectangular{Mid: 0.5, Half: 0.5}}}
	s, err := uncertain.MonteCarlo(func(x []float64) ([]float64, error) { return []float64{-math.Log(x[0])}, nil }, in, uncertain.Options{Seed: 2, Draws: 400_000})
	require.NoError(t, err)
	near(t, "shortest low", s[0].ShortLow, 0, 0.005)
	near(t, "shortest high", s[0].ShortHigh, -math.Log(0.05), 0.03)
	near(t, "symmetric low", s[0].Low, -math.Log(0.975), 0.002)
	near(t, "symmetric high", s[0].High, -math.Log(0.025), 0.04)
}

func TestGains(t *testing.T) {
	model := func(x []float64) ([]float64, error) { return []float64{3*x[0] + 4*x[1] + x[2]}, nil }
	in := []uncertain.Input{
		{Name: "span", Dist: uncertain.Normal{1, 1}}, {Name: "caster", Dist: uncertain.Normal{1, 1}}, {Name: "radius", Dist: uncertain.Normal{1, 0}},
	}
	o, err := uncertain.Propagate(model, in)
	require.NoError(t, err)
	near(t, "u", o[0].U, 5, 1e-12)
	exact := cmpopts.EquateApprox(0, 1e-12)
	if diff := cmp.Diff([]uncertain.Gain{{1, "caster", 1, 0, 3}, {0, "span", 1, 0, 4}}, o[0].Gains(nil), exact); diff != "" {
		t.Errorf("gains by exact knowledge (-want +got):\n%s", diff)
	}
	// The caliper reaches the span, the gauge is no better than what is known.
	if diff := cmp.Diff([]uncertain.Gain{{0, "span", 1, 0.5, math.Sqrt(18.25)}}, o[0].Gains([]float64{0.5, 1, 0.1}), exact); diff != "" {
		t.Errorf("gains by what can be reached (-want +got):\n%s", diff)
	}
	if got := o[0].If(1, 1); got != o[0].U {
		t.Errorf("measuring caster as well as it is known changes u from %v to %v", o[0].U, got)
	}
	if got := o[0].Rank()[0].Name; got != "caster" {
		t.Errorf("the answer is said to rest most on %s, want caster", got)
	}
	// An input measured anew no longer errs with the other.
	o, err = uncertain.Propagate(model, in, uncertain.Correlation{I: 0, J: 1, R: 1})
	require.NoError(t, err)
	near(t, "u of a pair that errs together", o[0].U, 7, 1e-12)
	near(t, "u after measuring one of them anew", o[0].If(0, 1), 5, 1e-12)
}

func TestErrors(t *testing.T) {
	ok := func(x []float64) ([]float64, error) { return x, nil }
	one := []uncertain.Input{{Name: "caster", Dist: uncertain.Normal{12, 0.5}}}
	short := errors.New("the tie rod is 2.00 mm too short")
	late := func(x []float64) ([]float64, error) {
		if x[0] > 12.01 {
			return nil, short
		}
		return x, nil
	}
	propagate := func(m uncertain.Model, in []uncertain.Input, c ...uncertain.Correlation) error {
		_, err := uncertain.Propagate(m, in, c...)
		return err
	}
	draw := func(m uncertain.Model, opt uncertain.Options) error {
		_, err := uncertain.MonteCarlo(m, one, opt)
		return err
	}
	calls := 0
	for _, tt := range []struct {
		name string
		err  error
		want string
	}{
		{"negative ±", propagate(ok, []uncertain.Input{{Name: "caster", Dist: uncertain.Normal{12, -1}}}), `input "caster" is 12 ± -1`},
		{"not a number", propagate(func([]float64) ([]float64, error) { return []float64{math.NaN()}, nil }, one), "not a number"},
		{"fails nearby", propagate(late, one), "with caster changed by 0.0625: the tie rod"},
		{"correlated with itself", propagate(ok, one, uncertain.Correlation{R: 1}), "two different inputs"},
		{"outputs vary", propagate(func(x []float64) ([]float64, error) { calls++; return make([]float64, calls), nil }, one), "2 outputs where it gave 1"},
		{"probability", draw(ok, uncertain.Options{P: 95}), "probability between 0 and 1"},
		{"most draws fail", draw(late, uncertain.Options{Draws: 1000}), "draws within the ± of the inputs have no answer, for instance: the tie rod"},
	} {
		if tt.err == nil || !strings.Contains(tt.err.Error(), tt.want) {
			t.Errorf("%s: error %v, want one that says %q", tt.name, tt.err, tt.want)
		}
	}
	if err := propagate(late, one); !errors.Is(err, short) {
		t.Errorf("%v does not wrap the model's own error", err)
	}
	// A few failures are counted.
	rare := func(x []float64) ([]float64, error) {
		if x[0] > 12+0.5*2.9 {
			return nil, short
		}
		return x, nil
	}
	s, err := uncertain.MonteCarlo(rare, one, uncertain.Options{Draws: 10_000})
	require.NoError(t, err)
	if s[0].Failed == 0 || s[0].Failed+s[0].Draws != 10_000 {
		t.Errorf("%d failed and %d counted of 10000", s[0].Failed, s[0].Draws)
	}
}
