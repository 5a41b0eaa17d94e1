package journal_test

import (
	"fmt"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
)

// smallDisk mounts a file system of some KiB. Only root may; others skip the test.
func smallDisk(t *testing.T, kib int) string {
	t.Helper()
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, fmt.Sprintf("size=%dk", kib)); err != nil {
		t.Skipf("a small disk cannot be mounted here: %v", err)
	}
	t.Cleanup(func() { require.NoError(t, syscall.Unmount(dir, syscall.MNT_DETACH)) })
	return dir
}

// forbidWriting makes a folder read-only until the returned function is called: by its permissions, and for root, who
// is above them, by mounting it so.
func forbidWriting(t *testing.T, dir string) func() {
	t.Helper()
	if os.Geteuid() != 0 {
		require.NoError(t, os.Chmod(dir, 0o500))
		mend := func() { require.NoError(t, os.Chmod(dir, 0o700)) }
		t.Cleanup(mend)
		return mend
	}
	if err := syscall.Mount(dir, dir, "", syscall.MS_BIND, ""); err != nil {
		t.Skipf("root cannot mount here: %v", err)
	}
	t.Cleanup(func() { require.NoError(t, syscall.Unmount(dir, syscall.MNT_DETACH)) })
	remount := func(flags uintptr) {
		require.NoError(t, syscall.Mount("", dir, "", syscall.MS_BIND|syscall.MS_REMOUNT|flags, ""))
	}
	remount(syscall.MS_RDONLY)
	return func() { remount(0) }
}

// fillDisk writes until nothing more goes.
func fillDisk(t *testing.T, path string) {
	t.Helper()
	f, err := os.Create(filepath.Clean(path))
	require.NoError(t, err)
	defer f.Close()
	for size := 4096; size >= 1; size /= 2 {
		for {
			if _, err := f.Write(make([]byte, size)); err != nil {
				break
			}
		}
	}
}
