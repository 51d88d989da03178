package adjust_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
)

const deg = geometry.Degree

func dims() frontend.Dimensions {
	return frontend.Dimensions{
		Caster: 12 * deg, KPI: 10 * deg, Camber: -0.5 * deg, Toe: -0.1 * deg, KingpinSpacing: 720, PivotSpan: 76, StubHeight: 38,
		StubLength: 150, TyreRadius: 128, ArmLength: 105, ArmAngle: 12 * deg, ArmDrop: 8,
		ColumnBehind: 120, ColumnHeight: 15, ColumnRake: 45 * deg, LugDrop: 38, LugSpacing: 40,
	}
}

// build makes the adjuster of a kind from its fields.
func build(t require.TestingT, kind string, side frontend.Side, raw map[string]any) adjust.Adjuster {
	k, ok := adjust.KindNamed(kind)
	require.True(t, ok, kind)
	v := &adjust.Values{Side: side, Raw: raw}
	a := k.Build(v)
	require.Empty(t, v.Errors)
	return a
}

var (
	casterScrew = map[string]any{"pivot": "top", "tightening_moves": "rearward", "thread": "M8", "travel_in": "3 turns", "travel_out": "3 turns", "gauge": "7.60 mm"}
	camberPlate = map[string]any{"pivot": "top", "eccentricity": "2 mm", "positions": int64(12), "hole_from_mark": "180 deg", "moves": "in-out"}
	topBush     = map[string]any{"pivot": "top", "eccentricity": "2 mm", "positions": int64(12)}
	bottomBush  = map[string]any{"pivot": "bottom", "eccentricity": "2 mm", "positions": int64(12)}
	turnbuckle  = map[string]any{"thread": "M8"}
)

func corner(t require.TestingT, side frontend.Side, parts ...any) adjust.Corner {
	front, err := dims().Corner()
	require.NoError(t, err)
	c := adjust.Corner{Side: side, Front: front}
	for i := 0; i < len(parts); i += 2 {
		kind := parts[i].(string)
		c.Adjusters = append(c.Adjusters, adjust.Named{Name: fmt.Sprint(kind, " ", i/2), Adjuster: build(t, kind, side, parts[i+1].(map[string]any))})
	}
	return c
}

func separate(t require.TestingT, side frontend.Side) adjust.Corner {
	return corner(t, side, "screw", casterScrew, "eccentric", camberPlate, "tie-rod", turnbuckle)
}

func twoEccentrics(t require.TestingT, side frontend.Side) adjust.Corner {
	return corner(t, side, "eccentric", topBush, "eccentric", bottomBush, "tie-rod", turnbuckle)
}

// Common practice: half a turn of the usual caster screw is about 0.65 mm,
// tightening it shrinks the depth reading and adds caster; the top of the
// kingpin rearward is more caster.
func TestCasterScrewTradeFacts(t *testing.T) {
	c := separate(t, frontend.Left)
	s := c.Adjusters[0]
	if got := -s.Shift(0.5).Top.X; math.Abs(got-0.65) > 0.05 {
		t.Errorf("half a turn moves the top %.3f mm rearward, want about 0.65", got)
	}
	reading, ok := s.Adjuster.(adjust.Gauged).Gauge(0.5)
	if !ok || !reading.Near(6.975, 1e-9) {
		t.Errorf("gauge after half a turn of tightening = %v, want 6.975 mm", reading)
	}
	set := c.Standard()
	before, err := c.Figures(set)
	require.NoError(t, err)
	set[0] = 0.5
	after, err := c.Figures(set)
	require.NoError(t, err)
	if after.Caster <= before.Caster {
		t.Errorf("tightening went from caster %v to %v, want more", before.Caster, after.Caster)
	}
	if after.Toe == before.Toe {
		t.Error("a caster change must move toe")
	}
}

