package web

import (
	"fmt"
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

// drawMove draws what is done to an adjuster, or returns "" for a kind that
// words say better.
func drawMove(m advisor.Move, side frontend.Side, u geometry.Units) template.HTML {
	if f, ok := m.Adjuster.(adjust.Fine); ok && f.Negligible(m.From, m.To) {
		return "" // it may stay as it is
	}
	do := m.Adjuster.Move(m.From, m.To, u)
	title := capital(side.String()) + ": " + m.Name
	if w, ok := m.Adjuster.(adjust.Wraps); ok && w.Wraps() {
		from, errFrom := geometry.ParseClock(m.Adjuster.Print(m.From, u))
		to, errTo := geometry.ParseClock(m.Adjuster.Print(m.To, u))
		if errFrom != nil || errTo != nil {
			return "" // it stands anywhere, and its positions are no hours
		}
		t := m.Adjuster.Travel()
		words, _, _ := strings.Cut(do, ";")
		return inline(draw.Bush(title, from, to, int(t.Max-t.Min)+1, capital(words)))
	}
	turns := geometry.Turns(m.To - m.From)
	if turns < 0 {
		turns = -turns
	}
	words, more, _ := strings.Cut(do, "; ")
	switch {
	case strings.Contains(words, "anticlockwise"):
		return inline(draw.Screw(title, -turns, capital(words), more))
	case strings.Contains(words, "clockwise"):
		return inline(draw.Screw(title, turns, capital(words), more))
	case m.Part == adjust.OnRod:
		return drawRod(title, strings.Contains(words, "longer"), capital(do))
	}
	return ""
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

// drawRod draws a tie rod that is made longer or shorter: arrows that pull its
// ends apart or push them together, and the words.
func drawRod(title string, longer bool, words string) template.HTML {
	arrow := func(from, to int) string {
		head := 7
		if to < from {
			head = -7
		}
		return fmt.Sprintf(`<path class="kw-then" d="M%d 40H%d"/><path class="kw-new" d="M%d 34L%d 40L%d 46Z"/>`, from, to-head, to-head, to, to-head)
	}
	left, right := arrow(60, 24), arrow(260, 296)
	if !longer {
		left, right = arrow(24, 60), arrow(296, 260)
	}
	var lines strings.Builder
	y := 96
	for _, l := range wrapWords(words, 36) {
		fmt.Fprintf(&lines, `<text class="kw-h" x="160" y="%d" text-anchor="middle">%s</text>`, y, template.HTMLEscapeString(l))
		y += 17
	}
	return template.HTML(fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 320 %d" role="img" aria-label="%s"><text class="kw-h" x="10" y="17">%s</text>`+
		`<circle class="kw-now" cx="44" cy="62" r="11"/><circle class="kw-now" cx="276" cy="62" r="11"/><path class="kw-now" d="M55 62H110M210 62H265"/>`+
		`<rect class="kw-now" x="110" y="54" width="100" height="16" rx="3"/><rect class="kw-now" x="96" y="52" width="12" height="20"/><rect class="kw-now" x="212" y="52" width="12" height="20"/>%s%s%s</svg>`,
		y, template.HTMLEscapeString(title+": "+words), template.HTMLEscapeString(title), left, right, lines.String()))
}

// wrapWords breaks a text into lines of at most n characters.
func wrapWords(text string, n int) []string {
	var out []string
	line := ""
	for _, w := range strings.Fields(text) {
		if line != "" && len(line)+1+len(w) > n {
			out, line = append(out, line), ""
		}
		line = strings.TrimSpace(line + " " + w)
	}
	return append(out, line)
}
