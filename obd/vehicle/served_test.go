package vehicle

import (
	"context"
	"fmt"
	"net"
	"runtime"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd"
	"stumble/obd/clock"
	"stumble/obd/elm"
	"stumble/obd/link"
	"stumble/obd/sim"
)

// socket is a simulated car served where other programs can reach it: on TCP, or as a serial port. Pulling it out
// ends the serving; the car and its adapter go on.
type socket struct {
	t    *testing.T
	clk  clock.Clock
	sim  *sim.Simulation
	over func(context.Context, *socket) // serves until its context ends
	dial func(context.Context, *socket) (elm.Link, error)

	mu    sync.Mutex
	where string // empty while pulled out
	end   context.CancelFunc
	done  chan struct{}
}

func (s *socket) plugIn() {
	ctx, cancel := context.WithCancel(context.Background())
	done, ready := make(chan struct{}), s.where
	s.end, s.done = cancel, done
	go func() {
		defer close(done)
		s.over(ctx, s)
	}()
	for ready == "" { // until the server has said where it is
		runtime.Gosched()
		s.mu.Lock()
		ready = s.where
		s.mu.Unlock()
	}
}

func (s *socket) pullOut() {
	s.move("")
	s.end()
	<-s.done
}

func (s *socket) move(where string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.where = where
}

// open is what elm dials.
func (s *socket) open(ctx context.Context) (elm.Link, error) {
	s.mu.Lock()
	where := s.where
	s.mu.Unlock()
	if where == "" {
		return nil, fmt.Errorf("nothing is plugged in: %w", link.ErrGone)
	}
	return s.dial(ctx, s)
}

func overTCP(ctx context.Context, s *socket) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if !assert.NoError(s.t, err) {
		return
	}
	s.move(l.Addr().String())
	assert.NoError(s.t, sim.Serve(ctx, l, s.clk, s.sim.Dial))
}

func dialTCP(ctx context.Context, s *socket) (elm.Link, error) {
	return link.TCP(ctx, s.where, s.clk)
}

func overPTY(ctx context.Context, s *socket) {
	assert.NoError(s.t, sim.ServePTY(ctx, s.clk, s.sim.Dial, s.move))
}

func dialPTY(_ context.Context, s *socket) (elm.Link, error) {
	return link.Serial(s.where, 115200, s.clk)
}

// A whole drive over a real socket and a real terminal device, ten times as fast as life: the plug is pulled in
// the middle and put back, the drive goes on, and at its end the counts are the car's.
func TestServedDrive(t *testing.T) {
	for name, over := range map[string]*socket{
		"TCP": {over: overTCP, dial: dialTCP},
		"pty": {over: overPTY, dial: dialPTY},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			if name == "pty" && runtime.GOOS != "linux" && runtime.GOOS != "darwin" {
				t.Skip("no pseudo-terminals here")
			}
			clk := clock.NewScaled(10)
			simulation, err := sim.Open("wren-running", 1, clk)
			require.NoError(t, err)
			s := &socket{t: t, clk: clk, sim: simulation, over: over.over, dial: over.dial}
			s.plugIn()
			var notices []elm.NoticeKind
			var lines []string
			adapter, err := elm.Connect(t.Context(), elm.Config{
				Clock: clk, Dial: s.open,
				Notice:  func(n elm.Notice) { notices = append(notices, n.Kind) },
				Observe: func(e *obd.Exchange) { lines = append(lines, string(e.Request)) },
			})
			require.NoError(t, err)
			defer adapter.Close()
			caps, err := Discover(t.Context(), adapter)
			require.NoError(t, err)
			require.Equal(t, 4, caps.Cylinders())

			began := clk.Now()
			var before, after int
			var pulled, back time.Time
			err = NewPoller(adapter, caps, clk).Run(t.Context(), func(sample *obd.Sample) error {
				switch since := sample.Received.Sub(began); {
				case pulled.IsZero() && since > 15*time.Second:
					pulled = sample.Received
					s.pullOut()
					go func() {
						clk.SleepUntil(pulled.Add(5*time.Second), nil)
						s.plugIn()
					}()
				case pulled.IsZero():
					before++
				case back.IsZero():
					back = sample.Received
				case since > 50*time.Second:
					return errOver
				default:
					after++
				}
				return nil
			})
			require.ErrorIs(t, err, errOver)
			assert.Greater(t, before, 20)
			assert.Greater(t, after, 20)
			assert.Greater(t, back.Sub(pulled), 5*time.Second)
			assert.Contains(t, notices, elm.LinkLost)
			assert.Contains(t, notices, elm.LinkBack)
			for _, line := range lines {
				assert.Regexp(t, permitted, line)
			}
			checkServedCounts(t, adapter, caps, s.sim)
			require.NoError(t, adapter.Close())
			s.pullOut()
		})
	}
}

// checkServedCounts asks every counter; each must be what the car showed between the question and the answer.
func checkServedCounts(t *testing.T, adapter *elm.Adapter, caps *Capabilities, s *sim.Simulation) {
	t.Helper()
	total := 0.0
	for _, m := range caps.Monitors {
		from := s.Car.Truth().Shown(m.Cylinder)
		answer, err := adapter.Do(t.Context(), obd.Test(m.MID))
		require.NoError(t, err)
		to := s.Car.Truth().Shown(m.Cylinder)
		readings, err := obd.AppendCounts(nil, answer.Messages[0])
		require.NoError(t, err)
		i := slices.IndexFunc(readings, func(x obd.Reading) bool { return x.Part == obd.TIDCount })
		require.GreaterOrEqual(t, i, 0)
		assert.GreaterOrEqual(t, readings[i].Value, float64(from), "cylinder %d", m.Cylinder)
		assert.LessOrEqual(t, readings[i].Value, float64(to), "cylinder %d", m.Cylinder)
		total += readings[i].Value
	}
	assert.Positive(t, total)
}