// Common practice: turning the mark of this plate outward adds negative
// camber, on both sides, and leaves caster alone.
func TestCamberPlateTradeFacts(t *testing.T) {
	for _, side := range frontend.Sides {
		c := separate(t, side)
		set := c.Standard()
		before, err := c.Figures(set)
		require.NoError(t, err)
		set[1] = 1 // a hole outward
		after, err := c.Figures(set)
		require.NoError(t, err)
		if after.Camber >= before.Camber {
			t.Errorf("%v: mark outward went from camber %v to %v, want more negative", side, before.Camber, after.Camber)
		}
		if !after.Caster.Near(before.Caster, 1e-12) {
			t.Errorf("%v: the plate moved caster from %v to %v", side, before.Caster, after.Caster)
		}
		want := map[frontend.Side]string{frontend.Left: "11 o'clock", frontend.Right: "1 o'clock"}[side]
		if got := c.Adjusters[1].Print(1, geometry.Units{}); got != want {
			t.Errorf("%v: a hole outward prints as %s, want %s", side, got, want)
		}
	}
}

// Coarse pitches of ISO 261, from memory.
func TestCoarsePitches(t *testing.T) {
	for thread, want := range map[string]float64{"M5": 0.8, "M6": 1, "M8": 1.25, "M10": 1.5, "M12": 1.75, "M8x1": 1, "m10 x 1.25": 1.25} {
		raw := map[string]any{"pivot": "top", "tightening_moves": "forward", "thread": thread, "travel_in": "1 turn", "travel_out": "1 turn"}
		if got := build(t, "screw", frontend.Left, raw).Shift(1).Top.X; math.Abs(got-want) > 1e-12 {
			t.Errorf("%s moves %.3f mm a turn, want %g", thread, got, want)
		}
	}
	both := build(t, "tie-rod", frontend.Left, map[string]any{"thread": "M8"})
	one := build(t, "tie-rod", frontend.Left, map[string]any{"thread": "M8", "ends": "one"})
	if both.Shift(1).Rod != 2.5 || one.Shift(1).Rod != 1.25 || one.Travel().Step != 0.5 {
		t.Errorf("a turn of the tie rod is %v with both ends threaded and %v with one (steps %g), want 2.5, 1.25, 0.5", both.Shift(1).Rod, one.Shift(1).Rod, one.Travel().Step)
	}
}

// The inverse fed forward gives back what it promised.
func TestSolveRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		side := rapid.SampledFrom([]frontend.Side{frontend.Left, frontend.Right}).Draw(t, "side")
		anyway := corner(t, side, "screw", casterScrew, "eccentric", map[string]any{"pivot": "top", "eccentricity": "3 mm", "moves": "in-out"}, "tie-rod", turnbuckle)
		from := anyway.Standard()
		from[0] = rapid.Float64Range(-1, 1).Draw(t, "screw")
		from[1] = rapid.Float64Range(-40, 40).Draw(t, "eccentric")
		goal := adjust.Goal{}.
			Ask(adjust.Caster, rapid.Float64Range(10.5, 13.5).Draw(t, "caster")*float64(deg)).
			Ask(adjust.Camber, rapid.Float64Range(-1.7, 0.7).Draw(t, "camber")*float64(deg)).
			Ask(adjust.Toe, rapid.Float64Range(-0.8, 0.8).Draw(t, "toe")*float64(deg))
		a, err := anyway.Solve(from, goal)
		if err != nil {
			t.Fatal(err)
		}
		got, err := anyway.Values(a.Best.Setting)
		if err != nil {
			t.Fatal(err)
		}
		for q, asked := range goal.Asked {
			if asked && math.Abs(got[q]-goal.Value[q]) > 1e-9 {
				t.Fatalf("%v fed forward = %.12f°, asked %.12f° (%v, %v)", adjust.Figure(q), got[q]/float64(deg), goal.Value[q]/float64(deg), a.Best.Setting, a.Reasons)
			}
			if got[q] != a.Best.Values[q] {
				t.Fatalf("%v: the solution promises %v, forward gives %v", adjust.Figure(q), a.Best.Values[q], got[q])
			}
		}
		if !a.OK() || len(a.Reasons) > 0 {
			t.Fatalf("met, yet outcome %v, %v", a.Outcome, a.Reasons)
		}
	})
}

// A goal so close that leaving the screw alone would be nearly as good is met
// all the same.
func TestSolveGoalAHairAway(t *testing.T) {
	c := corner(t, frontend.Left, "screw", casterScrew, "eccentric", map[string]any{"pivot": "top", "eccentricity": "3 mm", "moves": "in-out"}, "tie-rod", turnbuckle)
	for _, hair := range []float64{-1e-8, 1e-8, -1e-7, 1e-7, 1e-6} {
		from := c.Standard()
		from[1] = 1
		was, err := c.Values(from)
		require.NoError(t, err)
		a, err := c.Solve(from, adjust.Goal{}.Ask(adjust.Caster, was[adjust.Caster]+hair).Ask(adjust.Camber, 0.7*float64(deg)).Ask(adjust.Toe, 0.8*float64(deg)))
		require.NoError(t, err)
		if a.Outcome[adjust.Caster] != adjust.Met {
			t.Errorf("caster %+.0e rad away is %v: %v", hair, a.Outcome[adjust.Caster], a.Reasons)
		}
	}
}

