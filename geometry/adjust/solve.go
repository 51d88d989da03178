package adjust

import (
	"errors"
	"fmt"
	"math"
	"math/bits"
	"strings"

	"kartwright/geometry"
	"kartwright/geometry/frontend"
)

// Goal is what a corner should measure. A figure that is not asked for is
// kept as it is as well as the adjusters allow.
type Goal struct {
	Asked [FigureCount]bool
	Value [FigureCount]float64 // radians; mm for Height
	// Steps, if not nil, is a setting found before: stepped adjusters stand as
	// in it, and of the others only those move that it moved. It answers what
	// the same work would be on a slightly different kart.
	Steps Setting
	// Keep is how much it counts, against a figure asked for, that caster,
	// camber and toe stay as they are; 0 means 0.3.
	Keep float64
	// Within, where Bounded, are values that stepped adjusters may not take a
	// figure beyond, unless it stands there already.
	Bounded [FigureCount]bool
	Within  [FigureCount][2]float64
}

// Ask returns the goal with f asked for at value (radians, or mm for Height).
func (g Goal) Ask(f Figure, value float64) Goal {
	g.Asked[f], g.Value[f] = true, value
	return g
}

// Solution is a setting that was found for a goal.
type Solution struct {
	Setting  Setting
	Figures  frontend.Figures
	Values   [FigureCount]float64
	Residual [FigureCount]float64 // value − wanted; for a figure not asked for, − what it was
	Moved    int                  // adjusters that leave where they stand

	score, asked, distance float64
}

// Outcome says how well an asked figure was met.
type Outcome uint8

// The outcomes.
const (
	Met    Outcome = iota // to 1e-9 rad or mm
	Nearby                // the adjusters stand only in steps; the nearest was taken
	Beyond                // past what the adjusters can reach; the end was taken
)

func (o Outcome) String() string { return [...]string{"met", "nearest step", "out of reach"}[o] }

// Answer is what Solve found.
type Answer struct {
	Best    Solution
	Next    *Solution // the next best setting that differs in a stepped adjuster; nil if none
	Outcome [FigureCount]Outcome
	Reach   [FigureCount][2]float64 // least and most that can be reached of a figure that was not met
	Reasons []string                // why a figure was not met, for a person
}

// OK reports whether every asked figure was met or is at the nearest step.
func (a *Answer) OK() bool {
	for _, o := range a.Outcome {
		if o == Beyond {
			return false
		}
	}
	return true
}

// exact is the residual that counts as none, in radians or mm.
const exact = 1e-9

const (
	usualKeep = 0.3
	// A millimetre of height against a radian.
	heightWeight = 0.001 // 1 mm counts as 0.057°
	// Among continuous adjusters the asked figures come first outright.
	keptPull = 1e-4
	// Kept caster or camber that moves by less than a gauge shows is not worth
	// another spanner (common practice). Toe is always restored.
	keptSlack = 0.05 * float64(geometry.Degree)
	// How much it counts that a figure leaves its bounds.
	outside = 20
	// maxCombos bounds the enumeration; 12-hole eccentrics at both ends of the
	// kingpin and five shims make 864.
	maxCombos = 200000
	// maxFree bounds the adjusters that are iterated together; karts have two.
	maxFree = 4
)

// ErrTooMany is returned for a corner with more combinations of stepped
// adjusters than can be tried.
var ErrTooMany = errors.New("this corner has too many combinations of adjuster positions to try them all")

// solver is the state of one Solve.
type solver struct {
	c     *Corner
	now   Setting
	was   [FigureCount]float64
	goal  Goal
	level float64

	stepped, free  []int                   // adjusters to enumerate, adjusters to iterate
	rod            int                     // −1 if none can move
	starts         int                     // starting points per free adjuster
	lead           int                     // the asked figure that comes first while one adjuster alone is iterated; -1 for all
	out, own, best Setting                 // working room for finish and settle
	seen           [FigureCount][2]float64 // least and most of each figure that finish has met
}

