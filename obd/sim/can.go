package sim

import (
	"time"

	"stumble/obd"
)

// arrival is one frame on its way to the adapter.
type arrival struct {
	at   time.Time // when its last bit is in
	id   uint32    // CAN identifier, or the node address before CAN
	n    int       // CAN: bytes that mean something, PCI included
	can  [8]byte
	data []byte // before CAN: the message without header and checksum
}

// How modules and adapter keep time on CAN (common practice, no source).
const (
	busyModule = 100 * time.Millisecond // the longest that a message still under way takes
	moduleGap  = 200 * time.Microsecond // between consecutive frames of one module
	flowGap    = 300 * time.Microsecond // from a first frame to the adapter's flow control
)

// The 29-bit identifiers of ISO 15765-4: functional request, physical request, response to the tester.
const (
	wideFunctional = 0x18DB33F1
	widePhysical   = 0x18DA00F1
	wideResponse   = 0x18DAF100
)

// frameTime is how long a full frame lasts: identifier, eight bytes, checksum, gap, and a tenth for the
// stuff bits (ISO 11898-1 counts 111 and 131 bits without them).
func frameTime(p obd.Protocol) time.Duration {
	bits := 122
	if p.Wide() {
		bits = 144
	}
	return time.Duration(bits) * time.Second / time.Duration(bitRate(p))
}

// bitRate is the speed of a CAN protocol.
func bitRate(p obd.Protocol) int {
	if p == obd.CAN11At250 || p == obd.CAN29At250 {
		return 250_000
	}
	return 500_000
}

// sameWire reports whether two protocols are CAN at one speed, so that frames are acknowledged at least.
func sameWire(p, q obd.Protocol) bool { return p.CAN() && q.CAN() && bitRate(p) == bitRate(q) }

// askCAN puts the request on the bus, gathers the frames that answer it, and returns when it was out.
func (a *Adapter) askCAN(at time.Time, car obd.Protocol) time.Time {
	long := frameTime(car)
	sent := at.Add(long)
	for _, f := range a.late {
		if !f.at.Before(at) {
			a.arrivals = append(a.arrivals, f)
		}
	}
	a.late = a.late[:0]
	node, anybody := a.addressed()
	if request := a.payload(); anybody && len(request) > 0 && car == a.bus.protocol {
		a.answers = a.cfg.Bus.Request(a.answers[:0], sent, node, request)
		for i := range a.answers {
			answer := &a.answers[i]
			if id, ok := a.responseID(answer.Module); ok {
				a.segment(id, answer.Data, a.notBefore(id, answer.Data, sent.Add(answer.Delay)), long)
			}
		}
	}
	a.arbitrate(long)
	return sent
}

// payload is the request without the PCI byte that the user typed when formatting is off.
func (a *Adapter) payload() []byte {
	if a.formatting {
		return a.request
	}
	if n := int(a.request[0]); n < len(a.request) {
		return a.request[1 : 1+n]
	}
	return nil
}

// addressed is the node the header means, 0 for all of them, or nobody.
func (a *Adapter) addressed() (node byte, anybody bool) {
	if a.bus.protocol.Wide() {
		switch id := a.priority | a.header; {
		case a.header == 0, id == wideFunctional:
			return 0, true
		case id&0xFFFF00FF == widePhysical:
			return byte(id >> 8), true
		}
		return 0, false
	}
	switch {
	case a.header == 0, a.header == 0x7DF:
		return 0, true
	case a.header >= 0x7E0 && a.header < 0x7E0+uint32(min(a.met, 8)):
		return a.nodes[a.header-0x7E0], true
	}
	return 0, false
}

// responseID is the identifier a node answers with. On 11 bits engine and transmission have 7E8 and 7E9,
// the others follow in the order they are met; beyond the eight that ISO 15765-4 knows, cars use what comes next.
func (a *Adapter) responseID(node byte) (uint32, bool) {
	if a.bus.protocol.Wide() {
		return wideResponse | uint32(node), true
	}
	for i, known := range a.nodes[:a.met] {
		if known == node {
			return 0x7E8 + uint32(i), true
		}
	}
	if a.met == len(a.nodes) {
		return 0, false
	}
	a.nodes[a.met] = node
	a.met++
	return 0x7E8 + uint32(a.met-1), true
}

// requestID is the identifier that reaches whoever answers with id.
func requestID(id uint32) uint32 {
	if id > 0x7FF {
		return widePhysical | (id&0xFF)<<8
	}
	return id - 8
}

