package cli

import (
	"fmt"
	"math"
	"strings"

	"kartwright/advisor/journal"
	"kartwright/advisor/testday"
)

// The JSON forms. Times are seconds; a number that is not known is left out.

type runJSON struct {
	Run     int           `json:"run"`
	Changes []int         `json:"changes" jsonschema_description:"numbers from 1; none: the base"`
	Name    string        `json:"name"`
	State   string        `json:"state"`
	Tyres   int           `json:"tyre_set"`
	Minutes float64       `json:"spanner_min"`
	Turns   []string      `json:"turns"`
	Check   []string      `json:"check"`
	Moves   []dayMoveJSON `json:"moves"`
}

type dayMoveJSON struct {
	Side        string  `json:"side"`
	Adjuster    string  `json:"adjuster"`
	From        float64 `json:"from"`
	To          float64 `json:"to"`
	Instruction string  `json:"instruction"`
}

type proofJSON struct {
	Change   string   `json:"change"`
	Half     *float64 `json:"half_width_s,omitempty" jsonschema_description:"half of the 95 % interval; missing if nothing can be proved"`
	Detect   *float64 `json:"can_show_s,omitempty" jsonschema_description:"the difference that is shown four times in five"`
	Variance *float64 `json:"variance_of_runs,omitempty" jsonschema_description:"of the effect, as a multiple of the variance between runs"`
}

type optionJSON struct {
	Name        string      `json:"name"`
	Why         string      `json:"why"`
	Order       string      `json:"order"`
	Runs        int         `json:"runs"`
	Steps       int         `json:"steps" jsonschema_description:"changes put on or taken off"`
	Minutes     float64     `json:"spanner_min"`
	Longest     float64     `json:"longest_stop_min"`
	DF          int         `json:"spare_runs"`
	TrendFactor float64     `json:"trend_factor" jsonschema_description:"how much of the proof a steady drift leaves, 0 to 1"`
	Proof       []proofJSON `json:"proof"`
}

type dayPlanJSON struct {
	Command  string       `json:"command"`
	Kart     string       `json:"kart"`
	Changes  []string     `json:"changes"`
	SpreadSD float64      `json:"spread_s"`
	SpreadDF int          `json:"spread_df"`
	Options  []optionJSON `json:"options"`
	Chosen   int          `json:"chosen" jsonschema_description:"place among the options, from 0"`
	Apart    string       `json:"not_together,omitempty" jsonschema_description:"why changes cannot be on at once"`
	Runs     []runJSON    `json:"runs"`
	Saved    string       `json:"saved,omitempty"`
}

// known returns nil for what JSON cannot say.
func known(v float64) *float64 {
	if math.IsInf(v, 0) || math.IsNaN(v) {
		return nil
	}
	r := round(v)
	return &r
}

func viewProof(d *testday.Day, w testday.Worth) []proofJSON {
	out := []proofJSON{}
	for j, c := range d.Changes {
		p := testday.Prove(w.Var[j], w.DF, d.Spread)
		out = append(out, proofJSON{c.Name, known(p.Half), known(p.Detect), known(w.Var[j])})
	}
	return out
}

func viewSheet(sheet []testday.RunSheet, a *app) []runJSON {
	out := []runJSON{}
	for _, s := range sheet {
		r := runJSON{s.Number, setupNumbers(s.Setup), s.Name, string(s.State), s.Tyres, round(s.Minutes), list(s.Turns), list(s.Check), []dayMoveJSON{}}
		if s.Plan != nil {
			for _, side := range s.Plan.Sides {
				for _, m := range side.Worth() {
					r.Moves = append(r.Moves, dayMoveJSON{side.Side.String(), m.Name, round(m.From), round(m.To), m.Adjuster.Move(m.From, m.To, a.units)})
				}
			}
		}
		out = append(out, r)
	}
	return out
}

func setupNumbers(s testday.Setup) []int {
	out := []int{}
	for j := range testday.MaxChanges {
		if s.Has(j) {
			out = append(out, j+1)
		}
	}
	return out
}

func viewDayPlan(p *testday.Plan, sheet []testday.RunSheet, saved string, a *app) dayPlanJSON {
	d := p.Day
	out := dayPlanJSON{Command: "day plan", Kart: d.Kart, Changes: d.Names(), SpreadSD: round(d.Spread.SD), SpreadDF: d.Spread.DF, Chosen: p.Chosen, Apart: p.Request.Apart, Runs: viewSheet(sheet, a), Saved: saved}
	for _, x := range p.Options {
		out.Options = append(out.Options, optionJSON{x.Name, x.Why, x.Order.String(), len(x.Order), x.Steps, round(x.Minutes), round(x.Longest), x.Worth.DF, round(x.Factor), viewProof(d, x.Worth)})
	}
	return out
}

type dayNextJSON struct {
	Command  string      `json:"command"`
	Recorded string      `json:"recorded"`
	Anew     bool        `json:"planned_anew"`
	Done     bool        `json:"done" jsonschema_description:"no run is left"`
	Runs     []runJSON   `json:"runs" jsonschema_description:"those to come, the next one first"`
	Proof    []proofJSON `json:"expected_proof"`
	PutBack  []string    `json:"put_back" jsonschema_description:"what to turn to put the base back from how the kart stands; empty: it is on"`
}

func viewDayNext(d *testday.Day, said string, anew bool, sheet []testday.RunSheet, worth testday.Worth, back []string, a *app) dayNextJSON {
	return dayNextJSON{"day next", said, anew, len(sheet) == 0, viewSheet(sheet, a), viewProof(d, worth), list(back)}
}

type estimateJSON struct {
	Value *float64 `json:"value_s,omitempty"`
	SE    *float64 `json:"standard_error_s,omitempty"`
	Lo    *float64 `json:"low_s,omitempty"`
	Hi    *float64 `json:"high_s,omitempty"`
}