// Whatever setting is reached forward, asking for its figures finds a setting
// that is at least as good.
func TestSolveFindsReachableFigures(t *testing.T) {
	for name, make := range map[string]func(require.TestingT, frontend.Side) adjust.Corner{"separate": separate, "two eccentrics": twoEccentrics} {
		t.Run(name, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				c := make(t, frontend.Right)
				at := c.Standard()
				for i, a := range c.Adjusters {
					tr := a.Travel()
					at[i] = tr.Clamp(rapid.Float64Range(tr.Min*0.9, tr.Max*0.9).Draw(t, a.Name))
				}
				if c.Adjusters[len(at)-1].Part() == adjust.OnRod {
					at[len(at)-1] /= 3
				}
				want, err := c.Values(at)
				if err != nil {
					t.Skip(err.Error())
				}
				goal := adjust.Goal{}.Ask(adjust.Caster, want[adjust.Caster]).Ask(adjust.Camber, want[adjust.Camber]).Ask(adjust.Toe, want[adjust.Toe])
				a, err := c.Solve(c.Standard(), goal)
				if err != nil {
					t.Fatal(err)
				}
				for q := range 3 {
					if math.Abs(a.Best.Residual[q]) > 1e-7 {
						t.Fatalf("%v is %.9f° off though %v gives it; found %v", adjust.Figure(q), a.Best.Residual[q]/float64(deg), at, a.Best.Setting)
					}
				}
			})
		})
	}
}

func TestSolveSaysWhatTheKartCannotDo(t *testing.T) {
	c := separate(t, frontend.Left)
	a, err := c.Solve(c.Standard(), adjust.Goal{}.Ask(adjust.Caster, float64(20*deg)))
	require.NoError(t, err)
	if a.OK() || a.Outcome[adjust.Caster] != adjust.Beyond || a.Best.Setting[0] != 3 {
		t.Errorf("20° of caster: outcome %v with the screw at %v, want out of reach with the screw at its 3 turns", a.Outcome[adjust.Caster], a.Best.Setting[0])
	}
	if len(a.Reasons) != 1 || !strings.Contains(a.Reasons[0], "can be set from") {
		t.Errorf("reasons %q", a.Reasons)
	}
	bare := corner(t, frontend.Right, "fixed", map[string]any{"because": "the kingpin runs in welded bosses"}, "tie-rod", turnbuckle)
	a, err = bare.Solve(bare.Standard(), adjust.Goal{}.Ask(adjust.Caster, float64(13*deg)))
	require.NoError(t, err)
	if want := "nothing on this kart changes its caster: the kingpin runs in welded bosses"; a.OK() || len(a.Reasons) != 1 || a.Reasons[0] != want {
		t.Errorf("fixed kart: %v %q, want %q", a.Outcome, a.Reasons, want)
	}
	a, err = bare.Solve(bare.Standard(), adjust.Goal{}.Ask(adjust.Toe, float64(-0.3*deg)))
	require.NoError(t, err)
	if !a.OK() || math.Abs(a.Best.Residual[adjust.Toe]) > 1e-9 {
		t.Errorf("toe on the fixed kart: %v, residual %g", a.Outcome, a.Best.Residual[adjust.Toe])
	}
}

// A change that is asked for relative to where the kart stands keeps the rest.
func TestSolveKeepsTheRest(t *testing.T) {
	c := separate(t, frontend.Left)
	was, err := c.Values(c.Standard())
	require.NoError(t, err)
	a, err := c.Solve(c.Standard(), adjust.Goal{}.Ask(adjust.Caster, was[adjust.Caster]+float64(0.5*deg)))
	require.NoError(t, err)
	for q, tol := range map[adjust.Figure]float64{adjust.Caster: 1e-9, adjust.Toe: 1e-9, adjust.Camber: float64(0.05 * deg)} {
		if math.Abs(a.Best.Residual[q]) > tol {
			t.Errorf("%v moved by %.4f°", q, a.Best.Residual[q]/float64(deg))
		}
	}
	if a.Best.Moved != 2 || a.Best.Setting[1] != 0 {
		t.Errorf("half a degree of caster touches %d parts (%v), want the screw and the tie rod", a.Best.Moved, a.Best.Setting)
	}
	if a.Next == nil || a.Next.Setting[1] == 0 {
		t.Errorf("the next best must use another hole of the plate: %+v", a.Next)
	}
}

