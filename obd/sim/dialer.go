package sim

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"sync"
	"time"

	"stumble/obd/clock"
	"stumble/obd/link"
)

// ErrBusy says that the adapter has a client already: it takes one at a time.
var ErrBusy = errors.New("the adapter is in use by another program: close that first")

// Drops says how often a connection breaks. The zero value is one that never does.
type Drops struct {
	Every  time.Duration // from one connection to its break: half to one and a half of this; 0: never
	Outage time.Duration // how long the adapter is out of reach after a break
	Seed   uint64
}

// Dropping breaks the connection about every so often, for two seconds each time.
func Dropping(every time.Duration) Drops { return Drops{Every: every, Outage: 2 * time.Second} }

// Dialer connects to one adapter, again and again: whoever comes back finds the same adapter in the same
// car, as it was left. It may be used by several goroutines.
type Dialer struct {
	adapter *Adapter
	clk     clock.Clock
	drops   Drops

	mu      sync.Mutex
	rng     *rand.Rand
	current *Link
}

// NewDialer returns a dialer for an adapter that nobody else uses.
func NewDialer(a *Adapter, clk clock.Clock, drops Drops) *Dialer {
	return &Dialer{adapter: a, clk: clk, drops: drops, rng: rand.New(rand.NewPCG(drops.Seed, 0xd20b))}
}

// Dial opens a connection. The error is ErrBusy while another is open, and link.ErrGone while the adapter
// is out of reach after a break.
func (d *Dialer) Dial(ctx context.Context) (link.Link, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	now := d.clk.Now()
	if err := d.vacant(now); err != nil {
		return nil, err
	}
	d.adapter.HangUp(now)
	l := NewLink(d.adapter, d.clk)
	if d.drops.Every > 0 {
		l.cut = now.Add(time.Duration((0.5 + d.rng.Float64()) * float64(d.drops.Every)))
	}
	d.current = l
	return l, nil
}

// vacant reports whether the last connection has ended and its outage is over.
func (d *Dialer) vacant(now time.Time) error {
	l := d.current
	if l == nil {
		return nil
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	switch {
	case l.isCut(now) && now.Before(l.cut.Add(d.drops.Outage)):
		return fmt.Errorf("nothing answers at the simulated adapter, try again in a moment: %w", link.ErrGone)
	case !l.closed && !l.isCut(now):
		return ErrBusy
	}
	return nil
}
