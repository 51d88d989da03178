//go:build darwin || dragonfly || freebsd || linux || netbsd || openbsd

package safefile

import (
	"errors"
	"os"
	"syscall"
)

// tryLock takes the lock of an open file unless somebody else has it. It ends
// when the file is closed.
func tryLock(f *os.File) (bool, error) {
	switch err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); {
	case err == nil, errors.Is(err, errors.ErrUnsupported):
		return true, nil
	case errors.Is(err, syscall.EWOULDBLOCK), errors.Is(err, syscall.EINTR):
		return false, nil
	default:
		return false, err
	}
}
