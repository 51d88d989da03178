package loads

import (
	"errors"
	"fmt"
	"math"

	"kartwright/geometry"
)

// Motion is how the kart is accelerated: forward (braking is negative) and to
// the left (positive in a left turn).
type Motion struct{ Ax, Ay Accel }

// Contact is where a front wheel touches, relative to where it touches with
// the steering straight ahead on the kart that Kart describes. The zero value
// is that place.
type Contact struct {
	Ahead geometry.Length // further forward
	Out   geometry.Length // further outboard
	Rise  geometry.Length // higher relative to the frame
	Steer geometry.Angle  // of the wheel, + = left

	// Lever is how the piece of tyre that touches moves when the column turns
	// to the left, in mm per radian and the kart's axes; Spin is how the stub
	// axle turns, in radians per radian. They are for Effort only.
	Lever, Spin geometry.Vec
}

// Loads is the kart in equilibrium.
type Loads struct {
	Load  [4]Force           // by Wheel, ≥ 0
	Lift  [4]geometry.Length // of a wheel that is off the ground; 0 for one that stands
	Heave geometry.Length    // of the frame at the centre of gravity, from where unloaded springs would have it
	Pitch geometry.Angle     // dz/dx: + = nose up (opposite to ISO 8855's pitch angle)
	Roll  [2]geometry.Angle  // dz/dy by End: + = left side up
}

// Off reports whether the wheel carries nothing.
func (l *Loads) Off(w Wheel) bool { return l.Load[w] == 0 }

// Total returns the sum of the loads.
func (l *Loads) Total() Force { return l.Load[0] + l.Load[1] + l.Load[2] + l.Load[3] }

// Diagonal names a pair of wheels opposite each other.
type Diagonal uint8

// The two diagonals. The first is what road racing calls cross weight or wedge.
const (
	RightFrontLeftRear Diagonal = iota
	LeftFrontRightRear
)

func (d Diagonal) String() string {
	return [...]string{"front right + rear left", "front left + rear right"}[d]
}

// InnerFrontOuterRear returns the diagonal that steering in the direction
// given loads, + = left.
func InnerFrontOuterRear(column geometry.Angle) Diagonal {
	if column < 0 {
		return RightFrontLeftRear
	}
	return LeftFrontRightRear
}

// CrossWeight returns the part of the weight on a diagonal, between 0 and 1.
func (l *Loads) CrossWeight(d Diagonal) float64 {
	if d == LeftFrontRightRear {
		return float64((l.Load[FrontLeft] + l.Load[RearRight]) / l.Total())
	}
	return float64((l.Load[FrontRight] + l.Load[RearLeft]) / l.Total())
}

// TipError reports accelerations at which the kart cannot stand.
type TipError struct {
	Over  [2]Wheel // the wheels that it would tip over
	Bears float64  // the part of the accelerations that it can bear; ≤ 0 if it cannot stand at all
}

func (e *TipError) Error() string {
	if e.Bears <= 0 {
		return fmt.Sprintf("the kart tips over its %v and %v wheels even without acceleration", e.Over[0], e.Over[1])
	}
	return fmt.Sprintf("the kart tips over its %v and %v wheels: it bears %.1f %% of these accelerations", e.Over[0], e.Over[1], 100*e.Bears)
}

// problem is a kart in a pose: what the loads follow from.
type problem struct {
	x, y    [4]float64 // contact points, mm
	e       [4]float64 // how far down each reaches, mm
	give    [4]float64 // 1/rate, mm/N
	n       [4]float64 // loads that are in balance on their own, of size ≤ 1
	f0      [4]float64 // loads that balance weight and accelerations, N
	roll    float64    // the part of the roll moment that acts on the front, N·mm
	torsion float64    // give of the frame, rad/(N·mm)
}

