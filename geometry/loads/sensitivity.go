package loads

import (
	"fmt"
	"math"

	"kartwright/geometry"
	"kartwright/geometry/frontend"
)

// Quantity is something that a setup determines, in a unit of its own.
type Quantity func(*Setup) (float64, error)

// LoadOn is the load on a wheel in N.
func LoadOn(w Wheel, column geometry.Angle, m Motion) Quantity {
	return at(column, m, func(_ *Kart, st *State) float64 { return float64(st.Load[w]) })
}

// LiftOf is how high a wheel is off the ground, in mm.
func LiftOf(w Wheel, column geometry.Angle, m Motion) Quantity {
	return at(column, m, func(_ *Kart, st *State) float64 { return float64(st.Lift[w]) })
}

// CrossWeightOf is the part of the weight on a diagonal.
func CrossWeightOf(d Diagonal, column geometry.Angle, m Motion) Quantity {
	return at(column, m, func(_ *Kart, st *State) float64 { return st.CrossWeight(d) })
}

// EffortAt is the steering effort in N·m.
func EffortAt(column geometry.Angle, m Motion) Quantity {
	return at(column, m, func(k *Kart, st *State) float64 { return float64(k.Effort(st)) })
}

func at(column geometry.Angle, m Motion, of func(*Kart, *State) float64) Quantity {
	return func(s *Setup) (float64, error) {
		st, err := s.At(column, m)
		if err != nil {
			return 0, err
		}
		return of(&s.Kart, &st), nil
	}
}

// LiftingColumn is the column angle at which a wheel lifts, in radians; see
// Setup.LiftColumn.
func LiftingColumn(w Wheel, m Motion, until geometry.Angle) Quantity {
	return func(s *Setup) (float64, error) {
		st, err := s.LiftColumn(w, m, until)
		return float64(st.Column), err
	}
}

// LiftingAy is the lateral acceleration at which a wheel lifts, in g; see
// Setup.LiftAy.
func LiftingAy(w Wheel, column geometry.Angle, ax, until Accel) Quantity {
	return func(s *Setup) (float64, error) {
		st, err := s.LiftAy(w, column, ax, until)
		return float64(st.Motion.Ay), err
	}
}

// Knob is something about a setup that can be a little different.
type Knob struct {
	Name string
	Unit string  // of the change: rad, mm, kg or N·m/deg
	Step float64 // what to change by for a derivative
	// Turned returns the setup with the thing greater by d, and nothing else
	// changed.
	Turned func(d float64) (Setup, error)
}

// Sensitivity returns how much q changes per unit of the knob: the central
// difference over its step either way.
func Sensitivity(q Quantity, k Knob) (float64, error) {
	var v [2]float64
	for i, d := range [2]float64{-k.Step, k.Step} {
		s, err := k.Turned(d)
		if err == nil {
			v[i], err = q(&s)
		}
		if err != nil {
			return math.NaN(), fmt.Errorf("with %s changed by %g %s: %w", k.Name, d, k.Unit, err)
		}
	}
	return (v[1] - v[0]) / (2 * k.Step), nil
}

// KartKnobs are the things about a setup that its front end does not depend
// on: ride height (both axles alike), rear track, frame stiffness, driver's
// weight, seat back and seat up.
func KartKnobs(s Setup) []Knob {
	knob := func(name, unit string, step float64, turn func(k Kart, d float64) Kart) Knob {
		return Knob{name, unit, step, func(d float64) (Setup, error) {
			return Setup{turn(s.Kart, d), s.Front}, nil
		}}
	}
	return []Knob{
		knob("ride height", "mm", 1, func(k Kart, d float64) Kart { k.CGHeight += geometry.Length(d); return k }),
		knob("rear track", "mm", 1, func(k Kart, d float64) Kart { k.Track[Rear] += geometry.Length(d); return k }),
		knob("frame stiffness", "N·m/deg", 1, func(k Kart, d float64) Kart {
			now := float64(k.FrameTorsion())
			if math.IsInf(now, 1) {
				return k // a rigid frame cannot be a little stiffer
			}
			return k.StiffenFrame((now + d) / now)
		}),
		knob("driver's weight", "kg", 0.5, func(k Kart, d float64) Kart { return k.DriverHeavier(Mass(d)) }),
		knob("seat back", "mm", 1, func(k Kart, d float64) Kart { return k.MoveSeat(geometry.Length(d), 0, 0) }),
		knob("seat up", "mm", 1, func(k Kart, d float64) Kart { return k.MoveSeat(0, 0, geometry.Length(d)) }),
	}
}

// FrontKnobs are the front end's figures, changed on both sides alike with
// every other figure held: caster, KPI, camber, toe, front track (by the
// length of the stub axles, half on each side) and front ride height (which
// leans the kingpins back as well as raising the centre of gravity). of gives
// the axle with its dimensions changed by edit, and its shifts; contact points
// stay measured from where they are with no change.
func FrontKnobs(k Kart, of func(edit func(*frontend.Dimensions)) (*frontend.Axle, [2]frontend.Shift, error)) ([]Knob, error) {
	a, shift, err := of(func(*frontend.Dimensions) {})
	if err != nil {
		return nil, err
	}
	zero, err := Straight(a, shift)
	if err != nil {
		return nil, err
	}
	const minute = float64(geometry.Minute)
	knob := func(name, unit string, step float64, edit func(d *frontend.Dimensions, by float64), turn func(k Kart, by float64) Kart) Knob {
		return Knob{name, unit, step, func(by float64) (Setup, error) {
			a, shift, err := of(func(d *frontend.Dimensions) { edit(d, by) })
			if err != nil {
				return Setup{}, err
			}
			return Setup{turn(k, by), Kinematics(a, shift, zero)}, nil
		}}
	}
	same := func(k Kart, _ float64) Kart { return k }
	lean := func(by float64) geometry.Angle { return geometry.Angle(math.Atan(by / float64(k.Wheelbase))) }
	return []Knob{
		knob("caster", "rad", 3*minute, func(d *frontend.Dimensions, by float64) { d.Caster += geometry.Angle(by) }, same),
		knob("KPI", "rad", 3*minute, func(d *frontend.Dimensions, by float64) { d.KPI += geometry.Angle(by) }, same),
		knob("camber", "rad", 3*minute, func(d *frontend.Dimensions, by float64) { d.Camber += geometry.Angle(by) }, same),
		knob("toe", "rad", 3*minute, func(d *frontend.Dimensions, by float64) { d.Toe += geometry.Angle(by) }, same),
		knob("front track", "mm", 1, func(d *frontend.Dimensions, by float64) { d.StubLength += geometry.Length(by / 2) }, same),
		knob("front ride height", "mm", 1, func(d *frontend.Dimensions, by float64) { d.Caster += lean(by) }, func(k Kart, by float64) Kart {
			k.CGHeight += geometry.Length(by) * (1 - k.CGBehind/k.Wheelbase)
			return k
		}),
	}, nil
}
