package vehicle

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd"
	"stumble/obd/elm"
)

// polled is a poller on a script, with what it told.
type polled struct {
	*script
	caps    *Capabilities
	samples []obd.Sample
	slept   []string
	limit   int // requests after which the drive ends
}

func newPolled(t *testing.T, c *Capabilities, said map[string]string) *polled {
	return &polled{script: newScript(t, c.Protocol, said), caps: c, limit: 100}
}

// Do ends the drive once enough was asked.
func (p *polled) Do(ctx context.Context, req obd.Request) (elm.Answer, error) {
	if len(p.asked) >= p.limit {
		return elm.Answer{}, errOver
	}
	return p.script.Do(ctx, req)
}

func (p *polled) run(ctx context.Context) error {
	poller := NewPoller(p, p.caps, p.clk)
	poller.Asleep = func(at time.Time, asleep bool) {
		p.slept = append(p.slept, fmt.Sprintf("%v %v", at.Sub(morning), asleep))
	}
	return poller.Run(ctx, func(s *obd.Sample) error {
		p.samples = append(p.samples, s.Clone())
		return nil
	})
}

// engine supports what the fast request asks for, and two counters.
func engine() *Capabilities {
	return withCounts(capable(obd.CAN11At500, map[uint32][]byte{0x7E8: {0x0C, 0x04}}), 2)
}

func healthy() map[string]string {
	return map[string]string{
		"010C04": "7E8=410C1AF804FF", "010C": "7E8=410C1AF8", "0104": "7E8=4104FF",
		"06A2": "7E8=" + counted(0xA2, 3, 17), "06A3": "7E8=" + counted(0xA3, 0, 65535),
	}
}

func TestPoll(t *testing.T) {
	p := newPolled(t, engine(), healthy())
	require.ErrorIs(t, p.run(t.Context()), errOver)
	require.Len(t, p.samples, 99, "all but the question whether two monitors may be asked together")
	first, counts := p.samples[0], p.samples[1]
	assert.Equal(t, 20*time.Millisecond, first.Received.Sub(first.Sent))
	engine := obd.Module{ID: 0x7E8, Bits: 11}
	assert.Equal(t, []obd.Reading{
		{Module: engine, Service: obd.LiveData, ID: obd.PIDRPM, Value: 1726, Unit: obd.RPM},
		{Module: engine, Service: obd.LiveData, ID: obd.PIDLoad, Value: 100, Unit: obd.Percent},
	}, first.Readings)
	assert.Equal(t, []obd.Reading{
		{Module: engine, Service: obd.TestResults, ID: 0xA2, Part: obd.TIDAverage, Value: 3, Unit: obd.Counts},
		{Module: engine, Service: obd.TestResults, ID: 0xA2, Part: obd.TIDCount, Value: 17, Unit: obd.Counts},
	}, counts.Readings)
	assert.Equal(t, 65535.0, p.samples[2].Readings[1].Value, "a saturated count is passed on as it is")
	assert.Empty(t, p.slept)
}

func TestNothingToPoll(t *testing.T) {
	p := newPolled(t, capable(obd.CAN11At500, map[uint32][]byte{0x7E8: {0x1C}}), nil)
	err := p.run(t.Context())
	assert.ErrorIs(t, err, ErrNothingToPoll)
	assert.NotContains(t, err.Error(), "\n")
	assert.Empty(t, p.asked)
}

func TestTakeEndsThePoll(t *testing.T) {
	p := newPolled(t, engine(), healthy())
	full := errors.New("the disk is full")
	assert.ErrorIs(t, NewPoller(p, p.caps, p.clk).Run(t.Context(), func(*obd.Sample) error { return full }), full)
	assert.Len(t, p.asked, 1)

	ctx, cancel := context.WithCancelCause(t.Context())
	cancel(full)
	assert.ErrorIs(t, p.run(ctx), full)
}

// An answer that cannot be read whole is left out, never guessed at; another module's beside it is kept.
func TestDamagedAnswers(t *testing.T) {
	for name, said := range map[string]string{
		"cut short":        "7E8=410C1A",
		"runs on":          "7E8=410C1AF804FF99",
		"holds no value":   "7E8=41",
		"not asked for it": "7E8=410C1AF8FE01",
	} {
		p := newPolled(t, engine(), healthy())
		p.said["010C04"] = said + " 7E9=410C0BB8"
		p.limit = 2
		require.ErrorIs(t, p.run(t.Context()), errOver, name)
		require.Len(t, p.samples, 2, name)
		require.Len(t, p.samples[0].Readings, 1, name)
		assert.Equal(t, "7E9", p.samples[0].Readings[0].Module.String(), name)
	}
	p := newPolled(t, engine(), healthy())
	p.said["06A2"] = "7E8=46A20C2400"
	require.ErrorIs(t, p.run(t.Context()), errOver)
	for _, s := range p.samples {
		for _, r := range s.Readings {
			assert.NotEqual(t, byte(0xA2), r.ID)
		}
	}
}

