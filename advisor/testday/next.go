package testday

import (
	"fmt"
	"math"
)

// Next is the index of the run to drive now, len(d.Runs) if none is left.
func (d *Day) Next() int {
	for i, r := range d.Runs {
		if r.State == Planned {
			return i
		}
	}
	return len(d.Runs)
}

// On is what the kart carries before run i: the setup of the last run before it
// that was driven, that will be, or for which it was put on. The base before the
// first.
func (d *Day) On(i int) Setup {
	for i--; i >= 0; i-- {
		if r := d.Runs[i]; r.State == Done || r.State == Planned || r.Fitted {
			return r.Setup
		}
	}
	return 0
}

// slots lists the runs that count, and their numbers from 0.
func (d *Day) slots(counts func(Run) bool) (slots []slot, at []int) {
	block := 0
	for i, r := range d.Runs {
		if r.Break {
			block++
		}
		if counts(r) {
			slots, at = append(slots, slot{time: float64(i), setup: r.Setup, tyres: r.Tyres - 1, block: block}), append(at, i)
		}
	}
	return slots, at
}

// Expected is what the day will have told once the runs still planned are
// driven.
func (d *Day) Expected() Worth {
	slots, _ := d.slots(func(r Run) bool { return r.State == Done || r.State == Planned })
	if len(slots) == 0 {
		return Worth{Var: infinite(len(d.Changes)), DF: 0}
	}
	return newModel(slots, len(d.Changes), d.Trend).worth()
}

func infinite(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = math.Inf(1)
	}
	return out
}

// minuteWorth is what a minute of spanner time may cost in proof: ten minutes
// weigh as much as 5 % of variance.
const minuteWorth = 0.005

// cost weighs a day as it would be with the rest ordered as given.
func (d *Day) cost(w *Work, first int) float64 {
	worth := d.Expected()
	var sum, whole float64
	for j, weight := range weights(d.Changes) {
		sum += weight * min(worth.Var[j], 1e6) // an effect lost outweighs all else
		whole += weight
	}
	minutes := 0.
	on := d.On(first)
	for _, r := range d.Runs[first:] {
		minutes += w.Minutes(on, r.Setup)
		on = r.Setup
	}
	spare := 0.
	if d.Spread.DF == 0 && worth.DF < 3 {
		spare = 0.3 * float64(3-worth.DF) // too few spare runs: the spread stays unknown
	}
	return math.Log(sum/whole) + minuteWorth*minutes + spare
}

// Replan orders the runs that are still planned anew, for the least spanner
// time and the most proof together with what was driven already. left is how
// many runs there is time for; below 0 as many as are planned. It reports
// whether anything changed: a plan that is as good is left alone.
func (d *Day) Replan(w *Work, left int) (changed bool, err error) {
	first := d.Next()
	rest := d.Runs[first:]
	if left >= 0 && left != len(rest) {
		if first+left > MaxRuns {
			return false, fmt.Errorf("a day holds at most %d runs; %d are gone already", MaxRuns, first)
		}
		tyres := 1
		if first > 0 {
			tyres = d.Runs[first-1].Tyres
		}
		for len(rest) < left {
			if len(rest) > 0 {
				tyres = rest[len(rest)-1].Tyres
			}
			rest = append(rest, Run{State: Planned, Tyres: tyres})
		}
		d.Runs = append(d.Runs[:first:first], rest[:left]...)
		rest, changed = d.Runs[first:], true
	}
	if len(rest) == 0 {
		return changed, nil
	}
	allowed := d.allowed(w)
	was := d.order(first)
	best, bestCost := was, d.cost(w, first)
	if !changed {
		bestCost -= 0.02 // to be worth confusing everybody
	}
	consider := func(o Order) {
		d.arrange(first, o)
		d.exchange(w, first, allowed)
		if c := d.cost(w, first); c < bestCost-1e-9 {
			best, bestCost = d.order(first), c
		}
	}
	consider(was)
	for _, s := range schemes(len(d.Changes), len(rest)+1) {
		if s.together && !d.together() {
			continue
		}
		for _, skip := range []int{0, 1, max(0, len(s.order)-len(rest))} {
			o := make(Order, len(rest))
			for i := range o {
				o[i] = s.order[(skip+i)%len(s.order)]
			}
			consider(o)
		}
	}
	d.arrange(first, best)
	for i := range was {
		changed = changed || was[i] != best[i]
	}
	return changed, nil
}

// together reports whether the day has runs with several changes on.
func (d *Day) together() bool {
	for _, r := range d.Runs {
		if r.Setup&(r.Setup-1) != 0 {
			return true
		}
	}
	return false
}

// allowed lists the setups that the rest may use: the base, each change, and
// those with several on if the day has such.
func (d *Day) allowed(w *Work) []Setup {
	out := []Setup{0}
	for s := Setup(1); s < 1<<len(d.Changes); s++ {
		if s&(s-1) != 0 && !d.together() {
			continue
		}
		if math.IsInf(w.Minutes(0, s), 1) {
			continue
		}
		out = append(out, s)
	}
	return out
}

func (d *Day) order(first int) Order {
	var o Order
	for _, r := range d.Runs[first:] {
		o = append(o, r.Setup)
	}
	return o
}

func (d *Day) arrange(first int, o Order) {
	for i, s := range o {
		d.Runs[first+i].Setup = s
	}
}

// exchange improves the rest by changing one run, or swapping two, at a time
// until that no longer helps.
func (d *Day) exchange(w *Work, first int, allowed []Setup) {
	cost := d.cost(w, first)
	rest := d.Runs[first:]
	better := func() bool {
		if c := d.cost(w, first); c < cost-1e-9 {
			cost = c
			return true
		}
		return false
	}
	for range 4 {
		moved := false
		for i := range rest {
			for _, s := range allowed {
				was := rest[i].Setup
				if rest[i].Setup = s; better() {
					moved = true
				} else {
					rest[i].Setup = was
				}
			}
			for j := i + 1; j < len(rest); j++ {
				rest[i].Setup, rest[j].Setup = rest[j].Setup, rest[i].Setup
				if better() {
					moved = true
				} else {
					rest[i].Setup, rest[j].Setup = rest[j].Setup, rest[i].Setup
				}
			}
		}
		if !moved {
			return
		}
	}
}

// TakeBack makes the last run that is not planned planned again, as if nothing
// had been recorded of it. The setups stay as they are.
func (d *Day) TakeBack() {
	i := d.Next() - 1
	if i < 0 {
		return
	}
	if d.Runs[i].State == Rain && i+1 < len(d.Runs) {
		d.Runs[i+1].Break = false
	}
	r := &d.Runs[i]
	*r = Run{Setup: r.Setup, State: Planned, Tyres: r.Tyres, Break: r.Break}
}

// NewTyres puts the runs from index i on another set.
func (d *Day) NewTyres(i int) {
	set := 1
	for _, r := range d.Runs[:i] {
		set = max(set, r.Tyres+1)
	}
	for ; i < len(d.Runs); i++ {
		d.Runs[i].Tyres = set
	}
}
