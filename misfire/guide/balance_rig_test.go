package guide

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/obd"
)

// engine is an idle with a wander that remembers, and an idle control that fights what disturbs it: first-order lags, the
// plainest model there is. It has no part in the simulated car's code.
type engine struct {
	rng     *rand.Rand
	idle    float64
	sigma   float64   // of the wander, rpm
	memory  float64   // of the wander, seconds
	pulls   []float64 // what each cylinder's cut takes away, rpm
	off     int       // cylinder that is cut; 0: none
	hunt    float64
	sag     float64
	control float64
}

func newEngine(seed uint64, pulls ...float64) *engine {
	return &engine{rng: rand.New(rand.NewPCG(seed, 7)), idle: 740, sigma: 6, memory: 1.5, pulls: pulls}
}

// step lives through some seconds.
func (e *engine) step(dt float64) float64 {
	keep := math.Exp(-dt / e.memory)
	e.hunt = e.hunt*keep + e.sigma*math.Sqrt(1-keep*keep)*e.rng.NormFloat64()
	want := 0.0
	if e.off > 0 {
		want = -e.pulls[e.off-1]
	}
	e.sag += (want - e.sag) * dt / 0.4
	e.control += (e.sag - e.control) * dt / 3
	return e.idle + e.hunt + e.sag - e.control
}

// rig runs a test on such an engine; hands do what is asked for after a while, and say so.
type cutRig struct {
	t      testing.TB
	engine *engine
	runner *BalanceTest
	now    time.Time
	every  time.Duration // between readings of the speed
	sum    misfire.Summary
	told   []Event

	slow    time.Duration // until the hands act
	presses bool          // they press Enter too
	due     time.Time
	act     func()
	looks   time.Time // when the test is looked after next
}

func newCutRig(t testing.TB, e *engine, change ...func(*BalanceConfig)) *cutRig {
	t.Helper()
	cfg := BalanceConfig{}
	for i := range e.pulls {
		cfg.Cylinders = append(cfg.Cylinders, i+1)
	}
	for _, c := range change {
		c(&cfg)
	}
	r := &cutRig{t: t, engine: e, now: morning(), every: 40 * time.Millisecond, slow: 1500 * time.Millisecond, presses: true}
	r.runner = NewBalanceTest(cfg, func(ev Event) {
		r.told = append(r.told, ev)
		r.obey(ev)
	})
	r.sum.Live = misfire.Live{Running: true, RPM: 740, Speed: 0, Coolant: 90, Gear: gear.Call{State: gear.ParkNeutral}}
	return r
}

// obey has the hands do what an event asks for.
func (r *cutRig) obey(e Event) {
	if e.Kind != Asked {
		return
	}
	switch e.Ask {
	case AskUnplug:
		r.later(func() { r.engine.off = e.Cylinder })
	case AskPlugIn:
		r.later(func() { r.engine.off = 0 })
	}
}

func (r *cutRig) later(do func()) { r.due, r.act = r.now.Add(r.slow), do }

// module is the engine's.
func module() obd.Module { return obd.Module{ID: 0x7E8, Bits: 11} }

func speedOf(v float64) obd.Reading {
	return obd.Reading{Module: module(), Service: obd.LiveData, ID: obd.PIDRPM, Value: v}
}

// tick is one reading of the engine's speed.
func (r *cutRig) tick() {
	r.now = r.now.Add(r.every)
	if r.act != nil && !r.now.Before(r.due) {
		do := r.act
		r.act = nil
		do()
		if r.presses {
			r.later(func() { r.runner.Confirm(r.now) })
			r.due = r.now.Add(400 * time.Millisecond)
			r.presses = false
			defer func() { r.presses = true }()
		}
	}
	v := math.Round(r.engine.step(r.every.Seconds())*4) / 4 // PID 0C has quarters
	r.runner.Add(&obd.Sample{Sent: r.now, Received: r.now, Readings: []obd.Reading{speedOf(v)}})
	if r.now.Before(r.looks) {
		return
	}
	r.looks = r.now.Add(200 * time.Millisecond)
	s := r.sum
	r.runner.Advance(r.now, &s)
}

// look lives on until the test was looked after once more.
func (r *cutRig) look() {
	for due := r.looks; r.looks.Equal(due); {
		r.tick()
	}
}

// run runs the test to its end, at most an hour.
func (r *cutRig) run() BalanceResult {
	r.t.Helper()
	r.until(func() bool { return r.runner.Over() })
	return r.runner.Result()
}

func (r *cutRig) until(done func() bool) {
	r.t.Helper()
	for began := r.now; !done(); r.tick() {
		require.Less(r.t, r.now.Sub(began), time.Hour, "%v", r.last())
	}
}

// ask runs until something is asked for.
func (r *cutRig) ask(a Ask) {
	r.t.Helper()
	r.until(func() bool { return r.runner.ask == a })
}

func (r *cutRig) last() Event {
	if len(r.told) == 0 {
		return Event{}
	}
	return r.told[len(r.told)-1]
}

// of are the events of a kind.
func (r *cutRig) of(k Kind) (some []Event) {
	for _, e := range r.told {
		if e.Kind == k {
			some = append(some, e)
		}
	}
	return some
}
