package frame

import (
	"bytes"

	"stumble/obd"
)

// scan reads the digits of a line. The number is that of a numbered line ("1: 47 50 ..."), or -1.
func (a *Assembler) scan(line []byte) (digits []byte, number int, err error) {
	n, number := 0, -1
	for _, c := range line {
		d := values[c]
		if d == notHex {
			switch {
			case c == ' ' || c == '\r' || c == '\n' || c == '\t':
				continue
			case c == ':' && n == 1 && number < 0 && !a.format.Headers:
				number, n = int(a.digits[0]), 0
				continue
			}
			return nil, 0, ErrNotHex
		}
		if n == len(a.digits) {
			return nil, 0, ErrLong
		}
		a.digits[n] = d
		n++
	}
	return a.digits[:n], number, nil
}

// values are what hexadecimal digits stand for, or notHex. Never written to.
var values = func() (table [256]byte) {
	for c := range table {
		table[c] = notHex
	}
	for i, c := range []byte("0123456789ABCDEF") {
		table[c] = byte(i)
		table[c|0x20] = byte(i) // lower case; a figure is its own
	}
	return table
}()

const notHex = 0xFF

// pack joins digits to bytes.
func (a *Assembler) pack(digits []byte) ([]byte, error) {
	if len(digits)%2 != 0 {
		return nil, ErrDigits
	}
	n := len(digits) / 2
	for i := range n {
		a.bytes[i] = digits[2*i]<<4 | digits[2*i+1]
	}
	return a.bytes[:n], nil
}

// can reads an identifier of three or eight digits and the up to eight bytes of a CAN frame.
func (a *Assembler) can(digits []byte) error {
	module, width := obd.Module{Bits: 11}, 3
	if a.format.Protocol.Wide() {
		module, width = obd.Module{Bits: 29}, 8
	}
	if len(digits) <= width {
		return ErrShort
	}
	for _, d := range digits[:width] {
		module.ID = module.ID<<4 | uint32(d)
	}
	if !diagnostic(module) {
		return ErrHeader
	}
	data, err := a.pack(digits[width:])
	if err != nil {
		return err
	}
	if len(data) > 8 {
		return ErrLong
	}
	return a.isotp(module, data)
}

// diagnostic reports whether an identifier is one of those that ISO 15765-4 sets aside for diagnosis by address:
// 7E0 to 7EF, and 18DAxxxx. Adapters show no others; what looks like one has lost a character, or is an echo.
func diagnostic(m obd.Module) bool {
	if m.Bits == 29 {
		return m.ID>>16 == 0x18DA
	}
	return m.ID>>4 == 0x7E
}

// isotp reads the protocol control byte of ISO 15765-2. Flow control is the adapter's own and says nothing.
func (a *Assembler) isotp(module obd.Module, data []byte) error {
	low := data[0] & 0x0F
	switch data[0] >> 4 {
	case 0:
		return a.single(module, int(low), data[1:])
	case 1:
		return a.first(module, int(low), data[1:])
	case 2:
		return a.consecutive(module, low, data[1:])
	case 3:
		return nil
	}
	return ErrFrameType
}

func (a *Assembler) single(module obd.Module, size int, data []byte) error {
	switch {
	case size == 0 || size >= minSplit:
		return ErrLength
	case !a.fits(padding{module, true}, size, len(data)):
		return ErrShort
	}
	return a.add(module, data[:size])
}

// fits reports whether a frame that needs some bytes may have been printed with this many: just those, or all
// seven that it holds. Anything between has lost a pair of characters. So has one with just those where such
// frames come filled up, unless it happens twice running.
func (a *Assembler) fits(h padding, need, have int) bool {
	if have != need && have != nextBytes {
		return false
	}
	if need == nextBytes {
		return true
	}
	for i := range a.filled {
		if f := &a.filled[i]; f.padding == h {
			f.trimmed++
			if have == nextBytes {
				f.trimmed = 0
			}
			return f.trimmed != 1
		}
	}
	if have == nextBytes && len(a.filled) < maxFilled {
		a.filled = append(a.filled, filled{padding: h})
	}
	return true
}

// padding is a kind of frame of one module. Modules fill their frames up, as ISO 15765-4 wants it; some adapters
// show the filling, some only that of consecutive frames.
type padding struct {
	module obd.Module
	single bool
}

