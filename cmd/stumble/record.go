package main

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/spf13/pflag"

	"stumble/misfire"
	"stumble/misfire/cause"
	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/misfire/journal"
	"stumble/obd"
	"stumble/obd/clock"
	"stumble/views"
)

// recordOptions say where in the journal something is saved, if at all.
type recordOptions struct {
	journal         journalOption
	off             bool
	job             int64
	another         bool
	name, complaint string
}

func (o *recordOptions) flags(f *pflag.FlagSet) {
	o.journal.flags(f)
	f.BoolVar(&o.off, "no-journal", false, "save nothing")
	f.Int64Var(&o.job, "job", 0, "save under the job of this `NUMBER`; without it under the newest of this vehicle")
	f.BoolVar(&o.another, "new-job", false, "begin another job for this vehicle")
	f.StringVar(&o.name, "name", "", "what to call the job, a `NAME`")
	f.StringVar(&o.complaint, "complaint", "", "what the customer complains of, a `TEXT`")
}

// aboutRecording ends the help of a command that saves.
const aboutRecording = `What is seen is saved in the journal, under the newest job of this vehicle, or a new one; --no-journal saves nothing. The
simulated car is practice: it is saved only where --journal names a file.`

// chosen reports whether a place in the journal was asked for.
func (o *recordOptions) chosen() bool {
	return o.job != 0 || o.another || o.name != "" || o.complaint != ""
}

// wanted reports whether to save at all.
func (o *recordOptions) wanted(simulated bool) (bool, error) {
	switch {
	case o.off && (o.journal.path != "" || o.chosen()):
		return false, usagef("--no-journal excludes --journal, --job, --new-job, --name and --complaint: choose")
	case o.job != 0 && o.another:
		return false, usagef("--job and --new-job exclude each other: choose one")
	case o.off:
		return false, nil
	case simulated && o.journal.path == "":
		if o.chosen() {
			return false, usagef("the simulated car is saved only where --journal names a file: name one")
		}
		return false, nil
	}
	return true, nil
}

// keeper saves an intake or a drive in the journal. It never holds a drive up: when nothing can be saved it says so
// and the drive goes on. A nil keeper saves nothing and is asked to.
type keeper struct {
	app     *app
	opts    *recordOptions
	journal *journal.Journal // nil when it cannot be opened
	why     error            // why it cannot

	recorder *journal.Recorder // nil while no drive is recorded
	job      int64             // 0 while it could not be begun
	begun    bool              // the job was begun for this drive
	told     bool              // how the recording stands was told,
	saving   bool              // and it was that all is saved
	stop     chan struct{}
	ticking  sync.WaitGroup
}

// tickEvery is how often the recorder is told the time of a car that says nothing.
const tickEvery = 250 * time.Millisecond

// keep opens the journal, unless nothing is to be saved. What is wrong with the journal is told when there is
// something to save; what is wrong with the choice of a job is an error at once.
func (a *app) keep(t *target, o *recordOptions) (*keeper, error) {
	if wanted, err := o.wanted(t.sim != nil); err != nil || !wanted {
		return nil, err
	}
	k := &keeper{app: a, opts: o, stop: make(chan struct{})}
	if k.journal, k.why = a.openJournal(&o.journal); k.why != nil || o.job == 0 {
		return k, nil
	}
	if _, err := k.journal.Job(o.job); errors.Is(err, journal.ErrUnknown) {
		k.close()
		return nil, err
	}
	return k, nil
}

// close lets go of the journal. A drive that was not finished stays in it as far as it came.
func (k *keeper) close() {
	if k == nil || k.journal == nil {
		return
	}
	k.rest()
	// Whether all was saved was told by finish.
	_ = k.journal.Close()
}

// rest ends the telling of the time.
func (k *keeper) rest() {
	if k.stop != nil {
		close(k.stop)
		k.stop = nil
		k.ticking.Wait()
	}
}

