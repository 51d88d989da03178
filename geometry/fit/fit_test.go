package fit_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"

	"kartwright/geometry/fit"
)

// near demands that got is want to half a unit in want's last printed digit.
func near(t *testing.T, what string, got, want, half float64) {
	t.Helper()
	if !(math.Abs(got-want) <= half) {
		t.Errorf("%s = %.12g, want %.12g ± %g", what, got, want, half)
	}
}

// JCGM 100:2008 H.3, calibration of a thermometer: a straight line with
// correlated coefficients and a prediction from it.
func TestGUMH3(t *testing.T) {
	reading := []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	b := []float64{-.171, -.169, -.166, -.159, -.164, -.165, -.156, -.157, -.159, -.161, -.160}
	var x [][]float64
	for _, r := range reading {
		x = append(x, []float64{1, r - 20})
	}
	got, err := fit.Linear{Names: []string{"y1", "y2"}, X: x, Y: b, Intercept: true}.Solve()
	require.NoError(t, err)
	// As the GUM prints them.
	near(t, "y1", got.Value[0], -0.1712, 5e-5)
	near(t, "u(y1)", got.SD[0], 0.0029, 5e-5)
	near(t, "y2", got.Value[1], 0.00218, 5e-6)
	near(t, "u(y2)", got.SD[1], 0.00067, 5e-6)
	near(t, "r(y1, y2)", got.Correlation(0, 1), -0.930, 5e-4)
	near(t, "s", got.S, 0.0035, 5e-5)
	at, u := got.At([]float64{1, 10})
	near(t, "correction at 30 °C", at, -0.1494, 5e-5)
	near(t, "its uncertainty", u, 0.0041, 5e-5)
	// To more digits, computed outside the project.
	near(t, "y1", got.Value[0], -0.1712037901, 5e-11)
	near(t, "y2", got.Value[1], 0.0021826977, 5e-11)
	near(t, "u(y2)", got.SD[1], 0.0006679388, 5e-11)
	near(t, "u at 30 °C", u, 0.0041385958, 5e-11)
	k := got.Interval(0.95) * got.SD[1]
	near(t, "low end of the slope", got.Value[1]-k, 0.0006717153, 5e-11)
	near(t, "high end of the slope", got.Value[1]+k, 0.0036936802, 5e-11)
	if got.DF != 9 {
		t.Errorf("degrees of freedom %d, want 9", got.DF)
	}
}

// Longley's data are the textbook case of collinear columns: variance inflation
// and the condition number of the scaled columns, 43 275 (D. A. Belsley, E.
// Kuh, R. E. Welsch, Regression Diagnostics, 1980, from memory).
func TestLongleyCollinear(t *testing.T) {
	y, x := table(t, "longley")
	for i := range x {
		x[i] = append([]float64{1}, x[i]...)
	}
	got, err := fit.Linear{Names: names(7), X: x, Y: y, Intercept: true}.Solve()
	require.NoError(t, err)
	for j, want := range []float64{135.53244, 1788.51348, 33.61889, 3.58893, 399.15102, 758.98060} {
		near(t, "VIF of "+got.Names[j+1], got.VIF[j+1], want, 5e-6)
	}
	near(t, "scaled condition", got.Identify.Condition, 43275, 0.5)
	if !warned(got.Warnings, fit.Collinear) {
		t.Error("no warning that the columns are collinear")
	}
}

func warned(w []fit.Warning, code fit.Code) bool {
	return slices.ContainsFunc(w, func(w fit.Warning) bool { return w.Code == code })
}

// firstOf is Misra1a with its first n observations only.
func firstOf(t testing.TB, n int) fit.Nonlinear {
	y, x := table(t, "misra1a")
	return curve(saturation, column(x)[:n], y[:n], []float64{250, .0005})
}

