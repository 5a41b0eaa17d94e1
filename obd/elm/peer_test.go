package elm

import (
	"context"
	"net"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stumble/obd"
	"stumble/obd/clock"
)

// peer is an adapter in the test's own words: a function from the line it was sent to what it prints. Its
// time is the stepped clock's: whoever reads moves it on.
type peer struct {
	clock   *clock.Stepped
	answer  func(line string) string
	delay   time.Duration // before an answer
	sent    []string
	out     []byte
	due     time.Time
	mu      sync.Mutex
	until   time.Time // read deadline; mu's, as it may be moved from elsewhere
	gone    bool
	closed  bool
	partial string
}

// quiet in an answer stands for "nothing more is printed", so that the prompt never comes.
const quiet = "\x01"

func (p *peer) Write(b []byte) (int, error) {
	if p.closed {
		return 0, net.ErrClosed
	}
	if p.gone {
		return 0, errGone
	}
	p.partial += string(b)
	for {
		line, rest, whole := strings.Cut(p.partial, "\r")
		if !whole {
			return len(b), nil
		}
		p.partial = rest
		p.sent = append(p.sent, line)
		text := p.answer(line)
		if before, _, silent := strings.Cut(text, quiet); silent {
			p.out = append(p.out, before...)
		} else {
			p.out = append(append(p.out, text...), "\r\r>"...)
		}
		p.due = p.clock.Now().Add(p.delay)
	}
}

func (p *peer) Read(b []byte) (int, error) {
	p.mu.Lock()
	until := p.until
	p.mu.Unlock()
	switch {
	case p.closed:
		return 0, net.ErrClosed
	case p.gone:
		return 0, errGone
	case len(p.out) == 0 || !until.IsZero() && p.due.After(until):
		if until.IsZero() {
			panic("a read without deadline would never end")
		}
		p.clock.AdvanceTo(until)
		return 0, os.ErrDeadlineExceeded
	}
	p.clock.AdvanceTo(p.due)
	n := copy(b, p.out)
	p.out = p.out[n:]
	return n, nil
}

func (p *peer) SetReadDeadline(t time.Time) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.until = t
	return nil
}

func (p *peer) Close() error { p.closed = true; return nil }

var errGone = &net.OpError{Op: "read", Err: os.NewSyscallError("read", os.ErrNotExist)}

// faithful answers as a good adapter in front of a CAN car does; said overrides single lines.
func faithful(said map[string]string) func(string) string {
	return func(line string) string {
		if text, ok := said[line]; ok {
			return text
		}
		switch {
		case line == "ATZ":
			return "\r\rELM327 v1.4b"
		case line == "ATI":
			return "ELM327 v1.4b"
		case line == "ATDPN":
			return "A6"
		case line == "ATRV":
			return "12.3V"
		case strings.HasPrefix(line, "AT"):
			return "OK"
		case strings.HasPrefix(line, "0100"):
			return "7E8064100BE3FB813"
		case strings.HasPrefix(line, "010C"):
			return "7E804410C0BB8"
		}
		return "NO DATA"
	}
}

func newPeer(answer func(string) string) *peer {
	return &peer{clock: clock.NewStepped(time.Date(2026, 1, 5, 8, 0, 0, 0, time.UTC)), answer: answer, delay: 12 * time.Millisecond}
}

func (p *peer) config() Config {
	return Config{Clock: p.clock, Dial: func(context.Context) (Link, error) {
		p.closed, p.gone, p.out, p.partial = false, false, nil, ""
		return p, nil
	}}
}

// connected is a dialogue with the peer after its start-up, what was sent until then forgotten.
func connected(t *testing.T, p *peer) *Adapter {
	t.Helper()
	a, err := Connect(t.Context(), p.config())
	require.NoError(t, err)
	p.sent = nil
	return a
}

var askRPM = obd.Live(obd.PIDRPM)

// rpmAnswer is what a module says to askRPM: 750 rpm (0BB8 hexadecimal is 3000 quarters).
var rpmAnswer = []byte{0x41, 0x0C, 0x0B, 0xB8}
