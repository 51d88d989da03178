package web

import (
	"cmp"
	"errors"
	"fmt"
	"html/template"
	"io"
	"io/fs"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"kartwright/advisor"
	"kartwright/advisor/testday"
	"kartwright/geometry"
	"kartwright/geometry/frontend"
	"kartwright/rules/diag"
)

// The fields of the form "Plan a test day" carry the names of the command line's
// flags; those of a change are its place and one of these.
const (
	changeName   = "name"
	changeWhat   = "what" // a figure, an adjuster after adjusterMark, or other
	changeWay    = "way"  // by or to
	changeMuch   = "much"
	changeAlso   = "also"    // further parts, as on the command line
	changeTime   = "minutes" // spanner time
	changeWeight = "matters"
	changeAdvice = "advice" // of the journal, that it was taken from
	adjusterMark = "adjuster:"
	otherWhat    = "other"
	rowsField    = "rows"
)

// usualRows is how many changes the form has room for at first.
const usualRows = 2

func changeField(row int, name string) string { return "c" + strconv.Itoa(row) + "_" + name }

// The longest that a name is read, in characters, and the laps of a run, in bytes.
const maxName, maxLapsText = 120, 16 << 10

// dayFault is what is wrong with a form, and the element that it is about.
type dayFault struct{ Text, At string }

// changeRow is the part of the form for one change.
type changeRow struct {
	Row                                            int // from 1, as it is shown
	Name, Much, Also, Minutes, Weight, Advice      string
	What                                           []choice
	To                                             bool // else by
	NameField, WhatField, WayField, MuchField      string
	AlsoField, TimeField, WeightField, AdviceField string
	Fault, More                                    bool
}

// dayForm is the form that plans a day, with what was typed.
type dayForm struct {
	Fault   *dayFault
	Rows    []changeRow
	Next    int // number of rows after adding one; 0 if there is no room
	Karts   []choice
	Kart    string
	Value   map[string]string
	Trends  []choice
	Figures []choice
	Earlier []choice
	From    string // what the changes were taken from
	Toe     string // an amount of toe, for the hint
}

// dayDefaults are what the command line starts from, too.
var dayDefaults = map[string]string{"runs": "8", "gap": "15", "tyre-sets": "1"}

// fill makes the form from the fields of a request.
func (s *Site) dayForm(g garaged, q url.Values, u geometry.Units) (dayForm, error) {
	f := dayForm{Toe: map[bool]string{true: "0.04 in out over 10 in", false: "1 mm out over 255 mm"}[u.Inches], Karts: s.kartChoices(g.Key), Kart: g.Kart.Name, Value: map[string]string{}}
	for _, name := range []string{"runs", "gap", "tyre-sets", "smallest", "where", "driver", "order", "minutes", "spread", "spread-df"} {
		f.Value[name] = cmp.Or(q.Get(name), dayDefaults[name])
	}
	for _, t := range [][2]string{{"linear", "Steady: a little each run"}, {"quadratic", "It bends, as on a track that dries"}, {"none", "None"}} {
		f.Trends = append(f.Trends, choice{Value: t[0], Title: t[1], On: q.Get("trend") == t[0]})
	}
	for _, t := range [][2]string{{"typical", "Its typical lap"}, {"median", "Its middle lap"}, {"huber", "Its mean, odd laps counting less"}} {
		f.Figures = append(f.Figures, choice{Value: t[0], Title: t[1], On: q.Get("figure") == t[0]})
	}
	rows := usualRows
	if n, err := strconv.Atoi(q.Get(rowsField)); err == nil {
		rows = n
	}
	for i := range testday.MaxChanges {
		if q.Has(changeField(i, changeName)) && i >= rows && rowText(q, i) != "" {
			rows = i + 1
		}
	}
	rows = max(1, min(testday.MaxChanges, rows))
	if rows < testday.MaxChanges {
		f.Next = rows + 1
	}
	for i := range rows {
		get := func(name string) string { return q.Get(changeField(i, name)) }
		r := changeRow{Row: i + 1, Name: get(changeName), Much: get(changeMuch), Also: get(changeAlso), Minutes: get(changeTime), Weight: get(changeWeight), Advice: get(changeAdvice), To: get(changeWay) == "to",
			NameField: changeField(i, changeName), WhatField: changeField(i, changeWhat), WayField: changeField(i, changeWay), MuchField: changeField(i, changeMuch),
			AlsoField: changeField(i, changeAlso), TimeField: changeField(i, changeTime), WeightField: changeField(i, changeWeight), AdviceField: changeField(i, changeAdvice)}
		r.More = r.Also+r.Minutes+r.Weight != ""
		for _, w := range [][2]string{{"", "Choose …"}, {"caster", "Caster"}, {"camber", "Camber"}, {"toe", "Toe"}, {"height", "Front ride height"}} {
			r.What = append(r.What, choice{Value: w[0], Title: w[1], On: get(changeWhat) == w[0]})
		}
		for _, a := range g.Kart.Corners[frontend.Left].Adjusters {
			if !a.Travel().Fixed() {
				v := adjusterMark + a.Name
				r.What = append(r.What, choice{Value: v, Title: "Adjuster: " + a.Name, On: get(changeWhat) == v})
			}
		}
		r.What = append(r.What, choice{Value: otherWhat, Title: "Something else on the kart", On: get(changeWhat) == otherWhat})
		f.Rows = append(f.Rows, r)
	}
	list, err := s.days.List()
	if err != nil {
		return f, err
	}
	for _, x := range list {
		if x.Day != nil && x.Day.Next() > 0 {
			f.Earlier = append(f.Earlier, choice{Value: x.Name, Title: x.Name, Means: x.Day.Title(), On: slices.Contains(q["earlier"], x.Name)})
		}
	}
	return f, nil
}

