package job

import (
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/misfire/guide"
	"stumble/misfire/journal"
	"stumble/obd"
	"stumble/obd/sim/car"
)

// idling is a sample of an engine that runs, some seconds after morning.
func idling(seconds int) Event {
	at := morning().Add(time.Duration(seconds) * time.Second)
	rpm := obd.Reading{Service: obd.LiveData, ID: obd.PIDRPM, Value: 700}
	return Event{Sample: &obd.Sample{Sent: at, Received: at, Readings: []obd.Reading{rpm}}}
}

// No mark is dropped, however many are made while the car says nothing and from whatever goroutine; they are counted in
// the order of each who made them.
func TestNoMarkIsDropped(t *testing.T) {
	const helpers, each = 4, 500
	d := newDrive(&script{events: []Event{idling(0), idling(1)}, at: morning()}, Setup{}, misfire.Config{}, 0, 0)
	once := false
	err := d.Run(t.Context(), time.Second, func(*State) error {
		if once {
			return nil
		}
		once = true
		var all sync.WaitGroup // while the drive's goroutine is busy here
		for h := range helpers {
			all.Go(func() {
				for n := range each {
					d.Note(fmt.Sprintf("%d pop %d", h, n))
				}
			})
		}
		all.Wait()
		return nil
	})
	require.NoError(t, err)
	d.Mark(gear.Drive) // after the last sample, before the end
	marks := d.Finish().Marks
	require.Len(t, marks, helpers*each+1)
	next := make(map[string]int)
	for _, m := range marks[:helpers*each] {
		who, what, _ := strings.Cut(m.Text, " ")
		assert.Equal(t, fmt.Sprintf("pop %d", next[who]), what)
		next[who]++
	}
	assert.Equal(t, gear.Drive, marks[len(marks)-1].Gear)
}

// Marks that waited are in the journal, too, and come back when the drive is counted anew.
func TestMarksThatWaitedAreSaved(t *testing.T) {
	j := aJournal(t)
	c, _ := plugged(t, "wren-running", 1, morning())
	d := started(t, c, misfire.Config{})
	d.Until = d.Now().Add(20 * time.Second)
	s := &Saver{Journal: j}
	require.NoError(t, s.Record(t.Context(), c, d))
	for n := range 200 {
		d.Note(fmt.Sprintf("pop %d", n))
	}
	require.ErrorIs(t, d.Run(t.Context(), time.Minute, ignore), ErrTimeUp)
	live := d.Finish()
	done, err := s.Finish(nil)
	require.NoError(t, err)
	again, err := Open(j, done.Job, Options{})
	require.NoError(t, err)
	counted, err := again.Count(t.Context())
	require.NoError(t, err)
	require.Len(t, counted[0].Marks, 200)
	assert.Equal(t, texts(live.Marks), texts(counted[0].Marks))
}

func texts(marks []Mark) (all []string) {
	for _, m := range marks {
		all = append(all, m.Text)
	}
	return all
}

// When the adapter or the car goes away while a cylinder is off, it is asked to be plugged in at once.
func TestBalanceWithoutALink(t *testing.T) {
	c, s := plugged(t, "wren-running", 1, morning())
	d := started(t, c, misfire.Config{})
	d.Until = d.Now().Add(time.Hour)
	s.Car.Do(d.Now(), car.ParkIdle, 0)
	var late []guide.Saying
	runner := guide.NewBalanceTest(guide.BalanceConfig{Cylinders: []int{1, 2, 3, 4}, Rounds: 1}, func(e guide.Event) {
		if e.Kind == guide.Late {
			late = append(late, e.Say)
		}
	})
	d.Lead(Lead{Guide: runner.Runner, Every: 250 * time.Millisecond, Cuts: true})
	err := d.Run(t.Context(), 250*time.Millisecond, func(*State) error {
		switch status := runner.Status(); {
		case status == nil:
		case status.Ask == guide.AskUnplug:
			d.Confirm()
		case status.Ask == guide.AskHold:
			d.tell(Notice{At: d.Now(), Kind: LinkLost, Err: errors.New("gone")})
		case status.Ask == guide.AskPlugIn:
			d.tell(Notice{At: d.Now(), Kind: CarAsleep})
			return ErrTimeUp
		}
		return nil
	})
	require.ErrorIs(t, err, ErrTimeUp)
	now := guide.Saying{Kind: guide.DoPlugInLost, Cylinder: 1}
	assert.Equal(t, []guide.Saying{now, now}, late)
	state := d.Finish()
	assert.Nil(t, state.Causes, "cylinders that are cut have no cause to look for")
	assert.Equal(t, []string{"link_lost", "car_asleep"}, texts(state.Marks), "nobody worded them")
	assert.Zero(t, runner.Result().Cylinders[0].Cuts)
}

// What a hook returns ends the drive, and so does a fault of the program, as an error.
func TestHooksEndTheDrive(t *testing.T) {
	full := errors.New("the disk is full")
	mark := Event{Mark: &journal.Mark{Kind: journal.MarkNote, Text: "pop"}}
	d := newDrive(&script{events: []Event{mark, idling(0), idling(1)}}, Setup{}, misfire.Config{}, 0, 0)
	d.Marked = func(Mark) error { return full }
	require.ErrorIs(t, d.Run(t.Context(), time.Second, ignore), full)

	d = newDrive(&script{events: []Event{idling(0)}}, Setup{}, misfire.Config{}, 0, 0)
	err := d.Run(t.Context(), time.Second, func(*State) error { panic("a fault") })
	require.ErrorContains(t, err, "the drive failed: a fault")
}

// A source that goes back has the drive counted from its beginning; one that asks for it has the state shown.
func TestAgain(t *testing.T) {
	mark := Event{Mark: &journal.Mark{At: morning(), Kind: journal.MarkNote, Text: "pop"}}
	quiet := idling(1)
	quiet.Quiet = true
	back := &script{events: []Event{idling(0), mark, quiet, {}, {Again: true}, idling(0), mark, idling(1)}}
	d := newDrive(back, Setup{}, misfire.Config{}, 0, 0)
	var shown []time.Duration
	require.NoError(t, d.Run(t.Context(), time.Second, func(s *State) error {
		shown = append(shown, s.Summary.Now.Sub(morning()))
		return nil
	}))
	assert.Equal(t, []time.Duration{0, time.Second, 0, time.Second}, shown, "quiet samples are not shown but for the asking")
	assert.Equal(t, []string{"pop"}, texts(d.Finish().Marks))
}
