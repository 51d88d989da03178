package testday

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// The data sets of testdata/oracle/testday.md.
var (
	depressionX = []float64{1.83, .50, 1.62, 2.48, 1.68, 1.88, 1.55, 3.06, 1.30}
	depressionY = []float64{.878, .647, .598, 2.05, 1.06, 1.29, 1.06, 3.14, 1.29}
	permX       = []float64{.80, .83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, .73, 1.46}
	permY       = []float64{1.15, .88, .90, .74, 1.21}
	maize       = []float64{49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48}
	newcomb     = []float64{28, 26, 33, 24, 34, -44, 27, 16, 40, -2, 29, 22, 24, 21, 25, 30, 23, 29, 31, 19, 24, 20, 36, 32, 36, 28, 25, 21, 28, 29, 37, 25, 28, 26, 30, 32, 36, 26, 30, 22, 36, 23, 27, 27, 28, 27, 31, 27, 26, 33, 26, 32, 32, 24, 39, 28, 24, 25, 32, 25, 29, 27, 28, 29, 16, 23}
	brief6      = []float64{4.5, 4.9, 5.6, 4.2, 6.2, 5.2, 9.9}
	outlier     = []float64{199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57}
	michelson   = []float64{
		850, 740, 900, 1070, 930, 850, 950, 980, 980, 880, 1000, 980, 930, 650, 760, 810, 1000, 1000, 960, 960,
		960, 940, 960, 940, 880, 800, 850, 880, 900, 840, 830, 790, 810, 880, 880, 830, 800, 790, 760, 800,
		880, 880, 880, 860, 720, 720, 620, 860, 970, 950, 880, 910, 850, 870, 840, 840, 850, 840, 840, 840,
		890, 810, 810, 820, 800, 770, 760, 740, 750, 760, 910, 920, 890, 860, 880, 720, 840, 850, 850, 780,
		890, 840, 780, 810, 760, 810, 790, 810, 820, 850, 870, 870, 810, 740, 810, 940, 950, 800, 810, 870,
	}
	gumT  = []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	gumB  = []float64{-.171, -.169, -.166, -.159, -.164, -.165, -.156, -.157, -.159, -.161, -.160}
	stint = []float64{48.61, 48.42, 48.35, 48.37, 49.88, 48.40, 48.44, 55.10, 48.47, 48.43, 48.52}
)

func minus(x, y []float64) []float64 {
	out := make([]float64, len(x))
	for i := range x {
		out[i] = x[i] - y[i]
	}
	return out
}

type check struct {
	name     string
	got      float64
	want     float64
	decimals int
}

func verify(t *testing.T, list []check) {
	t.Helper()
	for _, c := range list {
		if !near(c.got, c.want, c.decimals) {
			t.Errorf("%s is %.*f, want %.*f", c.name, c.decimals+2, c.got, c.decimals, c.want)
		}
	}
}

// TD-R1 and R2: M. Hollander, D. A. Wolfe, Nonparametric Statistical Methods
// 1973. TD-R3: R. A. Fisher, The Design of Experiments 1935.
func TestRankTestsAtPublishedData(t *testing.T) {
	paired := minus(depressionX, depressionY)
	e := SignedRank(paired, 0.95)
	verify(t, []check{
		{"depression V", e.Statistic, 40, 9}, {"depression one-sided p", e.OneSided, 0.01953125, 12}, {"depression two-sided p", e.TwoSided, 0.0390625, 12},
		{"depression Hodges–Lehmann", e.Estimate, 0.46, 9}, {"depression lower", e.Interval.Lo, 0.010, 9}, {"depression upper", e.Interval.Hi, 0.786, 9},
		{"depression attained", e.Interval.Attained, 0.9609375, 12}, {"depression Walsh averages", float64(len(Walsh(paired))), 45, 0},
		{"the same as two samples, median of the 81 differences", Shift(depressionX, depressionY), 0.56, 9},
	})
	e = RankSum(permX, permY, 0.95)
	verify(t, []check{
		{"permeability W", e.Statistic, 35, 9}, {"permeability one-sided p", e.OneSided, 0.1272061, 7}, {"permeability two-sided p", e.TwoSided, 0.2544123, 7},
		{"permeability shift", e.Estimate, 0.305, 9}, {"permeability lower", e.Interval.Lo, -0.15, 9}, {"permeability upper", e.Interval.Hi, 0.76, 9},
	})
	e = SignedRank(maize, 0.95)
	verify(t, []check{
		{"maize V", e.Statistic, 96, 9}, {"maize p", e.TwoSided, 0.04125977, 8}, {"maize Hodges–Lehmann", e.Estimate, 25, 9},
		{"maize lower", e.Interval.Lo, 4, 9}, {"maize upper", e.Interval.Hi, 41.5, 9},
	})
}

