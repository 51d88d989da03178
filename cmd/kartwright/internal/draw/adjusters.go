package draw

import (
	"fmt"
	"math"

	"kartwright/geometry"
	"kartwright/geometry/frontend"
)

// A Piece is a drawing of what is done to one adjuster, without words, for an
// image of its own or for a job card. The zero Piece draws nothing.
type Piece struct {
	wide, tall float64 // px; half a job card is cardHalf wide
	put        func(c *canvas, top xy)
	seen       string // from where it is seen
	says       string // what is not to be seen without colours or a legend
}

// None reports whether there is nothing to be drawn.
func (p Piece) None() bool { return p.put == nil }

// SVG is the piece as an image. do says the same in words, and more says what
// else is to be read, such as a depth gauge.
func (p Piece) SVG(title, do, more string) string {
	var c canvas
	c.head(title, p.seen)
	p.put(&c, xy{width / 2, c.y})
	c.y += p.tall
	c.centre("h", do)
	text := do
	for _, s := range []string{p.says, more} {
		if s != "" {
			c.centre("t", s)
			text += ". " + s
		}
	}
	return c.svg(title, text)
}

// Turned is the head of a screw, or of anything else that is turned, and an
// arrow that shows which way and how far. turns is + for clockwise.
func Turned(turns geometry.Turns) Piece {
	const r = 42.
	return Piece{wide: 2*r + 40, tall: 2*r + 32, seen: "Seen as you look at it with the spanner in your hand.", put: func(c *canvas, top xy) {
		at := top.add(xy{0, r + 16})
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
	}}
}

// Marked is a bush whose mark moves round, such as an eccentric: where the mark
// is, and where it comes to be. Clock hours are seen from above with 12 o'clock
// to the front.
func Marked(side frontend.Side, from, to geometry.Clock, positions int) Piece {
	const r = 48.
	p := Piece{wide: 2*r + 56, tall: 2*r + 60, seen: "Seen from above, the front of the kart at the top.", says: fmt.Sprintf("mark from %v (ring) to %v (dot)", from, to)}
	if from == to {
		p.says = fmt.Sprintf("mark stays at %v", to)
	}
	p.put = func(c *canvas, top xy) {
		at := top.add(xy{0, r + 38})
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
		c.text("s", "start", at.x+r+7, at.y-3, "3")
		c.text("s", "end", at.x-r-7, at.y-3, "9")
		c.fromAbove(side, at, xy{r + 7, 11}, r+20)
		c.fromTo(on(from, r-9), on(to, r-9), 5)
	}
	return p
}

// fromAbove writes beside something at a corner, seen from above, where the front
// and the middle of the kart are: above it by up, and beside it.
func (c *canvas) fromAbove(side frontend.Side, at, beside xy, up float64) {
	left, right := "out", "in"
	if side == frontend.Right {
		left, right = right, left
	}
	c.text("s", "middle", at.x, at.y-up, "front")
	c.text("s", "end", at.x-beside.x, at.y+beside.y, left)
	c.text("s", "start", at.x+beside.x, at.y+beside.y, right)
}

// fromTo draws a ring where something is, a dot where it comes to be and an
// arrow between them.
func (c *canvas) fromTo(was, is xy, r float64) {
	if apart := is.sub(was).norm(); apart > 0.01 {
		c.circle("now", was, r)
		if apart > 2*r+6 {
			a, b := was.toward(is, (r+2)/apart), is.toward(was, (r+2)/apart)
			c.line("then", a.x, a.y, b.x, b.y)
			c.arrow("new", a, b, 8)
		}
	}
	c.circle("new", is, r)
}

// A Seat is where an insert holds an end of the kingpin, from standard, in mm.
type Seat struct{ Forward, Outboard float64 }