// rowText is all that was entered for a change.
func rowText(q url.Values, row int) string {
	text := ""
	for _, name := range []string{changeName, changeWhat, changeMuch, changeAlso, changeTime, changeWeight} {
		text += strings.TrimSpace(q.Get(changeField(row, name)))
	}
	return text
}

// changesOf reads the changes of the form. An error says of which row.
func changesOf(q url.Values) ([]testday.Change, *dayFault) {
	var out []testday.Change
	for i := range testday.MaxChanges {
		if rowText(q, i) == "" {
			continue
		}
		get := func(name string) string { return strings.TrimSpace(q.Get(changeField(i, name))) }
		fault := func(field, format string, args ...any) *dayFault {
			return &dayFault{fmt.Sprintf("change %d: ", i+1) + fmt.Sprintf(format, args...), changeField(i, field)}
		}
		var parts []string
		adjuster, isAdjuster := strings.CutPrefix(get(changeWhat), adjusterMark)
		switch what, much := get(changeWhat), get(changeMuch); {
		case what == "" && (much != "" || get(changeName)+get(changeAlso) == ""):
			return nil, fault(changeWhat, "choose what to change")
		case what == otherWhat && much != "":
			return nil, fault(changeMuch, "an amount goes with something that this kart's profile knows; put it into the name, or choose what to change")
		case what == otherWhat && get(changeName) == "":
			return nil, fault(changeName, "write what it is, for example: rear wider by 10 mm")
		case what == "" || what == otherWhat:
		case much == "":
			return nil, fault(changeMuch, "say how much; expected an amount with its unit, for example +0.5 deg, 1 mm out over 255 mm, 1/2 turn")
		case isAdjuster && get(changeWay) == "to":
			parts = append(parts, adjuster+"="+much)
		case isAdjuster:
			parts = append(parts, adjuster+"+="+much)
		default:
			parts = append(parts, what+" "+map[bool]string{true: "to", false: "by"}[get(changeWay) == "to"]+" "+much)
		}
		also := get(changeAlso)
		for _, part := range strings.Split(also, ",") {
			if also != "" {
				parts = append(parts, part)
			}
		}
		for _, n := range []string{changeTime, changeWeight} {
			if v := get(n); v != "" {
				parts = append(parts, n+" "+strings.Replace(v, ",", ".", 1))
			}
		}
		if utf8.RuneCountInString(get(changeName)) > maxName {
			return nil, fault(changeName, "the name has more than %d characters", maxName)
		}
		c, err := testday.NewChange(get(changeName), parts...)
		if err != nil {
			if inner := errors.Unwrap(err); inner != nil {
				err = inner // which change it is about is said already
			}
			return nil, fault(changeMuch, "%v", err)
		}
		c.Advice = get(changeAdvice)
		out = append(out, c)
	}
	return out, nil
}

// wish reads the form. What is wrong with it is a *testday.FieldError.
func (s *Site) wish(q url.Values) (testday.Wish, error) {
	w := testday.Wish{Track: strings.TrimSpace(q.Get("where")), Driver: strings.TrimSpace(q.Get("driver")), Trend: cmp.Or(q.Get("trend"), "linear"), Figure: cmp.Or(q.Get("figure"), "typical"), Order: strings.TrimSpace(q.Get("order"))}
	slip := func(field, format string, args ...any) error {
		return &testday.FieldError{Field: field, Err: fmt.Errorf(format, args...)}
	}
	for field, text := range map[string]string{"where": w.Track, "driver": w.Driver} {
		if utf8.RuneCountInString(text) > maxName {
			return w, slip(field, "it has more than %d characters", maxName)
		}
	}
	for _, n := range []struct {
		field string
		into  *int
	}{{"runs", &w.Runs}, {"tyre-sets", &w.TyreSets}, {"pick", &w.Pick}, {"spread-df", new(int)}} {
		if text := strings.TrimSpace(cmp.Or(q.Get(n.field), dayDefaults[n.field])); text != "" {
			v, err := strconv.Atoi(text)
			if err != nil {
				return w, slip(n.field, "%q is no whole number; expected one like 8", text)
			}
			*n.into = v
		}
	}
	sd := 0.
	for _, n := range []struct {
		field string
		into  *float64
	}{{"gap", &w.Gap}, {"smallest", &w.Smallest}, {"spread", &sd}} {
		var err error
		if *n.into, err = decimal(cmp.Or(q.Get(n.field), dayDefaults[n.field])); err != nil {
			return w, &testday.FieldError{Field: n.field, Err: err}
		}
	}
	for _, part := range strings.FieldsFunc(q.Get("minutes"), func(r rune) bool { return r == '\n' || r == '\r' || r == ',' || r == ';' }) {
		if part = strings.TrimSpace(part); part != "" {
			w.Minutes = append(w.Minutes, part)
		}
	}
	df, _ := strconv.Atoi(strings.TrimSpace(q.Get("spread-df"))) // checked above
	var earlier []testday.EarlierDay
	for _, name := range q["earlier"] {
		o, err := s.days.Open(name)
		if err != nil {
			return w, slip("earlier", "the earlier day %q cannot be opened: %w", name, err)
		}
		earlier = append(earlier, testday.EarlierDay{Name: name, Day: o.Day})
	}
	var err error
	if w.Spread, err = testday.SpreadOf(sd, df, earlier); err != nil {
		var f *testday.FieldError
		if !errors.As(err, &f) {
			err = &testday.FieldError{Field: "earlier", Err: err}
		}
	}
	return w, err
}

