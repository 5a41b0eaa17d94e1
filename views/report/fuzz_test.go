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
		i := &obd.Intake{Adapter: name, VIN: name, CodeReport: obd.CodeReport{Unread: []obd.Unread{{Line: name}}},
			Modules: []obd.ModuleIntake{{Module: engine, Calibrations: []string{name, name}, CVNs: []obd.CVN{1}, Name: name}}}
		page := text(t, func(b *strings.Builder) error { return WriteIntake(b, i, w) })
		for line := range strings.Lines(page) {
			require.LessOrEqual(t, width(strings.TrimSuffix(line, "\n")), w, "%q", line)
		}
	})
}

// Whatever a shop, a car and a job are called: no line of the report is wider than asked for, and the page stays whole.
func FuzzReportNames(f *testing.F) {
	for _, s := range scripts {
		f.Add(s.name, false)
	}
	f.Add("</td></table><script>", true)
	f.Add("&amp; {1} ~ \u2066 \u2069\n- x", true)
	f.Fuzz(func(t *testing.T, name string, wide bool) {
		columns := 72
		if wide {
			columns = 132
		}
		c := older(t)
		c.Shop = Shop{Name: name, Address: name + "\n" + name}
		c.Job.Name, c.Job.Complaint, c.Job.Vehicle, c.Job.VIN = name, name, name, name
		c.Notes = []Note{{At: noon, Text: name}}
		d := &c.Drives[0]
		d.Name, d.Adapter, d.Protocol, d.Marks = name, name, name, []Mark{{At: noon, Text: name}}
		d.Moments = nil // charts take long and show no names
		d.Gaps = append(d.Gaps, Gap{From: noon, To: noon, Text: name})
		document := Compose(c, Options{})
		for line := range strings.Lines(reportText(t, document, columns)) {
			require.LessOrEqual(t, width(strings.TrimSuffix(line, "\n")), columns, "%q", line)
		}
		root := parsed(t, page(t, document))
		require.Len(t, root.find("main"), 1)
		require.Empty(t, root.find("script"))
	})
}
