package draw

import (
	"fmt"
	"html"
	"math"
	"regexp"
	"strings"
)

// A Card is a job card as one image for a phone: what its parts say, in the
// order of its fields.
type Card struct {
	Title    string
	About    string // the kart and what was said
	Warnings []string
	Moves    []CardMove
	Steps    []CardStep
	Torque   string // what is to be filled in on a line
	Readings []CardReading
	Undo     []CardPart
	Confirm  []string
	Cautions []string
}

// CardMove is what is done to one adjuster, left and right; no text where
// nothing is.
type CardMove struct {
	Name  string
	Text  [2]string
	Piece [2]Piece
}

// CardStep is a thing to do and tick off; Side is "" for the whole kart.
type CardStep struct{ Side, Text string }

// CardReading is a figure before and after, the same twice if it stays. Kart is
// for what the kart has once.
type CardReading struct {
	Name string
	Side [2][2]string
	Kart bool // both sides are Side[0]
}

// CardPart is a list with a title.
type CardPart struct {
	Title string
	Lines []string
}

// The card's measures: as wide as a phone's screen in px, with text of the size
// that a phone's own has.
const (
	cardWidth = 360.
	cardEdge  = 14.
	cardRoom  = cardWidth - 2*cardEdge
	cardSide  = cardEdge + cardRoom/2 + 2 // where the right column begins
	cardHalf  = cardRoom/2 - 2
)

// looks of a card's classes, as attributes: whoever shows an image file may know
// no style sheets. It is black on white wherever it is shown, to be read in the
// sun and to be printed.
var looks = strings.NewReplacer(
	`class="kw-bg"`, `class="kw-bg" fill="#fff"`, `class="kw-t"`, `class="kw-t" fill="#000" font-size="12"`, `class="kw-s"`, `class="kw-s" fill="#333" font-size="11"`,
	`class="kw-title"`, `class="kw-title" fill="#000" font-size="19" font-weight="700"`, `class="kw-head"`, `class="kw-head" fill="#000" font-size="16" font-weight="700"`,
	`class="kw-strong"`, `class="kw-strong" fill="#000" font-size="14" font-weight="700"`, `class="kw-body"`, `class="kw-body" fill="#000" font-size="14"`, `class="kw-small"`, `class="kw-small" fill="#333" font-size="12"`,
	`class="kw-now"`, `class="kw-now" stroke="#000" fill="none" stroke-width="2"`, `class="kw-then"`, `class="kw-then" stroke="#9b3300" fill="none" stroke-width="2" stroke-dasharray="7 3"`,
	`class="kw-thin"`, `class="kw-thin" stroke="#555" fill="none" stroke-width="1"`, `class="kw-new"`, `class="kw-new" fill="#9b3300"`, `class="kw-soft"`, `class="kw-soft" fill="#dcd9cc"`,
	`class="kw-rule"`, `class="kw-rule" stroke="#000" stroke-width="2"`, `class="kw-warn"`, `class="kw-warn" stroke="#8a5a00" stroke-width="3" fill="none"`,
)

// SVG returns the image. It stands alone, and every text lies inside its place
// whatever sans serif face it is shown in.
func (d *Card) SVG() string {
	s := &cardSheet{}
	s.y = cardEdge - 4
	s.text("title", cardEdge, cardRoom, d.Title)
	s.y += 2
	s.text("body", cardEdge, cardRoom, d.About)
	s.y += 24
	for i, blank := range []string{"Date", "Driver", "Mechanic"} {
		x := cardEdge + float64(i)*(cardRoom/3+2)
		s.canvas.text("small", "start", x, s.y, blank)
		s.line("thin", x, s.y+5, x+cardRoom/3-4, s.y+5)
	}
	s.y += 10
	if len(d.Warnings) > 0 {
		top := s.y + 8
		s.y += 10
		s.bullets(d.Warnings, cardEdge+10, cardRoom-20)
		s.y += 10
		s.rect("warn", cardEdge+1.5, top, cardRoom-3, s.y-top)
	}
	if len(d.Moves) > 0 {
		s.section("Turns")
		s.columns()
		for _, m := range d.Moves {
			s.move(m)
		}
	}
	s.section("Steps")
	for _, step := range d.Steps {
		s.step(step)
	}
	if len(d.Steps) == 0 {
		s.text("body", cardEdge, cardRoom, "Nothing is to be turned.")
	}
	s.y += 6
	s.text("body", cardEdge, cardRoom, d.Torque)
	s.y += 30
	s.line("thin", cardEdge, s.y, cardWidth-cardEdge, s.y)
	if len(d.Readings) > 0 {
		s.section("Readings")
		for i, side := range []string{"Left", "Right"} {
			s.canvas.text("strong", "start", readingAt(i), s.y+15, side)
		}
		s.y += 21
		s.line("thin", cardEdge, s.y, cardWidth-cardEdge, s.y)
		for _, r := range d.Readings {
			s.reading(r)
		}
	}
	if len(d.Undo) > 0 {
		s.section("To undo it")
		for _, p := range d.Undo {
			s.text("strong", cardEdge, cardRoom, p.Title)
			s.bullets(p.Lines, cardEdge, cardRoom)
			s.y += 3
		}
	}
	for _, list := range []CardPart{{"To confirm it", d.Confirm}, {"Take care", d.Cautions}} {
		if len(list.Lines) > 0 {
			s.section(list.Title)
			s.bullets(list.Lines, cardEdge, cardRoom)
		}
	}
	h := math.Ceil(s.y + cardEdge + 2)
	size := fmt.Sprintf(`width="%s" height="%s"`, num(cardWidth), num(h))
	return `<svg xmlns="http://www.w3.org/2000/svg" lang="en" viewBox="0 0 ` + num(cardWidth) + ` ` + num(h) + `" ` + size + ` font-family="system-ui,-apple-system,Roboto,sans-serif">` +
		`<title>` + html.EscapeString(plain(d.Title)) + `</title>` +
		looks.Replace(`<rect class="kw-bg" `+size+`/>`+s.b.String()) + "</svg>\n"
}

