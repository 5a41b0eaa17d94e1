package clock_test

import (
	"math"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"stumble/obd/clock"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var start = time.Date(2026, 11, 25, 8, 30, 0, 0, time.UTC)

// rung is the time that c holds, as a distance from when the test began, or -1 when it holds none.
func rung(c <-chan time.Time, began time.Time) time.Duration {
	select {
	case t := <-c:
		return t.Sub(began)
	default:
		return -1
	}
}

func TestSteppedStandsStill(t *testing.T) {
	c := clock.NewStepped(start)
	assert.Equal(t, start, c.Now())
	c.AdvanceTo(start.Add(-time.Hour))
	assert.Equal(t, start, c.Now(), "it never goes back")
	c.Advance(time.Minute)
	assert.Equal(t, start.Add(time.Minute), c.Now())
}

func TestSteppedTimersRingAtTheirTime(t *testing.T) {
	c := clock.NewStepped(start)
	late, early, never := c.After(3*time.Second), c.After(time.Second), c.After(time.Hour)
	atOnce, past := c.After(0), c.After(-time.Second)
	assert.Zero(t, rung(atOnce, start))
	assert.Zero(t, rung(past, start))

	c.Advance(time.Second - 1)
	assert.EqualValues(t, -1, rung(early, start))
	c.Advance(1)
	assert.Equal(t, time.Second, rung(early, start))
	assert.EqualValues(t, -1, rung(late, start))
	c.Advance(time.Minute)
	assert.Equal(t, 3*time.Second, rung(late, start), "it tells the time it was due, not where the clock went")
	assert.EqualValues(t, -1, rung(never, start))
}

func TestSteppedTimersRingInOrder(t *testing.T) {
	delays := []time.Duration{5 * time.Second, time.Second, 4 * time.Second, 2 * time.Second, 3 * time.Second}
	set := func(c *clock.Stepped) map[time.Duration]<-chan time.Time {
		timers := make(map[time.Duration]<-chan time.Time)
		for _, d := range delays {
			timers[d] = c.After(d)
		}
		return timers
	}

	stepwise := clock.NewStepped(start)
	timers := set(stepwise)
	for now := time.Second; now <= 5*time.Second; now += time.Second {
		stepwise.AdvanceTo(start.Add(now))
		for d, timer := range timers {
			if d == now {
				assert.Equal(t, d, rung(timer, start))
			} else {
				assert.EqualValues(t, -1, rung(timer, start), "%s at %s", d, now)
			}
		}
	}

	leaping := clock.NewStepped(start)
	timers = set(leaping)
	leaping.Advance(time.Minute)
	for d, timer := range timers {
		assert.Equal(t, d, rung(timer, start))
	}
}

func TestSteppedTicker(t *testing.T) {
	c := clock.NewStepped(start)
	ticker := c.NewTicker(time.Second)
	assert.EqualValues(t, -1, rung(ticker.C(), start))
	for want := time.Second; want <= 3*time.Second; want += time.Second {
		c.Advance(time.Second)
		assert.Equal(t, want, rung(ticker.C(), start))
	}
	c.Advance(3 * time.Second)
	assert.Equal(t, 4*time.Second, rung(ticker.C(), start), "ticks nobody took are dropped")
	assert.EqualValues(t, -1, rung(ticker.C(), start))

	c.Advance(time.Second)
	ticker.Stop()
	assert.EqualValues(t, -1, rung(ticker.C(), start), "no tick after the stop, not even a waiting one")
	c.Advance(time.Minute)
	assert.EqualValues(t, -1, rung(ticker.C(), start))
	ticker.Stop()
}

func TestSteppedSleeperMovesTheClock(t *testing.T) {
	c := clock.NewStepped(start)
	timer := c.After(time.Second)
	assert.True(t, c.SleepUntil(start.Add(time.Minute), nil))
	assert.Equal(t, start.Add(time.Minute), c.Now())
	assert.Equal(t, time.Second, rung(timer, start))
	assert.True(t, c.SleepUntil(start, nil), "a time that is past")
	assert.Equal(t, start.Add(time.Minute), c.Now())
}

func TestSteppedStepsAddUp(t *testing.T) {
	c := clock.NewStepped(start)
	var all sync.WaitGroup
	for range 8 {
		all.Go(func() {
			for range 1000 {
				c.Advance(time.Millisecond)
			}
		})
	}
	all.Wait()
	assert.Equal(t, start.Add(8*time.Second), c.Now())
}

// running are the clocks that go by themselves; each is made inside the bubble.
func running() map[string]func() clock.Clock {
	return map[string]func() clock.Clock{
		"system":      func() clock.Clock { return clock.System{} },
		"ten times":   func() clock.Clock { return clock.NewScaled(10) },
		"a third":     func() clock.Clock { return clock.NewScaled(1.0 / 3) },
		"seven times": func() clock.Clock { return clock.NewScaled(7) },
		"last year":   func() clock.Clock { return clock.NewScaledAt(start.AddDate(-1, 0, 0), 3) },
	}
}

// eachRunning runs a test on every clock that goes by itself, in a bubble where waiting takes no time.
func eachRunning(t *testing.T, test func(t *testing.T, c clock.Clock)) {
	for name, makeClock := range running() {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) { test(t, makeClock()) })
		})
	}
}

