package testday

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat/distuv"

	"kartwright/geometry/fit"
)

// Estimate is a number with its 95 % interval, seconds.
type Estimate struct {
	Value, SE, Lo, Hi float64
}

func (q Estimate) finite() bool { return !math.IsInf(q.SE, 0) && !math.IsNaN(q.SE) }

// Outcome is what a verdict says of a change.
type Outcome string

// The outcomes. With an effect that matters of 0, Quicker and Slower only say
// which way.
const (
	Quicker    Outcome = "quicker"              // by at least what matters
	Slower     Outcome = "slower"               // by at least what matters
	NoMatter   Outcome = "no difference"        // that matters, either way
	CannotTell Outcome = "cannot tell"          // the interval straddles the effect that matters
	NotTested  Outcome = "not separable"        // from drift, or from the other changes
	NoSpread   Outcome = "no spread to go by"   // too few runs, and none from earlier days
	NeverRun   Outcome = "not driven, or alone" // no run with it, or none without
)

// Effect is the verdict on one change.
type Effect struct {
	Change  int
	Outcome Outcome
	Estimate
	P      float64 // probability of as large an effect either way, were there none
	Runs   [2]int  // without, with
	Text   string  // the verdict in a sentence
	Detail string  // what more would be needed, or what the interval does say

	// The driver's words.
	Feel     map[Feel]int
	FeelText string
	// Neighbours is the mean of each run with the change minus its two
	// neighbours' mean, where both are without: drift taken out by eye. NaN if
	// there is none.
	Neighbours float64
	// Pairs is the rank test of neighbouring runs, with and without, where
	// there are six pairs or more: no bell-shaped spread is taken for granted.
	// Drift is taken out only as far as with comes as often first as second.
	Pairs *Exact
	// Naive is what comparing the first run without the change with the last
	// run with it would have said.
	Naive float64
}

// RunResult is one run in the verdict.
type RunResult struct {
	Run      int // index
	Used     bool
	Why      string // it is not used
	Summary  Summary
	Value    float64 // the run's figure
	Fitted   float64 // by the model
	Residual float64
	Odd      bool // far from what the other runs say
	Weight   float64
}

// Separation is the day's drift split into the track's part and the tyres'.
type Separation struct {
	OK           bool
	Text         string
	Track, Tyres Estimate // seconds a run; Tyres for the laps of a usual run
	Inflation    float64  // by how much each is less certain than if the other were known; variance
}

// Verdict is what a day told.
type Verdict struct {
	Trend   Trend // that was taken out
	Runs    []RunResult
	Effects []Effect
	Base    Estimate // the base at mid-day
	MidDay  float64  // its time, as a run's index
	Drift   Estimate // a run
	Bend    Estimate // a run²; only for a quadratic trend
	// Steps are the jumps at a break or with other tyres.
	Steps []NamedEstimate
	// S is today's spread between runs and DF its spare runs; Pooled is what
	// the intervals rest on.
	S        float64
	DF       int
	RSS      float64
	Pooled   Spread
	T        float64 // quantile behind the intervals
	LapSD    float64 // spread between laps of a run, pooled
	Separate Separation
	Finished bool // no run is planned any more
	Notes    []string
}

// NamedEstimate is an estimate with its name.
type NamedEstimate struct {
	Name string
	Estimate
}

// ErrNothingDriven is returned for a day without a usable run.
var ErrNothingDriven = errors.New("no run has been driven yet; record one with its lap times first")

// Judge works out what the day told, with the spread of earlier days pooled in
// if it is founded on any.
func (d *Day) Judge() (*Verdict, error) {
	v, slots := d.collect()
	if len(slots) == 0 {
		return nil, ErrNothingDriven
	}
	if err := v.fit(d, slots); err != nil {
		return nil, err
	}
	v.separate(d, slots)
	v.remark(d)
	return v, nil
}

