package chart_test

import (
	"io"
	"testing"
	"time"

	"stumble/misfire"
	"stumble/views/report/chart"
)

// BenchmarkStrip draws a drive of ten hours beside one of one: no more than its seconds are looked at ten times as
// often, what is painted stays the same.
func BenchmarkStrip(b *testing.B) {
	per := make(map[int]time.Duration)
	for _, hours := range []int{1, 10} {
		drive := chart.Drive{Moments: moments(hours*3600, 6, 20), Cylinders: 6}
		b.Run(map[int]string{1: "1 hour", 10: "10 hours"}[hours], func(b *testing.B) {
			benchmark(b, func() *chart.Chart { return words().Strip(drive, chart.Wide) })
			per[hours] = b.Elapsed() / time.Duration(b.N)
			if per[1] > 0 && hours > 1 {
				b.ReportMetric(float64(per[hours])/float64(per[1]), "x-1-hour")
			}
		})
	}
}

func BenchmarkOthers(b *testing.B) {
	b.Run("rates", func(b *testing.B) { benchmark(b, func() *chart.Chart { return words().Rates(rates(), 1, chart.Wide) }) })
	b.Run("ratios", func(b *testing.B) { benchmark(b, func() *chart.Chart { return words().Ratios(ratios(), chart.Wide) }) })
	b.Run("map", func(b *testing.B) { benchmark(b, func() *chart.Chart { return words().Map(spots(), chart.Wide) }) })
}

func benchmark(b *testing.B, draw func() *chart.Chart) {
	for b.Loop() {
		if err := draw().WriteSVG(io.Discard); err != nil {
			b.Fatal(err)
		}
	}
}

// FuzzStrip: whatever a drive holds, its strip is drawn.
func FuzzStrip(f *testing.F) {
	f.Add([]byte{1, 2, 3, 4}, uint8(4), uint16(60))
	f.Fuzz(func(t *testing.T, raw []byte, cylinders uint8, step uint16) {
		var drive []misfire.Moment
		for i := 0; i+3 < len(raw); i += 4 {
			m := misfire.Moment{
				At: start.Add(time.Duration(i) * time.Duration(step) * time.Second), Gear: 0, RPM: 40 * float64(raw[i]), Load: float64(raw[i+1]) - 20,
			}
			m.Misses[int(raw[i+2])%16] = uint16(raw[i+3]) << 6
			drive = append(drive, m)
		}
		c := words().Strip(chart.Drive{Moments: drive, Cylinders: int(cylinders)}, chart.Wide)
		if c == nil {
			return
		}
		if err := c.WriteSVG(io.Discard); err != nil {
			t.Fatal(err)
		}
	})
}
