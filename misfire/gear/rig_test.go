package gear_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stumble/misfire/gear"
	"stumble/obd"
)

// The rig is a small idle model of this package's own, apart from the simulated car: load and speed follow
// their targets within half a second, taking up a load costs a dip that dies away in 0.7 s. Figures are common
// practice, no source.
type rig struct {
	t     *testing.T
	rng   *rand.Rand
	judge *gear.Judge
	start time.Time
	at    time.Time
	every time.Duration // between samples

	idle, idleLoad     float64 // in park
	gearLoad, gearDrop float64 // what the box adds to load and takes from idle speed
	dipDepth           float64
	loadNoise, rpmWalk float64
	missEvery          float64 // seconds between misses, 0 for none
	twoModules         bool
	reports            bool

	running  bool
	inGear   bool
	extra    float64 // load of accessories
	extraRPM float64 // what idle control adds for them
	throttle float64 // points above rest
	speed    float64 // km/h
	ratio    float64 // rpm per km/h while moving

	load, rpm, dip, hunt float64

	rests []truth
	calls []gear.Call // each changed call
	last  gear.Call
}

func newRig(t *testing.T, seed uint64) *rig {
	start := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	return &rig{
		t: t, rng: rand.New(rand.NewPCG(seed, 1)), judge: gear.NewJudge(), start: start, at: start,
		every: 100 * time.Millisecond,
		idle:  750, idleLoad: 22, gearLoad: 9, gearDrop: 60, dipDepth: 70, loadNoise: 0.5, rpmWalk: 6,
		ratio: 40,
	}
}

// run lets time pass.
func (r *rig) run(d time.Duration) {
	const dt = 0.02
	next := r.at.Add(r.every)
	for end := r.at.Add(d); r.at.Before(end); {
		r.at = r.at.Add(20 * time.Millisecond)
		r.step(dt)
		if !r.at.Before(next) {
			next = next.Add(r.every)
			r.sample(r.every)
		}
	}
}

func (r *rig) step(dt float64) {
	if !r.running {
		r.load, r.rpm, r.dip = 0, 0, 0
		return
	}
	load, rpm := r.idleLoad+r.extra+r.throttle, r.idle+r.extraRPM+120*r.throttle
	if r.inGear {
		load, rpm = load+r.gearLoad, rpm-r.gearDrop
	}
	if r.speed > 3 {
		rpm = max(rpm, r.speed*r.ratio)
	}
	r.load += (load - r.load) * dt / 0.35
	r.rpm += (rpm - r.rpm) * dt / 0.45
	r.dip -= r.dip * dt / 0.7
	r.hunt += -r.hunt*dt/1.5 + r.rpmWalk*math.Sqrt(2*dt/1.5)*r.rng.NormFloat64()
	if r.missEvery > 0 && r.rng.Float64() < dt/r.missEvery {
		r.dip -= 25
	}
}

// sample hands the judge what the car says now, in the resolution of SAE J1979.
func (r *rig) sample(spent time.Duration) {
	s := obd.Sample{Sent: r.at.Add(-30 * time.Millisecond), Received: r.at}
	add := func(pid, part byte, v, resolution float64) {
		m := obd.Module{ID: 0x7E8, Bits: 11}
		s.Readings = append(s.Readings, obd.Reading{Module: m, Service: obd.LiveData, ID: pid, Part: part, Value: math.Round(v/resolution) * resolution})
		if r.twoModules && pid == obd.PIDRPM {
			s.Readings = append(s.Readings, obd.Reading{Module: obd.Module{ID: 0x7E9, Bits: 11}, Service: obd.LiveData, ID: pid, Value: v - 40})
		}
	}
	hunt := r.hunt
	if !r.running {
		hunt = 0
	}
	add(obd.PIDRPM, 0, max(0, r.rpm+r.dip+hunt), 0.25)
	add(obd.PIDLoad, 0, max(0, r.load+r.loadNoise*r.rng.NormFloat64()), 100.0/255)
	add(obd.PIDSpeed, 0, r.speed, 1)
	add(obd.PIDThrottle, 0, 14+r.throttle, 100.0/255)
	if r.reports {
		in := 0.0
		if r.inGear {
			in = 1
		}
		add(obd.PIDAuxiliary, obd.PartDriveSelector, in, 1)
	}
	call, changed := r.judge.Add(&s)
	require.Equal(r.t, call, r.judge.Call())
	require.False(r.t, call.Since.After(s.Received))
	if changed {
		r.calls = append(r.calls, call)
	}
	r.last = call
	if !r.running || r.speed > 0 {
		return
	}
	r.rests = append(r.rests, truth{r.at, r.inGear, spent})
}

// truth is whether the lever was in gear for a moment at rest.
type truth struct {
	at     time.Time
	inGear bool
	spent  time.Duration
}

// smoothed is how much of the time at rest is judged right and wrong in the end, of all.
func (r *rig) smoothed() (right, wrong float64) {
	spans, all := r.judge.Spans(), 0.0
	for _, want := range r.rests {
		for len(spans) > 1 && !spans[1].From.After(want.at) {
			spans = spans[1:]
		}
		all += want.spent.Seconds()
		switch s := &spans[0]; {
		case s.Call.State == gear.Unknown || s.Call.State == gear.Moving || s.Stir:
		case s.Call.State.Loaded() == want.inGear:
			right += want.spent.Seconds()
		default:
			wrong += want.spent.Seconds()
		}
	}
	return right / all, wrong / all
}

// ignite starts the engine after a second with the key on.
func (r *rig) ignite() {
	r.run(time.Second)
	r.running, r.rpm, r.load = true, r.idle+300, r.idleLoad+8
}

func (r *rig) shift(in bool) {
	switch {
	case in && !r.inGear:
		r.dip -= r.dipDepth
	case !in && r.inGear:
		r.dip += r.dipDepth / 2 // idle control is slow to take the air back
	}
	r.inGear = in
}

// accessory switches a load on (or off, negative): so many load points, a dip or flare, a change of idle speed.
func (r *rig) accessory(load, dip, rpm float64) {
	r.extra += load
	r.extraRPM += rpm
	r.dip -= math.Copysign(dip, load)
}

// drive goes to a speed, stays and comes back to rest, all in gear.
func (r *rig) drive(speed float64, stay time.Duration) {
	for r.speed < speed {
		r.throttle = 12
		r.speed += 1
		r.run(200 * time.Millisecond)
	}
	r.throttle = 5
	r.run(stay)
	r.throttle = 0
	for r.speed > 0 {
		r.speed = max(0, r.speed-2)
		r.run(200 * time.Millisecond)
	}
}
