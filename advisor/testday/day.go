package testday

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"kartwright/advisor/profile"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
	"kartwright/rules/diag"
	"kartwright/rules/source"
	"kartwright/rules/tables"
)

// Format is the version of the day file that this package reads and writes.
const Format = 1

// State is what became of a run.
type State string

// The states. Only Done counts.
const (
	Planned State = "planned"
	Done    State = "done"
	Missed  State = "missed" // not driven, or driven without a usable lap
	Rain    State = "rain"   // driven, or begun, in the wet: not comparable
)

// Feel is the driver's verdict on a run against the base.
type Feel string

// The verdicts.
const (
	NoWord Feel = ""
	Better Feel = "better"
	Same   Feel = "same"
	Worse  Feel = "worse"
)

// Run is one run of a day. Its place in the day is its time: a missed run
// keeps its place, because the track does not wait.
type Run struct {
	Setup  Setup
	State  State
	Tyres  int     // set, from 1
	Break  bool    // the track changed before this run, after rain for example
	Value  float64 // the run's figure, where it is given instead of laps; seconds
	Laps   []Lap
	Says   string // the driver's words
	Feel   Feel
	Why    string // of a missed run
	Fitted bool   // a missed or rained-off run whose setup was put on already
}

// Day is a test day: the plan and what came of it.
type Day struct {
	Kart     string // profile, as for --kart; empty if no change needs one
	Track    string
	Driver   string
	Plan     string // name of the scheme
	Smallest float64
	Spread   Spread
	Gap      float64 // minutes between the end of one run and the next
	Trend    Trend
	Figure   Figure
	Rates    Rates
	Base     [2]map[string]float64 // position of each adjuster, by side; as the profile counts them
	Changes  []Change
	Runs     []Run
}

// What a day can have at most: the effect that matters in seconds, the gap in
// minutes.
const mostSmallest, mostGap = 10, 600

// Codes of the findings in a day file, beyond those of package tables.
const (
	badDay     diag.Code = "bad-day"
	badRun     diag.Code = "bad-run"
	newerDay   diag.Code = "newer-day"
	unknownRun diag.Code = "unknown-change"
)

// Codes explains them.
func Codes() []diag.Explanation {
	return []diag.Explanation{
		{Code: badDay, Title: "a test day that cannot be", Text: "A number of the day is outside what is possible, or a word is not one of those that are known."},
		{Code: badRun, Title: "a run that cannot be", Text: "A run that is done needs a time or laps that can be read; a planned one has neither."},
		{Code: newerDay, Title: "a day file of a newer kartwright", Text: "The file's format number is higher than this program knows."},
		{Code: unknownRun, Title: "a run with a change that the day does not have", Text: "Every name in a run's \"with\" is the name of one of the [[change]] tables."},
	}
}

// BaseOf lists the positions of a setting by the adjusters' names.
func BaseOf(k *profile.Kart, set [2]adjust.Setting) (out [2]map[string]float64) {
	for s := range out {
		out[s] = map[string]float64{}
		for i, adj := range k.Corners[s].Adjusters {
			if !adj.Travel().Fixed() {
				out[s][adj.Name] = set[s][i]
			}
		}
	}
	return out
}

// Work returns the day's setups on the kart, whose adjusters must be those
// that the day was planned with. A nil kart is enough for a day whose changes
// have no adjusters.
func (d *Day) Work(k *profile.Kart) (*Work, error) {
	var base [2]adjust.Setting
	if k != nil {
		base = k.Standard()
		for s := range base {
			c := &k.Corners[s]
			for name, p := range d.Base[s] {
				i := c.Index(name)
				if i < 0 {
					return nil, fmt.Errorf("the day was planned with a %v %s, which kart %s does not have; give its own profile with --kart", frontend.Side(s), name, k.Name)
				}
				if t := c.Adjusters[i].Travel(); math.Abs(t.Clamp(p)-p) > 1e-6 {
					return nil, fmt.Errorf("the day's base has the %v %s at %g, which kart %s cannot do (%g to %g); has its profile changed since?", frontend.Side(s), name, p, k.Name, t.Min, t.Max)
				}
				base[s][i] = p
			}
		}
	}
	return NewWork(k, base, d.Changes, d.Rates)
}

// NeedsKart reports whether a change moves adjusters of a profile.
func (d *Day) NeedsKart() bool {
	return slices.ContainsFunc(d.Changes, func(c Change) bool { return c.onKart() })
}

