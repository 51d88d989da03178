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

// Title says the change: "more caster".
func (s *Suggestion) Title() string {
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
	if err := a.suggest(result); err != nil {
		return nil, err
	}
	flips, err := r.Rules.Flips(r.Facts)
	if err != nil {
		return nil, err
	}
	for _, f := range flips {
		switch {
		case f.Key == "symptom":
			// Every other complaint would give other advice: not worth saying.
		case f.Was == "":
			a.Missing = append(a.Missing, f)
		default:
			a.Turning = append(a.Turning, f)
		}
	}
	condition, others := a.complaints()
	switch {
	case condition && !others:
		// The complaint is about the kart's condition: no setting cures that.
		a.Status, a.First, a.Alternatives = CheckFirst, nil, nil
	case a.First != nil:
		a.Status = TryThis
	case condition:
		a.Status = CheckFirst
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
	// The one change to try first is one of the front end if any will do.
	first := slices.IndexFunc(found, func(s Suggestion) bool { return s.Move.Lever == "front" })
	if first < 0 && len(found) > 0 {
		first = 0
	}
	if first >= 0 {
		a.First = &found[first]
		a.Alternatives = append(slices.Clone(found[:first]), found[first+1:]...)
	}
	return nil
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
	if l, bound, ok := a.bound(figure, &want); ok {
		if want*asked <= 0 || math.Abs(want) < 0.2*math.Abs(asked) {
			return &Refusal{s.Move, s.Title(), []string{fmt.Sprintf("%s is at %s already, %s", s.Move.Title, l.Whose(k), bound)}}, nil
		}
		s.Notes = append(s.Notes, fmt.Sprintf("the rules ask for %s; %s (%s) allows %s", sayBy(figure, asked), l.Whose(k), bound, sayBy(figure, want)))
	}
	job := Job{Kart: k, From: k.Present, Sides: frontend.Sides[:], Wants: [2][]Want{{{figure, want, true}}, {{figure, want, true}}}, Keep: keep}
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
	s.Plan = plan
	s.Notes = append(s.Notes, plan.Reasons()...)
	return nil, nil
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
		if l.Of != limitOf(f) || l.Of == "" {
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
