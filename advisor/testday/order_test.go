package testday

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// near compares to half a unit in the last printed digit.
func near(got, want float64, decimals int) bool {
	if math.IsInf(want, 1) {
		return math.IsInf(got, 1)
	}
	return math.Abs(got-want) <= 0.5000001*math.Pow(10, -float64(decimals))
}

var none = math.Inf(1)

// OD-1 in testdata/oracle/testday.md.
func TestWordsOfOneChange(t *testing.T) {
	for _, tt := range []struct {
		word                    string
		steps                   int
		free                    bool
		plain, linear, quadrate float64
	}{
		{"ABA", 2, true, 1.5, 1.5, none},
		{"AABB", 1, false, 1, 5, 5},
		{"ABAB", 3, false, 1, 1.25, 1.25},
		{"ABBA", 2, true, 1, 1, none},
		{"ABABA", 4, true, .833333, .833333, 1.09375},
		{"AAAABBBB", 1, false, .5, 2.1, 2.1},
		{"ABABABAB", 7, false, .5, .525, .525},
		{"ABBAABBA", 4, true, .5, .5, .525},
		{"ABBABAAB", 5, true, .5, .5, .5},
	} {
		o, err := ParseOrder(tt.word, 1)
		if err != nil {
			t.Fatal(err)
		}
		if got := o.Steps(); got != tt.steps {
			t.Errorf("%s has %d level changes, want %d", tt.word, got, tt.steps)
		}
		if got := o.TimeCount(0, 1) == 0; got != tt.free {
			t.Errorf("%s: time count %d, want it zero: %v", tt.word, o.TimeCount(0, 1), tt.free)
		}
		for trend, want := range map[Trend]float64{NoTrend: tt.plain, Linear: tt.linear, Quadratic: tt.quadrate} {
			if got := o.Assess(1, trend).Var[0]; !near(got, want, 6) {
				t.Errorf("%s, %v trend: variance %.7f σ², want %.6f", tt.word, trend, got, want)
			}
		}
	}
	if ThueMorse(3).String() != word("ABBABAAB").String() {
		t.Errorf("ThueMorse(3) is %v, want ABBABAAB", ThueMorse(3))
	}
	if got := ThueMorse(3).TimeCount(0, 2); got != 0 {
		t.Errorf("ABBABAAB leans %d on a quadratic trend, want 0", got)
	}
}

// E. Prouhet 1851: the word of 2^m runs is free of every trend below degree m.
func TestThueMorseIsFreeOfTrends(t *testing.T) {
	for m := 2; m <= 5; m++ {
		o := ThueMorse(m)
		for degree := 1; degree < m; degree++ {
			sum := 0
			for i, s := range o {
				p := 1
				for range degree {
					p *= i
				}
				if s == 0 {
					p = -p
				}
				sum += p
			}
			if sum != 0 {
				t.Errorf("ThueMorse(%d) leans %d on i^%d, want 0", m, sum, degree)
			}
		}
	}
}

// OD-2: the columns of eight runs in standard order.
func TestYatesColumns(t *testing.T) {
	for _, tt := range []struct {
		name                            string
		column                          Column
		pattern                         string
		steps, linear, quadratic, cubic int
	}{
		{"A", 1, "-+-+-+-+", 7, 8, 0, 16},
		{"B", 2, "--++--++", 3, 16, 0, 24},
		{"C", 4, "----++++", 1, 32, 0, -16},
		{"AB", 3, "+--++--+", 4, 0, 8, 0},
		{"AC", 5, "+-+--+-+", 6, 0, 16, 0},
		{"BC", 6, "++----++", 2, 0, 32, 0},
		{"ABC", 7, "-++-+--+", 5, 0, 0, 32},
	} {
		o := make(Order, 8)
		for i := range o {
			if tt.column.High(i) {
				o[i] = 1
			}
		}
		var pattern string
		for _, s := range o {
			pattern += string("-+"[s])
		}
		if pattern != tt.pattern {
			t.Errorf("column %s is %s, want %s", tt.name, pattern, tt.pattern)
		}
		got := [4]int{o.Steps(), o.TimeCount(0, 1), o.TimeCount(0, 2), o.TimeCount(0, 3)}
		if want := [4]int{tt.steps, tt.linear, tt.quadratic, tt.cubic}; got != want {
			t.Errorf("column %s: level changes and linear, quadratic, cubic counts %v, want %v", tt.name, got, want)
		}
	}
	// Level changes of the columns of sixteen runs.
	for name, want := range map[string]int{"A": 15, "B": 7, "C": 3, "D": 1, "AB": 8, "AC": 12, "AD": 14, "BC": 4, "BD": 6, "CD": 2, "ABC": 11, "ABD": 9, "ACD": 13, "BCD": 5, "ABCD": 10} {
		if got := Factorial(4, column(name)).Steps(); got != want {
			t.Errorf("column %s of sixteen runs has %d level changes, want %d", name, got, want)
		}
	}
}

