package draw

import (
	"fmt"
	"html"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"
)

// width is that of every image, in px before it grows.
const width = 320.

// margin is kept free on both sides.
const margin = 10.

// style is the look of every image. Each image carries it, so that it can stand
// alone. Where it is put into a page, .kw-… names keep it from touching the rest.
const style = `.kw-bg{fill:#fff}.kw-t{fill:#17191c;font:12px system-ui,sans-serif}.kw-h{fill:#17191c;font:bold 13px system-ui,sans-serif}.kw-s{fill:#51575e;font:11px system-ui,sans-serif}` +
	`.kw-now{stroke:#17191c;fill:none;stroke-width:2}.kw-then{stroke:#a33a00;fill:none;stroke-width:2;stroke-dasharray:7 3}.kw-less{stroke:#1d5a96;fill:none;stroke-width:2;stroke-dasharray:2 3}` +
	`.kw-thin{stroke:#7b838c;fill:none;stroke-width:1}.kw-dot{fill:#17191c}.kw-new{fill:#a33a00}.kw-low{fill:#1d5a96}.kw-soft{fill:#eef0f2}` +
	`@media (prefers-color-scheme:dark){.kw-bg{fill:#14171a}.kw-t,.kw-h{fill:#f1f3f5}.kw-s{fill:#aeb6bf}.kw-now{stroke:#f1f3f5}.kw-then{stroke:#ffae73}.kw-less{stroke:#8cc4ff}` +
	`.kw-thin{stroke:#8a939c}.kw-dot{fill:#f1f3f5}.kw-new{fill:#ffae73}.kw-low{fill:#8cc4ff}.kw-soft{fill:#22272c}}`

// canvas collects the parts of an image.
type canvas struct {
	b strings.Builder
	y float64 // down to where it is filled
}

// num prints a coordinate.
func num(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		v = 0
	}
	s := strconv.FormatFloat(math.Round(v*100)/100+0, 'f', -1, 64)
	return s
}

func (c *canvas) line(class string, x1, y1, x2, y2 float64) {
	fmt.Fprintf(&c.b, `<line class="kw-%s" x1="%s" y1="%s" x2="%s" y2="%s"/>`, class, num(x1), num(y1), num(x2), num(y2))
}

// poly draws a line through points, closed if shut.
func (c *canvas) poly(class string, pts []xy, shut bool) {
	tag := "polyline"
	if shut {
		tag = "polygon"
	}
	var list []string
	for _, p := range pts {
		list = append(list, num(p.x)+","+num(p.y))
	}
	fmt.Fprintf(&c.b, `<%s class="kw-%s" points="%s"/>`, tag, class, strings.Join(list, " "))
}

func (c *canvas) circle(class string, at xy, r float64) {
	fmt.Fprintf(&c.b, `<circle class="kw-%s" cx="%s" cy="%s" r="%s"/>`, class, num(at.x), num(at.y), num(r))
}

func (c *canvas) rect(class string, x, y, w, h float64) {
	fmt.Fprintf(&c.b, `<rect class="kw-%s" x="%s" y="%s" width="%s" height="%s"/>`, class, num(x), num(y), num(w), num(h))
}

func (c *canvas) path(class, d string) { fmt.Fprintf(&c.b, `<path class="kw-%s" d="%s"/>`, class, d) }

// text writes at a baseline; anchor is start, middle or end.
func (c *canvas) text(class, anchor string, x, y float64, s string) {
	fmt.Fprintf(&c.b, `<text class="kw-%s" x="%s" y="%s" text-anchor="%s">%s</text>`, class, num(x), num(y), anchor, html.EscapeString(s))
}

// em is the height of each class of text.
var em = map[string]float64{"t": 12, "h": 13, "s": 11, "title": 19, "head": 16, "strong": 14, "body": 14, "small": 12}

// bold are the classes of text in bold.
var bold = map[string]bool{"h": true, "title": true, "head": true, "strong": true}

// Letters by how wide they are at most, in parts of the letters' height: as in
// DejaVu Sans, measured in a browser, which is among the widest of the sans serif
// faces that devices have.
var letters = []struct {
	wide float64
	of   string
}{
	{0.32, " ',.ilIjJ|’‘′íì"}, {0.42, "!()-/:;[]\\frt″"}, {0.54, "\"*?_`scz°“”–"}, {0.84, "#+<=>~^±→≤≥×−✓&"}, {1.04, "mwMW%@½¼¾⅛⅜⅝⅞—…œ"},
}

