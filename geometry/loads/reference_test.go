package loads_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"

	"kartwright/geometry"
	"kartwright/geometry/loads"
)

// reference solves the same kart as a structure in space, by another road:
// three rigid bodies (front section, rear section, the section that carries the
// mass) with six degrees of freedom each, constraints by Lagrange multipliers
// that leave only relative rotation about a lengthwise axis at height axis, a
// torsion spring across it, springs under the touching wheels, and forces at
// the centre of gravity. It tries all 16 sets of touching wheels with gonum's
// LU decomposition and keeps the one that satisfies complementarity. Sideways
// and lengthwise reactions come out of the constraints at the ground.
func reference(k *loads.Kart, m loads.Motion, c [2]loads.Contact, axis float64) (load, lift [4]float64, found int) {
	const dof = 6 // x y z and rotations about them, per body, at (0, 0, axis)
	const constraints = 5 + 6 + 3
	const n = 3*dof + constraints
	l, a, h := float64(k.Wheelbase), float64(k.CGBehind), float64(k.CGHeight)
	w := float64(k.Mass) * 9.81
	pos := [4][2]float64{
		{float64(c[0].Ahead), float64(k.Track[0])/2 + float64(c[0].Out)}, {float64(c[1].Ahead), -float64(k.Track[0])/2 - float64(c[1].Out)},
		{-l, float64(k.Track[1]) / 2}, {-l, -float64(k.Track[1]) / 2},
	}
	down := [4]float64{}
	for i := range down {
		down[i] = float64(k.Uneven[i])
	}
	down[0] -= float64(c[0].Rise)
	down[1] -= float64(c[1].Rise)
	// row of the displacement of a body's point along a direction.
	along := func(body int, x, y, z float64, dir int) []float64 {
		r := make([]float64, n)
		r[body*dof+dir] = 1
		z -= axis
		switch dir { // u + ω × r
		case 0:
			r[body*dof+4], r[body*dof+5] = z, -y
		case 1:
			r[body*dof+3], r[body*dof+5] = -z, x
		case 2:
			r[body*dof+3], r[body*dof+4] = y, -x
		}
		return r
	}
	base := mat.NewDense(n, n, nil)
	rhs := make([]float64, n)
	addOuter := func(dst *mat.Dense, row []float64, k float64) {
		for i, v := range row {
			if v == 0 {
				continue
			}
			for j, u := range row {
				dst.Set(i, j, dst.At(i, j)+k*v*u)
			}
		}
	}
	pull := func(row []float64, f float64) {
		for i, v := range row {
			rhs[i] += f * v
		}
	}
	const front, rear, middle = 0, 1, 2
	twist := make([]float64, n)
	twist[front*dof+3], twist[rear*dof+3] = 1, -1
	addOuter(base, twist, float64(k.Torsion)*1000*180/math.Pi)
	next := 3 * dof
	hold := func(row []float64) {
		for i, v := range row {
			base.Set(next, i, base.At(next, i)+v)
			base.Set(i, next, base.At(i, next)+v)
		}
		next++
	}
	for _, body := range []int{rear, middle} {
		for d := range dof {
			row := make([]float64, n)
			row[body*dof+d], row[front*dof+d] = 1, -1
			if d == 3 {
				if body == rear {
					continue
				}
				row[front*dof+d], row[rear*dof+d] = -(l-a)/l, -a/l
			}
			hold(row)
		}
	}
	hold(along(front, 0, 0, 0, 1))
	hold(along(rear, -l, 0, 0, 1))
	hold(along(middle, -a, float64(k.CGLeft), 0, 0))
	pull(along(middle, -a, float64(k.CGLeft), h, 2), -w)
	pull(along(middle, -a, float64(k.CGLeft), h, 1), -w*float64(m.Ay))
	pull(along(middle, -a, float64(k.CGLeft), h, 0), -w*float64(m.Ax))

	for set := range 16 {
		kkt := mat.DenseCopyOf(base)
		b := append([]float64(nil), rhs...)
		var rows [4][]float64
		var rate [4]float64
		for i := range rows {
			body := front
			if i >= 2 {
				body = rear
			}
			rows[i] = along(body, pos[i][0], pos[i][1], 0, 2)
			e := loads.Wheel(i).End()
			rate[i] = 1 / (1/float64(k.Tyre[e]) + 1/float64(k.Frame[e]))
			if set>>i&1 == 1 {
				// F = rate·(down − w)
				addOuter(kkt, rows[i], rate[i])
				for j, v := range rows[i] {
					b[j] += rate[i] * down[i] * v
				}
			}
		}
		var lu mat.LU
		lu.Factorize(kkt)
		if lu.Cond() > 1e17 {
			continue // a mechanism: this set does not hold the kart up
		}
		var u mat.VecDense
		if err := lu.SolveVecTo(&u, false, mat.NewVecDense(n, b)); err != nil {
			if _, ok := err.(mat.Condition); !ok {
				continue
			}
		}
		ok := true
		var f, g [4]float64
		for i := range rows {
			gap := mat.Dot(mat.NewVecDense(n, rows[i]), &u) - down[i]
			if set>>i&1 == 1 {
				f[i] = -rate[i] * gap
				ok = ok && f[i] > -1e-7
			} else {
				g[i] = gap
				ok = ok && gap > -1e-7
			}
			ok = ok && !math.IsNaN(gap)
		}
		if ok {
			load, lift = f, g
			found++
		}
	}
	return load, lift, found
}

