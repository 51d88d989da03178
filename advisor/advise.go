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
	"kartwright/rules"
)

// Request is what advice is asked for.
type Request struct {
	Kart  *profile.Kart
	Rules *rules.Set
	Facts rules.Facts
}

// Status says what kind of answer advice is.
type Status string

// The kinds of answer.
const (
	TryThis    Status = "advice"      // there is a change to try first
	CheckFirst Status = "check first" // the complaint points at the kart's condition, not at a setting
	Undecided  Status = "undecided"   // the rules contradict each other exactly, or the trade does
	NoAdvice   Status = "no advice"   // nothing speaks, or the kart can do none of it
)

// Advice is the answer to a request.
type Advice struct {
	Request      Request
	Status       Status
	First        *Suggestion
	Alternatives []Suggestion
	Refused      []Refusal
	Undecided    []rules.Verdict // moves with as much for as against
	Checks       []rules.Check
	Missing      []rules.Flip // what, if it were said, would change or create advice
	Turning      []rules.Flip // what, if it were otherwise, would turn the advice round
	Verdicts     []rules.Verdict
	Uneven       []string // figures in which the two sides differ already
	Equal        *Plan    // what would make the right side like the left, if the adjusters can do it
	Unusual      []string // figures that are far out already, to be set right first
}

// Suggestion is one change.
type Suggestion struct {
	Verdict rules.Verdict
	Move    rules.Move
	Score   float64 // net belief, discounted by what says to leave the move alone
	Amount  float64 // signed, in the move's unit: what is asked of the kart
	Plan    *Plan   // nil for a move that this kart has no adjuster for
	Notes   []string
	For     []rules.Firing // winning side, strongest first
	Against []rules.Firing
	Leave   []rules.Firing
}

// Title says the change: "more caster". Toe and camber on the far side of zero
// are called what they are.
func (s *Suggestion) Title() string {
	if s.Plan != nil && len(s.Plan.Sides) > 0 {
		f, was := levers[s.Move.ID], geometry.Angle(s.Plan.Sides[0].Was[levers[s.Move.ID]])
		after := geometry.Angle(s.Plan.Sides[0].Answer.Best.Values[f])
		if was > 0.02*geometry.Degree && s.Amount < 0 {
			word := map[adjust.Figure]string{adjust.Toe: "toe-in", adjust.Camber: "positive camber"}[f]
			switch {
			case word == "":
			case after >= 0:
				return "less " + word
			default:
				return "from " + word + " to " + strings.TrimPrefix(s.Move.Decrease, "more ")
			}
		}
	}
	if s.Amount < 0 {
		return s.Move.Decrease
	}
	return s.Move.Increase
}

// Actual returns by how much the plan moves the angle on each side; ok is false
// if there is no plan, the move is no angle, or the sides differ by more than a
// hundredth of a degree.
func (s *Suggestion) Actual() (by geometry.Angle, ok bool) {
	f, known := levers[s.Move.ID]
	if s.Plan == nil || !known || f.IsLength() {
		return 0, false
	}
	for i, side := range s.Plan.Sides {
		d := geometry.Angle(side.Answer.Best.Values[f] - side.Was[f])
		if i > 0 && !d.Near(by, 0.01*geometry.Degree) {
			return 0, false
		}
		by = d
	}
	return by, true
}

// Cautions collects those of the rules that speak for the change.
func (s *Suggestion) Cautions() []string {
	var out []string
	for _, f := range s.For {
		for _, c := range f.Rule.Cautions {
			if !slices.Contains(out, c) {
				out = append(out, c)
			}
		}
	}
	return out
}

// Refusal is a change that the rules want and this kart cannot make.
type Refusal struct {
	Move    rules.Move
	Title   string
	Reasons []string
}

const (
	// A net belief below this is not worth a spanner.
	weak = 0.1
	// A front-end change comes first if it scores this share of the best change.
	frontShare = 0.6
	// Rules ask for a step of about a size, so advice weighs what else moves
	// more than somebody does who dials a figure.
	keep = 0.6
	// A side-to-side difference that a gauge shows (0.1°, common practice).
	uneven = 0.1 * geometry.Degree
)

// levers are the moves whose turns the geometry knows, by the names that rule
// sets give them.
var levers = map[string]adjust.Figure{"caster": adjust.Caster, "camber": adjust.Camber, "toe": adjust.Toe, "front_height": adjust.Height}

