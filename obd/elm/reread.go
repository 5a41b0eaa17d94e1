package elm

import (
	"bytes"
	"encoding/hex"

	"stumble/obd"
)

// Reread sorts recorded exchanges into answers by the same rules as a live dialogue, without an adapter: a fault of
// those rules that is found and mended later is mended for old recordings too. It is for one goroutine.
type Reread struct {
	adapter Adapter // never connected: only what it knows of answers is used
	raw     []byte
}

// NewReread reads exchanges of a bus protocol, with frame headers or without as the adapter printed them.
func NewReread(protocol obd.Protocol, headers bool) *Reread {
	return &Reread{adapter: Adapter{protocol: protocol, headers: headers, counts: newCountBook(false), modules: make([]obd.Module, 0, mostModules)}}
}

// Answer is what one exchange told; it is good until the next call. The request is the zero Request where nothing
// was asked of the car, as in the adapter's set-up. Errors are those of a live request.
func (r *Reread) Answer(e *obd.Exchange) (obd.Request, Answer, error) {
	req, ok := r.request(e.Request)
	if !ok {
		return obd.Request{}, Answer{}, nil
	}
	a := &r.adapter
	a.line, a.sent, a.received, a.promised = append(a.line[:0], e.Request...), e.Sent, e.Received, a.promised[:0]
	a.answer = appendClean(a.answer[:0], e.Answer)
	if _, err := a.sortLines(); err != nil {
		return req, Answer{}, err
	}
	answer, _, err := a.collect(req)
	return req, answer, err
}

// request reads a line to the adapter, which may end in the number of lines to wait for.
func (r *Reread) request(line []byte) (obd.Request, bool) {
	line = bytes.TrimSpace(line)
	line = line[:len(line)&^1]
	if len(line) == 0 || len(line) > 2*obd.MaxRequest {
		return obd.Request{}, false
	}
	r.raw = append(r.raw[:0], line...)
	n, err := hex.Decode(r.raw, line)
	if err != nil || n == 0 { // AT is no hexadecimal number
		return obd.Request{}, false
	}
	return obd.NewRequest(obd.Service(r.raw[0]), r.raw[1:n]...), true
}
