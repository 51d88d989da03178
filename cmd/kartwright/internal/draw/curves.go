package draw

import (
	"fmt"
	"math"
	"sort"
	"strconv"
	"strings"
)

// Look is how a line is drawn: by its dashes first, and by its colour.
type Look uint8

// The looks.
const (
	Now  Look = iota // solid
	More             // long dashes
	Less             // dots
)

func (l Look) class() string { return [...]string{"now", "then", "less"}[l] }

// Series is one line of a chart.
type Series struct {
	Look Look
	Name string // short: it stands at the line's end
	X, Y []float64
}

// Chart is a drawing of lines against steering.
type Chart struct {
	Title, Note  string
	XName, YName string // with their units
	Series       []Series
	// Below, if its Name is not empty, is another scale for what is below zero:
	// Per of its units are one of Y's, downward.
	Below struct {
		Name string
		Per  float64
	}
}

// ticks returns round numbers from lo to hi, about n of them.
func ticks(lo, hi float64, n int) []float64 {
	if !(hi > lo) {
		return []float64{lo}
	}
	step := math.Pow(10, math.Floor(math.Log10((hi-lo)/float64(n))))
	for _, f := range []float64{1, 2, 5, 10} {
		if (hi-lo)/(step*f) <= float64(n) {
			step *= f
			break
		}
	}
	var out []float64
	for k := math.Ceil(lo/step - 1e-9); k*step <= hi+1e-9*step; k++ {
		out = append(out, k*step+0) // never −0
	}
	return out
}

func tick(v float64) string { return strconv.FormatFloat(math.Round(v*1000)/1000+0, 'f', -1, 64) }

// SVG draws the chart.
func (ch *Chart) SVG() string {
	var c canvas
	c.head(ch.Title, ch.Note)
	lo, hi := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for _, s := range ch.Series {
		for i := range s.X {
			for k, v := range [2]float64{s.X[i], s.Y[i]} {
				lo[k], hi[k] = math.Min(lo[k], v), math.Max(hi[k], v)
			}
		}
	}
	if math.IsInf(lo[0], 0) {
		lo, hi = [2]float64{0, 0}, [2]float64{1, 1}
	}
	if !(hi[0] > lo[0]) {
		hi[0] = lo[0] + 1
	}
	below := ch.Below
	if lo[1] >= 0 {
		below.Name = "" // nothing goes there
	}
	pad := 0.06 * (hi[1] - lo[1])
	if pad == 0 {
		pad = math.Max(0.5, math.Abs(hi[1])*0.1)
	}
	lo[1], hi[1] = lo[1]-pad, hi[1]+pad

	// The names of the scales stand above the plot, the lines' names at its
	// right.
	c.lines("s", "↑ "+ch.YName, margin, width-2*margin)
	c.y += 14
	right := 0.
	for _, s := range ch.Series {
		right = math.Max(right, wide("t", s.Name))
	}
	x0, x1 := 44., width-margin-right-8
	y0, y1 := c.y, c.y+150
	px := func(v float64) float64 { return x0 + (x1-x0)*(v-lo[0])/(hi[0]-lo[0]) }
	py := func(v float64) float64 { return y1 - (y1-y0)*(v-lo[1])/(hi[1]-lo[1]) }

	// mark labels the upright scale where there is room for it.
	var marked []float64
	mark := func(y, v float64) {
		for _, m := range marked {
			if math.Abs(m-y) < 12 {
				return
			}
		}
		marked = append(marked, y)
		c.text("s", "end", x0-6, y+4, tick(v))
	}
	if below.Name != "" {
		zero := math.Max(y0, py(0)) // which may lie above all lines
		c.rect("soft", x0, zero, x1-x0, y1-zero)
		for _, v := range ticks(0, -lo[1]*below.Per, 3) {
			y := py(-v / below.Per)
			if v == 0 || y > y1-2 || y < zero+11 {
				continue
			}
			c.line("thin", x0-4, y, x0, y)
			mark(y, v)
		}
	}
	for _, v := range ticks(lo[1], hi[1], 7) {
		if below.Name != "" && v < -1e-9 {
			continue
		}
		c.line("thin", x0-4, py(v), x1, py(v))
		mark(py(v), v)
	}
	c.line("thin", x0, y0, x0, y1)
	for _, v := range ticks(lo[0], hi[0], 5) {
		c.line("thin", px(v), y1, px(v), y1+4)
		c.text("s", "middle", px(v), y1+16, tick(v)+"°")
	}
	type label struct {
		s       Series
		want, y float64
	}
	var labels []label
	for _, s := range ch.Series {
		var pts []xy
		for i := range s.X {
			pts = append(pts, xy{px(s.X[i]), py(s.Y[i])})
		}
		if len(pts) == 0 {
			continue
		}
		c.poly(s.Look.class(), pts, false)
		end := pts[len(pts)-1]
		labels = append(labels, label{s, end.y, end.y})
	}
	// Names that would lie over each other are pushed apart.
	sort.SliceStable(labels, func(i, j int) bool { return labels[i].want < labels[j].want })
	const apart = 15
	for i := range labels {
		if i > 0 {
			labels[i].y = math.Max(labels[i].y, labels[i-1].y+apart)
		}
	}
	for i := len(labels) - 1; i >= 0; i-- {
		floor := y1
		if i < len(labels)-1 {
			floor = labels[i+1].y - apart
		}
		labels[i].y = math.Min(labels[i].y, floor)
	}
	for _, l := range labels {
		c.text("t", "start", x1+8, l.y+4, l.s.Name)
	}
	c.y = y1 + 16
	c.lines("s", ch.XName+" →", x0, width-margin-x0)
	if below.Name != "" {
		c.y += 2
		c.rect("soft", margin, c.y+2, 28, 12)
		c.lines("t", below.Name, margin+36, width-2*margin-36)
	}
	var rows []keyRow
	var said []string
	for _, s := range ch.Series {
		rows = append(rows, keyRow{s.Look.class(), s.Name})
		if n := len(s.Y); n > 0 {
			said = append(said, fmt.Sprintf("%s: from %s at %s° to %s at %s°", s.Name, tick(s.Y[0]), tick(s.X[0]), tick(s.Y[n-1]), tick(s.X[n-1])))
		}
	}
	c.keyInline(rows)
	return c.svg(ch.Title, ch.YName+" against "+ch.XName+". "+strings.Join(said, "; ")+".")
}

// keyInline writes a legend in as few rows as will do.
func (c *canvas) keyInline(rows []keyRow) {
	c.y += 6
	x := margin
	for i, r := range rows {
		w := 28 + 6 + wide("t", r.text) + 14
		if i > 0 && x+w > width-margin {
			x = margin
			c.y += 17
		}
		c.line(r.class, x, c.y+11, x+28, c.y+11)
		c.text("t", "start", x+34, c.y+15, r.text)
		x += w
	}
	c.y += 17
}
