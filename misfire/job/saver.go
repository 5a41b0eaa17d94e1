package job

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"stumble/misfire"
	"stumble/misfire/bench"
	"stumble/misfire/cause"
	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/misfire/journal"
	"stumble/obd"
)

// Saver saves an intake, a drive or bench readings in the journal, in the job that its Place names. A nil Saver saves
// nothing.
type Saver struct {
	Journal *journal.Journal // nil when it cannot be opened
	Why     error            // why it cannot
	Place   Place

	recorder *journal.Recorder // nil while no drive is recorded
	job      int64             // 0 while it could not be begun
	begun    bool              // the job was begun for this drive
	told     bool              // how the recording stands was told,
	saving   bool              // and it was that all is saved
	stop     chan struct{}     // ends the telling of the time; nil while it is not told
	ticking  sync.WaitGroup
}

// ErrNotSaved says that something is not saved; the error that wraps it says why.
var ErrNotSaved = errors.New("NOT SAVED")

// tickEvery is how often the recorder is told the time of a car that says nothing.
const tickEvery = 250 * time.Millisecond

// Check returns an error where the job that was named is not in the journal. Any other trouble is told when there is
// something to save.
func (s *Saver) Check() error {
	if s.Why != nil || s.Place.Job == 0 {
		return nil
	}
	if _, err := s.Journal.Job(s.Place.Job); errors.Is(err, journal.ErrUnknown) {
		return err
	}
	return nil
}

// Close lets go of the journal. A drive that was not finished stays in it as far as it came.
func (s *Saver) Close() {
	if s == nil || s.Journal == nil {
		return
	}
	s.rest()
	// Whether all was saved was told by Finish.
	_ = s.Journal.Close()
}

// rest ends the telling of the time.
func (s *Saver) rest() {
	if s.stop != nil {
		close(s.stop)
		s.stop = nil
		s.ticking.Wait()
	}
}

// settle finds or begins the job of a vehicle.
func (s *Saver) settle(v journal.Vehicle, at time.Time) (journal.Job, error) {
	if s.Why != nil {
		return journal.Job{}, s.Why
	}
	found, begun, err := s.Place.Settle(s.Journal, v, at)
	s.begun = s.begun || begun
	return found, err
}

// KnownEngine returns the engine that earlier drives of the vehicle were counted by, where the car does not
// contradict it, with a notice of it; else cfg as it is, and a notice only where that engine is left out.
func (s *Saver) KnownEngine(vin string, cfg misfire.Config, counted int) (misfire.Config, *Notice) {
	if s == nil || s.Journal == nil || vin == "" {
		return cfg, nil
	}
	all, err := s.Journal.Vehicles()
	i := slices.IndexFunc(all, func(v journal.Vehicle) bool { return v.VIN == vin })
	if err != nil || i < 0 || all[i].Layout == "" { // saving will tell what is wrong with the journal
		return cfg, nil
	}
	layout, err := engine.Find(all[i].Layout)
	if err != nil { // of a table of the user's own, who did not name it this time
		return cfg, nil
	}
	if counted > layout.Cylinders {
		return cfg, &Notice{Kind: EngineLeftOut, Layout: layout.Key, Cylinders: layout.Cylinders, Counted: counted}
	}
	cfg.Engine = layout
	if m, err := engine.ParseMap(all[i].Map, layout.Cylinders); err == nil && all[i].Map != "" {
		cfg.Map = m
	}
	return cfg, &Notice{Kind: EngineKnown, Layout: layout.Key, Cylinders: layout.Cylinders}
}

// Intake saves what was read of a car that is called title, and returns the number of its job; 0 of a nil Saver.
func (s *Saver) Intake(found *obd.Intake, title string) (int64, error) {
	if s == nil {
		return 0, nil
	}
	in, err := s.settle(s.Place.Vehicle(found.VIN, title), found.At)
	if err != nil {
		return in.ID, err
	}
	order, err := s.Journal.Now(in.ID)
	if err == nil {
		_, err = s.Journal.AddIntake(in.ID, found, order)
	}
	return in.ID, err
}