// Advise answers a request. The error says what is wrong with the facts, or
// that the kart cannot be computed.
func Advise(r Request) (*Advice, error) {
	result, err := r.Rules.Evaluate(r.Facts)
	if err != nil {
		return nil, err
	}
	before, err := r.Kart.Figures(r.Kart.Present)
	if err != nil {
		return nil, err
	}
	a := &Advice{Request: r, Verdicts: result.Verdicts, Checks: result.Checks, Uneven: unevenSides(before)}
	if err := a.present(before); err != nil {
		return nil, err
	}
	if err := a.suggest(result); err != nil {
		return nil, err
	}
	flips, err := r.Rules.Flips(r.Facts)
	if err != nil {
		return nil, err
	}
	for _, f := range flips {
		f.Changes = slices.DeleteFunc(slices.Clone(f.Changes), func(c rules.Change) bool { return !a.canMove(c.Move) })
		switch {
		case f.Key == "symptom" || len(f.Changes) == 0:
			// Every other complaint would give other advice, and what this kart
			// cannot do anyway is not worth saying either.
		case f.Was == "":
			a.Missing = append(a.Missing, f)
		default:
			a.Turning = append(a.Turning, f)
		}
	}
	condition, others := a.complaints()
	switch {
	case condition:
		// Something is wrong with the kart: no setting before that is put right.
		a.Status = CheckFirst
		if a.First != nil {
			a.Alternatives = append([]Suggestion{*a.First}, a.Alternatives...)
		}
		a.First = nil
		if !others {
			a.Alternatives = nil
		}
	case a.First != nil:
		a.Status = TryThis
	case slices.ContainsFunc(a.Undecided, func(v rules.Verdict) bool { _, front := levers[v.Move]; return front }):
		a.Status = Undecided
	default:
		a.Status = NoAdvice
	}
	return a, nil
}

// complaints reports whether any complaint is one that is answered by looking
// at the kart, and whether any is not.
func (a *Advice) complaints() (condition, others bool) {
	checkFirst := map[string]bool{}
	for _, w := range a.Request.Rules.Vocabulary().Symptoms {
		checkFirst[w.ID] = w.CheckFirst
	}
	for _, s := range a.Request.Facts.Symptoms {
		switch {
		case s.Absent:
		case checkFirst[s.ID]:
			condition = true
		default:
			others = true
		}
	}
	return condition, others
}

func (a *Advice) suggest(result rules.Result) error {
	moves := map[string]rules.Move{}
	for _, m := range a.Request.Rules.Vocabulary().Moves {
		moves[m.ID] = m
	}
	var found []Suggestion
	for _, v := range result.Verdicts {
		m := moves[v.Move]
		switch v.Status {
		case rules.None:
			continue
		case rules.Conflict:
			a.Undecided = append(a.Undecided, v)
			continue
		}
		s := Suggestion{Verdict: v, Move: m, Amount: v.Amount, Score: math.Abs(v.Net) * (1 - v.Hold)}
		for _, f := range v.Fired {
			switch {
			case f.Direction == v.Direction:
				s.For = append(s.For, f)
			case f.Direction == 0:
				s.Leave = append(s.Leave, f)
			default:
				s.Against = append(s.Against, f)
			}
		}
		for _, list := range [][]rules.Firing{s.For, s.Against, s.Leave} {
			sort.SliceStable(list, func(i, j int) bool { return list[i].Share > list[j].Share })
		}
		if v.Hold > math.Abs(v.Net) || s.Score < weak {
			if v.Hold <= math.Abs(v.Net) {
				a.Undecided = append(a.Undecided, v)
			} else {
				a.Refused = append(a.Refused, Refusal{m, s.Title(), []string{"leave it alone for this complaint: " + reason(s.Leave)}})
			}
			continue
		}
		refused, err := a.plan(&s)
		switch {
		case err != nil:
			return err
		case refused != nil:
			a.Refused = append(a.Refused, *refused)
		default:
			found = append(found, s)
		}
	}
	sort.SliceStable(found, func(i, j int) bool { return found[i].Score > found[j].Score })
	if first := firstOf(found); first >= 0 {
		a.First = &found[first]
		a.Alternatives = append(slices.Clone(found[:first]), found[first+1:]...)
	}
	return nil
}

