package chart_test

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/misfire/rate"
	"stumble/views/report/chart"
)

var start = time.Date(2026, 3, 4, 9, 30, 0, 0, time.UTC)

// estimate is a rate as the tally tells it.
func estimate(cylinder int, s gear.State, misses, firings float64) chart.Rate {
	e := rate.Interval(misses, firings, 1)
	return chart.Rate{Cylinder: cylinder, Gear: s, Rate: e.Rate, Low: e.Low, High: e.High}
}

// rates are those of a Wren with a broken wire, before its repair.
func rates() []chart.Rate {
	return []chart.Rate{
		estimate(1, gear.ParkNeutral, 0, 2400), estimate(1, gear.Drive, 1, 3000), estimate(1, gear.Reverse, 0, 400), estimate(1, gear.Moving, 2, 24000),
		estimate(2, gear.ParkNeutral, 5, 2400), estimate(2, gear.Drive, 93, 3000), estimate(2, gear.Reverse, 11, 400), estimate(2, gear.Moving, 1100, 24000),
		estimate(3, gear.ParkNeutral, 0, 2400), estimate(3, gear.Drive, 0, 3000), estimate(3, gear.Reverse, 0, 400), estimate(3, gear.Moving, 0, 24000),
		{Cylinder: 4, Gear: gear.ParkNeutral, Rate: math.NaN(), Low: math.NaN(), High: math.NaN()},
	}
}

// moments are a made-up drive: gear states in turn, misses by chance of one in so many seconds, a hole after 100 s.
func moments(seconds, cylinders, rare int) []misfire.Moment {
	random := rand.New(rand.NewPCG(1, uint64(seconds)))
	turn := []gear.State{gear.ParkNeutral, gear.Drive, gear.Moving, gear.Drive, gear.Reverse, gear.Moving}
	var drive []misfire.Moment
	for t := range seconds {
		s := turn[t/47%len(turn)]
		m := misfire.Moment{At: start.Add(time.Duration(t) * time.Second), Gear: s, RPM: 750 + 20*random.NormFloat64(), Load: 24}
		if s == gear.Moving {
			m.RPM, m.Load = 1900+600*math.Sin(float64(t)/17), 50+25*math.Sin(float64(t)/11)
			m.Unmonitored = m.Load < 30
		}
		for c := range cylinders {
			if random.IntN(rare) == 0 {
				m.Misses[c] = uint16(1 + random.IntN(150))
			}
		}
		if t < 100 || t > 111 {
			drive = append(drive, m)
		}
	}
	return drive
}

func marks(n int, every time.Duration) (at []time.Time) {
	for i := range n {
		at = append(at, start.Add(time.Duration(i)*every))
	}
	return at
}

// words are short ones, and long ones for the parts that must give way to them.
func words() *chart.Words {
	return &chart.Words{
		Gear: func(s gear.State) string {
			if s == gear.ParkNeutral {
				return "Park or Neutral"
			}
			return s.String()
		},
		Rate:  func(v float64) string { return strconv.FormatFloat(v, 'f', 1, 64) },
		Of:    func(misses, firings float64) string { return fmt.Sprintf("%.0f in %.0f", misses, firings) },
		Under: func(limit string) string { return "under " + limit },
		Range: func(low, high string) string { return low + " to " + high },
		More:  func(low string) string { return low + " or more" },
		None:  "none", Cylinder: "cylinder", PerThousand: "misses per 1,000 firings", Limits: "bars: 95 % limits",
		Healthy: func(limit string) string { return "healthy up to " + limit }, NoCount: "no\ncount",
		RPM: "rpm", Load: "load %", Marked: "marks", NotJudged: "not judged", Spread: "mean, least and most",
		Ticks: "misses counted: 1, 10, 100 or more", NotRecorded: "blank: nothing recorded",
		Minutes: "time since the start, min:s", Hours: "time since the start, h:min",
		EachTick: func(s int) string { return fmt.Sprintf("one tick for each %d s", s) },
		Ratio:    "misses after the repair for each one before, at equal running", Fewer: "fewer after", Most: "more after",
		Speed: "engine speed, rpm", LoadBand: "load", TooLittle: "too little running: misses in firings",
	}
}

