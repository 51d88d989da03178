package draw

import (
	"fmt"
	"math"

	"kartwright/geometry"
	"kartwright/geometry/frontend"
)

// Corner is what is drawn of a front corner, in mm and the frame of
// frontend.Corner: a left corner's, y outboard.
type Corner struct {
	Bottom, Top geometry.Vec // pivots
	Stub        geometry.Vec // where the stub axle sits on the kingpin
	WheelCentre geometry.Vec
	Spindle     geometry.Vec // unit vector, outboard
	Arm, Lug    geometry.Vec // the tie rod's ends
	TyreRadius  geometry.Length
}

// TyreWidth is drawn for every front tyre: that of an ordinary dry tyre (common
// practice).
const TyreWidth geometry.Length = 125

// CornerOf returns the corner on side s of an axle as it is drawn, after its
// shift and with the column turned by column, + = left.
func CornerOf(a *frontend.Axle, s frontend.Side, shift frontend.Shift, column geometry.Angle) (Corner, error) {
	turn := geometry.TurnOf(column)
	p, err := a.Pose(s, shift, turn)
	if err != nil {
		return Corner{}, err
	}
	if s == frontend.Right {
		turn.Sin = -turn.Sin
	}
	c := &a.Corner[s]
	was, err := c.Top.Sub(c.Bottom).Unit()
	if err != nil {
		return Corner{}, err
	}
	onPin := func(x geometry.Vec) geometry.Vec {
		return p.Foot.Add(x.Sub(c.Bottom).Carry(was, p.Axis).Rotate(p.Spin, p.Axis))
	}
	out := Corner{
		Bottom: c.Bottom.Add(shift.Bottom), Top: c.Top.Add(shift.Top),
		WheelCentre: p.WheelCentre, Spindle: p.Spindle, TyreRadius: p.TyreRadius,
		Arm: onPin(c.ArmJoint), Lug: c.ColumnPoint.Add(c.Lug.Sub(c.ColumnPoint).Rotate(turn, c.ColumnAxis)),
	}
	// The kingpin's point that the stub axle's line passes nearest to.
	d := p.WheelCentre.Sub(out.Bottom)
	cos := p.Axis.Dot(p.Spindle)
	out.Stub = out.Bottom.AddScaled((d.Dot(p.Axis)-float64(cos*d.Dot(p.Spindle)))/(1-float64(cos*cos)), p.Axis)
	return out, nil
}

// contact returns the lowest point of the tyre.
func (c Corner) contact() geometry.Vec {
	down := geometry.Vec{Z: -1}
	down = down.Sub(c.Spindle.Scale(down.Dot(c.Spindle)))
	u, err := down.Unit()
	if err != nil {
		return c.WheelCentre
	}
	return c.WheelCentre.AddScaled(float64(c.TyreRadius), u)
}

// onGround returns where the kingpin's axis meets the ground.
func (c Corner) onGround() geometry.Vec {
	axis := c.Top.Sub(c.Bottom)
	if axis.Z == 0 {
		return c.Bottom
	}
	return c.Bottom.AddScaled((c.contact().Z-c.Bottom.Z)/axis.Z, axis)
}

// far returns the corner that differs from c by f times as much as d does.
func (c Corner) far(d Corner, f float64) Corner {
	mix := func(a, b geometry.Vec) geometry.Vec { return a.AddScaled(f, b.Sub(a)) }
	out := Corner{
		Bottom: mix(c.Bottom, d.Bottom), Top: mix(c.Top, d.Top), Stub: mix(c.Stub, d.Stub), WheelCentre: mix(c.WheelCentre, d.WheelCentre),
		Spindle: mix(c.Spindle, d.Spindle), Arm: mix(c.Arm, d.Arm), Lug: mix(c.Lug, d.Lug), TyreRadius: c.TyreRadius,
	}
	if u, err := out.Spindle.Unit(); err == nil {
		out.Spindle = u
	}
	return out
}

