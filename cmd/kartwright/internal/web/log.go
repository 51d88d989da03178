package web

import (
	"html/template"
	"net/http"

	"kartwright/advisor"
	"kartwright/advisor/complaint"
	"kartwright/advisor/profile"
	"kartwright/advisor/testday"
	"kartwright/geometry/adjust"
	"kartwright/rules"
)

// A Log is the journal as the page needs it. What it decides it decides for the
// command line too.
type Log interface {
	// Past is what is known of a kart that matters to advice; nil if nothing is.
	Past(k *profile.Kart, set *rules.Set) (*Past, error)
	// Keep records advice and returns how it is called.
	Keep(k *profile.Kart, adv *advisor.Advice, heard *complaint.Report, accounts []rules.Account) (id string, err error)
	// Waiting is advice that nobody has said yet what came of.
	Waiting(k *profile.Kart) ([]Entry, error)
	// Entries are the latest of all, latest first.
	Entries(k *profile.Kart, limit int) ([]Entry, error)
	// Judge records what came of advice: better, same, worse or not tried. The
	// notes say what else was recorded.
	Judge(k *profile.Kart, id, verdict string) (notes []string, err error)
	// Change is the change that advice was to make, to be tried on a test day.
	Change(k *profile.Kart, id string) (testday.Change, error)
	// JudgeDay records what a test day said of its changes that were taken from
	// advice, and returns how many entries that made: 0 if it is all there already.
	JudgeDay(d *testday.Day, v *testday.Verdict) (logged int, err error)
}

// Past is what a log knows of a kart.
type Past struct {
	Kart   *profile.Kart // as it stands
	Rules  *rules.Set    // with what was learned of them
	Since  string        // when it was logged to stand so, "" if it never was
	Note   string        // what the log lacks, or why its setting was left alone
	Demote func(*advisor.Advice)
	About  func(*advisor.Suggestion, *advisor.Advice) []string
	Record func(rule string) string // how often a rule helped
}

// Entry is one entry of a log.
type Entry struct {
	ID, Kind, When, Text string
	Setting              *[2]adjust.Setting // of an entry that says how the kart stands
}

// recall brings what the log knows into a chosen kart.
func (s *Site) recall(g garaged) (garaged, error) {
	if s.log == nil {
		return g, nil
	}
	p, err := s.log.Past(g.Kart, s.state().set)
	if err != nil || p == nil {
		return g, err
	}
	g.Kart, g.past = p.Kart, p
	return g, nil
}

// advise asks the rules, with what the log knows.
func (s *Site) advise(a asked) (*advisor.Advice, error) {
	set, past := a.rules.set, a.kart.past
	if past != nil {
		set = past.Rules
	}
	adv, err := advisor.Advise(advisor.Request{Kart: a.kart.Kart, Rules: set, Facts: a.facts})
	if err == nil && past != nil {
		past.Demote(adv)
	}
	return adv, err
}

type logView struct {
	Kart     string
	Karts    []choice
	None     bool // there is no journal
	Kept     string
	Notes    []string
	Waiting  []Entry
	Entries  []entryView
	Verdicts []choice
}

type entryView struct {
	Entry
	Turn template.URL // a setting under Turn it; "" for other entries
}

// entriesShown is how many entries the page lists.
const entriesShown = 30

func (s *Site) logPage(w http.ResponseWriter, r *http.Request) error {
	return s.showLog(w, r, r.URL.Query().Get("kept"), nil)
}

func (s *Site) showLog(w http.ResponseWriter, r *http.Request, kept string, notes []string) error {
	g, err := s.chosenKart(w, r)
	if err != nil {
		return err
	}
	v := logView{Kart: g.Kart.Name, Karts: s.kartChoices(g.Key), None: s.log == nil, Kept: kept, Notes: notes,
		Verdicts: []choice{{Value: "better", Title: "Better"}, {Value: "same", Title: "The same"}, {Value: "worse", Title: "Worse"}, {Value: "not tried", Title: "Not tried"}}}
	if s.log != nil {
		if v.Waiting, err = s.log.Waiting(g.Kart); err != nil {
			return err
		}
		entries, err := s.log.Entries(g.Kart, entriesShown)
		if err != nil {
			return err
		}
		for _, e := range entries {
			x := entryView{Entry: e}
			if e.Setting != nil {
				x.Turn = link("/turn", settingQuery(g.Key, *e.Setting))
			}
			v.Entries = append(v.Entries, x)
		}
	}
	return s.render(w, r, http.StatusOK, "log", "Log", v)
}

// logKeep records the advice that was given to the form's words. It is worked out
// anew, so that nothing is recorded that the rules did not say.
func (s *Site) logKeep(w http.ResponseWriter, r *http.Request) error {
	if s.log == nil {
		return failf(http.StatusNotFound, "there is no journal here to log in")
	}
	if err := r.ParseForm(); err != nil {
		return err
	}
	// The fields are those of the answer's address.
	asks := r.Clone(r.Context())
	asks.URL.RawQuery, asks.Form, asks.PostForm, asks.Method, asks.Body = r.PostForm.Encode(), nil, nil, http.MethodGet, http.NoBody
	a, problem, _, err := s.ask(w, asks)
	if err != nil {
		return err
	}
	if problem != "" {
		return failf(http.StatusUnprocessableEntity, "there is no advice to log: %s", problem)
	}
	adv, err := s.advise(a)
	if err != nil {
		return err
	}
	accounts, err := adv.Request.Rules.Explain(a.facts)
	if err != nil {
		return err
	}
	id, err := s.log.Keep(a.kart.Kart, adv, a.heard, accounts)
	if err != nil {
		return err
	}
	http.Redirect(w, r, "/log?kart="+a.kart.Key+"&kept="+id, http.StatusSeeOther)
	return nil
}

// logJudge records what came of advice.
func (s *Site) logJudge(w http.ResponseWriter, r *http.Request) error {
	if s.log == nil {
		return failf(http.StatusNotFound, "there is no journal here to log in")
	}
	g, err := s.chosenKart(w, r)
	if err != nil {
		return err
	}
	notes, err := s.log.Judge(g.Kart, r.PostFormValue("id"), r.PostFormValue("verdict"))
	if err != nil {
		return failure{http.StatusUnprocessableEntity, err.Error()}
	}
	return s.showLog(w, r, "", append([]string{"Logged"}, notes...))
}
