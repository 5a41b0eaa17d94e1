package vehicle

import (
	"stumble/obd"
	"stumble/obd/counters"
	"stumble/obd/elm"
	"stumble/obd/uds"
)

// Reread turns recorded exchanges into samples again, as a Poller did when they were live.
type Reread struct {
	Counters counters.Table // the user's own, by which the drive was counted; may be empty

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
	if err != nil {
		return nil
	}
	r.sample.Sent, r.sample.Received = e.Sent, e.Received
	if r.Counters.Has(req) {
		r.sample.Readings = r.sample.Readings[:0]
		for _, m := range answer.Messages {
			r.sample.Readings = r.Counters.Append(r.sample.Readings, req, m)
		}
		return r.told()
	}
	service, messages := req.Service(), answer.Messages
	if s, byID := uds.Classic(req); byID {
		service, messages = s, older(req, messages)
	}
	if service != obd.LiveData && service != obd.TestResults && (service != obd.CodeData || req.Params()[0] != obd.CodeRecord) {
		return nil
	}
	r.sample.Readings, _ = appendReadings(r.sample.Readings[:0], service, messages)
	return r.told()
}

// told is the sample, nil where it holds nothing.
func (r *Reread) told() *obd.Sample {
	if len(r.sample.Readings) == 0 {
		return nil
	}
	return &r.sample
}

// older puts the answers to a request of service 22 into the words of SAE J1979, as far as they can be read.
func older(req obd.Request, messages []obd.Message) (out []obd.Message) {
	for _, m := range messages {
		if data, err := uds.AppendClassic(nil, req, m); err == nil {
			out = append(out, obd.Message{Module: m.Module, Data: data})
		}
	}
	return out
}
