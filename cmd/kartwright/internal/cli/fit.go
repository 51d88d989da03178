package cli

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"kartwright/advisor/profile"
	"kartwright/advisor/profile/demo"
	"kartwright/advisor/readings"
	"kartwright/geometry/fit"
	"kartwright/rules/diag"
)

func (a *app) fitCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "fit",
		Short: "This kart's own dimensions from readings: template, run, next",
		Long: `fit learns the numbers of a profile that carry a ± or are assumed from what was
read on the kart: camber, toe, caster and more, at several settings of its
adjusters.

  kartwright fit template readings.toml --kart mykart.toml
      writes a readings file to fill in at the kart (.csv for a spreadsheet)
  kartwright fit run readings.toml --kart mykart.toml
      says what the readings teach; --write puts it into the profile
  kartwright fit next readings.toml --kart mykart.toml
      says which reading would teach most next

Every ± means about 95 % sure: nineteen times out of twenty the truth lies
within it.`,
		RunE: needSub,
	}
	cmd.AddCommand(a.fitTemplateCommand(), a.fitRunCommand(), a.fitNextCommand())
	return cmd
}

func (a *app) fitTemplateCommand() *cobra.Command {
	var kart string
	var asCSV, force bool
	cmd := &cobra.Command{
		Use:   "template FILE",
		Short: "Write a readings file for this kart to fill in",
		Long: `template writes a readings file with a row for each side and stand of the kart:
everything at standard, the column turned left and right, and each adjuster near
both ends of its travel. What stays empty was not read, so fill in what you can.

The file is TOML, or a table for a spreadsheet with --csv or a name that ends in
.csv. An existing file is never overwritten without --force.`,
		Example: `  kartwright fit template readings.toml
  kartwright fit template readings.csv --kart cedar`,
		Args: oneFile("to write"),
		RunE: func(_ *cobra.Command, args []string) error { return a.runFitTemplate(args[0], kart, asCSV, force) },
	}
	kartFlag(cmd, &kart)
	cmd.Flags().BoolVar(&asCSV, "csv", false, "write a table for a spreadsheet; its name must end in .csv")
	cmd.Flags().BoolVar(&force, "force", false, "overwrite an existing file")
	return cmd
}

// oneFile accepts exactly one file.
func oneFile(what string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) != 1 {
			return usagef("%s takes one readings file %s\nRun '%s --help' for usage.", cmd.CommandPath(), what, cmd.CommandPath())
		}
		return nil
	}
}

func (a *app) runFitTemplate(name, kart string, asCSV, force bool) error {
	isCSV := strings.EqualFold(filepath.Ext(name), ".csv")
	if asCSV && !isCSV {
		return usagef("--csv: %s does not end in .csv, by which a table is known when it is read", name)
	}
	k, _, err := a.loadKart(kart)
	if err != nil {
		return err
	}
	if _, err := os.Stat(name); err == nil && !force {
		return fmt.Errorf("%s is there already; choose another name, or --force to overwrite it", name)
	}
	text, rows := readings.Template(k, isCSV)
	if err := writeFile(name, []byte(text)); err != nil {
		return err
	}
	if a.json {
		return a.writeJSON(fitTemplateJSON{"fit template", name, k.Name, rows})
	}
	a.printf("Wrote %s: %d rows for kart %s, %d on each side.\n", name, rows, k.Name, rows/2)
	a.para("", "Fill in what you can read; what stays empty does no harm. Then:")
	a.printf("  kartwright fit run %s%s\n", name, kartArg(kart))
	return nil
}

// kartArg repeats --kart in a command that is proposed.
func kartArg(kart string) string {
	if kart == "" {
		return ""
	}
	return " --kart " + kart
}

type fitOptions struct {
	file, kart, answer, side string
	only                     []string
	write                    bool
}

