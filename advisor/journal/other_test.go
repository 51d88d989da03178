//go:build !linux

package journal_test

import (
	"os"
	"testing"

	"github.com/stretchr/testify/require"
)

// limitFiles does nothing where files have no limit.
func limitFiles(string) error { return nil }

// readOnly takes away the right to write.
func readOnly(t *testing.T, path string) (unlock func()) {
	t.Helper()
	require.NoError(t, os.Chmod(path, 0o444))
	return func() { os.Chmod(path, 0o644) }
}
