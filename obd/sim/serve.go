package sim

import (
	"context"
	"io"
	"net"
	"sync"
	"time"

	"stumble/obd/clock"
	"stumble/obd/link"
)

// patienceAtDoor is how long a client may wait for the one before it to leave: a program that closes and
// opens again at once must not find itself in its own way.
const patienceAtDoor = 250 * time.Millisecond

// Dial opens the connection to an adapter, as Dialer.Dial and Simulation.Dial do.
type Dial func(context.Context) (link.Link, error)

// Serve offers an adapter on a network, to one client at a time as wireless adapters do; another is turned
// away. It returns nil when ctx ends, which closes the listener and the client, and otherwise what went
// wrong with the listener.
func Serve(ctx context.Context, l net.Listener, clk clock.Clock, dial Dial) error {
	seat := make(chan struct{}, 1)
	return accept(ctx, l, func(ctx context.Context, conn net.Conn, serve func(link.Link, func())) {
		adapter, err := sit(ctx, clk, seat, dial)
		if err != nil {
			conn.Close()
			return
		}
		serve(adapter, func() { <-seat })
	})
}

// accept takes clients in until ctx ends. seat finds each its adapter and has it served, and what is to be done when it
// leaves, or turns it away.
func accept(ctx context.Context, l net.Listener, seat func(ctx context.Context, conn net.Conn, serve func(link.Link, func()))) error {
	ctx, cancel := context.WithCancel(ctx)
	var clients sync.WaitGroup
	defer clients.Wait()
	defer cancel()
	stop := context.AfterFunc(ctx, func() { l.Close() })
	defer stop()
	for {
		conn, err := l.Accept()
		if ctx.Err() != nil {
			if err == nil {
				conn.Close()
			}
			return nil
		}
		if err != nil {
			return err
		}
		seat(ctx, conn, func(adapter link.Link, left func()) {
			clients.Go(func() {
				join(ctx, conn, adapter)
				left()
			})
		})
	}
}

// sit takes the only seat and opens the connection to the adapter.
func sit(ctx context.Context, clk clock.Clock, seat chan struct{}, dial Dial) (link.Link, error) {
	select {
	case seat <- struct{}{}:
	default:
		select {
		case seat <- struct{}{}:
		case <-clk.After(patienceAtDoor):
			return nil, ErrBusy
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
	l, err := dial(ctx)
	if err != nil {
		<-seat
	}
	return l, err
}

// join carries bytes both ways until either end is done, and closes both.
func join(ctx context.Context, client io.ReadWriteCloser, adapter link.Link) {
	closeBoth := func() {
		client.Close()
		adapter.Close()
	}
	stop := context.AfterFunc(ctx, closeBoth)
	defer stop()
	var toAdapter sync.WaitGroup
	toAdapter.Go(func() {
		carry(adapter, client)
		closeBoth()
	})
	carry(client, adapter)
	closeBoth()
	toAdapter.Wait()
}

// carry copies bytes until either end is done. Which end, and how it ended, makes no difference to a
// client: the connection is over.
func carry(to io.Writer, from io.Reader) {
	_, _ = io.Copy(to, from)
}
