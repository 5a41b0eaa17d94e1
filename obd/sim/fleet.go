package sim

import (
	"context"
	"net"
	"sync"

	"stumble/obd/link"
)

// mostCars is how many clients are served a car each; more are turned away.
const mostCars = 16

// Fleet is an adapter with a car of its own for each client. Who comes back from the same host finds the car that it left.
type Fleet struct {
	// Open sets up the car of the client of a number, from 0.
	Open func(n int) (Dial, error)

	mu   sync.Mutex
	cars []*parked
}

// parked is a car with its adapter, and who has it.
type parked struct {
	dial  Dial
	host  string // of the client that has it or had it last
	taken bool
}

// take gives a client a car: that which its host left, else a new one.
func (f *Fleet) take(host string) (*parked, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, c := range f.cars {
		if c.host == host && !c.taken {
			c.taken = true
			return c, nil
		}
	}
	if len(f.cars) == mostCars {
		return nil, ErrBusy
	}
	dial, err := f.Open(len(f.cars))
	if err != nil {
		return nil, err
	}
	c := &parked{dial: dial, host: host, taken: true}
	f.cars = append(f.cars, c)
	return c, nil
}

func (f *Fleet) leave(c *parked) {
	f.mu.Lock()
	defer f.mu.Unlock()
	c.taken = false
}

// Serve offers the fleet on a network until ctx ends, as the function Serve does one adapter.
func (f *Fleet) Serve(ctx context.Context, l net.Listener) error {
	return accept(ctx, l, func(ctx context.Context, conn net.Conn, serve func(link.Link, func())) {
		host, _, _ := net.SplitHostPort(conn.RemoteAddr().String())
		c, err := f.take(host)
		if err != nil {
			conn.Close()
			return
		}
		adapter, err := c.dial(ctx)
		if err != nil {
			f.leave(c)
			conn.Close()
			return
		}
		serve(adapter, func() { f.leave(c) })
	})
}
