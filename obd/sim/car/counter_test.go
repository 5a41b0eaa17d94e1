package car

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// count reads TID 0B and 0C of a cylinder's monitor off the wire: A2 is cylinder 1 (obd-wire-facts section 2).
func count(t testing.TB, c *Car, s float64, mid byte) (average, current int) {
	t.Helper()
	b := ask(c, s, EngineNode, 0x06, mid)
	require.Len(t, b, 1+9+9)
	require.Equal(t, []byte{0x46, mid, 0x0B, 0x24}, b[:4])
	require.Equal(t, []byte{mid, 0x0C, 0x24}, b[10:13])
	return int(b[4])<<8 | int(b[5]), int(b[13])<<8 | int(b[14])
}

// missing is a car idling in Drive from the start, cylinder 2 missing often.
func missing(t testing.TB, r Refresh) *Car {
	t.Helper()
	c, err := New(Config{
		Vehicle: Wren(), Coolant: 90, Faults: []Fault{PlugWire{Cylinder: 2, Scale: 3}},
		Controller: Controller{Refresh: r},
		History:    History{Last: []int{3, 250, 0, 1}, Average: []float64{1, 90, 0, 0}},
		Script:     Script{Steps: []Step{{Maneuver: KeyOn, Duration: 5 * time.Second, Exact: true}, {Maneuver: DriveIdle}}},
	}, 8, zero)
	require.NoError(t, err)
	return c
}

// 0C shows the last driving cycle from key on until the engine starts, then restarts (obd-wire-facts section 2).
func TestCounterShowsTheLastCycleUntilTheStart(t *testing.T) {
	c := missing(t, Refresh{})
	average, current := count(t, c, 4, 0xA3)
	assert.Equal(t, 90, average)
	assert.Equal(t, 250, current)
	for s := 4.0; ; s += 0.02 {
		require.Less(t, s, 10.0)
		running := c.State(after(s)).Running
		average, current = count(t, c, s, 0xA3)
		assert.Equal(t, 90, average, "the average stands still while driving")
		if running {
			assert.Zero(t, current)
			break
		}
		assert.Equal(t, 250, current, "cranking is not yet a cycle")
	}
}

// The counters come up to date every so many turns of the crank and stand still between.
func TestCounterRefreshesByTurns(t *testing.T) {
	for _, turns := range []int{0, 200, 1000} {
		c := missing(t, Refresh{Revolutions: turns})
		every := float64(turns)
		if turns == 0 {
			every = 200
		}
		last, lastTurns, rises := 0, 0.0, 0
		for s := 8.0; s < 400; s += 0.02 {
			_, current := count(t, c, s, 0xA3)
			if current == last {
				continue
			}
			truth := c.Truth()
			require.EqualValues(t, truth.Shown(2), current)
			require.Equal(t, truth.Counted(2), truth.Shown(2), "a refresh brings all")
			n := (c.machine.revs - lastTurns) / every
			require.InDelta(t, math.Round(n), n, 1/every, "%v turns", c.machine.revs-lastTurns)
			last, lastTurns = current, c.machine.revs
			rises++
			c.State(after(s + 1))
			if later := c.Truth(); later.Counted(2) > truth.Counted(2) {
				require.Equal(t, truth.Shown(2), later.Shown(2), "and then nothing until the next")
			}
		}
		assert.Greater(t, rises, 3)
	}
}

func TestCounterRefreshesByTimeByEventAndAtKeyOff(t *testing.T) {
	timed := missing(t, Refresh{Every: 10 * time.Second})
	last, changed := uint64(0), 0.0
	require.True(t, timed.State(after(8)).Running)
	require.Zero(t, timed.Truth().Shown(2))
	for s := 8.0; s < 120; s += 0.02 {
		timed.State(after(s))
		if n := timed.Truth().Shown(2); n != last {
			if changed > 0 {
				assert.InDelta(t, 10, s-changed, 0.05)
			}
			last, changed = n, s
		}
	}
	require.Greater(t, changed, 100.0)

	live := missing(t, Refresh{PerEvent: true})
	for s := 8.0; s < 60; s += 0.5 {
		live.State(after(s))
		truth := live.Truth()
		require.Equal(t, truth.Counted(2), truth.Shown(2))
	}

	late := missing(t, Refresh{AtKeyOff: true})
	late.State(after(120))
	truth := late.Truth()
	assert.Zero(t, truth.Shown(2))
	assert.Positive(t, truth.Counted(2))
	late.Do(after(120), KeyOn, 0)
	late.State(after(130))
	truth = late.Truth()
	assert.Positive(t, truth.Shown(2))
	assert.Equal(t, truth.Counted(2), truth.Shown(2))
}

