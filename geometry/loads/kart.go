package loads

import (
	"fmt"
	"math"

	"kartwright/geometry"
)

// Mass is in kg.
type Mass float64

// Force is in N.
type Force float64

// Rate is the stiffness of a spring in N/mm.
type Rate float64

// Torque is in N·m.
type Torque float64

// Torsion is the stiffness of a frame against twist, in N·m per degree. It
// means little without the way it was measured: published values of kart
// frames lie between 140 and 3500.
type Torsion float64

// Accel is an acceleration in multiples of G.
type Accel float64

// G is the gravity, in m/s², that weights are computed with. (Standard gravity
// is 9.80665; the published figures here use 9.81.)
const G = 9.81

// Weight returns the force with which m presses on a scale.
func Weight(m Mass) Force { return Force(m) * G }

// Wheel names one of the four wheels as the driver sits.
type Wheel uint8

// The four wheels in the order in which they are listed.
const (
	FrontLeft Wheel = iota
	FrontRight
	RearLeft
	RearRight
)

// Wheels are all four in order, to range over.
var Wheels = [4]Wheel{FrontLeft, FrontRight, RearLeft, RearRight}

func (w Wheel) String() string {
	return [...]string{"front left", "front right", "rear left", "rear right"}[w]
}

// End is one end of the kart.
type End uint8

// The two ends.
const (
	Front End = iota
	Rear
)

func (e End) String() string { return [...]string{"front", "rear"}[e] }

// End returns which axle the wheel is on.
func (w Wheel) End() End { return End(w / 2) }

// InnerRear returns the rear wheel on the inside of a turn in the direction
// given, + = left.
func InnerRear(column geometry.Angle) Wheel {
	if column < 0 {
		return RearRight
	}
	return RearLeft
}

// Seated is the driver: how much, and where the driver's own centre of gravity
// is. It is part of Kart.Mass already.
type Seated struct {
	Mass   Mass
	Behind geometry.Length // behind the front axle
	Left   geometry.Length // of the centre line
	Height geometry.Length // above the ground
}

// Kart is all that the wheel loads depend on, apart from the front end's
// geometry. Arrays are by End or by Wheel.
//
// A frame's give may be stated as Frame rates at the corners or as Torsion;
// whoever states both has counted it twice unless they were measured apart.
type Kart struct {
	Mass      Mass            // with driver, > 0
	Wheelbase geometry.Length // > 0
	CGBehind  geometry.Length // centre of gravity behind the front axle, between 0 and Wheelbase
	CGLeft    geometry.Length // left of the centre line
	CGHeight  geometry.Length // above the ground, ≥ 0
	Track     [2]geometry.Length
	Tyre      [2]Rate // vertical, of one tyre, > 0 and finite
	Frame     [2]Rate // of the frame at one wheel, in series with the tyre; > 0, +Inf is rigid
	Torsion   Torsion // between the axles; > 0, +Inf is rigid

	// Uneven is how much further down each wheel's contact point reaches with
	// the steering straight ahead than on a flat and even kart. Only the part
	// that twists the kart changes the loads.
	Uneven [4]geometry.Length

	// PneumaticTrail is how far behind the middle of its contact the sideways
	// force on a front tyre acts. Zero leaves the tyre's own aligning moment
	// out of the steering effort.
	PneumaticTrail geometry.Length

	Driver Seated // only for changes of the driver or the seat
}

// Source says where a value of Published comes from.
type Source struct {
	Field string // of Kart
	Value string // with its unit
	Text  string
}

// LotDalBianco is the work that most of Published is from.
const LotDalBianco = "R. Lot and N. Dal Bianco, Lap time optimisation of a racing go-kart, Vehicle System Dynamics 54(2), 2016, as transcribed in an open implementation of its model"

// PublishedJacking is the jacking coefficient of the same work: how far a
// front wheel is pushed down (inner) or pulled up (outer), in mm per radian of
// steer. See Linear.
const PublishedJacking geometry.Length = 58

