package elm

import (
	"bytes"
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

	// How long an adapter may pause within an answer, before its prompt is taken to be lost. It waits a fifth
	// of a second for the next line unless told otherwise, a second at most; the rest is for slow radios.
	patienceUsual = time.Second
	patienceLong  = 2 * time.Second
	patienceLast  = 300 * time.Millisecond // after the blank line that ends an answer
)

// past is a deadline that has gone by on any clock; the zero time would mean none.
var past = time.Unix(1, 0)

// send is the only place that writes to the link: the guard, then the line and a carriage return.
func (a *Adapter) send(line []byte) error {
	clear := a.armed
	a.armed = false // for this one line, whatever it is
	// The one carriage return that stands by itself ends the change of speed that the line before it asked for.
	confirms := len(line) == 0 && bytes.HasPrefix(a.out, []byte("ATBRD"))
	if !confirms {
		if err := guard(line, clear, a.admitted...); err != nil {
			return err
		}
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
	return a.exchangeAt(ctx, a.cfg.Clock.Now(), line, limit)
}

// exchangeAt is exchange for a caller who has just asked for the time.
func (a *Adapter) exchangeAt(ctx context.Context, now time.Time, line []byte, limit time.Duration) error {
	if a.link == nil {
		return ErrClosed
	}
	if a.unsure {
		if err := a.settle(ctx, line); err != nil {
			return err
		}
		now = a.cfg.Clock.Now()
	}
	if heard := a.heard; heard != nil {
		a.heard = nil
		if !fresh(line) {
			return fmt.Errorf("%s: %w", line, heard)
		}
	}
	a.sent = now
	a.raw, a.answer = a.raw[:0], a.answer[:0]
	err := a.send(line)
	if err == nil {
		err = a.readToPrompt(ctx, a.sent.Add(limit))
	}
	a.received = a.cfg.Clock.Now()
	a.unsure = a.unsure || err != nil && !errors.Is(err, ErrForbidden)
	if a.cfg.Observe != nil {
		a.seen = obd.Exchange{Sent: a.sent, Received: a.received, Request: line, Answer: a.raw, Err: err}
		a.cfg.Observe(&a.seen)
	}
	if err != nil {
		return fmt.Errorf("%s: %w", line, err)
	}
	return nil
}

// readToPrompt collects the answer until the prompt. A prompt with nothing before it belongs to an earlier
// command (some adapters print it twice) and is passed over.
func (a *Adapter) readToPrompt(ctx context.Context, deadline time.Time) error {
	for until := deadline; ; until = a.nextDeadline(deadline) {
		if err := a.watch(ctx, until); err != nil {
			return err
		}
		n, err := a.link.Read(a.buf[:])
		if used, whole := a.take(a.buf[:n]); whole {
			a.overhear(a.buf[used:n])
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

// nextDeadline is until when to wait for the rest of an answer: as long as the adapter may pause, or as long as
// a search or the waking of a K-line takes once it says that it is at that.
func (a *Adapter) nextDeadline(deadline time.Time) time.Time {
	switch {
	case bytes.Contains(a.answer, []byte("SEARCHING")), bytes.Contains(a.answer, []byte("BUSINIT")):
		return a.sent.Add(searchLimit)
	case bytes.HasPrefix(a.out, a.answer): // nothing yet, or the echo
		return deadline
	}
	patience := max(a.patience, patienceUsual)
	if bytes.HasSuffix(a.answer, []byte("\r\r")) {
		patience = patienceLast
	}
	return a.cfg.Clock.Now().Add(patience)
}

// take adds bytes to the answer up to its prompt, and reports how many and whether the prompt was among them.
func (a *Adapter) take(p []byte) (used int, whole bool) {
	for used < len(p) && !whole {
		text := p[used:]
		at := bytes.IndexByte(text, prompt)
		if at >= 0 {
			text = text[:at]
			used++
		}
		used += len(text)
		a.raw = append(a.raw, text...)
		a.answer = appendClean(a.answer, text)
		whole = at >= 0 && len(a.answer) > 0
	}
	return used, whole
}

// appendClean adds text as answers are kept. Line ends before anything else are still no answer.
func appendClean(dst, text []byte) []byte {
	for _, c := range text {
		if c = kept[c]; c > '\r' || c == '\r' && len(dst) > 0 {
			dst = append(dst, c)
		}
	}
	return dst
}

// kept is what each byte counts for: letters in upper case, line ends as carriage returns, and blanks, NUL and
// what no adapter prints as nothing. Never written to.
var kept = func() (table [256]byte) {
	for c := byte('!'); c < 0x80; c++ {
		table[c] = c
	}
	for c := byte('a'); c <= 'z'; c++ {
		table[c] = c - 'a' + 'A'
	}
	table['\r'], table['\n'] = '\r', '\r'
	return table
}()

// overhear looks at what came unasked. Of an adapter that says that it lost its settings, the next line hears.
func (a *Adapter) overhear(p []byte) {
	if len(bytes.Trim(p, "\r\n >\x00")) == 0 {
		return
	}
	a.unsure = true
	clean := bytes.ReplaceAll(appendClean(nil, p), []byte{prompt}, []byte{'\r'})
	for line, rest := nextLine(clean); line != nil; line, rest = nextLine(rest) {
		if _, status := word(line); status != nil && unset(status) {
			a.heard = status
		}
	}
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
		link, done := a.link, make(chan struct{})
		stop := context.AfterFunc(ctx, func() {
			link.SetReadDeadline(past)
			close(done)
		})
		a.watched = ctx
		a.stopWatch = func() {
			if !stop() {
				<-done // or it would cut short an exchange under the next context
			}
		}
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

// settle gets back into step after an exchange that did not end in its own prompt. A line sent to an adapter
// that is still busy loses its first characters, and what is left of a request may be another request: 0104
// without its first byte would clear the codes. So what still arrives is thrown away until the line has been
// quiet for a while, and then, before any line that could be mistaken so, the adapter is asked what it is called:
// no part of that question reaches the bus.
func (a *Adapter) settle(ctx context.Context, next []byte) error {
	if err := a.drain(ctx, 250*time.Millisecond); err != nil {
		return err
	}
	a.unsure = false
	if fresh(next) || string(next) == probe {
		return nil
	}
	if err := a.exchange(ctx, []byte(probe), commandLimit); err != nil {
		return err
	}
	// If it was busy, this prompt was that of the interrupted command and its "?" is still to come.
	err := a.drain(ctx, 50*time.Millisecond)
	a.unsure = err != nil
	return err
}

// fresh reports a line after which nothing that was before matters.
func fresh(line []byte) bool { return string(line) == "ATZ" || string(line) == "ATWS" }

// probe is the question whose every tail is harmless.
const probe = "ATI"

// drain throws away what arrives until nothing has for some time.
func (a *Adapter) drain(ctx context.Context, quiet time.Duration) error {
	const most = 3 * time.Second
	end := a.cfg.Clock.Now().Add(most)
	for {
		now := a.cfg.Clock.Now()
		if !now.Before(end) {
			return NotAnAdapter // babbles without end
		}
		if err := a.watch(ctx, now.Add(quiet)); err != nil {
			return err
		}
		n, err := a.link.Read(a.buf[:])
		a.overhear(a.buf[:n])
		switch {
		case err == nil:
		case ctx.Err() != nil:
			return context.Cause(ctx)
		case errors.Is(err, os.ErrDeadlineExceeded):
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
