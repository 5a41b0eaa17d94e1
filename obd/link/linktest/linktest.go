// Package linktest holds every link to the contract of link.Link, and spoils links on purpose for the tests
// of whatever stands on them.
package linktest

import (
	"bytes"
	"io"
	"math/rand/v2"
	"net"
	"os"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"stumble/obd/clock"
	"stumble/obd/link"
)

// Pair is a link under test and what stands at its other end: either a bare Peer, or something that
// answers by itself, told by Ask and Answer.
type Pair struct {
	Link  link.Link
	Clock clock.Clock // the one the link was opened with; when it is a *clock.Stepped the suite moves it

	// Peer is the other end of the stream. Closing it is the plug pulled.
	Peer io.ReadWriteCloser

	// Without a Peer, writing Ask to the link makes Answer come, each time.
	Ask, Answer []byte
}

// moment is how far ahead the suite sets a deadline that is to pass.
const moment = 20 * time.Millisecond

// Run holds the links that open makes to the contract, each rule with a link of its own. open registers
// with t.Cleanup what is to be torn down; the suite closes Link, then looks for goroutines left behind.
// Rules about a vanished peer and a full buffer are left out for links without a Peer.
func Run(t *testing.T, open func(t *testing.T) Pair) {
	rules := []struct {
		name  string
		holds func(*testing.T, Pair)
		peer  bool // only with a Peer
	}{
		{"read gives what was sent", readsWhatWasSent, false},
		{"read into an empty buffer is an error", emptyBuffer, false},
		{"after the deadline read gives up and loses nothing", deadlinePassed, false},
		{"a read under way heeds its deadline", deadlineUnderWay, false},
		{"a deadline brought forward ends a read under way", deadlineBroughtForward, false},
		{"a deadline put off lets a read under way go on", deadlinePutOff, true},
		{"no deadline lets read go on", deadlineLifted, false},
		{"close ends a read under way", closeEndsRead, false},
		{"close ends a write under way", closeEndsWrite, true},
		{"after close every call says so", closedForGood, false},
		{"close may come from everywhere at once", closeFromEverywhere, false},
		{"a vanished peer is gone", peerVanishes, true},
		{"a vanished peer ends a read under way", peerVanishesUnderWay, true},
		{"big transfers both ways", bigTransfers, false},
	}
	for _, rule := range rules {
		t.Run(rule.name, func(t *testing.T) {
			before := goleak.IgnoreCurrent()
			t.Cleanup(func() { goleak.VerifyNone(t, before) })
			pair := open(t)
			t.Cleanup(func() { _ = pair.Link.Close() })
			if rule.peer && pair.Peer == nil {
				t.Skip("the other end answers by itself and cannot be made to misbehave")
			}
			rule.holds(t, pair)
		})
	}
}

func readsWhatWasSent(t *testing.T, pair Pair) {
	for range 3 {
		want := pair.say(t)
		assert.Equal(t, want, pair.readFull(t, len(want)))
	}
}

func emptyBuffer(t *testing.T, pair Pair) {
	pair.say(t)
	got := pair.read(t, nil)
	assert.Zero(t, got.n)
	assert.Error(t, got.err)
}

func deadlinePassed(t *testing.T, pair Pair) {
	want := pair.say(t)
	first := pair.readFull(t, 1)
	require.NoError(t, pair.Link.SetReadDeadline(pair.Clock.Now()))
	for range 2 {
		got := pair.read(t, make([]byte, 64))
		assert.Zero(t, got.n)
		assert.ErrorIs(t, got.err, os.ErrDeadlineExceeded)
	}
	require.NoError(t, pair.Link.SetReadDeadline(pair.Clock.Now().Add(time.Hour)))
	assert.Equal(t, want, append(first, pair.readFull(t, len(want)-1)...))
}

