//go:build !linux

package journal_test

import (
	"os"
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"
)

func smallDisk(t *testing.T, _ int) string {
	t.Skip("no small disk can be mounted here")
	return ""
}

func forbidWriting(t *testing.T, dir string) func() {
	t.Helper()
	if runtime.GOOS == "windows" || os.Geteuid() == 0 {
		t.Skip("a folder cannot be made read-only here")
	}
	require.NoError(t, os.Chmod(dir, 0o500))
	mend := func() { require.NoError(t, os.Chmod(dir, 0o700)) }
	t.Cleanup(mend)
	return mend
}

func fillDisk(*testing.T, string) {}
