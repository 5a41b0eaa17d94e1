package linktest

import (
	"io"
	"math/rand/v2"
	"net"
	"os"
	"sync"
	"time"

	"stumble/obd/clock"
	"stumble/obd/link"
)

// Piece is some bytes on their way from a link to its reader.
type Piece struct {
	Data  []byte
	After time.Duration // how long it comes after it should
	Err   error         // the end: this, for ever, in place of bytes
}

// Fault turns a piece into what arrives of it: more pieces, fewer, other ones. It is called by one goroutine
// at a time and may remember; so each link needs faults of its own.
type Fault func(Piece) []Piece

// Faulty spoils what is read from l with faults, the first given nearest to l. What is written goes through
// unharmed, until a fault has ended the link. Faulty keeps the contract of a link, on clk, which must be
// l's. Closing it closes l.
func Faulty(l link.Link, clk clock.Clock, faults ...Fault) link.Link {
	f := &faulty{Link: l, clk: clk, faults: faults, wake: make(chan struct{}, 1)}
	f.arrive(Piece{}) // a fault may be there from the first
	return f
}

// CutAfter lets n bytes through; then the adapter is gone.
func CutAfter(n int) Fault {
	return func(p Piece) []Piece {
		if len(p.Data) < n {
			n -= len(p.Data)
			return []Piece{p}
		}
		p.Data, n = p.Data[:n], 0
		return []Piece{p, {Err: link.ErrGone}}
	}
}

// StallAfter lets n bytes through; then the adapter says no more.
func StallAfter(n int) Fault {
	return func(p Piece) []Piece {
		p.Data = p.Data[:min(n, len(p.Data))]
		n -= len(p.Data)
		return []Piece{p}
	}
}

// Delay makes each piece come d later than it did, measured from when it was read.
func Delay(d time.Duration) Fault {
	return func(p Piece) []Piece {
		p.After += d
		return []Piece{p}
	}
}

// SingleBytes lets each Read have one byte only.
func SingleBytes() Fault {
	return func(p Piece) []Piece {
		pieces := make([]Piece, 0, len(p.Data))
		for i := range p.Data {
			pieces = append(pieces, Piece{Data: p.Data[i : i+1], After: p.After})
			p.After = 0
		}
		return pieces
	}
}

// Garble inverts one bit in a share (0 to 1) of the bytes; which, seed decides.
func Garble(seed uint64, share float64) Fault {
	return eachByte(seed, func(random *rand.Rand, out []byte, b byte) []byte {
		if random.Float64() < share {
			b ^= 1 << random.IntN(8)
		}
		return append(out, b)
	})
}

// Drop loses a share (0 to 1) of the bytes; which, seed decides.
func Drop(seed uint64, share float64) Fault {
	return eachByte(seed, func(random *rand.Rand, out []byte, b byte) []byte {
		if random.Float64() < share {
			return out
		}
		return append(out, b)
	})
}

// NULs puts a zero before a share (0 to 1) of the bytes; which, seed decides.
func NULs(seed uint64, share float64) Fault {
	return eachByte(seed, func(random *rand.Rand, out []byte, b byte) []byte {
		if random.Float64() < share {
			out = append(out, 0)
		}
		return append(out, b)
	})
}

func eachByte(seed uint64, change func(random *rand.Rand, out []byte, b byte) []byte) Fault {
	random := rand.New(rand.NewPCG(seed, 0))
	return func(p Piece) []Piece {
		var out []byte
		for _, b := range p.Data {
			out = change(random, out, b)
		}
		p.Data = out
		return []Piece{p}
	}
}

type faulty struct {
	link.Link
	clk    clock.Clock
	faults []Fault
	wake   chan struct{} // tells a reader that waits for a late piece to look again
	buf    [256]byte
	late   []latePiece // read from the link, not yet handed on; the reader's

	mu       sync.Mutex
	deadline time.Time
	closed   bool
	ended    error
}

type latePiece struct {
	at   time.Time
	data []byte
	err  error
}

func (f *faulty) Read(p []byte) (int, error) {
	if len(p) == 0 {
		return 0, io.ErrShortBuffer
	}
	for {
		now := f.clk.Now()
		limit, err := f.limit(now)
		if err != nil {
			return 0, err
		}
		if len(f.late) == 0 {
			n, err := f.Link.Read(f.buf[:])
			if err != nil {
				return 0, err
			}
			f.arrive(Piece{Data: append([]byte(nil), f.buf[:n]...)})
			continue
		}
		first := &f.late[0]
		if now.Before(first.at) {
			if limit.IsZero() || first.at.Before(limit) {
				limit = first.at
			}
			f.clk.SleepUntil(limit, f.wake)
			continue
		}
		if first.err != nil {
			return 0, first.err
		}
		n := copy(p, first.data)
		if first.data = first.data[n:]; len(first.data) == 0 {
			f.late = f.late[1:]
		}
		return n, nil
	}
}

// limit is the deadline, or why there is no reading now.
func (f *faulty) limit(now time.Time) (time.Time, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	switch {
	case f.closed:
		return time.Time{}, net.ErrClosed
	case !f.deadline.IsZero() && !now.Before(f.deadline):
		return time.Time{}, os.ErrDeadlineExceeded
	}
	return f.deadline, nil
}

// arrive sends a piece through the faults and keeps what is left of it. Nothing overtakes.
func (f *faulty) arrive(p Piece) {
	pieces := []Piece{p}
	for _, fault := range f.faults {
		var next []Piece
		for _, p := range pieces {
			if p.Err != nil {
				next = append(next, p)
				break
			}
			next = append(next, fault(p)...)
		}
		pieces = next
	}
	at := f.clk.Now()
	for _, p := range pieces {
		at = at.Add(p.After)
		if p.Err != nil {
			f.end(p.Err)
		}
		if len(p.Data) > 0 || p.Err != nil {
			f.late = append(f.late, latePiece{at: at, data: p.Data, err: p.Err})
		}
	}
}

func (f *faulty) end(err error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.ended = err
}

func (f *faulty) Write(p []byte) (int, error) {
	f.mu.Lock()
	ended, closed := f.ended, f.closed
	f.mu.Unlock()
	if ended != nil && !closed {
		return 0, ended
	}
	return f.Link.Write(p)
}

func (f *faulty) SetReadDeadline(t time.Time) error {
	f.mu.Lock()
	f.deadline = t
	f.mu.Unlock()
	f.rouse()
	return f.Link.SetReadDeadline(t)
}

func (f *faulty) Close() error {
	f.mu.Lock()
	f.closed = true
	f.mu.Unlock()
	f.rouse()
	return f.Link.Close()
}

func (f *faulty) rouse() {
	select {
	case f.wake <- struct{}{}:
	default:
	}
}
