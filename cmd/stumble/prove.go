package main

import (
	"fmt"

	"stumble/misfire/guide"
	"stumble/misfire/job"
	"stumble/misfire/proof"
	"stumble/views/say"
	"stumble/views/wire"
)

// wanted is a job's comparison and the steps that its proof still wants. No steps, without an error, means that there is
// nothing to run.
func (a *app) wanted(o *loadtestOptions, s *job.Saver) (c *job.Comparison, plan []guide.Step, err error) {
	if c, err = a.comparedNow(o, s); err != nil {
		return nil, nil, err
	}
	switch {
	case c.Swap != nil:
		return nil, nil, fmt.Errorf("job %d wants no running: parts were exchanged last; 'stumble compare --job %d' tells how that came out", o.prove, o.prove)
	case c.Untold():
		return nil, nil, fmt.Errorf("job %d knows of no repair to prove: tell it with 'stumble repaired %d TEXT'", o.prove, o.prove)
	}
	switch c.Result.Outcome {
	case proof.Proven:
		fmt.Fprintf(a.err, "job %d is proven: nothing is left to run\n", o.prove)
		return c, nil, nil
	case proof.StillMissing, proof.Moved:
		return nil, nil, fmt.Errorf("job %d still misses after the repair, so no running proves it: 'stumble causes %d' ranks what to test", o.prove, o.prove)
	}
	plan, err = c.Wanted()
	if err == nil && len(plan) == 0 {
		err = fmt.Errorf("no running is wanted for job %d: 'stumble compare --job %d' tells what its proof waits for", o.prove, o.prove)
	}
	return c, plan, err
}

// filling is how a proof is told while the test fills it: the screen has it beside the step; lines tell it when it has come
// further by so much that it is worth saying, and when it is settled.
func (a *app) filling(g *stepping, o *watchOptions) func(*proof.Comparison) error {
	const worth = 0.1
	told := -1.0
	return func(c *proof.Comparison) error {
		g.proof = c
		filled := 0.0
		for i := range c.Cylinders {
			filled += c.Cylinders[i].Filled()
		}
		if filled < told+worth && !c.Settled() {
			return nil
		}
		told = filled
		switch {
		case o.asJSON:
			return wire.WriteLine(a.out, wire.NewFilling(c, g.drive.Now()))
		case o.plain:
			writeWrapped(a.out, "", say.English().Filling(c))
		}
		return nil
	}
}

// checkProve finds options that --prove excludes, and has the drive saved in the job.
func (o *loadtestOptions) checkProve() error {
	switch {
	case o.prove == 0:
		return nil
	case o.prove < 0:
		return usagef("\"%d\" is no number of a job; 'stumble jobs' lists them", o.prove)
	case o.order != "":
		return usagef("--prove chooses the steps by itself: leave it or --steps out")
	case o.record.off || o.record.another || o.record.job != 0 && o.record.job != o.prove:
		return usagef("--prove saves the drive in its job: leave --no-journal, --new-job and --job out")
	}
	o.record.job = o.prove
	return nil
}

// comparedNow compares a job's drives before and after its repair as they are now.
func (a *app) comparedNow(o *loadtestOptions, s *job.Saver) (*job.Comparison, error) {
	switch {
	case s == nil:
		return nil, usagef("--prove reads a job of the journal: name the journal's file with --journal")
	case s.Journal == nil:
		return nil, s.Why
	}
	file, err := job.Open(s.Journal, o.prove, o.engine.counting(false))
	if err != nil {
		return nil, err
	}
	return file.Compare(a.ctx, job.Question{})
}

// proved tells what the job's proof comes to with the drive that was just run.
func (a *app) proved(o *loadtestOptions, s *job.Saver) error {
	c, err := a.comparedNow(o, s)
	if err != nil {
		return err
	}
	shown := comparisonShown(c)
	sentence := wire.ComparisonSentence(shown)
	a.remember(s.Journal, c, sentence)
	if o.asJSON {
		return wire.WriteLine(a.out, wire.NewComparison(shown))
	}
	fmt.Fprintln(a.out)
	writeWrapped(a.out, "", sentence)
	return nil
}