// decimal reads a number with a decimal point or comma, 0 for none.
func decimal(text string) (float64, error) {
	text = strings.TrimSpace(text)
	if text == "" {
		return 0, nil
	}
	v, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("%q is no number; expected one like 0.08", text)
	}
	return v, nil
}

// fieldWords are what the forms call the fields of which errors do not say it.
var fieldWords = map[string]string{
	"runs": "runs", "tyre-sets": "sets of tyres", "pick": "plan", "gap": "minutes between runs", "smallest": "difference that matters", "spread": "spread between runs", "spread-df": "spare runs that it was found from",
	"earlier": "earlier days", "trend": "drift", "figure": "figure of a run", "order": "order of your own", "minutes": "spanner times", "where": "place", "driver": "driver", "change": "changes",
	"says": "driver’s words", "feel": "against the base", "left": "runs more",
}

// faultOf says what is wrong with a form.
func faultOf(err error) *dayFault {
	var f *testday.FieldError
	if errors.As(err, &f) {
		at, text := f.Field, f.Err.Error()
		switch at {
		case "change":
			at = changeField(0, changeName)
		case "run":
			at = "" // nothing to be put right there
		}
		if words := fieldWords[f.Field]; words != "" {
			text = words + ": " + text
		}
		return &dayFault{text, at}
	}
	return &dayFault{Text: err.Error()}
}

type daysView struct {
	Fault *dayFault
	Karts []choice
	Text  string // a day that was refused
	File  string
	Check []foundLine
	Days  []dayLine
}

// asNamed stands for the kart that a day file names.
const asNamed = "as-named"

// dayLine is a day of the list.
type dayLine struct {
	Name, Title, Plan string
	Changes           []string
	Gone              string // how many runs are over
	Next, Runs        int
	Trouble           string
}

func (s *Site) dayList() (daysView, error) {
	v := daysView{Karts: append([]choice{{Value: asNamed, Title: "the one that the file names", On: true}}, s.kartChoices("")...)}
	list, err := s.days.List()
	for _, x := range list {
		line := dayLine{Name: x.Name, Trouble: x.Trouble}
		if d := x.Day; d != nil {
			line.Title, line.Plan, line.Changes, line.Gone, line.Next, line.Runs = d.Title(), d.Plan, d.Names(), d.Gone(), d.Next(), len(d.Runs)
		}
		v.Days = append(v.Days, line)
	}
	return v, err
}

// daysPage lists the test days.
func (s *Site) daysPage(w http.ResponseWriter, r *http.Request) error {
	v, err := s.dayList()
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, "days", "Test days", v)
}

// dayNew shows the form, empty or with what is known: what was typed before, or
// the changes of advice.
func (s *Site) dayNew(w http.ResponseWriter, r *http.Request) error {
	g, err := s.chosenKart(w, r)
	if err != nil {
		return err
	}
	q := r.URL.Query()
	from := ""
	if q.Has(sayField) || q.Has(textField) {
		if q, from, err = s.advisedRows(w, r); err != nil {
			return err
		}
	} else if id := q.Get("logged"); id != "" && s.log != nil {
		c, err := s.log.Change(g.Kart, id)
		if err != nil {
			return failure{http.StatusUnprocessableEntity, err.Error()}
		}
		q = url.Values{}
		putRow(q, 0, c, units(r))
		from = "From the log. What the day says of it can be told to the log, and the rules learn from it."
	}
	f, err := s.dayForm(g, q, units(r))
	if err != nil {
		return err
	}
	f.From = from
	return s.render(w, r, http.StatusOK, "daynew", "Plan a test day", f)
}

// advisedRows are the fields of the form with the changes that the rules suggest
// for the words of the request.
func (s *Site) advisedRows(w http.ResponseWriter, r *http.Request) (url.Values, string, error) {
	a, problem, _, err := s.ask(w, r)
	if err != nil {
		return nil, "", err
	}
	if problem != "" {
		return nil, "", failf(http.StatusUnprocessableEntity, "there is no advice to plan with: %s", problem)
	}
	adv, err := s.advise(a)
	if err != nil {
		return nil, "", err
	}
	changes, _, err := testday.Advised(adv, usualRows)
	if err != nil {
		return nil, "", failure{http.StatusUnprocessableEntity, err.Error()}
	}
	q := url.Values{}
	for i, c := range changes {
		putRow(q, i, c, units(r))
	}
	return q, "From the answer under Say it. Take out what is not to be tried.", nil
}

// putRow writes a change into the fields of a row, toe as it is measured.
func putRow(q url.Values, row int, c testday.Change, u geometry.Units) {
	q.Set(changeField(row, changeName), c.Name)
	q.Set(changeField(row, changeAdvice), c.Advice)
	rest := append(slices.Clone(c.Wants), c.Sets...)
	if len(c.Wants) > 0 {
		if words := strings.SplitN(c.Wants[0], " ", 3); len(words) == 3 {
			q.Set(changeField(row, changeWhat), words[0])
			q.Set(changeField(row, changeWay), words[1])
			if t, err := frontend.ParseToe(words[2]); words[0] == "toe" && err == nil {
				l, way := frontend.ToeLength(t.Value, advisor.RimLength), " in over "
				if l < 0 {
					l, way = -l, " out over "
				}
				words[2] = u.Length(l) + way + strings.Replace(u.Length(advisor.RimLength), ".00", "", 1)
			}
			q.Set(changeField(row, changeMuch), words[2])
			rest = rest[1:]
		}
	}
	q.Set(changeField(row, changeAlso), strings.Join(rest, ", "))
}

