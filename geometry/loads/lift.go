package loads

import (
	"errors"
	"math"

	"kartwright/geometry"
)

// Setup is a kart with its front end.
type Setup struct {
	Kart  Kart
	Front FrontEnd
}

// State is a setup at one column angle in one motion.
type State struct {
	Column  geometry.Angle
	Motion  Motion
	Contact [2]Contact
	Loads
}

// At returns the setup at one column angle.
func (s *Setup) At(column geometry.Angle, m Motion) (State, error) {
	c, err := s.Front(column)
	if err != nil {
		return State{}, err
	}
	l, err := s.Kart.Solve(m, &c)
	return State{Column: column, Motion: m, Contact: c, Loads: l}, err
}

// Sweep returns the setup at each column angle.
func (s *Setup) Sweep(columns []geometry.Angle, m Motion) ([]State, error) {
	out := make([]State, len(columns))
	for i, phi := range columns {
		var err error
		if out[i], err = s.At(phi, m); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// ErrStays reports that a wheel does not lift in the range searched.
var ErrStays = errors.New("the wheel stays on the ground")

// LiftColumn returns the setup at the smallest column angle between 0 and
// until (negative for a right turn) at which wheel w is about to lift in the
// motion m. The error is ErrStays if it does not.
func (s *Setup) LiftColumn(w Wheel, m Motion, until geometry.Angle) (State, error) {
	return s.lifts(w, float64(until), func(phi float64) (State, error) { return s.At(geometry.Angle(phi), m) })
}

// LiftAy returns the setup at the smallest lateral acceleration between 0 and
// until (negative for a right turn) at which wheel w is about to lift with the
// column at the angle given. The error is ErrStays if it does not.
func (s *Setup) LiftAy(w Wheel, column geometry.Angle, ax, until Accel) (State, error) {
	return s.lifts(w, float64(until), func(ay float64) (State, error) { return s.At(column, Motion{Ax: ax, Ay: Accel(ay)}) })
}

// FirstOff returns the wheel that lifts at the smallest column angle between 0
// and until, and the setup there. The error is ErrStays if none does. If one
// is off at 0 already, it is that one.
func (s *Setup) FirstOff(m Motion, until geometry.Angle) (Wheel, State, error) {
	return first(func(w Wheel) (State, float64, error) {
		st, err := s.LiftColumn(w, m, until)
		return st, math.Abs(float64(st.Column)), err
	})
}

// FirstOffAy is FirstOff for a growing lateral acceleration at one column
// angle.
func (s *Setup) FirstOffAy(column geometry.Angle, ax, until Accel) (Wheel, State, error) {
	return first(func(w Wheel) (State, float64, error) {
		st, err := s.LiftAy(w, column, ax, until)
		return st, math.Abs(float64(st.Motion.Ay)), err
	})
}

func first(lift func(Wheel) (State, float64, error)) (which Wheel, at State, err error) {
	nearest := math.Inf(1)
	for _, w := range Wheels {
		st, x, err := lift(w)
		switch {
		case errors.Is(err, ErrStays):
		case err != nil:
			return 0, State{}, err
		case x < nearest:
			which, at, nearest = w, st, x
		}
	}
	if math.IsInf(nearest, 1) {
		return 0, State{}, ErrStays
	}
	return which, at, nil
}

// lifts finds the smallest x between 0 and until at which w is about to lift:
// first by steps, so that a wheel that lifts and comes down again is not
// missed, then by bracketing the exact solution.
func (s *Setup) lifts(w Wheel, until float64, at func(x float64) (State, error)) (State, error) {
	const steps = 64
	// The wheel's load, or what it would take to press it down, negative:
	// crosses zero at lift-off without a kink.
	track := float64(s.Kart.Track[w.End()])
	press := float64(s.Kart.WarpStiffness()) / perDegree / (track * track) // N/mm
	margin := func(st *State) float64 {
		if st.Off(w) {
			return -press * float64(st.Lift[w])
		}
		return float64(st.Load[w])
	}
	st, err := at(0)
	if err != nil {
		return State{}, err
	}
	if margin(&st) <= 0 {
		return st, nil
	}
	lo, fl := 0., margin(&st)
	hi, fh := 0., 0.
	for i := 1; ; i++ {
		if i > steps {
			return State{}, ErrStays
		}
		hi = until * float64(i) / steps
		st, err = at(hi)
		if tips(err) {
			// Nothing stands beyond: look only as far as it does.
			if st, hi, err = lastStanding(lo, hi, at); err != nil {
				return State{}, err
			}
			i = steps
		}
		if err != nil {
			return State{}, err
		}
		if fh = margin(&st); fh <= 0 {
			break
		}
		lo, fl = hi, fh
	}
	// Illinois: regula falsi that halves the value of an end that stays.
	for kept := 0; math.Abs(hi-lo) > 1e-14*math.Abs(until); {
		x := hi - fh*(hi-lo)/(fh-fl)
		if !(math.Min(lo, hi) < x && x < math.Max(lo, hi)) {
			x = lo + (hi-lo)/2
			if x == lo || x == hi {
				break
			}
		}
		if st, err = at(x); err != nil {
			return State{}, err
		}
		switch f := margin(&st); {
		case math.Abs(f) < 1e-11:
			return st, nil
		case f > 0:
			lo, fl = x, f
			if kept > 0 {
				fh /= 2
			}
			kept = 1
		default:
			hi, fh = x, f
			if kept < 0 {
				fl /= 2
			}
			kept = -1
		}
	}
	return at(hi)
}

func tips(err error) bool {
	if err == nil {
		return false // before tip, which lives on the heap
	}
	var tip *TipError
	return errors.As(err, &tip)
}

// lastStanding returns the largest x between lo, where the kart stands, and
// hi, where it tips, at which it still stands.
func lastStanding(lo, hi float64, at func(x float64) (State, error)) (State, float64, error) {
	for range 60 {
		mid := lo + (hi-lo)/2
		switch _, err := at(mid); {
		case tips(err):
			hi = mid
		case err != nil:
			return State{}, 0, err
		default:
			lo = mid
		}
	}
	st, err := at(lo)
	return st, lo, err
}
