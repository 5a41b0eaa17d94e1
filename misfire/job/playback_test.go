package job

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/obd/clock"
)

// A playback keeps to its clock and comes to the numbers of the drive, however it was gone through.
func TestPlaybackIsTurned(t *testing.T) {
	j := aJournal(t)
	id := drive(t, j, "wren", 1, morning(), 2*time.Minute)
	alone, err := (&Options{}).Drive(j, id)
	require.NoError(t, err)
	want, err := alone.Summarise(t.Context())
	require.NoError(t, err)

	clk := clock.NewStepped(morning())
	d, back, err := Play(j, id, Options{}, Pace{Clock: clk, Times: 4, From: 80 * time.Second})
	require.NoError(t, err)
	turned := 0
	require.NoError(t, d.Run(t.Context(), time.Second, func(s *State) error {
		switch at := s.Position.At; {
		case turned == 0:
			assert.InDelta(t, 80, at.Seconds(), 1, "what is before is not shown")
			back.Pace(true)
			turned++
		case turned == 1 && at > 100*time.Second:
			assert.Equal(t, 8.0, s.Position.Times)
			back.Seek(-time.Hour)
			turned++
		case turned == 2 && at < 80*time.Second:
			assert.Less(t, at, 2*time.Second, "past the beginning it stops there")
			back.Pace(false)
			back.Pace(false)
			turned++
		}
		return nil
	}))
	assert.Equal(t, 3, turned)
	state := d.Finish()
	assert.Equal(t, inFull(want), inFull(state.Summary))
	assert.Positive(t, state.Health.Exchanges)
	assert.InDelta(t, 20/4.0+120/2.0, clk.Now().Sub(morning()).Seconds(), 6, "20 s at 4 and 8 times, 120 s at twice")
}

// The samples of a drive, its exchanges decoded anew, and the playback of either are one drive.
func TestSourcesAreOneDrive(t *testing.T) {
	j := aJournal(t)
	id := drive(t, j, "wren", 2, morning(), time.Minute)
	want := ""
	for _, anew := range []bool{false, true} {
		opts := Options{Anew: anew}
		d, err := opts.Drive(j, id)
		require.NoError(t, err)
		counted, err := d.Summarise(t.Context())
		require.NoError(t, err)
		back, _, err := Play(j, id, opts, Pace{Times: 1})
		require.NoError(t, err)
		require.NoError(t, back.Run(t.Context(), time.Second, ignore))
		if want == "" {
			want = inFull(counted)
		}
		assert.Equal(t, want, inFull(counted))
		assert.Equal(t, want, inFull(back.Finish().Summary))
	}
}

// Marks come between the samples that they came between, though the drive is decoded anew.
func TestAnewKeepsTheMarks(t *testing.T) {
	j := aJournal(t)
	c, _ := plugged(t, "wren-running", 1, morning())
	d := started(t, c, misfire.Config{})
	d.Until = d.Now().Add(30 * time.Second)
	s := &Saver{Journal: j}
	require.NoError(t, s.Record(t.Context(), c, d))
	require.ErrorIs(t, d.Run(t.Context(), 3*time.Second, func(*State) error {
		d.Mark(gear.Drive)
		d.Note("pop")
		return nil
	}), ErrTimeUp)
	d.Finish()
	done, err := s.Finish(nil)
	require.NoError(t, err)
	events := func(anew bool) (all []string) {
		source, err := (&Options{Anew: anew}).Source(j, done.Drive)
		require.NoError(t, err)
		require.NoError(t, source.Events(t.Context(), func(e Event) error {
			if e.Mark != nil {
				all = append(all, e.Mark.Text)
			} else {
				all = append(all, e.Sample.Received.String())
			}
			return nil
		}))
		return all
	}
	require.Greater(t, len(events(false)), 100)
	require.Contains(t, events(false), "pop")
	require.Equal(t, events(false), events(true))
}

// inFull is a summary to its last digit: NaN is no number to compare.
func inFull(s *misfire.Summary) string { return fmt.Sprintf("%+v", *s) }
