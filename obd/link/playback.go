package link

import (
	"bytes"
	"io"
	"net"
	"os"
	"sync"
	"time"

	"stumble/obd/clock"
)

// maxRequestLine bounds what Playback keeps of a request that does not end; an adapter's own buffer is
// smaller.
const maxRequestLine = 1024

// notUnderstood is what an adapter answers to what it does not know.
const notUnderstood = "?\r\r>"

// PlaybackOption changes how a recording is played.
type PlaybackOption func(*playback)

// AtOnce leaves out the recorded delays.
func AtOnce() PlaybackOption { return func(p *playback) { p.atOnce = true } }

// Playback is a link to an adapter that answers as one did when the exchanges read from r were recorded,
// and takes as long, on the clock. Requests are told by their text up to the carriage return, blanks and
// case aside, and may come in any order: each gets the answer that was recorded for it next, and once
// those are used up the last of them again. A request that was never recorded is answered "?". What the
// adapter had said before the first request comes by itself. The error tells of a damaged recording.
func Playback(r io.Reader, clk clock.Clock, options ...PlaybackOption) (Link, error) {
	records, err := ReadRecording(r)
	if err != nil {
		return nil, err
	}
	p := &playback{clk: clk, wake: make(chan struct{}, 1)}
	p.deadline.start(clk)
	for _, option := range options {
		option(p)
	}
	var greeting answer
	greeting, p.answers = sortAnswers(records)
	p.say(greeting)
	return p, nil
}

// answer is what the adapter said to one request, in the pieces that it came in.
type answer []piece

type piece struct {
	after time.Duration // since the request was sent
	data  []byte
}

// answers are those to one request, in the order they were recorded.
type answers struct {
	list []answer
	next int
}

// take is the next answer; the last for ever.
func (a *answers) take() answer {
	got := a.list[a.next]
	a.next = min(a.next+1, len(a.list)-1)
	return got
}

// sortAnswers gives what the adapter said unasked at the start, and then what it said to each request.
func sortAnswers(records []Record) (greeting answer, byRequest map[string]*answers) {
	byRequest = make(map[string]*answers)
	current, asked := &greeting, time.Duration(0)
	var sent requestLine
	for _, r := range records {
		if !r.Sent {
			*current = append(*current, piece{after: r.At - asked, data: r.Data})
			continue
		}
		for _, request := range sent.add(r.Data) {
			a := byRequest[request]
			if a == nil {
				a = &answers{}
				byRequest[request] = a
			}
			a.list = append(a.list, nil)
			current, asked = &a.list[len(a.list)-1], r.At
		}
	}
	return greeting, byRequest
}

// requestLine gathers what is sent into requests.
type requestLine []byte

// add takes sent bytes and returns the requests they complete, as an adapter sees them: without blanks,
// zeros and line feeds, in capitals.
func (l *requestLine) add(p []byte) []string {
	var done []string
	for _, b := range p {
		switch {
		case b == '\r':
			done = append(done, string(bytes.ToUpper(*l)))
			*l = (*l)[:0]
		case b == ' ' || b == '\n' || b == 0:
		case len(*l) < maxRequestLine:
			*l = append(*l, b)
		}
	}
	return done
}

type playback struct {
	clk      clock.Clock
	atOnce   bool
	deadline deadline
	wake     chan struct{} // tells the reader to look again

	mu      sync.Mutex
	closed  bool
	answers map[string]*answers
	sent    requestLine
	due     []duePiece // on its way to the reader
}

type duePiece struct {
	at   time.Time
	data []byte
}

// say puts an answer on its way, behind all that is on its way already: nothing overtakes.
func (p *playback) say(a answer) {
	now := p.clk.Now()
	for _, piece := range a {
		at := now
		if !p.atOnce {
			at = now.Add(piece.after)
		}
		p.due = append(p.due, duePiece{at: at, data: piece.data})
	}
}

func (p *playback) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.closed {
		return 0, net.ErrClosed
	}
	for _, request := range p.sent.add(b) {
		if a := p.answers[request]; a != nil {
			p.say(a.take())
		} else {
			p.say(answer{{data: []byte(notUnderstood)}})
		}
	}
	p.rouse()
	return len(b), nil
}

func (p *playback) Read(b []byte) (int, error) {
	if len(b) == 0 {
		return 0, io.ErrShortBuffer
	}
	for {
		n, next, err := p.take(b)
		if n > 0 || err != nil {
			return n, err
		}
		if next.IsZero() {
			<-p.wake
		} else {
			p.clk.SleepUntil(next, p.wake)
		}
	}
}

// take gives what is due, or when to look again; the zero time is when roused.
func (p *playback) take(b []byte) (n int, next time.Time, err error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.closed {
		return 0, next, net.ErrClosed
	}
	now := p.clk.Now()
	limit, limited := p.deadline.time()
	if limited {
		if !now.Before(limit) {
			return 0, next, os.ErrDeadlineExceeded
		}
		next = limit
	}
	if len(p.due) == 0 {
		return 0, next, nil
	}
	first := &p.due[0]
	if now.Before(first.at) {
		if !limited || first.at.Before(limit) {
			next = first.at
		}
		return 0, next, nil
	}
	n = copy(b, first.data)
	if first.data = first.data[n:]; len(first.data) == 0 {
		p.due = p.due[1:]
	}
	return n, next, nil
}

func (p *playback) SetReadDeadline(t time.Time) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.closed {
		return net.ErrClosed
	}
	p.deadline.set(t)
	p.rouse()
	return nil
}

func (p *playback) Close() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.closed = true
	p.rouse()
	return nil
}

// rouse makes the reader look again; one call waiting is enough.
func (p *playback) rouse() {
	select {
	case p.wake <- struct{}{}:
	default:
	}
}
