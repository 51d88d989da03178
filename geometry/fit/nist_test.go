package fit_test

import (
	"bufio"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"kartwright/geometry/fit"
)

// table reads a data file: a line of numbers per observation, y first.
func table(t testing.TB, name string) (y []float64, x [][]float64) {
	t.Helper()
	f, err := os.Open("testdata/" + name + ".txt")
	require.NoError(t, err)
	defer f.Close()
	for sc := bufio.NewScanner(f); sc.Scan(); {
		if strings.HasPrefix(sc.Text(), "#") {
			continue
		}
		var row []float64
		for _, w := range strings.Fields(sc.Text()) {
			v, err := strconv.ParseFloat(w, 64)
			require.NoError(t, err)
			row = append(row, v)
		}
		y, x = append(y, row[0]), append(x, row[1:])
	}
	return y, x
}

// column is the only x of each observation.
func column(x [][]float64) []float64 {
	out := make([]float64, len(x))
	for i, row := range x {
		out[i] = row[0]
	}
	return out
}

// powers is the design of a polynomial of that degree.
func powers(x []float64, degree int) [][]float64 {
	out := make([][]float64, len(x))
	for i, v := range x {
		for k := range degree + 1 {
			out[i] = append(out[i], math.Pow(v, float64(k)))
		}
	}
	return out
}

func names(n int) []string {
	out := make([]string, n)
	for i := range out {
		out[i] = "b" + strconv.Itoa(i)
	}
	return out
}

// digits is how many digits of want got shows (NIST's LRE).
func digits(got, want float64) float64 {
	switch {
	case got == want:
		return 16
	case want == 0:
		return -math.Log10(math.Abs(got))
	}
	return -math.Log10(math.Abs(got-want) / math.Abs(want))
}

// needDigits demands that every number shows so many digits.
func needDigits(t *testing.T, what string, least float64, got, want []float64) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%s: %d numbers, want %d", what, len(got), len(want))
	}
	for i := range want {
		if d := digits(got[i], want[i]); !(d >= least) {
			t.Errorf("%s %d = %.14g, want %.14g: %.1f digits agree, want at least %g", what, i, got[i], want[i], d, least)
		}
	}
}

