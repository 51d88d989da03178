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
	return (x + y) / (1 - math.Min(math.Abs(x), math.Abs(y)))
}

// maxSupport caps a rule's support: full belief could never be contradicted.
const maxSupport = 0.99

// nano is how many units of a stored sum make one: evidence is kept in
// nano-nats, amounts and weights in billionths.
const nano = 1e9

// support returns s = min(0.99, g·w), w being confidence times learned factor.
func support(g, w float64) float64 { return math.Min(maxSupport, g*w) }

// nats returns the evidence −ln(1−s) of a support, in nano-nats.
func nats(s float64) int64 { return int64(math.Round(nano * -math.Log1p(-s))) }

// belief returns 1−e^(−E) for evidence in nano-nats: at least 0, less than 1.
func belief(evidence int64) float64 {
	return math.Min(-math.Expm1(float64(-evidence)/nano), math.Nextafter(1, 0))
}

// signedBelief returns belief with the sign of a difference of evidence.
func signedBelief(difference int64) float64 {
	if difference < 0 {
		return -belief(-difference)
	}
	return belief(difference)
}

// normalise shares the belief that remains when conflict is set aside (Dempster's
// rule for two simple support functions, Shafer 1976): what is for x, what is for
// y, and what is undecided. The three add up to 1.
//
// Written with doubts q = e^(−E), for x is (1−qx)·qy/(qx+qy−qx·qy). Dividing both
// by the larger doubt keeps the quotient exact when both doubts are next to 0.
func normalise(x, y int64) (forX, forY, undecided float64) {
	least, most := min(x, y), max(x, y)
	qx, qy := math.Exp(float64(least-x)/nano), math.Exp(float64(least-y)/nano)
	neither := math.Exp(float64(-most) / nano)
	den := qx + qy - neither
	return belief(x) * qy / den, belief(y) * qx / den, neither / den
}
