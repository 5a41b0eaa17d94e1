package linktest_test

import (
	"errors"
	"io"
	"net"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"stumble/obd/clock"
	"stumble/obd/link"
	"stumble/obd/link/linktest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// speaker is a link whose adapter says a text by itself, at once, and then nothing.
type speaker struct {
	clk      clock.Clock
	text     string
	deadline time.Time
	closed   bool
}

func (s *speaker) Read(p []byte) (int, error) {
	switch {
	case s.closed:
		return 0, net.ErrClosed
	case s.text == "":
		s.clk.SleepUntil(s.deadline, nil)
		return 0, os.ErrDeadlineExceeded
	}
	n := copy(p, s.text)
	s.text = s.text[n:]
	return n, nil
}

func (s *speaker) Write(p []byte) (int, error) {
	if s.closed {
		return 0, net.ErrClosed
	}
	return len(p), nil
}

func (s *speaker) SetReadDeadline(t time.Time) error { s.deadline = t; return nil }

func (s *speaker) Close() error { s.closed = true; return nil }

// saying is a link whose adapter says text, with faults.
func saying(_ *testing.T, text string, faults ...linktest.Fault) (link.Link, *clock.Stepped) {
	clk := clock.NewStepped(time.Date(2026, 11, 25, 8, 30, 0, 0, time.UTC))
	return linktest.Faulty(&speaker{clk: clk, text: text}, clk, faults...), clk
}

// all reads until the link gives an error; the deadline makes silence one.
func all(t *testing.T, l link.Link, clk clock.Clock) (got string, err error) {
	t.Helper()
	require.NoError(t, l.SetReadDeadline(clk.Now().Add(time.Hour)))
	buf := make([]byte, 32)
	for {
		n, err := l.Read(buf)
		got += string(buf[:n])
		if err != nil {
			assert.Zero(t, n)
			return got, err
		}
		assert.Positive(t, n)
	}
}

const hello = "7E8 06 41 00 BE 3F B8 13 \r\r>"

func TestCut(t *testing.T) {
	for _, n := range []int{0, 1, 5, len(hello)} {
		l, clk := saying(t, hello, linktest.CutAfter(n))
		got, err := all(t, l, clk)
		assert.Equal(t, hello[:n], got)
		assert.ErrorIs(t, err, link.ErrGone)
		_, err = l.Write([]byte("0100\r"))
		assert.ErrorIs(t, err, link.ErrGone)
		require.NoError(t, l.Close())
		_, err = l.Read(make([]byte, 1))
		assert.ErrorIs(t, err, net.ErrClosed)
		_, err = l.Write([]byte("0100\r"))
		assert.ErrorIs(t, err, net.ErrClosed)
	}
}

func TestCutBeyondTheEndChangesNothing(t *testing.T) {
	l, clk := saying(t, hello, linktest.CutAfter(len(hello)+1))
	got, err := all(t, l, clk)
	assert.Equal(t, hello, got)
	assert.ErrorIs(t, err, os.ErrDeadlineExceeded)
}

func TestStall(t *testing.T) {
	l, clk := saying(t, hello, linktest.StallAfter(4))
	got, err := all(t, l, clk)
	assert.Equal(t, hello[:4], got)
	assert.ErrorIs(t, err, os.ErrDeadlineExceeded)
	_, err = l.Write([]byte("0100\r"))
	assert.NoError(t, err, "a stalled adapter still takes requests")
	got, err = all(t, l, clk)
	assert.Empty(t, got)
	assert.ErrorIs(t, err, os.ErrDeadlineExceeded)
}

func TestDelay(t *testing.T) {
	l, clk := saying(t, hello, linktest.Delay(80*time.Millisecond))
	began := clk.Now()
	require.NoError(t, l.SetReadDeadline(began.Add(50*time.Millisecond)))
	_, err := l.Read(make([]byte, 64))
	require.ErrorIs(t, err, os.ErrDeadlineExceeded)
	assert.Equal(t, 50*time.Millisecond, clk.Now().Sub(began))

	require.NoError(t, l.SetReadDeadline(time.Time{}))
	buf := make([]byte, 64)
	n, err := l.Read(buf)
	require.NoError(t, err)
	assert.Equal(t, hello, string(buf[:n]))
	assert.Equal(t, 80*time.Millisecond, clk.Now().Sub(began))
}

func TestSingleBytes(t *testing.T) {
	l, _ := saying(t, hello, linktest.SingleBytes())
	buf := make([]byte, 64)
	for i := range hello {
		n, err := l.Read(buf)
		require.NoError(t, err)
		require.Equal(t, hello[i:i+1], string(buf[:n]))
	}
}

func TestGarble(t *testing.T) {
	long := strings.Repeat(hello, 100)
	spoil := func(seed uint64) string {
		l, clk := saying(t, long, linktest.Garble(seed, 0.1))
		got, _ := all(t, l, clk)
		return got
	}
	got := spoil(1)
	require.Len(t, got, len(long))
	wrong := 0
	for i := range got {
		if bit := got[i] ^ long[i]; bit != 0 {
			wrong++
			assert.Zero(t, bit&(bit-1), "only one bit of a byte is turned")
		}
	}
	assert.InDelta(t, 0.1*float64(len(long)), wrong, 0.03*float64(len(long)))
	assert.Equal(t, got, spoil(1), "the same seed spoils the same bytes")
	assert.NotEqual(t, got, spoil(2))
}

func TestDrop(t *testing.T) {
	long := strings.Repeat(hello, 100)
	l, clk := saying(t, long, linktest.Drop(1, 0.1))
	got, _ := all(t, l, clk)
	assert.InDelta(t, 0.9*float64(len(long)), len(got), 0.03*float64(len(long)))

	l, clk = saying(t, long, linktest.Drop(1, 1))
	got, err := all(t, l, clk)
	assert.Empty(t, got)
	assert.ErrorIs(t, err, os.ErrDeadlineExceeded)
}

func TestNULs(t *testing.T) {
	long := strings.Repeat(hello, 100)
	l, clk := saying(t, long, linktest.NULs(1, 0.1))
	got, _ := all(t, l, clk)
	assert.InDelta(t, 0.1*float64(len(long)), strings.Count(got, "\x00"), 0.03*float64(len(long)))
	assert.Equal(t, long, strings.ReplaceAll(got, "\x00", ""))
}

func TestFaultsCompose(t *testing.T) {
	l, clk := saying(t, hello, linktest.NULs(1, 1), linktest.SingleBytes(), linktest.CutAfter(5))
	began := clk.Now()
	got, err := all(t, l, clk)
	assert.Equal(t, "\x007\x00E\x00", got)
	assert.ErrorIs(t, err, link.ErrGone)
	assert.Equal(t, began, clk.Now())

	l, clk = saying(t, hello, linktest.Delay(time.Millisecond), linktest.SingleBytes(), linktest.Delay(time.Second))
	began = clk.Now()
	_, err = io.ReadFull(l, make([]byte, 3))
	require.NoError(t, err)
	assert.Equal(t, 3*time.Second+time.Millisecond, clk.Now().Sub(began))
}

func TestAFaultMayEndTheLinkAsItLikes(t *testing.T) {
	pulled := errors.New("pulled")
	l, clk := saying(t, hello, func(linktest.Piece) []linktest.Piece { return []linktest.Piece{{Err: pulled}} }, linktest.SingleBytes())
	_, err := all(t, l, clk)
	assert.ErrorIs(t, err, pulled)
}
