package vehicle

import (
	"context"

	"stumble/obd"
	"stumble/obd/counters"
	"stumble/obd/elm"
)

// headerAsker asks under a header of the user's own: *elm.Adapter does.
type headerAsker interface {
	DoAt(ctx context.Context, req obd.Request, header string) (elm.Answer, error)
}

// askOwn asks for a counter of the user's table.
func askOwn(ctx context.Context, car Asker, req obd.Request, header string) (elm.Answer, error) {
	if s, is := car.(*speaker); is {
		car = s.Asker
	}
	if at, can := car.(headerAsker); can {
		return at.DoAt(ctx, req, header)
	}
	return car.Do(ctx, req)
}

// CounterReading is what came of asking for one counter of the user's table.
type CounterReading struct {
	Counter counters.Counter
	Module  obd.Module
	Answer  []byte // whole, as the module sent it; empty where none came
	Raw     []byte // the bytes that the table names; empty where the answer has them not
	Value   float64
	Err     error // why there is no value
}

// ReadCounters asks for each counter of a table once. The error is that nothing more can be read; what was until then is
// returned with it.
func ReadCounters(ctx context.Context, car Asker, table counters.Table) (out []CounterReading, err error) {
	for _, c := range table {
		answer, err := askOwn(ctx, car, c.Request, c.Header)
		if e := optional(ctx, err); e != nil {
			return out, e
		}
		r := CounterReading{Counter: c, Err: err}
		if err == nil {
			r.Err = errNoSuchBytes
		}
		for _, m := range answer.Messages {
			raw, value, ok := c.Value(m)
			if ok || len(r.Answer) == 0 {
				r.Module, r.Answer = m.Module, append([]byte(nil), m.Data...)
			}
			if ok {
				r.Raw, r.Value, r.Err = append([]byte(nil), raw...), value, c.Plausible(value)
				break
			}
		}
		out = append(out, r)
	}
	return out, nil
}

// errNoSuchBytes says that an answer came without what the table looks for in it.
var errNoSuchBytes = &obd.MalformedError{Why: "does not hold the bytes that the table names"}

// own plans the counters of the user's table: one request for all that it tells.
func (b *builder) own() {
	type where struct {
		req    obd.Request
		header string
	}
	seen := map[where]bool{}
	for i := range b.caps.Counters {
		c := &b.caps.Counters[i]
		if at := (where{c.Request, c.Header}); !seen[at] {
			seen[at] = true
			b.p.counts = append(b.p.counts, &item{asks: []ask{{req: c.Request, own: true, header: c.Header}}})
		}
	}
}
