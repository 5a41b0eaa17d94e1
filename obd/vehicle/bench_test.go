package vehicle

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net"
	"os"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/term"

	"stumble/obd"
	"stumble/obd/clock"
	"stumble/obd/elm"
	"stumble/obd/link"
	"stumble/obd/sim"
	"stumble/obd/sim/car"
)

// answers is an adapter in front of a car that answers the same each time: four cylinders' counts and five PIDs.
var answers = func() map[string]string {
	m := map[string]string{
		"ATWS": "\r\rELM327 v1.4b", "ATI": "ELM327 v1.4b", "ATDPN": "A6", "0100": "7E8064100183F8001",
	}
	for _, set := range []string{"ATE0", "ATL0", "ATS0", "ATCAF1", "ATAT1", "ATH1", "ATSP6", "ATSH7E0", "ATSH7DF"} {
		m[set] = "OK"
	}
	m["010C040D1103"] = "7E8100D410C0A960455\r7E8210D00113A030200"
	for _, digit := range "2345" {
		mid := "A" + string(digit)
		m["06"+mid] = "7E8101346" + mid + "0B240091\r7E8210000FFFF" + mid + "0C24\r7E82200A90000FFFFAA"
	}
	m["06A2A3"] = "NO DATA"
	for request, answer := range m {
		m[request+string(rune('1'+strings.Count(answer, "\r")))] = answer
	}
	return m
}()

// steady is what the car behind answers supports.
func steady() *Capabilities {
	return withCounts(capable(obd.CAN11At500, map[uint32][]byte{0x7E8: fastPIDs}), 4)
}

// instant is a link whose far end answers at once in the reader's own goroutine.
type instant struct {
	out  []byte
	read int
}

func (l *instant) Write(p []byte) (int, error) {
	l.out, l.read = append(append(l.out[:0], answers[string(p[:len(p)-1])]...), "\r\r>"...), 0
	return len(p), nil
}

func (l *instant) Read(p []byte) (int, error) {
	if l.read == len(l.out) {
		return 0, os.ErrDeadlineExceeded
	}
	n := copy(p, l.out[l.read:])
	l.read += n
	return n, nil
}

func (l *instant) SetReadDeadline(time.Time) error { return nil }
func (l *instant) Close() error                    { return nil }

// dialogue is a dialogue over a link that is open.
func dialogue(t testing.TB, l elm.Link, clk clock.Clock, observe func(*obd.Exchange)) *elm.Adapter {
	t.Helper()
	a, err := elm.Connect(t.Context(), elm.Config{
		Clock: clk, Dial: func(context.Context) (elm.Link, error) { return l, nil }, Observe: observe,
	})
	require.NoError(t, err)
	return a
}

// From the adapter's line to the reading nothing is allocated, the observer's view of it included.
func TestPollDoesNotAllocate(t *testing.T) {
	seen := 0
	a := dialogue(t, &instant{}, clock.System{}, func(e *obd.Exchange) { seen += len(e.Answer) })
	var readings []obd.Reading
	round := func() {
		readings = readings[:0]
		for _, req := range [...]obd.Request{obd.Live(fastPIDs...), obd.Test(0xA2), obd.Test(0xA3)} {
			answer, err := a.Do(t.Context(), req)
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range answer.Messages {
				if req.Service() == obd.TestResults {
					readings, _ = obd.AppendCounts(readings, m)
				} else {
					readings, _ = obd.AppendLive(readings, m)
				}
			}
		}
	}
	for range 5 { // buffers grow and line counts are learnt
		round()
	}
	require.Len(t, readings, 10)
	assert.Zero(t, testing.AllocsPerRun(200, round))

	p := NewPoller(a, steady(), clock.System{})
	turn := func() {
		n := 0
		_ = p.Run(t.Context(), func(*obd.Sample) error {
			if n++; n == 50 {
				return errOver
			}
			return nil
		})
	}
	turn()
	assert.LessOrEqual(t, testing.AllocsPerRun(20, turn), 2.0, "fifty exchanges: at most the counter that the test itself shares")
	assert.Positive(t, seen)
}

// BenchmarkOwnCost is what polling costs beside the link: plan, request, lines to messages to readings, stamps.
func BenchmarkOwnCost(b *testing.B) {
	p := NewPoller(dialogue(b, &instant{}, clock.System{}, nil), steady(), clock.System{})
	n := 0
	b.ReportAllocs()
	b.ResetTimer()
	err := p.Run(b.Context(), func(*obd.Sample) error {
		if n++; n >= b.N {
			return errOver
		}
		return nil
	})
	require.ErrorIs(b, err, errOver)
}

