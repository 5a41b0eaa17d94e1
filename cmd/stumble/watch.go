package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"stumble/misfire"
	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/misfire/job"
	"stumble/views"
	"stumble/views/wire"
)

const watchAbout = `Count misses live, by cylinder and gear state, on the screen (or --plain, --json).

Keys on the screen: p n d r mark the gear, m a note, ? help, q quit.

` + aboutRecording + `

--balance asks for one injector after the other to be unplugged for seconds, at idle, and tells which cylinder gives little
work. Its drive is not recorded; what it measures is kept as bench readings. Never pull a plug wire of a running engine.

CAUTION: ignition voltage can kill; keep clear of hot and turning parts; exhaust gas is poison: run the engine outdoors
or with extraction. Before selecting a gear at rest: parking brake, wheels chocked, service brake held, nobody in front or
behind. On the road the driver drives and a second person reads the screen. If the lamp flashes, ease off: raw fuel
overheats the catalyst. The maker's manual and local law come first.`

// defaultMost is how long a drive lasts in simulated time as fast as it can when nothing is said.
const defaultMost = 10 * time.Minute

// watchOptions is what watch was asked for.
type watchOptions struct {
	where
	length, wait  duration
	plain, asJSON bool
	fast          bool // a wired adapter is asked for more speed
	engine        engineOptions
	record        recordOptions
	balance       balanceOptions // of watch alone
	counters      string         // the file of the user's table
	table         string         // what is in it
}

func (o *watchOptions) flags(f *pflag.FlagSet) {
	o.where.flags(f)
	o.engine.flags(f)
	o.record.flags(f)
	f.StringVar(&o.counters, "counters", "", "count by the table of this `FILE`: where this car's maker keeps its misfire counts")
	f.Var(&o.length, "for", "end after this `TIME`, such as 90s or 10m")
	f.Var(&o.wait, "wait", "how long a car that is off, or an adapter that went away, is waited for, a `TIME`; without it for good")
	f.BoolVar(&o.fast, "fast-port", false, "ask an adapter on a wire for 500,000 baud; one that does not keep it goes on as before")
	f.BoolVar(&o.plain, "plain", false, "print lines instead of the screen")
	f.BoolVar(&o.asJSON, "json", false, "print JSON: a line a second and a summary at the end")
}

// prepare works out what the options mean before the car is sought. Without an error the target is nil when the
// layouts were asked for, which are then listed. most is how long a drive lasts in simulated time as fast as it can
// when nothing is said.
func (a *app) prepare(o *watchOptions, most time.Duration) (*target, misfire.Config, error) {
	if o.plain && o.asJSON {
		return nil, misfire.Config{}, usagef("--plain and --json exclude each other: choose one")
	}
	if o.engine.wantsList() {
		return nil, misfire.Config{}, o.engine.list(a.out)
	}
	cfg, err := o.engine.config(misfire.Config{})
	if err != nil {
		return nil, cfg, err
	}
	if o.table, err = readCounters(o.counters); err != nil {
		return nil, cfg, err
	}
	t, err := a.target(&o.where)
	if err != nil {
		return nil, cfg, err
	}
	if !o.plain && !o.asJSON {
		if err := a.terminal.Check(); err != nil {
			return nil, cfg, err
		}
	}
	if t.most && o.length.Duration == 0 {
		o.length.Duration = most
	}
	return t, cfg, nil
}

// watchCommand is the command that records and shows a drive.
func watchCommand(a *app) *cobra.Command {
	var o watchOptions
	c := &cobra.Command{
		Use:     "watch",
		Short:   "count misses live, by cylinder and gear",
		Long:    watchAbout,
		Example: "stumble watch --port /dev/ttyUSB0 --engine v6-along-142536",
		Args:    atMost(0),
		RunE:    func(*cobra.Command, []string) error { return watch(a, &o) },
	}
	o.flags(c.Flags())
	o.balance.flags(c.Flags())
	return c
}

// watch records and shows a drive.
func watch(a *app, o *watchOptions) error {
	if err := o.balance.check(); err != nil {
		return err
	}
	most := defaultMost
	if o.balance.on {
		most = mostTest
	}
	t, cfg, err := a.prepare(o, most)
	if err != nil || t == nil {
		return err
	}
	k, err := a.saver(t, &o.record)
	if err != nil {
		return err
	}
	defer k.Close()
	d, err := a.startDrive(t, cfg, o, k)
	if err != nil {
		return err
	}
	defer d.car.Close()
	if o.balance.on {
		return a.balanceTest(d, t, o)
	}
	if err := d.record(a.ctx); err != nil {
		return err
	}
	return a.show(d, o)
}

// show runs the drive on the screen or as lines, and ends with the written summary.
func (a *app) show(d *drive, o *watchOptions) error {
	var err error
	switch {
	case o.asJSON:
		err = a.jsonLines(d)
	case o.plain:
		err = a.plainLines(d)
	default:
		screen, refused := a.terminal.Take()
		if refused != nil {
			return refused
		}
		err = a.onScreen(screen, d)
	}
	if !job.Ended(err) {
		// What was counted until then is worth more than the error: it is printed first.
		return errors.Join(a.summary(d, o.asJSON), err)
	}
	return a.summary(d, o.asJSON)
}

