// Package elm is the dialogue with an ELM327-compatible adapter: start-up, protocol, requests, the guard of
// the bus, what to do about each of the adapter's complaints, and reconnection. It stamps every exchange
// with the times it began and ended; nothing after it asks the hour.
//
// Facts are from the ELM327 data sheet, revision J, and SAE J1979; they are cited where they are used.
package elm

import (
	"context"
	"errors"
	"fmt"
	"io"
	"sync"
	"time"

	"stumble/obd"
	"stumble/obd/clock"
	"stumble/obd/frame"
)

// ErrClosed says that the adapter was closed or never reached.
var ErrClosed = errors.New("the connection to the adapter is closed")

// Link is what the dialogue needs of a byte stream. Read gives os.ErrDeadlineExceeded after the deadline,
// which is a time of the clock in Config.
type Link interface {
	io.ReadWriteCloser
	SetReadDeadline(t time.Time) error
}

// Config says how to reach the adapter and whom to tell. Clock and Dial are required.
type Config struct {
	Clock clock.Clock
	// Dial opens the link; it is called again after the link was lost.
	Dial func(ctx context.Context) (Link, error)
	// Protocol is what the car is known to speak; ProtocolUnknown lets the adapter search.
	Protocol obd.Protocol
	// Observe sees every exchange, set-up included, on the goroutine that asked. What it is given is good
	// until it returns. May be nil.
	Observe func(*obd.Exchange)
	// Notice hears of links lost and found again. May be nil.
	Notice func(Notice)
	// Patience is how long a lost link is sought before the request that needed it fails; zero means
	// until its context ends.
	Patience time.Duration
	// Baud is the speed to ask an adapter on a wire for, and to go on with where it keeps it; 0: none. Hastened, which may be
	// nil, hears that it does.
	Baud     int
	Hastened func(baud int)
	// WholeWait never uses the count of expected lines to cut an answer's wait short, as early adapters
	// and careful measurements need.
	WholeWait bool
}

// Notice is a change in the connection.
type Notice struct {
	At   time.Time
	Kind NoticeKind
	Err  error // why, when the link was lost or an attempt failed
}

// NoticeKind says what changed.
type NoticeKind uint8

const (
	LinkLost  NoticeKind = iota // the adapter went away
	LinkRetry                   // an attempt to reach it again failed
	LinkBack                    // it is back and set up
)

// Adapter is an open dialogue. Its methods are for one goroutine at a time, except Close, which may be
// called from anywhere.
type Adapter struct {
	cfg Config

	closing sync.Mutex // guards link and closed, which Close touches from elsewhere
	link    Link
	closed  bool

	protocol obd.Protocol
	identity string
	headers  bool // the adapter prints headers, so modules can be told apart
	fixed    bool // the adapter was told the protocol and does not search
	hurries  haste
	staid    bool // it does not change its speed
	swept    bool // all was tried in vain once, and again after a reset
	slow     bool // the modules answered when the adapter waited its longest, and not before

	unsure bool    // the last exchange did not end in its prompt
	heard  *Status // the adapter said, unasked, that it lost its settings
	echoes bool    // it repeats what it is sent
	gone   bool    // the link is lost

	header    string // the request header that was set last; empty: that to all modules, as after a reset
	aim       string // the header that the request under way wants
	expect    int    // lines that its answer is taken to have; 0: not known
	headersOf map[obd.Module]string
	aimless   bool // the adapter cannot set a header

	owed []string // set-up commands that are due before the next request: see putBack

	granted uint64 // permissions to clear that were given or refused, the last of which alone can hold
	open    bool   // and does, not having been used
	armed   bool   // the next line may be the clear: see clearOnce

	admitted []string // requests of the user's table of counters, that the guard lets through

	counts  countBook
	modules []obd.Module // that have answered something
	modern  []obd.Module // of them, those that speak OBD on UDS
	byID    bool         // the car was found by that: it answers no service 01

	strangers []stranger

	assembler frame.Assembler
	messages  []obd.Message
	negatives []obd.NegativeResponse
	promised  []obd.NegativeResponse // promises of the last answer that it does not keep itself

	sent, received time.Time
	seen           obd.Exchange  // as it is shown to the observer
	patience       time.Duration // how long the adapter may pause in an answer; 0 means the usual
	line           []byte        // the request as it is sent
	out            []byte
	raw            []byte // the answer as it came
	answer         []byte // the answer cleaned: upper case, no spaces, lines parted by CR
	buf            [4096]byte

	watched   context.Context // kept to save a watcher an exchange: see watch
	stopWatch func()
}

// haste is whether an adapter waits less than it usually does: see hurry.
type haste uint8

const (
	notYet haste = iota
	hurrying
	gaveUp
)

// Connect opens the link, starts the adapter up and finds the car's protocol. When the adapter is there
// but no car answers, it returns the adapter together with an error that is a *Status whose remedy is
// RemedyWaitIgnition: ask FindCar again later.
func Connect(ctx context.Context, cfg Config) (*Adapter, error) {
	a := &Adapter{cfg: cfg, protocol: cfg.Protocol, counts: newCountBook(!cfg.WholeWait),
		headersOf: make(map[obd.Module]string), modules: make([]obd.Module, 0, mostModules)}
	if err := a.dial(ctx); err != nil {
		return nil, err
	}
	if err := a.startUp(ctx); err != nil {
		a.Close()
		return nil, err
	}
	err := a.FindCar(ctx)
	if errors.Is(err, OutOfStep) || errors.Is(err, Rebooted) { // what the client before was still owed came late
		if err = a.drain(ctx, 250*time.Millisecond); err == nil {
			err = a.startAgain(ctx)
		}
	}
	if err != nil {
		if RemedyFor(err) == RemedyWaitIgnition {
			return a, err
		}
		a.Close()
		return nil, err
	}
	return a, nil
}

// Protocol is what the car speaks, ProtocolUnknown until FindCar has found it.
func (a *Adapter) Protocol() obd.Protocol { return a.protocol }

// Identity is what the adapter calls itself. Many lie about the version.
func (a *Adapter) Identity() string { return a.identity }

// ByID reports whether the car was found by the question of SAE J1979-2 and answers none of SAE J1979.
func (a *Adapter) ByID() bool { return a.byID }

// Headers reports whether the adapter tells which module said what.
func (a *Adapter) Headers() bool { return a.headers }

// Close ends the dialogue and closes the link. It makes an exchange under way return.
func (a *Adapter) Close() error {
	a.closing.Lock()
	defer a.closing.Unlock()
	a.closed = true
	if a.link == nil {
		return nil
	}
	return a.link.Close()
}

// dial opens the link, unless the adapter was closed while it was being opened.
func (a *Adapter) dial(ctx context.Context) error {
	link, err := a.cfg.Dial(ctx)
	if err != nil {
		return err
	}
	a.closing.Lock()
	defer a.closing.Unlock()
	if a.closed {
		link.Close()
		return ErrClosed
	}
	a.link, a.gone = link, false
	return nil
}

// Voltage asks the adapter for the supply voltage at its plug, in volts.
func (a *Adapter) Voltage(ctx context.Context) (float64, error) {
	if err := a.command(ctx, "ATRV", commandLimit); err != nil {
		return 0, err
	}
	line, _ := nextLine(a.answer)
	var v float64
	if _, err := fmt.Sscanf(string(line), "%fV", &v); err != nil {
		return 0, fmt.Errorf("ATRV: %w", NotUnderstood)
	}
	return v, nil
}
