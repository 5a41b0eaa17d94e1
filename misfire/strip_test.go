package misfire

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/gear"
	"stumble/obd"
)

func TestStripKeepsTheLastSeconds(t *testing.T) {
	m := newMill(t, 200, 0, 0.1)
	m.every = 200 * time.Millisecond
	assert.Empty(t, m.tally.Strip(nil))
	m.mark(gear.Drive)
	m.run(20 * time.Minute)
	m.tally.Finish()
	moments := m.tally.Strip(nil)
	require.Len(t, moments, keptMoments)
	misses := 0
	for i, at := range moments {
		assert.Equal(t, noon.Add(time.Duration(1200-keptMoments+i)*time.Second), at.At)
		assert.InDelta(t, 750, at.RPM, 1e-9)
		assert.Equal(t, gear.Drive, at.Gear)
		assert.Equal(t, gear.Marked, at.Origin)
		misses += int(at.Misses[1])
		assert.Zero(t, at.Misses[0])
	}
	assert.InDelta(t, 0.1*750.0/120*keptMoments, misses, 11, "all but for a window")
}

func TestStripAppendsToWhatIsGiven(t *testing.T) {
	m := newMill(t, 200, 0)
	m.run(3 * time.Second)
	room := make([]Moment, 1, 100)
	got := m.tally.Strip(room)
	assert.Len(t, got, 4)
	assert.Same(t, &room[0], &got[0])
	got[1].RPM = 1
	assert.InDelta(t, 750, m.tally.Strip(nil)[0].RPM, 1e-9, "the slice is the caller's")
}

func TestStripMeansAndHoles(t *testing.T) {
	tally := NewTally(Config{})
	add := func(at time.Duration, rpm float64) {
		tally.Add(sampleAt(at, live(obd.PIDRPM, rpm), live(obd.PIDLoad, rpm/20)))
	}
	add(0, 600)
	add(500*time.Millisecond, 800)
	add(3500*time.Millisecond, 900)
	got := tally.Strip(nil)
	require.Len(t, got, 4)
	assert.InDelta(t, 700, got[0].RPM, 1e-9)
	assert.InDelta(t, 35, got[0].Load, 1e-9)
	assert.True(t, math.IsNaN(got[1].RPM) && math.IsNaN(got[2].Load), "nothing was read")
	assert.InDelta(t, 900, got[3].RPM, 1e-9)

	add(2*time.Hour, 700) // longer than the strip
	got = tally.Strip(nil)
	require.Len(t, got, keptMoments)
	assert.Equal(t, noon.Add(2*time.Hour), got[keptMoments-1].At)
	assert.InDelta(t, 700, got[keptMoments-1].RPM, 1e-9)
	for _, at := range got[:keptMoments-1] {
		assert.True(t, math.IsNaN(at.RPM), "not what stood in its place before")
	}
}

func TestStripMissesOfSecondsGoneBy(t *testing.T) {
	s := newStrip()
	e := newExposure()
	for i := range 3 {
		s.live(noon.Add(time.Duration(i)*time.Second), noon, gear.Call{}, &e)
	}
	s.miss(1.5, 2, 70000)
	s.miss(1.7, 2, 3)
	s.miss(-1, 2, 5)
	s.miss(9, 2, 5)
	s.live(noon.Add(-time.Second), noon, gear.Call{}, &e)
	got := s.append(nil)
	require.Len(t, got, 3)
	assert.Equal(t, uint16(math.MaxUint16), got[1].Misses[2], "at its end, not around it")
	assert.Zero(t, got[0].Misses[2]+got[2].Misses[2])
}
