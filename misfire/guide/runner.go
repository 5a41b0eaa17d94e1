package guide

import (
	"time"

	"stumble/misfire"
	"stumble/obd"
)

const (
	hole      = 2 * time.Second  // a longer time without news counts for nothing
	remindGap = 20 * time.Second // what is not done yet is asked for again so long after
	idle      = 750.0            // rpm, as is usual
)

// Runner leads through the plan of one test. It is for one goroutine.
type Runner struct {
	plan plan
	tell func(Event)

	ask    Ask
	since  time.Time // of the ask
	last   time.Time
	spoken time.Time        // when something was last said
	now    *misfire.Summary // as last given
	wrong  Saying           // what is wrong now
	over   bool
}

// plan is what a Runner leads through.
type plan interface {
	advance(past time.Duration) // a moment has passed; past is 0 where nobody knows what happened in it
	sample(*obd.Sample)
	window(*misfire.Window)
	asked() Saying // what is asked now
	place() Place
	status(*Status)
	begun() bool // there is something to steer
	skip()
	repeat()
	stop() Saying // takes note that the test ends, and returns how
	confirm(at time.Time)
	asleep(at time.Time)
	lost(at time.Time)
}

// Over reports whether the test has ended.
func (r *Runner) Over() bool { return r.over }

// Advance takes the time and what the tally has seen by then. Call it a few times a second, in order of time.
func (r *Runner) Advance(now time.Time, s *misfire.Summary) {
	if r.over {
		return
	}
	past := now.Sub(r.last)
	if r.last.IsZero() || past > hole || past < 0 {
		past = 0
		if r.ask == AskKeyOn {
			r.since = now // it has just woken: what the tally says of it may be of before
		}
	}
	r.last, r.now = now, s
	r.plan.advance(past)
}

// Add takes the next sample.
func (r *Runner) Add(s *obd.Sample) { r.plan.sample(s) }

// AddWindow takes a window of the car's counters, which may come long after it.
func (r *Runner) AddWindow(w *misfire.Window) { r.plan.window(w) }

// Confirm says that what was asked for has been done.
func (r *Runner) Confirm(at time.Time) {
	if !r.over {
		r.plan.confirm(at)
	}
}

// Skip leaves the present step or cylinder out.
func (r *Runner) Skip(at time.Time) {
	if r.steered(at) {
		r.plan.skip()
	}
}

// Repeat begins the present step again, or the one before it when the present one has hardly begun; the last measured
// cylinder is cut again in place of what it showed.
func (r *Runner) Repeat(at time.Time) {
	if r.steered(at) {
		r.plan.repeat()
	}
}

// steered reports whether there is something to steer.
func (r *Runner) steered(at time.Time) bool {
	if r.over || !r.plan.begun() {
		return false
	}
	r.last = at
	return true
}

// Stop ends the test.
func (r *Runner) Stop(at time.Time) {
	if !r.over {
		r.last = at
		r.end(r.plan.stop())
	}
}

// Enough ends the test because no more running is wanted.
func (r *Runner) Enough(at time.Time) {
	if !r.over {
		r.last = at
		r.plan.stop()
		r.end(told(NothingWanted))
	}
}

// Asleep says that the car has stopped answering: its ignition is off.
func (r *Runner) Asleep(at time.Time) {
	if !r.over {
		r.plan.asleep(at)
	}
}

// Lost says that nothing is heard of the car any more.
func (r *Runner) Lost(at time.Time) {
	if !r.over {
		r.plan.lost(at)
	}
}

// Status returns what is asked now; nil before the first Advance and after the end.
func (r *Runner) Status() *Status {
	if r.over || r.ask == AskNothing {
		return nil
	}
	s := &Status{Place: r.plan.place(), Ask: r.ask, Say: r.plan.asked()}
	r.plan.status(s)
	return s
}

// require asks for something and says so.
func (r *Runner) require(ask Ask, kind Kind) {
	r.ask, r.since = ask, r.last
	r.say(kind, r.plan.asked())
}

// waited is how long ago the present ask was made.
func (r *Runner) waited() time.Duration { return r.last.Sub(r.since) }

// remind asks again for what was not done yet.
func (r *Runner) remind() {
	if r.last.Sub(r.spoken) >= remindGap {
		r.say(Asked, r.plan.asked())
	}
}

func (r *Runner) say(kind Kind, what Saying) {
	r.spoken = r.last
	r.tell(Event{Place: r.plan.place(), At: r.last, Kind: kind, Ask: r.ask, Say: what})
}

func (r *Runner) end(how Saying) {
	r.over, r.ask = true, AskNothing
	r.say(Over, how)
}
