package link_test

import (
	"bytes"
	"io"
	"net"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.bug.st/serial"

	"stumble/obd/clock"
)

var (
	benchRequest = []byte("010C1\r")
	benchAnswer  = []byte("7E8 04 41 0C 1A F8 \r\r>")
)

// answerer is an adapter that answers every carriage return at once.
func answerer(peer io.ReadWriter) {
	buf := make([]byte, 256)
	for {
		n, err := peer.Read(buf)
		if err != nil {
			return
		}
		for range bytes.Count(buf[:n], []byte{'\r'}) {
			if _, err := peer.Write(benchAnswer); err != nil {
				return
			}
		}
	}
}

// exchanges writes a request and reads to the prompt, n times, and gives the time each took.
func exchanges(b *testing.B, end io.ReadWriter, n int) time.Duration {
	buf := make([]byte, 256)
	began := clock.System{}.Now()
	for range n {
		if _, err := end.Write(benchRequest); err != nil {
			b.Fatal(err)
		}
		for got := 0; got == 0 || buf[got-1] != '>'; {
			m, err := end.Read(buf[got:])
			if err != nil {
				b.Fatal(err)
			}
			got += m
		}
	}
	return clock.System{}.Now().Sub(began)
}

// compare runs exchanges through the link and through the bare end under it in turns, so that whatever
// else the computer does falls on both, and reports the median of the turns' ratios: 1 is as fast as bare.
func compare(b *testing.B, through, bare io.ReadWriter) {
	const turn = 200
	exchanges(b, through, turn)
	exchanges(b, bare, turn)
	var ratios []float64
	var spent time.Duration
	turns := 0
	for b.Loop() {
		t := exchanges(b, through, turn)
		ratios = append(ratios, float64(exchanges(b, bare, turn))/float64(t))
		spent += t
		turns++
	}
	slices.Sort(ratios)
	b.ReportMetric(ratios[len(ratios)/2], "throughput/bare")
	b.ReportMetric(float64(turns*turn)/spent.Seconds(), "exchanges/s")
	b.ReportMetric(0, "ns/op") // of a turn: says nothing
}

func BenchmarkTCP(b *testing.B) {
	l, peer := tcpPair(b, clock.System{})
	go answerer(peer)
	require.NoError(b, l.SetReadDeadline(clock.System{}.Now().Add(time.Hour)))

	address, accept := listen(b)
	bare, err := net.Dial("tcp", address)
	require.NoError(b, err)
	defer bare.Close()
	go answerer(accept())
	compare(b, l, bare)
}

func BenchmarkSerial(b *testing.B) {
	l, peer := serialPair(b, clock.System{})
	go answerer(peer)
	require.NoError(b, l.SetReadDeadline(clock.System{}.Now().Add(time.Hour)))

	master, path := openPTY(b)
	bare, err := serial.Open(path, &serial.Mode{BaudRate: 38400, DataBits: 8})
	require.NoError(b, err)
	defer bare.Close()
	go answerer(master)
	compare(b, l, bare)
}