// Requests become smaller after the adapter was overrun, and when a module does not manage several PIDs at once:
// it answers only the first, or nothing, refuses, or its long answers arrive damaged again and again.
func TestAskForLess(t *testing.T) {
	six := capable(obd.CAN11At500, map[uint32][]byte{0x7E8: {0x0C, 0x04, 0x0D, 0x11, 0x03, 0x05}})
	withCounts(six, 1)
	single := map[string]string{
		"010C": "7E8=410C1AF8", "0104": "7E8=4104FF", "010D": "7E8=410D4A", "0111": "7E8=411180", "0103": "7E8=41030200",
		"0105": "7E8=41056E", "06A2": "7E8=" + counted(0xA2, 0, 1),
	}
	several := func(req string) bool { return strings.HasPrefix(req, "01") && len(req) > 4 }
	for name, test := range map[string]struct {
		said  map[string]string
		fails error
	}{
		"overrun":        {fails: elm.BufferFull},
		"garbled":        {fails: elm.Garbled},
		"silent":         {fails: elm.NoData},
		"refused":        {fails: obd.NegativeResponse{Service: 1, Code: 0x12}},
		"only the first": {said: map[string]string{"010C040D1103": "7E8=410C1AF8", "010C040D": "7E8=410C1AF8", "1103": "7E8=411180"}},
		"damaged":        {said: map[string]string{"010C040D1103": "7E8=410C1AF804", "010C040D": "7E8=410C1AF804", "1103": "7E8=4111"}},
	} {
		t.Run(name, func(t *testing.T) {
			p := newPolled(t, six, map[string]string{})
			for k, v := range single {
				p.said[k] = v
			}
			for k, v := range test.said {
				p.said[k] = v
			}
			p.fails = func(req string) error {
				if several(req) {
					return test.fails
				}
				return nil
			}
			p.limit = 200
			require.ErrorIs(t, p.run(t.Context()), errOver)
			for _, req := range p.asked[60:] {
				assert.False(t, several(req), "%s is still asked", req)
			}
			have := map[byte]bool{}
			for _, s := range p.samples {
				for _, r := range s.Readings {
					have[r.ID] = true
				}
			}
			assert.Len(t, have, 7, "every value comes")
			assert.Empty(t, p.slept)
		})
	}
}

// A module's silence is no reason to ask the other for less, nor is damage now and then.
func TestAskForNoLess(t *testing.T) {
	c := withCounts(capable(obd.CAN11At500, map[uint32][]byte{0x7E8: {0x0C, 0x04, 0x65}, 0x7E9: {0x0C, 0xA4}}), 1)
	p := newPolled(t, c, map[string]string{
		"010C04": "7E8=410C1AF804FF", "01A465": "7E8=41650202", "06A2": "7E8=" + counted(0xA2, 0, 1),
	})
	n := 0
	p.fails = func(req string) error {
		if n++; n%5 == 0 && strings.HasPrefix(req, "010C") {
			return elm.Garbled
		}
		return nil
	}
	p.limit = 500
	require.ErrorIs(t, p.run(t.Context()), errOver)
	assert.Zero(t, p.count("010C")-p.count("010C04"))
	assert.Equal(t, p.count("01A4"), p.count("01A465"))
}

// A request that nobody answers costs less and less, while the others are answered; nobody takes that for sleep.
func TestUnansweredRequestsRest(t *testing.T) {
	for name, err := range map[string]error{"silent": elm.NoData, "refused": obd.NegativeResponse{Service: 6, Code: 0x31}} {
		p := newPolled(t, engine(), healthy())
		p.fails = func(req string) error {
			if req == "06A3" {
				return err
			}
			return nil
		}
		p.limit = 3000
		require.ErrorIs(t, p.run(t.Context()), errOver, name)
		assert.Less(t, p.count("06A3"), 40, name)
		assert.Greater(t, p.count("06A3"), 5, name)
		assert.Greater(t, p.count("06A2"), 900, name)
		assert.Empty(t, p.slept, name)
	}
}