// collect sums up the runs and lists those that count.
func (d *Day) collect() (*Verdict, []slot) {
	v := &Verdict{Trend: d.Trend, Finished: d.Next() == len(d.Runs)}
	block := 0
	var slots []slot
	for i, r := range d.Runs {
		if r.Break {
			block++
		}
		if r.State == Planned {
			continue
		}
		q := RunResult{Run: i, Weight: 1}
		switch {
		case r.State != Done:
			q.Why = string(r.State)
			if r.Why != "" {
				q.Why += ": " + r.Why
			}
		case len(r.Laps) > 0:
			s, err := Summarise(r.Laps, d.Figure)
			if err != nil {
				q.Why = err.Error()
				v.note("run %d: %v", i+1, err)
				break
			}
			q.Used, q.Summary, q.Value = true, s, s.Value
			for _, doubt := range s.Doubts {
				v.note("run %d: %s", i+1, doubt)
			}
		default:
			q.Used, q.Value = true, r.Value
		}
		if q.Used {
			slots = append(slots, slot{time: float64(i), setup: r.Setup, tyres: r.Tyres - 1, block: block})
		}
		v.Runs = append(v.Runs, q)
	}
	v.weigh(d, slots)
	return v, slots
}

func (v *Verdict) note(format string, args ...any) {
	v.Notes = append(v.Notes, fmt.Sprintf(format, args...))
}

// used calls f for each run that counts.
func (v *Verdict) used(f func(i int, q *RunResult)) {
	n := 0
	for k := range v.Runs {
		if v.Runs[k].Used {
			f(n, &v.Runs[k])
			n++
		}
	}
}

// weigh gives runs with far fewer laps than the others less weight: the
// variance of a run's figure is that between runs and that between laps over
// their number.
func (v *Verdict) weigh(d *Day, slots []slot) {
	var sum, laps float64
	least, most := math.Inf(1), 0.
	v.used(func(_ int, q *RunResult) {
		n := float64(len(q.Summary.Kept))
		least, most = min(least, n), max(most, n)
		if q.Summary.Spread > 0 {
			sum += float64(n * q.Summary.Spread * q.Summary.Spread)
			laps += n
		}
	})
	if laps > 0 {
		v.LapSD = math.Sqrt(sum / laps)
	}
	if least == 0 || most <= 2*least || v.LapSD == 0 {
		return
	}
	lap := v.LapSD * v.LapSD
	between := math.Sqrt(max(d.Spread.SD*d.Spread.SD-lap/most, 0.1*lap))
	scale := RunSD(between, v.LapSD, int(most))
	v.used(func(i int, q *RunResult) {
		q.Weight = scale / RunSD(between, v.LapSD, len(q.Summary.Kept))
		slots[i].weight = q.Weight
	})
	v.note("the runs have from %g to %g laps that count: runs with few weigh less", least, most)
}