// keep returns the solution with its setting copied out of the solver's own,
// into old where that has room.
func (a Solution) keep(old Setting) Solution {
	a.Setting = append(old[:0], a.Setting...)
	return a
}

// Solve returns the setting that gives the goal, starting from where the
// corner stands now: every combination of the stepped adjusters, bounded
// Newton steps on the others, and the tie rod last, in closed form. Equal
// settings go to the one that touches fewer parts. A goal that cannot be met
// gives the nearest setting, with the outcome and the reason.
func (c *Corner) Solve(now Setting, goal Goal) (*Answer, error) {
	if goal.Keep == 0 {
		goal.Keep = usualKeep
	}
	s := &solver{c: c, now: now, goal: goal, level: c.level(), rod: -1, starts: 1}
	f, err := c.Figures(now)
	if err != nil {
		return nil, err
	}
	s.was = values(f, s.level)
	for q := range s.goal.Value {
		if !goal.Asked[q] {
			s.goal.Value[q] = s.was[q]
		}
	}
	combos := 1
	set := append(Setting(nil), now...)
	if goal.Steps != nil {
		s.starts = 0 // begin where that setting stands, and nowhere else
	}
	for i, a := range c.Adjusters {
		t := a.Travel()
		switch {
		case t.Fixed() || a.Part() == OnStub && !goal.Asked[Height]:
		case a.Part() == OnRod:
			if s.rod < 0 {
				s.rod = i
			}
		case goal.Steps != nil && (t.Step > 0 || math.Abs(goal.Steps[i]-now[i]) <= 1e-9):
			set[i] = goal.Steps[i]
		case t.Step > 0:
			s.stepped = append(s.stepped, i)
			combos *= int(math.Round((t.Max-t.Min)/t.Step)) + 1
			if combos > maxCombos {
				return nil, ErrTooMany
			}
		default:
			s.free = append(s.free, i)
			if w, ok := a.Adjuster.(Wraps); ok && w.Wraps() && s.starts > 0 {
				s.starts = 8
			}
		}
	}
	if len(s.free) > maxFree {
		return nil, ErrTooMany
	}
	s.out = make(Setting, len(now))
	for q := range s.seen {
		s.seen[q] = [2]float64{math.Inf(1), math.Inf(-1)}
	}
	var best, next Solution
	found := 0
	s.enumerate(set, 0, func(set Setting) {
		cand, ok := s.settle(set)
		if !ok {
			return
		}
		switch {
		case found == 0:
			best, found = cand.keep(best.Setting), 1
		case cand.same(&best):
			// Another way to the same figures is no alternative.
			if cand.better(&best) {
				best = cand.keep(best.Setting)
			}
		case cand.better(&best):
			best, next, found = cand.keep(next.Setting), best, 2
		case found == 1 || cand.better(&next):
			next, found = cand.keep(next.Setting), 2
		}
	})
	if found == 0 {
		return nil, fmt.Errorf("%v side: with no position of its adjusters can the tie rod join its two ends", c.Side)
	}
	a := &Answer{Best: best}
	if found > 1 {
		a.Next = &next
	}
	for _, sol := range []*Solution{&a.Best, a.Next} {
		if sol == nil {
			continue
		}
		if sol.Figures, err = c.Figures(sol.Setting); err != nil {
			return nil, err
		}
		sol.Values = values(sol.Figures, s.level)
		for q := range sol.Residual {
			sol.Residual[q] = sol.Values[q] - s.goal.Value[q]
		}
	}
	s.judge(a)
	return a, nil
}

// enumerate calls f with every combination of the stepped adjusters from the
// i-th on, in place.
func (s *solver) enumerate(set Setting, i int, f func(Setting)) {
	if i == len(s.stepped) {
		f(set)
		return
	}
	j := s.stepped[i]
	t := s.c.Adjusters[j].Travel()
	for p := t.Min; p <= t.Max+1e-9; p += t.Step {
		set[j] = p
		s.enumerate(set, i+1, f)
	}
	set[j] = s.now[j]
}