// NIST Statistical Reference Datasets, linear regression; see
// testdata/oracle/fit.md.
func TestNISTLinear(t *testing.T) {
	delta := []float64{759, -2048, 2048, -2048, 2523, -2048, 2048, -2048, 1838, -2048, 2048, -2048, 1838, -2048, 2048, -2048, 2523, -2048, 2048, -2048, 759}
	wampler := func(scale, noise float64) func(testing.TB) ([]float64, [][]float64) {
		return func(testing.TB) ([]float64, [][]float64) {
			x, y := make([]float64, 21), make([]float64, 21)
			for i := range x {
				x[i] = float64(i)
				for k := range 6 {
					y[i] += math.Pow(scale*x[i], float64(k))
				}
				if scale != 1 {
					y[i] = math.Round(y[i]*1e5) / 1e5
				}
				y[i] += noise * delta[i]
			}
			return y, powers(x, 5)
		}
	}
	poly := func(name string, degree int) func(testing.TB) ([]float64, [][]float64) {
		return func(t testing.TB) ([]float64, [][]float64) {
			y, x := table(t, name)
			return y, powers(column(x), degree)
		}
	}
	w3 := []float64{2152.32624678170, 2363.55173469681, 779.343524331583, 101.475507550350, 5.64566512170752, 0.112324854679312}
	times := func(f float64) (out []float64) {
		for _, v := range w3 {
			out = append(out, f*v)
		}
		return out
	}
	ones := []float64{1, 1, 1, 1, 1, 1}
	for _, tt := range []struct {
		name      string
		data      func(testing.TB) ([]float64, [][]float64)
		intercept bool
		b, sd     []float64
		s, r2, f  float64
		df        int
		least     float64 // digits of b
	}{
		{"Norris", poly("norris", 1), true,
			[]float64{-0.262323073774029, 1.00211681802045}, []float64{0.232818234301152, 0.429796848199937e-3},
			0.884796396144373, 0.999993745883712, 5436385.54079785, 34, 9},
		{"Pontius", poly("pontius", 2), true,
			[]float64{0.673565789473684e-3, 0.732059160401003e-6, -0.316081871345029e-14},
			[]float64{0.107938612033077e-3, 0.157817399981659e-9, 0.486652849992036e-16},
			0.205177424076185e-3, 0.999999900178537, 185330865.995752, 37, 9},
		{"NoInt1", func(testing.TB) (y []float64, x [][]float64) {
			for i := range 11 {
				y, x = append(y, 130+float64(i)), append(x, []float64{60 + float64(i)})
			}
			return y, x
		}, false, []float64{2.07438016528926}, []float64{0.165289256198347e-1}, 3.56753034006338, 0.999365492298663, 15750.25, 10, 12},
		{"NoInt2", func(testing.TB) ([]float64, [][]float64) {
			return []float64{3, 4, 4}, [][]float64{{4}, {5}, {6}}
		}, false, []float64{0.727272727272727}, []float64{0.420827318078432e-1}, 0.369274472937998, 0.993348115299335, 298.666666666667, 2, 12},
		{"Longley", func(t testing.TB) ([]float64, [][]float64) {
			y, x := table(t, "longley")
			for i := range x {
				x[i] = append([]float64{1}, x[i]...)
			}
			return y, x
		}, true,
			[]float64{-3482258.63459582, 15.0618722713733, -0.358191792925910e-1, -2.02022980381683, -1.03322686717359, -0.511041056535807e-1, 1829.15146461355},
			[]float64{890420.383607373, 84.9149257747669, 0.334910077722432e-1, 0.488399681651699, 0.214274163161675, 0.226073200069370, 455.478499142212},
			304.854073561965, 0.995479004577296, 330.285339234588, 9, 9},
		{"Wampler1", wampler(1, 0), true, ones, nil, 0, 1, 0, 15, 9},
		{"Wampler2", wampler(0.1, 0), true, []float64{1, .1, .01, .001, .0001, .00001}, nil, 0, 1, 0, 15, 9},
		{"Wampler3", wampler(1, 1), true, ones, times(1), 2360.14502379268, 0.999995559025820, 675524.458240122, 15, 9},
		{"Wampler4", wampler(1, 100), true, ones, times(100), 236014.502379268, 0.957478440825662, 67.5524458240122, 15, 7},
		{"Wampler5", wampler(1, 10000), true, ones, times(10000), 23601450.2379268, 0.224668921574940e-2, 0.675524458240122e-2, 15, 5},
	} {
		t.Run(tt.name, func(t *testing.T) {
			y, x := tt.data(t)
			got, err := fit.Linear{Names: names(len(tt.b)), X: x, Y: y, Intercept: tt.intercept}.Solve()
			require.NoError(t, err)
			needDigits(t, "parameter", tt.least, got.Value, tt.b)
			if got.DF != tt.df {
				t.Errorf("degrees of freedom %d, want %d", got.DF, tt.df)
			}
			if tt.sd == nil { // an exact polynomial
				if got.S > 1e-6 {
					t.Errorf("residual SD %g of exact data, want 0", got.S)
				}
				return
			}
			needDigits(t, "SD", 9, got.SD, tt.sd)
			needDigits(t, "residual SD, R², F", 8, []float64{got.S, got.R2, got.F}, []float64{tt.s, tt.r2, tt.f})
		})
	}
}

