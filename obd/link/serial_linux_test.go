package link_test

import (
	"context"
	"errors"
	"io"
	"net"
	"os"
	"runtime"
	"sync/atomic"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	"golang.org/x/sys/unix"

	"stumble/obd/clock"
	"stumble/obd/link"
)

// unprivileged runs f on a thread that was stripped of root's right to pass over permissions and locks. The
// thread ends with its goroutine, which never gives it back.
func unprivileged(t *testing.T, f func() error) error {
	t.Helper()
	done := make(chan error, 1)
	go func() {
		runtime.LockOSThread()
		header := unix.CapUserHeader{Version: unix.LINUX_CAPABILITY_VERSION_3}
		var none [2]unix.CapUserData
		if err := unix.Capset(&header, &none[0]); err != nil {
			done <- err
			return
		}
		done <- f()
	}()
	return <-done
}

func TestOpeningWithoutPermission(t *testing.T) {
	_, path := openPTY(t)
	require.NoError(t, os.Chmod(path, 0))
	err := unprivileged(t, func() error {
		_, err := link.Serial(path, 38400, newClock())
		return err
	})
	requireOpenError(t, err, link.NoPermission, path, "dialout")
}

func TestOpeningWhatIsOpenAlready(t *testing.T) {
	_, path := openPTY(t)
	first, err := link.Serial(path, 38400, newClock())
	require.NoError(t, err)
	defer first.Close()
	err = unprivileged(t, func() error {
		_, err := link.Serial(path, 38400, newClock())
		return err
	})
	requireOpenError(t, err, link.Busy, path, "close the other program")
}

// A server whose queue of connections is full leaves the next caller without any answer.
func TestDialWithoutAnswer(t *testing.T) {
	socket := func() int {
		fd, err := unix.Socket(unix.AF_INET, unix.SOCK_STREAM|unix.SOCK_NONBLOCK|unix.SOCK_CLOEXEC, 0)
		require.NoError(t, err)
		t.Cleanup(func() { _ = unix.Close(fd) })
		return fd
	}
	server := socket()
	require.NoError(t, unix.Bind(server, &unix.SockaddrInet4{Addr: [4]byte{127, 0, 0, 1}}))
	require.NoError(t, unix.Listen(server, 0))
	name, err := unix.Getsockname(server)
	require.NoError(t, err)
	for range 4 {
		if err := unix.Connect(socket(), name); !errors.Is(err, unix.EINPROGRESS) {
			require.NoError(t, err)
		}
	}
	address := (&net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: name.(*unix.SockaddrInet4).Port}).String()

	clk := newClock()
	failed := make(chan error, 1)
	go func() {
		_, err := link.TCP(context.Background(), address, clk)
		failed <- err
	}()
	requireOpenError(t, stepUntil(clk, failed), link.TimedOut, address, "has power")
}

// stepUntil moves the clock on until something is told.
func stepUntil[T any](clk *clock.Stepped, told <-chan T) T {
	for {
		select {
		case got := <-told:
			return got
		default:
			clk.Advance(time.Second)
			runtime.Gosched()
		}
	}
}

func TestSerialThrowsAwayWhatCameBeforeItSettled(t *testing.T) {
	master, path := openPTY(t)
	keep, err := os.OpenFile(path, os.O_RDWR|unix.O_NOCTTY, 0)
	require.NoError(t, err)
	defer keep.Close()
	babble := []byte("\xFC\xFF\r\rstart\r>")
	_, err = master.Write(babble)
	require.NoError(t, err)

	clk := newClock()
	began := clk.Now()
	l, err := link.Serial(path, 38400, clk)
	require.NoError(t, err)
	defer l.Close()
	assert.Equal(t, 100*time.Millisecond, clk.Now().Sub(began))

	_, err = master.Write([]byte("OK\r>"))
	require.NoError(t, err)
	assert.Equal(t, "OK\r>", readString(t, l, 4))
}

func readString(t *testing.T, r io.Reader, n int) string {
	t.Helper()
	buf := make([]byte, n)
	_, err := io.ReadFull(r, buf)
	require.NoError(t, err)
	return string(buf)
}

