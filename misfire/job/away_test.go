package job

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/obd"
	"stumble/obd/clock"
	"stumble/obd/elm"
	"stumble/obd/link"
	"stumble/obd/sim"
)

// socket is where an adapter is plugged in: it can be pulled at a time and be put into another car.
type socket struct {
	clk    *clock.Stepped
	car    *sim.Simulation
	pulled time.Time // when the link breaks; zero: never
	back   time.Time // when it may be dialled again; zero: never
	then   *sim.Simulation
}

type pulledLink struct {
	elm.Link
	s *socket
}

func (l *pulledLink) gone() bool { return !l.s.pulled.IsZero() && !l.s.clk.Now().Before(l.s.pulled) }

func (l *pulledLink) Read(p []byte) (int, error) {
	if l.gone() {
		return 0, link.ErrGone
	}
	return l.Link.Read(p)
}

func (l *pulledLink) Write(p []byte) (int, error) {
	if l.gone() {
		return 0, link.ErrGone
	}
	return l.Link.Write(p)
}

func (s *socket) dial(ctx context.Context) (elm.Link, error) {
	now := s.clk.Now()
	if !s.pulled.IsZero() && !now.Before(s.pulled) {
		if s.back.IsZero() || now.Before(s.back) {
			return nil, fmt.Errorf("nothing is plugged in: %w", link.ErrGone)
		}
		s.pulled = time.Time{}
		if s.then != nil {
			s.car = s.then
		}
	}
	l, err := s.car.Dial(ctx)
	if err != nil {
		return nil, err
	}
	return &pulledLink{Link: l, s: s}, nil
}

func inSocket(t *testing.T, scenario string, w *Waiting) (*socket, *Car) {
	t.Helper()
	s := &socket{clk: clock.NewStepped(morning())}
	var err error
	s.car, err = sim.Open(scenario, 1, s.clk)
	require.NoError(t, err)
	c, err := Connect(t.Context(), elm.Config{Clock: s.clk, Dial: s.dial}, w, nil)
	require.NoError(t, err)
	t.Cleanup(c.Close)
	return s, c
}

// The adapter is pulled in the middle of a drive and put into another car: that car's counts are none of this drive's. Put
// back into the same, the drive goes on.
func TestAnotherCarEndsTheDrive(t *testing.T) {
	for _, to := range []string{"curlew", "wren-running", "rook"} {
		t.Run(to, func(t *testing.T) {
			s, c := inSocket(t, "wren-running", &Waiting{})
			d := started(t, c, misfire.Config{})
			began := d.Now()
			d.Until = began.Add(2 * time.Minute)
			s.pulled, s.back = began.Add(30*time.Second), began.Add(40*time.Second)
			var err error
			if to != "wren-running" {
				s.then, err = sim.Open(to, 2, s.clk)
				require.NoError(t, err)
			}
			foreign := 0
			d.Heed(func(x *obd.Sample) {
				if !x.Received.Before(s.back) {
					foreign++
				}
			})
			err = d.Run(t.Context(), time.Second, ignore)
			if to == "wren-running" {
				require.ErrorIs(t, err, ErrTimeUp)
				assert.Greater(t, foreign, 1000)
				return
			}
			var other *OtherCarError
			require.ErrorAs(t, err, &other)
			assert.Equal(t, "0LKWR16A4R0104217", other.Was.VIN)
			assert.NotEqual(t, other.Was.VIN, other.Is.VIN)
			assert.Zero(t, foreign, "samples of the other car")
			assert.NotContains(t, err.Error(), "\n")
			assert.Less(t, d.Finish().Summary.Running, 31*time.Second)
		})
	}
}

// A drive whose length was given ends when it is over, though the adapter has gone for good; one that was to wait for so
// long ends then.
func TestTheDriveEndsWithoutItsAdapter(t *testing.T) {
	s, c := inSocket(t, "wren-running", &Waiting{})
	d := started(t, c, misfire.Config{})
	d.Until = d.Now().Add(time.Minute)
	s.pulled = d.Now().Add(10 * time.Second)
	require.ErrorIs(t, d.Run(t.Context(), time.Second, ignore), ErrTimeUp)
	assert.InDelta(t, 0, s.clk.Now().Sub(d.Until).Seconds(), 6)

	s, c = inSocket(t, "wren-running", &Waiting{Seek: 30 * time.Second})
	d = started(t, c, misfire.Config{})
	began := d.Now()
	s.pulled = began.Add(10 * time.Second)
	err := d.Run(t.Context(), time.Second, ignore)
	require.Error(t, err)
	assert.False(t, Ended(err))
	assert.ErrorIs(t, err, link.ErrGone)
	assert.InDelta(t, 40, s.clk.Now().Sub(began).Seconds(), 6)
}

// A car that is off is waited for as long as was asked.
func TestWaitForACarThatIsOff(t *testing.T) {
	s := &socket{clk: clock.NewStepped(morning())}
	var err error
	s.car, err = sim.Open("ignition-off", 1, s.clk)
	require.NoError(t, err)
	var told []NoticeKind
	_, err = Connect(t.Context(), elm.Config{Clock: s.clk, Dial: s.dial},
		&Waiting{Seek: time.Minute, Told: func(n Notice) { told = append(told, n.Kind) }}, nil)
	require.Error(t, err)
	assert.Equal(t, elm.RemedyWaitIgnition, elm.RemedyFor(err))
	assert.Equal(t, []NoticeKind{CarWaited}, told)
	assert.InDelta(t, 75, s.clk.Now().Sub(morning()).Seconds(), 20, "a search of all buses takes some eight seconds")
}