// settle finds the free adjusters' positions for one combination of the
// stepped ones and closes it with the tie rod. It tries every choice of which
// free adjusters to touch at all, because a part that brings next to nothing is
// to be left alone.
func (s *solver) settle(set Setting) (best Solution, found bool) {
	if len(s.free) == 0 {
		return s.finish(set)
	}
	var space [maxFree]float64
	x := space[:len(s.free)]
	for touched := range 1 << len(s.free) {
		var own Solution // the best with these
		any := false
		if s.goal.Steps != nil && touched != 1<<len(s.free)-1 {
			continue
		}
		starts := 1
		for k := range x {
			if touched>>k&1 == 1 {
				starts *= max(1, s.starts)
			}
		}
		for start := range starts {
			n := start
			for k, i := range s.free {
				x[k] = s.now[i]
				if touched>>k&1 == 0 {
					continue
				}
				if s.goal.Steps != nil {
					x[k] = s.goal.Steps[i] // nearly there
				}
				if m := n % max(1, s.starts); m > 0 {
					t := s.c.Adjusters[i].Travel()
					x[k] = t.Min + (t.Max-t.Min)*float64(m)/float64(s.starts)
				}
				n /= max(1, s.starts)
			}
			if touched != 0 {
				s.lead = s.mostMoved(set, x, touched)
				s.newton(set, x, touched)
			}
			for k, i := range s.free {
				set[i] = x[k]
			}
			if cand, ok := s.finish(set); ok && (!any || cand.better(&own)) {
				own, any = cand.keep(s.own), true
				s.own = own.Setting
			}
		}
		if any && (!found || own.worthMore(&best)) {
			best, found = own.keep(s.best), true
			s.best = best.Setting
		}
	}
	for _, i := range s.free {
		set[i] = s.now[i]
	}
	return best, found
}

// residuals are the weighted distances from the goal of everything but toe,
// with the wheel held at the wanted toe.
func (s *solver) residuals(set Setting, x []float64) (r [3]float64, ok bool) {
	for k, i := range s.free {
		set[i] = x[k]
	}
	shift := s.c.Shift(set)
	var p frontend.Pose
	if s.rod >= 0 {
		p, _, ok = s.c.Front.PoseAtToe(shift, geometry.Angle(s.goal.Value[Toe]))
	} else {
		var err error
		p, err = s.c.Front.Pose(shift, geometry.Turn{Cos: 1})
		ok = err == nil
	}
	if !ok {
		return r, false
	}
	for k, q := range [...]Figure{Caster, Camber, Height} {
		var v float64
		w := keptPull
		switch q {
		case Caster:
			v = float64(p.Caster())
		case Camber:
			v = float64(p.Camber())
		default:
			v, w = s.level-p.Contact().Z, 0
		}
		if s.goal.Asked[q] && (s.lead < 0 || s.lead == int(q)) {
			w = 1
		}
		if q == Height {
			w *= heightWeight
		}
		r[k] = w * (v - s.goal.Value[q])
	}
	return r, true
}

// values are the figures of a pose; the height only if it is asked for.
func (s *solver) values(p frontend.Pose) [FigureCount]float64 {
	v := [FigureCount]float64{float64(p.Caster()), float64(p.Camber()), float64(p.Toe()), s.was[Height]}
	if s.goal.Asked[Height] {
		v[Height] = s.level - p.Contact().Z
	}
	return v
}

// mostMoved returns, if touched names one adjuster only, the asked figure that
// it moves most: one screw cannot meet two figures, so it meets that one and
// does not give it up for the other. Otherwise it returns −1.
func (s *solver) mostMoved(set Setting, x []float64, touched int) int {
	if touched&(touched-1) != 0 {
		return -1
	}
	k := bits.TrailingZeros(uint(touched))
	t := s.c.Adjusters[s.free[k]].Travel()
	was := x[k]
	s.lead = -1
	before, ok1 := s.residuals(set, x)
	x[k] = was + 1e-3*(t.Max-t.Min)
	after, ok2 := s.residuals(set, x)
	x[k] = was
	best, most := -1, 0.
	for i, q := range [...]Figure{Caster, Camber, Height} {
		if d := math.Abs(after[i] - before[i]); ok1 && ok2 && s.goal.Asked[q] && d > most {
			best, most = int(q), d
		}
	}
	return best
}

