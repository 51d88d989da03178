package testday

import (
	"fmt"
	"html"
	"math"
	"strings"
)

// point is a run on the chart.
type point struct {
	run         int
	value, base float64 // the run's figure; what the base would have done then
	setup       Setup
}

// points lists the runs that count, and the range of their times.
func (v *Verdict) points(d *Day) (list []point, lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	v.used(func(_ int, q *RunResult) {
		p := point{q.Run, q.Value, q.Fitted, d.Runs[q.Run].Setup}
		for j, e := range v.Effects {
			if p.setup.Has(j) {
				p.base -= e.Value // NaN for what cannot be told: no line there
			}
		}
		list = append(list, p)
		for _, y := range []float64{p.value, p.base} {
			if !math.IsNaN(y) {
				lo, hi = min(lo, y), max(hi, y)
			}
		}
	})
	if room := 0.08 * (hi - lo); room > 0.005 {
		return list, lo - room, hi + room
	}
	return list, lo - 0.05, hi + 0.05
}

// mark is the letter of a setup on the chart.
func (s Setup) mark() string {
	switch {
	case s == 0:
		return "o"
	case s&(s-1) == 0:
		return s.String()
	}
	return "*"
}

// Chart draws the runs over the day as text at most 80 columns wide: each run
// with the number of its change (o the base, * several at once), and the drift
// line, which is what the base would have done.
func (v *Verdict) Chart(d *Day) []string {
	list, lo, hi := v.points(d)
	if len(list) == 0 {
		return nil
	}
	const rows, left, room = 13, 9, 70
	step := max(2, min(7, room/max(1, len(d.Runs))))
	wide := step * len(d.Runs)
	grid := make([][]rune, rows)
	for r := range grid {
		grid[r] = []rune(strings.Repeat(" ", wide))
	}
	row := func(y float64) int {
		return max(0, min(rows-1, int(math.Round((hi-y)/(hi-lo)*(rows-1)))))
	}
	column := func(run int) int { return run*step + step/2 }
	for i := 1; i < len(list); i++ {
		a, b := list[i-1], list[i]
		if math.IsNaN(a.base) || math.IsNaN(b.base) {
			continue
		}
		from, to := column(a.run), column(b.run)
		for c := from; c <= to; c++ {
			share := float64(c-from) / float64(to-from)
			grid[row(a.base+float64(share*(b.base-a.base)))][c] = '·'
		}
	}
	for _, p := range list {
		grid[row(p.value)][column(p.run)] = []rune(p.setup.mark())[0]
	}
	var out []string
	for r, line := range grid {
		label := strings.Repeat(" ", left-1)
		if r%4 == 0 {
			label = fmt.Sprintf("%*.2f", left-1, hi-float64(r)/(rows-1)*(hi-lo))
		}
		out = append(out, label+" |"+strings.TrimRight(string(line), " "))
	}
	axis := []rune(strings.Repeat(" ", wide))
	for i := range d.Runs {
		for k, c := range itoa(i + 1) {
			if at := column(i) + k; at < len(axis) {
				axis[at] = c
			}
		}
	}
	return append(out, strings.Repeat(" ", left)+"+"+strings.Repeat("-", wide), strings.Repeat(" ", left-4)+"run  "+strings.TrimRight(string(axis), " "))
}

// Legend says what the marks of Chart mean.
func (v *Verdict) Legend(d *Day) string { return d.legend("·") }

func (d *Day) legend(line string) string {
	parts := []string{"o base"}
	several := false
	for j, c := range d.Changes {
		parts = append(parts, itoa(j+1)+" "+c.Name)
	}
	for _, r := range d.Runs {
		several = several || r.Setup&(r.Setup-1) != 0
	}
	if several {
		parts = append(parts, "* several at once")
	}
	return strings.Join(append(parts, line+" drift: what the base would have done"), ", ")
}

// The colours tell eight setups apart also for those who see fewer, and each
// point carries its number (M. Okabe, K. Ito 2008).
var colours = [...]string{"#000000", "#0072b2", "#d55e00", "#009e73", "#cc79a7", "#e69f00", "#56b4e9"}

func (s Setup) colour() string {
	switch {
	case s == 0:
		return colours[0]
	case s&(s-1) == 0:
		for j := range MaxChanges {
			if s.Has(j) {
				return colours[1+j%6]
			}
		}
	}
	return "#666666"
}

// SVG draws the runs with the drift line as a picture. It needs no style sheet
// and no font of its own, and prints in grey; its classes let a page give it
// other colours.
func (v *Verdict) SVG(d *Day) []byte {
	return v.draw(d, frame{wide: 760, high: 400, left: 70, right: 20, top: 46, bottom: 90, size: 13, titled: true})
}

// Narrow is SVG for the width of a phone, without the title and the legend,
// which belong beside it as text: Legend has the words.
func (v *Verdict) Narrow(d *Day) []byte {
	return v.draw(d, frame{wide: 340, high: 300, left: 62, right: 8, top: 12, bottom: 44, size: 13})
}

