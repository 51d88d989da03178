package testday

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"kartwright/geometry/fit"
)

// driven is a day of one figure a run.
func driven(o Order, k int, trend Trend, y ...float64) *Day {
	d := &Day{Trend: trend, Figure: Typical, Spread: Spread{SD: UsualSpread}}
	for j := range k {
		d.Changes = append(d.Changes, Change{Name: "change " + itoa(j+1)})
	}
	for i, s := range o {
		d.Runs = append(d.Runs, Run{Setup: s, State: Done, Value: y[i], Tyres: 1})
	}
	return d
}

func judge(t testing.TB, d *Day) *Verdict {
	t.Helper()
	v, err := d.Judge()
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// TD-D1 to TD-D4: worked days, recomputed outside this project.
func TestWorkedDays(t *testing.T) {
	v := judge(t, driven(word("ABBA"), 1, Linear, 48.60, 48.45, 48.52, 48.74))
	e := v.Effects[0]
	verify(t, []check{
		{"D1 effect", e.Value, -0.185, 9}, {"D1 SE", e.SE, 0.0156524758, 10}, {"D1 t", e.Value / e.SE, -11.819216, 6}, {"D1 p", e.P, 0.053735, 6},
		{"D1 lower", e.Lo, -0.38388356, 8}, {"D1 upper", e.Hi, 0.01388356, 8}, {"D1 drift", v.Drift.Value, 0.049, 9}, {"D1 base", v.Base.Value, 48.67, 9}, {"D1 df", float64(v.DF), 1, 0},
	})

	y := []float64{48.62, 48.44, 48.49, 48.71, 48.74, 48.57, 48.66, 48.83}
	v = judge(t, driven(word("ABBAABBA"), 1, Linear, y...))
	e = v.Effects[0]
	verify(t, []check{
		{"D2 effect", e.Value, -0.185, 9}, {"D2 SE", e.SE, 0.0151343192, 10}, {"D2 df", float64(v.DF), 5, 0}, {"D2 lower", e.Lo, -0.22390401, 8}, {"D2 upper", e.Hi, -0.14609599, 8},
		{"D2 drift", v.Drift.Value, 0.0338095238, 10}, {"D2 RSS", v.RSS, 0.00229047619048, 14}, {"D2 s", v.S, 0.02140315954, 11},
	})
	v = judge(t, driven(word("ABBAABBA"), 1, Quadratic, y...))
	e = v.Effects[0]
	verify(t, []check{
		{"D2 bent: effect", e.Value, -0.184, 9}, {"D2 bent: SE", e.SE, 0.0171864772, 10}, {"D2 bent: df", float64(v.DF), 4, 0}, {"D2 bent: lower", e.Lo, -0.23171731, 8},
		{"D2 bent: upper", e.Hi, -0.13628269, 8}, {"D2 bend", v.Bend.Value, 0.0005, 9},
	})
	v = judge(t, driven(word("ABBAABBA"), 1, NoTrend, y...))
	e = v.Effects[0]
	verify(t, []check{
		{"D2 no trend: effect", e.Value, -0.185, 9}, {"D2 no trend: SE", e.SE, 0.0647430820, 10}, {"D2 no trend: lower", e.Lo, -0.34342061, 8}, {"D2 no trend: upper", e.Hi, -0.02657939, 8},
	})

	y = []float64{48.46, 48.66, 48.60, 48.42, 48.50, 48.69, 48.80, 48.66}
	o := cells("pqr", "pq", "qr", "r", "p", "pr", "(1)", "q", "pqr")
	v = judge(t, driven(o, 3, Linear, y...))
	for j, want := range []float64{-0.1775, 0.0925, 0.0125} {
		verify(t, []check{{"D3 effect " + itoa(j+1), v.Effects[j].Value, want, 9}, {"D3 SE", v.Effects[j].SE, 0.0136676829, 10}})
	}
	mean := v.Base.Value
	for _, e := range v.Effects {
		mean += e.Value / 2
	}
	verify(t, []check{
		{"D3 df", float64(v.DF), 3, 0}, {"D3 s", v.S, 0.01932902251, 11}, {"D3 drift", v.Drift.Value, 0.0291666667, 10}, {"D3 drift SE", v.Drift.SE, 0.0029825329, 10},
		{"D3 mean", mean, 48.59875, 9}, {"D3 RSS", v.RSS, 0.00112083333333, 14}, {"D3 t", v.T, 3.182446, 6},
	})
	v = judge(t, driven(o, 3, NoTrend, y...))
	verify(t, []check{{"D3 no trend: effect", v.Effects[0].Value, -0.1775, 9}, {"D3 no trend: half-effect SE", v.Effects[0].SE / 2, 0.0339346799, 10}})

	v = judge(t, driven(BaseBetween(3), 3, Linear, 48.70, 48.55, 48.76, 48.80, 48.81, 48.78, 48.90))
	for j, want := range []struct{ value, se, neighbours float64 }{{-0.1775, 0.0159295323, -0.18}, {0.0075, 0.0147901995, 0.015}, {-0.0775, 0.0159295323, -0.075}} {
		e := v.Effects[j]
		verify(t, []check{{"D4 effect " + itoa(j+1), e.Value, want.value, 9}, {"D4 SE", e.SE, want.se, 10}, {"D4 neighbours", e.Neighbours, want.neighbours, 9}})
	}
	verify(t, []check{
		{"D4 base", v.Base.Value, 48.7925, 9}, {"D4 drift", v.Drift.Value, 0.0325, 9}, {"D4 drift SE", v.Drift.SE, 0.0029580399, 10}, {"D4 df", float64(v.DF), 2, 0},
		{"D4 RSS", v.RSS, 0.00035, 9}, {"D4 s", v.S, 0.01322875656, 11}, {"D4 lower", v.Effects[0].Lo, -0.24603925, 8}, {"D4 upper", v.Effects[0].Hi, -0.10896075, 8},
	})
}

// TD-H3: JCGM 100:2008 H.3, the straight line that the verdicts rest on.
func TestCalibrationOfAThermometer(t *testing.T) {
	l := fit.Linear{Names: []string{"intercept", "slope"}, Y: gumB, Intercept: true}
	for _, v := range gumT {
		l.X = append(l.X, []float64{1, v - 20})
	}
	line, err := l.Solve()
	if err != nil {
		t.Fatal(err)
	}
	at, sd := line.At([]float64{1, 10})
	half := quantile(0.975, line.DF) * line.SD[1]
	verify(t, []check{
		{"y1", line.Value[0], -0.1712037901, 10}, {"s(y1)", line.SD[0], 0.0028775978, 10}, {"y2", line.Value[1], 0.0021826977, 10}, {"s(y2)", line.SD[1], 0.0006679388, 10},
		{"r", line.Correlation(0, 1), -0.9304296, 7}, {"s", line.S, 0.003497564, 9}, {"prediction at 30", at, -0.1493768127, 10}, {"u of it", sd, 0.0041385958, 10},
		{"slope lower", line.Value[1] - half, 0.0006717153, 10}, {"slope upper", line.Value[1] + half, 0.0036936802, 10}, {"t", line.Value[1] / line.SD[1], 3.26781, 5},
	})
}

// 2 000 days with drift: how often does the interval hold the truth, and how
// often does comparing before with after get it wrong?
func TestCoverageOverSimulatedDays(t *testing.T) {
	const days, laps = 2000, 10
	rng := rand.New(rand.NewPCG(20251125, 6))
	orders := []struct {
		o Order
		k int
	}{{word("ABBAABBA"), 1}, {ThueMorse(3), 1}, {BaseBetween(3), 3}, {Palindrome(2), 2}, {Factorial(3, 3, 6, 7), 3}, {BothWays(2), 2}}
	held, all, naiveHeld, naiveAll, wrongWay, naiveWrongWay, claims, naiveClaims := 0, 0, 0, 0, 0, 0, 0, 0
	for day := range days {
		p := orders[day%len(orders)]
		effect := make([]float64, p.k)
		for j := range effect {
			effect[j] = 0.12 * rng.NormFloat64()
		}
		base, drift := 48+rng.Float64(), 0.05*rng.NormFloat64()
		run, lap := 0.03+0.05*rng.Float64(), 0.05+0.1*rng.Float64()
		// stint drives one run's laps: an out-lap, a warm-up lap, tyres that
		// go off, some traffic, a rare spin, an in-lap.
		stint := func(i int, s Setup) []Lap {
			level := base + drift*float64(i) + run*rng.NormFloat64()
			for j, e := range effect {
				if s.Has(j) {
					level += e
				}
			}
			out := []Lap{{level + 1.4 + rng.Float64(), 2, OutLap, ""}}
			for n := range laps {
				v := level + 0.008*float64(n) + lap*rng.NormFloat64()
				switch u := rng.Float64(); {
				case u < 0.05:
					v += 0.5 + 1.5*rng.Float64() // traffic
				case u < 0.06:
					v += 7 // a spin
				}
				out = append(out, Lap{math.Round(v*100) / 100, 2, Timed, ""})
			}
			return append(out, Lap{level + 3, 2, InLap, ""})
		}
		d := &Day{Trend: Linear, Figure: Typical, Spread: Spread{SD: UsualSpread}}
		for range p.k {
			d.Changes = append(d.Changes, Change{Name: "change"})
		}
		for i, s := range p.o {
			d.Runs = append(d.Runs, Run{Setup: s, State: Done, Tyres: 1, Laps: stint(i, s)})
		}
		for j, e := range judge(t, d).Effects {
			all++
			if e.Lo <= effect[j] && effect[j] <= e.Hi {
				held++
			}
			if e.Lo > 0 || e.Hi < 0 {
				claims++
				if e.Value*effect[j] < 0 {
					wrongWay++
				}
			}
		}
		// The usual way: the first half of the runs as it is, the rest with
		// the change, all laps but the out- and in-lap, a 95 % interval from
		// the laps.
		var before, after []float64
		for i := range 8 {
			s := Setup(0)
			if i >= 4 {
				s = 1
			}
			for _, l := range stint(i, s) {
				switch {
				case l.Flag != Timed:
				case s == 0:
					before = append(before, l.Seconds)
				default:
					after = append(after, l.Seconds)
				}
			}
		}
		diff := Mean(after) - Mean(before)
		se := math.Hypot(SD(after), SD(before)) / math.Sqrt(4*laps)
		naiveAll++
		if math.Abs(diff-effect[0]) <= quantile(0.975, 8*laps-2)*se {
			naiveHeld++
		}
		if math.Abs(diff) > quantile(0.975, 8*laps-2)*se {
			naiveClaims++
			if diff*effect[0] < 0 {
				naiveWrongWay++
			}
		}
	}
	coverage, naive := float64(held)/float64(all), float64(naiveHeld)/float64(naiveAll)
	t.Logf("intervals hold the truth in %.1f %% of %d effects (naive before and after: %.1f %% of %d)", 100*coverage, all, 100*naive, naiveAll)
	t.Logf("of %d effects claimed %.1f %% go the wrong way (naive: of %d, %.1f %%)", claims, 100*float64(wrongWay)/float64(claims), naiveClaims, 100*float64(naiveWrongWay)/float64(naiveClaims))
	if coverage < 0.93 || coverage > 0.97 {
		t.Errorf("95 %% intervals hold the truth in %.1f %% of effects, want 93 to 97 %%", 100*coverage)
	}
	if 1-naive < 5*(1-coverage) {
		t.Errorf("naive intervals miss in %.1f %% and ours in %.1f %%, want naive to miss at least five times as often", 100*(1-naive), 100*(1-coverage))
	}
}

// Drift that grows by any straight line changes no effect, and the same to all
// runs changes only the base.
func TestDriftLeavesEffectsAlone(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		o := []Order{word("ABBA"), BaseBetween(2), Palindrome(3), Factorial(3, 3, 6, 7), word("ABABBAA")}[rng.IntN(5)]
		k := o.changes()
		y, tilted := make([]float64, len(o)), make([]float64, len(o))
		slope, lift := rng.NormFloat64(), rng.NormFloat64()
		for i := range y {
			y[i] = 48 + 0.2*rng.NormFloat64()
			tilted[i] = y[i] + lift + slope*float64(i)
		}
		a, b := judge(t, driven(o, k, Linear, y...)), judge(t, driven(o, k, Linear, tilted...))
		for j := range a.Effects {
			if math.Abs(a.Effects[j].Value-b.Effects[j].Value) > 1e-9 || math.Abs(a.Effects[j].SE-b.Effects[j].SE) > 1e-9 {
				t.Fatalf("%v: change %d is worth %v, and %v with a drift of %g a run", o, j+1, a.Effects[j].Estimate, b.Effects[j].Estimate, slope)
			}
		}
		if math.Abs(b.Drift.Value-a.Drift.Value-slope) > 1e-9 {
			t.Fatalf("%v: drift %g becomes %g, want %g more", o, a.Drift.Value, b.Drift.Value, slope)
		}
	}
}

