package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"stumble/misfire/bench"
	"stumble/misfire/job"
	"stumble/misfire/journal"
	"stumble/views"
	"stumble/views/say"
	"stumble/views/wire"
)

const benchAbout = `What is measured by hand (wires, plugs, coils, injectors, compression, leak-down, fuel, battery), judged by the maker's
figure where it is told, else by bands of the trade, and against the other cylinders. Saved in a job.

  stumble bench                    what was measured, judged anew as it is now
  stumble bench KIND READING ...   take readings: 2=12.1kohm@60cm, 2=OL, 12.6V
                                   2=12k..OL moves; 2=8.1k cold, 14k hot
  stumble bench KIND               ask for one reading after the other
  stumble bench ask                ask for the kinds too
  stumble bench --csv FILE         take a table, - for standard input
  stumble bench kinds              list what can be measured, and how
  stumble bench delete NUMBER      delete one reading, for good

OL is an open circuit. A wire's length stands behind @, as 60cm or 2ft. A comma may be the decimal point where it cannot
mean thousands. Readings on the command line or in a table are saved all or none. What is asked for is saved reading by
reading: whatever was entered whole before Ctrl-C or the input's end is kept, and that is said.

CAUTION: engine and key off before a wire, plug or coil is touched; never hold or pull one on a running engine. Relieve
fuel pressure before opening a line; disable fuel and spark for compression. The maker's manual and local law come first.`

// benchOptions is what bench was asked for.
type benchOptions struct {
	record                        recordOptions
	engine                        engineOptions
	settings                      settingsOption
	units                         string
	table, maker, variant, length string
	asJSON, yes                   bool
}

func (o *benchOptions) flags(f *pflag.FlagSet) {
	o.record.flags(f)
	f.Lookup("job").Usage = "the job of this `NUMBER`; without it the one in hand"
	f.Lookup("new-job").Usage = "begin a job, for a vehicle called by --name"
	f.StringVar(&o.engine.key, "engine", "", "the engine's layout: a `KEY` or a number of cylinders; without it that of the job")
	o.settings.flags(f)
	f.StringVar(&o.units, "units", "", unitsUsage)
	f.StringVar(&o.table, "csv", "", "take the readings of a table in this `FILE`")
	f.StringVar(&o.maker, "maker", "", "the maker's `FIGURE`: 4-12kohm, max 12kohm, min 900kPa, 12kohm+-20%, of wires also max 7kohm/ft")
	f.StringVar(&o.variant, "variant", "", "which `TYPE` of part it is, where 'stumble bench kinds' names some")
	f.StringVar(&o.length, "length", "", "the `LENGTH` of wires that tell none of their own, as 60cm; or unknown")
	f.BoolVar(&o.asJSON, "json", false, "print one JSON object")
	f.BoolVar(&o.yes, "yes", false, "delete without asking")
}

// benchCommand is the command that judges what is measured by hand.
func benchCommand(a *app) *cobra.Command {
	var o benchOptions
	c := &cobra.Command{
		Use:     "bench [KIND [READING ...]]",
		Short:   "take and judge what is measured by hand",
		Long:    benchAbout,
		Example: "stumble bench coil-primary 3=0.82ohm 5=0.84ohm --maker 0.7-0.95ohm",
		Args:    cobra.ArbitraryArgs,
		RunE:    func(_ *cobra.Command, args []string) error { return takeReadings(a, &o, args) },
	}
	o.flags(c.Flags())
	return c
}

// takeReadings judges what is measured by hand.
func takeReadings(a *app, o *benchOptions, words []string) error {
	if o.engine.wantsList() {
		return o.engine.list(a.out)
	}
	b := &benching{app: a, opts: o}
	if err := b.understand(words); err != nil {
		return err
	}
	us, err := a.inUSUnits(&o.settings, o.units)
	if err != nil {
		return err
	}
	b.us = us
	if b.verb == benchKinds {
		return views.WriteBenchKinds(a.out)
	}
	if o.record.off {
		return b.run()
	}
	with := a.withNew
	if b.verb == benchList || b.verb == benchDelete {
		with = a.withJournal
	}
	return with(&o.record.journal, func(j *journal.Journal) error {
		b.journal = j
		return b.run()
	})
}

