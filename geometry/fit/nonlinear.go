package fit

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// Nonlinear is y = f(b) with unknown b.
type Nonlinear struct {
	Names []string  // of the parameters
	Start []float64 // where to begin
	// Predict writes what the observations would be for parameters b. An error
	// or a NaN means that there is no such thing; the search then turns back.
	Predict func(b, out []float64) error
	Y       []float64
	SD      []float64 // of each observation; nil if unknown, and estimated from the scatter
	// Relative says that SD gives only how the observations compare; a common
	// factor, S, is estimated from the scatter.
	Relative bool
	Prior    []Prior      // per parameter; nil for none. Needs SD
	Bounds   [][2]float64 // least and greatest value per parameter; nil or two equal numbers for none
	Rows     []string     // names of the observations; nil for numbers
	// MaxIterations is the budget; 0 means 500.
	MaxIterations int
}

// How the search goes on and when it ends.
const (
	firstDamping = 1e-3
	maxDamping   = 1e16
	// nearly is the relative offset of D. M. Bates and D. G. Watts,
	// Technometrics 23, 1981, at which the answer is as good as any: how far the
	// residual leans toward the tangent plane, in SDs of the parameters (theirs
	// is 1e-3). Plain Gauss–Newton steps then sharpen it, which the sum of
	// squares is too coarse to judge.
	nearly = 1e-4
)

// Solve finds b by the method of Levenberg and Marquardt (K. Levenberg,
// Quart. Appl. Math. 2, 1944; D. W. Marquardt, J. SIAM 11, 1963), each step by
// QR of the sensitivities over √λ·D, D their greatest lengths so far (J. J.
// Moré, Lecture Notes in Mathematics 630, 1978). Sensitivities are central
// differences. A parameter that the search pushes against a bound stays there.
func (q Nonlinear) Solve() (*Estimate, error) {
	s := search{Nonlinear: q, n: len(q.Y), p: len(q.Names)}
	if err := s.check(); err != nil {
		return nil, err
	}
	if err := s.begin(); err != nil {
		return nil, err
	}
	budget := q.MaxIterations
	if budget == 0 {
		budget = 500
	}
	e := &Estimate{Names: q.Names, Known: q.SD != nil && !q.Relative, Status: BudgetSpent}
	for e.Iterations < budget {
		e.Iterations++
		if err := s.linearise(); err != nil {
			return nil, err
		}
		if offset, step := s.offset(); offset < nearly {
			e.Status = Converged
			if err := s.polish(offset, step); err != nil {
				return nil, err
			}
			break
		}
		if !s.step() {
			e.Status = Stalled
			break
		}
	}
	if e.Status == BudgetSpent { // the last step has not been looked at yet
		if err := s.linearise(); err != nil {
			return nil, err
		}
	}
	s.report(e)
	return e, nil
}

// search is the state of one Solve.
type search struct {
	Nonlinear
	n, p   int
	priors []int // parameters that have one

	b        []float64
	predict  []float64
	resid    []float64 // (observed − predicted)/SD, then the priors'
	cost     float64
	damping  float64
	growth   float64
	greatest []float64 // D

	jac  columns // n + priors rows
	free []int   // parameters that may move
	r    columns // triangle of the free columns
	z    []float64
}

func (s *search) check() error {
	if s.p == 0 {
		return errors.New("no parameters to find")
	}
	if len(s.Start) != s.p {
		return fmt.Errorf("%d parameters but %d starting values", s.p, len(s.Start))
	}
	if s.Bounds != nil && len(s.Bounds) != s.p {
		return fmt.Errorf("%d parameters but %d pairs of bounds", s.p, len(s.Bounds))
	}
	for j, v := range s.Start {
		if !finite(v) {
			return fmt.Errorf("starting value of %s: %v is %w", s.Names[j], v, ErrNotFinite)
		}
		if lo, hi := s.bounds(j); lo > hi || lo != lo || hi != hi {
			return fmt.Errorf("bounds of %s: %v to %v", s.Names[j], lo, hi)
		}
	}
	if err := checkObserved(s.Y, s.SD, s.Relative, s.Names, s.Prior); err != nil {
		return err
	}
	for j, q := range s.Prior {
		if q.SD > 0 {
			s.priors = append(s.priors, j)
		}
	}
	if s.n+len(s.priors) < s.p {
		return fmt.Errorf("%d observations cannot determine %d parameters", s.n+len(s.priors), s.p)
	}
	return nil
}

