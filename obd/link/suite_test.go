package link_test

import (
	"context"
	"io"
	"net"
	"runtime"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"stumble/obd/clock"
	"stumble/obd/link"
	"stumble/obd/link/linktest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func newClock() *clock.Stepped {
	return clock.NewStepped(time.Date(2026, 11, 25, 8, 30, 0, 0, time.UTC))
}

// listen gives a loopback address and what connects to it.
func listen(t testing.TB) (address string, accept func() net.Conn) {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { _ = listener.Close() })
	return listener.Addr().String(), func() net.Conn {
		conn, err := listener.Accept()
		require.NoError(t, err)
		t.Cleanup(func() { _ = conn.Close() })
		return conn
	}
}

func tcpPair(t testing.TB, clk clock.Clock) (link.Link, net.Conn) {
	t.Helper()
	address, accept := listen(t)
	l, err := link.TCP(context.Background(), address, clk)
	require.NoError(t, err)
	t.Cleanup(func() { _ = l.Close() })
	return l, accept()
}

// openPTY gives the master end of a pseudo-terminal and the path of the other, which stands for the
// device file of a serial port.
func openPTY(t testing.TB) (master io.ReadWriteCloser, path string) {
	t.Helper()
	if runtime.GOOS == "windows" {
		t.Skip("Windows has no pseudo-terminal that could stand for a serial port")
	}
	m, s, err := pty.Open()
	require.NoError(t, err)
	t.Cleanup(func() { _, _ = m.Close(), s.Close() })
	return m, s.Name()
}

func serialPair(t testing.TB, clk clock.Clock) (link.Link, io.ReadWriteCloser) {
	t.Helper()
	master, path := openPTY(t)
	l, err := link.Serial(path, 38400, clk)
	require.NoError(t, err)
	t.Cleanup(func() { _ = l.Close() })
	return l, master
}

// eachClock runs a test on a clock that the test moves and on one that runs by itself, faster than the
// system's, so that little is waited for.
func eachClock(t *testing.T, test func(t *testing.T, clockFor func() clock.Clock)) {
	t.Run("stepped", func(t *testing.T) { test(t, func() clock.Clock { return newClock() }) })
	t.Run("running", func(t *testing.T) { test(t, func() clock.Clock { return clock.NewScaled(5) }) })
}

func TestTCPKeepsTheContract(t *testing.T) {
	eachClock(t, func(t *testing.T, clockFor func() clock.Clock) {
		linktest.Run(t, func(t *testing.T) linktest.Pair {
			clk := clockFor()
			l, conn := tcpPair(t, clk)
			return linktest.Pair{Link: l, Peer: conn, Clock: clk}
		})
	})
}

func TestSerialKeepsTheContract(t *testing.T) {
	eachClock(t, func(t *testing.T, clockFor func() clock.Clock) {
		linktest.Run(t, func(t *testing.T) linktest.Pair {
			clk := clockFor()
			l, master := serialPair(t, clk)
			return linktest.Pair{Link: l, Peer: master, Clock: clk}
		})
	})
}

func TestFaultyKeepsTheContract(t *testing.T) {
	faults := map[string]func() []linktest.Fault{
		"none":  func() []linktest.Fault { return nil },
		"split": func() []linktest.Fault { return []linktest.Fault{linktest.SingleBytes()} },
		"late": func() []linktest.Fault {
			return []linktest.Fault{linktest.Delay(time.Millisecond), linktest.SingleBytes()}
		},
	}
	for name, each := range faults {
		t.Run(name, func(t *testing.T) {
			linktest.Run(t, func(t *testing.T) linktest.Pair {
				clk := newClock()
				l, conn := tcpPair(t, clk)
				return linktest.Pair{Link: linktest.Faulty(l, clk, each()...), Peer: conn, Clock: clk}
			})
		})
	}
}
