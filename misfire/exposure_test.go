package misfire

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/gear"
	"stumble/misfire/track"
	"stumble/obd"
)

// speeds gives a tally engine speeds a time apart, from the engine's module.
func speeds(t *Tally, apart time.Duration, rpm ...float64) {
	for i, v := range rpm {
		t.Add(sampleAt(time.Duration(i)*apart, live(obd.PIDRPM, v)))
	}
}

func TestRevolutionsAreTheTrapezoidOfSpeed(t *testing.T) {
	tests := []struct {
		name  string
		apart time.Duration
		rpm   []float64
		revs  float64
	}{
		{"steady", time.Second, []float64{600, 600, 600}, 20},
		{"rising", time.Second, []float64{600, 1200}, 15}, // mean of 600 and 1200 rpm for a second
		{"up and down", 500 * time.Millisecond, []float64{600, 1800, 600}, 20},
		{"two seconds are bridged", 2 * time.Second, []float64{900, 900}, 30},
		{"a single reading is no running", time.Second, []float64{900}, 0},
		{"standing still", time.Second, []float64{0, 0, 0}, 0},
		{"a clock set back", -time.Second, []float64{900, 900, 900}, 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			tally := NewTally(Config{})
			speeds(tally, tt.apart, tt.rpm...)
			tally.Finish()
			assert.InDelta(t, tt.revs, tally.ledger.now.rev, 1e-9)
		})
	}
}

// A cylinder of a four-stroke fires rpm/2 times a minute (arithmetic); at 750 rpm 200 revolutions last 16 s.
func TestFiringsAMinute(t *testing.T) {
	for _, rpm := range []float64{500, 750, 2500, 6000} {
		m := newMill(t, 200, 0.05)
		m.rpm = rpm
		m.mark(gear.Drive)
		m.run(time.Minute)
		before := m.ended().Total[0].Firings
		m.run(8 * time.Minute)
		s := m.ended()
		assert.Equal(t, 200.0, s.Refresh.Revolutions, "%v rpm", rpm)
		assert.InDelta(t, 8*rpm/2, s.Total[0].Firings-before, 101, "%v rpm: all but for a window", rpm)
	}
}

func TestGapIsUnknownRunning(t *testing.T) {
	m := newMill(t, atOnce, 0.05)
	m.mark(gear.Drive)
	m.run(3 * time.Minute)
	before := m.ended()
	m.pass(2100 * time.Millisecond) // a tenth more than may be bridged
	m.run(30 * time.Second)
	s := m.ended()
	assert.Zero(t, before.Unknown)
	assert.InDelta(t, 2.1, s.Unknown.Running.Seconds(), 3, "the gap, and the rest of its window")
	assert.GreaterOrEqual(t, s.Unknown.Running.Seconds(), 2.1)
	assert.InDelta(t, 210, s.Running.Seconds(), 0.5)
}

func TestMissesOfAGapAreLaidToNoCondition(t *testing.T) {
	for name, first := range map[string]func(m *mill){"engine speed read first": func(*mill) {}, "a counter read first": (*mill).ask} {
		t.Run(name, func(t *testing.T) { missesOfAGap(t, first) })
	}
}

func missesOfAGap(t *testing.T, first func(m *mill)) {
	m := newMill(t, atOnce, 0.05)
	m.mark(gear.Drive)
	m.run(3 * time.Minute)
	before := m.ended()
	seen := m.counted[0]
	m.rates[0] = 0.2
	m.pass(time.Minute) // 375 firings of the cylinder
	gap := m.counted[0] - seen
	m.rates[0] = 0.05
	first(m)
	m.run(30 * time.Second)
	s := m.ended()
	require.Equal(t, RefreshAtOnce, s.Refresh.Kind)
	assert.InDelta(t, 60, s.Unknown.Running.Seconds(), 5)
	assert.InDelta(t, float64(gap), float64(s.Unknown.Misses), 3)
	assert.InDelta(t, before.Total[0].Rate, s.Total[0].Rate, 6)
}

