package web_test

import (
	"bytes"
	"fmt"
	"html"
	"io/fs"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"kartwright/advisor/profile"
	"kartwright/advisor/profile/demo"
	"kartwright/advisor/testday"
	"kartwright/cmd/kartwright/internal/web"
)

// memDays keeps test days as text, as their files do.
type memDays struct {
	mu    sync.Mutex
	text  map[string][]byte
	karts map[string][]byte
}

func (m *memDays) open(name string) (web.OpenDay, error) {
	text, ok := m.text[name]
	if !ok {
		return web.OpenDay{}, fs.ErrNotExist
	}
	d, found := testday.Parse(name+".toml", text)
	if d == nil {
		return web.OpenDay{}, fmt.Errorf("%v", found)
	}
	o := web.OpenDay{Name: name, Day: d}
	if d.NeedsKart() {
		data, ok := demo.Read(d.Kart)
		if !ok {
			data = m.karts[name]
		}
		o.Kart, _ = profile.Parse(d.Kart, data)
	}
	return o, nil
}

func (m *memDays) List() (out []web.DayFile, err error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for name, text := range m.text {
		f := web.DayFile{Name: name}
		if f.Day, _ = testday.Parse(name, text); f.Day == nil {
			f.Trouble = "line 1: broken"
		}
		out = append(out, f)
	}
	slices.SortFunc(out, func(a, b web.DayFile) int { return strings.Compare(a.Name, b.Name) })
	return out, nil
}

func (m *memDays) Open(name string) (web.OpenDay, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.open(name)
}

func (m *memDays) Add(name string, d *testday.Day, kart []byte) (string, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if strings.ContainsAny(name, "/\\") {
		return "", fs.ErrInvalid
	}
	if _, taken := m.text[name]; taken {
		return "", fs.ErrExist
	}
	if name == "" {
		name = fmt.Sprintf("day%d", len(m.text)+1)
	}
	own := *d
	if kart != nil {
		own.Kart, m.karts[name] = name+".kart.toml", kart
	}
	m.text[name] = own.Text()
	return name, nil
}

func (m *memDays) Change(name string, change func(web.OpenDay) error) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	o, err := m.open(name)
	if err == nil {
		if err = change(o); err == nil {
			m.text[name] = o.Day.Text()
		}
	}
	return err
}

// Days that the tests begin with: one half driven, one that is judged.
const (
	halfDay = `format = 1
kart = "alder"
track = "Quillmarsh"
plan = "ABBA"
smallest = 0.1
gap = 15
[[change]]
name = "more caster"
want = "caster by +0.5 deg"
[[run]]
state = "done"
laps = ["49.92 out", "48.61", "48.62", "48.60", "49.88 traffic", "48.63", "48.60"]
[[run]]
with = "more caster"
[[run]]
with = "more caster"
[[run]]
`
	wholeDay = `format = 1
track = "Quillmarsh"
[[change]]
name = "seat back <b>"
[[run]]
state = "done"
time = 48.60
[[run]]
with = "seat back <b>"
state = "done"
time = 48.45
feel = "better"
says = "it bites & turns"
[[run]]
with = "seat back <b>"
state = "done"
time = 48.52
feel = "better"
[[run]]
state = "done"
time = 48.74
[[run]]
state = "missed"
why = "flat tyre"
`
)

func newMemDays() *memDays {
	return &memDays{text: map[string][]byte{"half": []byte(halfDay), "whole": []byte(wholeDay), "broken": []byte("format = 1\n[[run]]\n")}, karts: map[string][]byte{}}
}

// The plan that the command 'day plan' makes of the same words.
const planQuery = "c0_what=caster&c0_way=by&c0_much=%2B0.5+deg&c0_name=more+caster&c1_what=other&c1_name=wider+rear&c1_minutes=8&runs=8&smallest=0.1&kart=alder"

func dayPages() []string {
	return []string{"/days", "/days/new", "/days/plan?" + planQuery, "/day/half", "/day/half?done=recorded&anew=1", "/day/whole", "/day/half/sheet", "/day/half/verdict", "/day/whole/verdict", "/days/new?say=bind&phase=exit&track=tight"}
}

