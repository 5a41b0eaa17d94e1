package report

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"stumble/obd"
)

// Whatever a car and an adapter call themselves, no line is wider than asked for.
func FuzzForeignNames(f *testing.F) {
	for _, s := range scripts {
		f.Add(s.name, 0)
	}
	f.Add(strings.Repeat("long", 100), 32)
	f.Add("\u0301\u200d👩\u200d", 92)
	f.Fuzz(func(t *testing.T, name string, extra int) {
		w := least + int(uint(extra)%100)
		i := &obd.Intake{Adapter: name, VIN: name, CodeReport: obd.CodeReport{Unread: []string{name}},
			Modules: []obd.ModuleIntake{{Module: engine, Calibrations: []string{name, name}, CVNs: []obd.CVN{1}, Name: name}}}
		page := text(t, func(b *strings.Builder) error { return WriteIntake(b, i, w) })
		for line := range strings.Lines(page) {
			require.LessOrEqual(t, width(strings.TrimSuffix(line, "\n")), w, "%q", line)
		}
	})
}