func TestVerdictSaysWhatItCannotTell(t *testing.T) {
	for _, tt := range []struct {
		name    string
		day     *Day
		outcome Outcome
		text    string
	}{
		{"before and after", driven(word("AABB"), 1, Linear, 48.6, 48.63, 48.4, 48.41), CannotTell, "cannot tell"},
		{"two runs", driven(word("AB"), 1, Linear, 48.6, 48.4), NotTested, "cannot be told from the drift of track and tyres"},
		{"only base", driven(word("AAA"), 1, Linear, 48.6, 48.6, 48.4), NeverRun, "no run with it yet"},
		{"no base", driven(word("BBB"), 1, Linear, 48.6, 48.6, 48.4), NeverRun, "it was on in every run; there is no run without it to compare with"},
		{"ABA alone", driven(word("ABA"), 1, Linear, 48.6, 48.4, 48.6), NoSpread, "nothing says how far runs differ by themselves"},
		{"standard order", driven(Order{0, 1, 2, 3}, 2, Linear, 48.6, 48.4, 48.6, 48.7), NotTested, "cannot be told from"},
	} {
		e := judge(t, tt.day).Effects[0]
		if e.Outcome != tt.outcome || !strings.Contains(e.Text, tt.text) {
			t.Errorf("%s: %s: %q, want %s with %q", tt.name, e.Outcome, e.Text, tt.outcome, tt.text)
		}
	}
	if _, err := driven(nil, 1, Linear).Judge(); err != ErrNothingDriven {
		t.Errorf("a day without runs: %v, want ErrNothingDriven", err)
	}
}

