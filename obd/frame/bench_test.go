package frame_test

import (
	"testing"

	"stumble/obd"
	"stumble/obd/frame"
)

// poll is one round of polling: live data of two PIDs, one cylinder's counts in four frames, and a refusal of
// another module in between.
var poll = [][]string{
	{"7E8 06 41 0C 1A F8 0D 4A"},
	{
		"7E8 10 13 46 A2 0B 24 00 03", "7E9 03 7F 06 11", "7E8 21 00 00 FF FF A2 0C 24",
		"7E8 22 00 1F 00 00 FF FF AA",
	},
}

// newPoll gives a function that turns the lines of poll into readings and returns their number.
func newPoll(t testing.TB) func() int {
	var exchanges [][][]byte
	for _, lines := range poll {
		var exchange [][]byte
		for _, line := range lines {
			exchange = append(exchange, []byte(line))
		}
		exchanges = append(exchanges, exchange)
	}
	requests := []obd.Request{obd.Live(obd.PIDRPM, obd.PIDSpeed), obd.Test(obd.MIDCylinder1)}
	var a frame.Assembler
	var readings []obd.Reading
	return func() int {
		readings = readings[:0]
		for i, exchange := range exchanges {
			a.Reset(can11)
			for _, line := range exchange {
				if err := a.Line(line); err != nil {
					t.Fatal(err)
				}
			}
			messages, err := a.Messages()
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range messages {
				if !obd.Answers(requests[i], m) {
					t.Fatalf("% X does not answer %v", m.Data, requests[i])
				}
				switch m.Data[0] {
				case obd.LiveData.Response():
					readings, err = obd.AppendLive(readings, m)
				case obd.TestResults.Response():
					readings, err = obd.AppendCounts(readings, m)
				}
				if err != nil {
					t.Fatal(err)
				}
			}
		}
		return len(readings)
	}
}

func TestPollDoesNotAllocate(t *testing.T) {
	round := newPoll(t)
	if n := round(); n != 4 {
		t.Fatalf("%d readings, want rpm, speed and two counts", n)
	}
	if n := testing.AllocsPerRun(100, func() { round() }); n != 0 {
		t.Errorf("%v allocations a round", n)
	}
}

// BenchmarkLineToReading is one round of polling, five adapter lines to four readings.
func BenchmarkLineToReading(b *testing.B) {
	round := newPoll(b)
	b.ReportAllocs()
	for b.Loop() {
		round()
	}
}

// BenchmarkVIN is one answer of three frames with another module's in between.
func BenchmarkVIN(b *testing.B) {
	lines := [][]byte{[]byte(vinFirst), []byte("7E9 03 7F 09 78"), []byte(vinSecond), []byte(vinThird)}
	var a frame.Assembler
	b.ReportAllocs()
	for b.Loop() {
		a.Reset(can11)
		for _, line := range lines {
			if err := a.Line(line); err != nil {
				b.Fatal(err)
			}
		}
		if _, err := a.Messages(); err != nil {
			b.Fatal(err)
		}
	}
}
