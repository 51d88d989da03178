package uncertain

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
)

// Options say how a Monte Carlo run is made. The zero value means 95 %, two
// digits, batches until stable.
type Options struct {
	Seed   uint64
	P      float64 // coverage probability of the intervals; 0 = 0.95
	Digits int     // significant digits wanted of the uncertainty; 0 = 2
	// Draws is exactly how many to make; 0 = batches of 10 000 until the
	// results are stable, or Max is reached.
	Draws int
	Max   int // 0 = 2 000 000
	// Run calls do(0) … do(n−1), each once, in any order; nil does so one after
	// the other. With a Run that uses several goroutines the model must bear
	// it; the result is the same to the last bit.
	Run func(n int, do func(i int))
}

// Spread is what Monte Carlo found for one output.
type Spread struct {
	Mean, U             float64 // average and standard deviation of the draws
	P                   float64
	Low, High           float64 // the interval that leaves (1−P)/2 on either side
	ShortLow, ShortHigh float64 // the shortest interval that holds P
	Draws               int
	Failed              int     // draws for which the model had no answer; they are left out
	Delta               float64 // half a unit in the last wanted digit of U
	Stable              bool    // repeated batches agree within Delta; never set with a fixed number of draws
}

// block is how many draws share a stream of random numbers, so that blocks can
// be made in any order.
const block = 500

// MonteCarlo draws the inputs, independently of each other, evaluates the
// model and summarises each output (JCGM 101, clause 7). Inputs that err
// together are given as one input that the model uses twice.
//
// Without a fixed number of draws it follows the adaptive procedure of 7.9.4:
// batches are repeated until twice the standard error of the mean, of the
// uncertainty and of both ends of the interval is below Delta.
//
// Draws for which the model returns an error are counted and left out; more
// than 1 % of them is an error, as the summary would be of something else.
func MonteCarlo(model Model, in []Input, opt Options) ([]Spread, error) {
	if opt.P == 0 {
		opt.P = 0.95
	}
	if opt.Digits == 0 {
		opt.Digits = 2
	}
	if opt.Max == 0 {
		opt.Max = 2_000_000
	}
	if opt.Run == nil {
		opt.Run = func(n int, do func(int)) {
			for i := range n {
				do(i)
			}
		}
	}
	if !(opt.P > 0 && opt.P < 1) || opt.Digits < 1 || opt.Draws < 0 {
		return nil, fmt.Errorf("a Monte Carlo run needs a probability between 0 and 1, at least one digit and no negative number of draws, not %g, %d, %d", opt.P, opt.Digits, opt.Draws)
	}
	e, err := newEvaluator(model, in)
	if err != nil {
		return nil, err
	}
	s := sampler{evaluator: e, opt: opt, values: make([][]float64, len(e.centre))}
	if opt.Draws > 0 {
		if err := s.draw(opt.Draws); err != nil {
			return nil, err
		}
		return s.summary(), nil
	}
	batch := max(10_000, int(math.Ceil(100/(1-opt.P))))
	perBatch := make([][][4]float64, len(e.centre))
	for {
		before := len(s.values[0])
		if err := s.draw(batch); err != nil {
			return nil, err
		}
		stable := true
		for k := range s.values {
			b := summarise(slices.Clone(s.values[k][before:]), opt.P)
			perBatch[k] = append(perBatch[k], [4]float64{b.Mean, b.U, b.Low, b.High})
			_, u := moments(s.values[k])
			stable = stable && steady(perBatch[k], Delta(u, opt.Digits))
		}
		if stable || s.made+batch > opt.Max {
			out := s.summary()
			for k := range out {
				out[k].Stable = steady(perBatch[k], out[k].Delta)
			}
			return out, nil
		}
	}
}

// Delta is half a unit in the last of the digits to which an uncertainty u is
// quoted (JCGM 101, 7.9.2): 0.5 for u = 32 and two digits. It is 0 for u = 0.
func Delta(u float64, digits int) float64 {
	if !(u > 0) {
		return 0
	}
	l := math.Floor(math.Log10(u)) - float64(digits) + 1
	if math.Round(u/math.Pow(10, l)) >= math.Pow(10, float64(digits)) { // 9.96 is 10 to two digits
		l++
	}
	return math.Pow(10, l) / 2
}

