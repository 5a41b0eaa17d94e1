package elm

import (
	"context"
	"errors"
	"fmt"
	"time"
)

// The waits between attempts to reach a lost adapter: soon at first, since most plugs are pushed back at
// once, then no faster than a person does things.
const (
	firstWait = 250 * time.Millisecond
	lastWait  = 5 * time.Second
)

// reconnect seeks the lost link again and sets the adapter up as it was. It returns nil once requests can
// go out again, or an error that says why it gave up.
func (a *Adapter) reconnect(ctx context.Context, why error) error {
	lostAt := a.cfg.Clock.Now()
	a.notice(LinkLost, why)
	a.unwatch()
	a.link.Close()
	for wait := firstWait; ; wait = min(2*wait, lastWait) {
		if err := a.pause(ctx, wait); err != nil {
			return err
		}
		err := a.redial(ctx)
		if err == nil {
			a.notice(LinkBack, nil)
			return nil
		}
		if errors.Is(err, ErrClosed) {
			return err
		}
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		a.notice(LinkRetry, err)
		if a.cfg.Patience > 0 && a.cfg.Clock.Now().Sub(lostAt) >= a.cfg.Patience {
			return fmt.Errorf("the adapter went away and did not come back within %s: %w", a.cfg.Patience, why)
		}
	}
}

func (a *Adapter) redial(ctx context.Context) error {
	if err := a.dial(ctx); err != nil {
		return err
	}
	err := a.startAgain(ctx)
	if err != nil && RemedyFor(err) != RemedyWaitIgnition { // the adapter is back, though the car may sleep
		a.gone = true
		a.unwatch()
		a.link.Close()
		return err
	}
	return nil
}

func (a *Adapter) notice(kind NoticeKind, err error) {
	if a.cfg.Notice != nil {
		a.cfg.Notice(Notice{At: a.cfg.Clock.Now(), Kind: kind, Err: err})
	}
}