func column(name string) (c Column) {
	for _, letter := range name {
		c |= 1 << (letter - 'A')
	}
	return c
}

// cells reads an order in the letters of its factors: pq, (1), r.
func cells(letters string, words ...string) Order {
	var o Order
	for _, w := range words {
		var s Setup
		for j, l := range letters {
			if slices.Contains([]rune(w), l) {
				s |= 1 << j
			}
		}
		o = append(o, s)
	}
	return o
}

// flipped turns the changes of mask round.
func (o Order) flipped(mask Setup) Order {
	out := slices.Clone(o)
	for i := range out {
		out[i] ^= mask
	}
	return out
}

// OD-3: published orders of 2^k runs.
func TestFactorialOrders(t *testing.T) {
	for _, tt := range []struct {
		name    string
		m       int
		columns []string
		letters string
		want    Order
		steps   []int
		degree  int // of the trends that all are free of
	}{
		{"AB BC ABC", 3, []string{"AB", "BC", "ABC"}, "pqr", cells("pqr", "pq", "qr", "r", "p", "pr", "(1)", "q", "pqr"), []int{4, 2, 5}, 1},
		{"AC BC ABC", 3, []string{"AC", "BC", "ABC"}, "pqr", cells("pqr", "pq", "qr", "pr", "(1)", "r", "p", "q", "pqr"), []int{6, 2, 5}, 1},
		{"AB AC ABC", 3, []string{"AB", "AC", "ABC"}, "pqr", cells("pqr", "pq", "r", "qr", "p", "pr", "q", "(1)", "pqr"), []int{4, 6, 5}, 1},
		{"2^2 twice", 3, []string{"AB", "BC"}, "pq", cells("pq", "pq", "q", "(1)", "p", "p", "(1)", "q", "pq"), []int{4, 2}, 1},
		{"2^4", 4, []string{"AB", "BC", "CD", "BCD"}, "pqrs", cells("pqrs", "pqr", "qr", "rs", "prs", "ps", "s", "q", "pq", "pqs", "qs", "(1)", "p", "pr", "r", "qrs", "pqrs"), []int{8, 4, 2, 5}, 1},
		{"2^4 quadratic", 4, []string{"ABC", "ABD", "BCD", "ABCD"}, "pqrs", cells("pqrs", "s", "pq", "pqr", "rs", "pr", "qrs", "qs", "p", "qr", "prs", "ps", "q", "pqs", "(1)", "r", "pqrs"), []int{11, 9, 5, 10}, 2},
		{"2^3 twice quadratic", 4, []string{"ABD", "BCD", "ABCD"}, "pqr", cells("pqr", "r", "p", "pq", "qr", "q", "pqr", "pr", "(1)", "pq", "qr", "r", "p", "pr", "(1)", "q", "pqr"), []int{9, 5, 10}, 2},
	} {
		var columns []Column
		for _, c := range tt.columns {
			columns = append(columns, column(c))
		}
		o := Factorial(tt.m, columns...)
		if got := o.flipped(tt.want[0]).String(); got != tt.want.String() {
			t.Errorf("%s: order %s, want %s", tt.name, got, tt.want)
		}
		for j, want := range tt.steps {
			if got := o.StepsOf(j); got != want {
				t.Errorf("%s: change %d is put on or taken off %d times, want %d", tt.name, j+1, got, want)
			}
			for degree := 1; degree <= tt.degree; degree++ {
				if got := o.TimeCount(j, degree); got != 0 {
					t.Errorf("%s: change %d leans %d on a trend of degree %d, want 0", tt.name, j+1, got, degree)
				}
			}
		}
	}
	if got, want := Factorial(3, 3, 6, 7).String(), cells("pqr", "(1)", "pr", "pqr", "q", "qr", "pq", "p", "r").String(); got != want {
		t.Errorf("the order that begins with the base is %s, want %s", got, want)
	}
	eleven := cells("abc", "(1)", "ab", "abc", "c", "ac", "bc", "b", "a")
	if got := [3]int{eleven.StepsOf(0), eleven.StepsOf(1), eleven.StepsOf(2)}; got != [3]int{5, 4, 2} {
		t.Errorf("level changes of the other order of 11 are %v, want 5 4 2", got)
	}
	if got := [3]int{eleven.TimeCount(0, 2), eleven.TimeCount(1, 2), eleven.TimeCount(2, 2)}; got != [3]int{0, -8, -32} {
		t.Errorf("quadratic counts of the other order of 11 are %v, want 0 -8 -32", got)
	}
	nine := cells("abc", "(1)", "ab", "abc", "ac", "c", "bc", "b", "a")
	if got := [3]int{nine.TimeCount(0, 1), nine.TimeCount(1, 1), nine.TimeCount(2, 1)}; got != [3]int{-4, 0, 0} {
		t.Errorf("time counts of the nine-change order are %v, want -4 0 0", got)
	}
	if got := [3]int{nine.StepsOf(0), nine.StepsOf(1), nine.StepsOf(2)}; got != [3]int{3, 4, 2} {
		t.Errorf("level changes of the nine-change order are %v, want 3 4 2", got)
	}
	if got := nine.TrendFactor(3); !near(got, .99701, 5) {
		t.Errorf("trend factor of the nine-change order is %.6f, want .99701", got)
	}
	for _, s := range schemes(3, 8) {
		if s.name == "all together, nearly drift-free" && s.order.String() != nine.String() {
			t.Errorf("the scheme nearly free of drift is %v, want %v", s.order, nine)
		}
	}
}

