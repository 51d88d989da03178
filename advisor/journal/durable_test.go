package journal_test

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"github.com/stretchr/testify/require"

	"kartwright/advisor/journal"
)

// A child process of the test binary is told what to do by this variable.
const childEnv = "KARTWRIGHT_JOURNAL_CHILD"

func TestMain(m *testing.M) {
	if what := os.Getenv(childEnv); what != "" {
		if err := child(what, os.Args[1], os.Args[2:]); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	flag.Parse()
	if !long && flag.Lookup("rapid.checks").Value.String() == flag.Lookup("rapid.checks").DefValue {
		if err := flag.Set("rapid.checks", "20"); err != nil {
			panic(err)
		}
	}
	os.Exit(m.Run())
}

// long asks for the full number of repetitions; without it every check is made,
// less often.
var long = os.Getenv("KARTWRIGHT_LONG") != ""

// child opens the journal at path and writes sessions, printing the ID of each
// that was acknowledged.
func child(what, path string, args []string) error {
	ctx := context.Background()
	if what == "small files" {
		if err := limitFiles(args[1]); err != nil {
			return err
		}
	}
	j, err := journal.Open(ctx, path, journal.Options{})
	if err != nil {
		return err
	}
	n, err := strconv.Atoi(args[0])
	if err != nil {
		return err
	}
	for i := range n {
		s := &journal.Session{Header: journal.Header{Kart: "Alder"}, Place: fmt.Sprint(os.Getpid(), " ", i), Note: strings.Repeat("x", i%3000)}
		for k := range 10 {
			s.Laps = append(s.Laps, journal.Lap{MS: int64(48000 + k)})
		}
		if err := j.Add(ctx, s); err != nil {
			return err
		}
		fmt.Println(s.ID)
	}
	return j.Close()
}

func start(t *testing.T, what string, args ...string) (*exec.Cmd, io.ReadCloser, *bytes.Buffer) {
	t.Helper()
	exe, err := os.Executable()
	require.NoError(t, err)
	cmd := exec.Command(exe, args...)
	cmd.Env = append(os.Environ(), childEnv+"="+what)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	return cmd, out, &stderr
}

// has fails the test unless every acknowledged entry is there and the file is
// whole.
func has(t *testing.T, path string, acknowledged []string) {
	t.Helper()
	ctx := context.Background()
	j, err := journal.Open(ctx, path, journal.Options{})
	require.NoError(t, err)
	defer j.Close()
	if err := j.Check(ctx); err != nil {
		t.Fatal(err)
	}
	for _, id := range acknowledged {
		r, err := j.Find(ctx, id)
		if err != nil {
			t.Fatalf("an acknowledged entry is gone: %v", err)
		}
		if s := r.(*journal.Session); len(s.Laps) != 10 {
			t.Fatalf("entry %s has %d laps, 10 were acknowledged", id, len(s.Laps))
		}
	}
}

// A program that writes entries, 500 in a long run, is killed without warning,
// again and again until they are written and it was killed often enough: nothing
// that it acknowledged is ever missing.
func TestKilledAtAnyMoment(t *testing.T) {
	entries, mean := 200, 100*time.Millisecond
	if long {
		entries, mean = 500, 250*time.Millisecond
	}
	path := filepath.Join(t.TempDir(), "journal.db")
	r := rand.New(rand.NewPCG(1, 2))
	var acknowledged []string
	kills := 0
	for tries := 0; (len(acknowledged) < entries || kills < 8) && tries < 200; tries++ {
		cmd, out, stderr := start(t, "write", path, strconv.Itoa(max(100, entries-len(acknowledged))))
		// Sometimes before the first entry, sometimes after a few, never at a
		// moment of its own choice.
		delay := time.Duration(r.ExpFloat64() * float64(mean))
		timer := time.AfterFunc(delay, func() { cmd.Process.Kill() })
		lines := bufio.NewScanner(out)
		for lines.Scan() {
			if len(lines.Text()) == 32 {
				acknowledged = append(acknowledged, lines.Text())
			}
		}
		if err := cmd.Wait(); err == nil || timer.Stop() {
			require.Empty(t, stderr.String(), "the writer failed by itself")
			continue
		}
		kills++
		has(t, path, acknowledged)
	}
	has(t, path, acknowledged)
	if kills < 5 {
		t.Errorf("the writer was killed only %d times; the test shows little", kills)
	}
	t.Logf("%d entries acknowledged over %d kills", len(acknowledged), kills)
}

// Several programs begin the same journal at once and write to it together.
func TestProgramsAtOnce(t *testing.T) {
	path := filepath.Join(t.TempDir(), "journal.db")
	var wg sync.WaitGroup
	var mu sync.Mutex
	var acknowledged []string
	for range 4 {
		wg.Go(func() {
			cmd, out, stderr := start(t, "write", path, "20")
			lines := bufio.NewScanner(out)
			for lines.Scan() {
				mu.Lock()
				acknowledged = append(acknowledged, lines.Text())
				mu.Unlock()
			}
			if err := cmd.Wait(); err != nil {
				t.Errorf("a writer among four failed: %v: %s", err, stderr)
			}
		})
	}
	wg.Wait()
	if len(acknowledged) != 80 {
		t.Errorf("%d entries were acknowledged, want 80", len(acknowledged))
	}
	has(t, path, acknowledged)
}

// Goroutines share one journal.
func TestGoroutinesAtOnce(t *testing.T) {
	ctx, j := context.Background(), open(t, 1)
	var wg sync.WaitGroup
	for i := range 4 {
		wg.Go(func() {
			for k := range 5 {
				s := session("Alder", int64(48000+i*10+k))
				s.At = time.Date(2026, 5, 3, 9, i, k, 0, time.UTC)
				if err := j.Add(ctx, s); err != nil {
					t.Error(err)
				}
				if _, err := j.Recent(ctx, journal.Filter{Limit: 3}); err != nil {
					t.Error(err)
				}
			}
		})
	}
	wg.Wait()
	if got := strings.Count(export(t, j), `"kind":"session"`); got != 20 {
		t.Errorf("%d sessions are there, want 20", got)
	}
}

// A writer that finds no room says so, and what it acknowledged is there.
func TestNoRoom(t *testing.T) {
	ctx := context.Background()
	t.Run("limit of the file", func(t *testing.T) {
		path := filepath.Join(memory(t), "journal.db")
		cmd, out, stderr := start(t, "small files", path, "5000", strconv.Itoa(200<<10))
		var acknowledged []string
		for lines := bufio.NewScanner(out); lines.Scan(); {
			acknowledged = append(acknowledged, lines.Text())
		}
		if cmd.Wait() == nil {
			t.Skip("this system does not limit the size of files")
		}
		if !strings.Contains(stderr.String(), "the disk may be full") || !strings.Contains(stderr.String(), "this entry was not kept, what was there before is") {
			t.Errorf("a writer without room says %q", stderr)
		}
		if len(acknowledged) < 20 {
			t.Errorf("only %d entries were written before the room ran out; the test shows little", len(acknowledged))
		}
		has(t, path, acknowledged)
	})
	t.Run("limit of the database", func(t *testing.T) {
		j := openAt(t, filepath.Join(memory(t), "journal.db"), 1)
		require.NoError(t, journal.Exec(j, "PRAGMA max_page_count = 60"))
		var err error
		kept := 0
		for err == nil {
			s := session("Alder", 48610)
			s.Note = strings.Repeat("x", 3000)
			if err = j.Add(ctx, s); err == nil {
				kept++
			}
		}
		if !errors.Is(err, journal.ErrFull) || !strings.Contains(err.Error(), "there is no room on the disk") {
			t.Errorf("a full journal gives %v", err)
		}
		if got := strings.Count(export(t, j), `"kind":"session"`); got != kept {
			t.Errorf("%d sessions are there, %d were acknowledged", got, kept)
		}
	})
}

// Damage is named, never overwritten, and never taken for an empty journal.
func TestDamagedFiles(t *testing.T) {
	ctx := context.Background()
	whole := func() []byte {
		path := filepath.Join(memory(t), "journal.db")
		j := openAt(t, path, 1)
		for range 100 {
			add(t, j, session("Alder", 48610, 48620))
		}
		require.NoError(t, j.Close())
		data, err := os.ReadFile(path)
		require.NoError(t, err)
		return data
	}()
	random := bytes.Clone(whole)
	r := rand.New(rand.NewPCG(3, 4))
	for i := 4096; i < len(random); i++ {
		random[i] = byte(r.Uint32())
	}
	for _, tt := range []struct {
		name string
		data []byte
		is   error
	}{
		{"not a database", []byte("dear diary, today we went faster\n"), journal.ErrNot},
		{"a photograph", append([]byte("\xff\xd8\xff\xe0"), random[:9000]...), journal.ErrNot},
		{"half of it", whole[:len(whole)/2], journal.ErrDamaged},
		{"all but the end", whole[:len(whole)-4096], journal.ErrDamaged},
		{"only the first page", whole[:4096], journal.ErrDamaged},
		{"a piece of the first page", whole[:1000], journal.ErrNot},
		{"noise after the first page", random, journal.ErrDamaged},
	} {
		t.Run(tt.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "journal.db")
			require.NoError(t, os.WriteFile(path, tt.data, 0o644))
			j, err := journal.Open(ctx, path, journal.Options{})
			if err == nil {
				defer j.Close()
				err = j.Check(ctx)
			}
			if !errors.Is(err, tt.is) && !(errors.Is(err, journal.ErrDamaged) || errors.Is(err, journal.ErrNot)) {
				t.Errorf("opening gives %v, want an error that is %q", err, tt.is)
			}
			if err != nil && !strings.Contains(err.Error(), path) {
				t.Errorf("the error does not name the file: %v", err)
			}
			after, rerr := os.ReadFile(path)
			require.NoError(t, rerr)
			if !bytes.Equal(after, tt.data) {
				t.Error("the damaged file was written to")
			}
		})
	}
	t.Run("a database of another program", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "journal.db")
		j := openAt(t, path, 1)
		require.NoError(t, journal.Exec(j, "PRAGMA application_id = 7"))
		require.NoError(t, j.Close())
		if _, err := journal.Open(ctx, path, journal.Options{}); !errors.Is(err, journal.ErrNot) || !strings.Contains(err.Error(), "of another program") {
			t.Errorf("opening gives %v", err)
		}
	})
	t.Run("a folder", func(t *testing.T) {
		if _, err := journal.Open(ctx, t.TempDir(), journal.Options{}); err == nil || !strings.Contains(err.Error(), "is a folder; name a file in it") {
			t.Errorf("opening gives %v", err)
		}
	})
	t.Run("one bit anywhere", func(t *testing.T) {
		// A journal that passes its check says what it always said.
		path := filepath.Join(memory(t), "journal.db")
		require.NoError(t, os.WriteFile(path, whole, 0o644))
		j := openAt(t, path, 1)
		want := export(t, j)
		require.NoError(t, j.Close())
		found := 0
		for range 60 {
			bad := bytes.Clone(whole)
			at := r.IntN(len(bad))
			bad[at] ^= 1 << r.IntN(8)
			require.NoError(t, os.WriteFile(path, bad, 0o644))
			j, err := journal.Open(ctx, path, journal.Options{})
			if err != nil {
				found++
				continue
			}
			if err := j.Check(ctx); err != nil {
				found++
			} else if export(t, j) != want {
				t.Errorf("with byte %d wrong the journal passes its check and says something else", at)
			}
			require.NoError(t, j.Close())
		}
		if found < 8 {
			t.Errorf("only %d of 60 faults were found; the test shows little", found)
		}
	})
}