// says fails for each part that a page's text, as a browser reads it, lacks.
func says(t *testing.T, what, body string, parts ...string) {
	t.Helper()
	contains(t, what, html.UnescapeString(body), parts...)
}

func TestDayPlan(t *testing.T) {
	w := newShop(t).get("/days/plan?" + planQuery)
	if w.Code != http.StatusOK {
		t.Fatalf("a plan is answered with %d:\n%s", w.Code, w.Body)
	}
	says(t, "the plan", w.Body.String(), "A plan of 8 runs", "To try: more caster; wider rear.", "both together, drift-free", "Order 0 1 1+2 2 2 1+2 1 0", "0.16 s for more caster (± 0.12 s)", "caster screw: tighten it 0.55 turn (about 9/16), clockwise; depth gauge 7.60 mm to 6.92 mm.",
		"Put on: wider rear.", "Take off: wider rear.", "Tyre set 1, 12 min", "base between", "Keep this day", "pick=1", `name="c1_minutes" value="8"`)
	r := httptest.NewRequest(http.MethodGet, "/days/plan?"+planQuery, nil)
	r.AddCookie(&http.Cookie{Name: "kartwright_units", Value: "inch"})
	inches := newShop(t).do(r).Body.String()
	says(t, "the plan in inches", inches, "depth gauge 0.299 in to 0.27")
	if strings.Contains(inches, "7.60 mm") {
		t.Error("a length of the plan is still in millimetres")
	}
	says(t, "another plan", newShop(t).get("/days/plan?"+planQuery+"&pick=1").Body.String(), "A plan of 5 runs", "✓ base between")
}

// What is wrong is said with its field, and nothing that was typed is lost.
func TestDayPlanFaults(t *testing.T) {
	s := newShop(t)
	for _, tt := range []struct {
		name, query, says, at string
		keeps                 []string
	}{
		{"nothing to try", "runs=8&where=Quillmarsh", "Say what to try", "c0_what", []string{`value="Quillmarsh"`}},
		{"no unit", "c0_what=caster&c0_much=3&c0_name=lean", "Change 1: angle \"3\" has no unit (write 3deg or 3rad)", "c0_much", []string{`value="3"`, `value="lean"`, `value="caster" selected`}},
		{"the second change", "c0_what=other&c0_name=seat&c1_what=camber&c1_way=to", "Change 2: say how much; expected an amount with its unit", "c1_much", []string{`value="seat"`, `value="camber" selected`, `<option value="to" selected>`}},
		{"an amount of nothing", "c0_much=1+mm", "Change 1: choose what to change", "c0_what", nil},
		{"a name that is missing", "c0_what=other", "Change 1: write what it is", "c0_name", nil},
		{"an adjuster that cannot stand there", "c0_what=adjuster:caster+screw&c0_much=99+turns", "is outside its travel, 3.00 turns looser to 3.00 turns tighter", "", []string{`value="99 turns"`}},
		{"the same name twice", "c0_what=other&c0_name=seat&c1_what=other&c1_name=seat", "two changes are called \"seat\"", "c0_name", nil},
		{"runs in words", "c0_what=other&c0_name=seat&runs=many", "Runs: \"many\" is no whole number; expected one like 8", "runs", []string{`name="runs" value="many"`}},
		{"too few runs", "c0_what=other&c0_name=seat&runs=2", "2 runs are too few: base, change and base again take three", "", []string{`name="runs" value="2"`}},
		{"too many runs", "c0_what=other&c0_name=seat&runs=2000000000", "more than the 32 that a day holds", "", nil},
		{"no number", "c0_what=other&c0_name=seat&smallest=little", "Difference that matters: \"little\" is no number; expected one like 0.08", "smallest", nil},
		{"a negative gap", "c0_what=other&c0_name=seat&gap=-1", "Minutes between runs: it is -1, expected 0 to 600", "gap", nil},
		{"an order that tells nothing", "c0_what=other&c0_name=seat&order=BBBB", "there is no run without it to compare with", "", []string{`value="BBBB"`}},
		{"an order of letters", "c0_what=other&c0_name=seat&order=AXA", "Order of your own", "order", nil},
		{"spanner times", "c0_what=other&c0_name=seat&minutes=screw", "Spanner times: \"screw\": write PART=MINUTES", "minutes", []string{">screw</textarea>"}},
		{"a spread twice", "c0_what=other&c0_name=seat&spread=0.05&earlier=whole", "Spread between runs: give either the spread or earlier days", "spread", []string{`value="whole" checked`}},
		{"an earlier day that is not there", "c0_what=other&c0_name=seat&earlier=..%2f..%2fpasswd", "Earlier days: the earlier day", "earlier", nil},
		{"drift that is none", "c0_what=other&c0_name=seat&trend=cubic", "not one of none, linear, quadratic", "trend", nil},
		{"a plan that is none", "c0_what=other&c0_name=seat&pick=99", "there is no plan 99", "pick", nil},
	} {
		w := s.get("/days/plan?" + tt.query)
		if w.Code != http.StatusUnprocessableEntity {
			t.Errorf("%s: status %d, want 422", tt.name, w.Code)
		}
		says(t, tt.name, w.Body.String(), append(tt.keeps, tt.says, `role="alert"`)...)
		if tt.at != "" {
			says(t, tt.name, w.Body.String(), `<a href="#`+tt.at+`">To the field</a>`)
			if tt.at != "pick" {
				says(t, tt.name, w.Body.String(), `id="`+tt.at+`"`)
			}
		}
	}
	if w := s.get("/days/new?rows=3&c0_what=caster&c0_much=3"); !strings.Contains(w.Body.String(), "Change 3") || !strings.Contains(w.Body.String(), `name="c0_much" value="3"`) {
		t.Error("room for a third change is not made, or loses what was typed")
	}
}

