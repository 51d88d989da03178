package measure

import (
	"errors"
	"fmt"
	"math"

	"kartwright/geometry"
	"kartwright/geometry/frontend"
)

// A stub axle keeps its angle to the kingpin while it steers, so
//
//	cos γ (tan τ sin δ − tan σ cos δ) − sin γ = K
//
// at every steer angle δ, with camber γ, caster τ and KPI σ. All of this file
// follows from it; the method of the camber sweep is that of D. B. January,
// Steering Geometry and Caster Measurement, SAE 850219, 1985.

// Reading is a wheel's camber at one steer angle, seen from above and counted
// from straight ahead, + with its front outboard.
type Reading struct {
	Steer, Camber geometry.Measured[geometry.Angle]
}

// Swept is what a camber sweep found.
type Swept struct {
	Caster geometry.Measured[geometry.Angle]
	KPI    geometry.Measured[geometry.Angle] // as given, or found from three readings
	// Workshop is what the workshop formula gives from the two widest
	// readings, to compare with a gauge that uses it, and WorkshopError how far
	// that is off: + = it reads too much caster.
	Workshop, WorkshopError geometry.Angle
}

// leastSweep is the least steer between two readings: closer together they
// tell more about the gauge than about the kingpin.
const leastSweep = 10 * geometry.Degree

// CasterFromTwo returns the caster from a wheel's camber at two steer angles
// and its kingpin inclination, exactly:
//
//	tan τ = [sin γ₁ − sin γ₂ + tan σ (cos γ₁ cos δ₁ − cos γ₂ cos δ₂)] / (cos γ₁ sin δ₁ − cos γ₂ sin δ₂)
//
// Static camber and toe do not matter. With equal steer to both sides the KPI
// hardly does.
func CasterFromTwo(a, b Reading, kpi geometry.Measured[geometry.Angle]) (Swept, error) {
	if err := errors.Join(sweepable(a, b), leans("KPI", kpi)); err != nil {
		return Swept{}, err
	}
	s := Swept{KPI: kpi, Caster: carry[geometry.Angle](casterFromTwo,
		bare(a.Steer), bare(a.Camber), bare(b.Steer), bare(b.Camber), bare(kpi))}
	s.workshop(a, b)
	return s, nil
}

func casterFromTwo(x []float64) float64 {
	sd1, cd1 := math.Sincos(x[0])
	sg1, cg1 := math.Sincos(x[1])
	sd2, cd2 := math.Sincos(x[2])
	sg2, cg2 := math.Sincos(x[3])
	lean := float64(cg1*cd1) - float64(cg2*cd2)
	return math.Atan((sg1 - sg2 + float64(math.Tan(x[4])*lean)) / (float64(cg1*sd1) - float64(cg2*sd2)))
}

// CasterFromThree returns caster and KPI from a wheel's camber at three steer
// angles with nothing else known: the invariant is linear in tan τ, tan σ and
// K. It finds caster as well as two readings do, and KPI about ten times worse.
func CasterFromThree(a, b, c Reading) (Swept, error) {
	if err := errors.Join(sweepable(a, b), sweepable(b, c), sweepable(a, c)); err != nil {
		return Swept{}, err
	}
	in := []number{bare(a.Steer), bare(a.Camber), bare(b.Steer), bare(b.Camber), bare(c.Steer), bare(c.Camber)}
	s := Swept{
		Caster: carry[geometry.Angle](func(x []float64) float64 { tau, _ := axisFromThree(x); return tau }, in...),
		KPI:    carry[geometry.Angle](func(x []float64) float64 { _, sig := axisFromThree(x); return sig }, in...),
	}
	lo, hi := a, a
	for _, r := range []Reading{b, c} {
		if r.Steer.Value < lo.Steer.Value {
			lo = r
		}
		if r.Steer.Value > hi.Steer.Value {
			hi = r
		}
	}
	s.workshop(lo, hi)
	return s, nil
}

// axisFromThree solves u·tan τ − v·tan σ − K = sin γ for three readings.
func axisFromThree(x []float64) (caster, kpi float64) {
	var u, v, g [3]float64
	for i := range u {
		sd, cd := math.Sincos(x[2*i])
		sg, cg := math.Sincos(x[2*i+1])
		u[i], v[i], g[i] = cg*sd, cg*cd, sg
	}
	// Differences from the first reading free the system of K.
	u1, v1, g1 := u[1]-u[0], v[1]-v[0], g[1]-g[0]
	u2, v2, g2 := u[2]-u[0], v[2]-v[0], g[2]-g[0]
	det := float64(u2*v1) - float64(u1*v2)
	tau := (float64(g2*v1) - float64(g1*v2)) / det
	sig := (float64(u1*g2) - float64(u2*g1)) / det
	return math.Atan(tau), math.Atan(sig)
}

