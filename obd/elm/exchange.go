package elm

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"time"

	"stumble/obd"
)

const (
	prompt    = '>'
	maxAnswer = 64 << 10 // a real answer is under 4 KiB; more is a device that babbles
)

// past is a deadline that has gone by on any clock; the zero time would mean none.
var past = time.Unix(1, 0)

// send is the only place that writes to the link: the guard, then the line and a carriage return.
func (a *Adapter) send(line []byte) error {
	if err := guard(line); err != nil {
		return err
	}
	a.out = append(append(a.out[:0], line...), '\r')
	if _, err := a.link.Write(a.out); err != nil {
		return a.lost(err)
	}
	return nil
}

// exchange sends one line and reads to the prompt. What came is in a.answer, in upper case with spaces,
// NUL and line noise dropped, lines parted by carriage returns. The exchange is shown to the observer
// whatever became of it.
func (a *Adapter) exchange(ctx context.Context, line []byte, limit time.Duration) error {
	if a.link == nil {
		return ErrClosed
	}
	if a.unsure {
		if err := a.settle(ctx); err != nil {
			return err
		}
	}
	sent := a.cfg.Clock.Now()
	a.raw, a.answer = a.raw[:0], a.answer[:0]
	err := a.send(line)
	if err == nil {
		err = a.readToPrompt(ctx, sent.Add(limit))
	}
	a.sent, a.received = sent, a.cfg.Clock.Now()
	a.unsure = err != nil
	if a.cfg.Observe != nil {
		a.cfg.Observe(&obd.Exchange{Sent: a.sent, Received: a.received, Request: line, Answer: a.raw, Err: err})
	}
	if err != nil {
		return fmt.Errorf("%s: %w", line, err)
	}
	return nil
}

// readToPrompt collects the answer until the prompt. A prompt with nothing before it belongs to an earlier
// command (some adapters print it twice) and is passed over.
func (a *Adapter) readToPrompt(ctx context.Context, deadline time.Time) error {
	if err := a.watch(ctx, deadline); err != nil {
		return err
	}
	for {
		n, err := a.link.Read(a.buf[:])
		if a.take(a.buf[:n]) {
			return nil
		}
		if len(a.raw) > maxAnswer {
			return NotAnAdapter
		}
		if err != nil {
			return a.readFailed(ctx, err)
		}
	}
}

// take adds bytes to the answer and reports whether its prompt came.
func (a *Adapter) take(p []byte) bool {
	for _, c := range p {
		if c == prompt {
			if len(a.answer) > 0 {
				return true
			}
			continue
		}
		a.raw = append(a.raw, c)
		switch {
		case c == ' ' || c == 0 || c >= 0x80:
		case c >= 'a' && c <= 'z':
			a.answer = append(a.answer, c-'a'+'A')
		case c == '\r' || c == '\n':
			if len(a.answer) > 0 { // nothing but line ends so far: still no answer
				a.answer = append(a.answer, '\r')
			}
		case c > ' ':
			a.answer = append(a.answer, c)
		}
	}
	return false
}

func (a *Adapter) readFailed(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	if !errors.Is(err, os.ErrDeadlineExceeded) {
		return a.lost(err)
	}
	if len(a.answer) > 0 {
		return Unfinished
	}
	return Silent
}

// lost notes that the link is of no more use. A link that somebody closed says so itself.
func (a *Adapter) lost(err error) error {
	if !errors.Is(err, net.ErrClosed) {
		a.gone = true
	}
	return err
}

// watch sets the deadline and makes the end of ctx cut the read short. The watcher is kept for as long as
// the same context is used, so that a poller pays for it once and not at every exchange.
func (a *Adapter) watch(ctx context.Context, deadline time.Time) error {
	if ctx != a.watched {
		a.unwatch()
		a.watched = ctx
		link := a.link
		a.stopWatch = context.AfterFunc(ctx, func() { link.SetReadDeadline(past) })
	}
	if err := a.link.SetReadDeadline(deadline); err != nil {
		return a.lost(err)
	}
	// Looked at after the deadline is set: either this sees the end, or the watcher moves the deadline
	// after us.
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	return nil
}

func (a *Adapter) unwatch() {
	if a.stopWatch != nil {
		a.stopWatch()
	}
	a.watched, a.stopWatch = nil, nil
}

// settle gets back into step after an exchange that did not end in its prompt: whatever still arrives is
// thrown away until the line has been quiet for a while.
func (a *Adapter) settle(ctx context.Context) error {
	const (
		quiet = 250 * time.Millisecond
		most  = 3 * time.Second
	)
	end := a.cfg.Clock.Now().Add(most)
	for {
		now := a.cfg.Clock.Now()
		if !now.Before(end) {
			return NotAnAdapter // babbles without end
		}
		if err := a.watch(ctx, now.Add(quiet)); err != nil {
			return err
		}
		_, err := a.link.Read(a.buf[:])
		switch {
		case err == nil:
		case ctx.Err() != nil:
			return context.Cause(ctx)
		case errors.Is(err, os.ErrDeadlineExceeded):
			a.unsure = false
			return nil
		default:
			return a.lost(err)
		}
	}
}

// nextLine cuts the next line that is not empty off rest.
func nextLine(rest []byte) (line, after []byte) {
	for len(rest) > 0 {
		end := 0
		for end < len(rest) && rest[end] != '\r' {
			end++
		}
		line, after = rest[:end], rest[min(end+1, len(rest)):]
		if len(line) > 0 {
			return line, after
		}
		rest = after
	}
	return nil, nil
}
