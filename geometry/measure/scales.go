package measure

import (
	"errors"
	"fmt"

	"kartwright/geometry"
)

// Mass is a mass in kilograms, as scales show it.
type Mass float64

// Scales are four scales under the wheels, kart at rest, driver as stated by
// whoever weighs.
type Scales struct {
	LeftFront, RightFront, LeftRear, RightRear geometry.Measured[Mass]
}

// Weights are what four scales tell. Shares are fractions of the total.
type Weights struct {
	Total geometry.Measured[Mass]
	Front geometry.Measured[float64] // both front wheels
	Left  geometry.Measured[float64] // both left wheels
	Cross geometry.Measured[float64] // the diagonal that CrossDiagonal names
}

// CrossDiagonal names the two wheels that Weights.Cross adds.
const CrossDiagonal = "right front + left rear"

// Weights returns the total and the shares.
func (s Scales) Weights() (Weights, error) {
	in := make([]number, 4)
	for i, w := range []struct {
		name string
		geometry.Measured[Mass]
	}{{"left front", s.LeftFront}, {"right front", s.RightFront}, {"left rear", s.LeftRear}, {"right rear", s.RightRear}} {
		if err := sane("the "+w.name+" scale", w.Measured); err != nil {
			return Weights{}, err
		}
		if w.Value < 0 {
			return Weights{}, fmt.Errorf("the %s scale shows %g kg: zero it without the kart", w.name, float64(w.Value))
		}
		in[i] = bare(w.Measured)
	}
	total := func(x []float64) float64 { return x[0] + x[1] + x[2] + x[3] }
	if in[0].Value+in[1].Value+in[2].Value+in[3].Value <= 0 {
		return Weights{}, errors.New("all four scales show nothing")
	}
	share := func(a, b int) geometry.Measured[float64] {
		return carry[float64](func(x []float64) float64 { return (x[a] + x[b]) / total(x) }, in...)
	}
	return Weights{Total: carry[Mass](total, in...), Front: share(0, 1), Left: share(0, 2), Cross: share(1, 2)}, nil
}

// Scales returns what each scale shows for wanted weights: left front is
// (front + left − cross)/2 of the total, and the others follow.
func (w Weights) Scales() (Scales, error) {
	if err := errors.Join(sane("the total", w.Total), sane("the front share", w.Front), sane("the left share", w.Left), sane("the cross weight", w.Cross)); err != nil {
		return Scales{}, err
	}
	in := []number{bare(w.Total), bare(w.Front), bare(w.Left), bare(w.Cross)}
	// In halves of the total: front, left and cross with their signs.
	wheel := func(one, f, l, c float64) geometry.Measured[Mass] {
		return carry[Mass](func(x []float64) float64 {
			return x[0] / 2 * (one + float64(f*x[1]) + float64(l*x[2]) + float64(c*x[3]))
		}, in...)
	}
	s := Scales{LeftFront: wheel(0, 1, 1, -1), RightFront: wheel(0, 1, -1, 1), LeftRear: wheel(0, -1, 1, 1), RightRear: wheel(2, -1, -1, -1)}
	for _, m := range []geometry.Measured[Mass]{s.LeftFront, s.RightFront, s.LeftRear, s.RightRear} {
		if m.Value < 0 {
			return Scales{}, fmt.Errorf("a front share of %.1f %%, a left share of %.1f %% and a cross weight of %.1f %% would leave a wheel with less than nothing",
				100*w.Front.Value, 100*w.Left.Value, 100*w.Cross.Value)
		}
	}
	return s, nil
}
