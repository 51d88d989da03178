package testday

import (
	"fmt"
	"math"
)

// slot is one run as the model sees it.
type slot struct {
	time   float64 // in runs
	setup  Setup
	tyres  int     // set, counted from 0
	block  int     // stretch of the day between breaks that changed the track
	weight float64 // 0 means 1: one over the SD of the run, relative to the others
}

// model is the linear model of a day: a column per unknown.
type model struct {
	names []string
	cols  [][]float64
	first int // column of the first change; the changes come last
	steps int // columns for tyre sets and breaks, before the changes
	mean  float64
}

// newModel lists the unknowns: the base at mid-day, the trend, a step for each
// further tyre set and each break, the changes. Times are counted from their
// mean.
func newModel(slots []slot, k int, trend Trend) model {
	n := len(slots)
	var m model
	add := func(name string, at func(s slot) float64) {
		c := make([]float64, n)
		for i, s := range slots {
			w := s.weight
			if w == 0 {
				w = 1
			}
			c[i] = at(s) * w
		}
		m.names, m.cols = append(m.names, name), append(m.cols, c)
	}
	for _, s := range slots {
		m.mean += s.time / float64(n)
	}
	add("base", func(slot) float64 { return 1 })
	if trend >= Linear {
		add("drift", func(s slot) float64 { return s.time - m.mean })
	}
	if trend >= Quadratic {
		var square float64
		for _, s := range slots {
			square += (s.time - m.mean) * (s.time - m.mean) / float64(n)
		}
		add("bend", func(s slot) float64 { return float64((s.time-m.mean)*(s.time-m.mean)) - square })
	}
	// A step that falls together with another cannot be told from it: one
	// stands for both.
	step := func(name string, in func(s slot) bool) {
		some := false
		for _, s := range slots {
			some = some || in(s)
		}
		if !some {
			return
		}
		add(name, func(s slot) float64 {
			if in(s) {
				return 1
			}
			return 0
		})
		if last := len(m.cols) - 1; left(m.cols, last) == 0 {
			m.names, m.cols = m.names[:last], m.cols[:last]
			return
		}
		m.steps++
	}
	sets, blocks := 0, 0
	for _, s := range slots {
		sets, blocks = max(sets, s.tyres), max(blocks, s.block)
	}
	for b := 1; b <= blocks; b++ {
		step(fmt.Sprintf("break %d", b), func(s slot) bool { return s.block >= b })
	}
	for t := 1; t <= sets; t++ {
		step(fmt.Sprintf("tyre set %d", t+1), func(s slot) bool { return s.tyres == t })
	}
	m.first = len(m.cols)
	for j := range k {
		add(fmt.Sprintf("change %d", j+1), func(s slot) float64 { return float64(s.setup >> j & 1) })
	}
	return m
}

// worth returns what the model can tell of each change.
func (m model) worth() Worth {
	w := Worth{Var: make([]float64, len(m.cols)-m.first), DF: -m.rank()}
	if len(m.cols) > 0 {
		w.DF += len(m.cols[0])
	}
	for j := range w.Var {
		w.Var[j] = 1 / left(m.cols, m.first+j)
	}
	return w
}

// dependent is the share of a column's squared length below which nothing of
// it is left: the columns are small whole numbers, so that what is left of an
// independent one is far larger.
const dependent = 1e-9

// left is the squared length of column j once what the other columns explain
// of it is taken away; 0 if they explain it all.
func left(cols [][]float64, j int) float64 {
	var basis [][]float64
	for i, c := range cols {
		if i == j {
			continue
		}
		if r, size := project(c, basis); size > 0 {
			for k := range r {
				r[k] /= math.Sqrt(size)
			}
			basis = append(basis, r)
		}
	}
	_, size := project(cols[j], basis)
	return size
}

func (m model) rank() int {
	var basis [][]float64
	for _, c := range m.cols {
		if r, size := project(c, basis); size > 0 {
			for k := range r {
				r[k] /= math.Sqrt(size)
			}
			basis = append(basis, r)
		}
	}
	return len(basis)
}

// project takes from c what the orthonormal basis explains, twice over so that
// rounding does not matter, and returns the rest and its squared length.
func project(c []float64, basis [][]float64) (rest []float64, size float64) {
	rest = append([]float64(nil), c...)
	whole := square(c)
	for range 2 {
		for _, b := range basis {
			var d float64
			for i := range b {
				d += float64(b[i] * rest[i])
			}
			for i := range b {
				rest[i] -= float64(d * b[i])
			}
		}
	}
	if size = square(rest); size <= dependent*whole {
		return rest, 0
	}
	return rest, size
}

func square(c []float64) (sum float64) {
	for _, x := range c {
		sum += float64(x * x)
	}
	return sum
}
