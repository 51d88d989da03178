package fit

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/stat/distuv"
)

// Status says how a solver stopped.
type Status uint8

// The statuses. Only Converged is an answer; the others leave the best that
// was found.
const (
	Converged   Status = iota
	Stalled            // no step lowers the misfit, yet it is not at its least
	BudgetSpent        // the iterations ran out
)

func (s Status) String() string {
	return [...]string{"converged", "stalled before the best fit", "ran out of iterations"}[s]
}

// Code names the kind of a warning.
type Code string

// The kinds of warnings.
const (
	NotConverged  Code = "not-converged"
	AtBound       Code = "at-bound"       // a parameter stands at the end of its range
	FewReadings   Code = "few-readings"   // the scatter is known from fewer than three spare readings
	Collinear     Code = "collinear"      // parameters that can hardly be told apart
	Undetermined  Code = "undetermined"   // a parameter or a combination that nothing determines
	OutlierFound  Code = "outlier"        // a reading far from what the others say
	Scatter       Code = "scatter"        // readings scatter more than their SD allows
	PriorConflict Code = "prior-conflict" // readings contradict what was known before
)

// Warning is something to doubt about a fit.
type Warning struct {
	Code Code
	Text string // a sentence, lower case, no full stop
}

// Row is one observation against the fit.
type Row struct {
	Name                string
	Observed, Predicted float64
	SD                  float64 // given or, if none was, the scatter of the fit
	Residual            float64 // observed − predicted
	Leverage            float64 // 0 to 1: how far the fit follows this one observation
	Studentised         float64 // residual over its own SD; without this observation if the scatter is estimated
	Outlier             bool    // larger than one fit in a hundred would show by chance in any row
}

// Estimate is what a fit found.
type Estimate struct {
	Names []string
	Value []float64
	SD    []float64   // +Inf for what nothing determines
	Cov   [][]float64 // +Inf or −Inf where SD is infinite
	RSS   float64     // Σ (residual/SD)², or Σ residual² if no SD was given
	// Misfit is RSS and what the priors add, Σ ((value − mean)/SD)².
	Misfit float64
	S      float64 // √(RSS/DF); 0 if DF is 0
	DF     int     // observations + priors − parameters
	Known  bool    // SDs of the observations were given, so Cov does not rest on S

	Rows     []Row
	Identify Identifiability
	Warnings []Warning

	Status     Status
	Iterations int
}

// Correlation returns the correlation of parameters i and j, NaN if one is
// undetermined.
func (e *Estimate) Correlation(i, j int) float64 { return e.Cov[i][j] / (e.SD[i] * e.SD[j]) }

// Interval returns what a standard deviation is multiplied by to hold the
// truth with the probability given, such as 0.95: a normal quantile if the
// observations' SDs were given, otherwise Student's t with DF degrees.
func (e *Estimate) Interval(probability float64) float64 {
	if e.Known {
		return distuv.UnitNormal.Quantile((1 + probability) / 2)
	}
	if e.DF < 1 {
		return math.Inf(1)
	}
	return distuv.StudentsT{Sigma: 1, Nu: float64(e.DF)}.Quantile((1 + probability) / 2)
}

// Uncertainty returns the SD of a quantity whose derivatives by the parameters
// are g.
func (e *Estimate) Uncertainty(g []float64) float64 { return math.Sqrt(quadratic(e.Cov, g, g)) }

func (e *Estimate) warn(code Code, format string, args ...any) {
	e.Warnings = append(e.Warnings, Warning{code, fmt.Sprintf(format, args...)})
}

// quadratic is gᵀ·C·h, in which a zero of g or h beats an infinity of C.
func quadratic(c [][]float64, g, h []float64) float64 {
	var sum float64
	for i, gi := range g {
		for j, hj := range h {
			if gi != 0 && hj != 0 {
				sum += float64(float64(gi*c[i][j]) * hj)
			}
		}
	}
	return sum
}

// Part is one parameter's share in a direction.
type Part struct {
	Name   string
	Weight float64 // of the unit vector, in parameters scaled to the same effect on the observations
	By     float64 // change of the parameter, in its own unit
}

