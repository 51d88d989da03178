package loads_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"kartwright/geometry"
	"kartwright/geometry/loads"
)

// points returns where the wheels touch and how far down each reaches.
func points(k *loads.Kart, c *[2]loads.Contact) (x, y, down [4]float64) {
	for w := range x {
		down[w] = float64(k.Uneven[w])
		y[w] = float64(k.Track[w/2]) / 2
		x[w] = -float64(k.Wheelbase)
		if w < 2 {
			x[w] = float64(c[w].Ahead)
			y[w] += float64(c[w].Out)
			down[w] -= float64(c[w].Rise)
		}
		if w%2 == 1 {
			y[w] = -y[w]
		}
	}
	return x, y, down
}

// Newton's equations, Hooke's law at each corner and across the frame, and no
// wheel that pulls or hangs below the ground.
func TestEquilibriumResiduals(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k, m, c := fromRapid(t).kart(), fromRapid(t).motion(), fromRapid(t).contacts()
		l, err := k.Solve(m, &c)
		var tip *loads.TipError
		if errors.As(err, &tip) {
			if !(tip.Bears < 1) {
				t.Fatalf("%v: Bears is %g, want less than 1", err, tip.Bears)
			}
			if tip.Bears > 0 {
				f := loads.Accel(tip.Bears)
				if _, err := k.Solve(loads.Motion{Ax: m.Ax * f * 0.9999, Ay: m.Ay * f * 0.9999}, &c); err != nil {
					t.Fatalf("just inside what it bears: %v", err)
				}
				if _, err := k.Solve(loads.Motion{Ax: m.Ax * f * 1.0001, Ay: m.Ay * f * 1.0001}, &c); err == nil {
					t.Fatalf("the kart stands just outside what it bears, %g of %v", tip.Bears, m)
				}
			}
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		x, y, down := points(&k, &c)
		w := float64(loads.Weight(k.Mass))
		var up, pitch, roll float64
		for i, f := range l.Load {
			up += float64(f)
			pitch += float64(f) * x[i]
			roll += float64(f) * y[i]
		}
		small := func(what string, got, scale float64) {
			if math.Abs(got) > 1e-10*scale {
				t.Fatalf("%s is out of balance by %g", what, got)
			}
		}
		h := float64(k.CGHeight)
		small("height", up-w, w)
		small("pitch", pitch+w*(float64(k.CGBehind)+float64(m.Ax)*h), w*1000)
		small("roll", roll-w*(float64(k.CGLeft)-float64(m.Ay)*h), w*1000)
		front := float64(1 - k.CGBehind/k.Wheelbase)
		twist := float64(l.Roll[loads.Front] - l.Roll[loads.Rear])
		torque := float64(l.Load[0])*y[0] + float64(l.Load[1])*y[1] - front*w*(float64(k.CGLeft)-float64(m.Ay)*h)
		small("frame torsion", torque-twist*float64(k.Torsion)*1000*180/math.Pi, w*1000)
		for i := range x {
			wheel := loads.Wheel(i)
			level := float64(l.Heave) + float64(l.Pitch)*(x[i]+float64(k.CGBehind)) + float64(l.Roll[wheel.End()])*y[i]
			gap := level - down[i]
			if l.Load[i] < 0 || l.Lift[i] < 0 || l.Load[i] > 0 && l.Lift[i] > 0 {
				t.Fatalf("%v wheel: %g N and %g mm up", wheel, float64(l.Load[i]), float64(l.Lift[i]))
			}
			if l.Off(wheel) {
				small("height of the "+wheel.String()+" wheel", gap-float64(l.Lift[i]), 100)
			} else {
				small("spring of the "+wheel.String()+" wheel", float64(l.Load[i])+float64(k.Corner(wheel.End()))*gap, w)
			}
		}
		if sum := l.CrossWeight(loads.LeftFrontRightRear) + l.CrossWeight(loads.RightFrontLeftRear); math.Abs(sum-1) > 1e-12 {
			t.Fatalf("the two cross weights add up to %v", sum)
		}
	})
}