// A journal that may only be read can be read, and says why it is not written.
func TestReadOnly(t *testing.T) {
	ctx := context.Background()
	path := filepath.Join(t.TempDir(), "journal.db")
	j := openAt(t, path, 1)
	add(t, j, session("Alder", 48610))
	require.NoError(t, j.Close())
	unlock := readOnly(t, path)
	defer unlock()
	j, err := journal.Open(ctx, path, journal.Options{})
	require.NoError(t, err)
	defer j.Close()
	if s, err := j.LatestSession(ctx, "Alder"); err != nil || s == nil {
		t.Errorf("reading a read-only journal: %v, %v", s, err)
	}
	if got := export(t, j); !strings.Contains(got, "48610") {
		t.Errorf("the export of a read-only journal is %q", got)
	}
	if err := j.Add(ctx, session("Alder", 48620)); !errors.Is(err, journal.ErrReadOnly) || !strings.Contains(err.Error(), "may not be written to") {
		t.Errorf("writing to a read-only journal gives %v", err)
	}
}

// A migration that fails leaves the file as it was before it, version and all.
func TestMigrationIsAllOrNothing(t *testing.T) {
	j := open(t, 1)
	add(t, j, session("Alder", 48610))
	before := export(t, j)
	first := &fstest.MapFile{Data: []byte("SELECT 1")}
	good := &fstest.MapFile{Data: []byte("ALTER TABLE session ADD COLUMN air_c REAL")}
	bad := &fstest.MapFile{Data: []byte("CREATE TABLE weather (a TEXT) STRICT; DROP TABLE session_lap; nonsense")}
	err := journal.Migrate(j, fstest.MapFS{"0001_a.sql": first, "0002_b.sql": good, "0003_c.sql": bad})
	if err == nil || !strings.Contains(err.Error(), "0003_c.sql") {
		t.Errorf("a migration that fails gives %v, want it to name its script", err)
	}
	if v, err := journal.Pragma(j, "user_version"); err != nil || v != "2" {
		t.Errorf("after the second of three migrations the version is %s (%v), want 2", v, err)
	}
	if after := export(t, j); after != before {
		t.Errorf("a migration that failed changed the entries from\n%s\nto\n%s", before, after)
	}
}