// field reads the hidden fields of a page's form.
var field = regexp.MustCompile(`<input type="hidden" name="([^"]+)" value="([^"]*)">`)

// A day is kept as planned, run to its end on the page, and judged.
func TestDayFromPlanToVerdict(t *testing.T) {
	s := newShop(t)
	form := url.Values{"called": {"spring day"}}
	for _, m := range field.FindAllStringSubmatch(s.get("/days/plan?"+strings.Replace(planQuery, "runs=8", "runs=5", 1)+"&pick=1").Body.String(), -1) {
		form.Add(m[1], html.UnescapeString(m[2]))
	}
	w := s.post("/days", form)
	if to := w.Header().Get("Location"); w.Code != http.StatusSeeOther || to != "/day/spring%20day?done=kept" {
		t.Fatalf("keeping a day leads to %d %q:\n%s", w.Code, to, w.Body)
	}
	at := "/day/spring%20day"
	says(t, "the day", s.get(at+"?done=kept").Body.String(), "Run 1 of 5: base", "Nothing to turn.", "The day is kept", "Enter run 1", `kartwright day next "spring day.toml"`)
	if w := s.post("/days", form); w.Code != http.StatusUnprocessableEntity || !strings.Contains(html.UnescapeString(w.Body.String()), "There is a day called \"spring day\" already") {
		t.Errorf("a second day of that name is answered with %d:\n%s", w.Code, w.Body)
	}
	for i, laps := range []string{"49.92 out 48.61 48.62 48.60 49.88 traffic 48.63 48.60", "48,45\n48,44\n48,43\n48,44\n48,46", "0:48.72 0:48.70 0:48.71 0:48.73 0:48.72", "48.60 48.61 48.62 48.60 48.61", "48.80 48.81 48.82 48.80 48.80"} {
		w := s.post(at, url.Values{"run": {fmt.Sprint(i + 1)}, "laps": {laps}, "feel": {"better"}, "says": {"bites <at> last"}})
		if to := w.Header().Get("Location"); w.Code != http.StatusSeeOther || to != at+"?done=recorded" {
			t.Fatalf("run %d is answered with %d %q:\n%s", i+1, w.Code, to, w.Body)
		}
		if i == 0 {
			says(t, "the day after a run", s.get(at).Body.String(), "Run 2 of 5: more caster", "tighten it 0.55 turn", "48.610 s from 5 of 7 laps. Lap 1, 49.92: out-lap. Lap 5, 49.88: traffic.", "Take run 1 back", "bites <at> last", "Verdict so far")
		}
	}
	says(t, "the day at its end", s.get(at).Body.String(), "All runs are driven", "Add runs", "To put the base back", "The kart stands on the base.")
	verdict := s.get(at + "/verdict").Body.String()
	says(t, "the verdict", verdict, "More caster</h2>", "(minus is quicker; 95 %", "<svg", `class="day-chart"`, "Drift ", "Driver: better", "Off line", "5 of 7", "Huber", "out-lap, left out")
	if w := s.get(at + "/verdict?trend=cubic"); w.Code != http.StatusUnprocessableEntity || !strings.Contains(w.Body.String(), "not one of none, linear, quadratic") {
		t.Errorf("a drift that is none is answered with %d", w.Code)
	}
	says(t, "the verdict by other figures", s.get(at+"/verdict?figure=median&smallest=0,05").Body.String(), `value="median" selected`, "What matters is 0.05 s a lap.")
	// The page's verdict is the command line's: the same functions on the same day.
	o, err := s.days.Open("spring day")
	require.NoError(t, err)
	v, err := o.Day.Judge()
	require.NoError(t, err)
	for i := range v.Effects {
		says(t, "the verdict", verdict, v.Say(o.Day, i)[1:])
	}
	for _, line := range v.Account() {
		says(t, "the verdict", verdict, line)
	}
	file := s.get(at + "/file")
	if got := file.Header().Get("Content-Disposition"); !strings.HasPrefix(got, "attachment") || !strings.HasPrefix(file.Body.String(), "# A test day") {
		t.Errorf("the file comes as %q:\n%.80s", got, file.Body)
	}
}