func mirrored(k loads.Kart, m loads.Motion, c [2]loads.Contact) (loads.Kart, loads.Motion, [2]loads.Contact) {
	k.CGLeft = -k.CGLeft
	k.Uneven[0], k.Uneven[1], k.Uneven[2], k.Uneven[3] = k.Uneven[1], k.Uneven[0], k.Uneven[3], k.Uneven[2]
	m.Ay = -m.Ay
	c[0], c[1] = c[1], c[0]
	return k, m, c
}

func TestMirror(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k, m, c := fromRapid(t).kart(), fromRapid(t).motion(), fromRapid(t).contacts()
		l, err := k.Solve(m, &c)
		k, m, c = mirrored(k, m, c)
		r, err2 := k.Solve(m, &c)
		if (err == nil) != (err2 == nil) {
			t.Fatalf("%v; mirrored: %v", err, err2)
		}
		r.Load[0], r.Load[1], r.Load[2], r.Load[3] = r.Load[1], r.Load[0], r.Load[3], r.Load[2]
		r.Lift[0], r.Lift[1], r.Lift[2], r.Lift[3] = r.Lift[1], r.Lift[0], r.Lift[3], r.Lift[2]
		r.Roll[0], r.Roll[1] = -r.Roll[0], -r.Roll[1]
		flat := func(l *loads.Loads) (v []float64) {
			for w := range l.Load {
				v = append(v, float64(l.Load[w]), float64(l.Lift[w]))
			}
			return append(v, float64(l.Heave), float64(l.Pitch), float64(l.Roll[0]), float64(l.Roll[1]))
		}
		if d := cmp.Diff(flat(&l), flat(&r), cmpopts.EquateApprox(1e-9, 1e-8)); d != "" {
			t.Fatalf("the mirrored kart differs (-as drawn +mirrored):\n%s", d)
		}
	})
}

// Loads do not jump where a wheel lifts or comes down. Nor do heights, unless
// the kart rocks over a diagonal: then two wheels carry nothing and swap the
// height that lies between them.
func TestContinuousAcrossLiftOff(t *testing.T) {
	crossed := 0
	along := func(t interface{ Fatalf(string, ...any) }, f draw) {
		k, m, c := f.kart(), f.motion(), f.contacts()
		d, to := f.contacts(), f.motion()
		at := func(s float64) (loads.Loads, error) {
			mix := func(a, b geometry.Length) geometry.Length { return a + geometry.Length(s)*(b-a) }
			var e [2]loads.Contact
			for i := range e {
				e[i] = loads.Contact{Ahead: mix(c[i].Ahead, d[i].Ahead), Out: mix(c[i].Out, d[i].Out), Rise: mix(c[i].Rise, d[i].Rise)}
			}
			f := loads.Accel(s)
			return k.Solve(loads.Motion{Ax: m.Ax + f*(to.Ax-m.Ax), Ay: m.Ay + f*(to.Ay-m.Ay)}, &e)
		}
		off := func(l *loads.Loads) (o [4]bool) {
			for i := range o {
				o[i] = l.Off(loads.Wheel(i))
			}
			return o
		}
		const steps = 40
		prev, err := at(0)
		for i := 1; i <= steps; i++ {
			hi := float64(i) / steps
			next, err2 := at(hi)
			if err == nil && err2 == nil && off(&prev) != off(&next) {
				// Narrow the change of pattern down and look at the jump.
				lo, a, b := float64(i-1)/steps, prev, next
				for range 60 {
					mid := (lo + hi) / 2
					l, err := at(mid)
					if err != nil {
						return
					}
					if off(&l) == off(&a) {
						lo, a = mid, l
					} else {
						hi, b = mid, l
					}
				}
				crossed++
				light := 0
				for w := range a.Load {
					if a.Load[w] < 1e-6 {
						light++
					}
				}
				for w := range a.Load {
					if math.Abs(float64(a.Load[w]-b.Load[w])) > 1e-6 || light < 2 && math.Abs(float64(a.Lift[w]-b.Lift[w])) > 1e-6 {
						t.Fatalf("%v wheel jumps from %g N, %g mm to %g N, %g mm", loads.Wheel(w), float64(a.Load[w]), float64(a.Lift[w]), float64(b.Load[w]), float64(b.Lift[w]))
					}
				}
			}
			prev, err = next, err2
		}
	}
	rapid.Check(t, func(t *rapid.T) { along(t, fromRapid(t)) })
	for seed := range uint64(100) {
		along(t, fromSeed(seed))
	}
	if crossed == 0 {
		t.Error("no wheel lifted or came down in any draw")
	}
}