// moved returns how far the farthest thing that is drawn moves from c to d.
func (c Corner) moved(d Corner) float64 {
	far := 0.
	rim := float64(c.TyreRadius)
	for _, p := range [][2]geometry.Vec{{c.Bottom, d.Bottom}, {c.Top, d.Top}, {c.Stub, d.Stub}, {c.WheelCentre, d.WheelCentre}, {c.Arm, d.Arm}, {c.Lug, d.Lug}, {c.onGround(), d.onGround()}, {c.Spindle.Scale(rim), d.Spindle.Scale(rim)}} {
		far = math.Max(far, p[1].Sub(p[0]).Norm())
	}
	return far
}

// times chooses how much larger than it is a change is drawn: a round number
// that makes the largest movement of the order of reach mm.
func times(moved, reach float64) float64 {
	if moved < 1e-9 {
		return 1
	}
	best := 1.
	for _, t := range []float64{1, 2, 3, 5, 10, 20, 30, 50, 100, 200} {
		if t*moved <= reach {
			best = t
		}
	}
	return best
}

func exaggeration(t float64) string {
	if t == 1 {
		return "To scale, the change too."
	}
	return fmt.Sprintf("To scale; the change is drawn %.0f times as large as it is.", t)
}

// View is a drawing of the front end now and, dashed, as it would be.
type View struct {
	Title     string
	Now, Then [2]Corner // by side; Then is not drawn if it is the same
	// NowText and ThenText say in words what the lines stand for.
	NowText, ThenText string
}

// Stands is an axle as its adjusters are set.
type Stands struct {
	Axle  *frontend.Axle
	Shift [2]frontend.Shift // by side
}

// Pose puts both corners of the view as they stand now and then, with the
// column turned by column, + = left.
func (v *View) Pose(now, then Stands, column geometry.Angle) error {
	for _, s := range frontend.Sides {
		var err error
		if v.Now[s], err = CornerOf(now.Axle, s, now.Shift[s], column); err != nil {
			return err
		}
		if v.Then[s], err = CornerOf(then.Axle, s, then.Shift[s], column); err != nil {
			return err
		}
	}
	return nil
}

// sheet maps millimetres to the image.
type sheet struct {
	flat     func(geometry.Vec) xy // mm, y downward
	origin   xy
	scale    float64
	min, max xy
}

func (s *sheet) at(v geometry.Vec) xy {
	p := s.flat(v)
	return xy{s.origin.x + s.scale*(p.x-s.min.x), s.origin.y + s.scale*(p.y-s.min.y)}
}

// fit makes room for points below what is on the canvas, no higher than tall.
func fit(c *canvas, flat func(geometry.Vec) xy, pts []geometry.Vec, tall float64) *sheet {
	s := &sheet{flat: flat, min: xy{math.Inf(1), math.Inf(1)}, max: xy{math.Inf(-1), math.Inf(-1)}}
	for _, v := range pts {
		p := flat(v)
		s.min = xy{math.Min(s.min.x, p.x), math.Min(s.min.y, p.y)}
		s.max = xy{math.Max(s.max.x, p.x), math.Max(s.max.y, p.y)}
	}
	size := s.max.sub(s.min)
	s.scale = math.Min((width-2*margin)/size.x, tall/size.y)
	s.origin = xy{(width - s.scale*size.x) / 2, c.y}
	c.y += s.scale * size.y
	return s
}

// bar draws a scale bar.
func (c *canvas) bar(s *sheet) {
	const mm = 100
	c.y += 12
	w := mm * s.scale
	c.line("thin", margin, c.y, margin+w, c.y)
	c.line("thin", margin, c.y-3, margin, c.y+3)
	c.line("thin", margin+w, c.y-3, margin+w, c.y+3)
	c.text("s", "start", margin+w+6, c.y+4, "100 mm")
	c.y += 6
}

func (v *View) exaggerate(reach float64, sides ...frontend.Side) (then [2]Corner, t float64) {
	moved := 0.
	for _, s := range sides {
		moved = math.Max(moved, v.Now[s].moved(v.Then[s]))
	}
	t = times(moved, reach)
	for _, s := range frontend.Sides {
		then[s] = v.Now[s].far(v.Then[s], t)
	}
	return then, t
}

