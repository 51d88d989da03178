package cli

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"kartwright/advisor"
	"kartwright/cmd/kartwright/internal/web"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
)

// sides reads --side.
func sides(text string) ([]frontend.Side, error) {
	switch text {
	case "", "both":
		return frontend.Sides[:], nil
	case "left":
		return []frontend.Side{frontend.Left}, nil
	case "right":
		return []frontend.Side{frontend.Right}, nil
	}
	return nil, usagef("--side is %q, expected both, left or right", text)
}

func (a *app) dialCommand() *cobra.Command {
	var kart, side string
	var draws int
	var card cardName
	want := map[string]*string{}
	cmd := &cobra.Command{
		Use:   "dial [--caster ANGLE] [--camber ANGLE] [--toe TOE] …",
		Short: "Wanted caster, camber and toe to exact turns on each side",
		Long: `dial works out what to turn on this kart so that it measures what you want,
starting from the profile's present setting. What is not asked for is kept as
it is as well as the adjusters allow; toe is restored last, by the tie rods.

A figure is given as it should be (--caster 12.5deg) or as a change from what
it is now (--caster-by +0.5deg). Exit status 1 says that the kart cannot do it
all; the nearest that it can do is printed.`,
		Example: `  kartwright dial --caster 12.5deg --camber=-1deg
  kartwright dial --kart cedar --caster-by +0.5deg --card card.svg
  kartwright dial --toe "1 mm out over 255 mm" --side left`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return a.runDial(kart, side, want, draws, card) },
	}
	kartFlag(cmd, &kart)
	drawsFlag(cmd, &draws)
	cardFlag(cmd, &card)
	f := cmd.Flags()
	f.StringVar(&side, "side", "both", "`SIDE` to set: both, left or right")
	for _, q := range []struct{ name, doc string }{
		{"caster", "caster, + = top of the kingpin rearward"}, {"camber", "camber, + = top of the wheel outward"},
		{"toe", "toe of one wheel, + = toe-in: an angle or \"1 mm out over 255 mm\""}, {"height", "front ride height over standard (needs shims)"},
	} {
		want[q.name] = f.String(q.name, "", "wanted `VALUE` of "+q.doc)
		want[q.name+"-by"] = f.String(q.name+"-by", "", "wanted `CHANGE` of "+q.name)
	}
	return cmd
}

var figureByName = map[string]adjust.Figure{"caster": adjust.Caster, "camber": adjust.Camber, "toe": adjust.Toe, "height": adjust.Height}

// wants reads the flags of dial.
func wants(flags map[string]*string) ([]advisor.Want, error) {
	var out []advisor.Want
	for _, name := range []string{"caster", "camber", "toe", "height"} {
		abs, by := *flags[name], *flags[name+"-by"]
		if abs == "" && by == "" {
			continue
		}
		if abs != "" && by != "" {
			return nil, usagef("give either --%s or --%s-by, not both", name, name)
		}
		flag, text := "--"+name, abs
		if by != "" {
			flag, text = flag+"-by", by
		}
		var v float64
		var err error
		switch name {
		case "height":
			var l geometry.Length
			l, err = geometry.ParseLength(text)
			v = float64(l)
		case "toe":
			var m geometry.Measured[geometry.Angle]
			m, err = frontend.ParseToe(text)
			v = float64(m.Value)
		default:
			var g geometry.Angle
			g, err = geometry.ParseAngle(text)
			v = float64(g)
		}
		if err != nil {
			return nil, usagef("%s: %w", flag, err)
		}
		if name != "height" && (v > float64(45*geometry.Degree) || v < -float64(45*geometry.Degree)) {
			return nil, usagef("%s: %s is more than any front end has", flag, geometry.Angle(v))
		}
		out = append(out, advisor.Want{Figure: figureByName[name], Value: v, By: by != ""})
	}
	if len(out) == 0 {
		return nil, usagef("say what is wanted, for example --caster 12.5deg\nRun 'kartwright dial --help' for usage.")
	}
	return out, nil
}