// pose sets p up, except for f0.
func (p *problem) pose(k *Kart, m Motion, c *[2]Contact) error {
	tf, tr := float64(k.Track[Front])/2, float64(k.Track[Rear])/2
	l := float64(k.Wheelbase)
	p.x = [4]float64{float64(c[0].Ahead), float64(c[1].Ahead), -l, -l}
	p.y = [4]float64{tf + float64(c[0].Out), -tf - float64(c[1].Out), tr, -tr}
	for w := range p.e {
		p.e[w] = float64(k.Uneven[w])
		p.give[w] = 1 / float64(k.Corner(Wheel(w).End()))
	}
	p.e[0] -= float64(c[0].Rise)
	p.e[1] -= float64(c[1].Rise)
	p.n = [4]float64{p.area(1, 2, 3), -p.area(0, 2, 3), p.area(0, 1, 3), -p.area(0, 1, 2)}
	if !(p.n[0] > 0 && p.n[1] < 0 && p.n[2] < 0 && p.n[3] > 0) || math.IsInf(p.n[0]+p.n[3], 1) || math.IsNaN(p.e[0]+p.e[1]) {
		return errors.New("the four contact points are not the corners of a kart")
	}
	size := math.Max(math.Max(p.n[0], -p.n[1]), math.Max(-p.n[2], p.n[3]))
	for w := range p.n {
		p.n[w] /= size
	}
	front := (l - float64(k.CGBehind)) / l
	p.roll = front * float64(Weight(k.Mass)) * (float64(k.CGLeft) - float64(float64(m.Ay)*float64(k.CGHeight)))
	p.torsion = perDegree / float64(k.Torsion)
	return nil
}

// area returns twice the signed area of the triangle of three contact points.
func (p *problem) area(a, b, c int) float64 { return p.areaTo(a, b, p.x[c], p.y[c]) }

func (p *problem) areaTo(a, b int, x, y float64) float64 {
	return float64((p.x[b]-p.x[a])*(y-p.y[a])) - float64((p.y[b]-p.y[a])*(x-p.x[a]))
}

// torque returns the torque that the frame carries from rear to front under
// the loads f, N·mm.
func (p *problem) torque(f *[4]float64) float64 {
	return float64(f[0]*p.y[0]) + float64(f[1]*p.y[1]) - p.roll
}

// misfit returns by how much four wheels, pressed by the loads f, fail to
// stand on one ground, measured along n: zero if they do. It is the derivative
// of the complementary energy along n.
func (p *problem) misfit(f *[4]float64) float64 {
	own := float64(p.n[0]*p.y[0]) + float64(p.n[1]*p.y[1])
	sum := float64(own * p.torsion * p.torque(f))
	for w := range f {
		sum += float64(p.n[w] * (float64(f[w]*p.give[w]) - p.e[w]))
	}
	return sum
}

