package web

import (
	"bytes"
	"embed"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"net/http"
	"path"
	"slices"
	"strings"
	"sync"
	"time"

	"kartwright/advisor/complaint"
	"kartwright/advisor/profile"
	"kartwright/advisor/profile/demo"
	"kartwright/geometry"
	"kartwright/rules"
	"kartwright/rules/diag"
	"kartwright/rules/ruleset"
)

//go:embed templates assets
var files embed.FS

// Config is what a Site is made from.
type Config struct {
	// Kart is the owner's; the demo karts stand beside it. It may be nil.
	Kart *profile.Kart
	// KartName is how the command line names it, for what is kept of it.
	KartName string
	// Rules are the names of the rule files in RuleFS.
	RuleFS fs.FS
	Rules  []string
	// Club is the club's own rule file, which the page may edit.
	Club Club
	// Words reads what a driver says.
	Words *complaint.Lexicon
	// Log is the journal; nil for a page that keeps none.
	Log Log
	// Days keeps the test days; nil for a page without them.
	Days Days
}

// Club is a rule file of the owner's that the page may edit.
type Club struct {
	Name string // as RuleFS knows it
	Text []byte // nil if there is none yet
	// Load returns what the file holds now, nil if there is none; Save replaces
	// it. With both nil the text is kept for as long as the site lives.
	Load func() ([]byte, error)
	Save func(text []byte) error
}

// Site answers the page's requests.
type Site struct {
	words *complaint.Lexicon
	log   Log
	days  Days
	pages map[string]*template.Template

	ruleFS fs.FS
	names  []string
	club   Club

	mu    sync.RWMutex
	rules ruleState
	karts []garaged
}

// ruleState is the rules that answers come from.
type ruleState struct {
	set      *rules.Set
	loaded   *ruleset.Loaded
	clubText []byte // nil without a club file
}

// garaged is a kart that can be chosen, under the key that links carry.
type garaged struct {
	Key  string
	Kart *profile.Kart
	Own  bool
	Name string // as the command line takes it; "" for one that was opened on the page
	Text []byte // the profile of such a one
	past *Past  // what the log knows of it
}

// named returns the kart as it stands, and its name for what is kept of it.
func (g garaged) named() (*profile.Kart, string, error) { return g.Kart, g.Name, nil }

// New loads the rules and the karts. What is wrong with them is returned as
// findings; an error among them leaves no site.
func New(c Config) (*Site, []diag.Diagnostic, error) {
	s := &Site{words: c.Words, log: c.Log, days: c.Days, ruleFS: c.RuleFS, names: c.Rules, club: c.Club}
	state, found := s.loadRules(c.Club.Text)
	if diag.HasErrors(found) {
		return nil, found, nil
	}
	s.rules = state
	if c.Kart != nil {
		s.karts = append(s.karts, garaged{Key: "own", Kart: c.Kart, Own: true, Name: c.KartName})
	}
	for _, name := range demo.Names() {
		data, _ := demo.Read(name)
		k, bad := profile.Parse(name+".toml", data)
		if diag.HasErrors(bad) {
			return nil, bad, nil
		}
		s.karts = append(s.karts, garaged{Key: name, Kart: k, Name: name})
	}
	var err error
	s.pages, err = parsePages()
	return s, nil, err
}

// overlay is a file system in which one file has another text.
type overlay struct {
	fs.FS
	name string
	text []byte
}

func (o overlay) Open(name string) (fs.File, error) {
	if name == o.name {
		return MemFile(name, o.text), nil
	}
	return o.FS.Open(name)
}

// MemFile returns a file whose text is in memory.
func MemFile(name string, text []byte) fs.File {
	return &memFile{Reader: bytes.NewReader(text), name: path.Base(name)}
}

type memFile struct {
	*bytes.Reader
	name string
}

func (f *memFile) Close() error               { return nil }
func (f *memFile) Stat() (fs.FileInfo, error) { return f, nil }
func (f *memFile) Name() string               { return f.name }
func (f *memFile) Mode() fs.FileMode          { return 0o444 }
func (f *memFile) ModTime() time.Time         { return time.Time{} }
func (f *memFile) IsDir() bool                { return false }
func (f *memFile) Sys() any                   { return nil }

// loadRules loads the rule files with the club's as given.
func (s *Site) loadRules(club []byte) (ruleState, []diag.Diagnostic) {
	fsys, names := s.ruleFS, s.names
	if club != nil {
		fsys, names = overlay{s.ruleFS, s.clubName(), club}, append(slices.Clone(s.names), s.clubName())
	}
	loaded, found := ruleset.Load(fsys, names...)
	if diag.HasErrors(found) {
		return ruleState{}, found
	}
	return ruleState{loaded.Set, loaded, club}, found
}

