package measure_test

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
	"kartwright/geometry/measure"
)

// corner has a caster screw with a depth gauge, a camber plate of twelve holes
// and a tie rod.
func corner(t require.TestingT, side frontend.Side) *adjust.Corner {
	front, err := frontend.Dimensions{
		Caster: 12 * deg, KPI: 10 * deg, Camber: -0.5 * deg, Toe: -0.1 * deg, KingpinSpacing: 720, PivotSpan: 76, StubHeight: 38,
		StubLength: 150, TyreRadius: 128, ArmLength: 105, ArmAngle: 12 * deg, ArmDrop: 8,
		ColumnBehind: 120, ColumnHeight: 15, ColumnRake: 45 * deg, LugDrop: 38, LugSpacing: 40,
	}.Corner()
	require.NoError(t, err)
	c := &adjust.Corner{Side: side, Front: front}
	for _, part := range []struct {
		name, kind string
		raw        map[string]any
	}{
		{"caster screw", "screw", map[string]any{"pivot": "top", "tightening_moves": "rearward", "thread": "M8", "travel_in": "3 turns", "travel_out": "3 turns", "gauge": "7.60 mm"}},
		{"camber plate", "eccentric", map[string]any{"pivot": "top", "eccentricity": "2 mm", "positions": int64(12), "hole_from_mark": "180 deg", "moves": "in-out"}},
		{"tie rod", "tie-rod", map[string]any{"thread": "M8"}},
	} {
		k, ok := adjust.KindNamed(part.kind)
		require.True(t, ok, part.kind)
		v := &adjust.Values{Side: side, Raw: part.raw}
		built := k.Build(v)
		require.Empty(t, v.Errors)
		c.Adjusters = append(c.Adjusters, adjust.Named{Name: part.name, Adjuster: built})
	}
	return c
}

// Common practice: half a turn in on the caster screw takes the depth gauge
// from 7.60 mm to about 6.97 mm and adds caster.
func TestDepthGauge(t *testing.T) {
	c := corner(t, frontend.Left)
	d := measure.Depth{Corner: c, Setting: c.Standard(), Screw: "caster screw"}
	before, err := d.Caster(pm(7.60, 0.05))
	require.NoError(t, err)
	near(t, "caster at standard", before.Caster.Value.Degrees(), 12, 1e-9)
	after, err := d.Caster(pm(6.975, 0.05))
	require.NoError(t, err)
	near(t, "turns from the reading", after.Setting[0], 0.5, 1e-9)
	if after.Caster.Value <= before.Caster.Value {
		t.Errorf("a depth of 6.97 mm reads as caster %v, at 7.60 mm it is %v; want more", after.Caster.Value, before.Caster.Value)
	}
	// A rigid kingpin of 76 mm span: 1 mm at its top is about cos²(12°)/74 rad.
	perMM := math.Pow(math.Cos(12*math.Pi/180), 2) / (76 * math.Cos(12*math.Pi/180))
	near(t, "± of the caster", float64(before.Caster.PM), 0.05*perMM, 0.03*0.05*perMM)

	back, err := d.Reading(after.Caster)
	require.NoError(t, err)
	near(t, "depth to look for", float64(back.Reading.Value), 6.975, 1e-6)
	near(t, "its ±", float64(back.Reading.PM), 0.05, 1e-4)
	if !back.Answer.OK() {
		t.Errorf("the wanted caster is said to be out of reach: %v", back.Answer.Reasons)
	}
	far, err := d.Reading(a(30))
	require.NoError(t, err)
	if far.Answer.OK() || len(far.Answer.Reasons) == 0 {
		t.Errorf("30° of caster is said to be reached with a depth of %v", far.Reading.Value)
	}
}

func TestDepthComesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := corner(t, frontend.Right)
		set := c.Standard()
		set[0] = draw(t, "screw", -2, 2)
		d := measure.Depth{Corner: c, Setting: set, Screw: "caster screw"}
		depth := mm(draw(t, "depth", 6, 9))
		got, err := d.Caster(depth)
		if err != nil {
			t.Fatal(err)
		}
		back, err := d.Reading(got.Caster)
		if err != nil || !back.Reading.Value.Near(depth.Value, 1e-5) {
			t.Fatalf("a depth of %v is caster %v, for which to look for %v (error %v)", depth.Value, got.Caster.Value, back.Reading.Value, err)
		}
	})
}