// A car that answers nothing is taken to sleep, asked every two seconds, and everything is as before when it wakes.
func TestSleepAndWake(t *testing.T) {
	// Four silences, two words that nobody is on the bus, or one that nobody is on any bus.
	for silence, slept := range map[*elm.Status]string{
		elm.NoData: "1.08s true", elm.CANError: "1.04s true", elm.NoVehicle: "1.02s true", elm.BusInitError: "1.04s true",
	} {
		p := newPolled(t, engine(), healthy())
		asleep := func() bool {
			since := p.clk.Now().Sub(morning)
			return since > time.Second && since < time.Minute
		}
		p.fails = func(string) error {
			if asleep() {
				return silence
			}
			return nil
		}
		p.limit = 150
		require.ErrorIs(t, p.run(t.Context()), errOver)
		require.Len(t, p.slept, 2)
		assert.Equal(t, slept, p.slept[0], silence)
		assert.Contains(t, p.slept[1], " false")
		woke, err := time.ParseDuration(strings.TrimSuffix(p.slept[1], " false"))
		require.NoError(t, err)
		assert.InDelta(t, 60, woke.Seconds(), 2.1)
		var after []obd.Sample
		for _, s := range p.samples {
			if s.Sent.Sub(morning) >= woke-20*time.Millisecond {
				after = append(after, s)
			}
		}
		require.NotEmpty(t, after)
		counts := 0
		for _, s := range after[:12] {
			if s.Readings[0].Service == obd.TestResults {
				counts++
			}
		}
		assert.GreaterOrEqual(t, counts, 8, "nothing rests because the car slept")
	}
}

// A refusal is a sign of life.
func TestRefusalWakes(t *testing.T) {
	p := newPolled(t, engine(), healthy())
	n := 0
	p.fails = func(string) error {
		n++
		switch {
		case n <= 6:
			return elm.NoData
		case n == 7:
			return obd.NegativeResponse{Service: 1, Code: 0x22}
		}
		return nil
	}
	p.limit = 20
	require.ErrorIs(t, p.run(t.Context()), errOver)
	assert.Len(t, p.slept, 2)
}

// What ends a poll: trouble that lasts, at once what cannot be mended, and never what passes within seconds, as
// the upset of a bus while the engine is cranked.
func TestTroubleThatLasts(t *testing.T) {
	for _, trouble := range []*elm.Status{elm.BusError, elm.BusBusy, elm.FeedbackError, elm.Garbled, elm.DataError, elm.Silent, elm.NoAnswer} {
		p := newPolled(t, engine(), healthy())
		until := time.Duration(1 << 62)
		p.fails = func(string) error {
			if since := p.clk.Now().Sub(morning); since > time.Second && since < until {
				return trouble
			}
			return nil
		}
		p.limit = 5000
		err := p.run(t.Context())
		require.ErrorIs(t, err, trouble)
		assert.InDelta(t, 21, p.clk.Now().Sub(morning).Seconds(), 1, "twenty seconds of it are enough")
		assert.NotContains(t, err.Error(), "\n")
		assert.Empty(t, p.slept)

		p = newPolled(t, engine(), healthy())
		until = 15 * time.Second
		p.fails = func(string) error {
			if since := p.clk.Now().Sub(morning); since > time.Second && since < until {
				return trouble
			}
			return nil
		}
		p.limit = 2000
		assert.ErrorIs(t, p.run(t.Context()), errOver, "it goes on")
	}
	gone := errors.New("the adapter went away and did not come back")
	p := newPolled(t, engine(), healthy())
	p.fails = func(string) error { return gone }
	assert.ErrorIs(t, p.run(t.Context()), gone)
	assert.Len(t, p.asked, 1)
}

// The end of the context ends a poll at once, even while it waits for a sleeping car or a bus to calm down.
func TestPollEnds(t *testing.T) {
	for _, why := range []*elm.Status{elm.NoData, elm.BusError} {
		ctx, cancel := context.WithCancelCause(t.Context())
		p := newPolled(t, engine(), healthy())
		n := 0
		p.fails = func(string) error {
			if n++; n == 30 {
				cancel(errOver)
			}
			return why
		}
		p.limit = 1000
		assert.ErrorIs(t, p.run(ctx), errOver)
		assert.Len(t, p.asked, 30)
	}
}

// A lamp that flashes once a second is seen to do so: at the pace of CAN each half second has a look at it, which
// makes two changes a second.
func TestFlashingLampIsSeen(t *testing.T) {
	for phase := time.Duration(0); phase < time.Second; phase += 90 * time.Millisecond {
		p := newPolled(t, withCounts(capable(obd.CAN11At500, map[uint32][]byte{0x7E8: everyPID()}), 8), map[string]string{})
		on := func() bool { return (p.clk.Now().Sub(morning)+phase)%time.Second < time.Second/2 }
		p.fails = func(req string) error {
			if p.said["0101"] = "7E8=41010107E500"; on() {
				p.said["0101"] = "7E8=41018107E500"
			}
			if p.said[req] == "" {
				p.said[req] = "7E8=41" + req[2:4] // something, so that nothing rests
			}
			return nil
		}
		p.limit = 50 * 12 // twelve seconds
		require.ErrorIs(t, p.run(t.Context()), errOver)
		changes, last := 0, -1.0
		for _, s := range p.samples {
			for _, x := range s.Readings {
				if x.ID == obd.PIDStatus && x.Part == obd.PartMIL {
					if last >= 0 && x.Value != last {
						changes++
					}
					last = x.Value
				}
			}
		}
		assert.Greater(t, changes, 16, "phase %v", phase)
	}
}
