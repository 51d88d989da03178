package testday

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"

	"gonum.org/v1/gonum/stat/distuv"
)

func itoa(n int) string { return strconv.Itoa(n) }

// Spread is how far runs on the same setting differ once drift is taken out:
// one standard deviation in seconds.
type Spread struct {
	SD float64
	// DF is how much the spread is founded on, the spare runs of earlier days.
	// 0 means that it is a guess, good for planning only.
	DF int
}

// UsualSpread is assumed where nobody has measured one (common practice for a
// steady club driver).
const UsualSpread = 0.06

// quantile is Student's t with df degrees of freedom; df < 1 gives +Inf.
func quantile(p float64, df int) float64 {
	if df < 1 {
		return math.Inf(1)
	}
	return distuv.StudentsT{Sigma: 1, Nu: float64(df)}.Quantile(p)
}

// Proof is what a plan is expected to show of one change.
type Proof struct {
	Half   float64 // half width of the 95 % interval, seconds
	Detect float64 // an effect of this size is shown four times in five
}

// Prove works out the proof of an effect whose variance is given in units of a
// run's, with df spare runs.
func Prove(variance float64, df int, s Spread) Proof {
	df += s.DF
	se := s.SD * math.Sqrt(variance)
	return Proof{quantile(0.975, df) * se, (quantile(0.975, df) + quantile(0.8, df)) * se}
}

// Request says what a plan is wanted for.
type Request struct {
	Changes  int
	Runs     int     // at most
	Smallest float64 // effect that matters, seconds; 0 if not said
	Trend    Trend
	Spread   Spread
	Tyres    int       // sets, used up one after the other; 0 means 1
	Weight   []float64 // how much each change matters; nil for all alike
	// Minutes is the spanner time from one setup to another; nil counts one
	// for every change put on or taken off.
	Minutes func(from, to Setup) float64
	// Apart says why changes cannot be on the kart together; empty if they can.
	Apart string
}

// Option is one way to run the day.
type Option struct {
	Name, Why string
	Order     Order
	Minutes   float64 // spanner time over the day
	Longest   float64 // spanner time before one run, the most
	Steps     int     // changes put on or taken off
	Worth     Worth
	Bent      Worth // if the drift bends
	Factor    float64
	Proof     []Proof // of each change
}

// Worst is the weakest proof of the option's changes.
func (o *Option) Worst() Proof {
	return slices.MaxFunc(o.Proof, func(a, b Proof) int { return cmp.Compare(a.Half, b.Half) })
}

// bends reports whether every change can be told from a drift that bends.
func (o *Option) bends() bool {
	return !slices.ContainsFunc(o.Bent.Var, func(v float64) bool { return math.IsInf(v, 1) })
}

// Options returns the plans worth choosing between, least work first: of each
// remaining plan none other has as few runs, as few minutes and as much proof.
// best is the one to take: the least work that shows the effect that matters,
// or else the least that comes within 5 % of the most proof.
func Options(r Request) (list []Option, best int, err error) {
	if err := r.check(); err != nil {
		return nil, 0, err
	}
	for _, s := range schemes(r.Changes, r.Runs) {
		if s.together && r.Apart != "" {
			continue
		}
		list = append(list, r.arrange(s))
	}
	list = slices.DeleteFunc(list, func(o Option) bool {
		return slices.ContainsFunc(o.Worth.Var, func(v float64) bool { return math.IsInf(v, 1) })
	})
	if len(list) == 0 {
		least := 2*r.Changes + 1
		return nil, 0, fieldf("runs", "%d runs are too few for %s: going back to the base after each takes %d, and without that drift cannot be told from the change", r.Runs, count(r.Changes, "change"), least)
	}
	list = pareto(list)
	slices.SortStableFunc(list, func(x, y Option) int {
		return cmp.Or(cmp.Compare(len(x.Order), len(y.Order)), cmp.Compare(x.Minutes, y.Minutes))
	})
	most := slices.MinFunc(list, func(x, y Option) int { return cmp.Compare(x.Worst().Half, y.Worst().Half) })
	for i := range list {
		if r.Smallest > 0 && list[i].Worst().Detect <= r.Smallest {
			return list, i, nil
		}
	}
	best = slices.IndexFunc(list, func(o Option) bool { return o.Worst().Half <= 1.05*most.Worst().Half })
	return list, best, nil
}

