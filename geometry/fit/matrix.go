package fit

import (
	"math"
	"slices"
	"sort"
)

// columns is a matrix by its columns.
type columns [][]float64

func newColumns(rows, cols int) columns {
	space := make([]float64, rows*cols)
	m := make(columns, cols)
	for j := range m {
		m[j] = space[j*rows : (j+1)*rows : (j+1)*rows]
	}
	return m
}

func (m columns) clone() columns {
	out := make(columns, len(m))
	for j := range m {
		out[j] = slices.Clone(m[j])
	}
	return out
}

func dot(a, b []float64) float64 {
	var s float64
	for i, v := range a {
		s += float64(v * b[i])
	}
	return s
}

// norm is the length of a, safe from overflow and underflow.
func norm(a []float64) float64 {
	var most float64
	for _, v := range a {
		if v = math.Abs(v); v > most || v != v {
			most = v
		}
	}
	if most == 0 || math.IsInf(most, 0) || most != most {
		return most
	}
	var s float64
	for _, v := range a {
		v /= most
		s += float64(v * v)
	}
	return most * math.Sqrt(s)
}

// triangulate turns m, which has at least as many rows as columns, and y in
// place by Householder reflections (G. H. Golub, Numerische Mathematik 7, 1965)
// until m is upper triangular. It returns the square triangle R; y's first
// elements are then the right side that goes with it and the norm of the rest
// is the residual's.
func (m columns) triangulate(y []float64) columns {
	reflect := func(v, a []float64, beta float64) {
		k := beta * dot(v, a)
		for i := range a {
			a[i] -= float64(k * v[i])
		}
	}
	for j, c := range m {
		v := c[j:]
		length := norm(v)
		if length == 0 {
			continue
		}
		alpha := -math.Copysign(length, v[0])
		v[0] -= alpha
		if vv := dot(v, v); vv > 0 {
			for _, next := range m[j+1:] {
				reflect(v, next[j:], 2/vv)
			}
			reflect(v, y[j:], 2/vv)
		}
		c[j] = alpha
		clear(c[j+1:])
	}
	r := make(columns, len(m))
	for j := range m {
		r[j] = m[j][:len(m)]
	}
	return r
}

// solve returns x of R·x = y for an upper triangle, with zero for every x
// whose pivot is zero.
func (m columns) solve(y []float64) []float64 {
	x := slices.Clone(y[:len(m)])
	for j := len(m) - 1; j >= 0; j-- {
		if m[j][j] == 0 {
			x[j] = 0
			continue
		}
		x[j] /= m[j][j]
		for i := range j {
			x[i] -= float64(x[j] * m[j][i])
		}
	}
	return x
}

// singular is M = U·diag(Value)·Vᵀ, largest value first. U is kept as
// U·diag(Value), whose columns are zero where the value is.
type singular struct {
	Value []float64
	US, V columns
}

// decompose returns the singular value decomposition by one-sided Jacobi
// rotations (M. R. Hestenes, J. SIAM 6, 1958), which finds small values to high
// relative accuracy. Any shape will do.
func (m columns) decompose() singular {
	p := len(m)
	s := singular{Value: make([]float64, p), US: m.clone(), V: newColumns(p, p)}
	for j := range p {
		s.V[j][j] = 1
	}
	turn := func(a, b []float64, cos, sin float64) {
		for k := range a {
			x, y := a[k], b[k]
			a[k] = float64(cos*x) - float64(sin*y)
			b[k] = float64(sin*x) + float64(cos*y)
		}
	}
	for range 60 {
		turned := false
		for i := range p {
			for j := i + 1; j < p; j++ {
				a, b := s.US[i], s.US[j]
				aa, bb, ab := dot(a, a), dot(b, b), dot(a, b)
				if math.Abs(ab) <= 1e-15*math.Sqrt(aa)*math.Sqrt(bb) || ab == 0 {
					continue
				}
				turned = true
				z := (bb - aa) / (2 * ab)
				t := math.Copysign(1, z) / (math.Abs(z) + math.Sqrt(1+float64(z*z)))
				cos := 1 / math.Sqrt(1+float64(t*t))
				turn(a, b, cos, cos*t)
				turn(s.V[i], s.V[j], cos, cos*t)
			}
		}
		if !turned {
			break
		}
	}
	for j := range p {
		s.Value[j] = norm(s.US[j])
	}
	sort.Stable(byValue(s))
	return s
}

// byValue sorts a decomposition, largest value first.
type byValue singular

func (s byValue) Len() int           { return len(s.Value) }
func (s byValue) Less(i, j int) bool { return s.Value[i] > s.Value[j] }
func (s byValue) Swap(i, j int) {
	s.Value[i], s.Value[j] = s.Value[j], s.Value[i]
	s.US[i], s.US[j] = s.US[j], s.US[i]
	s.V[i], s.V[j] = s.V[j], s.V[i]
}

// scaled returns m with every column at unit length, and the lengths. A zero
// column stays zero, with length 0.
func (m columns) scaled() (columns, []float64) {
	out, length := m.clone(), make([]float64, len(m))
	for j, c := range out {
		if length[j] = norm(c); length[j] > 0 {
			for i := range c {
				c[i] /= length[j]
			}
		}
	}
	return out, length
}
