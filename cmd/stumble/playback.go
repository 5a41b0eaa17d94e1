package main

import (
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"stumble/misfire"
	"stumble/misfire/job"
	"stumble/misfire/journal"
)

const playbackAbout = `Show a stored drive as it was seen live, at any speed. It is counted anew by the same rules, so its summary is that of
the drive. 'stumble jobs' lists the jobs, 'stumble jobs show JOB' their drives.

The engine's layout and the map are those of the drive unless others are given. Keys on the screen: space pauses, left and right
go 10 s back or on, < and > a minute, - and + slower or faster, u the unit, 1-9 bell, ? help, q quit; marks and notes are those of the drive, and none are added.`

// playbackOptions is what playback was asked for.
type playbackOptions struct {
	watchOptions // without a car: where, length and record stay empty
	journal      journalOption
	pace         speed
	from         duration
	anew         anewOption
}

// playbackCommand is the command that shows a stored drive.
func playbackCommand(a *app) *cobra.Command {
	var o playbackOptions
	c := &cobra.Command{
		Use:     "playback DRIVE",
		Short:   "show a stored drive at any speed",
		Long:    playbackAbout,
		Example: "stumble playback 7 --speed 4 --from 2m",
		Args:    atMost(1),
		RunE:    func(_ *cobra.Command, args []string) error { return playback(a, &o, args) },
	}
	o.flags(c.Flags())
	return c
}

// playback shows a stored drive.
func playback(a *app, o *playbackOptions, rest []string) error {
	switch {
	case o.plain && o.asJSON:
		return usagef("--plain and --json exclude each other: choose one")
	case o.engine.wantsList():
		return o.engine.list(a.out)
	case len(rest) == 0:
		return usagef("say which drive by its number; 'stumble jobs' lists the jobs, 'stumble jobs show JOB' their drives")
	}
	id, err := numberOf("drive", rest[0])
	if err != nil {
		return err
	}
	lines := o.plain || o.asJSON
	switch {
	case !lines && o.pace.most:
		return usagef("the screen cannot show a drive at max; give a number, or --plain")
	case !lines:
		if err := a.terminal.Check(); err != nil {
			return err
		}
	case !o.pace.wasSaid:
		o.pace.most = true
	}
	return a.withJournal(&o.journal, func(j *journal.Journal) error {
		d, err := a.player(j, id, o, !lines)
		if err != nil {
			return err
		}
		return a.show(d, &o.watchOptions)
	})
}

func (o *playbackOptions) flags(f *pflag.FlagSet) {
	o.journal.flags(f)
	o.engine.flags(f)
	f.Var(&o.pace, "speed", "how fast: a `NUMBER` of times (1), or max, which is what --plain and --json do when nothing is said")
	o.anew.flags(f)
	f.Var(&o.from, "from", "begin at this `TIME` of the drive, such as 2m; what was before is counted, but not shown")
	f.BoolVar(&o.plain, "plain", false, "print lines instead of the screen")
	f.BoolVar(&o.asJSON, "json", false, "print JSON: a line a second and a summary at the end")
}

// player makes ready to play a drive. With hold the last of it stays until the user leaves.
func (a *app) player(j *journal.Journal, id int64, o *playbackOptions, hold bool) (*drive, error) {
	stored, err := j.Drive(id)
	if length := stored.Ended.Sub(stored.Started); err == nil && stored.Samples > 0 && o.from.Duration >= length && o.from.Duration > 0 {
		return nil, usagef("drive %d lasts %v: give a --from before its end", id, length.Round(time.Second))
	}
	pace := job.Pace{Times: o.pace.times(), From: o.from.Duration, Hold: hold}
	if !o.pace.most {
		pace.Clock = a.clock
	}
	d := &drive{}
	d.Drive, d.playback, err = job.Play(j, id, o.engine.counting(o.anew), pace)
	return d, err
}

// counting is how stored drives are counted by the options: by what they were counted by, but for what is given anew.
// Another layout makes the map of a drive void.
func (o *engineOptions) counting(anew anewOption) job.Options {
	return job.Options{Anew: bool(anew), Engine: func(known misfire.Config) (misfire.Config, error) {
		if o.key != "" {
			known = misfire.Config{}
		}
		return o.config(known)
	}}
}