// filled is padding, and how long since it was seen.
type filled struct {
	padding
	trimmed int // frames without filling since the last one with it
}

// first opens a message. The same first frame again, before the message was whole, begins it anew; another
// one makes it uncertain whose the rest is, and voids that module's message.
func (a *Assembler) first(module obd.Module, high int, data []byte) error {
	if len(data) < 1+firstBytes {
		return ErrShort
	}
	size := high<<8 | int(data[0])
	data = data[1 : 1+firstBytes]
	if size < minSplit {
		return ErrLength
	}
	p := a.lastSplit(module)
	if p != nil && !p.whole() {
		if p.size != size || !bytes.Equal(a.message(p)[:firstBytes], data) {
			p.void(ErrContradiction)
			return nil
		}
		p.restart()
		return p.store(a.message(p), 0, data)
	}
	p, err := a.beginSplit(module, size)
	if err != nil {
		return err
	}
	return p.store(a.message(p), 0, data)
}

func (a *Assembler) consecutive(module obd.Module, counter byte, data []byte) error {
	p := a.lastSplit(module)
	if p == nil {
		return ErrOrphan
	}
	index := p.index(counter, 1)
	if need := p.need(index); need > 0 && !a.fits(padding{module, false}, need, len(data)) {
		return ErrShort
	}
	return p.store(a.message(p), index, data)
}

// bare reads a line printed with headers off: on CAN a length ("014"), a numbered piece ("0: 49 02 ...") or
// a whole short message; before CAN always a whole message.
func (a *Assembler) bare(digits []byte, number int) error {
	mayNumber := a.format.Protocol.CAN() || a.format.Protocol == obd.ProtocolUnknown
	if mayNumber && number < 0 && len(digits) == 3 {
		return a.stated(int(digits[0])<<8 | int(digits[1])<<4 | int(digits[2]))
	}
	data, err := a.pack(digits)
	switch {
	case err != nil:
		return err
	case number >= 0 && mayNumber:
		return a.numbered(byte(number), data)
	case number >= 0:
		return ErrNotHex
	case a.format.Protocol.CAN() && len(data) >= minSplit:
		return ErrLong
	}
	return a.add(obd.Module{}, data)
}

// stated opens a message by its printed length. With headers off two modules cannot be told apart, so a
// second length before the first message was whole voids both.
func (a *Assembler) stated(size int) error {
	if size < minSplit {
		return ErrLength
	}
	if p := a.lastSplit(obd.Module{}); p != nil && !p.whole() {
		p.void(ErrAmbiguous)
		return nil
	}
	_, err := a.beginSplit(obd.Module{}, size)
	return err
}

func (a *Assembler) numbered(counter byte, data []byte) error {
	p := a.lastSplit(obd.Module{})
	if p == nil {
		return ErrOrphan
	}
	index := p.index(counter, 0)
	most := nextBytes
	if index == 0 {
		most = firstBytes
	}
	if len(data) > most {
		return ErrLong
	}
	return p.store(a.message(p), index, data)
}

// legacy reads a whole frame of the buses before CAN: header, data, check byte.
func (a *Assembler) legacy(digits []byte) error {
	b, err := a.pack(digits)
	if err != nil {
		return err
	}
	from, to := 3, len(b)-1
	if a.format.Protocol.KWP() {
		if from, to, err = kwpSpan(b); err != nil {
			return err
		}
	}
	if to <= from {
		return ErrShort
	}
	check := sum8(b[:to])
	if a.format.Protocol.J1850() {
		check = crc8(b[:to])
	}
	if check != b[to] {
		return ErrChecksum
	}
	return a.add(obd.Module{ID: uint32(b[2]), Bits: 8}, b[from:to])
}

// kwpSpan finds the data of an ISO 14230-2 frame: its length is in the low six bits of the format byte, or
// in a fourth byte when those are zero. Frames without addresses (top two bits zero) are not for OBD.
func kwpSpan(b []byte) (from, to int, err error) {
	if len(b) < 5 {
		return 0, 0, ErrShort
	}
	if b[0]&0xC0 == 0 {
		return 0, 0, ErrHeader
	}
	from, size := 3, int(b[0]&0x3F)
	if size == 0 {
		from, size = 4, int(b[3])
	}
	switch {
	case size == 0:
		return 0, 0, ErrLength
	case len(b) < from+size+1:
		return 0, 0, ErrShort
	}
	return from, from + size, nil
}