// OD-2: a linear drift of 0.03 s a run in standard order, ignored.
func TestBiasInStandardOrder(t *testing.T) {
	for j, want := range []float64{0.03, 0.06, 0.12} {
		o := make(Order, 8)
		for i := range o {
			o[i] = Setup(i >> j & 1)
		}
		if got := 0.03 * float64(o.TimeCount(0, 1)) / 2 / 4; !near(got, want, 9) {
			t.Errorf("factor %c: bias %.4f s, want %.2f s", 'A'+j, got, want)
		}
	}
	standard := make(Order, 8)
	for i := range standard {
		standard[i] = Setup(i)
	}
	if got := standard.Assess(3, Linear).Var; !math.IsInf(got[0], 1) || !math.IsInf(got[1], 1) || !math.IsInf(got[2], 1) {
		t.Errorf("standard order with a linear trend: variances %v, want none estimable", got)
	}
}

// OD-4: every order of the eight runs of 2^3, and the trend factors.
func TestEveryOrderOfEightRuns(t *testing.T) {
	free := map[int]int{}
	orders := map[int]int{}
	least := map[int]int{}
	best := map[int]float64{}
	o := make(Order, 8)
	permutations(8, func(p []int) {
		for i, s := range p {
			o[i] = Setup(s)
		}
		steps, most := o.Steps(), 0
		for j := range 3 {
			n := o.TimeCount(j, 1)
			most = max(most, max(n, -n))
		}
		orders[steps]++
		if most == 0 {
			free[steps]++
		}
		if was, ok := least[most]; !ok || steps < was {
			least[most] = steps
		}
		best[steps] = max(best[steps], o.TrendFactor(3))
	})
	if len(free) != 3 || free[11] != 48 || free[13] != 48 || free[15] != 48 {
		t.Errorf("trend-free orders by level changes are %v, want 48 each with 11, 13 and 15: 144", free)
	}
	// Least level changes with time counts no larger than the key.
	for count, want := range map[int]int{0: 11, 4: 9, 8: 10, 12: 10, 16: 7, 20: 8, 24: 8, 28: 8, 32: 7} {
		if least[count] != want {
			t.Errorf("largest time count %d needs %d level changes, want %d", count, least[count], want)
		}
	}
	for i, want := range []int{144, 624, 2832, 4464, 8736, 7584, 8352, 3552, 2640, 1008, 336, 48} {
		if orders[7+i] != want {
			t.Errorf("%d orders have %d level changes, want %d", orders[7+i], 7+i, want)
		}
	}
	for steps, want := range map[int]float64{7: .809107, 8: .864878, 9: .997010, 10: .962195, 11: 1, 12: .972065, 13: 1} {
		if !near(best[steps], want, 6) {
			t.Errorf("best trend factor with %d level changes is %.6f, want %.6f", steps, best[steps], want)
		}
	}
}

