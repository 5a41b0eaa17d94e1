package obd

import (
	"fmt"
	"strconv"
)

// Module is the address a control module answers from: on CAN the identifier of its frames (7E8,
// 18DAF110), before CAN the source byte of the header (10). The zero Module means "not told", as when an
// adapter leaves headers out.
type Module struct {
	ID   uint32
	Bits uint8 // width of the address: 8, 11 or 29; 0 when not told
}

// String prints the address as the trade writes it: two, three or eight hexadecimal digits.
func (m Module) String() string {
	switch m.Bits {
	case 8:
		return fmt.Sprintf("%02X", m.ID)
	case 11:
		return fmt.Sprintf("%03X", m.ID)
	case 29:
		return fmt.Sprintf("%08X", m.ID)
	}
	return "-"
}

// MarshalText writes the address as String does, so that JSON shows "7E8".
func (m Module) MarshalText() ([]byte, error) { return []byte(m.String()), nil }

// UnmarshalText reads what MarshalText writes: the number of digits tells the width. What String writes as "-" is the
// zero Module; so is any text of another length.
func (m *Module) UnmarshalText(text []byte) error {
	*m = Module{}
	bits, known := map[int]uint8{2: 8, 3: 11, 8: 29}[len(text)]
	if !known {
		return nil
	}
	id, err := strconv.ParseUint(string(text), 16, 32)
	if err != nil {
		return fmt.Errorf("%q is no module's address", text)
	}
	*m = Module{ID: uint32(id), Bits: bits}
	return nil
}

// Message is one whole service response of one control module, reassembled: Data starts with the response
// service byte (41, 46, 7F ...) and holds no header, length or checksum byte.
type Message struct {
	Module Module
	Data   []byte
}
