package web

import (
	"fmt"
	"html/template"
	"io"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"kartwright/advisor"
	"kartwright/advisor/profile"
	"kartwright/cmd/kartwright/internal/draw"
	"kartwright/geometry"
	"kartwright/geometry/adjust"
	"kartwright/geometry/frontend"
	"kartwright/rules"
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
	Image       template.URL // the card as an image
	File        string       // its name, without its kind
}

// cardRow is what is done to one adjuster on both sides; "" where nothing is.
type cardRow struct {
	Name  string
	Side  [2]string
	Piece [2]draw.Piece
}

type gaugeRow struct {
	Name string
	Side [2]cell
}

// Torque is what is left open on a card: only the chassis maker knows it.
func (*cardView) Torque() string { return "Torque, from the chassis maker’s manual:" }

// A Job is work that a job card is made of.
type Job struct {
	Plan     *advisor.Plan
	Change   string   // what it is for, such as "More caster by 0.75°"
	Said     string   // what the driver said
	Confirm  []string // how to see that it did what it should
	Cautions []string // beside those of the plan
}

// SuggestionJob is the work of a suggestion of an answer. It is an error if the
// kart has no adjuster for it.
func SuggestionJob(pick *advisor.Suggestion, set *rules.Set, facts rules.Facts, kart *profile.Kart, u geometry.Units) (Job, error) {
	if pick.Plan == nil {
		return Job{}, fmt.Errorf("%s: the profile of %s has no adjuster for it, so there are no turns to write on a card", pick.Title(), kart.Name)
	}
	voc := set.Vocabulary()
	var said []string
	for _, x := range facts.Symptoms {
		said = append(said, advisor.SaySymptom(voc, x))
	}
	conditions, _ := advisor.SayConditions(voc, facts)
	return Job{
		Plan: pick.Plan, Change: capital(pick.Title()) + " " + byText(pick, u), Said: strings.Join(append(said, conditions...), "; "),
		Confirm: pick.Confirm(), Cautions: pick.Cautions(),
	}, nil
}

// job is the work that a request for a card names: a suggestion, or a setting
// from Turn it. back is the page that it came from.
func (s *Site) job(w http.ResponseWriter, r *http.Request) (j Job, back template.URL, err error) {
	if r.URL.Query().Has(settingField) {
		g, to, _, err := s.turned(w, r)
		if err != nil {
			return j, "", err
		}
		p, err := advisor.PlanBetween(g.Kart, g.Kart.Present, to)
		if err != nil {
			return j, "", failf(http.StatusUnprocessableEntity, "%v", err)
		}
		return Job{Plan: p, Change: "Setting from Turn it"}, link("/turn", settingQuery(g.Key, to)), nil
	}
	a, problem, _, err := s.ask(w, r)
	if err != nil {
		return j, "", err
	}
	if problem != "" {
		return j, "", failf(http.StatusUnprocessableEntity, "there is no job card: %s", problem)
	}
	adv, err := s.advise(a)
	if err != nil {
		return j, "", err
	}
	pick, err := suggestion(adv, r.URL.Query().Get(pickField))
	if err != nil {
		return j, "", err
	}
	if j, err = SuggestionJob(pick, a.rules.set, a.facts, a.kart.Kart, units(r)); err != nil {
		return j, "", failf(http.StatusUnprocessableEntity, "%v", err)
	}
	q := r.URL.Query()
	q.Del(pickField)
	return j, link("/answer", q), nil
}

// card shows a job card.
func (s *Site) card(w http.ResponseWriter, r *http.Request) error {
	j, back, err := s.job(w, r)
	if err != nil {
		return err
	}
	c := newCard(j, units(r))
	c.Back, c.Image, c.File = back, link("/card.svg", r.URL.Query()), cardFile(j.Plan.Kart)
	return s.render(w, r, http.StatusOK, "card", "Job card", c)
}

// cardImage sends a job card as an image to keep.
func (s *Site) cardImage(w http.ResponseWriter, r *http.Request) error {
	j, _, err := s.job(w, r)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "image/svg+xml")
	w.Header().Set("Content-Disposition", `attachment; filename="`+cardFile(j.Plan.Kart)+`.svg"`)
	w.Header().Set("Cache-Control", "no-store")
	_, err = io.WriteString(w, j.SVG(units(r)))
	return err
}

var noLetters = regexp.MustCompile(`[^a-z0-9]+`)

// cardFile names the file of a kart's card, without its kind.
func cardFile(k *profile.Kart) string {
	return strings.TrimSuffix("job-card-"+strings.Trim(noLetters.ReplaceAllString(strings.ToLower(k.Name), "-"), "-"), "-")
}

// SVG is the job's card as an image for a phone, which needs nothing else.
func (j Job) SVG(u geometry.Units) string {
	c := newCard(j, u)
	d := draw.Card{Title: "Job card: " + c.Change, Torque: c.Torque()}
	d.About = "Kart " + c.Kart
	if c.Class != "" {
		d.About += ", " + c.Class
	}
	d.About += "."
	if c.Said != "" {
		d.About += " " + sentence(c.Said)
	}
	sentences := func(lines []string) (out []string) {
		for _, l := range lines {
			out = append(out, sentence(l))
		}
		return out
	}
	d.Warnings, d.Confirm, d.Cautions = sentences(c.Warnings), sentences(c.Confirm), sentences(c.Cautions)
	for _, row := range c.Rows {
		m := draw.CardMove{Name: capital(row.Name), Piece: row.Piece}
		for _, side := range frontend.Sides {
			m.Text[side] = capital(row.Side[side])
		}
		d.Moves = append(d.Moves, m)
	}
	for _, step := range c.Steps {
		d.Steps = append(d.Steps, draw.CardStep{Side: step.Side, Text: step.Text})
	}
	for _, g := range c.Gauges {
		d.Readings = append(d.Readings, draw.CardReading{Name: capital(g.Name) + ", depth gauge", Side: [2][2]string{{g.Side[0].Before, g.Side[0].After}, {g.Side[1].Before, g.Side[1].After}}})
	}
	for _, row := range c.Readings {
		x := draw.CardReading{Name: row.Name, Side: [2][2]string{{row.Side[0].Before, row.Side[0].After}, {row.Side[1].Before, row.Side[1].After}}}
		if row.Kart != nil {
			x.Kart, x.Side[0] = true, [2]string{row.Kart.Before, row.Kart.After}
		}
		d.Readings = append(d.Readings, x)
	}
	for _, w := range c.Undo {
		part := draw.CardPart{Title: capital(w.Label)}
		for _, m := range w.Moves {
			part.Lines = append(part.Lines, capital(m.Name)+": "+sentence(m.Text))
		}
		if len(w.Moves) == 0 {
			part.Lines = []string{"Nothing to turn."}
		}
		d.Undo = append(d.Undo, part)
	}
	return d.SVG()
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

func newCard(j Job, u geometry.Units) *cardView {
	p := j.Plan
	c := &cardView{Change: j.Change, Said: j.Said, Confirm: j.Confirm, Cautions: append(slices.Clone(j.Cautions), p.Cautions()...), Kart: p.Kart.Name, Class: p.Kart.Class, Readings: figureRows(p.Before, p.After, u)[:4], Undo: wayBack(p.Undo(), u), Warnings: append(p.Reasons(), p.Warnings...), Work: work(p, u)}
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
			x.Side[s.Side] = m.Adjuster.Move(m.From, m.To, u)
			x.Piece[s.Side], _, _ = pieceOf(m, s.Side, u)
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