// newton takes damped Gauss–Newton steps on the free adjusters within their
// travel, in place, on those that touched names by its bits. A position at its
// stop stays there while the goal lies beyond it.
func (s *solver) newton(set Setting, x []float64, touched int) {
	n := len(x)
	cost := func(r [3]float64) float64 { return float64(r[0]*r[0]) + float64(r[1]*r[1]) + float64(r[2]*r[2]) }
	r, ok := s.residuals(set, x)
	if !ok {
		return
	}
	var jacSpace [maxFree][3]float64
	var trialSpace [maxFree]float64
	jac, trial := jacSpace[:n], trialSpace[:n]
	damping := 0.
	for range 60 {
		for k, i := range s.free {
			if touched>>k&1 == 0 {
				continue
			}
			span := s.c.Adjusters[i].Travel()
			h := 1e-5 * (span.Max - span.Min)
			copy(trial, x)
			trial[k] = x[k] + h
			up, ok1 := s.residuals(set, trial)
			trial[k] = x[k] - h
			down, ok2 := s.residuals(set, trial)
			if !ok1 || !ok2 {
				return
			}
			for m := range up {
				jac[k][m] = (up[m] - down[m]) / (2 * h)
			}
		}
		var held [maxFree]bool
		for k := range x {
			held[k] = touched>>k&1 == 0
		}
		improved := false
		for range n + 1 {
			step, ok := gaussNewton(jac, r, held, damping)
			if !ok {
				break
			}
			newlyHeld := false
			for k, i := range s.free {
				t := s.c.Adjusters[i].Travel()
				trial[k] = math.Max(t.Min, math.Min(t.Max, x[k]+step[k]))
				if !held[k] && trial[k] != x[k]+step[k] && trial[k] == x[k] {
					held[k], newlyHeld = true, true
				}
			}
			if newlyHeld {
				continue
			}
			tiny := true
			for k, i := range s.free {
				t := s.c.Adjusters[i].Travel()
				tiny = tiny && math.Abs(trial[k]-x[k]) <= 1e-13*(t.Max-t.Min)
			}
			if tiny {
				return
			}
			if rt, ok := s.residuals(set, trial); ok && cost(rt) < cost(r) {
				improved = true
				r = rt
				copy(x, trial)
				damping /= 10
				if damping < 1e-12 {
					damping = 0
				}
			}
			break
		}
		if !improved {
			if damping > 1e6 || cost(r) < 1e-30 {
				return
			}
			damping = math.Max(damping*100, 1e-2)
		}
	}
}

// gaussNewton solves (JᵀJ + d·diag JᵀJ) step = −Jᵀr for the positions not
// held, by elimination; ok is false if nothing is left to move.
func gaussNewton(jac [][3]float64, r [3]float64, held [maxFree]bool, damping float64) (step [maxFree]float64, ok bool) {
	var space [maxFree]int
	idx := space[:0]
	for k := range jac {
		if !held[k] && jac[k] != [3]float64{} {
			idx = append(idx, k)
		}
	}
	if len(idx) == 0 {
		return step, false
	}
	dot := func(a, b [3]float64) float64 { return float64(a[0]*b[0]) + float64(a[1]*b[1]) + float64(a[2]*b[2]) }
	m := len(idx)
	var a [maxFree][maxFree + 1]float64
	for i, p := range idx {
		for j, q := range idx {
			a[i][j] = dot(jac[p], jac[q])
		}
		a[i][i] *= 1 + damping + 1e-15
		a[i][m] = -dot(jac[p], r)
	}
	for i := range m {
		pivot := i
		for j := i + 1; j < m; j++ {
			if math.Abs(a[j][i]) > math.Abs(a[pivot][i]) {
				pivot = j
			}
		}
		a[i], a[pivot] = a[pivot], a[i]
		if a[i][i] == 0 {
			return step, false
		}
		for j := range m {
			if j == i {
				continue
			}
			f := a[j][i] / a[i][i]
			for k := i; k <= m; k++ {
				a[j][k] -= float64(f * a[i][k])
			}
		}
	}
	for i, p := range idx {
		step[p] = a[i][m] / a[i][i]
	}
	return step, true
}

