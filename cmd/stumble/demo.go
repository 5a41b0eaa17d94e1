package main

import (
	"fmt"

	"stumble/misfire"
	"stumble/misfire/proof"
	"stumble/misfire/steps"
	"stumble/obd/link"
	"stumble/obd/vehicle"
	"stumble/views"
	"stumble/views/report"
)

// demoSpeed is how many times as fast as real time the demo lives on the screen.
const demoSpeed = 8

// demoSeed is a drive that meets the rare miss in Park, too.
const demoSeed = 3

// demo does the whole job on the simulated car.
func demo(a *app, args []string) error {
	f := newFlags("demo", `The whole job on the built-in simulated car, a Larkspur Wren with a broken plug wire on cylinder 2: save the evidence,
find which cylinder misses and when, and look again after the repair. No adapter and no car are needed, and nothing
is saved in the journal.`, "")
	var pace speed
	plain := f.Bool("plain", false, "print lines instead of the screen, as fast as the computer can")
	chance := seed{value: demoSeed, wasSaid: true}
	f.Var(&chance, "seed", "the `NUMBER` that chance in the simulated car starts from")
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
	d := demonstration{app: a, plain: *plain, speed: pace, seed: chance}
	return d.run()
}

// demonstration is one showing of the demo.
type demonstration struct {
	*app
	plain bool
	speed speed
	seed  seed
}

func (d *demonstration) run() error {
	d.say("THE COMPLAINT: a Larkspur Wren, warning lamp on, misses at random, worse in Drive and Reverse.")
	d.say("On a real car: mind ignition voltage, hot and turning parts and exhaust gas; chock the wheels and hold the brake in gear.")
	before, err := d.visit("wren", steps.Known{})
	if err != nil {
		return err
	}
	d.say("\nTHE REPAIR: the plug wire of cylinder 2 reads open; a new one is fitted, and the same steps are driven again.\n")
	if err := d.pause(); err != nil {
		return err
	}
	after, err := d.visit("wren-repaired", steps.KnownFrom(before))
	if err != nil {
		return err
	}
	return d.judge(before, after)
}

// judge says what both drives show together: a clean drive alone proves nothing.
func (d *demonstration) judge(before, after *misfire.Summary) error {
	c, err := proof.Compare(proof.Input{
		Before: proof.Side{Drives: []*misfire.Summary{before}},
		After:  proof.Side{Drives: []*misfire.Summary{after}},
	})
	if err != nil {
		return err
	}
	d.say("Judged: " + c.Sentence)
	d.say("Before: " + before.Verdict.Sentence)
	d.say("After:  " + after.Verdict.Sentence)
	return nil
}

func (d *demonstration) say(text string) { fmt.Fprintln(d.out, text) }

// visit is one look at the car: a guided drive and its summary, and the codes before it when nothing is known yet.
func (d *demonstration) visit(scenario string, known steps.Known) (*misfire.Summary, error) {
	t, err := d.target(&where{port: link.Address{Kind: link.Simulated, Scenario: scenario}.String(), speed: d.speed, seed: d.seed})
	if err != nil {
		return nil, err
	}
	drive, err := d.startDrive(t, misfire.Config{}, 0, nil)
	if err != nil {
		return nil, err
	}
	defer drive.session.close()
	if known == (steps.Known{}) {
		if err := d.evidence(drive.session); err != nil {
			return nil, err
		}
	}
	g := drive.lead(steps.Config{Plan: steps.All(), Known: known})
	if d.plain {
		g.say = d.aloud
	}
	if err := d.show(drive); err != nil && !ended(err) {
		return nil, err
	}
	if err := d.ctx.Err(); err != nil {
		return nil, err
	}
	state := drive.finish()
	if err := views.WriteSummary(d.out, state.Summary); err != nil {
		return nil, err
	}
	return state.Summary, g.summary(d.out, state.Summary)
}

// pause lets what was printed be read before the screen covers it.
func (d *demonstration) pause() error {
	if d.plain {
		return nil
	}
	fmt.Fprint(d.err, "Press Enter for the live screen: ")
	_, err := d.readLine()
	return err
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
	return d.pause()
}

func (d *demonstration) show(drive *drive) error {
	if !d.plain {
		screen, err := d.terminal.Take()
		if err != nil {
			return err
		}
		return d.onScreen(screen, drive)
	}
	return d.plainLines(drive)
}
