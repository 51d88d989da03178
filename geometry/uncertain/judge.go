package uncertain

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Comparison holds a first-order result against Monte Carlo.
type Comparison struct {
	Low, High   float64 // how far the ends of the first-order interval lie from those of Monte Carlo
	Delta       float64 // the difference that would show in the digits quoted
	Agree       bool    // both ends within Delta
	First, Draw [2]float64
	P           float64
}

// Compare validates a first-order result by Monte Carlo (JCGM 101, clause 8):
// the two agree if both ends of the interval with the probability of s agree
// within Delta of the first-order uncertainty quoted to digits.
func Compare(o Output, s Spread, digits int) Comparison {
	half := float64(o.Expanded(s.P)) // rounded before it is added
	c := Comparison{
		First: [2]float64{o.Value - half, o.Value + half}, Draw: [2]float64{s.Low, s.High},
		Delta: Delta(o.U, digits), P: s.P,
	}
	c.Low, c.High = math.Abs(c.First[0]-c.Draw[0]), math.Abs(c.First[1]-c.Draw[1])
	c.Agree = c.Low <= c.Delta && c.High <= c.Delta
	return c
}

// Sentence says what a person must know: nothing if the two agree. say prints
// a value with its unit.
func (c Comparison) Sentence(say func(float64) string) string {
	if c.Agree {
		return ""
	}
	return fmt.Sprintf("the ± holds only roughly: it promises %s to %s, drawing at random gives %s to %s (%g %%)",
		say(c.First[0]), say(c.First[1]), say(c.Draw[0]), say(c.Draw[1]), math.Round(c.P*1000)/10)
}

// Rank returns the output's parts, the one that adds most to its uncertainty
// first; equal ones by name.
func (o Output) Rank() []Part {
	out := slices.Clone(o.Parts)
	slices.SortStableFunc(out, func(a, b Part) int {
		return cmp.Or(cmp.Compare(math.Abs(b.Effect), math.Abs(a.Effect)), cmp.Compare(a.Name, b.Name))
	})
	return out
}

// Gain is what measuring one input better would do to an output.
type Gain struct {
	Input int
	Name  string
	From  float64 // the input's uncertainty now
	To    float64 // and after measuring it
	After float64 // the output's uncertainty then
}

// If returns the output's uncertainty if input i were measured anew, on its
// own, to the uncertainty u.
func (o Output) If(i int, u float64) float64 {
	parts := slices.Clone(o.Parts)
	parts[i].Effect = parts[i].Sensitivity * u
	alone := slices.DeleteFunc(slices.Clone(o.corr), func(c Correlation) bool { return c.I == i || c.J == i })
	return math.Sqrt(variance(parts, alone))
}

// Gains says which measurement would help the output most: for every input
// that could be known better, the output's uncertainty after measuring that
// one to reach[i], best first; equal ones by name. An input whose reach is not
// below its present uncertainty is left out. A nil reach asks what knowing
// each input exactly would do.
func (o Output) Gains(reach []float64) []Gain {
	var out []Gain
	for i, p := range o.Parts {
		to := 0.
		if reach != nil {
			to = reach[i]
		}
		if to < p.U && to >= 0 {
			out = append(out, Gain{i, p.Name, p.U, to, o.If(i, to)})
		}
	}
	slices.SortStableFunc(out, func(a, b Gain) int {
		return cmp.Or(cmp.Compare(a.After, b.After), cmp.Compare(a.Name, b.Name))
	})
	return out
}