// CasterFromSpin returns the caster from a wheel's camber after turns by half
// about the kingpin itself (as on a bench, with a protractor on the kingpin) to
// either side of a start without camber and toe: sin γ₁ − sin γ₂ = 2 c tan τ sin
// half exactly, c = 1/√(1 + tan²τ + tan²σ). out is the camber with the front of
// the wheel outboard.
func CasterFromSpin(half, out, in, kpi geometry.Measured[geometry.Angle]) (geometry.Measured[geometry.Angle], error) {
	if err := errors.Join(leans("camber", out), leans("camber", in), leans("KPI", kpi)); err != nil {
		return geometry.Measured[geometry.Angle]{}, err
	}
	if half.Value < leastSweep/2 || half.Value > 90*geometry.Degree {
		return geometry.Measured[geometry.Angle]{}, fmt.Errorf("a turn of %v to either side is not between %v and 90°", half.Value, leastSweep/2)
	}
	return carry[geometry.Angle](func(x []float64) float64 {
		s := (math.Sin(x[1]) - math.Sin(x[2])) / (2 * math.Sin(x[0])) // c tan τ
		t := math.Tan(x[3])
		return math.Atan(s * math.Sqrt((1+float64(t*t))/(1-float64(s*s))))
	}, bare(half), bare(out), bare(in), bare(kpi)), nil
}

// Workshop returns the caster by the workshop formula (γ₁ − γ₂)/(2 sin a) with
// a half the steer between the readings; at a = 20° its factor is 1.46, the
// rule of thumb "one and a half times the difference" (common practice). It
// reads 0.34° too much at 15° of caster and 10° of KPI.
func Workshop(a, b Reading) (geometry.Measured[geometry.Angle], error) {
	if err := sweepable(a, b); err != nil {
		return geometry.Measured[geometry.Angle]{}, err
	}
	return carry[geometry.Angle](func(x []float64) float64 { return (x[1] - x[3]) / (2 * math.Sin((x[0]-x[2])/2)) },
		bare(a.Steer), bare(a.Camber), bare(b.Steer), bare(b.Camber)), nil
}

// SineRule is the workshop formula with sines of camber and the tangent of
// caster, tan τ ≈ (sin γ₁ − sin γ₂)/(2 sin a): closer, and still not exact.
func SineRule(a, b Reading) (geometry.Measured[geometry.Angle], error) {
	if err := sweepable(a, b); err != nil {
		return geometry.Measured[geometry.Angle]{}, err
	}
	return carry[geometry.Angle](func(x []float64) float64 {
		return math.Atan((math.Sin(x[1]) - math.Sin(x[3])) / (2 * math.Sin((x[0]-x[2])/2)))
	}, bare(a.Steer), bare(a.Camber), bare(b.Steer), bare(b.Camber)), nil
}

func (s *Swept) workshop(a, b Reading) {
	w, err := Workshop(a, b)
	if err == nil { // a and b have been through sweepable
		s.Workshop, s.WorkshopError = w.Value, w.Value-s.Caster.Value
	}
}

func sweepable(a, b Reading) error {
	for _, r := range []Reading{a, b} {
		if err := errors.Join(sane("the steer angle", r.Steer), leans("camber", r.Camber)); err != nil {
			return err
		}
		if math.Abs(float64(r.Steer.Value)) > float64(90*geometry.Degree) {
			return fmt.Errorf("a steer angle of %v is past 90°", r.Steer.Value)
		}
	}
	if d := geometry.Angle(math.Abs(float64(a.Steer.Value - b.Steer.Value))); d < leastSweep-1e-9 {
		return fmt.Errorf("two of the readings are only %v of steer apart; a sweep needs at least %v, better 40°", d, leastSweep)
	}
	return nil
}

// AtWheel turns a reading whose steer angle was taken at the column into one
// at the wheel, through the axle's own linkage: both corners with their shifts,
// the column's angle + to the left. The ± follows the linkage's ratio there; how
// well the linkage is known is not in it. The linkage's own caster has little
// weight: 1° wrong moves the wheel by about 0.02° at 20° of column.
func AtWheel(axle *frontend.Axle, shift [2]frontend.Shift, side frontend.Side, column, camber geometry.Measured[geometry.Angle]) (Reading, error) {
	if err := errors.Join(sane("the column's angle", column), leans("camber", camber)); err != nil {
		return Reading{}, err
	}
	h := column.PM / 8
	at := []geometry.Angle{column.Value, column.Value + h, column.Value - h}
	swept, err := axle.Sweep(shift, at)
	if err != nil {
		return Reading{}, err
	}
	r := Reading{Camber: camber}
	r.Steer.Value = swept[0].Steer[side]
	r.Steer.PM = geometry.Angle(math.Abs(float64(swept[1].Steer[side]-swept[2].Steer[side])) * 4)
	if side == frontend.Right {
		r.Steer.Value = -r.Steer.Value
	}
	return r, nil
}

