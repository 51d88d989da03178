package web

import (
	"errors"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"strconv"
	"strings"

	"kartwright/advisor"
	"kartwright/advisor/profile"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
	"kartwright/geometry/measure"
)

// measured are the figures that can be entered, in their order.
var measured = []adjust.Figure{adjust.Caster, adjust.Camber, adjust.Toe}

// lockToCompare is how far each wheel is steered when caster is compared with a
// rule, as the command line has it.
const lockToCompare = 20 * geometry.Degree

// measureView is the page Measure it.
type measureView struct {
	Kart    string
	Karts   []choice
	Rows    []measureRow
	Promise bool // compare with what the profile promises
	Problem string
	Result  *measureResult
}

// measureRow is the fields of one figure.
type measureRow struct {
	Figure, Hint string
	Left, Right  string
	Want         string
}

type measureResult struct {
	Verdict, Status string // Status is good, bad or unsure
	Doubts          []string
	Lines           []string
	Means           string // what equal means
	Work            []workView
	Then            []string
	Warnings        []string
	Cautions        []string
	Card            template.URL
}

// measurePage shows the fields and, once something was read, the verdict.
func (s *Site) measurePage(w http.ResponseWriter, r *http.Request) error {
	g, err := s.chosenKart(w, r)
	if err != nil {
		return err
	}
	q := r.URL.Query()
	v := measureView{Kart: g.Key, Karts: s.kartChoices(g.Key), Promise: q.Get("promise") == "on"}
	asked := false
	for _, f := range measured {
		row := measureRow{Figure: f.String(), Hint: "12.4 ± 0.1 deg; a number alone is degrees", Left: q.Get("left_" + f.String()), Right: q.Get("right_" + f.String()), Want: q.Get("want_" + f.String())}
		if f == adjust.Toe {
			row.Hint = "of one wheel: 1 mm out over 255 mm, or -0.2 deg; a number alone is degrees, + is in"
		}
		asked = asked || row.Left+row.Right != ""
		v.Rows = append(v.Rows, row)
	}
	status := http.StatusOK
	if asked {
		v.Result, err = checkReadings(g, v.Rows, v.Promise, units(r))
		if err != nil {
			status, v.Problem = http.StatusUnprocessableEntity, err.Error()
		}
	}
	return s.render(w, r, status, "measure", "Measure it", v)
}

// readFigure reads a figure as a person writes it. The field says that a number
// alone is degrees.
func readFigure(f adjust.Figure, text string) (geometry.Measured[geometry.Angle], error) {
	text = strings.TrimSpace(text)
	if _, err := strconv.ParseFloat(strings.ReplaceAll(strings.ReplaceAll(text, ",", "."), "−", "-"), 64); err == nil {
		text += " deg"
	}
	var m geometry.Measured[geometry.Angle]
	var err error
	if f == adjust.Toe {
		m, err = frontend.ParseToe(text)
	} else {
		m, err = geometry.ParseMeasuredAngle(text)
	}
	if err != nil {
		return m, err
	}
	if err := profile.CheckDimension(f.String(), strconv.FormatFloat(m.Value.Degrees(), 'f', 2, 64)+" deg"); err != nil {
		return m, fmt.Errorf("%w deg. Has a decimal point slipped, is a unit wrong, or are two readings swapped?", err)
	}
	return m, nil
}

func figureOf(f frontend.Figures, q adjust.Figure) geometry.Angle {
	return map[adjust.Figure]geometry.Angle{adjust.Caster: f.Caster, adjust.Camber: f.Camber, adjust.Toe: f.Toe}[q]
}

