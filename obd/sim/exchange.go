package sim

import (
	"time"

	"stumble/obd"
)

// How long the adapter takes over what it tries before it gives up (from memory of real ones: a search
// takes one to three seconds on CAN, five to ten when nothing answers).
const (
	canProbe   = 400 * time.Millisecond
	j1850Probe = 300 * time.Millisecond
	fastInit   = 400 * time.Millisecond
	slowInit   = 2600 * time.Millisecond // five-baud address, key words (ISO 9141-2)
	recall     = 300 * time.Millisecond  // a search that tries the right protocol first
	canGivesUp = 50 * time.Millisecond   // transmissions nobody acknowledges
)

// searchOrder is the order in which a search tries the protocols.
var searchOrder = [...]obd.Protocol{
	obd.J1850PWM, obd.J1850VPW, obd.CAN11At500, obd.CAN29At500, obd.CAN11At250, obd.CAN29At250,
	obd.KWPFast, obd.ISO9141, obd.KWP5Baud,
}

// ask sends what was typed to the car: pairs of hexadecimal digits, and perhaps a count digit.
func (a *Adapter) ask(at time.Time, typed []byte) {
	if !a.parse(typed) {
		if len(typed)%2 == 1 {
			at = at.Add(a.cfg.Quirks.SlowRefusal)
		}
		a.reply(at, "?")
		return
	}
	a.busBusy = true
	switch {
	case a.count > 0 && a.chance(a.cfg.Quirks.DigitFails):
		a.reply(at.Add(a.patience()), "NO DATA")
	case a.sulking:
		a.reply(at.Add(a.timeout), "NO DATA")
	case a.bus.connected:
		a.exchange(at)
	case a.bus.auto:
		at = at.Add(a.cfg.Quirks.SlowSearch)
		a.print(at, "SEARCHING...")
		a.postpone(searching, at.Add(a.searchTime(at)))
	case kLine(a.bus.protocol):
		a.startInit(at)
	default:
		a.exchange(at)
	}
}

// parse reads a request into a.request and a.count.
func (a *Adapter) parse(typed []byte) bool {
	longest := obd.MaxRequest
	if a.long || !a.formatting {
		longest = 8
	}
	n := len(typed) / 2
	odd := len(typed)%2 == 1
	if n == 0 || n > longest || (odd && a.cfg.Quirks.NoCount) {
		return false
	}
	a.request, a.count = a.request[:0], 0
	for i := range n {
		hi, ok1 := nibble(typed[2*i])
		lo, ok2 := nibble(typed[2*i+1])
		if !ok1 || !ok2 {
			return false
		}
		a.request = append(a.request, hi<<4|lo)
	}
	if odd {
		count, ok := nibble(typed[len(typed)-1])
		if !ok {
			return false
		}
		a.count = int(count)
	}
	return true
}

// postpone leaves work to be done at a time, in the course of the command.
func (a *Adapter) postpone(w work, at time.Time) { a.work, a.workAt = w, at }

// reaches reports whether this adapter can speak a protocol now.
func (a *Adapter) reaches(p obd.Protocol) bool {
	if p.CAN() {
		return !a.noCAN
	}
	return !a.cfg.Quirks.CANOnly
}

// searchTime is how long a search takes from a time on, whether it will find the car or not.
func (a *Adapter) searchTime(at time.Time) time.Duration {
	car := a.protocolOfCar(at)
	if car != obd.ProtocolUnknown && car == a.bus.protocol && a.reaches(car) && a.answersSearch() {
		return recall
	}
	var took time.Duration
	for _, p := range searchOrder {
		if !a.reaches(p) {
			continue
		}
		took += probeTime(p)
		if p == car && a.answersSearch() {
			break
		}
	}
	return took
}

// answersSearch reports whether the car answers what adapters search with, service 01.
func (a *Adapter) answersSearch() bool {
	c, tells := a.cfg.Bus.(interface{ AnswersSearch() bool })
	return !tells || c.AnswersSearch()
}

func probeTime(p obd.Protocol) time.Duration {
	switch {
	case p.CAN():
		return canProbe
	case p.J1850():
		return j1850Probe
	case p == obd.KWPFast:
		return fastInit
	}
	return slowInit
}

// searched ends a search.
func (a *Adapter) searched(at time.Time) {
	a.print(at, "\r")
	car := a.protocolOfCar(at)
	if car == obd.ProtocolUnknown || !a.reaches(car) || !a.answersSearch() {
		a.reply(at, "UNABLE TO CONNECT")
		return
	}
	a.settled(car)
	a.exchange(at)
}