// Kingpin is a corner as a sweep sees it: the axis, and camber and toe straight
// ahead.
type Kingpin struct {
	Caster, KPI, Camber, Toe geometry.Measured[geometry.Angle]
}

// CamberAt returns the camber to look for at a steer angle: with A = tan τ sin δ
// − tan σ cos δ it is γ = atan A − asin(K/√(1 + A²)).
func (k Kingpin) CamberAt(steer geometry.Measured[geometry.Angle]) geometry.Measured[geometry.Angle] {
	return carry[geometry.Angle](camberAt, bare(steer), bare(k.Caster), bare(k.KPI), bare(k.Camber), bare(k.Toe))
}

// camberAt takes steer, caster, KPI, static camber and toe.
func camberAt(x []float64) float64 {
	tau, sig := math.Tan(x[1]), math.Tan(x[2])
	along := func(d float64) float64 {
		s, c := math.Sincos(d)
		return float64(tau*s) - float64(sig*c)
	}
	sg, cg := math.Sincos(x[3])
	konst := float64(cg*along(-x[4])) - sg
	a := along(x[0])
	return math.Atan(a) - math.Asin(math.Max(-1, math.Min(1, konst/math.Sqrt(1+float64(a*a)))))
}

func (k Kingpin) at(steer float64) float64 {
	return camberAt([]float64{steer, float64(k.Caster.Value), float64(k.KPI.Value), float64(k.Camber.Value), float64(k.Toe.Value)})
}

// SweepErrors says how much of an error in a sweep's readings arrives in its
// result, as a ratio: degrees of caster (or KPI) for a degree of error.
type SweepErrors struct {
	Sweep   float64 // the wheel turned further to both sides than was read
	Zero    float64 // straight ahead was not where it was thought: the wheel stood further outboard both times
	Reading float64 // camber readings that scatter, each by one unit
	KPI     float64 // the kingpin inclination that CasterFromTwo was given is too large
	KPIOut  float64 // on the KPI that CasterFromThree finds: three camber readings that scatter, at −half, 0, half
}

// SweepErrors returns the error ratios of an exact sweep by half to either
// side. Near 15° of caster, 10° of KPI and 20° either way a degree of error in
// the angle swept makes 0.7° of caster, the largest error of all.
func (k Kingpin) SweepErrors(half geometry.Angle) (SweepErrors, error) {
	if half < leastSweep/2 || half > maxLean {
		return SweepErrors{}, fmt.Errorf("a sweep of %v to either side is not between %v and %v", half, leastSweep/2, maxLean)
	}
	a, sig := float64(half), float64(k.KPI.Value)
	const h = 1e-4
	slope := func(f func(e float64) float64) float64 { return (f(h) - f(-h)) / (2 * h) }
	found := func(out, in, kpi float64) float64 { return casterFromTwo([]float64{a, out, -a, in, kpi}) }
	camber := func(d float64) float64 { return k.at(d) }
	scatter := func(f func(i int, e float64) float64, n int) float64 {
		sq := 0.
		for i := range n {
			s := slope(func(e float64) float64 { return f(i, e) })
			sq += float64(s * s)
		}
		return math.Sqrt(sq)
	}
	pick := func(want, i int, e float64) float64 {
		if want == i {
			return e
		}
		return 0
	}
	return SweepErrors{
		Sweep: slope(func(e float64) float64 { return found(camber(a+e), camber(-a-e), sig) }),
		Zero:  slope(func(e float64) float64 { return found(camber(a+e), camber(-a+e), sig) }),
		KPI:   slope(func(e float64) float64 { return found(camber(a), camber(-a), sig+e) }),
		Reading: scatter(func(i int, e float64) float64 {
			return found(camber(a)+pick(0, i, e), camber(-a)+pick(1, i, e), sig)
		}, 2),
		KPIOut: scatter(func(i int, e float64) float64 {
			_, s := axisFromThree([]float64{-a, camber(-a) + pick(0, i, e), 0, camber(0) + pick(1, i, e), a, camber(a) + pick(2, i, e)})
			return s
		}, 3),
	}, nil
}
