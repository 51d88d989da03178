package web

import (
	"html/template"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"kartwright/advisor"
	"kartwright/advisor/profile"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
)

// cardView is a job card: one sheet to work from with dirty hands.
type cardView struct {
	Kart, Class string
	Change      string // what it is for
	Said        string
	Steps       []stepView
	Work        []workView
	Rows        []cardRow // adjusters by row, sides by column
	Readings    []figureRow
	Gauges      []gaugeRow
	Undo        []workView
	Warnings    []string
	Cautions    []string
	Confirm     []string
	Back        template.URL // the page it came from
}

// cardRow is what is done to one adjuster on both sides; "" where nothing is.
type cardRow struct {
	Name string
	Side [2]string
	Lock string
}

type gaugeRow struct {
	Name string
	Side [2]cell
}

// card shows the job card of a suggestion, or of a setting from Turn it.
func (s *Site) card(w http.ResponseWriter, r *http.Request) error {
	u := units(r)
	if r.URL.Query().Has(settingField) {
		g, to, _, err := s.turned(w, r)
		if err != nil {
			return err
		}
		p, err := advisor.PlanBetween(g.Kart, g.Kart.Present, to)
		if err != nil {
			return failf(http.StatusUnprocessableEntity, "%v", err)
		}
		c := newCard(p, u)
		c.Change, c.Back = "Setting from Turn it", link("/turn", settingQuery(g.Key, to))
		c.Cautions = p.Cautions()
		return s.render(w, r, http.StatusOK, "card", "Job card", c)
	}
	a, problem, _, err := s.ask(w, r)
	if err != nil {
		return err
	}
	if problem != "" {
		return failf(http.StatusUnprocessableEntity, "there is no job card: %s", problem)
	}
	adv, err := s.advise(a)
	if err != nil {
		return err
	}
	pick, err := suggestion(adv, r.URL.Query().Get(pickField))
	if err != nil {
		return err
	}
	if pick.Plan == nil {
		return failf(http.StatusUnprocessableEntity, "%s: the profile of %s has no adjuster for it, so there are no turns to write on a card", pick.Title(), a.kart.Kart.Name)
	}
	c := newCard(pick.Plan, u)
	c.Change = capital(pick.Title()) + " " + byText(pick, u)
	voc := a.rules.set.Vocabulary()
	var said []string
	for _, x := range a.facts.Symptoms {
		said = append(said, advisor.SaySymptom(voc, x))
	}
	conditions, _ := advisor.SayConditions(voc, a.facts)
	c.Said = strings.Join(append(said, conditions...), "; ")
	c.Confirm = pick.Confirm()
	c.Cautions = append(pick.Cautions(), pick.Plan.Cautions()...)
	back := r.URL.Query()
	back.Del(pickField)
	c.Back = link("/answer", back)
	return s.render(w, r, http.StatusOK, "card", "Job card", c)
}

// suggestion finds a suggestion of an answer by its number.
func suggestion(adv *advisor.Advice, pick string) (*advisor.Suggestion, error) {
	n := 0
	if pick != "" {
		var err error
		if n, err = strconv.Atoi(pick); err != nil || n < 0 {
			return nil, failf(http.StatusBadRequest, "pick is %q, expected the number of a suggestion", pick)
		}
	}
	if n == 0 && adv.First != nil {
		return adv.First, nil
	}
	if n < 1 || n > len(adv.Alternatives) {
		return nil, failf(http.StatusNotFound, "this answer has no suggestion number %d", n)
	}
	return &adv.Alternatives[n-1], nil
}

func newCard(p *advisor.Plan, u geometry.Units) *cardView {
	c := &cardView{Kart: p.Kart.Name, Class: p.Kart.Class, Readings: figureRows(p.Before, p.After, u)[:4], Undo: wayBack(p.Undo(), u), Warnings: append(p.Reasons(), p.Warnings...), Work: work(p, u)}
	c.Readings = append(c.Readings, figureRow{Name: "Front track", Kart: &cell{u.Length(profile.FrontTrack(p.Before)), u.Length(profile.FrontTrack(p.After))}})
	for _, st := range p.Steps(u) {
		c.Steps = append(c.Steps, stepView{sideName(st.Side), st.Text})
	}
	row := func(name string) *cardRow {
		for i := range c.Rows {
			if c.Rows[i].Name == name {
				return &c.Rows[i]
			}
		}
		c.Rows = append(c.Rows, cardRow{Name: name})
		return &c.Rows[len(c.Rows)-1]
	}
	gauge := func(name string) *gaugeRow {
		for i := range c.Gauges {
			if c.Gauges[i].Name == name {
				return &c.Gauges[i]
			}
		}
		c.Gauges = append(c.Gauges, gaugeRow{Name: name})
		return &c.Gauges[len(c.Gauges)-1]
	}
	for _, s := range p.Sides {
		for _, m := range s.Moves {
			x := row(m.Name)
			x.Side[s.Side], x.Lock = m.Adjuster.Move(m.From, m.To, u), m.Adjuster.Lock()
			if g, ok := m.Adjuster.(adjust.Gauged); ok {
				if from, ok := g.Gauge(m.From); ok {
					to, _ := g.Gauge(m.To)
					gauge(m.Name).Side[s.Side] = cell{u.Length(from), u.Length(to)}
				}
			}
		}
	}
	return c
}

// settingField carries the setting of Turn it.
const settingField, sideMark = "at", "_"

// settingQuery is a setting as the fields of an address: the kart and the
// positions of its adjusters, left side first.
func settingQuery(kart string, to [2]adjust.Setting) url.Values {
	var sides []string
	for _, s := range frontend.Sides {
		var at []string
		for _, p := range to[s] {
			at = append(at, strconv.FormatFloat(p, 'g', -1, 64))
		}
		sides = append(sides, strings.Join(at, ","))
	}
	return url.Values{kartParam: {kart}, settingField: {strings.Join(sides, sideMark)}}
}
