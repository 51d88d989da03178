package learn

import (
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// Beta is a belief about the share of times that something helps: as if it had
// helped A times and not helped B times. Both are above 0.
type Beta struct{ A, B float64 }

// Prior is the belief in a rule before any outcome: its author's confidence,
// above 0 and at most 1, worth the given number of outcomes. Confidence counts
// as 0.99 at most, so that no author is beyond being proved wrong.
func Prior(confidence, outcomes float64) Beta {
	w := math.Max(0.01, math.Min(0.99, confidence))
	return Beta{w * outcomes, (1 - w) * outcomes}
}

// With returns the belief after more outcomes, which may be fractions of one.
func (b Beta) With(helped, not float64) Beta { return Beta{b.A + helped, b.B + not} }

// Mean is the expected share, A/(A+B).
func (b Beta) Mean() float64 { return b.A / (b.A + b.B) }

// SD is the standard deviation of the share.
func (b Beta) SD() float64 { return distuv.Beta{Alpha: b.A, Beta: b.B}.StdDev() }

// Above is the probability that the share is greater than x.
func (b Beta) Above(x float64) float64 { return mathext.RegIncBeta(b.B, b.A, 1-x) }

// Quantile is the share that is exceeded with probability 1−p, 0 < p < 1.
func (b Beta) Quantile(p float64) float64 { return mathext.InvRegIncBeta(b.A, b.B, p) }

// Best returns for each belief the probability that its share is the greatest
// of all. They add up to 1; the absolute error is below 1e-7 for beliefs of up
// to 200 outcomes, and grows to 1e-5 at thousands, where the incomplete beta
// function that it rests on loses digits.
//
// It integrates density × the others' distribution functions by the double
// exponential rule (Takahasi and Mori 1974), which bears with densities that
// are infinite at 0 or 1.
func Best(beliefs []Beta) []float64 {
	const step, reach = 1.0 / 64, 4.5
	out := make([]float64, len(beliefs))
	for t := -reach; t <= reach; t += step {
		// x and 1−x each to full precision, however near to 0 or 1.
		s := math.Pi * math.Sinh(t)
		x, y := 1/(1+math.Exp(-s)), 1/(1+math.Exp(s))
		if x == 0 || y == 0 {
			continue
		}
		below := make([]float64, len(beliefs))
		for i, b := range beliefs {
			below[i] = mathext.RegIncBeta(b.A, b.B, x)
		}
		for j, b := range beliefs {
			f := math.Exp(b.A*math.Log(x)+b.B*math.Log(y)-mathext.Lbeta(b.A, b.B)) * math.Pi * math.Cosh(t) * step
			for i := range beliefs {
				if i != j {
					f *= below[i]
				}
			}
			out[j] += f
		}
	}
	return out
}

// Faster is the outcome that a timed test amounts to: the probability that the
// change makes the lap more than least seconds faster, for an effect in
// seconds (less than 0 is faster) with its standard error and the degrees of
// freedom that the error was estimated from (Student 1908). An effect that the
// test cannot tell from none comes out near ½ and so says nothing either way.
// df below 1 or a standard error that is not above 0 gives NaN.
func Faster(effect, se, df, least float64) float64 {
	if !(se > 0) || !(df >= 1) || math.IsInf(se, 0) {
		return math.NaN()
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.CDF((-least - effect) / se)
}
