package obd

import "fmt"

// UnknownPIDError says that an answer holds a PID whose length is not known, so that nothing after it can
// be told apart.
type UnknownPIDError struct {
	Module Module
	PID    byte
}

func (e *UnknownPIDError) Error() string {
	return fmt.Sprintf("module %v sent PID %02X, whose length is not known: ask it alone or not at all", e.Module, e.PID)
}

// ShortError says that a PID has fewer data bytes than it needs.
type ShortError struct {
	Module     Module
	PID        byte
	Want, Have int
}

func (e *ShortError) Error() string {
	return fmt.Sprintf("module %v sent %d of the %d data bytes of PID %02X", e.Module, e.Have, e.Want, e.PID)
}

// MalformedError says that a message does not have the layout of its service.
type MalformedError struct {
	Module Module
	Data   []byte // the beginning of the message
	Why    string
}

func (e *MalformedError) Error() string {
	return fmt.Sprintf("answer % X of module %v %s", e.Data, e.Module, e.Why)
}

// malformed keeps a copy of the message's beginning, since its buffer will be used again.
func malformed(m Message, format string, args ...any) error {
	const most = 16
	data := append([]byte(nil), m.Data[:min(len(m.Data), most)]...)
	return &MalformedError{Module: m.Module, Data: data, Why: fmt.Sprintf(format, args...)}
}

// expect checks that a message answers a service and has at least n bytes. A refusal is returned as the error.
func expect(m Message, s Service, n int) error {
	if refusal, ok := DecodeNegative(m); ok {
		return refusal
	}
	if len(m.Data) > 0 && m.Data[0] != s.Response() {
		return malformed(m, "is not an answer to service %02X", byte(s))
	}
	if len(m.Data) < n {
		return malformed(m, "has %d bytes, %d are the least for service %02X", len(m.Data), n, byte(s))
	}
	return nil
}
