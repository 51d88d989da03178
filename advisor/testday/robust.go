package testday

import (
	"math"
	"slices"
)

// The estimators below take samples in any order and do not change them. They
// return NaN for an empty one.

// Mean is the arithmetic mean.
func Mean(x []float64) float64 {
	var s float64
	for _, v := range x {
		s += v
	}
	return s / float64(len(x))
}

// SD is the sample standard deviation, n − 1 in the divisor; NaN for fewer than
// two.
func SD(x []float64) float64 {
	if len(x) < 2 {
		return math.NaN()
	}
	m := Mean(x)
	var s float64
	for _, v := range x {
		s += float64((v - m) * (v - m))
	}
	return math.Sqrt(s / float64(len(x)-1))
}

// Median is the middle value, or the mean of the two middle ones.
func Median(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	s := slices.Sorted(slices.Values(x))
	n := len(s)
	return (s[(n-1)/2] + s[n/2]) / 2
}

// MAD is the median distance from the median; 1.4826 times it estimates a
// normal standard deviation.
func MAD(x []float64) float64 {
	m := Median(x)
	d := make([]float64, len(x))
	for i, v := range x {
		d[i] = math.Abs(v - m)
	}
	return Median(d)
}

// ModifiedZ is 0.6745·(x − median)/MAD (B. Iglewicz, D. C. Hoaglin 1993). MAD
// is taken as at least floor, the resolution of the clock, above 0.
func ModifiedZ(x []float64, floor float64) []float64 {
	m, mad := Median(x), max(MAD(x), floor)
	z := make([]float64, len(x))
	for i, v := range x {
		z[i] = 0.6745 * (v - m) / mad
	}
	return z
}

// Walsh returns the n(n+1)/2 averages (x_i + x_j)/2 with i ≤ j, sorted.
func Walsh(x []float64) []float64 {
	var w []float64
	for i := range x {
		for j := i; j < len(x); j++ {
			w = append(w, (x[i]+x[j])/2)
		}
	}
	slices.Sort(w)
	return w
}

// HodgesLehmann is the median of the Walsh averages: nearly as sharp as the
// mean on well-behaved laps, and not moved by up to 29 % wild ones (J. L.
// Hodges, E. L. Lehmann 1963).
func HodgesLehmann(x []float64) float64 { return Median(Walsh(x)) }

// differences returns all x_i − y_j, sorted.
func differences(x, y []float64) []float64 {
	var d []float64
	for _, v := range x {
		for _, w := range y {
			d = append(d, v-w)
		}
	}
	slices.Sort(d)
	return d
}

// Shift is the median of all x_i − y_j.
func Shift(x, y []float64) float64 { return Median(differences(x, y)) }

// Line is a straight line that wild points do not move.
type Line struct{ Slope, Intercept float64 }

// At is the line's value.
func (l Line) At(x float64) float64 { return l.Intercept + float64(l.Slope*x) }

// TheilSen has as its slope the median of the slopes between all pairs of
// points with different x (P. K. Sen 1968), and as its intercept the median of
// y − slope·x. With no two different x the slope is 0.
func TheilSen(x, y []float64) Line {
	var slopes []float64
	for i := range x {
		for j := i + 1; j < len(x); j++ {
			if x[i] != x[j] {
				slopes = append(slopes, (y[j]-y[i])/(x[j]-x[i]))
			}
		}
	}
	var l Line
	if len(slopes) > 0 {
		l.Slope = Median(slopes)
	}
	rest := make([]float64, len(x))
	for i := range x {
		rest[i] = y[i] - float64(l.Slope*x[i])
	}
	l.Intercept = Median(rest)
	return l
}

// Huber is the mean and standard deviation of the sample with what lies beyond
// m ± 1.5 s pulled in to there, over and over until nothing moves (estimator
// H15; Analytical Methods Committee 1989).
func Huber(x []float64) (m, s float64) {
	m, s = Median(x), 1.4826*MAD(x)
	if !(s > 0) {
		return m, s
	}
	pulled := make([]float64, len(x))
	for range 500 {
		for i, v := range x {
			pulled[i] = max(m-1.5*s, min(m+1.5*s, v))
		}
		nextM, nextS := Mean(pulled), 1.134*SD(pulled)
		still := math.Abs(nextM-m)+math.Abs(nextS-s) < 1e-13*s
		m, s = nextM, nextS
		if still || s == 0 {
			break
		}
	}
	return m, s
}

// Trimmed is the mean without the given share (0 to below 0.5) at each end,
// rounded down to whole values.
func Trimmed(x []float64, share float64) float64 {
	s := slices.Sorted(slices.Values(x))
	cut := int(share * float64(len(s)))
	return Mean(s[cut : len(s)-cut])
}