// planned plans the day that the fields ask for. A fault is one of the form.
func (s *Site) planned(g garaged, q url.Values) (*testday.Plan, *dayFault) {
	changes, fault := changesOf(q)
	if fault != nil {
		return nil, fault
	}
	if len(changes) == 0 {
		return nil, &dayFault{"say what to try: a change, and by how much", changeField(0, changeWhat)}
	}
	wish, err := s.wish(q)
	if err != nil {
		return nil, faultOf(err)
	}
	wish.Changes = changes
	p, err := testday.NewPlan(wish, g.named)
	if err != nil {
		return nil, faultOf(err)
	}
	return p, nil
}

type planView struct {
	About, Promise []string
	Because, Name  string
	Base           string // since when the kart stands as it does
	Options        []optionView
	Runs           []runView
	Remarks        []string
	Fair           string
	Fields         string // of the form
	Again          template.URL
	Fault          *dayFault
	Called         string
}

type optionView struct {
	Number       int
	Name         string
	Runs, Steps  int
	Minutes      string
	Half, Detect string
	Chosen       bool
	Take         template.URL
}

// runView is a run of the running order.
type runView struct {
	testday.RunSheet
	Note string
	Now  bool
}

func runViews(sheet []testday.RunSheet) []runView {
	var out []runView
	for _, s := range sheet {
		out = append(out, runView{RunSheet: s, Note: capital(s.Note())})
	}
	return out
}

// dayPlan shows the plan that the form asks for, or the form with what is wrong.
func (s *Site) dayPlan(w http.ResponseWriter, r *http.Request) error {
	g, err := s.chosenKart(w, r)
	if err != nil {
		return err
	}
	return s.showPlan(w, r, g, r.URL.Query(), nil)
}

func (s *Site) showPlan(w http.ResponseWriter, r *http.Request, g garaged, q url.Values, fault *dayFault) error {
	p, wrong := s.planned(g, q)
	if wrong != nil {
		f, err := s.dayForm(g, q, units(r))
		if err != nil {
			return err
		}
		f.Fault = wrong
		for i := range f.Rows {
			f.Rows[i].Fault = strings.HasPrefix(wrong.At, changeField(i, ""))
		}
		return s.render(w, r, http.StatusUnprocessableEntity, "daynew", "Plan a test day", f)
	}
	u := units(r)
	sheet, err := p.Day.Sheet(p.Work, 0, u)
	if err != nil {
		return err
	}
	q.Set(kartParam, g.Key)
	called := q.Get("called")
	q.Del("called")
	v := planView{About: p.About(), Promise: p.Promise(), Because: p.Because(), Name: p.Option().Name, Runs: runViews(sheet), Remarks: p.Work.Remarks(sheet), Fair: testday.Fair, Fields: q.Encode(), Again: link("/days/new", q), Fault: fault, Called: called}
	if p.Day.NeedsKart() && g.past != nil && g.past.Since != "" {
		v.Base = "The base is how the kart stands by the log since " + g.past.Since + "."
	}
	for i := range p.Options {
		o := &p.Options[i]
		worst := o.Worst()
		x := optionView{i + 1, o.Name, len(o.Order), o.Steps, fmt.Sprintf("%.0f min", o.Minutes), testday.SayProof(worst.Half), testday.SayProof(worst.Detect), i == p.Chosen, ""}
		own := url.Values{}
		for k, list := range q {
			own[k] = list
		}
		own["pick"] = []string{strconv.Itoa(i + 1)}
		x.Take = link("/days/plan", own)
		v.Options = append(v.Options, x)
	}
	status, title := http.StatusOK, fmt.Sprintf("A plan of %d runs", len(p.Day.Runs))
	if fault != nil {
		status = http.StatusUnprocessableEntity
	}
	return s.render(w, r, status, "dayplan", title, v)
}

// dayKeep keeps the day that the form asks for. It is planned anew, so that
// nothing is kept that could not be planned.
func (s *Site) dayKeep(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return err
	}
	g, err := s.chosenKart(w, r)
	if err != nil {
		return err
	}
	p, wrong := s.planned(g, r.PostForm)
	if wrong != nil {
		return s.showPlan(w, r, g, r.PostForm, nil)
	}
	var text []byte
	if p.Day.NeedsKart() && g.Name == "" {
		text = g.Text
	}
	called := strings.TrimSpace(r.PostForm.Get("called"))
	name, err := s.days.Add(called, p.Day, text)
	if fault := nameFault(called, err); fault != nil {
		return s.showPlan(w, r, g, r.PostForm, fault)
	}
	if err != nil {
		return err
	}
	http.Redirect(w, r, dayPath(name)+"?done=kept", http.StatusSeeOther)
	return nil
}