// Nothing to do is answered with nothing to do, and ties go to fewer parts.
func TestSolveLeavesAloneWhatIsRight(t *testing.T) {
	for _, c := range []adjust.Corner{separate(t, frontend.Left), twoEccentrics(t, frontend.Right)} {
		was, err := c.Values(c.Standard())
		require.NoError(t, err)
		a, err := c.Solve(c.Standard(), adjust.Goal{}.Ask(adjust.Caster, was[adjust.Caster]).Ask(adjust.Camber, was[adjust.Camber]))
		require.NoError(t, err)
		if a.Best.Moved != 0 {
			t.Errorf("asked for what is there, moved %d parts to %v", a.Best.Moved, a.Best.Setting)
		}
	}
	// Equal eccentrics turned equally at both ends give the standard axis again
	// (the kingpin moves sideways as a whole): the solver must not choose that.
	c := twoEccentrics(t, frontend.Left)
	a, err := c.Solve(c.Standard(), adjust.Goal{}.Ask(adjust.Camber, float64(-0.5*deg)).Ask(adjust.Caster, float64(12*deg)))
	require.NoError(t, err)
	if a.Best.Moved != 0 {
		t.Errorf("moved %v", a.Best.Setting)
	}
}

func TestHeightShims(t *testing.T) {
	c := corner(t, frontend.Left, "screw", casterScrew, "shims", map[string]any{"thickness": "2 mm", "total": int64(5), "below": int64(2)}, "tie-rod", turnbuckle)
	a, err := c.Solve(c.Standard(), adjust.Goal{}.Ask(adjust.Height, 3.9))
	require.NoError(t, err)
	if a.Best.Setting[1] != 0 {
		t.Errorf("to raise the frame 3.9 mm the shims below go from 2 to %v, want 0", a.Best.Setting[1])
	}
	if r := a.Best.Residual[adjust.Toe]; math.Abs(r) > 1e-9 {
		t.Errorf("toe was not restored: %g", r)
	}
}

func TestHalfTurnRodEnd(t *testing.T) {
	c := corner(t, frontend.Left, "screw", casterScrew, "tie-rod", map[string]any{"thread": "M8", "ends": "one"})
	a, err := c.Solve(c.Standard(), adjust.Goal{}.Ask(adjust.Toe, float64(-0.35*deg)))
	require.NoError(t, err)
	if a.Outcome[adjust.Toe] != adjust.Nearby || math.Mod(a.Best.Setting[1], 0.5) != 0 {
		t.Errorf("a rod end in half turns: %v at %v, want the nearest half turn", a.Outcome[adjust.Toe], a.Best.Setting[1])
	}
}

// Positions are printed so that they read back, on both sides.
func TestPositionsReadBack(t *testing.T) {
	for _, side := range frontend.Sides {
		c := corner(t, side, "screw", casterScrew, "eccentric", camberPlate, "eccentric", bottomBush, "bush", map[string]any{
			"pivot": "top", "standard": "centre", "positions": []any{map[string]any{"name": "centre"}, map[string]any{"name": "back 2", "rearward": "2 mm"}}},
			"shims", map[string]any{"thickness": "2 mm", "total": int64(5), "below": int64(2)}, "tie-rod", turnbuckle, "fixed", map[string]any{},
			"eccentric", map[string]any{"pivot": "top", "eccentricity": "2 mm", "positions": int64(16), "home": "9 o'clock"})
		for _, a := range c.Adjusters {
			tr := a.Travel()
			step := tr.Step
			if step == 0 {
				step = 0.25
			}
			for p := tr.Min; p <= tr.Max; p += step {
				text := a.Print(p, geometry.Units{})
				if got, err := a.Read(text); err != nil || math.Abs(got-p) > 1e-9 {
					t.Errorf("%v %s: %g prints as %q and reads back as %g, %v", side, a.Name, p, text, got, err)
				}
			}
			if got, err := a.Read("standard"); err != nil || got != a.Standard() {
				t.Errorf("%s: standard reads as %g, %v", a.Name, got, err)
			}
		}
	}
}