func TestSerialIsSetToEightDataBitsNoParityOneStopBit(t *testing.T) {
	master, path := openPTY(t)
	l, err := link.Serial(path, 57600, newClock())
	require.NoError(t, err)
	defer l.Close()
	mode, err := unix.IoctlGetTermios(int(master.(*os.File).Fd()), unix.TCGETS)
	require.NoError(t, err)
	assert.EqualValues(t, unix.CS8, mode.Cflag&(unix.CSIZE|unix.PARENB|unix.CSTOPB|unix.CRTSCTS))
	assert.EqualValues(t, unix.B57600, mode.Cflag&unix.CBAUD)
	assert.Zero(t, mode.Iflag&(unix.IXON|unix.IXOFF|unix.ICRNL|unix.INLCR|unix.ISTRIP))
	assert.Zero(t, mode.Lflag&(unix.ICANON|unix.ECHO|unix.ISIG))
}

// A Write the adapter does not take is given up on the clock. Later ones fail at once, for their bytes must
// not overtake; once the adapter has taken the first, all is well again.
func TestSerialWriteGivesUpAndRecovers(t *testing.T) {
	clk := newClock()
	l, master := serialPair(t, clk)
	failed := make(chan error, 1)
	const size = 1 << 20
	go func() {
		_, err := l.Write(make([]byte, size))
		failed <- err
	}()
	err := stepUntil(clk, failed)
	require.ErrorIs(t, err, link.Stalled)
	assert.NotErrorIs(t, err, link.ErrGone)
	assert.Contains(t, err.Error(), "unplug the adapter")
	_, err = l.Write([]byte("0100\r"))
	require.ErrorIs(t, err, link.Stalled)

	_, err = io.ReadFull(master, make([]byte, size))
	require.NoError(t, err)
	for err = link.Stalled; errors.Is(err, link.Stalled); {
		_, err = l.Write([]byte("0100\r"))
		runtime.Gosched()
	}
	require.NoError(t, err)
	assert.Equal(t, "0100\r", readString(t, master, 5))
}

// Close frees a Write that was given up from the driver, though the adapter takes nothing still.
func TestSerialCloseLeavesNoWriteBehind(t *testing.T) {
	clk := newClock()
	l, _ := serialPair(t, clk)
	before := goleak.IgnoreCurrent()
	failed := make(chan error, 1)
	go func() {
		_, err := l.Write(make([]byte, 1<<20))
		failed <- err
	}()
	require.ErrorIs(t, stepUntil(clk, failed), link.Stalled)
	require.NoError(t, l.Close())
	goleak.VerifyNone(t, before)
}

// An adapter that takes requests and never answers leaves the driver's buffer to be reckoned with.
func TestSerialWritesToASilentAdapterAllArrive(t *testing.T) {
	l, master := serialPair(t, newClock())
	for range 100 {
		_, err := l.Write([]byte("0100\r"))
		require.NoError(t, err)
		require.Equal(t, "0100\r", readString(t, master, 5))
	}
}

func TestTCPWriteGivesUp(t *testing.T) {
	clk := newClock()
	l, _ := tcpPair(t, clk)
	failed := make(chan error, 1)
	go func() {
		_, err := l.Write(make([]byte, 64<<20))
		failed <- err
	}()
	err := stepUntil(clk, failed)
	require.ErrorIs(t, err, link.Stalled)
	assert.NotErrorIs(t, err, link.ErrGone)
}

// speedOf is the speed that the port's other end is set to.
func speedOf(master *os.File) uint32 {
	mode, err := unix.IoctlGetTermios(int(master.Fd()), unix.TCGETS)
	if err != nil {
		return 0
	}
	return mode.Cflag & unix.CBAUD
}

// adapterAt answers what comes at its own speed with a prompt, and anything else with rubbish, as a chip
// that samples at the wrong moments does: a pseudo-terminal has no speed of its own. It counts the
// bytes that came.
func adapterAt(speed uint32, master *os.File, heard *atomic.Int64) {
	buf := make([]byte, 64)
	for {
		n, err := master.Read(buf)
		if err != nil {
			return
		}
		heard.Add(int64(n))
		answer := "\xF8\x80\xFE"
		if speedOf(master) == speed {
			answer = "ready\r\r>"
		}
		if _, err := master.WriteString(answer); err != nil {
			return
		}
	}
}

