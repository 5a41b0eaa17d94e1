package sim

import (
	"testing"
	"time"

	"stumble/obd"
)

// Whatever comes in, at whatever moments, in whatever set-up: the adapter does not panic, time on the bus does
// not run backwards (the bench car panics if it does), and once the noise is over a client gets it back.
func FuzzInput(f *testing.F) {
	f.Add([]byte("ATZ\rATE0\r0100\r0902\r"), uint8(6), false)
	f.Add([]byte("ATSP3\r0100\r.\rATH1\r0902\rATFCSD300000\rATFCSM2\r"), uint8(3), true)
	f.Add([]byte("0100\x00\xff\r\r\rATTPA0\rATMA\rx"), uint8(7), false)
	f.Add([]byte("ATLP\r \rATCRA7EX\rATCAF0\r0201 00\r0\r"), uint8(8), false)
	f.Fuzz(func(t *testing.T, in []byte, protocol uint8, cheap bool) {
		bus := idling()
		bus.protocol = obd.Protocol(1 + protocol%9)
		cfg := Config{Bus: bus, Baud: 115200, Faults: []Fault{{time.Second, LowVoltageReset}}}
		if cheap {
			cfg.Quirks = CheapAdapter()
		}
		a := NewAdapter(cfg)
		now := noon
		buf := make([]byte, 100)
		for i, c := range in {
			a.Input([]byte{c}, now)
			if i%3 == 0 {
				now = now.Add(time.Duration(c) * time.Millisecond)
			}
			if due, ok := a.Due(); ok && c == '\r' && due.After(now) {
				now = due
			}
			for a.Output(buf, now) > 0 {
			}
		}
		a.PowerCycle(now.Add(time.Minute))
		now = now.Add(2 * time.Minute)
		for a.Output(buf, now) > 0 {
		}
		a.Input([]byte("ATI\r"), now)
		n := 0
		for due, ok := a.Due(); ok; due, ok = a.Due() {
			if due.Before(now) {
				t.Fatal("output due in the past after everything was read")
			}
			now = due
			n += a.Output(buf, now)
		}
		if n < 8 {
			t.Fatalf("only %d bytes in answer to ATI after a power cycle", n)
		}
	})
}