// answerer is an adapter at the far end that answers every line at once.
func answerer(peer io.ReadWriter) {
	var line, out []byte
	buf := make([]byte, 256)
	for {
		n, err := peer.Read(buf)
		if err != nil {
			return
		}
		for _, c := range buf[:n] {
			if c != '\r' {
				line = append(line, c)
				continue
			}
			out = append(append(out[:0], answers[string(line)]...), "\r\r>"...)
			line = line[:0]
			if _, err := peer.Write(out); err != nil {
				return
			}
		}
	}
}

// BenchmarkPoll is the poller's exchanges a second against a bare loop that writes the same bytes to a like link and
// reads to the prompt. They run in turns, so that whatever else the computer does falls on both; the metric is the
// median of the turns' ratios, 1 being as fast as bare.
func BenchmarkPoll(b *testing.B) {
	for _, over := range []struct {
		name string
		open func(b *testing.B) link.Link
	}{{"in-process", openInProcess}, {"TCP", openTCP}, {"pty", openPTY}} {
		b.Run(over.name, func(b *testing.B) { comparePoll(b, over.open) })
	}
}

func comparePoll(b *testing.B, open func(*testing.B) link.Link) {
	const turn = 84 // a whole round of the plan
	var requests [][]byte
	recording := true
	a := dialogue(b, open(b), clock.System{}, func(e *obd.Exchange) {
		if recording {
			requests = append(requests, append(slices.Clone(e.Request), '\r'))
		}
	})
	poller := NewPoller(a, steady(), clock.System{})
	poll := func() time.Duration {
		began, n := clock.System{}.Now(), 0
		err := poller.Run(b.Context(), func(*obd.Sample) error {
			if n++; n == turn {
				return errOver
			}
			return nil
		})
		if !errors.Is(err, errOver) {
			b.Fatal(err)
		}
		return clock.System{}.Now().Sub(began)
	}
	poll()
	poll()
	recording, requests = false, requests[len(requests)-turn:]
	bare := open(b)
	dialogue(b, bare, clock.System{}, nil) // for the same settings; from then on the link is used as it is
	require.NoError(b, bare.SetReadDeadline(clock.System{}.Now().Add(time.Hour)))
	buf := make([]byte, 4096)
	loop := func() time.Duration {
		began := clock.System{}.Now()
		for _, request := range requests {
			if _, err := bare.Write(request); err != nil {
				b.Fatal(err)
			}
			for {
				n, err := bare.Read(buf)
				if err != nil {
					b.Fatal(err)
				}
				if bytes.IndexByte(buf[:n], '>') >= 0 {
					break
				}
			}
		}
		return clock.System{}.Now().Sub(began)
	}
	loop()
	var ratios []float64
	var spent time.Duration
	for b.Loop() {
		t := poll()
		ratios = append(ratios, float64(loop())/float64(t))
		spent += t
	}
	slices.Sort(ratios)
	b.ReportMetric(ratios[len(ratios)/2], "rate/bare")
	b.ReportMetric(float64(len(ratios)*turn)/spent.Seconds(), "exchanges/s")
	b.ReportMetric(0, "ns/op") // of a turn: says nothing
}

// openInProcess is the simulated adapter with a car that answers at once; on the system's clock it takes half a
// millisecond over a command, as the real chip does.
func openInProcess(b *testing.B) link.Link {
	l := sim.NewLink(sim.NewAdapter(sim.Config{Bus: &table{}}), clock.System{})
	b.Cleanup(func() { _ = l.Close() })
	return l
}

// table is a car's socket that answers at once what answers says.
type table struct{}

func (*table) Protocol() obd.Protocol    { return obd.CAN11At500 }
func (*table) Ignition(time.Time) bool   { return true }
func (*table) Voltage(time.Time) float64 { return 14.1 }

func (*table) Request(dst []car.Answer, _ time.Time, _ byte, request []byte) []car.Answer {
	a := car.Answer{Module: car.EngineNode}
	switch request[0] {
	case 0x06:
		mid := request[1]
		a.Data = []byte{0x46, mid, 0x0B, 0x24, 0, 0x91, 0, 0, 0xFF, 0xFF, mid, 0x0C, 0x24, 0, 0xA9, 0, 0, 0xFF, 0xFF}
	case 0x01:
		a.Data = []byte{0x41, 0x0C, 0x0A, 0x96, 0x04, 0x55, 0x0D, 0x00, 0x11, 0x3A, 0x03, 0x02, 0x00}
		if request[1] == 0 {
			a.Data = []byte{0x41, 0x00, 0x18, 0x3F, 0x80, 0x01}
		}
	}
	return append(dst, a)
}