// nameFault says what is wrong with the name of a day to be kept, nil if that is
// not what err is about.
func nameFault(name string, err error) *dayFault {
	switch {
	case errors.Is(err, fs.ErrExist):
		return &dayFault{fmt.Sprintf("there is a day called %q already; expected another name", name), "called"}
	case errors.Is(err, fs.ErrInvalid):
		return &dayFault{fmt.Sprintf("%q cannot be the name of a day; expected letters, digits, spaces, - or _, at most 60, and no name that Windows keeps for itself, such as CON", name), "called"}
	}
	return nil
}

func dayPath(name string) string { return "/day/" + url.PathEscape(name) }

// dayOpen takes a day file and keeps a copy of it.
func (s *Site) dayOpen(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseMultipartForm(maxProfile); err != nil && !errors.Is(err, http.ErrNotMultipart) {
		return err
	}
	name, text := "", []byte(strings.ReplaceAll(r.PostFormValue("text"), "\r\n", "\n"))
	if file, head, err := r.FormFile("file"); err == nil {
		defer file.Close()
		if head.Size > 0 {
			name = strings.TrimSuffix(plainName(head.Filename), ".toml")
			if text, err = io.ReadAll(io.LimitReader(file, maxProfile+1)); err != nil {
				return err
			}
		}
	}
	refuse := func(fault *dayFault, check []foundLine) error {
		v, err := s.dayList()
		if err != nil {
			return err
		}
		v.Fault, v.Text, v.File, v.Check = fault, string(text), cmp.Or(name, "pasted")+".toml", check
		return s.render(w, r, http.StatusUnprocessableEntity, "days", "Not opened", v)
	}
	switch {
	case len(text) > maxProfile:
		return failf(http.StatusRequestEntityTooLarge, "the day has more than %d kB", maxProfile>>10)
	case strings.TrimSpace(string(text)) == "":
		return refuse(&dayFault{"choose a day, a .toml file that 'kartwright day plan --save' or this page wrote, or paste its text", "file"}, nil)
	}
	d, found := testday.Parse(cmp.Or(name, "pasted")+".toml", text)
	if diag.HasErrors(found) {
		c := listFindings(found, cmp.Or(name, "pasted")+".toml")
		return refuse(&dayFault{"the day has errors; put them right below and open it again", "day-text"}, c.Lines)
	}
	var kart []byte
	if d.NeedsKart() {
		key := r.PostFormValue("of")
		g, err := s.kart(key)
		if key == asNamed {
			// Only a kart that is open here is taken from a name: whoever sends a
			// file must not have others read.
			all := s.garage()
			i := slices.IndexFunc(all, func(g garaged) bool { return g.Name != "" && g.Name == d.Kart })
			if err = nil; i < 0 {
				err = fmt.Errorf("the day is of the kart %q, which is not open here; choose its kart in the list, after opening it under Karts", d.Kart)
			} else {
				g = all[i]
			}
		}
		if err != nil {
			return refuse(&dayFault{err.Error(), "of"}, nil)
		}
		if d.Kart = g.Name; d.Kart == "" {
			kart = g.Text
		}
		if _, err := d.Work(g.Kart); err != nil {
			return refuse(&dayFault{err.Error(), "of"}, nil)
		}
	} else {
		d.Kart = ""
	}
	kept, err := s.days.Add(name, d, kart)
	if errors.Is(err, fs.ErrExist) || errors.Is(err, fs.ErrInvalid) {
		kept, err = s.days.Add("", d, kart)
	}
	if err != nil {
		return err
	}
	http.Redirect(w, r, dayPath(kept)+"?done=kept", http.StatusSeeOther)
	return nil
}

// openDay opens the day that the path names.
func (s *Site) openDay(r *http.Request) (OpenDay, error) {
	o, err := s.days.Open(r.PathValue("name"))
	if errors.Is(err, fs.ErrNotExist) {
		return o, failf(http.StatusNotFound, "there is no test day %q here", r.PathValue("name"))
	}
	if err != nil {
		return o, failure{http.StatusUnprocessableEntity, err.Error()}
	}
	return o, nil
}

type dayView struct {
	Name, Title      string
	At               string // path of the day's pages
	Done             []string
	Fault            *dayFault
	Run, Runs        int
	Now              *runView
	Safety           []string
	PutBack          *putBack // once no run is left
	Last             string   // what is recorded last
	LastRun          int
	Order            []runView
	Outlook          []string
	Value            map[string]string // what was typed
	What, Feels, Was []choice
	Typed            bool // in the parts that are closed otherwise
	Driven           bool
	Finished         bool
}

// putBack is the way back to the base.
type putBack struct {
	Stands               string
	Turns, Check, Safety []string
}

// wayToBase is how the kart of a day gets back to the base.
func wayToBase(d *testday.Day, work *testday.Work, u geometry.Units) (*putBack, error) {
	turns, check, err := d.PutBack(work, u)
	return &putBack{d.Stands(), turns, check, advisor.Safety()}, err
}

// dayPage is the day at the track: what to do now, the result to enter, and the
// rest of the day.
func (s *Site) dayPage(w http.ResponseWriter, r *http.Request) error {
	o, err := s.openDay(r)
	if err != nil {
		return err
	}
	q := r.URL.Query()
	var done []string
	switch q.Get("done") {
	case "kept":
		done = append(done, "the day is kept; this page and 'kartwright day' both work on it")
	case "recorded":
		done = append(done, "recorded")
	case "back":
		done = append(done, "the run is taken back; what was recorded is in the form, to be put right")
	}
	if q.Get("anew") == "1" {
		done = append(done, "the rest of the day is planned anew")
	}
	typed := url.Values{}
	if q.Get("run") == strconv.Itoa(o.Day.Next()+1) {
		typed = q
	}
	return s.showDay(w, r, o, typed, done, nil)
}