func TestEngineSpeedOfAnotherModule(t *testing.T) {
	other := func(rpm float64) obd.Reading {
		r := live(obd.PIDRPM, rpm)
		r.Module = tcm
		return r
	}
	tally := NewTally(Config{})
	tally.Add(sampleAt(0, other(3000))) // heard before the engine's own
	for i := range 11 {
		at := time.Duration(i) * 100 * time.Millisecond
		tally.Add(sampleAt(at, live(obd.PIDRPM, 600), other(3000)))
	}
	load := live(obd.PIDLoad, 90)
	load.Module = tcm
	tally.Add(sampleAt(time.Second, live(obd.PIDLoad, 30), load))
	tally.Finish()
	assert.InDelta(t, 10, tally.ledger.now.rev, 0.01)
	s := tally.Summary()
	assert.Equal(t, 600.0, s.Live.RPM)
	assert.Equal(t, 30.0, s.Live.Load)
}

func TestFirstMomentsTakeTheCoolantThatFollows(t *testing.T) {
	m := newMill(t, 200, 0.05)
	m.mark(gear.Drive)
	cool := m.extra
	m.extra = []obd.Reading{live(obd.PIDSpeed, 0)}
	m.run(2 * time.Second)
	m.extra = cool
	m.run(3 * time.Minute)
	cells := m.ended().Cells
	require.NotEmpty(t, cells)
	for _, c := range cells {
		assert.True(t, c.Condition.Warm, c.Condition)
	}
}

func TestBandsHaveSlackAtTheirEdges(t *testing.T) {
	loads := []struct {
		v    float64
		band LoadBand
	}{
		{15, 1}, {19.9, 1}, {20, 1}, {21.9, 1}, {22, 2}, // up: past the edge by two
		{20, 2}, {18.1, 2}, {17.9, 1}, // and down likewise
		{55, 5}, {85, 8}, {100, 9}, {0, 0},
	}
	e := newExposure()
	for _, l := range loads {
		r := live(obd.PIDLoad, l.v)
		e.take(&r, noon)
		assert.Equal(t, l.band, e.loadAt, "load %v", l.v)
	}
	rpms := []struct {
		v    float64
		band RPMBand
	}{
		{600, 0}, {1040, 0}, {1050, 1}, {960, 1}, {949, 0}, {3500, 4}, {2960, 4}, {2940, 3}, {8000, 4},
	}
	for i, l := range rpms {
		r := live(obd.PIDRPM, l.v)
		at := noon.Add(time.Duration(i) * time.Second)
		require.NotZero(t, e.take(&r, at)&track.Turned)
		s := e.between(noon)
		assert.Equal(t, l.band, s.rpm, "%v rpm after %v", l.v, e.Before.V)
	}
}

func TestConditionIndexIsOneToOne(t *testing.T) {
	seen := map[Condition]bool{}
	for i := range conditions {
		c := conditionIndex(i).condition()
		require.Equal(t, conditionIndex(i), c.index())
		require.False(t, seen[c])
		seen[c] = true
	}
	assert.Equal(t, "D, 10-20 %, under 1000 rpm, warm", Condition{Gear: gear.Drive, Load: 1, Warm: true}.String())
	assert.Equal(t, "?", LoadBand(10).String()+RPMBand(9).String()[:0])
}

