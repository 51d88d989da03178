package advisor

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"kartwright/advisor/profile"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
)

// Want is what one figure should become: a value, or a change By it. Values
// are radians, mm for Height.
type Want struct {
	Figure adjust.Figure
	Value  float64
	By     bool
}

// A Job says what should be reached and where: from which setting, on which
// sides.
type Job struct {
	Kart  *profile.Kart
	From  [2]adjust.Setting
	Sides []frontend.Side
	// Wants are what is asked of each side; the same for both unless the
	// caller gives two lists.
	Wants [2][]Want
	// Keep is adjust.Goal's: how much it counts that the rest stays as it is.
	Keep float64
	// Limits says to keep every figure inside the kart's limits.
	Limits bool
}

// Plan is the work that a job takes on this kart.
type Plan struct {
	Kart     *profile.Kart
	From, To [2]adjust.Setting
	Before   [2]frontend.Figures
	After    [2]frontend.Figures
	Sides    []SidePlan
	Warnings []string // limits that the plan would leave, and the like

	job Job // what was asked; zero for a plan that was given as settings
}

// SidePlan is the work on one side.
type SidePlan struct {
	Side   frontend.Side
	Answer *adjust.Answer // nil for a plan that was given as settings
	Was    [adjust.FigureCount]float64
	Asked  []adjust.Figure
	Moves  []Move
}

// OK reports whether every figure asked for was met or is at the nearest step.
func (p *Plan) OK() bool {
	for _, s := range p.Sides {
		if s.Answer != nil && !s.Answer.OK() {
			return false
		}
	}
	return true
}

// Reasons says what could not be met exactly and why, and what else moves that
// was not asked to; once if it is the same on both sides.
func (p *Plan) Reasons() []string {
	var bySide [][]string
	for _, s := range p.Sides {
		var out []string
		if s.Answer != nil {
			out = append(out, s.Answer.Reasons...)
			for _, f := range []adjust.Figure{adjust.Caster, adjust.Camber} {
				if by := geometry.Angle(s.Answer.Best.Values[f] - s.Was[f]); !slices.Contains(s.Asked, f) && !by.Near(0, uneven) {
					out = append(out, fmt.Sprintf("this also moves %v by %s", f, geometry.Units{}.AngleBy(by)))
				}
			}
			if text := p.toeLeft(s); text != "" {
				out = append(out, text)
			}
		}
		bySide = append(bySide, out)
	}
	if len(bySide) == 2 && slices.Equal(bySide[0], bySide[1]) {
		return bySide[0]
	}
	var out []string
	for i, s := range p.Sides {
		for _, r := range bySide[i] {
			out = append(out, s.Side.String()+": "+r)
		}
	}
	return out
}

// toeLeft says why toe, which nobody asked to move, is not where it was; "" if
// it prints the same.
func (p *Plan) toeLeft(s SidePlan) string {
	was, is := ToeText(geometry.Angle(s.Was[adjust.Toe]), geometry.Units{}), ToeText(geometry.Angle(s.Answer.Best.Values[adjust.Toe]), geometry.Units{})
	if was == is || slices.Contains(s.Asked, adjust.Toe) {
		return ""
	}
	why := "this kart has no adjuster that sets it"
	for i, a := range p.Kart.Corners[s.Side].Adjusters {
		t, at := a.Travel(), s.Answer.Best.Setting[i]
		switch {
		case a.Part() != adjust.OnRod || t.Fixed():
			continue
		case at <= t.Min || at >= t.Max:
			why = "the " + a.Name + " is at the end of its travel"
		default:
			why = "the " + a.Name + " goes in steps, and its next one is further off"
		}
		break
	}
	return fmt.Sprintf("toe goes from %s to %s and stays there: %s", was, is, why)
}

// Moved reports whether the plan turns anything.
func (p *Plan) Moved() bool {
	for _, s := range p.Sides {
		if len(s.Moves) > 0 {
			return true
		}
	}
	return false
}

