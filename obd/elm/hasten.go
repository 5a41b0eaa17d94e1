package elm

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"time"
)

// An adapter on a wire may be asked for another speed (ELM327 data sheet, AT BRD): it says OK, changes its speed, prints its
// name there and waits for a carriage return; without one it goes back. Clones answer "?", or say OK and stay, or change and
// never come back. So it is done at the user's wish alone, tried out, and given up for good where it fails.

// speeder is a link whose speed can be changed while it is open, as that of a serial port.
type speeder interface {
	Baud() int
	SetBaud(baud int) error
}

const (
	brdClock    = 4_000_000               // divided by its argument is the speed (data sheet, AT BRD)
	brdPatience = 400 * time.Millisecond  // for the OK, and for that at the new speed
	brdReturns  = 1500 * time.Millisecond // by when an adapter that heard no carriage return is back: AT BRT FF is 1.275 s
	brdTrials   = 3
)

// hasten asks for the speed in Config, unless the link has it, has none, or the adapter failed at it before.
func (a *Adapter) hasten(ctx context.Context) error {
	wire, is := a.link.(speeder)
	if !is || a.cfg.Baud <= 0 || a.staid || wire.Baud() == a.cfg.Baud {
		return nil
	}
	a.staid = true // until it has shown that it can
	if err := a.command(ctx, "ATBRTFF", commandLimit); err != nil {
		if errors.Is(err, NotUnderstood) {
			return nil
		}
		return err
	}
	agreed, err := a.askSpeed(ctx, fmt.Sprintf("ATBRD%02X", (brdClock+a.cfg.Baud/2)/a.cfg.Baud))
	if err != nil || !agreed {
		return err
	}
	old := wire.Baud()
	if err := wire.SetBaud(a.cfg.Baud); err != nil {
		return a.slowDown(ctx, wire, old)
	}
	if a.confirmSpeed(ctx) && a.tryOut(ctx) {
		a.staid = false
		if a.cfg.Hastened != nil {
			a.cfg.Hastened(a.cfg.Baud)
		}
		return nil
	}
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	return a.slowDown(ctx, wire, old)
}

// askSpeed sends the line after which the adapter prints no prompt, and reports whether it said OK.
func (a *Adapter) askSpeed(ctx context.Context, line string) (agreed bool, err error) {
	if err := a.send([]byte(line)); err != nil {
		return false, err
	}
	a.raw, a.answer = a.raw[:0], a.answer[:0]
	for end := a.cfg.Clock.Now().Add(brdPatience); a.cfg.Clock.Now().Before(end); {
		if err := a.watch(ctx, end); err != nil {
			return false, err
		}
		n, err := a.link.Read(a.buf[:])
		_, whole := a.take(a.buf[:n])
		switch {
		case bytes.Contains(a.answer, []byte("OK\r")):
			return true, nil
		case whole, bytes.Contains(a.answer, []byte(NotUnderstood.text)):
			return false, a.drain(ctx, hush)
		case err != nil:
			a.unsure = true
			return false, nil
		}
	}
	a.unsure = true
	return false, nil
}

// confirmSpeed sends the carriage return that the adapter waits for at its new speed. One that did not change would repeat
// its last line, which asked for the speed: that harms nothing.
func (a *Adapter) confirmSpeed(ctx context.Context) bool {
	if a.send(nil) != nil {
		return false
	}
	a.raw, a.answer = a.raw[:0], a.answer[:0]
	err := a.readToPrompt(ctx, a.cfg.Clock.Now().Add(brdPatience))
	a.unsure = err != nil
	return err == nil && bytes.Contains(a.answer, []byte("OK"))
}

// tryOut has the adapter tell its name at the new speed, several times alike.
func (a *Adapter) tryOut(ctx context.Context) bool {
	for range brdTrials {
		if a.commandOnce(ctx, probe, meetLimit) != nil {
			return false
		}
		if line, _ := nextLine(a.answer); identityOf(line) != a.identity {
			return false
		}
	}
	return true
}

// slowDown goes back to the old speed and waits until the adapter is back, too. The error is that it is not.
func (a *Adapter) slowDown(ctx context.Context, wire speeder, old int) error {
	if err := wire.SetBaud(old); err != nil {
		return a.lost(err)
	}
	if err := a.pause(ctx, brdReturns); err != nil {
		return err
	}
	if err := a.drain(ctx, hush); err != nil {
		return err
	}
	return a.named(ctx)
}