func viewEstimate(q testday.Estimate) estimateJSON {
	return estimateJSON{known(q.Value), known(q.SE), known(q.Lo), known(q.Hi)}
}

type effectJSON struct {
	Change     string         `json:"change"`
	Outcome    string         `json:"outcome"`
	Effect     estimateJSON   `json:"effect" jsonschema_description:"changed minus base, minus is quicker"`
	P          *float64       `json:"p,omitempty"`
	Text       string         `json:"text"`
	Detail     string         `json:"detail"`
	Without    int            `json:"runs_without"`
	With       int            `json:"runs_with"`
	Feel       map[string]int `json:"feel"`
	Driver     string         `json:"driver"`
	Neighbours *float64       `json:"neighbours_s,omitempty" jsonschema_description:"mean of each run with it minus its neighbours without"`
	Naive      *float64       `json:"naive_s,omitempty" jsonschema_description:"what one run before and one after would have said, drift and all"`
}

type runResultJSON struct {
	Run      int      `json:"run"`
	Changes  []int    `json:"changes"`
	Name     string   `json:"name"`
	State    string   `json:"state"`
	Used     bool     `json:"used"`
	Why      string   `json:"why_not,omitempty"`
	Time     *float64 `json:"time_s,omitempty"`
	Residual *float64 `json:"off_line_s,omitempty" jsonschema_description:"run minus what drift and changes explain"`
	Odd      bool     `json:"odd"`
	Kept     int      `json:"laps_kept"`
	Laps     int      `json:"laps"`
	LeftOut  []string `json:"left_out"`
	Says     string   `json:"says,omitempty"`
	Feel     string   `json:"feel,omitempty"`
}

type stepEstimateJSON struct {
	Name  string       `json:"name"`
	Value estimateJSON `json:"value"`
}

type dayVerdictJSON struct {
	Command  string             `json:"command"`
	Finished bool               `json:"finished"`
	Trend    string             `json:"trend"`
	Smallest float64            `json:"smallest_s"`
	Effects  []effectJSON       `json:"effects"`
	Runs     []runResultJSON    `json:"runs"`
	Base     estimateJSON       `json:"base_at_midday"`
	Drift    estimateJSON       `json:"drift_a_run"`
	Bend     *estimateJSON      `json:"bend_a_run_squared,omitempty"`
	Steps    []stepEstimateJSON `json:"steps"`
	SpreadSD float64            `json:"spread_s"`
	SpreadDF int                `json:"spread_df"`
	OwnDF    int                `json:"spare_runs_today"`
	OwnRSS   float64            `json:"rss_today" jsonschema_description:"residual sum of squares, s²"`
	Separate string             `json:"track_and_tyres"`
	Track    *estimateJSON      `json:"track_a_run,omitempty"`
	Tyres    *estimateJSON      `json:"tyres_a_run,omitempty"`
	Notes    []string           `json:"notes"`
	Logged   []journal.Record   `json:"logged,omitempty" jsonschema_description:"with --log: the entries of the journal"`
	LogNotes []string           `json:"log_notes,omitempty" jsonschema_description:"with --log: what was not logged and why"`
}

func viewDayVerdict(d *testday.Day, v *testday.Verdict) dayVerdictJSON {
	out := dayVerdictJSON{
		Command: "day verdict", Finished: v.Finished, Trend: v.Trend.String(), Smallest: d.Smallest, Effects: []effectJSON{}, Runs: []runResultJSON{},
		Base: viewEstimate(v.Base), Steps: []stepEstimateJSON{}, SpreadSD: round(v.Pooled.SD), SpreadDF: v.Pooled.DF, OwnDF: v.DF, OwnRSS: round(v.RSS),
		Separate: v.Separate.Text, Notes: list(v.Notes),
	}
	if v.Trend >= testday.Linear {
		out.Drift = viewEstimate(v.Drift)
	}
	if v.Trend >= testday.Quadratic {
		q := viewEstimate(v.Bend)
		out.Bend = &q
	}
	if v.Separate.OK {
		t, y := viewEstimate(v.Separate.Track), viewEstimate(v.Separate.Tyres)
		out.Track, out.Tyres = &t, &y
	}
	for _, s := range v.Steps {
		out.Steps = append(out.Steps, stepEstimateJSON{s.Name, viewEstimate(s.Estimate)})
	}
	for _, e := range v.Effects {
		feel := map[string]int{}
		for f, n := range e.Feel {
			feel[string(f)] = n
		}
		out.Effects = append(out.Effects, effectJSON{
			d.Changes[e.Change].Name, string(e.Outcome), viewEstimate(e.Estimate), known(e.P), e.Text, e.Detail, e.Runs[0], e.Runs[1], feel, e.FeelText, known(e.Neighbours), known(e.Naive),
		})
	}
	for _, q := range v.Runs {
		r := d.Runs[q.Run]
		x := runResultJSON{Run: q.Run + 1, Changes: setupNumbers(r.Setup), Name: d.Say(r.Setup), State: string(r.State), Used: q.Used, Why: q.Why, Odd: q.Odd, Kept: len(q.Summary.Kept), Laps: len(r.Laps), LeftOut: []string{}, Says: r.Says, Feel: string(r.Feel)}
		if q.Used {
			x.Time, x.Residual = known(q.Value), known(q.Residual)
		}
		for _, l := range q.Summary.Left {
			x.LeftOut = append(x.LeftOut, fmt.Sprintf("lap %d, %s: %s", l.Number, strings.Fields(l.Lap.String())[0], l.Why))
		}
		out.Runs = append(out.Runs, x)
	}
	return out
}
