package web

import (
	"fmt"
	"html/template"
	"maps"
	"math"
	"net/url"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"kartwright/advisor"
	"kartwright/advisor/profile"
	"kartwright/advisor/readings"
	"kartwright/geometry"
	"kartwright/geometry/frontend"
	"kartwright/rules"
)

// functions are what templates may call.
var functions = template.FuncMap{
	"capital":  capital,
	"sentence": sentence,
	"join":     strings.Join,
	"pairs":    pairs,
}

// pair is a field of a form.
type pair struct{ Name, Value string }

// pairs lists the fields of a query.
func pairs(query string) ([]pair, error) {
	q, err := url.ParseQuery(query)
	var out []pair
	for _, name := range slices.Sorted(maps.Keys(q)) {
		for _, v := range q[name] {
			out = append(out, pair{name, v})
		}
	}
	return out, err
}

func capital(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 {
		return s
	}
	return string(unicode.ToUpper(r)) + s[n:]
}

// sentence begins s with a capital and ends it with a full stop.
func sentence(s string) string {
	s = capital(strings.TrimSpace(s))
	if s == "" || strings.ContainsAny(s[len(s)-1:], ".?!:") {
		return s
	}
	return s + "."
}

// cell is a figure before and after a change.
type cell struct {
	Before, After string
}

// Changed reports whether both print differently.
func (c cell) Changed() bool { return c.Before != c.After }

// figureRow is a line of the table of both corners; Kart is for what the kart
// has once.
type figureRow struct {
	Name, Means string
	Side        [2]cell
	Kart        *cell
}

// figure is something that a corner measures.
type figure struct {
	name, means string
	text        func(frontend.Figures) string
}

// figuresOf lists what a corner measures.
func figuresOf(u geometry.Units) []figure {
	over := strings.Replace(u.Length(advisor.RimLength), ".00", "", 1)
	return []figure{
		{"Caster", "lean of the kingpin seen from the side; + = top rearward", func(f frontend.Figures) string { return u.Angle(f.Caster) }},
		{"Camber", "lean of the wheel; + = top outward", func(f frontend.Figures) string { return u.Angle(f.Camber) }},
		{"Toe", "of one wheel; + = toe-in", func(f frontend.Figures) string { return u.Angle(f.Toe) }},
		{"Toe over " + over, "of one wheel; + = toe-in", func(f frontend.Figures) string {
			return u.Length(frontend.ToeLength(f.Toe, advisor.RimLength))
		}},
		{"Kingpin inclination", "lean of the kingpin seen from the front; + = top inboard", func(f frontend.Figures) string { return u.Angle(f.KPI) }},
		{"Trail", "how far ahead of the tyre's contact the kingpin's line meets the ground", func(f frontend.Figures) string { return u.Length(f.Trail) }},
		{"Kingpin offset", "how far inboard of the tyre's contact the kingpin's line meets the ground", func(f frontend.Figures) string { return u.Length(f.Offset) }},
	}
}

// figureRows lists what both corners measure before and after.
func figureRows(before, after [2]frontend.Figures, u geometry.Units) []figureRow {
	var out []figureRow
	for _, q := range figuresOf(u) {
		row := figureRow{Name: q.name, Means: q.means}
		for _, s := range frontend.Sides {
			row.Side[s] = cell{q.text(before[s]), q.text(after[s])}
		}
		out = append(out, row)
	}
	out = append(out, figureRow{Name: "Front track", Means: "between the two contacts", Kart: &cell{u.Length(profile.FrontTrack(before)), u.Length(profile.FrontTrack(after))}})
	h := profile.RideHeightChange(before, after)
	text := u.LengthBy(h)
	if math.Abs(float64(h)) < 0.005 {
		text = u.Length(0)
	}
	return append(out, figureRow{Name: "Front ride height", Means: "+ = the frame stands higher", Kart: &cell{u.Length(0), text}})
}

// bendRow is a line of the table of a slow bend.
type bendRow struct {
	Name string
	Turn [2]cell
}

// bendView is what a plan does in a bend.
type bendView struct {
	Bend   string
	Rows   []bendRow
	Alike  bool // both turns print the same
	Effort string
	Small  []string
	Caveat string
}

// bend says what a plan does in the usual slow bend, and which of the rules that
// speak for it rely on something that it does not do.
func bend(p *advisor.Plan, spoke []rules.Firing, u geometry.Units) (*bendView, error) {
	e, err := p.Effects(advisor.SlowBend)
	if err != nil {
		return nil, err
	}
	v := &bendView{Bend: e.Bend.String(), Small: append(p.Contradicted(e, spoke), e.Small...), Effort: advisor.SayEffort(e.EffortRatio()), Caveat: caveat(e.Before[0].Column, e.Assumed, e.Of, u)}
	v.Rows, v.Alike = bendRows(e.Before, e.After, u)
	return v, nil
}

