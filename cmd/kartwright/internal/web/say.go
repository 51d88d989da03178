package web

import (
	"errors"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"kartwright/advisor"
	"kartwright/advisor/complaint"
	"kartwright/geometry"
	"kartwright/geometry/frontend"
	"kartwright/rules"
	"kartwright/rules/ruleset"
)

// The fields of the form "Say it", in the address of an answer.
const (
	textField   = "text"   // the driver's own words
	sayField    = "say"    // a symptom, may be repeated
	phaseField  = "phase"  // of those symptoms
	cornerField = "corner" // slow or fast
	howField    = "how"    // severity
	trackField  = "track"
	gripField   = "grip"
	tyresField  = "tyres"
	numberTail  = "_number" // grip and tyres as a number, which counts before the word
	pickField   = "pick"    // which suggestion: 0 is the first
)

// maxText is the longest complaint that is read.
const maxText = 2000

// choice is one option of a question.
type choice struct {
	Value, Title, Means string
	On                  bool
}

// sayForm is the form with what has been said so far.
type sayForm struct {
	Text                 string
	Balance, Also        []choice // symptoms: push and loose, and all others
	Phase, Corner, How   []choice
	Track, Grip, Tyres   []choice
	GripNo, TyresNo      string
	GripHint, TyresHint  string
	Karts                []choice
	Problem              string
	Questions            []complaint.Question
	Understood           []string
	AlsoSaid, Conditions bool // parts of the form to show open
}

func (s *Site) form(r *http.Request, voc rules.Vocabulary, kart string) sayForm {
	q := r.URL.Query()
	said := q[sayField]
	f := sayForm{Text: q.Get(textField)}
	for _, w := range voc.Symptoms {
		c := choice{w.ID, capital(w.Title), w.Means, slices.Contains(said, w.ID)}
		if w.Balance != "" {
			f.Balance = append(f.Balance, c)
		} else {
			f.AlsoSaid = f.AlsoSaid || c.On
			f.Also = append(f.Also, c)
		}
	}
	pick := func(field string, words ...[2]string) []choice {
		var out []choice
		for _, w := range words {
			out = append(out, choice{w[0], w[1], "", q.Get(field) == w[0]})
		}
		return out
	}
	f.Phase = pick(phaseField, [2]string{"straight", "Straight"}, [2]string{"braking", "Braking"}, [2]string{"entry", "Way in"}, [2]string{"mid", "Middle"}, [2]string{"exit", "Way out"}, [2]string{"", "Everywhere"})
	f.Corner = pick(cornerField, [2]string{"", "All corners"}, [2]string{"slow", "Slow ones"}, [2]string{"fast", "Fast ones"})
	f.How = pick(howField, [2]string{"slight", "A little"}, [2]string{"", "Clearly"}, [2]string{"strong", "A lot"})
	tracks := [][2]string{}
	for _, t := range voc.Tracks {
		tracks = append(tracks, [2]string{t.ID, capital(t.ID)})
	}
	f.Track = pick(trackField, append(tracks, [2]string{"", "Not said"})...)
	scale := func(field string, sc rules.Scale, off string) []choice {
		words := [][2]string{}
		for _, w := range sc.Words {
			words = append(words, [2]string{w.Word, capital(w.Word)})
		}
		return pick(field, append(words, [2]string{off, capital(off)}, [2]string{"", "Not said"})...)
	}
	f.Grip, f.Tyres = scale(gripField, voc.Grip, rules.Wet), scale(tyresField, voc.Tyres, rules.Wets)
	f.GripNo, f.TyresNo = q.Get(gripField+numberTail), q.Get(tyresField+numberTail)
	f.GripHint, f.TyresHint = voc.Grip.Example(), voc.Tyres.Example()
	f.Karts = s.kartChoices(kart)
	f.Conditions = q.Get(trackField)+q.Get(gripField)+q.Get(tyresField)+f.GripNo+f.TyresNo != ""
	return f
}

