package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"stumble/misfire/journal"
	"stumble/obd/clock"
)

// demoSpeed is how many times as fast as real time the demo lives on the screen.
const demoSpeed = 8

// demoSeed is a drive that meets the rare miss in Park, too.
const demoSeed = 3

const demoAbout = `The whole job on the built-in simulated car, a Larkspur Wren with a broken plug wire on cylinder 2: save the evidence,
find which cylinder misses and when, ask what may be behind it, measure, repair, drive the same steps again, and judge the
repair. Each command is shown as it would be typed. No adapter and no car are needed.

The job is thrown away in the end unless --journal names a file for it; --report keeps the owner's report.`

// demoOptions is what demo was asked for.
type demoOptions struct {
	plain   bool
	seed    seed
	speed   speed
	journal string
	report  string
	force   bool
}

func (o *demoOptions) flags(f *pflag.FlagSet) {
	f.BoolVar(&o.plain, "plain", false, "print lines instead of the screen, as fast as the computer can")
	f.Var(&o.seed, "seed", "the `NUMBER` that chance in the simulated car starts from")
	f.Var(&o.speed, "speed", fmt.Sprintf("how fast time runs on the screen: a `NUMBER` of times (%d)", demoSpeed))
	f.StringVar(&o.journal, "journal", "", "keep the job in the journal of this new `FILE`")
	f.StringVar(&o.report, "report", "", "write the report into this `FILE`, which ends in .html or .pdf")
	f.BoolVar(&o.force, "force", false, "replace the report's file if it is there already")
}

// demoCommand is the command that does the whole job on the simulated car.
func demoCommand(a *app) *cobra.Command {
	o := demoOptions{seed: seed{value: demoSeed, wasSaid: true}}
	c := &cobra.Command{
		Use:     "demo",
		Short:   "the whole job on the built-in simulated car",
		Long:    demoAbout,
		Example: "stumble demo --plain --report wren.html",
		Args:    atMost(0),
		RunE:    func(*cobra.Command, []string) error { return demo(a, &o) },
	}
	o.flags(c.Flags())
	return c
}

// demo does the whole job on the simulated car.
func demo(a *app, o *demoOptions) error {
	if err := o.understand(); err != nil {
		return err
	}
	if !o.plain {
		if err := a.terminal.Check(); err != nil {
			return err
		}
	}
	if o.journal == "" {
		folder, err := os.MkdirTemp("", "stumble-demo-")
		if err != nil {
			return fmt.Errorf("no folder for the demo's journal: %w; name a file with --journal", err)
		}
		defer os.RemoveAll(folder)
		o.journal = filepath.Join(folder, "demo.db")
	}
	d := demonstration{app: *a, opts: o}
	d.in = strings.NewReader("") // what is typed is for the demo, not for its commands
	d.typed = a
	return d.run()
}

func (o *demoOptions) understand() error {
	switch {
	case o.speed.most && !o.plain:
		return usagef("the screen cannot show a drive at max; give a number, or --plain")
	case !o.speed.wasSaid && o.plain:
		o.speed.most = true
	case !o.speed.wasSaid:
		o.speed.factor = demoSpeed
	}
	if end := filepath.Ext(o.report); o.report != "" && end != ".html" && end != ".pdf" {
		return usagef("%s tells no kind of report: let it end in .html or .pdf", o.report)
	}
	if o.journal != "" {
		if _, err := os.Stat(o.journal); err == nil {
			return usagef("%s is there already: name a new file for the demo's job", o.journal)
		}
	}
	return nil
}

// demonstration is one showing of the demo.
type demonstration struct {
	app
	typed *app // where a person can type
	opts  *demoOptions
}

// act is a part of the demo: what is told, and the command that is run. More are its options that are not shown.
type act struct {
	tell    string
	command string
	more    []string
	screen  bool // it takes the screen
	quiet   bool // what it prints would be too much of the same
}

func (d *demonstration) run() error {
	d.say("THE COMPLAINT: a Larkspur Wren, warning lamp on, misses at random, worse in Drive and Reverse.")
	d.say("On a real car: mind ignition voltage, hot and turning parts and exhaust gas; chock the wheels and hold the brake in gear.")
	for _, next := range d.acts() {
		if err := d.show(&next); err != nil || d.written.err != nil { // nobody reads on
			return err
		}
	}
	if d.opts.report != "" {
		return nil
	}
	d.say("\nThe owner's report: 'stumble demo --report wren.html' writes it, 'stumble report' that of a real job.")
	return nil
}

