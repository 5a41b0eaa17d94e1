package link

import (
	"context"
	"errors"
	"io"
	"net"
	"os"
	"sync/atomic"
	"time"

	"stumble/obd/clock"
)

const (
	// dialLimit bounds the connecting. An adapter is one hop away: what takes longer is not there.
	dialLimit = 8 * time.Second
	// writeLimit bounds one Write. A request is some twenty bytes; whatever holds them that long is stuck.
	writeLimit = 5 * time.Second
)

// TCP connects to an adapter at host:port. It gives up after eight seconds of the clock, or when ctx ends;
// the error is then ctx's cause, else an *Error.
func TCP(ctx context.Context, address string, clk clock.Clock) (Link, error) {
	return dialTCP(ctx, &net.Dialer{}, address, clk)
}

func dialTCP(ctx context.Context, dialer *net.Dialer, address string, clk clock.Clock) (Link, error) {
	// An adapter that lost its supply says nothing: probing finds that out within about ten seconds.
	dialer.KeepAliveConfig = net.KeepAliveConfig{Enable: true, Idle: 4 * time.Second, Interval: 2 * time.Second, Count: 3}
	limited, cancel := context.WithCancelCause(ctx)
	done := make(chan struct{})
	limit := clk.After(dialLimit)
	go func() {
		select {
		case <-limit:
			cancel(TimedOut)
		case <-done:
		}
	}()
	conn, err := dialer.DialContext(limited, "tcp", address)
	close(done)
	defer cancel(nil)
	if err != nil {
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		if cause := context.Cause(limited); cause != nil {
			err = cause
		}
		return nil, &Error{Op: "open", Where: address, Reason: dialReason(err), Cause: err}
	}
	l := &tcpLink{conn: conn.(*net.TCPConn), where: address}
	l.deadline.start(clk)
	// A request is smaller than a packet and its answer is waited for: holding it back to fill one costs
	// a round trip. Go's default is the same; this states that we rely on it.
	_ = l.conn.SetNoDelay(true)
	return l, nil
}

type tcpLink struct {
	conn     *net.TCPConn
	where    string
	deadline deadline
	closed   atomic.Bool
}

// Read waits in slices, because the connection's own deadline runs on the system's clock, not on ours.
func (l *tcpLink) Read(p []byte) (int, error) {
	if len(p) == 0 {
		return 0, io.ErrShortBuffer
	}
	for {
		if l.closed.Load() {
			return 0, net.ErrClosed
		}
		wait, err := l.deadline.wait()
		if err != nil {
			return 0, err
		}
		_ = l.conn.SetReadDeadline(clock.System{}.Now().Add(wait)) // fails only when closed, as Read will
		n, err := l.conn.Read(p)
		if n > 0 {
			return n, nil
		}
		if !errors.Is(err, os.ErrDeadlineExceeded) {
			return 0, l.broken("read", err)
		}
	}
}

func (l *tcpLink) Write(p []byte) (int, error) {
	limit := l.deadline.clk.Now().Add(writeLimit)
	for done := 0; ; {
		if l.closed.Load() {
			return done, net.ErrClosed
		}
		_ = l.conn.SetWriteDeadline(clock.System{}.Now().Add(slice)) // fails only when closed, as Write will
		n, err := l.conn.Write(p[done:])
		done += n
		switch {
		case err == nil:
			return done, nil
		case !errors.Is(err, os.ErrDeadlineExceeded):
			return done, l.broken("write", err)
		case !l.deadline.clk.Now().Before(limit):
			return done, &Error{Op: "write", Where: l.where, Reason: Stalled}
		}
	}
}

// broken names an error of the connection. Nothing mends a TCP connection once it has failed, so whatever
// is not our own doing means that the adapter is gone.
func (l *tcpLink) broken(op string, err error) error {
	if l.closed.Load() || errors.Is(err, net.ErrClosed) {
		return net.ErrClosed
	}
	return &Error{Op: op, Where: l.where, Reason: Gone, Cause: err}
}

func (l *tcpLink) SetReadDeadline(t time.Time) error {
	if l.closed.Load() {
		return net.ErrClosed
	}
	l.deadline.set(t)
	return nil
}

func (l *tcpLink) Close() error {
	if l.closed.Swap(true) {
		return nil
	}
	return l.conn.Close()
}
