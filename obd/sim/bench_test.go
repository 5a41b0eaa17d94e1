package sim

import (
	"testing"
	"time"

	"stumble/obd"
	"stumble/obd/clock"
	"stumble/obd/sim/car"
)

// still is a car that answers every request alike, at no cost.
type still struct{ answer car.Answer }

func (s *still) Protocol() obd.Protocol    { return obd.CAN11At500 }
func (s *still) Ignition(time.Time) bool   { return true }
func (s *still) Voltage(time.Time) float64 { return 14.1 }
func (s *still) Request(dst []car.Answer, _ time.Time, _ byte, _ []byte) []car.Answer {
	return append(dst, s.answer)
}

// BenchmarkExchange is one request for six PIDs, three frames long, written and read to the prompt on a
// stepped clock. The simulated time it takes is what bounds a real poller.
func BenchmarkExchange(b *testing.B) {
	for _, way := range []struct{ name, request string }{
		{"counted", "010C040D0511A43\r"},
		{"waiting", "010C040D0511A4\r"},
	} {
		b.Run(way.name, func(b *testing.B) {
			clk := clock.NewStepped(noon)
			bus := &still{says(0x10, 8, "41 0C 0B B1 04 51 0D 00 05 7B 11 2A A4 03 30 0A 41")}
			l := NewLink(NewAdapter(Config{Bus: bus, Baud: 115200}), clk)
			buf := make([]byte, 512)
			exchange := func(request []byte) {
				if _, err := l.Write(request); err != nil {
					b.Fatal(err)
				}
				_ = l.SetReadDeadline(clk.Now().Add(10 * time.Second))
				for {
					n, err := l.Read(buf)
					if err != nil {
						b.Fatal(err)
					}
					if buf[n-1] == '>' {
						return
					}
				}
			}
			for _, c := range []string{"ATE0\r", "ATS0\r", "ATH1\r", "0100\r"} {
				exchange([]byte(c))
			}
			request, start := []byte(way.request), clk.Now()
			b.ReportAllocs()
			for b.Loop() {
				exchange(request)
			}
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "exchanges/s")
			b.ReportMetric(clk.Now().Sub(start).Seconds()*1000/float64(b.N), "simulated-ms/op")
		})
	}
}

// BenchmarkDrive is a minute with the idling Wren, car and all: six PIDs and one misfire counter in
// turn, as fast as the adapter lets them.
func BenchmarkDrive(b *testing.B) {
	clk := clock.NewStepped(noon)
	sim, err := Open("wren-running", 1, clk)
	if err != nil {
		b.Fatal(err)
	}
	l, err := sim.Dial(b.Context())
	if err != nil {
		b.Fatal(err)
	}
	buf, exchanges := make([]byte, 512), 0
	exchange := func(request []byte) {
		if _, err := l.Write(request); err != nil {
			b.Fatal(err)
		}
		for n := 0; n == 0 || buf[n-1] != '>'; {
			if n, err = l.Read(buf); err != nil {
				b.Fatal(err)
			}
		}
		exchanges++
	}
	for _, c := range []string{"ATE0\r", "ATS0\r", "ATH1\r", "ATSH7E0\r", "0100\r"} {
		exchange([]byte(c))
	}
	live, counts, start := []byte("010C040D0511A42\r"), []byte("06A33\r"), clk.Now()
	exchanges = 0
	b.ReportAllocs()
	for b.Loop() {
		for end := clk.Now().Add(time.Minute); clk.Now().Before(end); {
			exchange(live)
			exchange(counts)
		}
	}
	simulated := clk.Now().Sub(start)
	b.ReportMetric(simulated.Seconds()/b.Elapsed().Seconds(), "times-real")
	b.ReportMetric(float64(exchanges)/simulated.Seconds(), "exchanges/simulated-s")
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(exchanges), "ns/exchange")
}
