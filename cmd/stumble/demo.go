package main

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"stumble/misfire/journal"
	"stumble/obd/clock"
)

// demoSpeed is how many times as fast as real time the demo lives on the screen.
const demoSpeed = 8

// demoSeed is what chance in the demo starts from unless --seed says otherwise.
const demoSeed = 1

const demoAbout = `The whole job on the built-in simulated car, a Larkspur Curlew that shudders when it pulls away
warm: save the evidence, find which cylinder misses and when, ask what may be behind it, exchange two coils and see
whether the misses follow, fit a new one, drive the same steps again, and judge the repair. Each command is shown as it
would be typed, with the lines of its output that tell most; --full prints all of it. No adapter and no car are needed.

The job is thrown away in the end unless --journal names a file for it; --report keeps the owner's report.`

// demoOptions is what demo was asked for.
type demoOptions struct {
	plain   bool
	full    bool
	seed    seed
	speed   speed
	journal string
	report  string
	force   bool
}

func (o *demoOptions) flags(f *pflag.FlagSet) {
	f.BoolVar(&o.plain, "plain", false, "print lines instead of the screen, as fast as the computer can")
	f.BoolVar(&o.full, "full", false, "print all that the commands print, not only what tells most")
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
		Example: "stumble demo --plain --report curlew.html",
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
	typed   string // what is entered while it runs
	screen  bool   // it takes the screen

	// What is shown of its output unless all of it is: the rest of each paragraph from a line that matches, and the
	// single lines that match. Without either it is shown whole.
	paragraphs, lines string
}

func (d *demonstration) run() error {
	d.say("THE COMPLAINT: a Larkspur Curlew, V6, shudders when it pulls away warm, " +
		"never on the first mile;\nwarning lamp on.")
	d.say("On a real car: mind ignition voltage, hot and turning parts and exhaust gas;\n" +
		"chock the wheels and hold the brake in gear.")
	if err := d.showAll(d.acts()); err != nil {
		return err
	}
	var found foundError // that it is not proven yet, which --fail-on tells
	err := d.showAll(d.proof(1))
	for round := uint64(2); round <= mostHours+1 && errors.As(err, &found); round++ {
		err = d.showAll(d.proof(round))
	}
	if err != nil && !errors.As(err, &found) {
		return err
	}
	return d.showAll([]act{d.opts.last()})
}

// mostHours is how long the demo drives on for a proof at the most: chance may keep it from some condition.
const mostHours = 5

// showAll runs one act after the other.
func (d *demonstration) showAll(acts []act) error {
	for _, next := range acts {
		if err := cmp.Or(d.show(&next), d.written.err); err != nil { // nobody reads on
			return err
		}
	}
	return nil
}

// fastest is the options that belong to the simulated car, at its fastest.
func fastest(s seed) []string { return []string{"--seed", s.String(), "--speed", "max"} }

// proof is the running still wanted, and whether it is enough: the guided steps first, then an hour of driving, unlike the
// hours before it.
func (d *demonstration) proof(round uint64) []act {
	next := act{tell: "THE MINUTES STILL WANTED, in the same steps as before:", more: d.guided(), screen: true, paragraphs: sentence,
		command: "loadtest --port sim:curlew-repaired --engine v6-along-142536"}
	if round > 1 {
		next = act{tell: "THE MINUTES STILL WANTED:", more: fastest(seed{value: d.opts.seed.number() + round, wasSaid: true}), paragraphs: sentence,
			command: "watch --port sim:curlew-repaired --for 1h --plain"}
	}
	return []act{next, {tell: "IS IT PROVEN NOW?", paragraphs: judgement, command: "compare --job 1 --fail-on not_proven"}}
}

// guided is the options of a guided drive in the simulated car.
func (d *demonstration) guided() []string {
	o := d.opts
	guided := []string{"--yes", "--seed", o.seed.String(), "--speed", o.speed.String()}
	if o.plain {
		guided = append(guided, "--plain")
	}
	return guided
}

