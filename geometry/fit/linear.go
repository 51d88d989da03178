package fit

import (
	"errors"
	"fmt"
	"math"
)

// Prior is what was known of a parameter before: its value and SD. SD 0 means
// that nothing was.
type Prior struct{ Mean, SD float64 }

// Linear is y = Σ x_j·b_j with unknown b.
type Linear struct {
	Names []string    // of the parameters
	X     [][]float64 // a row per observation
	Y     []float64
	SD    []float64 // of each observation; nil if unknown, and estimated from the scatter
	// Relative says that SD gives only how the observations compare; a common
	// factor, S, is estimated from the scatter.
	Relative bool
	Prior    []Prior // per parameter; nil for none. Needs SD
	// Intercept says that one of the columns is constant: R2 and F are then
	// about the mean, otherwise about zero.
	Intercept bool
}

// Line is the answer to a Linear.
type Line struct {
	Estimate
	R2, F float64
	// VIF is by how much a parameter's variance is inflated because its column
	// resembles the others; NaN for the constant column and without Intercept.
	// Above 10 the warning Collinear is given.
	VIF []float64
}

// ErrNotFinite is returned for an input that is not a finite number.
var ErrNotFinite = errors.New("not a finite number")

// Solve finds b by Householder QR. It is an error if the observations and
// priors do not determine every parameter.
func (l Linear) Solve() (*Line, error) {
	n, p := len(l.Y), len(l.Names)
	if err := l.check(); err != nil {
		return nil, err
	}
	jac, resid := newColumns(n, p), make([]float64, n)
	weight := func(i int) float64 {
		if l.SD == nil {
			return 1
		}
		return 1 / l.SD[i]
	}
	priors := make([]float64, p)
	var rest []int
	for j, q := range l.Prior {
		if priors[j] = q.SD; q.SD > 0 {
			rest = append(rest, j)
		}
	}
	if n+len(rest) < p {
		return nil, fmt.Errorf("%d observations cannot determine %d parameters", n+len(rest), p)
	}
	all, y := newColumns(n+len(rest), p), make([]float64, n+len(rest))
	for i, row := range l.X {
		for j, x := range row {
			jac[j][i] = x * weight(i)
			all[j][i] = jac[j][i]
		}
		y[i] = l.Y[i] * weight(i)
	}
	for k, j := range rest {
		all[j][n+k], y[n+k] = 1/l.Prior[j].SD, l.Prior[j].Mean/l.Prior[j].SD
	}
	// Scaling by a power of two loses nothing.
	scale := make([]float64, p)
	for j, c := range all {
		_, e := math.Frexp(norm(c))
		scale[j] = math.Ldexp(1, -e)
		for i := range c {
			c[i] *= scale[j]
		}
	}
	r := all.triangulate(y)
	if unit, _ := r.scaled(); true {
		s := unit.decompose()
		if least := s.Value[p-1]; least < 1e-13 {
			d := identify(l.Names, r).Directions
			if len(d) == 0 {
				return nil, errors.New("every column is zero")
			}
			return nil, fmt.Errorf("the observations cannot tell %s apart", partNames(d[len(d)-1].Parts))
		}
	}
	b := r.solve(y)
	for j := range b {
		b[j] *= scale[j]
	}
	out := &Line{Estimate: Estimate{Names: l.Names, Value: b, Known: l.SD != nil && !l.Relative, Rows: make([]Row, n), Iterations: 1}}
	for i, row := range l.X {
		fit := dot(row, b)
		out.Rows[i] = Row{Name: fmt.Sprintf("observation %d", i+1), Observed: l.Y[i], Predicted: fit, Residual: l.Y[i] - fit}
		if l.SD != nil {
			out.Rows[i].SD = l.SD[i]
		}
		resid[i] = (l.Y[i] - fit) * weight(i)
	}
	for _, j := range rest {
		d := (b[j] - l.Prior[j].Mean) / l.Prior[j].SD
		out.Misfit += float64(d * d)
	}
	out.finish(jac, resid, priors)
	out.describe(&l, weight)
	return out, nil
}

