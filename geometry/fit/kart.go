package fit

import (
	"fmt"
	"math"
	"slices"

	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
)

// Param is a number to learn: a dimension of the kart, or the zero offset of
// an instrument.
type Param struct {
	Name string // as Problem.Kart knows it, such as corner.left.caster
	Doc  string // for a person; Name if empty
	Unit Unit
	// Value and SD are what is known before. SD 0 means nothing but the range:
	// the value is then taken as known to (Hi − Lo)/√12, the spread of a number
	// that may lie anywhere between.
	Value, SD float64
	Lo, Hi    float64 // what is possible; both zero = anything
	// Zero names the instrument whose readings this is added to; the kart does
	// not depend on it.
	Zero string
}

func (p *Param) spread() float64 {
	if p.SD > 0 {
		return p.SD
	}
	return (p.Hi - p.Lo) / math.Sqrt(12)
}

func (p *Param) text() string {
	if p.Doc != "" {
		return p.Doc
	}
	return p.Name
}

// Problem is a kart that is known roughly and what was read off it.
type Problem struct {
	Params []Param
	// Kart returns the kart with its numbers at the values given by name.
	Kart     func(at map[string]float64) (*Kart, error)
	Readings []Reading
	Answers  []Answer
	// Candidates are the readings that could be taken next; nil means
	// Reachable.
	Candidates []Reading
	Units      geometry.Units // for texts
}

// Answer is a figure that somebody wants to know of the kart.
type Answer struct {
	Name string
	Unit Unit
	Of   func(*Kart) (float64, error)
}

// Moves returns the answer "how far must this adjuster go for that change of a
// figure", from the setting given (nil = standard), the other adjusters staying
// where they are and a stepped adjuster taken as if it could stand anywhere. It
// is in positions of the adjuster: turns for a screw. delta is in radians, or
// mm for adjust.Height.
func Moves(name string, side frontend.Side, from adjust.Setting, adjuster string, figure adjust.Figure, delta float64) Answer {
	return Answer{Name: name, Unit: Turn, Of: func(k *Kart) (float64, error) {
		c := &k[side]
		i := c.Index(adjuster)
		if i < 0 {
			return 0, fmt.Errorf("the %v side has no adjuster %q", side, adjuster)
		}
		set := slices.Clone(from)
		if set == nil {
			set = c.Standard()
		}
		at := func(p float64) (float64, error) {
			set[i] = p
			v, err := c.Values(set)
			return v[figure], err
		}
		t := c.Adjusters[i].Travel()
		home := set[i]
		start, err := at(home)
		if err != nil {
			return 0, err
		}
		// Secant steps; a figure is nearly straight in a position.
		was, miss, p := home, -delta, home+(t.Max-t.Min)/50
		for range 40 {
			v, err := at(p)
			if err != nil {
				return 0, err
			}
			d := v - start - delta
			if math.Abs(d) < 1e-13 || d == miss || p == was {
				break
			}
			was, miss, p = p, d, p-float64(d*(p-was))/(d-miss)
		}
		if v, err := at(p); err != nil || !(math.Abs(v-start-delta) < 1e-9) {
			return 0, fmt.Errorf("no position of %s changes the %v by so much", adjuster, figure)
		}
		return p - home, nil
	}}
}

// Learned is what became of one parameter.
type Learned struct {
	Param
	Value, SD float64 // after the readings; Param's are before
}

// Answered is an answer before and after the readings.
type Answered struct {
	Name         string
	Unit         Unit
	Prior, Value float64
	PriorSD, SD  float64
	gradient     []float64
}

// Result is a kart as its readings show it. The embedded Estimate has the
// parameters in the order of the problem and a row per reading.
type Result struct {
	Estimate
	Params  []Learned
	Answers []Answered

	at *model
}

// Kart returns the fitted kart.
func (r *Result) Kart() (*Kart, error) { return r.at.kart(r.Value) }

// model evaluates a problem.
type model struct {
	Problem
	zero   []int // per reading, the parameter that is its instrument's offset, or −1
	byName map[string]float64
	base   *Kart // at the values known before
}