// errOtherVehicle says that the job that was named is of another vehicle.
type errOtherVehicle struct{ job journal.Job }

func (e errOtherVehicle) Error() string {
	return fmt.Sprintf("job %d is of another vehicle, %s; leave --job out, or give the number of one of this vehicle", e.job.ID, nameOfVehicle(e.job.Vehicle))
}

// vehicle is a car as the journal names it. One that tells no VIN goes by the name of the car, or of its job.
func (k *keeper) vehicle(vin, title string) journal.Vehicle {
	v := journal.Vehicle{VIN: vin, Name: title}
	if vin == "" && title == "" {
		v.Name = k.opts.name
	}
	return v
}

// find is the job that was named, or the newest of the vehicle; its ID is 0 when another is to be begun. A vehicle
// that nothing is known of has none: two such cars must not be taken for one.
func (k *keeper) find(v journal.Vehicle) (journal.Job, error) {
	switch {
	case k.opts.job != 0:
		job, err := k.journal.Job(k.opts.job)
		if err == nil && job.Vehicle.VIN != "" && v.VIN != "" && job.Vehicle.VIN != v.VIN {
			err = errOtherVehicle{job}
		}
		return job, err
	case k.opts.another || v.VIN == "" && v.Name == "":
		return journal.Job{}, nil
	}
	jobs, err := k.journal.Jobs(journal.JobFilter{Text: cmp.Or(v.VIN, v.Name)})
	for _, job := range jobs {
		if job.Vehicle.VIN == v.VIN && (v.VIN != "" || job.Vehicle.Name == v.Name) {
			return job, err
		}
	}
	return journal.Job{}, err
}

// engineOf is the engine that earlier drives of the vehicle were counted by, where the car does not contradict it; else
// cfg as it is.
func (k *keeper) engineOf(vin string, cfg misfire.Config, counted int) misfire.Config {
	if k == nil || k.journal == nil || vin == "" {
		return cfg
	}
	all, err := k.journal.Vehicles()
	i := slices.IndexFunc(all, func(v journal.Vehicle) bool { return v.VIN == vin })
	if err != nil || i < 0 || all[i].Layout == "" { // saving will tell what is wrong with the journal
		return cfg
	}
	layout, err := engine.Find(all[i].Layout)
	if err != nil { // of a table of the user's own, who did not name it this time
		return cfg
	}
	if counted > layout.Cylinders {
		fmt.Fprintf(k.app.err, "the engine %s that this vehicle was last counted by has %d cylinders, but the car counts %d: it is left out\n", layout.Key, layout.Cylinders, counted)
		return cfg
	}
	cfg.Engine = layout
	if m, err := engine.ParseMap(all[i].Map, layout.Cylinders); err == nil && all[i].Map != "" {
		cfg.Map = m
	}
	fmt.Fprintf(k.app.err, "engine %s, as in earlier drives of this vehicle; --engine names another\n", layout.Key)
	return cfg
}

// place finds or begins the job to save under.
func (k *keeper) place(v journal.Vehicle, at time.Time) (journal.Job, error) {
	job, err := k.find(v)
	switch {
	case err != nil:
		return job, err
	case job.ID != 0:
		return job, errors.Join(k.describe(job, at), k.learn(job.Vehicle, v))
	case v.VIN == "" && v.Name == "":
		v.Name = "vehicle without a VIN"
	}
	k.begun = true
	return k.journal.OpenJob(journal.Job{Vehicle: v, Name: k.opts.name, Complaint: k.opts.complaint, Opened: at})
}

// learn keeps the engine by which a vehicle is counted now, where one was named.
func (k *keeper) learn(known, now journal.Vehicle) error {
	if now.Layout == "" || now.Layout == known.Layout && now.Map == known.Map {
		return nil
	}
	known.Layout, known.Map = now.Layout, now.Map
	_, err := k.journal.SaveVehicle(known)
	return err
}

