package draw

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"kartwright/geometry"
	"kartwright/geometry/frontend"
)

// show writes an image to the folder $DRAW_OUT, for somebody to look at.
func show(t *testing.T, name, svg string) {
	if dir := os.Getenv("DRAW_OUT"); dir != "" {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name+".svg"), []byte(svg), 0o644))
	}
}

func dims() frontend.Dimensions {
	return frontend.Dimensions{
		Caster: 12 * geometry.Degree, KPI: 11 * geometry.Degree, Camber: -0.5 * geometry.Degree, Toe: -0.1 * geometry.Degree,
		KingpinSpacing: 716, PivotSpan: 78, StubHeight: 39, StubLength: 165, TyreRadius: 128,
		ArmLength: 105, ArmAngle: 11 * geometry.Degree, ArmDrop: 8, ColumnBehind: 124, ColumnHeight: 15, ColumnRake: 45 * geometry.Degree, LugDrop: 38, LugSpacing: 40,
	}
}

func corners(t require.TestingT, d frontend.Dimensions, shift frontend.Shift, column geometry.Angle) (out [2]Corner) {
	c, err := d.Corner()
	require.NoError(t, err)
	a := &frontend.Axle{Corner: [2]frontend.Corner{c, c}, Wheelbase: 1045}
	for _, s := range frontend.Sides {
		out[s], err = CornerOf(a, s, shift, column)
		require.NoError(t, err)
	}
	return out
}

func view(t require.TestingT, edit func(*frontend.Dimensions), column geometry.Angle) *View {
	d := dims()
	v := &View{Title: "Caster, one turn more", NowText: "now: caster 12.00°, camber -0.50°", ThenText: "one turn tighter: caster 12.92°, camber -0.47°"}
	v.Now = corners(t, d, frontend.Shift{}, column)
	edit(&d)
	v.Then = corners(t, d, frontend.Shift{}, column)
	return v
}

func chart(lows bool) *Chart {
	ch := &Chart{Title: "What the inner rear wheel carries", Note: "Left turn, 1.6 g sideways.", XName: "steering wheel", YName: "load on the inner rear wheel, kg"}
	for i, name := range []string{"one turn less", "now", "one turn more"} {
		s := Series{Look: []Look{Less, Now, More}[i], Name: name}
		for x := 0.; x <= 60; x += 5 {
			s.X = append(s.X, x)
			s.Y = append(s.Y, 8-x*(0.15+0.02*float64(i)))
		}
		ch.Series = append(ch.Series, s)
	}
	if lows {
		ch.Below.Name, ch.Below.Per = "in the air, mm", 2.5
	}
	return ch
}

// images are one of each kind, with names.
func images(t *testing.T) map[string]string {
	v := view(t, func(d *frontend.Dimensions) { d.Caster += 0.9 * geometry.Degree }, 0)
	wide := view(t, func(d *frontend.Dimensions) { d.StubLength += 10; d.Camber -= 1 * geometry.Degree }, 0)
	toe := view(t, func(d *frontend.Dimensions) { d.Toe -= 0.3 * geometry.Degree }, 0)
	steered := view(t, func(d *frontend.Dimensions) { d.ArmLength -= 10 }, 40*geometry.Degree)
	same := view(t, func(*frontend.Dimensions) {}, 0)
	return map[string]string{
		"front": wide.Front(), "side": v.Side(), "top": toe.Top(), "steered": steered.Top(), "same": same.Front(),
		"lift": chart(true).SVG(), "camber": chart(false).SVG(),
		"screw":   Turned(0.82).SVG("Caster screw, each side", "tighten it 13/16 turn (0.82)", "depth gauge 7.60 mm to 6.57 mm"),
		"screw2":  Turned(-2.25).SVG("Caster screw, each side", "loosen it 2 1/4 turns", ""),
		"screw3":  Turned(1).SVG("Tie rod", "one turn", ""),
		"bush":    Marked(frontend.Left, 0, 4, 12).SVG("Camber plate, left side", "turn it 4 holes clockwise", ""),
		"bush2":   Marked(frontend.Right, 6, 6, 12).SVG("Top eccentric", "leave it", ""),
		"insert":  Inserted(frontend.Left, seats, 0, 7).SVG("Left: top insert", "change the position from centre to back 1.5 in 1.5", ""),
		"insert2": Inserted(frontend.Right, seats, 2, 4).SVG("Right: top insert", "change the position from back 3 to front 3", ""),
		"insert3": Inserted(frontend.Right, seats[:2], 1, 1).SVG("Right: an-insert-whose-name-is-longer-than-any-screen-is-wide", "leave it", ""),
		"shims":   Shimmed(frontend.Left, 2, 4, 5).SVG("Left: stub-axle shims", "move 2 shims from above the stub axle to below it (4 below instead of 2)", ""),
		"shims2":  Shimmed(frontend.Right, 3, 0, 3).SVG("Right: stub-axle shims", "move 3 shims from below the stub axle to above it (0 below instead of 3)", ""),
		"shims3":  Shimmed(frontend.Right, 0, 40, 40).SVG("Right: stub-axle shims", "move 40 shims", ""),
		"rod":     Lengthened(true).SVG("Left: tie rod", "make it longer by 0.11 mm: 0.05 turn (about 1/16)", ""),
		"rod2":    Lengthened(false).SVG("Right: tie rod", "make it shorter by 0.11 mm", ""),
	}
}