// Misra1a's first points determine little more than the initial slope b0·b1:
// computed outside the project.
func TestIdentifiability(t *testing.T) {
	for _, tt := range []struct {
		n                                 int
		b0, sd0, b1, sd1, rho, cond, coll float64
		halfCond, halfColl                float64
	}{
		{4, 222.868450, 6.70207833, 5.95174221e-4, 1.87450525e-5, -.999934, 173.894, 122.96, 5e-4, 5e-3},
		{6, 217.156323, 2.72783943, 6.11438961e-4, 8.23672710e-6, -.999807, 101.766, 71.96, 5e-4, 5e-3},
		{14, 238.942129, 2.70700752, 5.50156432e-4, 7.26686884e-6, -.998776, 40.413, 28.59, 5e-4, 5e-3},
	} {
		got, err := firstOf(t, tt.n).Solve()
		require.NoError(t, err)
		near(t, "b0", got.Value[0], tt.b0, 5e-7*1.01)
		near(t, "SD of b0", got.SD[0], tt.sd0, 5e-7)
		near(t, "b1", got.Value[1], tt.b1, 5e-13)
		near(t, "SD of b1", got.SD[1], tt.sd1, 5e-13)
		near(t, "correlation", got.Correlation(0, 1), tt.rho, 5e-7)
		near(t, "condition", got.Identify.Condition, tt.cond, tt.halfCond)
		near(t, "collinearity", got.Identify.Collinearity, tt.coll, tt.halfColl)
		// In relative terms the well determined direction is b0·b1, the badly
		// determined one b0/b1.
		d := got.Identify.Directions
		rel := func(d fit.Direction, name string) float64 {
			for _, p := range d.Parts {
				if p.Name == name {
					return p.By / map[string]float64{"b0": got.Value[0], "b1": got.Value[1]}[name]
				}
			}
			return 0
		}
		if a, b := rel(d[0], "b0"), rel(d[0], "b1"); !(a*b > 0 && a/b > 0.7 && a/b < 1.4) {
			t.Errorf("%d points: best determined %v, want b0 and b1 rising together", tt.n, d[0])
		}
		if a, b := rel(d[1], "b0"), rel(d[1], "b1"); !(a*b < 0 && a/b < -0.7 && a/b > -1.4) {
			t.Errorf("%d points: worst determined %v, want b0 rising as b1 falls", tt.n, d[1])
		}
		if !warned(got.Warnings, fit.Collinear) {
			t.Errorf("%d points: no warning that b0 and b1 can hardly be told apart", tt.n)
		}
	}
}

// Priors on Misra1a, with the observations' SD given: computed outside the
// project.
func TestPriors(t *testing.T) {
	for _, tt := range []struct {
		name          string
		n             int
		prior         fit.Prior
		b0, b1        float64
		h0, h1        float64
		sd0, sd1      float64
		hs0, hs1, rho float64
	}{
		{"none", 14, fit.Prior{}, 238.94212918, 5.5015643181e-4, 5e-8, 5e-14, 2.707008, 7.266869e-6, 1e-6, 5e-12, 0},
		{"240 ± 1", 14, fit.Prior{Mean: 240, SD: 1}, 239.87474767, 5.4766722195e-4, 5e-8, 5e-14, .939020, 2.520363e-6, 1e-6, 1e-12, -.989887},
		{"240 ± 10", 14, fit.Prior{Mean: 240, SD: 10}, 239.01461697, 5.4996214630e-4, 5e-8, 5e-14, 2.614623, 7.014514e-6, 1e-6, 5e-12, 0},
		{"240 ± 10, four points", 4, fit.Prior{Mean: 240, SD: 10}, 239.584597, 5.51829678e-4, 1e-6, 5e-12, 9.88659242, 2.38273878e-5, 1e-6, 5e-12, 0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			p := firstOf(t, tt.n)
			p.SD = slices.Repeat([]float64{.1018787633}, tt.n)
			p.Prior = []fit.Prior{tt.prior, {}}
			got, err := p.Solve()
			require.NoError(t, err)
			near(t, "b0", got.Value[0], tt.b0, tt.h0)
			near(t, "b1", got.Value[1], tt.b1, tt.h1)
			near(t, "SD of b0", got.SD[0], tt.sd0, tt.hs0)
			near(t, "SD of b1", got.SD[1], tt.sd1, tt.hs1)
			if tt.rho != 0 {
				near(t, "correlation", got.Correlation(0, 1), tt.rho, 1e-6)
			}
		})
	}
}

// A straight line with priors has a closed form; computed outside the project.
func TestLinearPriors(t *testing.T) {
	got, err := fit.Linear{
		Names: []string{"level", "slope"},
		X:     [][]float64{{1, -1.5}, {1, -.5}, {1, .5}, {1, 1.5}}, Y: []float64{.3, .1, -.2, -.1},
		SD: []float64{.1, .1, .1, .1}, Prior: []fit.Prior{{Mean: 0, SD: 1}, {Mean: -.1, SD: .05}},
	}.Solve()
	require.NoError(t, err)
	near(t, "level", got.Value[0], 0.02493766, 5e-9)
	near(t, "slope", got.Value[1], -0.12777778, 5e-9)
	near(t, "SD of the level", got.SD[0], 0.04993762, 5e-9)
	near(t, "SD of the slope", got.SD[1], 0.03333333, 5e-9)
}