func (v *View) finish(c *canvas, s *sheet, changed bool) string {
	c.bar(s)
	rows := []keyRow{{"now", v.NowText}}
	if changed {
		rows = append(rows, keyRow{"then", v.ThenText})
	}
	c.key(rows)
	text := "Solid lines: " + v.NowText + "."
	if changed {
		text += " Dashed lines: " + v.ThenText + "."
	}
	return c.svg(v.Title, text)
}

// Front draws the left corner seen from the front, which shows kingpin
// inclination, camber and the width.
func (v *View) Front() string {
	then, t := v.exaggerate(22, frontend.Left)
	changed := v.Now[0] != v.Then[0]
	var c canvas
	c.head(v.Title, exaggeration(t)+" The driver's left wheel, seen from the front.")
	flat := func(p geometry.Vec) xy { return xy{p.Y, -p.Z} }
	var pts []geometry.Vec
	for _, k := range []Corner{v.Now[0], then[0]} {
		for _, o := range tyreFromFront(k) {
			pts = append(pts, o)
		}
		pts = append(pts, k.Top, k.Bottom, k.onGround(), geometry.Vec{Y: -25, Z: k.Stub.Z})
	}
	s := fit(&c, flat, pts, 170)
	ground := v.Now[0].contact()
	c.line("thin", margin, s.at(ground).y, width-margin, s.at(ground).y)
	// The kart's centre line.
	middle := s.at(geometry.Vec{Z: v.Now[0].Top.Z}).x
	c.path("thin", fmt.Sprintf("M%s %sV%s", num(middle), num(s.origin.y), num(s.at(ground).y)))
	one := func(class string, k Corner) {
		var tyre []xy
		for _, p := range tyreFromFront(k) {
			tyre = append(tyre, s.at(p))
		}
		c.poly(class, tyre, true)
		c.line(class, s.at(k.Stub).x, s.at(k.Stub).y, s.at(k.WheelCentre).x, s.at(k.WheelCentre).y)
		c.line(class, s.at(k.Top).x, s.at(k.Top).y, s.at(k.Bottom).x, s.at(k.Bottom).y)
		foot := s.at(k.onGround())
		c.line("thin", s.at(k.Bottom).x, s.at(k.Bottom).y, foot.x, foot.y)
		c.circle(class, s.at(k.Top), 3)
		c.circle(class, s.at(k.Bottom), 3)
	}
	if changed {
		one("then", then[0])
	}
	one("now", v.Now[0])
	c.y += 12
	c.text("s", "start", margin, c.y, "centre of the kart")
	c.text("s", "end", width-margin, c.y, "outside →")
	return v.finish(&c, s, changed)
}

func tyreFromFront(k Corner) [4]geometry.Vec {
	up := k.WheelCentre.Sub(k.contact())
	half := float64(TyreWidth) / 2
	return [4]geometry.Vec{
		k.WheelCentre.Add(up).AddScaled(-half, k.Spindle), k.WheelCentre.Add(up).AddScaled(half, k.Spindle),
		k.WheelCentre.Sub(up).AddScaled(half, k.Spindle), k.WheelCentre.Sub(up).AddScaled(-half, k.Spindle),
	}
}