// wide is a safe guess of how wide a text is: a little more than any common
// sans serif makes of it.
func wide(class, s string) float64 {
	w := 0.
	for _, r := range s {
		w += wideLetter(r)
	}
	if bold[class] {
		w *= 1.13
	}
	return w * em[class]
}

func wideLetter(r rune) float64 {
	for _, l := range letters {
		if strings.ContainsRune(l.of, r) {
			return l.wide
		}
	}
	switch {
	case r >= 0x2e80:
		return 1.05
	case r >= 'A' && r <= 'Z' || r > 0xff:
		return 0.8
	}
	return 0.65
}

// wrap breaks a text into lines that fit, and a word that does not fit into
// pieces.
func wrap(class, s string, room float64) []string { return wrapAfter(class, s, 0, room) }

// wrapAfter is wrap with a first line that begins after an indent.
func wrapAfter(class, s string, indent, room float64) []string {
	var out []string
	line, left := "", room-indent
	next := func(l string) { out, line, left = append(out, l), "", room }
	for _, word := range strings.Fields(s) {
		if line != "" && wide(class, line+" "+word) > left {
			next(line)
		}
		if line == "" && left < room && wide(class, word) > left && wide(class, word) <= room {
			next("")
		}
		for line == "" && wide(class, word) > left {
			part := word
			for utf8.RuneCountInString(part) > 1 && wide(class, part) > left {
				_, n := utf8.DecodeLastRuneInString(part)
				part = part[:len(part)-n]
			}
			if part == word {
				break // one letter, wider than there is room
			}
			word = word[len(part):]
			next(part)
		}
		line = strings.TrimSpace(line + " " + word)
	}
	return append(out, line)
}

// lines writes text below what is there already.
func (c *canvas) lines(class, s string, x, room float64) {
	for _, l := range wrap(class, s, room) {
		c.y += em[class] + 3
		c.text(class, "start", x, c.y, l)
	}
}

// head writes a title and what is to be known about the drawing.
func (c *canvas) head(title, note string) {
	c.y = 4
	c.lines("h", title, margin, width-2*margin)
	if note != "" {
		c.lines("s", note, margin, width-2*margin)
	}
	c.y += 6
}

// key writes the legend: a sample of each kind of line and its meaning.
func (c *canvas) key(rows []keyRow) {
	c.y += 4
	for _, r := range rows {
		if r.text == "" {
			continue
		}
		c.line(r.class, margin, c.y+11, margin+28, c.y+11)
		c.lines("t", r.text, margin+36, width-2*margin-36)
		c.y += 1
	}
}

type keyRow struct{ class, text string }

// svg finishes the image. title and text are for those who cannot see it.
func (c *canvas) svg(title, text string) string {
	h := math.Ceil(c.y + 8)
	id := name(title)
	size := fmt.Sprintf(`width="%s" height="%s"`, num(width), num(h))
	return `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 ` + num(width) + ` ` + num(h) + `" width="100%" style="max-width:40rem" role="img" aria-labelledby="` + id + `-t ` + id + `-d">` +
		`<title id="` + id + `-t">` + html.EscapeString(title) + `</title><desc id="` + id + `-d">` + html.EscapeString(text) + `</desc><style>` + style + `</style>` +
		`<rect class="kw-bg" ` + size + `/>` + c.b.String() + "</svg>\n"
}

// name turns a title into something that an id may be.
func name(title string) string {
	var b strings.Builder
	b.WriteString("kw")
	for _, r := range strings.ToLower(title) {
		switch {
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9':
			b.WriteRune(r)
		case utf8.RuneLen(r) > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
	}
	return strings.Trim(b.String(), "-")
}

// xy is a place in the image, px, y downward.
type xy struct{ x, y float64 }

func (a xy) add(b xy) xy               { return xy{a.x + b.x, a.y + b.y} }
func (a xy) sub(b xy) xy               { return xy{a.x - b.x, a.y - b.y} }
func (a xy) scale(f float64) xy        { return xy{a.x * f, a.y * f} }
func (a xy) norm() float64             { return math.Hypot(a.x, a.y) }
func (a xy) toward(b xy, f float64) xy { return a.add(b.sub(a).scale(f)) }