// Published returns a racing kart to assume where nothing is known, and where
// each number is from.
func Published() (Kart, []Source) {
	k := Kart{
		Mass: 165, Wheelbase: 1045, CGBehind: 645, CGHeight: 250,
		Track: [2]geometry.Length{1055, 1200},
		Tyre:  [2]Rate{64.5, 61.3}, Frame: [2]Rate{17.7, 60}, Torsion: Torsion(math.Inf(1)),
		Driver: Seated{Mass: 75, Behind: 600, Height: 330},
	}
	const assumed = "assumed, common practice: no published value"
	return k, []Source{
		{"Mass", "165 kg", LotDalBianco},
		{"Wheelbase", "1045 mm", LotDalBianco},
		{"CGBehind", "645 mm", LotDalBianco},
		{"CGLeft", "0 mm", LotDalBianco + " (its model is symmetric)"},
		{"CGHeight", "250 mm", LotDalBianco},
		{"Track", "1055 mm front, 1200 mm rear", LotDalBianco},
		{"Tyre", "64.5 N/mm front, 61.3 N/mm rear", LotDalBianco},
		{"Frame", "17.7 N/mm front, 60 N/mm rear", LotDalBianco},
		{"Torsion", "rigid", LotDalBianco + " (its model puts the frame's give at the corners: together 140 N·m/deg)"},
		{"PneumaticTrail", "0 mm", "left out"},
		{"Driver", "75 kg, 600 mm behind the front axle, 330 mm above the ground", assumed},
	}
}

// Check reports the first field that makes no sense, and what was expected.
// Every method that solves calls it.
func (k *Kart) Check() error {
	bad := func(field string, v float64, unit, want string) error {
		return fmt.Errorf("%s is %g %s, want %s", field, v, unit, want)
	}
	positive := func(v float64) bool { return v > 0 && !math.IsInf(v, 1) }
	finite := func(v float64) bool { return math.Abs(v) <= math.MaxFloat64 }
	switch {
	case !positive(float64(k.Mass)):
		return bad("the mass", float64(k.Mass), "kg", "more than 0")
	case !positive(float64(k.Wheelbase)):
		return bad("the wheelbase", float64(k.Wheelbase), "mm", "more than 0")
	case !(k.CGBehind > 0 && k.CGBehind < k.Wheelbase):
		return bad("the centre of gravity's distance behind the front axle", float64(k.CGBehind), "mm", fmt.Sprintf("between 0 and the wheelbase, %g mm", float64(k.Wheelbase)))
	case !finite(float64(k.CGLeft)):
		return bad("the centre of gravity's distance left of the centre line", float64(k.CGLeft), "mm", "a number")
	case !(k.CGHeight >= 0 && finite(float64(k.CGHeight))):
		return bad("the centre of gravity's height", float64(k.CGHeight), "mm", "0 or more")
	case !(k.Torsion > 0):
		return bad("the frame's torsion stiffness", float64(k.Torsion), "N·m/deg", "more than 0")
	case !finite(float64(k.PneumaticTrail)):
		return bad("the pneumatic trail", float64(k.PneumaticTrail), "mm", "a number")
	}
	for e := Front; e <= Rear; e++ {
		switch {
		case !positive(float64(k.Track[e])):
			return bad("the "+e.String()+" track", float64(k.Track[e]), "mm", "more than 0")
		case !positive(float64(k.Tyre[e])):
			return bad("the "+e.String()+" tyres' rate", float64(k.Tyre[e]), "N/mm", "more than 0")
		case !(k.Frame[e] > 0):
			return bad("the frame's rate at the "+e.String()+" wheels", float64(k.Frame[e]), "N/mm", "more than 0")
		}
	}
	for _, w := range Wheels {
		if !finite(float64(k.Uneven[w])) {
			return bad("the height error of the "+w.String()+" wheel", float64(k.Uneven[w]), "mm", "a number")
		}
	}
	return nil
}

// Corner returns the rate of one corner at an end: tyre and frame in series.
func (k *Kart) Corner(e End) Rate { return 1 / (1/k.Tyre[e] + 1/k.Frame[e]) }

// Static returns how much of the weight each end carries.
func (k *Kart) Static() [2]Force {
	w := Weight(k.Mass)
	rear := w * Force(k.CGBehind/k.Wheelbase)
	return [2]Force{w - rear, rear}
}

