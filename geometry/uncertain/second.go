package uncertain

import (
	"cmp"
	"math"
	"slices"
)

// Term is a second-order contribution to an output's variance by a pair of
// inputs, or by one input alone (I == J). It can be negative.
type Term struct {
	I, J     int
	Variance float64
}

// Second is an output whose uncertainty counts the second order as well.
type Second struct {
	First Output
	U     float64 // first and second order together
	Terms []Term  // largest first
}

// SecondOrder adds to Propagate's result the terms of next higher order,
//
//	Σ_i Σ_j [½ f_ij² + f_i f_ijj] u_i² u_j²
//
// (GUM 5.1.2, note). They matter where a first-order sensitivity vanishes or
// the model bends within the ±. They hold for independent inputs whose errors
// are normal. The derivatives are differences over u_i, and over 2u_i for the
// third, which is exact for a cubic; the model is called about 2n² times for
// n inputs.
func SecondOrder(model Model, in []Input) ([]Second, error) {
	first, err := Propagate(model, in)
	if err != nil {
		return nil, err
	}
	e, err := newEvaluator(model, in)
	if err != nil {
		return nil, err
	}
	out := make([]Second, len(first))
	add := func(k, i, j int, v float64) {
		if v != 0 {
			out[k].Terms = append(out[k].Terms, Term{i, j, v})
		}
	}
	var up, down [][]float64 // by input
	for i := range in {
		u := in[i].Dist.U()
		var y [4][]float64
		for n, by := range []float64{u, -u, 2 * u, -2 * u} {
			if y[n], err = e.at(move{i, by}); err != nil {
				return nil, err
			}
		}
		up, down = append(up, y[0]), append(down, y[1])
		for k := range out {
			// Derivatives times powers of u.
			fii := y[0][k] - 2*e.centre[k] + y[1][k]
			fiii := (y[2][k] - 2*y[0][k] + 2*y[1][k] - y[3][k]) / 2
			add(k, i, i, float64(fii*fii)/2+float64(first[k].Parts[i].Effect*fiii))
		}
	}
	for i := range in {
		for j := range i {
			ui, uj := in[i].Dist.U(), in[j].Dist.U()
			if ui == 0 || uj == 0 {
				continue
			}
			var y [4][]float64
			for n, m := range [][2]float64{{ui, uj}, {ui, -uj}, {-ui, uj}, {-ui, -uj}} {
				if y[n], err = e.at(move{i, m[0]}, move{j, m[1]}); err != nil {
					return nil, err
				}
			}
			for k := range out {
				pp, pm, mp, mm := y[0][k], y[1][k], y[2][k], y[3][k]
				fij := (pp - pm - mp + mm) / 4
				fijj := (pp - 2*up[i][k] + pm - mp + 2*down[i][k] - mm) / 2
				fiij := (pp - 2*up[j][k] + mp - pm + 2*down[j][k] - mm) / 2
				pi, pj := first[k].Parts[i].Effect, first[k].Parts[j].Effect
				add(k, j, i, float64(fij*fij)+float64(pi*fijj)+float64(pj*fiij))
			}
		}
	}
	for k := range out {
		out[k].First = first[k]
		terms := []float64{float64(first[k].U * first[k].U)}
		for _, t := range out[k].Terms {
			terms = append(terms, t.Variance)
		}
		out[k].U = math.Sqrt(math.Max(0, sum(terms)))
		slices.SortStableFunc(out[k].Terms, func(a, b Term) int {
			return cmp.Or(cmp.Compare(math.Abs(b.Variance), math.Abs(a.Variance)), cmp.Compare(a.I, b.I), cmp.Compare(a.J, b.J))
		})
	}
	return out, nil
}