func newModel(p Problem) (*model, error) {
	m := &model{Problem: p, byName: map[string]float64{}}
	if err := m.checkParams(); err != nil {
		return nil, err
	}
	var err error
	if m.base, err = m.kart(m.start()); err != nil {
		return nil, fmt.Errorf("with the numbers known before: %w", err)
	}
	m.zero = m.zeros(p.Readings)
	return m, nil
}

func (m *model) checkParams() error {
	if len(m.Params) == 0 {
		return fmt.Errorf("no numbers to learn were named")
	}
	seen := map[string]bool{}
	for _, q := range m.Params {
		switch {
		case seen[q.Name]:
			return fmt.Errorf("%s is to be learnt twice", q.Name)
		case !finite(q.Value) || !finite(q.SD) || !finite(q.Lo) || !finite(q.Hi):
			return fmt.Errorf("%s: %v ± %v, range %v to %v, is %w", q.Name, q.Value, q.SD, q.Lo, q.Hi, ErrNotFinite)
		case q.SD < 0 || q.Lo > q.Hi || q.SD == 0 && q.Lo == q.Hi:
			return fmt.Errorf("%s needs a ± or a range within which it lies", q.Name)
		case q.Lo < q.Hi && (q.Value < q.Lo || q.Value > q.Hi):
			return fmt.Errorf("%s = %s lies outside its range, %s to %s", q.Name, q.Unit.Text(q.Value, m.Units), q.Unit.Text(q.Lo, m.Units), q.Unit.Text(q.Hi, m.Units))
		}
		seen[q.Name] = true
	}
	return nil
}

func (m *model) zeros(readings []Reading) []int {
	out := make([]int, len(readings))
	for i, r := range readings {
		out[i] = slices.IndexFunc(m.Params, func(p Param) bool { return p.Zero != "" && p.Zero == r.Instrument })
	}
	return out
}

func (m *model) start() []float64 {
	b := make([]float64, len(m.Params))
	for j, p := range m.Params {
		b[j] = p.Value
	}
	return b
}

// priorCov is the covariance of what is known before.
func (m *model) priorCov() [][]float64 {
	out := make([][]float64, len(m.Params))
	for j := range out {
		out[j] = make([]float64, len(m.Params))
		s := m.Params[j].spread()
		out[j][j] = s * s
	}
	return out
}

func (m *model) kart(b []float64) (*Kart, error) {
	for j, p := range m.Params {
		if p.Zero == "" {
			m.byName[p.Name] = b[j]
		}
	}
	k, err := m.Kart(m.byName)
	if err == nil && k == nil {
		err = errNoValue
	}
	return k, err
}

// predict writes what the readings would be at b.
func (m *model) predict(readings []Reading, zero []int, b, out []float64) error {
	k, err := m.kart(b)
	if err != nil {
		return err
	}
	for i := range readings {
		if out[i], err = readings[i].Of(k); err != nil {
			return err
		}
		if zero[i] >= 0 {
			out[i] += b[zero[i]]
		}
	}
	return nil
}

// gradients returns the derivatives at b, by parameter, of what f writes into
// n places, as central differences over a thousandth of each spread, inside the
// range.
func (m *model) gradients(b []float64, n int, f func(b, out []float64) error) (columns, error) {
	g := newColumns(n, len(b))
	up, down, x := make([]float64, n), make([]float64, n), slices.Clone(b)
	for j := range b {
		q := &m.Params[j]
		h := 1e-3 * q.spread()
		hi, lo := b[j]+h, b[j]-h
		if q.Lo < q.Hi {
			hi, lo = math.Min(hi, q.Hi), math.Max(lo, q.Lo)
		}
		x[j] = hi
		if err := f(x, up); err != nil {
			return nil, err
		}
		x[j] = lo
		if err := f(x, down); err != nil {
			return nil, err
		}
		x[j] = b[j]
		for i := range n {
			g[j][i] = (up[i] - down[i]) / (hi - lo)
		}
	}
	return g, nil
}