func TestReadPositions(t *testing.T) {
	c := corner(t, frontend.Right, "screw", casterScrew, "eccentric", camberPlate, "tie-rod", turnbuckle)
	for _, tt := range []struct {
		i    int
		in   string
		want float64
	}{
		{0, "1/2 turn tighter", 0.5}, {0, "3/4 turn out", -0.75}, {0, "6.975 mm", 0.5}, {0, "gauge 8.225 mm", -0.5},
		{1, "2 holes out", 2}, {1, "1 hole in", -1}, {1, "1 o'clock", 1}, {1, "10:00", -2}, {1, "60 deg out", 2},
		{2, "1/4 turn longer", 0.25}, {2, "1.25 mm shorter", -0.5},
	} {
		if got, err := c.Adjusters[tt.i].Read(tt.in); err != nil || math.Abs(got-tt.want) > 1e-9 {
			t.Errorf("%s: Read(%q) = %g, %v, want %g", c.Adjusters[tt.i].Name, tt.in, got, err, tt.want)
		}
	}
	for _, tt := range []struct {
		i        int
		in, want string
	}{
		{0, "4 turns", "4.00 turns tighter is outside its travel, 3.00 turns looser to 3.00 turns tighter"},
		{0, "some", `"some" is not a screw position (write 1/2 turn tighter, -0.75 turns, or the gauge reading, 6.97 mm)`},
		{1, "1:30", `"1:30" lies between two holes; the nearest are 1 o'clock and 2 o'clock`},
		{2, "x", `"x" is not a tie-rod position (write 1/4 turn longer, or 0.6 mm shorter)`},
	} {
		if _, err := c.Adjusters[tt.i].Read(tt.in); err == nil || err.Error() != tt.want {
			t.Errorf("Read(%q): %v, want %s", tt.in, err, tt.want)
		}
	}
}

func TestMovesAreInstructions(t *testing.T) {
	u := geometry.Units{}
	l := corner(t, frontend.Left, "screw", casterScrew, "eccentric", camberPlate, "tie-rod", turnbuckle)
	r := corner(t, frontend.Right, "eccentric", camberPlate)
	for _, tt := range []struct{ got, want string }{
		{l.Adjusters[0].Move(0, 0.5, u), "tighten it 1/2 turn, clockwise; depth gauge 7.60 mm to 6.97 mm"},
		{l.Adjusters[0].Move(0.5, -0.25, u), "loosen it 3/4 turn, anticlockwise; depth gauge 6.97 mm to 7.91 mm"},
		{l.Adjusters[1].Move(0, 1, u), "turn it 1 hole anticlockwise seen from above; the mark goes from 12 o'clock to 11 o'clock"},
		{r.Adjusters[0].Move(0, 2, u), "turn it 2 holes clockwise seen from above; the mark goes from 12 o'clock to 2 o'clock"},
		{l.Adjusters[2].Move(0, -0.2, u), "make it shorter by 0.50 mm: 0.20 turn (about 3/16)"},
	} {
		if tt.got != tt.want {
			t.Errorf("got  %s\nwant %s", tt.got, tt.want)
		}
	}
}