// TD-R4: Analytical Methods Committee, Technical Brief 6. TD-R5: NIST/SEMATECH
// e-Handbook, Grubbs' test. TD-R6: Newcomb 1882. TD-R7: Michelson 1879.
func TestRobustFiguresAtPublishedData(t *testing.T) {
	m, s := Huber(brief6)
	verify(t, []check{
		{"brief 6 mean", Mean(brief6), 5.785714286, 9}, {"brief 6 SD", SD(brief6), 1.933415433, 9}, {"brief 6 median", Median(brief6), 5.2, 9},
		{"brief 6 MAD", MAD(brief6), 0.7, 9}, {"brief 6 1.4826 MAD", 1.4826 * MAD(brief6), 1.03782, 9}, {"brief 6 H15 mean", m, 5.38648923, 8}, {"brief 6 H15 SD", s, 1.14595692, 8},
		{"outlier mean", Mean(outlier), 206.43375, 9}, {"outlier SD", SD(outlier), 15.8525644, 7}, {"outlier median", Median(outlier), 201.37, 9}, {"outlier MAD", MAD(outlier), .995, 9},
		{"Grubbs G", (slices.Max(outlier) - Mean(outlier)) / SD(outlier), 2.468764611, 9},
		{"Grubbs one-sided critical", grubbs(8, 0.05/8), 2.031652002, 9}, {"Grubbs two-sided critical", grubbs(8, 0.05/16), 2.126645087, 9},
		{"Newcomb mean", Mean(newcomb), 26.21212121, 8}, {"Newcomb SD", SD(newcomb), 10.74532478, 8}, {"Newcomb median", Median(newcomb), 27, 9}, {"Newcomb MAD", MAD(newcomb), 3, 9},
		{"Newcomb trimmed", Trimmed(newcomb, 0.1), 27.42592593, 8}, {"Newcomb Hodges–Lehmann", HodgesLehmann(newcomb), 27.5, 9},
		{"Newcomb t lower", Mean(newcomb) - quantile(0.975, 65)*SD(newcomb)/math.Sqrt(66), 23.57059068, 8},
		{"Newcomb t upper", Mean(newcomb) + quantile(0.975, 65)*SD(newcomb)/math.Sqrt(66), 28.85365174, 8},
		{"Michelson mean", Mean(michelson), 852.4, 9}, {"Michelson SD", SD(michelson), 79.01054782, 8}, {"Michelson median", Median(michelson), 850, 9},
		{"Michelson MAD", MAD(michelson), 45, 9}, {"Michelson Hodges–Lehmann", HodgesLehmann(michelson), 850, 9},
	})
	for i, want := range []float64{-1.396452261, -1.247316583, -.7999095477, -.372839196, .372839196, .3931758794, .5490904524, 29.96271357} {
		if got := ModifiedZ(outlier, 0)[i]; !near(got, want, 8) {
			t.Errorf("modified z of %g is %.9f, want %.9f", outlier[i], got, want)
		}
	}
	for i, want := range [][2]float64{{940, 909}, {845, 856}, {855, 845}, {815, 820.5}, {810, 831.5}} {
		x := michelson[20*i : 20*i+20]
		if Median(x) != want[0] || !near(Mean(x), want[1], 9) {
			t.Errorf("Michelson's experiment %d: median %g and mean %g, want %g and %g", i+1, Median(x), Mean(x), want[0], want[1])
		}
	}
}

// grubbs is F. E. Grubbs' critical value for the largest of n, 1950.
func grubbs(n int, alpha float64) float64 {
	t := quantile(1-alpha, n-2)
	return float64(n-1) / math.Sqrt(float64(n)) * math.Sqrt(t*t/(float64(n-2)+t*t))
}

