package uncertain_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"kartwright/geometry/uncertain"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.6f, want %g ± %g", what, got, want, tol)
	}
}

// gauge is the end gauge of GUM H.1 (U-1 of testdata/oracle/uncertainty.md),
// in nm and °C, less its nominal 50 mm: ls, d, αs, θ, δα, δθ.
func gauge(x []float64) ([]float64, error) {
	ls, d, as, th, da, dth := x[0], x[1], x[2], x[3], x[4], x[5]
	return []float64{ls + d - float64(ls*(float64(da*th)+float64(as*dth))) - 50e6}, nil
}

// The uncertainties are those that H.1 prints, already rounded; the
// temperature's is that of its two parts, 0.2 and 0.35 °C.
var gaugeInputs = []uncertain.Input{
	{Name: "standard", Dist: uncertain.Normal{Mean: 50_000_623, SD: 25}, DoF: 18},
	{Name: "difference", Dist: uncertain.Normal{Mean: 215, SD: 9.7}, DoF: 25.6},
	{Name: "expansion", Dist: uncertain.Normal{Mean: 11.5e-6, SD: 1.2e-6}},
	{Name: "temperature", Dist: uncertain.Normal{Mean: -0.1, SD: math.Hypot(0.2, 0.35)}},
	{Name: "expansion difference", Dist: uncertain.Normal{Mean: 0, SD: 0.58e-6}, DoF: 50},
	{Name: "temperature difference", Dist: uncertain.Normal{Mean: 0, SD: 0.029}, DoF: 2},
}

func TestEndGauge(t *testing.T) { // U-1
	out, err := uncertain.Propagate(gauge, gaugeInputs)
	require.NoError(t, err)
	o := out[0]
	near(t, "length over 50 mm", o.Value, 838, 1e-6)
	for i, want := range []float64{25, 9.7, 0, 0, 2.9, 16.6752} {
		near(t, "effect of "+o.Parts[i].Name, math.Abs(o.Parts[i].Effect), want, 0.0005)
	}
	near(t, "u", o.U, 31.7106, 0.00005)
	near(t, "effective degrees of freedom", o.DoF, 16.66, 0.005)
	near(t, "t99(16)", uncertain.Coverage(0.99, o.DoF), 2.92078, 0.000005)
	near(t, "U99", o.Expanded(0.99), 92.62, 0.005)

	second, err := uncertain.SecondOrder(gauge, gaugeInputs)
	require.NoError(t, err)
	s := second[0]
	near(t, "u with second order", s.U, 33.8416, 0.00005)
	for n, want := range []struct {
		i, j int
		root float64
	}{{3, 4, 11.6904}, {2, 5, 1.74}} {
		got := s.Terms[n]
		if got.I != want.i || got.J != want.j {
			t.Errorf("second-order term %d joins inputs %d and %d, want %d and %d", n, got.I, got.J, want.i, want.j)
		}
		near(t, "second-order term", math.Sqrt(got.Variance), want.root, 0.00005)
	}
}

// JCGM 101, 9.5: the same gauge by Monte Carlo (U-2). Its inputs are finer.
var gaugeDraws = []uncertain.Input{
	{Name: "standard", Dist: uncertain.StudentT{Mean: 50_000_623, Scale: 25, DoF: 18}},
	{Name: "difference", Dist: uncertain.StudentT{Mean: 215, Scale: 6, DoF: 24}},
	{Name: "comparator, random", Dist: uncertain.StudentT{Scale: 4, DoF: 5}},
	{Name: "comparator, systematic", Dist: uncertain.StudentT{Scale: 7, DoF: 8}},
	{Name: "expansion", Dist: uncertain.Rectangular{Mid: 11.5e-6, Half: 2e-6}},
	{Name: "mean temperature", Dist: uncertain.Normal{Mean: -0.1, SD: 0.2}},
	{Name: "temperature swing", Dist: uncertain.Arcsine{Half: 0.5}},
	{Name: "expansion difference", Dist: uncertain.CurvilinearTrapezoid{Half: 1e-6, Doubt: 0.1e-6}},
	{Name: "temperature difference", Dist: uncertain.CurvilinearTrapezoid{Half: 0.05, Doubt: 0.025}},
}

func gaugeDraw(x []float64) ([]float64, error) {
	return gauge([]float64{x[0], x[1] + x[2] + x[3], x[4], x[5] + x[6], x[7], x[8]})
}

