package testday

import (
	"math"
	"slices"
)

// Interval is a range that holds the truth with the probability that Attained
// says: exact tests have only steps to offer.
type Interval struct{ Lo, Hi, Attained float64 }

// Exact is the outcome of a rank test: no bell-shaped spread is taken for
// granted, and no approximation is made.
type Exact struct {
	Statistic float64
	Estimate  float64 // Hodges–Lehmann
	OneSided  float64 // probability of a statistic as far out on its side
	TwoSided  float64
	Interval  Interval
}

// SignedRank tests whether the differences d lie about 0 (F. Wilcoxon 1945).
// Zeros are left out, ties share their ranks. The interval is made of ordered
// Walsh averages (M. Hollander, D. A. Wolfe 1973).
func SignedRank(d []float64, level float64) Exact {
	d = slices.DeleteFunc(slices.Clone(d), func(v float64) bool { return v == 0 })
	n := len(d)
	size := make([]float64, n)
	for i, v := range d {
		size[i] = math.Abs(v)
	}
	ranks := doubledRanks(size)
	v, total := 0, 0
	counts := []float64{1}
	for i, r := range ranks {
		total += r
		if d[i] > 0 {
			v += r
		}
		next := make([]float64, total+1)
		for s, c := range counts {
			next[s] += c
			next[s+r] += c
		}
		counts = next
	}
	e := Exact{Statistic: float64(v) / 2, Estimate: HodgesLehmann(d)}
	e.tails(counts, v)
	plain := []float64{1} // without ties: how many subsets of {1…n} have each sum
	for r := 1; r <= n; r++ {
		next := make([]float64, len(plain)+r)
		for s, c := range plain {
			next[s] += c
			next[s+r] += c
		}
		plain = next
	}
	e.Interval = ordered(Walsh(d), plain, level)
	return e
}

// RankSum tests whether the samples x and y lie apart (F. Wilcoxon 1945; H. B.
// Mann, D. R. Whitney 1947). The statistic is the number of pairs in which x is
// greater, ties counting half; the estimate is Shift(x, y).
func RankSum(x, y []float64, level float64) Exact {
	m, n := len(x), len(y)
	ranks := doubledRanks(append(slices.Clone(x), y...))
	all, w := 0, 0
	for i, r := range ranks {
		all += r
		if i < m {
			w += r
		}
	}
	// ways[k][s]: subsets of k of the ranks with sum s.
	ways := make([][]float64, m+1)
	for k := range ways {
		ways[k] = make([]float64, all+1)
	}
	ways[0][0] = 1
	for _, r := range ranks {
		for k := m; k > 0; k-- {
			for s := all; s >= r; s-- {
				ways[k][s] += ways[k-1][s-r]
			}
		}
	}
	e := Exact{Statistic: float64(w-m*(m+1)) / 2, Estimate: Shift(x, y)}
	e.tails(ways[m], w)
	e.Interval = ordered(differences(x, y), pairCounts(m, n), level)
	return e
}

// pairCounts is how many of the C(m+n, m) rankings without ties have u pairs
// with x greater: c(m,n,u) = c(m−1,n,u−n) + c(m,n−1,u).
func pairCounts(m, n int) []float64 {
	memo := map[[2]int][]float64{}
	var rec func(m, n int) []float64
	rec = func(m, n int) []float64 {
		if m == 0 || n == 0 {
			return []float64{1}
		}
		if c, ok := memo[[2]int{m, n}]; ok {
			return c
		}
		c := make([]float64, m*n+1)
		for u, k := range rec(m-1, n) {
			c[u+n] += k
		}
		for u, k := range rec(m, n-1) {
			c[u] += k
		}
		memo[[2]int{m, n}] = c
		return c
	}
	return rec(m, n)
}

// doubledRanks returns twice the rank of each value, so that the mean rank of
// a tie is whole.
func doubledRanks(x []float64) []int {
	out := make([]int, len(x))
	for i, v := range x {
		for _, w := range x {
			switch {
			case w < v:
				out[i] += 2
			case w == v:
				out[i]++
			}
		}
		out[i]++
	}
	return out
}

// tails fills in the probabilities of the statistic at place at.
func (e *Exact) tails(counts []float64, at int) {
	var below, above, all float64
	for s, c := range counts {
		all += c
		if s <= at {
			below += c
		}
		if s >= at {
			above += c
		}
	}
	e.OneSided = min(below, above) / all
	e.TwoSided = min(1, 2*e.OneSided)
}

// ordered is the interval between order statistics of the sorted values that
// the null counts allow at a level such as 0.95.
func ordered(values, counts []float64, level float64) Interval {
	var all, sum float64
	for _, c := range counts {
		all += c
	}
	k := 0 // least with P(statistic ≤ k) ≥ (1 − level)/2
	for sum = counts[0]; sum/all < (1-level)/2; sum += counts[k] {
		k++
	}
	if k == 0 || len(values) == 0 {
		return Interval{math.Inf(-1), math.Inf(1), 1}
	}
	return Interval{values[k-1], values[len(values)-k], 1 - 2*(sum-counts[k])/all}
}

// SignTest is the probability of at least so many successes in n fair tosses.
func SignTest(successes, n int) float64 {
	sum, ways := 0., math.Ldexp(1, -n) // C(n, 0)/2ⁿ
	for k := 0; k <= n; k++ {
		if k >= successes {
			sum += ways
		}
		ways *= float64(n-k) / float64(k+1)
	}
	return min(1, sum)
}

// Sequential is Wald's test of a success rate P0 against P1 > P0, which may be
// looked at after every trial (A. Wald 1945). Alpha and Beta are the
// probabilities of taking P1, or P0, although the other holds.
type Sequential struct{ P0, P1, Alpha, Beta float64 }

// Decision is what a sequential test says.
type Decision int8

// The decisions.
const (
	TakeP0 Decision = iota - 1
	GoOn
	TakeP1
)

func (d Decision) String() string {
	return [...]string{"does not help", "go on", "helps"}[d+1]
}

// Bounds are the log likelihood ratios at which the test ends.
func (s Sequential) Bounds() (lower, upper float64) {
	return math.Log(s.Beta / (1 - s.Alpha)), math.Log((1 - s.Beta) / s.Alpha)
}

// Steps are what a success and a failure add to the log likelihood ratio.
func (s Sequential) Steps() (success, failure float64) {
	return math.Log(s.P1 / s.P0), math.Log((1 - s.P1) / (1 - s.P0))
}

// After returns the log likelihood ratio after so many successes and failures,
// and what it says.
func (s Sequential) After(successes, failures int) (ratio float64, d Decision) {
	up, down := s.Steps()
	lower, upper := s.Bounds()
	ratio = float64(float64(successes)*up) + float64(float64(failures)*down)
	switch {
	case ratio >= upper:
		return ratio, TakeP1
	case ratio <= lower:
		return ratio, TakeP0
	}
	return ratio, GoOn
}