// firstOf is the one of suggestions, best first, to try first: one of the front
// end, unless something else is plainly better. It is -1 for none.
func firstOf(found []Suggestion) int {
	if len(found) == 0 {
		return -1
	}
	return max(0, slices.IndexFunc(found, func(s Suggestion) bool {
		return s.Move.Lever == "front" && s.Score >= frontShare*found[0].Score
	}))
}

// Demote gives the first place to another suggestion if one has not failed
// before, when the first has, and reports whether it did. The suggestion that
// was first then leads the alternatives.
func (a *Advice) Demote(failed func(*Suggestion) bool) bool {
	if a.First == nil || !failed(a.First) {
		return false
	}
	var fresh, rest []Suggestion
	for _, s := range a.Alternatives {
		if failed(&s) {
			rest = append(rest, s)
		} else {
			fresh = append(fresh, s)
		}
	}
	i := firstOf(fresh)
	if i < 0 {
		return false
	}
	was := *a.First
	a.First = &fresh[i]
	a.Alternatives = slices.Concat([]Suggestion{was}, fresh[:i], fresh[i+1:], rest)
	return true
}

func reason(fired []rules.Firing) string {
	if len(fired) == 0 {
		return ""
	}
	return strings.TrimSuffix(fired[0].Rule.Because, ".")
}

// plan turns the suggestion into work on the kart, within its limits. It
// returns a refusal if the kart cannot do it.
func (a *Advice) plan(s *Suggestion) (*Refusal, error) {
	k := a.Request.Kart
	figure, known := levers[s.Move.ID]
	if !known || figure == adjust.Height && shimStep(k) == 0 {
		return nil, nil // direction and usual step only
	}
	want := s.Amount * figureScale(figure, s.Move.Unit)
	if figure == adjust.Height && s.Move.Unit == "step" {
		want = s.Amount * shimStep(k)
	}
	asked := want
	if stop, by, err := a.stop(s, figure, want); err != nil {
		return nil, err
	} else if stop != nil {
		if by*asked <= 0 || math.Abs(by) < 0.2*math.Abs(asked) {
			return &Refusal{s.Move, s.Title(), []string{stop.Because}}, nil
		}
		if by != want {
			s.Notes = append(s.Notes, fmt.Sprintf("the rules ask for %s; %s is taken: %s", sayBy(figure, want), sayBy(figure, by), stop.Because))
		}
		want = by
	}
	if l, bound, ok := a.bound(figure, &want); ok {
		if want*asked <= 0 || math.Abs(want) < 0.2*math.Abs(asked) {
			return &Refusal{s.Move, s.Title(), []string{fmt.Sprintf("%s is at %s already, %s", s.Move.Title, l.Whose(k), bound)}}, nil
		}
		s.Notes = append(s.Notes, fmt.Sprintf("the rules ask for %s; %s (%s) allows %s", sayBy(figure, asked), l.Whose(k), bound, sayBy(figure, want)))
	}
	job := Job{Kart: k, From: k.Present, Sides: frontend.Sides[:], Wants: [2][]Want{{{figure, want, true}}, {{figure, want, true}}}, Keep: keep, Limits: true}
	plan, err := NewPlan(job)
	if err != nil {
		return nil, err
	}
	// Stepped adjusters may have no step as small as what is asked: take the
	// smallest that goes the right way, if it is not far more than was asked.
	for _, more := range []float64{1.5, 2, 3} {
		if useful(plan, figure, want) || !stepped(plan, figure) {
			break
		}
		job.Wants = [2][]Want{{{figure, want * more, true}}, {{figure, want * more, true}}}
		if plan, err = NewPlan(job); err != nil {
			return nil, err
		}
	}
	if !useful(plan, figure, want) {
		reasons := plan.Reasons()
		if len(reasons) == 0 || stepped(plan, figure) {
			reasons = []string{fmt.Sprintf("this kart's smallest step of %s is far more than the %s that is wanted", s.Move.Title, sayBy(figure, want))}
		}
		return &Refusal{s.Move, s.Title(), reasons}, nil
	}
	if out := newlyOutside(k, plan); len(out) > 0 {
		return &Refusal{s.Move, s.Title(), []string{"with this kart's adjusters it would leave a limit: " + strings.Join(out, "; ")}}, nil
	}
	s.Plan = plan
	s.Score *= cleanness(plan, figure, asked)
	s.Notes = append(s.Notes, plan.Reasons()...)
	return nil, nil
}

