package sim

import (
	"strconv"
	"strings"
	"time"

	"stumble/obd"
)

const (
	timeoutStep    = 4 * time.Millisecond // what the argument of ST counts
	defaultTimeout = 0x32 * timeoutStep   // "about 200 ms" (ELM327 data sheet, AT ST)
	wakeUpStep     = 20 * time.Millisecond
)

// argument does the commands that take a hexadecimal argument; false when there is no such command or the
// argument does not fit it.
func (a *Adapter) argument(cmd string) bool {
	for _, name := range [...]string{"FCSH", "FCSD", "FCSM", "AMT", "CRA", "SP", "TP", "ST", "SH", "CF", "CM", "CP", "CV", "PP", "SR", "SW", "TA", "WM", "RA"} {
		if arg, ok := strings.CutPrefix(cmd, name); ok {
			return a.setArgument(name, arg)
		}
	}
	return false
}

func (a *Adapter) setArgument(name, arg string) bool {
	switch name {
	case "SP", "TP":
		return a.argProtocol(arg, name == "TP")
	case "ST":
		return a.argTimeout(arg)
	case "SH":
		return a.argHeader(arg)
	case "CRA":
		return a.argReceive(arg)
	case "CF":
		return argID(arg, &a.filter)
	case "CM":
		return argID(arg, &a.mask)
	case "FCSH":
		return argID(arg, &a.flowHeader)
	case "FCSD":
		return a.argFlowData(arg)
	case "FCSM":
		return a.argFlowMode(arg)
	case "CP":
		v, ok := hexArg(arg, 2)
		if ok {
			a.priority = v << 24
		}
		return ok
	case "SW":
		v, ok := hexArg(arg, 2)
		if ok {
			a.wakeUp = time.Duration(v) * wakeUpStep
		}
		return ok
	case "PP":
		return argParameter(arg)
	case "WM":
		return len(arg) >= 2 && len(arg) <= 12 && len(arg)%2 == 0 && isHex(arg)
	case "CV":
		_, ok := hexArg(arg, 4)
		return ok
	}
	_, ok := hexArg(arg, 2) // AMT, RA, SR, TA: of no consequence here
	return ok
}

// argProtocol reads h, Ah, hA, 0h.
func (a *Adapter) argProtocol(arg string, tryOnly bool) bool {
	auto := false
	if len(arg) == 2 {
		switch {
		case arg[0] == 'A':
			auto, arg = true, arg[1:]
		case arg[1] == 'A':
			auto, arg = true, arg[:1]
		case arg[0] == '0':
			arg = arg[1:]
		}
	}
	v, ok := hexArg(arg, 1)
	if !ok || int(v) >= len(protocolNames) {
		return false
	}
	a.setProtocol(obd.Protocol(v), auto || v == 0, tryOnly)
	return true
}

func (a *Adapter) argTimeout(arg string) bool {
	v, ok := hexArg(arg, 2)
	if !ok {
		return false
	}
	if a.cfg.Quirks.IgnoresST {
		return true
	}
	a.timeout = time.Duration(v) * timeoutStep
	if v == 0 {
		a.timeout = defaultTimeout
	}
	a.learned = 0
	return true
}

// argHeader reads xyz, xxyyzz (behind the priority on wide CAN) or wwxxyyzz.
func (a *Adapter) argHeader(arg string) bool {
	v, ok := hexArg(arg, len(arg))
	switch {
	case !ok || (len(arg) != 3 && len(arg) != 6 && len(arg) != 8):
		return false
	case len(arg) == 8:
		a.priority, v = v&0xFF000000, v&0xFFFFFF
	}
	a.header = v
	return true
}

// argReceive reads an identifier in which X stands for any digit.
func (a *Adapter) argReceive(arg string) bool {
	if len(arg) != 3 && len(arg) != 8 {
		return false
	}
	var filter, mask uint32
	for _, c := range []byte(arg) {
		filter, mask = filter<<4, mask<<4
		if c == 'X' {
			continue
		}
		v, ok := nibble(c)
		if !ok {
			return false
		}
		filter, mask = filter|uint32(v), mask|0xF
	}
	a.filter, a.mask = filter, mask
	return true
}

func (a *Adapter) argFlowData(arg string) bool {
	if len(arg) < 2 || len(arg) > 10 || len(arg)%2 != 0 || !isHex(arg) {
		return false
	}
	a.flowLen = len(arg) / 2
	for i := range a.flowLen {
		v, _ := hexArg(arg[2*i:2*i+2], 2)
		a.flowData[i] = byte(v)
	}
	return true
}

// argFlowMode refuses a mode whose data or header was not given yet, as the chip does.
func (a *Adapter) argFlowMode(arg string) bool {
	switch {
	case arg == "0":
	case arg == "1" && a.flowLen > 0 && a.flowHeader != 0:
	case arg == "2" && a.flowLen > 0:
	default:
		return false
	}
	a.flowMode = arg[0] - '0'
	return true
}

// argParameter reads xx ON, xx OFF and xx SV yy; the parameters themselves are of no consequence here.
func argParameter(arg string) bool {
	if len(arg) < 4 || !isHex(arg[:2]) {
		return false
	}
	switch rest := arg[2:]; {
	case rest == "ON", rest == "OFF":
		return true
	default:
		value, ok := strings.CutPrefix(rest, "SV")
		return ok && len(value) == 2 && isHex(value)
	}
}

// argID reads an identifier of either width.
func argID(arg string, to *uint32) bool {
	v, ok := hexArg(arg, len(arg))
	if !ok || (len(arg) != 3 && len(arg) != 8) {
		return false
	}
	*to = v
	return true
}

// hexArg reads exactly n hexadecimal digits, at most eight.
func hexArg(s string, n int) (uint32, bool) {
	if len(s) != n || !isHex(s) {
		return 0, false
	}
	v, err := strconv.ParseUint(s, 16, 32)
	return uint32(v), err == nil
}

func isHex(s string) bool {
	for i := range len(s) {
		if _, ok := nibble(s[i]); !ok {
			return false
		}
	}
	return len(s) > 0
}

// nibble is the value of a hexadecimal digit in upper case.
func nibble(c byte) (byte, bool) {
	switch {
	case c >= '0' && c <= '9':
		return c - '0', true
	case c >= 'A' && c <= 'F':
		return c - 'A' + 10, true
	}
	return 0, false
}
