package viewstest

import (
	"flag"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// RequireGolden compares with a file of testdata, or rewrites it with -update.
func RequireGolden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join(root(t), "testdata", "screens", name)
	if *update {
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
		return
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err, "run the test with -update to make it")
	require.Equal(t, string(want), got)
}

// root is the folder of the module.
func root(t testing.TB) string {
	t.Helper()
	dir, err := os.Getwd()
	require.NoError(t, err)
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		require.NotEqual(t, dir, filepath.Dir(dir), "no go.mod above the test")
		dir = filepath.Dir(dir)
	}
}