// describe gives a job that is open the name and the complaint that were told now.
func (k *keeper) describe(job journal.Job, at time.Time) error {
	if name := k.opts.name; name != "" && name != job.Name {
		if err := k.journal.NameJob(job.ID, name); err != nil {
			return err
		}
	}
	if text := k.opts.complaint; text != "" && text != job.Complaint {
		return k.journal.AddNote(job.ID, journal.Note{At: at, Text: "complaint: " + text})
	}
	return nil
}

// saveIntake saves what was read and tells where.
func (k *keeper) saveIntake(found *obd.Intake, title string) error {
	if k == nil {
		return nil
	}
	job, err := journal.Job{}, k.why
	if err == nil {
		job, err = k.place(k.vehicle(found.VIN, title), found.At)
	}
	if err == nil {
		_, err = k.journal.AddIntake(job.ID, found)
	}
	if err != nil {
		return fmt.Errorf("the intake is NOT SAVED: %w", err)
	}
	fmt.Fprintf(k.app.err, "saved in job %d\n", job.ID)
	return nil
}

// driveSetup is what playback must know of a drive beside what the journal keeps by itself.
type driveSetup struct {
	VIN      string `json:"vin"`
	Title    string `json:"title"`
	CoilEach bool   `json:"coil_each"`
	Ignition string `json:"ignition,omitempty"` // as cause.ParseIgnition reads it; empty where it is not known
	// NoHeaders tells that the adapter prints frames without their headers, which decoding them anew must know.
	NoHeaders bool `json:"no_headers,omitempty"`
}

// ignition is how the coils are laid out, as far as it was known.
func (s *driveSetup) ignition() cause.Ignition {
	i, err := cause.ParseIgnition(s.Ignition)
	switch {
	case err == nil && i != cause.IgnitionUnknown:
		return i
	case s.CoilEach:
		return cause.CoilOnPlug
	}
	return cause.IgnitionUnknown
}

// record begins to save the drive. The error is a job that cannot be meant; anything else is told while the drive
// goes on.
func (d *drive) record(k *keeper) error {
	if d.keeper = k; k == nil || k.why != nil {
		return nil
	}
	s := d.session
	setup, err := json.Marshal(driveSetup{VIN: d.vin, Title: d.title, CoilEach: d.coilEach, Ignition: d.ignition.Key(), NoHeaders: !s.adapter.Headers()})
	if err != nil {
		return err
	}
	info := journal.DriveInfo{
		Vehicle: k.vehicle(d.vin, d.title), JobName: k.opts.name, Started: d.now(), Setup: setup,
		Adapter: s.adapter.Identity(), Protocol: s.adapter.Protocol().String(), Engine: d.cfg.Engine, Map: d.cfg.Map,
		Catalyst: s.caps.CatalystLimit, Emission: s.caps.EmissionLimit,
	}
	info.Vehicle.Layout, info.Vehicle.Map = d.layoutTold()
	job, err := k.place(info.Vehicle, info.Started)
	var other errOtherVehicle
	if errors.As(err, &other) {
		return err
	}
	info.Job, k.job = job.ID, job.ID
	if k.recorder, err = k.journal.StartDrive(info); err != nil {
		return err
	}
	s.record = k.recorder.Exchange
	k.tick(s.target.clock)
	return nil
}

// tick tells the recorder the time, so that what the car said last is saved though it says nothing more.
func (k *keeper) tick(clk clock.Clock) {
	ticker, stop := clk.NewTicker(tickEvery), k.stop
	k.ticking.Go(func() {
		defer ticker.Stop()
		for {
			select {
			case <-ticker.C():
				k.recorder.Tick(clk.Now())
			case <-stop:
				return
			}
		}
	})
}