// finish sets the tie rod for the wanted toe, within its travel and steps, and
// feeds the whole setting forward.
func (s *solver) finish(set Setting) (Solution, bool) {
	out := s.out
	copy(out, set)
	shift := s.c.Shift(out)
	if s.rod >= 0 {
		rod := s.c.Adjusters[s.rod]
		lead := float64(rod.Shift(1).Rod)
		shift.Rod = 0
		_, change, ok := s.c.Front.PoseAtToe(shift, geometry.Angle(s.goal.Value[Toe]))
		if !ok {
			return Solution{}, false
		}
		out[s.rod] = rod.Travel().Clamp(float64(change) / lead)
		shift.Rod = rod.Shift(out[s.rod]).Rod
	}
	p, err := s.c.Front.Pose(shift, geometry.Turn{Cos: 1})
	if err != nil {
		return Solution{}, false
	}
	sol := Solution{Setting: out, Values: s.values(p)}
	for q, v := range sol.Values {
		s.seen[q][0], s.seen[q][1] = math.Min(s.seen[q][0], v), math.Max(s.seen[q][1], v)
	}
	for q := range sol.Residual {
		sol.Residual[q] = sol.Values[q] - s.goal.Value[q]
		r, w := math.Abs(sol.Residual[q]), 1.
		if !s.goal.Asked[q] {
			switch w = s.goal.Keep; Figure(q) {
			case Caster, Camber:
				r = math.Max(0, r-keptSlack)
			case Height:
				w = 0
			}
		}
		if Figure(q) == Height {
			w *= heightWeight
		}
		if s.goal.Bounded[q] {
			lo, hi := math.Min(s.goal.Within[q][0], s.was[q]), math.Max(s.goal.Within[q][1], s.was[q])
			if out := math.Max(lo-sol.Values[q], sol.Values[q]-hi); out > exact {
				sol.score = math.Hypot(sol.score, outside*out)
			}
		}
		sol.score = math.Hypot(sol.score, w*r)
		if s.goal.Asked[q] {
			sol.asked = math.Hypot(sol.asked, w*r)
		}
	}
	for i, a := range s.c.Adjusters {
		if d := math.Abs(out[i] - s.now[i]); d > 1e-9 {
			sol.Moved++
			t := a.Travel()
			sol.distance += d / (t.Max - t.Min)
		}
	}
	// What is closer than a hundred-thousandth of a degree is equal.
	sol.score = math.Round(sol.score / (1e-5 * float64(geometry.Degree)))
	return sol, true
}

// worthMore reports whether a, which touches other parts than b, is worth that:
// it meets what is asked better, or the rest better by more than a gauge shows.
func (a *Solution) worthMore(b *Solution) bool {
	const shows = 2000 // scores, 0.02°
	if math.Abs(a.asked-b.asked) > exact {
		if a.score == b.score {
			return a.asked < b.asked // a goal a hair away is still to be met
		}
		return a.better(b)
	}
	return a.score < b.score-shows || a.score <= b.score && a.Moved < b.Moved
}

// same reports whether both give the same figures.
func (a *Solution) same(b *Solution) bool {
	for q := range a.Values {
		if math.Abs(a.Values[q]-b.Values[q]) > 1e-7 {
			return false
		}
	}
	return true
}

// better reports whether a is to be preferred to b: closer to the goal, then
// fewer parts touched, then less turned, then the lower positions.
func (a *Solution) better(b *Solution) bool {
	switch {
	case a.score != b.score:
		return a.score < b.score
	case a.Moved != b.Moved:
		return a.Moved < b.Moved
	case math.Abs(a.distance-b.distance) > 1e-9:
		return a.distance < b.distance
	}
	for i := range a.Setting {
		if a.Setting[i] != b.Setting[i] {
			return a.Setting[i] < b.Setting[i]
		}
	}
	return false
}