func openTCP(b *testing.B) link.Link {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(b, err)
	defer l.Close()
	accepted := make(chan net.Conn, 1)
	go func() {
		conn, err := l.Accept()
		if err == nil {
			accepted <- conn
		}
	}()
	ours, err := link.TCP(b.Context(), l.Addr().String(), clock.System{})
	require.NoError(b, err)
	peer := <-accepted
	b.Cleanup(func() {
		_ = ours.Close()
		_ = peer.Close()
	})
	go answerer(peer)
	return ours
}

func openPTY(b *testing.B) link.Link {
	if runtime.GOOS != "linux" && runtime.GOOS != "darwin" {
		b.Skip("no pseudo-terminals here")
	}
	master, slave, err := pty.Open()
	require.NoError(b, err)
	_, err = term.MakeRaw(int(slave.Fd()))
	require.NoError(b, err)
	ours, err := link.Serial(slave.Name(), 115200, clock.System{})
	require.NoError(b, err)
	b.Cleanup(func() {
		_ = ours.Close()
		_ = slave.Close()
		_ = master.Close()
	})
	go answerer(master)
	return ours
}

// wanted PIDs of a naive poll, one a request.
var naivePIDs = [...]byte{obd.PIDRPM, obd.PIDLoad, obd.PIDSpeed, obd.PIDThrottle}

// fastReadings counts the decoded readings of engine speed, load, road speed and throttle that the engine module
// sends in a minute of the simulated car (12 ms a module's answer, adapter at 115200 bits a second): polled as
// this package does, and naively, one PID a request with the adapter's time-out as it is by default.
func fastReadings(t testing.TB) (polled, naive float64) {
	const length = time.Minute
	count := func(readings []obd.Reading) (n int) {
		for _, x := range readings {
			if x.Service == obd.LiveData && slices.Contains(naivePIDs[:], x.ID) && x.Module.ID == 0x7E8 {
				n++
			}
		}
		return n
	}
	start := func(whole bool) (*elm.Adapter, *clock.Stepped) {
		clk := clock.NewStepped(morning)
		s, err := sim.Open("wren-running", 1, clk)
		require.NoError(t, err)
		a, err := elm.Connect(t.Context(), elm.Config{Clock: clk, WholeWait: whole,
			Dial: func(ctx context.Context) (elm.Link, error) { return s.Dial(ctx) }})
		require.NoError(t, err)
		return a, clk
	}

	a, clk := start(false)
	caps, err := Discover(t.Context(), a)
	require.NoError(t, err)
	n, end := 0, clk.Now().Add(length)
	err = NewPoller(a, caps, clk).Run(t.Context(), func(s *obd.Sample) error {
		if s.Received.After(end) {
			return errOver
		}
		n += count(s.Readings)
		return nil
	})
	require.ErrorIs(t, err, errOver)
	polled = float64(n) / length.Seconds()

	clk = clock.NewStepped(morning)
	s, err := sim.Open("wren-running", 1, clk)
	require.NoError(t, err)
	l, err := s.Dial(t.Context())
	require.NoError(t, err)
	say := func(line string) string {
		_, err := l.Write([]byte(line + "\r"))
		require.NoError(t, err)
		var got []byte
		buf := make([]byte, 512)
		for !bytes.HasSuffix(got, []byte(">")) {
			n, err := l.Read(buf)
			require.NoError(t, err)
			got = append(got, buf[:n]...)
		}
		return string(got)
	}
	for _, line := range []string{"ATZ", "ATE0", "ATH1", "ATAT0", "0100"} {
		say(line)
	}
	n, end = 0, clk.Now().Add(length)
	for i := 0; clk.Now().Before(end); i++ {
		if strings.Contains(say(obd.Live(naivePIDs[i%len(naivePIDs)]).String()), "7E8") {
			n++
		}
	}
	return polled, float64(n) / length.Seconds()
}

// The poller's readings come at least three times as fast as those of a naive poll. Simulated time is the same on
// every computer.
func TestPollIsFasterThanNaive(t *testing.T) {
	polled, naive := fastReadings(t)
	assert.Greater(t, naive, 4.0)
	assert.Greater(t, polled/naive, 3.0)
}

// BenchmarkReadings is the same as a figure.
func BenchmarkReadings(b *testing.B) {
	var polled, naive float64
	for b.Loop() {
		polled, naive = fastReadings(b)
	}
	b.ReportMetric(polled, "readings/simulated-s")
	b.ReportMetric(naive, "naive/simulated-s")
	b.ReportMetric(polled/naive, "times-naive")
}
