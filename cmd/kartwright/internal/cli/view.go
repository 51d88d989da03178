package cli

import (
	"math"

	"kartwright/advisor"
	"kartwright/advisor/profile"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
	"kartwright/rules"
)

// The JSON forms of answers. Angles are degrees, lengths millimetres, rounded
// to a billionth so that every machine prints the same.

func round(v float64) float64          { return math.Round(v*1e9)/1e9 + 0 }
func degrees(a geometry.Angle) float64 { return round(a.Degrees()) }

type figuresJSON struct {
	Caster float64 `json:"caster_deg"`
	KPI    float64 `json:"kpi_deg"`
	Camber float64 `json:"camber_deg"`
	Toe    float64 `json:"toe_deg"`
	ToeMM  float64 `json:"toe_mm_over_255" jsonschema_description:"one wheel, over a straight edge of 255 mm, + = toe-in"`
	Trail  float64 `json:"trail_mm"`
	Offset float64 `json:"steering_axis_offset_mm"`
}

func viewFigures(f frontend.Figures) figuresJSON {
	return figuresJSON{
		degrees(f.Caster), degrees(f.KPI), degrees(f.Camber), degrees(f.Toe),
		round(float64(frontend.ToeLength(f.Toe, advisor.RimLength))), round(float64(f.Trail)), round(float64(f.Offset)),
	}
}

type moveJSON struct {
	Adjuster    string   `json:"adjuster"`
	From        float64  `json:"from"`
	To          float64  `json:"to"`
	By          float64  `json:"by" jsonschema_description:"in the adjuster's own positions: turns, holes, degrees, shims"`
	FromText    string   `json:"from_text"`
	ToText      string   `json:"to_text"`
	Instruction string   `json:"instruction"`
	GaugeFrom   *float64 `json:"gauge_from_mm,omitempty"`
	GaugeTo     *float64 `json:"gauge_to_mm,omitempty"`
	LeftDown    float64  `json:"travel_left_down" jsonschema_description:"positions left to the lower end of its travel"`
	LeftUp      float64  `json:"travel_left_up" jsonschema_description:"positions left to the upper end of its travel"`
}

type sideJSON struct {
	Moves    []moveJSON         `json:"moves"`
	Before   figuresJSON        `json:"before"`
	After    figuresJSON        `json:"after"`
	Outcome  map[string]string  `json:"outcome,omitempty" jsonschema_description:"by figure asked for: met, nearest step, out of reach"`  // by figure that was asked for
	Residual map[string]float64 `json:"residual,omitempty" jsonschema_description:"by figure asked for: got minus wanted, degrees or mm"` // got − wanted; degrees, mm
	Next     *nextJSON          `json:"next_best,omitempty" jsonschema_description:"the next best setting that differs in a stepped adjuster"`
}

type nextJSON struct {
	Setting map[string]string `json:"setting"`
	Figures figuresJSON       `json:"figures"`
}

type stepJSON struct {
	Side string `json:"side" jsonschema_description:"left, right, each (the same on both), or kart"`
	Text string `json:"text"`
}

type pmJSON struct {
	Caster float64 `json:"caster_deg"`
	Camber float64 `json:"camber_deg"`
	Toe    float64 `json:"toe_deg"`
}

type restJSON struct {
	Path    string  `json:"path"`
	Value   float64 `json:"value"`
	PM      float64 `json:"pm"`
	Unit    string  `json:"unit" jsonschema_description:"mm, deg, or what the number is measured in"`
	Assumed bool    `json:"assumed" jsonschema_description:"not in the profile"`
	Turns   float64 `json:"turns" jsonschema_description:"by how many positions it moves the adjuster named by of, if it is off by its ±"`
	Of      string  `json:"of,omitempty"`
	Degrees float64 `json:"change_deg" jsonschema_description:"by how much it moves the change of the figure"`
	Figure  string  `json:"figure,omitempty"`
	Meaning string  `json:"meaning"`
}