// A slip in a run names run and lap and what was expected, records nothing, and
// leaves all that was typed in the form.
func TestDayRunFaults(t *testing.T) {
	for _, tt := range []struct {
		name  string
		form  url.Values
		says  string
		keeps []string
	}{
		{"a lap that is none", url.Values{"run": {"2"}, "laps": {"48.61\r\n48.60 traffic\r\n4.86"}, "says": {"pushes"}, "feel": {"worse"}}, "Run 2, lap 3 (line 3 of the lap times, \"4.86\"): a lap of 4.86 s is not a kart's; expected 10 s to 10 minutes", []string{"48.60 traffic\r\n4.86</textarea>", `value="pushes"`, `value="worse" checked`}},
		{"a word", url.Values{"run": {"2"}, "laps": {"48.61 fast"}}, "Run 2, lap 2 (line 1 of the lap times, \"48.61 fast\"): \"fast\" is neither a lap time", []string{"48.61 fast</textarea>"}},
		{"no laps", url.Values{"run": {"2"}, "says": {"it hops"}}, "Run 2: there are no lap times; expected one on a line, such as 48.60", []string{`value="it hops"`}},
		{"laps of a missed run", url.Values{"run": {"2"}, "laps": {"48.61"}, "what": {"missed"}, "changed": {"no"}, "why": {"flat"}}, "Give one of lap times, one time, missed", []string{"48.61</textarea>", `value="flat"`, `value="missed" checked`}},
		{"only an out-lap and an in-lap", url.Values{"run": {"2"}, "laps": {"48.61 48.60"}, "out-in": {"1"}}, "Run 2: 2 laps leave none", []string{`name="out-in" value="1" checked`}},
		{"only laps that do not count", url.Values{"run": {"2"}, "laps": {"48.61 out"}}, "no lap is left to judge by", nil},
		{"a time in words", url.Values{"run": {"2"}, "time": {"fast"}}, "Run 2: \"fast\" is no number", []string{`name="time" value="fast"`}},
		{"a time that is none", url.Values{"run": {"2"}, "time": {"4.86"}}, "Run 2: 4.86 s is no lap", nil},
		{"a feeling that is none", url.Values{"run": {"2"}, "laps": {"48.6"}, "feel": {"good"}}, "expected better, same or worse", nil},
		{"runs in words", url.Values{"run": {"2"}, "left": {"few"}}, "Runs more: \"few\" is no whole number", []string{`name="left" value="few"`}},
		{"too many runs", url.Values{"run": {"2"}, "left": {"99"}}, "expected 0 to 32", nil},
		{"a missed run that may have been set up for", url.Values{"run": {"2"}, "what": {"missed"}, "why": {"flat"}}, "Run 2: say whether the kart was set up for it already", []string{`id="changed"`, `value="flat"`, `value="missed" checked`}},
		{"rain without the same", url.Values{"run": {"2"}, "what": {"rain"}, "changed": {"1"}}, "expected yes or no", []string{`value="rain" checked`}},
		{"a run that is over", url.Values{"run": {"1"}, "laps": {"48.60"}}, "This was meant for run 1, which was recorded meanwhile with 48.610 s; now comes run 2. Nothing of this was recorded.", []string{"48.60</textarea>"}},
		{"a run that is not there", url.Values{"run": {"9"}, "laps": {"48.60"}}, "There is no run 9", nil},
		{"no run", url.Values{"laps": {"48.60"}}, "open the day again", nil},
		{"a run taken back twice", url.Values{"run": {"2"}, "back": {"1"}}, "the last that is recorded is run 1", nil},
		{"words without a run", url.Values{"run": {"2"}, "lost": {"1"}, "says": {"done for"}}, "go with the result of a run", nil},
		{"a library of laps", url.Values{"run": {"2"}, "laps": {strings.Repeat("48.60\n", 400)}}, "more than 300 lap times", nil},
	} {
		s := newShop(t)
		before := string(s.days.text["half"])
		w := s.post("/day/half", tt.form)
		if w.Code != http.StatusUnprocessableEntity {
			t.Errorf("%s: status %d, want 422", tt.name, w.Code)
		}
		says(t, tt.name, w.Body.String(), append(tt.keeps, tt.says, `role="alert"`)...)
		if after := string(s.days.text["half"]); after != before {
			t.Errorf("%s was recorded all the same:\n%s", tt.name, after)
		}
	}
}