var seats = []Seat{{0, 0}, {-1.5, 0}, {-3, 0}, {1.5, 0}, {3, 0}, {0, -1.5}, {0, 1.5}, {-1.5, -1.5}, {-1.5, 1.5}}

type box struct {
	text           string
	x0, y0, x1, y1 float64
}

func (b box) over(o box) bool { return b.x0 < o.x1 && o.x0 < b.x1 && b.y0 < o.y1 && o.y0 < b.y1 }

var attr = regexp.MustCompile(`([a-zA-Z-]+)="([^"]*)"`)

// layout returns where every text of an image lies, and the image's height. It
// fails on what is not well-formed.
func layout(t require.TestingT, svg string) (boxes []box, across, height float64) {
	dec := xml.NewDecoder(strings.NewReader(svg))
	var in *box
	class, anchor := "", ""
	for {
		tok, err := dec.Token()
		if errors.Is(err, io.EOF) {
			return boxes, across, height
		}
		require.NoError(t, err)
		switch e := tok.(type) {
		case xml.StartElement:
			get := func(name string) string {
				for _, a := range e.Attr {
					if a.Name.Local == name {
						return a.Value
					}
				}
				return ""
			}
			f := func(name string) float64 { v, _ := strconv.ParseFloat(get(name), 64); return v }
			switch e.Name.Local {
			case "svg":
				parts := strings.Fields(get("viewBox"))
				require.Len(t, parts, 4)
				across, _ = strconv.ParseFloat(parts[2], 64)
				height, _ = strconv.ParseFloat(parts[3], 64)
			case "text":
				class, anchor = strings.TrimPrefix(get("class"), "kw-"), get("text-anchor")
				in = &box{x0: f("x"), y0: f("y") - 0.75*em[class], y1: f("y") + 0.2*em[class]}
			}
		case xml.CharData:
			if in != nil {
				in.text = string(e)
				w := wide(class, in.text)
				switch anchor {
				case "middle":
					in.x0 -= w / 2
				case "end":
					in.x0 -= w
				}
				in.x1 = in.x0 + w
			}
		case xml.EndElement:
			if e.Name.Local == "text" {
				boxes = append(boxes, *in)
				in = nil
			}
		}
	}
}

func wellLaid(t interface {
	require.TestingT
	Errorf(string, ...any)
}, name, svg string) {
	boxes, across, height := layout(t, svg)
	if len(boxes) == 0 {
		t.Errorf("%s has no text", name)
	}
	for i, b := range boxes {
		if b.x0 < 0 || b.x1 > across || b.y0 < 0 || b.y1 > height {
			t.Errorf("%s: %q at (%.0f…%.0f, %.0f…%.0f) leaves the image of %g × %.0f px", name, b.text, b.x0, b.x1, b.y0, b.y1, across, height)
		}
		for _, o := range boxes[:i] {
			if b.over(o) {
				t.Errorf("%s: %q lies over %q", name, b.text, o.text)
			}
		}
	}
	if strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") {
		t.Errorf("%s has a coordinate that is no number", name)
	}
}