func both(t require.TestingT) measure.Check {
	c := measure.Check{Corners: [2]*adjust.Corner{corner(t, frontend.Left), corner(t, frontend.Right)}}
	for _, s := range frontend.Sides {
		c.Settings[s] = c.Corners[s].Standard()
	}
	c.Within[adjust.Caster] = float64(0.3 * deg)
	c.Within[adjust.Camber] = float64(0.25 * deg)
	c.Within[adjust.Toe] = float64(frontend.ToeAngle(measure.RuleTolerance, 255))
	return c
}

func read(degrees, pm float64) geometry.Measured[float64] {
	m := apm(degrees, pm)
	return geometry.Measured[float64]{Value: float64(m.Value), PM: float64(m.PM)}
}

func goal(f adjust.Figure, degrees float64) adjust.Goal {
	return adjust.Goal{}.Ask(f, float64(geometry.Angle(degrees)*deg))
}

func TestCheck(t *testing.T) {
	caster := func(left, right, pm float64) [2]measure.Readings {
		return [2]measure.Readings{{adjust.Caster: read(left, pm)}, {adjust.Caster: read(right, pm)}}
	}
	want := [2]adjust.Goal{goal(adjust.Caster, 12.5), goal(adjust.Caster, 12.5)}
	for _, tt := range []struct {
		name         string
		want         [2]adjust.Goal
		read         [2]measure.Readings
		equal, clear bool
		sides        string // verdict, "" if not compared
		change       [2]float64
	}{
		{"as meant", want, caster(12.4, 12.6, 0.1), true, true, "equal", [2]float64{}},
		{"right is short", want, caster(12.4, 11.9, 0.1), false, true, "different", [2]float64{0, 0.6}},
		{"both are over", want, caster(13, 13.1, 0.1), false, true, "equal", [2]float64{-0.5, -0.6}},
		{"both within, apart from each other", want, caster(12.25, 12.7, 0.1), false, true, "different", [2]float64{0.25, 0}},
		{"read too coarsely", want, caster(12.5, 12.1, 0.5), false, false, "out of tolerance, but not by more than the readings can show: measure again", [2]float64{0, 0.4}},
		{"nothing wanted, left is off its profile", [2]adjust.Goal{}, caster(11.2, 12.1, 0.1), false, true, "different", [2]float64{0.9, 0}},
		{"nothing wanted, right is off its profile", [2]adjust.Goal{}, caster(12.1, 11.2, 0.1), false, true, "different", [2]float64{0, 0.9}},
		{"only one side read", want, [2]measure.Readings{{adjust.Caster: read(12.0, 0.1)}, nil}, false, true, "", [2]float64{0.5, 0}},
		{"sides meant to differ", [2]adjust.Goal{goal(adjust.Caster, 12.5), goal(adjust.Caster, 12)}, caster(12.5, 12, 0.1), true, true, "equal", [2]float64{}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			c := both(t)
			c.Want = tt.want
			got, err := c.Compare(tt.read)
			require.NoError(t, err)
			if got.Equal != tt.equal || got.Clear != tt.clear {
				t.Errorf("equal = %v, clear = %v; want %v, %v", got.Equal, got.Clear, tt.equal, tt.clear)
			}
			verdict := ""
			if s := got.Figures[0].Sides; s != nil {
				verdict = s.Verdict()
			}
			if verdict != tt.sides {
				t.Errorf("the sides are %q, want %q", verdict, tt.sides)
			}
			var change [2]float64
			for _, fix := range got.Corrections {
				now, err := c.Corners[fix.Side].Figures(c.Settings[fix.Side])
				require.NoError(t, err)
				change[fix.Side] = (fix.Answer.Best.Figures.Caster - now.Caster).Degrees()
				// Caster disturbs toe, so the tie rod takes part.
				if len(fix.Turns) != 2 || fix.Turns[0].Name != "caster screw" || fix.Turns[1].Name != "tie rod" {
					t.Errorf("the %v side is corrected by %+v, want the caster screw and the tie rod", fix.Side, fix.Turns)
				}
				if !fix.Answer.Best.Figures.Toe.Near(now.Toe, 1e-9) {
					t.Errorf("the correction moves the %v side's toe from %v to %v", fix.Side, now.Toe, fix.Answer.Best.Figures.Toe)
				}
			}
			for _, s := range frontend.Sides {
				near(t, s.String()+" caster corrected by", change[s], tt.change[s], 1e-6)
			}
		})
	}
}