// What bench can be told to do beside taking a kind of reading.
const (
	benchList   = ""
	benchKinds  = "kinds"
	benchAsk    = "ask"
	benchDelete = "delete"
	benchTable  = "csv"
	benchTake   = "take"
)

// benching is one run of the command.
type benching struct {
	*app
	opts    *benchOptions
	journal *journal.Journal // nil when nothing is to be saved
	verb    string
	words   []string    // the readings that were typed
	id      int64       // to be deleted
	entry   bench.Entry // what holds for all readings
	bench   *job.Bench
	us      bool         // the user's settings say so
	fresh   []bench.Kind // kinds of which readings were taken now
}

// understand reads the arguments.
func (b *benching) understand(words []string) (err error) {
	o := b.opts
	if _, err := o.record.wanted(false); err != nil {
		return err
	}
	switch {
	case o.table != "" && len(words) > 0:
		return usagef("--csv takes its readings from the table: leave %q out", words[0])
	case o.table != "":
		b.verb = benchTable
	case len(words) == 0:
		b.verb = benchList
	case slices.Contains([]string{benchKinds, benchAsk, benchDelete}, words[0]):
		b.verb, words = words[0], words[1:]
	default:
		b.verb = benchTake
		if b.entry.Kind, err = bench.FindKind(meant(words)); err != nil {
			return usageError{err}
		}
		b.words, words = words[1:], nil
	}
	if b.verb == benchDelete {
		if len(words) == 0 {
			return usagef("say which reading by its number; 'stumble bench' lists them")
		}
		if b.id, err = numberOf("reading", words[0]); err != nil {
			return err
		}
		words = words[1:]
	}
	if len(words) > 0 {
		return usagef("%q is one argument too many; 'stumble bench --help' tells what it takes", words[0])
	}
	return b.common()
}

// meant is the kind that was typed; of a coil the winding, by the unit of what follows.
func meant(words []string) string {
	if words[0] != "coil" || len(words) < 2 {
		return words[0]
	}
	if strings.Contains(strings.ToLower(strings.Join(words[1:], " ")), "k") {
		return "coil-secondary"
	}
	return "coil-primary"
}

// common reads the options that hold for all readings.
func (b *benching) common() (err error) {
	o, e := b.opts, &b.entry
	if b.verb != benchTake {
		for name, text := range map[string]string{"maker": o.maker, "variant": o.variant, "length": o.length} {
			if text != "" {
				return usagef("--%s goes with readings of one kind: name the kind, as 'stumble bench wire'", name)
			}
		}
		return nil
	}
	if o.maker != "" {
		if e.Maker, err = e.Kind.ParseMaker(o.maker); err != nil {
			return usageError{err}
		}
	}
	if o.variant != "" {
		if e.Variant, err = e.Kind.ParseVariant(o.variant); err != nil {
			return usageError{err}
		}
	}
	switch {
	case o.length == "":
	case e.Kind.Part != bench.Wire:
		return usagef("only a wire has a length: leave --length out")
	case o.length == "unknown" || o.length == "?":
		e.Unmeasured = true
	default:
		if e.Length, e.TypedLength, err = bench.ParseLength(o.length); err != nil {
			return usagef("--length: %w", err)
		}
	}
	return nil
}

func (b *benching) run() error {
	if b.verb == benchDelete {
		return b.delete()
	}
	if err := b.find(); err != nil {
		return err
	}
	if err := b.count(); err != nil {
		return err
	}
	switch b.verb {
	case benchTable:
		return b.takeTable()
	case benchAsk:
		return b.askAll()
	case benchTake:
		if len(b.words) == 0 {
			return b.askOne()
		}
		return b.takeWords()
	}
	return b.show()
}