// Nothing but priors gives the priors.
func TestNoObservations(t *testing.T) {
	got, err := fit.Nonlinear{Names: names(2), Start: []float64{3, 4}, Y: nil, SD: []float64{},
		Prior:   []fit.Prior{{Mean: 1, SD: 2}, {Mean: -5, SD: .5}},
		Predict: func(_, _ []float64) error { return nil }}.Solve()
	require.NoError(t, err)
	needDigits(t, "parameter", 12, got.Value, []float64{1, -5})
	needDigits(t, "SD", 12, got.SD, []float64{2, .5})
}

// line is a random straight-line problem.
func line(t *rapid.T) fit.Linear {
	n := rapid.IntRange(4, 12).Draw(t, "n")
	f := rapid.Float64Range(-5, 5)
	l := fit.Linear{Names: []string{"level", "slope", "bend"}, Intercept: true}
	for i := range n {
		x := float64(i) + f.Draw(t, "x")/20
		l.X = append(l.X, []float64{1, x, x * x})
		l.Y = append(l.Y, f.Draw(t, "y"))
		l.SD = append(l.SD, rapid.Float64Range(.05, 2).Draw(t, "sd"))
	}
	return l
}

// The solution of weighted least squares is that of gonum's QR.
func TestAgainstGonum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := line(t)
		got, err := l.Solve()
		require.NoError(t, err)
		a, b := mat.NewDense(len(l.Y), 3, nil), mat.NewVecDense(len(l.Y), nil)
		for i := range l.Y {
			for j := range 3 {
				a.Set(i, j, l.X[i][j]/l.SD[i])
			}
			b.SetVec(i, l.Y[i]/l.SD[i])
		}
		var x mat.VecDense
		if err := x.SolveVec(a, b); err != nil {
			t.Skip(err)
		}
		var normal, inverse mat.Dense
		normal.Mul(a.T(), a)
		if inverse.Inverse(&normal) != nil {
			t.Skip("gonum's normal equations are too ill conditioned")
		}
		for j := range 3 {
			if math.Abs(got.Value[j]-x.AtVec(j)) > 1e-9*(1+math.Abs(x.AtVec(j))) {
				t.Errorf("parameter %d = %v, gonum %v", j, got.Value[j], x.AtVec(j))
			}
			if want := math.Sqrt(inverse.At(j, j)); math.Abs(got.SD[j]-want) > 1e-6*want {
				t.Errorf("SD %d = %v, gonum %v", j, got.SD[j], want)
			}
		}
	})
}

// Singular values are gonum's.
func TestSingularValuesAgainstGonum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := line(t)
		got, err := l.Solve()
		require.NoError(t, err)
		a := mat.NewDense(len(l.Y), 3, nil)
		for j := range 3 {
			var ss float64
			for i := range l.Y {
				v := l.X[i][j] / l.SD[i]
				ss += v * v
			}
			for i := range l.Y {
				a.Set(i, j, l.X[i][j]/l.SD[i]/math.Sqrt(ss))
			}
		}
		var svd mat.SVD
		if !svd.Factorize(a, mat.SVDNone) {
			t.Skip("gonum's decomposition failed")
		}
		for k, want := range svd.Values(nil) {
			if math.Abs(got.Identify.Singular[k]-want) > 1e-12 {
				t.Errorf("singular value %d = %v, gonum %v", k, got.Identify.Singular[k], want)
			}
		}
	})
}