// fit estimates everything that the runs can tell.
func (v *Verdict) fit(d *Day, slots []slot) error {
	k := len(d.Changes)
	m := newModel(slots, k, v.Trend)
	worth := m.worth()
	v.MidDay = m.mean
	keep := make([]int, 0, len(m.cols))
	var basis [][]float64
	for j, c := range m.cols {
		r, size := project(c, basis)
		if size == 0 {
			continue
		}
		for i := range r {
			r[i] /= math.Sqrt(size)
		}
		basis, keep = append(basis, r), append(keep, j)
	}
	lin := fit.Linear{X: make([][]float64, len(slots)), Y: make([]float64, len(slots)), SD: make([]float64, len(slots))}
	for _, j := range keep {
		lin.Names = append(lin.Names, m.names[j])
	}
	v.used(func(i int, q *RunResult) {
		for _, j := range keep {
			lin.X[i] = append(lin.X[i], m.cols[j][i])
		}
		lin.Y[i], lin.SD[i] = q.Value*q.Weight, 1
	})
	line, err := lin.Solve()
	if err != nil {
		return fmt.Errorf("the runs cannot be fitted: %w", err)
	}
	v.DF, v.RSS = len(slots)-len(keep), line.RSS
	if v.DF > 0 {
		v.S = math.Sqrt(v.RSS / float64(v.DF))
	}
	v.Pooled = Spread{DF: v.DF, SD: v.S}
	if d.Spread.DF > 0 {
		prior := float64(d.Spread.DF) * d.Spread.SD * d.Spread.SD
		v.Pooled.DF += d.Spread.DF
		v.Pooled.SD = math.Sqrt((v.RSS + prior) / float64(v.Pooled.DF))
		if v.DF > 0 {
			f := distuv.F{D1: float64(v.DF), D2: float64(d.Spread.DF)}
			if p := 1 - f.CDF(v.S*v.S/(d.Spread.SD*d.Spread.SD)); p < 0.01 {
				v.note("today the runs scatter %.1f times as much as on earlier days: look for the reason before trusting the verdict", v.S/d.Spread.SD)
			}
		}
	}
	// Runs that fit to the last digit agree by chance, not because they are
	// better known than a clock of hundredths can tell.
	v.Pooled.SD = max(v.Pooled.SD, 0.01/math.Sqrt(12))
	v.T = quantile(0.975, v.Pooled.DF)
	estimate := func(j int) Estimate {
		at := slices.Index(keep, j)
		if at < 0 || left(m.cols, j) == 0 {
			return Estimate{Value: math.NaN(), SE: math.Inf(1), Lo: math.Inf(-1), Hi: math.Inf(1)}
		}
		q := Estimate{Value: line.Value[at], SE: line.SD[at] * v.Pooled.SD}
		if v.Pooled.DF < 1 {
			q.SE = math.Inf(1)
		}
		q.Lo, q.Hi = q.Value-v.T*q.SE, q.Value+v.T*q.SE
		if math.IsInf(v.T, 1) {
			q.Lo, q.Hi = math.Inf(-1), math.Inf(1)
		}
		return q
	}
	v.Base = estimate(0)
	if v.Trend >= Linear {
		v.Drift = estimate(1)
	}
	if v.Trend >= Quadratic {
		v.Bend = estimate(2)
	}
	for j := m.first - m.steps; j < m.first; j++ {
		v.Steps = append(v.Steps, NamedEstimate{m.names[j], estimate(j)})
	}
	v.used(func(i int, q *RunResult) {
		q.Fitted = line.Rows[i].Predicted / q.Weight
		q.Residual = q.Value - q.Fitted
	})
	v.findOdd(line)
	for j := range d.Changes {
		e := Effect{Change: j, Estimate: estimate(m.first + j), P: math.NaN(), Neighbours: v.neighbours(d, j), Naive: v.naive(d, j), Feel: map[Feel]int{}}
		for _, s := range slots {
			e.Runs[s.setup>>j&1]++
		}
		v.decide(&e, d, worth)
		if p := v.pairs(d, j); len(p) >= 6 {
			x := SignedRank(p, 0.95)
			e.Pairs = &x
		}
		v.hear(&e, d)
		v.Effects = append(v.Effects, e)
	}
	return nil
}

// findOdd marks runs that lie far from what the other runs say, by their
// residual over its own spread with that run left out, at a level of 1 % over
// all runs.
func (v *Verdict) findOdd(line *fit.Line) {
	if v.DF < 2 {
		return
	}
	limit := quantile(1-0.005/float64(len(line.Rows)), v.DF-1)
	v.used(func(i int, q *RunResult) {
		spare := 1 - line.Rows[i].Leverage
		if spare < 1e-9 {
			return
		}
		r := q.Residual * q.Weight
		others := (v.RSS - float64(r*r)/spare) / float64(v.DF-1)
		if q.Odd = r*r > limit*limit*max(others, 1e-12)*spare && math.Abs(r) > 0.001; q.Odd {
			v.note("run %d is %+.2f s off what the other runs say: was anything different in it?", q.Run+1, q.Residual)
		}
	})
}

