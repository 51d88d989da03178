package cli

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"kartwright/advisor"
	"kartwright/advisor/journal"
	"kartwright/advisor/learn"
	"kartwright/advisor/testday"
	"kartwright/geometry"
	"kartwright/rules"
)

// localTime prints a time as the clock on the wall shows it.
func localTime(t time.Time) string { return t.In(time.Local).Format("2006-01-02 15:04") }

// lapText prints a lap time in seconds, to the hundredth unless it is known to
// the thousandth: 48.60, 62.341.
func lapText(ms int64) string {
	decimals := 2
	if ms%10 != 0 {
		decimals = 3
	}
	return strconv.FormatFloat(float64(ms)/1000, 'f', decimals, 64)
}

// sayReading prints a symptom as it is written, for lists.
func sayReading(s string) string {
	r, err := rules.ParseSymptom(s)
	if err != nil {
		return s
	}
	return advisor.SaySymptom(rules.Vocabulary{}, r)
}

// lapsText says how many laps count, the best and the middle one.
func lapsText(laps []journal.Lap) string {
	var good []int64
	for _, l := range laps {
		if l.Flag == "" {
			good = append(good, l.MS)
		}
	}
	if len(good) == 0 {
		if len(laps) == 0 {
			return ""
		}
		return count(len(laps), "lap", "laps") + ", none that counts"
	}
	slices.Sort(good)
	mid := float64(good[(len(good)-1)/2]+good[len(good)/2]) / 2
	text := fmt.Sprintf("%s, best %s, median %s", count(len(good), "lap", "laps"), lapText(good[0]), lapText(int64(math.Round(mid))))
	if n := len(laps) - len(good); n > 0 {
		text += fmt.Sprintf(" (%d left out)", n)
	}
	return text
}

func conditionsText(c journal.Conditions) []string {
	var out []string
	for _, p := range [][2]string{{"", c.Track}, {"grip ", c.Grip}, {"tyres ", c.Tyres}} {
		if p[1] != "" {
			out = append(out, p[0]+p[1])
		}
	}
	if c.Wet == "yes" && c.Grip != rules.Wet {
		out = append(out, "wet")
	}
	return out
}

// summary says an entry in a line.
func (a *app) summary(r journal.Record) string {
	var parts []string
	add := func(lead, text string) {
		if text != "" {
			parts = append(parts, lead+text)
		}
	}
	switch e := r.(type) {
	case *journal.Setting:
		for _, f := range e.Figures {
			u := a.units
			parts = append(parts, fmt.Sprintf("%s caster %s, camber %s, toe %s", f.Side, u.Angle(deg(f.Caster)), u.Angle(deg(f.Camber)), u.Angle(deg(f.Toe))))
		}
		if e.Advice != "" {
			add("as advised in ", e.Advice.Short())
		}
		if n := len(e.Readings); n > 0 {
			parts = append(parts, count(n, "reading", "readings"))
		}
		add("", e.Note)
	case *journal.Session:
		add("", e.Place)
		parts = append(parts, conditionsText(e.Conditions)...)
		add("set ", e.TyreSet)
		add("driver ", e.Driver)
		add("", lapsText(e.Laps))
		if e.Complaint != "" {
			add("", strconv.Quote(e.Complaint))
		}
		add("", e.Note)
	case *journal.Advice:
		add("", cmp.Or(e.Title, e.Status))
		if e.Move != "" {
			parts[0] += " by " + a.amount(e.Amount, e.Unit)
		}
		for _, s := range e.Symptoms {
			parts = append(parts, sayReading(s))
		}
	case *journal.Outcome:
		if !e.Followed {
			add("instead: ", e.Instead)
		}
		for _, v := range e.Verdicts {
			parts = append(parts, sayReading(v.Symptom)+": "+v.Verdict)
		}
		if e.Effect != nil {
			parts = append(parts, fmt.Sprintf("lap time %s, standard error %.3f s (df %g)", testday.Seconds(*e.Effect, 3), *e.EffectSE, *e.EffectDF))
		}
		add("for advice ", e.Advice.Short())
		add("", e.Note)
	case *journal.Evidence:
		parts = append(parts, fmt.Sprintf("rule %s helped %.2g, from another journal", e.Rule, e.Helped))
	case *journal.Strike:
		add("strikes out ", e.Of.Short())
		add("", e.Why)
	}
	return strings.Join(parts, "; ")
}

