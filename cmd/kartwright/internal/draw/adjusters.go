package draw

import (
	"fmt"
	"math"

	"kartwright/geometry"
)

// Screw draws the head of a screw, or of anything else that is turned, and an
// arrow that shows which way and how far. turns is + for clockwise. do says the
// same in words, and more says what else is to be read, such as a depth gauge.
func Screw(title string, turns geometry.Turns, do, more string) string {
	var c canvas
	c.head(title, "Seen as you look at it with the spanner in your hand.")
	const r = 42.
	at := xy{width / 2, c.y + r + 16}
	c.circle("now", at, r-14)
	var hex []xy
	for i := range 6 {
		a := float64(i) * math.Pi / 3
		hex = append(hex, xy{at.x + (r-27)*math.Cos(a), at.y + (r-27)*math.Sin(a)})
	}
	c.poly("now", hex, true)
	whole, part := math.Modf(math.Abs(float64(turns)))
	if part < 0.01 && whole > 0 {
		whole, part = whole-1, 1
	}
	sign := 1.
	if turns < 0 {
		sign = -1
	}
	// One round for every whole turn, each a little further out, the rest last.
	arc := func(radius, turn float64, arrow bool) {
		if turn <= 0 {
			return
		}
		turn = math.Min(turn, 0.94) // so that the arrow does not bite its tail
		on := func(t float64) xy {
			a := -math.Pi/2 + sign*2*math.Pi*t
			return xy{at.x + radius*math.Cos(a), at.y + radius*math.Sin(a)}
		}
		from, to := on(0), on(turn)
		large, sweep := 0, 0
		if turn > 0.5 {
			large = 1
		}
		if sign > 0 {
			sweep = 1
		}
		c.path("then", fmt.Sprintf("M%s %sA%s %s 0 %d %d %s %s", num(from.x), num(from.y), num(radius), num(radius), large, sweep, num(to.x), num(to.y)))
		if arrow {
			c.arrow("new", on(math.Max(0, turn-0.03)), to, 9)
		}
	}
	rounds := 0
	for ; rounds < int(whole) && rounds < 4; rounds++ {
		arc(r-6+5*float64(rounds), 1, part <= 0 && rounds == int(whole)-1)
	}
	arc(r-6+5*float64(rounds), part, true)
	c.circle("new", xy{at.x, at.y - (r - 20)}, 3)
	c.y = at.y + r + 16
	c.centre("h", do)
	if more != "" {
		c.centre("t", more)
	}
	return c.svg(title, do+". "+more)
}

// Bush draws a bush whose mark moves round, such as an eccentric: where the
// mark is, and where it comes to be. Clock hours are seen from above with 12
// o'clock to the front.
func Bush(title string, from, to geometry.Clock, positions int, do string) string {
	var c canvas
	c.head(title, "Seen from above, the front of the kart at the top.")
	const r = 48.
	at := xy{width / 2, c.y + r + 26}
	c.circle("thin", at, r)
	c.circle("now", at, r-18)
	on := func(h geometry.Clock, radius float64) xy {
		sin, cos := math.Sincos(float64(h.Angle()))
		return xy{at.x + radius*sin, at.y - radius*cos}
	}
	for i := range positions {
		p, q := on(geometry.Clock(12*float64(i)/float64(positions)), r-2), on(geometry.Clock(12*float64(i)/float64(positions)), r+2)
		c.line("thin", p.x, p.y, q.x, q.y)
	}
	c.text("s", "middle", at.x, at.y-r-7, "12")
	c.text("s", "middle", at.x, at.y+r+16, "6")
	c.text("s", "start", at.x+r+7, at.y+4, "3")
	c.text("s", "end", at.x-r-7, at.y+4, "9")
	was, is := on(from, r-9), on(to, r-9)
	if from != to {
		c.circle("now", was, 5)
		a, b := was.toward(is, 7/math.Max(7.01, is.sub(was).norm())), is.toward(was, 7/math.Max(7.01, is.sub(was).norm()))
		c.line("then", a.x, a.y, b.x, b.y)
		c.arrow("new", a, b, 8)
	}
	c.circle("new", is, 5)
	c.y = at.y + r + 22
	c.centre("h", do)
	text := fmt.Sprintf("mark from %v (ring) to %v (dot)", from, to)
	if from == to {
		text = fmt.Sprintf("mark stays at %v", to)
	}
	c.centre("t", text)
	return c.svg(title, do+": "+text)
}

// arrow puts a head at b for a line that comes from a.
func (c *canvas) arrow(class string, a, b xy, size float64) {
	d := b.sub(a)
	n := d.norm()
	if n < 1e-9 {
		return
	}
	d = d.scale(size / n)
	side := xy{-d.y / 2, d.x / 2}
	tip := b.add(d.scale(0.35))
	back := tip.sub(d)
	c.poly(class, []xy{tip, back.add(side), back.sub(side)}, true)
}

// centre writes text in the middle of the next lines.
func (c *canvas) centre(class, s string) {
	for _, l := range wrap(class, s, width-2*margin) {
		c.y += em[class] + 4
		c.text(class, "middle", width/2, c.y, l)
	}
}