// The controller does not judge where it cuts the fuel, at quick pedal moves and at gear changes.
func TestUnmonitoredRunning(t *testing.T) {
	const missing = math.MaxFloat64
	type point struct{ rpm, throttle, load, fuel float64 }
	closed, drive := float64(obd.ClosedLoop), float64(obd.OpenLoopDrive)
	tests := []struct {
		name   string
		before point // for a few seconds, so that floors are known
		from   point
		to     point // a tenth of a second later
		judged bool
	}{
		{"idle", point{700, 12, 25, closed}, point{700, 12, 25, closed}, point{700, 12, 25, closed}, true},
		{"cruise", point{700, 12, 25, closed}, point{2000, 20, 40, closed}, point{2000, 20, 40, closed}, true},
		{"fuel cut as the car says", point{700, 12, 25, closed}, point{2000, 12, 5, drive}, point{2000, 12, 5, drive}, false},
		{"full load is open loop too", point{700, 12, 25, closed}, point{3000, 80, 90, drive}, point{3000, 80, 90, drive}, true},
		{"closed throttle, still fuelled", point{700, 12, 25, closed}, point{2000, 12, 10, closed}, point{1980, 12, 10, closed}, true},
		{"creeping, open loop, too slow for a cut", point{700, 12, 25, closed}, point{1000, 12, 10, drive}, point{1000, 12, 10, drive}, true},
		{"overrun, the car does not say", point{700, 12, 8, missing}, point{2000, 12, 8, missing}, point{1980, 12, 8, missing}, false},
		{"steady at the floor, the car does not say", point{700, 12, 8, missing}, point{2000, 12, 8, missing}, point{1999, 12, 8, missing}, true},
		{"falling with load, the car does not say", point{700, 12, 8, missing}, point{2000, 12, 30, missing}, point{1980, 12, 30, missing}, true},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			e := newExposure()
			at := noon
			take := func(p point) {
				at = at.Add(100 * time.Millisecond)
				for _, r := range []obd.Reading{live(obd.PIDThrottle, p.throttle), live(obd.PIDLoad, p.load), live(obd.PIDFuelSystem, p.fuel)} {
					if r.Value != missing {
						e.take(&r, at)
					}
				}
				r := live(obd.PIDRPM, p.rpm)
				e.take(&r, at)
			}
			for range 30 {
				take(tt.before)
			}
			for range 10 { // past the hush of getting there
				take(tt.from)
			}
			take(tt.to)
			assert.Equal(t, tt.judged, e.monitor.judges(&e.State, e.Before))
		})
	}
}

func TestQuickThrottleAndGearChangeHushTheMonitor(t *testing.T) {
	m := newMonitor()
	at := func(ms int) time.Time { return noon.Add(time.Duration(ms) * time.Millisecond) }
	e := newExposure()
	judgedAt := func(ms int) bool {
		e.RPM = track.Value{V: 2000, At: at(ms)}
		return m.judges(&e.State, track.Value{V: 2000, At: at(ms - 100)})
	}
	m.addThrottle(15, at(0))
	m.addThrottle(15.4, at(50)) // the last digit, soon after
	assert.True(t, judgedAt(60))
	m.addThrottle(15.4, at(200))
	m.addThrottle(35, at(400)) // 98 points a second
	assert.False(t, judgedAt(500))
	assert.True(t, judgedAt(750))
	m.addThrottle(35, at(2000))
	m.addThrottle(42, at(2400)) // 18 a second: slowly
	assert.True(t, judgedAt(2450))
	m.gearChanged(at(3000))
	assert.False(t, judgedAt(3200))
	assert.True(t, judgedAt(3400))
}

func TestUnmonitoredRunningDilutesNoRate(t *testing.T) {
	m := newMill(t, 200, 0.02)
	m.extra = append(m.extra, live(obd.PIDThrottle, 12), live(obd.PIDFuelSystem, float64(obd.ClosedLoop)))
	m.mark(gear.ParkNeutral)
	m.run(2 * time.Minute)
	before := m.ended()
	m.rpm, m.rates[0] = 2000, 0
	m.extra[len(m.extra)-1].Value = float64(obd.OpenLoopDrive)
	m.run(2 * time.Minute)
	s := m.ended()
	assert.InDelta(t, 120, s.Unmonitored.Seconds(), 1)
	assert.InDelta(t, 20, before.Total[0].Rate, 2)
	assert.InDelta(t, before.Total[0].Rate, s.Total[0].Rate, 2)
	assert.InDelta(t, 750, s.Total[0].Firings, 10, "two minutes at 750 rpm")
	assert.InDelta(t, 240, s.Running.Seconds(), 1)
}