// Side draws the left corner seen from the left, which shows caster and trail.
func (v *View) Side() string {
	then, t := v.exaggerate(22, frontend.Left)
	changed := v.Now[0] != v.Then[0]
	var c canvas
	c.head(v.Title, exaggeration(t)+" The driver's left wheel, seen from the left.")
	flat := func(p geometry.Vec) xy { return xy{-p.X, -p.Z} }
	var pts []geometry.Vec
	for _, k := range []Corner{v.Now[0], then[0]} {
		r := float64(k.TyreRadius)
		pts = append(pts, k.WheelCentre.Add(geometry.Vec{X: r}), k.WheelCentre.Add(geometry.Vec{X: -r}), k.WheelCentre.Add(geometry.Vec{Z: r}), k.contact(), k.Top, k.Bottom, k.onGround())
	}
	s := fit(&c, flat, pts, 190)
	ground := s.at(v.Now[0].contact()).y
	c.line("thin", margin, ground, width-margin, ground)
	one := func(class string, k Corner) {
		c.circle(class, s.at(k.WheelCentre), float64(k.TyreRadius)*s.scale)
		top, bottom, foot := s.at(k.Top), s.at(k.Bottom), s.at(k.onGround())
		c.line(class, top.x, top.y, bottom.x, bottom.y)
		c.line("thin", bottom.x, bottom.y, foot.x, foot.y)
		c.circle(class, top, 3)
		c.circle(class, bottom, 3)
	}
	if changed {
		one("then", then[0])
	}
	one("now", v.Now[0])
	// The trail, from where the axis meets the ground to the contact.
	bracket := func(class string, k Corner, y float64) {
		from, to := s.at(k.onGround()).x, s.at(k.contact()).x
		c.line(class, from, y, to, y)
		c.line(class, from, y-3, from, y+3)
		c.line(class, to, y-3, to, y+3)
	}
	bracket("now", v.Now[0], ground+8)
	c.y = math.Max(c.y, ground+8)
	if changed {
		bracket("then", then[0], ground+16)
		c.y = math.Max(c.y, ground+16)
	}
	c.y += 15
	c.text("s", "start", margin, c.y, "← front")
	c.text("s", "middle", width/2, c.y, "trail")
	c.text("s", "end", width-margin, c.y, "rear →")
	return v.finish(&c, s, changed)
}

// Top draws both front wheels seen from above, front up, which shows toe, the
// tie rods and how far each wheel is steered.
func (v *View) Top() string {
	then, t := v.exaggerate(28, frontend.Left, frontend.Right)
	changed := v.Now != v.Then
	var c canvas
	c.head(v.Title, exaggeration(t)+" Both front wheels, seen from above.")
	flat := func(p geometry.Vec) xy { return xy{-p.Y, -p.X} }
	var pts []geometry.Vec
	for _, k := range [][2]Corner{v.Now, then} {
		for side := range k {
			for _, p := range tyreFromAbove(k[side]) {
				pts = append(pts, mirrored(side, p))
			}
			pts = append(pts, mirrored(side, k[side].Arm), mirrored(side, k[side].Lug))
		}
	}
	c.y += 12
	c.text("s", "middle", width/2, c.y-2, "↑ front")
	c.y += 4
	s := fit(&c, flat, pts, 150)
	one := func(class string, ks [2]Corner) {
		var lugs [2]xy
		for side, k := range ks {
			at := func(p geometry.Vec) xy { return s.at(mirrored(side, p)) }
			var tyre []xy
			for _, p := range tyreFromAbove(k) {
				tyre = append(tyre, at(p))
			}
			c.poly(class, tyre, true)
			c.poly(class, []xy{at(k.WheelCentre), at(k.Stub), at(k.Arm), at(k.Lug)}, false)
			c.circle(class, at(k.Stub), 2.5)
			lugs[side] = at(k.Lug)
		}
		c.line(class, lugs[0].x, lugs[0].y, lugs[1].x, lugs[1].y)
	}
	if changed {
		one("then", then)
	}
	one("now", v.Now)
	c.y += 14
	c.text("s", "start", margin, c.y, "left")
	c.text("s", "end", width-margin, c.y, "right")
	return v.finish(&c, s, changed)
}

// mirrored returns a point of a corner in the kart's own axes.
func mirrored(side int, p geometry.Vec) geometry.Vec {
	if side == int(frontend.Right) {
		return p.MirrorY()
	}
	return p
}

func tyreFromAbove(k Corner) [4]geometry.Vec {
	ahead := geometry.Vec{X: k.Spindle.Y, Y: -k.Spindle.X}
	if u, err := ahead.Unit(); err == nil {
		ahead = u
	}
	r, half := float64(k.TyreRadius), float64(TyreWidth)/2
	return [4]geometry.Vec{
		k.WheelCentre.AddScaled(r, ahead).AddScaled(-half, k.Spindle), k.WheelCentre.AddScaled(r, ahead).AddScaled(half, k.Spindle),
		k.WheelCentre.AddScaled(-r, ahead).AddScaled(half, k.Spindle), k.WheelCentre.AddScaled(-r, ahead).AddScaled(-half, k.Spindle),
	}
}
