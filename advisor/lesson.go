package advisor

import (
	"fmt"
	"math"
	"strings"

	"kartwright/advisor/profile"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
	"kartwright/geometry/loads"
)

// A Topic is an adjustment to learn about. Its words are common practice.
type Topic struct {
	Name  string // as it is written on a command line
	Title string
	What  string // what it is, for somebody who has never heard of it
	Does  string // what it does, and by what mechanism
	Feel  []Feel // what the driver notices, by phase of the corner
	Split string // what the trade is not agreed on
	Shows Curve  // the curve that shows it best

	knob   Knob
	figure adjust.Figure
	known  bool    // figure is one that a kart may have an adjuster for
	step   float64 // a usual step, in the knob's unit
	stepIs string  // that step in words
}

// Feel is what more of an adjustment does in one phase of a corner.
type Feel struct{ Phase, More, Less string }

// Curve is something that is drawn against steering.
type Curve string

// The curves.
const (
	RearCurve   Curve = "inner rear wheel"
	CamberCurve Curve = "outer front camber"
	SteerCurve  Curve = "inner wheel's extra steer"
)

// Topics returns what can be learned about.
func Topics() []Topic {
	return []Topic{
		{
			Name: "caster", Title: "Caster", knob: KnobCaster, figure: adjust.Caster, known: true, step: float64(geometry.Degree), stepIs: "1°", Shows: RearCurve,
			What: "The front wheel turns about a pin, the kingpin. Seen from the side the kingpin leans back: its top is further to the rear than its bottom. That lean is the caster, in degrees.",
			Does: "Because the pin leans, a wheel that is steered also moves up or down. The inner front wheel is pushed down, the outer one is pulled up, so the kart is propped on the inner front and the outer rear wheel and the inner rear one gets light. A kart has no differential and only turns freely with that wheel light. Caster also puts the tyre's touching point behind the pin's line, so the wheel trails like a trolley's and straightens itself, and it leans the outer wheel into the bend.",
			Feel: []Feel{
				{"turning in", "the nose goes in sooner, the wheel is heavier in the hands", "calmer, lazier, lighter in the hands"},
				{"middle of the bend", "the inner rear wheel gets light or lifts and the kart rotates", "both rear wheels stay on the road and push the nose straight on"},
				{"exit", "too much keeps the wheel up too long, or lets it down hard", "both rear wheels drive early; too little and the kart feels stuck"},
				{"straight", "steadier, pulls itself straight", "lighter, may wander"},
			},
			Split: "Whether a grippy, rubbered track wants more caster or less is not agreed: some lift the inner rear clear because even a light tyre grips there, others say that grip tips the kart already and more caster only makes the front scrub. Look whether the wheel lifts.",
		},
		{
			Name: "camber", Title: "Camber", knob: KnobCamber, figure: adjust.Camber, known: true, step: 0.5 * float64(geometry.Degree), stepIs: "0.5°", Shows: CamberCurve,
			What: "Seen from the front a wheel need not stand upright. The angle between it and upright is the camber: minus with the top toward the driver, plus with the top away. Usual is upright or a degree or two of minus with the driver aboard.",
			Does: "In a bend the outer tyre is rolled onto its outer edge. A wheel that leans in a little then has its whole width on the road; straight ahead it runs on its inner edge. Caster adds lean to the outer wheel as it is steered, so the camber that counts is the one in the bend.",
			Feel: []Feel{
				{"turning in", "an upright wheel bites at once", "a wheel that leans in takes hold more gently"},
				{"middle of the bend", "less lean: the outer edge of the tyre does the work and wears", "more lean: more tyre on the road if the bend has the side force to roll it"},
				{"exit", "little to feel", "little to feel"},
				{"straight", "upright wheels roll easily and wear evenly", "leaning wheels run on their inner edge and wear it"},
			},
			Split: "Some set the fronts upright with the driver aboard whatever the track, others lean them in for grip and for new tyres. The wear across the tread decides.",
		},
		{
			Name: "toe", Title: "Toe", knob: KnobToe, figure: adjust.Toe, known: true, step: 0.2 * float64(geometry.Degree), stepIs: "0.2°, 0.9 mm over 255 mm", Shows: SteerCurve,
			What: "Seen from above the two front wheels need not be parallel. If they point apart at the front it is toe-out, if they point together it is toe-in. Each wheel has its own share; it is measured as an angle, or in millimetres over the length of a straight edge.",
			Does: "With toe-out the inner front wheel is turned a little further than the outer one at every angle of the steering, and points into the bend before the driver has turned at all. Straight ahead both tyres are dragged along at a small angle, which warms them, wears them and costs speed.",
			Feel: []Feel{
				{"turning in", "toward toe-in: softer, later first bite", "toward toe-out: a quicker first bite, nervous if there is much of it"},
				{"middle of the bend", "little to feel", "in hairpins the inner wheel helps a little more"},
				{"exit", "little to feel", "little to feel"},
				{"straight", "near parallel: fast and calm", "much toe-out: darts, warms and wears the tyres, slower"},
			},
			Split: "Most run parallel to some millimetres of toe-out in the dry. In the wet some go far out for a reaction, others in for calm.",
		},
		{
			Name: "kpi", Title: "Kingpin inclination (KPI)", knob: KnobKPI, step: float64(geometry.Degree), stepIs: "1°", Shows: RearCurve,
			What: "The front wheel turns about a pin, the kingpin. Seen from the front the pin leans in: its top is nearer to the middle of the kart than its bottom. That lean is the kingpin inclination. The chassis sets it; an eccentric or an insert that moves the pin's top in or out changes it a little, together with camber.",
			Does: "It makes both front wheels push down when they are steered, whichever way, which lifts the whole front and helps to straighten the steering. It does not by itself lift one side against the other as caster does, but it takes away lean of the outer wheel that caster adds.",
			Feel: []Feel{
				{"turning in", "a little heavier", "a little lighter"},
				{"middle of the bend", "the outer wheel leans in less", "the outer wheel leans in more"},
				{"exit", "straightens itself more", "straightens itself less"},
				{"straight", "little to feel", "little to feel"},
			},
			Split: "How much of it is felt is not agreed, since hardly anybody can change it by itself.",
		},
		{
			Name: "ackermann", Title: "Ackermann", knob: KnobAckermann, step: 10, stepIs: "a steering-arm hole 10 mm nearer to the kingpin", Shows: SteerCurve,
			What: "In a bend the inner wheel runs on a smaller circle than the outer one, so it has to be turned further if both are to roll without scrubbing. How much further the linkage turns it is named after Ackermann.",
			Does: "It depends on where the tie rods are joined to the steering arms and to the column. Many karts have two or more holes. A hole nearer to the kingpin turns both wheels further for the same movement of the hands, and changes how much further the inner one goes.",
			Feel: []Feel{
				{"turning in", "quicker for the same movement of the hands, heavier", "slower, lighter"},
				{"middle of the bend", "in hairpins the inner wheel pulls the nose in; in long bends it may scrub", "smoother in long, fast bends"},
				{"exit", "the wheel has less way to come back", "more way to come back"},
				{"straight", "more nervous", "calmer"},
			},
			Split: "How much a tyre that slides needs is not agreed: the angle that suits two rolling wheels is not the one that suits two sliding ones.",
		},
		{
			Name: "track-width", Title: "Front track width", knob: KnobTrack, step: 5, stepIs: "5 mm of spacer moved on each side", Shows: RearCurve,
			What: "The front track is the distance between the middles of the two front tyres where they touch the road. Spacers on the stub axles move each wheel in or out.",
			Does: "Further out, a wheel has a longer lever to its kingpin, so the same steering pushes it further up or down, and the steering gets heavier. But a wider front also stands more firmly against tipping, takes more of the side force's load transfer and leaves more on the inner rear wheel. Which of the two wins depends on the kart and on the bend.",
			Feel: []Feel{
				{"turning in", "more reaction, heavier, more kick from kerbs", "lighter, slower"},
				{"middle of the bend", "usually more front; see the table for what the inner rear does here", "usually less front"},
				{"exit", "little to feel", "little to feel"},
				{"straight", "kicks more over bumps", "calmer"},
			},
			Split: "Some widen the front for more bite and some narrow it for the same. One run with a spacer moved on each side decides.",
		},
		{
			Name: "ride-height", Title: "Front ride height", knob: KnobHeight, figure: adjust.Height, known: true, step: 2, stepIs: "2 mm by one washer on each kingpin", Shows: RearCurve,
			What: "How high the front of the frame stands above the road. Washers above or below the stub axles on the kingpins raise or lower it.",
			Does: "A higher front leans the whole frame back, and the kingpins with it, so there is a little more caster. It also raises the centre of gravity, so that side force tips the kart more.",
			Feel: []Feel{
				{"turning in", "more weight moves, sooner", "flatter, calmer"},
				{"middle of the bend", "the inner rear gets lighter", "the inner rear stays down longer"},
				{"exit", "too high: hops or tips", "both rear wheels drive early"},
				{"straight", "little to feel", "little to feel"},
			},
			Split: "Whether what is felt comes from the height or from the caster that comes with it is argued about; the table has both.",
		},
	}
}

