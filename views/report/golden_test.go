package report

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"stumble/obd"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// Intakes are all cars that the tests of this package look at.
func Intakes(t testing.TB) map[string]*obd.Intake {
	return map[string]*obd.Intake{
		"wren": wrenIntake(t), "curlew": curlewIntake(t), "rook": rookIntake(t), "sixteen": sixteenIntake(t),
		"healthy": healthyIntake(t), "empty": {},
	}
}

// Golden compares with a file of testdata/reports, or rewrites it.
func Golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("..", "..", "testdata", "reports", name)
	if *update {
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
		return
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err, "run with -update to write it")
	require.Equal(t, string(want), got)
}

func TestGolden(t *testing.T) {
	widths := map[string]int{"curlew": 72, "sixteen": 132}
	for name, i := range Intakes(t) {
		t.Run(name, func(t *testing.T) {
			at := 80
			if w, ok := widths[name]; ok {
				at = w
			}
			Golden(t, "intake-"+name+".txt", text(t, func(b *strings.Builder) error { return WriteIntake(b, i, at) }))
			Golden(t, "codes-"+name+".txt", text(t, func(b *strings.Builder) error { return WriteCodes(b, &i.CodeReport, at) }))
		})
	}
}

// No line is ever wider than asked for, whatever the car says of itself.
func TestWidth(t *testing.T) {
	for name, i := range Intakes(t) {
		for w := least; w <= 140; w++ {
			for _, page := range []string{
				text(t, func(b *strings.Builder) error { return WriteIntake(b, i, w) }),
				text(t, func(b *strings.Builder) error { return WriteCodes(b, &i.CodeReport, w) }),
			} {
				for line := range strings.Lines(page) {
					line = strings.TrimSuffix(line, "\n")
					require.LessOrEqual(t, width(line), w, "%s at %d: %q", name, w, line)
					require.Equal(t, strings.TrimRight(line, " "), line, name)
					require.NotContains(t, line, "\x1b", name)
				}
			}
		}
	}
}
