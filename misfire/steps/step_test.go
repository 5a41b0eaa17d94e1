package steps

import (
	"math"
	"strings"
	"testing"

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

	for text, says := range map[string]string{
		"park,neutral": `there is no step "neutral"; choose from park,drive,reverse,raised,cruise,pull`,
		"park,":        `there is no step ""`,
		"park,park":    `step "park" is named twice`,
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
	off := parked()
	off.Running = false
	blind := parked()
	blind.Speed, blind.Load = math.NaN(), math.NaN()
	for _, c := range []struct {
		name, key string
		live      misfire.Live
		want      string
	}{
		{"parked", "park", parked(), ""},
		{"nothing known but speed of the engine and gear", "park", blind, ""},
		{"engine off", "park", off, "start the engine in Park"},
		{"pedal", "park", live(gear.ParkNeutral, 1500, 22, 0), "foot off the pedal"},
		{"Drive for Park", "park", inDrive(), "select Park or Neutral"},
		{"Reverse stays marked", "park", inR(), "select Park or Neutral, then mark it: press p"},
		{"gear not known", "park", live(gear.Unknown, 750, 22, 0), "select Park or Neutral, then mark it: press p"},
		{"on the road", "park", cruising(), "stop, and hold the brake"},
		{"in Drive", "drive", inDrive(), ""},
		{"Park for Drive", "drive", parked(), "hold the brake, select Drive"},
		{"Reverse for Drive", "drive", inR(), "hold the brake, select Drive, then mark it: press d"},
		{"creeping in Drive", "drive", live(gear.Drive, 750, 34, 2), "stop, and hold the brake"},
		{"stalling", "drive", live(gear.Drive, 1800, 70, 0), "foot off the pedal"},
		{"in Reverse", "reverse", inR(), ""},
		{"Drive for Reverse: no car tells them apart", "reverse", inDrive(), "hold the brake, select Reverse, then mark it: press r"},
		{"raised", "raised", raised(), ""},
		{"not raised", "raised", parked(), "a little more gas: 2,500 rpm are wanted"},
		{"raced", "raised", live(gear.ParkNeutral, 3000, 30, 0), "a little less gas: 2,500 rpm are wanted"},
		{"cruising", "cruise", cruising(), ""},
		{"slow", "cruise", live(gear.Moving, 1500, 30, 30), "drive a little faster: 60 to 80 km/h are wanted"},
		{"fast", "cruise", live(gear.Moving, 3000, 50, 120), "drive a little slower: 60 to 80 km/h are wanted"},
		{"pulling in the cruise", "cruise", pulling(), "less gas: keep the speed steady"},
		{"at rest in the cruise", "cruise", inDrive(), "drive a steady 60 to 80 km/h on a level road"},
		{"pulling", "pull", pulling(), ""},
		{"cruising in the pull", "pull", cruising(), "more gas: pull"},
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
		require.Empty(t, step(t, key).Wrong(&l))
		assert.True(t, step(t, key).Has(c), "%s in %s", key, c)
	}
}

func TestCautions(t *testing.T) {
	words := func(keys string) string {
		plan, err := Parse(keys)
		require.NoError(t, err)
		return strings.Join(Cautions(plan), "\n")
	}
	assert.Contains(t, words("park"), "Carbon monoxide")
	assert.NotContains(t, words("park"), "chocks")
	assert.Contains(t, words("reverse"), "chocks at both sides")
	assert.NotContains(t, words("reverse"), "the driver drives")
	assert.Contains(t, words("pull"), "the driver drives, a second person reads")
	for _, s := range All() {
		for _, c := range s.Cautions {
			assert.LessOrEqual(t, len(c), 70, "one line of a small screen: %s", c)
		}
	}
}
