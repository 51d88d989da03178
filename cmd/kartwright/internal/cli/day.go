package cli

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"kartwright/advisor"
	"kartwright/advisor/journal"
	"kartwright/advisor/profile"
	"kartwright/advisor/profile/demo"
	"kartwright/advisor/safefile"
	"kartwright/advisor/testday"
	"kartwright/rules/diag"
)

func (a *app) dayCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "day",
		Short: "Plan a test day, run it, and judge what each change was worth",
		Long: `day tries changes so that track and tyres, which drift all day, cannot pass for
one of them. 'day plan' orders the runs and says what they can prove; 'day next'
says what to do now and changes the rest of the plan after a missed run, rain or
a lost tyre set; 'day verdict' takes the drift out and says which changes
helped, which did not, and which cannot be told.`,
		RunE: needSub,
	}
	cmd.AddCommand(a.dayPlanCommand(), a.dayNextCommand(), a.dayVerdictCommand())
	return cmd
}

type dayPlanOptions struct {
	kart, where, driver        string
	changes, minutes, earlier  []string
	rules                      []string
	facts                      factFlags
	take, runs, tyreSets, pick int
	gap, smallest, spread      float64
	spreadDF                   int
	trend, figure, order       string
	save, html, sheet          string
	force                      bool
	advice                     []string
	past                       pastFlags
	log                        bool
}

func (a *app) dayPlanCommand() *cobra.Command {
	var o dayPlanOptions
	cmd := &cobra.Command{
		Use:   `plan --change "NAME: WHAT" …`,
		Short: "Changes to try to a run order, with turns and expected proof",
		Long: `plan takes the changes to try and the number of runs, and compares the orders
that protect against drift: less work against more proof. The one it would take
is marked; --pick takes another, --order one of your own.

A change is NAME: WHAT, WHAT …, where WHAT is
  caster by +0.5 deg, camber to -1 deg, toe by 1 mm out over 255 mm, height by …
  an adjuster's position: caster screw+=1/2 turn, top insert=back 1.5
  minutes 8    spanner time each way, if it is not to be worked out
  matters 2    how much it matters against the others
What this kart's profile has no adjuster for is just a name. With --symptom and
its fellows the changes are those that 'kartwright advise' would try, with
--advice those of advice in the journal; then 'day verdict --log' tells the
journal what came of them. With a journal the base is how the kart stands by it.

Spanner minutes come from a table: --minutes screw=3 changes an entry (stop,
screw, eccentric, bush, shims, rod, other, or an adjuster's own name).

The spread is how far runs on one setting differ by themselves: --earlier takes
it from day files of earlier days, --spread states it. Without either it is
assumed, and only a plan with spare runs of its own can prove anything.`,
		Example: `  kartwright day plan --change "more caster: caster by +0.5 deg" --runs 8
  kartwright day plan --change "caster by +0.5 deg" --change "camber by -0.5 deg" \
      --runs 9 --smallest 0.08 --spread 0.06 --spread-df 12
  kartwright day plan --symptom understeer/entry --track tight --grip high --take 2
  kartwright day plan --symptom understeer/entry --track tight --save day.toml --log
  kartwright day plan --advice last --save day.toml`,
		Args: noArgs,
		RunE: func(*cobra.Command, []string) error { return a.runDayPlan(o) },
	}
	kartFlag(cmd, &o.kart)
	rulesFlag(cmd, &o.rules)
	o.facts.add(cmd)
	f := cmd.Flags()
	f.StringArrayVar(&o.changes, "change", nil, "a change to try, `NAME: WHAT`; may be repeated")
	f.StringArrayVar(&o.advice, "advice", nil, "a change from `ADVICE` in the journal: its ID, or last; may be repeated")
	o.past.add(cmd)
	o.past.addProfile(cmd)
	f.BoolVar(&o.log, "log", false, "with --symptom and --save: record the changes as advice in the journal, so that the verdict can be logged")
	f.IntVar(&o.take, "take", 2, "with --symptom: how many of the suggested changes to try")
	f.IntVar(&o.runs, "runs", 8, "how many `RUNS` there is time for")
	f.Float64Var(&o.gap, "gap", 15, "`MINUTES` between two runs")
	f.IntVar(&o.tyreSets, "tyre-sets", 1, "sets of tyres, used up one after the other")
	f.Float64Var(&o.smallest, "smallest", 0, "the smallest difference that matters, in `SECONDS` a lap")
	f.Float64Var(&o.spread, "spread", 0, "spread between runs on one setting: standard deviation in `SECONDS`")
	f.IntVar(&o.spreadDF, "spread-df", 0, "how many spare runs the spread was found from; 0 takes it as a guess")
	f.StringArrayVar(&o.earlier, "earlier", nil, "a day `FILE` of an earlier day to take the spread from; may be repeated")
	f.StringArrayVar(&o.minutes, "minutes", nil, "spanner time of a part on one side, `PART=MINUTES`; may be repeated")
	f.StringVar(&o.trend, "trend", "linear", "form of the drift to take out: none, linear, quadratic")
	f.StringVar(&o.figure, "figure", "typical", "how a run is summed up: typical, median, huber, or \"lap 7\"")
	f.StringVar(&o.order, "order", "", "an order of your own: ABBA, or \"0 1 0 2 0\" with 0 for the base")
	f.IntVar(&o.pick, "pick", 0, "take the plan of this `NUMBER` instead of the marked one")
	f.StringVar(&o.where, "where", "", "name of the `PLACE`, for the sheet")
	f.StringVar(&o.driver, "driver", "", "name of the `DRIVER`, for the sheet")
	f.StringVar(&o.save, "save", "", "write the day to this `FILE`.toml for 'day next' and 'day verdict'")
	f.StringVar(&o.html, "html", "", "write a sheet with tick boxes for printing to this `FILE`.html")
	f.StringVar(&o.sheet, "sheet", "", "write the sheet as plain text, 80 columns, to this `FILE`.txt")
	f.BoolVar(&o.force, "force", false, "overwrite files that are there already")
	return cmd
}

