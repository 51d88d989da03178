package web

import (
	"errors"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"kartwright/advisor"
	"kartwright/advisor/profile"
	"kartwright/cmd/kartwright/internal/draw"
	"kartwright/geometry"
	"kartwright/geometry/frontend"
	"kartwright/geometry/loads"
)

type learnList struct {
	Topics []advisor.Topic
	Karts  []choice
}

// learnPage lists what can be learned about.
func (s *Site) learnPage(w http.ResponseWriter, r *http.Request) error {
	g, err := s.chosenKart(w, r)
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, "learn", "Learn it", learnList{advisor.Topics(), s.kartChoices(g.Key)})
}

// bendOf reads the bend that is computed; what is not said is the usual slow one.
func bendOf(q url.Values) (advisor.Bend, error) {
	b := advisor.SlowBend
	for _, x := range []struct {
		field    string
		min, max float64
		set      func(float64)
	}{
		{"wheels", 1, 30, func(v float64) { b.Steer = geometry.Angle(v) * geometry.Degree }},
		{"sideways", 0, 3, func(v float64) { b.Ay = loads.Accel(v) }},
	} {
		text := q.Get(x.field)
		if text == "" {
			continue
		}
		v, err := strconv.ParseFloat(text, 64)
		if err != nil || !(v >= x.min && v <= x.max) {
			return b, failf(http.StatusBadRequest, "%s is %q, expected a number from %g to %g", x.field, text, x.min, x.max)
		}
		x.set(v)
	}
	return b, nil
}

// tipped replaces the error of a bend that no kart stands by one for drivers.
func tipped(err error) error {
	var tip *loads.TipError
	if errors.As(err, &tip) {
		return failure{http.StatusUnprocessableEntity, errTipped.Error()}
	}
	return err
}

type lessonView struct {
	Topic            advisor.Topic
	Kart             string
	Karts            []choice
	Wheels, Sideways string
	Live             lessonLive
}

// lessonLive is what is computed for a bend.
type lessonLive struct {
	Outs     []out
	Step     string
	Names    [3]string
	Rows     []lessonRow
	Bend     string
	Hows     []string
	Drawings []template.HTML
	Caveat   string
}

type lessonRow struct {
	Name  string
	Bend  bool // about the bend
	Cells [3]string
}

// lesson shows one topic on a kart.
func (s *Site) lesson(w http.ResponseWriter, r *http.Request) error {
	g, err := s.chosenKart(w, r)
	if err != nil {
		return err
	}
	b, err := bendOf(r.URL.Query())
	if err != nil {
		return err
	}
	for _, t := range advisor.Topics() {
		if t.Name != r.PathValue("topic") {
			continue
		}
		l, err := advisor.Teach(g.Kart, t, b)
		if err != nil {
			return tipped(err)
		}
		live, err := viewLesson(l, units(r))
		if err != nil {
			return err
		}
		if r.URL.Query().Has(partField) {
			return s.execute(w, http.StatusOK, "lesson", "live", live)
		}
		return s.render(w, r, http.StatusOK, "lesson", t.Title, lessonView{t, g.Kart.Name, s.kartChoices(g.Key), position(math.Round(b.Steer.Degrees()*10) / 10), position(float64(b.Ay)), *live})
	}
	return failf(http.StatusNotFound, "there is no sheet on %q", r.PathValue("topic"))
}

