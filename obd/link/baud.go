package link

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
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

// Error is one line: the port, what the speeds gave, and what to do.
func (e *BaudError) Error() string {
	return fmt.Sprintf("no adapter answers on %s (%s); check that it is in the diagnostic socket with the ignition on, or choose another port",
		e.Path, e.Heard())
}

// Heard is what the speeds gave, each answer once with the speeds that gave it: "at any speed: no answer
// from the adapter", or "at 38400: ...; at 115200, 9600: ...".
func (e *BaudError) Heard() string {
	var answers []string
	speeds := make(map[string][]string)
	for _, t := range e.Tries {
		said := heard(t.Err)
		if speeds[said] == nil {
			answers = append(answers, said)
		}
		speeds[said] = append(speeds[said], strconv.Itoa(t.Baud))
	}
	if len(answers) == 1 {
		return "at any speed: " + answers[0]
	}
	for i, said := range answers {
		answers[i] = "at " + strings.Join(speeds[said], ", ") + ": " + said
	}
	return strings.Join(answers, "; ")
}

// heard is what one speed gave, without the steps that led there, and without advice that would drown the
// one at the end.
func heard(err error) string {
	if failed := (*Error)(nil); errors.As(err, &failed) {
		return failed.Reason.Error()
	}
	for inner := errors.Unwrap(err); inner != nil; inner = errors.Unwrap(err) {
		err = inner
	}
	return oneLine(err)
}

// Unwrap gives what each speed gave.
func (e *BaudError) Unwrap() []error {
	var each []error
	for _, t := range e.Tries {
		each = append(each, t.Err)
	}
	return each
}

// FindBaud opens the serial port at path and returns it at the first speed, first and then BaudRates, at which ask, which
// speaks to the adapter and checks its answer, gives no error. It sends nothing itself: an adapter repeats
// its last command when it is sent a bare carriage return, and only the caller knows what may be sent.
//
// The port is opened once, because opening may restart the adapter, unless it refuses a speed; that one is
// passed over. When none answers the error is a *BaudError. Should the port not open, the adapter go away or
// ctx end, that is the error, and no more speeds are tried.
func FindBaud(ctx context.Context, path string, first int, clk clock.Clock, ask func(context.Context, Link) error) (Link, int, error) {
	open := func(baud int) (*serialLink, error) { return openSerial(path, baud, clk) }
	l, err := findBaud(ctx, path, speeds(first), open, ask)
	if err != nil {
		return nil, 0, err
	}
	return l, l.baud, nil
}

// speeds are those to try, with one that an adapter was found at before the others; 0 is none.
func speeds(first int) []int {
	all := BaudRates()
	if first <= 0 {
		return all
	}
	return append([]int{first}, slices.DeleteFunc(all, func(b int) bool { return b == first })...)
}

func findBaud(ctx context.Context, path string, bauds []int, open func(baud int) (*serialLink, error),
	ask func(context.Context, Link) error) (*serialLink, error) {
	failed := &BaudError{Path: path}
	var l *serialLink
	for _, baud := range bauds {
		var err error
		if l, err = atBaud(l, baud, open); err == nil {
			err = ask(ctx, l)
		} else if !errors.Is(err, BadSpeed) {
			return nil, err
		}
		switch {
		case err == nil:
			_ = l.SetReadDeadline(time.Time{}) // whatever ask left set was ask's
			return l, nil
		case ctx.Err() != nil:
			err = context.Cause(ctx)
		case !errors.Is(err, ErrGone):
			failed.Tries = append(failed.Tries, BaudTry{Baud: baud, Err: err})
			continue
		}
		closeIfOpen(l)
		return nil, err
	}
	closeIfOpen(l)
	return nil, failed
}

// atBaud is l at another speed, or the port opened at that speed when l is nil. Refused a speed, it is nil:
// on Windows a port is no longer open then.
func atBaud(l *serialLink, baud int, open func(int) (*serialLink, error)) (*serialLink, error) {
	if l == nil {
		return open(baud)
	}
	if err := l.setBaud(baud); err != nil {
		_ = l.Close()
		return nil, err
	}
	return l, nil
}

func closeIfOpen(l *serialLink) {
	if l != nil {
		_ = l.Close()
	}
}
