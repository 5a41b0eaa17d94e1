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

	cylinders int
	turn      int // requests so far
	others    int // of them, other than for engine values
	counts    int // of those, for a counter
	answers   []car.Answer
	sample    obd.Sample

	lever car.GearState
	since time.Time
	told  bool
	marks bool // a helper marks the gear a second after the lever was moved
}

// newRig plugs into a scenario's car.
func newRig(t testing.TB, scenario string, seed uint64) *rig {
	t.Helper()
	c, err := car.NewScenario(scenario, seed, epoch)
	require.NoError(t, err)
	r := &rig{car: c, pace: usual, cylinders: len(c.Vehicle().FiringOrder), marks: true}
	layout, err := engine.Plain(r.cylinders)
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

var (
	fastRequest = []byte{0x01, obd.PIDRPM, obd.PIDLoad, obd.PIDSpeed, obd.PIDThrottle, obd.PIDFuelSystem}
	slowRequest = []byte{0x01, obd.PIDCoolant}
	lampRequest = []byte{0x01, obd.PIDStatus}
	gearRequest = []byte{0x01, obd.PIDAuxiliary, obd.PIDGear}
)

// request is what to ask next.
func (r *rig) request() []byte {
	if r.turn++; r.turn%3 != 0 {
		return fastRequest
	}
	switch r.others++; {
	case r.others%10 == 1:
		return slowRequest
	case r.others%7 == 0:
		return lampRequest
	case r.others%4 == 0:
		return gearRequest
	}
	r.counts++
	return []byte{0x06, obd.MIDCylinder1 + byte(r.counts%r.cylinders)}
}

func (r *rig) ask(sent time.Time) {
	request := r.request()
	r.answers = r.car.Request(r.answers[:0], sent, 0, request)
	r.sample.Sent, r.sample.Received = sent, sent.Add(r.pace.takes)
	r.sample.Readings = r.sample.Readings[:0]
	for _, a := range r.answers {
		m := obd.Message{Module: obd.Module{ID: 0x7D8 + uint32(a.Module), Bits: 11}, Data: a.Data}
		decode := obd.AppendLive
		if request[0] == 0x06 {
			decode = obd.AppendCounts
		}
		if readings, err := decode(r.sample.Readings, m); err == nil {
			r.sample.Readings = readings
		}
	}
	if len(r.sample.Readings) == 0 {
		return
	}
	if r.keep {
		r.record = append(r.record, r.sample.Clone())
	}
	r.tally.Add(&r.sample)
}

// help marks the gear by hand.
func (r *rig) help(at time.Time) {
	if !r.marks {
		return
	}
	g := r.car.State(at).Gear
	if g != r.lever || r.since.IsZero() {
		r.lever, r.since, r.told = g, at, false
	}
	if !r.told && at.Sub(r.since) >= time.Second {
		r.tally.Mark(at, inGear(g))
		r.told = true
	}
}

// inGear is the car's gear state as the tally names it.
func inGear(g car.GearState) gear.State {
	return [...]gear.State{car.ParkNeutral: gear.ParkNeutral, car.DriveAtRest: gear.Drive, car.Reverse: gear.Reverse, car.Moving: gear.Moving}[g]
}