func viewLesson(l *advisor.Lesson, u geometry.Units) (*lessonLive, error) {
	v := &lessonLive{Step: l.Step, Bend: l.Bend.String(), Names: [3]string{l.Stages[0].Name, l.Stages[1].Name, l.Stages[2].Name}}
	v.Outs = []out{{For: "says-wheels", Text: advisor.SaySteering(l.Bend.Steer, u)}, {For: "says-sideways", Text: fmt.Sprintf("%.1f g", float64(l.Bend.Ay))}}
	add := func(name string, bend bool, text func(*advisor.Stage) string) {
		row := lessonRow{Name: name, Bend: bend}
		for i := range l.Stages {
			row.Cells[i] = text(&l.Stages[i])
		}
		if row.Cells[0] != row.Cells[1] || row.Cells[2] != row.Cells[1] {
			v.Rows = append(v.Rows, row)
		}
	}
	for _, q := range figuresOf(u) {
		add(q.name, false, func(s *advisor.Stage) string { return q.text(s.Figures[0]) })
	}
	add("Front track", false, func(s *advisor.Stage) string { return u.Length(profile.FrontTrack(s.Figures)) })
	add("Front height", false, func(s *advisor.Stage) string {
		return u.LengthBy(profile.RideHeightChange(l.Stages[1].Figures, s.Figures))
	})
	for _, q := range bendsOf(u) {
		add(q.name, true, func(s *advisor.Stage) string { return q.text(s.InBend[0]) })
	}
	add("Inner front wheel", true, func(s *advisor.Stage) string { return advisor.SayWeight(s.InBend[0].InnerFront) })
	add("Outer front wheel", true, func(s *advisor.Stage) string { return advisor.SayWeight(s.InBend[0].OuterFront) })
	add("Inner wheel steers", true, func(s *advisor.Stage) string { return u.Angle(s.InBend[0].InnerSteer) })
	add("Outer wheel steers", true, func(s *advisor.Stage) string { return u.Angle(s.InBend[0].OuterSteer) })
	add("Steering", true, func(s *advisor.Stage) string {
		now := l.Stages[1].InBend
		return advisor.SayEffort((s.InBend[0].Effort + s.InBend[1].Effort).Of(now[0].Effort + now[1].Effort))
	})
	for _, i := range []int{0, 2} {
		switch s := &l.Stages[i]; {
		case s.Not != "":
			v.Hows = append(v.Hows, capital(s.Name)+": "+s.Not+"; computed as if it could")
		case s.How != "":
			v.Hows = append(v.Hows, capital(s.Name)+": "+s.How)
		}
	}
	assumed := 0
	for _, n := range l.Kart.LoadNumbers {
		if n.Assumed {
			assumed++
		}
	}
	v.Caveat = caveat(l.Column, assumed, len(l.Kart.LoadNumbers), u) + " Figures are the left wheel's; what the driver feels is common practice, not computed."
	var err error
	v.Drawings, err = lessonDrawings(l)
	return v, err
}

// lessonDrawings draws a step more against now, and the curves of all three.
func lessonDrawings(l *advisor.Lesson) ([]template.HTML, error) {
	now, more := &l.Stages[1], &l.Stages[2]
	view := func(column geometry.Angle) (*draw.View, error) {
		v := &draw.View{NowText: "now", ThenText: more.Name}
		was, wasShift := now.Variant.Axle()
		is, isShift := more.Variant.Axle()
		return v, v.Pose(draw.Stands{Axle: was, Shift: wasShift}, draw.Stands{Axle: is, Shift: isShift}, column)
	}
	straight, err := view(0)
	if err != nil {
		return nil, err
	}
	steered, err := view(l.Column)
	if err != nil {
		return nil, err
	}
	var out []template.HTML
	for _, d := range []struct {
		title string
		on    *draw.View
		draw  func(*draw.View) string
	}{
		{"From the side", straight, (*draw.View).Side}, {"From the front", straight, (*draw.View).Front}, {"From above, steered as in the bend", steered, (*draw.View).Top},
	} {
		d.on.Title = d.title
		out = append(out, inline(d.draw(d.on)))
	}
	charts := []advisor.Curve{advisor.RearCurve, advisor.CamberCurve}
	if l.Topic.Shows == advisor.SteerCurve {
		charts = append(charts, advisor.SteerCurve)
	}
	for _, c := range charts {
		ch := LessonChart(l, c)
		ch.XName += ", °"
		out = append(out, inline(ch.SVG()))
	}
	return out, nil
}

// LessonChart is one curve of a lesson over the steering wheel: less, now and more.
func LessonChart(l *advisor.Lesson, c advisor.Curve) draw.Chart {
	ch := draw.Chart{XName: "how far the steering wheel is turned"}
	switch c {
	case advisor.RearCurve:
		ch.Title, ch.YName = "The inner rear wheel", "what it carries, kg"
		ch.Below.Name, ch.Below.Per = "below 0: how far it is in the air, mm", l.Stages[1].Variant.PerKG()
	case advisor.CamberCurve:
		ch.Title, ch.YName = "Camber of the outer front wheel", "degrees; minus: its top leans into the bend"
	case advisor.SteerCurve:
		ch.Title, ch.YName = "How much further the inner wheel is steered", "degrees beyond the outer wheel"
	}
	for i, look := range []draw.Look{draw.Less, draw.Now, draw.More} {
		s := draw.Series{Look: look, Name: []string{"less", "now", "more"}[i]}
		for _, p := range l.Stages[i].Curve {
			s.X, s.Y = append(s.X, p.Column.Degrees()), append(s.Y, c.Of(p))
		}
		ch.Series = append(ch.Series, s)
	}
	return ch
}

