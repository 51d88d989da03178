package testday

import (
	"fmt"
	"math"
	"strings"
	"unicode"
	"unicode/utf8"

	"kartwright/advisor"
)

func capital(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 {
		return s
	}
	return string(unicode.ToUpper(r)) + s[n:]
}

// Fair is what has to be alike in all runs of a day.
const Fair = "Same driver, pressures, fuel and number of laps in every run, about eight laps that count; the driver says better, same or worse before he sees the clock."

// Names lists the day's changes.
func (d *Day) Names() []string {
	var out []string
	for _, c := range d.Changes {
		out = append(out, c.Name)
	}
	return out
}

// About says what the plan is for and what it rests on.
func (p *Plan) About() []string {
	d := p.Day
	out := []string{"To try: " + strings.Join(d.Names(), "; ") + "."}
	switch {
	case d.Spread.DF > 0:
		out = append(out, fmt.Sprintf("Usual spread between runs: %.3f s, from %d spare runs.", d.Spread.SD, d.Spread.DF))
	case d.Spread.SD != UsualSpread:
		out = append(out, fmt.Sprintf("Spread between runs, as you say: %.3f s (a guess: the plan's own spare runs must confirm it).", d.Spread.SD))
	default:
		out = append(out, fmt.Sprintf("Spread between runs: not known, %.2f s assumed. The runs of an earlier day would make every plan prove more.", d.Spread.SD))
	}
	if d.Smallest > 0 {
		out = append(out, fmt.Sprintf("What matters: %.2f s a lap.", d.Smallest))
	}
	return out
}

// Promise says what the plan that was taken can show, and what it cannot.
func (p *Plan) Promise() []string {
	d, o := p.Day, p.Option()
	var out []string
	for j, c := range d.Changes {
		proof := o.Proof[j]
		if math.IsInf(proof.Half, 1) {
			out = append(out, c.Name+": nothing can be proved with this plan alone; it has no run to spare and no earlier spread to go by.")
			continue
		}
		out = append(out, fmt.Sprintf("With this spread, the plan can show %.2f s for %s (± %.2f s).", proof.Detect, c.Name, proof.Half))
	}
	if d.Smallest > 0 && o.Worst().Detect > d.Smallest {
		out = append(out, fmt.Sprintf("No more than that: %.2f s may go unnoticed. More runs, or a spread from earlier days, would help; more laps in a run hardly do.", d.Smallest))
	}
	if o.Worth.DF > 0 && !o.bends() {
		out = append(out, "If the drift bends (a wet track that dries, the first laps of the morning), this plan cannot tell it from the changes.")
	}
	if p.Request.Apart != "" && len(d.Changes) > 1 {
		out = append(out, "Plans with several changes on at once are left out: "+p.Request.Apart+".")
	}
	if o.Longest > d.Gap && d.Gap > 0 {
		out = append(out, fmt.Sprintf("The longest stop takes about %.0f min, the gap is %.0f min.", o.Longest, d.Gap))
	}
	return out
}

// Because says why the plan that was taken is as it is.
func (p *Plan) Because() string {
	return capital(p.Option().Why) + ". Order " + p.Option().Order.String() + " (0 is the base)."
}

// Remarks says what the kart makes of the setups of a sheet that was not asked
// for, each setup once.
func (w *Work) Remarks(sheet []RunSheet) []string {
	var out []string
	seen := map[Setup]bool{}
	for _, s := range sheet {
		if seen[s.Setup] {
			continue
		}
		seen[s.Setup] = true
		for _, n := range w.Notes(s.Setup) {
			out = append(out, w.Say(s.Setup)+": "+n+".")
		}
	}
	return out
}

// SayProof is "0.12 s", or that there is none.
func SayProof(v float64) string {
	if math.IsInf(v, 1) {
		return "no proof"
	}
	return fmt.Sprintf("%.2f s", v)
}

// Note says on what tyres a run is and how long it takes to get the kart ready.
func (s *RunSheet) Note() string {
	note := fmt.Sprintf("tyre set %d", s.Tyres)
	if s.NewSet {
		note = fmt.Sprintf("change to tyre set %d", s.Tyres)
	}
	if s.Minutes > 0 {
		note += fmt.Sprintf(", %.0f min", s.Minutes)
	}
	return note
}