// control are characters that no XML may hold.
var control = regexp.MustCompile(`[^\t\n\r\x{20}-\x{D7FF}\x{E000}-\x{FFFD}\x{10000}-\x{10FFFF}]`)

func plain(text string) string { return control.ReplaceAllString(text, "\uFFFD") }

// cardSheet is a card's canvas, filled from above.
type cardSheet struct{ canvas }

// lead is the distance of two lines of text.
func lead(class string) float64 { return math.Round(em[class] * 1.3) }

// text writes lines below what is there.
func (s *cardSheet) text(class string, x, room float64, text string) {
	for _, l := range wrap(class, plain(text), room) {
		s.y += lead(class)
		s.canvas.text(class, "start", x, s.y-0.2*em[class], l)
	}
}

func (s *cardSheet) section(title string) {
	s.y += 14
	s.text("head", cardEdge, cardRoom, title)
	s.y += 5
	s.line("rule", cardEdge, s.y, cardWidth-cardEdge, s.y)
	s.y += 3
}

func (s *cardSheet) bullets(lines []string, x, room float64) {
	for _, l := range lines {
		s.y += 3
		s.canvas.text("body", "start", x, s.y+lead("body")-0.2*em["body"], "•")
		s.text("body", x+14, room-14, l)
	}
}

// columns writes the head of the two columns.
func (s *cardSheet) columns() {
	s.canvas.text("strong", "start", cardEdge, s.y+15, "Left")
	s.canvas.text("strong", "start", cardSide, s.y+15, "Right")
	s.y += 20
}

func (s *cardSheet) move(m CardMove) {
	s.line("thin", cardEdge, s.y, cardWidth-cardEdge, s.y)
	s.y += 3
	s.text("strong", cardEdge, cardRoom, m.Name)
	top, bottom := s.y, s.y
	for i, x := range []float64{cardEdge, cardSide} {
		s.y = top
		if p := m.Piece[i]; !p.None() {
			s.y += 4
			p.put(&s.canvas, xy{x + cardHalf/2, s.y})
			s.y += p.tall + 2
		}
		text := m.Text[i]
		if text == "" {
			text = "leave"
		}
		s.text("body", x, cardHalf, text)
		bottom = max(bottom, s.y)
	}
	s.y = bottom + 7
}

func (s *cardSheet) step(step CardStep) {
	const box = 22.
	x := cardEdge + box + 8
	s.y += 7
	top := s.y
	s.rect("now", cardEdge+1, top, box, box)
	s.y += 2
	indent := 0.
	if step.Side != "" {
		side := plain(step.Side) + ":"
		s.canvas.text("strong", "start", x, s.y+lead("body")-0.2*em["body"], side)
		indent = wide("strong", side) + 2
	}
	for i, l := range wrapAfter("body", plain(step.Text), indent, cardRoom-box-8) {
		s.y += lead("body")
		if i > 0 {
			indent = 0
		}
		s.canvas.text("body", "start", x+indent, s.y-0.2*em["body"], l)
	}
	s.y = max(s.y, top+box)
}

// readingAt is where a column of the readings begins.
func readingAt(i int) float64 { return cardEdge + 112 + 112*float64(i) }

func (s *cardSheet) reading(r CardReading) {
	s.y += 2
	top := s.y
	s.text("strong", cardEdge, 106, r.Name)
	bottom := s.y
	for i, v := range r.Side {
		room := 108.
		if r.Kart {
			if i == 1 {
				break
			}
			room = 220
		}
		s.y = top
		x := readingAt(i)
		v[0], v[1] = plain(v[0]), plain(v[1])
		switch both := v[0] + " → "; {
		case v[0] == v[1]:
			s.text("body", x, room, v[1])
		case wide("body", both)+wide("strong", v[1]) <= room:
			s.text("body", x, room, both)
			s.canvas.text("strong", "start", x+wide("body", both), s.y-0.2*em["body"], v[1])
		default:
			s.text("body", x, room, both)
			s.text("strong", x, room, v[1])
		}
		bottom = max(bottom, s.y)
	}
	s.y = bottom + 5
	s.line("thin", cardEdge, s.y, cardWidth-cardEdge, s.y)
}
