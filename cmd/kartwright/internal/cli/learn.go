package cli

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"kartwright/advisor"
	"kartwright/advisor/profile"
	"kartwright/geometry"
	"kartwright/geometry/frontend"
	"kartwright/geometry/loads"
)

type learnOptions struct {
	kart       string
	steer      string
	sideways   float64
	svg, sheet string
}

func (a *app) learnCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "learn",
		Short: "What each adjustment is, and what it does on this kart",
		Long: `learn explains an adjustment: what it is, what the driver notices in each part
of a corner, and what it does on this kart in numbers and drawings: a step less,
as it stands, a step more. 'learn try' changes things in words and shows what
becomes of the kart; 'learn quiz' asks.`,
		RunE: needSub,
	}
	for _, t := range advisor.Topics() {
		cmd.AddCommand(a.learnTopicCommand(t))
	}
	cmd.AddCommand(a.learnTryCommand(), a.learnQuizCommand())
	return cmd
}

func (o *learnOptions) bendFlags(cmd *cobra.Command) {
	kartFlag(cmd, &o.kart)
	f := cmd.Flags()
	f.StringVar(&o.steer, "steer", fmt.Sprintf("%.0fdeg", advisor.SlowBend.Steer.Degrees()), "`ANGLE` of the front wheels in the bend that is computed")
	f.Float64Var(&o.sideways, "sideways", float64(advisor.SlowBend.Ay), "sideways acceleration in that bend, in `G`")
}

func (o *learnOptions) bend() (advisor.Bend, error) {
	steer, err := geometry.ParseAngle(o.steer)
	switch {
	case err != nil:
		return advisor.Bend{}, usagef("--steer: %w", err)
	case steer <= 0 || steer > 30*geometry.Degree:
		return advisor.Bend{}, usagef("--steer: %v is outside what a kart's front wheels do; more than 0° and at most 30°", steer)
	case !(o.sideways >= 0 && o.sideways <= 3):
		return advisor.Bend{}, usagef("--sideways: %g g is outside what a kart does; 0 to 3", o.sideways)
	}
	return advisor.Bend{Steer: steer, Ay: loads.Accel(o.sideways)}, nil
}

func (a *app) learnTopicCommand(t advisor.Topic) *cobra.Command {
	var o learnOptions
	title := t.Title
	cmd := &cobra.Command{
		Use:     t.Name,
		Short:   title + ": what it is and what it does on this kart",
		Long:    fmt.Sprintf("%s explains %s and computes it on this kart: a step less, as it stands, a\nstep more.", t.Name, lowerTitle(t)),
		Example: fmt.Sprintf("  kartwright learn %s\n  kartwright learn %s --kart cedar --svg %s.svg --sheet %s.html", t.Name, t.Name, t.Name, t.Name),
		Args:    noArgs,
		RunE:    func(*cobra.Command, []string) error { return a.runLearn(t, o) },
	}
	o.bendFlags(cmd)
	f := cmd.Flags()
	f.StringVar(&o.svg, "svg", "", "also write the drawings to `FILE`.svg")
	f.StringVar(&o.sheet, "sheet", "", "also write a page to print, `FILE`.html")
	return cmd
}

// lowerTitle is a topic's title inside a sentence.
func lowerTitle(t advisor.Topic) string {
	if strings.HasPrefix(t.Title, "Ackermann") {
		return t.Title
	}
	return strings.ToLower(t.Title[:1]) + t.Title[1:]
}

func (a *app) runLearn(t advisor.Topic, o learnOptions) error {
	bend, err := o.bend()
	if err != nil {
		return err
	}
	k, _, err := a.loadKart(o.kart)
	if err != nil {
		return err
	}
	l, err := advisor.Teach(k, t, bend)
	if err != nil {
		return bendError(err)
	}
	var files []string
	if o.svg != "" || o.sheet != "" {
		d, err := a.lessonDrawings(l)
		if err != nil {
			return err
		}
		if o.svg != "" {
			if err := writeFile(o.svg, []byte(d.all())); err != nil {
				return err
			}
			files = append(files, o.svg)
		}
		if o.sheet != "" {
			page, err := a.sheet(l, d)
			if err != nil {
				return err
			}
			if err := writeFile(o.sheet, page); err != nil {
				return err
			}
			files = append(files, o.sheet)
		}
	}
	if a.json {
		return a.writeJSON(viewLesson(l, files))
	}
	a.printLesson(l)
	for _, f := range files {
		a.printf("Wrote %s\n", f)
	}
	return nil
}

