package misfire

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/obd"
)

var (
	noon   = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	ecm    = obd.Module{ID: 0x7E8, Bits: 11}
	tcm    = obd.Module{ID: 0x7E9, Bits: 11}
	never  = math.Inf(1)
	atOnce = 0.0
)

// live and test are readings as package obd decodes them.
func live(id byte, v float64) obd.Reading {
	return obd.Reading{Module: ecm, Service: obd.LiveData, ID: id, Value: v}
}

func test(cylinder int, tid byte, v float64) obd.Reading {
	return obd.Reading{Module: ecm, Service: obd.TestResults, ID: obd.MIDCylinder1 + byte(cylinder-1), Part: tid, Value: v}
}

// sampleAt is readings that arrived together, some time into the drive.
func sampleAt(at time.Duration, readings ...obd.Reading) *obd.Sample {
	return &obd.Sample{Sent: noon.Add(at), Received: noon.Add(at), Readings: readings}
}

// mill is an engine of this package's tests, apart from the simulated car: it turns at the speed that the test
// sets, misses evenly or by chance at the rate that the test sets, and refreshes its counters as told.
type mill struct {
	tally *Tally
	at    time.Duration
	rpm   float64
	load  float64
	every time.Duration // between two readings of engine speed; a counter is read in the middle
	extra []obd.Reading // read along with engine speed

	rates   []float64  // misses per firing, cylinder 1 first
	rng     *rand.Rand // draws each firing; nil: misses come evenly
	owed    []float64  // part of a firing, or of a miss, not yet dealt with
	counted []int
	shown   []int
	average []float64 // test 0B, read along with the counts when set
	silent  []bool    // counters that are not read

	revs, secs  float64 // between two refreshes; revs 0 is at once, +Inf never
	sinceRevs   float64
	sinceSecs   float64
	turn        int
	revolutions float64 // true ones, all told
	record      []obd.Sample
	keep        bool
}

// newMill is a warm engine at 750 rpm and 30 % load. Misses at once must come by chance: even ones look like a
// refresh.
func newMill(t testing.TB, revs float64, rates ...float64) *mill {
	t.Helper()
	layout, err := engine.Plain(len(rates))
	require.NoError(t, err)
	n := len(rates)
	m := &mill{tally: NewTally(Config{Engine: layout}), rpm: 750, load: 30, every: 100 * time.Millisecond, rates: rates,
		owed: make([]float64, n), counted: make([]int, n), shown: make([]int, n), silent: make([]bool, n),
		revs: revs, secs: never, extra: []obd.Reading{live(obd.PIDCoolant, 90), live(obd.PIDSpeed, 0)}}
	if revs == atOnce {
		m.rng = rand.New(rand.NewPCG(1, 2))
	}
	return m
}

func (m *mill) mark(s gear.State) { m.tally.Mark(noon.Add(m.at), s) }

// run lets the engine run, asked all along.
func (m *mill) run(d time.Duration) {
	for end := m.at + d; m.at < end; {
		m.give(append([]obd.Reading{live(obd.PIDRPM, m.rpm), live(obd.PIDLoad, m.load)}, m.extra...)...)
		m.pass(m.every / 2)
		m.ask()
		m.pass(m.every - m.every/2)
	}
}

// ask reads the next counter.
func (m *mill) ask() {
	m.turn++
	i := m.turn % len(m.shown)
	if m.silent[i] {
		return
	}
	readings := []obd.Reading{test(i+1, obd.TIDCount, float64(m.shown[i]))}
	if m.average != nil {
		readings = append(readings, test(i+1, obd.TIDAverage, math.Round(m.average[i])))
	}
	m.give(readings...)
}

func (m *mill) give(readings ...obd.Reading) {
	s := sampleAt(m.at, readings...)
	if m.keep {
		m.record = append(m.record, s.Clone())
	}
	m.tally.Add(s)
}

// pass lets time pass unseen.
func (m *mill) pass(d time.Duration) {
	const grain = 10 * time.Millisecond
	for ; d > 0; d -= grain {
		dt := min(d, grain)
		m.at += dt
		turned := m.rpm / 60 * dt.Seconds()
		m.revolutions += turned
		m.miss(turned / 2)
		m.sinceRevs += turned
		m.sinceSecs += dt.Seconds()
		if m.rpm > 0 && (m.sinceRevs >= m.revs || m.sinceSecs >= m.secs) {
			m.refresh()
		}
	}
}

// miss lets each cylinder miss of so many firings.
func (m *mill) miss(firings float64) {
	for i, r := range m.rates {
		if m.rng == nil {
			m.owed[i] += firings * r // misses
			for ; m.owed[i] >= 1; m.owed[i]-- {
				m.counted[i]++
			}
			continue
		}
		m.owed[i] += firings
		for ; m.owed[i] >= 1; m.owed[i]-- {
			if m.rng.Float64() < r {
				m.counted[i]++
			}
		}
	}
	if m.revs == atOnce {
		copy(m.shown, m.counted)
	}
}

func (m *mill) refresh() {
	copy(m.shown, m.counted)
	m.sinceRevs, m.sinceSecs = 0, 0
}

// stand stops the engine for a while with the ignition on: the stop shows the counts, and the average takes the
// cycle in (SAE J1979, from memory).
func (m *mill) stand(d time.Duration) {
	for rpm := m.rpm; rpm > 0; rpm -= 150 {
		m.rpm = max(rpm, 0)
		m.run(m.every)
	}
	m.rpm = 0
	m.refresh()
	for i := range m.average {
		m.average[i] = 0.9*m.average[i] + 0.1*float64(m.shown[i])
	}
	m.run(d)
}

// start cranks the engine and begins a driving cycle.
func (m *mill) start(rpm float64) {
	m.rpm = 200
	m.run(5 * m.every)
	clear(m.counted)
	clear(m.owed)
	m.refresh()
	m.rpm = rpm
	m.run(m.every) // seen to run: marks from here on hold
}

// ended is the Summary of the finished drive.
func (m *mill) ended() *Summary {
	m.tally.Finish()
	return m.tally.Summary()
}

// inGear is the cell of one cylinder in one gear state.
func inGear(t testing.TB, s *Summary, cylinder int, g gear.State) Cell {
	t.Helper()
	for _, c := range s.ByGear {
		if c.Cylinder == cylinder && c.Condition.Gear == g {
			return c
		}
	}
	require.Failf(t, "no such cell", "cylinder %d in %s", cylinder, g)
	return Cell{}
}