// dayStart is what a day begins with.
type dayStart struct {
	changes []testday.Change
	kart    *profile.Kart // as it stands; nil if nothing needs one
	past    *past
	log     map[int]adviceJSON // by change: the advice to record it as
}

// begin loads the kart as it stands, once.
func (a *app) begin(s *dayStart, o dayPlanOptions) error {
	if s.kart != nil {
		return nil
	}
	k, _, err := a.loadKart(o.kart)
	if err != nil {
		return err
	}
	if s.past, err = a.lookBack(o.past, k); err != nil {
		return err
	}
	s.kart = s.past.stands(k)
	return nil
}

// dayChanges reads --change, takes advice from the journal, or asks for it.
func (a *app) dayChanges(o dayPlanOptions) (*dayStart, error) {
	s := &dayStart{log: map[int]adviceJSON{}}
	for _, text := range o.changes {
		c, err := testday.ParseChange(text)
		if err != nil {
			return nil, usageError{err}
		}
		s.changes = append(s.changes, c)
	}
	if len(o.advice) > 0 {
		if err := a.begin(s, o); err != nil {
			return nil, err
		}
		if err := a.adviceChanges(s, o); err != nil {
			return nil, err
		}
	}
	if len(o.facts.symptoms) == 0 {
		if len(s.changes) == 0 {
			return nil, usagef("say what to try, for example --change \"more caster: caster by +0.5 deg\"\nRun 'kartwright day plan --help' for usage.")
		}
		return s, nil
	}
	set, err := a.loadRules(o.rules)
	if err != nil {
		return nil, err
	}
	facts, err := o.facts.facts(set)
	if err != nil {
		return nil, err
	}
	if _, err := set.Compile(facts); err != nil {
		return nil, usageError{err}
	}
	if err := a.begin(s, o); err != nil {
		return nil, err
	}
	set = s.past.teach(set)
	adv, err := advisor.Advise(advisor.Request{Kart: s.kart, Rules: set, Facts: facts})
	if err != nil {
		return nil, err
	}
	s.past.demote(adv)
	changes, advice, err := testday.Advised(adv, o.take)
	if err != nil {
		return nil, fmt.Errorf("%w; see 'kartwright advise'", err)
	}
	accounts, err := set.Explain(facts)
	if err != nil {
		return nil, err
	}
	for i, own := range advice {
		view := viewAdvice(own, nil, nil, nil, accounts, a.units)
		s.past.view(&view, own)
		s.log[len(s.changes)] = view
		s.changes = append(s.changes, changes[i])
	}
	return s, nil
}

// adviceChanges takes changes from advice in the journal.
func (a *app) adviceChanges(s *dayStart, o dayPlanOptions) error {
	path, err := a.hasJournal(o.past)
	if err != nil {
		return err
	}
	if path == "" {
		return fmt.Errorf("there is no journal to take advice from; 'kartwright advise --log' begins one")
	}
	return a.withJournal(path, func(ctx context.Context, j *journal.Journal) error {
		for _, which := range o.advice {
			adv, err := findAdvice(ctx, j, s.kart.Name, which)
			if err != nil {
				return err
			}
			c, err := changeOf(adv)
			if err != nil {
				return err
			}
			s.changes = append(s.changes, c)
		}
		return nil
	})
}

// changeOf is the change that advice in the journal was to make.
func changeOf(adv *journal.Advice) (testday.Change, error) {
	c := testday.Change{Name: adv.Title, Advice: string(adv.ID)}
	if adv.Move == "" {
		return c, fmt.Errorf("advice %s was to change nothing (%s)", adv.ID.Short(), adv.Status)
	}
	var v struct {
		First struct {
			Plan *struct {
				Height float64 `json:"ride_height_change_mm"`
				Sides  map[string]struct{ Before, After figuresJSON }
			}
		}
	}
	if err := json.Unmarshal([]byte(adv.Trace), &v); err != nil {
		return c, fmt.Errorf("advice %s cannot be read: %w", adv.ID.Short(), err)
	}
	if v.First.Plan == nil {
		return c, nil
	}
	side := v.First.Plan.Sides["left"]
	by, unit := 0., " deg"
	switch adv.Move {
	case "caster":
		by = side.After.Caster - side.Before.Caster
	case "camber":
		by = side.After.Camber - side.Before.Camber
	case "toe":
		by = side.After.Toe - side.Before.Toe
	default:
		by, unit = v.First.Plan.Height, " mm"
	}
	name := strings.Replace(adv.Move, "front_", "", 1)
	c.Wants = []string{name + " by " + strconv.FormatFloat(math.Round(by*1e4)/1e4, 'f', -1, 64) + unit}
	return c, nil
}