// Say names a setup: "base", "more caster and wide rear".
func (d *Day) Say(s Setup) string { return say(d.Changes, s) }

// Request asks for plans of the day's changes within so many runs.
func (d *Day) Request(w *Work, runs, tyreSets int) Request {
	return Request{Changes: len(d.Changes), Runs: runs, Smallest: d.Smallest, Trend: d.Trend, Spread: d.Spread, Tyres: tyreSets,
		Weight: weights(d.Changes), Minutes: w.Minutes, Apart: w.Apart()}
}

// Parse reads a day file. The day is nil if any finding is an error.
func Parse(name string, data []byte) (*Day, []diag.Diagnostic) {
	var r tables.Reader
	t, _ := r.Read(name, data)
	if t == nil {
		return nil, r.Findings()
	}
	p := dayParser{r: &r, d: &Day{Rates: UsualRates.clone()}}
	p.file(t)
	if found := r.Findings(); diag.HasErrors(found) {
		return nil, found
	}
	return p.d, r.Findings()
}

func (r Rates) clone() Rates {
	named := map[string]float64{}
	for k, v := range r.Named {
		named[k] = v
	}
	r.Named = named
	return r
}

type dayParser struct {
	r *tables.Reader
	d *Day
}

func (p *dayParser) errorf(code diag.Code, at source.Span, format string, args ...any) {
	p.r.Report(diag.Errorf(code, at, format, args...))
}

// number reads an optional number between lo and hi.
func (p *dayParser) number(t *tables.Table, key string, lo, hi float64, into *float64) {
	if v, ok := t.Number(key); ok {
		if v < lo || v > hi {
			p.errorf(badDay, t.Value(key), "%s is %g; expected %g to %g", key, v, lo, hi)
			return
		}
		*into = v
	}
}

func (p *dayParser) file(t *tables.Table) {
	d := p.d
	if !t.Need("a test day", "format", "change", "run") {
		return
	}
	if f, ok := t.Whole("format"); !ok || f != Format {
		if ok {
			p.errorf(newerDay, t.Value("format"), "format is %d; this kartwright reads %d", f, Format)
		}
		return
	}
	t.Allow("format", "kart", "track", "driver", "plan", "smallest", "gap", "trend", "figure", "spread", "minutes", "base", "change", "run")
	d.Kart, _ = t.Text("kart")
	d.Track, _ = t.Text("track")
	d.Driver, _ = t.Text("driver")
	d.Plan, _ = t.Text("plan")
	p.number(t, "smallest", 0, mostSmallest, &d.Smallest)
	p.number(t, "gap", 0, mostGap, &d.Gap)
	d.Trend = Linear
	if s, ok := t.Text("trend"); ok {
		trend, err := ParseTrend(s)
		if err != nil {
			p.errorf(badDay, t.Value("trend"), "%v", err)
		}
		d.Trend = trend
	}
	d.Figure = Typical
	if s, ok := t.Text("figure"); ok {
		f, err := ParseFigure(s)
		if err != nil {
			p.errorf(badDay, t.Value("figure"), "%v", err)
		}
		d.Figure = f
	}
	d.Spread = Spread{SD: UsualSpread}
	if s := t.Table("spread"); s != nil {
		s.Allow("sd", "df")
		p.number(s, "sd", 0.001, 5, &d.Spread.SD)
		df := 0.
		p.number(s, "df", 0, 10000, &df)
		d.Spread.DF = int(df)
	}
	if m := t.Table("minutes"); m != nil {
		for _, key := range m.Keys() {
			if v, ok := m.Number(key); ok {
				if err := d.Rates.Set(key, v); err != nil {
					p.errorf(badDay, m.Value(key), "%v", err)
				}
			}
		}
	}
	if b := t.Table("base"); b != nil {
		b.Allow("left", "right")
		for s := range d.Base {
			d.Base[s] = map[string]float64{}
			side := b.Table(frontend.Side(s).String())
			if side == nil {
				continue
			}
			for _, key := range side.Keys() {
				if v, ok := side.Number(key); ok {
					d.Base[s][key] = v
				}
			}
		}
	}
	p.changes(t)
	p.runs(t)
}