// decide turns an effect's interval into a verdict.
func (v *Verdict) decide(e *Effect, d *Day, worth Worth) {
	name := d.Changes[e.Change].Name
	bad := func(o Outcome, format string, args ...any) {
		e.Outcome, e.Text = o, fmt.Sprintf(format, args...)
		if o != NoSpread {
			e.Estimate = Estimate{Value: math.NaN(), SE: math.Inf(1), Lo: math.Inf(-1), Hi: math.Inf(1)}
		}
	}
	switch {
	case e.Runs[1] == 0:
		bad(NeverRun, "%s: no run with it yet", name)
		return
	case e.Runs[0] == 0:
		bad(NeverRun, "%s: it was on in every run; there is no run without it to compare with", name)
		return
	case math.IsInf(worth.Var[e.Change], 1):
		bad(NotTested, "%s: cannot be told from %s; go back to what was there before, and judge again", name, v.confused(d))
		return
	case v.Pooled.DF < 1:
		bad(NoSpread, "%s: %s in the runs there are, but nothing says how far runs differ by themselves", name, Seconds(e.Value, 2))
		e.Detail = "one more run, or the spread of an earlier day, and there is an interval"
		return
	}
	e.P = 2 * (distuv.StudentsT{Sigma: 1, Nu: float64(v.Pooled.DF)}.Survival(math.Abs(e.Value / e.SE)))
	delta := d.Smallest
	interval := fmt.Sprintf("%s (95 %%: %s to %s)", Seconds(e.Value, 2), Seconds(e.Lo, 2), Seconds(e.Hi, 2))
	switch {
	case e.Hi <= -delta && e.Hi < 0:
		e.Outcome, e.Text = Quicker, name+": quicker, "+interval
	case e.Lo >= delta && e.Lo > 0:
		e.Outcome, e.Text = Slower, name+": slower, "+interval
	case e.Lo > -delta && e.Hi < delta:
		e.Outcome, e.Text = NoMatter, fmt.Sprintf("%s: no difference that matters, %s", name, interval)
	default:
		e.Outcome, e.Text = CannotTell, name+": cannot tell, "+interval
		switch {
		case e.Hi < 0:
			e.Detail = fmt.Sprintf("quicker, but not for certain by the %.2f s that matters", delta)
		case e.Lo > 0:
			e.Detail = fmt.Sprintf("slower, but not for certain by the %.2f s that matters", delta)
		case v.DF < 3 && d.Spread.DF == 0:
			e.Detail = fmt.Sprintf("the spread itself is known from %s only; more runs, or an earlier day's spread, would narrow it most", count(v.DF, "spare run"))
		default:
			e.Detail = "no number of runs in a day would decide it: it is too near to what matters, or to nothing"
			if n := v.more(e, delta); n > 0 {
				e.Detail = fmt.Sprintf("about %s like these would decide it if the effect is what it seems", count(n, "more run"))
			}
		}
	}
}

// more is about how many further runs would take the interval clear of what
// matters, if the effect is what it seems; 0 if none within a season would.
func (v *Verdict) more(e *Effect, delta float64) int {
	n := e.Runs[0] + e.Runs[1]
	room := math.Abs(math.Abs(e.Value) - delta)
	for extra := 1; extra < 60; extra++ {
		if quantile(0.975, v.Pooled.DF+extra)*e.SE*math.Sqrt(float64(n)/float64(n+extra)) < room {
			return extra
		}
	}
	return 0
}

func (v *Verdict) confused(d *Day) string {
	if v.Trend > NoTrend {
		return "the drift of track and tyres"
	}
	if len(d.Changes) > 1 {
		return "the other changes"
	}
	return "the rest"
}