func ratios() []chart.Ratio {
	unknown := math.NaN()
	return []chart.Ratio{
		{Label: "Cylinder 2: D, 20-40 %, under 1000 rpm, warm", Text: "0 (0 to 0.018)", Ratio: 0, Low: 0, High: 0.018},
		{Label: "Cylinder 2: moving, 40-60 %, 1500-2000 rpm, warm", Text: "0.030 (0.010 to 0.090)", Ratio: 0.03, Low: 0.01, High: 0.09},
		{Label: "Cylinder 2: R, 20-40 %, under 1000 rpm, warm", Text: "0.80 (0.20 to 4.5)", Ratio: 0.8, Low: 0.2, High: 4.5},
		{Label: "Cylinder 3: P/N, 0-20 %, under 1000 rpm, warm", Text: "none before: at least 0.50", Ratio: math.Inf(1), Low: 0.5, High: math.Inf(1)},
		{Label: "Cylinder 4: P/N", Text: "not compared", Ratio: unknown, Low: unknown, High: unknown},
		{Label: "Cylinder 2, all together", Text: "0.020 (0.0080 to 0.050)", Ratio: 0.02, Low: 0.008, High: 0.05, Overall: true},
	}
}

func spots() (all []chart.Spot) {
	for load := range misfire.LoadBands {
		for rpm := range misfire.RPMBands {
			firings := float64((3000 - 240*load) * (1 + rpm))
			misses := math.Floor(firings * math.Pow(float64(load*rpm), 2) / 8000)
			s := chart.Spot{
				Load: misfire.LoadBand(load), RPM: misfire.RPMBand(rpm), Misses: misses, Firings: firings,
				Rate: 1000 * misses / firings, Thin: firings < 1500,
			}
			if load+rpm < 7 {
				all = append(all, s)
			}
		}
	}
	return all
}

// all are charts of every kind, with much in them and with little, wide and narrow.
var all = sync.OnceValue(func() map[string]*chart.Chart {
	many := make([]chart.Rate, 0, 80)
	for cylinder := 1; cylinder <= 16; cylinder++ {
		for i, s := range []gear.State{gear.ParkNeutral, gear.Reverse, gear.Drive, gear.Moving, gear.Unknown} {
			many = append(many, estimate(cylinder, s, float64((cylinder*7+i*13)%40), float64(500*(i+1))))
		}
	}
	many[22].High = math.Inf(1)
	long := chart.Drive{Moments: moments(36000, 16, 5), Cylinders: 16, Marks: marks(500, 71*time.Second), Uncounted: []int{1, 99}}
	short := chart.Drive{Moments: moments(600, 4, 9), Cylinders: 4, Marks: marks(8, time.Minute)}
	wordy := words()
	wordy.Gear = func(s gear.State) string { return "a gear state with a very long name, " + s.String() }
	wordy.NotJudged, wordy.NoCount = "what may not have been judged", "the car does not\ncount this one"
	return map[string]*chart.Chart{
		"strip-wordy": wordy.Strip(long, chart.Narrow), "rates-wordy": wordy.Rates(rates(), 1, chart.Wide),
		"rates": words().Rates(rates(), 1, chart.Wide), "rates-narrow": words().Rates(rates(), 1, chart.Narrow),
		"rates-many": words().Rates(many, 1, chart.Wide), "rates-one": words().Rates(rates()[8:9], 1, chart.Wide),
		"strip": words().Strip(short, chart.Wide), "strip-narrow": words().Strip(short, chart.Narrow),
		"strip-long": words().Strip(long, chart.Wide), "strip-second": words().Strip(chart.Drive{Moments: moments(1, 4, 1), Cylinders: 4}, chart.Wide),
		"ratios": words().Ratios(ratios(), chart.Wide), "ratios-narrow": words().Ratios(ratios(), chart.Narrow),
		"map": words().Map(spots(), chart.Wide), "map-narrow": words().Map(spots(), chart.Narrow),
		"map-thin": words().Map(spots()[len(spots())-1:], chart.Narrow),
	}
})

func svg(t testing.TB, c *chart.Chart) string {
	t.Helper()
	require.NotNil(t, c)
	var b bytes.Buffer
	require.NoError(t, c.WriteSVG(&b))
	return b.String()
}