// logDayAdvice records the changes that were taken from advice.
func (a *app) logDayAdvice(s *dayStart, d *testday.Day, o dayPlanOptions) (began string, err error) {
	for i := range d.Changes {
		view, ok := s.log[i]
		if !ok {
			continue
		}
		adv, path, err := a.logAdvice(o.past, s.kart, s.past, view)
		if err != nil {
			return "", fmt.Errorf("the changes were not logged: %w", err)
		}
		began = cmp.Or(began, path)
		d.Changes[i].Advice = string(adv.ID)
	}
	return began, nil
}

// slip turns a fault in something that was asked or entered into a fault of the
// command line.
func slip(err error) error {
	var f *testday.FieldError
	if errors.As(err, &f) {
		return usagef("--%s: %w", f.Field, f.Err)
	}
	return err
}

// spreadOf joins --spread and --earlier.
func (a *app) spreadOf(sd float64, df int, earlier []string) (testday.Spread, error) {
	var days []testday.EarlierDay
	for _, name := range earlier {
		d, err := a.loadDay(name)
		if err != nil {
			return testday.Spread{}, err
		}
		days = append(days, testday.EarlierDay{Name: name, Day: d})
	}
	s, err := testday.SpreadOf(sd, df, days)
	return s, slip(err)
}

func (a *app) loadDay(name string) (*testday.Day, error) {
	data, err := os.ReadFile(name)
	if err != nil {
		return nil, readError("the test day", name, err)
	}
	return parseDay(name, data)
}

func parseDay(name string, data []byte) (*testday.Day, error) {
	d, found := testday.Parse(name, data)
	if diag.HasErrors(found) {
		return nil, fileError{found}
	}
	return d, nil
}

// changeDay changes the day of a file, which nobody else can change meanwhile:
// not another command, and not the page. A day that stays as it is is not
// written.
func (a *app) changeDay(name string, change func(*testday.Day) error) error {
	failed := false // by us, in words for the user already
	err := safefile.Update(name, func(data []byte) ([]byte, error) {
		d, err := parseDay(name, data)
		if err == nil {
			before := d.Text()
			if err = change(d); err == nil {
				if after := d.Text(); !bytes.Equal(before, after) {
					return after, nil
				}
				return data, nil
			}
		}
		failed = true
		return nil, err
	})
	switch {
	case err == nil || failed:
		return err
	case errors.Is(err, safefile.ErrHeld):
		return err
	}
	if _, gone := os.Stat(name); gone != nil {
		return readError("the test day", name, err)
	}
	return fmt.Errorf("%s cannot be written: %w", name, err)
}

// dayKart loads the kart of a day, which a relative path may name as seen from
// the day's own folder. It is nil if the day needs none.
func (a *app) dayKart(d *testday.Day, file, override string) (*profile.Kart, error) {
	name := cmp.Or(override, d.Kart)
	if name == "" {
		return nil, nil
	}
	if _, isDemo := demo.Read(name); !isDemo && override == "" && !filepath.IsAbs(name) {
		if _, err := os.Stat(name); err != nil {
			if beside := filepath.Join(filepath.Dir(file), name); beside != name {
				if _, err := os.Stat(beside); err == nil {
					name = beside
				}
			}
		}
	}
	k, _, err := a.loadKart(name)
	return k, err
}

// free refuses to overwrite a file without --force.
func free(name string, force bool) error {
	if name == "" || force {
		return nil
	}
	if _, err := os.Stat(name); err == nil {
		return fmt.Errorf("%s is there already; choose another name, or --force to overwrite it", name)
	}
	return nil
}

