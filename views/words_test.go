package views

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/misfire/rate"
	"stumble/views/say"
)

func TestUnitsOfARate(t *testing.T) {
	some := misfire.Cell{Estimate: rate.Interval(31, 1000, 1)} // limits 21.2 and 43.7 (Clopper-Pearson)
	none := misfire.Cell{Estimate: rate.Interval(0, 1000, 1)}  // upper limit 3.68
	many := misfire.Cell{Estimate: rate.AtLeast(65535, 131070, 1)}
	for _, tc := range []struct {
		unit         Unit
		cell         *misfire.Cell
		rate, limits string
	}{
		{perThousand, &some, "31.0", "21-44"},
		{perThousand, &none, "0", "0-3.7"},
		{perThousand, &many, "500", "over 497"},
		{Percent, &some, "3.1%", "2.1-4.4"},
		{Percent, &none, "0%", "0-0.4"},
		{OneIn, &some, "1 in 32", "23-47"},
		{OneIn, &none, "none", "over 272"},
		{Counted, &some, "31/1,000", ""},
		{Counted, &many, "66k/131k", ""},
	} {
		assert.Equal(t, tc.rate, tc.unit.Rate(tc.cell))
		assert.Equal(t, tc.limits, tc.unit.Limits(tc.cell), "%s %s", tc.unit.Name(), tc.rate)
	}
}

func TestNumbersInWords(t *testing.T) {
	for v, want := range map[float64]string{
		0: "0", 0.026: "0.03", 0.5: "0.5", 99.94: "99.9", 99.96: "100", 1234: "1,234", 38412: "38k", 1.2e6: "1.2M", 48e6: "48M",
	} {
		assert.Equal(t, want, Digits(v))
	}
	for v, want := range map[float64]string{0: "0", 0.02: "0.0", 3.68: "3.7", 9.96: "10", 43.7: "44"} {
		assert.Equal(t, want, brief(v))
	}
	nan, inf := math.NaN(), math.Inf(1)
	assert.Equal(t, []string{"-", "-", "-", "-", "-", "any", "-"},
		[]string{Digits(nan), brief(nan), Short(nan), say.Grouped(nan), say.Rounded(nan), Short(inf), Share(nan)})
	assert.Equal(t, []string{"1", "999", "1,000", "1,234,568", "-12,345"},
		[]string{say.Grouped(1), say.Grouped(999), say.Grouped(1000), say.Grouped(1234567.6), say.Grouped(-12345)})
	assert.Equal(t, "0", say.Rounded(-0.2))
	assert.Equal(t, []string{"00:00", "02:10", "75:01", "-00:05"},
		[]string{Minutes(0), Minutes(130 * time.Second), Minutes(75*time.Minute + 900*time.Millisecond), Minutes(-5 * time.Second)})
}

func TestCadence(t *testing.T) {
	for kind, want := range map[misfire.RefreshKind]string{
		misfire.RefreshUnknown: "how often counts move is not known yet", misfire.RefreshAtOnce: "counts move with each miss",
		misfire.RefreshRevolutions: "counts move every 1,000 revolutions", misfire.RefreshSeconds: "counts move every 2.5 seconds",
	} {
		assert.Equal(t, want, Cadence(misfire.Refresh{Kind: kind, Revolutions: 1000, Seconds: 2.5})[0])
	}
}

func TestGearWords(t *testing.T) {
	for want, call := range map[string]gear.Call{
		"D, marked":                {State: gear.Drive, Origin: gear.Marked},
		"moving, gear 3, reported": {State: gear.Moving, Number: 3, Origin: gear.Reported},
		"P/N, inferred":            {State: gear.ParkNeutral, Origin: gear.Inferred},
		"R, nobody says":           {State: gear.Reverse},
		"gear not known":           {},
	} {
		assert.Equal(t, want, GearWords(call)[0])
	}
}

func TestAges(t *testing.T) {
	of := func(ages ...time.Duration) *misfire.Summary {
		return &misfire.Summary{Live: misfire.Live{CountAge: ages}}
	}
	all, oldest := Ages(of(300*time.Millisecond, -1, 12*time.Second))
	assert.Equal(t, "counts 0.3 - 12 s old", all)
	assert.Equal(t, "counts to 12 s old, 1 never read", oldest)
	all, oldest = Ages(of(-1, -1))
	assert.Equal(t, "no counts read yet", all)
	assert.Equal(t, "no counts", oldest)
}