// neighbours averages y_i − (y_{i−1} + y_{i+1})/2 over the runs that differ
// from both of their neighbours by this change alone.
func (v *Verdict) neighbours(d *Day, j int) float64 {
	var sum float64
	n := 0
	for i := 1; i+1 < len(v.Runs); i++ {
		a, b, c := v.Runs[i-1], v.Runs[i], v.Runs[i+1]
		before, now, after := d.Runs[a.Run].Setup, d.Runs[b.Run].Setup, d.Runs[c.Run].Setup
		if !a.Used || !b.Used || !c.Used || before != after || before^now != 1<<j {
			continue
		}
		e := b.Value - (a.Value+c.Value)/2
		if !now.Has(j) {
			e = -e
		}
		sum += e
		n++
	}
	if n == 0 {
		return math.NaN()
	}
	return sum / float64(n)
}

// naive is the first run with the change minus the run before it.
func (v *Verdict) naive(d *Day, j int) float64 {
	before := math.NaN()
	for _, q := range v.Runs {
		if !q.Used {
			continue
		}
		if d.Runs[q.Run].Setup.Has(j) {
			return q.Value - before
		}
		before = q.Value
	}
	return math.NaN()
}

// usual is the sequential test that the driver's words are put to.
var usual = Sequential{P0: 0.5, P1: 0.75, Alpha: 0.05, Beta: 0.05}

// hear sets the driver's words beside the clock.
func (v *Verdict) hear(e *Effect, d *Day) {
	n := 0
	for _, r := range d.Runs {
		// A word on a run with several changes on is about all of them.
		if r.State == Done && r.Setup == 1<<e.Change && r.Feel != NoWord {
			e.Feel[r.Feel]++
			n++
		}
	}
	if n == 0 {
		return
	}
	var parts []string
	for _, f := range []Feel{Better, Same, Worse} {
		if e.Feel[f] > 0 {
			parts = append(parts, fmt.Sprintf("%s %d of %d", f, e.Feel[f], n))
		}
	}
	e.FeelText = "driver: " + strings.Join(parts, ", ")
	if most, least := max(e.Feel[Better], e.Feel[Worse]), min(e.Feel[Better], e.Feel[Worse]); most > 0 {
		e.FeelText += fmt.Sprintf(" (by luck alone %.0f %%", 100*SignTest(most, most+least))
		if _, said := usual.After(most, least); said == TakeP1 {
			e.FeelText += ", enough to go by although he was asked after every run"
		}
		e.FeelText += ")"
	}
	switch {
	case e.Outcome == Quicker && e.Feel[Worse] > e.Feel[Better]:
		e.FeelText += "; the clock says the opposite: a kart that is quicker and feels worse tires its driver or its tyres, so watch the end of a long run"
	case e.Outcome == Slower && e.Feel[Better] > e.Feel[Worse]:
		e.FeelText += "; the clock says the opposite: it is easier to drive, not quicker"
	}
}

// maxInflation is the variance inflation above which track and tyres are not
// told apart.
const maxInflation = 10