func (a *app) runDayPlan(o dayPlanOptions) error {
	if o.log && (o.save == "" || len(o.facts.symptoms) == 0 || o.past.none) {
		return usagef("--log records changes that are taken from advice with --symptom in the journal, and needs --save, which keeps where they are recorded")
	}
	start, err := a.dayChanges(o)
	if err != nil {
		return err
	}
	wish := testday.Wish{
		Changes: start.changes, Track: o.where, Driver: o.driver, Runs: o.runs, TyreSets: o.tyreSets, Gap: o.gap, Smallest: o.smallest,
		Trend: o.trend, Figure: o.figure, Minutes: o.minutes, Order: o.order, Pick: o.pick,
	}
	if wish.Spread, err = a.spreadOf(o.spread, o.spreadDF, o.earlier); err != nil {
		return err
	}
	for _, name := range []string{o.save, o.html, o.sheet} {
		if err := free(name, o.force); err != nil {
			return err
		}
	}
	p, err := testday.NewPlan(wish, func() (*profile.Kart, string, error) {
		err := a.begin(start, o)
		return start.kart, cmp.Or(cmp.Or(o.kart, a.Getenv("KARTWRIGHT_KART")), demo.Default), err
	})
	if err != nil {
		return slip(err)
	}
	d := p.Day
	sheet, err := d.Sheet(p.Work, 0, a.units)
	if err != nil {
		return err
	}
	began := ""
	if o.log {
		if began, err = a.logDayAdvice(start, d, o); err != nil {
			return err
		}
	}
	if o.save != "" {
		if err := writeFile(o.save, d.Text()); err != nil {
			return err
		}
	}
	if o.html != "" {
		page, err := d.PrintHTML(p.Work, sheet)
		if err != nil {
			return err
		}
		if err := writeFile(o.html, page); err != nil {
			return err
		}
	}
	if o.sheet != "" {
		if err := writeFile(o.sheet, []byte(d.PrintText(p.Work, sheet))); err != nil {
			return err
		}
	}
	if a.json {
		return a.writeJSON(viewDayPlan(p, sheet, o.save, a))
	}
	a.printDayPlan(p, sheet, o, start)
	if began != "" {
		a.para("  ", "Began a new journal, "+began+".")
	}
	if o.log {
		a.para("  ", fmt.Sprintf("The changes are logged as advice; 'kartwright day verdict %s --log' tells the journal what came of them.", o.save))
	}
	return nil
}

func (a *app) printDayPlan(p *testday.Plan, sheet []testday.RunSheet, o dayPlanOptions, start *dayStart) {
	for _, line := range p.About() {
		a.para("", line)
	}
	if was := start.past; was != nil && p.Day.NeedsKart() {
		if was.setting != nil {
			a.para("", fmt.Sprintf("Base: as the kart stands by the journal since %s (%s; --from-profile ignores it).", localTime(was.setting.At), was.setting.ID.Short()))
		}
		for _, n := range []string{was.note, was.moved} {
			if n != "" {
				a.para("", sentence(n))
			}
		}
	}
	a.heading("Plans: less work against more proof")
	a.printf("     %-36s%5s%8s%9s%9s%10s\n", "plan", "runs", "changes", "spanner", "± 95 %", "can show")
	for i := range p.Options {
		option := &p.Options[i]
		mark := "  "
		if i == p.Chosen {
			mark = "→ "
		}
		name := option.Name
		if len([]rune(name)) > 35 {
			name = string([]rune(name)[:34]) + "…"
		}
		worst := option.Worst()
		a.printf("%s%2d %s%5d%8d%s%9s%10s\n", mark, i+1, pad(name, 36), len(option.Order), option.Steps, leftPad(fmt.Sprintf("%.0f min", option.Minutes), 9), testday.SayProof(worst.Half), testday.SayProof(worst.Detect))
	}
	a.para("  ", "± 95 % is how closely each change will be known; \"can show\" is the difference that is shown four times in five.")
	a.heading("Plan: " + p.Option().Name)
	a.para("  ", p.Because())
	for _, line := range p.Promise() {
		a.para("  - ", line)
	}
	a.heading("Runs")
	for _, s := range sheet {
		a.printRunSheet(s)
	}
	for _, n := range p.Work.Remarks(sheet) {
		a.para("  Note: ", n)
	}
	a.heading("Before you start")
	a.para("  ", testday.Fair)
	for _, f := range []struct{ name, what string }{{o.save, "The day is in %s; after each run: kartwright day next %[1]s --laps \"48.60 48.55 …\""}, {o.html, "For printing: %s"}, {o.sheet, "Plain sheet: %s"}} {
		if f.name != "" {
			a.para("  ", fmt.Sprintf(f.what, f.name))
		}
	}
	if o.save == "" {
		a.para("  ", "Nothing is saved; with --save day.toml the day can be run and judged.")
	}
}

func leftPad(s string, n int) string {
	return strings.Repeat(" ", max(0, n-len([]rune(s)))) + s
}

// printRunSheet prints one run: its setup and what to turn before it.
func (a *app) printRunSheet(s testday.RunSheet) {
	a.para(fmt.Sprintf("  %2d  ", s.Number), s.Name+" ("+s.Note()+")")
	for _, t := range s.Turns {
		a.para("        ", t)
	}
	for _, c := range s.Check {
		a.para("        ", c)
	}
}

type dayNextOptions struct {
	kart, laps, lapsFile, says, feel  string
	missed                            string
	time                              float64
	rain, lostTyres, changed, outIn   bool
	unchanged                         bool
	trackChanged, takeBack, missedSet bool
	left                              int
}

