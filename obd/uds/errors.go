package uds

import (
	"fmt"

	"stumble/obd"
)

// malformed keeps a copy of the message's beginning, since its buffer will be used again.
func malformed(m obd.Message, format string, args ...any) error {
	const most = 16
	data := append([]byte(nil), m.Data[:min(len(m.Data), most)]...)
	return &obd.MalformedError{Module: m.Module, Data: data, Why: fmt.Sprintf(format, args...)}
}

// expect checks that a message answers a service, repeats what was asked, and has at least n bytes. A refusal is
// returned as the error.
func expect(m obd.Message, s obd.Service, n int, echo ...byte) error {
	if refusal, ok := obd.DecodeNegative(m); ok {
		return refusal
	}
	if len(m.Data) == 0 || m.Data[0] != s.Response() {
		return malformed(m, "is not an answer to service %02X", byte(s))
	}
	if len(m.Data) < n || len(m.Data) < 1+len(echo) {
		return malformed(m, "has %d bytes, %d are the least for it", len(m.Data), max(n, 1+len(echo)))
	}
	for i, b := range echo {
		if m.Data[1+i] != b {
			return malformed(m, "answers another request of service %02X", byte(s))
		}
	}
	return nil
}

func word(b []byte) uint16 { return uint16(b[0])<<8 | uint16(b[1]) }
