package cause_test

import (
	"testing"
	"time"

	"stumble/misfire"
	"stumble/misfire/cause"
	"stumble/obd"
	"stumble/obd/sim/car"
	"stumble/obd/sim/simtest"
)

// BenchmarkCollector tells what hearing a drive for its causes costs beside counting it: "of-tally" is the share of the
// tally's own time in the same run.
func BenchmarkCollector(b *testing.B) {
	record := recorded(b)
	var counting, hearing time.Duration
	for b.Loop() {
		tally := misfire.NewTally(misfire.Config{})
		counting += timed(record, tally.Add)
		var heard cause.Collector
		hearing += timed(record, heard.Add)
	}
	b.ReportMetric(float64(hearing)/float64(counting), "of-tally")
	b.ReportMetric(float64(hearing.Nanoseconds())/float64(b.N*len(record)), "ns/sample")
}

// BenchmarkExplain tells what ranking costs, once at the end of a drive: "of-summary" is how many summaries of the same
// drive it takes.
func BenchmarkExplain(b *testing.B) {
	book := cause.StandardBook()
	record := recorded(b)
	tally := misfire.NewTally(misfire.Config{})
	timed(record, tally.Add)
	tally.Finish()
	drives := []cause.Drive{{Summary: tally.Summary()}}
	var summing, explaining time.Duration
	for b.Loop() {
		began := time.Now()
		tally.Summary()
		summing += time.Since(began)
		began = time.Now()
		book.Explain(cause.Gather(drives, nil, cause.SharedCoils))
		explaining += time.Since(began)
	}
	b.ReportMetric(float64(explaining)/float64(summing), "of-summary")
}

// recorded is the samples of one drive.
func recorded(b *testing.B) (record []obd.Sample) {
	b.Helper()
	cfg := car.Config{Vehicle: wren().vehicle, Faults: []car.Fault{car.PlugWire{Cylinder: 2}}, Script: trip(6), Coolant: 80}
	c, err := car.New(cfg, 1, epoch)
	if err != nil {
		b.Fatal(err)
	}
	asker := simtest.Asker{Car: c, Takes: 20 * time.Millisecond}
	round := slowRound(4)
	for at := time.Duration(0); at < 6*time.Minute; at += 60 * time.Millisecond {
		if sample := asker.Ask(epoch.Add(at), round.Next()); sample != nil {
			record = append(record, sample.Clone())
		}
	}
	return record
}

func timed(record []obd.Sample, add func(*obd.Sample)) time.Duration {
	began := time.Now()
	for i := range record {
		add(&record[i])
	}
	return time.Since(began)
}
