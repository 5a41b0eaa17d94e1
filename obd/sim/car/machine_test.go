package car

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// settled is a running, warm car of a build, without faults, told to do one thing and given time to get there.
func settled(t testing.TB, v Vehicle, m Maneuver, wait float64) *Car {
	t.Helper()
	c, err := New(Config{Vehicle: v, Running: true, Coolant: 90}, 11, zero)
	require.NoError(t, err)
	c.Do(zero, m, 0)
	c.State(after(wait))
	return c
}

// Idle speed 550-950 rpm warm, coolant 80-110, charging 13.2-14.8 V: bands of trade-checks ("common practice, no
// source"). The other bands are what this car is meant to do.
func TestEachManeuverLooksLikeTheRoad(t *testing.T) {
	cases := []struct {
		maneuver       Maneuver
		gear           GearState
		rpmLow, rpmTop float64
		loadLow, load  float64
		speedLow, vTop float64
	}{
		{ParkIdle, ParkNeutral, 550, 950, 17, 25, 0, 0},
		{DriveIdle, DriveAtRest, 550, 900, 27, 39, 0, 0},
		{ReverseIdle, Reverse, 550, 900, 28, 40, 0, 0},
		{RaisedIdle, ParkNeutral, 2400, 2600, 18, 28, 0, 0},
		{Cruise, Moving, 1200, 2800, 20, 50, 60, 80},
		{Pull, Moving, 2000, 4200, 70, 90, 80, 110},
	}
	for _, v := range []Vehicle{Wren(), Curlew(), Plover(), Rook()} {
		for _, k := range cases {
			t.Run(fmt.Sprint(v.Name, " ", k.maneuver), func(t *testing.T) {
				c := settled(t, v, k.maneuver, 45)
				for s := 45.0; s < 75; s += 0.5 {
					st := c.State(after(s))
					require.Equal(t, k.gear, st.Gear, "at %v s", s)
					within(t, st.RPM, k.rpmLow, k.rpmTop, "rpm")
					within(t, st.Load, k.loadLow, k.load, "load")
					within(t, st.Speed, k.speedLow, k.vTop, "speed")
					within(t, st.Coolant, 80, 110, "coolant")
					within(t, c.Voltage(after(s)), 13.2, 14.8, "volts")
					require.False(t, st.FuelCut)
				}
			})
		}
	}
}

func within(t testing.TB, value, low, high float64, what string) {
	t.Helper()
	require.GreaterOrEqual(t, value, low, what)
	require.LessOrEqual(t, value, high, what)
}

func TestDriveDragsTheIdleThenRecoversLower(t *testing.T) {
	c := settled(t, Wren(), ParkIdle, 10)
	park := mean(c, 10, 20)
	c.Do(after(20), DriveIdle, 0)
	lowest := math.Inf(1)
	for s := 20.0; s < 24; s += 0.02 {
		lowest = min(lowest, c.State(after(s)).RPM)
	}
	driven := mean(c, 24, 40)
	assert.InDelta(t, 740, park.RPM, 8)
	assert.InDelta(t, 670, driven.RPM, 8)
	assert.Less(t, lowest, driven.RPM-15, "the dip as the gear takes up")
	rise := driven.Load - park.Load
	assert.True(t, rise >= 10 && rise <= 15, "load rises by %.1f points", rise)
}

// mean is the mean state between two times.
func mean(c *Car, from, to float64) (m State) {
	n := 0.0
	for s := from; s < to; s += 0.1 {
		st := c.State(after(s))
		m.RPM += st.RPM
		m.Load += st.Load
		n++
	}
	m.RPM /= n
	m.Load /= n
	return m
}

func TestPullChangesGearsWithARPMDrop(t *testing.T) {
	c := settled(t, Wren(), DriveIdle, 5)
	c.Do(after(5), Pull, 0)
	last := c.State(after(5))
	peak, changes := 0.0, 0
	for s := 5.0; s < 40; s += 0.1 {
		st := c.State(after(s))
		peak = max(peak, st.RPM)
		if last.Number > 0 && st.Number > last.Number {
			changes++
			lower := c.State(after(s + 0.8)).RPM
			assert.Less(t, lower, peak-300, "gear %d to %d", last.Number, st.Number)
			peak = 0
		}
		last = st
	}
	assert.GreaterOrEqual(t, changes, 3)
}

func TestCoastCutsTheFuelAndFallsToItsFloor(t *testing.T) {
	c := settled(t, Wren(), Cruise, 40)
	before := c.Truth()
	c.Do(after(40), Coast, 0)
	st := c.State(after(42))
	require.True(t, st.FuelCut)
	assert.InDelta(t, overrun, st.Load, 1)
	assert.Equal(t, []byte{0x41, 0x03, 0x04, 0x00}, ask(c, 42, EngineNode, 0x01, 0x03))
	c.State(after(44))
	then := c.Truth()
	c.State(after(48))
	now := c.Truth()
	assert.Equal(t, then.Sum(1, nil), now.Sum(1, nil), "no firing is expected while the fuel is cut")
	assert.Greater(t, now.Unmonitored[0], before.Unmonitored[0])
	st = c.State(after(160))
	assert.False(t, st.FuelCut)
	assert.InDelta(t, 7, st.Speed, 3, "creeping at walking pace")
}

