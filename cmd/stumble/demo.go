package main

import (
	"fmt"
	"io"
	"time"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/obd/link"
	"stumble/obd/sim/car"
	"stumble/obd/vehicle"
	"stumble/views"
	"stumble/views/report"
)

// demoSpeed is how many times as fast as real time the demo lives on the screen.
const demoSpeed = 8

// scene is one stretch of the demo's drive: what the simulated driver does, what his helper marks, and how
// it is told.
type scene struct {
	maneuver car.Maneuver
	mark     gear.State
	length   time.Duration
	told     string
}

func scenes() []scene {
	return []scene{
		{car.ParkIdle, gear.ParkNeutral, 75 * time.Second, "idling in Park"},
		{car.DriveIdle, gear.Drive, 75 * time.Second, "in Drive at rest, brake held, wheels chocked"},
		{car.ReverseIdle, gear.Reverse, 45 * time.Second, "in Reverse at rest, brake held, wheels chocked"},
		{car.RaisedIdle, gear.ParkNeutral, 30 * time.Second, "raised idle in Park"},
		{car.Cruise, gear.Moving, 45 * time.Second, "on the road, steady"},
		{car.Pull, gear.Moving, 20 * time.Second, "pulling uphill"},
		{car.ParkIdle, gear.ParkNeutral, 30 * time.Second, "back in Park"},
	}
}

// leverDelay is how long the simulated driver takes to move the lever, before his helper marks it.
const leverDelay = 3 * time.Second

// demo does the whole job on the simulated car.
func demo(a *app, args []string) error {
	f := newFlags("demo", `The whole job on the built-in simulated car, a Larkspur Wren with a broken plug wire on cylinder 2: save the evidence,
find which cylinder misses and when, and look again after the repair. No adapter and no car are needed.`, "")
	var pace speed
	plain := f.Bool("plain", false, "print lines instead of the screen, as fast as the computer can")
	seed := f.Uint64("seed", 1, "the `NUMBER` that chance in the simulated car starts from")
	f.Var(&pace, "speed", fmt.Sprintf("how fast time runs on the screen: a `NUMBER` of times (%d)", demoSpeed))
	if _, err := f.parse(a, args, 0); err != nil {
		return err
	}
	switch {
	case *plain && !pace.wasSaid:
		pace.most = true
	case !pace.wasSaid:
		pace.factor = demoSpeed
	case pace.most && !*plain:
		return usagef("the screen cannot show a drive at max; give a number, or --plain")
	}
	d := demonstration{app: a, plain: *plain, speed: pace, seed: *seed}
	return d.run()
}

// demonstration is one showing of the demo.
type demonstration struct {
	*app
	plain bool
	speed speed
	seed  uint64
}

func (d *demonstration) run() error {
	d.say("THE COMPLAINT: a Larkspur Wren, warning lamp on, misses at random, worse in Drive and Reverse.")
	d.say("On a real car: mind ignition voltage, hot and turning parts and exhaust gas; chock the wheels and hold the brake in gear.")
	before, err := d.visit("wren", true)
	if err != nil {
		return err
	}
	d.say("\nTHE REPAIR: the plug wire of cylinder 2 reads open; a new one is fitted, and the same drive is driven again.\n")
	after, err := d.visit("wren-repaired", false)
	if err != nil {
		return err
	}
	d.say("Before: " + before.Verdict.Sentence)
	d.say("After:  " + after.Verdict.Sentence)
	return nil
}

func (d *demonstration) say(text string) { fmt.Fprintln(d.out, text) }

// visit is one look at the car: its codes if they are wanted, a drive, and the drive's summary.
func (d *demonstration) visit(scenario string, codes bool) (*misfire.Summary, error) {
	t, err := d.target(&where{port: link.Address{Kind: link.Simulated, Scenario: scenario}.String(), speed: d.speed, seed: d.seed})
	if err != nil {
		return nil, err
	}
	length := time.Duration(0)
	for _, s := range scenes() {
		length += s.length
	}
	drive, err := d.startDrive(t, misfire.Config{}, 0)
	if err != nil {
		return nil, err
	}
	defer drive.session.close()
	if codes {
		if err := d.evidence(drive.session); err != nil {
			return nil, err
		}
	}
	drive.until = t.clock.Now().Add(length)
	drive.direct = d.director(drive, scenes())
	if err := d.show(drive); err != nil && !ended(err) {
		return nil, err
	}
	if err := d.ctx.Err(); err != nil {
		return nil, err
	}
	state := drive.finish()
	return state.Summary, views.WriteSummary(d.out, state.Summary)
}

// evidence reads the codes before anything is touched.
func (d *demonstration) evidence(s *session) error {
	d.say("\nTHE EVIDENCE, read before anything is touched:\n")
	found, err := vehicle.ReadCodes(d.ctx, s.adapter, s.caps)
	if err != nil {
		return err
	}
	if err := report.WriteCodes(d.out, found, textWidth); err != nil {
		return err
	}
	d.say("\nTHE DRIVE:\n")
	return nil
}

func (d *demonstration) show(drive *drive) error {
	if !d.plain {
		screen, err := d.terminal.Take()
		if err != nil {
			return err
		}
		return d.onScreen(screen, drive)
	}
	every := plainEvery
	return drive.run(d.ctx, every, func(s *views.State) error {
		_, err := io.WriteString(d.out, views.PlainLine(s)+"\n")
		return err
	})
}

// plainEvery is how much of the drive one line of the plain demo stands for.
const plainEvery = 5 * time.Second

// director makes the simulated driver play the scenes one after the other, and his helper mark the gear.
func (d *demonstration) director(drive *drive, script []scene) func(now time.Time) {
	number := -1
	var ends, marks time.Time
	return func(now time.Time) {
		if number+1 < len(script) && !now.Before(ends) {
			number++
			s := script[number]
			ends, marks = now.Add(s.length), now.Add(leverDelay)
			drive.session.target.sim.Car.Do(now, s.maneuver, s.length)
			if d.plain {
				d.say("-- " + s.told)
			}
		}
		s := script[number]
		if !marks.IsZero() && !now.Before(marks) {
			drive.mark(now, s.mark, "")
			marks = time.Time{}
		}
		drive.step = &views.Step{Number: number + 1, Of: len(script), Name: s.told,
			Instruction: "the simulated driver does it by himself", Left: max(ends.Sub(now), 0), Length: s.length}
	}
}
