package sim

import (
	"time"

	"stumble/obd"
)

// settings are what AT commands change and a reset restores.
type settings struct {
	echo, feeds, spaces, headers bool
	formatting                   bool // CAF: the adapter adds and strips the PCI byte
	long                         bool // AL: requests of more than seven bytes
	responses                    bool // R: wait for and show answers
	flowControl                  bool // CFC: answer first frames
	dlc                          bool // D1: show the data length after the identifier
	memory                       bool // M: remember the protocol that was found

	adaptive byte          // AT: 0 off, 1 careful, 2 eager
	timeout  time.Duration // ST
	learned  time.Duration // how long the car takes to answer; 0: nothing learned yet

	header   uint32 // SH; 0: the functional address of the protocol
	priority uint32 // CP: the first five bits of a 29-bit identifier, in place
	filter   uint32 // CRA, CF
	mask     uint32 // CM; 0: what SAE J1979 modules answer with

	flowMode   byte // FC SM
	flowHeader uint32
	flowData   [5]byte
	flowLen    int

	wakeUp time.Duration // SW: pause after which the K-line is kept awake; 0: never
}

// defaults are the settings after a reset.
func (a *Adapter) defaults() settings {
	s := settings{
		echo: true, spaces: true, formatting: true, responses: true, flowControl: true, memory: true,
		adaptive: 1,
		timeout:  defaultTimeout,
		priority: 0x18 << 24,
		wakeUp:   0x92 * 20 * time.Millisecond,
	}
	if a.cfg.Quirks.refuses("AT1") {
		s.adaptive = 0
	}
	return s
}

// busState is what the adapter knows of the bus it is on.
type busState struct {
	auto       bool         // look for another protocol when this one fails
	protocol   obd.Protocol // in use, or to be tried first
	connected  bool         // found, and initialised where it must be
	savedAuto  bool
	saved      obd.Protocol
	lastActive time.Time // end of the last message on the bus
}

// forget is what a reset does to the settings.
func (a *Adapter) forget() {
	a.settings = a.defaults()
	a.bus.auto, a.bus.protocol = a.bus.savedAuto, a.bus.saved
	a.bus.connected, a.sulking = false, false
	a.arrivals, a.late = a.arrivals[:0], a.late[:0]
	a.typed, a.last, a.tooBig = a.typed[:0], a.last[:0], false
}

// restart resets everything and prints the name, as well as this adapter can, once that is done.
func (a *Adapter) restart(done time.Time) {
	a.forget()
	a.work, a.monitor, a.asleep, a.busBusy = idle, false, false, false
	name := a.cfg.Version
	if a.cfg.Quirks.ResetClips {
		name = name[1:]
	}
	a.print(done, "\r\r")
	a.print(done, a.cfg.Quirks.ResetJunk)
	a.reply(done, name)
}

// setProtocol is SP and TP; the latter is remembered only once it has worked.
func (a *Adapter) setProtocol(p obd.Protocol, auto, tryOnly bool) {
	a.bus.auto, a.bus.protocol = auto, p
	a.bus.connected = false
	a.header, a.filter, a.mask, a.learned = 0, 0, 0, 0
	a.arrivals, a.late = a.arrivals[:0], a.late[:0]
	if !tryOnly {
		a.bus.savedAuto, a.bus.saved = auto, p
	}
	if a.cfg.Quirks.EchoReturns {
		a.echo = true
	}
}

// settled notes that a protocol works.
func (a *Adapter) settled(p obd.Protocol) {
	a.bus.protocol, a.bus.connected = p, true
	if a.memory {
		a.bus.savedAuto, a.bus.saved = a.bus.auto, p
	}
}
