package counters

import (
	"bytes"
	"fmt"

	"stumble/obd"
)

// Value is what an answer tells of a counter: its raw bytes, and the value in misses, or in percent. ok is false where the
// message is no answer to it, an answer of another component, or too short.
func (c *Counter) Value(m obd.Message) (raw []byte, value float64, ok bool) {
	d := m.Data
	if !obd.Answers(c.Request, m) || len(d) == 0 || d[0] != c.Request.Service().Response() {
		return nil, 0, false
	}
	head := 1 + repeated(c.Request)
	if c.Component >= 0 {
		const upper = 0x7F // the highest bit tells a lower limit from an upper one
		head++
		if len(d) < head || int(d[2])&upper != c.Component&upper || d[2]&^upper != byte(c.Component)&^upper {
			return nil, 0, false
		}
	}
	if !bytes.HasPrefix(d[1:], c.Request.Params()[:repeated(c.Request)]) || len(d) < head+c.To {
		return nil, 0, false
	}
	raw = d[head+c.From-1 : head+c.To]
	n := uint64(0)
	for _, b := range raw {
		n = n<<8 | uint64(b)
	}
	value = float64(n)
	if c.Signed && raw[0]&0x80 != 0 {
		value -= float64(uint64(1) << (8 * len(raw)))
	}
	return raw, value * c.Factor, true
}

// repeated is how many parameters of a request its answer repeats: the identifier of services 21 and 22, the test of
// service 06 (ISO 14230-3, ISO 14229-1, SAE J1979).
func repeated(req obd.Request) int {
	if req.Service() == obd.DataByID {
		return 2
	}
	return 1
}

// Plausible reports whether a value can be one of its kind: no count is below 0, and no share above the whole.
func (c *Counter) Plausible(value float64) error {
	const firings = 100 // of one cylinder in 200 turns: one every two (four-stroke)
	switch {
	case value < 0:
		return fmt.Errorf("%g is below 0", value)
	case c.Kind == Revolutions && value > firings:
		return fmt.Errorf("%g misses are more than the %d firings of a cylinder in 200 turns", value, firings)
	case c.Kind == Percent && value > 100:
		return fmt.Errorf("%g %% is more than all", value)
	}
	return nil
}

// Append reads the counts that an answer to a request tells, and appends them to dst: Service is LocalData whatever service
// was asked, ID the monitor that other cars would count that cylinder by, Part the Kind. Values that cannot be are left out.
func (t Table) Append(dst []obd.Reading, req obd.Request, m obd.Message) []obd.Reading {
	for i := range t {
		c := &t[i]
		if c.Request != req {
			continue
		}
		_, value, ok := c.Value(m)
		if !ok || c.Plausible(value) != nil {
			continue
		}
		unit := obd.Counts
		if c.Kind == Percent {
			unit = obd.Percent
		}
		dst = append(dst, obd.Reading{Module: m.Module, Service: obd.LocalData, ID: obd.MIDMisfire + byte(c.Cylinder),
			Part: byte(c.Kind), Value: value, Unit: unit})
	}
	return dst
}

// Has reports whether the table sends a request.
func (t Table) Has(req obd.Request) bool {
	for i := range t {
		if t[i].Request == req {
			return true
		}
	}
	return false
}