// A kart whose screw and tie rod do not stand where the log says: the check
// finds the turns that are missing.
func TestCheckFindsTheTurns(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := both(t)
		side := rapid.SampledFrom(frontend.Sides[:]).Draw(t, "side")
		model := c.Corners[side]
		noted := c.Settings[side]
		really := append(adjust.Setting(nil), noted...)
		really[0] += draw(t, "screw", -0.6, 0.6)
		really[2] += draw(t, "rod", -0.3, 0.3)
		wanted, err := model.Values(noted)
		if err != nil {
			t.Fatal(err)
		}
		reads, err := model.Values(really)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range []adjust.Figure{adjust.Caster, adjust.Toe} {
			c.Within[f] = 0
			c.Want[side] = c.Want[side].Ask(f, wanted[f])
		}
		var r [2]measure.Readings
		r[side] = measure.Readings{adjust.Caster: {Value: reads[adjust.Caster]}, adjust.Toe: {Value: reads[adjust.Toe]}}
		got, err := c.Compare(r)
		if err != nil {
			t.Fatal(err)
		}
		var turns [3]float64
		for _, fix := range got.Corrections {
			if fix.Side != side {
				t.Fatalf("the %v side is to be corrected, which was not read", fix.Side)
			}
			for _, m := range fix.Turns {
				turns[m.Adjuster] = m.To - m.From
			}
		}
		for _, i := range []int{0, 2} {
			if missing := noted[i] - really[i]; math.Abs(turns[i]-missing) > 0.02+0.03*math.Abs(really[0]-noted[0]) {
				t.Fatalf("%s is to be turned by %.3f, %.3f are missing", model.Adjusters[i].Name, turns[i], missing)
			}
		}
	})
}