func TestImagesAreWellLaid(t *testing.T) {
	for name, svg := range images(t) {
		show(t, name, svg)
		wellLaid(t, name, svg)
		for _, want := range []string{"prefers-color-scheme:dark", "<title", "<desc", `viewBox="0 0 320 `} {
			if !strings.Contains(svg, want) {
				t.Errorf("%s lacks %s", name, want)
			}
		}
	}
}

// Whatever the lines do, their names do not lie over each other.
func TestChartsAreWellLaid(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ch := chart(rapid.Bool().Draw(t, "lift"))
		for i := range ch.Series {
			a := rapid.Float64Range(-100, 100).Draw(t, "start")
			b := rapid.Float64Range(-1e-6, 5).Draw(t, "slope")
			for k := range ch.Series[i].X {
				ch.Series[i].Y[k] = a + b*ch.Series[i].X[k]
			}
		}
		wellLaid(t, "chart", ch.SVG())
	})
	empty := Chart{Title: "Nothing", XName: "x", YName: "y"}
	wellLaid(t, "empty chart", empty.SVG())
}

// Any front end fits, with any change.
func TestViewsAreWellLaid(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := func(name string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
		v := view(t, func(d *frontend.Dimensions) {
			d.Caster += geometry.Angle(f("caster", -3, 3)) * geometry.Degree
			d.KPI += geometry.Angle(f("KPI", -3, 3)) * geometry.Degree
			d.Camber += geometry.Angle(f("camber", -2, 2)) * geometry.Degree
			d.Toe += geometry.Angle(f("toe", -1, 1)) * geometry.Degree
			d.StubLength += geometry.Length(f("stub", -20, 20))
		}, geometry.Angle(f("column", 0, 40))*geometry.Degree)
		for name, svg := range map[string]string{"front": v.Front(), "side": v.Side(), "top": v.Top()} {
			wellLaid(t, name, svg)
			for _, m := range attr.FindAllStringSubmatch(svg, -1) {
				switch m[1] {
				case "x", "x1", "x2", "cx":
					if x, err := strconv.ParseFloat(m[2], 64); err == nil && (x < -1 || x > width+1) {
						t.Fatalf("%s: something lies at x = %g, outside the image", name, x)
					}
				case "points":
					for _, p := range strings.Fields(m[2]) {
						var x, y float64
						if _, err := fmt.Sscanf(p, "%f,%f", &x, &y); err != nil || x < -1 || x > width+1 || y < 0 {
							t.Fatalf("%s: a line goes through (%g, %g), outside the image", name, x, y)
						}
					}
				}
			}
		}
	})
}

func card() *Card {
	d := &Card{
		Title: "Job card: More caster by 0.75° on each side", About: "Kart Alder. Inside rear stays down, bogs on exit; track tight.",
		Warnings: []string{"This also moves camber by +0.30°."},
		Torque:   "Torque, from the chassis maker’s manual:",
		Readings: []CardReading{{Name: "Caster", Side: [2][2]string{{"12.00°", "12.75°"}, {"12.00°", "12.00°"}}}, {Name: "Front track", Side: [2][2]string{{"1053.20 mm", "1054.16 mm"}}, Kart: true}},
		Undo:     []CardPart{{"Each side", []string{"Caster screw: loosen it 0.82 turn."}}},
		Confirm:  []string{"The inside rear lifts at the hairpin."}, Cautions: []string{"Never look into a laser or set one at eye height."},
	}
	for _, side := range frontend.Sides {
		for i, p := range []Piece{Turned(-0.82), Marked(side, 0, 4, 12), Inserted(side, seats, 0, 7), Shimmed(side, 2, 4, 5), Lengthened(true)} {
			if side == frontend.Left {
				d.Moves = append(d.Moves, CardMove{Name: []string{"Caster screw", "Camber plate", "Top insert", "Stub-axle shims", "Tie rod"}[i]})
			}
			if i > 0 || side == frontend.Left {
				d.Moves[i].Piece[side], d.Moves[i].Text[side] = p, "Tighten it 0.82 turn (about 13/16), clockwise; depth gauge 7.60 mm to 6.57 mm"
			}
		}
		d.Steps = append(d.Steps, CardStep{"Left", "Loosen the kingpin bolt. Caster screw: tighten it 0.82 turn. Tighten the kingpin bolt."}, CardStep{"", "Check the wheel nuts."})
	}
	return d
}