// The average takes a cycle in at its end: new = 0.1 x cycle + 0.9 x old (obd-wire-facts section 2, SAE J1979).
func TestAverageMovesAtTheEndOfTheCycle(t *testing.T) {
	c := missing(t, Refresh{})
	c.Do(after(200), KeyOn, 0)
	average, current := count(t, c, 210, 0xA3)
	require.Positive(t, current)
	assert.EqualValues(t, current, c.Truth().Counted(2), "the end brings what was not yet shown")
	assert.InDelta(t, 0.1*float64(current)+0.9*90, float64(average), 0.51)
	c.Do(after(210), Start, 0)
	again, restarted := count(t, c, 214, 0xA3)
	assert.Equal(t, average, again)
	assert.Zero(t, restarted, "a restart is a fresh driving cycle")
	assert.Equal(t, 2, c.State(after(214)).Cycles)
}

func TestCounterStopsAt65535(t *testing.T) {
	c := mustScenario(t, "saturated", 1)
	_, current := count(t, c, 1, 0xA5)
	assert.Equal(t, 65300, current)
	_, current = count(t, c, 120, 0xA5)
	assert.Equal(t, 65535, current)
	assert.Greater(t, c.Truth().Counted(4), uint64(65535))
	c.State(after(3600))
	_, current = count(t, c, 3600, 0xA5)
	assert.Equal(t, 65535, current, "it does not wrap")
}

func TestCountsInFiringOrder(t *testing.T) {
	c := mustScenario(t, "curlew-firing-order", 1)
	c.State(after(500))
	truth := c.Truth()
	require.Greater(t, truth.Shown(4), uint64(10))
	// Firing order 1-4-2-5-3-6 (engine-layouts.csv, V6 numbered along the banks): the second monitor is cylinder 4.
	_, second := count(t, c, 500, 0xA3)
	assert.EqualValues(t, truth.Shown(4), second)
	_, fourth := count(t, c, 500, 0xA5)
	assert.EqualValues(t, truth.Shown(5), fourth)
}

// Misses while the fuel is cut are none: the count stands still and the turns pass.
func TestCountStandsStillOnOverrun(t *testing.T) {
	c, err := New(Config{Vehicle: Wren(), Running: true, Coolant: 90, Faults: []Fault{Dead{Cylinder: 2}},
		Controller: Controller{Refresh: Refresh{PerEvent: true}}}, 1, zero)
	require.NoError(t, err)
	c.Do(zero, Cruise, 40*time.Second)
	c.State(after(40))
	c.Do(after(40), Coast, 0)
	require.True(t, c.State(after(42)).FuelCut)
	before := c.Truth()
	require.True(t, c.State(after(46)).FuelCut)
	now := c.Truth()
	assert.Equal(t, before.Counted(2), now.Counted(2))
	assert.Greater(t, now.Unmonitored[1], before.Unmonitored[1]+30)
}

func TestFirstTwoTurnsAndCrankingAreNotMonitored(t *testing.T) {
	c, err := New(Config{Vehicle: Wren(), Faults: []Fault{Dead{Cylinder: 1}}}, 1, zero)
	require.NoError(t, err)
	for s := 0.0; s < 4; s += 0.02 {
		c.State(after(s))
		if c.machine.revs < 2 {
			assert.Zero(t, c.Truth().Sum(1, nil).Firings)
		}
	}
	assert.Positive(t, c.Truth().Sum(1, nil).Firings)
	assert.Positive(t, c.Truth().Unmonitored[0])
}
