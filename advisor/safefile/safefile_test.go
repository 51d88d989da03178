package safefile_test

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"kartwright/advisor/safefile"
)

// add counts the number in a file up, so many times, slowly enough that writers
// who do not wait for each other lose some.
func add(name string, times int) error {
	for range times {
		err := safefile.Update(name, func(was []byte) ([]byte, error) {
			n, err := strconv.Atoi(string(was))
			return []byte(strconv.Itoa(n + 1)), err
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// The test binary itself is the other programs.
func TestMain(m *testing.M) {
	if name := os.Getenv("SAFEFILE_ADD"); name != "" {
		if err := add(name, writes); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

const programs, threads, writes = 4, 4, 25

// No change is lost between programs, nor within one, and nothing is left beside
// the file.
func TestManyWriters(t *testing.T) {
	dir := t.TempDir()
	name := filepath.Join(dir, "count")
	require.NoError(t, os.WriteFile(name, []byte("0"), 0o640))
	var wg sync.WaitGroup
	for range programs {
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), "SAFEFILE_ADD="+name)
		wg.Go(func() {
			if out, err := cmd.CombinedOutput(); err != nil {
				t.Errorf("a program that writes ended with %v: %s", err, out)
			}
		})
	}
	for range threads {
		wg.Go(func() {
			if err := add(name, writes); err != nil {
				t.Errorf("a thread that writes ended with %v", err)
			}
		})
	}
	// Who reads meanwhile never finds half a file.
	for range 200 {
		data, err := os.ReadFile(name)
		if _, bad := strconv.Atoi(string(data)); err != nil || bad != nil {
			t.Errorf("a reader found %q (%v), want a whole number", data, err)
			break
		}
	}
	wg.Wait()
	data, err := os.ReadFile(name)
	require.NoError(t, err)
	if want := strconv.Itoa((programs + threads) * writes); string(data) != want {
		t.Errorf("after %d programs and %d threads with %d changes each the file counts %s, want %s", programs, threads, writes, data, want)
	}
	info, err := os.Stat(name)
	require.NoError(t, err)
	if info.Mode().Perm() != 0o640 {
		t.Errorf("the file's permissions became %v, want them kept", info.Mode().Perm())
	}
	left, err := os.ReadDir(dir)
	require.NoError(t, err)
	if len(left) != 1 {
		t.Errorf("beside the file %d others are left: %v", len(left)-1, left)
	}
}

// A file is written whole, keeps its permissions, and nothing is left beside it.
func TestWrite(t *testing.T) {
	dir := t.TempDir()
	name := filepath.Join(dir, "club.toml")
	require.NoError(t, safefile.Write(name, []byte("one")))
	require.NoError(t, os.Chmod(name, 0o600))
	require.NoError(t, safefile.Write(name, []byte("two")))
	data, err := os.ReadFile(name)
	require.NoError(t, err)
	info, err := os.Stat(name)
	require.NoError(t, err)
	left, err := os.ReadDir(dir)
	require.NoError(t, err)
	if string(data) != "two" || info.Mode().Perm() != 0o600 || len(left) != 1 {
		t.Errorf("the file holds %q with %v beside %d others, want \"two\", 0600 and none", data, info.Mode().Perm(), len(left)-1)
	}
}

// A change that fails leaves the file, and its error comes back as it is.
func TestFailedChangeWritesNothing(t *testing.T) {
	name := filepath.Join(t.TempDir(), "day.toml")
	require.NoError(t, os.WriteFile(name, []byte("as it was"), 0o644))
	slip := errors.New("slip")
	if err := safefile.Update(name, func([]byte) ([]byte, error) { return []byte("half"), slip }); err != slip {
		t.Errorf("the error is %v, want the one that the change gave", err)
	}
	data, err := os.ReadFile(name)
	require.NoError(t, err)
	if string(data) != "as it was" {
		t.Errorf("after a failed change the file holds %q", data)
	}
	if err := safefile.Update(filepath.Join(t.TempDir(), "none"), nil); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("changing a file that is not there ends with %v, want that it does not exist", err)
	}
	if err := safefile.Write(filepath.Join(t.TempDir(), "none", "day.toml"), nil); err == nil || strings.Contains(err.Error(), "remove") {
		t.Errorf("writing into a folder that is not there ends with %v, want an error about the folder", err)
	}
}