func (s *Site) state() ruleState {
	s.mu.RLock()
	defer s.mu.RUnlock()
	return s.rules
}

func (s *Site) garage() []garaged {
	s.mu.RLock()
	defer s.mu.RUnlock()
	return slices.Clone(s.karts)
}

// kart returns the kart of a key; an unknown one is an error.
func (s *Site) kart(key string) (garaged, error) {
	all := s.garage()
	var keys []string
	for _, g := range all {
		if g.Key == key {
			return g, nil
		}
		keys = append(keys, g.Key)
	}
	return garaged{}, fmt.Errorf("there is no kart %q here; %s", key, diag.DidYouMean(key, keys))
}

// firstKart is the kart that answers when none was chosen.
func (s *Site) firstKart() string {
	all := s.garage()
	if len(all) > 0 && all[0].Own {
		return all[0].Key
	}
	return demo.Default
}

// section is an entry of the page's menu.
type section struct{ Path, Name string }

var sections = []section{
	{"/", "Say it"}, {"/turn", "Turn it"}, {"/measure", "Measure it"}, {"/learn", "Learn it"}, {"/days", "Plan it"}, {"/log", "Log"}, {"/rules", "Rules"}, {"/karts", "Karts"},
}

// sections are the entries of this site's menu.
func (s *Site) sections() []section {
	if s.days != nil {
		return sections
	}
	return slices.DeleteFunc(slices.Clone(sections), func(x section) bool { return x.Path == "/days" })
}

// Routes returns the site's pages without the checks of Handler.
func (s *Site) routes() *http.ServeMux {
	mux := http.NewServeMux()
	for pattern, h := range map[string]func(http.ResponseWriter, *http.Request) error{
		"GET /{$}":           s.say,
		"GET /answer":        s.answer,
		"GET /card":          s.card,
		"GET /card.svg":      s.cardImage,
		"GET /turn":          s.turn,
		"GET /measure":       s.measurePage,
		"GET /learn":         s.learnPage,
		"GET /learn/{topic}": s.lesson,
		"GET /learn/try":     s.tryPage,
		"GET /learn/quiz":    s.quiz,
		"GET /log":           s.logPage,
		"POST /log":          s.logKeep,
		"POST /log/outcome":  s.logJudge,
		"GET /rules":         s.ruleList,
		"GET /rules/{id}":    s.rulePage,
		"GET /club":          s.clubPage,
		"POST /club":         s.clubSave,
		"POST /club/check":   s.clubCheck,
		"GET /karts":         s.kartsPage,
		"POST /karts":        s.kartsAdd,
		"POST /look":         s.look,
		"GET /assets/{f}":    asset,
	} {
		mux.Handle(pattern, s.handle(h))
	}
	if s.days != nil {
		for pattern, h := range s.dayRoutes() {
			mux.Handle(pattern, s.handle(h))
		}
	}
	return mux
}

// failure is an answer that says what is wrong, under its HTTP status.
type failure struct {
	status int
	msg    string
}

func (f failure) Error() string { return f.msg }

func failf(status int, format string, args ...any) error {
	return failure{status, fmt.Sprintf(format, args...)}
}

// handle turns a page's error into a page that says it.
func (s *Site) handle(h func(http.ResponseWriter, *http.Request) error) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		err := h(w, r)
		if err == nil {
			return
		}
		status := http.StatusInternalServerError
		var f failure
		var large *http.MaxBytesError
		switch {
		case errors.As(err, &f):
			status = f.status
		case errors.As(err, &large):
			status, err = http.StatusRequestEntityTooLarge, fmt.Errorf("that is more than %d kB, the most that this page takes", large.Limit/1000)
		}
		if err := s.render(w, r, status, "error", "That did not work", err.Error()); err != nil {
			http.Error(w, err.Error(), http.StatusInternalServerError)
		}
	})
}

// view is what every template gets.
type view struct {
	Title    string
	Sections []section
	Here     string // path of the section shown
	Back     string // this very page, to come back to it
	Look     string // "", light, dark or sun
	Units    geometry.Units
	Kart     string // key of the chosen kart
	Days     bool   // there are test days
	Body     any
}

// kartParam is the name of the query field and the cookie that carry the kart.
const kartParam, unitsCookie, lookCookie = "kart", "units", "look"

func cookie(r *http.Request, name string) string {
	c, err := r.Cookie(cookiePrefix + name)
	if err != nil {
		return ""
	}
	return c.Value
}

const cookiePrefix = "kartwright_"

func setCookie(w http.ResponseWriter, name, value string) {
	http.SetCookie(w, &http.Cookie{Name: cookiePrefix + name, Value: value, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode, MaxAge: 400 * 24 * 3600})
}

