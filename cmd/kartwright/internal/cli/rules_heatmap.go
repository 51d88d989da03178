package cli

import (
	"fmt"
	"html"
	"strings"

	"kartwright/rules/author"
)

// The heat map is drawn for print and for eyes that do not tell colours apart:
// each state has a pattern and a letter of its own, and its greys differ.
const (
	cellSize = 16
	gripGap  = 6
	trackGap = 18
	nameSize = 130
	topSize  = 92
	margin   = 16
)

// looks are how states are drawn: the fill of a cell, its letter, and its ink.
var looks = map[author.State]struct{ fill, letter, ink, text string }{
	author.Answered:  {"#f4f7f9", "", "#333", "answered"},
	author.Contested: {"url(#contested)", "c", "#10324f", "contested: the trade is split, and the answer says so"},
	author.Conflict:  {"url(#conflict)", "X", "#000", "conflict that nothing explains"},
	author.Silent:    {"#1b1b1b", "–", "#fff", "silent"},
}

// heatMap draws a survey as SVG: a row a symptom, a column a condition.
func heatMap(s *author.Survey) []byte {
	group := float64(len(s.Tyres)*cellSize + gripGap)
	block := float64(len(s.Grip))*group - gripGap + trackGap
	width := nameSize + float64(len(s.Tracks))*block + 2*margin - trackGap
	width = max(width, 640)
	height := topSize + len(s.Symptoms)*cellSize + 3*margin + 2*(cellSize+8)

	var b strings.Builder
	put := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	put(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %d" width="%g" height="%d" role="img" aria-labelledby="title" font-family="sans-serif" font-size="11">`, width, height, width, height)
	put(`<title id="title">Situations that the rules answer</title>`)
	put(`<defs>
<pattern id="contested" width="4" height="4" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect width="4" height="4" fill="#cfe3f3"/><rect width="1" height="4" fill="#9dc3e0"/></pattern>
<pattern id="conflict" width="5" height="5" patternUnits="userSpaceOnUse"><rect width="5" height="5" fill="#f0a830"/><path d="M0 0L5 5M5 0L0 5" stroke="#fff" stroke-width="0.8"/></pattern>
</defs>`)
	put(`<rect width="%g" height="%d" fill="#fff"/>`, width, height)
	put(`<text x="%d" y="%d" font-size="15" font-weight="bold">Situations that the rules answer</text>`, margin, margin+12)

	x := func(track, grip, tyres int) float64 {
		return margin + nameSize + float64(track)*block + float64(grip)*group + float64(tyres*cellSize)
	}
	for i, t := range s.Tracks {
		put(`<text x="%g" y="%d" font-weight="bold">track: %s</text>`, x(i, 0, 0), topSize-38, html.EscapeString(t))
		for j, g := range s.Grip {
			put(`<text x="%g" y="%d">%s</text>`, x(i, j, 0), topSize-22, html.EscapeString(g))
			for k, w := range initials(s.Tyres) {
				put(`<text x="%g" y="%d" text-anchor="middle" fill="#555" font-size="10">%c</text>`, x(i, j, k)+cellSize/2, topSize-8, w)
			}
		}
	}
	put(`<text x="%d" y="%d" fill="#555">grip</text><text x="%d" y="%d" fill="#555">tyres</text>`, margin, topSize-22, margin, topSize-8)
	for row, w := range s.Symptoms {
		y := topSize + row*cellSize
		put(`<text x="%d" y="%d">%s</text>`, margin, y+cellSize-4, html.EscapeString(w.ID))
		for i, t := range s.Tracks {
			for j, g := range s.Grip {
				for k, tyres := range s.Tyres {
					state, phases := s.Cell(w.ID, t, g, tyres)
					put(`%s`, cell(x(i, j, k), y, state, fmt.Sprintf("%s, track %s, grip %s, tyres %s: %s (phase: %s)", w.ID, t, g, tyres, state, strings.Join(phases, ", "))))
				}
			}
		}
	}
	y := topSize + len(s.Symptoms)*cellSize + 2*margin
	at := float64(margin)
	for _, state := range []author.State{author.Answered, author.Contested, author.Conflict, author.Silent} {
		put(`%s<text x="%g" y="%d">%s</text>`, cell(at, y, state, state.String()), at+cellSize+6, y+cellSize-4, looks[state].text)
		at += 6.2*float64(len(looks[state].text)) + cellSize + 18
	}
	put(`<text x="%d" y="%d" fill="#555">Tyres, from left to right: %s. A cell shows the worst of the phases in which the complaint is reported.</text>`,
		margin, y+2*cellSize+8, html.EscapeString(strings.Join(s.Tyres, ", ")))
	put(`</svg>`)
	return []byte(b.String())
}

// cell draws one state; hint is shown where a pointer rests on it.
func cell(x float64, y int, state author.State, hint string) string {
	l := looks[state]
	out := fmt.Sprintf(`<g><title>%s</title><rect x="%g" y="%d" width="%d" height="%d" fill="%s" stroke="#8a97a3" stroke-width="0.6"/>`,
		html.EscapeString(hint), x, y, cellSize, cellSize, l.fill)
	if l.letter != "" {
		out += fmt.Sprintf(`<text x="%g" y="%d" text-anchor="middle" font-weight="bold" fill="%s">%s</text>`, x+cellSize/2, y+cellSize-4, l.ink, l.letter)
	}
	return out + `</g>`
}