func (r *Request) check() error {
	switch {
	case r.Changes < 1:
		return fmt.Errorf("there is no change to try; a plan needs a base and at least one change")
	case r.Changes > MaxChanges:
		return fmt.Errorf("%d changes are too many for a day; take the %d that matter most", r.Changes, MaxChanges)
	case r.Runs > MaxRuns:
		return fieldf("runs", "%d runs are more than the %d that a day holds", r.Runs, MaxRuns)
	case r.Runs < 3:
		return fieldf("runs", "%s too few: base, change and base again take three, and without the second base run drift cannot be told from the change", map[bool]string{true: "1 run is", false: itoa(r.Runs) + " runs are"}[r.Runs == 1])
	case !(r.Spread.SD > 0) || math.IsInf(r.Spread.SD, 1):
		return fmt.Errorf("the spread between runs must be a time above 0 s, not %v s", r.Spread.SD)
	case r.Tyres < 0 || r.Tyres > max(1, r.Runs/2):
		return fieldf("tyre-sets", "%d tyre sets are not for %s: a set needs at least two, or it tells nothing", r.Tyres, count(r.Runs, "run"))
	case r.Weight != nil && len(r.Weight) != r.Changes:
		return fmt.Errorf("%d weights for %d changes", len(r.Weight), r.Changes)
	}
	return nil
}

func count(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return itoa(n) + " " + thing + "s"
}

func (r *Request) minutes(from, to Setup) float64 {
	if r.Minutes == nil {
		return float64(from.Steps(to))
	}
	return r.Minutes(from, to)
}

// arrange gives the changes their places in a scheme: those with the fewest
// spanner minutes, then those in which what matters most is best known, also
// if the drift bends.
func (r *Request) arrange(s scheme) Option {
	var best Option
	bestCost := []float64{math.Inf(1)}
	permutations(r.Changes, func(place []int) {
		o := Option{Name: s.name, Why: s.why, Order: s.order.permuted(place)}
		for i := 1; i < len(o.Order); i++ {
			m := r.minutes(o.Order[i-1], o.Order[i])
			o.Minutes += m
			o.Longest = max(o.Longest, m)
		}
		cost := []float64{math.Round(o.Minutes * 1000), 0, 0}
		o.Worth = o.Order.assess(r.Changes, r.Trend, r.Tyres)
		for j, v := range o.Worth.Var {
			cost[1] += r.weight(j) * v
			q := float64(o.Order.TimeCount(j, 2))
			cost[2] += r.weight(j) * q * q
		}
		cost[1] = math.Round(cost[1] * 1e9)
		if slices.Compare(cost, bestCost) < 0 {
			best, bestCost = o, cost
		}
	})
	best.Steps, best.Bent, best.Factor = best.Order.Steps(), best.Order.assess(r.Changes, Quadratic, r.Tyres), best.Order.TrendFactor(r.Changes)
	for _, v := range best.Worth.Var {
		best.Proof = append(best.Proof, Prove(v, best.Worth.DF, r.Spread))
	}
	return best
}

func (r *Request) weight(j int) float64 {
	if r.Weight == nil {
		return 1
	}
	return r.Weight[j]
}

// permuted puts change place[j] where the order has change j.
func (o Order) permuted(place []int) Order {
	out := make(Order, len(o))
	for i, s := range o {
		for j, p := range place {
			if s.Has(j) {
				out[i] |= 1 << p
			}
		}
	}
	return out
}