// typedOf are the fields of the form that record a run as it was.
func typedOf(r testday.Run) url.Values {
	q := url.Values{}
	set := func(field, text string) {
		if text != "" {
			q.Set(field, text)
		}
	}
	var laps []string
	for _, l := range r.Laps {
		laps = append(laps, l.String())
	}
	set("laps", strings.Join(laps, "\n"))
	if r.Value != 0 {
		set("time", strconv.FormatFloat(r.Value, 'f', -1, 64))
	}
	set("says", r.Says)
	set("feel", string(r.Feel))
	set("why", r.Why)
	if r.State == testday.Missed || r.State == testday.Rain {
		set("what", string(r.State))
		set("changed", map[bool]string{true: "yes", false: "no"}[r.Fitted])
	}
	return q
}

func (s *Site) showDay(w http.ResponseWriter, r *http.Request, o OpenDay, typed url.Values, done []string, fault *dayFault) error {
	d, u := o.Day, units(r)
	work, err := d.Work(o.Kart)
	if err != nil {
		return failure{http.StatusUnprocessableEntity, err.Error()}
	}
	next := d.Next()
	sheet, err := d.Sheet(work, next, u)
	if err != nil {
		return err
	}
	v := dayView{Name: o.Name, Title: d.Title(), At: dayPath(o.Name), Done: done, Fault: fault, Run: next + 1, Runs: len(d.Runs), Outlook: d.Outlook(), Finished: next == len(d.Runs), Value: map[string]string{}}
	for k := range typed {
		v.Value[k] = typed.Get(k)
		switch k {
		case "why", "lost", "track", "left", "time":
			v.Typed = v.Typed || typed.Get(k) != ""
		}
	}
	pick := func(field string, words ...[2]string) (out []choice) {
		for _, w := range words {
			out = append(out, choice{Value: w[0], Title: w[1], On: typed.Get(field) == w[0]})
		}
		return out
	}
	v.What = pick("what", [2]string{"", "Driven"}, [2]string{"missed", "Missed"}, [2]string{"rain", "Rained off"})
	v.Feels = pick("feel", [2]string{"better", "Better"}, [2]string{"same", "The same"}, [2]string{"worse", "Worse"}, [2]string{"", "Not said"})
	v.Was = pick("changed", [2]string{"yes", "Yes, for this run"}, [2]string{"no", "No, not yet"})
	for i, run := range d.Runs[:next] {
		x := runView{RunSheet: testday.RunSheet{Number: i + 1, Setup: run.Setup, Name: d.Say(run.Setup), Tyres: run.Tyres, State: run.State, Result: d.Result(run)}}
		x.Note = capital(x.RunSheet.Note())
		v.Order = append(v.Order, x)
		v.Last, v.LastRun = fmt.Sprintf("Run %d, %s: %s", i+1, x.Name, x.Result), i+1
		v.Driven = v.Driven || run.State == testday.Done
	}
	later := runViews(sheet)
	title := "All runs are driven"
	if len(later) == 0 {
		if slices.ContainsFunc(d.Runs, func(r testday.Run) bool { return r.State != testday.Done }) {
			title = "No run is left: " + d.Gone()
		}
		if v.PutBack, err = wayToBase(d, work, u); err != nil {
			return err
		}
	} else {
		later[0].Now = true
		v.Now, v.Safety = &later[0], sheet[0].Safety()
		title = fmt.Sprintf("Run %d of %d: %s", v.Run, v.Runs, later[0].Name)
	}
	v.Order = append(v.Order, later...)
	status := http.StatusOK
	if fault != nil {
		status = http.StatusUnprocessableEntity
	}
	return s.render(w, r, status, "day", title, v)
}

// dayEnter records a run, or what has changed.
func (s *Site) dayEnter(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return err
	}
	e, err := entryOf(r.PostForm)
	var done testday.Entered
	was := url.Values{}
	if err == nil {
		err = s.days.Change(r.PathValue("name"), func(o OpenDay) error {
			work, err := o.Day.Work(o.Kart)
			if err != nil {
				return err
			}
			if e.TakeBack && e.Run <= len(o.Day.Runs) {
				was = typedOf(o.Day.Runs[e.Run-1])
			}
			done, err = o.Day.Enter(work, e)
			return err
		})
	}
	if err != nil {
		o, lost := s.openDay(r)
		if lost != nil {
			return lost
		}
		return s.showDay(w, r, o, r.PostForm, nil, faultOf(err))
	}
	to := dayPath(r.PathValue("name")) + "?done=recorded"
	if e.TakeBack {
		was.Set("run", strconv.Itoa(e.Run))
		to = dayPath(r.PathValue("name")) + "?done=back&" + was.Encode()
	}
	if done.Anew {
		to += "&anew=1"
	}
	http.Redirect(w, r, to, http.StatusSeeOther)
	return nil
}