func TestFieldErrors(t *testing.T) {
	for _, tt := range []struct {
		kind string
		raw  map[string]any
		want string
	}{
		{"screw", map[string]any{"pivot": "side"}, `pivot: "side" is not one of top, bottom`},
		{"screw", map[string]any{"pivot": "top"}, `thread: is missing: the thread (thread = "M8") or its pitch (pitch = "1.25 mm") is needed`},
		{"screw", map[string]any{"thread": "M9"}, `thread: "M9" is not one of M5, M6, M8, M10, M12 (coarse) or a fine one such as M8x1; otherwise give pitch = "1.25 mm"`},
		{"screw", map[string]any{"pitch": 1.25}, `pitch: length 1.25 has no unit (write "1.25 mm")`},
		{"screw", map[string]any{"thread": "M8", "travel_in": "-1 turn"}, `travel_in: must not be negative: travel is counted from standard in its own direction`},
		{"eccentric", map[string]any{"eccentricity": "2"}, `eccentricity: length "2" has no unit (write 2mm or 2in)`},
		{"eccentric", map[string]any{"positions": 12.5}, `positions: must be a whole number from 2 to 96, not 12.5`},
		{"eccentric", map[string]any{"home": "up"}, `home: "up" is not a direction (write a clock hour such as 12 o'clock, or forward, rearward, inboard, outboard)`},
		{"bush", map[string]any{"positions": []any{map[string]any{"name": "a"}, map[string]any{"name": "a", "sideways": "1 mm"}}, "standard": "b"}, `positions[1].name: "a" is there twice`},
		{"bush", map[string]any{}, `positions: must list at least two positions, each { name = "…", rearward = "2 mm", inboard = "0 mm" }`},
		{"screw", map[string]any{"ratio": "about 1"}, `ratio: "about 1" is not a ratio (write 1.05, or "1.05 ± 0.02")`},
		{"screw", map[string]any{"ratio": "-1"}, "ratio: must lie between 0 and 10, not -1"},
		{"shims", map[string]any{"thickness": "30 mm"}, "thickness: must lie between 0 and 20 mm, not 30.00 mm"},
	} {
		k, _ := adjust.KindNamed(tt.kind)
		v := &adjust.Values{Raw: tt.raw}
		k.Build(v)
		if len(v.Errors) == 0 || !contains(v.Errors, tt.want) {
			t.Errorf("%s %v: errors %v, want %s", tt.kind, tt.raw, v.Errors, tt.want)
		}
	}
}

func contains(errs []adjust.FieldError, want string) bool {
	for _, e := range errs {
		if e.Error() == want {
			return true
		}
	}
	return false
}

// A Nudge reaches every measured field, so that uncertainty can be propagated.
func TestNudge(t *testing.T) {
	k, _ := adjust.KindNamed("eccentric")
	v := &adjust.Values{Raw: map[string]any{"pivot": "top", "eccentricity": "2 mm ± 0.1 mm"}, Nudge: map[string]float64{"eccentricity": 0.1}}
	a := k.Build(v)
	if got := math.Hypot(a.Shift(180).Top.X, a.Shift(180).Top.Y); math.Abs(got-4.2) > 1e-12 {
		t.Errorf("half a turn of a 2.1 mm eccentric moves the pivot %.3f mm, want 4.2", got)
	}
	screw, _ := adjust.KindNamed("screw")
	w := &adjust.Values{Raw: map[string]any{"pivot": "top", "tightening_moves": "forward", "thread": "M8", "ratio": "1.1 ± 0.05", "travel_in": "1 turn", "travel_out": "1 turn"}, Nudge: map[string]float64{"ratio": 0.1, "pitch": 0.05}}
	if got := screw.Build(w).Shift(1).Top.X; math.Abs(got-1.2*1.3) > 1e-12 || len(w.Errors) > 0 {
		t.Errorf("a turn of a 1.30 mm screw through a ratio of 1.2 moves %.3f mm (%v), want 1.56", got, w.Errors)
	}
	if len(v.Quantities) != 1 || v.Quantities[0] != (adjust.Quantity{Field: "eccentricity", Value: 2, PM: 0.1}) {
		t.Errorf("quantities %+v", v.Quantities)
	}
}

// BenchmarkSolveTwoEccentrics is the inverse with two 12-position eccentrics
// and both tie rods, both sides: under 1 ms.
func BenchmarkSolveTwoEccentrics(b *testing.B) {
	l, r := twoEccentrics(b, frontend.Left), twoEccentrics(b, frontend.Right)
	goal := adjust.Goal{}.Ask(adjust.Caster, float64(12.8*deg)).Ask(adjust.Camber, float64(-1*deg))
	for b.Loop() {
		for _, c := range []*adjust.Corner{&l, &r} {
			if _, err := c.Solve(c.Standard(), goal); err != nil {
				b.Fatal(err)
			}
		}
	}
}

func BenchmarkSolveScrewAndPlate(b *testing.B) {
	c := separate(b, frontend.Left)
	goal := adjust.Goal{}.Ask(adjust.Caster, float64(12.8*deg)).Ask(adjust.Camber, float64(-1*deg))
	for b.Loop() {
		if _, err := c.Solve(c.Standard(), goal); err != nil {
			b.Fatal(err)
		}
	}
}