// The verdict against the effect that matters.
func TestVerdictAgainstWhatMatters(t *testing.T) {
	y := []float64{48.62, 48.44, 48.49, 48.71, 48.74, 48.57, 48.66, 48.83} // −0.224 to −0.146
	for _, tt := range []struct {
		smallest float64
		swap     float64 // ±1
		want     Outcome
	}{
		{0, 1, Quicker}, {0.1, 1, Quicker}, {0.18, 1, CannotTell}, {0.3, 1, NoMatter},
		{0, -1, Slower}, {0.1, -1, Slower}, {0.18, -1, CannotTell}, {0.3, -1, NoMatter},
	} {
		values := make([]float64, len(y))
		for i := range y {
			values[i] = 48.6 + tt.swap*(y[i]-48.6)
		}
		d := driven(word("ABBAABBA"), 1, Linear, values...)
		d.Smallest = tt.smallest
		if got := judge(t, d).Effects[0]; got.Outcome != tt.want {
			t.Errorf("with %.2f s that matters: %s (%s), want %s", tt.smallest, got.Outcome, got.Text, tt.want)
		}
	}
}

// An earlier day's spread makes ABBA worth something.
func TestPooledSpread(t *testing.T) {
	d := driven(word("ABBA"), 1, Linear, 48.60, 48.45, 48.52, 48.74)
	d.Spread = Spread{SD: 0.03, DF: 10}
	v := judge(t, d)
	// s² = (10·0.03² + 0.000245)/11
	want := math.Sqrt((10*0.03*0.03 + v.RSS) / 11)
	if v.Pooled.DF != 11 || math.Abs(v.Pooled.SD-want) > 1e-12 || v.Effects[0].Outcome != Quicker {
		t.Errorf("pooled %+v, %s; want %.6f s on 11, quicker", v.Pooled, v.Effects[0].Text, want)
	}
	if got := Pool(v, judge(t, driven(word("ABBAABBA"), 1, Linear, 48.62, 48.44, 48.49, 48.71, 48.74, 48.57, 48.66, 48.83))); got.DF != 6 || !near(got.SD*got.SD*6, v.RSS+0.00229047619048, 12) {
		t.Errorf("two days pool to %+v, want Σ RSS over 6", got)
	}
	d.Spread = Spread{SD: 0.0005, DF: 30}
	if v = judge(t, d); !strings.Contains(strings.Join(v.Notes, "\n"), "as much as on earlier days") {
		t.Errorf("notes %q, want one on a day that scatters far more than earlier ones", v.Notes)
	}
}