func (s *Site) kartChoices(chosen string) []choice {
	var out []choice
	for _, g := range s.garage() {
		title := g.Kart.Name
		if !g.Own {
			title += " (demo)"
		}
		out = append(out, choice{g.Key, title, g.Kart.Note, g.Key == chosen})
	}
	return out
}

// say shows the form.
func (s *Site) say(w http.ResponseWriter, r *http.Request) error {
	g, err := s.chosenKart(w, r)
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, "say", "What does the kart do?", s.form(r, s.state().set.Vocabulary(), g.Key))
}

// facts reads the form's fields. A field that was not filled in is not guessed.
func facts(q url.Values, voc rules.Vocabulary) (rules.Facts, error) {
	var out rules.Facts
	for _, id := range q[sayField] {
		if id == "" {
			continue
		}
		text := id
		for _, part := range []struct{ mark, field string }{{"/", phaseField}, {"@", cornerField}, {":", howField}} {
			if v := q.Get(part.field); v != "" {
				text += part.mark + v
			}
		}
		sym, err := rules.ParseSymptom(text)
		if err != nil {
			return out, err
		}
		out.Symptoms = append(out.Symptoms, sym)
	}
	out.Track = q.Get(trackField)
	level := func(field string, sc rules.Scale, off string) (rules.Level, error) {
		text := strings.TrimSpace(q.Get(field + numberTail))
		if text == "" {
			text = q.Get(field)
		}
		if text == "" {
			return rules.Level{}, nil
		}
		l, err := sc.Parse(text, off)
		if err != nil {
			return l, fmt.Errorf("%s: %w", field, err)
		}
		return l, nil
	}
	var err error
	if out.Grip, err = level(gripField, voc.Grip, rules.Wet); err != nil {
		return out, err
	}
	out.Tyres, err = level(tyresField, voc.Tyres, rules.Wets)
	return out, err
}

// asked is a request for advice as the form gave it.
type asked struct {
	kart  garaged
	facts rules.Facts
	heard *complaint.Report
	rules ruleState
}

// ask reads the form. A problem is something that the driver must put right;
// it is shown above the form.
func (s *Site) ask(w http.ResponseWriter, r *http.Request) (a asked, problem string, questions []complaint.Question, err error) {
	a.rules = s.state()
	voc := a.rules.set.Vocabulary()
	if a.kart, err = s.chosenKart(w, r); err != nil {
		return a, "", nil, err
	}
	q := r.URL.Query()
	if a.facts, err = facts(q, voc); err != nil {
		return a, err.Error(), nil, nil
	}
	if text := strings.TrimSpace(q.Get(textField)); text != "" {
		if len(text) > maxText {
			return a, fmt.Sprintf("that is more than %d characters: say it shorter", maxText), nil, nil
		}
		heard := s.words.Read(text)
		a.heard = &heard
		if len(heard.Unsure) > 0 {
			return a, "One thing must not be guessed, as the advice would turn round", heard.Unsure, nil
		}
		if a.facts, err = heard.Facts(a.facts, voc); err != nil {
			var c *complaint.Clash
			if errors.As(err, &c) {
				err = fmt.Errorf("the words say %s %s and the buttons %s: leave one out", c.What, c.Said, c.Stated)
			}
			return a, err.Error(), nil, nil
		}
		if len(a.facts.Symptoms) == 0 {
			what := "no complaint"
			if heard.Nothing() {
				what = "nothing"
			}
			return a, what + " was understood in these words; say in others what the kart does and where, or use the buttons", nil, nil
		}
	}
	if len(a.facts.Symptoms) == 0 {
		return a, "say what the kart does, in words or with the buttons", nil, nil
	}
	if _, err := a.rules.set.Compile(a.facts); err != nil {
		return a, err.Error(), nil, nil
	}
	return a, "", nil, nil
}

