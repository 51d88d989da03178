package cli

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"kartwright/advisor"
	"kartwright/advisor/profile"
	"kartwright/cmd/kartwright/internal/web"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
	"kartwright/rules/diag"
)

func (a *app) whatifCommand() *cobra.Command {
	var kart, side string
	var set []string
	var steer bool
	var draws int
	var card cardName
	cmd := &cobra.Command{
		Use:   `whatif --set "ADJUSTER=POSITION" …`,
		Short: "Turns to what the front end becomes",
		Long: `whatif says what the front end measures with some adjusters moved, starting from
the profile's present setting, and how it got there. A position is written as
in the profile: turns from standard, a clock hour, a name; or, after +=, as a
change from where it stands: "caster screw+=1/2 turn".`,
		Example: `  kartwright whatif --set "caster screw=1/2 turn tighter"
  kartwright whatif --set "caster screw+=1 turn" --side left --steer
  kartwright whatif --kart dogwood --set "top insert=back 1.5"`,
		Args: noArgs,
		RunE: func(*cobra.Command, []string) error { return a.runWhatif(kart, side, set, steer, draws, card) },
	}
	kartFlag(cmd, &kart)
	drawsFlag(cmd, &draws)
	cardFlag(cmd, &card)
	f := cmd.Flags()
	f.StringArrayVar(&set, "set", nil, "`ADJUSTER=POSITION`, or ADJUSTER+=CHANGE; may be repeated")
	f.StringVar(&side, "side", "both", "`SIDE` to set: both, left or right")
	f.BoolVar(&steer, "steer", false, "also print camber, toe and height against the column's angle")
	return cmd
}

func (a *app) runWhatif(kart, side string, set []string, steer bool, draws int, card cardName) error {
	on, err := sides(side)
	if err != nil {
		return err
	}
	if len(set) == 0 {
		return usagef("say what to move, for example --set \"caster screw=1/2 turn\"\nRun 'kartwright whatif --help' for usage.")
	}
	k, _, err := a.loadKart(kart)
	if err != nil {
		return err
	}
	to := [2]adjust.Setting{append(adjust.Setting(nil), k.Present[0]...), append(adjust.Setting(nil), k.Present[1]...)}
	for _, text := range set {
		if err := applySetting(k, on, text, &to); err != nil {
			return err
		}
	}
	plan, err := advisor.PlanBetween(k, k.Present, to)
	if err != nil {
		return err
	}
	sure, notes, err := a.sureness(plan, draws)
	if err != nil {
		return err
	}
	var sweep []frontend.Steered
	if steer {
		if sweep, err = steerTable(k, to); err != nil {
			return err
		}
	}
	wrote, err := a.writeCard(card, web.Job{Plan: plan, Change: capital(strings.Join(set, ", "))})
	if err != nil {
		return err
	}
	if a.json {
		return errors.Join(a.writeJSON(workJSON{"whatif", k.Name, viewPlan(plan, sure, notes, a.units), viewSteer(sweep), wrote}), card.without(wrote))
	}
	a.para("Kart "+k.Name+": ", strings.Join(set, ", "))
	a.heading("Before → after")
	a.printFigures(plan)
	a.printReasons(plan)
	a.printLopsided(plan)
	a.printSureness(plan, sure, notes)
	if steer {
		a.printSteer(sweep)
	}
	if plan.Moved() {
		a.heading("Moved")
		a.printTurns(plan)
		a.printUndo(plan)
	}
	a.printCard(wrote)
	return card.without(wrote)
}

// printLopsided warns of an adjuster that was put to the same words on both
// sides and so moved them different ways: clock hours are not mirrored.
func (a *app) printLopsided(p *advisor.Plan) {
	l, r := &p.Kart.Corners[frontend.Left], &p.Kart.Corners[frontend.Right]
	for i, adj := range l.Adjusters {
		j := r.Index(adj.Name)
		if j < 0 || p.To[0][i] == p.To[1][j] || p.From[0][i] != p.From[1][j] || p.To[0][i] == p.From[0][i] || p.To[1][j] == p.From[1][j] {
			continue
		}
		if adj.Print(p.To[0][i], a.units) != r.Adjusters[j].Print(p.To[1][j], a.units) {
			continue
		}
		a.heading("The sides move different ways")
		a.para("  ", fmt.Sprintf("%s is at %s on both sides, which are mirror images: to match the left, the right stands at %s.", adj.Name, adj.Print(p.To[0][i], a.units), r.Adjusters[j].Print(p.To[0][i], a.units)))
	}
}