// surenessJSON: every ± holds with 95 %.
type surenessJSON struct {
	Turns      map[string]map[string]float64 `json:"turns" jsonschema_description:"by side and adjuster: ± of its position"`
	After      map[string]pmJSON             `json:"after" jsonschema_description:"by side: ± of what is measured then"`
	Change     map[string]pmJSON             `json:"change" jsonschema_description:"by side: ± of the change"`
	Rests      []restJSON                    `json:"rests_on" jsonschema_description:"numbers of the profile that this rests on, most first"`
	MonteCarlo []string                      `json:"monte_carlo,omitempty" jsonschema_description:"with --draws: where Monte Carlo differs from first order"`
}

func viewSureness(p *advisor.Plan, s *advisor.Sureness, notes []string) *surenessJSON {
	if s == nil {
		return nil
	}
	out := &surenessJSON{Turns: map[string]map[string]float64{}, After: map[string]pmJSON{}, Change: map[string]pmJSON{}, Rests: []restJSON{}, MonteCarlo: notes}
	pm := func(f advisor.FiguresPM) pmJSON { return pmJSON{degrees(f.Caster), degrees(f.Camber), degrees(f.Toe)} }
	for _, side := range p.Sides {
		turns := map[string]float64{}
		for _, m := range side.Moves {
			turns[m.Name] = round(s.Turns[side.Side][m.Index])
		}
		name := side.Side.String()
		out.Turns[name], out.After[name], out.Change[name] = turns, pm(s.After[side.Side]), pm(s.Change[side.Side])
	}
	for _, r := range s.Rests {
		v, spread, unit := r.Number.Value, r.Number.PM, "mm"
		if r.Number.Angle {
			v, spread, unit = geometry.Angle(v).Degrees(), geometry.Angle(spread).Degrees(), "deg"
		}
		if r.Number.Unit != "" {
			unit = r.Number.Unit
		}
		out.Rests = append(out.Rests, restJSON{r.Number.Path, round(v), round(spread), unit, r.Number.Assumed, round(r.Turns), r.Of, degrees(r.Figure), r.Name, r.Number.Doc})
	}
	return out
}

type planJSON struct {
	OK         bool                `json:"ok" jsonschema_description:"false if a figure that was asked for is out of reach"`
	Reasons    []string            `json:"reasons"`
	Warnings   []string            `json:"warnings"`
	Sides      map[string]sideJSON `json:"sides"`
	FrontTrack [2]float64          `json:"front_track_mm" jsonschema_description:"before and after"` // before, after
	RideHeight float64             `json:"ride_height_change_mm" jsonschema_description:"at the front, + = higher"`
	Steps      []stepJSON          `json:"steps"`
	Undo       map[string][]string `json:"undo"`
	Sureness   *surenessJSON       `json:"sureness,omitempty" jsonschema_description:"how well this is known, from the ± of the profile"`
	Cautions   []string            `json:"cautions"`
}

