package obd

import "fmt"

// negative is the first byte of a refusal.
const negative = 0x7F

// NegativeResponse is a module's refusal, 7F service code (ISO 14230-3, ISO 15031-5). It is an error.
type NegativeResponse struct {
	Module  Module
	Service Service // the service refused
	Code    byte
}

// DecodeNegative reads a refusal; false when the message is none.
func DecodeNegative(m Message) (NegativeResponse, bool) {
	if len(m.Data) < 3 || m.Data[0] != negative {
		return NegativeResponse{}, false
	}
	return NegativeResponse{Module: m.Module, Service: Service(m.Data[1]), Code: m.Data[2]}, true
}

func (n NegativeResponse) Error() string {
	return fmt.Sprintf("module %v refused service %02X: %s (code %02X)", n.Module, byte(n.Service), n.Meaning(), n.Code)
}

// Meaning is the code in words.
func (n NegativeResponse) Meaning() string {
	switch n.Code {
	case 0x10:
		return "general reject"
	case 0x11:
		return "service not supported"
	case 0x12:
		return "sub-function not supported"
	case 0x13:
		return "length or format not understood"
	case 0x14:
		return "answer too long"
	case 0x21:
		return "busy, ask again"
	case 0x22:
		return "conditions not correct"
	case 0x31:
		return "request out of range"
	case 0x33:
		return "security access denied"
	case 0x78:
		return "answer still coming"
	case 0x7F:
		return "not supported in the active session"
	}
	return "reason not known"
}

// Pending reports that the real answer is still to come: keep waiting.
func (n NegativeResponse) Pending() bool { return n.Code == 0x78 }

// Busy reports that the same request may succeed a little later.
func (n NegativeResponse) Busy() bool { return n.Code == 0x21 }

// ConditionsNotCorrect reports that the state of the vehicle forbids it, as clearing codes with the engine
// running.
func (n NegativeResponse) ConditionsNotCorrect() bool { return n.Code == 0x22 }

// Unsupported reports that asking again is of no use: remember it and stop.
func (n NegativeResponse) Unsupported() bool {
	switch n.Code {
	case 0x10, 0x11, 0x12, 0x31, 0x7F:
		return true
	}
	return false
}

// TooMuch reports that a request for several values may be refused for their number alone: fewer may be answered.
func (n NegativeResponse) TooMuch() bool { return n.Code == 0x13 || n.Code == 0x14 || n.Code == 0x31 }
