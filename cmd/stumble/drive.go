package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"sync"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/misfire/job"
	"stumble/misfire/journal"
	"stumble/views"
	"stumble/views/screen"
)

// drive is a drive while it is shown: what package job counts, as the views have it.
type drive struct {
	*job.Drive
	car      *job.Car      // nil for a stored drive
	playback *job.Playback // nil for a live one
	saver    *job.Saver    // nil when nothing is to be saved
	recorded bool          // it is saved, or would be
	guide    conductor     // leads through a test; nil in a plain drive
	board    board
}

// fastBaud is what --fast-port asks for: the highest that common USB bridges and adapters share.
const fastBaud = 500_000

// startDrive connects, waiting for the ignition if need be, and makes ready to poll. s, which may be nil, knows engines
// of earlier drives.
func (a *app) startDrive(t *target, cfg misfire.Config, o *watchOptions, s *job.Saver) (*drive, error) {
	length := o.length.Duration
	w := job.Waiting{Told: a.tell, Seek: o.wait.Duration}
	if length > 0 {
		w.Until = t.clock.Now().Add(length)
	}
	t.recall(journalOf(s))
	if o.fast {
		t.fast = fastBaud
	}
	c, err := a.connect(t, &w)
	if err != nil {
		return nil, err
	}
	if err := a.useCounters(c, o.table, s); err != nil {
		c.Close()
		return nil, err
	}
	d := &drive{car: c, saver: s}
	if d.Drive, err = c.Drive(a.ctx, t.setup(), cfg, s, a.tell); err != nil {
		c.Close()
		return nil, err
	}
	d.Words = d.words
	if length > 0 {
		d.Until = t.clock.Now().Add(length)
	}
	return d, nil
}

// record begins to save the drive.
func (d *drive) record(ctx context.Context) error {
	d.recorded = d.saver != nil
	return d.saver.Record(ctx, d.car, d.Drive)
}

// words are what a notice of the drive says; empty where it says nothing.
func (d *drive) words(n job.Notice) string { return noticeWords(n, journalOf(d.saver)) }

// state is a state of the drive as the views have it.
func (d *drive) state(s *job.State) *views.State {
	state := &views.State{
		Title: s.Setup.Title, VIN: s.Setup.VIN, CoilEach: s.Setup.CoilEach,
		Summary: s.Summary, Strip: s.Strip, Causes: s.Causes, Playback: (*views.Playback)(s.Position),
		Health: views.Health{Adapter: s.Health.Adapter, Protocol: s.Health.Protocol, PerSecond: s.Health.PerSecond, Exchanges: s.Health.Exchanges},
	}
	for _, m := range s.Marks {
		state.Notes = append(state.Notes, viewMark(m))
	}
	if s.Health.Lost {
		state.Health.Link = "adapter lost, seeking it"
	}
	if d.car != nil {
		state.Health.Recording, state.Alert = recordingWords(&s.Recording, s.Summary, journalOf(d.saver))
	}
	if d.guide != nil {
		d.guide.present(state)
	}
	return state
}

// viewMark is a mark as the views have it.
func viewMark(m job.Mark) views.Mark {
	v := views.Mark{At: m.At, Text: m.Text, Gear: m.Gear}
	switch m.Kind {
	case journal.MarkGap:
		v.Text = missingHere + m.Gap.Error()
	case journal.MarkGear:
		v.Text = "gear " + m.Gear.String()
	}
	return v
}

// finish ends the drive and returns its last state.
func (d *drive) finish() *views.State { return d.state(d.Finish()) }

// showing gives a state to what shows it.
func (d *drive) showing(show func(*views.State) error) func(*job.State) error {
	return func(s *job.State) error { return show(d.state(s)) }
}

// actions is what the screen's keys do.
func (d *drive) actions() screen.Actions {
	if d.playback != nil {
		return playbackKeys{d.playback}
	}
	return liveKeys{d.Drive}
}

// liveKeys are the keys of a live drive.
type liveKeys struct{ *job.Drive }

func (k liveKeys) StepSkip()   { k.Skip() }
func (k liveKeys) StepRepeat() { k.Repeat() }
func (k liveKeys) StepStop()   { k.Stop() }

// playbackKeys are the keys of a stored drive: what happened is not added to.
type playbackKeys struct{ *job.Playback }

func (playbackKeys) Mark(gear.State) {}
func (playbackKeys) Note(string)     {}
func (playbackKeys) StepSkip()       {}
func (playbackKeys) StepRepeat()     {}
func (playbackKeys) StepStop()       {}

// keep ends the recording with the summary that the drive ended with, and tells where it is.
func (a *app) keep(s *job.Saver, summary any) error {
	data, err := json.Marshal(summary)
	if err != nil {
		return err
	}
	done, err := s.Finish(data)
	if s.Journal != nil {
		a.printNotices(s.Journal.Notices())
	}
	switch {
	case errors.Is(err, job.ErrNotSaved):
		return err
	case done.Drive == 0:
		fmt.Fprintln(a.err, "nothing was read from the car: no drive is saved")
		return err
	}
	fmt.Fprintf(a.err, "saved in job %d, drive %d\n", done.Job, done.Drive)
	if done.Lost > 0 {
		return fmt.Errorf("%d samples and exchanges of the drive are NOT SAVED: they could not be kept in memory until the disk took them", done.Lost)
	}
	return nil
}

// board is the state that the screen shows, handed over from the drive.
type board struct {
	mu      sync.Mutex
	state   *views.State
	version uint64
}

// State is the newest state, never nil.
func (b *board) State() *views.State {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.state == nil {
		b.state = &views.State{}
	}
	return b.state
}

func (b *board) show(s *views.State) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.version++
	s.Version = b.version
	b.state = s
	return nil
}

// warn shows a warning over the last state.
func (b *board) warn(text string) {
	s := *b.State()
	s.Alert = text
	_ = b.show(&s)
}