// draw gives a number between lo and hi.
type draw func(name string, lo, hi float64) float64

// fromRapid draws what breaks things: ends, round and small numbers.
func fromRapid(t *rapid.T) draw {
	return func(name string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
}

// fromSeed draws evenly, so that every pattern of contact turns up.
func fromSeed(seed uint64) draw {
	r := rand.New(rand.NewPCG(seed, 0))
	return func(_ string, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
}

// kart draws a kart that could stand in a paddock, or nearly.
func (f draw) kart() loads.Kart {
	mm := func(name string, lo, hi float64) geometry.Length { return geometry.Length(f(name, lo, hi)) }
	k := loads.Kart{
		Mass: loads.Mass(f("mass", 80, 250)), Wheelbase: mm("wheelbase", 900, 1250), CGLeft: mm("left", -60, 60), CGHeight: mm("height", 150, 400),
		Track:   [2]geometry.Length{mm("front track", 800, 1250), mm("rear track", 900, 1350)},
		Tyre:    [2]loads.Rate{loads.Rate(f("front tyre", 30, 150)), loads.Rate(f("rear tyre", 30, 150))},
		Frame:   [2]loads.Rate{loads.Rate(f("front frame", 10, 500)), loads.Rate(f("rear frame", 10, 500))},
		Torsion: loads.Torsion(f("torsion", 50, 4000)),
	}
	k.CGBehind = k.Wheelbase * mm("behind", 0.35, 0.75)
	for _, w := range loads.Wheels {
		k.Uneven[w] = mm("uneven "+w.String(), -8, 8)
	}
	return k
}

func (f draw) contacts() (c [2]loads.Contact) {
	for i := range c {
		g := func(name string, r float64) geometry.Length { return geometry.Length(f(name, -r, r)) }
		c[i] = loads.Contact{Ahead: g("ahead", 70), Out: g("out", 30), Rise: g("rise", 30)}
	}
	return c
}

func (f draw) motion() loads.Motion {
	return loads.Motion{Ax: loads.Accel(f("ax", -0.8, 0.6)), Ay: loads.Accel(f("ay", -2.2, 2.2))}
}

// compare holds Solve against the structure in space and returns which wheels
// are off.
func compare(f draw) (off [4]bool, stands bool, err error) {
	k, m, c := f.kart(), f.motion(), f.contacts()
	l, err := k.Solve(m, &c)
	ref, lift, found := reference(&k, m, c, f("axis", -50, 300))
	var tip *loads.TipError
	switch {
	case errors.As(err, &tip):
		if found != 0 {
			return off, false, fmt.Errorf("Solve: %v; the reference stands with %v", err, ref)
		}
		return off, false, nil
	case err != nil:
		return off, false, err
	case found == 0:
		return off, false, fmt.Errorf("the reference finds no equilibrium; Solve has %v", l.Load)
	}
	for w := range ref {
		off[w] = l.Off(loads.Wheel(w))
		if !(math.Abs(float64(l.Load[w])-ref[w]) <= 1e-5 && math.Abs(float64(l.Lift[w])-lift[w]) <= 1e-5) {
			return off, true, fmt.Errorf("%v wheel: %.8f N, %.8f mm up; the reference has %.8f N, %.8f mm", loads.Wheel(w), float64(l.Load[w]), float64(l.Lift[w]), ref[w], lift[w])
		}
	}
	return off, true, nil
}

func TestSolveAgainstStructureInSpace(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		if _, _, err := compare(fromRapid(t)); err != nil {
			t.Fatal(err)
		}
	})
	seen := map[[4]bool]int{}
	tipped := 0
	for seed := range uint64(300) {
		off, stands, err := compare(fromSeed(seed))
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		if !stands {
			tipped++
			continue
		}
		seen[off]++
	}
	if len(seen) != 5 || tipped == 0 {
		t.Errorf("the draws met these sets of lifted wheels: %v and tipped %d times; want all standing, each of the four lifted, and some tipped", seen, tipped)
	}
	t.Logf("lifted: %v, tipped: %d", seen, tipped)
}