// What else happens on a day.
func TestDayTurnsOut(t *testing.T) {
	for _, tt := range []struct {
		name, day string
		form      url.Values
		to        string
		file      []string
	}{
		{"a run taken back", "half", url.Values{"run": {"1"}, "back": {"1"}, "laps": {"half typed"}}, "/day/half?done=back&laps=49.92+out%0A48.61", []string{"state = \"planned\""}},
		{"a missed run", "half", url.Values{"run": {"2"}, "what": {"missed"}, "changed": {"no"}, "why": {"flat tyre"}, "left": {"4"}}, "/day/half?done=recorded&anew=1", []string{"state = \"missed\"", "why = \"flat tyre\"", "[[run]]  # 6"}},
		{"rain", "half", url.Values{"run": {"2"}, "what": {"rain"}, "changed": {"yes"}, "says": {"like ice"}}, "/day/half?done=recorded", []string{"state = \"rain\"", "fitted = true", "after_break = true", "like ice"}},
		{"one time, with a comma", "half", url.Values{"run": {"2"}, "time": {"48,45"}}, "/day/half?done=recorded", []string{"time = 48.45"}},
		{"out-lap and in-lap", "half", url.Values{"run": {"2"}, "laps": {"52.1 48.6 48.5 55.0"}, "out-in": {"1"}}, "/day/half?done=recorded", []string{`"52.1 out", "48.6", "48.5", "55.0 in"`}},
		{"tyres lost", "half", url.Values{"run": {"2"}, "lost": {"1"}}, "/day/half?done=recorded", []string{"tyres = 2"}},
		{"more runs at the end", "whole", url.Values{"run": {"6"}, "left": {"2"}}, "/day/whole?done=recorded&anew=1", []string{"[[run]]  # 7"}},
	} {
		s := newShop(t)
		w := s.post("/day/"+tt.day, tt.form)
		if to := w.Header().Get("Location"); w.Code != http.StatusSeeOther || !strings.HasPrefix(to, tt.to) {
			t.Errorf("%s is answered with %d %q, want to go to %s:\n%s", tt.name, w.Code, to, tt.to, w.Body)
		}
		says(t, tt.name, string(s.days.text[tt.day]), tt.file...)
	}
}

