package uncertain

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
)

// A Model computes the outputs that belong to inputs. It must not keep or
// change x, and must return the same number of outputs each time.
type Model func(x []float64) ([]float64, error)

// Input is one input of a model.
type Input struct {
	Name string
	Dist Dist
	// DoF is how well the uncertainty itself is known, in degrees of freedom.
	// 0 means perfectly, except for StudentT, which brings its own.
	DoF float64
}

func (in Input) dof() float64 {
	if t, ok := in.Dist.(StudentT); ok && in.DoF == 0 {
		return t.DoF
	}
	if in.DoF == 0 {
		return math.Inf(1)
	}
	return in.DoF
}

// Correlation says that inputs I and J, by index, err together: R is their
// correlation coefficient, −1 to 1. A pair is given once.
type Correlation struct {
	I, J int
	R    float64
}

// Part is what one input does to an output.
type Part struct {
	Name        string
	U           float64 // of the input
	DoF         float64 // of that
	Sensitivity float64 // change of the output for a unit of the input
	Effect      float64 // Sensitivity·U, signed
}

// Output is an output with its standard uncertainty to first order.
type Output struct {
	Value, U float64
	// DoF is the effective number of degrees of freedom (Welch–Satterthwaite,
	// GUM G.4), +Inf if every input's uncertainty is well known. That formula
	// needs independent inputs; with correlated ones DoF is the least of those
	// that take part.
	DoF   float64
	Parts []Part // in the order of the inputs

	corr []Correlation
}

// Expanded returns the half-width of the interval that holds the true value
// with probability p.
func (o Output) Expanded(p float64) float64 { return Coverage(p, o.DoF) * o.U }

// Propagate evaluates the model at the inputs' estimates and carries their
// uncertainties through to first order:
//
//	u² = Σ c_i² u_i² + 2 Σ r_ij c_i u_i c_j u_j,  c_i = ∂f/∂x_i
//
// (GUM 5.1.2 and 5.2.2). The sensitivities c_i are central differences over an
// eighth of u_i on either side, which is exact for a model that is linear or
// quadratic in x_i. Terms are added in order of size, so that the order of the
// inputs does not change a bit of u.
func Propagate(model Model, in []Input, corr ...Correlation) ([]Output, error) {
	for _, c := range corr {
		if c.I < 0 || c.J < 0 || c.I >= len(in) || c.J >= len(in) || c.I == c.J || !(math.Abs(c.R) <= 1) {
			return nil, fmt.Errorf("a correlation must join two different inputs with a coefficient from -1 to 1, not %d and %d with %g", c.I, c.J, c.R)
		}
	}
	e, err := newEvaluator(model, in)
	if err != nil {
		return nil, err
	}
	out := make([]Output, len(e.centre))
	for k, v := range e.centre {
		out[k] = Output{Value: v, Parts: make([]Part, len(in)), corr: corr}
	}
	for i := range in {
		u := in[i].Dist.U()
		h := u / 8
		if h == 0 {
			h = 1e-6 * math.Max(1, math.Abs(e.x[i]))
		}
		up, err := e.at(move{i, h})
		if err != nil {
			return nil, err
		}
		down, err := e.at(move{i, -h})
		if err != nil {
			return nil, err
		}
		width := (e.x[i] + h) - (e.x[i] - h) // what was really added, after rounding
		for k := range out {
			c := (up[k] - down[k]) / width
			out[k].Parts[i] = Part{in[i].Name, u, in[i].dof(), c, c * u}
		}
	}
	for k := range out {
		out[k].combine()
	}
	return out, nil
}

func (o *Output) combine() {
	o.U = math.Sqrt(variance(o.Parts, o.corr))
	if len(o.corr) > 0 {
		o.DoF = math.Inf(1)
		for _, p := range o.Parts {
			if p.Effect != 0 {
				o.DoF = math.Min(o.DoF, p.DoF)
			}
		}
		return
	}
	var terms []float64
	for _, p := range o.Parts {
		if p.Effect != 0 {
			f := p.Effect / o.U
			terms = append(terms, float64(f*f)*float64(f*f)/p.DoF)
		}
	}
	o.DoF = 1 / sum(terms)
}

func variance(parts []Part, corr []Correlation) float64 {
	terms := make([]float64, 0, len(parts)+len(corr))
	for _, p := range parts {
		terms = append(terms, p.Effect*p.Effect)
	}
	for _, c := range corr {
		terms = append(terms, 2*c.R*(parts[c.I].Effect*parts[c.J].Effect))
	}
	return math.Max(0, sum(terms))
}

// sum adds in ascending order.
func sum(terms []float64) float64 {
	slices.Sort(terms)
	total := 0.
	for _, t := range terms {
		total += t
	}
	return total
}

// move is a step of one input away from its estimate.
type move struct {
	input int
	by    float64
}

// evaluator calls a model near the inputs' estimates.
type evaluator struct {
	model     Model
	in        []Input
	x, centre []float64
}

func newEvaluator(model Model, in []Input) (*evaluator, error) {
	e := &evaluator{model: model, in: in, x: make([]float64, len(in))}
	for i := range in {
		e.x[i] = in[i].Dist.Estimate()
		if u := in[i].Dist.U(); !(u >= 0) || math.IsInf(u, 0) || math.IsNaN(e.x[i]) || math.IsInf(e.x[i], 0) {
			return nil, fmt.Errorf("input %q is %g ± %g: the value must be a number and the ± must not be negative", in[i].Name, e.x[i], u)
		}
	}
	var err error
	if e.centre, err = e.at(); err != nil {
		return nil, err
	}
	return e, nil
}

func (e *evaluator) at(moves ...move) ([]float64, error) {
	x := slices.Clone(e.x)
	var where strings.Builder
	for _, m := range moves {
		x[m.input] += m.by
		fmt.Fprintf(&where, "with %s changed by %g: ", e.in[m.input].Name, m.by)
	}
	y, err := e.model(x)
	if err == nil {
		err = check(y, len(e.centre))
	}
	if err != nil {
		return nil, fmt.Errorf("%s%w", where.String(), err)
	}
	return slices.Clone(y), nil
}

var errNotFinite = errors.New("the model gave a result that is not a number")

func check(y []float64, want int) error {
	if want > 0 && len(y) != want {
		return fmt.Errorf("the model gave %d outputs where it gave %d before", len(y), want)
	}
	for _, v := range y {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return errNotFinite
		}
	}
	return nil
}