func TestTwoWheelsOff(t *testing.T) {
	k, _ := loads.Published()
	for _, tt := range []struct {
		name string
		edit func(*loads.Kart, *loads.Motion)
		on   [2]loads.Wheel
	}{
		{"both left", func(k *loads.Kart, m *loads.Motion) {
			k.Track = [2]geometry.Length{1000, 1000}
			m.Ay = 2 // 500 mm of half track on 250 mm of height
		}, [2]loads.Wheel{loads.FrontRight, loads.RearRight}},
		{"both right", func(k *loads.Kart, m *loads.Motion) {
			k.Track = [2]geometry.Length{1000, 1000}
			m.Ay = -2
		}, [2]loads.Wheel{loads.FrontLeft, loads.RearLeft}},
		{"both rear", func(k *loads.Kart, m *loads.Motion) {
			m.Ax = -loads.Accel(k.CGBehind / k.CGHeight)
		}, [2]loads.Wheel{loads.FrontLeft, loads.FrontRight}},
		{"both front", func(k *loads.Kart, m *loads.Motion) {
			m.Ax = loads.Accel((k.Wheelbase - k.CGBehind) / k.CGHeight)
		}, [2]loads.Wheel{loads.RearLeft, loads.RearRight}},
		// The centre of gravity over the diagonal, and the other two corners short.
		{"front right and rear left", func(k *loads.Kart, m *loads.Motion) {
			k.Track = [2]geometry.Length{1000, 1000}
			k.Wheelbase, k.CGBehind, k.Uneven = 1000, 500, [4]geometry.Length{100, 0, 0, 100}
		}, [2]loads.Wheel{loads.FrontLeft, loads.RearRight}},
		{"front left and rear right", func(k *loads.Kart, m *loads.Motion) {
			k.Track = [2]geometry.Length{1000, 1000}
			k.Wheelbase, k.CGBehind, k.Uneven = 1000, 500, [4]geometry.Length{0, 100, 100, 0}
		}, [2]loads.Wheel{loads.FrontRight, loads.RearLeft}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			k := k
			var m loads.Motion
			tt.edit(&k, &m)
			l := solve(t, &k, m, [2]loads.Contact{})
			var carried float64
			for _, w := range tt.on {
				carried += float64(l.Load[w])
			}
			near(t, "what the two wheels carry", carried, float64(loads.Weight(k.Mass)), 1e-7)
			for _, w := range loads.Wheels {
				if w != tt.on[0] && w != tt.on[1] {
					near(t, w.String(), float64(l.Load[w]), 0, 1e-7)
				}
			}
		})
	}
}

func TestTips(t *testing.T) {
	k, _ := loads.Published()
	k.Track = [2]geometry.Length{1000, 1000}
	for _, tt := range []struct {
		m     loads.Motion
		edit  func(*loads.Kart)
		over  [2]loads.Wheel
		bears float64
		says  string
	}{
		{m: loads.Motion{Ay: 2.5}, over: [2]loads.Wheel{loads.FrontRight, loads.RearRight}, bears: 0.8, says: "it bears 80.0 % of these accelerations"},
		{m: loads.Motion{Ay: -2.5}, over: [2]loads.Wheel{loads.RearLeft, loads.FrontLeft}, bears: 0.8, says: "rear left and front left"},
		{m: loads.Motion{Ax: -2.58 * 2}, over: [2]loads.Wheel{loads.FrontLeft, loads.FrontRight}, bears: 0.5, says: "50.0 %"},
		{m: loads.Motion{Ax: 3.2}, over: [2]loads.Wheel{loads.RearRight, loads.RearLeft}, bears: 0.5, says: "rear right and rear left"},
		{edit: func(k *loads.Kart) { k.CGLeft = 501 }, over: [2]loads.Wheel{loads.RearLeft, loads.FrontLeft}, bears: 0, says: "even without acceleration"},
	} {
		k := k
		if tt.edit != nil {
			tt.edit(&k)
		}
		_, err := k.Solve(tt.m, &[2]loads.Contact{})
		var tip *loads.TipError
		if !errors.As(err, &tip) {
			t.Errorf("at %+v: error %v, want a *TipError", tt.m, err)
			continue
		}
		if tip.Over != tt.over || math.Abs(tip.Bears-tt.bears) > 1e-9 || !strings.Contains(err.Error(), tt.says) {
			t.Errorf("at %+v: %v (over %v, bears %g), want over %v, bears %g, %q", tt.m, err, tip.Over, tip.Bears, tt.over, tt.bears, tt.says)
		}
	}
}