func TestTrendFactors(t *testing.T) {
	for _, tt := range []struct {
		order string
		k     int
		want  float64
	}{
		{"ABBA", 1, 1}, {"ABAB", 1, .894427}, {"AABB", 1, .447214},
		{"0 1 2 1+2", 2, 0},
		{"0 1 1+2 2 2+3 1+2+3 1+3 3", 3, .698534}, // Gray code
	} {
		o, err := ParseOrder(tt.order, tt.k)
		if err != nil {
			t.Fatal(err)
		}
		if got := o.TrendFactor(tt.k); !near(got, tt.want, 6) {
			t.Errorf("trend factor of %s is %.7f, want %.6f", tt.order, got, tt.want)
		}
	}
	// 2^2 in four runs: the best with three and with five level changes.
	best := map[int]float64{}
	permutations(4, func(p []int) {
		o := Order{Setup(p[0]), Setup(p[1]), Setup(p[2]), Setup(p[3])}
		best[o.Steps()] = max(best[o.Steps()], o.TrendFactor(2))
	})
	if !near(best[3], .584804, 6) || !near(best[5], .928318, 6) {
		t.Errorf("2^2: best trend factors %.6f with 3 level changes and %.6f with 5, want .584804 and .928318", best[3], best[5])
	}
}

// OD-5: several changes one at a time.
func TestOneAtATime(t *testing.T) {
	for _, tt := range []struct {
		name        string
		order       Order
		text        string
		k, steps    int
		linear      []float64
		df          int
		quadratic   []float64 // nil if the source gives none
		dfQuadratic int
	}{
		{"base between", BaseBetween(2), "0 1 0 2 0", 2, 4, []float64{1.4583, 1.4583}, 1, []float64{1.7188, 1.7188}, 0},
		{"palindrome", Palindrome(2), "0 1 2 2 1 0", 2, 6, []float64{1, 1}, 2, nil, 0},
		{"ABBA each", ABBAEach(2), "0 1 1 0 0 2 2 0", 2, 4, []float64{.9038, .9038}, 4, []float64{.9288, .9288}, 3},
		{"both ways", BothWays(2), "0 1 0 2 0 2 0 1 0", 2, 8, []float64{.7, .7}, 5, []float64{.7045, .9187}, 4},
		{"base between", BaseBetween(3), "0 1 0 2 0 3 0", 3, 6, []float64{1.45, 1.25, 1.45}, 2, []float64{1.4656, 1.6406, 1.4656}, 1},
		{"palindrome", Palindrome(3), "0 1 2 3 3 2 1 0", 3, 10, []float64{1, 1, 1}, 3, nil, 0},
		{"ABBA each", ABBAEach(3), "0 1 1 0 0 2 2 0 0 3 3 0", 3, 6, []float64{.8692, .6667, .8692}, 7, []float64{.8805, .8302, .8805}, 6},
		{"both ways", BothWays(3), "0 1 0 2 0 3 0 3 0 2 0 1 0", 3, 12, []float64{.6429, .6429, .6429}, 8, []float64{.7031, .6793, .8103}, 7},
		{"2^3", Factorial(3, 3, 6, 7), "0 1+3 1+2+3 2 2+3 1+2 1 3", 3, 11, []float64{.5, .5, .5}, 3, nil, 0},
		{"base between", BaseBetween(4), "0 1 0 2 0 3 0 4 0", 4, 8, []float64{1.425, 1.225, 1.225, 1.425}, 3, []float64{1.4295, 1.4438, 1.4438, 1.4295}, 2},
		{"palindrome", Palindrome(4), "0 1 2 3 4 4 3 2 1 0", 4, 14, []float64{1, 1, 1, 1}, 4, nil, 0},
		{"ABBA each", ABBAEach(4), "0 1 1 0 0 2 2 0 0 3 3 0 0 4 4 0", 4, 8, []float64{.825, .6472, .6472, .825}, 10, []float64{.8787, .736, .736, .8787}, 9},
	} {
		if got := tt.order.String(); got != tt.text {
			t.Errorf("%s of %d is %s, want %s", tt.name, tt.k, got, tt.text)
		}
		if got := tt.order.Steps(); got != tt.steps {
			t.Errorf("%s of %d: %d part changes, want %d", tt.name, tt.k, got, tt.steps)
		}
		w := tt.order.Assess(tt.k, Linear)
		for j, want := range tt.linear {
			if !near(w.Var[j], want, 4) || w.DF != tt.df {
				t.Errorf("%s of %d, linear: variance %d is %.5f σ² on %d df, want %.4f on %d", tt.name, tt.k, j+1, w.Var[j], w.DF, want, tt.df)
			}
		}
		if tt.quadratic == nil {
			continue
		}
		w = tt.order.Assess(tt.k, Quadratic)
		for j, want := range tt.quadratic {
			if !near(w.Var[j], want, 4) || w.DF != tt.dfQuadratic {
				t.Errorf("%s of %d, quadratic: variance %d is %.5f σ² on %d df, want %.4f on %d", tt.name, tt.k, j+1, w.Var[j], w.DF, want, tt.dfQuadratic)
			}
		}
	}
	// Once each and nothing twice: nothing can be told from drift.
	for k := 1; k <= 4; k++ {
		o := Palindrome(k)[:k+1]
		for j, v := range o.Assess(k, Linear).Var {
			if !math.IsInf(v, 1) {
				t.Errorf("naive order of %d: variance of change %d is %g, want it not estimable", k, j+1, v)
			}
		}
	}
	// A palindrome cannot tell curvature from the changes.
	for _, v := range Palindrome(1).Assess(1, Quadratic).Var {
		if !math.IsInf(v, 1) {
			t.Errorf("palindrome with a quadratic trend: variance %g, want it not estimable", v)
		}
	}
}

