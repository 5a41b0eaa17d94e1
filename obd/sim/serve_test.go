package sim

import (
	"bufio"
	"context"
	"io"
	"net"
	"os"
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"

	"stumble/obd/clock"
)

// reads wants exactly these bytes next.
func reads(t *testing.T, from io.Reader, want string) {
	t.Helper()
	got := make([]byte, len(want))
	_, err := io.ReadFull(from, got)
	require.NoError(t, err)
	require.Equal(t, want, string(got))
}

func says2(t *testing.T, to io.Writer, command string) {
	t.Helper()
	_, err := io.WriteString(to, command+"\r")
	require.NoError(t, err)
}

// serving starts Serve on loopback and returns the address and how to end it.
func serving(t *testing.T, d *Dialer, clk clock.Clock) (addr string, end func()) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- Serve(ctx, l, clk, d.Dial) }()
	return l.Addr().String(), func() {
		cancel()
		require.NoError(t, <-done)
	}
}

func TestServe(t *testing.T) {
	clk := clock.NewScaled(50)
	addr, end := serving(t, NewDialer(NewAdapter(Config{Bus: idling(), Baud: 115200}), clk, Drops{}), clk)
	for visit := range 3 { // a client may leave and come again, and finds the adapter as it left it
		conn, err := net.Dial("tcp", addr)
		require.NoError(t, err)
		if visit == 0 {
			says2(t, conn, "ATE0")
			reads(t, conn, "ATE0\rOK\r\r>")
		}
		says2(t, conn, "ATI")
		reads(t, conn, "ELM327 v2.2\r\r>")

		other, err := net.Dial("tcp", addr)
		require.NoError(t, err)
		_, err = other.Read(make([]byte, 1))
		require.Error(t, err, "one client at a time")
		require.NoError(t, other.Close())

		says2(t, conn, "ATRV")
		reads(t, conn, "12.3V\r\r>")
		require.NoError(t, conn.Close())
	}
	conn, err := net.Dial("tcp", addr)
	require.NoError(t, err)
	says2(t, conn, "ATI")
	reads(t, conn, "ELM327 v2.2\r\r>")
	end()
	_, err = conn.Read(make([]byte, 1))
	require.Error(t, err, "the server took the client along")
	require.NoError(t, conn.Close())
}

// A client of a dropping link sees its connection end, and is let in again after the outage.
func TestServeDrops(t *testing.T) {
	clk := clock.NewScaled(200)
	addr, end := serving(t, NewDialer(NewAdapter(Config{Bus: idling()}), clk, Dropping(1e9)), clk)
	defer end()
	cut := func() {
		conn, err := net.Dial("tcp", addr)
		require.NoError(t, err)
		_, _ = io.Copy(io.Discard, conn) // until it is cut, or at once during the outage
		require.NoError(t, conn.Close())
	}
	cut()
	for answered := false; !answered; {
		conn, err := net.Dial("tcp", addr)
		require.NoError(t, err)
		_, _ = io.WriteString(conn, "ATE1\r")
		line, err := bufio.NewReader(conn).ReadString('>')
		answered = err == nil && line == "ATE1\rOK\r\r>"
		require.NoError(t, conn.Close())
	}
}

func TestServeBrokenListener(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	require.NoError(t, l.Close())
	clk := clock.System{}
	err = Serve(t.Context(), l, clk, NewDialer(NewAdapter(Config{Bus: idling()}), clk, Drops{}).Dial)
	require.ErrorIs(t, err, net.ErrClosed)
}

func TestServePTY(t *testing.T) {
	if runtime.GOOS != "linux" && runtime.GOOS != "darwin" {
		t.Skip("no pseudo-terminals here")
	}
	clk := clock.NewScaled(50)
	ctx, cancel := context.WithCancel(t.Context())
	paths, done := make(chan string, 1), make(chan error, 1)
	d := NewDialer(NewAdapter(Config{Bus: idling(), Baud: 115200}), clk, Drops{})
	go func() { done <- ServePTY(ctx, clk, d.Dial, func(path string) { paths <- path }) }()
	path := <-paths
	for visit := range 3 { // a client that closes the port and comes again
		port, err := os.OpenFile(path, os.O_RDWR, 0)
		require.NoError(t, err)
		if visit == 0 {
			says2(t, port, "ATE0")
			reads(t, port, "ATE0\rOK\r\r>") // the terminal adds no echo or line feed of its own
		}
		says2(t, port, "ATI")
		reads(t, port, "ELM327 v2.2\r\r>")
		require.NoError(t, port.Close())
	}
	cancel()
	require.NoError(t, <-done)
}
