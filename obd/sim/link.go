package sim

import (
	"io"
	"net"
	"os"
	"sync"
	"time"

	"stumble/obd/clock"
	"stumble/obd/link"
)

// Link is the in-process connection to an adapter. With a stepped clock a Read moves the clock to when the
// answer arrives and returns it at once, so that one goroutine can run a whole drive; with any other clock
// it waits. It keeps the contract of link.Link.
type Link struct {
	adapter *Adapter
	clk     clock.Clock
	wake    chan struct{} // interrupts a Read that sleeps

	mu       sync.Mutex
	deadline time.Time
	cut      time.Time // when the connection breaks; zero: never
	sleeping bool
	closed   bool
}

var _ link.Link = (*Link)(nil)

// NewLink connects to an adapter. It must be the only one to use it.
func NewLink(a *Adapter, clk clock.Clock) *Link {
	return &Link{adapter: a, clk: clk, wake: make(chan struct{}, 1)}
}

// Read takes what has arrived, or waits for it.
func (l *Link) Read(p []byte) (int, error) {
	if len(p) == 0 {
		return 0, io.ErrShortBuffer
	}
	for {
		n, until, err := l.poll(p)
		if n > 0 || err != nil {
			return n, err
		}
		if until.IsZero() {
			<-l.wake
		} else {
			l.clk.SleepUntil(until, l.wake)
		}
	}
}

// poll takes what has arrived; when that is nothing it tells until when to sleep, zero for as long as it
// takes.
func (l *Link) poll(p []byte) (n int, until time.Time, err error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.sleeping = false
	now := l.clk.Now()
	if err := l.dead(now); err != nil {
		return 0, until, err
	}
	if !l.deadline.IsZero() && !now.Before(l.deadline) {
		return 0, until, os.ErrDeadlineExceeded
	}
	if n = l.adapter.Output(p, now); n > 0 {
		return n, until, nil
	}
	until, _ = l.adapter.Due()
	until = sooner(sooner(until, l.deadline), l.cut)
	l.sleeping = true
	return 0, until, nil
}

// dead tells why nothing goes over this link any more, if so.
func (l *Link) dead(now time.Time) error {
	switch {
	case l.closed:
		return net.ErrClosed
	case l.isCut(now):
		return link.ErrGone
	}
	return nil
}

func (l *Link) isCut(now time.Time) bool { return !l.cut.IsZero() && !now.Before(l.cut) }

// Write hands bytes to the adapter, which takes as long over them as its serial line does.
func (l *Link) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	now := l.clk.Now()
	if err := l.dead(now); err != nil {
		return 0, err
	}
	l.adapter.Input(p, now)
	l.rouse()
	return len(p), nil
}

// SetReadDeadline bounds Read by a time of the clock; the zero time lets it wait for ever.
func (l *Link) SetReadDeadline(t time.Time) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if err := l.dead(l.clk.Now()); err != nil {
		return err
	}
	l.deadline = t
	l.rouse()
	return nil
}

// Close ends the connection; the adapter stays as it is.
func (l *Link) Close() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.closed {
		return net.ErrClosed
	}
	l.closed = true
	l.rouse()
	return nil
}

// rouse makes a sleeping Read look again.
func (l *Link) rouse() {
	if !l.sleeping {
		return
	}
	select {
	case l.wake <- struct{}{}:
	default:
	}
}

// sooner is the earlier of two times of which a zero one does not count.
func sooner(a, b time.Time) time.Time {
	if a.IsZero() || (!b.IsZero() && b.Before(a)) {
		return b
	}
	return a
}