// Two who record at the same time: each run is recorded once, and who comes late
// is told so with what was typed.
func TestDayTwoAtATime(t *testing.T) {
	s := newShop(t)
	const writers = 12
	codes := make(chan int, writers)
	for range writers {
		go func() {
			codes <- s.post("/day/half", url.Values{"run": {"2"}, "laps": {"48.45 48.44 48.43 48.44 48.46"}}).Code
		}()
	}
	count := map[int]int{}
	for range writers {
		count[<-codes]++
	}
	if count[http.StatusSeeOther] != 1 || count[http.StatusUnprocessableEntity] != writers-1 {
		t.Errorf("of %d who recorded run 2 at once the answers are %v, want one 303 and the rest 422", writers, count)
	}
	if n := strings.Count(string(s.days.text["half"]), `state = "done"`); n != 2 {
		t.Errorf("%d runs are recorded, want 2", n)
	}
}

func upload(t *testing.T, name, text string, fields map[string]string) *http.Request {
	t.Helper()
	var body bytes.Buffer
	m := multipart.NewWriter(&body)
	for k, v := range fields {
		require.NoError(t, m.WriteField(k, v))
	}
	f, err := m.CreateFormFile("file", name)
	require.NoError(t, err)
	_, err = f.Write([]byte(text))
	require.NoError(t, err)
	require.NoError(t, m.Close())
	r := httptest.NewRequest(http.MethodPost, "/days/open", &body)
	r.Header.Set("Content-Type", m.FormDataContentType())
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	return r
}

// A day file from elsewhere is opened; it can have no other file read.
func TestDayOpen(t *testing.T) {
	for _, tt := range []struct {
		name, file, text, of string
		status               int
		says                 string
	}{
		{"a day of a demo kart", "mine.toml", halfDay, "as-named", 303, "/day/mine"},
		{"a day without a kart", "other.toml", wholeDay, "as-named", 303, "/day/other"},
		{"a name that is taken", "half.toml", halfDay, "as-named", 303, "/day/day"},
		{"a name that leads elsewhere", "../../etc/half.toml", halfDay, "as-named", 303, "/day/day"},
		{"a kart of another machine", "mine.toml", strings.Replace(halfDay, `"alder"`, `"/etc/passwd"`, 1), "as-named", 422, "which is not open here"},
		{"that kart chosen", "mine.toml", strings.Replace(halfDay, `"alder"`, `"/etc/passwd"`, 1), "alder", 303, "/day/mine"},
		{"a kart that is none", "mine.toml", halfDay, "../../etc/passwd", 422, "there is no kart"},
		{"a kart that cannot do it", "mine.toml", strings.Replace(halfDay, "+0.5 deg", "+9 deg", 1), "alder", 422, "cannot"},
		{"a file with errors", "mine.toml", "format = 1\n[[change]]\nname = \"x\"\n[[run]]\nwith = \"y\"\n", "as-named", 422, "There is no change called \"y\""},
		{"nothing", "mine.toml", "", "as-named", 422, "Choose a day"},
		{"too much", "mine.toml", strings.Repeat("#", 200<<10), "as-named", 413, "kB"},
	} {
		s := newShop(t)
		w := s.do(upload(t, tt.file, tt.text, map[string]string{"of": tt.of}))
		if w.Code != tt.status {
			t.Errorf("%s is answered with %d, want %d:\n%s", tt.name, w.Code, tt.status, w.Body)
		}
		if tt.status == http.StatusSeeOther {
			if to := w.Header().Get("Location"); !strings.HasPrefix(to, tt.says) {
				t.Errorf("%s leads to %q, want %q", tt.name, to, tt.says)
			}
			continue
		}
		if !strings.Contains(strings.ToLower(html.UnescapeString(w.Body.String())), strings.ToLower(tt.says)) {
			t.Errorf("%s does not say %q:\n%s", tt.name, tt.says, w.Body)
		}
		if len(s.days.text) != 3 {
			t.Errorf("%s was kept all the same", tt.name)
		}
	}
	// A kart that was opened on the page is kept beside its day.
	s := newShop(t)
	cedar, _ := demo.Read("cedar")
	w := s.post("/karts", url.Values{"text": {string(cedar)}})
	require.Equal(t, http.StatusSeeOther, w.Code)
	w = s.post("/days", url.Values{"kart": {"mine1"}, "c0_what": {"caster"}, "c0_much": {"+0.5 deg"}, "called": {"own"}})
	if w.Code != http.StatusSeeOther || len(s.days.karts["own"]) == 0 || !strings.Contains(string(s.days.text["own"]), `kart = "own.kart.toml"`) {
		t.Errorf("a day of a kart opened on the page is answered with %d and kept as\n%s", w.Code, s.days.text["own"])
	}
}