// Move is what is done to one adjuster.
type Move struct {
	Index     int // of the adjuster at its corner
	Name      string
	Part      adjust.Part
	From, To  float64
	Adjuster  adjust.Adjuster
	Remaining [2]float64 // positions left to its lower and upper end, after
}

// smallest position change worth a spanner.
const still = 1e-6

// NewPlan works out a job. An error means that the kart cannot be computed
// at all; a goal that is out of reach is in the plan's answers.
func NewPlan(j Job) (*Plan, error) {
	p := &Plan{Kart: j.Kart, From: j.From}
	for s := range j.From {
		p.To[s] = append(adjust.Setting(nil), j.From[s]...)
	}
	var err error
	if p.Before, err = j.Kart.Figures(j.From); err != nil {
		return nil, err
	}
	for _, side := range j.Sides {
		was, err := j.Kart.Corners[side].Values(j.From[side])
		if err != nil {
			return nil, err
		}
		a, err := solve(j, j.Kart, side, nil)
		if err != nil {
			return nil, err
		}
		p.To[side] = a.Best.Setting
		var asked []adjust.Figure
		for _, w := range j.Wants[side] {
			asked = append(asked, w.Figure)
		}
		p.Sides = append(p.Sides, SidePlan{Side: side, Answer: a, Was: was, Asked: asked, Moves: moves(&j.Kart.Corners[side], j.From[side], a.Best.Setting)})
	}
	if p.After, err = j.Kart.Figures(p.To); err != nil {
		return nil, err
	}
	p.Warnings = limitWarnings(j.Kart, p.After)
	p.job = j
	return p, nil
}

// PlanBetween is the plan that goes from one setting to another.
func PlanBetween(k *profile.Kart, from, to [2]adjust.Setting) (*Plan, error) {
	p := &Plan{Kart: k, From: from, To: to}
	var err error
	if p.Before, err = k.Figures(from); err != nil {
		return nil, err
	}
	if p.After, err = k.Figures(to); err != nil {
		return nil, err
	}
	for _, s := range frontend.Sides {
		p.Sides = append(p.Sides, SidePlan{Side: s, Moves: moves(&k.Corners[s], from[s], to[s])})
	}
	p.Warnings = limitWarnings(k, p.After)
	return p, nil
}

// Undo is the plan that goes back to where p began.
func (p *Plan) Undo() *Plan {
	back := &Plan{Kart: p.Kart, From: p.To, To: p.From, Before: p.After, After: p.Before}
	for _, s := range p.Sides {
		back.Sides = append(back.Sides, SidePlan{Side: s.Side, Moves: moves(&p.Kart.Corners[s.Side], p.To[s.Side], p.From[s.Side])})
	}
	return back
}

// solve answers one side of a job on the kart k, which may differ a little from
// the job's own.
func solve(j Job, k *profile.Kart, side frontend.Side, steps adjust.Setting) (*adjust.Answer, error) {
	c, from := &k.Corners[side], j.From[side]
	now, err := c.Values(from)
	if err != nil {
		return nil, err
	}
	goal := adjust.Goal{Steps: steps, Keep: j.Keep}
	for _, l := range k.Limits {
		if f, ok := figureOfLimit[l.Of]; ok && j.Limits {
			if !goal.Bounded[f] {
				goal.Bounded[f], goal.Within[f] = true, [2]float64{math.Inf(-1), math.Inf(1)}
			}
			goal.Within[f] = [2]float64{math.Max(goal.Within[f][0], l.Lo), math.Min(goal.Within[f][1], l.Hi)}
		}
	}
	for _, w := range j.Wants[side] {
		v := w.Value
		if w.By {
			v += now[w.Figure]
		}
		goal = goal.Ask(w.Figure, v)
	}
	return c.Solve(from, goal)
}