// TD-R8: D. R. Helsel, R. M. Hirsch 2002. TD-R9: the data of JCGM 100:2008 H.3.
func TestTheilSenAtPublishedData(t *testing.T) {
	l := TheilSen([]float64{1, 2, 3, 4, 5, 6, 7}, []float64{1, 2, 3, 4, 5, 16, 7})
	if l != (Line{1, 0}) {
		t.Errorf("Helsel and Hirsch's line is %+v, want slope 1 and intercept 0", l)
	}
	x := make([]float64, len(gumT))
	for i := range x {
		x[i] = gumT[i] - 20
	}
	l = TheilSen(x, gumB)
	verify(t, []check{
		{"GUM H.3 slope", l.Slope, 0.002010050251, 12}, {"GUM H.3 median of y − bx", l.Intercept, -0.1710492462, 10},
		{"GUM H.3 med y − b med x", Median(gumB) - l.Slope*Median(x), -0.169038191, 9},
	})
}

// TD-R10: a stint with traffic and a spin.
func TestStint(t *testing.T) {
	laps := []Lap{{49.92, 2, OutLap, ""}}
	for _, v := range stint {
		laps = append(laps, Lap{v, 2, Timed, ""})
	}
	s, err := Summarise(laps, Typical)
	if err != nil {
		t.Fatal(err)
	}
	at7, err := Summarise(laps, Figure{"lap", 7})
	if err != nil {
		t.Fatal(err)
	}
	x := []float64{2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12}
	all := TheilSen(x, stint)
	verify(t, []check{
		{"mean of all", Mean(stint), 49.180909, 6}, {"SD of all", SD(stint), 2.011022, 6}, {"median of all", Median(stint), 48.44, 9}, {"MAD of all", MAD(stint), .07, 9},
		{"Hodges–Lehmann of all", HodgesLehmann(stint), 48.4775, 9}, {"Theil–Sen slope of all", all.Slope, .01142857, 8}, {"20 % trimmed of all", Trimmed(stint, 0.2), 48.47, 9},
		{"laps kept", float64(len(s.Kept)), 9, 0}, {"mean kept", s.Mean, 48.445556, 6}, {"SD kept", SD(s.Kept), .079861, 6}, {"median kept", s.Median, 48.43, 9},
		{"Hodges–Lehmann kept", s.Value, 48.435, 9}, {"slope kept", s.Line.Slope, .01055556, 8}, {"value at lap 7", at7.Value, 48.42944444, 8}, {"best lap", s.Best, 48.35, 9},
	})
	for i, want := range []float64{1.6381, -.1927, -.8672, -.6745, 13.8754, -.3854, 0, 64.1739, .2891, -.0964, .7709} {
		if got := ModifiedZ(stint, 0.01)[i]; !near(got, want, 4) {
			t.Errorf("modified z of lap %d is %.5f, want %.4f", i+2, got, want)
		}
	}
	var left []int
	for _, l := range s.Left {
		left = append(left, l.Number)
	}
	if !slices.Equal(left, []int{1, 6, 9}) {
		t.Errorf("laps %v were left out, want 1 (out-lap), 6 (traffic) and 9 (spin)", left)
	}
}

// TD-R11: two runs lap against lap.
func TestTwoRuns(t *testing.T) {
	x := []float64{48.42, 48.35, 48.37, 48.40, 48.44, 48.47}
	y := []float64{48.60, 48.52, 48.55, 48.50, 48.58, 48.49}
	e := RankSum(x, y, 0.95)
	verify(t, []check{
		{"shift", e.Estimate, -0.13, 9}, {"lower", e.Interval.Lo, -0.20, 9}, {"upper", e.Interval.Hi, -0.07, 9}, {"attained", e.Interval.Attained, .95887, 5},
		{"pairs with y greater", 36 - e.Statistic, 36, 9}, {"two-sided p", e.TwoSided, 0.0021645022, 10},
	})
}