// entryOf reads the form of a run.
func entryOf(q url.Values) (testday.Entry, error) {
	slip := func(field, format string, args ...any) error {
		return &testday.FieldError{Field: field, Err: fmt.Errorf(format, args...)}
	}
	e := testday.Entry{
		Laps: strings.TrimSpace(q.Get("laps")), Missed: q.Get("what") == "missed", Rain: q.Get("what") == "rain", TakeBack: q.Get("back") != "", OutIn: q.Get("out-in") != "",
		Says: strings.TrimSpace(q.Get("says")), Feel: testday.Feel(q.Get("feel")), Why: strings.TrimSpace(q.Get("why")), LostTyres: q.Get("lost") != "", TrackChanged: q.Get("track") != "",
	}
	var err error
	if e.Run, err = strconv.Atoi(q.Get("run")); err != nil || e.Run < 1 {
		return e, slip("run", "the form does not say which run it is about; open the day again")
	}
	if e.TakeBack {
		return testday.Entry{Run: e.Run, TakeBack: true}, nil
	}
	if e.Missed || e.Rain {
		was := q.Get("changed")
		if was != "yes" && was != "no" {
			return e, slip("changed", "run %d: say whether the kart was set up for it already, as that decides what is to be turned next; expected yes or no", e.Run)
		}
		e.Fitted = was == "yes"
	}
	if e.Time, err = decimal(q.Get("time")); err != nil {
		return e, slip("time", "run %d: %w", e.Run, err)
	}
	if text := strings.TrimSpace(q.Get("left")); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil {
			return e, slip("left", "%q is no whole number; expected one like 4", text)
		}
		e.Left = &n
	}
	switch {
	case len(e.Laps) > maxLapsText:
		return e, slip("laps", "run %d: there are more than %d kB of lap times; expected those of one run", e.Run, maxLapsText>>10)
	case len(e.Says)+len(e.Why) > maxText:
		return e, slip("says", "run %d: the words have more than %d characters", e.Run, maxText)
	case e.Laps == "" && e.Time == 0 && !e.Missed && !e.Rain && !e.LostTyres && !e.TrackChanged && e.Left == nil:
		return e, slip("laps", "run %d: there are no lap times; expected one on a line, such as 48.60 or 0:48.60", e.Run)
	}
	return e, nil
}

type verdictView struct {
	At, Name   string
	Effects    []effectView
	Matters    string
	Wide, Slim template.HTML
	Legend     string
	Runs       []verdictRun
	Account    []string
	Notes      []string
	Laps       []lapsRow
	Figure     string
	Value      map[string]string
	Trends     []choice
	Figures    []choice
	Unfinished bool
	CanLog     bool
	Done       []string
	Fault      *dayFault
	Title      string
	PutBack    *putBack // once no run is left
}

type effectView struct {
	Name, Text string
	More       []string
}

type verdictRun struct {
	Number          int
	Name, Laps, Why string
	Time, Off       string
	Odd             bool
	Words           string
}

type lapsRow struct {
	Number  int
	Figures []string
	Left    []string
}

// dayVerdict says what each change was worth.
func (s *Site) dayVerdict(w http.ResponseWriter, r *http.Request) error {
	o, err := s.openDay(r)
	if err != nil {
		return err
	}
	var done []string
	switch r.URL.Query().Get("done") {
	case "logged":
		done = append(done, "the log knows how the changes turned out")
	case "already":
		done = append(done, "the log knew this already; nothing was added")
	}
	if len(done) > 0 {
		for _, c := range o.Day.Changes {
			if c.Advice == "" {
				done = append(done, c.Name+" was not taken from advice in the log, so no rule learns from it")
			}
		}
		if o.Day.On(o.Day.Next()) != 0 {
			done = append(done, "the log takes the kart to stand as before the day, but it stands "+o.Day.Stands()+": put the base back before the next advice")
		}
	}
	return s.showVerdict(w, r, o, done)
}

// judged judges a day, as the fields of the address want it.
func judged(d *testday.Day, q url.Values) (*testday.Verdict, error) {
	var err error
	if text := q.Get("trend"); text != "" {
		if d.Trend, err = testday.ParseTrend(text); err != nil {
			return nil, &testday.FieldError{Field: "trend", Err: err}
		}
	}
	if text := q.Get("figure"); text != "" {
		if d.Figure, err = testday.ParseFigure(text); err != nil {
			return nil, &testday.FieldError{Field: "figure", Err: err}
		}
	}
	if text := q.Get("smallest"); text != "" {
		v, err := decimal(text)
		if err == nil && (v < 0 || v > 10) {
			err = fmt.Errorf("it is %g, expected 0 to 10", v)
		}
		if err != nil {
			return nil, &testday.FieldError{Field: "smallest", Err: err}
		}
		d.Smallest = v
	}
	return d.Judge()
}

