package cli

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"kartwright/advisor/journal"
	"kartwright/advisor/testday"
	"kartwright/cmd/kartwright/internal/web"
)

const freshDay = "format = 1\n[[change]]\nname = \"seat back\"\n[[run]]\n[[run]]\nwith = \"seat back\"\n[[run]]\nwith = \"seat back\"\n[[run]]\n"

// dayShop is a page, and a command line, on one folder of test days.
type dayShop struct {
	t      *testing.T
	dir    string
	site   *web.Site
	getenv func(string) string
}

func newDayShop(t *testing.T) *dayShop {
	s := &dayShop{t: t, dir: t.TempDir()}
	journal := filepath.Join(t.TempDir(), "journal.db")
	s.getenv = func(name string) string {
		return map[string]string{"KARTWRIGHT_JOURNAL": journal, "KARTWRIGHT_DAYS": s.dir}[name]
	}
	a := &app{App: App{Out: io.Discard, Err: io.Discard, Getenv: s.getenv, Now: nowAtNoon}}
	var err error
	s.site, err = a.site(serveOptions{words: wordFlags{language: "en"}})
	require.NoError(t, err)
	return s
}

func nowAtNoon() time.Time { return noon }

func (s *dayShop) command(args ...string) (status int, out string) {
	var b bytes.Buffer
	status = Main(App{In: strings.NewReader(""), Out: &b, Err: &b, Getenv: s.getenv, Now: nowAtNoon}, args)
	return status, b.String()
}

func (s *dayShop) page(method, target string, form url.Values) web.Reply {
	s.t.Helper()
	r, err := s.site.Respond(method, target, "application/x-www-form-urlencoded", "", []byte(form.Encode()))
	require.NoError(s.t, err)
	return r
}

func (s *dayShop) day(name string) *testday.Day {
	s.t.Helper()
	data, err := os.ReadFile(filepath.Join(s.dir, name+".toml"))
	require.NoError(s.t, err)
	d, found := testday.Parse(name, data)
	require.NotNil(s.t, d, "%v", found)
	return d
}

// The page and the command line record runs of one day at the same time: none is
// lost, none is recorded twice, and the file is never half written.
func TestPageAndCommandOnOneDay(t *testing.T) {
	s := newDayShop(t)
	const runs = 16
	text := "format = 1\n[[change]]\nname = \"seat back\"\n"
	for i := range runs {
		text += "[[run]]\n"
		if i%4 == 1 || i%4 == 2 {
			text += "with = \"seat back\"\n"
		}
	}
	path := filepath.Join(s.dir, "busy.toml")
	require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
	var mu sync.Mutex
	recorded := map[string]int{} // by the run's words, how often somebody was told that it is
	told := func(says string) { mu.Lock(); recorded[says]++; mu.Unlock() }
	var wg sync.WaitGroup
	for w := range 4 {
		wg.Go(func() { // the command: whatever run is next
			for i := range 2 {
				says := fmt.Sprintf("command %d.%d", w, i)
				if status, out := s.command("day", "next", path, "--time", "48.60", "--says", says); status == 0 {
					told(says)
				} else {
					t.Errorf("a command ended with %d: %s", status, out)
				}
			}
		})
		wg.Go(func() { // the page: the run that it shows
			for i := range 2 {
				says := fmt.Sprintf("page %d.%d", w, i)
				for {
					m := regexp.MustCompile(`Record run (\d+)<`).FindSubmatch(s.page(http.MethodGet, "/day/busy", nil).Body)
					if m == nil {
						t.Errorf("the page has no run to record for %s", says)
						return
					}
					r := s.page(http.MethodPost, "/day/busy", url.Values{"run": {string(m[1])}, "time": {"48.45"}, "says": {says}})
					if r.Status == http.StatusSeeOther {
						told(says)
						break
					}
					if !bytes.Contains(r.Body, []byte("was recorded meanwhile")) {
						t.Errorf("the page answers %d:\n%s", r.Status, r.Body)
						return
					}
				}
			}
		})
	}
	wg.Wait()
	found := map[string]int{}
	d := s.day("busy")
	for _, r := range d.Runs {
		if r.State == testday.Done {
			found[r.Says]++
		}
	}
	if len(recorded) != runs || len(found) != runs || d.Next() != runs {
		t.Errorf("%d runs were said to be recorded and %d are in the file, want %d:\n%v\n%v", len(recorded), len(found), runs, recorded, found)
	}
	for says, n := range found {
		if n != 1 || recorded[says] != 1 {
			t.Errorf("the run %q is in the file %d times and was said to be recorded %d times, want once each", says, n, recorded[says])
		}
	}
	left, err := os.ReadDir(s.dir)
	require.NoError(t, err)
	if len(left) != 1 {
		t.Errorf("beside the day %d files are left", len(left)-1)
	}
}