// A Lesson is a topic computed on one kart: a step less, as it stands, a step
// more.
type Lesson struct {
	Topic  Topic
	Kart   *profile.Kart
	Step   string // what one step is, in words
	Bend   Bend
	Column geometry.Angle // that turns the wheels by Bend.Steer as the kart stands
	Stages [3]Stage       // less, now, more
}

// Stage is the kart a step less, as it stands, or a step more.
type Stage struct {
	Name    string // short: "one turn looser"
	How     string // what was turned on each side; "" as it stands
	Not     string // why this kart cannot do it, if it cannot: it is then computed as if it could
	Variant *Variant
	Figures [2]frontend.Figures
	InBend  [2]InBend
	Curve   []Point // left turn, at the bend's sideways acceleration
}

// curvePoints is how many steps a curve has.
const curvePoints = 30

// Teach works out a topic on a kart.
func Teach(k *profile.Kart, topic Topic, b Bend) (*Lesson, error) {
	now, err := Standing(k)
	if err != nil {
		return nil, err
	}
	l := &Lesson{Topic: topic, Kart: k, Bend: b, Column: now.Column(b.Steer)}
	l.Stages[1] = Stage{Name: "now", Variant: now}
	l.Step, l.Stages[0], l.Stages[2], err = l.steps(now)
	if err != nil {
		return nil, err
	}
	for i := range l.Stages {
		s := &l.Stages[i]
		if s.Figures, err = s.Variant.Figures(); err != nil {
			return nil, err
		}
		if s.InBend, err = s.Variant.InBend(l.Column, b.Ay); err != nil {
			return nil, fmt.Errorf("%s: %w", s.Name, err)
		}
		if s.Curve, err = s.Variant.Curve(1.4*l.Column, b.Ay, curvePoints); err != nil {
			return nil, fmt.Errorf("%s: %w", s.Name, err)
		}
	}
	return l, nil
}

