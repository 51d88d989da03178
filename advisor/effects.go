package advisor

import (
	"errors"
	"fmt"
	"math"

	"kartwright/advisor/profile"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
	"kartwright/geometry/loads"
)

// Bend is a corner to compute effects for: how far the front wheels are turned,
// the mean of both, and how hard the kart is pushed sideways.
type Bend struct {
	Steer geometry.Angle
	Ay    loads.Accel
}

// SlowBend is the corner that effects are computed for unless somebody says
// otherwise: a slow one on slicks, in which a kart is about to lift its inner
// rear wheel (common practice).
var SlowBend = Bend{Steer: 15 * geometry.Degree, Ay: 1.6}

// String says the bend in words.
func (b Bend) String() string {
	return fmt.Sprintf("front wheels turned %.0f°, %.1f g sideways", b.Steer.Degrees(), float64(b.Ay))
}

// Turn is the direction of a bend.
type Turn uint8

// The two turns. In a left turn the left wheels are the inner ones.
const (
	LeftTurn Turn = iota
	RightTurn
)

// Turns are both in order, to range over.
var Turns = [2]Turn{LeftTurn, RightTurn}

func (t Turn) String() string { return [...]string{"left turn", "right turn"}[t] }

// sign is + to the left.
func (t Turn) sign() float64 { return 1 - 2*float64(t) }

func (t Turn) inner() frontend.Side { return frontend.Side(t) }
func (t Turn) outer() frontend.Side { return 1 - frontend.Side(t) }

// InBend is what the kart does in a bend one way. Angles count toward the
// inside of the turn, so that both turns of an even kart are the same.
type InBend struct {
	Column geometry.Angle // how far the steering is turned

	Load loads.Force     // on the inner rear wheel
	Lift geometry.Length // of the inner rear wheel; 0 while it touches
	// Down is Load, or, for a wheel in the air, minus the force that would
	// press it down to the ground: it goes through 0 at lift-off without a kink.
	Down    loads.Force
	Lifts   bool           // it lifts before the steering is at LastColumn
	LiftsAt geometry.Angle // the column angle at which it does, at the bend's sideways acceleration

	InnerFront, OuterFront, OuterRear loads.Force
	InnerSteer, OuterSteer            geometry.Angle
	InnerCamber, OuterCamber          geometry.Angle
	Effort                            loads.Torque // to hold the steering, + = it wants to straighten
}

// Variant is a kart's front end as it stands, or with something about it a
// little different.
type Variant struct {
	axle  frontend.Axle
	shift [2]frontend.Shift
	kart  loads.Kart
	zero  [2]geometry.Vec // where the tyres touch as the kart stands now
}

// Standing returns the kart at its present setting.
func Standing(k *profile.Kart) (*Variant, error) {
	l, err := k.Loads()
	if err != nil {
		return nil, err
	}
	v := &Variant{axle: k.Axle, shift: shifts(k, k.Present), kart: l}
	v.zero, err = loads.Straight(&v.axle, v.shift)
	return v, err
}

func shifts(k *profile.Kart, set [2]adjust.Setting) [2]frontend.Shift {
	return [2]frontend.Shift{k.Corners[0].Shift(set[0]), k.Corners[1].Shift(set[1])}
}

// Variants returns the kart before and after the plan.
func (p *Plan) Variants() (before, after *Variant, err error) {
	now, err := Standing(p.Kart)
	if err != nil {
		return nil, nil, err
	}
	before, after = new(Variant), new(Variant)
	*before, *after = *now, *now
	before.shift, after.shift = shifts(p.Kart, p.From), shifts(p.Kart, p.To)
	return before, after, nil
}

// Figures returns what both corners measure.
func (v *Variant) Figures() (out [2]frontend.Figures, err error) {
	for _, s := range frontend.Sides {
		p, err := v.axle.Pose(s, v.shift[s], geometry.Turn{Cos: 1})
		if err != nil {
			return out, err
		}
		out[s] = p.Figures()
	}
	return out, nil
}