func deg(v float64) geometry.Angle { return geometry.Angle(v) * geometry.Degree }

// amount prints the size of a move.
func (a *app) amount(v float64, unit string) string {
	v = math.Abs(v)
	switch unit {
	case "deg":
		return a.units.Angle(deg(v))
	case "mm":
		return a.units.Length(geometry.Length(v))
	}
	return strconv.FormatFloat(v, 'g', 3, 64) + " " + unit
}

// printEntry prints an entry on a line or a few.
func (a *app) printEntry(r journal.Record) {
	h := r.Head()
	lead := h.ID.Short() + "  " + localTime(h.At) + "  " + pad(string(h.Kind), 9)
	text := a.summary(r)
	if h.Kart != "" {
		text = h.Kart + ": " + text
	}
	a.para(lead, text)
}

type logShowOptions struct {
	journal, kart string
	rules         []string
	kinds         []string
	limit         int
	learned       bool
}

func (a *app) logShowCommand() *cobra.Command {
	var o logShowOptions
	cmd := &cobra.Command{
		Use:   "show [ID]",
		Short: "The latest entries, one of them in full, or what was learned",
		Long: `show lists the latest entries of the journal, newest first; with an ID it prints
that entry in full. --learned shows how often each change and each rule helped,
and how far a rule is believed since: rules that did not help count for less.`,
		Example: `  kartwright log show
  kartwright log show --kart cedar --kind session --limit 20
  kartwright log show --learned`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if o.limit < 1 {
				return usagef("--limit is %d, expected 1 or more", o.limit)
			}
			if o.learned {
				return a.runLogLearned(o)
			}
			return a.runLogShow(o, args)
		},
	}
	journalFlag(cmd, &o.journal)
	rulesFlag(cmd, &o.rules)
	f := cmd.Flags()
	f.StringVar(&o.kart, "kart", "", "only this kart: its profile or its `NAME`; all karts if not given")
	f.StringArrayVar(&o.kinds, "kind", nil, "only this `KIND`: setting, session, advice, outcome, evidence; may be repeated")
	f.IntVar(&o.limit, "limit", 10, "at most `N` entries")
	f.BoolVar(&o.learned, "learned", false, "what was learned of changes and rules")
	return cmd
}

// kartCalled is the name of the kart whose profile or name it is.
func (a *app) kartCalled(text string) string {
	if text == "" {
		return ""
	}
	if k, _, err := a.loadKart(text); err == nil {
		return k.Name
	}
	return text
}

func (a *app) runLogShow(o logShowOptions, args []string) error {
	filter := journal.Filter{Kart: a.kartCalled(o.kart), Limit: o.limit}
	known := []string{"setting", "session", "advice", "outcome", "evidence"}
	for _, k := range o.kinds {
		if !slices.Contains(known, k) {
			return usagef("--kind is %q, expected one of %s", k, strings.Join(known, ", "))
		}
		filter.Kinds = append(filter.Kinds, journal.Kind(k))
	}
	return a.withJournal(o.journal, func(ctx context.Context, j *journal.Journal) error {
		if len(args) == 1 {
			r, err := j.Find(ctx, args[0])
			if err != nil {
				return err
			}
			struck, err := j.Struck(ctx, r.Head().ID)
			if err != nil {
				return err
			}
			if a.json {
				v := logEntriesJSON{Command: "log show", Journal: j.Path, Entries: []journal.Record{r}, Notes: []string{}}
				if struck != nil {
					v.Struck = string(struck.ID)
				}
				return a.writeJSON(v)
			}
			a.printWhole(r, struck)
			return nil
		}
		if k, _, err := a.loadKart(o.kart); err == nil { // --kart may name a kart without a profile
			if err := a.askPending(ctx, j, k); err != nil {
				return err
			}
		}
		rs, err := j.Recent(ctx, filter)
		if err != nil {
			return err
		}
		if a.json {
			return a.writeJSON(logEntriesJSON{Command: "log show", Journal: j.Path, Entries: rs, Notes: []string{}})
		}
		if len(rs) == 0 {
			a.para("", "Nothing is logged yet.")
		}
		for _, r := range rs {
			a.printEntry(r)
		}
		return nil
	})
}