func (s *search) bounds(j int) (lo, hi float64) {
	if s.Bounds == nil || s.Bounds[j][0] == s.Bounds[j][1] {
		return math.Inf(-1), math.Inf(1)
	}
	return s.Bounds[j][0], s.Bounds[j][1]
}

func (s *search) begin() error {
	s.b = slices.Clone(s.Start)
	for j := range s.b {
		lo, hi := s.bounds(j)
		s.b[j] = math.Max(lo, math.Min(hi, s.b[j]))
	}
	s.predict, s.resid = make([]float64, s.n), make([]float64, s.n+len(s.priors))
	var err error
	if s.cost, err = s.evaluate(s.b, s.predict, s.resid); err != nil {
		return fmt.Errorf("at the starting values: %w", err)
	}
	s.jac = newColumns(s.n+len(s.priors), s.p)
	s.greatest = make([]float64, s.p)
	s.damping, s.growth = firstDamping, 2
	return nil
}

var errNoValue = errors.New("the model has no value there")

// evaluate writes the prediction and the residuals at b and returns the sum of
// their squares.
func (s *search) evaluate(b, predict, resid []float64) (float64, error) {
	if err := s.Predict(b, predict); err != nil {
		return 0, err
	}
	for i, y := range s.Y {
		resid[i] = y - predict[i]
		if s.SD != nil {
			resid[i] /= s.SD[i]
		}
	}
	for k, j := range s.priors {
		resid[s.n+k] = (s.Prior[j].Mean - b[j]) / s.Prior[j].SD
	}
	cost := dot(resid, resid)
	if !finite(cost) {
		return 0, errNoValue
	}
	return cost, nil
}

// width is the step of the central difference for parameter j: the cube root
// of the rounding, relative to the parameter's size.
func (s *search) width(j int) float64 {
	size := math.Max(math.Abs(s.b[j]), 1e-3*math.Abs(s.Start[j]))
	if s.Prior != nil && s.Prior[j].SD > 0 {
		size = math.Max(size, s.Prior[j].SD)
	}
	if lo, hi := s.bounds(j); size == 0 && finite(hi-lo) {
		size = hi - lo
	}
	if size == 0 {
		size = 1
	}
	return 6e-6 * size
}

// linearise works out the sensitivities at b and triangulates those that are
// free to move.
func (s *search) linearise() error {
	up, down := make([]float64, s.n), make([]float64, s.n)
	x := slices.Clone(s.b)
	try := func(j int, v float64, out []float64) error {
		x[j] = v
		err := s.Predict(x, out)
		x[j] = s.b[j]
		if err == nil && slices.ContainsFunc(out, func(v float64) bool { return !finite(v) }) {
			err = errNoValue
		}
		return err
	}
	for j := range s.p {
		h := s.width(j)
		lo, hi := s.bounds(j)
		a, b := math.Max(lo, s.b[j]-h), math.Min(hi, s.b[j]+h)
		if try(j, b, up) != nil {
			copy(up, s.predict)
			b = s.b[j]
		}
		if err := try(j, a, down); err != nil {
			if b == s.b[j] {
				return fmt.Errorf("around %s = %v: %w", s.Names[j], s.b[j], err)
			}
			copy(down, s.predict)
			a = s.b[j]
		}
		for i := range s.n {
			s.jac[j][i] = (up[i] - down[i]) / (b - a)
			if s.SD != nil {
				s.jac[j][i] /= s.SD[i]
			}
		}
	}
	for k, j := range s.priors {
		s.jac[j][s.n+k] = 1 / s.Prior[j].SD
	}
	s.free = s.free[:0]
	for j, c := range s.jac {
		s.greatest[j] = math.Max(s.greatest[j], norm(c))
		lo, hi := s.bounds(j)
		if g := dot(c, s.resid); s.b[j] <= lo && g < 0 || s.b[j] >= hi && g > 0 {
			continue
		}
		s.free = append(s.free, j)
	}
	m := make(columns, len(s.free))
	for k, j := range s.free {
		m[k] = slices.Clone(s.jac[j])
	}
	s.z = slices.Clone(s.resid)
	s.r = m.triangulate(s.z)
	return nil
}