// answerView is the page of an answer.
type answerView struct {
	Understood       []string // of the text
	Said, Conditions string
	Kart             string
	Demo             bool
	Checks           []string
	Unusual, Uneven  []string
	Equal            []workView // to make the right side like the left
	Status           advisor.Status
	First            *changeView
	Alternatives     []changeView
	Refused          []refusalView
	Open             []openView
	Unsaid           []string
	Missing, Turning []string
	Fired            []firedView
	Near, Silent     int
	Stands           string   // since when the kart stands as it does, by the log
	Past             []string // what the log knows of the first change
	CanLog           bool
	Fields           string       // of the form's words, to log the answer
	Day              template.URL // a test day with its first changes; "" if there is none to plan
	Again            template.URL // the form with what was said
	All              template.URL // the rules with what they made of it
}

type refusalView struct {
	Title   string
	Reasons []string
}

// openView is a move on which the rules balance.
type openView struct {
	Title  string
	Sides  []openSide
	Decide []string
}

type openSide struct {
	Title   string
	Because []string
}

// firedView is a rule that spoke.
type firedView struct {
	ID, Title, Says, Because string
	Support                  float64
}

// changeView is one suggestion.
type changeView struct {
	Pick          int
	Title, By     string
	Confidence    string
	Sureness      string // the same in a word
	Because       string // of the strongest rule
	HasPlan       bool
	Work          []workView
	Notes         []string
	Why, Against  []string
	Decide        []string // what decides the contested points
	Conflict      string
	Figures       []figureRow
	Bend          *bendView
	BendTrouble   string
	Warnings      []string
	Steps         []stepView
	Confirm       []string
	Undo          []workView
	Sure, Rests   []string
	Cautions      []string
	Before, After template.HTML // the front end from the front
	Card          template.URL  // its job card
	Turn          template.URL  // the same setting under Turn it
}

type stepView struct{ Side, Text string }

// answer shows the advice.
func (s *Site) answer(w http.ResponseWriter, r *http.Request) error {
	a, problem, questions, err := s.ask(w, r)
	if err != nil {
		return err
	}
	if problem != "" {
		f := s.form(r, a.rules.set.Vocabulary(), a.kart.Key)
		f.Problem, f.Questions = problem, questions
		if a.heard != nil {
			f.Understood = a.heard.Say()
		}
		return s.render(w, r, http.StatusUnprocessableEntity, "say", "What does the kart do?", f)
	}
	adv, err := s.advise(a)
	if err != nil {
		return err
	}
	v, err := s.viewAdvice(adv, a, r.URL.Query(), units(r))
	if err != nil {
		return err
	}
	title := map[advisor.Status]string{advisor.CheckFirst: "Check the kart first", advisor.NoAdvice: "No advice", advisor.Undecided: "Undecided"}[adv.Status]
	if v.First != nil {
		title = "Try first: " + v.First.Title
	}
	return s.render(w, r, http.StatusOK, "answer", title, v)
}