// applySetting moves the adjuster that text names.
func applySetting(k *profile.Kart, on []frontend.Side, text string, to *[2]adjust.Setting) error {
	name, pos, ok := strings.Cut(text, "=")
	if !ok {
		return usagef("--set %q: write ADJUSTER=POSITION", text)
	}
	name, by := strings.CutSuffix(strings.TrimSpace(name), "+")
	name = strings.TrimSpace(name)
	found := false
	var names []string
	for _, s := range on {
		c := &k.Corners[s]
		i := c.Index(name)
		for _, adj := range c.Adjusters {
			if !slices.Contains(names, adj.Name) {
				names = append(names, adj.Name)
			}
		}
		if i < 0 {
			continue
		}
		found = true
		v, err := c.Adjusters[i].Read(strings.TrimSpace(pos))
		if err != nil {
			return fmt.Errorf("%v side, %s: %w", s, name, err)
		}
		if by {
			v += to[s][i] - c.Adjusters[i].Standard()
			if t := c.Adjusters[i].Travel(); v < t.Min-1e-9 || v > t.Max+1e-9 {
				u := geometry.Units{}
				return fmt.Errorf("%v side, %s: %s would be outside its travel, %s to %s", s, name, c.Adjusters[i].Print(math.Max(t.Min, math.Min(t.Max, v)), u)+" and beyond", c.Adjusters[i].Print(t.Min, u), c.Adjusters[i].Print(t.Max, u))
			}
		}
		to[s][i] = v
	}
	if !found {
		return usagef("this kart has no adjuster %q; %s", name, cmp.Or(diag.DidYouMean(name, names), "'kartwright kart show' lists them"))
	}
	return nil
}

// steerTable sweeps the column 25° each way.
func steerTable(k *profile.Kart, set [2]adjust.Setting) ([]frontend.Steered, error) {
	var columns []geometry.Angle
	for phi := -25; phi <= 25; phi += 5 {
		columns = append(columns, geometry.Angle(phi)*geometry.Degree)
	}
	return k.Axle.Sweep([2]frontend.Shift{k.Corners[0].Shift(set[0]), k.Corners[1].Shift(set[1])}, columns)
}

type steerJSON struct {
	Column    float64    `json:"column_deg"`
	Steer     [2]float64 `json:"steer_deg"`  // left, right; + = to the left
	Camber    [2]float64 `json:"camber_deg"` // left, right
	Height    [2]float64 `json:"contact_height_mm"`
	Ackermann float64    `json:"ackermann_error_deg"`
}

func viewSteer(sweep []frontend.Steered) []steerJSON {
	var out []steerJSON
	for _, s := range sweep {
		out = append(out, steerJSON{
			degrees(s.Column), [2]float64{degrees(s.Steer[0]), degrees(s.Steer[1])}, [2]float64{degrees(s.Camber[0]), degrees(s.Camber[1])},
			[2]float64{round(float64(s.Height[0])), round(float64(s.Height[1]))}, degrees(s.Ackermann),
		})
	}
	return out
}

func (a *app) printSteer(sweep []frontend.Steered) {
	a.heading("Steering (column and wheels + to the left; height + = contact rises)")
	u := a.units
	a.printf("  %-8s%-19s%-19s%-21s%s\n", "column", "steer L / R", "camber L / R", "height L / R", "Ackermann")
	for _, s := range sweep {
		a.printf("  %s%s%s%s%s\n", pad(u.Angle(s.Column), 8), pad(u.Angle(s.Steer[0])+" / "+u.Angle(s.Steer[1]), 19),
			pad(u.Angle(s.Camber[0])+" / "+u.Angle(s.Camber[1]), 19), pad(u.Length(s.Height[0])+" / "+strings.TrimSuffix(u.Length(s.Height[1]), " "+u.LengthName()), 21), u.AngleBy(s.Ackermann))
	}
	a.para("  ", "Ackermann is how far the outer wheel steers beyond the angle at which both wheels would roll about one centre.")
}