// TD-S: A. Wald 1945, the exact sign test.
func TestSequentialAndSign(t *testing.T) {
	s := Sequential{.5, .75, .05, .05}
	lower, upper := s.Bounds()
	up, down := s.Steps()
	after, d := s.After(3, 1)
	verify(t, []check{
		{"lower bound", lower, -2.944439, 6}, {"upper bound", upper, 2.944439, 6}, {"a success", up, 0.405465, 6}, {"a failure", down, -0.693147, 6}, {"3 of 4", after, 0.523248, 6},
		{"sign test 3 of 4", SignTest(3, 4), 5. / 16, 12}, {"sign test 7 of 8", SignTest(7, 8), 9. / 256, 12}, {"sign test 8 of 8, two-sided", 2 * SignTest(8, 8), .0078125, 12},
	})
	if d != GoOn {
		t.Errorf("after 3 of 4 the sequential test says %v, want to go on", d)
	}
	for n, want := range map[int]Decision{7: GoOn, 8: TakeP1} {
		if _, got := s.After(n, 0); got != want {
			t.Errorf("after %d straight successes the test says %v, want %v", n, got, want)
		}
	}
	for n, want := range map[int]Decision{4: GoOn, 5: TakeP0} {
		if _, got := s.After(0, n); got != want {
			t.Errorf("after %d straight failures the test says %v, want %v", n, got, want)
		}
	}
}

// TD-P: Student's sleep data and Fisher's maize by the t test, as R prints
// them; pairing is what blocking against drift does.
func TestPairing(t *testing.T) {
	g1 := []float64{0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0}
	g2 := []float64{1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4}
	// Ten pairs as ten blocks in the model of a day.
	d := &Day{Trend: NoTrend, Figure: Typical, Changes: []Change{{Name: "drug"}}}
	for i := range g1 {
		d.Runs = append(d.Runs, Run{Setup: 1, State: Done, Value: g1[i], Tyres: 1, Break: i > 0}, Run{State: Done, Value: g2[i], Tyres: 1})
	}
	v, err := d.Judge()
	if err != nil {
		t.Fatal(err)
	}
	e := v.Effects[0]
	verify(t, []check{
		{"sleep mean", e.Value, -1.58, 9}, {"sleep t", e.Value / e.SE, -4.0621277, 7}, {"sleep p", e.P, 0.00283289, 8},
		{"sleep lower", e.Lo, -2.4598857633, 9}, {"sleep upper", e.Hi, -0.7001142367, 9},
	})
	if v.DF != 9 {
		t.Errorf("the sleep data leave %d spare runs, want 9", v.DF)
	}
	d = &Day{Trend: NoTrend, Figure: Typical, Changes: []Change{{Name: "crossed"}}}
	for i, v := range maize {
		d.Runs = append(d.Runs, Run{Setup: 1, State: Done, Value: 100 + v, Tyres: 1, Break: i > 0}, Run{State: Done, Value: 100, Tyres: 1})
	}
	if v, err = d.Judge(); err != nil {
		t.Fatal(err)
	}
	e = v.Effects[0]
	verify(t, []check{
		{"maize mean", e.Value, 20.93333333, 8}, {"maize SD", SD(maize), 37.74437833, 8}, {"maize t", e.Value / e.SE, 2.1479875, 7}, {"maize p", e.P, 0.04970294, 8},
		{"maize lower", e.Lo, 0.0311933184, 8}, {"maize upper", e.Hi, 41.8354733483, 8},
	})
}

// An estimator moves with its sample, and one wild lap does not carry it off.
func TestRobustProperties(t *testing.T) {
	figures := map[string]func([]float64) float64{
		"median": Median, "Hodges–Lehmann": HodgesLehmann, "Huber": func(x []float64) float64 { m, _ := Huber(x); return m },
	}
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(48, 49), 5, 15).Draw(t, "laps")
		by := rapid.Float64Range(-5, 5).Draw(t, "shift")
		moved, wild := slices.Clone(x), slices.Clone(x)
		for i := range moved {
			moved[i] += by
		}
		wild[0] = 1000
		for name, f := range figures {
			if got, want := f(moved), f(x)+by; math.Abs(got-want) > 1e-6 {
				t.Fatalf("%s of the laps moved by %g is %g, want %g", name, by, got, want)
			}
			if got := f(wild); got > 49.5 {
				t.Fatalf("%s of laps with one at 1000 s is %g, want it among the others", name, got)
			}
		}
		y := rapid.SliceOfN(rapid.Float64Range(48, 49), 2, 6).Draw(t, "others")
		if a, b := RankSum(x, y, 0.95), RankSum(y, x, 0.95); math.Abs(a.TwoSided-b.TwoSided) > 1e-12 || math.Abs(a.Estimate+b.Estimate) > 1e-12 {
			t.Fatalf("two samples compared both ways: p %g and %g, shifts %g and %g", a.TwoSided, b.TwoSided, a.Estimate, b.Estimate)
		}
	})
}