func (s *Site) viewAdvice(adv *advisor.Advice, a asked, q url.Values, u geometry.Units) (*answerView, error) {
	voc := adv.Request.Rules.Vocabulary()
	var said []string
	for _, x := range adv.Request.Facts.Symptoms {
		said = append(said, advisor.SaySymptom(voc, x))
	}
	conditions, unsaid := advisor.SayConditions(voc, adv.Request.Facts)
	q.Set(kartParam, a.kart.Key)
	q.Del(pickField)
	v := &answerView{
		Said: strings.Join(said, "; "), Conditions: strings.Join(conditions, ", "), Kart: a.kart.Kart.Name, Demo: !a.kart.Own,
		Unusual: adv.Unusual, Uneven: adv.Uneven, Status: adv.Status, Unsaid: unsaid, Again: link("/", q), All: link("/rules", q),
		Missing: flips(voc, adv.Missing, adv.First), Turning: flips(voc, adv.Turning, adv.First),
	}
	v.CanLog, v.Fields = s.log != nil, q.Encode()
	if s.days != nil && adv.First != nil {
		v.Day = link("/days/new", q)
	}
	if p := a.kart.past; p != nil {
		v.Stands = p.Since
		if p.Note != "" {
			v.Past = append(v.Past, p.Note)
		}
		if adv.First != nil {
			v.Past = append(v.Past, p.About(adv.First, adv)...)
		}
	}
	if a.heard != nil {
		v.Understood = a.heard.Say()
	}
	if adv.Equal != nil {
		v.Equal = wayBack(adv.Equal, u)
	}
	for _, c := range adv.Checks {
		v.Checks = append(v.Checks, c.Text)
	}
	if adv.First != nil {
		c, err := viewChange(adv.First, 0, q, u)
		if err != nil {
			return nil, err
		}
		v.First = c
	}
	for i := range adv.Alternatives {
		v.Alternatives = append(v.Alternatives, outline(&adv.Alternatives[i], i+1, q, u))
	}
	for _, x := range adv.Refused {
		v.Refused = append(v.Refused, refusalView{x.Title, x.Reasons})
	}
	for _, x := range adv.Undecided {
		v.Open = append(v.Open, viewOpen(voc, x))
	}
	accounts, err := adv.Request.Rules.Explain(adv.Request.Facts)
	if err != nil {
		return nil, err
	}
	for _, acc := range accounts {
		switch {
		case acc.Fired:
			v.Fired = append(v.Fired, firedView{acc.Rule.ID, acc.Rule.Title, says(voc, acc.Rule), acc.Rule.Because, acc.Support})
		case acc.Near:
			v.Near++
		default:
			v.Silent++
		}
	}
	slices.SortStableFunc(v.Fired, func(a, b firedView) int { return -compare(a.Support, b.Support) })
	return v, nil
}

