package job

import (
	"context"
	"encoding/json"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"stumble/misfire"
	"stumble/misfire/journal"
	"stumble/obd/clock"
	"stumble/obd/elm"
	"stumble/obd/sim"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// morning is when simulated drives begin in tests.
func morning() time.Time { return time.Date(2026, 11, 25, 8, 30, 0, 0, time.UTC) }

// aJournal is a new journal in a folder of the test's own.
func aJournal(t testing.TB) *journal.Journal {
	t.Helper()
	j, notices, err := journal.Open(filepath.Join(t.TempDir(), "journal.db"), journal.Options{})
	require.NoError(t, err)
	require.Empty(t, notices)
	t.Cleanup(func() { require.NoError(t, j.Close()) })
	return j
}

// plugged is a simulated car that is connected, by a clock that jumps.
func plugged(t testing.TB, scenario string, seed uint64, from time.Time) (*Car, *sim.Simulation) {
	t.Helper()
	clk := clock.NewStepped(from)
	s, err := sim.Open(scenario, seed, clk)
	require.NoError(t, err)
	dial := func(ctx context.Context) (elm.Link, error) { return s.Dial(ctx) }
	c, err := Connect(t.Context(), elm.Config{Clock: clk, Dial: dial}, nil, nil)
	require.NoError(t, err)
	t.Cleanup(c.Close)
	return c, s
}

// started is a drive of a connected car, not run yet.
func started(t testing.TB, c *Car, cfg misfire.Config) *Drive {
	t.Helper()
	d, err := c.Drive(t.Context(), Setup{Title: "Larkspur"}, cfg, nil, nil)
	require.NoError(t, err)
	return d
}

// drive records a drive of a simulated car and returns its number.
func drive(t testing.TB, j *journal.Journal, scenario string, seed uint64, from time.Time, length time.Duration) int64 {
	t.Helper()
	c, _ := plugged(t, scenario, seed, from)
	d := started(t, c, misfire.Config{})
	d.Until = d.Now().Add(length)
	s := &Saver{Journal: j}
	require.NoError(t, s.Record(t.Context(), c, d))
	require.ErrorIs(t, d.Run(t.Context(), time.Minute, ignore), ErrTimeUp)
	verdict, err := json.Marshal(d.Finish().Summary.Running)
	require.NoError(t, err)
	done, err := s.Finish(verdict)
	require.NoError(t, err)
	return done.Drive
}

func ignore(*State) error { return nil }

// script is a source of events that were written down.
type script struct {
	events []Event
	at     time.Time
}

func (s *script) Events(_ context.Context, take func(Event) error) error {
	for _, e := range s.events {
		if e.Sample != nil {
			s.at = e.Sample.Received
		}
		if err := take(e); err != nil {
			return err
		}
	}
	return nil
}

func (s *script) Now() time.Time { return s.at }
func (s *script) Health() Health { return Health{PerSecond: unknown()} }