// acts are the job, a command after the other.
func (d *demonstration) acts() []act {
	o := d.opts
	car := []string{"--seed", o.seed.String(), "--speed", "max"}
	guided := []string{"--yes", "--seed", o.seed.String(), "--speed", o.speed.String()}
	if o.plain {
		guided = append(guided, "--plain")
	}
	all := []act{
		{tell: "THE EVIDENCE, read before anything is touched:", more: car,
			command: `intake --port sim:wren --complaint "warning lamp on, misses at random, worse in Drive and Reverse"`},
		{tell: "THE DRIVE, guided step by step:", command: "loadtest --port sim:wren --engine i4-1342", more: guided, screen: true},
		{tell: "WHAT MAY BE BEHIND IT, and the test that tells most:", command: "causes 1"},
		{tell: "MEASURED with the wires off the car:", command: "bench wire 1=11.8kohm@60cm 2=OL 3=12.3kohm@60cm 4=12.1kohm@60cm"},
		{tell: "THE REPAIR:", command: `jobs note 1 "repair: new plug wire on cylinder 2"`},
		{tell: "THE SAME STEPS AGAIN:", command: "loadtest --port sim:wren-repaired --engine i4-1342", more: guided, screen: true},
		{tell: "IS IT PROVEN?", command: "compare --job 1"},
		{tell: "THE MINUTES STILL WANTED (what is printed meanwhile is left out here):", quiet: true, more: car,
			command: "watch --port sim:wren-repaired --for 30m --plain"},
		{quiet: true, more: car, command: "loadtest --port sim:wren-repaired --steps reverse --plain --yes"},
		{quiet: true, more: car, command: "loadtest --port sim:wren-repaired --steps reverse,drive --plain --yes"},
		{tell: "THE CODES, read again (left out here):", quiet: true, more: car,
			command: "intake --port sim:wren-repaired"},
		{tell: "IS IT PROVEN NOW?", command: "compare --job 1"},
	}
	if o.report != "" {
		kind := strings.TrimPrefix(filepath.Ext(o.report), ".")
		last := act{tell: "FOR THE OWNER:", command: "report 1 --" + kind + " " + o.report}
		if o.force {
			last.more = []string{"--force"}
		}
		all = append(all, last)
	}
	return all
}

// show runs one act.
func (d *demonstration) show(next *act) error {
	if next.tell != "" {
		d.say("\n" + next.tell)
	}
	d.say("$ stumble " + next.command)
	if !next.quiet {
		d.say("")
	}
	if next.screen && !d.opts.plain {
		fmt.Fprint(d.err, "Press Enter for the live screen: ")
		if _, err := d.typed.readLine(); err != nil {
			return err
		}
	}
	if err := d.goOn(); err != nil {
		return err
	}
	words := append(shellWords(next.command), next.more...)
	a := d.app
	if next.quiet {
		a.out = io.Discard
	}
	_, err := a.execute(append(words, "--journal", d.opts.journal))
	if err == nil {
		err = d.ctx.Err()
	}
	return err
}

// betweenActs is how long the workshop takes from one act to the next.
const betweenActs = 10 * time.Minute

// goOn sets the hour to some minutes after the last drive: simulated drives take less time than they tell of.
func (d *demonstration) goOn() error {
	now := d.clock.Now()
	if _, err := os.Stat(d.opts.journal); err == nil {
		err := d.withJournal(&journalOption{d.opts.journal}, func(j *journal.Journal) error {
			all, err := j.Drives(0)
			if len(all) > 0 && all[0].Ended.After(now) { // the newest comes first
				now = all[0].Ended
			}
			return err
		})
		if err != nil {
			return err
		}
	}
	d.clock = clock.NewScaledAt(now.Add(betweenActs).Local(), 1)
	return nil
}

// shellWords parts a command line at its spaces but for those between quotation marks.
func shellWords(line string) (words []string) {
	for i, part := range strings.Split(line, `"`) {
		if i%2 == 1 {
			words = append(words, part)
			continue
		}
		words = append(words, strings.Fields(part)...)
	}
	return words
}

func (d *demonstration) say(text string) { fmt.Fprintln(d.out, text) }