// Inserted is the hole of a set of inserts, or of one that fits several ways:
// every place that it can hold the kingpin at, where it is and where it comes to
// be.
func Inserted(side frontend.Side, seats []Seat, from, to int) Piece {
	const r, reach = 48., 32.
	p := Piece{wide: 2*r + 64, tall: 2*r + 44, seen: "Seen from above, the front of the kart at the top. Rings: every place of the kingpin.", says: "kingpin from the large ring to the dot"}
	if from == to {
		p.says = "the kingpin stays at the dot"
	}
	lo, hi := xy{math.Inf(1), math.Inf(1)}, xy{math.Inf(-1), math.Inf(-1)}
	flat := func(s Seat) xy {
		if side == frontend.Left {
			return xy{-s.Outboard, -s.Forward}
		}
		return xy{s.Outboard, -s.Forward}
	}
	for _, s := range seats {
		q := flat(s)
		lo, hi = xy{min(lo.x, q.x), min(lo.y, q.y)}, xy{max(hi.x, q.x), max(hi.y, q.y)}
	}
	mid := lo.add(hi).scale(0.5)
	far := 0.
	for _, s := range seats {
		far = max(far, flat(s).sub(mid).norm())
	}
	scale := reach / max(far, 1e-6)
	p.put = func(c *canvas, top xy) {
		at := top.add(xy{0, r + 18})
		on := func(i int) xy { return at.add(flat(seats[i]).sub(mid).scale(scale)) }
		c.circle("thin", at, r)
		for i := range seats {
			if i != from && i != to {
				c.circle("thin", on(i), 2.5)
			}
		}
		c.fromAbove(side, at, xy{r + 5, 4}, r+5)
		c.fromTo(on(from), on(to), 5)
		for _, mm := range []float64{10, 5, 2, 1, 0.5, 0.2, 0.1} {
			if w := mm * scale; w <= 44 {
				y := at.y + r + 13
				c.line("thin", at.x-w, y, at.x, y)
				c.line("thin", at.x-w, y-3, at.x-w, y+3)
				c.line("thin", at.x, y-3, at.x, y+3)
				c.text("s", "start", at.x+6, y+4, num(mm)+" mm")
				break
			}
		}
	}
	return p
}

// Shimmed is a stub axle on its kingpin between the shims above and below it:
// from shims are below it now, and to come to be; total are there in all.
func Shimmed(side frontend.Side, from, to, total int) Piece {
	const block, half = 24., 41.
	h := max(2.5, min(9, 60/float64(max(total, 1))))
	gap := block + h*float64(total)
	p := Piece{wide: 4*half - 2, tall: gap + 48, seen: "Seen from the front of the kart, the wheel on the side of the stub axle. Numbers: shims above and below it.", says: "moved shims are filled"}
	out := 1. // the kart's left is to the right of who stands before it
	if side == frontend.Right {
		out = -1
	}
	p.put = func(c *canvas, top xy) {
		one := func(x float64, below int, moved func(i int) bool, name string) {
			y := top.y + 8
			c.rect("now", x-22, y, 44, 9)
			y += 9
			bottom := y + gap
			c.line("thin", x-5, y, x-5, bottom)
			c.line("thin", x+5, y, x+5, bottom)
			c.rect("now", x-22, bottom, 44, 9)
			// i counts the shims from below.
			shim := func(i int, y float64) {
				class := "soft"
				if moved(i) {
					class = "new"
				}
				c.rect(class, x-15, y+0.5, 30, h-1)
				c.rect("thin", x-15, y+0.5, 30, h-1)
			}
			for i := range below {
				shim(i, bottom-h*float64(i+1))
			}
			stub := bottom - h*float64(below) - block
			for i := below; i < total; i++ {
				shim(i, stub-h*float64(i-below+1))
			}
			c.rect("now", x-17, stub, 34, block)
			c.rect("now", min(x+out*17, x+out*39), stub+7, 22, block-14)
			anchor := "end"
			if out < 0 {
				anchor = "start"
			}
			beside := x - out*25
			c.text("t", anchor, beside, min((y+stub)/2+4, stub+2), fmt.Sprint(total-below))
			c.text("t", anchor, beside, max((stub+block+bottom)/2+4, stub+block+8), fmt.Sprint(below))
			c.text("s", "middle", x, bottom+24, name)
		}
		lo, hi := min(from, to), max(from, to)
		moved := func(i int) bool { return i >= lo && i < hi }
		one(top.x-half, from, func(int) bool { return false }, "now")
		one(top.x+half, to, moved, "then")
		y := top.y + 17 + gap + 20
		c.line("then", top.x-16, y, top.x+10, y)
		c.arrow("new", xy{top.x - 16, y}, xy{top.x + 12, y}, 8)
	}
	return p
}

// Lengthened is a tie rod that is made longer or shorter: arrows that pull its
// ends apart or push them together.
func Lengthened(longer bool) Piece {
	return Piece{wide: 156, tall: 62, put: func(c *canvas, top xy) {
		y := top.y + 40
		for _, out := range []float64{-1, 1} {
			x := func(d float64) float64 { return top.x + out*d }
			c.circle("now", xy{x(62), y}, 9)
			c.line("now", x(53), y, x(34), y)
			c.rect("now", min(x(26), x(34)), y-9, 8, 18)
			from, to := x(50), x(74)
			if !longer {
				from, to = to, from
			}
			c.line("then", from, y-24, to, y-24)
			c.arrow("new", xy{from, y - 24}, xy{to, y - 24}, 9)
		}
		c.rect("now", top.x-25, y-7, 50, 14)
	}}
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
