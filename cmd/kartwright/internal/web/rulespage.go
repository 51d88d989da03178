package web

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"path"
	"slices"
	"strconv"
	"strings"

	"kartwright/rules"
	"kartwright/rules/diag"
)

// ruleRow is a rule in the list.
type ruleRow struct {
	ID, Title, File, When, Says, Because string
	Fired                                bool
	Near                                 bool
	Support                              string
	Miss                                 string // the one condition that it missed
}

type ruleListView struct {
	Search, Show string
	Asked        string // what was asked, if the list is of an answer
	Query        string // the answer's query
	Answer       template.URL
	Rows         []ruleRow
	Of, Fired    int
	Club         string
	HasClub      bool
}

// mostRules is how many rules the list shows at once.
const mostRules = 60

// ruleList lists rules: all, those with words in them, or those that an answer
// came from.
func (s *Site) ruleList(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	st := s.state()
	voc := st.set.Vocabulary()
	v := ruleListView{Search: q.Get("search"), Show: q.Get("show"), Club: path.Base(s.clubName()), HasClub: st.clubText != nil}
	if len(v.Search) > 200 {
		return failf(http.StatusBadRequest, "that is too long to search for")
	}
	account := map[string]rules.Account{}
	if q.Has(sayField) || q.Get(textField) != "" {
		a, problem, _, err := s.ask(w, r)
		if err != nil {
			return err
		}
		if problem != "" {
			return failf(http.StatusUnprocessableEntity, "%s", problem)
		}
		accounts, err := st.set.Explain(a.facts)
		if err != nil {
			return err
		}
		var said []string
		for _, x := range a.facts.Symptoms {
			said = append(said, x.String())
		}
		v.Asked = strings.Join(said, ", ")
		for _, acc := range accounts {
			account[acc.Rule.ID] = acc
			if acc.Fired {
				v.Fired++
			}
		}
		keep := url.Values{}
		for k, list := range q {
			if k != "search" && k != "show" {
				keep[k] = list
			}
		}
		v.Query, v.Answer = keep.Encode(), link("/answer", keep)
		if v.Show == "" {
			v.Show = "fired"
		}
	}
	words := strings.Fields(strings.ToLower(v.Search))
	for _, rule := range st.set.Rules() {
		row := rowOf(voc, &rule)
		if acc, ok := account[rule.ID]; ok {
			row.Fired, row.Near = acc.Fired, acc.Near
			row.Support = fmt.Sprintf("%.2f", acc.Support)
			for _, c := range acc.Conditions {
				if acc.Near && c.Grade == 0 {
					has := c.Has
					if has == "" {
						has = "not said"
					}
					row.Miss = fmt.Sprintf("%s is %s, wants %s", c.Key, has, c.Wants)
				}
			}
		}
		switch {
		case v.Show == "fired" && !row.Fired, v.Show == "near" && !row.Near, v.Show == "club" && row.File != path.Base(s.clubName()):
			continue
		}
		text := strings.ToLower(strings.Join([]string{row.ID, row.Title, row.File, row.When, row.Says, row.Because}, " "))
		if !slices.ContainsFunc(words, func(word string) bool { return !strings.Contains(text, word) }) {
			v.Rows = append(v.Rows, row)
		}
	}
	v.Of = len(v.Rows)
	if v.Show == "fired" {
		slices.SortStableFunc(v.Rows, func(a, b ruleRow) int { return strings.Compare(b.Support, a.Support) })
	}
	if len(v.Rows) > mostRules {
		v.Rows = v.Rows[:mostRules]
	}
	return s.render(w, r, http.StatusOK, "rules", "Rules", v)
}

func rowOf(voc rules.Vocabulary, rule *rules.Rule) ruleRow {
	file, _, _ := strings.Cut(rule.Place, ":")
	return ruleRow{ID: rule.ID, Title: rule.Title, File: path.Base(file), When: whenText(voc, rule.When), Says: says(voc, rule), Because: rule.Because}
}

// whenText says the conditions of a rule.
func whenText(voc rules.Vocabulary, w rules.When) string {
	title := func(ids []string, between string) string {
		var out []string
		for _, id := range ids {
			name := id
			for _, x := range voc.Symptoms {
				if x.ID == id {
					name = x.Title
				}
			}
			out = append(out, name)
		}
		return strings.Join(out, between)
	}
	var out []string
	if len(w.Symptom) > 0 {
		out = append(out, title(w.Symptom, " or "))
	}
	if len(w.With) > 0 {
		out = append(out, "with "+title(w.With, " and "))
	}
	if len(w.Without) > 0 {
		out = append(out, "without "+title(w.Without, " or "))
	}
	for _, t := range []struct {
		name  string
		terms rules.Terms
	}{{"part of the corner", w.Phase}, {"corners", w.Corner}, {"how much", w.Severity}, {"track", w.Track}, {"grip", w.Grip}, {"tyres", w.Tyres}} {
		if len(t.terms) > 0 {
			out = append(out, t.name+" "+t.terms.String())
		}
	}
	switch w.Wet {
	case rules.Yes:
		out = append(out, "in the wet")
	case rules.No:
		out = append(out, "in the dry")
	}
	return strings.Join(out, "; ")
}