// NIST Statistical Reference Datasets, nonlinear regression, from both starts.
func TestNISTNonlinear(t *testing.T) {
	for _, tt := range []struct {
		name   string
		f      func(b []float64, x float64) float64
		starts [2][]float64
		b, sd  []float64
		rss, s float64
	}{
		{"Misra1a", saturation, [2][]float64{{500, .0001}, {250, .0005}},
			[]float64{2.3894212918e2, 5.5015643181e-4}, []float64{2.7070075241, 7.2668688436e-6}, 1.2455138894e-1, 1.0187876330e-1},
		{"BoxBOD", saturation, [2][]float64{{1, 1}, {100, .75}},
			[]float64{2.1380940889e2, 5.4723748542e-1}, []float64{1.2354515176e1, 1.0455993237e-1}, 1.1680088766e3, 1.7088072423e1},
		{"DanWood", func(b []float64, x float64) float64 { return b[0] * math.Pow(x, b[1]) },
			[2][]float64{{1, 5}, {.7, 4}},
			[]float64{7.6886226176e-1, 3.8604055871}, []float64{1.8281973860e-2, 5.1726610913e-2}, 4.3173084083e-3, 3.2853114039e-2},
		{"MGH09", func(b []float64, x float64) float64 { return b[0] * (x*x + b[1]*x) / (x*x + b[2]*x + b[3]) },
			[2][]float64{{25, 39, 41.5, 39}, {.25, .39, .415, .39}},
			[]float64{1.9280693458e-1, 1.9128232873e-1, 1.2305650693e-1, 1.3606233068e-1},
			[]float64{1.1435312227e-2, 1.9633220911e-1, 8.0842031232e-2, 9.0025542308e-2}, 3.0750560385e-4, 6.6279236551e-3},
		{"Rat42", func(b []float64, x float64) float64 { return b[0] / (1 + math.Exp(b[1]-b[2]*x)) },
			[2][]float64{{100, 1, .1}, {75, 2.5, .07}},
			[]float64{7.2462237576e1, 2.6180768402, 6.7359200066e-2}, []float64{1.7340283401, 8.8295217536e-2, 3.4465663377e-3}, 8.0565229338, 1.1587725499},
		{"Thurber", func(b []float64, x float64) float64 {
			return (b[0] + x*(b[1]+x*(b[2]+x*b[3]))) / (1 + x*(b[4]+x*(b[5]+x*b[6])))
		}, [2][]float64{{1000, 1000, 400, 40, .7, .3, .03}, {1300, 1500, 500, 75, 1, .4, .05}},
			[]float64{1.2881396800e3, 1.4910792535e3, 5.8323836877e2, 7.5416644291e1, 9.6629502864e-1, 3.9797285797e-1, 4.9727297349e-2},
			[]float64{4.6647963344, 3.9571156086e1, 2.8698696102e1, 5.5675370270, 3.1333340687e-2, 1.4984928198e-2, 6.5842344623e-3}, 5.6427082397e3, 1.3714600784e1},
	} {
		y, x := table(t, strings.ToLower(tt.name))
		for i, start := range tt.starts {
			t.Run(tt.name+" from start "+strconv.Itoa(i+1), func(t *testing.T) {
				got, err := curve(tt.f, column(x), y, start).Solve()
				require.NoError(t, err)
				if got.Status != fit.Converged {
					t.Fatalf("the search %v after %d iterations at %v", got.Status, got.Iterations, got.Value)
				}
				needDigits(t, "parameter", 6, got.Value, tt.b)
				needDigits(t, "SD", 4, got.SD, tt.sd)
				needDigits(t, "RSS, residual SD", 8, []float64{got.RSS, got.S}, []float64{tt.rss, tt.s})
				t.Logf("%d iterations", got.Iterations)
			})
		}
	}
}

func saturation(b []float64, x float64) float64 { return b[0] * (1 - math.Exp(-b[1]*x)) }

// curve is the fit of a function of one variable.
func curve(f func(b []float64, x float64) float64, x, y, start []float64) fit.Nonlinear {
	return fit.Nonlinear{Names: names(len(start)), Start: start, Y: y, Predict: func(b, out []float64) error {
		for i, v := range x {
			out[i] = f(b, v)
		}
		return nil
	}}
}