// Direction is a combination of parameters that the observations determine
// well or badly. Moving every parameter by its By at once moves the
// observations by one SD altogether (root of the sum of squares); a badly
// determined direction needs large ones.
type Direction struct {
	Singular float64
	Parts    []Part // largest share first, shares under 0.1 left out
}

func (d Direction) String() string {
	var b strings.Builder
	for i, p := range d.Parts {
		if i > 0 {
			b.WriteString(" with ")
		}
		fmt.Fprintf(&b, "%s %+.3g", p.Name, p.By)
	}
	return b.String()
}

// Identifiability says what observations can tell of the parameters, priors
// left out. The sensitivities are scaled to unit length per parameter first, so
// units do not matter.
type Identifiability struct {
	Singular []float64 // largest first
	// Condition is the largest singular value over the least (D. A. Belsley, E.
	// Kuh, R. E. Welsch, Regression Diagnostics, 1980: above 30 is trouble).
	Condition float64
	// Collinearity is one over the least singular value (R. Brun, P. Reichert,
	// H. R. Künsch, Water Resources Research 37, 2001: above 10 to 15 the
	// parameters cannot be told apart).
	Collinearity float64
	Directions   []Direction // in the order of Singular: best determined first
	Silent       []string    // parameters that no observation depends on; they are left out of the rest
}

// Limits of the two measures; see Identifiability.
const (
	poorCondition    = 30
	poorCollinearity = 15
)

// identify judges the sensitivities (observations over SD, a column per
// parameter).
func identify(names []string, jac columns) Identifiability {
	var id Identifiability
	var kept []int
	for j, c := range jac {
		if norm(c) > 0 {
			kept = append(kept, j)
		} else {
			id.Silent = append(id.Silent, names[j])
		}
	}
	m := make(columns, len(kept))
	for k, j := range kept {
		m[k] = jac[j]
	}
	unit, length := m.scaled()
	s := unit.decompose()
	id.Singular = s.Value
	if len(kept) == 0 {
		return id
	}
	least := s.Value[len(kept)-1]
	if least < 1e-14 {
		least = 0
	}
	id.Condition, id.Collinearity = s.Value[0]/least, 1/least
	for k, v := range s.V {
		d := Direction{Singular: s.Value[k]}
		sign := 1.
		for len(d.Parts) < len(kept) { // largest share first
			next := -1
			for i := range v {
				if v[i] != 0 && (next < 0 || math.Abs(v[i]) > math.Abs(v[next])) {
					next = i
				}
			}
			if next < 0 || math.Abs(v[next]) < 0.1 {
				break
			}
			if len(d.Parts) == 0 {
				sign = math.Copysign(1, v[next])
			}
			d.Parts = append(d.Parts, Part{names[kept[next]], sign * v[next], sign * v[next] / (length[next] * s.Value[k])})
			v[next] = 0
		}
		id.Directions = append(id.Directions, d)
	}
	return id
}

