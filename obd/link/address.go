package link

import (
	"fmt"
	"net"
	"strconv"
	"strings"
)

// defaultPort is where adapters with wireless network listen (common practice, no source).
const defaultPort = "35000"

// Kind is what an Address leads to.
type Kind int

// The kinds of address.
const (
	Search     Kind = iota // nothing was said: ask the system for serial ports and try them
	SerialPort             // a serial port, by Path
	Network                // an adapter on TCP, at Host
	Simulated              // the built-in simulated car, in Scenario; empty for the usual one
)

// Address says where the adapter is.
type Address struct {
	Kind     Kind
	Path     string // of the serial device: /dev/ttyUSB0, COM3
	Host     string // host:port, an IPv6 host in brackets
	Scenario string
}

// String is the address in the form ParseAddress reads.
func (a Address) String() string {
	switch a.Kind {
	case SerialPort:
		return a.Path
	case Network:
		return "tcp://" + a.Host
	case Simulated:
		if a.Scenario != "" {
			return "sim:" + a.Scenario
		}
		return "sim"
	}
	return ""
}

// ParseAddress reads the ways to say where the adapter is: a serial device's path or COMn, tcp://HOST or
// tcp://HOST:PORT, sim or sim:SCENARIO, or nothing. Whether it exists shows when it is opened.
func ParseAddress(where string) (Address, error) {
	where = strings.TrimSpace(where)
	if i := strings.IndexFunc(where, func(r rune) bool { return r < ' ' || r == 0x7F }); i >= 0 {
		return Address{}, fmt.Errorf("%q is no place for an adapter: it holds a control character; %s", where, forms)
	}
	scheme, rest, isURL := strings.Cut(where, "://")
	switch {
	case where == "":
		return Address{Kind: Search}, nil
	case isURL && strings.EqualFold(scheme, "tcp"):
		return parseHost(where, rest)
	case isURL:
		return Address{}, fmt.Errorf("%q: cannot speak %q to an adapter; %s", where, scheme, forms)
	case strings.EqualFold(where, "sim"):
		return Address{Kind: Simulated}, nil
	case len(where) > 3 && strings.EqualFold(where[:4], "sim:"):
		return parseScenario(where, where[4:])
	case isCOM(where):
		return Address{Kind: SerialPort, Path: strings.ToUpper(where)}, nil
	case strings.ContainsAny(where, `/\`):
		return Address{Kind: SerialPort, Path: where}, nil
	}
	return Address{}, notAPlace(where)
}

// forms is what every error about an address ends in.
const forms = "give a serial port (/dev/ttyUSB0, COM3), tcp://HOST:PORT, sim or sim:SCENARIO"

// notAPlace guesses at what was meant by a word that is no address.
func notAPlace(where string) error {
	switch {
	case strings.HasPrefix(where, "tty") || strings.HasPrefix(where, "cu.") || strings.HasPrefix(where, "rfcomm"):
		return fmt.Errorf("%q is not a path; give it in full: /dev/%s", where, where)
	case net.ParseIP(where) != nil || looksLikeHostPort(where):
		return fmt.Errorf("%q looks like a network address; write it as tcp://%s", where, where)
	}
	return fmt.Errorf("%q is no place for an adapter; %s", where, forms)
}

func looksLikeHostPort(s string) bool {
	host, port, err := net.SplitHostPort(s)
	_, ok := portNumber(port)
	return err == nil && host != "" && ok
}

func parseScenario(where, name string) (Address, error) {
	if name == "" || strings.ContainsAny(name, " \t") {
		return Address{}, fmt.Errorf("%q names no scenario; give sim:SCENARIO, or just sim", where)
	}
	return Address{Kind: Simulated, Scenario: name}, nil
}

func parseHost(where, hostport string) (Address, error) {
	host, port := hostport, defaultPort
	bracketed := strings.HasPrefix(host, "[") && strings.HasSuffix(host, "]")
	switch {
	case strings.ContainsAny(hostport, "/?#@ \t\\"):
		return Address{}, fmt.Errorf("%q: only a host and a port may follow tcp://, as in tcp://192.168.0.10:%s", where, defaultPort)
	case bracketed:
		host = host[1 : len(host)-1]
	case net.ParseIP(hostport) != nil && strings.Contains(hostport, ":"):
		return Address{}, fmt.Errorf("%q: put an IPv6 address in brackets: tcp://[%s]:%s", where, hostport, defaultPort)
	case strings.Contains(hostport, ":"):
		var err error
		if host, port, err = net.SplitHostPort(hostport); err != nil {
			return Address{}, fmt.Errorf("%q: cannot tell the host from the port; write tcp://HOST:PORT", where)
		}
	}
	if host == "" || strings.ContainsAny(host, "[]") {
		return Address{}, fmt.Errorf("%q names no host; write tcp://HOST:PORT", where)
	}
	number, ok := portNumber(port)
	if !ok {
		return Address{}, fmt.Errorf("%q: %q is no port number; give one from 1 to 65535 (often %s)", where, port, defaultPort)
	}
	return Address{Kind: Network, Host: net.JoinHostPort(host, strconv.FormatUint(number, 10))}, nil
}

// portNumber reads a number from 1 to 65535.
func portNumber(s string) (uint64, bool) {
	n, err := strconv.ParseUint(s, 10, 16)
	return n, err == nil && n > 0
}

// isCOM tells the names of serial ports on Windows: COM and a number.
func isCOM(s string) bool {
	if len(s) < 4 || !strings.EqualFold(s[:3], "COM") {
		return false
	}
	_, ok := portNumber(s[3:])
	return ok
}
