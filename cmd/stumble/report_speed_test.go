package main

import (
	"io"
	"testing"

	"github.com/stretchr/testify/require"

	"stumble/misfire/job"
	"stumble/misfire/journal"
	"stumble/obd/clock"
	"stumble/views/report"
)

// What the report of two drives of an hour costs: to gather, which is to count both, and to write in each form; beside
// it, playing the drives alone.
func BenchmarkReport(b *testing.B) {
	path := hours(b)
	j, _, err := journal.Open(path, journal.Options{})
	require.NoError(b, err)
	defer j.Close()
	var out, errs buffer
	a := program(b.Context(), clock.NewStepped(morning()), &out, &errs)
	var baseline float64
	run := func(name string, work func()) {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				work()
			}
			each := float64(b.Elapsed()) / float64(b.N)
			if name == "played" {
				baseline = each
			} else if baseline > 0 {
				b.ReportMetric(each/baseline, "of-playing")
			}
		})
	}
	run("played", func() {
		for _, drive := range []int64{1, 2} {
			d, err := (&job.Options{}).Drive(j, drive)
			require.NoError(b, err)
			_, err = d.Summarise(b.Context())
			require.NoError(b, err)
		}
	})
	var c *report.Case
	gather := func() {
		var err error
		c, err = a.reported(j, 1)
		require.NoError(b, err)
	}
	gather()
	run("gathered", gather)
	run("text", func() { require.NoError(b, report.Compose(c, report.Options{}).WriteText(io.Discard, 72)) })
	run("html", func() { require.NoError(b, report.Compose(c, report.Options{}).WriteHTML(io.Discard)) })
	run("pdf", func() { require.NoError(b, report.Compose(c, report.Options{}).WritePDF(io.Discard)) })
}