// layoutTold is the layout and the map that the vehicle is known by: none where only the cylinders were counted.
func (d *drive) layoutTold() (layout, cylinders string) {
	if plain, err := engine.Plain(d.cfg.Engine.Cylinders); err != nil || plain.Key != d.cfg.Engine.Key {
		layout = d.cfg.Engine.Key
	}
	if d.cfg.Map.Len() > 0 {
		cylinders = d.cfg.Map.String()
	}
	return layout, cylinders
}

// sample saves a sample. It returns what has become of the recording, once for every change.
func (k *keeper) sample(s *obd.Sample) string {
	if k == nil {
		return ""
	}
	if k.recorder != nil {
		k.recorder.Sample(s)
	}
	why := k.trouble()
	if saving := why == ""; k.told && saving == k.saving {
		return ""
	}
	again := k.told
	k.told, k.saving = true, why == ""
	switch {
	case why != "":
		return "the drive is NOT SAVED: " + why
	case again:
		return "the drive is saved again, " + k.where()
	}
	return k.where()
}

func (k *keeper) mark(at time.Time, g gear.State, text string) {
	if k != nil && k.recorder != nil {
		k.recorder.Mark(at, g, text)
	}
}

// trouble is why nothing is saved, without the file's path, which may be long; empty while all is saved.
func (k *keeper) trouble() string {
	err := k.why
	if k.recorder != nil {
		err = k.recorder.State().Why
	}
	if err == nil {
		return ""
	}
	text := err.Error()
	if k.journal != nil {
		text = strings.TrimPrefix(text, "journal "+k.journal.Path()+": ")
	}
	return strings.Join(strings.Fields(text), " ")
}

// where is where the drive goes.
func (k *keeper) where() string {
	if k.job == 0 {
		return fmt.Sprintf("recording to a new job, drive %d", k.recorder.ID())
	}
	return fmt.Sprintf("recording to job %d, drive %d", k.job, k.recorder.ID())
}

// show puts on the screen how the recording stands. The warning to ease off is left above all others.
func (k *keeper) show(s *views.State) {
	if k == nil {
		return
	}
	why := k.trouble()
	if why == "" {
		s.Health.Recording = k.where()
		return
	}
	s.Health.Recording = "NOT SAVED"
	if s.Summary == nil || !s.Summary.Verdict.EaseOff {
		s.Alert = "NOT SAVED: " + why
	}
}

// dropEmpty takes a drive in which the car never said anything out of the journal again, with the job that was begun
// for it.
func (k *keeper) dropEmpty(d *journal.Drive) error {
	fmt.Fprintln(k.app.err, "nothing was read from the car: no drive is saved")
	if err := k.journal.DeleteDrive(d.ID); err != nil || !k.begun {
		return err
	}
	if rest, err := k.journal.Drives(d.Job); err != nil || len(rest) > 0 {
		return err
	}
	return k.journal.DeleteJob(d.Job)
}

// finish ends the recording with the summary that the drive ended with, and tells where it is.
func (k *keeper) finish(summary any) error {
	switch {
	case k == nil:
		return nil
	case k.recorder == nil:
		return fmt.Errorf("the drive is NOT SAVED: %w", k.why)
	}
	k.rest()
	verdict, err := json.Marshal(summary)
	if err != nil {
		return err
	}
	err = k.recorder.Finish(verdict)
	k.app.printNotices(k.journal.Notices())
	if err != nil {
		return fmt.Errorf("NOT SAVED: %w", err)
	}
	saved, err := k.journal.Drive(k.recorder.ID())
	if err != nil {
		return err
	}
	if saved.Samples == 0 && k.recorder.State().Lost == 0 {
		return k.dropEmpty(&saved)
	}
	fmt.Fprintf(k.app.err, "saved in job %d, drive %d\n", saved.Job, saved.ID)
	if lost := k.recorder.State().Lost; lost > 0 {
		return fmt.Errorf("%d samples and exchanges of the drive are NOT SAVED: they could not be kept in memory until the disk took them", lost)
	}
	return nil
}