func (o *fitOptions) add(cmd *cobra.Command) {
	kartFlag(cmd, &o.kart)
	f := cmd.Flags()
	f.StringVar(&o.answer, "answer", "", "the `ANSWER` that matters: how far the adjuster goes for a change of caster, camber, toe or height; the first that this kart has if not given")
	f.StringVar(&o.side, "side", "both", "`SIDE` whose answer matters: both, left or right")
	f.StringSliceVar(&o.only, "only", nil, "learn only these `NUMBERS` and take the others as exact, e.g. caster,camber,\"pivot span\"")
}

func (a *app) fitRunCommand() *cobra.Command {
	var o fitOptions
	cmd := &cobra.Command{
		Use:   "run READINGS",
		Short: "Learn the kart's numbers from readings, and say how far to trust them",
		Long: `run finds the numbers of the profile that explain the readings best, given how
far each reading and each number may be off. It prints each number before and
after, every reading against the fitted kart, readings that cannot be right, what
the readings cannot tell apart, and how the turns for a usual change come out.

Readings that contradict the kart so clearly that a slip must be the cause, a
wrong unit, a wrong sign, left for right, are refused (exit status 3).

--write puts what was learnt into the profile with its ±; each old value stays
above the new one as a comment with the date. Nothing is written while a reading
looks wrong, or from a file that the profile has learnt from already: readings
that count twice make the ± too narrow. Put new readings into a new file.`,
		Example: `  kartwright fit run readings.toml --kart mykart.toml
  kartwright fit run readings.csv --kart mykart.toml --write`,
		Args: oneFile("to learn from"),
		RunE: func(_ *cobra.Command, args []string) error {
			o.file = args[0]
			return a.runFit(o)
		},
	}
	o.add(cmd)
	cmd.Flags().BoolVar(&o.write, "write", false, "write what was learnt into the profile")
	return cmd
}

func (a *app) fitNextCommand() *cobra.Command {
	var o fitOptions
	cmd := &cobra.Command{
		Use:   "next READINGS",
		Short: "Rank the readings that would teach most next",
		Long: `next ranks what could be read next on this kart by how sure it would make the
answer that matters. It considers the sorts of readings that the file has, or
states a ± for, with each adjuster in turn over its travel.`,
		Example: `  kartwright fit next readings.toml --kart mykart.toml
  kartwright fit next readings.toml --kart mykart.toml --answer camber --side left`,
		Args: oneFile("to start from"),
		RunE: func(_ *cobra.Command, args []string) error {
			o.file = args[0]
			return a.runFitNext(o)
		},
	}
	o.add(cmd)
	return cmd
}

// fitted is a fit with all that its commands print.
type fitted struct {
	kart    *profile.Kart
	file    *readings.File
	name    string // of the readings file
	notes   []diag.Diagnostic
	learn   []readings.Learnable
	exact   []string
	answers []readings.Answer
	again   bool // the profile has learnt from a file of this name already
	*fit.Result
}

// fit reads what the options name and fits it.
func (a *app) fit(o fitOptions) (*fitted, error) {
	k, _, err := a.loadKart(o.kart)
	if err != nil {
		return nil, err
	}
	x := &fitted{kart: k, name: o.file}
	if x.answers, err = chooseAnswers(k, o); err != nil {
		return nil, err
	}
	if x.learn, x.exact, err = readings.Learnables(k); err != nil {
		return nil, err
	}
	if len(x.learn) == 0 {
		return nil, fmt.Errorf("kart %s has no number to learn: every one is stated without a ±; write one behind a number that may be wrong, \"12 deg ± 0.5 deg\"", k.Name)
	}
	if x.learn, err = readings.Only(x.learn, o.only); err != nil {
		return nil, usagef("--only: %w", err)
	}
	data, err := os.ReadFile(o.file)
	if err != nil {
		return nil, readError("the readings file", o.file, err)
	}
	if name := a.kartName(o.kart); !isDemo(name) {
		text, err := os.ReadFile(name)
		if err != nil {
			return nil, readError("the kart's profile", name, err)
		}
		x.again = bytes.Contains(text, []byte(" readings, "+filepath.Base(o.file)+"\n"))
	}
	if x.file, x.notes = readings.Parse(o.file, data, k); x.file == nil {
		return nil, fileError{x.notes}
	}
	x.Result, err = fit.Fit(x.file.Problem(k, x.learn, x.answers, a.units))
	var faults *fit.Faults
	if errors.As(err, &faults) {
		return nil, fileError{x.file.Findings(faults)}
	}
	return x, err
}