// baudPort is a serial port with an adapter of one speed at it.
func baudPort(t *testing.T, speed uint32) (path string, heard *atomic.Int64) {
	t.Helper()
	master, slave, err := pty.Open()
	require.NoError(t, err)
	heard = new(atomic.Int64)
	done := make(chan struct{})
	go func() {
		defer close(done)
		adapterAt(speed, master, heard)
	}()
	t.Cleanup(func() {
		_ = slave.Close()
		_ = master.Close()
		<-done
	})
	return slave.Name(), heard
}

var errRubbish = errors.New("rubbish\ncame back")

// askReady asks and accepts only the adapter's own words.
func askReady(_ context.Context, l link.Link) error {
	if _, err := l.Write([]byte("are you there\r")); err != nil {
		return err
	}
	buf := make([]byte, 64)
	n, err := l.Read(buf)
	if err != nil {
		return err
	}
	if string(buf[:n]) != "ready\r\r>" {
		return errRubbish
	}
	return l.SetReadDeadline(time.Unix(1, 0))
}

func TestFindBaudFindsEachSpeed(t *testing.T) {
	for speed, baud := range map[uint32]int{
		unix.B38400: 38400, unix.B115200: 115200, unix.B9600: 9600, unix.B57600: 57600, unix.B230400: 230400, unix.B500000: 500000,
	} {
		path, _ := baudPort(t, speed)
		l, found, err := link.FindBaud(t.Context(), path, 0, newClock(), askReady)
		require.NoError(t, err)
		assert.Equal(t, baud, found)
		assert.NoError(t, askReady(t.Context(), l), "the link goes on at that speed, and without ask's deadline")
		require.NoError(t, l.Close())
	}
}

func TestFindBaudTellsWhatEachSpeedGave(t *testing.T) {
	path, _ := baudPort(t, unix.B19200)
	l, _, err := link.FindBaud(t.Context(), path, 0, newClock(), askReady)
	assert.Nil(t, l)
	var failed *link.BaudError
	require.ErrorAs(t, err, &failed)
	require.ErrorIs(t, err, errRubbish)
	var rates []int
	for _, try := range failed.Tries {
		rates = append(rates, try.Baud)
	}
	assert.Equal(t, []int{38400, 115200, 9600, 57600, 230400, 500000}, rates)
	assert.Contains(t, err.Error(), "no adapter answers on "+path+" (at any speed: rubbish came back); ")
	assert.NotContains(t, err.Error(), "\n")
}

func TestFindBaudSendsNothingItself(t *testing.T) {
	path, heard := baudPort(t, unix.B38400)
	asked := 0
	_, _, err := link.FindBaud(t.Context(), path, 0, newClock(), func(context.Context, link.Link) error {
		asked++
		return errRubbish
	})
	require.Error(t, err)
	assert.Equal(t, len(link.BaudRates()), asked)
	assert.Zero(t, heard.Load())
}

func TestFindBaudStopsWithItsContext(t *testing.T) {
	path, _ := baudPort(t, unix.B9600)
	ctx, cancel := context.WithCancel(t.Context())
	asked := 0
	_, _, err := link.FindBaud(ctx, path, 0, newClock(), func(context.Context, link.Link) error {
		asked++
		cancel()
		return errRubbish
	})
	assert.ErrorIs(t, err, context.Canceled)
	assert.Equal(t, 1, asked)
}

func TestFindBaudStopsWhenTheAdapterIsGone(t *testing.T) {
	master, path := openPTY(t)
	asked := 0
	_, _, err := link.FindBaud(t.Context(), path, 0, newClock(), func(_ context.Context, l link.Link) error {
		asked++
		_ = master.Close()
		_, err := l.Read(make([]byte, 1))
		return err
	})
	assert.ErrorIs(t, err, link.ErrGone)
	assert.Equal(t, 1, asked)
}

func TestFindBaudWithoutAPort(t *testing.T) {
	path := t.TempDir() + "/ttyUSB0"
	_, _, err := link.FindBaud(t.Context(), path, 0, newClock(), askReady)
	requireOpenError(t, err, link.NoSuchPort, path, "plugged in")
}