// OD-6: what m times ABBA proves.
func TestProofOfABBA(t *testing.T) {
	const known = 1 << 30
	for _, tt := range []struct {
		m                     int
		unknown, half, detect float64
	}{
		{1, 12.7062, 1.9600, 2.8016}, {2, 1.8177, 1.3859, 1.9810}, {3, 1.3061, 1.1316, 1.6175}, {4, 1.0802, .9800, 1.4008}, {6, .8490, .8002, 1.1437},
	} {
		w := again(word("ABBA"), tt.m, false).Assess(1, Linear)
		if want := 4*tt.m - 3; w.DF != want {
			t.Errorf("ABBA %d times has %d spare runs, want %d", tt.m, w.DF, want)
		}
		if got := Prove(w.Var[0], w.DF, Spread{SD: 1}).Half; !near(got, tt.unknown, 4) {
			t.Errorf("ABBA %d times, spread unknown: half width %.5f σ, want %.4f", tt.m, got, tt.unknown)
		}
		p := Prove(w.Var[0], w.DF, Spread{SD: 1, DF: known})
		if !near(p.Half, tt.half, 4) || !near(p.Detect, tt.detect, 4) {
			t.Errorf("ABBA %d times, spread known: half width %.5f σ and detectable %.5f σ, want %.4f and %.4f", tt.m, p.Half, p.Detect, tt.half, tt.detect)
		}
	}
}