// A prior never makes an answer less certain, one without weight changes
// nothing, and the order of the observations does not matter.
func TestPriorProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := line(t)
		free, err := l.Solve()
		require.NoError(t, err)
		l.Prior = []fit.Prior{{}, {Mean: rapid.Float64Range(-5, 5).Draw(t, "mean"), SD: rapid.Float64Range(.01, 10).Draw(t, "sd")}, {}}
		with, err := l.Solve()
		require.NoError(t, err)
		for j := range with.SD {
			if with.SD[j] > free.SD[j]*(1+1e-9) {
				t.Errorf("a prior made the SD of %s grow from %v to %v", l.Names[j], free.SD[j], with.SD[j])
			}
		}
		l.Prior[1].SD = 1e9
		weak, err := l.Solve()
		require.NoError(t, err)
		slices.Reverse(l.X)
		slices.Reverse(l.Y)
		slices.Reverse(l.SD)
		turned, err := l.Solve()
		require.NoError(t, err)
		for j := range weak.Value {
			if math.Abs(weak.Value[j]-free.Value[j]) > 1e-8*(1+math.Abs(free.Value[j])) {
				t.Errorf("a prior with no weight moved %s from %v to %v", l.Names[j], free.Value[j], weak.Value[j])
			}
			if math.Abs(weak.Value[j]-turned.Value[j]) > 1e-9*(1+math.Abs(free.Value[j])) {
				t.Errorf("%s is %v with the observations turned round, %v before", l.Names[j], turned.Value[j], weak.Value[j])
			}
		}
	})
}

// SDs that only compare give the same answer whatever their common factor, and
// the scatter takes the factor's place.
func TestRelative(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := line(t)
		known, err := l.Solve()
		require.NoError(t, err)
		l.Relative = true
		factor := rapid.Float64Range(.01, 100).Draw(t, "factor")
		for i := range l.SD {
			l.SD[i] *= factor
		}
		got, err := l.Solve()
		require.NoError(t, err)
		for j := range got.Value {
			if math.Abs(got.Value[j]-known.Value[j]) > 1e-9*(1+math.Abs(known.Value[j])) {
				t.Errorf("%s = %v, with known SDs %v", l.Names[j], got.Value[j], known.Value[j])
			}
			if want := known.SD[j] * known.S; math.Abs(got.SD[j]-want) > 1e-9*want {
				t.Errorf("SD of %s = %v, want that with known SDs times the scatter, %v", l.Names[j], got.SD[j], want)
			}
		}
	})
}

// Writing a parameter in another unit leaves what is predicted unchanged.
func TestUnitsDoNotMatter(t *testing.T) {
	data := firstOf(t, 14)
	rapid.Check(t, func(t *rapid.T) {
		unit := math.Pow(10, rapid.Float64Range(-4, 4).Draw(t, "log unit"))
		p := data
		a, err := p.Solve()
		require.NoError(t, err)
		f := p.Predict
		p.Start = []float64{250 * unit, .0005}
		p.Predict = func(b, out []float64) error { return f([]float64{b[0] / unit, b[1]}, out) }
		b, err := p.Solve()
		require.NoError(t, err)
		for i := range a.Rows {
			if math.Abs(a.Rows[i].Predicted-b.Rows[i].Predicted) > 1e-5*a.S {
				t.Errorf("row %d predicted %v, in the other unit %v", i, a.Rows[i].Predicted, b.Rows[i].Predicted)
			}
		}
		if d := digits(b.SD[0], a.SD[0]*unit); d < 5 {
			t.Errorf("SD %v, in the other unit %v", a.SD[0], b.SD[0])
		}
	})
}

// A bound holds, is named, and the others fit as if the bounded one were fixed
// there.
func TestBounds(t *testing.T) {
	p := firstOf(t, 14)
	p.Bounds = [][2]float64{{0, 230}, {0, 0}}
	p.Start[0] = 200
	got, err := p.Solve()
	require.NoError(t, err)
	if got.Value[0] != 230 || got.Status != fit.Converged {
		t.Fatalf("b0 = %v (%v), want its bound 230", got.Value[0], got.Status)
	}
	if !warned(got.Warnings, fit.AtBound) {
		t.Error("no warning that b0 stands at its bound")
	}
	y, x := table(t, "misra1a")
	fixed, err := curve(func(b []float64, x float64) float64 { return saturation([]float64{230, b[0]}, x) }, column(x), y, []float64{.0005}).Solve()
	require.NoError(t, err)
	if d := digits(got.Value[1], fixed.Value[0]); d < 7 {
		t.Errorf("b1 = %v with b0 at its bound, %v with b0 fixed there", got.Value[1], fixed.Value[0])
	}
}

