package idle_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/gear"
	"stumble/misfire/idle"
	"stumble/obd"
)

// bench is a hand-made idle: speed and throttle held, rpm as told.
type bench struct {
	index    idle.Index
	at       time.Time
	every    time.Duration
	rng      *rand.Rand
	noise    float64 // rpm
	throttle float64
	speed    float64
	hunt     float64 // rpm, slow
}

func newBench() *bench {
	return &bench{
		at:    time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC),
		every: 100 * time.Millisecond, rng: rand.New(rand.NewPCG(4, 4)), noise: 2, throttle: 14,
	}
}

// run idles for a while with rpm as given, and dips every so often of such a depth that die away in 0.3 s.
func (b *bench) run(d time.Duration, st gear.State, rpm, depth float64, dipEvery time.Duration) (dips int) {
	next, dip := b.at.Add(dipEvery), 0.0
	for end := b.at.Add(d); b.at.Before(end); {
		b.at = b.at.Add(b.every)
		dip *= math.Exp(-b.every.Seconds() / 0.3)
		if dipEvery > 0 && !b.at.Before(next) {
			next = next.Add(dipEvery)
			dip = depth
			dips++
		}
		slow := b.hunt * math.Sin(2*math.Pi*float64(b.at.UnixMilli())/7000)
		value := math.Round((rpm+slow+b.noise*b.rng.NormFloat64()-dip)*4) / 4
		b.index.Add(&obd.Sample{Sent: b.at, Received: b.at, Readings: []obd.Reading{
			{Service: obd.LiveData, ID: obd.PIDSpeed, Value: b.speed},
			{Service: obd.LiveData, ID: obd.PIDThrottle, Value: b.throttle},
			{Service: obd.LiveData, ID: obd.PIDRPM, Value: value},
		}}, st)
	}
	return dips
}

func TestAnEvenIdleHasNone(t *testing.T) {
	b := newBench()
	b.run(10*time.Minute, gear.ParkNeutral, 750, 0, 0)
	dips, minutes, low, high := b.index.PerMinute(gear.ParkNeutral)
	assert.Zero(t, dips)
	assert.InDelta(t, 10, minutes, 0.3)
	assert.Zero(t, low)
	assert.InDelta(t, 3.688879454/minutes, high, 1e-6, "Garwood: no event, upper limit 3.689 (R poisson.test)")
}

func TestDipsAreCountedOnceEach(t *testing.T) {
	for name, every := range map[string]time.Duration{"fast": 40 * time.Millisecond, "usual": 100 * time.Millisecond} {
		t.Run(name, func(t *testing.T) {
			b := newBench()
			b.every = every
			b.run(10*time.Second, gear.Drive, 700, 0, 0)
			want := b.run(5*time.Minute, gear.Drive, 700, 30, 4*time.Second)
			dips, minutes, low, high := b.index.PerMinute(gear.Drive)
			assert.InDelta(t, want, dips, 2)
			rate := float64(dips) / minutes
			assert.Less(t, low, rate)
			assert.Greater(t, high, rate)
		})
	}
}

func TestStatesAreKeptApart(t *testing.T) {
	b := newBench()
	b.run(3*time.Minute, gear.ParkNeutral, 750, 30, 20*time.Second)
	b.run(3*time.Minute, gear.Drive, 690, 30, 4*time.Second)
	park, parkMinutes, _, parkHigh := b.index.PerMinute(gear.ParkNeutral)
	drive, driveMinutes, driveLow, _ := b.index.PerMinute(gear.Drive)
	assert.InDelta(t, 3, parkMinutes, 0.25)
	assert.InDelta(t, 3, driveMinutes, 0.25)
	assert.Greater(t, drive, 3*park)
	assert.Greater(t, driveLow, parkHigh)
}

func TestWhatIsNoDip(t *testing.T) {
	for name, change := range map[string]func(b *bench) float64{
		"shallow":          func(*bench) float64 { return 5 },
		"hunting idle":     func(b *bench) float64 { b.hunt = 25; return 0 },
		"coarse readings":  func(b *bench) float64 { b.every, b.hunt = 400*time.Millisecond, 15; return 0 },
		"very rough idle":  func(b *bench) float64 { b.noise = 12; return 20 },
		"rises, not falls": func(*bench) float64 { return -30 },
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench()
			depth := change(b)
			b.run(5*time.Minute, gear.Drive, 700, depth, 4*time.Second)
			dips, minutes, _, _ := b.index.PerMinute(gear.Drive)
			assert.LessOrEqual(t, dips, 2)
			assert.Greater(t, minutes, 1.0)
		})
	}
}

