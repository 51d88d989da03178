package rules

import "math"

// A Trapezoid grades a number: 0 outside [0] and [3], 1 from [1] to [2], and
// straight lines between (IEC 61131-7, input terms). Where two corners coincide
// the edge is upright and belongs to the plateau, so {0, 0, 3, 5} grades 0 as 1.
type Trapezoid [4]float64

// Grade returns the grade of x, from 0 to 1. The grade of a NaN is 0.
func (t Trapezoid) Grade(x float64) float64 {
	switch {
	case x >= t[1] && x <= t[2]:
		return 1
	case x > t[0] && x < t[1]:
		return (x - t[0]) / (t[1] - t[0])
	case x > t[2] && x < t[3]:
		return (t[3] - x) / (t[3] - t[2])
	}
	return 0
}

// valid reports whether the corners are numbers in rising order.
func (t Trapezoid) valid() bool {
	return t[0] <= t[1] && t[1] <= t[2] && t[2] <= t[3]
}

// Fold combines two certainty factors, each greater than −1 and less than 1,
// by the rule of EMYCIN (van Melle 1980): x+y−xy when both are positive, x+y+xy
// when both are negative, and (x+y)/(1−min(|x|,|y|)) when they disagree. It is
// associative and commutative. Evaluation does not use it; it is the independent
// way to the same net belief. The combination of +1 with −1 does not exist and
// comes out as NaN.
func Fold(x, y float64) float64 {
	switch {
	case x >= 0 && y >= 0:
		return x + y - float64(x*y)
	case x <= 0 && y <= 0:
		return x + y + float64(x*y)
	}
	return (x + y) / (1 - min(math.Abs(x), math.Abs(y)))
}

// maxSupport caps a rule's support: full belief could never be contradicted.
const maxSupport = 0.99

// nano is how many units of a stored sum make one: evidence is kept in
// nano-nats, amounts and weights in billionths.
const nano = 1e9

// support returns s = min(0.99, g·w), w being confidence times learned factor.
func support(g, w float64) float64 { return min(maxSupport, g*w) }

// nats returns the evidence −ln(1−s) of a support, in nano-nats.
func nats(s float64) int64 { return int64(math.Round(nano * -math.Log1p(-s))) }

// belowOne is the largest float64 below 1.
const belowOne = 1 - 1.0/(1<<53)

// belief returns 1−e^(−E) for evidence in nano-nats: at least 0, less than 1.
func belief(evidence int64) float64 {
	return min(-math.Expm1(float64(-evidence)/nano), belowOne)
}

// normalise shares the belief that remains when conflict is set aside (Dempster's
// rule for two simple support functions, Shafer 1976): what is for the side with
// more evidence, what is against it, and what is undecided. The three add up to 1.
//
// more and less are the beliefs in the two sides and net that in their
// difference. With doubts q = 1 − belief, what is for a side is its belief times
// the other's doubt over qx+qy−qx·qy; here everything is divided by the larger
// doubt, as the quotient of doubts is 1 − net, so that nothing is lost when both
// beliefs are next to 1.
func normalise(more, less, net float64) (forIt, against, undecided float64) {
	q := 1 - net
	den := 1 + q - (1 - more)
	return more / den, less * q / den, (1 - more) / den
}