// checkReadings holds readings of both sides against each other and against what
// is wanted, and works out what puts them right.
func checkReadings(g garaged, rows []measureRow, promise bool, u geometry.Units) (*measureResult, error) {
	k := g.Kart
	model, err := k.Figures(k.Present)
	if err != nil {
		return nil, err
	}
	c := measure.Check{Corners: [2]*adjust.Corner{&k.Corners[0], &k.Corners[1]}, Settings: k.Present}
	l := model[frontend.Left]
	angle := func(a geometry.Angle) geometry.Measured[geometry.Angle] {
		return geometry.Measured[geometry.Angle]{Value: a}
	}
	per, err := measure.EqualLock{Lock: lockToCompare, Reach: advisor.RimLength}.PerCaster(measure.Kingpin{Caster: angle(l.Caster), KPI: angle(l.KPI), Camber: angle(l.Camber), Toe: angle(l.Toe)})
	if err != nil {
		return nil, err
	}
	c.Within[adjust.Caster] = float64(measure.RuleTolerance) / per
	c.Within[adjust.Camber] = math.Atan(float64(measure.RuleTolerance / advisor.RimLength))
	c.Within[adjust.Toe] = c.Within[adjust.Camber]
	read := [2]measure.Readings{{}, {}}
	expected := [2]map[adjust.Figure]geometry.Angle{{}, {}}
	for i, f := range measured {
		for _, s := range frontend.Sides {
			text := rows[i].Left
			if s == frontend.Right {
				text = rows[i].Right
			}
			expected[s][f] = figureOf(model[s], f)
			if promise {
				c.Want[s] = c.Want[s].Ask(f, float64(expected[s][f]))
			}
			if strings.TrimSpace(rows[i].Want) != "" {
				m, err := readFigure(f, rows[i].Want)
				if err != nil {
					return nil, fmt.Errorf("wanted %v: %w", f, err)
				}
				expected[s][f] = m.Value
				c.Want[s] = c.Want[s].Ask(f, float64(m.Value))
			}
			if strings.TrimSpace(text) == "" {
				continue
			}
			m, err := readFigure(f, text)
			if err != nil {
				return nil, fmt.Errorf("%v %v: %w", s, f, err)
			}
			read[s][f] = geometry.Measured[float64]{Value: float64(m.Value), PM: float64(m.PM)}
		}
	}
	outcome, err := c.Compare(read)
	if err != nil {
		return nil, err
	}
	v := &measureResult{Doubts: c.Doubts(read, expected, u)}
	v.Verdict, v.Status = verdict(outcome, len(v.Doubts) > 0)
	say := func(m geometry.Measured[float64]) string {
		text := u.Angle(geometry.Angle(m.Value))
		if m.PM > 0 {
			text += " ± " + small(geometry.Angle(m.PM), u)
		}
		return text
	}
	for _, f := range outcome.Figures {
		name := capital(f.Figure.String())
		if f.Sides == nil {
			v.Lines = append(v.Lines, name+": read on one side only.")
		} else {
			v.Lines = append(v.Lines, fmt.Sprintf("%s: left less right is %s, equal within %s: %s.", name, say(f.Sides.Difference), u.Angle(geometry.Angle(c.Within[f.Figure])), f.Sides.Verdict()))
		}
		for _, s := range frontend.Sides {
			if x := f.Wanted[s]; x != nil {
				v.Lines = append(v.Lines, fmt.Sprintf("%s, %v: wanted %s, off by %s: %s.", name, s, u.Angle(geometry.Angle(c.Want[s].Value[f.Figure])), say(x.Difference), x.Verdict()))
			}
		}
	}
	v.Means = fmt.Sprintf("Equal means within %s on a rule over %s, for caster with each wheel steered by %s.", u.Length(measure.RuleTolerance), u.Length(advisor.RimLength), u.Angle(lockToCompare))
	if outcome.Equal || len(v.Doubts) > 0 {
		return v, nil
	}
	to := copySetting(k.Present)
	for _, fix := range outcome.Corrections {
		to[fix.Side] = fix.Answer.Best.Setting
		now, err := k.Corners[fix.Side].Values(k.Present[fix.Side])
		if err != nil {
			return nil, err
		}
		for _, text := range outcome.Then(fix, now, u) {
			v.Then = append(v.Then, capital(text))
		}
	}
	p, err := advisor.PlanBetween(k, k.Present, to)
	if err != nil {
		return nil, err
	}
	v.Work, v.Warnings, v.Cautions = work(p, u), p.Warnings, p.Cautions()
	v.Card = link("/card", settingQuery(g.Key, to))
	return v, nil
}

// verdict says the outcome in a sentence.
func verdict(o measure.Outcome, doubtful bool) (text, status string) {
	compared := false
	for _, f := range o.Figures {
		compared = compared || f.Sides != nil
	}
	switch {
	case doubtful:
		return "Look at the readings again first.", "unsure"
	case o.Equal && !compared:
		return "As wanted, as far as was measured. No figure was read on both sides, so nothing says that they are equal.", "unsure"
	case o.Equal:
		return "Equal, as far as was measured.", "good"
	case o.Clear:
		return "Something is out.", "bad"
	}
	return "Something is out, but not by more than the readings can show.", "unsure"
}

// errTipped says in a driver's words that a bend is more than a kart can stand.
var errTipped = errors.New("in such a bend this kart would tip over; try less sideways")