// bendError says in the user's words that the bend is more than the kart can
// stand.
func bendError(err error) error {
	var tip *loads.TipError
	if errors.As(err, &tip) {
		return fmt.Errorf("in such a bend this kart would tip over (%w); try a smaller --sideways", err)
	}
	return err
}

// lessonRow is a line of a lesson's table.
type lessonRow struct {
	name  string
	bend  bool // about the bend, not about the kart on its stand
	cells [3]string
}

// lessonRows are the lines that differ between the stages.
func (a *app) lessonRows(l *advisor.Lesson) []lessonRow {
	u := a.units
	var out []lessonRow
	add := func(name string, bend bool, text func(*advisor.Stage) string) {
		r := lessonRow{name: name, bend: bend}
		for i := range l.Stages {
			r.cells[i] = text(&l.Stages[i])
		}
		if r.cells[0] != r.cells[1] || r.cells[2] != r.cells[1] {
			out = append(out, r)
		}
	}
	for _, r := range a.rows() {
		add(strings.TrimSpace(r.name), false, func(s *advisor.Stage) string { return r.values(s.Figures[0]) })
	}
	add("front track", false, func(s *advisor.Stage) string { return u.Length(profile.FrontTrack(s.Figures)) })
	add("front height", false, func(s *advisor.Stage) string {
		return u.LengthBy(profile.RideHeightChange(l.Stages[1].Figures, s.Figures))
	})
	for _, r := range a.bendRows() {
		add(r.name, true, func(s *advisor.Stage) string { return r.text(s.InBend[0]) })
	}
	add("inner front wheel", true, func(s *advisor.Stage) string { return advisor.SayWeight(s.InBend[0].InnerFront) })
	add("outer front wheel", true, func(s *advisor.Stage) string { return advisor.SayWeight(s.InBend[0].OuterFront) })
	add("inner wheel steers", true, func(s *advisor.Stage) string { return u.Angle(s.InBend[0].InnerSteer) })
	add("outer wheel steers", true, func(s *advisor.Stage) string { return u.Angle(s.InBend[0].OuterSteer) })
	add("steering is", true, func(s *advisor.Stage) string {
		r := effortOf(l, s)
		if math.IsNaN(r) || math.IsInf(r, 0) {
			return "not compared"
		}
		return fmt.Sprintf("%.2f × now", r)
	})
	return out
}

// effortOf is the steering effort at a stage as a multiple of now.
func effortOf(l *advisor.Lesson, s *advisor.Stage) float64 {
	now := l.Stages[1].InBend
	return (s.InBend[0].Effort + s.InBend[1].Effort).Of(now[0].Effort + now[1].Effort)
}

func (a *app) printLesson(l *advisor.Lesson) {
	t := l.Topic
	a.para("", sentence(t.Title+" on kart "+l.Kart.Name))
	a.heading("What it is")
	a.para("  ", t.What)
	a.heading("What it does")
	a.para("  ", t.Does)
	a.heading("What the driver notices")
	for _, f := range t.Feel {
		lead := pad("  "+f.Phase, 22)
		if f.More == f.Less {
			a.para(lead, f.More)
			continue
		}
		a.para(lead+"more: ", f.More)
		a.para(pad("", 22)+"less: ", f.Less)
	}
	a.printf("\n")
	a.para("", "On this kart: "+l.Step)
	a.printLessonTable(l)
	a.printHow(l)
	a.printPlot(l)
	a.heading("Not agreed")
	a.para("  ", t.Split)
	a.printf("\n")
	a.para("", lessonCaveat(l, a))
}

func (a *app) printLessonTable(l *advisor.Lesson) {
	rows := a.lessonRows(l)
	line := func(name string, cells [3]string) {
		a.printf("%s\n", strings.TrimRight("  "+pad(name, 21)+pad(cells[0], 19)+pad(cells[1], 19)+cells[2], " "))
	}
	line("", [3]string{l.Stages[0].Name, l.Stages[1].Name, l.Stages[2].Name})
	bend := false
	for _, r := range rows {
		if r.bend && !bend {
			a.para("  ", "In a slow left turn ("+l.Bend.String()+"):")
			bend = true
		}
		line(r.name, r.cells)
	}
	if !bend {
		a.para("  ", "In a slow bend ("+l.Bend.String()+") nothing changes that would print.")
	}
}

