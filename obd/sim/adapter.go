package sim

import (
	"cmp"
	"math/rand/v2"
	"slices"
	"time"

	"stumble/obd"
	"stumble/obd/sim/car"
)

// Config says what adapter to build and which car to plug it into.
type Config struct {
	Bus     Bus
	Baud    int           // serial speed, ten bits a byte; 0: bytes take no time
	Latency time.Duration // what a USB bridge or a radio adds to everything on its way to the computer
	Version string        // what it calls itself; "" for DefaultVersion
	Filler  byte          // what the car's modules fill the unused bytes of a CAN frame with
	Seed    uint64        // of everything that happens by chance
	Quirks  Quirks        // how it falls short of a faithful adapter
	Faults  []Fault       // what befalls it
}

// DefaultVersion is what an adapter calls itself unless told otherwise.
const DefaultVersion = "ELM327 v2.2"

const (
	processing   = 500 * time.Microsecond // from a carriage return to doing what was asked
	resetting    = 800 * time.Millisecond // a full reset, lamps test and all
	stopping     = time.Millisecond       // from an interrupting byte to STOPPED
	longestTyped = 64                     // characters of a command; more is not understood
)

// Adapter is a simulated ELM327-compatible adapter as a pure state machine: bytes go in at a time, bytes
// come out at a time, and it never asks what time it is. It is not safe for use by several goroutines;
// Link is. Times given to it must not run backwards.
type Adapter struct {
	cfg      Config
	rng      *rand.Rand
	byteTime time.Duration

	settings
	bus   busState
	nodes [16]byte // node addresses by their index among the CAN identifiers
	met   int      // how many of them are known

	rxFree time.Time // when the last byte from the computer was in
	typed  []byte    // the command so far: upper case, no spaces
	last   []byte    // the command before, for a lone carriage return
	tooBig bool      // typed has overflowed

	out     queue
	busyTo  time.Time // until when the last command keeps it busy
	busBusy bool      // busy with the bus, so that a byte stops it
	monitor bool      // showing all traffic until a byte comes
	asleep  bool
	hung    bool
	sulking bool // hears nobody on the bus until it is reset

	work   work // what is to be done later, in the course of a command
	workAt time.Time

	born   time.Time // the first byte: faults count from here
	faults []Fault   // still to come, in order
	noCAN  bool      // ERR94 blocks CAN until forgotten

	request  []byte // the service request under way
	count    int    // lines after which to stop listening; 0: wait for the time-out
	answers  []car.Answer
	arrivals []arrival
	late     []arrival // what arrived after the last exchange had given up on it
	frame    []byte    // a message before CAN with header and check byte
	scratch  []byte    // the line being written
}

// work is what an adapter is in the middle of.
type work uint8

const (
	idle work = iota
	searching
	initialising
)

// NewAdapter returns an adapter that has been powered for a while and waits for its first command.
func NewAdapter(cfg Config) *Adapter {
	if cfg.Version == "" {
		cfg.Version = DefaultVersion
	}
	a := &Adapter{
		cfg: cfg,
		rng: rand.New(rand.NewPCG(cfg.Seed, 0x0bd)),
		bus: busState{auto: true, savedAuto: true},
	}
	if cfg.Baud > 0 {
		a.byteTime = 10 * time.Second / time.Duration(cfg.Baud)
	}
	a.out.latency = cfg.Latency
	a.faults = slices.SortedStableFunc(slices.Values(cfg.Faults), func(x, y Fault) int { return cmp.Compare(x.After, y.After) })
	a.settings = a.defaults()
	a.met = copy(a.nodes[:], []byte{0x10, 0x18})
	return a
}

// Input takes bytes that the computer hands to its end of the line at a time.
func (a *Adapter) Input(b []byte, at time.Time) {
	if a.born.IsZero() {
		a.born = at
	}
	for _, c := range b {
		a.rxFree = later(a.rxFree, at).Add(a.byteTime)
		a.advance(a.rxFree)
		a.receive(c, a.rxFree)
	}
}

// Due is when Output next has something to do, which is nearly always to hand out bytes; false when
// nothing will happen before the next Input.
func (a *Adapter) Due() (at time.Time, ok bool) {
	at, ok = a.out.due()
	if a.work != idle && (!ok || a.workAt.Before(at)) {
		at, ok = a.workAt, true
	}
	if fault, any := a.nextFault(); any && (!ok || fault.Before(at)) {
		at, ok = fault, true
	}
	return at, ok
}

// Output moves what has reached the computer by now into p and returns the number of bytes.
func (a *Adapter) Output(p []byte, now time.Time) int {
	a.advance(now)
	return a.out.take(p, now)
}

// HangUp forgets what a client that has left typed last and what it was still to be told: the next one gets none of it.
func (a *Adapter) HangUp(now time.Time) {
	a.advance(now)
	a.out.bytes, a.out.chunks, a.out.read, a.out.head = a.out.bytes[:0], a.out.chunks[:0], 0, 0
	a.out.free, a.rxFree = now, now
	a.typed, a.tooBig = a.typed[:0], false
	if a.work != idle || a.busyTo.After(now) {
		a.work, a.monitor, a.busBusy, a.busyTo = idle, false, false, now
	}
}