// assertTook holds a wait to never being short, and long by no more than the rounding to the system's
// nanoseconds makes it.
func assertTook(t *testing.T, want, took time.Duration) {
	t.Helper()
	assert.GreaterOrEqual(t, took, want)
	assert.LessOrEqual(t, took, want+20)
}

func TestAfter(t *testing.T) {
	eachRunning(t, func(t *testing.T, c clock.Clock) {
		for _, d := range []time.Duration{time.Hour, 1001, 1, 0, -time.Second} {
			began := c.Now()
			told := <-c.After(d)
			assertTook(t, max(d, 0), told.Sub(began))
			assertTook(t, max(d, 0), c.Now().Sub(began))
		}
	})
}

func TestTicker(t *testing.T) {
	eachRunning(t, func(t *testing.T, c clock.Clock) {
		began := c.Now()
		ticker := c.NewTicker(time.Minute)
		for n := range 5 {
			assertTook(t, time.Duration(n+1)*time.Minute, (<-ticker.C()).Sub(began))
		}
		// Three more pass while nobody looks; one is kept.
		c.SleepUntil(began.Add(8*time.Minute+30*time.Second), nil)
		assertTook(t, 6*time.Minute, (<-ticker.C()).Sub(began))
		assertTook(t, 9*time.Minute, (<-ticker.C()).Sub(began))

		c.SleepUntil(began.Add(10*time.Minute+30*time.Second), nil)
		ticker.Stop()
		assert.EqualValues(t, -1, rung(ticker.C(), began))
		c.SleepUntil(began.Add(time.Hour), nil)
		assert.EqualValues(t, -1, rung(ticker.C(), began))
		ticker.Stop()
	})
}

func TestSleepUntil(t *testing.T) {
	eachRunning(t, func(t *testing.T, c clock.Clock) {
		began := c.Now()
		assert.True(t, c.SleepUntil(began.Add(time.Hour), nil))
		assertTook(t, time.Hour, c.Now().Sub(began))
		assert.True(t, c.SleepUntil(began, nil), "a time that is past")

		wake := make(chan struct{}, 1)
		go func() {
			c.SleepUntil(began.Add(2*time.Hour), nil)
			wake <- struct{}{}
		}()
		assert.False(t, c.SleepUntil(began.Add(24*time.Hour), wake))
		assert.Less(t, c.Now().Sub(began), 3*time.Hour)
	})
}

// A loop that has fallen behind never waits; it must still hear that it is to stop.
func TestAReadyWakeWins(t *testing.T) {
	all := running()
	all["stepped"] = func() clock.Clock { return clock.NewStepped(start) }
	for name, makeClock := range all {
		t.Run(name, func(t *testing.T) {
			c := makeClock()
			now := c.Now()
			closed := make(chan struct{})
			close(closed)
			for range 20 {
				require.False(t, c.SleepUntil(now.Add(-time.Hour), closed))
				require.False(t, c.SleepUntil(now.Add(time.Hour), closed))
			}
		})
	}
}

func TestTickersRefuseWhatIsNotPositive(t *testing.T) {
	for _, c := range []clock.Clock{clock.System{}, clock.NewScaled(10), clock.NewStepped(start)} {
		assert.Panics(t, func() { c.NewTicker(0) })
		assert.Panics(t, func() { c.NewTicker(-time.Second) })
	}
}

func TestScaledRunsFaster(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		for factor, want := range map[float64]time.Duration{
			10: 10 * time.Minute, 0.5: 30 * time.Second, 1: time.Minute,
			0: time.Minute, -3: time.Minute, math.NaN(): time.Minute, math.Inf(1): time.Minute,
		} {
			c := clock.NewScaled(factor)
			began := c.Now()
			clock.System{}.SleepUntil(clock.System{}.Now().Add(time.Minute), nil)
			assert.Equal(t, want, c.Now().Sub(began), "%v", factor)
		}
	})
}
