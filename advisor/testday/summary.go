package testday

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Figure is how a run is summed up.
type Figure struct {
	Kind string  // typical, median, huber or lap
	Lap  float64 // lap on the tyres, for kind lap
}

// Typical is the Hodges–Lehmann value of the kept laps.
var Typical = Figure{Kind: "typical"}

// ParseFigure reads "typical", "median", "huber", or "lap 7" for the value of
// the run's line at the seventh lap.
func ParseFigure(s string) (Figure, error) {
	s = strings.TrimSpace(strings.ToLower(s))
	switch s {
	case "", "typical":
		return Typical, nil
	case "median", "huber":
		return Figure{Kind: s}, nil
	}
	if n, ok := strings.CutPrefix(s, "lap "); ok {
		if lap, err := strconv.Atoi(strings.TrimSpace(n)); err == nil && lap >= 1 && lap <= 200 {
			return Figure{"lap", float64(lap)}, nil
		}
	}
	return Figure{}, fmt.Errorf("run figure %q is not one of typical, median, huber, or a lap such as lap 7", s)
}

func (f Figure) String() string {
	if f.Kind == "lap" {
		return fmt.Sprintf("lap %g", f.Lap)
	}
	return f.Kind
}

// Left is a lap that was left out, and why.
type Left struct {
	Number int // in the run, from 1
	Lap    Lap
	Why    string
	Z      float64 // modified z from the run's line, if that was why
}

// Summary is one run in figures, seconds.
type Summary struct {
	Value  float64 // by the figure asked for
	Kept   []float64
	Number []float64 // of each kept lap in the run, from 1
	Left   []Left
	Line   Line    // over the number of the lap, through the kept laps
	Spread float64 // between the kept laps, off the line: 1.4826·MAD; 0 if too few
	// Doubts name laps far below the rest (hardly possible: check the clock)
	// and runs with too few laps to judge.
	Doubts []string

	Median, Huber, Trimmed, Mean, Best float64 // other figures of the kept laps; Trimmed 20 % a side
}

// Limits of the screening.
const (
	wild    = 3.5 // modified z (B. Iglewicz, D. C. Hoaglin 1993)
	fewLaps = 5   // below this the laps cannot judge each other
)

// smallSample is how much too small the MAD of n values comes out on average,
// which without it would throw out sound laps of a short run (C. Croux, P. J.
// Rousseeuw 1992, from memory).
func smallSample(n int) float64 {
	if factors := [...]float64{5: 1.206, 1.200, 1.140, 1.129, 1.107}; n < len(factors) {
		return max(1, factors[n])
	}
	return float64(n) / (float64(n) - 0.8)
}

// Summarise leaves out the flagged laps and those that are far too slow for the
// run's own line, and sums up the rest. A lap is never left out for being
// quick: laps are spoiled upward.
func Summarise(laps []Lap, f Figure) (Summary, error) {
	var s Summary
	var x, y []float64
	var at []int
	resolution := 0.001
	for i, l := range laps {
		switch l.Flag {
		case OutLap, InLap:
			s.Left = append(s.Left, Left{i + 1, l, string(l.Flag) + "-lap", 0})
		case Spoiled:
			s.Left = append(s.Left, Left{i + 1, l, l.Why, 0})
		default:
			x, y, at = append(x, float64(i+1)), append(y, l.Seconds), append(at, i)
			if r := math.Pow(10, -float64(l.Decimals)); len(y) == 1 || r > resolution {
				resolution = r
			}
		}
	}
	if len(y) == 0 {
		return s, fmt.Errorf("no lap is left to judge by: all %d are out-laps, in-laps or spoiled", len(laps))
	}
	if len(y) >= fewLaps {
		line := TheilSen(x, y)
		rest := make([]float64, len(y))
		for i := range y {
			rest[i] = y[i] - line.At(x[i])
		}
		for i, z := range ModifiedZ(rest, resolution) {
			l := laps[at[i]]
			z /= smallSample(len(y))
			switch {
			case z > wild:
				s.Left = append(s.Left, Left{at[i] + 1, l, "far too slow for the run", z})
				continue
			case z < -wild:
				s.Doubts = append(s.Doubts, fmt.Sprintf("lap %d, %s, is far below the others: check the clock", at[i]+1, l))
			}
			s.Kept, s.Number = append(s.Kept, y[i]), append(s.Number, x[i])
		}
	} else {
		s.Kept, s.Number = y, x
		s.Doubts = append(s.Doubts, fmt.Sprintf("%s are too few to tell a spoiled one from the others", count(len(y), "lap")))
	}
	slices.SortStableFunc(s.Left, func(a, b Left) int { return a.Number - b.Number })
	s.Line = TheilSen(s.Number, s.Kept)
	if len(s.Kept) >= fewLaps {
		rest := make([]float64, len(s.Kept))
		for i := range rest {
			rest[i] = s.Kept[i] - s.Line.At(s.Number[i])
		}
		s.Spread = 1.4826 * MAD(rest)
	}
	s.Median, s.Trimmed, s.Mean, s.Best = Median(s.Kept), Trimmed(s.Kept, 0.2), Mean(s.Kept), slices.Min(s.Kept)
	s.Huber, _ = Huber(s.Kept)
	switch f.Kind {
	case "median":
		s.Value = s.Median
	case "huber":
		s.Value = s.Huber
	case "lap":
		s.Value = s.Line.At(f.Lap)
		if f.Lap < s.Number[0] || f.Lap > s.Number[len(s.Number)-1] {
			s.Doubts = append(s.Doubts, fmt.Sprintf("lap %g is outside the run's laps: its value is extrapolated", f.Lap))
		}
	default:
		s.Value = HodgesLehmann(s.Kept)
	}
	return s, nil
}