// PowerCycle pulls the adapter from its socket and plugs it in again. It is the only cure for one that hangs.
func (a *Adapter) PowerCycle(at time.Time) {
	a.out.cut(at)
	a.hung, a.noCAN = false, false
	a.restart(at.Add(resetting))
}

// advance does what was to happen by now.
func (a *Adapter) advance(now time.Time) {
	for a.work != idle || len(a.faults) > 0 {
		fault, any := a.nextFault()
		switch {
		case a.work != idle && !a.workAt.After(now) && !(any && fault.Before(a.workAt)):
			a.carryOn()
		case any && !fault.After(now):
			a.suffer(fault)
		default:
			return
		}
	}
}

// carryOn finishes what a command had to wait for.
func (a *Adapter) carryOn() {
	was := a.work
	a.work = idle
	if was == searching {
		a.searched(a.workAt)
	} else {
		a.initialised(a.workAt)
	}
}

// receive handles one byte from the computer.
func (a *Adapter) receive(c byte, at time.Time) {
	switch {
	case a.hung:
		return
	case a.asleep:
		a.restart(at.Add(resetting))
		return
	case a.monitor || a.work != idle || at.Before(a.busyTo):
		if a.busBusy {
			a.interrupt(at)
		}
		return
	case c == 0 || c == '\n':
		return
	}
	if a.echo {
		a.echoByte(at, c)
	}
	switch {
	case c == '\r':
		a.execute(at.Add(processing))
	case c <= ' ':
	case len(a.typed) == longestTyped:
		a.tooBig = true
	default:
		a.typed = append(a.typed, upper(c))
	}
}

// execute does what was typed, or the last command again when nothing was.
func (a *Adapter) execute(at time.Time) {
	if len(a.typed) == 0 {
		a.typed = append(a.typed, a.last...)
	} else {
		a.last = append(a.last[:0], a.typed...)
	}
	typed, tooBig := a.typed, a.tooBig
	a.typed, a.tooBig = a.typed[:0], false
	a.busBusy = false
	switch {
	case tooBig:
		a.reply(at, "?")
	case len(typed) >= 2 && typed[0] == 'A' && typed[1] == 'T':
		a.command(at, string(typed[2:]))
	default:
		a.ask(at, typed)
	}
}

// interrupt ends the command under way because a byte came in; the byte itself is lost.
func (a *Adapter) interrupt(at time.Time) {
	a.abandon(at)
	a.unheard(at)
	a.finishLine(at.Add(stopping))
	a.reply(at.Add(stopping), "STOPPED")
}

// abandon drops the command under way and whatever it had not sent yet.
func (a *Adapter) abandon(at time.Time) {
	a.out.cut(at)
	a.work, a.monitor, a.busBusy = idle, false, false
	a.busyTo = at
}

// reply prints one line and the prompt.
func (a *Adapter) reply(at time.Time, line string) {
	a.print(at, line)
	a.print(at, "\r")
	a.prompt(at)
}

// prompt ends a command: a blank line and the sign that the next may come.
func (a *Adapter) prompt(at time.Time) {
	at = at.Add(a.cfg.Quirks.LatePrompt)
	a.print(at, "\r>")
	if a.chance(a.cfg.Quirks.DoublePrompt) {
		a.print(at.Add(a.cfg.Quirks.LatePrompt), "\r>")
	}
	a.busyTo = at
}

// finishLine ends a line that was left open, as SEARCHING... is.
func (a *Adapter) finishLine(at time.Time) {
	if last := a.out.last(); last != '\r' && last != '\n' && last != '>' {
		a.print(at, "\r")
	}
}

// print sends text; each carriage return takes a line feed along when those are on.
func (a *Adapter) print(at time.Time, text string) {
	start := len(a.out.bytes)
	for i := range len(text) {
		a.sendByte(text[i])
		if text[i] == '\r' && a.feeds {
			a.sendByte('\n')
		}
	}
	a.out.commit(at, start, a.byteTime)
}

// echoByte returns a byte to the computer as it comes in.
func (a *Adapter) echoByte(at time.Time, c byte) {
	start := len(a.out.bytes)
	a.sendByte(c)
	if c == '\r' && a.feeds {
		a.sendByte('\n')
	}
	a.out.commit(at, start, a.byteTime)
}

// sendByte queues one byte, subject to what a poor line does to it.
func (a *Adapter) sendByte(c byte) {
	q := &a.cfg.Quirks
	if a.chance(q.Noise) {
		a.out.bytes = append(a.out.bytes, noise[a.rng.IntN(len(noise))])
	}
	if a.chance(q.LosesBytes) {
		return
	}
	a.out.bytes = append(a.out.bytes, c)
}

// chance is true with probability p.
func (a *Adapter) chance(p float64) bool { return p > 0 && a.rng.Float64() < p }

// protocolOfCar is what the car speaks, or none while its modules sleep.
func (a *Adapter) protocolOfCar(at time.Time) obd.Protocol {
	if !a.cfg.Bus.Ignition(at) {
		return obd.ProtocolUnknown
	}
	return a.cfg.Bus.Protocol()
}

func upper(c byte) byte {
	if c >= 'a' && c <= 'z' {
		return c - 'a' + 'A'
	}
	return c
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}