// steady reports whether twice the standard error of each statistic, from its
// scatter over the batches, is within delta.
func steady(batches [][4]float64, delta float64) bool {
	n := float64(len(batches))
	if n < 2 {
		return false
	}
	for q := range batches[0] {
		col := make([]float64, len(batches))
		for i := range batches {
			col[i] = batches[i][q]
		}
		if _, sd := moments(col); !(2*sd/math.Sqrt(n) <= delta) {
			return false
		}
	}
	return true
}

// sampler collects draws.
type sampler struct {
	*evaluator
	opt    Options
	values [][]float64 // by output
	made   int         // draws made, whether they succeeded or not
	blocks uint64
	failed int
}

func (s *sampler) draw(n int) error {
	type piece struct {
		values []float64 // draw by draw
		failed int
		err    error // the last failure
	}
	pieces := make([]piece, (n+block-1)/block)
	outputs := len(s.centre)
	s.opt.Run(len(pieces), func(b int) {
		r := rand.New(rand.NewPCG(s.opt.Seed, s.blocks+uint64(b)))
		count := min(block, n-b*block)
		p := piece{values: make([]float64, 0, count*outputs)}
		x := make([]float64, len(s.in))
		for range count {
			for i := range s.in {
				x[i] = s.in[i].Dist.Draw(r)
			}
			y, err := s.model(x)
			if err == nil {
				err = check(y, outputs)
			}
			if err != nil {
				p.failed, p.err = p.failed+1, err
				continue
			}
			p.values = append(p.values, y...)
		}
		pieces[b] = p
	})
	var last error
	for _, p := range pieces {
		for i := 0; i < len(p.values); i += outputs {
			for k := range s.values {
				s.values[k] = append(s.values[k], p.values[i+k])
			}
		}
		s.failed += p.failed
		if p.err != nil {
			last = p.err
		}
	}
	s.blocks += uint64(len(pieces))
	s.made += n
	if s.failed*100 > s.made {
		return fmt.Errorf("%d of %d draws within the ± of the inputs have no answer, for instance: %w", s.failed, s.made, last)
	}
	return nil
}

func (s *sampler) summary() []Spread {
	out := make([]Spread, len(s.values))
	for k, v := range s.values {
		out[k] = summarise(v, s.opt.P)
		out[k].Failed = s.failed
		out[k].Delta = Delta(out[k].U, s.opt.Digits)
	}
	return out
}

// summarise sorts v and describes it (JCGM 101, 7.6 and 7.7).
func summarise(v []float64, p float64) Spread {
	s := Spread{P: p, Draws: len(v)}
	s.Mean, s.U = moments(v)
	slices.Sort(v)
	m := len(v)
	q := min(int(math.Floor(float64(p*float64(m))+0.5)), m-1)
	if m < 2 {
		s.Low, s.High, s.ShortLow, s.ShortHigh = s.Mean, s.Mean, s.Mean, s.Mean
		return s
	}
	r := max((m-q+1)/2, 1) - 1
	s.Low, s.High = v[r], v[r+q]
	best := 0
	for i := range m - q {
		if v[i+q]-v[i] < v[best+q]-v[best] {
			best = i
		}
	}
	s.ShortLow, s.ShortHigh = v[best], v[best+q]
	return s
}

// moments returns the average and the standard deviation, n − 1.
func moments(v []float64) (mean, sd float64) {
	if len(v) == 0 {
		return 0, 0
	}
	// Differences from the first value keep the digits of a small spread.
	for _, x := range v {
		mean += x - v[0]
	}
	mean = v[0] + mean/float64(len(v))
	if len(v) < 2 {
		return mean, 0
	}
	for _, x := range v {
		d := x - mean
		sd += float64(d * d)
	}
	return mean, math.Sqrt(sd / float64(len(v)-1))
}