// Track returns the distance between both wheels of an end where they touch.
func (v *Variant) Track(e loads.End) (geometry.Length, error) {
	if e == loads.Rear {
		return v.kart.Track[e], nil
	}
	f, err := v.Figures()
	return profile.FrontTrack(f), err
}

// raised returns how much higher the frame stands at the front than as the
// kart stands now, the mean of both corners.
func (v *Variant) raised() (geometry.Length, error) {
	at, err := loads.Straight(&v.axle, v.shift)
	return geometry.Length(v.zero[0].Z+v.zero[1].Z-at[0].Z-at[1].Z) / 2, err
}

// setup returns the variant for wheel loads. A front that stands higher leans
// the whole frame back about its rear axle, and the kingpins with it, and
// raises the centre of gravity.
func (v *Variant) setup() (stance, error) {
	up, err := v.raised()
	if err != nil {
		return stance{}, err
	}
	axle, shift, kart := v.axle, v.shift, v.kart
	kart.CGHeight += up * (1 - kart.CGBehind/kart.Wheelbase)
	back := geometry.TurnOf(-geometry.Angle(math.Atan(float64(up / kart.Wheelbase))))
	lean := func(x geometry.Vec) geometry.Vec { return x.Rotate(back, geometry.Vec{Y: 1}) }
	for s := range axle.Corner {
		c := &axle.Corner[s]
		for _, x := range []*geometry.Vec{&c.Bottom, &c.Top, &c.WheelCentre, &c.Spindle, &c.ArmJoint, &c.Lug, &c.ColumnPoint, &c.ColumnAxis, &shift[s].Bottom, &shift[s].Top} {
			*x = lean(*x)
		}
		if err := c.Complete(); err != nil {
			return stance{}, err
		}
	}
	// The lean is in the axle now; left in the contacts' height as well it
	// would count twice.
	zero := v.zero
	for s := range zero {
		zero[s].Z -= float64(up)
	}
	return stance{loads.Setup{Kart: kart, Front: loads.Kinematics(&axle, shift, zero)}, axle, shift}, nil
}

// stance is a variant as it stands on the ground.
type stance struct {
	loads.Setup
	axle  frontend.Axle
	shift [2]frontend.Shift
}

// LastColumn is the largest column angle that is searched for lift-off, more
// than any kart's lock.
const LastColumn = 100 * geometry.Degree