func moves(c *adjust.Corner, from, to adjust.Setting) []Move {
	var out []Move
	for i, a := range c.Adjusters {
		if math.Abs(to[i]-from[i]) <= still {
			continue
		}
		t := a.Travel()
		out = append(out, Move{
			Index: i, Name: a.Name, Part: a.Part(), From: from[i], To: to[i], Adjuster: a.Adjuster,
			Remaining: [2]float64{to[i] - t.Min, t.Max - to[i]},
		})
	}
	// Toe last: everything else disturbs it.
	sort.SliceStable(out, func(i, j int) bool { return out[i].Part != adjust.OnRod && out[j].Part == adjust.OnRod })
	return out
}

// limitWarnings names the limits that the figures are outside of.
func limitWarnings(k *profile.Kart, f [2]frontend.Figures) []string {
	var out []string
	u := geometry.Units{}
	for _, l := range k.Limits {
		for _, s := range frontend.Sides {
			if v, ok := limited(l.Of, f[s]); ok && outside(l, v) {
				out = append(out, fmt.Sprintf("%v %s of %s is outside %s, %s", s, l.Of, u.Angle(geometry.Angle(v)), l.Whose(k), l.Text(u)))
			}
		}
		if v := float64(profile.FrontTrack(f)); l.Of == profile.LimitTrack && outside(l, v) {
			out = append(out, fmt.Sprintf("the front track of %s is outside %s, %s", u.Length(geometry.Length(v)), l.Whose(k), l.Text(u)))
		}
	}
	return out
}

func outside(l profile.Limit, v float64) bool { return v < l.Lo-1e-9 || v > l.Hi+1e-9 }

// limited returns the figure that an angle's limit holds for.
func limited(of profile.Limited, f frontend.Figures) (float64, bool) {
	switch of {
	case profile.LimitCaster:
		return float64(f.Caster), true
	case profile.LimitCamber:
		return float64(f.Camber), true
	case profile.LimitToe:
		return float64(f.Toe), true
	}
	return 0, false
}

// figureOfLimit is the figure that a limit holds for, if it is one of a corner.
var figureOfLimit = map[profile.Limited]adjust.Figure{profile.LimitCaster: adjust.Caster, profile.LimitCamber: adjust.Camber, profile.LimitToe: adjust.Toe}

// Step is one thing that a mechanic does.
type Step struct {
	Side string // "left", "right", "each" (the same on both), or "kart"
	Text string
}

// RimLength is the length over which toe is printed in millimetres beside its
// angle: about the diameter of a kart's front tyre (common practice).
const RimLength = 255 * geometry.Millimetre

// ToeText says a toe angle with the length it makes over RimLength.
func ToeText(a geometry.Angle, u geometry.Units) string {
	l := frontend.ToeLength(a, RimLength)
	way := "out"
	if a > 0 {
		way = "in"
	}
	if math.Abs(float64(l)) < 0.005 {
		return u.Angle(0)
	}
	return fmt.Sprintf("%s (%s %s over %s)", u.Angle(a), u.Length(geometry.Length(math.Abs(float64(l)))), way, strings.Replace(u.Length(RimLength), ".00", "", 1))
}

