package sim

import "time"

// Fault is something that befalls an adapter at a moment, unasked.
type Fault struct {
	After time.Duration // from the first byte the computer sends
	Kind  FaultKind
}

// FaultKind is what befalls it.
type FaultKind uint8

// The faults an adapter tells of by itself.
const (
	ActivityAlert   FaultKind = iota // ACT ALERT: it will go to sleep soon unless something is asked
	LowVoltageReset                  // LV RESET: the supply dipped, as in cranking, and every setting is lost
	FatalCAN                         // ERR94: the CAN part failed; searches leave CAN out until ATFE or a power cycle
)

// nextFault is when the next fault strikes.
func (a *Adapter) nextFault() (time.Time, bool) {
	if len(a.faults) == 0 || a.born.IsZero() {
		return time.Time{}, false
	}
	return a.born.Add(a.faults[0].After), true
}

// suffer lets the next fault strike.
func (a *Adapter) suffer(at time.Time) {
	kind := a.faults[0].Kind
	a.faults = a.faults[1:]
	if a.hung || a.asleep {
		return
	}
	a.abandon(at)
	a.finishLine(at)
	switch kind {
	case ActivityAlert:
		a.reply(at, "ACT ALERT")
	case LowVoltageReset:
		a.forget()
		a.reply(at, "LV RESET")
	case FatalCAN:
		a.forget()
		a.noCAN = true
		a.reply(at, "ERR94")
	}
}
