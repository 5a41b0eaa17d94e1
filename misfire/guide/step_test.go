package guide

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/gear"
)

func TestParse(t *testing.T) {
	all, err := Parse("")
	require.NoError(t, err)
	assert.Equal(t, "park,drive,reverse,raised,cruise,pull", keys(all))

	some, err := Parse("pull, park")
	require.NoError(t, err)
	assert.Equal(t, "pull,park", keys(some))

	again, err := Parse("drive:4m,reverse:90s,drive")
	require.NoError(t, err)
	assert.Equal(t, "drive,reverse,drive", keys(again))
	assert.Equal(t, 4*time.Minute, again[0].Most)
	assert.Equal(t, 90*time.Second, again[1].Least)
	assert.Equal(t, All()[1], again[2], "without a length of its own it is as long as it needs to be")

	for text, says := range map[string]string{
		"park,neutral": `there is no step "neutral"; choose from park,drive,reverse,raised,cruise,pull`,
		"park,":        `there is no step ""`,
		"drive:fast":   `"fast" is no length for step drive`,
		"drive:":       `"" is no length for step drive`,
		"drive:5s":     "step drive cannot take 5s: give 10s to 1h",
		"drive:2h":     "step drive cannot take 2h: give 10s to 1h",
	} {
		_, err := Parse(text)
		require.Error(t, err, text)
		assert.Contains(t, err.Error(), says)
	}
}

func step(t testing.TB, key string) *Step {
	t.Helper()
	plan, err := Parse(key)
	require.NoError(t, err)
	return &plan[0]
}

func TestWrong(t *testing.T) {
	sel := func(g gear.State, mark bool) Saying { return Saying{Kind: DoSelect, Gear: g, Mark: mark} }
	off := parked()
	off.Running = false
	blind := parked()
	blind.Speed, blind.Load = math.NaN(), math.NaN()
	for _, c := range []struct {
		name, key string
		live      misfire.Live
		want      Saying
	}{
		{"parked", "park", parked(), Saying{}},
		{"nothing known but speed of the engine and gear", "park", blind, Saying{}},
		{"engine off", "park", off, told(DoStart)},
		{"pedal", "park", live(gear.ParkNeutral, 1500, 22, 0), told(DoPedal)},
		{"Drive for Park", "park", inDrive(), sel(gear.ParkNeutral, false)},
		{"Reverse stays marked", "park", inR(), sel(gear.ParkNeutral, true)},
		{"gear not known", "park", live(gear.Unknown, 750, 22, 0), sel(gear.ParkNeutral, true)},
		{"on the road", "park", cruising(), told(DoStopHold)},
		{"in Drive", "drive", inDrive(), Saying{}},
		{"Park for Drive", "drive", parked(), sel(gear.Drive, false)},
		{"Reverse for Drive", "drive", inR(), sel(gear.Drive, true)},
		{"creeping in Drive", "drive", live(gear.Drive, 750, 34, 2), told(DoStopHold)},
		{"stalling", "drive", live(gear.Drive, 1800, 70, 0), told(DoPedal)},
		{"in Reverse", "reverse", inR(), Saying{}},
		{"Drive for Reverse: no car tells them apart", "reverse", inDrive(), sel(gear.Reverse, true)},
		{"raised", "raised", raised(), Saying{}},
		{"not raised", "raised", parked(), Saying{Kind: DoMoreRevs, Value: 2500}},
		{"raced", "raised", live(gear.ParkNeutral, 3000, 30, 0), Saying{Kind: DoFewerRevs, Value: 2500}},
		{"cruising", "cruise", cruising(), Saying{}},
		{"slow", "cruise", live(gear.Moving, 1500, 30, 30), told(DoFaster)},
		{"fast", "cruise", live(gear.Moving, 3000, 50, 120), told(DoSlower)},
		{"pulling in the cruise", "cruise", pulling(), told(DoSteady)},
		{"at rest in the cruise", "cruise", inDrive(), Saying{Kind: DoStep, Step: "cruise"}},
		{"nearly off idle", "park", live(gear.ParkNeutral, 1499, 22, 0), Saying{}},
		{"the most load of a cruise", "cruise", live(gear.Moving, 2000, 59.6, 70), Saying{}},
		{"the least load of a pull, in the cruise", "cruise", live(gear.Moving, 2000, 60, 70), told(DoSteady)},
		{"the most load of a cruise, in the pull", "pull", live(gear.Moving, 2000, 59.6, 70), told(DoPull)},
		{"the least load of a pull", "pull", live(gear.Moving, 2000, 60, 70), Saying{}}, // 60 %: common practice, no source
		{"pulling", "pull", pulling(), Saying{}},
		{"cruising in the pull", "pull", cruising(), told(DoPull)},
	} {
		t.Run(c.name, func(t *testing.T) { assert.Equal(t, c.want, step(t, c.key).Wrong(&c.live)) })
	}
}

// Every condition of the tally belongs to at most one step, and what Wrong lets pass, Has finds again.
func TestHas(t *testing.T) {
	for _, g := range []gear.State{gear.Unknown, gear.ParkNeutral, gear.Drive, gear.Reverse, gear.Moving} {
		for load := range misfire.LoadBands {
			for rpm := range misfire.RPMBands {
				c := misfire.Condition{Gear: g, Load: misfire.LoadBand(load), RPM: misfire.RPMBand(rpm)}
				var in []string
				for _, s := range All() {
					if s.Has(c) {
						in = append(in, s.Key)
					}
				}
				assert.LessOrEqual(t, len(in), 1, "%s is in %v", c, in)
			}
		}
	}
	for key, l := range map[string]misfire.Live{"park": parked(), "drive": inDrive(), "reverse": inR(), "raised": raised(),
		"cruise": cruising(), "pull": pulling()} {
		c := misfire.Condition{Gear: l.Gear.State, Load: misfire.BandOfLoad(l.Load), RPM: misfire.BandOfRPM(l.RPM)}
		require.Zero(t, step(t, key).Wrong(&l))
		assert.True(t, step(t, key).Has(c), "%s in %s", key, c)
	}
}