func (a *app) dayNextCommand() *cobra.Command {
	var o dayNextOptions
	cmd := &cobra.Command{
		Use:   "next DAY.toml [--laps TIMES | --missed WHY | --rain] …",
		Short: "Record a run, and say what to do now",
		Long: `next says which run comes now and what to turn for it, from how the kart stands.
With a result it records the run first: lap times, a missed run, or rain.

When a run was missed, rained off, the tyres lost (--lost-tyres) or the time ran
out (--left), the rest of the day is planned anew around what was driven
already. The kart is taken to stand as in the last run that was driven: a run
that was missed or rained off counts as not set up for (--unchanged), unless
--changed says that the kart was set up for it already.

Lap times are taken as people paste them: 48.60, 0:48.60 or 48,60, several on a
line or one on each, with a lap number before and a word after that says why a
lap does not count: out, in, traffic, spin, yellow. Or a table with a column
"time".`,
		Example: `  kartwright day next day.toml
  kartwright day next day.toml --laps "49.92 out 48.61 48.42 48.35 49.88 traffic" --feel better
  kartwright day next day.toml --missed "flat tyre" --changed --left 4
  kartwright day next day.toml --rain --unchanged`,
		Args: oneDay,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.missedSet = cmd.Flags().Changed("missed")
			return a.runDayNext(args[0], o)
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.kart, "kart", "", "another profile than the day's own: a `FILE`.toml or a demo kart")
	f.StringVar(&o.laps, "laps", "", "the run's lap `TIMES`")
	f.StringVar(&o.lapsFile, "laps-file", "", "a `FILE` with the run's lap times; - reads them from standard input")
	f.Float64Var(&o.time, "time", 0, "the run's one figure in `SECONDS`, instead of its laps")
	f.BoolVar(&o.outIn, "out-in", false, "the first lap is the out-lap and the last the in-lap")
	f.StringVar(&o.says, "says", "", "the driver's `WORDS`")
	f.StringVar(&o.feel, "feel", "", "against the base: better, same or worse")
	f.StringVar(&o.missed, "missed", "", "the run was not driven, and `WHY`")
	f.BoolVar(&o.changed, "changed", false, "with --missed or --rain: the kart was set up for the run already")
	f.BoolVar(&o.unchanged, "unchanged", false, "with --missed or --rain: the kart was not yet set up for the run; so it is taken without either")
	f.BoolVar(&o.rain, "rain", false, "the run was rained off; what comes after is compared among itself")
	f.BoolVar(&o.lostTyres, "lost-tyres", false, "the tyres are done for: the rest is on another set")
	f.BoolVar(&o.trackChanged, "track-changed", false, "the track is another from now on: oil, dust, other classes' rubber")
	f.IntVar(&o.left, "left", -1, "there is time for this many `RUNS` more")
	f.BoolVar(&o.takeBack, "take-back", false, "take back the last run that was recorded")
	return cmd
}

// oneDay accepts exactly one day file.
func oneDay(cmd *cobra.Command, args []string) error {
	if len(args) != 1 {
		return usagef("%s takes one day file, written by 'kartwright day plan --save'", cmd.CommandPath())
	}
	return nil
}

// entry is what the flags say of the day. The error of lap times that come from
// a file is not one of the command line.
func (o dayNextOptions) entry(a *app) (e testday.Entry, fromFile bool, err error) {
	given := 0
	for _, g := range []bool{o.laps != "", o.lapsFile != "", o.time != 0, o.missedSet, o.rain, o.takeBack} {
		if g {
			given++
		}
	}
	if given > 1 {
		return e, false, usagef("give one of --laps, --laps-file, --time, --missed, --rain and --take-back")
	}
	switch {
	case o.changed && o.unchanged:
		return e, false, usagef("give --changed or --unchanged: the kart was set up for the run already, or it was not")
	case o.unchanged && !o.missedSet && !o.rain:
		return e, false, usagef("--unchanged goes with --missed or --rain")
	}
	e = testday.Entry{
		Laps: o.laps, Time: o.time, Missed: o.missedSet, Why: o.missed, Fitted: o.changed, Rain: o.rain, TakeBack: o.takeBack, OutIn: o.outIn,
		Says: o.says, Feel: testday.Feel(o.feel), LostTyres: o.lostTyres, TrackChanged: o.trackChanged,
	}
	if o.left != -1 {
		e.Left = &o.left
	}
	if o.lapsFile == "" {
		return e, false, nil
	}
	var data []byte
	if o.lapsFile == "-" {
		if data, err = io.ReadAll(a.In); err != nil {
			return e, true, fmt.Errorf("the lap times cannot be read: %w", err)
		}
	} else if data, err = os.ReadFile(o.lapsFile); err != nil {
		return e, true, readError("the lap times", o.lapsFile, err)
	}
	if e.Laps = string(data); strings.TrimSpace(e.Laps) == "" {
		return e, true, errors.New("there are no lap times; expected one on a line, such as 48.60 or 0:48.60")
	}
	return e, true, nil
}

// enter records an entry in a day's file, alone with it while it does; an empty
// one only looks.
func (a *app) enter(file, kart string, e testday.Entry) (d *testday.Day, w *testday.Work, done testday.Entered, err error) {
	work := func(day *testday.Day) error {
		k, err := a.dayKart(day, file, kart)
		if err != nil {
			return err
		}
		d = day
		if w, err = d.Work(k); err != nil {
			return err
		}
		done, err = d.Enter(w, e)
		return err
	}
	if e != (testday.Entry{}) {
		err = a.changeDay(file, work)
		return d, w, done, err
	}
	if d, err = a.loadDay(file); err == nil {
		err = work(d)
	}
	return d, w, done, err
}