// Steps lists the work in the order in which a mechanic does it: note what
// there is, then side by side loosen, move and tighten, toe last, then measure
// both sides against each other.
func (p *Plan) Steps(u geometry.Units) []Step {
	if !p.Moved() {
		return nil
	}
	out := []Step{{"kart", secure}}
	var gauges []string
	for _, s := range p.Sides {
		for _, m := range s.Moves {
			if g, ok := m.Adjuster.(adjust.Gauged); ok {
				if r, ok := g.Gauge(m.From); ok {
					gauges = append(gauges, fmt.Sprintf("%v %s %s", s.Side, m.Name, u.Length(r)))
				}
			}
		}
	}
	note := "Write down camber and toe of both wheels"
	if len(gauges) > 0 {
		note += " and the depth gauges (they should read " + strings.Join(gauges, ", ") + ")"
	}
	out = append(out, Step{"kart", note + "."})
	// stage adds what is to be done on each side, once if it is the same.
	stage := func(do func(SidePlan) []string) {
		var texts [][]string
		for _, s := range p.Sides {
			var lines []string
			if len(s.Moves) > 0 {
				lines = do(s)
			}
			texts = append(texts, lines)
		}
		if len(texts) == 2 && slices.Equal(texts[0], texts[1]) {
			for _, t := range texts[0] {
				out = append(out, Step{"each", t})
			}
			return
		}
		for i, s := range p.Sides {
			for _, t := range texts[i] {
				out = append(out, Step{s.Side.String(), t})
			}
		}
	}
	// Parts under the same lock are moved in one go.
	work := func(rods bool) func(SidePlan) []string {
		return func(s SidePlan) (lines []string) {
			var do []string
			lock := ""
			flush := func() {
				if len(do) == 0 {
					return
				}
				text := strings.Join(do, " ")
				if lock != "" {
					text = fmt.Sprintf("Loosen %s. %s Tighten %[1]s.", lock, text)
				}
				lines, do = append(lines, text), nil
			}
			for _, m := range s.Moves {
				if (m.Part == adjust.OnRod) != rods {
					continue
				}
				own := m.Adjuster.Lock()
				if f, ok := m.Adjuster.(adjust.Fine); ok && f.Negligible(m.From, m.To) {
					own = "" // it may stay as it is
				}
				if own != lock {
					flush()
					lock = own
				}
				do = append(do, capital(m.Name)+": "+m.Adjuster.Move(m.From, m.To, u)+".")
			}
			flush()
			return lines
		}
	}
	stage(work(false))
	stage(func(s SidePlan) []string {
		if s.Worth()[0].Part == adjust.OnRod {
			return nil // nothing but the tie rod moves
		}
		return []string{fmt.Sprintf("Check camber: %s.", u.Angle(p.After[s.Side].Camber))}
	})
	stage(work(true))
	stage(func(s SidePlan) []string {
		return []string{fmt.Sprintf("Check toe, last: %s.", ToeText(p.After[s.Side].Toe, u))}
	})
	if mm := strings.Replace(u.Length(geometry.Millimetre), ".00", "", 1); len(p.Sides) == 2 && len(unevenSides(p.After)) == 0 {
		out = append(out, Step{"kart", "Compare the sides: steering to the same lock each way, a laser on a rule reads the same within " + mm + " if caster is equal; straight ahead toe is equal within " + mm + "."})
	} else if len(p.Sides) == 2 {
		out = append(out, Step{"kart", "This kart's sides are not alike: check each against its own figures above."})
	}
	return append(out, Step{"kart", lockToLock})
}

// Worth returns the moves that are worth a spanner: all but a tie rod that
// would be turned by less than a gauge shows, unless nothing else moves.
func (s SidePlan) Worth() []Move {
	var out []Move
	for _, m := range s.Moves {
		if f, ok := m.Adjuster.(adjust.Fine); !ok || !f.Negligible(m.From, m.To) {
			out = append(out, m)
		}
	}
	if len(out) == 0 {
		return s.Moves
	}
	return out
}

// Cautions are what a job card must carry. They defer to those who know this
// chassis and this class.
func (p *Plan) Cautions() []string {
	if !p.Moved() {
		return nil
	}
	return slices.Clone(cautions)
}

// What goes with every work on a kart.
const (
	secure     = "Kart secure on its stand, engine off, steering straight ahead and held there."
	lockToLock = "Turn the steering from lock to lock: nothing binds, nothing touches. Check the wheel nuts."
)

var cautions = []string{
	"Tighten to the chassis maker's torque; renew locking nuts; see that the locking screw is back in.",
	"Never look into a laser or set one at eye height.",
	"The chassis maker's instructions, the class regulations, local rules and the scrutineer come before this card.",
}

// Safety is what goes with every work on a kart, whatever is turned: the first
// step, the cautions and the last step.
func Safety() []string { return append(append([]string{secure}, cautions...), lockToLock) }

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