// Track and tyres part only where tyre age is reset, or runs differ in length.
func TestTrackAndTyres(t *testing.T) {
	one := driven(word("ABBAABBA"), 1, Linear, 48.62, 48.44, 48.49, 48.71, 48.74, 48.57, 48.66, 48.83)
	if s := judge(t, one).Separate; s.OK || !strings.Contains(s.Text, "only their sum, +0.034 s a run") {
		t.Errorf("one set of tyres: %q, want only the sum known", s.Text)
	}
	// Track −0.02 s a run, tyres +0.05 s a run, a new set at run 6.
	var y []float64
	for i, s := range word("ABBAABBAAB") {
		age := i
		if i >= 5 {
			age -= 5
		}
		y = append(y, 48.6-0.2*float64(s)-0.02*float64(i)+0.05*float64(age)+[]float64{.002, -.001, -.002, .001}[i%4])
	}
	two := driven(word("ABBAABBAAB"), 1, Linear, y...)
	two.NewTyres(5)
	s := judge(t, two).Separate
	if !s.OK || math.Abs(s.Track.Value+0.02) > 0.003 || math.Abs(s.Tyres.Value-0.05) > 0.003 {
		t.Errorf("two sets: track %v, tyres %v, %q; want −0.02 and +0.05", s.Track, s.Tyres, s.Text)
	}
	// A set that is changed before the last run hardly parts them.
	late := driven(word("ABBA"), 1, Linear, 48.60, 48.45, 48.52, 48.74)
	late.NewTyres(3)
	if s := judge(t, late).Separate; s.OK {
		t.Errorf("a new set for the last of four runs: %q, want not told apart", s.Text)
	}
}