// count learns how many cylinders the engine has, as far as anybody tells.
func (b *benching) count() error {
	if b.opts.engine.key != "" {
		layouts, err := b.opts.engine.layouts()
		if err != nil {
			return err
		}
		layout, err := layoutNamed(layouts, b.opts.engine.key)
		if err != nil {
			return usagef("%w; 'stumble bench --engine help' lists the layouts", err)
		}
		b.entry.Cylinders, b.bench.Layout = layout.Cylinders, layout.Key
		return nil
	}
	n, err := b.bench.Cylinders()
	b.entry.Cylinders = n
	return err
}

// takeWords takes the readings of the command line, all or none.
func (b *benching) takeWords() error {
	var all []bench.Reading
	for _, word := range b.joined() {
		some, err := b.entry.Parse(word)
		if err != nil {
			return usagef("%w; nothing is saved", err)
		}
		if slices.ContainsFunc(all, func(o bench.Reading) bool { return o.Cylinder == some[0].Cylinder }) {
			return usagef("%q: that was told already: give each reading once; nothing is saved", word)
		}
		all = append(all, some...)
	}
	return b.take(all)
}

// joined puts together what a shell took apart: a word without a cylinder goes on the reading before it, as in
// 2=8.1k cold, 14k hot; of the whole engine one that is no number, as in 12.1V key on.
func (b *benching) joined() (all []string) {
	for _, word := range b.words {
		begins := strings.Contains(word, "=")
		if !b.entry.Kind.Each {
			begins = word != "" && (word[0] < 'a' || word[0] > 'z')
		}
		if n := len(all); n > 0 && !begins {
			all[n-1] += " " + word
			continue
		}
		all = append(all, word)
	}
	return all
}

// benchWords tell readings in the user's units.
func (b *benching) benchWords() say.Bench { return say.Bench{Words: say.English(), US: b.us} }

// takeTable takes the readings of a table, all or none.
func (b *benching) takeTable() error {
	from, name := b.in, "standard input"
	if b.opts.table != "-" {
		file, err := os.Open(b.opts.table)
		if err != nil {
			return usagef("cannot read the table: %w; check what --csv names", err)
		}
		defer file.Close()
		from, name = file, b.opts.table
	}
	all, err := bench.ReadTable(from, b.entry.Cylinders)
	if err != nil {
		return usagef("%s: %w; nothing is saved", name, err)
	}
	return b.take(all)
}

// take saves readings and shows those of their kinds.
func (b *benching) take(all []bench.Reading) error {
	saved, err := b.save(all)
	if err != nil {
		return fmt.Errorf("%s of %d saved: %w", say.Plural(saved, "reading", "readings"), len(all), err)
	}
	b.told(saved)
	return b.show()
}

// told says where readings went.
func (b *benching) told(n int) {
	if b.journal == nil || n == 0 {
		return
	}
	fmt.Fprintf(b.err, "%s saved in job %d, %s\n", say.Plural(n, "reading", "readings"), b.bench.Job.ID, onOneLine(job.VehicleName(b.bench.Job.Vehicle)))
}

// show prints what was measured, of the kinds that were taken now where some were.
func (b *benching) show() error {
	if b.bench.Job.ID == 0 && b.journal != nil && len(b.bench.Readings) == 0 && !b.opts.asJSON {
		_, err := fmt.Fprintf(b.out, "no job in %s; 'stumble intake' and 'stumble watch' begin one, or say --new-job\n", b.journal.Path())
		return err
	}
	page := benchPage(b.bench, b.us)
	if len(b.fresh) > 0 {
		page.Readings = slices.DeleteFunc(page.Readings, func(r views.BenchReading) bool {
			return !slices.ContainsFunc(b.fresh, func(k bench.Kind) bool {
				return k.Part == r.Judgement.Reading.Part && k.Quantity == r.Judgement.Reading.Quantity
			})
		})
	}
	if b.opts.asJSON {
		return wire.WriteLine(b.out, wire.NewBench(page))
	}
	return views.WriteBench(b.out, page, textWidth)
}