// steps returns one step and the kart a step less and a step more.
func (l *Lesson) steps(now *Variant) (step string, less, more Stage, err error) {
	t := l.Topic
	if t.known {
		if i, by, ok := turned(l.Kart, t.figure); ok {
			adj := l.Kart.Corners[0].Adjusters[i]
			word := map[adjust.Part]string{adjust.OnPivot: "one turn", adjust.OnRod: "a quarter turn", adjust.OnStub: "one washer"}[adj.Part()]
			less, lessErr := l.turn(i, -by, word+" less")
			more, moreErr := l.turn(i, by, word+" more")
			if lessErr == nil && moreErr == nil {
				return word + " of the " + adj.Name + ", toe restored", less, more, nil
			}
		}
	}
	stage := func(d float64, word string) (Stage, error) {
		s := Stage{Name: strings.Split(t.stepIs, ",")[0] + " " + word}
		if t.knob == KnobAckermann || t.knob == KnobTrack || t.knob == KnobHeight {
			s.Name = "a step " + word
		}
		if t.known {
			w := []Want{{Figure: t.figure, Value: d, By: true}}
			p, err := NewPlan(Job{Kart: l.Kart, From: l.Kart.Present, Sides: frontend.Sides[:], Wants: [2][]Want{w, w}, Keep: keep})
			if err != nil {
				return s, err
			}
			if useful(p, t.figure, d) {
				s.How = howText(p)
				got := math.Abs(p.Sides[0].Answer.Best.Values[t.figure] - p.Sides[0].Was[t.figure])
				s.Name = strings.TrimPrefix(sayBy(t.figure, got), "+") + " " + word
				_, s.Variant, err = p.Variants()
				return s, err
			}
			s.Not = "this kart cannot do it from here"
			if r := p.Reasons(); len(r) > 0 {
				s.Not += ": " + r[0]
			}
		}
		var err error
		s.Variant, err = now.With(t.knob, d)
		return s, err
	}
	if less, err = stage(-t.step, "less"); err != nil {
		return
	}
	if more, err = stage(t.step, "more"); err != nil {
		return
	}
	step = "about " + t.stepIs
	if less.How == "" && more.How == "" {
		step = t.stepIs + ", computed alone: this kart's profile has no adjuster for it"
		less.Not, more.Not = "", ""
	}
	return step, less, more, nil
}

