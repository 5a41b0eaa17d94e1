package vehicle

import (
	"bytes"
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd"
	"stumble/obd/clock"
	"stumble/obd/elm"
	"stumble/obd/sim"
)

// What was recorded of the wire gives the samples of the drive again, one for one, on every bus, with an adapter that
// prints no headers, and with one that garbles.
func TestRereadGivesTheSamplesAgain(t *testing.T) {
	for _, scenario := range []string{"wren", "wide", "rook", "rook-kwp", "rook-vpw", "rook-pwm", "wren-running+cheap-adapter", "wren-running+poor-radio"} {
		t.Run(scenario, func(t *testing.T) {
			var live, again []obd.Sample
			var exchanges []obd.Exchange
			clk := clock.NewStepped(morning)
			s, err := sim.Open(scenario, 1, clk)
			require.NoError(t, err)
			a, err := elm.Connect(context.Background(), elm.Config{
				Clock: clk, Dial: func(ctx context.Context) (elm.Link, error) { return s.Dial(ctx) },
				Observe: func(e *obd.Exchange) {
					c := *e
					c.Request, c.Answer = bytes.Clone(e.Request), bytes.Clone(e.Answer)
					exchanges = append(exchanges, c)
				},
			})
			require.NoError(t, err)
			defer a.Close()
			caps, err := Discover(context.Background(), a)
			require.NoError(t, err)
			exchanges = nil
			end := clk.Now().Add(3 * time.Minute)
			err = NewPoller(a, caps, clk).Run(context.Background(), func(sample *obd.Sample) error {
				live = append(live, sample.Clone())
				if !sample.Received.Before(end) {
					return errOver
				}
				return nil
			})
			require.ErrorIs(t, err, errOver)
			r := NewReread(a.Protocol(), a.Headers())
			for i := range exchanges {
				if sample := r.Sample(&exchanges[i]); sample != nil {
					again = append(again, sample.Clone())
				}
			}
			require.Greater(t, len(live), 100)
			if lost := len(again) - len(live); lost == 0 {
				require.Equal(t, live, again)
				return
			}
			// An answer that was asked for again is there more than once, and one that a module promised at the time
			// of the exchange that brought it, not of those that put the adapter's timing back.
			at := 0
			for i := range live {
				for at < len(again) && !assert.ObjectsAreEqual(live[i].Readings, again[at].Readings) {
					at++
				}
				require.Less(t, at, len(again), "%+v is not among them", live[i])
				require.False(t, again[at].Received.After(live[i].Received))
				at++
			}
			assert.Less(t, len(again), len(live)*11/10)
		})
	}
}

// What is no answer of a car gives nothing, and nothing hostile fails.
func TestRereadOfWhatIsNoAnswer(t *testing.T) {
	r := NewReread(obd.CAN11At500, true)
	for _, e := range []obd.Exchange{
		{}, {Request: []byte("ATI"), Answer: []byte("v1.5\r")}, {Request: []byte("010C"), Answer: []byte("NO DATA\r")},
		{Request: []byte("010C"), Answer: []byte("7E803410C\r")}, {Request: []byte("0"), Answer: []byte("7E804410C0C80\r")},
		{Request: []byte("03"), Answer: []byte("7E8024300\r")}, {Request: bytes.Repeat([]byte("01"), 40), Answer: []byte("7E804410C0C80\r")},
		{Request: []byte("zz\x00\xff"), Answer: []byte{0, 1, 2, 0xff, '\r'}},
	} {
		assert.Nil(t, r.Sample(&e), "%q %q", e.Request, e.Answer)
	}
	s := r.Sample(&obd.Exchange{Request: []byte("010C1"), Answer: []byte("7E8 04 41 0C 0C 80\r")})
	require.NotNil(t, s)
	assert.Equal(t, 800.0, s.Readings[0].Value)
}
