package link

import (
	"errors"
	"io"
	"net"
	"runtime"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	"go.bug.st/serial"

	"stumble/obd/clock"
)

const (
	// settle is the pause after opening. Opening raises the DTR and RTS lines, which restarts some
	// adapters; what they babble meanwhile is thrown away.
	settle = 100 * time.Millisecond
	// writePiece is the most that is handed to the driver at once, and without an answer. A Write which
	// was given up lets go after little more than that. Requests are far shorter.
	writePiece = 256
	// freeTries bounds how often Close tries to free a Write that is stuck in the driver.
	freeTries = 20
)

// Serial opens the serial port at path (a device file, or COMn) with eight data bits, no parity, one stop
// bit and no flow control, waits a tenth of a second of the clock for the adapter to settle, and throws away
// what it said until then. The error is an *Error.
func Serial(path string, baud int, clk clock.Clock) (Link, error) {
	l, err := openSerial(path, baud, clk)
	if err != nil {
		return nil, err // not l: a nil *serialLink in a Link is no nil Link
	}
	return l, nil
}

func openSerial(path string, baud int, clk clock.Clock) (*serialLink, error) {
	if baud <= 0 {
		return nil, &Error{Op: "open", Where: path, Reason: BadSpeed}
	}
	port, err := serial.Open(path, mode(baud))
	if err == nil {
		if err = port.SetReadTimeout(slice); err != nil {
			_ = port.Close()
		}
	}
	if err != nil {
		return nil, &Error{Op: "open", Where: path, Reason: serialReason(err), Cause: err}
	}
	l := &serialLink{port: port, where: path, baud: baud, timeout: slice, quit: make(chan struct{})}
	l.deadline.start(clk)
	l.flush()
	return l, nil
}

func mode(baud int) *serial.Mode {
	return &serial.Mode{BaudRate: baud, DataBits: 8, Parity: serial.NoParity, StopBits: serial.OneStopBit}
}

type serialLink struct {
	port     serial.Port
	where    string
	baud     int
	deadline deadline
	closed   atomic.Bool
	quit     chan struct{} // closed by Close

	reading sync.Mutex    // held by a Read: the port is never closed under one
	timeout time.Duration // what the port's read time-out is; the reader's

	writing    sync.Mutex
	left       <-chan written // tells when a Write that was given up has ended; nil when there is none; writing's
	driving    sync.Mutex     // held while the driver is being given something
	unanswered atomic.Int64   // bytes written since the adapter last spoke
}

// written is what came of giving the driver something.
type written struct {
	n   int
	err error
}

// Read waits in slices: the port's time-out is looked at by the driver once a Read has begun and cannot be
// moved, and a Close does not end a Read on every system.
func (l *serialLink) Read(p []byte) (int, error) {
	if len(p) == 0 {
		return 0, io.ErrShortBuffer
	}
	l.reading.Lock()
	defer l.reading.Unlock()
	for {
		if l.closed.Load() {
			return 0, net.ErrClosed
		}
		wait, err := l.deadline.wait()
		if err != nil {
			return 0, err
		}
		if err := l.setTimeout(wait); err != nil {
			return 0, l.broken("read", err)
		}
		n, err := l.port.Read(p)
		if n > 0 {
			l.unanswered.Store(0)
			return n, nil
		}
		if err != nil {
			return 0, l.broken("read", err)
		}
	}
}

// setTimeout makes the next Read of the port wait that long, in whole milliseconds, the finest that every
// system knows. It costs a system call on Windows, so it is left alone where it is right already: which is
// nearly always, for a full slice.
func (l *serialLink) setTimeout(wait time.Duration) error {
	wait = (wait + time.Millisecond - 1).Truncate(time.Millisecond)
	if wait == l.timeout {
		return nil
	}
	l.timeout = wait
	return l.port.SetReadTimeout(wait)
}

// Write gives p to the driver, which holds a request or two without waiting for the adapter to take them.
// Beyond that nothing would make the driver let go of a Write to an adapter that takes no more, so it is
// given the bytes from a goroutine of their own: after the time limit, or Close, the Write returns and the
// goroutine is left behind. Until that one is free again every Write fails.
func (l *serialLink) Write(p []byte) (int, error) {
	l.writing.Lock()
	defer l.writing.Unlock()
	if l.closed.Load() {
		return 0, net.ErrClosed
	}
	if l.left != nil {
		select {
		case <-l.left:
			l.left = nil
		default:
			return 0, &Error{Op: "write", Where: l.where, Reason: Stalled}
		}
	}
	var w written
	if l.fits(p) {
		w = l.drive(p)
	} else {
		w = l.driveApart(append([]byte(nil), p...))
	}
	if w.err != nil {
		return w.n, l.broken("write", w.err)
	}
	return w.n, nil
}