// tryView is the page on which things are changed in words.
type tryView struct {
	Kart    string
	Karts   []choice
	Text    string
	Said    []string
	Problem string
	Rows    []figureRow
	Slow    string
	Nothing bool

	BendTable struct {
		Rows   []bendRow
		Alike  bool
		Effort string
	}
}

// tryPage changes a kart in words, line by line, and shows what becomes of it.
func (s *Site) tryPage(w http.ResponseWriter, r *http.Request) error {
	g, err := s.chosenKart(w, r)
	if err != nil {
		return err
	}
	u, b := units(r), advisor.SlowBend
	v := tryView{Kart: g.Kart.Name, Karts: s.kartChoices(g.Key), Text: r.URL.Query().Get("changes"), Slow: b.String()}
	if len(v.Text) > maxText {
		return failf(http.StatusBadRequest, "that is more than %d characters: change less at once", maxText)
	}
	trial := advisor.NewTrial(g.Kart)
	now, err := trial.Variant()
	if err != nil {
		return err
	}
	status := http.StatusOK
	for line := range strings.Lines(v.Text) {
		if line = strings.TrimSpace(line); line == "" || v.Problem != "" {
			continue
		}
		if err := trial.Change(line); err != nil {
			status, v.Problem = http.StatusUnprocessableEntity, err.Error()
		}
	}
	v.Said = trial.Said
	if len(v.Said) == 0 {
		v.Nothing = true
		return s.render(w, r, status, "try", "Change things in words", v)
	}
	after, err := trial.Variant()
	if err != nil {
		return failure{http.StatusUnprocessableEntity, err.Error()}
	}
	column := now.Column(b.Steer)
	var figures [2][2]frontend.Figures
	var bends [2][2]advisor.InBend
	var rear [2]geometry.Length
	for i, x := range []*advisor.Variant{now, after} {
		if figures[i], err = x.Figures(); err == nil {
			rear[i], err = x.Track(loads.Rear)
		}
		if err == nil {
			bends[i], err = x.InBend(column, b.Ay)
		}
		if err != nil {
			return tipped(err)
		}
	}
	v.Rows = append(figureRows(figures[0], figures[1], u), figureRow{Name: "Rear track", Means: "between the two contacts", Kart: &cell{u.Length(rear[0]), u.Length(rear[1])}})
	v.BendTable.Rows, v.BendTable.Alike = bendRows(bends[0], bends[1], u)
	v.BendTable.Effort = advisor.SayEffort((bends[1][0].Effort + bends[1][1].Effort).Of(bends[0][0].Effort + bends[0][1].Effort))
	return s.render(w, r, status, "try", "Change things in words", v)
}

// quizView is the quiz: its questions, and once answered what was right.
type quizView struct {
	Kart      string
	Seed      uint64
	Questions []quizQuestion
	Answered  bool
	Right     int
	Again     template.URL
}

type quizQuestion struct {
	advisor.Question
	Field string
	Given int // −1 if none
}

// Correct reports whether the answer given is right.
func (q quizQuestion) Correct() bool { return q.Given == q.Right }

// quizLength is how many questions are asked at once.
const quizLength = 5

// quiz asks about the chosen kart and the rules. The seed is in the address, so
// that answers belong to their questions.
func (s *Site) quiz(w http.ResponseWriter, r *http.Request) error {
	g, err := s.chosenKart(w, r)
	if err != nil {
		return err
	}
	q := r.URL.Query()
	seed := uint64(1)
	if text := q.Get("seed"); text != "" {
		if seed, err = strconv.ParseUint(text, 10, 32); err != nil {
			return failf(http.StatusBadRequest, "seed is %q, expected a whole number", text)
		}
	}
	qs, err := advisor.Quiz(g.Kart, s.state().set, advisor.SlowBend, seed, quizLength)
	if err != nil {
		return tipped(err)
	}
	v := quizView{Kart: g.Kart.Name, Seed: seed, Answered: q.Has("done"), Again: link("/learn/quiz", url.Values{"seed": {strconv.FormatUint((seed+1)%(1<<32), 10)}})}
	for i, x := range qs {
		a := quizQuestion{x, "a" + strconv.Itoa(i), -1}
		if text := q.Get(a.Field); text != "" {
			if a.Given, err = strconv.Atoi(text); err != nil || a.Given < 0 || a.Given >= len(x.Choices) {
				return failf(http.StatusBadRequest, "%s is %q, expected the number of a choice", a.Field, text)
			}
		}
		if a.Correct() {
			v.Right++
		}
		v.Questions = append(v.Questions, a)
	}
	return s.render(w, r, http.StatusOK, "quiz", "Quiz", v)
}