// present looks at the kart as it stands: sides that differ, figures that are
// far out.
func (a *Advice) present(before [2]frontend.Figures) error {
	k := a.Request.Kart
	for _, m := range a.Request.Rules.Vocabulary().Moves {
		f, ok := levers[m.ID]
		if !ok || f.IsLength() {
			continue
		}
		for _, s := range frontend.Sides {
			v, err := k.Corners[s].Values(k.Present[s])
			if err != nil {
				return err
			}
			d := geometry.Angle(v[f]).Degrees()
			for _, stop := range []*rules.Stop{m.Floor, m.Ceiling} {
				if stop == nil || stop == m.Floor && d > stop.At-farOut[f] || stop == m.Ceiling && d < stop.At+farOut[f] {
					continue
				}
				a.Unusual = append(a.Unusual, fmt.Sprintf("%v %s is %s: %s", s, m.Title, sayFigure(f, geometry.Angle(v[f])), stop.Because))
			}
		}
	}
	if len(a.Uneven) == 0 {
		return nil
	}
	left, err := k.Corners[0].Values(k.Present[0])
	if err != nil {
		return err
	}
	var wants []Want
	for _, f := range []adjust.Figure{adjust.Caster, adjust.Camber, adjust.Toe} {
		wants = append(wants, Want{Figure: f, Value: left[f]})
	}
	plan, err := NewPlan(Job{Kart: k, From: k.Present, Sides: []frontend.Side{frontend.Right}, Wants: [2][]Want{nil, wants}, Limits: true})
	if err != nil {
		return err
	}
	if plan.Moved() && len(unevenSides(plan.After)) < len(a.Uneven) {
		a.Equal = plan
	}
	return nil
}

// farOut is how far beyond its stop a figure is worth a word of its own, in
// degrees: about a millimetre of toe, half a degree of camber, a degree of
// caster.
var farOut = map[adjust.Figure]float64{adjust.Caster: 1, adjust.Camber: 0.5, adjust.Toe: 0.2}

func sayFigure(f adjust.Figure, a geometry.Angle) string {
	if f == adjust.Toe {
		return ToeText(a, geometry.Units{})
	}
	return a.String()
}

// stop shortens a wanted change so that no side goes beyond where advice on the
// move ends. It returns the stop that did so, or nil.
func (a *Advice) stop(s *Suggestion, f adjust.Figure, want float64) (*rules.Stop, float64, error) {
	stop := s.Move.Ceiling
	if want < 0 {
		stop = s.Move.Floor
	}
	if stop == nil || f.IsLength() {
		return nil, want, nil
	}
	k := a.Request.Kart
	end := stop.At * figureScale(f, s.Move.Unit)
	by := want
	for _, side := range frontend.Sides {
		v, err := k.Corners[side].Values(k.Present[side])
		if err != nil {
			return nil, 0, err
		}
		if want > 0 {
			by = math.Min(by, math.Max(0, end-v[f]))
		} else {
			by = math.Max(by, math.Min(0, end-v[f]))
		}
	}
	if by == want {
		return nil, want, nil
	}
	return stop, by, nil
}

// canMove reports whether this kart has an adjuster for a move; moves whose
// turns the geometry does not know are the owner's business.
func (a *Advice) canMove(move string) bool {
	f, ok := levers[move]
	if !ok {
		return true
	}
	for _, adj := range a.Request.Kart.Corners[0].Adjusters {
		if adj.Travel().Fixed() {
			continue
		}
		switch part := adj.Part(); {
		case f == adjust.Toe && part == adjust.OnRod, f == adjust.Height && part == adjust.OnStub,
			(f == adjust.Caster || f == adjust.Camber) && part == adjust.OnPivot:
			return true
		}
	}
	return f == adjust.Height // then direction and usual step only
}