// chooseAnswers returns the answers of one figure that --answer and --side name.
func chooseAnswers(k *profile.Kart, o fitOptions) ([]readings.Answer, error) {
	on, err := sides(o.side)
	if err != nil {
		return nil, err
	}
	all := readings.Answers(k)
	name := o.answer
	var names, has []string
	for n, f := range figureByName {
		names = append(names, n)
		if slices.ContainsFunc(all, func(x readings.Answer) bool { return x.Figure == f }) {
			has = append(has, n)
		}
	}
	slices.Sort(names)
	slices.Sort(has)
	switch {
	case len(all) == 0 && name == "":
		return nil, nil // nothing can be turned; the numbers are an answer too
	case name == "":
		name = all[0].Figure.String()
		for n, f := range figureByName {
			if f == all[0].Figure {
				name = n
			}
		}
	case !slices.Contains(names, name):
		return nil, usagef("--answer is %q; %s", name, diag.Expected(names))
	case !slices.Contains(has, name):
		return nil, usagef("--answer: no adjuster of kart %s sets the %s by itself; it has answers for %s", k.Name, name, cmp.Or(strings.Join(has, ", "), "nothing"))
	}
	out := slices.DeleteFunc(all, func(x readings.Answer) bool {
		return x.Figure != figureByName[name] || !slices.Contains(on, x.Side)
	})
	if len(out) == 0 {
		return nil, usagef("--side: the %s side has no adjuster that sets the %s by itself", o.side, name)
	}
	return out, nil
}

func (a *app) runFit(o fitOptions) error {
	if o.write {
		if isDemo(a.kartName(o.kart)) {
			return usagef("--write needs a profile of your own: a demo kart is part of the program; make one with 'kartwright kart new'")
		}
	}
	x, err := a.fit(o)
	if err != nil {
		return err
	}
	apart, err := x.apart()
	if err != nil {
		return err
	}
	next, err := x.next(2)
	if err != nil {
		return err
	}
	var changes []profile.Change
	doubt := x.doubt()
	if o.write && doubt == "" {
		if changes, err = a.writeFit(o, x); err != nil {
			return err
		}
	}
	if a.json {
		err = a.writeJSON(a.viewFit(x, apart, next, changes))
	} else {
		a.printFit(x, apart, next)
		a.printFitWritten(o, x, changes, doubt)
	}
	if err == nil && o.write && doubt != "" {
		return couldNot{"nothing was written: " + doubt}
	}
	return err
}

// kartName is what loadKart loads.
func (a *app) kartName(name string) string {
	return cmp.Or(name, cmp.Or(a.Getenv("KARTWRIGHT_KART"), demo.Default))
}

func isDemo(name string) bool {
	_, ok := demo.Read(name)
	return ok
}

// doubt says why the fit must not be written, or "".
func (x *fitted) doubt() string {
	if x.again {
		return "the profile has learnt from a file of this name already"
	}
	if slices.ContainsFunc(x.Rows, func(r fit.Row) bool { return r.Outlier }) {
		return "a reading contradicts the others"
	}
	for _, w := range x.Warnings {
		switch w.Code {
		case fit.Scatter:
			return "the readings scatter more than their ± allows"
		case fit.NotConverged:
			return "the search for the best numbers did not end"
		}
	}
	return ""
}

// taught reports whether the readings made a number better known, or moved it
// perceptibly.
func taught(p fit.Learned) bool {
	return p.SD < 0.9*p.Param.SD || math.Abs(p.Value-p.Param.Value) > 0.25*p.Param.SD
}