func units(r *http.Request) geometry.Units {
	u := cookie(r, unitsCookie)
	return geometry.Units{Inches: strings.Contains(u, "inch"), Minutes: strings.Contains(u, "minute")}
}

// chosenKart is the kart that the request names, or the one chosen before, as it
// stands by the log. The choice is remembered.
func (s *Site) chosenKart(w http.ResponseWriter, r *http.Request) (garaged, error) {
	if key := r.FormValue(kartParam); key != "" {
		g, err := s.kart(key)
		if err != nil {
			return g, failure{http.StatusNotFound, err.Error()}
		}
		if key != cookie(r, kartParam) {
			setCookie(w, kartParam, key)
		}
		return s.recall(g)
	}
	if g, err := s.kart(cookie(r, kartParam)); err == nil {
		return s.recall(g)
	}
	g, err := s.kart(s.firstKart())
	if err != nil {
		return g, err
	}
	return s.recall(g)
}

// render answers with a page.
func (s *Site) render(w http.ResponseWriter, r *http.Request, status int, page, title string, body any) error {
	v := view{Title: title, Sections: s.sections(), Days: s.days != nil, Here: r.URL.Path, Back: r.URL.RequestURI(), Look: cookie(r, lookCookie), Units: units(r), Kart: cookie(r, kartParam), Body: body}
	if !slices.Contains(looks, v.Look) {
		v.Look = ""
	}
	if r.Method != http.MethodGet {
		v.Back = path.Dir(r.URL.Path)
		if r.PathValue("name") != "" { // of a day: its pages answer both
			v.Back = r.URL.EscapedPath()
		}
	}
	for parent, of := range map[string]string{"/answer": "/", "/card": "/", "/club": "/rules"} {
		if v.Here == parent {
			v.Here = of
		}
	}
	for under, section := range map[string]string{"/rules/": "/rules", "/learn/": "/learn", "/days/": "/days", "/day/": "/days"} {
		if strings.HasPrefix(v.Here, under) {
			v.Here = section
		}
	}
	return s.execute(w, status, page, "page", v)
}

// execute writes one template of a page, whole or not at all.
func (s *Site) execute(w http.ResponseWriter, status int, page, name string, data any) error {
	t, ok := s.pages[page]
	if !ok {
		return fmt.Errorf("there is no page %q", page)
	}
	var out bytes.Buffer
	if err := t.ExecuteTemplate(&out, name, data); err != nil {
		return err
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	_, err := out.WriteTo(w)
	return err
}

// parsePages reads the templates: every page with the frame and the shared
// parts.
func parsePages() (map[string]*template.Template, error) {
	names, err := fs.Glob(files, "templates/*.html")
	if err != nil {
		return nil, err
	}
	shared := template.New("").Funcs(functions)
	if shared, err = shared.ParseFS(files, "templates/frame.html"); err != nil {
		return nil, err
	}
	out := map[string]*template.Template{}
	for _, n := range names {
		name := strings.TrimSuffix(path.Base(n), ".html")
		if name == "frame" {
			continue
		}
		t, err := shared.Clone()
		if err != nil {
			return nil, err
		}
		if out[name], err = t.ParseFS(files, n); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// looks are the ways the page can be lit; "" follows the device.
var looks = []string{"light", "dark", "sun"}

// look remembers how figures and the page should look, and goes back.
func (s *Site) look(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return err
	}
	if v := r.PostForm["look"]; len(v) == 1 && (v[0] == "" || slices.Contains(looks, v[0])) {
		setCookie(w, lookCookie, v[0])
	}
	if v := r.PostForm["units"]; len(v) == 1 && (v[0] == "mm" || v[0] == "inch") {
		setCookie(w, unitsCookie, v[0])
	}
	http.Redirect(w, r, ownPath(r.PostFormValue("back")), http.StatusSeeOther)
	return nil
}

// ownPath is a path of this site, or its front page for anything else.
func ownPath(p string) string {
	if !strings.HasPrefix(p, "/") || strings.HasPrefix(p, "//") || strings.ContainsAny(p, "\\\n\r") {
		return "/"
	}
	return p
}

// asset sends an embedded file by its plain name.
func asset(w http.ResponseWriter, r *http.Request) error {
	data, err := files.ReadFile("assets/" + r.PathValue("f"))
	if err != nil {
		return failf(http.StatusNotFound, "there is no such file")
	}
	kind := map[string]string{".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml"}[path.Ext(r.PathValue("f"))]
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Cache-Control", "no-cache")
	_, err = w.Write(data)
	return err
}

// Style and Script are the page's own files, for a page that carries them
// inside.
func Style() []byte  { return must(files.ReadFile("assets/page.css")) }
func Script() []byte { return must(files.ReadFile("assets/page.js")) }

func must(b []byte, err error) []byte {
	if err != nil {
		panic(err) // embedded
	}
	return b
}