// delete deletes one reading.
func (b *benching) delete() error {
	if b.journal == nil {
		return usagef("--no-journal leaves nothing to delete: leave it out")
	}
	found, number, err := job.FindReading(b.journal, b.opts.record.job, b.id)
	if err != nil {
		return err
	}
	book := &jobBook{b.app, b.journal, &jobsOptions{yes: b.opts.yes}}
	r := &found.Reading
	place := ""
	if r.Cylinder > 0 {
		place = fmt.Sprintf(" of cylinder %d", r.Cylinder)
	}
	line := fmt.Sprintf("reading %d of job %d, %s: %s %s%s, %s", b.id, number, views.Minute(found.At), r.Part, r.Quantity, place, onOneLine(b.benchWords().Reading(r)))
	if err := book.confirm("reading", b.id, line); err != nil {
		return err
	}
	if err := b.journal.DeleteBench(b.id); err != nil {
		return err
	}
	return book.done("reading %d is deleted", b.id)
}

// find finds the job, and what was measured under it.
func (b *benching) find() (err error) {
	o := &b.opts.record
	b.bench = &job.Bench{}
	switch {
	case b.journal == nil:
		return nil
	case o.job < 0:
		return usagef("\"%d\" is no number of a job; 'stumble jobs' lists them", o.job)
	case o.another && b.verb == benchList:
		return usagef("--new-job begins a job with its first reading: give one")
	}
	if !o.another {
		if o.job, err = b.inHand(b.journal, o.job, "stumble bench --job %d"); err != nil && !errors.As(err, new(job.NoJobError)) {
			return err
		}
	}
	b.bench, err = job.OpenBench(b.journal, o.place())
	var none job.NoJobError
	switch {
	case errors.As(err, &none) && b.verb == benchList:
		return nil
	case errors.As(err, &none):
		return errors.New("there is no job in the journal: 'stumble intake' begins one, or say --new-job --name NAME")
	}
	return err
}

// save saves readings under the job and returns how many it could. Without a journal they are only kept in mind.
func (b *benching) save(all []bench.Reading) (saved int, err error) {
	for i := range all {
		if k, known := bench.KindOf(all[i].Part, all[i].Quantity); known && !slices.ContainsFunc(b.fresh, func(o bench.Kind) bool { return o.Key == k.Key }) {
			b.fresh = append(b.fresh, k)
		}
	}
	return b.bench.Add(b.clock.Now(), all)
}

// benchPage judges stored readings as they are now.
func benchPage(b *job.Bench, us bool) *views.Bench {
	page := &views.Bench{Job: b.Job.ID, US: us, Vehicle: onOneLine(job.VehicleName(b.Job.Vehicle))}
	for i, j := range bench.Judge(job.Values(b.Readings)) {
		r := &b.Readings[i]
		page.Readings = append(page.Readings, views.BenchReading{ID: r.ID, At: r.At, Judgement: j, Then: r.Then})
	}
	return page
}

// askOne asks for readings of one kind.
func (b *benching) askOne() error {
	return b.asked(func(t *asker) error { return t.kind(&b.entry) })
}

// askAll asks for kinds and their readings until none is named.
func (b *benching) askAll() error {
	return b.asked(func(t *asker) error {
		for {
			k, err := t.which()
			if err != nil || k == nil {
				return err
			}
			b.entry.Kind = *k
			if err := t.kind(&b.entry); err != nil {
				return err
			}
		}
	})
}

// asked runs questions, and says what was saved however they end.
func (b *benching) asked(run func(*asker) error) error {
	t := newAsker(b)
	err := run(t)
	b.told(t.saved)
	if err != nil && !errors.Is(err, io.EOF) {
		if kept := t.saved; kept > 0 && b.journal != nil {
			err = fmt.Errorf("%s entered whole %s saved: %w", say.Plural(kept, "reading", "readings"), areOrIs(kept), err)
		} else {
			err = fmt.Errorf("nothing is saved: %w", err)
		}
		return err
	}
	if t.saved == 0 && !b.opts.asJSON {
		fmt.Fprintln(b.err, "nothing was entered")
		return nil
	}
	return b.show()
}

func areOrIs(n int) string {
	if n == 1 {
		return "is"
	}
	return "are"
}
