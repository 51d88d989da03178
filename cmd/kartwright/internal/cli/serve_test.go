package cli

import (
	"bufio"
	"bytes"
	"context"
	"io"
	"net/http"
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
	r, w := io.Pipe()
	var errs bytes.Buffer
	a := &app{App: App{Out: w, Err: &errs, Getenv: func(string) string { return "" }, Now: func() time.Time { return noon }}}
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
	return bufio.NewScanner(r)
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
	url := firstAddress(t, served(t, serveOptions{words: wordFlags{language: "en"}}))
	if !strings.HasPrefix(url, "http://127.0.0.1:") {
		t.Errorf("without --lan the page is at %s, want the loopback address", url)
	}
	res, err := http.Get(url + "answer?say=bind&phase=exit&track=tight")
	require.NoError(t, err)
	body, err := io.ReadAll(res.Body)
	require.NoError(t, err)
	require.NoError(t, res.Body.Close())
	if res.StatusCode != http.StatusOK || !bytes.Contains(body, []byte("Try first: more caster")) {
		t.Errorf("the page answers %d:\n%s", res.StatusCode, body)
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
	out := served(t, serveOptions{lan: true, words: wordFlags{language: "en"}})
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

// The club's file is replaced whole, keeps its permissions, and leaves nothing
// beside it.
func TestReplaceFile(t *testing.T) {
	dir := t.TempDir()
	name := filepath.Join(dir, "club.toml")
	require.NoError(t, replaceFile(name, []byte("one")))
	require.NoError(t, os.Chmod(name, 0o600))
	require.NoError(t, replaceFile(name, []byte("two")))
	data, err := os.ReadFile(name)
	require.NoError(t, err)
	info, err := os.Stat(name)
	require.NoError(t, err)
	left, err := os.ReadDir(dir)
	require.NoError(t, err)
	if string(data) != "two" || info.Mode().Perm() != 0o600 || len(left) != 1 {
		t.Errorf("the file holds %q with %v beside %d others, want \"two\", 0600 and none", data, info.Mode().Perm(), len(left)-1)
	}
	if err := replaceFile(filepath.Join(dir, "none", "club.toml"), nil); err == nil {
		t.Error("a file in a folder that is not there was written")
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
