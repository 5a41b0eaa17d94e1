package export

import (
	"time"

	"stumble/obd"
	"stumble/obd/counters"
)

// Sample is one reading.
type Sample struct {
	Time    Micros   `json:"time_utc" parquet:"time_utc,timestamp(microsecond)"` // when the answer was complete
	Seconds float64  `json:"seconds" parquet:"seconds"`                          // the same, since the drive began
	Answer  float64  `json:"answer_seconds" parquet:"answer_seconds"`            // from the request to the answer
	Module  string   `json:"module" parquet:"module,dict"`                       // address of the control module, "0x7E8"; "" when not told
	Service string   `json:"service" parquet:"service,dict"`                     // "0x01" live data, "0x06" on-board tests (SAE J1979), "0x19" counts of a code (SAE J1979-2), "0x21" the maker's own counts
	ID      string   `json:"id" parquet:"id,dict"`                               // PID, or on-board monitor
	Part    string   `json:"part" parquet:"part,dict"`                           // place within the PID from "0x00", or test of the monitor
	Name    string   `json:"name" parquet:"name,dict"`                           // the same in words
	Value   *float64 `json:"value" parquet:"value,optional"`
	Unit    string   `json:"unit" parquet:"unit,dict"` // "" for a state or a gear
}

// AppendSample adds the readings of a sample, a row each, to dst. start is when the drive began: the first request.
func AppendSample(dst []Sample, start time.Time, s *obd.Sample) []Sample {
	for i := range s.Readings {
		r := &s.Readings[i]
		row := Sample{
			Time: micros(s.Received), Seconds: s.Received.Sub(start).Seconds(), Answer: s.Received.Sub(s.Sent).Seconds(),
			Service: hex(byte(r.Service)), ID: hex(r.ID), Part: hex(r.Part), Name: name(r), Value: known(r.Value), Unit: string(r.Unit),
		}
		if r.Module.Bits != 0 {
			row.Module = "0x" + r.Module.String()
		}
		dst = append(dst, row)
	}
	return dst
}

// name is what a reading is of, in words.
func name(r *obd.Reading) string {
	if r.Service == obd.TestResults {
		return obd.MonitorName(r.ID) + ": " + obd.TestName(r.Part)
	}
	if r.Service == obd.LocalData {
		return obd.MonitorName(r.ID) + ": " + counters.Kind(r.Part).String()
	}
	if r.Service == obd.CodeData {
		return obd.MonitorName(r.ID) + ": " + obd.ResultName(r.Part)
	}
	p, ok := obd.DescribePID(r.ID)
	switch {
	case !ok:
		return ""
	case len(p.Parts) > 1 && int(r.Part) < len(p.Parts):
		return p.Name + ": " + p.Parts[r.Part].Name
	}
	return p.Name
}
