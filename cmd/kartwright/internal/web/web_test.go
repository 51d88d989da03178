package web_test

import (
	"bytes"
	"html"
	"io/fs"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"kartwright/advisor"
	"kartwright/advisor/complaint"
	"kartwright/advisor/profile"
	"kartwright/advisor/profile/demo"
	"kartwright/cmd/kartwright/internal/web"
	"kartwright/rules/ruleset"
	"kartwright/rulesets"
	"kartwright/rulesets/words"
)

// shop is a site with the shipped rules and, in memory, a club's file.
type shop struct {
	*web.Site
	file []byte
	days *memDays
}

func newShop(t testing.TB) *shop { return newShopWith(t, newMemDays()) }

// newShopWith has the days that are given, or keeps none.
func newShopWith(t testing.TB, days *memDays) *shop {
	t.Helper()
	lexicon, found := complaint.Load(words.FS, "en.toml")
	require.Empty(t, found)
	s := &shop{days: days}
	var keeps web.Days
	if days != nil {
		keeps = days
	}
	site, found, err := web.New(web.Config{
		Days:   keeps,
		RuleFS: rulesets.FS, Rules: []string{rulesets.Default}, Words: lexicon,
		Club: web.Club{Name: "club.toml", Load: func() ([]byte, error) { return s.file, nil }, Save: func(b []byte) error { s.file = bytes.Clone(b); return nil }},
	})
	require.NoError(t, err)
	require.Empty(t, found)
	s.Site = site
	return s
}

// get asks for a page as a browser on this machine does.
func (s *shop) get(target string) *httptest.ResponseRecorder {
	return s.do(httptest.NewRequest(http.MethodGet, target, nil))
}

func (s *shop) do(r *http.Request) *httptest.ResponseRecorder {
	if r.Host == "example.com" { // httptest's own
		r.Host = "127.0.0.1:7410"
	}
	w := httptest.NewRecorder()
	s.Handler(nil).ServeHTTP(w, r)
	return w
}