// A day planned on the page from logged advice is run by the command, judged on
// the page, and the log knows what came of it.
func TestDayFromLogToLog(t *testing.T) {
	s := newDayShop(t)
	const said = "say=bind&phase=exit&track=tight&kart=alder"
	form, err := url.ParseQuery(said)
	require.NoError(t, err)
	require.Equal(t, http.StatusSeeOther, s.page(http.MethodPost, "/log", form).Status)
	link := regexp.MustCompile(`/days/new\?logged=[^"]+`).Find(s.page(http.MethodGet, "/log?kart=alder", nil).Body)
	require.NotNil(t, link, "the log leads to no test day")
	body := string(s.page(http.MethodGet, string(link)+"&kart=alder", nil).Body)
	id := regexp.MustCompile(`name="c0_advice" value="([^"]+)"`).FindStringSubmatch(body)
	much := regexp.MustCompile(`name="c0_much" value="([^"]+)"`).FindStringSubmatch(body)
	require.NotNil(t, id, body)
	require.NotNil(t, much, body)
	keep := url.Values{"kart": {"alder"}, "c0_what": {"caster"}, "c0_way": {"by"}, "c0_much": {much[1]}, "c0_name": {"more caster"}, "c0_advice": {id[1]}, "order": {"ABBAABBA"}}
	r := s.page(http.MethodPost, "/days", keep)
	if r.Location != "/day/2026-11-25?done=kept" && !strings.HasPrefix(r.Location, "/day/20") {
		t.Fatalf("keeping the day leads to %d %q:\n%s", r.Status, r.Location, r.Body)
	}
	at, _, _ := strings.Cut(r.Location, "?")
	path := filepath.Join(s.dir, strings.TrimPrefix(at, "/day/")+".toml")
	for _, v := range []string{"48.62", "48.44", "48.49", "48.71", "48.74", "48.57", "48.66", "48.83"} {
		status, out := s.command("day", "next", path, "--time", v)
		require.Equal(t, 0, status, out)
	}
	if body := string(s.page(http.MethodGet, at+"/verdict", nil).Body); !strings.Contains(body, "Quicker, -0.18 s (minus is quicker; 95 %") || !strings.Contains(body, "Tell the log") {
		t.Errorf("the verdict does not say that the change is quicker, or does not tell the log:\n%s", body)
	}
	// Told once it is in the log, and told again it is there once.
	for _, want := range []string{"logged", "already"} {
		r = s.page(http.MethodPost, at+"/verdict", nil)
		if r.Status != http.StatusSeeOther || r.Location != at+"/verdict?done="+want {
			t.Errorf("telling the log is answered with %d %q, want to go to the verdict as %s:\n%s", r.Status, r.Location, want, r.Body)
		}
		if status, out := s.command("log", "show", "--kart", "alder"); status != 0 || strings.Count(out, "lap time -0.185 s") != 1 {
			t.Errorf("the log does not know of the day, or not once (%d):\n%s", status, out)
		}
	}
	if status, out := s.command("day", "verdict", path, "--log"); status != 0 || !strings.Contains(out, "this is in the log already") {
		t.Errorf("telling the log once more ends with %d:\n%s", status, out)
	}
	if status, out := s.command("log", "show", "--kart", "alder"); status != 0 || strings.Count(out, "lap time -0.185 s") != 1 {
		t.Errorf("the log has the day twice (%d):\n%s", status, out)
	}
	if body := string(s.page(http.MethodGet, r.Location, nil).Body); !strings.Contains(body, "nothing was added") {
		t.Errorf("the verdict does not say that the log knew it:\n%s", body)
	}
	// The next day is named after the same date without replacing this one.
	if r := s.page(http.MethodPost, "/days", keep); !strings.HasPrefix(r.Location, at+"-2") {
		t.Errorf("a second day of the date leads to %q, want %s-2", r.Location, at)
	}
}