// newlyOutside names the limits that the plan leaves and the kart did not.
func newlyOutside(k *profile.Kart, p *Plan) []string {
	was := limitWarnings(k, p.Before)
	var out []string
	for _, w := range p.Warnings {
		// A figure that stood outside before is named again with its new value.
		what, _, _ := strings.Cut(w, " of ")
		if !slices.ContainsFunc(was, func(b string) bool { return strings.HasPrefix(b, what+" of ") }) {
			out = append(out, w)
		}
	}
	return out
}

// cleanness is how much of a suggestion's score remains for what else its plan
// moves and for missing the size that was asked: 1 for neither. A usual step of
// another figure halves it.
func cleanness(p *Plan, f adjust.Figure, asked float64) float64 {
	var worst float64
	for _, s := range p.Sides {
		cost := 0.
		for q, usual := range map[adjust.Figure]geometry.Angle{adjust.Caster: geometry.Degree, adjust.Camber: 0.5 * geometry.Degree} {
			if q != f {
				cost += math.Abs(s.Answer.Best.Values[q]-s.Was[q]) / float64(usual)
			}
		}
		if got := s.Answer.Best.Values[f] - s.Was[f]; math.Abs(got) > math.Abs(asked) {
			cost += math.Abs(got/asked) - 1
		}
		worst = math.Max(worst, cost)
	}
	return 1 / (1 + worst)
}

// useful reports whether the plan takes the figure the right way on both
// sides, at least half of what is wanted.
func useful(p *Plan, f adjust.Figure, want float64) bool {
	for _, s := range p.Sides {
		if got := s.Answer.Best.Values[f] - s.Was[f]; got/want < 0.5 {
			return false
		}
	}
	return true
}

// stepped reports whether it is for want of a fine enough step that the plan
// does not do what it should.
func stepped(p *Plan, f adjust.Figure) bool {
	for _, s := range p.Sides {
		if s.Answer.Outcome[f] == adjust.Nearby {
			return true
		}
	}
	return false
}

// bound shortens want so that both sides stay inside the figure's limits. It
// returns the limit that did so and its text; ok is false if none did.
func (a *Advice) bound(f adjust.Figure, want *float64) (by profile.Limit, text string, ok bool) {
	k := a.Request.Kart
	for _, l := range k.Limits {
		if q, ok := figureOfLimit[l.Of]; !ok || q != f {
			continue
		}
		for _, s := range frontend.Sides {
			v, err := k.Corners[s].Values(k.Present[s])
			if err != nil {
				continue // reported by the plan
			}
			if end := v[f] + *want; *want > 0 && end > l.Hi {
				*want, by, ok = math.Max(0, l.Hi-v[f]), l, true
			} else if *want < 0 && end < l.Lo {
				*want, by, ok = math.Min(0, l.Lo-v[f]), l, true
			}
		}
	}
	return by, by.Text(geometry.Units{}), ok
}

// shimStep is the height of one shim, 0 without any.
func shimStep(k *profile.Kart) float64 {
	for _, a := range k.Corners[0].Adjusters {
		if a.Part() == adjust.OnStub {
			p := a.Standard()
			return math.Abs(float64(a.Shift(p+1).Slide - a.Shift(p).Slide))
		}
	}
	return 0
}

// unevenSides names the figures in which the sides differ by more than a gauge
// can overlook.
func unevenSides(f [2]frontend.Figures) []string {
	u := geometry.Units{}
	var out []string
	for _, q := range []struct {
		name string
		v    [2]geometry.Angle
	}{{"caster", [2]geometry.Angle{f[0].Caster, f[1].Caster}}, {"camber", [2]geometry.Angle{f[0].Camber, f[1].Camber}}, {"toe", [2]geometry.Angle{f[0].Toe, f[1].Toe}}} {
		if !q.v[0].Near(q.v[1], uneven) {
			out = append(out, fmt.Sprintf("%s: left %s, right %s", q.name, u.Angle(q.v[0]), u.Angle(q.v[1])))
		}
	}
	return out
}

// figureScale is one of a move's unit in the figure's own, radians or mm.
func figureScale(f adjust.Figure, unit string) float64 {
	if f == adjust.Height || unit == "mm" {
		return 1
	}
	return float64(geometry.Degree)
}

func sayBy(f adjust.Figure, v float64) string {
	if f.IsLength() {
		return geometry.Units{}.LengthBy(geometry.Length(v))
	}
	return geometry.Units{}.AngleBy(geometry.Angle(v))
}