func compare(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// says is what a rule wants, in words.
func says(voc rules.Vocabulary, r *rules.Rule) string {
	var out []string
	word := map[string]rules.Move{}
	for _, m := range voc.Moves {
		word[m.ID] = m
	}
	for _, v := range r.Votes {
		m := word[v.Move]
		title := m.Increase
		if v.Amount < 0 {
			title = m.Decrease
		}
		out = append(out, title+" by "+ruleset.FormatSize(math.Abs(v.Amount), m.Unit))
	}
	for _, id := range r.Leave {
		out = append(out, "leave "+word[id].Title+" alone")
	}
	if len(r.Checks) > 0 {
		out = append(out, "check: "+strings.Join(r.Checks, "; "))
	}
	return strings.Join(out, ", ")
}

func viewOpen(voc rules.Vocabulary, x rules.Verdict) openView {
	var m rules.Move
	for _, w := range voc.Moves {
		if w.ID == x.Move {
			m = w
		}
	}
	o := openView{Title: m.Title}
	for _, side := range []struct {
		title string
		dir   int
	}{{m.Increase, 1}, {m.Decrease, -1}, {"leave it", 0}} {
		os := openSide{Title: side.title}
		for _, f := range x.Fired {
			if f.Direction == side.dir && f.Counted {
				os.Because = append(os.Because, f.Rule.Because)
			}
		}
		if len(os.Because) > 0 {
			o.Sides = append(o.Sides, os)
		}
	}
	o.Decide = decides(x.Contested)
	return o
}

// flips says what would change the suggestion's own move, or any if there is
// none.
func flips(voc rules.Vocabulary, all []rules.Flip, first *advisor.Suggestion) []string {
	var out []string
	for _, f := range all {
		if first != nil {
			f.Changes = slices.DeleteFunc(slices.Clone(f.Changes), func(c rules.Change) bool { return c.Move != first.Move.ID })
		}
		if len(f.Changes) > 0 {
			out = append(out, advisor.SayFlip(voc, f))
		}
	}
	return out
}

// byText is the size of a suggestion and where it applies.
func byText(s *advisor.Suggestion, u geometry.Units) string {
	size := math.Abs(s.Amount)
	if by, ok := s.Actual(); ok {
		size = math.Abs(by.Degrees())
	}
	if s.Move.Unit != "deg" {
		return "by " + ruleset.FormatSize(size, s.Move.Unit)
	}
	angle := geometry.Angle(size) * geometry.Degree
	text := "by " + u.Angle(angle) + " on each side"
	if s.Move.ID == "toe" {
		text += fmt.Sprintf(" (%s over %s)", u.Length(frontend.ToeLength(angle, advisor.RimLength)), strings.Replace(u.Length(advisor.RimLength), ".00", "", 1))
	}
	return text
}

// because lists the sentences of the rules that count, each once.
func because(lists ...[]rules.Firing) []string {
	var out []string
	for _, fired := range lists {
		for _, f := range fired {
			if f.Counted && !slices.Contains(out, f.Rule.Because) {
				out = append(out, f.Rule.Because)
			}
		}
	}
	return out
}

// decides lists what decides contested points, each once.
func decides(points []rules.Dispute) []string {
	var out []string
	for _, d := range points {
		if !slices.Contains(out, d.Decide) {
			out = append(out, d.Decide)
		}
	}
	return out
}

// confidenceWord says a confidence between 0 and 1.
func confidenceWord(c float64) string {
	switch {
	case c >= 0.6:
		return "likely"
	case c >= 0.35:
		return "worth a try"
	}
	return "a weak lead"
}

// link is an address of this site with the fields of a query. A template must be
// told that it is one: it would escape a query in an address once more.
func link(path string, q url.Values) template.URL { return template.URL(path + "?" + q.Encode()) }

// outline is a suggestion without all that a plan says.
func outline(s *advisor.Suggestion, pick int, q url.Values, u geometry.Units) changeView {
	net := math.Abs(s.Verdict.Net)
	v := changeView{Pick: pick, Title: s.Title(), By: byText(s, u), Confidence: strconv.FormatFloat(net, 'f', 2, 64), Sureness: confidenceWord(net), Notes: s.Notes}
	if len(s.For) > 0 {
		v.Because = s.For[0].Rule.Because
	}
	v.Against, v.Decide = because(s.Against, s.Leave), decides(s.Verdict.Contested)
	if s.Plan != nil {
		v.HasPlan, v.Work = true, wayBack(s.Plan, u)
		v.Turn = link("/turn", settingQuery(q.Get(kartParam), s.Plan.To))
	}
	card := url.Values{}
	for k, list := range q {
		card[k] = list
	}
	card.Set(pickField, strconv.Itoa(pick))
	v.Card = link("/card", card)
	return v
}

func viewChange(s *advisor.Suggestion, pick int, q url.Values, u geometry.Units) (*changeView, error) {
	v := outline(s, pick, q, u)
	v.Why = because(s.For)
	if s.Verdict.Conflict > 0.005 {
		v.Conflict = fmt.Sprintf("Belief for %.2f, against %.2f, conflict %.2f.", max(s.Verdict.Inc, s.Verdict.Dec), min(s.Verdict.Inc, s.Verdict.Dec), s.Verdict.Conflict)
	}
	v.Confirm, v.Cautions = s.Confirm(), s.Cautions()
	p := s.Plan
	if p == nil {
		return &v, nil
	}
	v.Work, v.Undo = work(p, u), wayBack(p.Undo(), u)
	v.Figures = figureRows(p.Before, p.After, u)
	var err error
	if v.Bend, err = bend(p, s.For, u); err != nil {
		v.BendTrouble = err.Error()
	}
	v.Warnings = append(p.Reasons(), p.Warnings...)
	for _, st := range p.Steps(u) {
		v.Steps = append(v.Steps, stepView{sideName(st.Side), st.Text})
	}
	if v.Sure, v.Rests, err = sureLines(p, u); err != nil {
		return nil, err
	}
	v.Cautions = append(v.Cautions, p.Cautions()...)
	return &v, nil
}

// sideName says a step's side, "" for the kart as a whole.
func sideName(side string) string {
	switch side {
	case "each":
		return "Each side"
	case "left", "right":
		return capital(side)
	}
	return ""
}