// fits reports whether the driver is sure to take p at once: its own buffer (common practice: a few
// thousand bytes or some sixteen writes) holds all that was written since the adapter last spoke. Windows'
// drivers wait for the adapter whatever their buffer.
func (l *serialLink) fits(p []byte) bool {
	const least = 32 // what even a short Write counts for
	return l.unanswered.Add(int64(max(len(p), least))) <= writePiece && runtime.GOOS != "windows"
}

// driveApart is drive, given up after the time limit or on Close. It keeps p.
func (l *serialLink) driveApart(p []byte) written {
	done := make(chan written, 1)
	limit := l.deadline.clk.After(writeLimit)
	go func() { done <- l.drive(p) }()
	select {
	case w := <-done:
		return w
	case <-limit:
		l.left = done
		return written{err: Stalled}
	case <-l.quit:
		return written{err: net.ErrClosed}
	}
}

// drive gives the driver p piece by piece. The driver may take less than it was given, and a signal to this
// program may interrupt it.
func (l *serialLink) drive(p []byte) (w written) {
	l.driving.Lock()
	defer l.driving.Unlock()
	for w.n < len(p) && w.err == nil {
		if l.closed.Load() {
			return written{w.n, net.ErrClosed}
		}
		n, err := l.port.Write(p[w.n:min(w.n+writePiece, len(p))])
		w.n += n
		switch {
		case n == 0 && err == nil:
			w.err = io.ErrNoProgress
		case !errors.Is(err, syscall.EINTR):
			w.err = err
		}
	}
	return w
}

// broken names an error of the port. The library calls a port closed both when we closed it and when the
// plug was pulled; only we know which it was.
func (l *serialLink) broken(op string, err error) error {
	if l.closed.Load() {
		return net.ErrClosed
	}
	if errors.Is(err, Stalled) {
		return &Error{Op: op, Where: l.where, Reason: Stalled}
	}
	return &Error{Op: op, Where: l.where, Reason: Gone, Cause: err}
}

func (l *serialLink) SetReadDeadline(t time.Time) error {
	if l.closed.Load() {
		return net.ErrClosed
	}
	l.deadline.set(t)
	return nil
}

// Close tells the reader and the writer to stop before it closes the port: the number of a closed file may
// be another file's the next moment, and on Windows the library takes no care of a Read under way.
func (l *serialLink) Close() error {
	if l.closed.Swap(true) {
		return nil
	}
	close(l.quit)
	l.reading.Lock()
	defer l.reading.Unlock()
	l.free()
	return l.port.Close()
}

// free throws away what waits to be sent, if anything can: the system would wait for it to go out, half a
// minute on some, before it closes the port. That also gets a Write out of the driver, once setting the mode
// again has woken it to see that there is room. A driver that heeds neither keeps its goroutine until the
// adapter is unplugged: the port is closed all the same.
func (l *serialLink) free() {
	for range freeTries {
		idle := l.driving.TryLock()
		if !idle || l.unanswered.Load() > 0 {
			_ = l.port.ResetOutputBuffer()
		}
		if idle {
			l.driving.Unlock()
			return
		}
		_ = l.port.SetMode(mode(l.baud))
		// The driver takes its own time, not our clock's.
		<-clock.System{}.After(time.Millisecond)
	}
}

// Baud is the speed of the port.
func (l *serialLink) Baud() int { return l.baud }

// SetBaud changes the speed of the open port. It is for whoever reads and writes, between the two.
func (l *serialLink) SetBaud(baud int) error { return l.setBaud(baud) }

// setBaud changes the speed of the open port, which leaves DTR alone, and forgets what the old speed left.
func (l *serialLink) setBaud(baud int) error {
	if err := l.port.SetMode(mode(baud)); err != nil {
		return &Error{Op: "open", Where: l.where, Reason: BadSpeed, Cause: err}
	}
	l.baud = baud
	_ = l.port.ResetOutputBuffer()
	l.flush()
	return nil
}

// flush waits for the adapter to settle and throws away what came in. A port that cannot do so shows at the
// first Read.
func (l *serialLink) flush() {
	l.deadline.clk.SleepUntil(l.deadline.clk.Now().Add(settle), l.quit)
	_ = l.port.ResetInputBuffer()
}