// writeFit writes what was learnt into the profile.
func (a *app) writeFit(o fitOptions, x *fitted) ([]profile.Change, error) {
	name := a.kartName(o.kart)
	data, err := os.ReadFile(name)
	if err != nil {
		return nil, readError("the kart's profile", name, err)
	}
	on := x.file.Date
	if on.IsZero() {
		on = a.Now()
	}
	edits := x.edits()
	if len(edits) == 0 {
		return nil, nil
	}
	out, changes, err := profile.Rewrite(name, data, on, edits...)
	if err != nil {
		return nil, fmt.Errorf("nothing was written: %w", err)
	}
	return changes, writeFile(name, out)
}

// edits are the numbers that the readings taught, as the profile writes them.
func (x *fitted) edits() []profile.Edit {
	var out []profile.Edit
	for _, p := range x.Params {
		if p.Zero == "" && taught(p) {
			out = append(out, profile.Edit{Path: p.Name, Value: measuredText(p), Note: fmt.Sprintf("learnt from %d readings, %s", len(x.Rows), filepath.Base(x.name))})
		}
	}
	return out
}

// measuredText writes a learnt number for a profile: two significant digits of
// its ±, and the value as finely (JCGM 100:2008, 7.2.6).
func measuredText(p fit.Learned) string {
	v, pm, unit := inUnit(p.Unit, p.Value), inUnit(p.Unit, readings.Coverage*p.SD), unitName(p.Unit)
	decimals := 2
	if pm > 0 {
		decimals = min(6, max(2, 1-int(math.Floor(math.Log10(pm)))))
	}
	say := func(v float64) string {
		return strings.TrimSpace(strconv.FormatFloat(v, 'f', decimals, 64) + " " + unit)
	}
	return say(v) + " ± " + say(pm)
}

// inUnit is a stored value in degrees or mm.
func inUnit(u fit.Unit, v float64) float64 {
	if u == fit.Radian {
		return v * 180 / math.Pi
	}
	return v
}

func unitName(u fit.Unit) string {
	return map[fit.Unit]string{fit.Radian: "deg", fit.Millimetre: "mm"}[u] // a ratio has none
}

// apart returns, a sentence each, the numbers that the readings cannot tell
// apart and the reading that would. What they say of a reading's ± holds for two
// standard deviations because it holds for one.
func (x *fitted) apart() ([]string, error) {
	lines, err := x.Report()
	return slices.DeleteFunc(lines, func(l string) bool { return !strings.HasPrefix(l, "These readings cannot tell ") }), err
}

// noticeable is how much surer an answer must become for a reading to be worth
// naming.
const noticeable = 0.97

// next returns up to n readings that would make the least sure answer surer.
func (x *fitted) next(n int) (*nextReadings, error) {
	if len(x.Answers) == 0 {
		return nil, nil
	}
	worst := 0
	for i := range x.Answers {
		if x.Answers[i].SD > x.Answers[worst].SD*1.001 { // equal but for rounding is equal
			worst = i
		}
	}
	lessons, err := fit.Next(x.Result, x.Answers[worst].Name, nil)
	if err != nil {
		return nil, err
	}
	lessons = slices.DeleteFunc(lessons, func(l fit.Lesson) bool { return !(l.SD < noticeable*l.Before) })
	return &nextReadings{x.answers[worst], x.Answers[worst], lessons[:min(n, len(lessons))]}, nil
}

type nextReadings struct {
	answer  readings.Answer
	known   fit.Answered
	lessons []fit.Lesson
}

func (a *app) runFitNext(o fitOptions) error {
	x, err := a.fit(o)
	if err != nil {
		return err
	}
	next, err := x.next(8)
	if err != nil {
		return err
	}
	if next == nil {
		return fmt.Errorf("kart %s has no adjuster whose turns could be made surer; 'kartwright fit run' says what the readings tell of its numbers", x.kart.Name)
	}
	if a.json {
		return a.writeJSON(a.viewFitNext(x, next))
	}
	a.printFitNext(x, next)
	return nil
}