func TestEndGaugeMonteCarlo(t *testing.T) { // U-2
	s, err := uncertain.MonteCarlo(gaugeDraw, gaugeDraws, uncertain.Options{Seed: 1, P: 0.99})
	require.NoError(t, err)
	g := s[0]
	if !g.Stable || g.Delta != 0.5 {
		t.Fatalf("after %d draws stable = %v with δ %g, want stable with δ 0.5", g.Draws, g.Stable, g.Delta)
	}
	near(t, "mean", g.Mean, 838, 0.5)
	near(t, "u", g.U, 35.81, g.Delta)
	near(t, "symmetric low", g.Low, 744.2, g.Delta)
	near(t, "symmetric high", g.High, 931.6, g.Delta)
	// Published, to whole nm: the tolerance is that rounding and δ.
	near(t, "published u", g.U, 36, 0.5+g.Delta)
	near(t, "published shortest low", g.ShortLow, 745, 0.5+g.Delta)
	near(t, "published shortest high", g.ShortHigh, 932, 0.5+g.Delta)

	// First order understates here, and the comparison must find it.
	o, err := uncertain.Propagate(gaugeDraw, gaugeDraws)
	require.NoError(t, err)
	near(t, "first-order u", o[0].U, 32, 0.5)
	if c := uncertain.Compare(o[0], g, 2); c.Agree {
		t.Errorf("first order %v and Monte Carlo %v are said to agree within %g", c.First, c.Draw, c.Delta)
	}
}

// JCGM 101, 9.2: a sum of four (U-3).
func TestAdditiveModel(t *testing.T) {
	rect := func(sd float64) uncertain.Dist { return uncertain.Rectangular{Half: sd * math.Sqrt(3)} }
	unit := uncertain.Normal{SD: 1}
	total := func(x []float64) ([]float64, error) { return []float64{x[0] + x[1] + x[2] + x[3]}, nil }
	for _, tt := range []struct {
		name           string
		d              [4]uncertain.Dist
		u, first, draw float64
		agree          bool
	}{
		{"9.2.2 normal", [4]uncertain.Dist{unit, unit, unit, unit}, 2, 3.91993, 3.91993, true},
		{"9.2.3 rectangular", [4]uncertain.Dist{rect(1), rect(1), rect(1), rect(1)}, 2, 3.91993, 3.879407, true},
		{"9.2.4 one dominates", [4]uncertain.Dist{rect(1), rect(1), rect(1), rect(10)}, 10.14889, 19.8915, 17.01581, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			in := make([]uncertain.Input, 4)
			for i := range in {
				in[i] = uncertain.Input{Dist: tt.d[i]}
			}
			o, err := uncertain.Propagate(total, in)
			require.NoError(t, err)
			near(t, "u", o[0].U, tt.u, 0.000005)
			near(t, "first-order 95 %", o[0].Expanded(0.95), tt.first, 0.00005)
			s, err := uncertain.MonteCarlo(total, in, uncertain.Options{Seed: 7, Draws: 500_000})
			require.NoError(t, err)
			near(t, "drawn mean", s[0].Mean, 0, s[0].Delta)
			near(t, "drawn u", s[0].U, tt.u, s[0].Delta)
			near(t, "drawn low", s[0].Low, -tt.draw, s[0].Delta)
			near(t, "drawn high", s[0].High, tt.draw, s[0].Delta)
			if c := uncertain.Compare(o[0], s[0], 2); c.Agree != tt.agree {
				t.Errorf("agreement = %v (ends differ by %.3f and %.3f, δ %g), want %v", c.Agree, c.Low, c.High, c.Delta, tt.agree)
			}
		})
	}
}

// GUM, table G.2 (U-4), two decimals.
func TestCoverageTable(t *testing.T) {
	inf := math.Inf(1)
	for _, row := range []struct{ p, dof, want float64 }{
		{0.6827, 1, 1.84}, {0.95, 1, 12.71}, {0.99, 1, 63.66}, {0.95, 2, 4.30}, {0.9973, 5, 5.51}, {0.9545, 10, 2.28},
		{0.95, 10, 2.23}, {0.99, 16, 2.92}, {0.95, 18, 2.10}, {0.99, 50, 2.68}, {0.90, inf, 1.64}, {0.95, inf, 1.96}, {0.99, inf, 2.58}, {0.95, 10.9, 2.23},
	} {
		near(t, "coverage factor", uncertain.Coverage(row.p, row.dof), row.want, 0.005)
	}
}