func (a *app) runDayNext(file string, o dayNextOptions) error {
	e, fromFile, err := o.entry(a)
	if err != nil {
		return err
	}
	d, w, done, err := a.enter(file, o.kart, e)
	if err != nil {
		if f := (*testday.FieldError)(nil); fromFile && errors.As(err, &f) && f.Field == "laps" {
			return f.Err
		}
		return slip(err)
	}
	said, anew := done.Said, done.Anew
	next := d.Next()
	sheet, err := d.Sheet(w, next, a.units)
	if err != nil {
		return err
	}
	back, check, err := d.PutBack(w, a.units)
	if err != nil {
		return err
	}
	if a.json {
		return a.writeJSON(viewDayNext(d, said, anew, sheet, d.Expected(), back, a))
	}
	if said != "" {
		a.para("", said)
	}
	if anew {
		a.para("", "The rest of the day is planned anew.")
	}
	if len(sheet) == 0 {
		a.printf("\nNo run is left: %s. Judge the day: kartwright day verdict %s\n", d.Gone(), file)
		a.printPutBack(d, back, check)
		return nil
	}
	first := sheet[0]
	a.heading(fmt.Sprintf("Now: run %d of %d, %s", first.Number, len(d.Runs), first.Name))
	if first.NewSet {
		a.para("  ", fmt.Sprintf("Change to tyre set %d.", first.Tyres))
	}
	if len(first.Turns) == 0 {
		a.para("  ", "Nothing to turn.")
	}
	for _, t := range first.Turns {
		a.para("  - ", sentence(t))
	}
	for _, c := range first.Check {
		a.para("  - ", "Check, toe last. "+sentence(c))
	}
	if len(first.Turns) > 0 {
		a.para("  ", fmt.Sprintf("About %.0f min.", first.Minutes))
		a.printCautions(first.Safety())
	}
	if len(sheet) > 1 {
		a.heading("Then")
		for _, s := range sheet[1:] {
			a.para(fmt.Sprintf("  %2d  ", s.Number), s.Name+fmt.Sprintf(" (tyre set %d)", s.Tyres))
		}
	}
	a.heading("What the day will tell, if it goes on so")
	for _, line := range d.Outlook() {
		a.para("  - ", line)
	}
	return nil
}

// printPutBack says how the kart gets back to the base.
func (a *app) printPutBack(d *testday.Day, turns, check []string) {
	if len(turns) == 0 {
		a.para("", "The kart stands on the base.")
		return
	}
	a.para("", "The kart stands "+d.Stands()+".")
	a.heading("To put the base back")
	for _, t := range turns {
		a.para("  - ", sentence(t))
	}
	for _, c := range check {
		a.para("  - ", "Check, toe last. "+sentence(c))
	}
	a.printCautions(advisor.Safety())
}

type dayVerdictOptions struct {
	trend, figure, svg string
	earlier            []string
	spread, smallest   float64
	spreadDF           int
	laps, force        bool
	smallestSet        bool
	journal            string
	kart               string
	log                bool
}

func (a *app) dayVerdictCommand() *cobra.Command {
	var o dayVerdictOptions
	cmd := &cobra.Command{
		Use:   "verdict DAY.toml",
		Short: "What each change was worth, with drift taken out",
		Long: `verdict sums up each run so that traffic and spins do not count, takes the drift
of track and tyres out, and says of each change how much it is worth, how sure
that is, and whether it can be told at all. Differences are changed minus base:
minus is quicker. The driver's words stand beside the clock.

The spread between runs comes from the day's own spare runs, together with that
of earlier days if the plan was made with one, or if --earlier or --spread with
--spread-df give it here.

--log tells the journal how each change that was taken from advice turned out,
by the clock and by the driver's words, so that its rules are believed by it.`,
		Example: `  kartwright day verdict day.toml
  kartwright day verdict day.toml --earlier spring.toml --svg day.svg --laps`,
		Args: oneDay,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.smallestSet = cmd.Flags().Changed("smallest")
			return a.runDayVerdict(args[0], o)
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.kart, "kart", "", "another profile than the day's own, for the way back to the base: a `FILE`.toml or a demo kart")
	f.StringVar(&o.trend, "trend", "", "another form of the drift than planned: none, linear, quadratic")
	f.StringVar(&o.figure, "figure", "", "another figure of a run: typical, median, huber, or \"lap 7\"")
	f.Float64Var(&o.smallest, "smallest", 0, "another smallest difference that matters, in `SECONDS` a lap")
	f.StringArrayVar(&o.earlier, "earlier", nil, "a day `FILE` of an earlier day to take the spread from; may be repeated")
	f.Float64Var(&o.spread, "spread", 0, "spread between runs on one setting in `SECONDS`; needs --spread-df")
	f.IntVar(&o.spreadDF, "spread-df", 0, "how many spare runs the spread was found from")
	f.StringVar(&o.svg, "svg", "", "draw the runs with the drift line into this `FILE`.svg")
	f.BoolVar(&o.force, "force", false, "overwrite the drawing if it is there already")
	journalFlag(cmd, &o.journal)
	f.BoolVar(&o.log, "log", false, "log how the changes that were taken from advice turned out")
	f.BoolVar(&o.laps, "laps", false, "also list the laps that were left out, and other figures of each run")
	return cmd
}