// printWhole prints all of an entry.
func (a *app) printWhole(r journal.Record, struck *journal.Strike) {
	h := r.Head()
	a.para("", fmt.Sprintf("%s %s", capital(string(h.Kind)), h.ID))
	line := func(name, text string) {
		if text != "" {
			a.para("  "+pad(name, 14), text)
		}
	}
	line("when", localTime(h.At))
	line("kart", h.Kart)
	if struck != nil {
		line("struck out", strings.TrimSuffix(localTime(struck.At)+": "+struck.Why, ": "))
	}
	switch e := r.(type) {
	case *journal.Setting:
		line("advice", string(e.Advice))
		line("note", e.Note)
		a.printPositions(e)
	case *journal.Session:
		line("setting", string(e.Setting))
		for _, row := range sessionRows(e) {
			line(row[0], row[1])
		}
		if len(e.Laps) > 0 {
			var times []string
			for _, l := range e.Laps {
				times = append(times, strings.TrimSpace(lapText(l.MS)+" "+l.Flag))
			}
			line("lap times", strings.Join(times, ", "))
		}
	case *journal.Advice:
		line("status", e.Status)
		line("after session", string(e.Session))
		if e.Move != "" {
			line("try first", e.Title+" by "+a.amount(e.Amount, e.Unit))
		}
		line("complaint", strings.Join(e.Symptoms, ", "))
		line("conditions", strings.Join(conditionsText(e.Conditions), ", "))
		var names []string
		for _, r := range e.Rules {
			names = append(names, fmt.Sprintf("%s (%.2f)", r.Rule, r.Support))
		}
		line("rules", strings.Join(names, ", "))
		a.para("  ", "The whole answer with its trace: kartwright log show --json "+h.ID.Short())
	case *journal.Outcome:
		line("advice", string(e.Advice))
		line("session", string(e.Session))
		line("instead", e.Instead)
		for _, v := range e.Verdicts {
			line(v.Verdict, sayReading(v.Symptom))
		}
		if e.Effect != nil {
			line("lap time", fmt.Sprintf("%+.3f s, standard error %.3f s, %g degrees of freedom", *e.Effect, *e.EffectSE, *e.EffectDF))
		}
		line("helped", strconv.FormatFloat(e.Helped, 'f', 2, 64))
		line("note", e.Note)
	case *journal.Evidence:
		line("rule", e.Rule)
		line("day", e.Day)
		line("helped", strconv.FormatFloat(e.Helped, 'f', 2, 64))
	case *journal.Strike:
		line("strikes out", string(e.Of))
		line("why", e.Why)
	}
}

func sessionRows(e *journal.Session) [][2]string {
	age := ""
	if e.TyreLaps != nil {
		age = count(int(*e.TyreLaps), "lap", "laps")
	}
	return [][2]string{
		{"place", e.Place}, {"track", e.Track}, {"grip", e.Grip}, {"wet", e.Wet}, {"tyres", e.Tyres}, {"weather", e.Weather}, {"tyre set", e.TyreSet}, {"set before", age},
		{"driver", e.Driver}, {"said", e.Complaint}, {"complaint", strings.Join(e.Symptoms, ", ")}, {"laps", lapsText(e.Laps)}, {"note", e.Note},
	}
}

func (a *app) printPositions(e *journal.Setting) {
	if len(e.Positions) > 0 {
		a.heading("Adjusters")
	}
	for _, row := range positionRows(e) {
		a.para("  "+pad(row[0], 24), row[1])
	}
	if len(e.Figures) > 0 {
		a.heading("It should measure")
	}
	for _, row := range a.figureRows(e) {
		a.para("  "+pad(row[0], 24), row[1])
	}
	if len(e.Readings) > 0 {
		a.heading("Measured")
	}
	for _, row := range a.readingRows(e) {
		a.para("  "+pad(row[0], 24), row[1])
	}
}