func TestStartCranksFlaresAndSettles(t *testing.T) {
	c, err := New(Config{Vehicle: Wren(), Script: forever(KeyOff), Coolant: 20}, 3, zero)
	require.NoError(t, err)
	c.Do(after(1), Start, 0)
	var woke, cranked, ran float64
	peak := 0.0
	for s := 1.0; s < 10; s += 0.02 {
		st := c.State(after(s))
		if woke == 0 && st.Awake {
			woke = s
		}
		if cranked == 0 && st.RPM > 150 {
			cranked = s
			assert.Less(t, c.Voltage(after(s)), 11.0, "cranking volts")
			assert.GreaterOrEqual(t, c.Voltage(after(s)), 9.6, "trade-checks: battery, cranking")
		}
		if ran == 0 && st.Running {
			ran = s
		}
		peak = max(peak, st.RPM)
	}
	assert.Greater(t, woke, 0.9)
	assert.Greater(t, cranked, woke+0.8, "modules are awake before the starter turns")
	assert.InDelta(t, 0.9, ran-cranked, 0.2)
	assert.Greater(t, peak, 1150.0, "flare of a cold start")
	assert.InDelta(t, 740+6*50, mean(c, 20, 30).RPM, 25, "cold idle is raised")
}

func TestWarmUpTendsToNinety(t *testing.T) {
	c, err := New(Config{Vehicle: Wren(), Script: workshopScript(), Coolant: 20}, 3, zero)
	require.NoError(t, err)
	last := 0.0
	for s := 0.0; s < 900; s += 30 {
		st := c.State(after(s))
		assert.GreaterOrEqual(t, st.Coolant, last-1.5)
		last = st.Coolant
	}
	assert.InDelta(t, 91, c.State(after(1500)).Coolant, 3)
}

func TestCarIsBrakedBeforeParkAndKeyOff(t *testing.T) {
	c := settled(t, Wren(), Cruise, 40)
	c.Do(after(40), KeyOff, 0)
	last := c.State(after(40))
	asleep := 0.0
	for s := 40.0; s < 70; s += 0.1 {
		st := c.State(after(s))
		if st.Gear == ParkNeutral && last.Gear != ParkNeutral {
			assert.Zero(t, last.Speed, "Park only at rest")
		}
		if !st.Awake && asleep == 0 {
			asleep = s
			assert.Equal(t, ParkNeutral, st.Gear)
		}
		assert.Less(t, math.Abs(st.Speed-last.Speed), 2.0, "no jumps")
		last = st
	}
	assert.True(t, asleep > 45 && asleep < 60, "asleep at %.1f s", asleep)
}

func TestOrderPutsTheScriptOffAndBack(t *testing.T) {
	c := mustScenario(t, "healthy", 5)
	require.Equal(t, ParkIdle, c.State(after(40)).Maneuver)
	c.Do(after(40), RaisedIdle, 10*time.Second)
	assert.Equal(t, RaisedIdle, c.State(after(45)).Maneuver)
	c.Do(after(45), ReverseIdle, 10*time.Second)
	assert.Equal(t, ReverseIdle, c.State(after(54)).Maneuver)
	assert.Equal(t, ParkIdle, c.State(after(56)).Maneuver, "back to the script")
	assert.Equal(t, ParkIdle, c.State(after(90)).Maneuver, "which waited")
	c.Do(after(90), DriveIdle, 0)
	assert.Equal(t, DriveIdle, c.State(after(5000)).Maneuver, "for good")
}

// A miss slows the crank by 15 to 40 rpm for a few hundred milliseconds at idle.
func TestMissDipsTheIdle(t *testing.T) {
	for _, v := range []Vehicle{Wren(), Curlew(), Rook()} {
		c := settled(t, v, ParkIdle, 10)
		before := c.State(after(10)).RPM
		c.machine.miss()
		dip := before - c.State(after(10.02)).RPM
		within(t, dip, 10, 40, "dip")
		undisturbed := settled(t, v, ParkIdle, 10)
		assert.InDelta(t, undisturbed.State(after(11.5)).RPM, c.State(after(11.5)).RPM, 2, "over within a second and a half")
	}
}

func TestDemonstrationShowsBothIdlesWithinFourMinutes(t *testing.T) {
	for seed := range uint64(20) {
		c := mustScenario(t, "wren", seed)
		seen := map[Maneuver]bool{}
		for s := 0.0; s < 240; s++ {
			seen[c.State(after(s)).Maneuver] = true
		}
		truth := c.Truth()
		for _, g := range []GearState{ParkNeutral, DriveAtRest} {
			n := truth.Sum(2, func(k Key) bool { return k.Gear == g }).Firings
			assert.GreaterOrEqual(t, n, uint64(400), "seed %d, %v", seed, g)
		}
		for s := 240.0; s < 600; s++ {
			seen[c.State(after(s)).Maneuver] = true
		}
		for m := KeyOn; m <= Coast; m++ {
			assert.True(t, seen[m], "seed %d never does %v", seed, m)
		}
	}
}