// Solve returns the wheel loads, and where the frame comes to rest, with the
// front wheels touching at c (Left, Right). It does not allocate.
//
// Loads that satisfy the three equations of statics differ only by a multiple
// s of the one set of loads that is in balance on its own (+, −, −, + round
// the corners). The springs' complementary energy is a parabola in s, and
// unilateral contact allows the interval of s in which no load is negative. So
// the equilibrium is the parabola's lowest point, brought back to the nearer
// end of the interval if it lies outside: there, one wheel is off the ground,
// and the slope that is left is its height. This covers every set of touching
// wheels, and is the unique solution of the complementarity problem in heave,
// pitch and both rolls. Loads are continuous in everything. Heights are too,
// but for one case that is real: two wheels can be off only when the kart is
// balanced on a line, and over a diagonal it then rocks. The loads of such a
// kart are exact; one of the two wheels is reported with the height between
// them and the other as just touching.
//
// A *TipError reports that the interval is empty.
func (k *Kart) Solve(m Motion, c *[2]Contact) (Loads, error) {
	if err := k.Check(); err != nil {
		return Loads{}, err
	}
	var p problem
	if err := p.pose(k, m, c); err != nil {
		return Loads{}, err
	}
	w := float64(Weight(k.Mass))
	// Where the resultant of weight and inertia meets the ground.
	x := -float64(k.CGBehind) - float64(float64(m.Ax)*float64(k.CGHeight))
	y := float64(k.CGLeft) - float64(float64(m.Ay)*float64(k.CGHeight))
	if !(math.Abs(x)+math.Abs(y) <= math.MaxFloat64) {
		return Loads{}, fmt.Errorf("accelerations of %g g forward and %g g to the left are not numbers to compute with", float64(m.Ax), float64(m.Ay))
	}
	whole := w / p.area(0, 1, 3)
	p.f0 = [4]float64{
		whole * p.areaTo(1, 3, x, y),
		whole * p.areaTo(3, 0, x, y),
		0,
		whole * p.areaTo(0, 1, x, y),
	}

	lo, hi := math.Inf(-1), math.Inf(1)
	var wlo, whi int
	for i, n := range p.n {
		switch s := -p.f0[i] / n; {
		case n > 0 && s > lo:
			lo, wlo = s, i
		case n < 0 && s < hi:
			hi, whi = s, i
		}
	}
	if lo > hi {
		if lo-hi > 1e-12*w {
			return Loads{}, p.tipping(k, x, y)
		}
		lo = hi
	}

	own := float64(p.n[0]*p.y[0]) + float64(p.n[1]*p.y[1])
	curve := float64(own * own * p.torsion)
	for i, n := range p.n {
		curve += float64(n * n * p.give[i])
	}
	best := -p.misfit(&p.f0) / curve
	s, off := best, -1
	if s <= lo {
		s, off = lo, wlo
	} else if s >= hi {
		s, off = hi, whi
	}

	var out Loads
	var level [4]float64 // of the frame over each wheel
	for i, n := range p.n {
		f := math.Max(0, p.f0[i]+float64(s*n))
		if i == off {
			f = 0
		}
		out.Load[i] = Force(f)
		level[i] = p.e[i] - float64(f*p.give[i])
	}
	if off >= 0 {
		gap := math.Max(0, curve*(s-best)/p.n[off])
		out.Lift[off] = geometry.Length(gap)
		level[off] += gap
	}
	p.place(&out, &level, float64(k.CGBehind))
	return out, nil
}

// place works out the frame's position from its height over the four wheels.
func (p *problem) place(out *Loads, level *[4]float64, cg float64) {
	// Front contacts may stand at unequal distances from both axles, so the
	// front is interpolated to the centre line.
	left, right := -p.y[1]/(p.y[0]-p.y[1]), p.y[0]/(p.y[0]-p.y[1])
	front := float64(left*level[0]) + float64(right*level[1])
	at := float64(left*p.x[0]) + float64(right*p.x[1])
	rear := (level[2] + level[3]) / 2
	pitch := (front - rear) / (at - p.x[2])
	out.Pitch = geometry.Angle(pitch)
	out.Heave = geometry.Length(rear + float64(pitch*(-cg-p.x[2])))
	out.Roll[Front] = geometry.Angle((level[0] - level[1] - float64(pitch*(p.x[0]-p.x[1]))) / (p.y[0] - p.y[1]))
	out.Roll[Rear] = geometry.Angle((level[2] - level[3]) / (p.y[2] - p.y[3]))
}

// tipping says over which side the kart goes whose resultant meets the ground at
// x, y.
func (p *problem) tipping(k *Kart, x, y float64) error {
	e := &TipError{Bears: math.Inf(1)}
	for _, side := range [4][2]Wheel{{RearLeft, FrontLeft}, {FrontLeft, FrontRight}, {FrontRight, RearRight}, {RearRight, RearLeft}} {
		a, b := int(side[0]), int(side[1])
		still := -p.areaTo(a, b, -float64(k.CGBehind), float64(k.CGLeft)) // > 0 inside
		now := -p.areaTo(a, b, x, y)
		if now >= 0 {
			continue
		}
		if bears := still / (still - now); still <= 0 || bears < e.Bears {
			e.Over, e.Bears = side, bears
			if still <= 0 {
				e.Bears = 0
				break
			}
		}
	}
	return e
}