// The names of days lead to files of their folder and nowhere else.
func TestDayNames(t *testing.T) {
	s := newDayShop(t)
	require.NoError(t, os.WriteFile(filepath.Join(filepath.Dir(s.dir), "outside.toml"), []byte(freshDay), 0o644))
	for name, text := range map[string]string{"fine": freshDay, "broken": freshDay + "[[run]]\nwith = \"nothing\"\n", "kart": "name = \"x\"\n", "fine.kart": freshDay} {
		require.NoError(t, os.WriteFile(filepath.Join(s.dir, name+".toml"), []byte(text), 0o644))
	}
	require.NoError(t, os.Mkdir(filepath.Join(s.dir, "folder.toml"), 0o755))
	days := pageDays{&app{App: App{Getenv: s.getenv, Now: nowAtNoon}}, s.dir}
	d := s.day("fine")
	for _, name := range []string{"../outside", "..", ".", "", ".hidden", "a/b", `a\b`, "a:b", "a\x00b", "/etc/passwd", " fine", "fine ", "x.kart", strings.Repeat("x", 61), strings.Repeat("ü", 61), "a\nb", "CON", "nul", "com1", "LPT9.old", "aux .x"} {
		if _, err := days.Open(name); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("opening the day %q ends with %v, want that it does not exist", name, err)
		}
		if err := days.Change(name, func(web.OpenDay) error { t.Errorf("the day %q is changed", name); return nil }); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("changing the day %q ends with %v, want that it does not exist", name, err)
		}
		if _, err := days.Add(name, d, nil); name != "" && !errors.Is(err, fs.ErrInvalid) {
			t.Errorf("adding the day %q ends with %v, want that it is no name", name, err)
		}
	}
	if _, err := days.Add("fine", d, nil); !errors.Is(err, fs.ErrExist) {
		t.Errorf("adding a day over another ends with %v, want that it exists", err)
	}
	if name, err := days.Add("Frühling 2", d, nil); err != nil || name != "Frühling 2" {
		t.Errorf("adding a day with letters and spaces ends with %q, %v", name, err)
	}
	long := strings.Repeat("ü", 60)
	if name, err := days.Add(long, d, nil); err != nil || name != long {
		t.Errorf("adding a day with a name of 60 letters ends with %q, %v", name, err)
	}
	list, err := days.List()
	require.NoError(t, err)
	var names []string
	for _, x := range list {
		names = append(names, x.Name)
		if x.Name == "broken" && !strings.Contains(x.Trouble, `line 11: there is no change called "nothing"`) {
			t.Errorf("the trouble of a broken day is %q", x.Trouble)
		}
	}
	if len(names) != 5 { // fine, broken, the one added without a name, Frühling 2, the long one
		t.Errorf("the days are %q, want five", names)
	}
	if _, err := days.Open("broken"); err == nil || !strings.Contains(err.Error(), "broken.toml, line 11: there is no change") {
		t.Errorf("opening a broken day says %v, want file, line and what is wrong", err)
	}
	a := &app{App: App{Getenv: s.getenv, Now: nowAtNoon}}
	if _, err := a.pageDays(filepath.Join(s.dir, "fine.toml"), ""); err == nil || !strings.Contains(err.Error(), "is no folder") {
		t.Errorf("a file as the folder of days ends with %v", err)
	}
	if _, err := a.pageDays(filepath.Join(s.dir, "none"), ""); err == nil || !strings.Contains(err.Error(), "does not exist") {
		t.Errorf("a folder that is not there ends with %v", err)
	}
}

// A day that cannot be kept whole leaves nothing, and no kart is replaced.
func TestDayAddLeavesNothing(t *testing.T) {
	s := newDayShop(t)
	days := pageDays{&app{App: App{Getenv: s.getenv, Now: nowAtNoon}}, s.dir}
	d, found := testday.Parse("x", []byte(freshDay))
	require.NotNil(t, d, "%v", found)
	kart := filepath.Join(s.dir, "own.kart.toml")
	require.NoError(t, os.WriteFile(kart, []byte("mine"), 0o644))
	if _, err := days.Add("own", d, []byte("other")); !errors.Is(err, fs.ErrExist) {
		t.Errorf("a day beside another's kart ends with %v, want that it exists", err)
	}
	if data, err := os.ReadFile(kart); err != nil || string(data) != "mine" {
		t.Errorf("the kart that was there is now %q, %v", data, err)
	}
	if name, err := days.Add("", d, []byte("other")); err != nil || name != "2026-05-03" && !strings.HasPrefix(name, "20") {
		t.Errorf("a day with a kart is kept as %q, %v", name, err)
	}
	path := filepath.Join(s.dir, "torn.toml")
	f, err := os.Create(path)
	require.NoError(t, err)
	require.NoError(t, f.Close()) // so that it cannot be written
	if err := days.fill(f, path, d, []byte("other")); err == nil {
		t.Error("a day that cannot be written is kept")
	}
	left, err := filepath.Glob(filepath.Join(s.dir, "*o*.toml"))
	require.NoError(t, err)
	for _, name := range left {
		if base := filepath.Base(name); base == "own.toml" || strings.HasPrefix(base, "torn") {
			t.Errorf("%s is left of a day that was not kept", base)
		}
	}
}

// Without --days the days are beside the journal that the page works on.
func TestDaysBesideTheJournal(t *testing.T) {
	other := filepath.Join(t.TempDir(), "other.db")
	for _, tt := range []struct{ flag, env, want string }{{other, "/env/journal.db", filepath.Join(filepath.Dir(other), "days")}, {"", "/env/journal.db", "/env/days"}} {
		a := &app{App: App{Getenv: func(name string) string {
			return map[string]string{"KARTWRIGHT_JOURNAL": tt.env, "HOME": "/home/x"}[name]
		}, Now: nowAtNoon}}
		days, err := a.pageDays("", tt.flag)
		if err != nil || days.(pageDays).dir != tt.want {
			t.Errorf("with --journal %q and $KARTWRIGHT_JOURNAL %q the days are in %v, %v, want %s", tt.flag, tt.env, days, err, tt.want)
		}
	}
}

// An effect that rounds to nothing has no sign.
func TestEffectOfNothing(t *testing.T) {
	effect, se, df := -0.0001, 0.02, 5.
	a := &app{}
	if got := a.summary(&journal.Outcome{Followed: true, Effect: &effect, EffectSE: &se, EffectDF: &df}); !strings.Contains(got, "lap time 0.000 s,") {
		t.Errorf("an effect of -0.0001 s is told as %q", got)
	}
}
