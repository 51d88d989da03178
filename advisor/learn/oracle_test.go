package learn_test

import (
	"math"
	"testing"

	"kartwright/advisor/learn"
)

// near fails unless got is want to half a unit in the given decimal.
func near(t *testing.T, what string, got, want float64, decimals int) {
	t.Helper()
	if tol := 0.5000001 * math.Pow10(-decimals); !(math.Abs(got-want) <= tol) {
		t.Errorf("%s is %.13f, want %.*f", what, got, decimals, want)
	}
}

// testdata/oracle/learning.md, B.
func TestBeliefsAgainstPublishedAndComputed(t *testing.T) {
	for _, tt := range []struct {
		label                                  string
		prior                                  learn.Beta
		helped, of                             float64
		mean, sd, low, median, high, aboveHalf float64
	}{
		{"B-1 placenta previa", learn.Beta{A: 1, B: 1}, 437, 980, .4460285132, .01585434332, .4150654925, .4459918579, .4771997706, .0003528726},
		{"B-2", learn.Beta{A: 1, B: 1}, 3, 4, .6666666667, .1781741613, .2835820639, .6861898295, .9472550495, .8125},
		{"B-3", learn.Beta{A: .5, B: .5}, 3, 4, .7, .1870828693, .2837516796, .7281932574, .9715291049, .8395305453},
		{"B-4", learn.Beta{A: 2, B: 2}, 3, 4, .625, .1613743061, .2904208637, .6358839136, .9010117216, .7734375},
		{"B-5", learn.Prior(.75, 4), 3, 4, .75, .1443375673, .4212768030, .7715100365, .9633074338, .9375},
		{"B-6", learn.Beta{A: 1, B: 1}, 6, 8, .7, .1381698559, .3999064263, .7137633320, .9251453686, .9101562500},
		{"B-7", learn.Beta{A: 1, B: 1}, 1, 1, .6666666667, .2357022604, .1581138830, .7071067812, .9874208829, .75},
		{"B-8", learn.Beta{A: 1, B: 1}, 0, 1, .3333333333, .2357022604, .0125791171, .2928932188, .8418861170, .25},
	} {
		t.Run(tt.label, func(t *testing.T) {
			b := tt.prior.With(tt.helped, tt.of-tt.helped)
			near(t, "mean", b.Mean(), tt.mean, 10)
			near(t, "sd", b.SD(), tt.sd, 10)
			near(t, "2.5 % quantile", b.Quantile(.025), tt.low, 10)
			near(t, "median", b.Quantile(.5), tt.median, 10)
			near(t, "97.5 % quantile", b.Quantile(.975), tt.high, 10)
			near(t, "P(θ > ½)", b.Above(.5), tt.aboveHalf, 10)
		})
	}
}

// B-9: Clopper-Pearson intervals are quantiles of two beliefs.
func TestQuantilesGiveClopperPearson(t *testing.T) {
	for _, tt := range []struct{ x, n, low, high float64 }{
		{81, 263, .252737, .367622}, {15, 148, .057844, .161650}, {0, 20, 0, .168433}, {1, 29, .000873, .177644}, {3, 4, .194120, .993691},
	} {
		if tt.x > 0 {
			near(t, "lower end", learn.Beta{A: tt.x, B: tt.n - tt.x + 1}.Quantile(.025), tt.low, 6)
		}
		near(t, "upper end", learn.Beta{A: tt.x + 1, B: tt.n - tt.x}.Quantile(.975), tt.high, 6)
	}
}

// testdata/oracle/learning.md, A.
func TestBest(t *testing.T) {
	for _, tt := range []struct {
		label   string
		beliefs []learn.Beta
		want    []float64
		digits  int
	}{
		{"A-1", []learn.Beta{{A: 2, B: 3}, {A: 4, B: 2}}, []float64{1. / 6, 5. / 6}, 12},
		{"A-2", []learn.Beta{{A: 4, B: 2}, {A: 6, B: 4}}, []float64{1 - .377622377622, .377622377622}, 12},
		{"A-3", []learn.Beta{{A: 2, B: 2}, {A: 5, B: 3}}, []float64{1. / 3, 2. / 3}, 12},
		{"A-4", []learn.Beta{{A: 1, B: 1}, {A: 4, B: 2}}, []float64{1. / 3, 2. / 3}, 12},
		{"A-5", []learn.Beta{{A: 4, B: 2}, {A: 2, B: 3}, {A: 1, B: 1}}, []float64{.587301587, .104761905, .307936508}, 9},
	} {
		t.Run(tt.label, func(t *testing.T) {
			for i, got := range learn.Best(tt.beliefs) {
				near(t, "P(best)", got, tt.want[i], tt.digits)
			}
		})
	}
}