func TestWhatIsNoSteadyIdle(t *testing.T) {
	for name, story := range map[string]func(b *bench){
		"moving":          func(b *bench) { b.speed = 30; b.run(time.Minute, gear.Moving, 900, 30, 4*time.Second) },
		"creeping":        func(b *bench) { b.speed = 2; b.run(time.Minute, gear.Drive, 700, 30, 4*time.Second) },
		"state not known": func(b *bench) { b.run(time.Minute, gear.Unknown, 700, 30, 4*time.Second) },
		"raised a little": func(b *bench) { b.run(time.Minute, gear.Drive, 1250, 30, 0) }, // from 1,200 rpm on: common practice, no source
		"raised":          func(b *bench) { b.run(time.Minute, gear.Drive, 2500, 30, 4*time.Second) },
		"engine off":      func(b *bench) { b.run(time.Minute, gear.Drive, 0, 0, 0) },
		"asked too seldom": func(b *bench) {
			b.every = 1500 * time.Millisecond
			b.run(time.Minute, gear.Drive, 700, 30, 4*time.Second)
		},
		"falling": func(b *bench) {
			for rpm := 1180.0; rpm > 700; rpm -= 4 {
				b.run(100*time.Millisecond, gear.Drive, rpm, 0, 0)
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench()
			story(b)
			dips, minutes, low, high := b.index.PerMinute(gear.Drive)
			assert.Zero(t, dips)
			assert.Zero(t, minutes)
			assert.Zero(t, low)
			assert.True(t, math.IsInf(high, 1))
		})
	}
}

// A warm idle is up to 1,200 rpm fast (common practice, no source).
func TestAFastIdleIsOne(t *testing.T) {
	b := newBench()
	b.run(time.Minute, gear.ParkNeutral, 1150, 0, 0)
	_, minutes, _, _ := b.index.PerMinute(gear.ParkNeutral)
	assert.Greater(t, minutes, 0.8)
}

func TestThrottleMovesAreLeftOut(t *testing.T) {
	b := newBench()
	for i := range 120 {
		b.throttle = 14 + 3*float64(i%2)
		b.run(time.Second, gear.Drive, 700, 30, 500*time.Millisecond)
	}
	dips, _, _, _ := b.index.PerMinute(gear.Drive)
	assert.Zero(t, dips)
}

// Turning the lever makes the idle dip; the seconds after it are left out.
func TestTheLeverItselfIsNoDip(t *testing.T) {
	b := newBench()
	for range 10 {
		b.run(20*time.Second, gear.ParkNeutral, 750, 0, 0)
		b.run(20*time.Second, gear.Drive, 690, 60, 19*time.Second+900*time.Millisecond)
	}
	dips, minutes, _, _ := b.index.PerMinute(gear.Drive)
	assert.Zero(t, dips)
	assert.Greater(t, minutes, 2.0)
}

func TestTheFirstModuleIsListenedTo(t *testing.T) {
	var x idle.Index
	at := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	for i := range 3000 {
		at = at.Add(100 * time.Millisecond)
		x.Add(&obd.Sample{Received: at, Readings: []obd.Reading{
			{Service: obd.LiveData, ID: obd.PIDSpeed},
			{Service: obd.LiveData, ID: obd.PIDRPM, Module: obd.Module{ID: 0x7E8, Bits: 11}, Value: 700 + float64(i%3)},
			{Service: obd.LiveData, ID: obd.PIDRPM, Module: obd.Module{ID: 0x7E9, Bits: 11}, Value: 640},
		}}, gear.Drive)
	}
	dips, minutes, _, _ := x.PerMinute(gear.Drive)
	assert.Zero(t, dips)
	assert.Greater(t, minutes, 4.5)
}

func TestNoStateNoLimits(t *testing.T) {
	var x idle.Index
	for _, st := range []gear.State{gear.Moving, gear.State(200)} {
		dips, minutes, low, high := x.PerMinute(st)
		assert.Zero(t, dips)
		assert.Zero(t, minutes)
		assert.Zero(t, low)
		assert.True(t, math.IsInf(high, 1))
	}
}

func TestAddDoesNotAllocate(t *testing.T) {
	var x idle.Index
	at := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	s := obd.Sample{Readings: []obd.Reading{
		{Service: obd.LiveData, ID: obd.PIDSpeed}, {Service: obd.LiveData, ID: obd.PIDRPM, Value: 700},
	}}
	require.Zero(t, testing.AllocsPerRun(2000, func() {
		at = at.Add(50 * time.Millisecond)
		s.Received = at
		s.Readings[1].Value = 700 + float64(at.UnixMilli()%11)
		x.Add(&s, gear.Drive)
	}))
}