// frame is the room of a chart.
type frame struct {
	wide, high, left, right, top, bottom, size float64
	titled                                     bool
}

func (v *Verdict) draw(d *Day, f frame) []byte {
	list, lo, hi := v.points(d)
	var b strings.Builder
	put := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	put(`<svg xmlns="http://www.w3.org/2000/svg" class="day-chart" viewBox="0 0 %g %g" width="%g" height="%g" font-family="sans-serif" font-size="%g" role="img">`, f.wide, f.high, f.wide, f.high, f.size)
	title := "Runs of the test day"
	if d.Track != "" {
		title += ", " + d.Track
	}
	put(`<title>%s</title>`, html.EscapeString(title))
	put(`<rect class="ground" width="%g" height="%g" fill="#ffffff"/>`, f.wide, f.high)
	if f.titled {
		put(`<text x="%g" y="24" font-size="16">%s</text>`, f.left, html.EscapeString(title))
	}
	if len(list) > 0 {
		apart := (f.wide - f.left - f.right) / float64(len(d.Runs))
		x := func(run int) float64 { return f.left + float64(apart*(float64(run)+0.5)) }
		y := func(s float64) float64 { return f.top + float64((f.high-f.top-f.bottom)*(hi-s)/(hi-lo)) }
		marks, decimals := ticks(lo, hi)
		for _, s := range marks {
			put(`<line class="grid" x1="%g" x2="%g" y1="%.1f" y2="%.1f" stroke="#dddddd"/>`, f.left, f.wide-f.right, y(s), y(s))
			put(`<text x="%g" y="%.1f" text-anchor="end">%.*f s</text>`, f.left-6, y(s)+4, decimals, s)
		}
		every := int(math.Ceil(18 / apart)) // numbers must not run into each other
		for i := 0; i < len(d.Runs); i += every {
			put(`<text x="%.1f" y="%g" text-anchor="middle">%d</text>`, x(i), f.high-f.bottom+20, i+1)
		}
		put(`<text x="%g" y="%g" text-anchor="middle">run</text>`, (f.left+f.wide-f.right)/2, f.high-f.bottom+40)
		var line []string
		flush := func() {
			if len(line) > 1 {
				put(`<polyline class="drift" points="%s" fill="none" stroke="#000000" stroke-width="1.5" stroke-dasharray="6 4"/>`, strings.Join(line, " "))
			}
			line = nil
		}
		for _, p := range list {
			if math.IsNaN(p.base) {
				flush()
				continue
			}
			line = append(line, fmt.Sprintf("%.1f,%.1f", x(p.run), y(p.base)))
		}
		flush()
		radius := max(6, min(9, apart/2-1))
		for _, p := range list {
			r := d.Runs[p.run]
			class := "kind-" + strings.ReplaceAll(p.setup.mark(), "*", "several")
			if !math.IsNaN(p.base) {
				put(`<line class="%s" x1="%.1f" x2="%.1f" y1="%.1f" y2="%.1f" stroke="%s"/>`, class, x(p.run), x(p.run), y(p.base), y(p.value), p.setup.colour())
			}
			words := fmt.Sprintf("run %d, %s: %.3f s", p.run+1, say(d.Changes, p.setup), p.value)
			if r.Says != "" {
				words += ". " + r.Says
			}
			put(`<g><title>%s</title><circle class="%s" cx="%.1f" cy="%.1f" r="%.1f" fill="#ffffff" stroke="%s" stroke-width="2.5"/>`, html.EscapeString(words), class, x(p.run), y(p.value), radius, p.setup.colour())
			put(`<text x="%.1f" y="%.1f" text-anchor="middle" font-size="12">%s</text></g>`, x(p.run), y(p.value)+4, p.setup.mark())
		}
	}
	if f.titled {
		var legend strings.Builder
		wrapAt(&legend, "", d.legend("dashed:"), 105)
		for i, l := range strings.Split(strings.TrimSpace(legend.String()), "\n") {
			put(`<text x="%g" y="%g" font-size="12">%s</text>`, f.left, f.high-34+14*float64(i), html.EscapeString(l))
		}
	}
	put(`</svg>`)
	return []byte(b.String())
}

// LegendOfPicture says what the marks of SVG and Narrow mean.
func (v *Verdict) LegendOfPicture(d *Day) string { return d.legend("dashed:") }

// ticks are round values between lo and hi, three to eleven of them, and the decimals
// that they need.
func ticks(lo, hi float64) (out []float64, decimals int) {
	power := math.Floor(math.Log10(hi - lo))
	step := math.Pow(10, power)
	switch spread := (hi - lo) / step; {
	case spread < 1.5:
		step, power = step/5, power-1
	case spread < 3:
		step, power = step/2, power-1
	}
	for k := math.Ceil(lo / step); k*step <= hi; k++ {
		out = append(out, k*step)
	}
	return out, max(0, -int(power))
}