// RollStiffness returns the moment with which an axle resists roll, N·m per
// degree: k·t²/2.
func (k *Kart) RollStiffness(e End) Torsion {
	t := float64(k.Track[e])
	return Torsion(float64(k.Corner(e)) * t * t / 2 * perDegree)
}

// FrameTorsion returns the stiffness of the frame alone, however it is stated:
// the rates at the corners and the torsion spring in series.
func (k *Kart) FrameTorsion() Torsion {
	give := 1 / float64(k.Torsion)
	for e := Front; e <= Rear; e++ {
		t := float64(k.Track[e])
		give += 1 / (float64(k.Frame[e]) * t * t / 2 * perDegree)
	}
	return Torsion(1 / give)
}

// WarpStiffness returns the stiffness of frame and tyres together against
// twist, as the ground feels it.
func (k *Kart) WarpStiffness() Torsion {
	return 1 / (1/k.Torsion + 1/k.RollStiffness(Front) + 1/k.RollStiffness(Rear))
}

// perDegree turns N·mm/rad into N·m/deg.
const perDegree = math.Pi / 180 / 1000

// StiffenFrame returns the kart with every stiffness of its frame multiplied
// by factor. A rigid one stays rigid.
func (k Kart) StiffenFrame(factor float64) Kart {
	k.Frame[Front] *= Rate(factor)
	k.Frame[Rear] *= Rate(factor)
	k.Torsion *= Torsion(factor)
	return k
}

// AddMass returns the kart with m more at a place given as for Seated. A
// negative m takes mass away.
func (k Kart) AddMass(at Seated) Kart {
	total := k.Mass + at.Mass
	share := float64(at.Mass / total)
	k.CGBehind += geometry.Length(share * float64(at.Behind-k.CGBehind))
	k.CGLeft += geometry.Length(share * float64(at.Left-k.CGLeft))
	k.CGHeight += geometry.Length(share * float64(at.Height-k.CGHeight))
	k.Mass = total
	return k
}

// DriverHeavier returns the kart with a driver who weighs m more.
func (k Kart) DriverHeavier(m Mass) Kart {
	at := k.Driver
	at.Mass = m
	k = k.AddMass(at)
	k.Driver.Mass += m
	return k
}

// MoveSeat returns the kart with its driver moved back, to the left and up.
func (k Kart) MoveSeat(back, left, up geometry.Length) Kart {
	share := geometry.Length(k.Driver.Mass / k.Mass)
	k.CGBehind += share * back
	k.CGLeft += share * left
	k.CGHeight += share * up
	k.Driver.Behind += back
	k.Driver.Left += left
	k.Driver.Height += up
	return k
}

// WithCornerWeights returns the kart that puts the loads given, by Wheel, on
// four level scales with the driver seated and the steering straight ahead.
// They replace its mass, where its centre of gravity is seen from above, and
// its height errors: all of the unevenness is put on the front left wheel,
// which makes no difference to any load. Every load must be more than 0: how
// far a lifted wheel is from its scale cannot be read from the scales.
func (k Kart) WithCornerWeights(scale [4]Force) (Kart, error) {
	var sum, rear, moment float64
	for _, w := range Wheels {
		f := float64(scale[w])
		if !(f > 0) || math.IsInf(f, 1) {
			return Kart{}, fmt.Errorf("the %v wheel's scale shows %g N, want more than 0", w, f)
		}
		sum += f
		half := float64(k.Track[w.End()]) / 2
		if w.End() == Rear {
			rear += f
		}
		if w == FrontRight || w == RearRight {
			half = -half
		}
		moment += float64(f * half)
	}
	k.Mass = Mass(sum / G)
	k.CGBehind = geometry.Length(rear / sum * float64(k.Wheelbase))
	k.CGLeft = geometry.Length(moment / sum)
	k.Uneven = [4]geometry.Length{}
	if err := k.Check(); err != nil {
		return Kart{}, err
	}
	var p problem
	if err := p.pose(&k, Motion{}, &[2]Contact{}); err != nil {
		return Kart{}, err
	}
	var f [4]float64
	for w := range f {
		f[w] = float64(scale[w])
	}
	k.Uneven[FrontLeft] = geometry.Length(p.misfit(&f) / p.n[FrontLeft])
	return k, nil
}