// Student's t, any published table; the digits are scipy's.
func TestQuantiles(t *testing.T) {
	for df, want := range map[int]float64{1: 12.706205, 2: 4.302653, 3: 3.182446, 4: 2.776445, 5: 2.570582, 6: 2.446912, 7: 2.364624, 8: 2.306004, 9: 2.262157, 10: 2.228139, 13: 2.160369, 16: 2.119905, 20: 2.085963, 30: 2.042272} {
		if got := quantile(0.975, df); !near(got, want, 6) {
			t.Errorf("t quantile at 0.975 with %d df is %.7f, want %.6f", df, got, want)
		}
	}
}

// Run means: Var = σ_run² + σ_lap²/n.
func TestMoreLapsBuyLittle(t *testing.T) {
	for n, want := range map[int]float64{1: .130000, 3: .085440, 5: .073348, 8: .065574, 12: .060828, 20: .056745} {
		if got := RunSD(0.05, 0.12, n); !near(got, want, 6) {
			t.Errorf("SD of a run of %d laps is %.7f, want %.6f", n, got, want)
		}
	}
	if got := DesignEffect(0.05, 0.12, 8); !near(got, 2.035503, 6) {
		t.Errorf("design effect at 8 laps is %.7f, want 2.035503", got)
	}
}

// Any order: mirroring it, or swapping with and without, changes no variance;
// another trend term never makes an effect better known.
func TestVarianceProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.IntRange(1, 3).Draw(t, "changes")
		o := Order(rapid.SliceOfN(rapid.Map(rapid.IntRange(0, 1<<k-1), func(n int) Setup { return Setup(n) }), 3, 12).Draw(t, "order"))
		mirror := slices.Clone(o)
		slices.Reverse(mirror)
		for trend := NoTrend; trend <= Quadratic; trend++ {
			w, m, f := o.Assess(k, trend), mirror.Assess(k, trend), o.flipped(Setup(1<<k-1)).Assess(k, trend)
			if w.DF < 0 || w.DF != m.DF || w.DF != f.DF {
				t.Fatalf("%v: %d spare runs, mirrored %d, swapped %d", o, w.DF, m.DF, f.DF)
			}
			for j := range w.Var {
				for _, other := range []float64{m.Var[j], f.Var[j]} {
					if math.IsInf(w.Var[j], 1) != math.IsInf(other, 1) || !math.IsInf(other, 1) && math.Abs(other-w.Var[j]) > 1e-6*other {
						t.Fatalf("%v, %v trend: variance of change %d is %v, mirrored or swapped %v", o, trend, j+1, w.Var[j], other)
					}
				}
				if trend > NoTrend && o.Assess(k, trend-1).Var[j] > w.Var[j]*(1+1e-9) {
					t.Fatalf("%v: change %d is better known with a %v trend than without", o, j+1, trend)
				}
			}
		}
	})
}

// Parsing is the inverse of printing, and neither takes anything else.
func TestParseOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.IntRange(1, MaxChanges).Draw(t, "changes")
		o := Order(rapid.SliceOfN(rapid.Map(rapid.IntRange(0, 1<<k-1), func(n int) Setup { return Setup(n) }), 1, MaxRuns).Draw(t, "order"))
		got, err := ParseOrder(o.String(), k)
		if err != nil || !slices.Equal(got, o) {
			t.Fatalf("ParseOrder(%q) = %v, %v", o.String(), got, err)
		}
	})
	for text, want := range map[string]string{
		"":        "the order has no runs (write ABBA, or 0 1 0 2 0)",
		"0 3 0":   `order "0 3 0": "3" is not a change; expected 0 for the base, 1 to 2, or changes together as 1+2`,
		"ABBA":    `order "ABBA": letters are for one change; with 2 write the numbers, 0 for the base: 0 1 0 2 0`,
		"0 one 0": `order "0 one 0": "one" is not a change; expected 0 for the base, 1 to 2, or changes together as 1+2`,
	} {
		if _, err := ParseOrder(text, 2); err == nil || err.Error() != want {
			t.Errorf("ParseOrder(%q): %v, want %s", text, err, want)
		}
	}
}
