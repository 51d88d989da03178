package learn

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Source says how near evidence is to the kart that advice is for.
type Source uint8

// The sources, nearest first.
const (
	ThisKart Source = iota
	OtherKart
	OtherPeople
	sources
)

// Evidence is one outcome of advice that rested on a rule, or several of one day.
type Evidence struct {
	ID     string // the same evidence has the same ID, wherever it was met
	Rule   string
	Source Source
	Diary  string  // whose: days of one diary age together
	Day    string  // of the outcome, 2026-05-03
	Helped float64 // the outcome, or the sum of the outcomes
	Times  int     // how many; 0 counts as 1
}

// Policy is how evidence is weighed.
type Policy struct {
	// Worth is how many outcomes an author's confidence is worth.
	Worth float64
	// Weight is what an outcome counts by its source, from 0 to 1 (a power
	// prior: Ibrahim and Chen 2000).
	Weight [3]float64
	// Memory is what is left of an outcome after each later event day of the
	// same diary, above 0 and at most 1.
	Memory float64
}

// Usual is the policy of the tool: a confidence is worth four outcomes, one of
// the owner's other karts counts half, one of somebody else's a quarter, and
// the memory is about ten event days long.
var Usual = Policy{Worth: 4, Weight: [3]float64{1, 0.5, 0.25}, Memory: 0.9}

// nano is how many units of a stored sum make one: whole numbers add up to the
// same whatever their order.
const nano = 1e9

// Count is how often something helped, of how many times. Undecided outcomes
// are parts of one.
type Count struct{ helped, of int64 }

// Helped is the sum of the outcomes.
func (c Count) Helped() float64 { return float64(c.helped) / nano }

// Of is their number.
func (c Count) Of() float64 { return float64(c.of) / nano }

// String says "3 of 4 times".
func (c Count) String() string {
	text := func(v float64) string { return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64) }
	times := "times"
	if c.of == nano {
		times = "time"
	}
	return fmt.Sprintf("%s of %s %s", text(c.Helped()), text(c.Of()), times)
}

// add counts outcomes of which the mean is given, each as weight of one.
func (c *Count) add(mean, times, weight float64) {
	whole := math.Round(times * weight * nano)
	c.of += int64(whole)
	c.helped += int64(math.Round(mean * whole))
}

// Record is what is known of one rule. The zero value is a rule of which
// nothing is known.
type Record struct {
	Plain    [3]Count // by source: every outcome as one
	weighted Count
	policy   Policy
}

// Tally sums evidence up by rule. What has the same ID counts once, from its
// nearest source. A mean outcome outside 0 to 1 is brought to the nearer end, one
// that is not a number does not count.
func Tally(evidence []Evidence, p Policy) map[string]Record {
	ev := slices.Clone(evidence)
	slices.SortFunc(ev, func(a, b Evidence) int {
		return cmp.Or(strings.Compare(a.ID, b.ID), int(a.Source)-int(b.Source), strings.Compare(a.Rule, b.Rule), strings.Compare(a.Diary, b.Diary), strings.Compare(a.Day, b.Day), cmp.Compare(a.Helped, b.Helped), cmp.Compare(a.Times, b.Times))
	})
	ev = slices.CompactFunc(ev, func(a, b Evidence) bool { return a.ID == b.ID })
	ev = slices.DeleteFunc(ev, func(e Evidence) bool { return math.IsNaN(e.Helped) || e.Source >= sources })

	left := memory(ev, p.Memory)
	out := map[string]Record{}
	for _, e := range ev {
		r := out[e.Rule]
		r.policy = p
		times := float64(max(1, e.Times))
		mean := math.Max(0, math.Min(1, e.Helped/times))
		r.Plain[e.Source].add(mean, times, 1)
		r.weighted.add(mean, times, p.Weight[e.Source]*left[[2]string{e.Diary, e.Day}])
		out[e.Rule] = r
	}
	return out
}

// memory returns, for each diary and day, what is left of an outcome: kept for
// every later day of the diary.
func memory(ev []Evidence, kept float64) map[[2]string]float64 {
	days := map[string][]string{}
	for _, e := range ev {
		days[e.Diary] = append(days[e.Diary], e.Day)
	}
	out := map[[2]string]float64{}
	for diary, list := range days {
		slices.Sort(list)
		list = slices.Compact(list)
		left := 1.0
		for i := len(list) - 1; i >= 0; i-- {
			out[[2]string{diary, list[i]}] = left
			left *= kept
		}
	}
	return out
}

// Belief is how often the rule helps, given its author's confidence.
func (r Record) Belief(confidence float64) Beta {
	p := r.policy
	if p == (Policy{}) {
		p = Usual
	}
	return Prior(confidence, p.Worth).With(r.weighted.Helped(), float64(r.weighted.of-r.weighted.helped)/nano)
}

// Factor is the learned factor of a rule, above 0 and at most 1: its belief
// over what its author believed, and never more than 1, so that good luck does
// not make a rule louder than its author.
func (r Record) Factor(confidence float64) float64 {
	if r.weighted.of == 0 {
		return 1
	}
	prior := Prior(confidence, r.policy.Worth)
	return math.Min(1, r.Belief(confidence).Mean()/prior.Mean())
}

// WorthATest reports whether the outcomes leave open if the rule helps more
// often than not: the probability lies between 0.1 and 0.9.
func (r Record) WorthATest(confidence float64) bool {
	p := r.Belief(confidence).Above(0.5)
	return p > 0.1 && p < 0.9
}

// String says what happened: "helped 3 of 4 times here", with the owner's
// other karts and other people's journals apart; "not tried yet" without any.
func (r Record) String() string {
	var parts []string
	for s, where := range []string{"here", "on your other karts", "in other journals"} {
		if c := r.Plain[s]; c.of > 0 {
			parts = append(parts, c.String()+" "+where)
		}
	}
	if len(parts) == 0 {
		return "not tried yet"
	}
	return "helped " + strings.Join(parts, ", ")
}