// Column returns how far the column turns the wheels by steer, the mean of
// both, to the left; less if the linkage or LastColumn ends before.
func (v *Variant) Column(steer geometry.Angle) geometry.Angle {
	mean := func(phi geometry.Angle) (geometry.Angle, bool) {
		st, err := v.axle.Sweep(v.shift, []geometry.Angle{phi, -phi})
		if err != nil {
			return 0, false
		}
		return (st[0].Steer[0] + st[0].Steer[1] - st[1].Steer[0] - st[1].Steer[1]) / 4, true
	}
	lo, hi := geometry.Angle(0), LastColumn
	for range 50 {
		mid := (lo + hi) / 2
		if got, ok := mean(mid); ok && got < steer {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}

// InBend returns what the kart does with the column turned by column each way
// at the sideways acceleration ay.
func (v *Variant) InBend(column geometry.Angle, ay loads.Accel) (out [2]InBend, err error) {
	s, err := v.setup()
	if err != nil {
		return out, err
	}
	last := v.Column(90 * geometry.Degree)
	for _, t := range Turns {
		if out[t], err = s.inBend(t, column, ay); err != nil {
			return out, err
		}
		st, err := s.LiftColumn(loads.InnerRear(geometry.Angle(t.sign())), loads.Motion{Ay: ay * loads.Accel(t.sign())}, last*geometry.Angle(t.sign()))
		switch {
		case err == nil:
			out[t].Lifts, out[t].LiftsAt = true, st.Column*geometry.Angle(t.sign())
		case !errors.Is(err, loads.ErrStays):
			return out, err
		}
	}
	return out, nil
}

func (s *stance) inBend(t Turn, column geometry.Angle, ay loads.Accel) (InBend, error) {
	sign := t.sign()
	st, err := s.At(column*geometry.Angle(sign), loads.Motion{Ay: ay * loads.Accel(sign)})
	if err != nil {
		return InBend{}, err
	}
	sweep, err := s.axle.Sweep(s.shift, []geometry.Angle{st.Column})
	if err != nil {
		return InBend{}, err
	}
	in, out := t.inner(), t.outer()
	rear := loads.RearLeft + loads.Wheel(in)
	b := InBend{
		Column: column, Load: st.Load[rear], Lift: st.Lift[rear], Down: st.Load[rear],
		InnerFront: st.Load[in], OuterFront: st.Load[out], OuterRear: st.Load[loads.RearLeft+loads.Wheel(out)],
		InnerSteer: sweep[0].Steer[in] * geometry.Angle(sign), OuterSteer: sweep[0].Steer[out] * geometry.Angle(sign),
		InnerCamber: sweep[0].Camber[in], OuterCamber: sweep[0].Camber[out],
		Effort: s.Kart.Effort(&st) * loads.Torque(sign),
	}
	if st.Off(rear) {
		b.Down = -loads.Force(float64(st.Lift[rear]) * press(&s.Kart))
	}
	return b, nil
}

// press is the force in N that brings a rear wheel in the air 1 mm nearer to
// the ground.
func press(k *loads.Kart) float64 {
	perRadian := float64(k.WarpStiffness()) * 1000 / float64(geometry.Degree) // N·mm
	return perRadian / float64(k.Track[loads.Rear]*k.Track[loads.Rear])
}

// A Knob is a quantity of the front end that can be changed by itself, on both
// sides alike, whether this kart has an adjuster for it or not.
type Knob string

// The knobs, by the names that rule sets give to moves where there is one.
// Angles are in radians, lengths in mm; widths count for each side.
const (
	KnobCaster    Knob = "caster"
	KnobCamber    Knob = "camber"
	KnobToe       Knob = "toe"
	KnobKPI       Knob = "kpi"
	KnobAckermann Knob = "ackermann"    // + = tie rod nearer to the kingpin on the steering arm, in mm
	KnobTrack     Knob = "front_width"  // by longer stub axles
	KnobHeight    Knob = "front_height" // of the frame, by the stub axles' height on their kingpins
	KnobRear      Knob = "rear_width"
)

// With returns the kart with one thing greater by d and every other figure
// kept: toe is restored by the tie rods, and no other figure moves but those
// that follow from the lengths themselves.
func (v *Variant) With(q Knob, d float64) (*Variant, error) {
	n := *v
	if q == KnobRear {
		n.kart.Track[loads.Rear] += 2 * geometry.Length(d)
		return &n, nil
	}
	before, err := v.Figures()
	if err != nil {
		return nil, err
	}
	for _, s := range frontend.Sides {
		c, toe := &n.axle.Corner[s], before[s].Toe
		p, err := c.Pose(frontend.Shift{}, geometry.Turn{Cos: 1})
		if err != nil {
			return nil, err
		}
		stub := stubOnPin(c, p.Axis)
		switch q {
		case KnobCaster:
			leanKingpin(c, stub, p.Axis, p.Caster()+geometry.Angle(d), p.KPI())
		case KnobKPI:
			leanKingpin(c, stub, p.Axis, p.Caster(), p.KPI()+geometry.Angle(d))
		case KnobCamber:
			leanWheel(c, stub, geometry.Angle(d))
		case KnobToe:
			toe += geometry.Angle(d)
		case KnobAckermann:
			axle := p.Foot.AddScaled(c.ArmJoint.Sub(p.Foot).Dot(p.Axis), p.Axis)
			arm, err := axle.Sub(c.ArmJoint).Unit()
			if err != nil {
				return nil, err
			}
			c.ArmJoint = c.ArmJoint.AddScaled(d, arm)
		case KnobTrack:
			c.WheelCentre = c.WheelCentre.AddScaled(d, c.Spindle)
		case KnobHeight:
			n.shift[s].Slide -= geometry.Length(d)
		default:
			return nil, fmt.Errorf("there is nothing called %q to change", q)
		}
		if err := c.Complete(); err != nil {
			return nil, fmt.Errorf("%v side, with %s changed: %w", s, q, err)
		}
		_, rod, ok := c.PoseAtToe(n.shift[s], toe)
		if !ok {
			return nil, fmt.Errorf("%v side, with %s changed: no tie rod gives the toe", s, q)
		}
		n.shift[s].Rod = rod
	}
	return &n, nil
}

// stubOnPin returns the point of the kingpin's axis that the stub axle's line
// passes nearest to.
func stubOnPin(c *frontend.Corner, axis geometry.Vec) geometry.Vec {
	// (Bottom + u·axis − WheelCentre − w·Spindle) is square to both.
	d := c.WheelCentre.Sub(c.Bottom)
	cos := axis.Dot(c.Spindle)
	u := (d.Dot(axis) - float64(cos*d.Dot(c.Spindle))) / (1 - float64(cos*cos))
	return c.Bottom.AddScaled(u, axis)
}

// leanKingpin turns the kingpin about the point given.
func leanKingpin(c *frontend.Corner, about, was geometry.Vec, caster, kpi geometry.Angle) {
	axis, err := geometry.Vec{X: -math.Tan(float64(caster)), Y: -math.Tan(float64(kpi)), Z: 1}.Unit()
	if err != nil {
		return // Z is 1
	}
	c.Bottom = about.AddScaled(c.Bottom.Sub(about).Dot(was), axis)
	c.Top = about.AddScaled(c.Top.Sub(about).Dot(was), axis)
}

// leanWheel turns the stub axle with the wheel about the point given, in the
// view along the wheel's heading.
func leanWheel(c *frontend.Corner, about geometry.Vec, by geometry.Angle) {
	rearward, err := geometry.Vec{X: -c.Spindle.Y, Y: c.Spindle.X}.Unit()
	if err != nil {
		return // Complete has refused an upright stub axle
	}
	turn := geometry.TurnOf(by)
	c.Spindle = c.Spindle.Rotate(turn, rearward)
	c.WheelCentre = about.Add(c.WheelCentre.Sub(about).Rotate(turn, rearward))
}

// Point is the kart at one column angle of a left turn.
type Point struct {
	Column geometry.Angle
	InBend
}

// Curve returns what the kart does in left turns at the sideways acceleration
// ay, from straight ahead to the column angle to, in n steps. It ends early
// where the linkage does.
func (v *Variant) Curve(to geometry.Angle, ay loads.Accel, n int) ([]Point, error) {
	s, err := v.setup()
	if err != nil {
		return nil, err
	}
	last := v.Column(90 * geometry.Degree)
	var out []Point
	for i := range n + 1 {
		phi := to * geometry.Angle(i) / geometry.Angle(n)
		if phi > last {
			break
		}
		b, err := s.inBend(LeftTurn, phi, ay)
		if err != nil {
			return nil, err
		}
		out = append(out, Point{phi, b})
	}
	return out, nil
}

// Effects is what a plan does to the kart in a bend, the driver turning the
// steering as far as before.
type Effects struct {
	Bend          Bend
	Before, After [2]InBend // by Turn
	Small         []string  // effects that a driver will hardly feel, and what would be worth making
	Assumed       int       // how many of the numbers of the wheel loads are assumed
	Of            int       // how many there are
}

// What a driver is likely to notice. Nobody has published what a kart driver
// can feel; these are the smallest steps that mechanics bother to make, in terms
// of what they do (common practice).
const (
	FeelLoad   loads.Force = 5 // on the inner rear wheel: half a kilogram
	FeelEffort             = 0.05
	FeelCamber             = 0.2 * geometry.Degree
)

// Effects returns what the plan does in a bend.
func (p *Plan) Effects(b Bend) (*Effects, error) {
	before, after, err := p.Variants()
	if err != nil {
		return nil, err
	}
	e := &Effects{Bend: b, Of: len(p.Kart.LoadNumbers)}
	for _, n := range p.Kart.LoadNumbers {
		if n.Assumed {
			e.Assumed++
		}
	}
	column := before.Column(b.Steer)
	if e.Before, err = before.InBend(column, b.Ay); err != nil {
		return nil, err
	}
	if e.After, err = after.InBend(column, b.Ay); err != nil {
		return nil, err
	}
	if text := p.smallLift(e, column); text != "" {
		e.Small = append(e.Small, text)
	}
	return e, nil
}

// EffortRatio returns the steering effort after, as a multiple of before, the
// mean of both turns. It is NaN if there was none before.
func (e *Effects) EffortRatio() float64 {
	return (e.After[0].Effort + e.After[1].Effort).Of(e.Before[0].Effort + e.Before[1].Effort)
}

// Lightened returns by how much the inner rear wheel is pressed down less than
// before, the mean of both turns.
func (e *Effects) Lightened() loads.Force { return lightened(e.Before, e.After) }

func lightened(before, after [2]InBend) loads.Force {
	return (before[0].Down + before[1].Down - after[0].Down - after[1].Down) / 2
}

// smallLift says that a change which was asked for does too little to the
// inner rear wheel, and what change would be worth making.
func (p *Plan) smallLift(e *Effects, column geometry.Angle) string {
	by, figure, ok := p.asked()
	got := e.Lightened()
	if !ok || math.Abs(float64(got)) >= float64(FeelLoad) || math.Abs(by) < 1e-9 {
		return ""
	}
	text := fmt.Sprintf("On this kart %s of %v %s", sayBy(figure, by), figure, sayLightened(e))
	if math.Abs(float64(got)) < 0.05*float64(FeelLoad) {
		return text + ": its effect is not there."
	}
	// How much would be worth making: in proportion, then once more from there.
	want := by
	for range 3 {
		want *= float64(FeelLoad) / math.Abs(float64(got))
		other, err := Standing(p.Kart)
		if err == nil {
			other.shift = shifts(p.Kart, p.From)
			other, err = other.With(Knob(knobs[figure]), want)
		}
		var after [2]InBend
		if err == nil {
			after, err = other.InBend(column, e.Bend.Ay)
		}
		if err != nil {
			return text + ", which is hardly felt."
		}
		if got = lightened(e.Before, after); math.Abs(math.Abs(float64(got))-float64(FeelLoad)) < 0.02*float64(FeelLoad) {
			break
		}
	}
	return text + fmt.Sprintf(", which is hardly felt; about %s would be worth making.", sayBy(figure, want))
}

// knobs are the knobs that are adjustable figures.
var knobs = map[adjust.Figure]Knob{adjust.Caster: KnobCaster, adjust.Camber: KnobCamber, adjust.Toe: KnobToe, adjust.Height: KnobHeight}

// asked returns the figure that the plan was asked to change for the sake of
// lift, and by how much it did so, the mean of the sides; ok is false for any
// other plan.
func (p *Plan) asked() (by float64, f adjust.Figure, ok bool) {
	for _, s := range p.Sides {
		if s.Answer == nil || len(s.Asked) != 1 {
			return 0, 0, false
		}
		f = s.Asked[0]
		by += (s.Answer.Best.Values[f] - s.Was[f]) / float64(len(p.Sides))
	}
	return by, f, len(p.Sides) == 2 && (f == adjust.Caster || f == adjust.Height)
}

// sayLightened says by how much the inner rear wheel is taken off the ground,
// or put on it.
func sayLightened(e *Effects) string {
	lift := (e.After[0].Lift + e.After[1].Lift - e.Before[0].Lift - e.Before[1].Lift) / 2
	if e.Before[0].Lift > 0 && e.After[0].Lift > 0 && e.Before[1].Lift > 0 && e.After[1].Lift > 0 {
		return fmt.Sprintf("changes the inner rear wheel's lift by only %s", geometry.Units{}.Length(geometry.Length(math.Abs(float64(lift)))))
	}
	kg := float64(e.Lightened()) / loads.G
	if kg >= 0 {
		return fmt.Sprintf("takes only %.2f kg off the inner rear wheel", kg)
	}
	return fmt.Sprintf("puts only %.2f kg on the inner rear wheel", -kg)
}
