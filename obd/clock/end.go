package clock

import (
	"context"
	"time"
)

// WithEnd returns a context that ends by a clock, with a cause: whoever looks at it at the end or later finds it over, and
// whoever waits on it is woken soon after, so that what is under way at the end may come to its own. stop lets go of it.
func WithEnd(ctx context.Context, clk Clock, end time.Time, cause error) (over context.Context, stop func()) {
	inner, cancel := context.WithCancelCause(ctx)
	done := make(chan struct{})
	timer := clk.After(end.Sub(clk.Now()) + grace)
	go func() {
		defer close(done)
		select {
		case <-timer:
			cancel(cause)
		case <-inner.Done():
		}
	}()
	return &ending{Context: inner, clk: clk, end: end, cancel: func() { cancel(cause) }}, func() {
		cancel(context.Canceled)
		<-done
	}
}

// grace is how long after its end a context wakes those who wait on it. By a clock that jumps the waking is another
// goroutine's and of no certain moment: what takes less is over by then, and goes the same way every time.
const grace = 2 * time.Second

// ending is a context that looks at a clock when it is looked at.
type ending struct {
	context.Context
	clk    Clock
	end    time.Time
	cancel func()
}

// Err is nil until the end.
func (c *ending) Err() error {
	if c.Context.Err() == nil && !c.clk.Now().Before(c.end) {
		c.cancel()
	}
	return c.Context.Err()
}
