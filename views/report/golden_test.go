package report

import (
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// intakes are all cars that the tests of this package look at.
func intakes(t testing.TB) map[string]*obd.Intake {
	return map[string]*obd.Intake{
		"wren": wrenIntake(t), "curlew": curlewIntake(t), "rook": rookIntake(t), "sixteen": sixteenIntake(t),
		"healthy": healthyIntake(t), "empty": {},
	}
}

// golden compares with a file of testdata/reports, or rewrites it.
func golden(t *testing.T, name, got string) {
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
	for name, i := range intakes(t) {
		t.Run(name, func(t *testing.T) {
			at := 80
			if w, ok := widths[name]; ok {
				at = w
			}
			golden(t, "intake-"+name+".txt", text(t, func(b *strings.Builder) error { return WriteIntake(b, i, at) }))
			golden(t, "codes-"+name+".txt", text(t, func(b *strings.Builder) error { return WriteCodes(b, &i.CodeReport, at) }))
			golden(t, "intake-"+name+".json", indented(t, IntakeObject(i)))
			golden(t, "codes-"+name+".json", indented(t, CodesObject(&i.CodeReport)))
		})
	}
}

func indented(t *testing.T, v any) string {
	out, err := json.MarshalIndent(v, "", "  ")
	require.NoError(t, err)
	return string(out) + "\n"
}

// No line is ever wider than asked for, whatever the car says of itself.
func TestWidth(t *testing.T) {
	for name, i := range intakes(t) {
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

func TestObjectsRoundTrip(t *testing.T) {
	for name, i := range intakes(t) {
		raw, err := json.Marshal(IntakeObject(i))
		require.NoError(t, err, name)
		var back Intake
		require.NoError(t, json.Unmarshal(raw, &back), name)
		assert.Equal(t, IntakeObject(i), back, name)
		raw, err = json.Marshal(CodesObject(&i.CodeReport))
		require.NoError(t, err, name)
		var codes Codes
		require.NoError(t, json.Unmarshal(raw, &codes), name)
		assert.Equal(t, CodesObject(&i.CodeReport), codes, name)
	}
}