// printHow says what was turned, or why it cannot be.
func (a *app) printHow(l *advisor.Lesson) {
	for _, i := range []int{0, 2} {
		s := &l.Stages[i]
		lead := "  " + s.Name + ": "
		switch {
		case s.Not != "":
			a.para(lead, s.Not+"; computed as if it could")
		case s.How != "":
			a.para(lead, s.How)
		}
	}
}

// lessonCaveat says what the figures rest on.
func lessonCaveat(l *advisor.Lesson, a *app) string {
	assumed := 0
	for _, n := range l.Kart.LoadNumbers {
		if n.Assumed {
			assumed++
		}
	}
	return a.loadsCaveat(l.Bend, l.Column, assumed, len(l.Kart.LoadNumbers)) + " Figures are the left wheel's; what the driver feels is common practice, not computed."
}

// curveName says what a topic's plot shows.
func curveName(c advisor.Curve) string {
	switch c {
	case advisor.CamberCurve:
		return "camber of the outer front wheel, degrees (minus leans in)"
	case advisor.SteerCurve:
		return "how much further the inner wheel is steered, degrees"
	}
	return "load on the inner rear wheel, kg (below 0 it is in the air)"
}

// printPlot draws the topic's curve with letters: < less, o now, > more.
func (a *app) printPlot(l *advisor.Lesson) {
	const cols, rows = 60, 11
	lo, hi := math.Inf(1), math.Inf(-1)
	last := geometry.Angle(0)
	for _, s := range l.Stages {
		for _, p := range s.Curve {
			v := l.Topic.Shows.Of(p)
			lo, hi = math.Min(lo, v), math.Max(hi, v)
			last = max(last, p.Column)
		}
	}
	if !(hi > lo) || last == 0 {
		return
	}
	var grid [rows][]rune
	for r := range grid {
		grid[r] = []rune(strings.Repeat(" ", cols+1))
	}
	at := func(v float64) int { return int(math.Round((hi - v) / (hi - lo) * (rows - 1))) }
	if lo < 0 && hi > 0 {
		for c := range grid[at(0)] {
			grid[at(0)][c] = '.'
		}
	}
	for _, k := range []int{0, 2, 1} {
		s := l.Stages[k]
		for c := range cols + 1 {
			// Every third column, so that lines close together can be told apart.
			if c%3 != []int{1, 0, 2}[k] {
				continue
			}
			x := last * geometry.Angle(c) / cols
			if v, ok := between(s.Curve, l.Topic.Shows, x); ok {
				grid[at(v)][c] = []rune{'<', 'o', '>'}[k]
			}
		}
	}
	a.heading(capital(curveName(l.Topic.Shows)))
	for r, g := range grid {
		label := ""
		if r == 0 || r == rows-1 || r == rows/2 {
			label = fmt.Sprintf("%.1f", hi-(hi-lo)*float64(r)/(rows-1))
		}
		a.printf("%s\n", strings.TrimRight(fmt.Sprintf("  %7s |%s", label, string(g)), " "))
	}
	a.printf("  %7s +%s\n", "", strings.Repeat("-", cols+1))
	end := advisor.SaySteering(last, a.units)
	a.printf("  %7s  0°%s%s\n", "", strings.Repeat(" ", cols+1-2-len([]rune(end))), end)
	a.para("  ", fmt.Sprintf("Across: steering wheel, left turn, %.1f g sideways.  < %s   o now   > %s", float64(l.Bend.Ay), l.Stages[0].Name, l.Stages[2].Name))
}

// between returns the curve's value at a column angle.
func between(curve []advisor.Point, of advisor.Curve, x geometry.Angle) (float64, bool) {
	for i := 1; i < len(curve); i++ {
		p, q := curve[i-1], curve[i]
		if x <= q.Column+1e-9 {
			f := float64((x - p.Column) / (q.Column - p.Column))
			return of.Of(p) + f*(of.Of(q)-of.Of(p)), true
		}
	}
	return 0, false
}