func TestDriversWords(t *testing.T) {
	d := driven(word("ABBAABBA"), 1, Linear, 48.62, 48.44, 48.49, 48.71, 48.74, 48.57, 48.66, 48.83)
	for i, f := range map[int]Feel{1: Worse, 2: Worse, 5: Same, 6: Worse} {
		d.Runs[i].Feel = f
	}
	e := judge(t, d).Effects[0]
	if e.Feel[Worse] != 3 || !strings.Contains(e.FeelText, "worse 3 of 4 (by luck alone 12 %); the clock says the opposite") {
		t.Errorf("three times worse and quicker: %q", e.FeelText)
	}
}

// A run that had something wrong with it is named.
func TestOddRunIsNamed(t *testing.T) {
	y := []float64{48.62, 48.44, 48.49, 48.71, 48.74, 48.57, 48.66, 48.83, 48.85, 48.71, 48.74, 48.93}
	y[6] += 0.6
	v := judge(t, driven(again(word("ABBA"), 3, false), 1, Linear, y...))
	if !v.Runs[6].Odd || !strings.Contains(strings.Join(v.Notes, "\n"), "run 7 is") {
		t.Errorf("run 7 is 0.6 s off and the notes are %q", v.Notes)
	}
}

// Which sign is quicker is said once, beside the first number.
func TestVerdictSaysTheSign(t *testing.T) {
	d := driven(word("ABBA"), 1, Linear, 48.60, 48.45, 48.52, 48.74)
	v := judge(t, d)
	if got := v.Say(d, 0); !strings.Contains(got, " s (minus is quicker; 95 %") || strings.HasPrefix(got, d.Changes[0].Name) {
		t.Errorf("the verdict says %q, want which sign is quicker and not the change's name", got)
	}
	v.Effects = append(v.Effects, v.Effects[0])
	if got := v.Say(d, 1); strings.Contains(got, "minus") {
		t.Errorf("the second change says %q, want the sign explained once", got)
	}
}