// offset is how far b is from the least misfit, in SDs of the parameters: the
// part of the residual that moving b could still take away, against the part
// that it cannot or, if the SDs are given, against 1. It returns the shortest
// Gauss–Newton step for the free parameters as well.
func (s *search) offset() (float64, []float64) {
	if len(s.free) == 0 {
		return 0, nil
	}
	unit, length := s.r.scaled()
	d := unit.decompose()
	z := s.z[:len(s.free)]
	var part float64
	step := make([]float64, len(s.free))
	for k, v := range d.Value {
		if v <= 1e-13*d.Value[0] || v == 0 {
			continue
		}
		c := dot(d.US[k], z) / v
		part += float64(c * c)
		for j := range step {
			if length[j] > 0 {
				step[j] += float64(c*d.V[k][j]) / v / length[j]
			}
		}
	}
	still := true
	for k, j := range s.free {
		still = still && math.Abs(step[k]) <= 1e-13*math.Abs(s.b[j])
	}
	switch spare := s.n + len(s.priors) - s.p; {
	case still:
		return 0, step
	case s.SD != nil && !s.Relative:
		return math.Sqrt(part), step
	case spare == 0:
		return math.Inf(1), step
	default:
		return math.Sqrt(part/float64(s.p)) / math.Sqrt(math.Max(0, s.cost-part)/float64(spare)), step
	}
}

// polish takes Gauss–Newton steps as long as they bring the offset down.
func (s *search) polish(offset float64, step []float64) error {
	for i := 0; i < 60 && offset > 1e-9; i++ {
		was := slices.Clone(s.b)
		for k, j := range s.free {
			lo, hi := s.bounds(j)
			s.b[j] = math.Max(lo, math.Min(hi, s.b[j]+step[k]))
		}
		next, nextStep, err := s.look()
		if err != nil || !(next < offset) {
			s.b = was
			_, _, err := s.look()
			return err
		}
		offset, step = next, nextStep
	}
	return nil
}

// look evaluates and linearises at b and returns the offset there.
func (s *search) look() (offset float64, step []float64, err error) {
	if s.cost, err = s.evaluate(s.b, s.predict, s.resid); err != nil {
		return 0, nil, err
	}
	if err := s.linearise(); err != nil {
		return 0, nil, err
	}
	offset, step = s.offset()
	return offset, step, nil
}

// step goes one step downhill, or reports that there is none.
func (s *search) step() bool {
	m := len(s.free)
	trial, predict, resid := slices.Clone(s.b), make([]float64, s.n), make([]float64, len(s.resid))
	h := make([]float64, m)
	for ; s.damping < maxDamping; s.damping, s.growth = s.damping*s.growth, s.growth*2 {
		a, y := newColumns(2*m, m), make([]float64, 2*m)
		for k, j := range s.free {
			copy(a[k], s.r[k][:k+1])
			a[k][m+k] = math.Sqrt(s.damping) * s.greatest[j]
		}
		copy(y, s.z[:m])
		r := a.triangulate(y)
		along := r.solve(y)
		if s.bends(r, along) {
			continue
		}
		for k, d := range along {
			j := s.free[k]
			lo, hi := s.bounds(j)
			trial[j] = math.Max(lo, math.Min(hi, s.b[j]+d))
			h[k] = trial[j] - s.b[j]
		}
		cost, err := s.evaluate(trial, predict, resid)
		if err != nil || !(cost < s.cost) {
			continue
		}
		expected := dot(s.z[:m], s.z[:m])
		for i := range m {
			left := s.z[i]
			for k := i; k < m; k++ {
				left -= float64(s.r[k][i] * h[k])
			}
			expected -= float64(left * left)
		}
		if expected <= 0 {
			continue
		}
		// How well the tangent foretold the gain sets the next damping (H. B.
		// Nielsen, IMM report 1999-05, from memory).
		gain := (s.cost - cost) / expected
		k := 2*gain - 1
		s.damping = math.Max(1e-15, s.damping*math.Max(1./10, 1-float64(k*k*k)))
		s.growth = 2
		copy(s.b, trial)
		copy(s.predict, predict)
		copy(s.resid, resid)
		s.cost = cost
		return true
	}
	return false
}