func TestDayNotThere(t *testing.T) {
	s := newShop(t)
	for _, p := range []string{"/day/none", "/day/none/verdict", "/day/none/sheet", "/day/none/file", "/day/..%2f..%2fetc%2fpasswd", "/day/%2e%2e", "/day/half.toml"} {
		if w := s.get(p); w.Code != http.StatusNotFound && w.Code != http.StatusTemporaryRedirect && w.Code != http.StatusMovedPermanently {
			t.Errorf("%s is answered with %d, want 404", p, w.Code)
		}
	}
	if w := s.get("/day/broken"); w.Code != http.StatusUnprocessableEntity {
		t.Errorf("a day with errors is answered with %d, want 422", w.Code)
	}
	says(t, "the list", s.get("/days").Body.String(), "half", "1 of 4 runs driven.", "4 of 5 runs driven, 1 missed.", "It has errors.")
	r := httptest.NewRequest(http.MethodPost, "/day/half", strings.NewReader("run=2&time=48.6"))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Sec-Fetch-Site", "cross-site")
	if w := s.do(r); w.Code != http.StatusForbidden {
		t.Errorf("a run recorded from another site is answered with %d, want 403", w.Code)
	}
}

// A page that keeps no days has no way that leads to them.
func TestNoDays(t *testing.T) {
	s := newShopWith(t, nil)
	for _, p := range []string{"/", said, "/log"} {
		if body := s.get(p).Body.String(); strings.Contains(body, "/days") || strings.Contains(body, "Plan it") {
			t.Errorf("%s leads to test days that are not kept", p)
		}
	}
	if w := s.get("/days"); w.Code != http.StatusNotFound {
		t.Errorf("test days that are not kept are answered with %d, want 404", w.Code)
	}
}

// Texts of a day never become part of the page.
func TestDayTextsAreShownAsTheyAre(t *testing.T) {
	s := newShop(t)
	for _, p := range []string{"/day/whole", "/day/whole/verdict", "/day/whole/sheet", "/days"} {
		body := s.get(p).Body.String()
		if strings.Contains(body, "seat back <b>") || !strings.Contains(body, "eat back &lt;b&gt;") {
			t.Errorf("%s shows a change's name as mark-up, or not at all", p)
		}
	}
}

// A run that is taken back is in the form as it was recorded, for that run only.
func TestDayTakeBackLosesNothing(t *testing.T) {
	s := newShop(t)
	s.post("/day/half", url.Values{"run": {"2"}, "laps": {"49.9 out 48.45 48.44 traffic"}, "feel": {"better"}, "says": {"bites <at> last"}})
	to := s.post("/day/half", url.Values{"run": {"2"}, "back": {"1"}}).Header().Get("Location")
	says(t, "the form", s.get(to).Body.String(), "49.9 out\n48.45\n48.44 traffic</textarea>", `value="bites <at> last"`, `value="better" checked`, "what was recorded is in the form")
	s.post("/day/half", url.Values{"run": {"2"}, "what": {"missed"}, "changed": {"yes"}, "why": {"flat"}})
	if strings.Contains(s.get(to).Body.String(), "48.44 traffic</textarea>") {
		t.Error("the laps of run 2 are in the form for run 3")
	}
	to = s.post("/day/half", url.Values{"run": {"2"}, "back": {"1"}}).Header().Get("Location")
	says(t, "the form of a missed run", s.get(to).Body.String(), `value="missed" checked`, `name="changed" value="yes" checked`, `value="flat"`)
}