func deadlineUnderWay(t *testing.T, pair Pair) {
	require.NoError(t, pair.Link.SetReadDeadline(pair.Clock.Now().Add(moment)))
	result := pair.startRead(make([]byte, 64))
	waitUnderWay(t)
	pair.advance(moment)
	assert.ErrorIs(t, await(t, result).err, os.ErrDeadlineExceeded)
}

func deadlineBroughtForward(t *testing.T, pair Pair) {
	result := pair.startRead(make([]byte, 64))
	waitUnderWay(t)
	require.NoError(t, pair.Link.SetReadDeadline(pair.Clock.Now().Add(-time.Second)))
	assert.ErrorIs(t, await(t, result).err, os.ErrDeadlineExceeded)
}

func deadlinePutOff(t *testing.T, pair Pair) {
	if _, still := pair.Clock.(*clock.Stepped); !still {
		t.Skip("on a clock that runs by itself the first deadline may pass before it is put off")
	}
	require.NoError(t, pair.Link.SetReadDeadline(pair.Clock.Now().Add(moment)))
	result := pair.startRead(make([]byte, 64))
	waitUnderWay(t)
	require.NoError(t, pair.Link.SetReadDeadline(pair.Clock.Now().Add(time.Hour)))
	pair.advance(2 * moment)
	pair.say(t)
	got := await(t, result)
	assert.NoError(t, got.err)
	assert.Positive(t, got.n)
}

func deadlineLifted(t *testing.T, pair Pair) {
	require.NoError(t, pair.Link.SetReadDeadline(pair.Clock.Now()))
	require.ErrorIs(t, pair.read(t, make([]byte, 64)).err, os.ErrDeadlineExceeded)
	require.NoError(t, pair.Link.SetReadDeadline(time.Time{}))
	pair.advance(time.Hour)
	want := pair.say(t)
	assert.Equal(t, want, pair.readFull(t, len(want)))
}

func closeEndsRead(t *testing.T, pair Pair) {
	result := pair.startRead(make([]byte, 64))
	waitUnderWay(t)
	require.NoError(t, pair.Link.Close())
	got := await(t, result)
	assert.Zero(t, got.n)
	assert.ErrorIs(t, got.err, net.ErrClosed)
	assert.NotErrorIs(t, got.err, link.ErrGone)
}

func closeEndsWrite(t *testing.T, pair Pair) {
	var taken atomic.Int64
	result := start(func() (n int, err error) {
		for piece := make([]byte, 1<<10); err == nil; taken.Add(1) {
			n, err = pair.Link.Write(piece)
		}
		return n, err
	})
	// Nobody hears, so every buffer on the way fills up. It has when again and again nothing was taken.
	for quiet := 0; quiet < 50; quiet++ {
		before := taken.Load()
		waitUnderWay(t)
		if taken.Load() != before {
			quiet = 0
		}
	}
	require.NoError(t, pair.Link.Close())
	got := await(t, result)
	assert.Less(t, got.n, 1<<10)
	assert.ErrorIs(t, got.err, net.ErrClosed)
	assert.NotErrorIs(t, got.err, link.ErrGone)
}

func closedForGood(t *testing.T, pair Pair) {
	pair.say(t)
	require.NoError(t, pair.Link.Close())
	for range 2 {
		got := pair.read(t, make([]byte, 64))
		assert.Zero(t, got.n)
		assert.ErrorIs(t, got.err, net.ErrClosed)
		assert.ErrorIs(t, await(t, start(func() (int, error) { return pair.Link.Write([]byte{'\r'}) })).err, net.ErrClosed)
		assert.ErrorIs(t, pair.Link.SetReadDeadline(time.Time{}), net.ErrClosed)
		if err := pair.Link.Close(); err != nil {
			assert.ErrorIs(t, err, net.ErrClosed)
		}
	}
}

func closeFromEverywhere(t *testing.T, pair Pair) {
	result := pair.startRead(make([]byte, 64))
	var all sync.WaitGroup
	for range 4 {
		all.Go(func() {
			if err := pair.Link.Close(); err != nil {
				assert.ErrorIs(t, err, net.ErrClosed)
			}
		})
	}
	all.Wait()
	assert.ErrorIs(t, await(t, result).err, net.ErrClosed)
}

