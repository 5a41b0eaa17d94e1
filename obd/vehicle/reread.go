package vehicle

import (
	"stumble/obd"
	"stumble/obd/elm"
)

// Reread turns recorded exchanges into samples again, as a Poller did when they were live.
type Reread struct {
	answers *elm.Reread
	sample  obd.Sample
}

// NewReread reads exchanges of a bus protocol, with frame headers or without as the adapter printed them.
func NewReread(protocol obd.Protocol, headers bool) *Reread {
	return &Reread{answers: elm.NewReread(protocol, headers), sample: obd.Sample{Readings: make([]obd.Reading, 0, 32)}}
}

// Sample is what an exchange told of the running engine, nil for nothing. It is good until the next call.
func (r *Reread) Sample(e *obd.Exchange) *obd.Sample {
	req, answer, err := r.answers.Answer(e)
	if s := req.Service(); err != nil || s != obd.LiveData && s != obd.TestResults {
		return nil
	}
	r.sample.Sent, r.sample.Received = e.Sent, e.Received
	r.sample.Readings, _ = appendReadings(r.sample.Readings[:0], req.Service(), answer.Messages)
	if len(r.sample.Readings) == 0 {
		return nil
	}
	return &r.sample
}