// One gross error in a straight line is named, and nothing else is.
func TestOutlier(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for _, known := range []bool{true, false} {
		l := fit.Linear{Names: []string{"level", "slope"}, Intercept: true}
		for i := range 15 {
			l.X = append(l.X, []float64{1, float64(i)})
			l.Y = append(l.Y, 2+float64(i)/2+.1*r.NormFloat64())
			if known {
				l.SD = append(l.SD, .1)
			}
		}
		l.Y[6] += 1.2
		got, err := l.Solve()
		require.NoError(t, err)
		for i, row := range got.Rows {
			if row.Outlier != (i == 6) {
				t.Errorf("SD known %v: observation %d flagged %v (%.1f SD)", known, i+1, row.Outlier, row.Studentised)
			}
		}
		if !warned(got.Warnings, fit.OutlierFound) {
			t.Errorf("SD known %v: no warning of an outlier", known)
		}
	}
}

// A combination that nothing determines has no finite SD and is said to be so.
func TestUndetermined(t *testing.T) {
	got, err := fit.Nonlinear{Names: []string{"a", "b", "c"}, Start: []float64{1, 1, 1}, Y: []float64{2, 4, 6.1, 8}, SD: []float64{.1, .1, .1, .1},
		Predict: func(b, out []float64) error {
			for i := range out {
				out[i] = b[0] * b[1] * float64(i+1)
			}
			return nil
		}}.Solve()
	require.NoError(t, err)
	if got.Status != fit.Converged {
		t.Errorf("the search %v", got.Status)
	}
	for j, sd := range got.SD {
		if !math.IsInf(sd, 1) {
			t.Errorf("SD of %s is %v, want +Inf: only a·b is determined", got.Names[j], sd)
		}
	}
	if !slices.Equal(got.Identify.Silent, []string{"c"}) {
		t.Errorf("parameters without any effect: %v, want c", got.Identify.Silent)
	}
	if !warned(got.Warnings, fit.Undetermined) {
		t.Error("no warning that nothing determines a, b and c")
	}
}

// What a fit cannot be made from is an error that names it.
func TestRefusals(t *testing.T) {
	good := func() fit.Linear {
		return fit.Linear{Names: []string{"level", "slope"}, X: [][]float64{{1, 0}, {1, 1}, {1, 2}}, Y: []float64{1, 2, 3}}
	}
	for _, tt := range []struct {
		name, want string
		spoil      func(*fit.Linear)
	}{
		{"NaN", "observation 2: NaN", func(l *fit.Linear) { l.Y[1] = math.NaN() }},
		{"infinite x", "observation 3, slope: +Inf", func(l *fit.Linear) { l.X[2][1] = math.Inf(1) }},
		{"ragged", "observation 1 has 1 columns, expected 2", func(l *fit.Linear) { l.X[0] = []float64{1} }},
		{"too few", "1 observations cannot determine 2 parameters", func(l *fit.Linear) { l.X, l.Y = l.X[:1], l.Y[:1] }},
		{"same column", "cannot tell level and slope apart", func(l *fit.Linear) {
			for _, r := range l.X {
				r[1] = 3
			}
		}},
		{"zero SD", "observation 2: its SD must be positive", func(l *fit.Linear) { l.SD = []float64{1, 0, 1} }},
		{"prior without SDs", "only be weighed", func(l *fit.Linear) { l.Prior = []fit.Prior{{Mean: 1, SD: 1}, {}} }},
	} {
		l := good()
		tt.spoil(&l)
		_, err := l.Solve()
		if err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: error %v, want one that says %q", tt.name, err, tt.want)
		}
	}
	p := firstOf(t, 4)
	p.Predict = func([]float64, []float64) error { return errors.New("no such kart") }
	if _, err := p.Solve(); err == nil || !strings.Contains(err.Error(), "at the starting values: no such kart") {
		t.Errorf("error %v, want that the starting values are impossible", err)
	}
	p = firstOf(t, 14)
	p.MaxIterations = 2
	got, err := p.Solve()
	require.NoError(t, err)
	if got.Status != fit.BudgetSpent || !warned(got.Warnings, fit.NotConverged) {
		t.Errorf("status %v after two iterations, want out of iterations and a warning", got.Status)
	}
}

func BenchmarkThurber(b *testing.B) {
	y, x := table(b, "thurber")
	p := curve(func(b []float64, x float64) float64 {
		return (b[0] + x*(b[1]+x*(b[2]+x*b[3]))) / (1 + x*(b[4]+x*(b[5]+x*b[6])))
	}, column(x), y, []float64{1300, 1500, 500, 75, 1, .4, .05})
	for b.Loop() {
		if _, err := p.Solve(); err != nil {
			b.Fatal(err)
		}
	}
}
