package cli

import (
	"math"

	"kartwright/advisor/profile"
	"kartwright/advisor/readings"
	"kartwright/geometry/fit"
)

type fitTemplateJSON struct {
	Command string `json:"command"`
	File    string `json:"file"`
	Kart    string `json:"kart"`
	Rows    int    `json:"rows"`
}

type fitNumberJSON struct {
	Path     string  `json:"path" jsonschema_description:"where the profile keeps it; of a gauge's zero, its name"`
	Name     string  `json:"name"`
	Unit     string  `json:"unit" jsonschema:"enum=deg,enum=mm,enum=" jsonschema_description:"deg or mm; empty for a ratio"`
	Before   float64 `json:"before"`
	BeforePM float64 `json:"before_pm" jsonschema_description:"every ± is about 95 % sure"`
	After    float64 `json:"after"`
	AfterPM  float64 `json:"after_pm"`
	Assumed  bool    `json:"assumed" jsonschema_description:"the profile does not say it"`
	Taught   bool    `json:"taught" jsonschema_description:"the readings made it better known or moved it"`
}

type fitResidualJSON struct {
	Line       int     `json:"line" jsonschema_description:"of the readings file"`
	Column     int     `json:"column"`
	What       string  `json:"what"`
	Unit       string  `json:"unit" jsonschema:"enum=deg,enum=mm"`
	Read       float64 `json:"read"`
	Fitted     float64 `json:"fitted" jsonschema_description:"what the fitted kart would show"`
	Difference float64 `json:"difference" jsonschema_description:"read minus fitted"`
	PM         float64 `json:"pm"`
	Outlier    bool    `json:"outlier" jsonschema_description:"contradicts the other readings"`
}

type fitAnswerJSON struct {
	Side     string  `json:"side" jsonschema:"enum=left,enum=right"`
	Figure   string  `json:"figure"`
	By       float64 `json:"by" jsonschema_description:"the change of the figure, degrees or mm"`
	Adjuster string  `json:"adjuster"`
	Step     string  `json:"step" jsonschema_description:"what is counted: turn (+ = tighter, longer), hole or degree (+ = toward outboard), shim (+ = below the stub axle)"`
	Before   float64 `json:"before"`
	BeforePM float64 `json:"before_pm"`
	After    float64 `json:"after"`
	AfterPM  float64 `json:"after_pm"`
}

type fitLessonJSON struct {
	What     string  `json:"what"`
	Unit     string  `json:"unit" jsonschema:"enum=deg,enum=mm"`
	Expected float64 `json:"expected" jsonschema_description:"what it should come to"`
	PM       float64 `json:"pm" jsonschema_description:"± of the reading"`
	AnswerPM float64 `json:"answer_pm" jsonschema_description:"± of the answer with this reading as well"`
}

type fitWarningJSON struct {
	Code    string `json:"code"`
	Message string `json:"message"`
}

type fitJSON struct {
	Command  string            `json:"command"`
	Kart     string            `json:"kart"`
	File     string            `json:"file"`
	Readings int               `json:"readings"`
	Within   int               `json:"within" jsonschema_description:"how many readings lie within their ± of the fitted kart"`
	Numbers  []fitNumberJSON   `json:"numbers"`
	Exact    []string          `json:"exact" jsonschema_description:"numbers that the profile states without a ±"`
	Answers  []fitAnswerJSON   `json:"answers"`
	Table    []fitResidualJSON `json:"table"`
	Apart    []string          `json:"apart" jsonschema_description:"what the readings cannot tell apart, and the reading that would"`
	Warnings []fitWarningJSON  `json:"warnings"`
	Next     []fitLessonJSON   `json:"next" jsonschema_description:"readings that would teach most of the less sure answer"`
	Changes  []fitChangeJSON   `json:"changes" jsonschema_description:"what --write changed in the profile"`
}

type fitChangeJSON struct {
	Path string `json:"path"`
	Was  string `json:"was" jsonschema_description:"empty if the profile did not say"`
	Now  string `json:"now"`
}

type fitNextJSON struct {
	Command string          `json:"command"`
	Kart    string          `json:"kart"`
	File    string          `json:"file"`
	Answer  fitAnswerJSON   `json:"answer" jsonschema_description:"after_pm is its ± now"`
	Next    []fitLessonJSON `json:"next" jsonschema_description:"best first"`
}

// round6 rounds what an iteration found to what every machine finds.
func round6(v float64) float64 { return math.Round(v*1e6)/1e6 + 0 }

func (a *app) viewFit(x *fitted, apart []string, next *nextReadings, changes []profile.Change) fitJSON {
	out := fitJSON{
		Command: "fit run", Kart: x.kart.Name, File: x.name, Readings: len(x.Rows), Within: x.within(),
		Numbers: []fitNumberJSON{}, Exact: append([]string{}, x.exact...), Answers: []fitAnswerJSON{}, Table: []fitResidualJSON{},
		Apart: append([]string{}, apart...), Warnings: []fitWarningJSON{}, Next: []fitLessonJSON{}, Changes: []fitChangeJSON{},
	}
	for i, p := range x.Params {
		out.Numbers = append(out.Numbers, fitNumberJSON{
			p.Name, p.Doc, unitName(p.Unit), round6(inUnit(p.Unit, p.Param.Value)), round6(inUnit(p.Unit, readings.Coverage*p.Param.SD)),
			round6(inUnit(p.Unit, p.Value)), round6(inUnit(p.Unit, readings.Coverage*p.SD)), i < len(x.learn) && x.learn[i].Assumed, taught(p),
		})
	}
	for i := range x.Answers {
		out.Answers = append(out.Answers, viewFitAnswer(x.answers[i], x.Answers[i]))
	}
	for i, r := range x.Rows {
		u := x.file.Readings[i].Quantity.Unit()
		line, col := x.file.Readings[i].At.Position()
		out.Table = append(out.Table, fitResidualJSON{
			line, col, r.Name, unitName(u), round6(inUnit(u, r.Observed)), round6(inUnit(u, r.Predicted)), round6(inUnit(u, r.Residual)), round6(inUnit(u, readings.Coverage*r.SD)), r.Outlier,
		})
	}
	for _, w := range a.fitWarnings(x) {
		out.Warnings = append(out.Warnings, fitWarningJSON{string(w.Code), w.Text})
	}
	if next != nil {
		out.Next = viewFitLessons(next)
	}
	for _, c := range changes {
		out.Changes = append(out.Changes, fitChangeJSON{c.Path, c.Was, c.Now})
	}
	return out
}

func (a *app) viewFitNext(x *fitted, next *nextReadings) fitNextJSON {
	return fitNextJSON{"fit next", x.kart.Name, x.name, viewFitAnswer(next.answer, next.known), viewFitLessons(next)}
}

func viewFitAnswer(q readings.Answer, v fit.Answered) fitAnswerJSON {
	by := q.By
	if !q.Figure.IsLength() {
		by = inUnit(fit.Radian, by)
	}
	return fitAnswerJSON{q.Side.String(), q.Figure.String(), round6(by), q.Adjuster, q.Step, round6(v.Prior), round6(readings.Coverage * v.PriorSD), round6(v.Value), round6(readings.Coverage * v.SD)}
}

func viewFitLessons(next *nextReadings) []fitLessonJSON {
	out := []fitLessonJSON{}
	for _, l := range next.lessons {
		u := l.Reading.Quantity.Unit()
		out = append(out, fitLessonJSON{l.Text, unitName(u), round6(inUnit(u, l.Expected)), round6(inUnit(u, readings.Coverage*l.Reading.SD)), round6(readings.Coverage * l.SD)})
	}
	return out
}
