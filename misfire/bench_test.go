package misfire_test

import (
	"fmt"
	"testing"
	"time"

	"stumble/misfire"
)

// BenchmarkAdd is one sample, in the first minute of a drive and after hours of it: the ratio is to be near 1.
func BenchmarkAdd(b *testing.B) {
	samples := hour(b)
	minute := samples[:len(samples)/60]
	for _, hours := range []int{0, 1, 24} {
		b.Run(fmt.Sprintf("after %d hours", hours), func(b *testing.B) {
			tally := misfire.NewTally(misfire.Config{})
			for h := range hours {
				play(tally, samples, time.Duration(h)*time.Hour)
			}
			later := time.Duration(hours) * time.Hour
			b.ReportAllocs()
			for b.Loop() {
				play(tally, minute, later)
				later += time.Minute
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(minute)), "ns/sample")
		})
	}
}

func BenchmarkLook(b *testing.B) {
	samples := hour(b)
	for _, hours := range []int{0, 1, 24} {
		tally := misfire.NewTally(misfire.Config{})
		play(tally, samples[:len(samples)/60], 0)
		for h := range hours {
			play(tally, samples, time.Duration(h)*time.Hour)
		}
		b.Run(fmt.Sprintf("glance after %d hours", hours), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				tally.Glance()
			}
		})
		b.Run(fmt.Sprintf("summary after %d hours", hours), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				tally.Summary()
			}
		})
	}
}