// separate splits the drift into track and tyres where a change of tyres
// makes that possible.
func (v *Verdict) separate(d *Day, slots []slot) {
	total := "only their sum is known"
	if v.Drift.SE > 0 && v.Drift.finite() {
		total = fmt.Sprintf("only their sum, %s a run, is known", Seconds(v.Drift.Value, 3))
	}
	s := &v.Separate
	age, alike := d.tyreAge()
	plain := slices.Clone(slots)
	sets := map[int]bool{}
	for i := range plain {
		sets[plain[i].tyres] = true
		plain[i].tyres = 0
	}
	if len(sets) < 2 && alike {
		s.Text = "the track's change and the tyres' wear cannot be told apart: all runs were on one set and alike long, so both grow with the run number; " + total
		return
	}
	m := newModel(plain, len(d.Changes), Linear)
	column := make([]float64, len(slots))
	v.used(func(i int, q *RunResult) { column[i] = age[q.Run] * q.Weight })
	cols := append([][]float64{m.cols[0], m.cols[1], column}, m.cols[2:]...)
	names := append([]string{"base", "track", "tyres"}, m.names[2:]...)
	inflation := func(j int) float64 { return left([][]float64{cols[0], cols[j]}, 1) / left(cols, j) }
	s.Inflation = max(inflation(1), inflation(2))
	rank := model{cols: cols}.rank()
	if math.IsInf(s.Inflation, 1) || math.IsNaN(s.Inflation) || s.Inflation > maxInflation || len(slots)-rank < 1 || rank < len(cols) {
		s.Text = "the track's change and the tyres' wear can hardly be told apart: the tyres' age went too much with the time of day; " + total
		return
	}
	lin := fit.Linear{Names: names, X: make([][]float64, len(slots)), Y: make([]float64, len(slots))}
	v.used(func(i int, q *RunResult) {
		for _, c := range cols {
			lin.X[i] = append(lin.X[i], c[i])
		}
		lin.Y[i] = q.Value * q.Weight
	})
	line, err := lin.Solve()
	if err != nil {
		s.Text = "the track's change and the tyres' wear cannot be told apart: " + err.Error()
		return
	}
	t := quantile(0.975, line.DF)
	take := func(j int) Estimate {
		return Estimate{line.Value[j], line.SD[j], line.Value[j] - t*line.SD[j], line.Value[j] + t*line.SD[j]}
	}
	s.OK, s.Track, s.Tyres = true, take(1), take(2)
	s.Text = fmt.Sprintf("if the tyre sets are alike: the track %s a run (%s to %s), the tyres %s a run (%s to %s)",
		Seconds(s.Track.Value, 3), Seconds(s.Track.Lo, 3), Seconds(s.Track.Hi, 3), Seconds(s.Tyres.Value, 3), Seconds(s.Tyres.Lo, 3), Seconds(s.Tyres.Hi, 3))
}

// tyreAge is how far the tyres were gone at the start of each run, in runs of
// mean length, and whether all runs that used them were alike long.
func (d *Day) tyreAge() (age []float64, alike bool) {
	laps, runs, first, timed := 0, 0, 0, true
	alike = true
	for _, r := range d.Runs {
		if r.State != Done {
			continue
		}
		n := len(r.Laps)
		if runs == 0 {
			first = n
		}
		timed = timed && n > 0
		alike = alike && n == first
		laps, runs = laps+n, runs+1
	}
	seen := map[int]float64{}
	for _, r := range d.Runs {
		age = append(age, seen[r.Tyres])
		switch {
		case r.State == Done && timed:
			seen[r.Tyres] += float64(len(r.Laps)) * float64(runs) / float64(laps)
		case r.State == Done, r.State == Rain:
			seen[r.Tyres]++
		}
	}
	return age, alike || !timed
}

// remark adds what else should be said of the day.
func (v *Verdict) remark(d *Day) {
	if !v.Finished {
		v.note("the plan is not finished: looking after every run, and stopping when it looks good, finds differences that are not there; decide at the end")
	}
	v.beforeAndAfter()
	if v.Trend == NoTrend {
		v.note("drift is not taken out: every verdict takes for granted that track and tyres stayed as they were")
	}
	if v.Trend == Linear && v.DF >= 3 {
		if bent := v.bends(d); bent < 0.05 {
			v.note("the drift seems to bend (p %.3f); judge again with a quadratic trend", bent)
		}
	}
	told := 0
	for _, e := range v.Effects {
		if e.finite() {
			told++
		}
	}
	if told > 1 {
		v.note("each interval holds 19 times in 20 by itself; among %d changes one is wrong more often than that", told)
		if d.together() {
			v.note("the changes were on together: their effects are taken to add up")
		}
	}
}