// finish fills in what follows from the sensitivities at the solution: jac and
// resid are the observations' (over their SD, if given), prior the SDs of the
// priors (0 = none). Misfit must hold the priors' share.
func (e *Estimate) finish(jac columns, resid []float64, prior []float64) {
	n, p := len(resid), len(jac)
	e.Identify = identify(e.Names, jac)
	e.DF = n - p
	var rest []int
	for j, sd := range prior {
		if sd > 0 {
			e.DF++
			rest = append(rest, j)
		}
	}
	e.RSS = dot(resid, resid)
	e.Misfit += e.RSS
	if e.DF > 0 {
		e.S = math.Sqrt(e.RSS / float64(e.DF))
	}
	all := newColumns(max(n+len(rest), p), p)
	for j := range all {
		copy(all[j], jac[j])
	}
	for k, j := range rest {
		all[j][n+k] = 1 / prior[j]
	}
	unit, length := all.scaled()
	s := unit.triangulate(make([]float64, len(unit[0]))).decompose()
	variance := 1.
	if !e.Known {
		variance = e.S * e.S
		if e.DF == 0 {
			variance = math.Inf(1)
		}
	}
	e.Cov, e.SD = make([][]float64, p), make([]float64, p)
	leverage := make([]float64, n)
	for i := range p {
		e.Cov[i] = make([]float64, p)
	}
	for k, v := range s.V {
		null := s.Value[k] <= 1e-13*s.Value[0] || s.Value[k] == 0
		for i := range p {
			for j := range p {
				vv := float64(v[i] * v[j])
				switch {
				case null && math.Abs(vv) > 1e-9:
					e.Cov[i][j] += math.Copysign(math.Inf(1), vv)
				case !null:
					e.Cov[i][j] += vv / (s.Value[k] * s.Value[k])
				}
			}
		}
		if null {
			continue
		}
		for i := range n {
			var u float64
			for j := range p {
				if length[j] > 0 {
					u += float64(jac[j][i] / length[j] * v[j])
				}
			}
			u /= s.Value[k]
			leverage[i] += float64(u * u)
		}
	}
	for i := range p {
		for j := range p {
			scale := length[i] * length[j]
			if scale == 0 {
				scale = 1
			}
			if e.Cov[i][j] != 0 {
				e.Cov[i][j] *= variance / scale
			}
		}
		e.SD[i] = math.Sqrt(e.Cov[i][i])
	}
	e.judge(resid, leverage)
}

// judge fills in the rows' leverage and residuals and gives the warnings that
// follow from them.
func (e *Estimate) judge(resid, leverage []float64) {
	n := len(resid)
	limit := distuv.UnitNormal.Quantile(1 - 0.005/float64(max(n, 1)))
	if !e.Known {
		limit = math.Inf(1)
		if e.DF > 1 {
			limit = distuv.StudentsT{Sigma: 1, Nu: float64(e.DF - 1)}.Quantile(1 - 0.005/float64(n))
		}
	}
	for i := range e.Rows {
		r := &e.Rows[i]
		r.Leverage = leverage[i]
		spare := math.Max(0, 1-leverage[i])
		if spare < 1e-9 {
			continue // the fit passes through it whatever it says
		}
		if e.Known {
			r.Studentised = resid[i] / math.Sqrt(spare)
		} else {
			if r.SD == 0 {
				r.SD = 1
			}
			r.SD *= e.S
			if others := (e.RSS - float64(resid[i]*resid[i])/spare) / float64(e.DF-1); e.DF > 1 && others > 0 {
				r.Studentised = resid[i] / math.Sqrt(others*spare)
			}
		}
		if r.Outlier = math.Abs(r.Studentised) > limit; r.Outlier {
			e.warn(OutlierFound, "%s is %.1f times its ± away from what the other readings say", r.Name, math.Abs(r.Studentised))
		}
	}
	if e.Known && e.DF > 0 && e.Misfit > (distuv.ChiSquared{K: float64(e.DF)}).Quantile(0.999) {
		e.warn(Scatter, "the readings scatter %.1f times as much as their ± allows", math.Sqrt(e.Misfit/float64(e.DF)))
	}
	if !e.Known && e.DF < 3 {
		e.warn(FewReadings, "only %d more readings than unknowns: the scatter, and every ± that rests on it, is a guess", e.DF)
	}
	for i, sd := range e.SD {
		if math.IsInf(sd, 0) && !(e.DF == 0 && !e.Known) {
			e.warn(Undetermined, "nothing determines %s", e.Names[i])
		}
	}
	if id := e.Identify; id.Collinearity > poorCollinearity && len(id.Directions) > 0 {
		worst := id.Directions[len(id.Directions)-1]
		e.warn(Collinear, "the readings hardly tell %s apart (collinearity %.3g)", partNames(worst.Parts), id.Collinearity)
	}
}

func partNames(parts []Part) string {
	names := make([]string, len(parts))
	for i, p := range parts {
		names[i] = p.Name
	}
	return list(names)
}

// list joins words as a sentence does.
func list(words []string) string {
	switch n := len(words); n {
	case 0:
		return "nothing"
	case 1:
		return words[0]
	default:
		return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
	}
}