func (a *app) runDayVerdict(file string, o dayVerdictOptions) error {
	d, err := a.loadDay(file)
	if err != nil {
		return err
	}
	if o.trend != "" {
		if d.Trend, err = testday.ParseTrend(o.trend); err != nil {
			return usagef("--trend: %w", err)
		}
	}
	if o.figure != "" {
		if d.Figure, err = testday.ParseFigure(o.figure); err != nil {
			return usagef("--figure: %w", err)
		}
	}
	if o.smallestSet {
		if o.smallest < 0 {
			return usagef("--smallest must not be negative")
		}
		d.Smallest = o.smallest
	}
	if o.spread != 0 && o.spreadDF < 1 {
		return usagef("--spread needs --spread-df: how many spare runs it was found from; a guess cannot make a verdict surer")
	}
	if o.spread != 0 || o.spreadDF != 0 || len(o.earlier) > 0 {
		if d.Spread, err = a.spreadOf(o.spread, o.spreadDF, o.earlier); err != nil {
			return err
		}
	}
	if err := free(o.svg, o.force); err != nil {
		return err
	}
	v, err := d.Judge()
	if err != nil {
		return fmt.Errorf("%s: %w", file, err)
	}
	if o.svg != "" {
		if err := writeFile(o.svg, v.SVG(d)); err != nil {
			return err
		}
	}
	var logged []journal.Record
	var notes []string
	var failed error
	if o.log {
		if logged, notes, err = a.logDay(d, v, o.journal); err != nil {
			failed = couldNot{"the verdict was not logged: " + err.Error()}
		}
	}
	if a.json {
		out := viewDayVerdict(d, v)
		out.Logged, out.LogNotes = logged, notes
		return errors.Join(a.writeJSON(out), failed)
	}
	a.printDayVerdict(d, v, o)
	if d.Next() == len(d.Runs) {
		turns, check, err := a.wayBack(d, file, o.kart)
		if err != nil {
			a.para("  ", fmt.Sprintf("How to put the base back cannot be said: %v.", err))
		} else {
			a.printf("\n")
			a.printPutBack(d, turns, check)
		}
	}
	if o.log && failed == nil {
		a.heading(map[bool]string{true: "Logged", false: "Nothing new to log"}[len(logged) > 0])
		for _, e := range logged {
			a.printEntry(e)
		}
		for _, n := range notes {
			a.para("  - ", sentence(n))
		}
		if d.On(d.Next()) != 0 {
			a.para("  - ", "If the kart is to stay so, say it to the log: 'kartwright log add --set'.")
		}
	}
	return failed
}

// wayBack says how the kart of a day gets back to the base.
func (a *app) wayBack(d *testday.Day, file, kart string) (turns, check []string, err error) {
	k, err := a.dayKart(d, file, kart)
	if err != nil {
		return nil, nil, inWords(err)
	}
	w, err := d.Work(k)
	if err != nil {
		return nil, nil, err
	}
	return d.PutBack(w, a.units)
}

// logDay logs how each change that was taken from advice turned out, each once:
// what the log has already is not added again.
func (a *app) logDay(d *testday.Day, v *testday.Verdict, path string) (entries []journal.Record, notes []string, err error) {
	if path, err = a.hasJournal(pastFlags{journal: path}); err == nil && path == "" {
		err = errors.New("there is no journal; name it with --journal")
	}
	if err != nil {
		return nil, nil, err
	}
	err = a.withJournal(path, func(ctx context.Context, j *journal.Journal) error {
		there := false
		for _, e := range v.Effects {
			c := d.Changes[e.Change]
			if c.Advice == "" {
				notes = append(notes, c.Name+" was not taken from advice in the journal, so no rule learns from it")
				continue
			}
			r, err := j.Find(ctx, c.Advice)
			if err != nil {
				return err
			}
			adv, ok := r.(*journal.Advice)
			if !ok {
				return fmt.Errorf("entry %s, named by the change %q, is no advice", r.Head().ID.Short(), c.Name)
			}
			out := dayOutcome(adv, e, v.Pooled.DF)
			out.At = a.Now()
			if out.Judge() != nil {
				notes = append(notes, c.Name+" cannot be told, by the clock or by the driver; nothing is logged of it")
				continue
			}
			switch has, err := hasOutcome(ctx, j, out); {
			case err != nil:
				return err
			case has:
				notes, there = append(notes, c.Name+": this is in the log already"), true
				continue
			}
			entries = append(entries, out)
		}
		switch {
		case len(entries) == 0 && !there:
			return errors.New(strings.Join(notes, "; "))
		case d.On(d.Next()) != 0:
			notes = append(notes, "the log takes the kart to stand as before the day, but it stands "+d.Stands()+": put the base back before the next advice")
		}
		if len(entries) == 0 {
			return nil
		}
		return j.Add(ctx, entries...)
	})
	if err != nil {
		return nil, nil, err
	}
	return entries, notes, nil
}

