package web

import (
	"html/template"
	"regexp"
	"strings"

	"kartwright/advisor"
	"kartwright/advisor/profile"
	"kartwright/cmd/kartwright/internal/draw"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
)

// ownStyle is the style that a drawing carries to stand alone. In a page the
// page's own style sheet has it, with the page's choice of light and dark.
var ownStyle = regexp.MustCompile(`(?s)<style>.*?</style>| style="[^"]*"`)

// inline makes a drawing of package draw fit to stand in a page.
func inline(svg string) template.HTML { return template.HTML(ownStyle.ReplaceAllString(svg, "")) }

// pieceOf is the drawing of what is done to an adjuster; none for a kind that
// words say better. words is what the drawing shows, more what else is to be
// read.
func pieceOf(m advisor.Move, side frontend.Side, u geometry.Units) (p draw.Piece, words, more string) {
	if f, ok := m.Adjuster.(adjust.Fine); ok && f.Negligible(m.From, m.To) {
		return p, "", "" // it may stay as it is
	}
	do, t := m.Adjuster.Move(m.From, m.To, u), m.Adjuster.Travel()
	words, more, _ = strings.Cut(do, "; ")
	words = capital(words)
	if w, ok := m.Adjuster.(adjust.Wraps); ok && w.Wraps() {
		from, errFrom := geometry.ParseClock(m.Adjuster.Print(m.From, u))
		to, errTo := geometry.ParseClock(m.Adjuster.Print(m.To, u))
		if errFrom != nil || errTo != nil {
			return p, "", "" // it stands anywhere, and its positions are no hours
		}
		return draw.Marked(side, from, to, int(t.Max-t.Min)+1), words, ""
	}
	if l, ok := m.Adjuster.(adjust.Listed); ok && m.Part == adjust.OnPivot {
		var seats []draw.Seat
		for i := range l.Positions() {
			at := m.Adjuster.Shift(float64(i))
			d := at.Top.Add(at.Bottom) // one of them moves
			seats = append(seats, draw.Seat{Forward: d.X, Outboard: d.Y})
		}
		return draw.Inserted(side, seats, int(m.From), int(m.To)), words, more
	}
	turns := geometry.Turns(m.To - m.From)
	if turns < 0 {
		turns = -turns
	}
	switch {
	case m.Part == adjust.OnStub && t.Step == 1 && t.Min == 0:
		return draw.Shimmed(side, int(m.From), int(m.To), int(t.Max)), capital(do), ""
	case strings.Contains(words, "anticlockwise"):
		return draw.Turned(-turns), words, more
	case strings.Contains(words, "clockwise"):
		return draw.Turned(turns), words, more
	case m.Part == adjust.OnRod:
		return draw.Lengthened(strings.Contains(words, "longer")), capital(do), ""
	}
	return p, "", ""
}

// drawMove draws what is done to an adjuster, or returns "".
func drawMove(m advisor.Move, side frontend.Side, u geometry.Units) template.HTML {
	p, words, more := pieceOf(m, side, u)
	if p.None() {
		return ""
	}
	return inline(p.SVG(capital(side.String())+": "+m.Name, words, more))
}

// shifts is what a setting does to both corners.
func shifts(k *profile.Kart, at [2]adjust.Setting) [2]frontend.Shift {
	return [2]frontend.Shift{k.Corners[0].Shift(at[0]), k.Corners[1].Shift(at[1])}
}

// frontDrawings draws the front end from three sides, at one setting and at
// another, with the steering wheel turned.
func frontDrawings(k *profile.Kart, from, to [2]adjust.Setting, steer geometry.Angle, against string) ([]template.HTML, error) {
	v := draw.View{NowText: against, ThenText: "as set here"}
	if err := v.Pose(draw.Stands{Axle: &k.Axle, Shift: shifts(k, from)}, draw.Stands{Axle: &k.Axle, Shift: shifts(k, to)}, steer); err != nil {
		return nil, err
	}
	var out []template.HTML
	for _, d := range []struct {
		title string
		draw  func() string
	}{{"Left corner from the front", v.Front}, {"Left corner from the side", v.Side}, {"Front end from above", v.Top}} {
		v.Title = d.title
		out = append(out, inline(d.draw()))
	}
	return out, nil
}

// curves draws what the wheels do over the steering, at one setting and at
// another.
func curves(k *profile.Kart, from, to [2]adjust.Setting, against string) ([]template.HTML, error) {
	var columns []geometry.Angle
	for d := -maxSteer; d <= maxSteer; d += 3 {
		columns = append(columns, geometry.Angle(d)*geometry.Degree)
	}
	was, err := k.Axle.Sweep(shifts(k, from), columns)
	if err != nil {
		return nil, err
	}
	is, err := k.Axle.Sweep(shifts(k, to), columns)
	if err != nil {
		return nil, err
	}
	same := true
	for s := range from {
		for i := range from[s] {
			same = same && from[s][i] == to[s][i]
		}
	}
	line := func(look draw.Look, name string, sweep []frontend.Steered, y func(frontend.Steered) float64) draw.Series {
		s := draw.Series{Look: look, Name: name}
		for _, x := range sweep {
			s.X, s.Y = append(s.X, x.Column.Degrees()), append(s.Y, y(x))
		}
		return s
	}
	var out []template.HTML
	for _, c := range []struct {
		title, y string
		value    func(frontend.Steered) float64
	}{
		{"Camber of the left wheel", "camber, °", func(x frontend.Steered) float64 { return x.Camber[frontend.Left].Degrees() }},
		{"Left contact up or down", "up, mm", func(x frontend.Steered) float64 { return float64(x.Height[frontend.Left]) }},
		{"Ackermann error", "error, °", func(x frontend.Steered) float64 { return x.Ackermann.Degrees() }},
	} {
		ch := draw.Chart{Title: c.title, XName: "steering wheel, ° (+ left)", YName: c.y, Series: []draw.Series{line(draw.Now, against, was, c.value)}}
		if !same {
			ch.Series = append(ch.Series, line(draw.More, "as set", is, c.value))
		}
		out = append(out, inline(ch.SVG()))
	}
	return out, nil
}
