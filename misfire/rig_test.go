package misfire_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/obd"
	"stumble/obd/sim/car"
	"stumble/obd/sim/simtest"
)

// epoch is when every drive of these tests begins.
var epoch = time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)

// trip is one simulated drive with what is known of it.
type trip struct {
	summary *misfire.Summary
	truth   car.Truth
}

// pace is how a rig asks the car.
type pace struct {
	every time.Duration // from one request to the next
	takes time.Duration // from request to answer
}

// usual is a good adapter on CAN; slow one that manages five requests a second.
var (
	usual = pace{every: 60 * time.Millisecond, takes: 20 * time.Millisecond}
	slow  = pace{every: 200 * time.Millisecond, takes: 90 * time.Millisecond}
)

// rig asks a simulated car directly, without adapter and dialogue, in much the order that package vehicle does:
// engine values, and after every second of them a counter, the gear, the lamp or a slow value.
type rig struct {
	car    *car.Car
	pace   pace
	tally  *misfire.Tally
	record []obd.Sample // of every sample, when kept
	keep   bool

	asker  simtest.Asker
	round  simtest.Round
	helper simtest.Helper
	marks  bool // a helper marks the gear a second after the lever was moved
}

// newRig plugs into a scenario's car.
func newRig(t testing.TB, scenario string, seed uint64) *rig {
	t.Helper()
	c, err := car.NewScenario(scenario, seed, epoch)
	require.NoError(t, err)
	r := &rig{car: c, pace: usual, marks: true, asker: simtest.Asker{Car: c}}
	r.round = simtest.Round{Cylinders: len(c.Vehicle().FiringOrder), Slow: []byte{obd.PIDCoolant}, Lamp: true}
	layout, err := engine.Plain(r.round.Cylinders)
	require.NoError(t, err)
	r.tally = misfire.NewTally(misfire.Config{Engine: layout})
	return r
}

// run polls from one time of the drive to another; looks, when given, are called after each sample.
func (r *rig) run(from, to time.Duration, looks ...func(at time.Time)) {
	for at := from; at < to; at += r.pace.every {
		sent := epoch.Add(at)
		r.ask(sent)
		r.help(sent)
		for _, look := range looks {
			look(sent)
		}
	}
}

// finish ends a drive; cells asks for the Summary with its Cells.
func (r *rig) finish(at time.Duration, cells bool) trip {
	r.tally.Finish()
	r.car.State(epoch.Add(at))
	d := trip{truth: r.car.Truth()}
	if cells {
		d.summary = r.tally.Summary()
	} else {
		d.summary = r.tally.Glance()
	}
	return d
}

func (r *rig) ask(sent time.Time) {
	r.asker.Takes = r.pace.takes
	sample := r.asker.Ask(sent, r.round.Next())
	if sample == nil {
		return
	}
	if r.keep {
		r.record = append(r.record, sample.Clone())
	}
	r.tally.Add(sample)
}

// help marks the gear by hand.
func (r *rig) help(at time.Time) {
	if !r.marks {
		return
	}
	if g, marks := r.helper.Look(r.car, at); marks {
		r.tally.Mark(at, inGear(g))
	}
}

// inGear is the car's gear state as the tally names it.
func inGear(g car.GearState) gear.State {
	return [...]gear.State{car.ParkNeutral: gear.ParkNeutral, car.DriveAtRest: gear.Drive, car.Reverse: gear.Reverse, car.Moving: gear.Moving}[g]
}
