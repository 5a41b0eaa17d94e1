package link

import (
	"math"
	"os"
	"sync/atomic"
	"time"

	"stumble/obd/clock"
)

// slice is the longest, in the system's time, that a link waits in the operating system before it looks
// again at its deadline and whether it was closed. The operating system knows nothing of a clock that is
// scaled or stepped, and no serial driver can be relied on to let go of a Read when the port is closed.
const slice = 25 * time.Millisecond

// noDeadline is the atomic's value for the zero time.
const noDeadline = math.MaxInt64

// deadline is a moment of the link's clock that may be moved while a Read waits for it. It is kept as a
// distance from when the link was opened, which leaves the reading goroutine a plain atomic to look at.
type deadline struct {
	clk  clock.Clock
	base time.Time
	at   atomic.Int64
}

// start makes the deadline ready, unset. It must come before any other call.
func (d *deadline) start(clk clock.Clock) {
	d.clk, d.base = clk, clk.Now()
	d.at.Store(noDeadline)
}

func (d *deadline) set(t time.Time) {
	if t.IsZero() {
		d.at.Store(noDeadline)
		return
	}
	d.at.Store(int64(t.Sub(d.base)))
}

// wait is how long to wait in the operating system: what is left, at most a slice, or
// os.ErrDeadlineExceeded when nothing is.
func (d *deadline) wait() (time.Duration, error) {
	at := d.at.Load()
	if at == noDeadline {
		return slice, nil
	}
	left := time.Duration(at) - d.clk.Now().Sub(d.base)
	if left <= 0 {
		return 0, os.ErrDeadlineExceeded
	}
	return min(left, slice), nil
}
