package cli

import (
	"bytes"
	_ "embed"
	"fmt"
	page "html/template"
	"strings"

	"kartwright/advisor"
	"kartwright/cmd/kartwright/internal/draw"
	"kartwright/cmd/kartwright/internal/web"
	"kartwright/geometry"
)

// drawings are a lesson's images.
type drawings struct {
	title            string
	front, side, top string
	rear, camber     string
	steer            string
	steers           bool // steer shows something
}

func (d *drawings) all() string {
	images := []string{d.side, d.front, d.top, d.rear, d.camber}
	if d.steers {
		images = append(images, d.steer)
	}
	return draw.Stack(d.title, images...)
}

// stands is a variant as it is drawn.
func stands(v *advisor.Variant) draw.Stands {
	axle, shift := v.Axle()
	return draw.Stands{Axle: axle, Shift: shift}
}

// lessonDrawings draws a step more against now, and the curves of all three.
func (a *app) lessonDrawings(l *advisor.Lesson) (*drawings, error) {
	now, more := &l.Stages[1], &l.Stages[2]
	u := a.units
	figures := func(s *advisor.Stage) string {
		f := s.Figures[0]
		return fmt.Sprintf("caster %s, camber %s, KPI %s", u.Angle(f.Caster), u.Angle(f.Camber), u.Angle(f.KPI))
	}
	title := lowerTitle(l.Topic)
	view := func(what string, column geometry.Angle) (*draw.View, error) {
		v := &draw.View{Title: what + ": " + title, NowText: "now: " + figures(now), ThenText: more.Name + ": " + figures(more)}
		return v, v.Pose(stands(now.Variant), stands(more.Variant), column)
	}
	front, err := view("From the front", 0)
	if err != nil {
		return nil, err
	}
	side, err := view("From the side", 0)
	if err != nil {
		return nil, err
	}
	column := geometry.Angle(0)
	name := "From above"
	if l.Topic.Name == "ackermann" {
		column, name = l.Column, "From above, steered"
	}
	top, err := view(name, column)
	if err != nil {
		return nil, err
	}
	if l.Topic.Name == "toe" || l.Topic.Name == "ackermann" {
		toe := func(s *advisor.Stage) string {
			if column != 0 {
				return fmt.Sprintf("inner wheel %s, outer %s", u.Angle(s.InBend[0].InnerSteer), u.Angle(s.InBend[0].OuterSteer))
			}
			return "toe " + advisor.ToeText(s.Figures[0].Toe, u)
		}
		top.NowText, top.ThenText = "now: "+toe(now), more.Name+": "+toe(more)
	}
	d := &drawings{
		title: l.Topic.Title + " on kart " + l.Kart.Name,
		front: front.Front(), side: side.Side(), top: top.Top(),
		steers: l.Topic.Shows == advisor.SteerCurve,
		rear:   lessonChart(l, advisor.RearCurve), camber: lessonChart(l, advisor.CamberCurve), steer: lessonChart(l, advisor.SteerCurve),
	}
	return d, nil
}

func lessonChart(l *advisor.Lesson, c advisor.Curve) string {
	ch := web.LessonChart(l, c)
	ch.Note = fmt.Sprintf("Left turn, %.1f g sideways, kart %s.", float64(l.Bend.Ay), l.Kart.Name)
	return ch.SVG()
}

// sheetWords explain what a sheet's table and drawings say that its text has
// not.
var sheetWords = []struct {
	table       bool
	word, means string
}{
	{false, "kingpin", "the pin about which a front wheel is steered"},
	{false, "caster", "how far the kingpin leans back, seen from the side"},
	{false, "KPI", "kingpin inclination: how far the kingpin leans in, seen from the front"},
	{false, "camber", "how far a wheel leans, seen from the front; minus: its top leans toward the driver"},
	{true, "toe", "how far a front wheel points in (plus) or out (minus), seen from above"},
	{true, "trail", "how far behind the kingpin's line the tyre touches the road"},
	{true, "kingpin offset", "how far outside the kingpin's line the tyre touches the road"},
	{true, "front track", "the distance between the middles of the front tyres where they touch the road"},
	{false, "inner, outer", "the side toward the inside of the bend, and the other"},
	{false, "g", "sideways push as a multiple of weight; a kart on dry slicks reaches 1.5 to 2"},
	{true, "lifts, steering at", "how far the steering wheel is turned when the inner rear wheel leaves the road"},
}

//go:embed learnsheet.html
var sheetText string

// sheet returns the page to print.
func (a *app) sheet(l *advisor.Lesson, d *drawings) ([]byte, error) {
	type image = page.HTML
	views := map[string][]string{
		"caster": {d.side, d.rear, d.camber}, "camber": {d.front, d.camber}, "toe": {d.top, d.steer}, "kpi": {d.front, d.rear, d.camber},
		"ackermann": {d.top, d.steer}, "track-width": {d.front, d.rear}, "ride-height": {d.side, d.rear},
	}[l.Topic.Name]
	type row struct {
		Name  string
		Cells [3]string
	}
	data := struct {
		Title, Kart, Step, Bend, Caveat string
		Topic                           advisor.Topic
		Images                          []image
		Names                           [3]string
		Stand, Slow                     []row
		How                             []string
		Words                           []struct{ Word, Means string }
	}{
		Title: l.Topic.Title, Kart: l.Kart.Name, Step: l.Step, Bend: l.Bend.String(), Topic: l.Topic,
		Names: [3]string{l.Stages[0].Name, l.Stages[1].Name, l.Stages[2].Name}, Caveat: lessonCaveat(l, a),
	}
	for _, v := range views {
		data.Images = append(data.Images, image(v)) // our own drawing, escaped where it was made
	}
	for _, r := range a.lessonRows(l) {
		if r.bend {
			data.Slow = append(data.Slow, row{r.name, r.cells})
		} else {
			data.Stand = append(data.Stand, row{r.name, r.cells})
		}
	}
	for _, i := range []int{0, 2} {
		s := &l.Stages[i]
		switch {
		case s.Not != "":
			data.How = append(data.How, capital(s.Name)+": "+s.Not+"; computed as if it could.")
		case s.How != "":
			data.How = append(data.How, capital(s.Name)+": "+sentence(s.How))
		}
	}
	var used strings.Builder
	for _, r := range append(data.Stand, data.Slow...) {
		used.WriteString(r.Name + "; ")
	}
	for _, w := range sheetWords {
		// Words of the table that this table does not have are left out.
		if w.table && !strings.Contains(used.String(), w.word) {
			continue
		}
		data.Words = append(data.Words, struct{ Word, Means string }{w.word, w.means})
	}
	// Parsed here and not at start: no other command needs it.
	t, err := page.New("sheet").Parse(sheetText)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	err = t.Execute(&b, data)
	return b.Bytes(), err
}