func (a *app) learnTryCommand() *cobra.Command {
	var o learnOptions
	cmd := &cobra.Command{
		Use:   `try "CHANGE" …`,
		Short: "Change things in words and see what becomes of the kart",
		Long: `try takes changes in words, one after another, and shows all figures before and
after. A change names a figure (caster, camber, toe, KPI, Ackermann, front
width, rear width, ride height) or an adjuster of this kart, and says how much;
without a number it is a usual step. A figure that is named is changed by
itself, both sides alike; an adjuster moves what it moves. At a terminal without
a change it asks for one after another.`,
		Example: `  kartwright learn try "caster +1deg"
  kartwright learn try "front 5 mm wider" "1 mm more toe-out"
  kartwright learn try "caster screw 1/2 turn tighter" "right tie rod 1/4 turn longer"`,
		RunE: func(_ *cobra.Command, args []string) error { return a.runTry(o, args) },
	}
	o.bendFlags(cmd)
	return cmd
}

func (a *app) runTry(o learnOptions, changes []string) error {
	bend, err := o.bend()
	if err != nil {
		return err
	}
	if len(changes) == 0 && (!a.Ask || a.json) {
		return usagef("say what to change, for example \"caster +1deg\"\nRun 'kartwright learn try --help' for usage.")
	}
	k, _, err := a.loadKart(o.kart)
	if err != nil {
		return err
	}
	trial := advisor.NewTrial(k)
	now, err := trial.Variant()
	if err != nil {
		return err
	}
	before, err := seen(now, now.Column(bend.Steer), bend)
	if err != nil {
		return bendError(err)
	}
	if len(changes) == 0 {
		return a.tryAsked(trial, before, bend)
	}
	for _, text := range changes {
		if err := trial.Change(text); err != nil {
			return usageError{err}
		}
	}
	after, err := a.tried(trial, before, bend)
	if err != nil {
		return err
	}
	if a.json {
		return a.writeJSON(tryJSON{"learn try", k.Name, list(trial.Said), viewBend(bend, before.column), viewSight(before), viewSight(after), finite(after.effort().Of(before.effort()))})
	}
	a.para("Kart "+k.Name+": ", sentence(strings.Join(trial.Said, "; ")))
	a.printSight(before, after, bend)
	return nil
}

// tryAsked asks for changes until an empty line.
func (a *app) tryAsked(trial *advisor.Trial, before *sight, bend advisor.Bend) error {
	in := bufio.NewScanner(a.In)
	last := before
	for {
		fmt.Fprintf(a.Err, "Change what? (Enter: done) ")
		if !in.Scan() || strings.TrimSpace(in.Text()) == "" {
			break
		}
		if err := trial.Change(in.Text()); err != nil {
			fmt.Fprintf(a.Err, "%v\n", err)
			continue
		}
		after, err := a.tried(trial, before, bend)
		if err != nil {
			fmt.Fprintf(a.Err, "%v\n", err)
			continue
		}
		a.para("Kart "+trial.Kart.Name+": ", sentence(strings.Join(trial.Said, "; ")))
		a.printSight(before, after, bend)
		a.printf("\n")
		last = after
		if _, err := a.out.WriteTo(a.Out); err != nil {
			return err
		}
	}
	if err := in.Err(); err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	if last == before {
		a.printf("Nothing was changed.\n")
	}
	return nil
}

func (a *app) tried(trial *advisor.Trial, before *sight, bend advisor.Bend) (*sight, error) {
	v, err := trial.Variant()
	if err != nil {
		return nil, err
	}
	after, err := seen(v, before.column, bend)
	return after, bendError(err)
}

// sight is all that is shown of a kart.
type sight struct {
	column  geometry.Angle
	figures [2]frontend.Figures
	rear    geometry.Length
	bend    [2]advisor.InBend
}

func seen(v *advisor.Variant, column geometry.Angle, b advisor.Bend) (*sight, error) {
	s := &sight{column: column}
	var err error
	if s.figures, err = v.Figures(); err != nil {
		return nil, err
	}
	if s.rear, err = v.Track(loads.Rear); err != nil {
		return nil, err
	}
	s.bend, err = v.InBend(column, b.Ay)
	return s, err
}

func (s *sight) effort() loads.Torque { return s.bend[0].Effort + s.bend[1].Effort }