// permutations calls f with every order of 0…n−1, the natural one first.
func permutations(n int, f func([]int)) {
	p := make([]int, 0, n)
	used := make([]bool, n)
	var rec func()
	rec = func() {
		if len(p) == n {
			f(p)
			return
		}
		for i := range n {
			if !used[i] {
				used[i] = true
				p = append(p, i)
				rec()
				p = p[:len(p)-1]
				used[i] = false
			}
		}
	}
	rec()
}

// pareto drops every option that another one beats or equals in runs, minutes
// and proof at once, and in whether it stands a bent drift; of equals the first
// stays.
func pareto(list []Option) []Option {
	var out []Option
	for i := range list {
		x := &list[i]
		beaten := false
		for j := range list {
			y := &list[j]
			if x.bends() && !y.bends() {
				continue
			}
			if i == j || len(y.Order) > len(x.Order) || y.Minutes > x.Minutes+1e-9 || y.Worst().Half > x.Worst().Half*(1+1e-9) {
				continue
			}
			better := len(y.Order) < len(x.Order) || y.Minutes < x.Minutes-1e-9 || y.Worst().Half < x.Worst().Half*(1-1e-9)
			beaten = beaten || better || j < i
		}
		if !beaten {
			out = append(out, *x)
		}
	}
	return out
}

// Runs lists the runs of the option, all still planned.
func (o *Option) Runs(sets int) []Run {
	var out []Run
	for i, s := range o.Order {
		out = append(out, Run{Setup: s, State: Planned, Tyres: tyreSet(i, len(o.Order), sets)})
	}
	return out
}

// Given returns the option of an order that somebody wrote down.
func Given(r Request, o Order) (Option, error) {
	r.Runs = max(len(o), 3)
	if err := r.check(); err != nil {
		return Option{}, err
	}
	if err := o.check(r.Changes); err != nil {
		return Option{}, err
	}
	for _, s := range o {
		if s&(s-1) != 0 && r.Apart != "" {
			return Option{}, fmt.Errorf("the order has changes %v on together, but %s", s, r.Apart)
		}
	}
	out := Option{Name: "your own order", Why: "as given", Order: o, Steps: o.Steps(), Worth: o.assess(r.Changes, r.Trend, r.Tyres), Bent: o.assess(r.Changes, Quadratic, r.Tyres), Factor: o.TrendFactor(r.Changes)}
	for i := 1; i < len(o); i++ {
		m := r.minutes(o[i-1], o[i])
		out.Minutes += m
		out.Longest = max(out.Longest, m)
	}
	for j, v := range out.Worth.Var {
		if math.IsInf(v, 1) {
			return Option{}, fmt.Errorf("in the order %v change %d cannot be told from %s; come back to the base, or to the change, later in the day", o, j+1, map[bool]string{true: "drift", false: "the other changes"}[r.Trend > NoTrend])
		}
		out.Proof = append(out.Proof, Prove(v, out.Worth.DF, r.Spread))
	}
	return out, nil
}

// check refuses an order that can tell nothing.
func (o Order) check(k int) error {
	if len(o) < 3 {
		return fmt.Errorf("an order of %s is too short: base, change and base again take three", count(len(o), "run"))
	}
	for j := range k {
		on := 0
		for _, s := range o {
			if s.Has(j) {
				on++
			}
		}
		switch on {
		case 0:
			return fmt.Errorf("the order never has change %d on", j+1)
		case len(o):
			return fmt.Errorf("the order has change %d on in every run: there is no run without it to compare with", j+1)
		}
	}
	return nil
}

// RunSD is the standard deviation of the mean of n laps: run the spread between
// runs, lap that between the laps of one. More than about eight laps buy
// little; more runs do.
func RunSD(run, lap float64, n int) float64 {
	return math.Sqrt(float64(run*run) + float64(lap*lap)/float64(n))
}

// DesignEffect is by how much counting n laps of a run as independent
// overstates them: 1 + (n − 1)ρ with ρ = run²/(run² + lap²) (L. Kish 1965).
func DesignEffect(run, lap float64, n int) float64 {
	rho := run * run / (float64(run*run) + float64(lap*lap))
	return 1 + float64(n-1)*rho
}