// judge says of each asked figure whether it was met and, if not, why.
func (s *solver) judge(a *Answer) {
	missed := false
	for q := range FigureCount {
		if s.goal.Asked[q] && math.Abs(a.Best.Residual[q]) > exact {
			a.Outcome[q], missed = Nearby, true
		}
	}
	if !missed {
		return
	}
	a.Reach = s.reach()
	for q := range FigureCount {
		if a.Outcome[q] != Nearby {
			continue
		}
		want := s.goal.Value[q]
		lo, hi := a.Reach[q][0], a.Reach[q][1]
		f := Figure(q)
		switch {
		case hi-lo < exact || f == Height && !s.hasShims():
			a.Outcome[q] = Beyond
			a.Reasons = append(a.Reasons, fmt.Sprintf("nothing on this kart changes its %v%s", f, s.why()))
		case want < lo-exact || want > hi+exact:
			a.Outcome[q] = Beyond
			a.Reasons = append(a.Reasons, fmt.Sprintf("%v can be set from %s to %s; %s is out of reach", f, Say(f, lo), Say(f, hi), Say(f, want)))
		case len(s.stepped) > 0 || s.rod >= 0 && s.c.Adjusters[s.rod].Travel().Step > 0:
			a.Reasons = append(a.Reasons, fmt.Sprintf("%v goes in steps; %s is the nearest to %s that suits the rest", f, Say(f, a.Best.Values[q]), Say(f, want)))
		default:
			a.Outcome[q] = Beyond
			a.Reasons = append(a.Reasons, fmt.Sprintf("%v of %s cannot be had together with the rest; %s is the nearest", f, Say(f, want), Say(f, a.Best.Values[q])))
		}
	}
}

// hasShims reports whether the corner has an adjuster of its height.
func (s *solver) hasShims() bool {
	for _, a := range s.c.Adjusters {
		if a.Part() == OnStub && !a.Travel().Fixed() {
			return true
		}
	}
	return false
}

// Say prints a figure's value as a person reads it.
func Say(f Figure, v float64) string {
	if f.IsLength() {
		return geometry.Length(v).String()
	}
	return geometry.Angle(v).String()
}

// why collects the reasons that fixed adjusters give.
func (s *solver) why() string {
	var out []string
	for _, a := range s.c.Adjusters {
		if b, ok := a.Adjuster.(interface{ Because() string }); ok && b.Because() != "" {
			out = append(out, b.Because())
		}
	}
	if len(out) == 0 {
		return ""
	}
	return ": " + strings.Join(out, "; ")
}

// reach returns the least and most of each figure over all that the adjusters
// can do: every combination of the stepped ones, which Solve has been through,
// with the others at both ends (and all the way round, for those that come
// round), and for toe the tie rod's own ends.
func (s *solver) reach() [FigureCount][2]float64 {
	set := append(Setting(nil), s.now...)
	var walk func(k int)
	walk = func(k int) {
		if k == len(s.free) {
			s.finish(set)
			return
		}
		a := s.c.Adjusters[s.free[k]]
		t, n := a.Travel(), 1
		if w, ok := a.Adjuster.(Wraps); ok && w.Wraps() {
			n = 36
		}
		for m := 0; m <= n; m++ {
			set[s.free[k]] = t.Min + (t.Max-t.Min)*float64(m)/float64(n)
			walk(k + 1)
		}
		set[s.free[k]] = s.now[s.free[k]]
	}
	if len(s.free) > 0 {
		s.enumerate(set, 0, func(Setting) { walk(0) })
	}
	if s.rod >= 0 {
		copy(set, s.now)
		t := s.c.Adjusters[s.rod].Travel()
		for _, p := range []float64{t.Min, t.Max} {
			set[s.rod] = p
			if v, err := s.c.Values(set); err == nil {
				s.seen[Toe][0], s.seen[Toe][1] = math.Min(s.seen[Toe][0], v[Toe]), math.Max(s.seen[Toe][1], v[Toe])
			}
		}
	}
	return s.seen
}