// Safety is what goes with the work for the run, nil if there is none.
func (s *RunSheet) Safety() []string {
	if len(s.Turns) == 0 {
		return nil
	}
	return advisor.Safety()
}

// Outlook says of each change what the day will have told once the runs still
// planned are driven.
func (d *Day) Outlook() []string {
	worth := d.Expected()
	var out []string
	for j, c := range d.Changes {
		if math.IsInf(worth.Var[j], 1) {
			out = append(out, c.Name+": nothing; it cannot be told from drift any more. Time for more runs would mend it.")
			continue
		}
		p := Prove(worth.Var[j], worth.DF, d.Spread)
		if math.IsInf(p.Half, 1) {
			out = append(out, c.Name+": a difference, but no run is to spare to say how sure it is.")
			continue
		}
		out = append(out, fmt.Sprintf("%s: known to ± %.2f s; %.2f s would be shown.", c.Name, p.Half, p.Detect))
	}
	return out
}

// PlusMinus is the half width of an interval.
func (q Estimate) PlusMinus() string {
	if math.IsInf(q.Hi, 1) || math.IsNaN(q.Hi) {
		return "unknown"
	}
	return strings.TrimPrefix(Seconds(q.Hi-q.Value, 3), "+")
}

// More says what stands beside the verdict on a change: what else would be
// needed, the driver's words, and other ways to compare.
func (e *Effect) More() []string {
	var out []string
	for _, more := range []string{e.Detail, e.FeelText} {
		if more != "" {
			out = append(out, strings.TrimSuffix(capital(more), ".")+".")
		}
	}
	if e.Pairs != nil {
		out = append(out, fmt.Sprintf("Neighbouring runs compared by rank: %s (%s to %s).", Seconds(e.Pairs.Estimate, 2), Seconds(e.Pairs.Interval.Lo, 2), Seconds(e.Pairs.Interval.Hi, 2)))
	}
	if !math.IsNaN(e.Naive) && e.Outcome != NeverRun {
		out = append(out, fmt.Sprintf("The first run with it against the run before it says %s, drift and all.", Seconds(e.Naive, 2)))
	}
	return out
}

// LapsKept is "5 of 7", "-" for a run without laps.
func (q *RunResult) LapsKept(r Run) string {
	if len(r.Laps) == 0 {
		return "-"
	}
	return fmt.Sprintf("%d of %d", len(q.Summary.Kept), len(r.Laps))
}

// Words are the driver's on a run: better “bites at last”.
func (r *Run) Words() string {
	says := r.Says
	if says != "" {
		says = "“" + says + "”"
	}
	return strings.TrimSpace(string(r.Feel) + " " + says)
}

// Account says what drift was taken out and what the intervals rest on.
func (v *Verdict) Account() []string {
	var out []string
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if v.Trend > NoTrend && !math.IsNaN(v.Drift.Value) {
		say("Drift %s a run (± %s); the base at mid-day %.3f s.", Seconds(v.Drift.Value, 3), v.Drift.PlusMinus(), v.Base.Value)
	}
	if v.Trend == Quadratic && !math.IsNaN(v.Bend.Value) {
		say("It bends by %s a run squared (± %s).", Seconds(v.Bend.Value, 4), v.Bend.PlusMinus())
	}
	for _, s := range v.Steps {
		say("%s: %s (± %s).", capital(s.Name), Seconds(s.Value, 3), s.PlusMinus())
	}
	if text := v.Separate.Text; text != "" {
		say("%s.", strings.TrimSuffix(capital(text), "."))
	}
	switch {
	case v.Pooled.DF == 0:
		say("No run is to spare, so nothing says how far runs differ by themselves.")
	case v.Pooled.DF > v.DF:
		say("Spread between runs %.3f s, from %d spare runs of today and %d of earlier days.", v.Pooled.SD, v.DF, v.Pooled.DF-v.DF)
	default:
		say("Spread between runs %.3f s, from %d spare runs of today.", v.Pooled.SD, v.DF)
	}
	if v.LapSD > 0 {
		text := fmt.Sprintf("Spread between the laps of a run %.3f s", v.LapSD)
		if laps, worth := v.IndependentLaps(); laps > 0 {
			text += fmt.Sprintf(": a run's %.0f laps tell as much as %.1f independent ones would", laps, worth)
		}
		say("%s.", text)
	}
	return out
}