func viewPlan(p *advisor.Plan, sure *advisor.Sureness, notes []string, u geometry.Units) *planJSON {
	if p == nil {
		return nil
	}
	out := &planJSON{
		OK: p.OK(), Reasons: list(p.Reasons()), Warnings: list(p.Warnings), Sides: map[string]sideJSON{},
		FrontTrack: [2]float64{round(float64(profile.FrontTrack(p.Before))), round(float64(profile.FrontTrack(p.After)))},
		RideHeight: round(float64(profile.RideHeightChange(p.Before, p.After))),
		Steps:      []stepJSON{}, Undo: map[string][]string{}, Sureness: viewSureness(p, sure, notes), Cautions: list(p.Cautions()),
	}
	for _, s := range p.Sides {
		side := sideJSON{Moves: []moveJSON{}, Before: viewFigures(p.Before[s.Side]), After: viewFigures(p.After[s.Side])}
		for _, m := range s.Moves {
			v := moveJSON{
				Adjuster: m.Name, From: round(m.From), To: round(m.To), By: round(m.To - m.From),
				FromText: m.Adjuster.Print(m.From, u), ToText: m.Adjuster.Print(m.To, u), Instruction: m.Adjuster.Move(m.From, m.To, u),
				LeftDown: round(m.Remaining[0]), LeftUp: round(m.Remaining[1]),
			}
			if g, ok := m.Adjuster.(adjust.Gauged); ok {
				if from, ok := g.Gauge(m.From); ok {
					to, _ := g.Gauge(m.To)
					f, t := round(float64(from)), round(float64(to))
					v.GaugeFrom, v.GaugeTo = &f, &t
				}
			}
			side.Moves = append(side.Moves, v)
		}
		if s.Answer != nil {
			side.Outcome, side.Residual = map[string]string{}, map[string]float64{}
			for _, f := range s.Asked {
				side.Outcome[f.String()] = s.Answer.Outcome[f].String()
				r := s.Answer.Best.Residual[f]
				if !f.IsLength() {
					r = geometry.Angle(r).Degrees()
				}
				side.Residual[f.String()] = round(r)
			}
			if n := s.Answer.Next; n != nil {
				side.Next = &nextJSON{map[string]string{}, viewFigures(n.Figures)}
				for i, adj := range p.Kart.Corners[s.Side].Adjusters {
					side.Next.Setting[adj.Name] = adj.Print(n.Setting[i], u)
				}
			}
		}
		out.Sides[s.Side.String()] = side
	}
	for _, s := range p.Steps(u) {
		out.Steps = append(out.Steps, stepJSON(s))
	}
	for _, s := range p.Undo().Sides {
		lines := []string{}
		for _, m := range s.Moves {
			lines = append(lines, m.Name+": "+m.Adjuster.Move(m.From, m.To, u))
		}
		out.Undo[s.Side.String()] = lines
	}
	return out
}

type reasonJSON struct {
	Rule      string  `json:"rule"`
	Place     string  `json:"place"`
	Because   string  `json:"because"`
	Source    string  `json:"source"`
	Direction string  `json:"direction" jsonschema_description:"increase, decrease or leave"` // increase, decrease, leave
	Amount    float64 `json:"amount" jsonschema_description:"signed, in unit, for each side"`
	Grade     float64 `json:"grade"`
	Limit     string  `json:"limited_by,omitempty"`
	Support   float64 `json:"support"`
	NanoNats  int64   `json:"evidence_nanonats" jsonschema_description:"its share of the verdict's evidence"`
	CoveredBy string  `json:"covered_by,omitempty"`
	Contested string  `json:"contested,omitempty"`
	Record    string  `json:"record,omitempty" jsonschema_description:"with a journal: how often it helped"`
}

func direction(d int) string {
	switch {
	case d > 0:
		return "increase"
	case d < 0:
		return "decrease"
	}
	return "leave"
}

func viewReasons(fired []rules.Firing) []reasonJSON {
	out := []reasonJSON{}
	for _, f := range fired {
		out = append(out, reasonJSON{
			f.Rule.ID, f.Rule.Place, f.Rule.Because, f.Rule.Source, direction(f.Direction), round(f.Amount),
			round(f.Grade), f.Limit, round(f.Support), f.Share, f.CoveredBy, f.Rule.Contested, "",
		})
	}
	return out
}

type disputeJSON struct {
	Point  string   `json:"point"`
	Decide string   `json:"decide"`
	Inc    []string `json:"increase"`
	Dec    []string `json:"decrease"`
	Leave  []string `json:"leave"`
}

func viewDisputes(d []rules.Dispute) []disputeJSON {
	out := []disputeJSON{}
	for _, x := range d {
		out = append(out, disputeJSON{x.Point, x.Decide, list(x.Inc), list(x.Dec), list(x.Leave)})
	}
	return out
}

