package obd

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Code is a diagnostic trouble code as two bytes (SAE J2012): two bits of system, two of the first digit
// and three hexadecimal digits.
type Code uint16

// String writes the code as the trade does: P0301.
func (c Code) String() string {
	return fmt.Sprintf("%c%d%03X", "PCBU"[c>>14], c>>12&3, uint16(c&0xFFF))
}

// ParseCode reads a code as written, in either case.
func ParseCode(s string) (Code, error) {
	t := strings.ToUpper(strings.TrimSpace(s))
	wrong := fmt.Errorf("%q is no trouble code: a letter of P, C, B, U and four digits, as in P0301", s)
	if len(t) != 5 {
		return 0, wrong
	}
	system := strings.IndexByte("PCBU", t[0])
	digits, err := strconv.ParseUint(t[1:], 16, 16)
	if system < 0 || err != nil || digits > 0x3FFF {
		return 0, wrong
	}
	return Code(system<<14) | Code(digits), nil
}

// MarshalText writes the code as String does.
func (c Code) MarshalText() ([]byte, error) { return []byte(c.String()), nil }

// UnmarshalText reads what MarshalText writes.
func (c *Code) UnmarshalText(text []byte) (err error) {
	*c, err = ParseCode(string(text))
	return err
}

// MisfireCylinder is the cylinder that a misfire code names: P0301 to P0309, then P0310 to P0312, whose
// digits count in tens although codes are hexadecimal. It is false for P0300 and all else.
func (c Code) MisfireCylinder() (cylinder int, ok bool) {
	tens, ones := int(c>>4&0xF), int(c&0xF)
	cylinder = 10*tens + ones
	if c>>8 != 0x03 || ones > 9 || cylinder < 1 || cylinder > 12 {
		return 0, false
	}
	return cylinder, true
}

// DecodeCodes reads a trouble-code answer: stored (43), pending (47) or permanent (4A). On CAN a count and
// that many codes; before CAN three codes a message, the missing ones zero. Zero entries are fillers and
// left out. If fewer codes came than were counted, those that did are returned together with an error.
func DecodeCodes(p Protocol, m Message) ([]Code, error) {
	if p == ProtocolUnknown {
		return nil, malformed(m, "cannot be read before the protocol is known")
	}
	service := StoredCodes
	if len(m.Data) > 0 {
		switch s := Service(m.Data[0] &^ 0x40); s {
		case PendingCodes, PermanentCodes:
			service = s
		}
	}
	if err := expect(m, service, 2); err != nil {
		return nil, err
	}
	if p.CAN() {
		return countedCodes(m)
	}
	pairs := m.Data[1:]
	if len(pairs)%2 != 0 {
		return codePairs(pairs), malformed(m, "ends inside a code")
	}
	return codePairs(pairs), nil
}

func countedCodes(m Message) ([]Code, error) {
	count, pairs := int(m.Data[1]), m.Data[2:]
	if len(pairs) < 2*count {
		return codePairs(pairs), malformed(m, "counts %d codes and holds %d", count, len(pairs)/2)
	}
	return codePairs(pairs[:2*count]), nil
}

func codePairs(b []byte) []Code {
	var out []Code
	for ; len(b) >= 2; b = b[2:] {
		if c := Code(word(b)); c != 0 {
			out = append(out, c)
		}
	}
	return out
}

// CodeKind groups codes by what a misfire search does with them.
type CodeKind string

// The kinds of codes.
const (
	KindMisfire  CodeKind = "misfire"
	KindCoil     CodeKind = "coil"
	KindInjector CodeKind = "injector"
	KindFuel     CodeKind = "fuel"
	KindTiming   CodeKind = "timing"
	KindOther    CodeKind = "other"
)

// CodeInfo is what is known of a code.
type CodeInfo struct {
	Code     Code
	Meaning  string // in our words
	Cylinder int    // 0 when the code names none
	Kind     CodeKind
	Known    bool // in the list; else Meaning only tells the code's group
}

// DescribeCode explains a code. Outside the list of codes that matter to a misfire it tells the group.
func DescribeCode(c Code) CodeInfo {
	i, found := slices.BinarySearchFunc(codeTable, c, func(e CodeInfo, c Code) int { return cmp.Compare(e.Code, c) })
	if found {
		return codeTable[i]
	}
	return CodeInfo{Code: c, Meaning: codeGroup(c), Kind: KindOther}
}

// Meaning is DescribeCode's wording.
func (c Code) Meaning() string { return DescribeCode(c).Meaning }

// codeGroup tells the group of a code (SAE J2012, from memory): the first digit says who defined it, in the
// P0 range the second one the subject.
func codeGroup(c Code) string {
	switch c >> 14 {
	case 1:
		return "chassis code: look it up for this vehicle"
	case 2:
		return "body code: look it up for this vehicle"
	case 3:
		return "communication code: look it up for this vehicle"
	}
	switch digit := c >> 12 & 3; {
	case digit == 1, digit == 3 && c&0xFFF < 0x400:
		return "maker's powertrain code: look it up for this vehicle"
	case digit > 1:
		return "powertrain code: look it up for this vehicle"
	}
	return powertrainGroup(c >> 8 & 0xF)
}

func powertrainGroup(second Code) string {
	switch second {
	case 0, 1:
		return "fuel and air metering or its extra controls"
	case 2:
		return "fuel and air metering, injector circuits"
	case 3:
		return "ignition system or misfire"
	case 4:
		return "auxiliary emission controls"
	case 5:
		return "speed, idle or auxiliary inputs"
	case 6:
		return "control module or its outputs"
	case 7, 8, 9:
		return "transmission"
	case 0xA, 0xB, 0xC:
		return "hybrid drive"
	}
	return "powertrain code: look it up for this vehicle"
}