// The page, its sheet and its verdict say what is to be turned after a missed
// run, what to take care of, and how the base is put back.
func TestDayAfterMissedRun(t *testing.T) {
	s := newShop(t)
	says(t, "the day", s.get("/day/half").Body.String(), "Take care</h3><ul><li>Kart secure on its stand, engine off", "Check the wheel nuts", "eye height")
	s.post("/day/half", url.Values{"run": {"2"}, "time": {"48.5"}})
	s.post("/day/half", url.Values{"run": {"3"}, "what": {"missed"}, "changed": {"yes"}, "left": {"1"}})
	o, err := s.days.Open("half")
	require.NoError(t, err)
	turns := "loosen it 0.55 turn"
	sheet := s.get("/day/half/sheet").Body.String()
	if base := o.Day.Runs[3].Setup == 0; base != strings.Contains(sheet, turns) {
		t.Errorf("the sheet after a missed run, with run 4 on the base %v, says\n%s", base, sheet)
	}
	says(t, "the sheet", sheet, "✓ Run 1: base", "48.610 s from 5 of 7 laps", "Missed; the kart was set up for it.")
	if n := strings.Count(sheet, `class="laps"`); n != 1 {
		t.Errorf("the sheet has room for the laps of %d runs, want the one to come", n)
	}
	s.post("/day/half", url.Values{"run": {"4"}, "what": {"rain"}, "changed": {"no"}})
	for _, at := range []string{"/day/half", "/day/half/verdict"} {
		says(t, at, s.get(at).Body.String(), "To put the base back", "The kart stands as for run 3, more caster.", turns, "Take care")
	}
	says(t, "the day", s.get("/day/half").Body.String(), "No run is left: 2 of 4 runs driven, 1 missed, 1 rained off")
}

// Toe from advice comes into the form as it is measured, in the page's units.
func TestDayFormUnits(t *testing.T) {
	s := newShop(t)
	for units, hint := range map[string]string{"": "+0.5 deg, 1 mm out over 255 mm", "inch": "+0.5 deg, 0.04 in out over 10 in"} {
		r := httptest.NewRequest(http.MethodGet, "/days/new", nil)
		r.AddCookie(&http.Cookie{Name: "kartwright_units", Value: units})
		says(t, "the form", s.do(r).Body.String(), hint)
	}
	for units, toe := range map[string]string{"": "0.64 mm out over 255 mm", "inch": "0.025 in out over 10.039 in"} {
		r := httptest.NewRequest(http.MethodGet, "/days/new?say=understeer&phase=entry&track=fast&grip=low", nil)
		r.AddCookie(&http.Cookie{Name: "kartwright_units", Value: units})
		body := s.do(r).Body.String()
		says(t, "toe from advice", body, `name="c0_much" value="`+toe+`"`)
		if w := s.get("/days/plan?c0_what=toe&c0_name=toe&runs=4&c0_much=" + url.QueryEscape(toe)); w.Code != http.StatusOK {
			t.Errorf("a day with toe by %s is answered with %d:\n%s", toe, w.Code, w.Body)
		}
	}
	name := strings.Repeat("ü", 120)
	if w := s.get("/days/plan?c0_what=other&c0_name=" + url.QueryEscape(name)); w.Code != http.StatusOK {
		t.Errorf("a name of 120 characters is answered with %d", w.Code)
	}
	if w := s.get("/days/plan?c0_what=other&c0_name=" + url.QueryEscape(name+"ü")); w.Code != http.StatusUnprocessableEntity {
		t.Errorf("a name of 121 characters is answered with %d", w.Code)
	}
	says(t, "no tyres", s.get("/days/plan?c0_what=other&c0_name=seat&tyre-sets=0").Body.String(), "Sets of tyres: it is 0, expected 1 or more", `<a href="#tyre-sets">`)
}
