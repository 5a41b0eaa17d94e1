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
		unit         unit
		cell         *misfire.Cell
		rate, limits string
	}{
		{perThousand, &some, "31.0", "21-44"},
		{perThousand, &none, "0", "0-3.7"},
		{perThousand, &many, "500", "over 497"},
		{percent, &some, "3.1%", "2.1-4.4"},
		{percent, &none, "0%", "0-0.4"},
		{oneIn, &some, "1 in 32", "23-47"},
		{oneIn, &none, "none", "over 272"},
		{counted, &some, "31/1,000", ""},
		{counted, &many, "66k/131k", ""},
	} {
		assert.Equal(t, tc.rate, tc.unit.rate(tc.cell))
		assert.Equal(t, tc.limits, tc.unit.limits(tc.cell), "%s %s", tc.unit.name(), tc.rate)
	}
}

func TestNumbersInWords(t *testing.T) {
	for v, want := range map[float64]string{
		0: "0", 0.026: "0.03", 0.5: "0.5", 99.94: "99.9", 99.96: "100", 1234: "1,234", 38412: "38k", 1.2e6: "1.2M", 48e6: "48M",
	} {
		assert.Equal(t, want, digits(v))
	}
	for v, want := range map[float64]string{0: "0", 0.02: "0.0", 3.68: "3.7", 9.96: "10", 43.7: "44"} {
		assert.Equal(t, want, brief(v))
	}
	nan, inf := math.NaN(), math.Inf(1)
	assert.Equal(t, []string{"-", "-", "-", "-", "-", "any", "-"},
		[]string{digits(nan), brief(nan), short(nan), say.Grouped(nan), say.Rounded(nan), short(inf), share(nan)})
	assert.Equal(t, []string{"1", "999", "1,000", "1,234,568", "-12,345"},
		[]string{say.Grouped(1), say.Grouped(999), say.Grouped(1000), say.Grouped(1234567.6), say.Grouped(-12345)})
	assert.Equal(t, "0", say.Rounded(-0.2))
	assert.Equal(t, []string{"00:00", "02:10", "75:01", "-00:05"},
		[]string{minutes(0), minutes(130 * time.Second), minutes(75*time.Minute + 900*time.Millisecond), minutes(-5 * time.Second)})
}

func TestCadence(t *testing.T) {
	for kind, want := range map[misfire.RefreshKind]string{
		misfire.RefreshUnknown: "how often counts move is not known yet", misfire.RefreshAtOnce: "counts move with each miss",
		misfire.RefreshRevolutions: "counts move every 1,000 revolutions", misfire.RefreshSeconds: "counts move every 2.5 seconds",
	} {
		assert.Equal(t, want, cadence(misfire.Refresh{Kind: kind, Revolutions: 1000, Seconds: 2.5})[0])
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
		assert.Equal(t, want, gearWords(call)[0])
	}
}

func TestAges(t *testing.T) {
	of := func(ages ...time.Duration) *misfire.Summary {
		return &misfire.Summary{Live: misfire.Live{CountAge: ages}}
	}
	all, oldest := ages(of(300*time.Millisecond, -1, 12*time.Second))
	assert.Equal(t, "counts 0.3 - 12 s old", all)
	assert.Equal(t, "counts to 12 s old, 1 never read", oldest)
	all, oldest = ages(of(-1, -1))
	assert.Equal(t, "no counts read yet", all)
	assert.Equal(t, "no counts", oldest)
}

func TestText(t *testing.T) {
	assert.Equal(t, []string{"one two", "three"}, wrap("one  two three", 8))
	assert.Equal(t, []string{"a", "abcdef", "gh b"}, wrap("a abcdefgh b", 6))
	assert.Equal(t, []string{"日本", "語"}, wrap("日本語", 4))
	assert.Empty(t, wrap("日本", 1))
	assert.Empty(t, wrap("word", 0))
	assert.Equal(t, []string{"abc…", "abcd", "", "日…"}, []string{cut("abcde", 4, '…'), cut("abcd", 4, '…'), cut("abc", 0, '…'), cut("日本語", 4, '…')})
	assert.Equal(t, []string{"cde", "本語"}, []string{tail("abcde", 3), tail("日本語", 5)})
	assert.Equal(t, []string{"long", "mid", "s"}, []string{longest(4, "long", "mid", "s"), longest(3, "long", "mid", "s"), longest(0, "long", "mid", "s")})
}

func TestFit(t *testing.T) {
	fields := []field{
		{words: []string{"gear"}},
		{words: []string{"coolant 88", "88", ""}, rank: 2},
		{words: []string{"elapsed 04:31", "04:31"}, rank: 1},
	}
	for w, want := range map[int][]string{
		40: {"gear", "coolant 88", "elapsed 04:31"},
		23: {"gear", "88", "elapsed 04:31"},
		19: {"gear", "", "elapsed 04:31"},
		18: {"gear", "", "04:31"},
		11: {"gear", "", "04:31"},
		10: {"gear", "", ""},
		5:  {"gear", "", ""},
	} {
		assert.Equal(t, want, fit(fields, w, 2), w)
	}
	assert.Empty(t, fit(nil, 5, 2))
	twins := []field{{words: []string{"aaaa", "aa", "a"}, rank: 1}, {words: []string{"bbbb", "bb", "b"}, rank: 1}}
	assert.Equal(t, []string{"aa", "bb"}, fit(twins, 5, 1), "equals give way in turn")
}