// startInit wakes the K-line.
func (a *Adapter) startInit(at time.Time) {
	a.print(at, "BUS INIT: ")
	took := probeTime(a.bus.protocol)
	if took == slowInit {
		for i := range 3 {
			a.print(at.Add(time.Duration(i+1)*slowInit/4), ".")
		}
	}
	a.postpone(initialising, at.Add(took))
}

// initialised ends the waking of the K-line.
func (a *Adapter) initialised(at time.Time) {
	car := a.protocolOfCar(at)
	if car != a.bus.protocol || !a.reaches(car) {
		if a.bus.protocol == obd.KWPFast {
			a.print(at, "...")
		}
		a.reply(at, "ERROR")
		return
	}
	a.bus.lastActive = at
	a.print(at, "OK\r")
	a.settled(car)
	a.exchange(at)
}

// exchange puts the request on the bus at a time and prints what comes back.
func (a *Adapter) exchange(at time.Time) {
	car := a.protocolOfCar(at)
	a.sulking = a.cfg.Quirks.Sulks && car != obd.ProtocolUnknown && car != a.bus.protocol
	if a.lapsed(at) {
		a.startInit(at)
		return
	}
	a.arrivals = a.arrivals[:0]
	switch {
	case kLine(a.bus.protocol), a.bus.protocol.J1850():
		at = a.askOlder(at, car)
	case sameWire(car, a.bus.protocol) && a.reaches(a.bus.protocol):
		at = a.askCAN(at, car)
	default: // nobody acknowledges
		a.bus.connected = false
		a.reply(at.Add(canGivesUp), "CAN ERROR")
		return
	}
	if car == obd.ProtocolUnknown {
		a.bus.connected = false
	}
	if !a.responses {
		a.prompt(at)
		return
	}
	a.listen(at)
}

// lapsed reports whether a K-line session has ended of itself: nothing was said for five seconds (P3 max,
// ISO 14230-2), because the adapter was told not to keep it awake.
func (a *Adapter) lapsed(at time.Time) bool {
	return kLine(a.bus.protocol) && a.wakeUp == 0 && !a.bus.lastActive.IsZero() && at.Sub(a.bus.lastActive) > kLapse
}

// listen prints what arrives after a request that was out at a time, until nothing more is to be expected.
func (a *Adapter) listen(sent time.Time) {
	wait := a.patience()
	last, longest, full := sent, time.Duration(0), false
	lines, next := 0, 0
	for next < len(a.arrivals) && a.arrivals[next].at.Sub(last) <= wait && (a.count == 0 || lines < a.count) && !full {
		f := &a.arrivals[next]
		next++
		a.bus.lastActive = f.at
		if !a.shown(f) {
			continue
		}
		longest, last = max(longest, f.at.Sub(last)), f.at
		lines++
		full = !a.show(f)
	}
	a.keepLate(next)
	switch {
	case full && a.cfg.Quirks.HalfLines:
		a.reply(last, string(a.scratch[:len(a.scratch)/2])+" BUFFER FULL")
	case full:
		a.reply(last, "BUFFER FULL")
	case lines == 0:
		a.learned = min(2*a.learned, a.timeout)
		a.reply(last.Add(wait), "NO DATA")
	default:
		a.answeredWithin(longest)
		if lines != a.count {
			last = last.Add(wait)
		}
		a.prompt(last)
	}
}

// answeredWithin notes what an answered request taught.
func (a *Adapter) answeredWithin(longest time.Duration) {
	switch {
	case a.learned == 0:
		a.learned = max(longest, a.timeout/2)
	case longest >= a.learned:
		a.learned = longest
	default:
		a.learned -= (a.learned - longest) / 2
	}
	if !a.bus.connected {
		a.settled(a.bus.protocol)
	}
}

// patience is how long the adapter waits for the next frame. The rule of the real chip is not published;
// this one settles where theirs do: some tens of milliseconds above the slowest answer seen of late, and
// never above what ST says.
func (a *Adapter) patience() time.Duration {
	margin := 40 * time.Millisecond
	switch {
	case a.adaptive == 0 || a.learned == 0:
		return a.timeout
	case a.adaptive == 2:
		margin = 20 * time.Millisecond
	}
	return min((a.learned+margin).Truncate(timeoutStep)+timeoutStep, a.timeout)
}