// hasOutcome reports whether the journal has what a day said of an advice.
func hasOutcome(ctx context.Context, j *journal.Journal, o *journal.Outcome) (bool, error) {
	list, err := j.Recent(ctx, journal.Filter{Kart: o.Kart, Kinds: []journal.Kind{journal.KindOutcome}})
	for _, r := range list {
		was, ok := r.(*journal.Outcome)
		if ok && was.Advice == o.Advice && strings.HasPrefix(was.Note, dayNote) { // the latest; one before it was corrected
			same := func(a, b *float64) bool { return a == nil && b == nil || a != nil && b != nil && *a == *b }
			return was.Note == o.Note && slices.Equal(was.Verdicts, o.Verdicts) && same(was.Effect, o.Effect) && same(was.EffectSE, o.EffectSE) && same(was.EffectDF, o.EffectDF), err
		}
	}
	return false, err
}

// dayNote begins the note of an outcome that a test day said.
const dayNote = "test day: "

// dayOutcome is what a day says of the advice that a change was taken from.
func dayOutcome(adv *journal.Advice, e testday.Effect, df int) *journal.Outcome {
	out := &journal.Outcome{Header: journal.Header{Kart: adv.Kart}, Advice: adv.ID, Followed: true, Note: dayNote + e.Text}
	if se, n := e.SE, float64(df); se > 0 && !math.IsInf(se, 1) && df > 0 && !math.IsNaN(e.Value) {
		effect := e.Value
		out.Effect, out.EffectSE, out.EffectDF = &effect, &se, &n
	}
	word, most, tie := testday.NoWord, 0, false
	for _, f := range []testday.Feel{testday.Better, testday.Same, testday.Worse} {
		switch n := e.Feel[f]; {
		case n > most:
			word, most, tie = f, n, false
		case n == most:
			tie = true
		}
	}
	if most > 0 && !tie { // a driver who is of two minds has not spoken
		for _, s := range adv.Symptoms {
			if !strings.HasPrefix(s, "!") {
				out.Verdicts = append(out.Verdicts, journal.SymptomVerdict{Symptom: s, Verdict: string(word)})
			}
		}
	}
	return out
}

func (a *app) printDayVerdict(d *testday.Day, v *testday.Verdict, o dayVerdictOptions) {
	title := "Verdict"
	if d.Track != "" {
		title += ", " + d.Track
	}
	a.printf("%s\n", title)
	for i, e := range v.Effects {
		a.para("  - ", sentence(d.Changes[e.Change].Name+": "+v.Say(d, i)))
		for _, more := range e.More() {
			a.para("    ", more)
		}
	}
	if d.Smallest > 0 {
		a.para("  ", fmt.Sprintf("What matters is %.2f s a lap.", d.Smallest))
	}
	a.heading("Runs (minus is quicker)")
	a.printf("  %3s  %s%-8s%9s%10s  %s\n", "run", pad("set-up", 26), "laps", "time", "off line", "driver")
	for _, q := range v.Runs {
		r := d.Runs[q.Run]
		name := d.Say(r.Setup)
		if len([]rune(name)) > 25 {
			name = string([]rune(name)[:24]) + "…"
		}
		if !q.Used {
			a.para(fmt.Sprintf("  %3d  %s", q.Run+1, pad(name, 26)), q.Why)
			continue
		}
		odd := " "
		if q.Odd {
			odd = "!"
		}
		a.para(strings.TrimRight(fmt.Sprintf("  %3d  %s%-8s%9.3f%10s%s ", q.Run+1, pad(name, 26), q.LapsKept(r), q.Value, strings.TrimSuffix(testday.Seconds(q.Residual, 3), " s"), odd), " ")+"  ", r.Words())
	}
	a.printf("\n")
	for _, line := range v.Chart(d) {
		a.printf("%s\n", line)
	}
	a.para("  ", v.Legend(d)+".")
	a.heading("Drift and spread")
	for _, line := range v.Account() {
		a.para("  - ", line)
	}
	if len(v.Notes) > 0 {
		a.heading("Note")
		for _, n := range v.Notes {
			a.para("  - ", sentence(n))
		}
	}
	if o.laps {
		a.printLaps(d, v)
	}
}

func (a *app) printLaps(d *testday.Day, v *testday.Verdict) {
	a.heading("Laps")
	a.printf("  %3s%10s%10s%10s%10s%10s%10s%12s\n", "run", d.Figure.String(), "median", "huber", "trimmed", "mean", "best", "a lap")
	for _, q := range v.Runs {
		s := q.Summary
		if !q.Used || len(s.Kept) == 0 {
			continue
		}
		a.printf("  %3d%10.3f%10.3f%10.3f%10.3f%10.3f%10.3f%12s\n", q.Run+1, s.Value, s.Median, s.Huber, s.Trimmed, s.Mean, s.Best, strings.TrimSuffix(testday.Seconds(s.Line.Slope, 4), " s"))
		for _, l := range s.Left {
			a.para("       ", fmt.Sprintf("lap %d, %s, left out: %s", l.Number, strings.Fields(l.Lap.String())[0], l.Why))
		}
	}
}
