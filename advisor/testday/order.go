package testday

import (
	"fmt"
	"math"
	"math/bits"
	"strconv"
	"strings"
)

// Limits of a day.
const (
	MaxChanges = 6
	MaxRuns    = 32
)

// Setup says which changes are on the kart: bit j is change j, counted from 0.
// Zero is the base.
type Setup uint16

// Has reports whether change j is on.
func (s Setup) Has(j int) bool { return s>>j&1 == 1 }

// Steps is how many changes are put on or taken off to go from s to t.
func (s Setup) Steps(t Setup) int { return bits.OnesCount16(uint16(s ^ t)) }

// Order is what is on the kart in each run of a day.
type Order []Setup

// Steps is how many changes are put on or taken off over the day, the first
// run's not counted.
func (o Order) Steps() int {
	n := 0
	for i := 1; i < len(o); i++ {
		n += o[i-1].Steps(o[i])
	}
	return n
}

// StepsOf is how often change j is put on or taken off.
func (o Order) StepsOf(j int) int {
	n := 0
	for i := 1; i < len(o); i++ {
		if o[i].Has(j) != o[i-1].Has(j) {
			n++
		}
	}
	return n
}

// changes is one more than the highest change that occurs.
func (o Order) changes() int {
	var all Setup
	for _, s := range o {
		all |= s
	}
	return bits.Len16(uint16(all))
}

// TimeCount is how far change j leans on a trend of the given degree (1
// linear, 2 quadratic, 3 cubic): the sum over the runs of ±1, + with the
// change, times the orthogonal polynomial in whole numbers, −7 −5 … 7 for the
// linear one of eight runs. 0 means that such a trend cannot bias the change.
func (o Order) TimeCount(j, degree int) int {
	n := len(o)
	weight, common := make([]int, n), 0
	for i := range o {
		u := 2*i - (n - 1)
		switch degree {
		case 1:
			weight[i] = u
			continue
		case 2:
			weight[i] = 3*u*u - (n*n - 1)
		default:
			weight[i] = 5*u*u*u - (3*n*n-7)*u
		}
		common = gcd(common, weight[i])
	}
	sum := 0
	for i, s := range o {
		if s.Has(j) {
			sum += weight[i]
		} else {
			sum -= weight[i]
		}
	}
	if common > 1 {
		sum /= common
	}
	return sum
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	if a < 0 {
		return -a
	}
	return a
}

// String writes the order as ParseOrder reads it.
func (o Order) String() string {
	words := make([]string, len(o))
	for i, s := range o {
		words[i] = s.String()
	}
	return strings.Join(words, " ")
}

// String names the changes by their number from 1: "0" for the base, "2",
// "1+3".
func (s Setup) String() string {
	if s == 0 {
		return "0"
	}
	var parts []string
	for j := range 16 {
		if s.Has(j) {
			parts = append(parts, strconv.Itoa(j+1))
		}
	}
	return strings.Join(parts, "+")
}

// ParseOrder reads an order for k changes: the numbers of the changes with 0
// for the base and + between those that are on together ("0 1 0 1+2 0"), or,
// for one change, letters with A for the base ("ABBA").
func ParseOrder(text string, k int) (Order, error) {
	text = strings.TrimSpace(text)
	if strings.Trim(strings.ToUpper(text), "AB") == "" && text != "" {
		if k != 1 {
			return nil, fmt.Errorf("order %q: letters are for one change; with %d write the numbers, 0 for the base: 0 1 0 2 0", text, k)
		}
		var o Order
		for _, c := range strings.ToUpper(text) {
			o = append(o, Setup(c-'A'))
		}
		return o, checkLength(o)
	}
	var o Order
	for _, word := range strings.FieldsFunc(text, func(r rune) bool { return r == ' ' || r == ',' || r == '\t' }) {
		var s Setup
		for _, digit := range strings.Split(word, "+") {
			n, err := strconv.Atoi(digit)
			if err != nil || n < 0 || n > k {
				return nil, fmt.Errorf("order %q: %q is not a change; expected 0 for the base, 1 to %d, or changes together as 1+2", text, word, k)
			}
			if n > 0 {
				s |= 1 << (n - 1)
			}
		}
		o = append(o, s)
	}
	return o, checkLength(o)
}

func checkLength(o Order) error {
	switch {
	case len(o) == 0:
		return fmt.Errorf("the order has no runs (write ABBA, or 0 1 0 2 0)")
	case len(o) > MaxRuns:
		return fmt.Errorf("the order has %d runs; a day holds at most %d", len(o), MaxRuns)
	}
	return nil
}

// A Trend is the form of the drift that a verdict takes out.
type Trend uint8

// The trends.
const (
	NoTrend Trend = iota
	Linear
	Quadratic
)

func (t Trend) String() string { return [...]string{"none", "linear", "quadratic"}[t] }

// ParseTrend reads what String writes.
func ParseTrend(s string) (Trend, error) {
	for t := NoTrend; t <= Quadratic; t++ {
		if s == t.String() {
			return t, nil
		}
	}
	return 0, fmt.Errorf("trend %q is not one of none, linear, quadratic", s)
}

// Worth is what an order can tell under a trend.
type Worth struct {
	// Var is the variance of each change's effect in units of the variance of
	// one run; +Inf for an effect that cannot be told from the rest.
	Var []float64
	DF  int // runs to spare for estimating the spread
}

// Assess returns what the order can tell of k changes.
func (o Order) Assess(k int, trend Trend) Worth { return o.assess(k, trend, 1) }

// assess is Assess with the day shared out evenly among sets of tyres.
func (o Order) assess(k int, trend Trend, sets int) Worth {
	slots := make([]slot, len(o))
	for i, s := range o {
		slots[i] = slot{time: float64(i), setup: s, tyres: tyreSet(i, len(o), sets) - 1}
	}
	return newModel(slots, k, trend).worth()
}

// tyreSet is the set, from 1, that run i of n is on.
func tyreSet(i, n, sets int) int { return i*max(1, sets)/n + 1 }

// TrendFactor is how much of the information of an order survives a linear
// trend: (det of the information matrix with the trend column, scaled to unit
// length, over det without)^(1/p), p columns without the trend's own (L. Tack,
// M. Vandebroek 2001). 1 means all of it, 0 that the trend cannot be told from
// the changes.
func (o Order) TrendFactor(k int) float64 {
	slots := make([]slot, len(o))
	for i, s := range o {
		slots[i] = slot{time: float64(i), setup: s}
	}
	m := newModel(slots, k, Linear)
	var whole float64
	for _, t := range m.cols[1] {
		whole += float64(t * t)
	}
	return math.Pow(left(m.cols, 1)/whole, 1/float64(k+1))
}
