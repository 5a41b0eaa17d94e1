package sim

import (
	"context"
	"io"
	"net"
	"os"
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

// The in-process link keeps the contract of every link, on a clock that stands still and on the system's.
func TestLinkContract(t *testing.T) {
	for name, clk := range map[string]func() clock.Clock{
		"stepped": func() clock.Clock { return clock.NewStepped(noon) },
		"system":  func() clock.Clock { return clock.System{} },
		"scaled":  func() clock.Clock { return clock.NewScaled(50) },
	} {
		t.Run(name, func(t *testing.T) {
			linktest.Run(t, func(t *testing.T) linktest.Pair {
				c := clk()
				return linktest.Pair{
					Link: NewLink(NewAdapter(Config{Bus: idling()}), c), Clock: c,
					Ask: []byte("ATI\r"), Answer: []byte("ATI\rELM327 v2.2\r\r>"),
				}
			})
		})
	}
}

// A small buffer gets the answer in pieces, a big one a whole answer when the reader lags.
func TestReadInPieces(t *testing.T) {
	r, _ := connected(t, Config{Baud: 115200})
	_, err := r.link.Write([]byte("0902\r"))
	require.NoError(t, err)
	require.NoError(t, r.link.SetReadDeadline(r.clk.Now().Add(time.Second)))
	var got []byte
	one := make([]byte, 1)
	for len(got) == 0 || got[len(got)-1] != '>' {
		n, err := r.link.Read(one)
		require.NoError(t, err)
		got = append(got, one[:n]...)
	}
	want := "7E81014490201314434\r7E82147503030523535\r7E82242313233343536\r\r>"
	require.Equal(t, want, string(got))

	_, err = r.link.Write([]byte("0902\r"))
	require.NoError(t, err)
	r.clk.Advance(time.Second)
	buf := make([]byte, 512)
	require.NoError(t, r.link.SetReadDeadline(time.Time{}))
	n, err := r.link.Read(buf)
	require.NoError(t, err)
	require.Equal(t, want, string(buf[:n]))
}

// What a radio or a USB bridge adds comes on top, and does not slow the line itself.
func TestLatency(t *testing.T) {
	plain := newRig(t, Config{Bus: idling(), Baud: 115200}).expect("ATI", "ATI\rELM327 v2.2")
	slow := newRig(t, Config{Bus: idling(), Baud: 115200, Latency: 16 * time.Millisecond}).expect("ATI", "ATI\rELM327 v2.2")
	require.Equal(t, 16*time.Millisecond, slow-plain)
}

func TestDialerOneAtATime(t *testing.T) {
	clk := clock.NewStepped(noon)
	d := NewDialer(NewAdapter(Config{Bus: idling()}), clk, Drops{})
	first, err := d.Dial(t.Context())
	require.NoError(t, err)
	_, err = d.Dial(t.Context())
	require.ErrorIs(t, err, ErrBusy)
	_, err = first.Write([]byte("ATE0\r"))
	require.NoError(t, err)
	clk.Advance(time.Second)
	require.NoError(t, first.Close())

	second, err := d.Dial(t.Context())
	require.NoError(t, err)
	r := &rig{T: t, link: second.(*Link), clk: clk}
	r.expect("ATI", "ELM327 v2.2") // the adapter kept its settings; the old answer is gone
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	_, err = d.Dial(ended)
	require.ErrorIs(t, err, context.Canceled)
}

// A dropping connection ends in link.ErrGone at moments that follow from the seed, stays away for the outage,
// and leads to the same adapter afterwards.
func TestDrops(t *testing.T) {
	moments := func(seed uint64) (cuts []time.Duration) {
		clk := clock.NewStepped(noon)
		drops := Dropping(40 * time.Second)
		drops.Seed = seed
		d := NewDialer(NewAdapter(Config{Bus: idling()}), clk, drops)
		for range 5 {
			l, err := d.Dial(t.Context())
			require.NoError(t, err)
			began := clk.Now()
			_, err = l.Write([]byte("ATI\r"))
			require.NoError(t, err)
			_, err = io.Copy(io.Discard, l)
			require.ErrorIs(t, err, link.ErrGone)
			cuts = append(cuts, clk.Now().Sub(began))
			_, err = l.Write([]byte("ATI\r"))
			require.ErrorIs(t, err, link.ErrGone)
			_, err = d.Dial(t.Context())
			require.ErrorIs(t, err, link.ErrGone)
			clk.Advance(2 * time.Second)
			require.NoError(t, l.Close())
			_, err = l.Read(make([]byte, 1))
			require.ErrorIs(t, err, net.ErrClosed)
		}
		return cuts
	}
	cuts := moments(1)
	for _, c := range cuts {
		assert.GreaterOrEqual(t, c, 20*time.Second)
		assert.LessOrEqual(t, c, 60*time.Second)
	}
	assert.Equal(t, cuts, moments(1))
	assert.NotEqual(t, cuts, moments(2))
}

// On a clock that runs by itself nothing comes early.
func TestRealWait(t *testing.T) {
	clk := clock.NewScaled(20)
	r := NewLink(NewAdapter(Config{Bus: idling()}), clk)
	start := clk.Now()
	_, err := r.Write([]byte("ATZ\r"))
	require.NoError(t, err)
	buf := make([]byte, 64)
	n, err := r.Read(buf)
	require.NoError(t, err)
	require.Equal(t, "ATZ\r", string(buf[:n]))
	n, err = r.Read(buf)
	require.NoError(t, err)
	require.Equal(t, "\r\rELM327 v2.2\r\r>", string(buf[:n]))
	require.GreaterOrEqual(t, clk.Now().Sub(start), resetting)
	require.NoError(t, r.SetReadDeadline(clk.Now().Add(time.Second)))
	_, err = r.Read(buf)
	require.ErrorIs(t, err, os.ErrDeadlineExceeded)
}