// P-1, P-2: own karts and the power prior, through Tally.
func TestPooling(t *testing.T) {
	outcomes := func(s learn.Source, id string, helped, of int) (ev []learn.Evidence) {
		for i := range of {
			e := learn.Evidence{ID: id + string(rune('a'+i)), Rule: "r", Source: s, Day: "2026-05-03"}
			if i < helped {
				e.Helped = 1
			}
			ev = append(ev, e)
		}
		return ev
	}
	// A prior Beta(a, b) is a confidence a/(a+b) worth a+b outcomes.
	karts := []struct{ helped, of int }{{3, 4}, {1, 3}, {5, 6}, {0, 1}, {9, 14}}
	for _, prior := range []struct {
		worth, w float64
		want     []float64
	}{{4, .5, []float64{.625, .428571, .7, .4, .611111}}, {4.5, 3 / 4.5, []float64{.705882, .533333, .761905, .545455, .648649}}} {
		for i, k := range karts {
			rec := learn.Tally(outcomes(learn.ThisKart, "x", k.helped, k.of), learn.Policy{Worth: prior.worth, Weight: [3]float64{1, 1, 1}, Memory: 1})["r"]
			near(t, "P-1 mean", rec.Belief(prior.w).Mean(), prior.want[i], 6)
		}
	}
	ev := append(outcomes(learn.ThisKart, "own", 3, 4), outcomes(learn.OtherPeople, "other", 6, 10)...)
	for _, tt := range []struct{ alpha, a, b, mean, above float64 }{
		{0, 4, 2, .666666667, .8125}, {.25, 5.5, 3, .647058824, .8183895669}, {.5, 7, 4, .636363636, .828125}, {1, 10, 6, .625, .8491210938},
	} {
		rec := learn.Tally(ev, learn.Policy{Worth: 2, Weight: [3]float64{1, 1, tt.alpha}, Memory: 1})["r"]
		b := rec.Belief(.5)
		near(t, "P-2 a", b.A, tt.a, 9)
		near(t, "P-2 b", b.B, tt.b, 9)
		near(t, "P-2 mean", b.Mean(), tt.mean, 9)
		near(t, "P-2 P(θ > ½)", b.Above(.5), tt.above, 9)
	}
}

// P-3: the earlier groups are the prior of the new one.
func TestRatTumours(t *testing.T) {
	b := learn.Beta{A: 1.356149, B: 8.615058}.With(4, 10)
	near(t, "mean", b.Mean(), .2234409526, 7) // the prior is printed to six decimals
	near(t, "sd", b.SD(), .0833583020, 7)
}

// testdata/oracle/learning.md, S.
func TestFaster(t *testing.T) {
	for _, tt := range []struct{ effect, se, df, least, want float64 }{
		{-.185, .0156524758, 1, 0, .97313243},
		{-.185, .0151343192, 5, 0, .99996760},
		{-.185, .0151343192, 5, .05, .99985255},
		{-.185, .0151343192, 5, .15, .96565895},
	} {
		near(t, "P(effect < −δ)", learn.Faster(tt.effect, tt.se, tt.df, tt.least), tt.want, 8)
	}
	for _, bad := range [][2]float64{{0, 3}, {-1, 3}, {math.NaN(), 3}, {.1, 0}, {math.Inf(1), 3}} {
		if got := learn.Faster(-.1, bad[0], bad[1], 0); !math.IsNaN(got) {
			t.Errorf("Faster with standard error %g and %g degrees of freedom is %g, want NaN", bad[0], bad[1], got)
		}
	}
}
