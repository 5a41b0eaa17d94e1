package main

import (
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stumble/misfire/job"
	"stumble/misfire/journal"
)

// hours makes a journal with two drives of an hour: before and after a repair.
func hours(b *testing.B) (path string) {
	b.Helper()
	path = filepath.Join(b.TempDir(), "journal.db")
	for _, scenario := range []string{"wren", "wren-repaired"} {
		o := simulated(b, path, "watch --plain --for 1h --port sim:"+scenario)
		require.Equal(b, statusDone, o.status, o.errs)
	}
	return path
}

// What an hour's drive costs to count anew, to the last verdict, and two of them to compare; beside it, reading the
// rows of the first alone.
func BenchmarkHour(b *testing.B) {
	path := hours(b)
	perHour := make(map[string]float64)
	run := func(name string, work func()) {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				work()
			}
			each := float64(b.Elapsed()) / float64(b.N)
			perHour[name] = each
			if bare := perHour["rows"]; bare > 0 {
				b.ReportMetric(each/bare, "of-reading-its-rows")
			}
		})
	}
	j, _, err := journal.Open(path, journal.Options{})
	require.NoError(b, err)
	defer j.Close()
	run("rows", func() {
		require.NoError(b, j.Play(1, func(journal.Event) error { return nil }))
	})
	run("counted", func() {
		d, err := (&job.Options{}).Drive(j, 1)
		require.NoError(b, err)
		s, err := d.Summarise(b.Context())
		require.NoError(b, err)
		require.Greater(b, s.Running, 50*time.Minute)
	})
	run("compared", func() {
		o := stepped(b, strings.Fields("compare 1 2 --json --journal "+path)...)
		require.Equal(b, statusDone, o.status, o.errs)
	})
}