func TestCheckNamesTheField(t *testing.T) {
	for want, edit := range map[string]func(*loads.Kart){
		"the mass is 0 kg, want more than 0": func(k *loads.Kart) { k.Mass = 0 },
		"the mass is NaN kg":                 func(k *loads.Kart) { k.Mass = loads.Mass(math.NaN()) },
		"the wheelbase is -1 mm":             func(k *loads.Kart) { k.Wheelbase = -1 },
		"behind the front axle is 1045 mm, want between 0 and the wheelbase, 1045 mm": func(k *loads.Kart) { k.CGBehind = 1045 },
		"the centre of gravity's height is -1 mm":                                     func(k *loads.Kart) { k.CGHeight = -1 },
		"left of the centre line is NaN mm":                                           func(k *loads.Kart) { k.CGLeft = geometry.Length(math.NaN()) },
		"the front track is 0 mm":                                                     func(k *loads.Kart) { k.Track[0] = 0 },
		"the rear tyres' rate is 0 N/mm":                                              func(k *loads.Kart) { k.Tyre[1] = 0 },
		"the front tyres' rate is +Inf N/mm":                                          func(k *loads.Kart) { k.Tyre[0] = loads.Rate(math.Inf(1)) },
		"the frame's rate at the rear wheels is -5 N/mm":                              func(k *loads.Kart) { k.Frame[1] = -5 },
		"the frame's torsion stiffness is 0 N·m/deg":                                  func(k *loads.Kart) { k.Torsion = 0 },
		"the height error of the rear left wheel is +Inf mm":                          func(k *loads.Kart) { k.Uneven[2] = geometry.Length(math.Inf(1)) },
		"the pneumatic trail is NaN mm":                                               func(k *loads.Kart) { k.PneumaticTrail = geometry.Length(math.NaN()) },
	} {
		k, _ := loads.Published()
		edit(&k)
		if _, err := k.Solve(loads.Motion{}, &[2]loads.Contact{}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("Solve: error %v, want %q", err, want)
		}
	}
	k, _ := loads.Published()
	for _, c := range [][2]loads.Contact{{{Out: -2000}}, {{Rise: geometry.Length(math.NaN())}}, {{Ahead: geometry.Length(math.NaN())}}, {{Ahead: -5000}}} {
		if l, err := k.Solve(loads.Motion{}, &c); err == nil {
			t.Errorf("Solve with contacts %+v = %v, want an error", c, l.Load)
		}
	}
	if _, err := k.Solve(loads.Motion{Ay: loads.Accel(math.NaN())}, &[2]loads.Contact{}); err == nil {
		t.Error("Solve with a lateral acceleration of NaN gives no error")
	}
}

