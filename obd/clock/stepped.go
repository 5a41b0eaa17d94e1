package clock

import (
	"container/heap"
	"sync"
	"time"
)

// Stepped stands still until it is told to go on. SleepUntil tells it: whoever sleeps moves the clock to
// the moment he waits for, firing every timer on the way, and returns at once. One sleeper drives a whole
// simulated drive that way, as fast as the processor allows and the same every time.
type Stepped struct {
	mu     sync.Mutex
	now    time.Time
	timers timerQueue
	serial int
}

// NewStepped returns a clock that reads start.
func NewStepped(start time.Time) *Stepped { return &Stepped{now: start} }

// Now returns the time the clock was last moved to.
func (c *Stepped) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

// Advance moves the clock on by d and fires what falls due. Steps taken from several goroutines add up.
func (c *Stepped) Advance(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.moveTo(c.now.Add(d))
}

// AdvanceTo moves the clock on to t, or leaves it where it is when t is past, and fires what falls due in
// the order of time.
func (c *Stepped) AdvanceTo(t time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.moveTo(t)
}

func (c *Stepped) moveTo(t time.Time) {
	for len(c.timers) > 0 && !c.timers[0].at.After(t) {
		c.fireFirst()
	}
	if t.After(c.now) {
		c.now = t
	}
}

// SleepUntil moves the clock to t and reports true, unless wake is ready already.
func (c *Stepped) SleepUntil(t time.Time, wake <-chan struct{}) bool {
	if ready(wake) {
		return false
	}
	c.AdvanceTo(t)
	return true
}

// After sends the time once the clock has been moved past d from now.
func (c *Stepped) After(d time.Duration) <-chan time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	timer := &steppedTimer{c: make(chan time.Time, 1), at: c.now.Add(d)}
	if d <= 0 {
		timer.c <- c.now
		return timer.c
	}
	c.push(timer)
	return timer.c
}

// NewTicker ticks every d as the clock is moved; a tick nobody took is dropped, as with time.Ticker.
func (c *Stepped) NewTicker(d time.Duration) Ticker {
	if d <= 0 {
		panic("clock: ticker interval must be positive")
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	timer := &steppedTimer{c: make(chan time.Time, 1), at: c.now.Add(d), every: d}
	c.push(timer)
	return &steppedTicker{clock: c, timer: timer}
}

func (c *Stepped) push(t *steppedTimer) {
	c.serial++
	t.serial = c.serial
	heap.Push(&c.timers, t)
}

// fireFirst moves the clock to the earliest timer, rings it, and sets it again if it repeats.
func (c *Stepped) fireFirst() {
	t := heap.Pop(&c.timers).(*steppedTimer)
	if t.at.After(c.now) {
		c.now = t.at
	}
	if t.stopped {
		return
	}
	select {
	case t.c <- t.at:
	default:
	}
	if t.every > 0 {
		t.at = t.at.Add(t.every)
		c.push(t)
	}
}

type steppedTimer struct {
	c       chan time.Time
	at      time.Time
	every   time.Duration
	serial  int // timers due at one moment ring in the order they were set
	stopped bool
}

type steppedTicker struct {
	clock *Stepped
	timer *steppedTimer
}

func (t *steppedTicker) C() <-chan time.Time { return t.timer.c }

func (t *steppedTicker) Stop() {
	t.clock.mu.Lock()
	defer t.clock.mu.Unlock()
	t.timer.stopped = true
	select {
	case <-t.timer.c: // a tick from before the stop is no longer wanted, as with time.Ticker
	default:
	}
}

type timerQueue []*steppedTimer

func (q timerQueue) Len() int { return len(q) }
func (q timerQueue) Less(i, j int) bool {
	if q[i].at.Equal(q[j].at) {
		return q[i].serial < q[j].serial
	}
	return q[i].at.Before(q[j].at)
}
func (q timerQueue) Swap(i, j int) { q[i], q[j] = q[j], q[i] }
func (q *timerQueue) Push(x any)   { *q = append(*q, x.(*steppedTimer)) }
func (q *timerQueue) Pop() any {
	old := *q
	last := old[len(old)-1]
	old[len(old)-1] = nil
	*q = old[:len(old)-1]
	return last
}