// solve fits the readings given; swapped puts each on the other side.
func (m *model) solve(readings []Reading, swapped bool) (*Estimate, error) {
	if swapped {
		readings = slices.Clone(readings)
		for i := range readings {
			readings[i].Side = 1 - readings[i].Side
		}
	}
	zero := m.zeros(readings)
	q := Nonlinear{Start: m.start()}
	for _, p := range m.Params {
		q.Names = append(q.Names, p.Name)
		q.Prior = append(q.Prior, Prior{p.Value, p.spread()})
		q.Bounds = append(q.Bounds, [2]float64{p.Lo, p.Hi})
	}
	for i := range readings {
		q.Y = append(q.Y, readings[i].Value)
		q.SD = append(q.SD, readings[i].SD)
		q.Rows = append(q.Rows, readings[i].describe(m.base, m.Units))
	}
	q.Predict = func(b, out []float64) error { return m.predict(readings, zero, b, out) }
	return q.Solve()
}

// Fit learns the numbers of a kart from its readings: the likeliest values
// given the readings and what was known before (weighted least squares with the
// priors as further rows), with their SDs, correlations, residuals and
// warnings. Readings that cannot be what they are said to be are a *Faults.
func Fit(p Problem) (*Result, error) {
	m, err := newModel(p)
	if err != nil {
		return nil, err
	}
	if faults := m.check(); len(faults) > 0 {
		return nil, &Faults{faults}
	}
	faults, err := m.screen()
	if err != nil {
		return nil, err
	}
	if len(faults) > 0 {
		return nil, &Faults{faults}
	}
	e, err := m.solve(p.Readings, false)
	if err != nil {
		return nil, err
	}
	faults, outliers, err := m.suspect(e)
	if err != nil {
		return nil, err
	}
	if len(faults) > 0 {
		return nil, &Faults{faults}
	}
	e.flag(outliers)
	r := &Result{Estimate: *e, at: m}
	for j, q := range p.Params {
		r.Params = append(r.Params, Learned{q, e.Value[j], e.SD[j]})
	}
	r.Answers, err = m.answers(e)
	return r, err
}

// flag marks the outliers that setting aside the worst in turn has found (by
// row: how many SDs off), instead of every row that a gross error has dragged
// the fit away from.
func (e *Estimate) flag(outliers map[int]float64) {
	e.Warnings = slices.DeleteFunc(e.Warnings, func(w Warning) bool { return w.Code == OutlierFound })
	for i := range e.Rows {
		off, ok := outliers[i]
		if e.Rows[i].Outlier = ok; ok {
			e.warn(OutlierFound, "%s is %.1f times its ± away from what the other readings say", e.Rows[i].Name, off)
		}
	}
}

// answers works out the answers before and after, with their SDs.
func (m *model) answers(e *Estimate) ([]Answered, error) {
	if len(m.Answers) == 0 {
		return nil, nil
	}
	of := func(b, out []float64) error {
		k, err := m.kart(b)
		if err != nil {
			return err
		}
		for i, a := range m.Answers {
			if out[i], err = a.Of(k); err != nil {
				return fmt.Errorf("%s: %w", a.Name, err)
			}
		}
		return nil
	}
	out := make([]Answered, len(m.Answers))
	for _, when := range []struct {
		b   []float64
		cov [][]float64
		put func(*Answered, float64, float64, []float64)
	}{
		{m.start(), m.priorCov(), func(a *Answered, v, sd float64, _ []float64) { a.Prior, a.PriorSD = v, sd }},
		{e.Value, e.Cov, func(a *Answered, v, sd float64, g []float64) { a.Value, a.SD, a.gradient = v, sd, g }},
	} {
		v := make([]float64, len(out))
		if err := of(when.b, v); err != nil {
			return nil, err
		}
		jac, err := m.gradients(when.b, len(out), of)
		if err != nil {
			return nil, err
		}
		for i := range out {
			g := make([]float64, len(jac))
			for j := range jac {
				g[j] = jac[j][i]
			}
			out[i].Name, out[i].Unit = m.Answers[i].Name, m.Answers[i].Unit
			when.put(&out[i], v[i], math.Sqrt(quadratic(when.cov, g, g)), g)
		}
	}
	return out, nil
}
