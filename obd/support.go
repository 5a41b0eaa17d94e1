package obd

import "iter"

// Support is the set of ids (PIDs, on-board monitors or information types) that a module says it has, one
// bit an id. The zero value is empty and usable.
type Support [8]uint32

// Has reports whether id is in the set. Id 00, the first bitmap itself, is never told.
func (s Support) Has(id byte) bool {
	if id == 0 {
		return false
	}
	return s[(id-1)/supportBlock]>>(31-(id-1)%supportBlock)&1 != 0
}

// All gives the ids in rising order, the bitmaps 20, 40 ... among them.
func (s Support) All() iter.Seq[byte] {
	return func(yield func(byte) bool) {
		for id := 1; id <= 0xFF; id++ {
			if s.Has(byte(id)) && !yield(byte(id)) {
				return
			}
		}
	}
}

// Next is the bitmap to ask after base, if the module has it: a bitmap's last bit says so.
func (s Support) Next(base byte) (byte, bool) {
	next := base - base%supportBlock + supportBlock
	return next, next != 0 && s.Has(next)
}

// Add takes in the bitmaps of one answer of service 01, 06 or 09: base and four bytes, most significant bit
// first, for the 32 ids after base; on CAN as many as were asked for. Before CAN one byte (a message count
// or a filler) stands between base and bits in services 06 and 09. Nothing is added on an error.
func (s *Support) Add(p Protocol, m Message) error {
	if len(m.Data) == 0 {
		return malformed(m, "is empty")
	}
	service := Service(m.Data[0] &^ 0x40)
	switch service {
	case LiveData, TestResults, VehicleInfo:
	default:
		service = LiveData // for expect to refuse, or to see the refusal in
	}
	if err := expect(m, service, 6); err != nil {
		return err
	}
	rest := m.Data[1:]
	if !p.CAN() && service != LiveData {
		if len(rest) < 6 {
			return malformed(m, "is too short for a bitmap before CAN")
		}
		return s.add(m, rest[0], rest[len(rest)-4:])
	}
	return s.addBlocks(m, rest)
}

func (s *Support) addBlocks(m Message, rest []byte) error {
	read := *s
	for len(rest) >= 5 {
		if err := read.add(m, rest[0], rest[1:5]); err != nil {
			return err
		}
		rest = rest[5:]
	}
	if len(rest) > 0 && !filler(rest) {
		return malformed(m, "ends inside a bitmap")
	}
	*s = read
	return nil
}

func (s *Support) add(m Message, base byte, bits []byte) error {
	if base%supportBlock != 0 {
		return malformed(m, "holds id %02X where a bitmap was expected", base)
	}
	s[base/supportBlock] |= uint32(word(bits))<<16 | uint32(word(bits[2:]))
	return nil
}
