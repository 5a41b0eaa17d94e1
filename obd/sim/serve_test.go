package sim

import (
	"bufio"
	"context"
	"io"
	"net"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stumble/obd/clock"
	"stumble/obd/link"
)

// reads wants exactly these bytes next.
func reads(t *testing.T, from io.Reader, want string) {
	t.Helper()
	got := make([]byte, len(want))
	_, err := io.ReadFull(from, got)
	require.NoError(t, err)
	require.Equal(t, want, string(got))
}

func tell(t *testing.T, to io.Writer, command string) {
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

// A client may leave and come again, at once, and finds the adapter as it left it.
func TestServe(t *testing.T) {
	clk := clock.NewStepped(noon)
	addr, end := serving(t, NewDialer(NewAdapter(Config{Bus: idling(), Baud: 115200}), clk, Drops{}), clk)
	conn, err := net.Dial("tcp", addr)
	require.NoError(t, err)
	tell(t, conn, "ATE0")
	reads(t, conn, "ATE0\rOK\r\r>")
	for range 5 {
		require.NoError(t, conn.Close())
		conn, err = net.Dial("tcp", addr)
		require.NoError(t, err)
		tell(t, conn, "ATRV")
		reads(t, conn, "12.3V\r\r>")
	}
	end()
	_, err = conn.Read(make([]byte, 1))
	require.Error(t, err, "the server took the client along")
	require.NoError(t, conn.Close())
}

// There is one client at a time; the second is turned away after a moment and does not disturb the first.
func TestServeOneAtATime(t *testing.T) {
	clk := clock.NewStepped(noon)
	addr, end := serving(t, NewDialer(NewAdapter(Config{Bus: idling()}), clk, Drops{}), clk)
	defer end()
	first, err := net.Dial("tcp", addr)
	require.NoError(t, err)
	defer first.Close()
	tell(t, first, "ATE0")
	reads(t, first, "ATE0\rOK\r\r>")

	second, err := net.Dial("tcp", addr)
	require.NoError(t, err)
	defer second.Close()
	refused := make(chan error, 1)
	go func() {
		_, err := second.Read(make([]byte, 1))
		refused <- err
	}()
	for waiting := true; waiting; {
		select {
		case err := <-refused:
			require.Error(t, err)
			waiting = false
		default:
			clk.Advance(patienceAtDoor)
			runtime.Gosched()
		}
	}
	tell(t, first, "ATI")
	reads(t, first, "ELM327 v2.2\r\r>")
}

// A client of a dropping link sees its connection end, and is let in again after the outage.
func TestServeDrops(t *testing.T) {
	clk := clock.NewScaled(100)
	addr, end := serving(t, NewDialer(NewAdapter(Config{Bus: idling()}), clk, Dropping(10*time.Second)), clk)
	defer end()
	conn, err := net.Dial("tcp", addr)
	require.NoError(t, err)
	_, err = io.Copy(io.Discard, conn)
	require.NoError(t, err, "cut off")
	require.NoError(t, conn.Close())
	for answered := false; !answered; {
		conn, err := net.Dial("tcp", addr)
		require.NoError(t, err)
		_, _ = io.WriteString(conn, "ATI\r")
		answer, err := bufio.NewReader(conn).ReadString('>')
		answered = err == nil && answer == "ATI\rELM327 v2.2\r\r>"
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

// The pseudo-terminal is a serial port to the serial library; a client may close it and come again.
func TestServePTY(t *testing.T) {
	if runtime.GOOS != "linux" && runtime.GOOS != "darwin" {
		t.Skip("no pseudo-terminals here")
	}
	clk := clock.NewStepped(noon)
	ctx, cancel := context.WithCancel(t.Context())
	paths, done := make(chan string, 1), make(chan error, 1)
	d := NewDialer(NewAdapter(Config{Bus: idling(), Baud: 115200}), clk, Drops{})
	go func() { done <- ServePTY(ctx, clk, d.Dial, func(path string) { paths <- path }) }()
	path := <-paths
	for visit := range 3 {
		port, err := link.Serial(path, 115200, clock.System{})
		require.NoError(t, err)
		if visit == 0 {
			tell(t, port, "ATE0")
			reads(t, port, "ATE0\rOK\r\r>") // the terminal adds no echo or line feed of its own
		}
		tell(t, port, "ATI")
		reads(t, port, "ELM327 v2.2\r\r>")
		require.NoError(t, port.Close())
	}
	cancel()
	require.NoError(t, <-done)
}

// While the adapter is out of reach the port is silent, and then it works again.
func TestPTYRedials(t *testing.T) {
	if runtime.GOOS != "linux" && runtime.GOOS != "darwin" {
		t.Skip("no pseudo-terminals here")
	}
	clk := clock.NewScaled(100)
	ctx, cancel := context.WithCancel(t.Context())
	paths, done, dials := make(chan string, 1), make(chan error, 1), make(chan struct{}, 1000)
	d := NewDialer(NewAdapter(Config{Bus: idling()}), clk, Dropping(10*time.Second))
	dial := func(ctx context.Context) (link.Link, error) {
		l, err := d.Dial(ctx)
		if err == nil {
			dials <- struct{}{}
		}
		return l, err
	}
	go func() { done <- ServePTY(ctx, clk, dial, func(path string) { paths <- path }) }()
	port, err := link.Serial(<-paths, 115200, clock.System{})
	require.NoError(t, err)
	<-dials
	<-dials
	for answered := false; !answered; {
		tell(t, port, "ATI")
		_ = port.SetReadDeadline(clock.System{}.Now().Add(50 * time.Millisecond))
		answer, _ := bufio.NewReader(port).ReadString('>')
		answered = answer == "ATI\rELM327 v2.2\r\r>"
	}
	require.NoError(t, port.Close())
	cancel()
	require.NoError(t, <-done)
}

// Each client has a car of its own, and whoever comes back finds the one it left. What it asked last is not answered to
// the next.
func TestFleet(t *testing.T) {
	clk := clock.NewStepped(noon)
	opened := 0
	f := &Fleet{Open: func(n int) (Dial, error) {
		require.Equal(t, opened, n)
		opened++
		return NewDialer(NewAdapter(Config{Bus: idling()}), clk, Drops{}).Dial, nil
	}}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- f.Serve(ctx, l) }()
	dial := func() net.Conn {
		conn, err := net.Dial("tcp", l.Addr().String())
		require.NoError(t, err)
		t.Cleanup(func() { _ = conn.Close() })
		return conn
	}
	first, second := dial(), dial()
	tell(t, first, "ATE0")
	reads(t, first, "ATE0\rOK\r\r>")
	tell(t, second, "ATI")
	reads(t, second, "ATI\rELM327 v2.2\r\r>")
	require.NoError(t, first.Close())
	for back := false; !back; { // the server sees that it has left a moment later
		again := dial()
		tell(t, again, "ATI")
		answer, err := bufio.NewReader(again).ReadString('>')
		require.NoError(t, err)
		back = answer == "ELM327 v2.2\r\r>" // its echo is still off
		require.NoError(t, again.Close())
		runtime.Gosched()
		if opened > 8 {
			t.Fatal("it does not find its car again")
		}
	}
	cancel()
	require.NoError(t, <-done)
}

// A client that leaves in the middle of an answer, or of a command, leaves nothing of either to the next.
func TestNothingIsLeftToTheNextClient(t *testing.T) {
	clk := clock.NewStepped(noon)
	d := NewDialer(NewAdapter(Config{Bus: idling(), Baud: 9600}), clk, Drops{})
	one, err := d.Dial(t.Context())
	require.NoError(t, err)
	tell(t, one, "ATPPS")
	_, err = io.WriteString(one, "04")
	require.NoError(t, err)
	require.NoError(t, one.Close())
	two, err := d.Dial(t.Context())
	require.NoError(t, err)
	tell(t, two, "ATI")
	reads(t, two, "ATI\rELM327 v2.2\r\r>")
}