// beforeAndAfter says of a day of two runs what their laps say, and what not.
func (v *Verdict) beforeAndAfter() {
	var two []Summary
	v.used(func(_ int, q *RunResult) { two = append(two, q.Summary) })
	if len(two) != 2 || len(two[0].Kept) < fewLaps || len(two[1].Kept) < fewLaps {
		return
	}
	x := RankSum(two[1].Kept, two[0].Kept, 0.95)
	v.note("lap against lap the second run differs from the first by %s (%s to %s); that is true of the two runs, drift and all, and need not be what was changed",
		Seconds(x.Estimate, 2), Seconds(x.Interval.Lo, 2), Seconds(x.Interval.Hi, 2))
}

// bends returns the probability that a drift looks as bent by chance.
func (v *Verdict) bends(d *Day) float64 {
	other := *d
	other.Trend = Quadratic
	q, slots := other.collect()
	if err := q.fit(&other, slots); err != nil || q.DF < 2 || !(q.Bend.SE > 0) || !q.Bend.finite() {
		return 1
	}
	return 2 * distuv.StudentsT{Sigma: 1, Nu: float64(q.Pooled.DF)}.Survival(math.Abs(q.Bend.Value/q.Bend.SE))
}

// Pool joins the spreads of several days: Σ RSS over Σ spare runs. Days without
// a spare run add nothing.
func Pool(days ...*Verdict) Spread {
	var rss float64
	var s Spread
	for _, v := range days {
		rss += v.RSS
		s.DF += v.DF
	}
	if s.DF > 0 {
		s.SD = math.Sqrt(rss / float64(s.DF))
	}
	return s
}

// Say is the verdict on the effect at an index, without the change's name; with
// the first that has a number it says which sign is which.
func (v *Verdict) Say(d *Day, i int) string {
	e := &v.Effects[i]
	text := strings.TrimPrefix(e.Text, d.Changes[e.Change].Name+": ")
	if first := slices.IndexFunc(v.Effects, func(x Effect) bool { return !math.IsNaN(x.Value) }); i != first {
		return text
	}
	number := Seconds(e.Value, 2)
	return strings.Replace(strings.Replace(text, number+" (", number+" (minus is quicker; ", 1), number+" in", number+" (minus is quicker) in", 1)
}

// Seconds writes a difference with its sign.
func Seconds(v float64, decimals int) string {
	switch {
	case math.IsNaN(v):
		return "unknown"
	case math.IsInf(v, 0):
		return "no limit"
	}
	text := fmt.Sprintf("%+.*f s", decimals, v)
	if strings.Trim(text, "+-0. s") == "" {
		return text[1:]
	}
	return text
}

// IndependentLaps returns how many laps that count a run has on average, and
// how many independent ones they are worth: laps of a run share its day, its
// tyres and its driver's mood. 0 if the laps are not known.
func (v *Verdict) IndependentLaps() (laps, worth float64) {
	n := 0
	v.used(func(_ int, q *RunResult) {
		if k := len(q.Summary.Kept); k > 0 {
			laps += float64(k)
			n++
		}
	})
	if n == 0 {
		return 0, 0
	}
	laps /= float64(n)
	if v.LapSD == 0 || v.Pooled.DF == 0 || laps < 1 {
		return 0, 0
	}
	between := max(0, v.Pooled.SD*v.Pooled.SD-v.LapSD*v.LapSD/laps)
	return laps, laps / DesignEffect(math.Sqrt(between), v.LapSD, int(math.Round(laps)))
}

// pairs are the differences, with the change minus without, of runs that
// follow each other and differ by this change alone, no run in two of them.
func (v *Verdict) pairs(d *Day, j int) []float64 {
	var out []float64
	for i := 0; i+1 < len(v.Runs); i++ {
		a, b := v.Runs[i], v.Runs[i+1]
		before, after := d.Runs[a.Run].Setup, d.Runs[b.Run].Setup
		if !a.Used || !b.Used || before^after != 1<<j {
			continue
		}
		diff := b.Value - a.Value
		if before.Has(j) {
			diff = -diff
		}
		out = append(out, diff)
		i++
	}
	return out
}