func (s *shop) post(target string, form url.Values) *httptest.ResponseRecorder {
	r := httptest.NewRequest(http.MethodPost, target, strings.NewReader(form.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	return s.do(r)
}

func TestOnlyLoopbackHosts(t *testing.T) {
	s := newShop(t)
	for _, tt := range []struct {
		host string
		want int
	}{
		{"localhost", 200}, {"localhost:7410", 200}, {"LOCALHOST", 200}, {"127.0.0.1", 200}, {"127.0.0.1:7410", 200}, {"[::1]", 200}, {"[::1]:7410", 200}, {"127.8.8.8", 200},
		{"kart.example", 421}, {"127.0.0.1.kart.example", 421}, {"localhost.kart.example", 421}, {"", 421}, {"192.168.1.4", 421}, {"0.0.0.0", 421}, {"[::1%eth0]", 421}, {"127.0.0.1:80@kart.example", 421},
	} {
		r := httptest.NewRequest(http.MethodGet, "/", nil)
		r.Host = tt.host
		w := httptest.NewRecorder()
		s.Handler(nil).ServeHTTP(w, r)
		if w.Code != tt.want {
			t.Errorf("a request for host %q is answered with %d, want %d", tt.host, w.Code, tt.want)
		}
	}
}

func TestFormsOfOtherOriginsAreRefused(t *testing.T) {
	s := newShop(t)
	for _, tt := range []struct {
		name, header, value string
		want                int
	}{
		{"another site", "Sec-Fetch-Site", "cross-site", 403},
		{"another origin", "Origin", "http://kart.example", 403},
		{"no origin at all", "Origin", "null", 403},
		{"the page itself", "Sec-Fetch-Site", "same-origin", 303},
		{"the page itself in an old browser", "Origin", "http://127.0.0.1:7410", 303},
	} {
		r := httptest.NewRequest(http.MethodPost, "/look", strings.NewReader("look=dark&back=/turn"))
		r.Host = "127.0.0.1:7410"
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set(tt.header, tt.value)
		if w := s.do(r); w.Code != tt.want {
			t.Errorf("a form from %s is answered with %d, want %d", tt.name, w.Code, tt.want)
		}
	}
}

func TestGoesBackOnlyToItsOwnPages(t *testing.T) {
	s := newShop(t)
	for back, want := range map[string]string{"/turn?kart=elm": "/turn?kart=elm", "//kart.example/": "/", "http://kart.example/": "/", `/\kart.example`: "/", "": "/"} {
		w := s.post("/look", url.Values{"units": {"inch"}, "back": {back}})
		if got := w.Header().Get("Location"); got != want {
			t.Errorf("after a choice with back = %q the page goes to %q, want %q", back, got, want)
		}
	}
}

// Nothing that a page loads comes from elsewhere, and the policy says so.
func TestPagesLoadOnlyTheirOwn(t *testing.T) {
	s := newShop(t)
	outside := regexp.MustCompile(`(?:src|href|action)="([^"]*)"|url\(|@import`)
	for _, p := range pagesOf() {
		w := s.get(p)
		if w.Code != http.StatusOK {
			t.Errorf("%s is answered with %d:\n%s", p, w.Code, w.Body)
			continue
		}
		for _, m := range outside.FindAllStringSubmatch(w.Body.String(), -1) {
			if !strings.HasPrefix(m[1], "/") || strings.HasPrefix(m[1], "//") {
				if !strings.HasPrefix(m[1], "#") {
					t.Errorf("%s refers to %q, which is not of this site", p, m[0])
				}
			}
		}
		csp := w.Header().Get("Content-Security-Policy")
		if !strings.HasPrefix(csp, "default-src 'none';") || strings.Contains(csp, "unsafe") || strings.Contains(csp, "http") {
			t.Errorf("%s: policy %q lets too much in", p, csp)
		}
		for _, bad := range []string{" style=", "<style", "onclick=", "<script>"} {
			if strings.Contains(w.Body.String(), bad) {
				t.Errorf("%s has %q in it, which its own policy forbids", p, bad)
			}
		}
	}
}

// Every address that a page gives leads somewhere.
func TestLinksLead(t *testing.T) {
	s := newShop(t)
	address := regexp.MustCompile(`(?:href|src)="([^"#]+)"`)
	seen := map[string]bool{}
	for _, p := range pagesOf() {
		for _, m := range address.FindAllStringSubmatch(s.get(p).Body.String(), -1) {
			to := html.UnescapeString(m[1])
			if seen[to] {
				continue
			}
			seen[to] = true
			if w := s.get(to); w.Code != http.StatusOK {
				t.Errorf("%s leads to %s, which is answered with %d", p, to, w.Code)
			}
		}
	}
	if len(seen) < 60 {
		t.Errorf("the pages give %d addresses, want at least 60 to be worth the name of a test", len(seen))
	}
}

const said = "/answer?text=pushes+on+the+way+in+at+the+hairpins%2C+fine+on+exit%2C+new+tyres%2C+track+is+green"

// pagesOf lists a page of every kind.
func pagesOf() []string {
	return append(dayPages(),
		"/", "/?say=understeer&phase=entry", said, "/answer?say=bind&phase=exit&track=tight", "/answer?say=play", "/card?say=bind&phase=exit&track=tight",
		"/turn", "/turn?kart=cedar&apart=on", "/turn?kart=dogwood&l0=7&l1=4", "/turn?kart=elm", "/card?kart=dogwood&at=7,4,0_8,1,0", "/turn?l0=1&go=hold", "/card?kart=alder&at=1,0,0_1,0,0", "/rules", "/rules?say=understeer&phase=entry", "/rules?search=caster", "/club", "/karts",
		"/log", "/measure", "/measure?left_camber=-1.0+±+0.1+deg&right_camber=-1.5+±+0.1+deg&kart=alder", "/learn", "/learn/caster", "/learn/ackermann?wheels=20&kart=birch", "/learn/try", "/learn/try?changes=caster+%2B1deg%0Afront+5+mm+wider", "/learn/quiz", "/learn/quiz?seed=1&done=1&a0=0&a1=1",
	)
}

func TestFirstPageIsSmall(t *testing.T) {
	s := newShop(t)
	n := 0
	for _, p := range []string{"/", "/assets/page.css", "/assets/page.js", "/assets/icon.svg"} {
		w := s.get(p)
		if w.Code != http.StatusOK {
			t.Errorf("%s is answered with %d", p, w.Code)
		}
		n += w.Body.Len()
	}
	t.Logf("the first page and all that it loads: %d bytes", n)
	if n > 100_000 {
		t.Errorf("the first page and all that it loads have %d bytes, want at most 100000", n)
	}
}

func TestAssetsLeadNowhereElse(t *testing.T) {
	s := newShop(t)
	for _, p := range []string{"/assets/..%2fsite.go", "/assets/%2e%2e%2fsite.go", "/assets/..%5csite.go", "/assets/none.css", "/assets/..%2ftemplates%2fsay.html"} {
		if w := s.get(p); w.Code != http.StatusNotFound {
			t.Errorf("%s is answered with %d, want 404", p, w.Code)
		}
	}
}

// contains fails for each part that a page lacks.
func contains(t *testing.T, what, body string, parts ...string) {
	t.Helper()
	for _, p := range parts {
		if !strings.Contains(body, p) {
			t.Errorf("%s does not say %q:\n%s", what, p, body)
		}
	}
}

// The answer to a driver's own words has everything that the job needs.
func TestAnswer(t *testing.T) {
	w := newShop(t).get(said)
	if w.Code != http.StatusOK {
		t.Fatalf("the answer is %d:\n%s", w.Code, w.Body)
	}
	contains(t, "the answer", w.Body.String(),
		"Try first: more toe-out", "Left side", "Right side", "Make it shorter by 0.30 mm: 0.12 turn (about 1/8)", "<svg", "Before and after", "In a slow bend", "Why", "Work steps",
		"To confirm it", "To undo it", "Make it longer by 0.30 mm: 0.12 turn (about 1/8)", "Take care", "scrutineer", "If that does not help", "Not said: track", "Understood", `href="/card?`)
}

func TestWordsAreShownAsTheyAre(t *testing.T) {
	w := newShop(t).get("/answer?text=" + url.QueryEscape(`<script>alert(1)</script>" onmouseover="x`))
	if w.Code != http.StatusUnprocessableEntity {
		t.Errorf("words without a complaint are answered with %d, want 422", w.Code)
	}
	if body := w.Body.String(); strings.Contains(body, "<script>alert") || strings.Contains(body, `" onmouseover`) {
		t.Errorf("what was typed comes back as part of the page:\n%s", body)
	}
}

func TestWhatCannotBeAnswered(t *testing.T) {
	s := newShop(t)
	for _, tt := range []struct {
		name, query string
		status      int
		says        string
	}{
		{"nothing said", "", 422, "Say what the kart does"},
		{"words that are none", "text=lunch", 422, "Nothing was understood in these words; say in others"},
		{"a contented driver", "text=all+fine,+it+was+lovely", 422, "No complaint was understood"},
		{"too many words", "text=" + strings.Repeat("push+", 500), 422, "say it shorter"},
		{"words and buttons that differ", "text=pushes+on+entry,+low+grip&grip=high", 422, "leave one out"},
		{"a grip that is none", "say=understeer&grip_number=eleven", 422, "grip"},
		{"a grip beyond the scale", "say=understeer&grip_number=14/10", 422, "grip"},
		{"a symptom that is none", "say=sings", 422, "sings"},
		{"a kart that is none", "say=understeer&kart=../../etc/passwd", 404, "no kart"},
		{"grip and tyres that contradict", "say=understeer&grip=wet&tyres=new", 200, ""},
	} {
		w := s.get("/answer?" + tt.query)
		if w.Code != tt.status {
			t.Errorf("%s: status %d, want %d", tt.name, w.Code, tt.status)
		}
		contains(t, tt.name, w.Body.String(), tt.says)
	}
}

// What was said stays in the form when something is wrong with it.
func TestFormKeepsWhatWasSaid(t *testing.T) {
	w := newShop(t).get("/answer?text=lunch+break&say=hop&phase=exit&track=tight&grip_number=14&kart=cedar")
	contains(t, "the form", w.Body.String(), "lunch break</textarea>", `value="hop" checked`, `value="exit" checked`, `value="tight" checked`, `name="grip_number" value="14"`, `value="cedar" selected`)
}

func TestAmbiguousWordsAreAsked(t *testing.T) {
	w := newShop(t).get("/answer?text=" + url.QueryEscape("it is loose on the front"))
	if w.Code != http.StatusUnprocessableEntity {
		t.Skip("the lexicon understands this now")
	}
	contains(t, "the question", w.Body.String(), "must not be guessed")
}

func TestInches(t *testing.T) {
	r := httptest.NewRequest(http.MethodGet, "/turn", nil)
	r.AddCookie(&http.Cookie{Name: "kartwright_units", Value: "inch"})
	w := newShop(t).do(r)
	contains(t, "the page in inches", w.Body.String(), `1.061 in`, `aria-pressed="true">inch`)
	if strings.Contains(w.Body.String(), "1048.22 mm") {
		t.Error("a length is still in millimetres")
	}
}

func TestTurn(t *testing.T) {
	s := newShop(t)
	for _, tt := range []struct {
		name, query string
		says        []string
	}{
		{"as it stands", "", []string{"12.00°", "Nothing is turned"}},
		{"a screw on both sides", "l0=1", []string{"1.00 turn tighter", "12.91°", "Each side", "clockwise"}},
		{"one step more", "l0=0.5&nudge=l0:1", []string{"0.56 turns tighter"}},
		{"one step less", "l0=0&nudge=l0:-1", []string{"0.06 turns looser"}},
		{"the left alone", "apart=on&l0=1&r0=0", []string{"12.91°", "Right side"}},
		{"the sides just taken apart", "apart=on&l0=1", []string{`name="r0" min="-3" max="3" step="0.01" value="1"`}},
		{"back to now", "l0=1&go=now", []string{"Nothing is turned"}},
		{"back to standard on a kart that is not there", "kart=cedar&go=standard&against=now", []string{"Tie rod"}},
		{"held", "l0=1&go=hold", []string{"Compared with the held setting", `name="held" value="1,0,0_1,0,0"`, "Nothing is turned"}},
		{"against what was held", "l0=2&held=1,0,0_1,0,0&against=held", []string{"12.91°", "13.8"}},
		{"beyond its travel", "l0=99", []string{"3.00 turns tighter"}},
		{"another kart chosen", "kart=elm&of=alder&l0=2&at=1,0,0_1,0,0", []string{"Nothing is turned"}},
		{"steering turned", "steer=20", []string{"20.0°"}},
	} {
		w := s.get("/turn?" + tt.query)
		if w.Code != http.StatusOK {
			t.Errorf("%s: status %d", tt.name, w.Code)
		}
		contains(t, tt.name, w.Body.String(), tt.says...)
	}
	for _, query := range []string{"l0=NaN", "l0=Inf", "l0=x", "at=1", "at=1,2_3", "at=a,b,c_d,e,f", "steer=90", "steer=NaN", "go=away", "nudge=l0:7", "against=them", "held=9"} {
		if w := s.get("/turn?" + query); w.Code != http.StatusBadRequest {
			t.Errorf("/turn?%s is answered with %d, want 400", query, w.Code)
		}
	}
}

// What follows the controls is the same alone as in the page.
func TestTurnPart(t *testing.T) {
	s := newShop(t)
	part := s.get("/turn?l0=1&part=1").Body.String()
	if whole := s.get("/turn?l0=1").Body.String(); !strings.Contains(whole, part) {
		t.Error("the part that scripts ask for is not what the page has")
	}
	contains(t, "the part", part, `data-for="says-l0">1.00 turn tighter`, "12.91°")
}

func TestCard(t *testing.T) {
	w := newShop(t).get("/card?say=bind&phase=exit&track=tight")
	contains(t, "the job card", w.Body.String(), "Job card: More caster by 0.75° on each side", "Quillmarsh Club Senior", "Inside rear stays down", `type="checkbox"`, "Loosen the kingpin bolt",
		"Torque, from the chassis maker", "Caster screw, depth gauge", "6.57 mm", "To undo it", "anticlockwise", "scrutineer", ">Left</th>", ">Right</th>")
	for query, want := range map[string]int{"say=bind&pick=99": 404, "say=bind&pick=x": 400, "": 422, "say=bind&phase=exit&track=tight&pick=1": 422, "at=1": 400} {
		if w := newShop(t).get("/card?" + query); w.Code != want {
			t.Errorf("/card?%s is answered with %d, want %d", query, w.Code, want)
		}
	}
}

// The card as an image says what the card says, in its order, and is a file to
// keep.
func TestCardImage(t *testing.T) {
	s := newShop(t)
	texts := regexp.MustCompile(`<text[^>]*>([^<]*)</text>`)
	for _, q := range []string{"say=bind&phase=exit&track=tight", "kart=dogwood&at=7,4,0_8,1,0", "kart=cedar&at=2,-3,0.5_1,1,-0.5", "kart=alder&at=1,2,0.5_-1,-2,-0.5"} {
		w := s.get("/card.svg?" + q)
		if got := w.Header().Get("Content-Type"); w.Code != http.StatusOK || got != "image/svg+xml" {
			t.Fatalf("the image of %s is answered with %d, %s", q, w.Code, got)
		}
		if got := w.Header().Get("Content-Disposition"); !regexp.MustCompile(`^attachment; filename="job-card-[a-z]+\.svg"$`).MatchString(got) {
			t.Errorf("the image of %s is to be kept as %s", q, got)
		}
		var image []string
		for _, m := range texts.FindAllStringSubmatch(w.Body.String(), -1) {
			image = append(image, html.UnescapeString(m[1]))
		}
		// Words without the spaces between them: lines are broken elsewhere.
		pack := func(text string) string { return strings.Join(strings.Fields(strings.ReplaceAll(text, "•", "")), "") }
		shown, page := pack(strings.Join(image, "")), s.get("/card?"+q).Body.String()
		at := 0
		for _, m := range regexp.MustCompile(`<li><label><input[^>]*><span>(?:<b>([^<]*)</b> )?([^<]*)</span>|<h2>([^<]*)</h2>|<dd>([^<]*)</dd>|<td>([^<]+)</td>|<li>([^<]*)</li>`).FindAllStringSubmatch(page[strings.Index(page, "<article"):], -1) {
			text := pack(html.UnescapeString(strings.Join(m[1:], "")))
			i := strings.Index(shown[at:], text)
			if i < 0 {
				// The two columns of turns are broken into lines side by side.
				if strings.Contains(shown, text) || m[5] != "" {
					continue
				}
				t.Errorf("the image of %s does not say %q where the card does:\n%s", q, text, strings.Join(image, "\n"))
				continue
			}
			if m[3] != "" {
				at += i
			}
		}
	}
	contains(t, "the card's page", s.get("/card?say=bind&phase=exit&track=tight").Body.String(), `href="/card.svg?`, `download="job-card-alder.svg"`, "Save as image")
	for query, want := range map[string]int{"say=bind&pick=99": 404, "": 422, "at=1": 400} {
		if w := s.get("/card.svg?" + query); w.Code != want {
			t.Errorf("/card.svg?%s is answered with %d, want %d", query, w.Code, want)
		}
	}
	if w := s.get("/card.svg?kart=alder&at=0,0,0_0,0,0"); !strings.Contains(w.Body.String(), "Nothing is to be turned.") {
		t.Errorf("a card without turns does not say so:\n%s", w.Body)
	}
}

// Inserts and shims are drawn where they are to be changed, on both sides, each
// for its own side: the insert of the left as it is seen from above has outboard
// to the left.
func TestSwappedPartsAreDrawn(t *testing.T) {
	s := newShop(t)
	for _, p := range []string{"/turn?kart=dogwood&l0=7&l1=4", "/card?kart=dogwood&at=7,4,0_7,4,0", "/answer?say=bind&phase=exit&track=tight&kart=dogwood"} {
		body := s.get(p).Body.String()
		for _, side := range []string{"Left", "Right"} {
			drawing := regexp.MustCompile(`(?s)<svg[^>]*><title[^>]*>` + side + `: top insert.*?</svg>`).FindString(body)
			contains(t, p+": the drawing of the "+side+" insert", drawing, "the front of the kart at the top", "kingpin from the large ring to the dot")
			first := map[string]string{"Left": ">out<", "Right": ">in<"}[side]
			if i, j := strings.Index(drawing, ">out<"), strings.Index(drawing, ">in<"); (i < j) != (first == ">out<") {
				t.Errorf("%s: the %s insert does not have %s on the left of the drawing", p, side, first)
			}
			if strings.HasPrefix(p, "/answer") {
				continue // it changes no shims
			}
			contains(t, p+": the drawing of the "+side+" shims", body, side+": stub-axle shims</title>", "moved shims are filled")
		}
	}
}

func TestMeasure(t *testing.T) {
	s := newShop(t)
	bent := bytes.Replace(must(demo.Read("cedar")), []byte(`caster = "11.7 deg ± 0.3 deg"`), []byte(`caster = "9 deg ± 0.3 deg"`), 1)
	require.Equal(t, http.StatusSeeOther, s.upload(t, "bent.toml", bent).Code)
	for _, tt := range []struct {
		name   string
		query  url.Values
		status int
		says   []string
	}{
		{"sides that differ", url.Values{"left_camber": {"-1.0 ± 0.1 deg"}, "right_camber": {"-1.5 ± 0.1 deg"}}, 200, []string{"Something is out.", "left less right is 0.50°", "Turn to put it right", "Camber plate", "should read"}},
		{"sides that are equal", url.Values{"left_camber": {"-1"}, "right_camber": {"-1.05 deg"}}, 200, []string{"Equal, as far as was measured."}},
		{"more ± than difference", url.Values{"left_camber": {"-1.0 ± 1 deg"}, "right_camber": {"-1.5 ± 1 deg"}}, 200, []string{"not by more than the readings can show"}},
		{"toe over a length, wanted", url.Values{"left_toe": {"1 mm out over 255 mm"}, "want_toe": {"0 deg"}}, 200, []string{"Something is out.", "Tie rod", "longer"}},
		{"a slipped decimal point", url.Values{"left_caster": {"1.2 deg"}, "right_caster": {"12 deg"}, "promise": {"on"}}, 200, []string{"Look at the readings again", "has a decimal point slipped?"}},
		{"left and right swapped", url.Values{"kart": {"mine1"}, "left_caster": {"9 deg"}, "right_caster": {"12 deg"}}, 200, []string{"Look at the readings again", "left and right swapped"}},
		{"no angle", url.Values{"left_camber": {"some"}}, 422, []string{"Left camber:", "some"}},
		{"more than any kart has", url.Values{"left_camber": {"50 deg"}}, 422, []string{"Has a decimal point slipped"}},
	} {
		w := s.get("/measure?" + tt.query.Encode())
		if w.Code != tt.status {
			t.Errorf("%s: status %d, want %d", tt.name, w.Code, tt.status)
		}
		contains(t, tt.name, w.Body.String(), tt.says...)
		if doubtful := strings.Contains(w.Body.String(), "Look at the readings again"); doubtful && strings.Contains(w.Body.String(), "Turn to put it right") {
			t.Errorf("%s: turns are given for readings that are doubted", tt.name)
		}
	}
}

func TestLearn(t *testing.T) {
	s := newShop(t)
	for _, topic := range advisor.Topics() {
		contains(t, "the sheet on "+topic.Name, s.get("/learn/"+topic.Name).Body.String(), "What it is", "Not agreed", "<svg", "On kart Alder")
	}
	part := s.get("/learn/caster?wheels=10&sideways=1&part=1").Body.String()
	contains(t, "the part", part, `data-for="says-wheels">10.0°`, "Inner rear wheel")
	contains(t, "a change in words", s.get("/learn/try?changes="+url.QueryEscape("caster +1deg\nfront 5 mm wider")).Body.String(), "13.00°", "1058.2")
	w := s.get("/learn/try?changes=" + url.QueryEscape("caster +1deg\nmake it faster"))
	if w.Code != http.StatusUnprocessableEntity {
		t.Errorf("a change that is not understood is answered with %d, want 422", w.Code)
	}
	contains(t, "what was understood before it", w.Body.String(), "faster", "13.00°")
	for p, want := range map[string]int{"/learn/nothing": 404, "/learn/caster?wheels=90": 400, "/learn/caster?sideways=x": 400, "/learn/caster?sideways=3": 422, "/learn/quiz?seed=x": 400, "/learn/quiz?a0=99": 400} {
		if w := s.get(p); w.Code != want {
			t.Errorf("%s is answered with %d, want %d", p, w.Code, want)
		}
	}
}

// The quiz counts what is right, and only that.
func TestQuiz(t *testing.T) {
	s := newShop(t)
	k, found := profile.Parse("alder.toml", must(demo.Read("alder")))
	require.Empty(t, found)
	loaded, _ := ruleset.Load(rulesets.FS, rulesets.Default)
	qs, err := advisor.Quiz(k, loaded.Set, advisor.SlowBend, 7, 5)
	require.NoError(t, err)
	right, wrong := url.Values{"seed": {"7"}, "done": {"1"}, "kart": {"alder"}}, url.Values{"seed": {"7"}, "done": {"1"}, "kart": {"alder"}}
	for i, q := range qs {
		f := "a" + strconv.Itoa(i)
		right.Set(f, strconv.Itoa(q.Right))
		wrong.Set(f, strconv.Itoa((q.Right+1)%len(q.Choices)))
	}
	contains(t, "all answered right", s.get("/learn/quiz?"+right.Encode()).Body.String(), "5 of 5 right", "– right")
	contains(t, "all answered wrong", s.get("/learn/quiz?"+wrong.Encode()).Body.String(), "0 of 5 right", "your answer, not right")
	if body := s.get("/learn/quiz?seed=7").Body.String(); strings.Contains(body, "– right") {
		t.Error("the quiz shows its answers before it is answered")
	}
}

func must(data []byte, ok bool) []byte {
	if !ok {
		panic("no such demo kart")
	}
	return data
}

func TestRules(t *testing.T) {
	s := newShop(t)
	w := s.get("/rules?search=hairpin+caster")
	contains(t, "the search", w.Body.String(), "<b>When</b>", "hairpin")
	m := regexp.MustCompile(`href="(/rules/[^"]+)"`).FindStringSubmatch(w.Body.String())
	if m == nil {
		t.Fatalf("the search found no rule:\n%s", w.Body)
	}
	contains(t, "the rule's page", s.get(m[1]).Body.String(), "When", "Then", "Because", "Source", "[[change]]")
	fired := s.get("/rules?say=understeer&phase=entry&track=tight").Body.String()
	contains(t, "what spoke", fired, "Spoke, with support")
	contains(t, "what just missed", s.get("/rules?say=understeer&phase=entry&track=tight&show=near").Body.String(), "Just missed:")
	if w := s.get("/rules/nothing"); w.Code != http.StatusNotFound {
		t.Errorf("a rule that is not there is answered with %d, want 404", w.Code)
	}
}

const goodClub = `format = 1
set = "club"
title = "Our club"
extends = ["shipped.toml"]

[[rule]]
id = "club-light-steering-low-grip"
when = { symptom = "light_steering", grip = "low" }
vote = { caster = "+1 deg" }
confidence = 0.8
because = "on our dusty track the steering only wakes up with another degree of caster"
source = "our club"
`

var wasField = regexp.MustCompile(`name="was" value="([^"]*)"`)

func (s *shop) was(t *testing.T) string {
	m := wasField.FindStringSubmatch(s.get("/club").Body.String())
	require.NotNil(t, m)
	return m[1]
}

func TestClubFile(t *testing.T) {
	s := newShop(t)
	contains(t, "the empty editor", s.get("/club").Body.String(), "extends = [&#34;shipped.toml&#34;]")

	bad := strings.Replace(goodClub, "caster =", "casster =", 1)
	w := s.post("/club", url.Values{"text": {bad}, "was": {s.was(t)}})
	if w.Code != http.StatusUnprocessableEntity || s.file != nil {
		t.Errorf("a text with an error is answered with %d and saved %q, want 422 and nothing", w.Code, s.file)
	}
	contains(t, "the refusal", w.Body.String(), "was not saved", "casster = &#34;&#43;1 deg&#34;", "line 9", "^^^^^^^", "Did you mean", "unknown-move")

	was := s.was(t)
	w = s.post("/club", url.Values{"text": {strings.ReplaceAll(goodClub, "\n", "\r\n")}, "was": {was}})
	if w.Code != http.StatusSeeOther || string(s.file) != goodClub {
		t.Fatalf("a good text is answered with %d and saved %q", w.Code, s.file)
	}
	contains(t, "an answer after the save", s.get("/answer?say=light_steering&phase=entry&grip=low").Body.String(), "On our dusty track the steering only wakes up")
	contains(t, "the list of the club's rules", s.get("/rules?show=club").Body.String(), "club-light-steering-low-grip")

	w = s.post("/club", url.Values{"text": {goodClub + "\n# mine\n"}, "was": {was}})
	if w.Code != http.StatusConflict || string(s.file) != goodClub {
		t.Errorf("a save over somebody else's is answered with %d, want 409, and the file is %q", w.Code, s.file)
	}
	contains(t, "the clash", w.Body.String(), "# mine", "Somebody else changed the file")
}

// A check, and a save that is refused, show the text line by line, each finding
// under its line and before the next, and save nothing.
func TestClubListing(t *testing.T) {
	s := newShop(t)
	bad := strings.Replace(strings.Replace(goodClub, "caster =", "casster =", 1), `"low"`, `"loww"`, 1)
	for button, status := range map[string]int{"check": http.StatusOK, "save": http.StatusUnprocessableEntity} {
		w := s.post("/club", url.Values{"text": {bad}, "was": {s.was(t)}, button: {"1"}})
		if w.Code != status || s.file != nil {
			t.Errorf("%s of a text with errors is answered with %d and keeps %q, want %d and nothing", button, w.Code, s.file, status)
		}
		body := w.Body.String()
		contains(t, button, body, `role="status">2 errors: lines 8, 9.<`)
		rest := body[strings.Index(body, `id="listing"`):]
		for _, want := range []string{`id="line-7"`, "club-light", `id="line-8"`, "loww", "^^^^^^", "Error:", `id="line-9"`, "casster", "^^^^^^^", "Did you mean", `id="line-10"`, "0.8", `id="line-12"`} {
			i := strings.Index(rest, want)
			if i < 0 {
				t.Fatalf("%s: %q does not come where it belongs:\n%s", button, want, body)
			}
			rest = rest[i:]
		}
		if strings.Contains(rest, `id="line-13"`) {
			t.Errorf("%s: the listing has more lines than the text", button)
		}
	}
	w := s.post("/club", url.Values{"text": {goodClub}, "was": {s.was(t)}, "check": {"1"}})
	if w.Code != http.StatusOK || s.file != nil || strings.Contains(w.Body.String(), "listing") {
		t.Errorf("a check of a good text is answered with %d and keeps %q, want 200, nothing kept and no list", w.Code, s.file)
	}
	contains(t, "a check of a good text", w.Body.String(), `role="status">No errors.`, "rules in all", "club-light-steering-low-grip")
}

func TestClubCheck(t *testing.T) {
	s := newShop(t)
	part := s.post("/club/check", url.Values{"text": {strings.Replace(goodClub, "caster =", "casster =", 1)}}).Body.String()
	contains(t, "what the editor gets", part, `data-line="9" data-at="10 17 "`, "1 error: line 9.", "Line 9</button>")
	contains(t, "the check of a good text", s.post("/club/check", url.Values{"text": {goodClub}}).Body.String(), "No errors.")
	contains(t, "the check of no TOML", s.post("/club/check", url.Values{"text": {"format = \n"}}).Body.String(), "1 error", "line 1")
	contains(t, "the check of a file that extends another", s.post("/club/check", url.Values{"text": {strings.Replace(goodClub, "shipped.toml", "../../etc/passwd", 1)}}).Body.String(), "error")
	if w := s.post("/club/check", url.Values{"text": {strings.Repeat("#", 300<<10)}}); w.Code != http.StatusRequestEntityTooLarge {
		t.Errorf("a text of 300 kB is answered with %d, want 413", w.Code)
	}
	if w := s.post("/club/check", url.Values{"text": {strings.Repeat("#", 600<<10)}}); w.Code != http.StatusRequestEntityTooLarge {
		t.Errorf("a text of 600 kB is answered with %d, want 413", w.Code)
	}
}

// upload opens a profile the way a browser sends a file.
func (s *shop) upload(t *testing.T, name string, text []byte) *httptest.ResponseRecorder {
	t.Helper()
	var body bytes.Buffer
	m := multipart.NewWriter(&body)
	f, err := m.CreateFormFile("file", name)
	require.NoError(t, err)
	_, err = f.Write(text)
	require.NoError(t, err)
	require.NoError(t, m.Close())
	r := httptest.NewRequest(http.MethodPost, "/karts", &body)
	r.Header.Set("Content-Type", m.FormDataContentType())
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	return s.do(r)
}

func TestProfiles(t *testing.T) {
	s := newShop(t)
	cedar, err := os.ReadFile("../../../../advisor/profile/demo/cedar.toml")
	require.NoError(t, err)
	mine := bytes.Replace(cedar, []byte(`name = "Cedar"`), []byte(`name = "Club kart 7"`), 1)
	dir := t.TempDir()
	t.Chdir(dir)
	w := s.upload(t, "../../../evil.toml", mine)
	if w.Code != http.StatusSeeOther {
		t.Fatalf("a good profile is answered with %d:\n%s", w.Code, w.Body)
	}
	contains(t, "the list of karts", s.get("/karts").Body.String(), "Club kart 7", "Your kart.")
	contains(t, "an answer on it", s.get("/answer?say=bind&phase=exit&kart=mine1").Body.String(), "Kart Club kart 7")

	w = s.upload(t, "../../<b>evil</b>.toml", bytes.Replace(mine, []byte("wheelbase"), []byte("weelbase"), 1))
	if w.Code != http.StatusUnprocessableEntity {
		t.Errorf("a profile with an error is answered with %d, want 422", w.Code)
	}
	contains(t, "the refusal", w.Body.String(), "weelbase", "Did you mean", "^^^")
	if strings.Contains(w.Body.String(), "<b>evil") || strings.Contains(w.Body.String(), "../") {
		t.Error("the file's name is more than a name on the page")
	}
	if w := s.upload(t, "big.toml", bytes.Repeat([]byte("#"), 200<<10)); w.Code != http.StatusRequestEntityTooLarge {
		t.Errorf("a profile of 200 kB is answered with %d, want 413", w.Code)
	}
	if w := s.upload(t, "empty.toml", nil); w.Code != http.StatusUnprocessableEntity {
		t.Errorf("an empty profile is answered with %d, want 422", w.Code)
	}
	left, err := fs.ReadDir(os.DirFS(dir), ".")
	require.NoError(t, err)
	if len(left) != 0 {
		t.Errorf("uploads left files: %v", left)
	}
}

// A device of the network needs a key, each key lets one device in, and the
// machine itself needs none.
func TestDoor(t *testing.T) {
	s := newShop(t)
	var keys []string
	door := &web.Door{Hosts: []string{"192.168.1.4"}, NewKey: func(k string) { keys = append(keys, k) }}
	door.Open()
	h := s.Handler(door)
	ask := func(method, target, host, from, body string, cookies ...*http.Cookie) *httptest.ResponseRecorder {
		r := httptest.NewRequest(method, target, strings.NewReader(body))
		r.Host, r.RemoteAddr = host, from
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Sec-Fetch-Site", "same-origin")
		for _, c := range cookies {
			r.AddCookie(c)
		}
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		return w
	}
	const phone, other = "192.168.1.30:5000", "192.168.1.31:5000"
	expect := func(what string, w *httptest.ResponseRecorder, want int) {
		t.Helper()
		if w.Code != want {
			t.Errorf("%s is answered with %d, want %d", what, w.Code, want)
		}
	}
	expect("a phone without a key", ask("GET", "/", "192.168.1.4:7410", phone, ""), 403)
	expect("a phone that saves without a key", ask("POST", "/club", "192.168.1.4:7410", phone, "text=x"), 403)
	expect("this machine", ask("GET", "/", "127.0.0.1:7410", "127.0.0.1:5000", ""), 200)
	expect("another name for the machine", ask("GET", "/", "kart.example", phone, ""), 421)
	expect("a wrong key", ask("POST", "/enter", "192.168.1.4:7410", phone, "key=wrong"), 403)
	expect("an empty key", ask("POST", "/enter", "192.168.1.4:7410", phone, "key="), 403)
	expect("a look at the address", ask("GET", "/enter?key="+keys[0], "192.168.1.4:7410", phone, ""), 200)
	w := ask("POST", "/enter", "192.168.1.4:7410", phone, "key="+keys[0])
	expect("the key", w, 303)
	if len(keys) != 2 || keys[0] == keys[1] {
		t.Fatalf("after one key was used there were %d different keys, want 2", len(keys))
	}
	cookies := w.Result().Cookies()
	if len(cookies) != 1 || !cookies[0].HttpOnly || cookies[0].SameSite != http.SameSiteStrictMode {
		t.Fatalf("the device's cookie is %v, want one that scripts and other sites cannot use", cookies)
	}
	expect("the phone with its cookie", ask("GET", "/", "192.168.1.4:7410", phone, "", cookies[0]), 200)
	expect("the same key again", ask("POST", "/enter", "192.168.1.4:7410", other, "key="+keys[0]), 403)
	expect("the next key", ask("POST", "/enter", "192.168.1.4:7410", other, "key="+keys[1]), 303)
}

// A page that carries its own core gets the same answers as one from a server,
// and its choices are kept in cookies that the page hands back.
func TestRespond(t *testing.T) {
	s := newShop(t)
	for _, p := range pagesOf() {
		r, err := s.Respond(http.MethodGet, p, "", "", nil)
		if err != nil || r.Status != http.StatusOK {
			t.Errorf("%s is answered with %d inside the page (%v), want 200", p, r.Status, err)
		}
		if !strings.HasPrefix(p, "/?") && p != "/" && string(r.Body) != s.get(p).Body.String() {
			t.Errorf("%s is another page inside the page than from the server", p)
		}
	}
	r, err := s.Respond(http.MethodPost, "/look", "application/x-www-form-urlencoded", "", []byte("units=inch&back=/turn"))
	require.NoError(t, err)
	if r.Status != http.StatusSeeOther || r.Location != "/turn" || len(r.Cookies) != 1 {
		t.Fatalf("a choice of inches is answered with %+v, want a way to /turn and a cookie", r)
	}
	r, err = s.Respond(http.MethodGet, r.Location, "", r.Cookies[0], nil)
	require.NoError(t, err)
	contains(t, "the page after that choice", string(r.Body), "1.061 in")
	if r, err := s.Respond(http.MethodPost, "/club/check", "application/x-www-form-urlencoded", "", bytes.Repeat([]byte("x"), 600<<10)); err != nil || r.Status != http.StatusRequestEntityTooLarge {
		t.Errorf("600 kB are answered with %d (%v), want 413", r.Status, err)
	}
}

func BenchmarkAnswer(b *testing.B) {
	s := newShop(b)
	for b.Loop() {
		if w := s.get(said); w.Code != http.StatusOK {
			b.Fatal(w.Code)
		}
	}
}

func BenchmarkTurnPart(b *testing.B) {
	s := newShop(b)
	for b.Loop() {
		if w := s.get("/turn?l0=1.37&part=1"); w.Code != http.StatusOK {
			b.Fatal(w.Code)
		}
	}
}