func TestErrors(t *testing.T) {
	ok := mm(300)
	c := corner(t, frontend.Left)
	depth := func(screw string, reading length) error {
		_, err := measure.Depth{Corner: c, Setting: c.Standard(), Screw: screw}.Caster(reading)
		return err
	}
	plain := corner(t, frontend.Right)
	plain.Adjusters = plain.Adjusters[1:]
	check := func(r [2]measure.Readings) error {
		_, err := both(t).Compare(r)
		return err
	}
	second := func(_ any, err error) error { return err }
	r := func(steer, camber float64) measure.Reading {
		return measure.Reading{Steer: a(steer), Camber: a(camber)}
	}
	for _, tt := range []struct {
		err  error
		want string
	}{
		{second(measure.Laser{}.Read(measure.Spot{Up: ok})), "the distance to the laser's target is 0.00 mm"},
		{second(measure.Laser{Distance: ok}.Read(measure.Spot{Up: mm(900)})), "are both in the same unit?"},
		{second(measure.Laser{Distance: ok}.Read(measure.Spot{Up: pm(1, -1)})), "the ± of the spot's height must be a number and not negative"},
		{second(measure.Laser{Distance: ok}.Spot(measure.Tilt{Camber: a(60)})), "a camber of 60.00° is no angle of a wheel"},
		{second(measure.Laser{Distance: ok}.FromSquares(geometry.Measured[float64]{Value: 2})), "squares have no size"},
		{second(measure.Widths{Front: ok, Rear: ok}.Toe()), "the length between the two widths is 0.00 mm"},
		{second(measure.Widths{Front: mm(900), Rear: mm(9000), Over: ok}.Toe()), "a difference of widths of 8100.00 mm over 300.00 mm"},
		{second(measure.Line{Front: mm(math.NaN()), Rear: ok, Over: ok}.Toe()), "the front distance is not a number"},
		{second(measure.Plumb{Top: mm(10), Bottom: mm(500), Apart: ok}.Camber()), "a difference of gaps"},
		{second(measure.Inclinometer{}.Camber(a(88))), "a camber of 88.00° is no angle of a wheel"},
		{second(measure.CasterFromTwo(r(2, 1), r(-2, 0), a(10))), "only 4.00° of steer apart; a sweep needs at least 10.00°"},
		{second(measure.CasterFromThree(r(20, 5), r(18, 4), r(-20, -4))), "only 2.00° of steer apart"},
		{second(measure.CasterFromTwo(r(120, 1), r(-20, 0), a(10))), "past 90°"},
		{second(measure.CasterFromSpin(a(1), a(1), a(1), a(10))), "a turn of 1.00° to either side"},
		{second(measure.Kingpin{}.SweepErrors(60 * deg)), "a sweep of 60.00° to either side"},
		{second(measure.EqualLock{Lock: 20 * deg}.PerCaster(kingpin(12, 10))), "the rule's reach is 0.00 mm"},
		{second(measure.Centre{Left: mm(300), Right: mm(100)}.Column()), "distance from the column's axis is missing"},
		{second(measure.Centre{Left: mm(300), Right: mm(100), Radius: mm(40)}.Column()), "the mark cannot be 100.00 mm off centre"},
		{second(measure.Scales{LeftFront: kg(-1)}.Weights()), "the left front scale shows -1 kg"},
		{second(measure.Scales{}.Weights()), "all four scales show nothing"},
		{second(measure.Weights{Total: kg(160), Front: share(0.2), Left: share(0.2), Cross: share(0.9)}.Scales()), "less than nothing"},
		{depth("camber plate", ok), `"camber plate" has no depth gauge; "caster screw" has`},
		{depth("caster", ok), `the left side has no adjuster "caster"; with a depth gauge it has "caster screw"`},
		{depth("caster screw", mm(20)), `a depth of 20.00 mm is outside what "caster screw" can show, 3.85 mm to 11.35 mm`},
		{second(measure.Depth{Corner: plain, Setting: plain.Standard(), Screw: "x"}.Caster(ok)), "no adjuster of the right side has a depth gauge"},
		{second(measure.Depth{Corner: c, Screw: "caster screw"}.Reading(a(12))), "0 positions for 3 adjusters"},
		{check([2]measure.Readings{}), "there is nothing to check"},
		{check([2]measure.Readings{{adjust.Camber: read(70, 0)}, nil}), "the left side's camber of 70.00° is no angle of a wheel"},
		{check([2]measure.Readings{nil, {adjust.Toe: read(0, -1)}}), "the ± of the right side's toe"},
	} {
		if tt.err == nil || !strings.Contains(tt.err.Error(), tt.want) {
			t.Errorf("error %q, want one that says %q", fmt.Sprint(tt.err), tt.want)
		}
	}
}

func share(v float64) geometry.Measured[float64] { return geometry.Measured[float64]{Value: v} }

// FuzzSweep: any two readings give a finite caster or an error.
func FuzzSweep(f *testing.F) {
	f.Add(20., 5.9, -20., -4.6, 10., 0.1)
	f.Add(0., 0., 0., 0., 0., 0.)
	f.Add(89., 44., -89., -44., -44., 10.)
	f.Fuzz(func(t *testing.T, d1, g1, d2, g2, kpi, plus float64) {
		s, err := measure.CasterFromTwo(measure.Reading{Steer: apm(d1, plus), Camber: a(g1)}, measure.Reading{Steer: a(d2), Camber: apm(g2, plus)}, a(kpi))
		if err != nil {
			return
		}
		if v := float64(s.Caster.Value); math.IsNaN(v) || math.Abs(v) > math.Pi/2 {
			t.Errorf("caster = %v from steer %g, %g and camber %g, %g with KPI %g", s.Caster.Value, d1, d2, g1, g2, kpi)
		}
	})
}