func peerVanishes(t *testing.T, pair Pair) {
	require.NoError(t, pair.Peer.Close())
	got := pair.read(t, make([]byte, 64))
	assert.Zero(t, got.n)
	assert.ErrorIs(t, got.err, link.ErrGone)
	assert.NotErrorIs(t, got.err, net.ErrClosed)

	// The system may still swallow a write or two before it has heard.
	failed := await(t, start(func() (n int, err error) {
		for err == nil {
			n, err = pair.Link.Write([]byte("0100\r"))
		}
		return n, err
	}))
	assert.ErrorIs(t, failed.err, link.ErrGone)

	_ = pair.Link.Close()
	got = pair.read(t, make([]byte, 64))
	assert.ErrorIs(t, got.err, net.ErrClosed)
	assert.NotErrorIs(t, got.err, link.ErrGone)
}

func peerVanishesUnderWay(t *testing.T, pair Pair) {
	result := pair.startRead(make([]byte, 64))
	waitUnderWay(t)
	require.NoError(t, pair.Peer.Close())
	assert.ErrorIs(t, await(t, result).err, link.ErrGone)
}

func bigTransfers(t *testing.T, pair Pair) {
	if pair.Peer == nil {
		for range 500 {
			want := pair.say(t)
			require.Equal(t, want, pair.readFull(t, len(want)))
		}
		return
	}
	const size = 256 << 10
	up, down := noise(1, size), noise(2, size)
	sent := start(func() (int, error) { return pair.Link.Write(up) })
	said := start(func() (int, error) { return pair.Peer.Write(down) })
	heard := make([]byte, size)
	hearing := start(func() (int, error) { return io.ReadFull(pair.Peer, heard) })

	got := pair.readFull(t, size)
	for _, done := range []<-chan result{sent, said, hearing} {
		r := await(t, done)
		require.NoError(t, r.err)
		require.Equal(t, size, r.n)
	}
	assert.True(t, bytes.Equal(down, got), "what came is not what was sent")
	assert.True(t, bytes.Equal(up, heard), "what went out is not what was written")
}

// noise is bytes of every value, the same for the same seed.
func noise(seed uint64, size int) []byte {
	random := rand.New(rand.NewPCG(seed, 0))
	p := make([]byte, size)
	for i := range p {
		p[i] = byte(random.Uint32())
	}
	return p
}

// say makes the other end send something and returns what it will send.
func (p Pair) say(t *testing.T) []byte {
	t.Helper()
	if p.Peer == nil {
		n, err := p.Link.Write(p.Ask)
		require.NoError(t, err)
		require.Equal(t, len(p.Ask), n)
		return p.Answer
	}
	words := []byte("7E8 06 41 00 BE 3F B8 13 \r\x00\xFF\r>")
	_, err := p.Peer.Write(words)
	require.NoError(t, err)
	return words
}

// advance moves a clock that stands still by itself; any other goes on without help.
func (p Pair) advance(d time.Duration) {
	if stepped, ok := p.Clock.(*clock.Stepped); ok {
		stepped.Advance(d)
	}
}

func (p Pair) startRead(buf []byte) <-chan result {
	return start(func() (int, error) { return p.Link.Read(buf) })
}

func (p Pair) read(t *testing.T, buf []byte) result {
	t.Helper()
	return await(t, p.startRead(buf))
}

// readFull reads size bytes and holds each Read to "at least one byte or an error".
func (p Pair) readFull(t *testing.T, size int) []byte {
	t.Helper()
	buf := make([]byte, size)
	got := await(t, start(func() (n int, err error) {
		for n < size && err == nil {
			var m int
			if m, err = p.Link.Read(buf[n:]); m == 0 && err == nil {
				err = io.ErrNoProgress
			}
			n += m
		}
		return n, err
	}))
	require.NoError(t, got.err)
	return buf
}