func (a *app) runDial(kart, side string, flags map[string]*string, draws int, card cardName) error {
	w, err := wants(flags)
	if err != nil {
		return err
	}
	on, err := sides(side)
	if err != nil {
		return err
	}
	k, _, err := a.loadKart(kart)
	if err != nil {
		return err
	}
	plan, err := advisor.NewPlan(advisor.Job{Kart: k, From: k.Present, Sides: on, Wants: [2][]advisor.Want{w, w}})
	if err != nil {
		return err
	}
	sure, notes, err := a.sureness(plan, draws)
	if err != nil {
		return err
	}
	wrote, err := a.writeCard(card, web.Job{Plan: plan, Change: capital(a.dialledText(plan, w))})
	if err != nil {
		return err
	}
	if a.json {
		if err := a.writeJSON(workJSON{"dial", k.Name, viewPlan(plan, sure, notes, a.units), nil, wrote}); err != nil {
			return err
		}
	} else {
		a.printDial(plan, w, sure, notes)
		a.printCard(wrote)
	}
	if !plan.OK() {
		return couldNot{"this kart cannot do all of it; the nearest setting is printed"}
	}
	return card.without(wrote)
}

// dialledText says what a plan comes to, of all that was wanted, and beside it
// what was wanted if that prints differently.
func (a *app) dialledText(p *advisor.Plan, w []advisor.Want) string {
	wanted := a.wantsText(w)
	var got []string
	for _, s := range p.Sides {
		came := slices.Clone(w)
		for i, x := range came {
			came[i].Value = s.Answer.Best.Values[x.Figure]
			if x.By {
				came[i].Value -= s.Was[x.Figure]
			}
		}
		got = append(got, a.wantsText(came))
	}
	differs := slices.ContainsFunc(got, func(text string) bool { return text != wanted })
	text := got[0]
	if len(got) == 1 || got[0] != got[1] {
		for i, s := range p.Sides {
			got[i] = s.Side.String() + " " + got[i]
		}
		text = strings.Join(got, "; ")
	}
	if differs {
		text += " (asked: " + wanted + ")"
	}
	return text
}

// wantsText says what is wanted.
func (a *app) wantsText(w []advisor.Want) string {
	var parts []string
	for _, x := range w {
		text := adjust.Say(x.Figure, x.Value)
		if !x.Figure.IsLength() {
			text = a.units.Angle(geometry.Angle(x.Value))
			if x.By {
				text = a.units.AngleBy(geometry.Angle(x.Value))
			}
		}
		parts = append(parts, fmt.Sprintf("%v %s", x.Figure, text))
	}
	return strings.Join(parts, ", ")
}

func (a *app) printDial(p *advisor.Plan, w []advisor.Want, sure *advisor.Sureness, notes []string) {
	a.para("Kart "+p.Kart.Name+": ", a.dialledText(p, w))
	a.heading("Turn")
	a.printTurns(p)
	a.heading("Before → after")
	a.printFigures(p)
	a.printReasons(p)
	if !p.Moved() {
		return
	}
	a.printSteps(p)
	a.printUndo(p)
	a.printSureness(p, sure, notes)
	a.printCautions(p.Cautions())
}

// printReasons says what was not met exactly, what the next best is, and which
// limits the plan leaves.
func (a *app) printReasons(p *advisor.Plan) {
	lines := append(p.Reasons(), p.Warnings...)
	for _, s := range p.Sides {
		if s.Answer == nil || len(s.Answer.Reasons) == 0 || s.Answer.Next == nil {
			continue
		}
		n := s.Answer.Next
		var at []string
		for i, adj := range p.Kart.Corners[s.Side].Adjusters {
			if adj.Travel().Step > 0 && n.Setting[i] != s.Answer.Best.Setting[i] {
				at = append(at, adj.Name+" at "+adj.Print(n.Setting[i], a.units))
			}
		}
		if len(at) > 0 {
			lines = append(lines, fmt.Sprintf("next best on the %v: %s (caster %s, camber %s)", s.Side, strings.Join(at, ", "), a.units.Angle(n.Figures.Caster), a.units.Angle(n.Figures.Camber)))
		}
	}
	if len(lines) == 0 {
		return
	}
	a.heading("Note")
	for _, l := range lines {
		a.para("  - ", l)
	}
}
