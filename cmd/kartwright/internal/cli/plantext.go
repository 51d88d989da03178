package cli

import (
	"fmt"
	"math"
	"runtime"
	"slices"
	"strings"
	"sync"

	"kartwright/advisor"
	"kartwright/advisor/profile"
	"kartwright/advisor/readings"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
)

// printTurns prints what to turn on each side, once if both are the same.
func (a *app) printTurns(p *advisor.Plan) {
	var texts [][][2]string // by side: adjuster, instruction
	name := 0
	for _, s := range p.Sides {
		lines := [][2]string{}
		for _, m := range s.Moves {
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

// printSureness says how well the plan is known and what that rests on.
func (a *app) printSureness(p *advisor.Plan, s *advisor.Sureness, notes []string) {
	if s == nil {
		return
	}
	u := a.units
	a.heading("How sure (95 %)")
	for _, side := range p.Sides {
		if side.Side == frontend.Right && len(p.Sides) == 2 && sameSureness(p, s) {
			break
		}
		label := side.Side.String()
		if len(p.Sides) == 2 && sameSureness(p, s) {
			label = "each side"
		}
		lead := "  " + pad(label, 12)
		for _, m := range side.Worth() {
			if pm := s.Turns[side.Side][m.Index]; pm >= 0.005 {
				a.para(lead, m.Name+" to within "+trim2(pm)+" "+turnWord(m))
				lead = pad("", 14)
			}
		}
		c, f := s.Change[side.Side], s.After[side.Side]
		after := p.After[side.Side]
		if len(side.Moves) > 0 {
			a.para(lead, "turned so, the change is good to "+a.small(c.Caster)+" of caster, "+a.small(c.Camber)+" of camber, "+a.small(c.Toe)+" of toe")
			lead = pad("", 14)
		}
		a.para(lead, "then: caster "+a.withPM(after.Caster, f.Caster)+", camber "+a.withPM(after.Camber, f.Camber)+", toe "+a.withPM(after.Toe, f.Toe))
	}
	for _, n := range notes {
		a.para("  - ", n)
	}
	if len(s.Rests) == 0 {
		return
	}
	a.printf("  It rests most on:\n")
	for i, r := range s.Rests {
		if i == 4 {
			a.printf("    and %d more that matter less\n", len(s.Rests)-i)
			break
		}
		text := plainName(r.Number) + ", " + r.Number.Text(u)
		if r.Number.Assumed {
			text += ", assumed"
		}
		if r.Turns >= 0.005 {
			text += ": moves the " + r.Of + " by " + trim2(r.Turns)
		} else {
			text += ": moves the change of " + r.Name + " by " + u.Angle(r.Figure)
		}
		a.para("    - ", text)
	}
}

// small prints a ± of an angle.
func (a *app) small(pm geometry.Angle) string {
	if text := a.units.Angle(pm); strings.ContainsAny(text, "123456789") {
		return text
	}
	if a.units.Minutes {
		return "under 1'"
	}
	return "under 0.01°"
}

// withPM prints an angle with its ±, if the profile gives any reason for one.
func (a *app) withPM(v, pm geometry.Angle) string {
	if pm == 0 {
		return a.units.Angle(v) + " (no ± in the profile)"
	}
	return a.units.Angle(v) + " ± " + a.small(pm)
}

// plainName says a number of a profile in words: "pivot span", "caster screw:
// gauge".
func plainName(n profile.Number) string { return readings.Plain(n.Path) }

// turnWord is the unit of an adjuster's position, as far as one can be unsure
// of it.
func turnWord(m advisor.Move) string {
	if w, ok := m.Adjuster.(adjust.Wraps); ok && w.Wraps() {
		return "degrees"
	}
	return "turn"
}

// sameSureness reports whether both sides print alike.
func sameSureness(p *advisor.Plan, s *advisor.Sureness) bool {
	near := func(a, b geometry.Angle) bool { return a.Near(b, 0.005*geometry.Degree) }
	l, r := s.Change[0], s.Change[1]
	al, ar := s.After[0], s.After[1]
	return near(l.Caster, r.Caster) && near(l.Camber, r.Camber) && near(l.Toe, r.Toe) && near(al.Caster, ar.Caster) && near(al.Camber, ar.Camber) && near(al.Toe, ar.Toe) &&
		near(p.After[0].Caster, p.After[1].Caster) && near(p.After[0].Camber, p.After[1].Camber) && near(p.After[0].Toe, p.After[1].Toe)
}

// sureness works out how well a plan is known, and with --draws has chance
// confirm it.
func (a *app) sureness(p *advisor.Plan, draws int) (*advisor.Sureness, []string, error) {
	if p == nil {
		return nil, nil, nil
	}
	if draws < 0 || draws > 1_000_000 || draws > 0 && draws < 1000 {
		return nil, nil, usagef("--draws is %d, expected 1000 to 1000000", draws)
	}
	s, err := p.Sureness()
	if err != nil || draws == 0 {
		return s, nil, err
	}
	notes, err := p.CheckSureness(1, draws, func(n int, do func(int)) {
		var wg sync.WaitGroup
		workers := runtime.NumCPU()
		for w := range workers {
			wg.Go(func() {
				for i := w; i < n; i += workers {
					do(i)
				}
			})
		}
		wg.Wait()
	})
	if err == nil && len(notes) == 0 {
		notes = []string{fmt.Sprintf("%d random draws from the ± confirm it", draws)}
	}
	return s, notes, err
}