func (a *app) summary(d *drive, asJSON bool) error {
	state := d.finish()
	written := a.writeSummary(d, state, asJSON)
	if !d.recorded {
		return written
	}
	return errors.Join(written, a.keep(d.saver, d.object(state)))
}

// object is the summary of a drive, guided or not, as an object.
func (d *drive) object(state *views.State) any {
	if d.guide != nil {
		return d.guide.object(state)
	}
	return wire.NewSummary(state)
}

func (a *app) writeSummary(d *drive, state *views.State, asJSON bool) error {
	if asJSON {
		return wire.WriteLine(a.out, d.object(state))
	}
	write := func() error { return views.WriteSummary(a.out, state.Summary) }
	if d.guide != nil {
		write = func() error { return d.guide.write(a.out, state) }
	}
	return errors.Join(write(), views.WriteCausesBrief(a.out, state.Causes))
}

// engineOptions choose the engine's layout and how the car numbers its monitors.
type engineOptions struct {
	key, file, cylinderMap string
	gearbox                string
}

func (o *engineOptions) flags(f *pflag.FlagSet) {
	f.StringVar(&o.key, "engine", "", "the engine's layout: a `KEY` or a number of cylinders; help lists the keys")
	f.StringVar(&o.file, "engines", "", "a `FILE` of further layouts, a CSV table")
	f.StringVar(&o.cylinderMap, "map", "", "the `CYLINDERS` that monitors A2, A3 ... mean, as 1,3,4,2; or firing-order")
	f.StringVar(&o.gearbox, "gearbox", "", "the `KIND` of gearbox, which a car that tells no gear needs most: manual, automatic or other")
}

func (o *engineOptions) wantsList() bool { return o.key == "help" }

func (o *engineOptions) list(w io.Writer) error {
	layouts, err := o.layouts()
	if err != nil {
		return err
	}
	for _, l := range layouts {
		r := l.Row()
		if _, err := fmt.Fprintf(w, "%-28s %s; order %s%s\n", r.Key, r.Name, r.Order, pairsOf(r)); err != nil {
			return err
		}
	}
	_, err = fmt.Fprintln(w, "\nNumbering and order vary by maker: go by the emission label or the service information.")
	return err
}

func pairsOf(r engine.Row) string {
	if r.Pairs == "" {
		return ""
	}
	return "; may share a coil: " + r.Pairs
}

// layouts is the built-in table and the user's own.
func (o *engineOptions) layouts() ([]engine.Layout, error) {
	all := engine.Layouts()
	if o.file == "" {
		return all, nil
	}
	file, err := os.Open(o.file)
	if err != nil {
		return nil, usagef("cannot read the engine table: %w; check what --engines names", err)
	}
	defer file.Close()
	own, _, err := engine.Load(file)
	if err != nil {
		return nil, usagef("%s: %w", o.file, err)
	}
	return append(own, all...), nil
}

// config is the tally's configuration that the options ask for; what they leave open stays as it is known.
func (o *engineOptions) config(cfg misfire.Config) (misfire.Config, error) {
	layouts, err := o.layouts()
	if err != nil {
		return cfg, err
	}
	if o.gearbox != "" {
		if cfg.Gearbox, err = gear.ParseBox(o.gearbox); err != nil {
			return cfg, usageError{err}
		}
	}
	if o.key != "" {
		if cfg.Engine, err = layoutNamed(layouts, o.key); err != nil {
			return cfg, usagef("%w; 'stumble watch --engine help' lists the layouts", err)
		}
	}
	switch {
	case o.cylinderMap == "firing-order":
		cfg.Map, err = engine.FromFiringOrder(cfg.Engine)
	case o.cylinderMap != "":
		cfg.Map, err = engine.ParseMap(o.cylinderMap, cfg.Engine.Cylinders)
	}
	if err != nil {
		return cfg, usageError{err}
	}
	return cfg, nil
}

func layoutNamed(layouts []engine.Layout, key string) (engine.Layout, error) {
	var n int
	if _, err := fmt.Sscanf(key, "%d", &n); err == nil && fmt.Sprint(n) == key {
		return engine.Plain(n)
	}
	return engine.FindIn(layouts, key)
}

// jsonLines prints one object a second of the drive.
func (a *app) jsonLines(d *drive) error {
	d.Notify = func(n job.Notice) error {
		if text := d.words(n); text != "" {
			return wire.WriteLine(a.out, wire.NewNotice(n.At, text))
		}
		return nil
	}
	d.Marked = func(m job.Mark) error { return wire.WriteLine(a.out, wire.NewMark(viewMark(m), d.Began())) }
	return d.Run(a.ctx, time.Second, d.showing(func(s *views.State) error { return wire.WriteLine(a.out, wire.NewSample(s)) }))
}

// stepLineEvery is how much of a guided drive one line stands for: what is to be read aloud must not drown in them.
const stepLineEvery = 5 * time.Second

// plainLines prints one line a second of the drive.
func (a *app) plainLines(d *drive) error {
	d.Notify = func(n job.Notice) error {
		_, err := fmt.Fprintln(a.out, d.words(n))
		return err
	}
	every := time.Second
	if d.guide != nil {
		every = stepLineEvery
	}
	return d.Run(a.ctx, every, d.showing(func(s *views.State) error {
		_, err := fmt.Fprintln(a.out, views.PlainLine(s))
		return err
	}))
}