// turned returns the adjuster whose turning is the step of a figure, and by
// how much it is turned for more; ok is false if the kart has none that is
// turned, or moved by the piece, for that figure alone.
func turned(k *profile.Kart, f adjust.Figure) (index int, by float64, ok bool) {
	c := &k.Corners[0]
	now, err := c.Values(k.Present[0])
	if err != nil {
		return 0, 0, false
	}
	for i, a := range c.Adjusters {
		t := a.Travel()
		if t.Fixed() {
			continue
		}
		step := 0.
		switch w, wraps := a.Adjuster.(adjust.Wraps); {
		case f == adjust.Toe && a.Part() == adjust.OnRod:
			step = 0.25
		case f == adjust.Height && a.Part() == adjust.OnStub && t.Step > 0:
			step = t.Step
		case (f == adjust.Caster || f == adjust.Camber) && a.Part() == adjust.OnPivot && t.Step == 0 && !(wraps && w.Wraps()):
			step = 1
		default:
			continue
		}
		set := append(adjust.Setting(nil), k.Present[0]...)
		set[i] = t.Clamp(set[i] + step)
		then, err := c.Values(set)
		if err != nil || set[i] == k.Present[0][i] {
			continue
		}
		moved := then[f] - now[f]
		other := map[adjust.Figure]adjust.Figure{adjust.Caster: adjust.Camber, adjust.Camber: adjust.Caster}[f]
		if f != adjust.Toe && f != adjust.Height && math.Abs(then[other]-now[other]) > math.Abs(moved) || math.Abs(moved) < 1e-4 {
			continue
		}
		return i, math.Copysign(step, moved), true
	}
	return 0, 0, false
}

// turn returns the kart with adjuster i of both corners moved by as much, toe
// restored unless it is toe that was changed.
func (l *Lesson) turn(i int, by float64, name string) (Stage, error) {
	k := l.Kart
	to := [2]adjust.Setting{append(adjust.Setting(nil), k.Present[0]...), append(adjust.Setting(nil), k.Present[1]...)}
	var wants [2][]Want
	for s := range to {
		if i >= len(k.Corners[s].Adjusters) {
			return Stage{}, fmt.Errorf("the %v side has other adjusters than the left", frontend.Side(s))
		}
		t := k.Corners[s].Adjusters[i].Travel()
		to[s][i] += by
		if to[s][i] < t.Min-1e-9 || to[s][i] > t.Max+1e-9 {
			return Stage{}, fmt.Errorf("%s is at the end of its travel", k.Corners[s].Adjusters[i].Name)
		}
		now, err := k.Corners[s].Values(k.Present[s])
		if err != nil {
			return Stage{}, err
		}
		wants[s] = []Want{{Figure: adjust.Toe, Value: now[adjust.Toe]}}
	}
	if l.Topic.figure != adjust.Toe {
		p, err := NewPlan(Job{Kart: k, From: to, Sides: frontend.Sides[:], Wants: wants})
		if err != nil {
			return Stage{}, err
		}
		if p.OK() {
			to = p.To
		}
	}
	p, err := PlanBetween(k, k.Present, to)
	if err != nil {
		return Stage{}, err
	}
	s := Stage{Name: name, How: howText(p)}
	_, s.Variant, err = p.Variants()
	return s, err
}

// howText says what a plan turns, once if it is the same on both sides.
func howText(p *Plan) string {
	var bySide []string
	for _, s := range p.Sides {
		var parts []string
		for _, m := range s.Worth() {
			parts = append(parts, m.Name+": "+m.Adjuster.Move(m.From, m.To, geometry.Units{}))
		}
		bySide = append(bySide, strings.Join(parts, "; "))
	}
	if len(bySide) == 2 && bySide[0] == bySide[1] {
		return bySide[0]
	}
	for i, s := range p.Sides {
		bySide[i] = s.Side.String() + " — " + bySide[i]
	}
	return strings.Join(bySide, "; ")
}

// Axle returns the front end and its shifts, for somebody to draw.
func (v *Variant) Axle() (*frontend.Axle, [2]frontend.Shift) { return &v.axle, v.shift }

// Of returns what a curve shows at a point: kg on the inner rear wheel, below
// zero for one in the air; degrees of camber; degrees by which the inner wheel
// is steered beyond the outer one.
func (c Curve) Of(p Point) float64 {
	switch c {
	case CamberCurve:
		return p.OuterCamber.Degrees()
	case SteerCurve:
		return (p.InnerSteer - p.OuterSteer).Degrees()
	}
	return float64(p.Down) / loads.G
}

// PerKG is how far, in mm, a rear wheel in the air comes down for each kg of
// load that is put on it.
func (v *Variant) PerKG() float64 { return loads.G / press(&v.kart) }