func TestCard(t *testing.T) {
	svg := card().SVG()
	show(t, "card", svg)
	wellLaid(t, "the card", svg)
	boxes, _, _ := layout(t, svg)
	// What the card says comes in the order in which it is worked through.
	var said []string
	for _, b := range boxes {
		said = append(said, b.text)
	}
	text, at := strings.Join(said, "\n"), 0
	for _, want := range []string{"Job card:", "Alder", "Date", "Mechanic", "• ", "This also", "Turns", "Left", "Right", "Caster screw", "leave", "Steps", "Left:", "Loosen", "Torque", "Readings", "12.75°", "To undo it", "To confirm it", "Take care", "laser"} {
		i := strings.Index(text[at:], strings.TrimSpace(want))
		if i < 0 {
			t.Fatalf("the card does not say %q, or not where it belongs:\n%s", want, text)
		}
		at += i
	}
	if n := strings.Count(svg, `width="22" height="22"`); n != 4 {
		t.Errorf("4 steps have %d boxes to tick", n)
	}
	for _, bad := range []string{"<style", "href", "url(", "font-face", "<image", "<script", "@media"} {
		if strings.Contains(svg, bad) {
			t.Errorf("the card has %s in it, so it does not stand alone", bad)
		}
	}
	if strings.Contains(strings.ReplaceAll(svg, `class="kw-`, ""), "kw-") || regexp.MustCompile(`class="[^"]*"( x| points| d=| cx)`).MatchString(svg) {
		t.Error("something on the card has no look of its own")
	}
}

// A piece fits into its half of a card, and what it draws is no larger than it
// says.
func TestPiecesFitTheirColumn(t *testing.T) {
	number := regexp.MustCompile(` (?:x|x1|x2|cx|points)="([^"]*)"`)
	for i, p := range []Piece{Turned(0.82), Turned(-9.3), Marked(frontend.Left, 0, 4, 12), Inserted(frontend.Left, seats, 0, 7), Inserted(frontend.Right, seats, 3, 4), Shimmed(frontend.Left, 2, 4, 5), Shimmed(frontend.Right, 40, 0, 40), Lengthened(true), Lengthened(false)} {
		if p.wide > cardHalf {
			t.Errorf("piece %d is %g px wide, want at most %g", i, p.wide, cardHalf)
		}
		var c canvas
		p.put(&c, xy{1000, 0})
		for _, m := range number.FindAllStringSubmatch(c.b.String(), -1) {
			for _, xy := range strings.Fields(m[1]) {
				text, _, _ := strings.Cut(xy, ",")
				x, err := strconv.ParseFloat(text, 64)
				require.NoError(t, err)
				if math.Abs(x-1000) > p.wide/2+0.01 {
					t.Errorf("piece %d is said to be %g px wide and draws %g px from its middle", i, p.wide, math.Abs(x-1000))
				}
			}
		}
	}
}

// A card has no room for the sentence that says from where a piece is seen, so a
// piece seen from above says itself where the front and the kart's middle are.
func TestPiecesSeenFromAboveSayWhereTheFrontIs(t *testing.T) {
	word := regexp.MustCompile(`text-anchor="(start|middle|end)">(front|in|out)<`)
	for name, piece := range map[string]func(frontend.Side) Piece{
		"bush":   func(s frontend.Side) Piece { return Marked(s, 9, 8, 12) },
		"insert": func(s frontend.Side) Piece { return Inserted(s, seats, 0, 7) },
	} {
		for side, want := range map[frontend.Side]string{frontend.Left: "front middle, out end, in start", frontend.Right: "front middle, in end, out start"} {
			var c canvas
			piece(side).put(&c, xy{})
			var got []string
			for _, m := range word.FindAllStringSubmatch(c.b.String(), -1) {
				got = append(got, m[2]+" "+m[1])
			}
			if got := strings.Join(got, ", "); got != want {
				t.Errorf("the %s of the %v side says %q, want %q", name, side, got, want)
			}
		}
	}
}