func (l *Linear) check() error {
	if len(l.X) != len(l.Y) {
		return fmt.Errorf("%d rows of x but %d of y", len(l.X), len(l.Y))
	}
	if len(l.Names) == 0 {
		return errors.New("no parameters to find")
	}
	for i, row := range l.X {
		if len(row) != len(l.Names) {
			return fmt.Errorf("observation %d has %d columns, expected %d", i+1, len(row), len(l.Names))
		}
		for j, x := range row {
			if !finite(x) {
				return fmt.Errorf("observation %d, %s: %v is %w", i+1, l.Names[j], x, ErrNotFinite)
			}
		}
	}
	return checkObserved(l.Y, l.SD, l.Relative, l.Names, l.Prior)
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// checkObserved refuses observations, SDs and priors that are not numbers.
func checkObserved(y, sd []float64, relative bool, names []string, prior []Prior) error {
	if sd != nil && len(sd) != len(y) {
		return fmt.Errorf("%d observations but %d SDs", len(y), len(sd))
	}
	for i, v := range y {
		if !finite(v) {
			return fmt.Errorf("observation %d: %v is %w", i+1, v, ErrNotFinite)
		}
		if sd != nil && !(sd[i] > 0 && finite(sd[i])) {
			return fmt.Errorf("observation %d: its SD must be positive, not %v", i+1, sd[i])
		}
	}
	if prior == nil {
		return nil
	}
	if len(prior) != len(names) {
		return fmt.Errorf("%d parameters but %d priors", len(names), len(prior))
	}
	for j, q := range prior {
		if !finite(q.Mean) || !finite(q.SD) || q.SD < 0 {
			return fmt.Errorf("prior of %s: %v ± %v is %w with an SD of at least 0", names[j], q.Mean, q.SD, ErrNotFinite)
		}
		if q.SD > 0 && (sd == nil || relative) {
			return errors.New("a prior can only be weighed against observations whose SD is given")
		}
	}
	return nil
}

// describe fills in what belongs to straight lines only.
func (e *Line) describe(l *Linear, weight func(int) float64) {
	n, p := len(l.Y), len(l.Names)
	var sum, total float64
	mean := 0.
	if l.Intercept {
		for i, y := range l.Y {
			w := weight(i) * weight(i)
			mean += w * y
			sum += w
		}
		mean /= sum
	}
	for i, y := range l.Y {
		d := (y - mean) * weight(i)
		total += float64(d * d)
	}
	model := p
	if l.Intercept {
		model--
	}
	e.R2 = 1 - e.RSS/total
	// (total − RSS)/model loses digits when the fit is nearly all or nothing,
	// so the fitted part is summed by itself.
	var fitted float64
	for i := range e.Rows {
		d := (e.Rows[i].Predicted - mean) * weight(i)
		fitted += float64(d * d)
	}
	if fitted < total/2 {
		e.R2 = fitted / total
	}
	e.F = fitted / float64(model) / (e.RSS / float64(n-p))
	e.VIF = make([]float64, p)
	variance := 1.
	if !e.Known {
		variance = e.S * e.S
	}
	for j := range p {
		e.VIF[j] = math.NaN()
		if !l.Intercept {
			continue
		}
		var m, w, ss float64
		for i, row := range l.X {
			k := weight(i) * weight(i)
			m += k * row[j]
			w += k
		}
		m /= w
		for i, row := range l.X {
			d := (row[j] - m) * weight(i)
			ss += float64(d * d)
		}
		if ss > 1e-24*float64(m*m)*w && variance > 0 {
			e.VIF[j] = e.Cov[j][j] / variance * ss
			if e.VIF[j] > 10 {
				e.warn(Collinear, "%s resembles the other columns: its variance is inflated %.3g times", e.Names[j], e.VIF[j])
			}
		}
	}
}

// At returns the value on the line for a row x, and its SD (of the line, not
// of a further observation).
func (e *Line) At(x []float64) (value, sd float64) { return dot(x, e.Value), e.Uncertainty(x) }
