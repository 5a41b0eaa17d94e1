package clock

import (
	"math"
	"sync"
	"time"
)

// Scaled runs a number of times as fast as the system's clock, from the moment it was made: a drive of the
// simulated car can be watched at ten times its speed.
type Scaled struct {
	start  time.Time // by the system's clock
	from   time.Time // what it told then
	factor float64
}

// NewScaled returns a clock that starts at the system's time and runs factor times as fast. A factor that
// is not positive and finite is taken as 1.
func NewScaled(factor float64) *Scaled {
	now := time.Now()
	return newScaled(now, now, factor)
}

// NewScaledAt is NewScaled starting at a time of one's own.
func NewScaledAt(from time.Time, factor float64) *Scaled { return newScaled(time.Now(), from, factor) }

func newScaled(start, from time.Time, factor float64) *Scaled {
	if !(factor > 0) || math.IsInf(factor, 0) {
		factor = 1
	}
	return &Scaled{start: start, from: from, factor: factor}
}

// Now returns the scaled time.
func (c *Scaled) Now() time.Time {
	return c.from.Add(time.Duration(float64(time.Since(c.start)) * c.factor))
}

// After waits d of scaled time.
func (c *Scaled) After(d time.Duration) <-chan time.Time {
	out := make(chan time.Time, 1)
	time.AfterFunc(c.real(d), func() { out <- c.Now() })
	return out
}

// NewTicker ticks every d of scaled time, with the scaled time.
func (c *Scaled) NewTicker(d time.Duration) Ticker {
	if d <= 0 {
		panic("clock: ticker interval must be positive")
	}
	t := &scaledTicker{c: make(chan time.Time, 1), clock: c, every: d, next: c.Now().Add(d)}
	t.mu.Lock() // the first tick may come before the timer is stored
	defer t.mu.Unlock()
	t.timer = time.AfterFunc(c.real(d), t.tick)
	return t
}

// SleepUntil waits until the scaled time is t.
func (c *Scaled) SleepUntil(t time.Time, wake <-chan struct{}) bool {
	return sleep(func() time.Duration { return c.real(t.Sub(c.Now())) }, wake)
}

// real is the system's time that d of scaled time takes, rounded up so that nothing rings early.
func (c *Scaled) real(d time.Duration) time.Duration {
	r := math.Ceil(float64(d) / c.factor)
	if r >= math.MaxInt64 {
		return math.MaxInt64
	}
	return time.Duration(r)
}

// scaledTicker sets one timer after another: a time.Ticker would send the system's time.
type scaledTicker struct {
	c     chan time.Time
	clock *Scaled
	every time.Duration

	mu      sync.Mutex
	timer   *time.Timer
	next    time.Time
	stopped bool
}

func (t *scaledTicker) tick() {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.stopped {
		return
	}
	now := t.clock.Now()
	select {
	case t.c <- now:
	default:
	}
	// Ticks that are past already are skipped, as time.Ticker skips them for a slow reader.
	missed := max(now.Sub(t.next), 0) / t.every
	t.next = t.next.Add((missed + 1) * t.every)
	t.timer.Reset(t.clock.real(t.next.Sub(now)))
}

func (t *scaledTicker) C() <-chan time.Time { return t.c }

func (t *scaledTicker) Stop() {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.stopped = true
	t.timer.Stop()
	select {
	case <-t.c: // a tick from before the stop is no longer wanted, as with time.Ticker
	default:
	}
}