// notBefore is when a module can start a message: not before its last one has ended. One that is promised for later, as a
// number that takes seconds to work out, holds up answers to the like of it, and no others.
func (a *Adapter) notBefore(id uint32, data []byte, at time.Time) time.Time {
	asked, holds := at, false
	for i := range a.arrivals {
		f := &a.arrivals[i]
		if f.id != id {
			continue
		}
		if kind := f.can[0] >> 4; kind < 2 { // a consecutive frame is as its first
			holds = f.at.Sub(asked) < busyModule || len(data) > 0 && f.can[1+kind] == data[0]
		}
		if holds {
			at = later(at, f.at.Add(moduleGap))
		}
	}
	return at
}

// segment cuts a message into ISO-TP frames (ISO 15765-2) that start at a time. Behind a first frame the
// module waits for the adapter's flow control and keeps to the pace it asks for.
func (a *Adapter) segment(id uint32, data []byte, start time.Time, long time.Duration) {
	f := arrival{at: start.Add(long), id: id, can: a.blank()}
	if len(data) <= 7 {
		f.can[0] = byte(len(data))
		f.n = 1 + copy(f.can[1:], data)
		a.arrivals = append(a.arrivals, f)
		return
	}
	if len(data) > 0xFFF {
		return
	}
	f.can[0], f.can[1] = 0x10|byte(len(data)>>8), byte(len(data))
	f.n = 2 + copy(f.can[2:], data)
	a.arrivals = append(a.arrivals, f)
	pace, block := a.flow(&f)
	at := f.at.Add(flowGap + long)
	for seq, rest := 1, data[6:]; len(rest) > 0 && seq <= block; seq++ {
		at = at.Add(long + max(moduleGap, pace))
		f = arrival{at: at, id: id, can: a.blank()}
		f.can[0] = 0x20 | byte(seq&0xF)
		n := copy(f.can[1:], rest)
		f.n, rest = 1+n, rest[n:]
		a.arrivals = append(a.arrivals, f)
	}
}

// flow is what the adapter's flow control lets a module send after a first frame: the least gap between
// frames, and how many of them. The adapter speaks up once a message, so a block size ends it.
func (a *Adapter) flow(first *arrival) (pace time.Duration, block int) {
	const all = 1 << 12
	switch {
	case !a.flowControl, !a.shown(first):
		return 0, 0
	case a.flowMode == 0:
		return 0, all
	case a.flowData[0] != 0x30 || (a.flowMode == 1 && a.flowHeader != requestID(first.id)):
		return 0, 0
	}
	block = all
	if a.flowLen > 1 && a.flowData[1] > 0 {
		block = int(a.flowData[1])
	}
	if a.flowLen > 2 {
		pace = separation(a.flowData[2])
	}
	return pace, block
}

// separation decodes STmin: 00..7F milliseconds, F1..F9 hundreds of microseconds, else the longest.
func separation(b byte) time.Duration {
	switch {
	case b <= 0x7F:
		return time.Duration(b) * time.Millisecond
	case b >= 0xF1 && b <= 0xF9:
		return time.Duration(b-0xF0) * 100 * time.Microsecond
	}
	return 0x7F * time.Millisecond
}

// blank is a frame of filler.
func (a *Adapter) blank() [8]byte {
	c := a.cfg.Filler
	return [8]byte{c, c, c, c, c, c, c, c}
}

// arbitrate puts the frames of all modules in the order they win the bus: one at a time.
func (a *Adapter) arbitrate(long time.Duration) {
	frames := a.arrivals
	for i := 1; i < len(frames); i++ {
		for j := i; j > 0 && frames[j].at.Before(frames[j-1].at); j-- {
			frames[j], frames[j-1] = frames[j-1], frames[j]
		}
	}
	for i := 1; i < len(frames); i++ {
		frames[i].at = later(frames[i].at, frames[i-1].at.Add(long))
	}
}

// shown reports whether the receive filter lets a frame through.
func (a *Adapter) shown(f *arrival) bool {
	return a.mask == 0 || !a.bus.protocol.CAN() || f.id&a.mask == a.filter&a.mask
}

// unheard keeps the frames that will come after a time, because the exchange ended there.
func (a *Adapter) unheard(at time.Time) {
	a.late = a.late[:0]
	next := 0
	for next < len(a.arrivals) && !a.arrivals[next].at.After(at) {
		next++
	}
	a.keepLate(next)
}

// keepLate keeps the frames from next on, which came too late for this exchange: the next one may see
// them. The rest of a message whose flow control nobody sent never comes.
func (a *Adapter) keepLate(next int) {
	for i := next; i < len(a.arrivals); i++ {
		if f := &a.arrivals[i]; f.data == nil && f.can[0]>>4 != 2 {
			a.late = append(a.late, *f)
		}
	}
}
