package link

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"stumble/obd/clock"
)

// BaudRates are the speeds adapters are found at, the commonest first. 38400 is what the chip is shipped
// with and 9600 what a pin on it selects; the others are makers' choices (common practice, no source).
func BaudRates() []int { return []int{38400, 115200, 9600, 57600, 230400, 500000} }

// BaudTry is what one speed gave.
type BaudTry struct {
	Baud int
	Err  error
}

// BaudError says that no speed got an answer, and what each gave.
type BaudError struct {
	Path  string
	Tries []BaudTry
}

// Error is one line: the port, what each speed gave, and what to do.
func (e *BaudError) Error() string {
	var each []string
	for _, t := range e.Tries {
		each = append(each, fmt.Sprintf("%d: %s", t.Baud, oneLine(t.Err)))
	}
	return fmt.Sprintf("no adapter answers on %s (%s); check that it is in the diagnostic socket with the ignition on, or choose another port",
		e.Path, strings.Join(each, "; "))
}

// Unwrap gives what each speed gave.
func (e *BaudError) Unwrap() []error {
	var each []error
	for _, t := range e.Tries {
		each = append(each, t.Err)
	}
	return each
}

// FindBaud opens the serial port at path and returns it at the first of BaudRates at which ask, which
// speaks to the adapter and checks its answer, gives no error. It sends nothing itself: an adapter repeats
// its last command when it is sent a bare carriage return, and only the caller knows what may be sent.
//
// The port is opened once, because opening may restart the adapter; speeds the port cannot run at are
// passed over. When none answers the error is a *BaudError. Should the port not open, the adapter go away or
// ctx end, that is the error, and no more speeds are tried.
func FindBaud(ctx context.Context, path string, clk clock.Clock, ask func(context.Context, Link) error) (Link, int, error) {
	rates := BaudRates()
	l, err := openSerial(path, rates[0], clk)
	if err != nil {
		return nil, 0, err
	}
	failed := &BaudError{Path: path}
	for i, baud := range rates {
		err = nil
		if i > 0 {
			err = l.setBaud(baud)
		}
		if err == nil {
			err = ask(ctx, l)
		}
		if err == nil {
			_ = l.SetReadDeadline(time.Time{}) // whatever ask left set was ask's
			return l, baud, nil
		}
		if ctx.Err() != nil {
			_ = l.Close()
			return nil, 0, context.Cause(ctx)
		}
		if errors.Is(err, ErrGone) {
			_ = l.Close()
			return nil, 0, err
		}
		failed.Tries = append(failed.Tries, BaudTry{Baud: baud, Err: err})
	}
	_ = l.Close()
	return nil, 0, failed
}