func positionRows(e *journal.Setting) (out [][2]string) {
	for _, p := range e.Positions {
		text := p.Text
		if p.Gauge != nil {
			if gauge := (geometry.Units{}).Length(geometry.Length(*p.Gauge)); !strings.Contains(text, gauge) {
				text += ", gauge " + gauge
			}
		}
		out = append(out, [2]string{p.Side + " " + p.Adjuster, text})
	}
	return out
}

func (a *app) figureRows(e *journal.Setting) (out [][2]string) {
	for _, f := range e.Figures {
		for _, q := range []struct {
			name string
			v    float64
		}{{"caster", f.Caster}, {"camber", f.Camber}, {"toe", f.Toe}, {"KPI", f.KPI}} {
			out = append(out, [2]string{f.Side + " " + q.name, a.units.Angle(deg(q.v))})
		}
	}
	return out
}

func (a *app) readingRows(e *journal.Setting) (out [][2]string) {
	say := func(v, pm *float64, print func(float64) string) string {
		if pm == nil {
			return print(*v)
		}
		return print(*v) + " ± " + print(*pm)
	}
	for _, r := range e.Readings {
		text := ""
		if r.Angle != nil {
			text = say(r.Angle, r.AnglePM, func(v float64) string { return a.units.Angle(deg(v)) })
		} else {
			text = say(r.Length, r.LengthPM, func(v float64) string { return a.units.Length(geometry.Length(v)) })
		}
		out = append(out, [2]string{r.Side + " " + r.What, text})
	}
	return out
}

// logCompareJSON is the answer of compare.
type logCompareJSON struct {
	Command     string              `json:"command"`
	A           string              `json:"a" jsonschema_description:"ID of the first entry"`
	B           string              `json:"b" jsonschema_description:"ID of the second entry"`
	Differences []logDifferenceJSON `json:"differences" jsonschema_description:"only what differs"`
}

type logDifferenceJSON struct {
	Group string `json:"group" jsonschema:"enum=session,enum=adjuster,enum=figure,enum=measured"`
	What  string `json:"what"`
	A     string `json:"a"`
	B     string `json:"b"`
}

func (a *app) logCompareCommand() *cobra.Command {
	var path, kart string
	cmd := &cobra.Command{
		Use:   "compare A B",
		Short: "Two sessions or settings side by side, only what differs",
		Long: `compare shows in what two sessions, or two settings, differ: conditions, tyres,
lap times, what the driver said, where every adjuster stood and what the front
end should have measured. A and B are IDs, or last for the latest session.

That two sessions differ in lap time does not show that a change worked: the
track, the tyres and the driver differ too.`,
		Example: "  kartwright log compare 3fa9c1d2 last",
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) != 2 {
				return usagef("log compare needs two entries, for example their IDs as 'kartwright log show' prints them")
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error { return a.runLogCompare(path, kart, args) },
	}
	kartFlag(cmd, &kart)
	journalFlag(cmd, &path)
	return cmd
}