// acts are the job until its repair has been driven, a command after the other.
func (d *demonstration) acts() []act {
	car, guided := fastest(d.opts.seed), d.guided()
	return []act{
		{tell: "THE EVIDENCE, read before anything is touched:", more: car,
			paragraphs: `^By codes`, lines: codeRows + `|^ +5  +\d`,
			command: `intake --port sim:curlew --complaint "shudders when pulling away warm, never on the first mile"`},
		{tell: "FROM COLD, as the owner drives it: the first mile, and the next.", more: car,
			paragraphs: sentence, lines: ofCylinder5,
			command: "watch --port sim:curlew-cold --engine v6-along-142536 --for 20m --plain"},
		{tell: "WARM, guided step by step:", more: guided, screen: true, paragraphs: sentence, lines: ofCylinder5,
			command: "loadtest --port sim:curlew --engine v6-along-142536"},
		{tell: "WHAT MAY BE BEHIND IT, and the test that tells most:", paragraphs: `^Most likely|^Coil of its own`,
			command: "causes 1 --ignition each"},
		{tell: "THE TEST: the coil of 5 changes places with that of 3, which sits on the other bank.",
			command: "swapped 1 coil:5-3"},
		{more: car, paragraphs: sentence, lines: `^cyl +gear|^  3  |^  5  whole`,
			command: "watch --port sim:curlew-swapped --for 20m --plain"},
		{tell: "DID THE MISSES FOLLOW THE COIL?", paragraphs: `^(Followed|Stayed|Both|Neither|Cannot tell)\b[^:]*$`,
			command: "compare 1,2 3 --swapped coil:5-3"},
		{tell: "WHAT IS BEHIND IT NOW?", paragraphs: `^Most likely`, command: "causes 1"},
		{tell: "THE REPAIR:", command: `repaired 1 "new coil on cylinder 3, where the faulty one sat" --cylinder 3 --part coil`},
		{tell: "CLEARED, now that everything is saved, with the engine off:", more: car,
			typed: "CLEAR\n", paragraphs: `^Cleared by`, command: "clear --port sim:curlew-swapped"},
		{tell: "A TEST DRIVE round the block:", more: car, paragraphs: sentence,
			command: "watch --port sim:curlew-repaired --for 3m --plain"},
		{more: car, lines: codeRows, command: "intake --port sim:curlew-repaired"},
		{tell: "IS IT PROVEN?", paragraphs: judgement, command: "compare --job 1"},
	}
}

// What tells most in the output of several commands.
const (
	sentence    = `^Cylinder \d misses|no cylinder stands out|^No miss in` // what a drive came to
	judgement   = `^(Proven|Improved|Not yet proven|Still missing|Moved)`
	codeRows    = `^(stored|pending|permanent) `
	ofCylinder5 = `^cyl +gear|^  5  `
)

// last is the report, on the screen or in the file that was named.
func (o *demoOptions) last() act {
	last := act{tell: "FOR THE OWNER:", command: "report 1", paragraphs: `^Vehicle  |^Proven|^Not yet`}
	if o.report != "" {
		last = act{tell: last.tell, command: "report 1 --" + strings.TrimPrefix(filepath.Ext(o.report), ".") + " " + o.report}
		if o.force {
			last.more = []string{"--force"}
		}
	}
	return last
}

// show runs one act.
func (d *demonstration) show(next *act) error {
	if next.tell != "" {
		d.say("\n" + next.tell)
	}
	d.say("$ stumble " + next.command)
	if next.screen && !d.opts.plain {
		fmt.Fprint(d.err, "Press Enter for the live screen: ")
		if _, err := d.typed.readLine(); err != nil {
			return err
		}
	}
	if err := d.goOn(); err != nil {
		return err
	}
	a := d.app
	a.in = strings.NewReader(next.typed) // what the user types is for the demo, not for its commands
	var printed bytes.Buffer
	if !d.opts.full {
		a.out, a.err = &printed, io.Discard
	}
	words := append(shellWords(next.command), next.more...)
	_, err := a.execute(append(words, "--journal", d.opts.journal))
	told := next.telling(printed.String())
	var found foundError
	if err != nil && !errors.As(err, &found) {
		told = printed.String()
	}
	fmt.Fprint(d.out, told)
	return cmp.Or(err, d.ctx.Err())
}

// telling is what is shown of an act's output in short.
func (next *act) telling(output string) string {
	if next.paragraphs == "" && next.lines == "" {
		return output
	}
	matches := func(pattern, line string) bool { return pattern != "" && regexp.MustCompile(pattern).MatchString(line) }
	var told strings.Builder
	within := false
	for line := range strings.Lines(output) {
		within = line != "\n" && (within || matches(next.paragraphs, line))
		if within || matches(next.lines, line) {
			told.WriteString(line)
		}
	}
	return told.String()
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
