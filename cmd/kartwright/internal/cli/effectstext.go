package cli

import (
	"fmt"
	"math"

	"kartwright/advisor"
	"kartwright/geometry"
	"kartwright/geometry/loads"
	"kartwright/rules"
)

// bendRow is one line about a bend.
type bendRow struct {
	name string
	text func(advisor.InBend) string
}

func (a *app) bendRows() []bendRow {
	u := a.units
	return []bendRow{
		{"inner rear wheel", func(b advisor.InBend) string { return b.SayRear(u) }},
		{"lifts, steering at", func(b advisor.InBend) string { return b.SayLifts(u) }},
		{"outer front camber", func(b advisor.InBend) string { return u.Angle(b.OuterCamber) }},
	}
}

// printEffects says what a plan does in a bend, and which of the rules that
// speak for it rely on something that it does not do.
func (a *app) printEffects(p *advisor.Plan, spoke []rules.Firing) {
	e, err := p.Effects(advisor.SlowBend)
	if err != nil {
		a.para("  ", fmt.Sprintf("What it does in a slow bend (%v) cannot be computed: %v.", advisor.SlowBend, err))
		return
	}
	a.heading(fmt.Sprintf("In a slow bend (%v)", e.Bend))
	a.printBend(e.Before, e.After)
	a.printf("  %s%s\n", pad("steering", 20), advisor.SayEffort(e.EffortRatio()))
	for _, s := range append(p.Contradicted(e, spoke), e.Small...) {
		a.para("  - ", sentence(s))
	}
	a.para("  ", a.loadsCaveat(e.Bend, e.Before[0].Column, e.Assumed, e.Of))
}

// loadsCaveat says what the figures of a bend rest on.
func (a *app) loadsCaveat(b advisor.Bend, column geometry.Angle, assumed, of int) string {
	text := fmt.Sprintf("Computed for a smooth road and a steady bend, steering wheel at %s.", advisor.SaySteering(column, a.units))
	if assumed > 0 {
		text += fmt.Sprintf(" %d of the %d numbers that it needs are assumed ('kartwright kart check' lists them): trust directions more than sizes.", assumed, of)
	}
	return text
}

// printBend prints what the kart does in both turns, once if they are alike.
func (a *app) printBend(before, after [2]advisor.InBend) {
	change := func(before, after string) string {
		if before == after {
			return after
		}
		return before + " → " + after
	}
	var lines [][2]string
	alike := true
	for _, r := range a.bendRows() {
		var cell [2]string
		for _, t := range advisor.Turns {
			cell[t] = change(r.text(before[t]), r.text(after[t]))
		}
		alike = alike && cell[0] == cell[1]
		lines = append(lines, cell)
	}
	if !alike {
		a.printf("  %s%s%s\n", pad("", 20), pad("left turn", 28), "right turn")
	}
	for i, r := range a.bendRows() {
		if alike {
			a.printf("  %s%s\n", pad(r.name, 20), lines[i][0])
		} else {
			a.printf("  %s%s%s\n", pad(r.name, 20), pad(lines[i][0], 28), lines[i][1])
		}
	}
}

type inBendJSON struct {
	Load        float64  `json:"inner_rear_load_kg"`
	Lift        float64  `json:"inner_rear_lift_mm" jsonschema_description:"how high it is off the ground"`
	LiftsAt     *float64 `json:"lifts_at_column_deg" jsonschema:"nullable" jsonschema_description:"steering wheel angle at which the inner rear lifts; null if it does not"`
	InnerFront  float64  `json:"inner_front_load_kg"`
	OuterFront  float64  `json:"outer_front_load_kg"`
	OuterRear   float64  `json:"outer_rear_load_kg"`
	InnerSteer  float64  `json:"inner_steer_deg" jsonschema_description:"+ toward the inside of the turn"`
	OuterSteer  float64  `json:"outer_steer_deg"`
	InnerCamber float64  `json:"inner_camber_deg"`
	OuterCamber float64  `json:"outer_camber_deg"`
	Effort      float64  `json:"steering_effort_nm" jsonschema_description:"at the column, without the tyres' own aligning moment: compare, do not quote"`
}

func viewInBend(b advisor.InBend) inBendJSON {
	kg := func(f loads.Force) float64 { return round(float64(f) / loads.G) }
	out := inBendJSON{
		kg(b.Load), round(float64(b.Lift)), nil, kg(b.InnerFront), kg(b.OuterFront), kg(b.OuterRear),
		degrees(b.InnerSteer), degrees(b.OuterSteer), degrees(b.InnerCamber), degrees(b.OuterCamber), round(float64(b.Effort)),
	}
	if b.Lifts {
		at := degrees(b.LiftsAt)
		out.LiftsAt = &at
	}
	return out
}

type bendJSON struct {
	Steer  float64 `json:"steer_deg" jsonschema_description:"mean of both front wheels"`
	Column float64 `json:"column_deg"`
	Ay     float64 `json:"sideways_g"`
}

func viewBend(b advisor.Bend, column geometry.Angle) bendJSON {
	return bendJSON{degrees(b.Steer), degrees(column), float64(b.Ay)}
}

type effectsJSON struct {
	Bend    bendJSON      `json:"bend"`
	Before  [2]inBendJSON `json:"before" jsonschema_description:"left turn, right turn"`
	After   [2]inBendJSON `json:"after"`
	Effort  *float64      `json:"steering_effort_ratio" jsonschema:"nullable" jsonschema_description:"after as a multiple of before"`
	Small   []string      `json:"hardly_felt" jsonschema_description:"effects too small to feel, and what would be worth making"`
	Against []string      `json:"contradicted" jsonschema_description:"rules that rely on an effect that this plan does not have on this kart"`
	Assumed int           `json:"numbers_assumed"`
	Of      int           `json:"numbers"`
}

// viewEffects is nil for a plan whose effects cannot be computed.
func viewEffects(p *advisor.Plan, spoke []rules.Firing) *effectsJSON {
	if p == nil {
		return nil
	}
	e, err := p.Effects(advisor.SlowBend)
	if err != nil {
		return nil
	}
	out := &effectsJSON{
		Bend:   viewBend(e.Bend, e.Before[0].Column),
		Before: [2]inBendJSON{viewInBend(e.Before[0]), viewInBend(e.Before[1])}, After: [2]inBendJSON{viewInBend(e.After[0]), viewInBend(e.After[1])},
		Effort: finite(e.EffortRatio()), Small: list(e.Small), Against: list(p.Contradicted(e, spoke)), Assumed: e.Assumed, Of: e.Of,
	}
	return out
}

// finite returns v rounded, or nil if it is no number.
func finite(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	v = round(v)
	return &v
}