// inBend is something that the kart does in a bend.
type inBend struct {
	name string
	text func(advisor.InBend) string
}

func bendsOf(u geometry.Units) []inBend {
	return []inBend{
		{"Inner rear wheel", func(b advisor.InBend) string { return b.SayRear(u) }},
		{"It lifts with the steering at", func(b advisor.InBend) string { return b.SayLifts(u) }},
		{"Outer front camber", func(b advisor.InBend) string { return u.Angle(b.OuterCamber) }},
	}
}

// bendRows lists what the kart does in both turns before and after; alike is
// true if both turns print the same.
func bendRows(before, after [2]advisor.InBend, u geometry.Units) (out []bendRow, alike bool) {
	alike = true
	for _, q := range bendsOf(u) {
		row := bendRow{Name: q.name}
		for _, t := range advisor.Turns {
			row.Turn[t] = cell{q.text(before[t]), q.text(after[t])}
		}
		alike = alike && row.Turn[0] == row.Turn[1]
		out = append(out, row)
	}
	return out, alike
}

// caveat says what the figures of a bend rest on.
func caveat(column geometry.Angle, assumed, of int, u geometry.Units) string {
	text := fmt.Sprintf("Computed for a smooth road and a steady bend, steering wheel at %s.", advisor.SaySteering(column, u))
	if assumed > 0 {
		text += fmt.Sprintf(" %d of the %d numbers that it needs are assumed: trust directions more than sizes.", assumed, of)
	}
	return text
}

// moveView is what is done to one adjuster.
type moveView struct {
	Name, Text string
	From, To   string
	Lock       string
	Drawing    template.HTML
}

// workView is what is done on a side, or on each if they are alike.
type workView struct {
	Label string // left, right or each side
	Moves []moveView
}

// work lists the turns by side, once if both are the same. Drawings differ
// between sides even where the words do not, so with them every side is listed.
func work(p *advisor.Plan, u geometry.Units) []workView {
	var out []workView
	for _, s := range p.Sides {
		w := workView{Label: s.Side.String() + " side"}
		for _, m := range s.Moves {
			w.Moves = append(w.Moves, moveView{
				Name: m.Name, Text: m.Adjuster.Move(m.From, m.To, u), From: m.Adjuster.Print(m.From, u), To: m.Adjuster.Print(m.To, u), Lock: m.Adjuster.Lock(),
				Drawing: drawMove(m, s.Side, u),
			})
		}
		out = append(out, w)
	}
	return out
}

// wayBack says the turns of a plan in words only, once if both sides are the
// same.
func wayBack(p *advisor.Plan, u geometry.Units) []workView {
	out := work(p, u)
	same := func(a, b moveView) bool { return a.Name == b.Name && a.Text == b.Text }
	if len(out) == 2 && slices.EqualFunc(out[0].Moves, out[1].Moves, same) {
		out[0].Label = "each side"
		return out[:1]
	}
	return out
}

// small prints a ± of an angle.
func small(pm geometry.Angle, u geometry.Units) string {
	if text := u.Angle(pm); strings.ContainsAny(text, "123456789") {
		return text
	}
	if u.Minutes {
		return "under 1'"
	}
	return "under 0.01°"
}

// withPM prints an angle with its ±, if the profile gives any reason for one.
func withPM(v, pm geometry.Angle, u geometry.Units) string {
	if pm == 0 {
		return u.Angle(v) + " (no ± in the profile)"
	}
	return u.Angle(v) + " ± " + small(pm, u)
}

// sureLines says how well a plan is known.
func sureLines(p *advisor.Plan, u geometry.Units) (lines, rests []string, err error) {
	s, err := p.Sureness()
	if err != nil || s == nil {
		return nil, nil, err
	}
	for _, side := range p.Sides {
		c, f, after := s.Change[side.Side], s.After[side.Side], p.After[side.Side]
		text := side.Side.String() + ": "
		if len(side.Moves) > 0 {
			text += fmt.Sprintf("the change is good to %s of caster, %s of camber, %s of toe; ", small(c.Caster, u), small(c.Camber, u), small(c.Toe, u))
		}
		lines = append(lines, text+fmt.Sprintf("then caster %s, camber %s, toe %s", withPM(after.Caster, f.Caster, u), withPM(after.Camber, f.Camber, u), withPM(after.Toe, f.Toe, u)))
	}
	for i, r := range s.Rests {
		if i == 4 {
			break
		}
		text := readings.Plain(r.Number.Path) + ", " + r.Number.Text(u)
		if r.Number.Assumed {
			text += ", assumed"
		}
		if r.Turns >= 0.005 {
			text += fmt.Sprintf(": moves the %s by %.2f", r.Of, r.Turns)
		} else {
			text += ": moves the change of " + r.Name + " by " + u.Angle(r.Figure)
		}
		rests = append(rests, text)
	}
	return lines, rests, nil
}
