package obd

import "fmt"

// Protocol is a bus protocol by the number that ELM327-compatible adapters give it (AT DPN).
type Protocol byte

// The protocols of SAE J1979 vehicles, numbered as the adapter numbers them.
const (
	ProtocolUnknown Protocol = 0
	J1850PWM        Protocol = 1 // SAE J1850 PWM, 41.6 kbit/s
	J1850VPW        Protocol = 2 // SAE J1850 VPW, 10.4 kbit/s
	ISO9141         Protocol = 3 // ISO 9141-2, 5-baud start
	KWP5Baud        Protocol = 4 // ISO 14230-4, 5-baud start
	KWPFast         Protocol = 5 // ISO 14230-4, fast start
	CAN11At500      Protocol = 6 // ISO 15765-4, 11-bit identifiers, 500 kbit/s
	CAN29At500      Protocol = 7 // ISO 15765-4, 29-bit identifiers, 500 kbit/s
	CAN11At250      Protocol = 8 // ISO 15765-4, 11-bit identifiers, 250 kbit/s
	CAN29At250      Protocol = 9 // ISO 15765-4, 29-bit identifiers, 250 kbit/s
)

// CAN reports whether the protocol runs on CAN, where requests may carry several PIDs and service 06 has
// standard units.
func (p Protocol) CAN() bool { return p >= CAN11At500 && p <= CAN29At250 }

// Wide reports whether modules answer with 29-bit identifiers.
func (p Protocol) Wide() bool { return p == CAN29At500 || p == CAN29At250 }

// J1850 reports whether frames end in the CRC of SAE J1850.
func (p Protocol) J1850() bool { return p == J1850PWM || p == J1850VPW }

// KWP reports whether frames carry the format byte of ISO 14230-2.
func (p Protocol) KWP() bool { return p == KWP5Baud || p == KWPFast }

// String names the standard and the speed.
func (p Protocol) String() string {
	switch p {
	case J1850PWM:
		return "SAE J1850 PWM"
	case J1850VPW:
		return "SAE J1850 VPW"
	case ISO9141:
		return "ISO 9141-2"
	case KWP5Baud:
		return "ISO 14230-4, 5-baud start"
	case KWPFast:
		return "ISO 14230-4, fast start"
	case CAN11At500:
		return "ISO 15765-4, 11-bit, 500 kbit/s"
	case CAN29At500:
		return "ISO 15765-4, 29-bit, 500 kbit/s"
	case CAN11At250:
		return "ISO 15765-4, 11-bit, 250 kbit/s"
	case CAN29At250:
		return "ISO 15765-4, 29-bit, 250 kbit/s"
	case ProtocolUnknown:
		return "not known yet"
	}
	return fmt.Sprintf("protocol %X", byte(p))
}
