package safefile

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"time"
)

// Write writes a file whole or leaves the old one, whose permissions it keeps,
// as it was.
func Write(name string, data []byte) (err error) {
	f, err := os.CreateTemp(filepath.Dir(name), "."+filepath.Base(name)+"-*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.Remove(f.Name()))
		}
	}()
	mode := fs.FileMode(0o644)
	if was, err := os.Stat(name); err == nil {
		mode = was.Mode().Perm()
	}
	_, err = f.Write(data)
	if err := errors.Join(err, f.Chmod(mode), f.Sync(), f.Close()); err != nil {
		return err
	}
	return os.Rename(f.Name(), name)
}

// patience is how long a file that somebody else holds is waited for, and pause
// how often it is looked at meanwhile.
const (
	patience = 10 * time.Second
	pause    = 5 * time.Millisecond
)

// ErrHeld is returned for a file that somebody else holds for too long.
var ErrHeld = errors.New("another kartwright is at work on it; try again")

// Update replaces a file by what change makes of it, while nobody else who uses
// Update can change it. Nothing is written if change returns an error, which is
// returned as it is, or the data that it was given. A file that is not there is
// an error.
//
// The file is held by a lock of the operating system on a file beside it, which
// ends with its process, so that a crash holds up nobody. A file system without
// locks, and a system other than Linux, macOS, BSD and Windows, has the writing
// whole but not the holding alone.
func Update(name string, change func([]byte) ([]byte, error)) (err error) {
	release, err := hold(name)
	if err != nil {
		return err
	}
	defer func() {
		if left := release(); err == nil {
			err = left
		}
	}()
	was, err := os.ReadFile(name)
	if err != nil {
		return err
	}
	now, err := change(bytes.Clone(was))
	if err != nil || bytes.Equal(was, now) {
		return err
	}
	return Write(name, now)
}

// hold waits until nobody else holds name, and holds it.
func hold(name string) (release func() error, err error) {
	if _, err := os.Stat(name); err != nil {
		return nil, err // no lock is left beside a file that is not there
	}
	beside := filepath.Join(filepath.Dir(name), "."+filepath.Base(name)+".lock")
	for end := time.Now().Add(patience); ; time.Sleep(pause) {
		f, err := os.OpenFile(beside, os.O_RDWR|os.O_CREATE, 0o600)
		if err != nil {
			return nil, err
		}
		switch got, err := tryLock(f); {
		case err != nil:
			return nil, errors.Join(err, f.Close())
		case got && same(f, beside):
			return func() error {
				if runtime.GOOS == "windows" { // which takes away only what nobody has open
					err := f.Close()
					_ = os.Remove(beside) // or the next one does
					return err
				}
				// Taken away while it is held: who waits for it sees then that it
				// waited for another one.
				return errors.Join(os.Remove(beside), f.Close())
			}, nil
		}
		if err := f.Close(); err != nil {
			return nil, err
		}
		if time.Now().After(end) {
			return nil, fmt.Errorf("%s: %w", name, ErrHeld)
		}
	}
}

// same reports whether an open file is still what its name leads to.
func same(f *os.File, name string) bool {
	a, err1 := f.Stat()
	b, err2 := os.Stat(name)
	return err1 == nil && err2 == nil && os.SameFile(a, b)
}
