//go:build linux

package journal_test

import (
	"os"
	"os/signal"
	"path/filepath"
	"strconv"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
)

// limitFiles lets this process write files of no more than size bytes.
func limitFiles(size string) error {
	n, err := strconv.ParseUint(size, 10, 63)
	if err != nil {
		return err
	}
	signal.Ignore(syscall.SIGXFSZ)
	var l syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_FSIZE, &l); err != nil {
		return err
	}
	l.Cur = n
	return syscall.Setrlimit(syscall.RLIMIT_FSIZE, &l)
}

// readOnly takes away the right to write, from root too.
func readOnly(t *testing.T, path string) (unlock func()) {
	t.Helper()
	require.NoError(t, os.Chmod(path, 0o444))
	require.NoError(t, os.Chmod(filepath.Dir(path), 0o555))
	writable := func() { os.Chmod(filepath.Dir(path), 0o755) }
	if os.Getuid() != 0 {
		return writable
	}
	// root may write whatever the mode says, unless the file system may not
	// be written to at all.
	dir := filepath.Dir(path)
	if err := syscall.Mount(dir, dir, "", syscall.MS_BIND, ""); err != nil {
		writable()
		t.Skipf("root may write anywhere, and mounts are not allowed: %v", err)
	}
	if err := syscall.Mount("", dir, "", syscall.MS_BIND|syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
		syscall.Unmount(dir, 0)
		writable()
		t.Skipf("root may write anywhere, and read-only mounts are not allowed: %v", err)
	}
	return func() {
		syscall.Unmount(dir, syscall.MNT_DETACH)
		writable()
	}
}