func (a *app) runLogCompare(path, kart string, args []string) error {
	k, _, err := a.loadKart(kart)
	if err != nil {
		return err
	}
	return a.withJournal(path, func(ctx context.Context, j *journal.Journal) error {
		var sets [2]*journal.Setting
		var sessions [2]*journal.Session
		var heads [2]*journal.Header
		for i, arg := range args {
			set, ses, err := a.settingOf(ctx, j, k.Name, arg)
			if err != nil && (ses == nil || ses.Setting != "") {
				return err
			}
			sets[i], sessions[i] = set, ses
			if ses != nil {
				heads[i] = ses.Head()
			} else {
				heads[i] = set.Head()
			}
		}
		out := logCompareJSON{"log compare", string(heads[0].ID), string(heads[1].ID), []logDifferenceJSON{}}
		diff := func(group string, x, y [][2]string) {
			for _, d := range differences(x, y) {
				out.Differences = append(out.Differences, logDifferenceJSON{group, d[0], d[1], d[2]})
			}
		}
		var rows, positions, figures, readings [2][][2]string
		for i := range 2 {
			if sessions[i] != nil {
				rows[i] = sessionRows(sessions[i])
			}
			if sets[i] != nil {
				positions[i], figures[i], readings[i] = positionRows(sets[i]), a.figureRows(sets[i]), a.readingRows(sets[i])
			}
		}
		if heads[0].Kart != heads[1].Kart {
			diff("session", [][2]string{{"kart", heads[0].Kart}}, [][2]string{{"kart", heads[1].Kart}})
		}
		if sessions[0] != nil && sessions[1] != nil {
			diff("session", rows[0], rows[1])
		}
		diff("adjuster", positions[0], positions[1])
		diff("figure", figures[0], figures[1])
		diff("measured", readings[0], readings[1])
		if a.json {
			return a.writeJSON(out)
		}
		a.printf("  %s%s%s\n", pad("", 20), pad(heads[0].ID.Short(), 30), heads[1].ID.Short())
		a.printf("  %s%s%s\n", pad("", 20), pad(localTime(heads[0].At), 30), localTime(heads[1].At))
		group := ""
		for _, d := range out.Differences {
			if d.Group != group {
				group = d.Group
				a.heading(map[string]string{"session": "Session", "adjuster": "Adjusters", "figure": "It should measure", "measured": "Measured"}[group])
			}
			a.sideBySide(d.What, cmp.Or(d.A, "not said"), cmp.Or(d.B, "not said"))
		}
		if len(out.Differences) == 0 {
			a.para("  ", "Nothing that was logged differs.")
		}
		return nil
	})
}

// differences lists the rows of which the second cells differ: name, in x, in
// y. A name may come once in each.
func differences(x, y [][2]string) (out [][3]string) {
	second := map[string]string{}
	for _, r := range y {
		second[r[0]] = r[1]
	}
	seen := map[string]bool{}
	for _, r := range x {
		seen[r[0]] = true
		if r[1] != second[r[0]] {
			out = append(out, [3]string{r[0], r[1], second[r[0]]})
		}
	}
	for _, r := range y {
		if !seen[r[0]] && r[1] != "" {
			out = append(out, [3]string{r[0], "", r[1]})
		}
	}
	return out
}

// sideBySide prints two texts in columns, each broken where it must be.
func (a *app) sideBySide(name, x, y string) {
	const column = 28
	wrap := func(s string) (lines []string) {
		line := ""
		for _, w := range strings.Fields(s) {
			switch {
			case line == "":
				line = w
			case len([]rune(line))+1+len([]rune(w)) <= column:
				line += " " + w
			default:
				lines, line = append(lines, line), w
			}
		}
		return append(lines, line)
	}
	l, r := wrap(x), wrap(y)
	for i := range max(len(l), len(r)) {
		var cell [3]string
		if i == 0 {
			cell[0] = name
		}
		if i < len(l) {
			cell[1] = l[i]
		}
		if i < len(r) {
			cell[2] = r[i]
		}
		a.printf("%s\n", strings.TrimRight("  "+pad(cell[0], 20)+pad(cell[1], 30)+cell[2], " "))
	}
}

// logLearnedJSON is the answer of show --learned.
type logLearnedJSON struct {
	Command string              `json:"command"`
	Journal string              `json:"journal"`
	Kart    string              `json:"kart"`
	Rules   []learnedRuleJSON   `json:"rules"`
	Changes []learnedChangeJSON `json:"changes"`
}

type learnedRuleJSON struct {
	Rule       string  `json:"rule"`
	Text       string  `json:"text"`
	Confidence float64 `json:"confidence" jsonschema_description:"its author's"`
	Factor     float64 `json:"learned" jsonschema_description:"what its confidence is multiplied by"`
	Mean       float64 `json:"mean" jsonschema_description:"how often it should help, by what is known"`
	Low        float64 `json:"low" jsonschema_description:"2.5 % quantile of that"`
	High       float64 `json:"high" jsonschema_description:"97.5 % quantile"`
	WorthATest bool    `json:"worth_a_test"`
}