// bends reports whether the model curves so much along the step that the
// tangent cannot be trusted there: the acceleration of M. K. Transtrum and J. P.
// Sethna (arXiv 1201.5885, 2012, from memory) exceeds three quarters of the
// step. r is the triangle that the step was solved with.
func (s *search) bends(r columns, along []float64) bool {
	const h, most = 0.1, 0.75
	x, out := slices.Clone(s.b), make([]float64, s.n)
	for k, j := range s.free {
		lo, hi := s.bounds(j)
		x[j] = math.Max(lo, math.Min(hi, s.b[j]+float64(h*along[k])))
	}
	if s.Predict(x, out) != nil {
		return true
	}
	for i := range out { // becomes the second derivative along the step
		out[i] -= s.predict[i]
		if s.SD != nil {
			out[i] /= s.SD[i]
		}
		for k, j := range s.free {
			out[i] -= float64(h * s.jac[j][i] * along[k])
		}
		out[i] *= 2 / (h * h)
	}
	// Rᵀ·R·a = −Jᵀ·out
	a := make([]float64, len(along))
	for k, j := range s.free {
		a[k] = -dot(out, s.jac[j][:s.n])
		for i := range k {
			a[k] -= float64(r[k][i] * a[i])
		}
		if r[k][k] != 0 {
			a[k] /= r[k][k]
		}
	}
	a = r.solve(a)
	for k, j := range s.free {
		a[k] *= s.greatest[j]
		x[k] = along[k] * s.greatest[j]
	}
	return !(norm(a) <= most*norm(x[:len(along)]))
}

func (s *search) report(e *Estimate) {
	e.Value = s.b
	e.Rows = make([]Row, s.n)
	for i := range e.Rows {
		e.Rows[i] = Row{Observed: s.Y[i], Predicted: s.predict[i], Residual: s.Y[i] - s.predict[i]}
		if s.Rows != nil {
			e.Rows[i].Name = s.Rows[i]
		} else {
			e.Rows[i].Name = fmt.Sprintf("observation %d", i+1)
		}
		if s.SD != nil {
			e.Rows[i].SD = s.SD[i]
		}
	}
	if e.Status != Converged {
		e.warn(NotConverged, "the search %v after %d iterations", e.Status, e.Iterations)
	}
	for j, v := range s.b {
		if lo, hi := s.bounds(j); v <= lo || v >= hi {
			e.warn(AtBound, "%s stands at the end of its range, %g", s.Names[j], v)
		}
	}
	data, prior := make(columns, s.p), make([]float64, s.p)
	for j := range data {
		data[j] = s.jac[j][:s.n]
		if s.Prior != nil {
			prior[j] = s.Prior[j].SD
		}
	}
	e.Misfit = dot(s.resid[s.n:], s.resid[s.n:])
	e.finish(data, s.resid[:s.n], prior)
	for _, j := range s.priors {
		if d := (s.b[j] - s.Prior[j].Mean) / s.Prior[j].SD; math.Abs(d) > 3 {
			e.warn(PriorConflict, "%s comes out %.1f times its ± away from what was known before", s.Names[j], math.Abs(d))
		}
	}
}