func (p *dayParser) changes(t *tables.Table) {
	list := t.Tables("change")
	if len(list) > MaxChanges {
		p.errorf(badDay, list[MaxChanges].At, "a day holds at most %d changes", MaxChanges)
		return
	}
	for _, ct := range list {
		var c Change
		if !ct.Need("a change", "name") {
			continue
		}
		ct.Allow("name", "want", "set", "minutes", "matters", "advice")
		if c.Name, _ = ct.Text("name"); strings.TrimSpace(c.Name) == "" {
			p.errorf(badDay, ct.Value("name"), "the change's name is empty")
		}
		for _, other := range p.d.Changes {
			if other.Name == c.Name {
				p.errorf(badDay, ct.Value("name"), "there is another change called %q", c.Name)
			}
		}
		for _, w := range ct.Texts("want") {
			if _, err := parseWant(w.Text); err != nil {
				p.errorf(badDay, w.At, "%v", err)
			}
			c.Wants = append(c.Wants, w.Text)
		}
		for _, s := range ct.Texts("set") {
			if !strings.Contains(s.Text, "=") {
				p.errorf(badDay, s.At, "%q sets nothing (write caster screw+=1/2 turn)", s.Text)
			}
			c.Sets = append(c.Sets, s.Text)
		}
		p.number(ct, "minutes", 0, 600, &c.Minutes)
		p.number(ct, "matters", 0.001, 1000, &c.Weight)
		c.Advice, _ = ct.Text("advice")
		p.d.Changes = append(p.d.Changes, c)
	}
}

func (p *dayParser) runs(t *tables.Table) {
	list := t.Tables("run")
	if len(list) > MaxRuns {
		p.errorf(badDay, list[MaxRuns].At, "a day holds at most %d runs", MaxRuns)
		return
	}
	for _, rt := range list {
		rt.Allow("with", "state", "tyres", "after_break", "time", "laps", "says", "feel", "why", "fitted")
		r := Run{State: Planned, Tyres: 1}
		for _, w := range rt.Texts("with") {
			j := slices.IndexFunc(p.d.Changes, func(c Change) bool { return c.Name == w.Text })
			if j < 0 {
				var names []string
				for _, c := range p.d.Changes {
					names = append(names, c.Name)
				}
				p.r.Report(diag.Errorf(unknownRun, w.At, "there is no change called %q", w.Text).WithHelp(orList(diag.DidYouMean(w.Text, names), names)))
				continue
			}
			r.Setup |= 1 << j
		}
		if s, ok := rt.Text("state"); ok {
			if r.State = State(s); !slices.Contains([]State{Planned, Done, Missed, Rain}, r.State) {
				p.errorf(badRun, rt.Value("state"), "state is %q; expected done, missed, planned or rain", s)
			}
		}
		tyres := 1.
		p.number(rt, "tyres", 1, 20, &tyres)
		r.Tyres = int(tyres)
		r.Break, _ = rt.Bool("after_break")
		r.Fitted, _ = rt.Bool("fitted")
		p.number(rt, "time", shortestLap, longestLap, &r.Value)
		for _, l := range rt.Texts("laps") {
			laps, err := ParseLaps(l.Text)
			var slip *LapError
			if errors.As(err, &slip) {
				slip.Lap += len(r.Laps)
			}
			if err != nil {
				p.errorf(badRun, l.At, "%v", err)
			}
			r.Laps = append(r.Laps, laps...)
		}
		if len(r.Laps) > MaxLaps {
			p.errorf(badRun, rt.Value("laps"), "the run has %d laps; expected at most %d", len(r.Laps), MaxLaps)
		}
		r.Says, _ = rt.Text("says")
		r.Why, _ = rt.Text("why")
		if s, ok := rt.Text("feel"); ok {
			if r.Feel = Feel(s); !slices.Contains([]Feel{Better, Same, Worse}, r.Feel) {
				p.errorf(badRun, rt.Value("feel"), "feel is %q; expected better, same or worse", s)
			}
		}
		if r.State == Done && r.Value == 0 && len(r.Laps) == 0 {
			p.errorf(badRun, rt.At, "the run is done but has neither a time nor laps")
		}
		if r.State == Planned && (r.Value != 0 || len(r.Laps) > 0) {
			p.errorf(badRun, rt.At, "the run has times but is not done; add state = \"done\"")
		}
		p.d.Runs = append(p.d.Runs, r)
	}
	// What is still to come comes last.
	for i := 1; i < len(p.d.Runs) && i < len(list); i++ {
		if p.d.Runs[i-1].State == Planned && p.d.Runs[i].State != Planned {
			p.errorf(badRun, list[i-1].At, "run %d is planned although run %d is %s; mark it missed", i, i+1, p.d.Runs[i].State)
		}
	}
}