type rulePageView struct {
	ruleRow
	Rule       *rules.Rule
	Confidence string
	Learned    string
	Line       string // "entry.toml:12"
	Own        bool
}

// rulePage shows one rule.
func (s *Site) rulePage(w http.ResponseWriter, r *http.Request) error {
	st := s.state()
	rule := st.set.Rule(r.PathValue("id"))
	if rule == nil {
		return failf(http.StatusNotFound, "there is no rule %q in the rules that are loaded", r.PathValue("id"))
	}
	v := rulePageView{ruleRow: rowOf(st.set.Vocabulary(), rule), Rule: rule, Confidence: fmt.Sprintf("%.2f", rule.Confidence), Line: path.Base(rule.Place)}
	if l := st.set.Learned(rule.ID); l != 1 {
		v.Learned = fmt.Sprintf("%.2f", l)
	}
	v.Own = v.File == path.Base(s.clubName())
	title := rule.Title
	if title == "" {
		title = rule.ID
	}
	return s.render(w, r, http.StatusOK, "rule", "Rule: "+title, v)
}

// clubName is the name of the club's file, given or usual.
func (s *Site) clubName() string {
	if s.club.Name == "" {
		return "club.toml"
	}
	return s.club.Name
}

// clubView is the editor of the club's file.
type clubView struct {
	Name, Text string
	Was        string // what the text was when the editing began, hashed
	Kept       bool   // there is no file: the text lives as long as the program
	Saved      bool
	Refused    bool
	Clash      string // somebody else changed the file meanwhile
	Check      checkView
}

// textLine is a line of the text with what was found on it, if anything.
type textLine struct {
	Number int
	Text   string
	Found  []foundView
}

// Listing is the whole text line by line with what was found under each line;
// nil if nothing was.
func (v clubView) Listing() []textLine {
	if len(v.Check.Lines) == 0 {
		return nil
	}
	var out []textLine
	for i, line := range strings.Split(strings.TrimSuffix(v.Text, "\n"), "\n") {
		out = append(out, textLine{Number: i + 1, Text: line})
	}
	for _, l := range v.Check.Lines {
		if l.File == "" && l.Number <= len(out) {
			out[l.Number-1].Found = l.Found
		}
	}
	return out
}

// checkView is what was found in a text.
type checkView struct {
	Errors, Warnings int
	Rules            int // in all, if there is no error
	Lines            []foundLine
}

// Says is the outcome in a sentence, with the lines to look at.
func (v checkView) Says() string {
	count := func(n int, word string) string {
		if n == 1 {
			return "1 " + word
		}
		return strconv.Itoa(n) + " " + word + "s"
	}
	said := "No errors"
	if v.Errors > 0 {
		said = count(v.Errors, "error")
	}
	if v.Warnings > 0 {
		said += ", " + count(v.Warnings, "note")
	}
	if len(v.Lines) == 0 {
		return said + ". " + count(v.Rules, "rule") + " in all."
	}
	var at []string
	for _, l := range v.Lines {
		if l.File == "" {
			at = append(at, strconv.Itoa(l.Number))
		}
	}
	switch {
	case len(at) == 0:
		return said + "."
	case len(at) == 1:
		return said + ": line " + at[0] + "."
	case len(at) > 8:
		at = append(at[:8], "…")
	}
	return said + ": lines " + strings.Join(at, ", ") + "."
}

// Elsewhere are the findings in other files than the club's.
func (v checkView) Elsewhere() []foundLine {
	return slices.DeleteFunc(slices.Clone(v.Lines), func(l foundLine) bool { return l.File == "" })
}

// foundLine is a line of the text with what was found on it.
type foundLine struct {
	Number int
	File   string // of another file than the club's
	Text   string
	Found  []foundView
}

type foundView struct {
	Error         bool
	Column, End   int    // the place, in characters from 1; End is behind it
	Mark          string // blanks and carets under the place
	Message, Help string
	Code          string
	Notes         []string
}

// maxRules is the longest rule file that the editor takes, in bytes.
const maxRules = 256 << 10

// clubTemplate is what a new club file begins with.
const clubTemplate = `format = 1
set = "club"
title = "Our club"
extends = ["shipped.toml"]

# A rule of your own: when it holds, what it wants, how sure you are and why.
# [[rule]]
# id = "club-light-steering"
# when = { symptom = "light_steering", grip = "low" }
# vote = { caster = "+1 deg" }
# confidence = 0.8
# because = "on our dusty track the steering only wakes up with another degree of caster"
# source = "our club"
`

func textHash(text []byte) string {
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:8])
}

