package obd

import (
	"bytes"
	"fmt"
	"strings"
)

// Information types of service 09 (SAE J1979). Before CAN each is preceded by one that tells the number of
// its messages: InfoVIN-1, InfoCalibrations-1 and so on.
const (
	InfoVIN          byte = 0x02
	InfoCalibrations byte = 0x04
	InfoCVNs         byte = 0x06
	InfoECUName      byte = 0x0A
)

const (
	vinLength         = 17
	calibrationLength = 16
	cvnLength         = 4
	acronymLength     = 4
	ecuNameLength     = 20
	legacyPiece       = 4 // data bytes of one message before CAN
)

// CVN is a calibration verification number: a checksum over a calibration, eight hexadecimal digits.
type CVN uint32

// String is the number as tools print it.
func (c CVN) String() string { return fmt.Sprintf("%08X", uint32(c)) }

// MarshalText writes the number as String does.
func (c CVN) MarshalText() ([]byte, error) { return []byte(c.String()), nil }

// DecodeVIN reads the vehicle identification number from one module's answers to InfoVIN: on CAN one
// message 49 02 01 and 17 characters, before CAN five messages of four bytes with three leading zeros.
// Characters that cannot be in a number, or too few, are an error; the text is returned all the same. The
// check digit is not judged: see ValidVIN.
func DecodeVIN(p Protocol, msgs []Message) (string, error) {
	item, _, err := infoItem(p, InfoVIN, msgs)
	if err != nil {
		return "", err
	}
	vin := text(item)
	_, err = ValidVIN(vin)
	return vin, err
}

// DecodeCalibrations reads the calibration identifications from one module's answers: 16 characters each.
func DecodeCalibrations(p Protocol, msgs []Message) ([]string, error) {
	items, err := infoItems(p, InfoCalibrations, calibrationLength, msgs)
	var out []string
	for _, item := range items {
		out = append(out, text(item))
	}
	return out, err
}

// DecodeCVNs reads the calibration verification numbers from one module's answers, in the order of its
// calibrations. Before CAN each comes in a message of its own, and nothing in them tells that the last one
// is missing.
func DecodeCVNs(p Protocol, msgs []Message) ([]CVN, error) {
	items, err := infoItems(p, InfoCVNs, cvnLength, msgs)
	var out []CVN
	for _, b := range items {
		out = append(out, CVN(word(b))<<16|CVN(word(b[2:])))
	}
	return out, err
}

// DecodeECUName reads a module's name: a four-byte acronym, a dash and fifteen characters. The dash is left
// out.
func DecodeECUName(p Protocol, msgs []Message) (acronym, name string, err error) {
	items, err := infoItems(p, InfoECUName, ecuNameLength, msgs)
	if err != nil || len(items) == 0 {
		return "", "", err
	}
	b := items[0]
	return text(b[:acronymLength]), strings.TrimPrefix(text(b[acronymLength:]), "-"), nil
}

// ModuleMessages picks one module's messages, in their order.
func ModuleMessages(msgs []Message, module Module) []Message {
	var out []Message
	for _, m := range msgs {
		if m.Module == module {
			out = append(out, m)
		}
	}
	return out
}

// ValidVIN checks a vehicle identification number: 17 characters of digits and capital letters without I, O
// and Q, else an error. checkOK tells whether the ninth character is the check digit of 49 CFR 565.15(c),
// which binds only vehicles sold in North America: false proves nothing elsewhere.
func ValidVIN(vin string) (checkOK bool, err error) {
	if len(vin) != vinLength {
		return false, fmt.Errorf("vehicle number %q has %d characters, it should have %d", vin, len(vin), vinLength)
	}
	// Each letter's value stands at its place: A is 1 ... Z is 9; a blank cannot be in a number.
	const letters = "12345678 12345 7 923456789"
	weights := [vinLength]int{8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2}
	sum := 0
	for i := range vinLength {
		c := vin[i]
		if c >= 'A' && c <= 'Z' {
			c = letters[c-'A']
		}
		if c < '0' || c > '9' {
			return false, fmt.Errorf("vehicle number %q cannot have %q in it", vin, vin[i])
		}
		sum += weights[i] * int(c-'0')
	}
	return vin[8] == "0123456789X"[sum%11], nil
}

