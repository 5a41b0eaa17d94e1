package link

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"runtime"
	"slices"
	"strings"
	"syscall"

	"go.bug.st/serial"
)

// Reason is why a link could not be opened, or stopped. It is itself an error, to be found with errors.Is.
type Reason string

// The reasons. Each has its remedy in the table below.
const (
	NoPermission Reason = "permission denied"
	Busy         Reason = "another program has it open"
	NoSuchPort   Reason = "no such port"
	NotSerial    Reason = "not a serial port"
	BadSpeed     Reason = "the port cannot run at this speed"
	Refused      Reason = "connection refused"
	TimedOut     Reason = "no answer in time"
	UnknownHost  Reason = "unknown host name"
	Unreachable  Reason = "network unreachable"
	Stalled      Reason = "it takes no more bytes"
	Gone         Reason = "the adapter went away"
	Unusable     Reason = "the system will not open it"
)

// Error is the reason in words.
func (r Reason) Error() string { return string(r) }

// Is makes Gone and ErrGone one and the same.
func (r Reason) Is(target error) bool { return r == Gone && target == ErrGone }

// remedy says what to do about a reason. This is the one place where that is decided.
func (r Reason) remedy() string {
	switch r {
	case NoPermission:
		if runtime.GOOS == "linux" {
			return "add yourself to the group that owns it (often dialout), then log in again"
		}
		return "ask whoever runs this computer to let you use the port"
	case Busy:
		return "close the other program, then try again"
	case NoSuchPort:
		return "check that the adapter is plugged in or paired, and run 'stumble ports' for what is there"
	case NotSerial:
		return "give the device of a serial port, such as " + exampleDevice()
	case BadSpeed:
		return "choose 38400, 115200 or 9600"
	case Refused:
		return "check the port number (often 35000) and that no other program is connected to the adapter"
	case TimedOut:
		return "check that the adapter has power and that this computer is on the adapter's network"
	case UnknownHost:
		return "check the spelling, or give the address in numbers (often 192.168.0.10)"
	case Unreachable:
		return "connect this computer to the adapter's network"
	case Stalled:
		return "unplug the adapter, plug it in again and retry"
	case Gone:
		return "check the plug, the cable and the supply, then connect again"
	}
	return "check that the adapter is plugged in, has power and is paired; one that was paired and is refused now: remove it and pair it again"
}

func exampleDevice() string {
	switch runtime.GOOS {
	case "windows":
		return "COM3"
	case "darwin":
		return "/dev/cu.usbserial-10"
	}
	return "/dev/ttyUSB0"
}

// Error is a link that could not be opened or stopped working. It reads as one line that ends in what to
// do, and is both its Reason and its cause to errors.Is.
type Error struct {
	Op     string // "open", "read" or "write"
	Where  string // the device's path, or host:port
	Reason Reason
	Cause  error // what the system said; may be nil
}

// Error is "open /dev/ttyUSB0: permission denied; add yourself to ...".
func (e *Error) Error() string {
	why := e.Reason.Error()
	if e.Reason == Unusable && e.Cause != nil {
		why += fmt.Sprintf(" (%s)", oneLine(e.Cause))
	}
	return fmt.Sprintf("%s %s: %s; %s", e.Op, e.Where, why, e.Reason.remedy())
}

// Unwrap gives the reason and, where there is one, the cause.
func (e *Error) Unwrap() []error {
	if e.Cause == nil {
		return []error{e.Reason}
	}
	return []error{e.Reason, e.Cause}
}

// oneLine is an error's text without line breaks.
func oneLine(err error) string { return strings.Join(strings.Fields(err.Error()), " ") }

// serialReason tells why a serial port did not open. The library maps some of the system's errors to codes
// of its own, not the same ones on every system, and hands on the rest as they are.
func serialReason(err error) Reason {
	var port *serial.PortError
	if errors.As(err, &port) {
		switch port.Code() {
		case serial.PermissionDenied:
			return NoPermission
		case serial.PortBusy:
			return Busy
		case serial.PortNotFound:
			return NoSuchPort
		case serial.InvalidSerialPort:
			return NotSerial
		case serial.InvalidSpeed:
			return BadSpeed
		}
		return Unusable
	}
	switch {
	case isAny(err, fs.ErrPermission):
		return NoPermission
	case isAny(err, syscall.EBUSY):
		return Busy
	case isAny(err, syscall.EISDIR, syscall.ENOTTY):
		return NotSerial
	case isAny(err, fs.ErrNotExist, syscall.ENOTDIR, syscall.ENXIO, syscall.ENODEV):
		return NoSuchPort
	}
	return Unusable
}

// dialReason tells why a TCP connection was not made. The numbers are Windows' own for what follows them
// (Windows Sockets error codes); no other system has errors of these numbers.
func dialReason(err error) Reason {
	const (
		wsaNetDown, wsaNetUnreach   = syscall.Errno(10050), syscall.Errno(10051)
		wsaTimedOut, wsaRefused     = syscall.Errno(10060), syscall.Errno(10061)
		wsaHostDown, wsaHostUnreach = syscall.Errno(10064), syscall.Errno(10065)
	)
	var dns *net.DNSError
	switch {
	case isAny(err, TimedOut, context.DeadlineExceeded, os.ErrDeadlineExceeded, syscall.ETIMEDOUT, wsaTimedOut):
		return TimedOut
	case errors.As(err, &dns) && dns.IsTimeout:
		return TimedOut
	case errors.As(err, &dns):
		return UnknownHost
	case isAny(err, syscall.ECONNREFUSED, wsaRefused):
		return Refused
	case isAny(err, syscall.ENETUNREACH, syscall.EHOSTUNREACH, syscall.ENETDOWN, syscall.EHOSTDOWN,
		wsaNetDown, wsaNetUnreach, wsaHostDown, wsaHostUnreach):
		return Unreachable
	}
	return Unusable
}

func isAny(err error, targets ...error) bool {
	return slices.ContainsFunc(targets, func(target error) bool { return errors.Is(err, target) })
}