// KnownGearbox returns what was told of the vehicle's gearbox the last time that anybody did.
func (s *Saver) KnownGearbox(vin string) gear.Box {
	if s == nil || s.Journal == nil || vin == "" {
		return gear.NotTold
	}
	drives, err := s.Journal.Drives(0)
	if err != nil { // saving will tell what is wrong with the journal
		return gear.NotTold
	}
	for i := range drives { // the newest first
		if drives[i].Vehicle.VIN != vin {
			continue
		}
		if setup, err := SetupOf(&drives[i]); err == nil && setup.Box() != gear.NotTold {
			return setup.Box()
		}
	}
	return gear.NotTold
}

// Bench saves readings that a test took of the car of a drive, and a note of it, and returns the number of its job.
func (s *Saver) Bench(d *Drive, readings []bench.Reading, note string) (int64, error) {
	at := d.Now()
	v := s.Place.Vehicle(d.Setup.VIN, d.Setup.Title)
	v.Layout, v.Map = layoutTold(&d.Config)
	in, err := s.settle(v, at)
	if err == nil {
		err = addReadings(s.Journal, in.ID, at, readings)
	}
	if err == nil {
		err = s.Journal.AddNote(in.ID, journal.Note{At: at, Text: note})
	}
	return in.ID, err
}

// Record begins to save a drive of a car. Where nobody has read the codes of the job yet, they are read now, before
// anything else, and saved. The error is a job that cannot be meant, or that ctx has ended; anything else is told while
// the drive goes on.
func (s *Saver) Record(ctx context.Context, c *Car, d *Drive) error {
	if d.saver = s; s == nil || s.Why != nil {
		d.setCoded(codedCylinders(c.codes(ctx)))
		return context.Cause(ctx)
	}
	setup := d.Setup
	setup.NoHeaders = !c.Adapter.Headers()
	setup.Gearbox = d.Config.Gearbox.String()
	kept, err := json.Marshal(setup)
	if err != nil {
		return err
	}
	info := journal.DriveInfo{
		Vehicle: s.Place.Vehicle(setup.VIN, setup.Title), JobName: s.Place.Name, Started: d.Now(), Setup: kept,
		Adapter: c.Adapter.Identity(), Protocol: c.Adapter.Protocol(),
		Engine: d.Config.Engine, Map: d.Config.Map,
		Catalyst: c.Caps.CatalystLimit, Emission: c.Caps.EmissionLimit,
	}
	info.Vehicle.Layout, info.Vehicle.Map = layoutTold(&d.Config)
	in, err := s.settle(info.Vehicle, info.Started)
	var other OtherVehicleError
	if errors.As(err, &other) {
		return err
	}
	info.Job, s.job = in.ID, in.ID
	if err == nil {
		if err = s.readCodes(ctx, c, in.ID, info.Started); err != nil {
			return err
		}
		d.setCoded(codedOf(s.Journal, in.ID, 0, info.Started))
	}
	if s.recorder, err = s.Journal.StartDrive(info); err != nil {
		return err
	}
	c.record = s.recorder.Exchange
	d.rank = func(counted *misfire.Summary) (*cause.Result, error) { return s.rank(d, counted) }
	s.tick(c)
	return nil
}

// tick tells the recorder the time, so that what the car said last is saved though it says nothing more.
func (s *Saver) tick(c *Car) {
	s.stop = make(chan struct{})
	ticker, stop := c.cfg.Clock.NewTicker(tickEvery), s.stop
	s.ticking.Go(func() {
		defer ticker.Stop()
		for {
			select {
			case <-ticker.C():
				s.recorder.Tick(c.Now())
			case <-stop:
				return
			}
		}
	})
}

