package sim

import "bytes"

// show prints one frame as the settings want it; false when the transmit buffer had no room for it.
func (a *Adapter) show(f *arrival) bool {
	a.scratch = a.scratch[:0]
	if a.bus.protocol.CAN() {
		a.canLine(f)
	} else {
		a.olderLine(f)
	}
	if a.chance(a.cfg.Quirks.Misreads) {
		a.misread()
	}
	if a.out.waiting(f.at, a.byteTime)+len(a.scratch) > a.cfg.Quirks.buffer() {
		return a.cfg.Quirks.LosesLines
	}
	start := len(a.out.bytes)
	if q := &a.cfg.Quirks; q.Noise > 0 || q.LosesBytes > 0 {
		for _, c := range a.scratch {
			a.sendByte(c)
		}
	} else {
		a.out.bytes = append(a.out.bytes, a.scratch...)
	}
	if a.chance(a.cfg.Quirks.Doubles) {
		a.out.bytes = append(a.out.bytes, a.scratch...)
	}
	a.out.commit(f.at, start, a.byteTime)
	return true
}

// misread garbles a digit of the line and says what gave it away: a bad CAN frame, or a check byte that
// does not fit.
func (a *Adapter) misread() {
	a.scratch = bytes.TrimRight(a.scratch, "\r\n")
	at := a.rng.IntN(len(a.scratch))
	if v, ok := nibble(a.scratch[at]); ok {
		a.scratch[at] = digits[v^0x4]
	}
	verdict := "<DATA ERROR"
	if a.bus.protocol.CAN() {
		verdict = "<RX ERROR"
	}
	a.scratch = append(a.scratch, verdict...)
	a.endLine()
}

// canLine writes a CAN frame: with its identifier as it was, without it as the data alone, a first frame
// as the length of the message on a line of its own and the consecutive frames numbered.
func (a *Adapter) canLine(f *arrival) {
	kind, data := f.can[0]>>4, f.can[:]
	if !a.formatting {
		a.identifier(f.id)
		a.line(data)
		return
	}
	if kind == 0 && !a.cfg.Quirks.PadsFrames {
		data = data[:f.n]
	}
	switch {
	case a.headers:
		a.identifier(f.id)
	case kind == 0:
		data = data[1:]
	case kind == 1:
		a.scratch = append(a.scratch, digits[f.can[0]&0xF], digits[f.can[1]>>4], digits[f.can[1]&0xF])
		if a.spaces {
			a.scratch = append(a.scratch, ' ')
		}
		a.endLine()
		a.index('0')
		data = data[2:]
	default:
		a.index(digits[f.can[0]&0xF])
		data = data[1:]
	}
	a.line(data)
}

// identifier writes the CAN identifier when headers are on, three digits or four pairs, and the data
// length behind it when that is asked for.
func (a *Adapter) identifier(id uint32) {
	if !a.headers {
		return
	}
	if a.bus.protocol.Wide() {
		for shift := 24; shift >= 0; shift -= 8 {
			a.pair(byte(id >> shift))
		}
	} else {
		a.scratch = append(a.scratch, digits[id>>8&0xF], digits[id>>4&0xF], digits[id&0xF])
		if a.spaces {
			a.scratch = append(a.scratch, ' ')
		}
	}
	if a.dlc {
		a.scratch = append(a.scratch, '8')
		if a.spaces {
			a.scratch = append(a.scratch, ' ')
		}
	}
}

// index writes the number of a frame within a message.
func (a *Adapter) index(digit byte) {
	a.scratch = append(a.scratch, digit, ':')
	if a.spaces {
		a.scratch = append(a.scratch, ' ')
	}
}

// olderLine writes a message of a bus before CAN: all of it with headers on, the data alone without.
func (a *Adapter) olderLine(f *arrival) {
	if !a.headers {
		a.line(f.data)
		return
	}
	a.frame = appendOlder(a.frame[:0], a.bus.protocol, byte(f.id), f.data)
	a.line(a.frame)
}

// line writes bytes and ends the line.
func (a *Adapter) line(data []byte) {
	for _, b := range data {
		a.pair(b)
	}
	a.endLine()
}

// pair writes a byte in hexadecimal.
func (a *Adapter) pair(b byte) {
	a.scratch = append(a.scratch, digits[b>>4], digits[b&0xF])
	if a.spaces {
		a.scratch = append(a.scratch, ' ')
	}
}

func (a *Adapter) endLine() {
	a.scratch = append(a.scratch, '\r')
	if a.feeds {
		a.scratch = append(a.scratch, '\n')
	}
}

const digits = "0123456789ABCDEF"