// FuzzSolve: whatever goes in, loads carry the weight or there is an error.
func FuzzSolve(f *testing.F) {
	f.Add(165., 645., 0., 250., 1055., 1200., 13.9, 30.3, 140., 5., 20., 0., 1.5)
	f.Add(1e-300, 1., 1e300, 0., 1e-9, 1e9, 1e300, 1e-300, 1e-300, 1e300, -1e300, 1e9, -1e9)
	f.Fuzz(func(t *testing.T, mass, behind, left, height, tf, tr, kf, kr, torsion, uneven, rise, ax, ay float64) {
		k := loads.Kart{
			Mass: loads.Mass(mass), Wheelbase: 1045, CGBehind: geometry.Length(behind), CGLeft: geometry.Length(left), CGHeight: geometry.Length(height),
			Track: [2]geometry.Length{geometry.Length(tf), geometry.Length(tr)}, Tyre: [2]loads.Rate{loads.Rate(kf), loads.Rate(kr)},
			Frame:   [2]loads.Rate{loads.Rate(math.Inf(1)), loads.Rate(math.Inf(1))},
			Torsion: loads.Torsion(torsion), Uneven: [4]geometry.Length{geometry.Length(uneven)},
		}
		l, err := k.Solve(loads.Motion{Ax: loads.Accel(ax), Ay: loads.Accel(ay)}, &[2]loads.Contact{{Rise: geometry.Length(rise)}})
		if err != nil {
			return
		}
		for _, w := range loads.Wheels {
			if !(l.Load[w] >= 0) || !(l.Lift[w] >= 0) {
				t.Fatalf("%v wheel: %g N, %g mm", w, float64(l.Load[w]), float64(l.Lift[w]))
			}
		}
		weight := float64(loads.Weight(k.Mass))
		if got := float64(l.Total()); math.Abs(got-weight) > 1e-6*weight {
			t.Fatalf("the wheels carry %g N of %g N", got, weight)
		}
	})
}

func TestCornerWeightsComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := fromRapid(t).kart()
		var scale [4]loads.Force
		for w := range scale {
			scale[w] = loads.Force(rapid.Float64Range(50, 900).Draw(t, loads.Wheel(w).String()))
		}
		got, err := k.WithCornerWeights(scale)
		if err != nil {
			t.Fatal(err)
		}
		l, err := got.Solve(loads.Motion{}, &[2]loads.Contact{})
		if err != nil {
			t.Fatal(err)
		}
		for w := range scale {
			if math.Abs(float64(l.Load[w]-scale[w])) > 1e-9*float64(got.Mass)*10 {
				t.Fatalf("%v wheel: %v N, the scale showed %v", loads.Wheel(w), l.Load[w], scale[w])
			}
		}
		if got.CGHeight != k.CGHeight || got.Track != k.Track || got.Torsion != k.Torsion {
			t.Fatal("corner weights changed something that scales cannot show")
		}
	})
	k, _ := loads.Published()
	got, err := k.WithCornerWeights([4]loads.Force{335.4325, 284.1464, 476.9910, 522.0800}) // F-2: 5 mm under one corner
	require.NoError(t, err)
	near(t, "height error", float64(got.Uneven[loads.FrontLeft]), 5, 0.0001)
	near(t, "mass", float64(got.Mass), 165, 0.0001)
	if _, err := k.WithCornerWeights([4]loads.Force{300, 0, 500, 500}); err == nil || !strings.Contains(err.Error(), "front right") {
		t.Errorf("a scale that shows nothing: error %v, want one that names the front right wheel", err)
	}
}

func TestMassAndSeat(t *testing.T) {
	k, _ := loads.Published()
	heavier := k.DriverHeavier(10)
	// Moments about the front axle, the ground and the centre line.
	near(t, "mass", float64(heavier.Mass), 175, 1e-9)
	near(t, "behind", float64(heavier.Mass)*float64(heavier.CGBehind), 165*645+10*600, 1e-6)
	near(t, "height", float64(heavier.Mass)*float64(heavier.CGHeight), 165*250+10*330, 1e-6)
	near(t, "driver", float64(heavier.Driver.Mass), 85, 1e-9)
	moved := k.MoveSeat(20, -10, 15)
	near(t, "behind", float64(moved.CGBehind-k.CGBehind), 20*75./165, 1e-9)
	near(t, "left", float64(moved.CGLeft-k.CGLeft), -10*75./165, 1e-9)
	near(t, "height", float64(moved.CGHeight-k.CGHeight), 15*75./165, 1e-9)
	ballast := loads.Seated{Mass: 7, Behind: 900, Left: 200, Height: 100}
	with := k.AddMass(ballast)
	near(t, "behind with ballast", float64(with.Mass)*float64(with.CGBehind), 165*645+7*900, 1e-6)
	near(t, "left with ballast", float64(with.Mass)*float64(with.CGLeft), 7*200, 1e-6)
	ballast.Mass = -7
	without := with.AddMass(ballast)
	near(t, "behind without it again", float64(without.CGBehind), 645, 1e-9)
	near(t, "left without it again", float64(without.CGLeft), 0, 1e-9)
	near(t, "height without it again", float64(without.CGHeight), 250, 1e-9)
	stiff := k.StiffenFrame(1.1)
	near(t, "stiffer frame", float64(stiff.FrameTorsion()), 154.00, 0.005)
}