// clubText is what the club's file holds now; nil if there is none.
func (s *Site) clubText() ([]byte, error) {
	if s.club.Load != nil {
		return s.club.Load()
	}
	return s.state().clubText, nil
}

func (s *Site) clubPage(w http.ResponseWriter, r *http.Request) error {
	text, err := s.clubText()
	if err != nil {
		return err
	}
	v := clubView{Name: s.clubName(), Was: textHash(text), Text: string(text), Kept: s.club.Save == nil, Saved: r.URL.Query().Has("saved")}
	if text == nil {
		v.Text = clubTemplate
	}
	v.Check = s.check([]byte(v.Text))
	return s.render(w, r, http.StatusOK, "club", "Edit the club's rules", v)
}

// check loads the rules with a text as the club's file.
func (s *Site) check(text []byte) checkView {
	st, found := s.loadRules(text)
	v := listFindings(found, s.clubName())
	if st.set != nil {
		v.Rules = len(st.set.Rules())
	}
	return v
}

// listFindings lists findings line by line; those in another file than own say
// in which.
func listFindings(found []diag.Diagnostic, own string) checkView {
	var v checkView
	for _, d := range found {
		f := foundView{Error: d.Severity == diag.Error, Message: d.Message, Help: d.Help, Code: string(d.Code)}
		if f.Error {
			v.Errors++
		} else {
			v.Warnings++
		}
		line, column := d.At.Position()
		endLine, endColumn := d.At.EndPosition()
		f.Column = column
		src := d.At.File.Line(line)
		if endLine != line {
			endColumn = len([]rune(src)) + 1
		}
		f.End = max(column+1, endColumn)
		f.Mark = strings.Repeat(" ", max(0, column-1)) + strings.Repeat("^", max(1, endColumn-column))
		for _, n := range d.Related {
			at, _ := n.At.Position()
			f.Notes = append(f.Notes, fmt.Sprintf("%s (line %d of %s)", n.Message, at, path.Base(n.At.File.Name)))
		}
		file := ""
		if d.At.File.Name != own {
			file = path.Base(d.At.File.Name)
		}
		if n := len(v.Lines); n > 0 && v.Lines[n-1].Number == line && v.Lines[n-1].File == file {
			v.Lines[n-1].Found = append(v.Lines[n-1].Found, f)
			continue
		}
		v.Lines = append(v.Lines, foundLine{line, file, src, []foundView{f}})
	}
	return v
}

// posted reads the editor's text. Browsers send line ends as CR LF.
func posted(r *http.Request) ([]byte, error) {
	if err := r.ParseForm(); err != nil {
		return nil, err
	}
	text := []byte(strings.ReplaceAll(r.PostForm.Get("text"), "\r\n", "\n"))
	if len(text) > maxRules {
		return nil, failf(http.StatusRequestEntityTooLarge, "the text has %d kB; a rule file may have %d", len(text)>>10, maxRules>>10)
	}
	if bytes.IndexByte(text, 0) >= 0 {
		return nil, failf(http.StatusBadRequest, "the text has a zero byte in it, so it is no text")
	}
	return text, nil
}

// clubCheck answers with what is wrong with a text, while it is written.
func (s *Site) clubCheck(w http.ResponseWriter, r *http.Request) error {
	text, err := posted(r)
	if err != nil {
		return err
	}
	return s.execute(w, http.StatusOK, "club", "check", s.check(text))
}

// clubSave saves the text if it has no error, or only checks it. Otherwise, or if the file was
// changed by somebody else meanwhile, it is refused and shown again.
func (s *Site) clubSave(w http.ResponseWriter, r *http.Request) error {
	text, err := posted(r)
	if err != nil {
		return err
	}
	v := clubView{Name: s.clubName(), Text: string(text), Was: r.PostForm.Get("was"), Kept: s.club.Save == nil}
	v.Check = s.check(text)
	if r.PostForm.Has("check") {
		return s.render(w, r, http.StatusOK, "club", "Edit the club's rules", v)
	}
	if v.Check.Errors > 0 {
		v.Refused = true
		return s.render(w, r, http.StatusUnprocessableEntity, "club", "Not saved: the text has errors", v)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	now := s.rules.clubText
	if s.club.Load != nil {
		if now, err = s.club.Load(); err != nil {
			return err
		}
	}
	if textHash(now) != v.Was && !bytes.Equal(now, text) {
		v.Was, v.Clash = textHash(now), string(now)
		return s.render(w, r, http.StatusConflict, "club", "Not saved: the file was changed meanwhile", v)
	}
	st, found := s.loadRules(text)
	if diag.HasErrors(found) {
		return fmt.Errorf("the shipped rules changed while this was saved")
	}
	if s.club.Save != nil {
		if err := s.club.Save(text); err != nil {
			return fmt.Errorf("the file could not be written: %w; the text is still below if you go back", err)
		}
	}
	s.rules = st
	http.Redirect(w, r, "/club?saved=1", http.StatusSeeOther)
	return nil
}