type learnedChangeJSON struct {
	Title  string  `json:"title"`
	Helped float64 `json:"helped"`
	Of     int     `json:"of"`
	Best   float64 `json:"best" jsonschema_description:"probability that it helps most often of those tried"`
}

// triesShown bounds how far back the changes of a kart are counted.
const triesShown = 1000

func (a *app) runLogLearned(o logShowOptions) error {
	set, err := a.loadRules(o.rules)
	if err != nil {
		return err
	}
	k, _, err := a.loadKart(o.kart)
	if err != nil {
		return err
	}
	return a.withJournal(o.journal, func(ctx context.Context, j *journal.Journal) error {
		learned, err := j.Learned(ctx, k.Name)
		if err != nil {
			return err
		}
		tries, err := j.Tries(ctx, k.Name, triesShown)
		if err != nil {
			return err
		}
		out := logLearnedJSON{Command: "log learned", Journal: j.Path, Kart: k.Name, Rules: []learnedRuleJSON{}, Changes: changesTried(tries)}
		for _, r := range set.Rules() {
			l, ok := learned[r.ID]
			if !ok {
				continue
			}
			b := l.Belief(r.Confidence)
			out.Rules = append(out.Rules, learnedRuleJSON{r.ID, l.String(), r.Confidence, round(l.Factor(r.Confidence)), round(b.Mean()), round(b.Quantile(.025)), round(b.Quantile(.975)), l.WorthATest(r.Confidence)})
		}
		sort.SliceStable(out.Rules, func(i, j int) bool { return out.Rules[i].Factor < out.Rules[j].Factor })
		if a.json {
			return a.writeJSON(out)
		}
		a.printLearned(out)
		return nil
	})
}

// changesTried counts each change of a kart, and how likely it is the one that
// helps most often: every one starts even (a uniform prior).
func changesTried(tries []journal.Try) []learnedChangeJSON {
	out := []learnedChangeJSON{}
	for _, t := range tries {
		i := slices.IndexFunc(out, func(c learnedChangeJSON) bool { return c.Title == t.Title })
		if i < 0 {
			i = len(out)
			out = append(out, learnedChangeJSON{Title: t.Title})
		}
		out[i].Helped += t.Helped
		out[i].Of++
	}
	beliefs := make([]learn.Beta, len(out))
	for i, c := range out {
		out[i].Helped = round(c.Helped)
		beliefs[i] = learn.Beta{A: 1, B: 1}.With(c.Helped, float64(c.Of)-c.Helped)
	}
	for i, p := range learn.Best(beliefs) {
		out[i].Best = math.Round(p*1e6) / 1e6
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Best > out[j].Best })
	return out
}

func (a *app) printLearned(l logLearnedJSON) {
	a.para("", "Kart "+l.Kart+", from the journal "+l.Journal+".")
	if len(l.Rules) == 0 && len(l.Changes) == 0 {
		a.para("", "Nothing is learned yet: no advice has been tried and judged.")
		return
	}
	if len(l.Changes) > 0 {
		a.heading("Changes tried on this kart")
	}
	for _, c := range l.Changes {
		text := fmt.Sprintf("helped %s of %s", strconv.FormatFloat(math.Round(c.Helped*10)/10, 'f', -1, 64), count(c.Of, "time", "times"))
		if len(l.Changes) > 1 {
			text += fmt.Sprintf("; the best of these with probability %.2f", c.Best)
			if c.Best > 0.1 && c.Best < 0.9 {
				text += ", uncertain: worth a test"
			}
		}
		a.para("  "+pad(c.Title, 24), text)
	}
	if len(l.Rules) > 0 {
		a.heading("Rules")
	}
	for _, r := range l.Rules {
		text := fmt.Sprintf("%s. Its author's confidence %.2f counts as %.2f now; it should help %.0f in 100 times (95 %%: %.0f to %.0f).",
			capital(r.Text), r.Confidence, r.Confidence*r.Factor, 100*r.Mean, 100*r.Low, 100*r.High)
		if r.WorthATest {
			text += " Uncertain: worth a test."
		}
		a.para("  ", r.Rule)
		a.para("    ", text)
	}
}
