package sim

import (
	"time"

	"stumble/obd"
)

// Gaps on the K-line (ISO 14230-2, ISO 9141-2), from memory.
const (
	kRequestGap = 5 * time.Millisecond  // P4: between the tester's bytes
	kAnswerGap  = 25 * time.Millisecond // P2 min: between messages
	kIdle       = 55 * time.Millisecond // P3 min: from the last message to the next request
	kLapse      = 5 * time.Second       // P3 max: silence that ends a session
)

// kLine reports whether a protocol needs waking before the first request.
func kLine(p obd.Protocol) bool { return p == obd.ISO9141 || p.KWP() }

// askOlder puts the request on a J1850 bus or a K-line, gathers the messages that answer it, and returns
// when it was out.
func (a *Adapter) askOlder(at time.Time, car obd.Protocol) time.Time {
	p := a.bus.protocol
	byteTime, gap := olderByte(p), time.Duration(0)
	sent := at.Add(time.Duration(len(a.request)+4) * byteTime)
	if !p.J1850() {
		gap = kAnswerGap
		sent = later(at, a.bus.lastActive.Add(kIdle)).Add(time.Duration(len(a.request)+4) * (byteTime + kRequestGap))
		a.bus.lastActive = sent
	}
	if car != p || !a.reaches(p) {
		return sent
	}
	a.answers = a.cfg.Bus.Request(a.answers[:0], sent, a.target(), a.request)
	free := sent
	for i := range a.answers {
		answer := &a.answers[i]
		start := later(sent.Add(answer.Delay), free)
		end := start.Add(time.Duration(len(answer.Data)+4) * byteTime)
		a.arrivals = append(a.arrivals, arrival{at: end, id: uint32(answer.Module), data: answer.Data})
		free = end.Add(gap)
	}
	return sent
}

// olderByte is how long a byte lasts.
func olderByte(p obd.Protocol) time.Duration {
	switch p {
	case obd.J1850PWM:
		return 8 * time.Second / 41600
	case obd.J1850VPW:
		return 8 * time.Second / 10400
	}
	return 10 * time.Second / 10400
}

// target is the node the header means; 0 for all of them. The functional target is 6A on J1850 and ISO
// 9141-2 and 33 on ISO 14230-4.
func (a *Adapter) target() byte {
	node := byte(a.header >> 8)
	if node == 0x6A || node == 0x33 {
		return 0
	}
	return node
}

// appendOlder adds a message as it is on the bus: header, data, check byte.
func appendOlder(dst []byte, p obd.Protocol, node byte, data []byte) []byte {
	start := len(dst)
	switch p {
	case obd.J1850PWM:
		dst = append(dst, 0x41, 0x6B, node)
	case obd.J1850VPW, obd.ISO9141:
		dst = append(dst, 0x48, 0x6B, node)
	default:
		dst = appendKWP(dst, node, len(data))
	}
	dst = append(dst, data...)
	if p.J1850() {
		return append(dst, crc1850(dst[start:]))
	}
	return append(dst, sum(dst[start:]))
}

// appendKWP adds the header of ISO 14230-2: format with length, target, source, and a length byte of its
// own when six bits do not hold it.
func appendKWP(dst []byte, node byte, n int) []byte {
	if n < 0x40 {
		return append(dst, 0x80|byte(n), 0xF1, node)
	}
	return append(dst, 0x80, 0xF1, node, byte(n))
}

// sum is the check byte of the K-line: the sum of all bytes, modulo 256.
func sum(b []byte) byte {
	var s byte
	for _, c := range b {
		s += c
	}
	return s
}

// crc1850 is the check byte of SAE J1850: polynomial 1D, start FF, inverted.
func crc1850(b []byte) byte {
	crc := byte(0xFF)
	for _, c := range b {
		crc ^= c
		for range 8 {
			carry := crc & 0x80
			crc <<= 1
			if carry != 0 {
				crc ^= 0x1D
			}
		}
	}
	return ^crc
}