// infoItems cuts an information type into its items. Whole items before a fault are returned with the
// error.
func infoItems(p Protocol, id byte, size int, msgs []Message) ([][]byte, error) {
	data, count, err := infoItem(p, id, msgs)
	if err != nil {
		return nil, err
	}
	if !p.CAN() {
		count = (len(data) + size - 1) / size
	}
	var out [][]byte
	for len(out) < count && len(data) >= size {
		out = append(out, data[:size])
		data = data[size:]
	}
	if len(out) < count {
		return out, fmt.Errorf("information %02X holds %d whole items of %d", id, len(out), count)
	}
	return out, nil
}

// infoItem gathers the data of an information type from one module's answers, and on CAN the number of
// items it states. Other messages are passed over.
func infoItem(p Protocol, id byte, msgs []Message) (data []byte, count int, err error) {
	if p == ProtocolUnknown {
		return nil, 0, fmt.Errorf("information %02X cannot be read before the protocol is known", id)
	}
	var pieces []Message
	var refusal error
	for _, m := range msgs {
		if m.Module != msgs[0].Module {
			return nil, 0, malformed(m, "is mixed with those of module %v: decode each module alone", msgs[0].Module)
		}
		if n, ok := DecodeNegative(m); ok && n.Service == VehicleInfo {
			refusal = n
		}
		if len(m.Data) > 1 && m.Data[0] == VehicleInfo.Response() && m.Data[1] == id {
			pieces = append(pieces, m)
		}
	}
	switch {
	case len(pieces) > 0 && p.CAN():
		return countedInfo(pieces)
	case len(pieces) > 0:
		data, err = numberedInfo(pieces)
		return data, 0, err
	case refusal != nil:
		return nil, 0, refusal
	}
	return nil, 0, fmt.Errorf("no module answered for information %02X", id)
}

// countedInfo reads 49 id count data; the same answer may have come twice.
func countedInfo(pieces []Message) ([]byte, int, error) {
	m := pieces[0]
	if len(m.Data) < 3 {
		return nil, 0, malformed(m, "is too short for vehicle information")
	}
	for _, again := range pieces[1:] {
		if !bytes.Equal(again.Data, m.Data) {
			return nil, 0, malformed(again, "contradicts an earlier answer of the same module")
		}
	}
	return m.Data[3:], int(m.Data[2]), nil
}

// numberedInfo joins messages 49 id number data(4), numbered from 1, in whatever order they came.
func numberedInfo(pieces []Message) ([]byte, error) {
	var joined [256][]byte
	last := 0
	for _, m := range pieces {
		if len(m.Data) != 3+legacyPiece || m.Data[2] == 0 {
			return nil, malformed(m, "is no numbered piece of four bytes")
		}
		number, data := int(m.Data[2]), m.Data[3:]
		if joined[number] != nil && !bytes.Equal(joined[number], data) {
			return nil, malformed(m, "contradicts an earlier piece of that number")
		}
		joined[number] = data
		last = max(last, number)
	}
	for number := 1; number <= last; number++ {
		if joined[number] == nil {
			return nil, malformed(pieces[0], "is one of %d pieces, but piece %d is missing", last, number)
		}
	}
	return bytes.Join(joined[1:last+1], nil), nil
}

// text is the printable characters of b: modules pad with zeros and control bytes at either end.
func text(b []byte) string {
	var s strings.Builder
	for _, c := range b {
		if c >= ' ' && c <= '~' {
			s.WriteByte(c)
		}
	}
	return strings.TrimSpace(s.String())
}