func TestDelta(t *testing.T) { // JCGM 101, 7.9.2
	for _, row := range []struct {
		u      float64
		digits int
		want   float64
	}{{32, 2, 0.5}, {0.035, 2, 0.0005}, {0.17, 1, 0.05}, {9.96, 2, 0.5}, {0.00035, 1, 0.00005}, {0, 2, 0}} {
		near(t, "δ", uncertain.Delta(row.u, row.digits), row.want, 1e-12)
	}
}

// Each distribution's draws against its own distribution function
// (Kolmogorov–Smirnov, 1.95/√n is passed by chance once in a thousand) and
// against its variance.
func TestDistributions(t *testing.T) {
	clamp := func(v float64) float64 { return math.Max(0, math.Min(1, v)) }
	for _, tt := range []struct {
		name string
		d    uncertain.Dist
		cdf  func(x float64) float64
		sd   float64
	}{
		{"normal", uncertain.Normal{3, 2}, func(x float64) float64 { return math.Erfc(-(x-3)/2/math.Sqrt2) / 2 }, 2},
		// t with 4 degrees of freedom has a closed form.
		{"t", uncertain.StudentT{3, 2, 4}, func(x float64) float64 {
			v := (x - 3) / 2
			w := v / math.Sqrt(4+v*v)
			return 0.5 + 0.75*(w-w*w*w/3)
		}, 2 * math.Sqrt2},
		{"rectangular", uncertain.Rectangular{3, 2}, func(x float64) float64 { return clamp((x - 1) / 4) }, 2 / math.Sqrt(3)},
		{"triangular", uncertain.Triangular{3, 2}, func(x float64) float64 {
			if x < 3 {
				return clamp((x-1)/2) * clamp((x-1)/2) / 2
			}
			return 1 - clamp((5-x)/2)*clamp((5-x)/2)/2
		}, 2 / math.Sqrt(6)},
		{"arcsine", uncertain.Arcsine{3, 2}, func(x float64) float64 {
			return 0.5 + math.Asin(math.Max(-1, math.Min(1, (x-3)/2)))/math.Pi
		}, math.Sqrt2},
		// In the flat middle the density is ln((a+d)/(a−d))/(4d).
		{"curvilinear trapezoid", uncertain.CurvilinearTrapezoid{3, 2, 0.5}, nil, math.Sqrt(4./3 + 0.25/9)},
	} {
		t.Run(tt.name, func(t *testing.T) {
			const n = 200_000
			r := rand.New(rand.NewPCG(11, 3))
			v := make([]float64, n)
			var mean, sq float64
			for i := range v {
				v[i] = tt.d.Draw(r)
				mean += v[i] / n
			}
			for _, x := range v {
				sq += (x - mean) * (x - mean) / n
			}
			near(t, "estimate", tt.d.Estimate(), 3, 0)
			near(t, "mean", mean, 3, 5*tt.sd/math.Sqrt(n))
			// The fourth moment of a t with 4 degrees of freedom does not exist.
			if _, heavy := tt.d.(uncertain.StudentT); heavy {
				near(t, "U", tt.d.U(), 2, 0)
			} else {
				near(t, "U", tt.d.U(), tt.sd, 1e-12)
				near(t, "standard deviation", math.Sqrt(sq), tt.sd, 0.01*tt.sd)
			}
			slices.Sort(v)
			if tt.cdf == nil {
				inner := 0
				for _, x := range v {
					if math.Abs(x-3) < 1.5 {
						inner++
					}
				}
				near(t, "share of the flat middle", float64(inner)/n, 3*math.Log(2.5/1.5)/2, 0.004)
				return
			}
			worst := 0.
			for i, x := range v {
				worst = math.Max(worst, math.Max(math.Abs(tt.cdf(x)-float64(i)/n), math.Abs(tt.cdf(x)-float64(i+1)/n)))
			}
			if worst > 1.95/math.Sqrt(n) {
				t.Errorf("draws and distribution function differ by %.5f, want below %.5f", worst, 1.95/math.Sqrt(n))
			}
		})
	}
}