// The column angle that LiftColumn finds is where the exact solution changes:
// the wheel stands before it and is off behind it.
func TestLiftOffIsWhereItIs(t *testing.T) {
	found := 0
	rapid.Check(t, func(t *rapid.T) {
		k := fromRapid(t).kart()
		k.Uneven = [4]geometry.Length{}
		s := loads.Setup{Kart: k, Front: loads.Linear(geometry.Length(rapid.Float64Range(10, 120).Draw(t, "jacking")))}
		until := geometry.Angle(rapid.SampledFrom([]float64{-35, 35}).Draw(t, "until")) * deg
		m := loads.Motion{Ay: loads.Accel(rapid.Float64Range(0, 1.5).Draw(t, "ay"))}
		if until < 0 {
			m.Ay = -m.Ay
		}
		w, st, err := s.FirstOff(m, until)
		var tip *loads.TipError
		if errors.Is(err, loads.ErrStays) || errors.As(err, &tip) {
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		if st.Column == 0 {
			return
		}
		found++
		if st.Load[w] > 1e-6 || st.Lift[w] > 1e-6 {
			t.Fatalf("at lift-off the %v wheel has %v N and is %v up", w, st.Load[w], st.Lift[w])
		}
		before, err := s.At(st.Column*(1-1e-6), m)
		require.NoError(t, err)
		after, err := s.At(st.Column*(1+1e-6), m)
		require.NoError(t, err)
		if before.Off(w) || !after.Off(w) {
			t.Fatalf("the %v wheel: %v N just before %v, %v N just behind", w, before.Load[w], st.Column, after.Load[w])
		}
	})
	if found == 0 {
		t.Error("no draw had a wheel lift")
	}
}

// A wheel that lifts and comes down again before the end of the search is
// found where it lifts first.
func TestLiftOffThatDoesNotLast(t *testing.T) {
	k, _ := loads.Published()
	s := loads.Setup{Kart: k, Front: func(phi geometry.Angle) ([2]loads.Contact, error) {
		rise := geometry.Length(40 * math.Sin(math.Pi*float64(phi)/float64(20*deg))) // back at 20°
		return [2]loads.Contact{{Rise: -rise}, {Rise: rise}}, nil
	}}
	if st, err := s.At(20*deg, loads.Motion{}); err != nil || st.Off(loads.FrontRight) {
		t.Fatalf("at 20° the front right wheel has %v N (%v), want it down again", st.Load[1], err)
	}
	st, err := s.LiftColumn(loads.FrontRight, loads.Motion{}, 20*deg)
	require.NoError(t, err)
	// The published model lifts its outer front at 29.835° of 58 mm/rad each.
	near(t, "rise at which it lifts", float64(st.Contact[1].Rise), 58*29.835*math.Pi/180, 0.001)
	if st.Column > 10*deg {
		t.Errorf("the front right wheel lifts at %v, want on the way up, before 10°", st.Column)
	}
}

func TestNames(t *testing.T) {
	got := fmt.Sprint(loads.Wheels, loads.Front, loads.Rear, loads.InnerRear(1), loads.InnerRear(-1), loads.InnerFrontOuterRear(1), loads.InnerFrontOuterRear(-1))
	want := "[front left front right rear left rear right] front rear rear left rear right front left + rear right front right + rear left"
	if got != want {
		t.Errorf("names are\n%s, want\n%s", got, want)
	}
}
