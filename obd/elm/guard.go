package elm

import (
	"bytes"
	"errors"
	"fmt"
)

// ErrForbidden says that a line was refused before it reached the adapter.
var ErrForbidden = errors.New("not allowed on the bus")

// guard is the one gate to the bus: every line that leaves for the adapter passes it, and what it does not
// know it refuses. It lets through the read-only services of SAE J1979 (01, 02, 03, 06, 07, 09, 0A), of SAE J1979-2
// what guardIdentifiers and guardCodes admit of services 22 and 19, and the set-up commands listed in setup; nothing
// that writes or drives an actuator. An empty line is refused too: a lone carriage return makes an adapter repeat its
// last command, whoever sent that.
//
// Beside those it lets through the requests of services 21 and 22 that are in admitted, byte for byte: a user's own table of
// a maker's counters, shown and confirmed. They read, too.
//
// Services 04 and 14 clear what a fault is found by. They pass only where clear is true, which Clear makes it for one
// line, and only as the very lines it sends.
func guard(line []byte, clear bool, admitted ...string) error {
	if clear && (string(line) == clearLine || string(line) == clearGroupLine) {
		return nil
	}
	if len(line) == 0 {
		return fmt.Errorf("%w: an empty line repeats the adapter's last command", ErrForbidden)
	}
	if bytes.HasPrefix(line, []byte("AT")) {
		return guardSetup(line[2:])
	}
	if err := guardService(line); err != nil && !isAdmitted(line, admitted) {
		return err
	}
	return nil
}

// isAdmitted reports a request of the user's table, with or without the number of lines to wait for.
func isAdmitted(line []byte, admitted []string) bool {
	if len(line) > 2*7+1 || !bytes.HasPrefix(line, []byte("21")) && !bytes.HasPrefix(line, []byte("22")) {
		return false
	}
	for _, c := range line {
		if !isHexDigit(c) {
			return false
		}
	}
	for _, request := range admitted {
		if string(line[:len(line)&^1]) == request {
			return true
		}
	}
	return false
}

// The lines that clear: service 04, and service 14 for the group of emission-related codes (ISO 14229-1). Nothing else
// does.
const (
	clearLine      = "04"
	clearGroupLine = "14FFFF33"
)

// guardService admits a request of a reading service: whole bytes in upper-case hexadecimal, with at most
// one digit more, the number of lines to wait for.
func guardService(line []byte) error {
	const longest = 2*7 + 1 // seven bytes fill a single CAN frame
	if len(line) < 2 || len(line) > longest {
		return fmt.Errorf("%w: %q is not a service request", ErrForbidden, line)
	}
	for _, c := range line {
		if !isHexDigit(c) {
			return fmt.Errorf("%w: %q is not a service request", ErrForbidden, line)
		}
	}
	params := line[2 : len(line)&^1]
	switch string(line[:2]) {
	case "01", "02", "03", "06", "07", "09", "0A":
		return nil
	case "22":
		return guardIdentifiers(params)
	case "19":
		return guardCodes(params)
	}
	return fmt.Errorf("%w: service %s", ErrForbidden, line[:2])
}

// guardIdentifiers admits one to three identifiers from F400 to F8FF: what SAE J1979-2 sets aside for the values of
// SAE J1979 (ISO 14229-1). All others are the maker's.
func guardIdentifiers(params []byte) error {
	rest := params
	for ; len(rest) >= 4 && rest[0] == 'F' && rest[1] >= '4' && rest[1] <= '8'; rest = rest[4:] {
	}
	if len(params) == 0 || len(rest) > 0 {
		return fmt.Errorf("%w: identifiers %s of service 22", ErrForbidden, params)
	}
	return nil
}

// codeRequests lists what may be asked of service 19, without the 19. An x stands for one hexadecimal digit. All of
// them read: lists of the emission-related codes, and what is kept with one code.
var codeRequests = []string{
	"4233xx1E", "5533", "5633xx", // by status, permanent, of a readiness group
	"04xxxxxxxx",               // a freeze frame
	"06xxxxxx91", "06xxxxxx92", // how often it was checked, and its results
}

func guardCodes(params []byte) error {
	for _, pattern := range codeRequests {
		if matches(params, pattern) {
			return nil
		}
	}
	return fmt.Errorf("%w: request %s of service 19", ErrForbidden, params)
}

// setup lists the adapter commands that may be sent, without the AT. An x stands for one hexadecimal digit.
// All of them configure the adapter or ask it about itself; none puts anything but a reading request on
// the bus.
var setup = []string{
	"Z", "WS", "D", "I", "@1", "FE", // reset, defaults, identity, forget a fault of its own
	"E0", "L0", "S0", "H1", "CAF1", "AL", // shape of the answers
	"AT0", "AT1", "AT2", "STxx", // timing
	"BRTFF", "BRD08", // speed of the serial line: 500,000 baud and no other
	"SP0", "SPx", "TPx", "DPN", "PC", // protocol
	"RV", "IGN", // supply voltage, ignition
	"SHxxx", "SHxxxxxx", "CRA", "CRAxxx", "CRAxxxxxxxx", "AR", // one module at a time
}

func guardSetup(command []byte) error {
	for _, pattern := range setup {
		if matches(command, pattern) {
			return nil
		}
	}
	return fmt.Errorf("%w: set-up command AT%s", ErrForbidden, command)
}

func matches(command []byte, pattern string) bool {
	if len(command) != len(pattern) {
		return false
	}
	for i, c := range command {
		if p := pattern[i]; p == 'x' && !isHexDigit(c) || p != 'x' && p != c {
			return false
		}
	}
	return true
}

func isHexDigit(c byte) bool { return c >= '0' && c <= '9' || c >= 'A' && c <= 'F' }