// sample saves a sample. It returns what has become of the recording, once for every change.
func (s *Saver) sample(sample *obd.Sample) *Notice {
	if s == nil {
		return nil
	}
	if s.recorder != nil {
		s.recorder.Sample(sample)
	}
	why := s.trouble()
	if saving := why == nil; s.told && saving == s.saving {
		return nil
	}
	again := s.told
	s.told, s.saving = true, why == nil
	n := &Notice{Kind: Recording, At: sample.Received, Err: why, Job: s.job}
	switch {
	case why != nil:
		n.Kind = NotRecording
		return n
	case again:
		n.Kind = RecordingAgain
	}
	n.Drive = s.recorder.ID()
	return n
}

func (s *Saver) mark(at time.Time, g gear.State, text string) {
	if s != nil && s.recorder != nil {
		s.recorder.Mark(at, g, text)
	}
}

func (s *Saver) ask(at time.Time, g gear.State) {
	if s != nil && s.recorder != nil {
		s.recorder.Ask(at, g)
	}
}

// trouble is why nothing is saved; nil while all is.
func (s *Saver) trouble() error {
	if s.recorder != nil {
		return s.recorder.State().Why
	}
	return s.Why
}

// RecordingState is how the recording of a drive stands.
type RecordingState struct {
	On         bool  // it is to be saved
	Why        error // why it is not; nil while it is
	Job, Drive int64 // where it goes; Job is 0 while a new one cannot be begun
}

func (s *Saver) state() RecordingState {
	if s == nil {
		return RecordingState{}
	}
	r := RecordingState{On: true, Why: s.trouble(), Job: s.job}
	if r.Why == nil && s.recorder != nil {
		r.Drive = s.recorder.ID()
	}
	return r
}

// Saved is what became of a recorded drive.
type Saved struct {
	Job, Drive int64 // 0 where nothing was read from the car, and no drive is kept
	Lost       int   // samples and exchanges that are gone: they could not be kept in memory until the disk took them
}

// Finish ends the recording with the verdict that the drive came to, JSON of the caller's. A drive in which the car
// never said anything is taken out of the journal again, with the job that was begun for it. The error wraps
// ErrNotSaved where the drive, or its end, is not saved.
func (s *Saver) Finish(verdict []byte) (done Saved, err error) {
	if s.recorder == nil {
		return done, fmt.Errorf("the drive is %w: %w", ErrNotSaved, s.Why)
	}
	s.rest()
	if err := s.recorder.Finish(verdict); err != nil {
		return done, fmt.Errorf("%w: %w", ErrNotSaved, err)
	}
	saved, err := s.Journal.Drive(s.recorder.ID())
	if err != nil {
		return done, err
	}
	done.Lost = s.recorder.State().Lost
	if saved.Samples == 0 && done.Lost == 0 {
		return done, s.dropEmpty(&saved)
	}
	done.Job, done.Drive = saved.Job, saved.ID
	return done, nil
}

// rank ranks the causes of the job that a drive is saved under, with the drive itself as it was just counted: it need not
// be wholly on the disk yet.
func (s *Saver) rank(d *Drive, counted *misfire.Summary) (*cause.Result, error) {
	stored, err := s.Journal.Drive(s.recorder.ID())
	if err != nil {
		return nil, err
	}
	c, err := Open(s.Journal, s.job, Options{})
	if err != nil {
		return nil, err
	}
	if !slices.ContainsFunc(c.Drives, func(o journal.Drive) bool { return o.ID == stored.ID }) {
		c.Drives = append(c.Drives, stored)
	}
	c.counted[stored.ID] = &Counted{Stored: stored, Setup: d.Setup, Config: d.Config, Summary: counted, Heard: d.heard}
	return c.rankNow()
}

// dropEmpty takes a drive in which the car never said anything out of the journal again, with the job that was begun
// for it.
func (s *Saver) dropEmpty(d *journal.Drive) error {
	if err := s.Journal.DeleteDrive(d.ID); err != nil || !s.begun {
		return err
	}
	if rest, err := s.Journal.Drives(d.Job); err != nil || len(rest) > 0 {
		return err
	}
	return s.Journal.DeleteJob(d.Job)
}