type verdictJSON struct {
	Move      string        `json:"move"`
	Status    string        `json:"status"`
	Direction string        `json:"direction,omitempty"`
	Title     string        `json:"title,omitempty"`
	Net       float64       `json:"net"`
	Increase  float64       `json:"belief_increase"`
	Decrease  float64       `json:"belief_decrease"`
	Conflict  float64       `json:"conflict" jsonschema_description:"how much the rules contradict each other: the product of both beliefs"`
	Hold      float64       `json:"belief_leave" jsonschema_description:"belief that the move should be left alone"`
	Amount    float64       `json:"amount" jsonschema_description:"signed, in unit, for each side"`
	Least     float64       `json:"least"`
	Most      float64       `json:"most"`
	Unit      string        `json:"unit"`
	Disputes  []disputeJSON `json:"disputes"`
	Rules     []reasonJSON  `json:"rules"`
}

func viewVerdict(v rules.Verdict, m rules.Move) verdictJSON {
	out := verdictJSON{
		Move: v.Move, Status: v.Status.String(), Net: round(v.Net), Increase: round(v.Inc), Decrease: round(v.Dec), Conflict: round(v.Conflict),
		Hold: round(v.Hold), Amount: round(v.Amount), Least: round(v.Least), Most: round(v.Most), Unit: m.Unit,
		Disputes: viewDisputes(v.Contested), Rules: viewReasons(v.Fired),
	}
	if v.Direction != 0 {
		out.Direction, out.Title = direction(v.Direction), m.Increase
		if v.Direction < 0 {
			out.Title = m.Decrease
		}
	}
	return out
}

type suggestionJSON struct {
	Move       string        `json:"move"`
	Direction  string        `json:"direction" jsonschema_description:"increase, decrease or leave"`
	Title      string        `json:"title"`
	Lever      string        `json:"lever" jsonschema_description:"front: turns are computed; other: direction and usual step only"`
	Amount     float64       `json:"amount" jsonschema_description:"signed, in unit, for each side"`
	Unit       string        `json:"unit"`
	Confidence float64       `json:"confidence" jsonschema_description:"net belief, 0 to 1"`
	Conflict   float64       `json:"conflict" jsonschema_description:"how much the rules contradict each other: the product of both beliefs"`
	Hold       float64       `json:"belief_leave" jsonschema_description:"belief that the move should be left alone"`
	Why        []reasonJSON  `json:"why"`
	Against    []reasonJSON  `json:"against"`
	Leave      []reasonJSON  `json:"leave"`
	Disputes   []disputeJSON `json:"disputes"`
	Notes      []string      `json:"notes"`
	Tried      *triedJSON    `json:"tried,omitempty" jsonschema_description:"with a journal: what came of it under the same conditions"`
	Cautions   []string      `json:"cautions"`
	Confirm    []string      `json:"confirm"`
	Effects    *effectsJSON  `json:"effects" jsonschema:"nullable" jsonschema_description:"what the plan does in a slow bend; null without a plan"`
	Plan       *planJSON     `json:"plan" jsonschema:"nullable" jsonschema_description:"work on this kart; null if it has no adjuster for the move"`
}

func viewSuggestion(s *advisor.Suggestion, sure *advisor.Sureness, notes []string, u geometry.Units) *suggestionJSON {
	if s == nil {
		return nil
	}
	return &suggestionJSON{
		Move: s.Move.ID, Direction: direction(s.Verdict.Direction), Title: s.Title(), Lever: s.Move.Lever, Amount: round(s.Amount), Unit: s.Move.Unit,
		Confidence: round(math.Abs(s.Verdict.Net)), Conflict: round(s.Verdict.Conflict), Hold: round(s.Verdict.Hold),
		Why: viewReasons(s.For), Against: viewReasons(s.Against), Leave: viewReasons(s.Leave), Disputes: viewDisputes(s.Verdict.Contested),
		Notes: list(s.Notes), Cautions: list(s.Cautions()), Confirm: list(s.Confirm()), Effects: viewEffects(s.Plan, s.For), Plan: viewPlan(s.Plan, sure, notes, u),
	}
}

// list returns s, or an empty list that JSON writes as [].
func list(s []string) []string {
	if s == nil {
		return []string{}
	}
	return s
}