func orList(hint string, names []string) string {
	if hint == "" {
		return diag.Expected(names)
	}
	return hint
}

// Text writes the day as Parse reads it.
func (d *Day) Text() []byte {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	text := func(key, v string) {
		if v != "" {
			line("%s = %s", key, quote(v))
		}
	}
	line("# A test day, kept by kartwright. Times are seconds; a run's place is its time.")
	line("format = %d", Format)
	text("kart", d.Kart)
	text("track", d.Track)
	text("driver", d.Driver)
	text("plan", d.Plan)
	if d.Smallest > 0 {
		line("smallest = %s  # effect that matters", number(d.Smallest))
	}
	if d.Gap > 0 {
		line("gap = %s  # minutes between runs", number(d.Gap))
	}
	text("trend", d.Trend.String())
	text("figure", d.Figure.String())
	line("\n[spread]  # between runs on one setting; df 0: a guess")
	line("sd = %s\ndf = %d", number(d.Spread.SD), d.Spread.DF)
	if rates := d.Rates.changed(); len(rates) > 0 {
		line("\n[minutes]")
		for _, r := range rates {
			line("%s = %s", quote(r.name), number(r.minutes))
		}
	}
	for s, base := range d.Base {
		if len(base) == 0 {
			continue
		}
		line("\n[base.%v]  # where each adjuster stands, counted from standard", frontend.Side(s))
		for _, name := range sortedKeys(base) {
			line("%s = %s", quote(name), number(base[name]))
		}
	}
	for _, c := range d.Changes {
		line("\n[[change]]")
		text("name", c.Name)
		for _, list := range []struct {
			key   string
			texts []string
		}{{"want", c.Wants}, {"set", c.Sets}} {
			if len(list.texts) > 0 {
				line("%s = %s", list.key, quoteAll(list.texts))
			}
		}
		if c.Minutes > 0 {
			line("minutes = %s", number(c.Minutes))
		}
		if c.Weight > 0 {
			line("matters = %s", number(c.Weight))
		}
		text("advice", c.Advice)
	}
	for i, r := range d.Runs {
		line("\n[[run]]  # %d", i+1)
		var with []string
		for j, c := range d.Changes {
			if r.Setup.Has(j) {
				with = append(with, c.Name)
			}
		}
		line("with = %s", quoteAll(with))
		text("state", string(r.State))
		line("tyres = %d", r.Tyres)
		if r.Break {
			line("after_break = true")
		}
		if r.Fitted {
			line("fitted = true")
		}
		if r.Value != 0 {
			line("time = %s", number(r.Value))
		}
		if len(r.Laps) > 0 {
			laps := make([]string, len(r.Laps))
			for i, l := range r.Laps {
				laps[i] = l.String()
			}
			line("laps = %s", quoteAll(laps))
		}
		text("says", r.Says)
		text("feel", string(r.Feel))
		text("why", r.Why)
	}
	return []byte(b.String())
}

type rate struct {
	name    string
	minutes float64
}

// changed lists the rates that are not the usual ones.
func (r *Rates) changed() []rate {
	var out []rate
	usual := UsualRates
	for _, name := range RateNames {
		if v := *r.byKind(name); v != *usual.byKind(name) {
			out = append(out, rate{name, v})
		}
	}
	for _, name := range sortedKeys(r.Named) {
		out = append(out, rate{name, r.Named[name]})
	}
	return out
}

func sortedKeys(m map[string]float64) []string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// number writes v so that it is read back exactly.
func number(v float64) string { return strconv.FormatFloat(v+0, 'f', -1, 64) }

func quoteAll(list []string) string {
	out := make([]string, len(list))
	for i, s := range list {
		out[i] = quote(s)
	}
	return "[" + strings.Join(out, ", ") + "]"
}

// quote writes s as a TOML string.
func quote(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range strings.ToValidUTF8(s, "\uFFFD") {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r == '\n':
			b.WriteString(`\n`)
		case r < ' ' || r == 0x7f:
			fmt.Fprintf(&b, `\u%04X`, r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}
