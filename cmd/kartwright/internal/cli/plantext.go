package cli

import (
	"math"
	"slices"
	"strings"

	"kartwright/advisor"
	"kartwright/advisor/profile"
	"kartwright/geometry"
	"kartwright/geometry/frontend"
)

// printTurns prints what to turn on each side, once if both are the same.
func (a *app) printTurns(p *advisor.Plan) {
	var texts [][][2]string // by side: adjuster, instruction
	name := 0
	for _, s := range p.Sides {
		lines := [][2]string{}
		for _, m := range s.Worth() {
			lines = append(lines, [2]string{m.Name, m.Adjuster.Move(m.From, m.To, a.units)})
			name = max(name, len([]rune(m.Name)))
		}
		texts = append(texts, lines)
	}
	show := func(label string, lines [][2]string) {
		lead := "  " + pad(label, 12)
		if len(lines) == 0 {
			a.para(lead, "nothing to turn")
		}
		for _, l := range lines {
			a.para(lead+pad(l[0], name+2), l[1])
			lead = pad("", 14)
		}
	}
	if len(texts) == 2 && slices.Equal(texts[0], texts[1]) {
		show("each side", texts[0])
		return
	}
	for i, s := range p.Sides {
		show(s.Side.String(), texts[i])
	}
}

// row is one line of the before-and-after table.
type row struct {
	name   string
	always bool // shown even if it does not change
	values func(frontend.Figures) string
}

func (a *app) rows() []row {
	u := a.units
	return []row{
		{"caster", true, func(f frontend.Figures) string { return u.Angle(f.Caster) }},
		{"camber", true, func(f frontend.Figures) string { return u.Angle(f.Camber) }},
		{"toe (+ in)", true, func(f frontend.Figures) string { return u.Angle(f.Toe) }},
		{"  over " + strings.Replace(u.Length(advisor.RimLength), ".00", "", 1), true, func(f frontend.Figures) string { return u.Length(frontend.ToeLength(f.Toe, advisor.RimLength)) }},
		{"KPI", false, func(f frontend.Figures) string { return u.Angle(f.KPI) }},
		{"trail", false, func(f frontend.Figures) string { return u.Length(f.Trail) }},
		{"kingpin offset", false, func(f frontend.Figures) string { return u.Length(f.Offset) }},
	}
}

// printFigures prints what both corners measure before and after.
func (a *app) printFigures(p *advisor.Plan) {
	a.printf("  %s%s%s\n", pad("", 18), pad("left", 26), "right")
	change := func(before, after string) string {
		if before == after {
			return after
		}
		return before + " → " + after
	}
	for _, r := range a.rows() {
		var cell [2]string
		for _, s := range frontend.Sides {
			before, after := r.values(p.Before[s]), r.values(p.After[s])
			cell[s] = change(before, after)
			r.always = r.always || before != after
		}
		if !r.always {
			continue
		}
		a.printf("  %s%s%s\n", pad(r.name, 18), pad(cell[0], 26), cell[1])
	}
	u := a.units
	if before, after := u.Length(profile.FrontTrack(p.Before)), u.Length(profile.FrontTrack(p.After)); before != after {
		a.printf("  %s%s → %s\n", pad("front track", 18), before, after)
	}
	if h := profile.RideHeightChange(p.Before, p.After); math.Abs(float64(h)) >= 0.005 {
		way := "higher"
		if h < 0 {
			way = "lower"
		}
		a.printf("  %s%s %s at the front\n", pad("ride height", 18), u.Length(geometry.Length(math.Abs(float64(h)))), way)
	}
}

// printSteps prints the work in order.
func (a *app) printSteps(p *advisor.Plan) {
	a.heading("Work steps")
	for i, s := range p.Steps(a.units) {
		side := ""
		switch s.Side {
		case "each":
			side = "Each side: "
		case "left", "right":
			side = capital(s.Side) + ": "
		}
		a.para("  "+pad(itoa(i+1)+".", 4), side+s.Text)
	}
}

// printUndo prints how to go back.
func (a *app) printUndo(p *advisor.Plan) {
	a.heading("To undo it")
	a.printTurns(p.Undo())
}

func (a *app) printCautions(cautions []string) {
	if len(cautions) == 0 {
		return
	}
	a.heading("Take care")
	for _, c := range cautions {
		a.para("  - ", c)
	}
}

// printAssumed lists the guesses that the turns rest on.
func (a *app) printAssumed(p *advisor.Plan) {
	if len(p.Assumed) == 0 {
		return
	}
	a.heading("Assumed, because the profile does not say")
	for i, d := range p.Assumed {
		if i == 5 {
			a.printf("  and %d more that matter less\n", len(p.Assumed)-i)
			break
		}
		a.para("  - ", d.Number.Path+" "+d.Number.Text(a.units)+": moves the "+d.Of+" by "+trim2(d.Turns))
	}
}
