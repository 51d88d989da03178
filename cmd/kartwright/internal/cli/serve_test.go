package cli

import (
	"bufio"
	"bytes"
	"context"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// served starts the page and returns what it prints, line by line, until the
// test ends.
func served(t *testing.T, o serveOptions) *bufio.Scanner {
	t.Helper()
	return bufio.NewScanner(serving(t, o, false))
}

// serving starts the page and returns what it prints until the test ends.
func serving(t *testing.T, o serveOptions, asJSON bool) io.Reader {
	t.Helper()
	r, w := io.Pipe()
	var errs bytes.Buffer
	a := &app{json: asJSON, App: App{Out: w, Err: &errs, Getenv: func(string) string { return "" }, Now: func() time.Time { return noon }}}
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() {
		err := a.runServe(ctx, o)
		ended <- err
		w.CloseWithError(err)
	}()
	t.Cleanup(func() {
		stop()
		go func() { _, _ = io.Copy(io.Discard, r) }()
		if err := <-ended; err != nil {
			t.Errorf("the page ended with %v, want no error after it was told to", err)
		}
	})
	return r
}

var address = regexp.MustCompile(`http://\S+`)

func firstAddress(t *testing.T, out *bufio.Scanner) string {
	t.Helper()
	for out.Scan() {
		if m := address.FindString(out.Text()); m != "" {
			return m
		}
	}
	t.Fatalf("no address was printed: %v", out.Err())
	return ""
}

func TestServe(t *testing.T) {
	home := firstAddress(t, served(t, serveOptions{words: wordFlags{language: "en"}, past: pastFlags{none: true}}))
	if !strings.HasPrefix(home, "http://127.0.0.1:") {
		t.Errorf("without --lan the page is at %s, want the loopback address", home)
	}
	res, err := http.Get(home + "answer?say=bind&phase=exit&track=tight")
	require.NoError(t, err)
	body, err := io.ReadAll(res.Body)
	require.NoError(t, err)
	require.NoError(t, res.Body.Close())
	if res.StatusCode != http.StatusOK || !bytes.Contains(body, []byte("Try first: more caster")) {
		t.Errorf("the page answers %d:\n%s", res.StatusCode, body)
	}
}

// A club's file in another folder extends the same shipped rules as the page
// loads, is edited there, and goes into the page for a phone.
func TestClubElsewhere(t *testing.T) {
	club := filepath.Join(t.TempDir(), "club.toml")
	const text = "format = 1\nset = \"club\"\ntitle = \"Our club\"\nextends = [\"shipped.toml\"]\n"
	require.NoError(t, os.WriteFile(club, []byte(text), 0o600))
	a := &app{App: App{Out: io.Discard, Err: io.Discard, Getenv: func(string) string { return "" }, Now: func() time.Time { return noon }}}
	site, err := a.site(serveOptions{club: club, words: wordFlags{language: "en"}, past: pastFlags{none: true}})
	require.NoError(t, err)
	r, err := site.Respond(http.MethodPost, "/club/check", "application/x-www-form-urlencoded", "", []byte("text="+url.QueryEscape(text)))
	require.NoError(t, err)
	if !bytes.Contains(r.Body, []byte("No errors. ")) {
		t.Errorf("the club's file is found to have:\n%s", r.Body)
	}
	d, err := a.carried(pageOptions{club: club, words: wordFlags{language: "en"}})
	require.NoError(t, err)
	if len(d.RuleFiles) != 1 || d.RuleFiles[d.Club] != text {
		t.Errorf("the page carries %d rule files beside the shipped ones, and %q as the club's %s, want one", len(d.RuleFiles), d.RuleFiles[d.Club], d.Club)
	}
}

// With --lan the first address is this machine's and those for others carry a
// key.
func TestServeLAN(t *testing.T) {
	ips, err := localAddresses()
	require.NoError(t, err)
	if len(ips) == 0 {
		t.Skip("this machine is in no network")
	}
	out := served(t, serveOptions{lan: true, words: wordFlags{language: "en"}, past: pastFlags{none: true}})
	local := firstAddress(t, out)
	other := firstAddress(t, out)
	if !strings.HasPrefix(local, "http://127.0.0.1:") || !strings.Contains(other, ips[0]) || !strings.Contains(other, "/enter?key=") {
		t.Fatalf("the addresses are %s and %s, want one for this machine and one with a key", local, other)
	}
	go func() {
		for out.Scan() { // whatever else is printed
		}
	}()
	page, _, _ := strings.Cut(other, "enter?")
	res, err := http.Get(page)
	require.NoError(t, err)
	require.NoError(t, res.Body.Close())
	if res.StatusCode != http.StatusForbidden {
		t.Errorf("a device without a key is answered with %d, want 403", res.StatusCode)
	}
}

// What is logged on the page is in the journal of the commands, and the other
// way round: an answer is logged, judged, and known of the next time.
func TestServeLog(t *testing.T) {
	path := filepath.Join(t.TempDir(), "journal.db")
	getenv := func(name string) string { return map[string]string{"KARTWRIGHT_JOURNAL": path}[name] }
	a := &app{App: App{Out: io.Discard, Err: io.Discard, Getenv: getenv, Now: func() time.Time { return noon }}}
	site, err := a.site(serveOptions{words: wordFlags{language: "en"}})
	require.NoError(t, err)
	ask := func(method, target, form string) string {
		t.Helper()
		for range 2 {
			r, err := site.Respond(method, target, "application/x-www-form-urlencoded", "", []byte(form))
			require.NoError(t, err)
			if r.Status == http.StatusSeeOther {
				method, target, form = http.MethodGet, r.Location, ""
				continue
			}
			if r.Status != http.StatusOK {
				t.Fatalf("%s %s is answered with %d:\n%s", method, target, r.Status, r.Body)
			}
			return string(r.Body)
		}
		t.Fatalf("%s leads round in circles", target)
		return ""
	}
	says := func(what, body string, parts ...string) {
		t.Helper()
		for _, p := range parts {
			if !strings.Contains(body, p) {
				t.Errorf("%s does not say %q:\n%s", what, p, body)
			}
		}
	}
	const said = "say=bind&phase=exit&track=tight&kart=alder"
	says("the log before anything", ask("GET", "/log?kart=alder", ""), "Nothing is logged for kart Alder yet")
	if _, err := os.Stat(path); err == nil {
		t.Error("looking at the log made a journal")
	}
	says("the answer", ask("GET", "/answer?"+said, ""), "Log this answer", "Try first: more caster")
	kept := ask("POST", "/log", said)
	says("the log", kept, "Logged as advice", "How was it?", "More caster by")
	id := regexp.MustCompile(`name="id" value="([^"]+)"`).FindStringSubmatch(kept)
	require.NotNil(t, id)
	says("the log after the run", ask("POST", "/log/outcome?kart=alder", "verdict=worse&id="+id[1]), "Logged", "worse", "Compare, or go back to it")
	says("the next answer", ask("GET", "/answer?"+said, ""), "by the log", "would come first by the rules, but it was tried")
	out := &bytes.Buffer{}
	status := Main(App{In: strings.NewReader(""), Out: out, Err: out, Getenv: getenv, Now: func() time.Time { return noon }}, []string{"log", "show", "--kart", "alder"})
	if status != 0 || !strings.Contains(out.String(), "worse") {
		t.Errorf("the command's log has status %d and says:\n%s", status, out)
	}
	for _, form := range []string{"verdict=worse&id=nothing", "verdict=fine&id=" + id[1]} {
		r, err := site.Respond(http.MethodPost, "/log/outcome?kart=alder", "application/x-www-form-urlencoded", "", []byte(form))
		require.NoError(t, err)
		if r.Status != http.StatusUnprocessableEntity {
			t.Errorf("a verdict of %s is answered with %d, want 422", form, r.Status)
		}
	}
}

// A square code is as wide as it is high and has its three finders.
func TestSquare(t *testing.T) {
	lines := strings.Split(strings.TrimRight(square("http://192.168.1.4:7410/enter?key=abc"), "\n"), "\n")
	wide := len([]rune(lines[0])) - 2
	if high := 2 * len(lines); high < wide || high > wide+1 {
		t.Errorf("the square is %d wide and %d high", wide, high)
	}
	for i, l := range lines {
		if n := len([]rune(l)) - 2; n != wide {
			t.Errorf("line %d of the square is %d wide, want %d", i, n, wide)
		}
	}
	if square(strings.Repeat("x", 5000)) != "" {
		t.Error("a text that is too long for a square was drawn")
	}
}
