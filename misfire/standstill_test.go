package misfire

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"stumble/misfire/gear"
)

func chanceMill(t testing.TB, seed uint64, rates ...float64) *mill {
	m := newMill(t, 200, rates...)
	m.rng = rand.New(rand.NewPCG(seed, 5))
	m.mark(gear.Drive)
	return m
}

// A controller that shuts the fuel of a cylinder off (P0363) or pauses its monitor counts no more.
func TestCounterThatStandsStill(t *testing.T) {
	m := chanceMill(t, 1, 0.001, 0.05)
	m.run(10 * time.Minute)
	before := m.ended()
	assert.False(t, before.Total[1].Still)
	m.rates[1] = 0
	m.run(10 * time.Minute)
	s := m.ended()
	assert.True(t, s.Total[1].Still)
	assert.False(t, s.Total[0].Still)
	assert.Contains(t, s.Notes, Note{Kind: NoteStill, Cylinder: 2})
	for name, cells := range map[string][]Cell{"total": s.Total, "gear": {inGear(t, s, 1, gear.Drive), inGear(t, s, 2, gear.Drive)}, "condition": s.Cells} {
		assert.InDelta(t, before.Total[1].Rate, cells[1].Rate, 1.5, "%s: the silence dilutes no rate", name)
		assert.Greater(t, cells[0].Firings, 7000.0, "%s: the other cylinder went on", name)
	}
	assert.Equal(t, []int{2}, s.Verdict.Cylinders)
	assert.InDelta(t, before.Total[1].Phi, s.Total[1].Phi, 0.2, "it is no burst either")

	m.rates[1] = 0.05 // it moves again
	m.run(10 * time.Minute)
	s = m.ended()
	assert.False(t, s.Total[1].Still)
	assert.InDelta(t, 50, s.Total[1].Rate, 7)
	assert.InDelta(t, 7500, s.Total[1].Firings, 400, "the silence stays out")
}

func TestSilenceEndsWithTheDrivingCycle(t *testing.T) {
	m := chanceMill(t, 2, 0, 0.05)
	m.run(10 * time.Minute)
	m.rates[1] = 0
	m.run(5 * time.Minute)
	assert.True(t, m.ended().Total[1].Still)
	m.stand(3 * time.Second)
	m.start(750)
	m.mark(gear.Drive)
	m.run(2 * time.Minute)
	s := m.ended()
	assert.False(t, s.Total[1].Still, "a new cycle, a new chance")
	assert.InDelta(t, 50, s.Total[1].Rate, 10)
	assert.InDelta(t, 3750+750, s.Total[1].Firings, 400)
}

// Another condition is no silence: the rate there was never known.
func TestSilenceIsOfLikeCondition(t *testing.T) {
	m := chanceMill(t, 3, 0, 0.05)
	m.run(10 * time.Minute)
	m.rates[1] = 0
	m.mark(gear.ParkNeutral)
	m.run(20 * time.Minute)
	s := m.ended()
	assert.False(t, s.Total[1].Still)
	assert.Zero(t, inGear(t, s, 2, gear.ParkNeutral).Misses)
}

// Chance alone may call a counter still in one drive of a thousand; bursts, where silences are long, too.
func TestSilenceByChance(t *testing.T) {
	drives := 200
	if testing.Short() || testing.CoverMode() != "" {
		drives = 50
	}
	still := 0
	for seed := range drives {
		m := chanceMill(t, uint64(seed), 0)
		m.every = 500 * time.Millisecond
		steady := seed%2 == 0
		ever := false
		for range 240 {
			m.rates[0] = 0.01
			if !steady { // bad for five seconds in a minute on the average
				m.rates[0] = 0
				if m.rng.Float64() < 1.0/12 {
					m.rates[0] = 0.3
				}
			}
			m.run(5 * time.Second)
			ever = ever || m.tally.accounts.total[0].standstill.still
		}
		if ever {
			still++
		}
	}
	t.Logf("%d of %d drives", still, drives)
	assert.LessOrEqual(t, still, 1)
}

func TestSilenceChance(t *testing.T) {
	s := standstill{rises: 100, expected: 12}
	assert.InDelta(t, 101*6.14e-6/0.5, s.chance(), 0.0003, "near exp(-12), for each of 101 silences")
	s = standstill{rises: 100, expected: 12, past: 100, squares: 2000} // silences of ten are usual
	assert.Greater(t, s.chance(), 1.0)
	s = standstill{rises: 2, expected: 12}
	assert.Greater(t, s.chance(), stillChance, "too few seen to know")
	s.still = true
	s.broken()
	assert.Zero(t, s.past, "a silence beyond chance teaches nothing")
	assert.False(t, s.still)
}
