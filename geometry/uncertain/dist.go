package uncertain

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat/distuv"
)

// A Dist is what is known of one input: where it is and how well.
type Dist interface {
	// Estimate is the best value.
	Estimate() float64
	// U is the standard uncertainty that the GUM gives it.
	U() float64
	// Draw returns one possible value.
	Draw(*rand.Rand) float64
}

// Normal is a value with a standard uncertainty (JCGM 101, 6.4.7). SD 0 is an
// exactly known value.
type Normal struct{ Mean, SD float64 }

// Estimate returns the mean.
func (d Normal) Estimate() float64 { return d.Mean }

// U returns the standard deviation.
func (d Normal) U() float64 { return d.SD }

// Draw returns a normal deviate.
func (d Normal) Draw(r *rand.Rand) float64 { return d.Mean + float64(d.SD*r.NormFloat64()) }

// StudentT is the mean of a few repeated readings: Scale is their standard
// deviation over √n, DoF is n − 1 (JCGM 101, 6.4.9). Its U is Scale, as the
// GUM has it, although the distribution is wider: its standard deviation is
// Scale·√(ν/(ν−2)).
type StudentT struct{ Mean, Scale, DoF float64 }

// Estimate returns the mean.
func (d StudentT) Estimate() float64 { return d.Mean }

// U returns the scale.
func (d StudentT) U() float64 { return d.Scale }

// Draw returns a t deviate by the polar method (R. W. Bailey, Mathematics of
// Computation 62, 1994; from memory).
func (d StudentT) Draw(r *rand.Rand) float64 {
	for {
		u, v := 2*r.Float64()-1, 2*r.Float64()-1
		w := float64(u*u) + float64(v*v)
		if w > 1 || w == 0 {
			continue
		}
		t := u * math.Sqrt(d.DoF*(math.Pow(w, -2/d.DoF)-1)/w)
		return d.Mean + float64(d.Scale*t)
	}
}

// Rectangular is a value that lies anywhere within Mid ± Half, all equally
// likely (JCGM 101, 6.4.2): a scale read to its last division.
type Rectangular struct{ Mid, Half float64 }

// Estimate returns the middle.
func (d Rectangular) Estimate() float64 { return d.Mid }

// U returns Half/√3.
func (d Rectangular) U() float64 { return d.Half / math.Sqrt(3) }

// Draw returns a rectangular deviate.
func (d Rectangular) Draw(r *rand.Rand) float64 { return d.Mid + float64(d.Half*(2*r.Float64()-1)) }

// Triangular is a value within Mid ± Half, the middle likeliest (JCGM 101,
// 6.4.5): the difference of two equal scales.
type Triangular struct{ Mid, Half float64 }

// Estimate returns the middle.
func (d Triangular) Estimate() float64 { return d.Mid }

// U returns Half/√6.
func (d Triangular) U() float64 { return d.Half / math.Sqrt(6) }

// Draw returns a triangular deviate.
func (d Triangular) Draw(r *rand.Rand) float64 {
	return d.Mid + float64(d.Half*(r.Float64()-r.Float64()))
}

// Arcsine is a value that swings within Mid ± Half like a pendulum seen at a
// random moment (JCGM 101, 6.4.6).
type Arcsine struct{ Mid, Half float64 }

// Estimate returns the middle.
func (d Arcsine) Estimate() float64 { return d.Mid }

// U returns Half/√2.
func (d Arcsine) U() float64 { return d.Half / math.Sqrt2 }

// Draw returns an arcsine deviate.
func (d Arcsine) Draw(r *rand.Rand) float64 {
	return d.Mid + float64(d.Half*math.Sin(2*math.Pi*r.Float64()))
}

// CurvilinearTrapezoid is a Rectangular whose limits are known only to
// ± Doubt (JCGM 101, 6.4.3): "about ± half a degree".
type CurvilinearTrapezoid struct{ Mid, Half, Doubt float64 }

// Estimate returns the middle.
func (d CurvilinearTrapezoid) Estimate() float64 { return d.Mid }

// U returns √(Half²/3 + Doubt²/9).
func (d CurvilinearTrapezoid) U() float64 {
	return math.Sqrt(float64(d.Half*d.Half)/3 + float64(d.Doubt*d.Doubt)/9)
}

// Draw returns a deviate.
func (d CurvilinearTrapezoid) Draw(r *rand.Rand) float64 {
	half := d.Half + float64(d.Doubt*(2*r.Float64()-1))
	return d.Mid + float64(half*(2*r.Float64()-1))
}

// Coverage returns the factor k for which a normal or, with a finite number of
// degrees of freedom, a t-distributed error stays within ± k standard
// uncertainties with probability p, 0 < p < 1 (GUM, table G.2). Degrees of
// freedom are cut to a whole number, at least 1, as GUM G.4.1 says.
func Coverage(p, dof float64) float64 {
	q := (1 + p) / 2
	if math.IsInf(dof, 1) || dof > 1e8 {
		return distuv.UnitNormal.Quantile(q)
	}
	return distuv.StudentsT{Sigma: 1, Nu: math.Max(1, math.Floor(dof))}.Quantile(q)
}