func (a *app) printSight(before, after *sight, bend advisor.Bend) {
	a.heading("Before → after")
	a.printFigures(&advisor.Plan{Before: before.figures, After: after.figures})
	if b, c := a.units.Length(before.rear), a.units.Length(after.rear); b != c {
		a.printf("  %s%s → %s\n", pad("rear track", 18), b, c)
	}
	a.heading(fmt.Sprintf("In a slow bend (%v)", bend))
	a.printBend(before.bend, after.bend)
	a.printf("  %s%s\n", pad("steering", 20), advisor.SayEffort(after.effort().Of(before.effort())))
}

func (a *app) learnQuizCommand() *cobra.Command {
	var o learnOptions
	var seed uint64
	var count int
	var files []string
	cmd := &cobra.Command{
		Use:   "quiz",
		Short: "Questions about this kart and about the rules, with worked answers",
		Long: `quiz asks short questions that are worked out for this kart or taken from the
rules, and explains each answer. What the trade is not agreed on is asked as
that: what would settle it. The same seed gives the same questions. At a
terminal it asks one after another; otherwise it prints questions, then answers.`,
		Example: "  kartwright learn quiz --count 5 --seed 7\n  kartwright learn quiz --kart cedar",
		Args:    noArgs,
		RunE:    func(*cobra.Command, []string) error { return a.runQuiz(o, files, seed, count) },
	}
	o.bendFlags(cmd)
	rulesFlag(cmd, &files)
	f := cmd.Flags()
	f.Uint64Var(&seed, "seed", 1, "`NUMBER` that picks the questions")
	f.IntVar(&count, "count", 5, "how many `QUESTIONS`, 1 to 20")
	return cmd
}

func (a *app) runQuiz(o learnOptions, files []string, seed uint64, count int) error {
	bend, err := o.bend()
	if err != nil {
		return err
	}
	if count < 1 || count > 20 {
		return usagef("--count is %d, expected 1 to 20", count)
	}
	set, err := a.loadRules(files)
	if err != nil {
		return err
	}
	k, _, err := a.loadKart(o.kart)
	if err != nil {
		return err
	}
	qs, err := advisor.Quiz(k, set, bend, seed, count)
	if err != nil {
		return bendError(err)
	}
	if a.json {
		out := quizJSON{"learn quiz", k.Name, seed, []questionJSON{}}
		for _, q := range qs {
			out.Questions = append(out.Questions, questionJSON{q.Kind, q.Text, q.Choices, q.Right, q.Worked})
		}
		return a.writeJSON(out)
	}
	if a.Ask {
		return a.askQuiz(qs)
	}
	for i, q := range qs {
		a.printQuestion(i, q)
	}
	a.heading("Answers")
	for i, q := range qs {
		a.para("  "+pad(itoa(i+1)+".", 4), letter(q.Right)+": "+sentence(q.Choices[q.Right])+" "+q.Worked)
	}
	return nil
}

func letter(i int) string { return string(rune('a' + i)) }

func (a *app) printQuestion(i int, q advisor.Question) {
	if i > 0 {
		a.printf("\n")
	}
	a.para(pad(itoa(i+1)+".", 4), q.Text)
	for j, c := range q.Choices {
		a.para("    "+letter(j)+"  ", c)
	}
}

// askQuiz asks one question after another and counts what was right.
func (a *app) askQuiz(qs []advisor.Question) error {
	in := bufio.NewScanner(a.In)
	right, asked := 0, 0
	for i, q := range qs {
		a.printQuestion(i, q)
		if _, err := a.out.WriteTo(a.Out); err != nil {
			return err
		}
		fmt.Fprintf(a.Err, "Your answer (%s to %s, Enter: stop) ", letter(0), letter(len(q.Choices)-1))
		if !in.Scan() || strings.TrimSpace(in.Text()) == "" {
			break
		}
		asked++
		answer := strings.ToLower(strings.TrimSpace(in.Text()))
		if answer == letter(q.Right) {
			right++
			a.para("", "Right. "+q.Worked)
		} else {
			a.para("", "It is "+letter(q.Right)+": "+sentence(q.Choices[q.Right])+" "+q.Worked)
		}
	}
	a.printf("\n%d of %d right.\n", right, asked)
	return in.Err()
}