func (s *Site) showVerdict(w http.ResponseWriter, r *http.Request, o OpenDay, done []string) error {
	q := r.URL.Query()
	d := o.Day
	status := http.StatusOK
	v := verdictView{At: dayPath(o.Name), Name: o.Name, Done: done, Value: map[string]string{"smallest": q.Get("smallest")}, Title: d.Title()}
	verdict, err := judged(d, q)
	var field *testday.FieldError
	if errors.As(err, &field) {
		v.Fault, status = faultOf(err), http.StatusUnprocessableEntity
		verdict, err = judged(d, nil)
	}
	if errors.Is(err, testday.ErrNothingDriven) {
		return failure{http.StatusConflict, err.Error()}
	}
	if err != nil {
		return failure{http.StatusUnprocessableEntity, err.Error()}
	}
	for _, t := range [][2]string{{"linear", "Steady"}, {"quadratic", "Bent"}, {"none", "None"}} {
		v.Trends = append(v.Trends, choice{Value: t[0], Title: t[1], On: d.Trend.String() == t[0]})
	}
	for _, t := range [][2]string{{"typical", "Typical lap"}, {"median", "Middle lap"}, {"huber", "Mean, odd laps counting less"}} {
		v.Figures = append(v.Figures, choice{Value: t[0], Title: t[1], On: d.Figure.String() == t[0]})
	}
	for i := range verdict.Effects {
		e := &verdict.Effects[i]
		c := d.Changes[e.Change]
		v.CanLog = v.CanLog || s.log != nil && c.Advice != ""
		v.Effects = append(v.Effects, effectView{capital(c.Name), verdict.Say(d, i), e.More()})
	}
	if d.Next() == len(d.Runs) {
		work, err := d.Work(o.Kart)
		if err == nil {
			v.PutBack, err = wayToBase(d, work, units(r))
		}
		if err != nil {
			return failure{http.StatusUnprocessableEntity, err.Error()}
		}
	}
	if d.Smallest > 0 {
		v.Matters = fmt.Sprintf("What matters is %.2f s a lap.", d.Smallest)
	}
	v.Wide, v.Slim, v.Legend = template.HTML(verdict.SVG(d)), template.HTML(verdict.Narrow(d)), verdict.LegendOfPicture(d)
	v.Account, v.Notes, v.Unfinished, v.Figure = verdict.Account(), verdict.Notes, !verdict.Finished, d.Figure.String()
	for i := range verdict.Runs {
		x := &verdict.Runs[i]
		run := d.Runs[x.Run]
		row := verdictRun{Number: x.Run + 1, Name: d.Say(run.Setup), Why: x.Why}
		if x.Used {
			row.Why, row.Laps, row.Time, row.Off, row.Odd, row.Words = "", x.LapsKept(run), fmt.Sprintf("%.3f", x.Value), strings.TrimSuffix(testday.Seconds(x.Residual, 3), " s"), x.Odd, run.Words()
			if sum := x.Summary; len(sum.Kept) > 0 {
				l := lapsRow{Number: x.Run + 1}
				for _, f := range []float64{sum.Value, sum.Median, sum.Huber, sum.Trimmed, sum.Mean, sum.Best} {
					l.Figures = append(l.Figures, fmt.Sprintf("%.3f", f))
				}
				l.Figures = append(l.Figures, strings.TrimSuffix(testday.Seconds(sum.Line.Slope, 4), " s"))
				for _, out := range sum.Left {
					l.Left = append(l.Left, out.Say())
				}
				v.Laps = append(v.Laps, l)
			}
		}
		v.Runs = append(v.Runs, row)
	}
	return s.render(w, r, status, "dayverdict", "What each change was worth", v)
}

// dayTell tells the log how the changes that came from advice turned out, and
// leads to the verdict, so that a page loaded again tells it nothing.
func (s *Site) dayTell(w http.ResponseWriter, r *http.Request) error {
	o, err := s.openDay(r)
	if err != nil {
		return err
	}
	if s.log == nil {
		return failf(http.StatusNotFound, "there is no journal here to log in")
	}
	v, err := o.Day.Judge()
	if err != nil {
		return failure{http.StatusConflict, err.Error()}
	}
	logged, err := s.log.JudgeDay(o.Day, v)
	if err != nil {
		return failure{http.StatusUnprocessableEntity, err.Error()}
	}
	to := dayPath(o.Name) + "/verdict?done=logged"
	if logged == 0 {
		to = dayPath(o.Name) + "/verdict?done=already"
	}
	http.Redirect(w, r, to, http.StatusSeeOther)
	return nil
}

// daySheet is the run sheet, for printing.
func (s *Site) daySheet(w http.ResponseWriter, r *http.Request) error {
	o, err := s.openDay(r)
	if err != nil {
		return err
	}
	work, err := o.Day.Work(o.Kart)
	if err != nil {
		return failure{http.StatusUnprocessableEntity, err.Error()}
	}
	first := 0
	if r.URL.Query().Get("from") == "now" {
		first = o.Day.Next()
	}
	sheet, err := o.Day.Sheet(work, first, units(r))
	if err != nil {
		return err
	}
	body, err := o.Day.SheetHTML(work, sheet)
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, "daysheet", o.Day.Title(), struct {
		At   string
		Body template.HTML
	}{dayPath(o.Name), body})
}

// dayFile sends the day's file.
func (s *Site) dayFile(w http.ResponseWriter, r *http.Request) error {
	o, err := s.openDay(r)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/toml; charset=utf-8")
	w.Header().Set("Content-Disposition", "attachment; filename*=UTF-8''"+url.PathEscape(o.Name+".toml"))
	w.Header().Set("Cache-Control", "no-store")
	_, err = w.Write(o.Day.Text())
	return err
}

// dayRoutes are the pages of the test days.
func (s *Site) dayRoutes() map[string]func(http.ResponseWriter, *http.Request) error {
	return map[string]func(http.ResponseWriter, *http.Request) error{
		"GET /days": s.daysPage, "POST /days": s.dayKeep, "POST /days/open": s.dayOpen, "GET /days/new": s.dayNew, "GET /days/plan": s.dayPlan,
		"GET /day/{name}": s.dayPage, "POST /day/{name}": s.dayEnter, "GET /day/{name}/verdict": s.dayVerdict, "POST /day/{name}/verdict": s.dayTell, "GET /day/{name}/sheet": s.daySheet, "GET /day/{name}/file": s.dayFile,
	}
}
