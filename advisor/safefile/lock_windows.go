package safefile

import (
	"errors"
	"os"
	"syscall"
	"unsafe"
)

var lockFileEx = syscall.NewLazyDLL("kernel32.dll").NewProc("LockFileEx")

// Of LockFileEx.
const (
	failImmediately = 1
	exclusive       = 2
	lockViolation   = syscall.Errno(33)
)

// tryLock takes the lock of an open file unless somebody else has it. It ends
// when the file is closed.
func tryLock(f *os.File) (bool, error) {
	var at syscall.Overlapped
	ok, _, err := lockFileEx.Call(f.Fd(), exclusive|failImmediately, 0, 1, 0, uintptr(unsafe.Pointer(&at)))
	switch {
	case ok != 0:
		return true, nil
	case errors.Is(err, lockViolation), errors.Is(err, syscall.ERROR_IO_PENDING):
		return false, nil
	}
	return false, err
}
