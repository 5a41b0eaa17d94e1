package car

import "time"

// checking is how long the engine module takes to work out its verification number after key on.
const checking = 1400 * time.Millisecond

// text appends s, padded with zeros to n bytes.
func text(dst []byte, s string, n int) []byte {
	dst = append(dst, s...)
	for i := len(s); i < n; i++ {
		dst = append(dst, 0)
	}
	return dst
}

func long(dst []byte, v uint32) []byte {
	return append(dst, byte(v>>24), byte(v>>16), byte(v>>8), byte(v))
}

// answerInfo answers service 09 on CAN: the byte after the item's id counts what follows.
func (c *Car) answerInfo(r *reply, params []byte) {
	if len(params) != 1 {
		return
	}
	v := &c.cfg.Vehicle
	switch params[0] {
	case 0x00:
		r.say(0x49, 0x00, 0x55, 0x40, 0, 0) // 02, 04, 06, 08, 0A
	case 0x02:
		b := r.begin()
		*b = append(append(*b, 0x49, 0x02, 1), v.VIN...)
	case 0x04:
		b := r.begin()
		*b = text(append(*b, 0x49, 0x04, 1), v.Calibration, 16)
	case 0x06:
		if !c.verified {
			r.say(0x7F, 0x09, 0x78)
			r.delay += checking
			c.verified = true
		}
		b := r.begin()
		*b = long(append(*b, 0x49, 0x06, 1), v.Verification)
	case 0x08:
		c.appendInUse(r)
	case 0x0A:
		b := r.begin()
		*b = text(append(*b, 0x49, 0x0A, 1), "ECM", 4)
		*b = text(append(*b, '-'), "EngineControl", 15)
	}
}

// appendInUse is in-use tracking for spark engines: 20 two-byte counters, first the trips and ignition cycles,
// then pairs of tests done and conditions met. They are of the car's past and survive a clear.
func (c *Car) appendInUse(r *reply) {
	trips := uint16(612 + c.cycles)
	counts := [20]uint16{trips, trips + 1904, 588, trips, 0, 0, 601, trips, 0, 0, 595, trips, 0, 0, 377, trips - 40, 0, 0, 0, 0}
	b := r.begin()
	*b = append(*b, 0x49, 0x08, byte(len(counts)))
	for _, n := range counts {
		*b = append(*b, byte(n>>8), byte(n))
	}
}

// answerTransmissionInfo is service 09 of the transmission module.
func (c *Car) answerTransmissionInfo(r *reply, params []byte) {
	if len(params) != 1 {
		return
	}
	v := &c.cfg.Vehicle
	switch params[0] {
	case 0x00:
		r.say(0x49, 0x00, 0x14, 0x40, 0, 0) // 04, 06, 0A
	case 0x04:
		b := r.begin()
		*b = text(append(*b, 0x49, 0x04, 1), v.TransmissionCalibration, 16)
	case 0x06:
		b := r.begin()
		*b = long(append(*b, 0x49, 0x06, 1), v.TransmissionCheck)
	case 0x0A:
		b := r.begin()
		*b = text(append(*b, 0x49, 0x0A, 1), "TCM", 4)
		*b = text(append(*b, '-'), "TransmisCtrl", 15)
	}
}

// answerOldInfo is service 09 before CAN: messages of four bytes, numbered from 1; the odd items say how many
// messages the next even one has.
func (c *Car) answerOldInfo(r *reply, params []byte) {
	if len(params) != 1 {
		return
	}
	v := &c.cfg.Vehicle
	var buf [20]byte
	switch params[0] {
	case 0x00:
		r.say(0x49, 0x00, 0x01, 0xFC, 0, 0, 0) // 01 to 06
	case 0x01:
		r.say(0x49, 0x01, 5)
	case 0x02:
		numbered(r, 0x02, append(buf[:3], v.VIN...)) // three zeros lead
	case 0x03:
		r.say(0x49, 0x03, 4)
	case 0x04:
		numbered(r, 0x04, text(buf[:0], v.Calibration, 16))
	case 0x05:
		r.say(0x49, 0x05, 1)
	case 0x06:
		numbered(r, 0x06, long(buf[:0], v.Verification))
	}
}

// numbered sends data in messages of four bytes.
func numbered(r *reply, item byte, data []byte) {
	for i := 0; i < len(data); i += 4 {
		r.say(0x49, item, byte(i/4+1), data[i], data[i+1], data[i+2], data[i+3])
	}
}