// No words, however long, leave their place or lie over others.
func TestCardsAreWellLaid(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := card()
		words := rapid.StringOfN(rapid.RuneFrom([]rune("abimWM°→äß漢1. -\x01&<")), 1, 90, -1)
		say := func(name string) string { return "x" + words.Draw(t, name) + "x" }
		d.Title, d.About, d.Warnings[0], d.Torque = say("title"), say("about"), say("warning"), say("torque")
		d.Moves[0].Name, d.Moves[0].Text[0], d.Moves[3].Text[1] = say("adjuster"), say("left"), say("right")
		d.Steps[0].Text, d.Steps[1].Text = say("step"), say("step of the kart")
		d.Readings[0].Name, d.Readings[0].Side[0], d.Readings[0].Side[1][0] = say("reading"), [2]string{say("was"), say("is")}, say("right")
		d.Readings[1].Side[0][1] = say("of the kart")
		d.Undo[0], d.Confirm[0], d.Cautions[0] = CardPart{say("side"), []string{say("undo")}}, say("confirm"), say("caution")
		wellLaid(t, "the card", d.SVG())
	})
}

// The scale bar, the wheel and the trail of the side view are to one scale, and
// the dashed kingpin leans as many times further as the drawing says.
func TestSideIsToScale(t *testing.T) {
	v := view(t, func(d *frontend.Dimensions) { d.Caster += 0.9 * geometry.Degree }, 0)
	svg := v.Side()
	wheel := regexp.MustCompile(`class="kw-now" cx="[^"]*" cy="[^"]*" r="([0-9.]+)"`).FindStringSubmatch(svg)
	require.NotNil(t, wheel)
	r, err := strconv.ParseFloat(wheel[1], 64)
	require.NoError(t, err)
	line := regexp.MustCompile(`class="kw-(now|then)" x1="([^"]*)" y1="([^"]*)" x2="([^"]*)" y2="([^"]*)"`)
	var lean = map[string]float64{}
	for _, m := range line.FindAllStringSubmatch(svg, -1) {
		var p [4]float64
		for i := range p {
			p[i], err = strconv.ParseFloat(m[2+i], 64)
			require.NoError(t, err)
		}
		if _, seen := lean[m[1]]; !seen && p[1] != p[3] {
			lean[m[1]] = math.Atan2(p[0]-p[2], p[3]-p[1]) * 180 / math.Pi
			if m[1] == "now" {
				want := 78 * r / 128 * math.Cos(11*math.Pi/180) // the pivot span, seen from the side
				if got := math.Hypot(p[0]-p[2], p[1]-p[3]); math.Abs(got-want) > 0.015*want {
					t.Errorf("the kingpin is drawn %.2f px long beside a tyre of %.2f px, want %.2f", got, r, want)
				}
			}
		}
	}
	times := regexp.MustCompile(`drawn (\d+) times`).FindStringSubmatch(strings.ReplaceAll(svg, "</text>", " "))
	require.NotNil(t, times, "the drawing does not say how many times")
	n, err := strconv.ParseFloat(times[1], 64)
	require.NoError(t, err)
	if math.Abs(lean["now"]-12) > 0.2 {
		t.Errorf("the kingpin leans %.2f° in the drawing, want 12°", lean["now"])
	}
	if got := lean["then"] - lean["now"]; math.Abs(got-n*0.9) > 0.15*n*0.9 {
		t.Errorf("the dashed kingpin leans %.2f° further, want about %g times 0.9°", got, n)
	}
}

func TestTimes(t *testing.T) {
	for _, tt := range []struct{ moved, want float64 }{{0, 1}, {0.01, 200}, {0.3, 50}, {2.1, 10}, {11, 2}, {30, 1}} {
		if got := times(tt.moved, 22); got != tt.want {
			t.Errorf("a movement of %g mm is drawn %g times as large, want %g", tt.moved, got, tt.want)
		}
	}
}

func TestTicks(t *testing.T) {
	for _, tt := range []struct {
		lo, hi float64
		want   string
	}{{0, 60, "0 20 40 60"}, {-1.3, 8.7, "0 2 4 6 8"}, {0, 1, "0 0.2 0.4 0.6 0.8 1"}, {3, 3, "3"}} {
		var words []string
		for _, v := range ticks(tt.lo, tt.hi, 5) {
			words = append(words, tick(v))
		}
		if got := strings.Join(words, " "); got != tt.want {
			t.Errorf("ticks from %g to %g: %s, want %s", tt.lo, tt.hi, got, tt.want)
		}
	}
}
