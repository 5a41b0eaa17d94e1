package misfire

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/obd"
)

func TestLane(t *testing.T) {
	type read struct {
		value   int
		settled bool
		rise    int // confirmed by this reading; 0: none
	}
	on := func(values ...int) (reads []read) {
		for _, v := range values {
			reads = append(reads, read{v, true, 0})
		}
		return reads
	}
	confirms := func(reads []read, rise int) []read {
		reads[len(reads)-1].rise = rise
		return reads
	}
	tests := []struct {
		name      string
		reads     []read
		aside     int
		restarted int // place of the reading that tells of it; 0: none
	}{
		{"the first reading is the baseline, the second confirms a rise", confirms(on(17, 17, 19, 19), 2), 0, 0},
		{"it goes on rising", append(confirms(on(17, 19, 20), 2), confirms(on(20), 1)...), 0, 0},
		// From key-on to the engine's start the last cycle is shown (SAE J1979; makers' service manuals).
		{"no baseline before the engine runs", append([]read{{168, false, 0}, {168, false, 0}}, confirms(on(0, 3, 3), 3)...), 0, 0},
		{"65535 is the end", confirms(on(65530, 65535, 65535), 5), 0, 0},
		{"a low bit spoiled once", on(17, 19, 17, 17), 1, 0},
		{"a low bit spoiled in a rise", append(on(17, 21, 18), confirms(on(18), 1)...), 1, 0},
		{"a high bit spoiled", on(17, 17+1024, 17, 17), 1, 0},
		{"a bit lost", on(17, 1, 17, 17), 1, 0},
		{"it began anew unseen", on(17, 0, 1), 1, 2},
		// A counter that began anew can only rise: readings that fall on and on are spoiled ones.
		{"spoiled twice, lower and lower", on(17, 9, 3, 17, 17), 2, 0},
		{"spoiled three times, high and lower", on(17, 1017, 900, 800, 17), 3, 0},
		{"the baseline was spoiled", on(17, 1017, 1017, 1018), 3, 3},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var l lane
			restart := 0
			for i, r := range tt.reads {
				got, is := l.add(r.value, place{float64(10 * i), float64(i)}, float64(5*i), r.settled)
				if is == restarted {
					restart = i
				}
				assert.Equal(t, r.rise > 0, is == rose, "reading %d", i)
				assert.Equal(t, r.rise, got.misses, "reading %d", i)
			}
			assert.Equal(t, tt.aside, l.aside)
			assert.Equal(t, tt.restarted, restart)
		})
	}
	var l lane
	l.add(0, place{0, 0}, 0, true)
	l.add(5, place{100, 8}, 50, true)
	r, _ := l.add(5, place{110, 9}, 55, true)
	assert.Equal(t, rise{misses: 5, lo: place{0, 0}, hi: place{100, 8}}, r, "of the time it was first read")
	assert.Equal(t, place{110, 9}, l.read)
}

// A counter holds two bytes (SAE J1979): it is at its end at 65535, and not one before.
func TestEndOfACounter(t *testing.T) {
	for end, full := range map[int]bool{65534: false, 65535: true} {
		var found lane
		found.add(end, place{}, 0, true)
		assert.Equal(t, full, found.saturated, "found so at %d", end)

		var l lane
		l.add(end-5, place{0, 0}, 0, true)
		l.add(end, place{100, 8}, 50, true)
		r, is := l.add(end, place{110, 9}, 55, true)
		require.Equal(t, rose, is)
		assert.Equal(t, full, r.full, "%d", end)
		assert.Equal(t, full, l.saturated, "%d", end)
	}
}

// No more misses than firings: beyond 1.05 of what ran since the last rise, and two, a rise is set aside (our own limits:
// by simulation with a speed 2 % wrong and one reading in 1,000 spoiled they lose no true miss).
func TestLimitOfARise(t *testing.T) {
	for _, c := range []struct{ first, second, aside int }{{107, 107, 0}, {108, 0, 1}, {107, 108, 1}} {
		var l lane
		l.add(0, place{0, 0}, 0, true)
		for range 2 {
			l.add(c.first, place{200, 8}, 100, true)
		}
		if c.second > 0 {
			l.add(c.first+c.second, place{400, 16}, 200, true)
		}
		assert.Equal(t, c.aside > 0, l.aside > 0, "%+v", c)
	}
}

func TestCountReading(t *testing.T) {
	tests := []struct {
		name     string
		reading  obd.Reading
		position int
		ok       bool
	}{
		{"cylinder 1", test(1, obd.TIDCount, 0), 0, true},
		{"cylinder 12", test(12, obd.TIDCount, 0), 11, true},
		{"cylinder 16", test(16, obd.TIDAverage, 0), 15, true},
		{"beyond", test(17, obd.TIDCount, 0), 0, false},
		{"the whole engine", obd.Reading{Service: obd.TestResults, ID: obd.MIDMisfire, Part: obd.TIDCount}, 0, false},
		{"another test of the monitor", test(2, 0x80, 0), 0, false},
		{"live data", live(obd.MIDCylinder1, 0), 0, false},
	}
	for _, tt := range tests {
		position, ok := countReading(&tt.reading)
		assert.Equal(t, tt.ok, ok, tt.name)
		if ok {
			assert.Equal(t, tt.position, position, tt.name)
		}
	}
}

func TestKeyOnShowsTheLastCycle(t *testing.T) {
	m := newMill(t, 200, 0, 0.05)
	m.rpm, m.shown[1] = 0, 168
	m.run(10 * time.Second)
	m.start(750)
	m.mark(gear.Drive)
	m.run(4 * time.Minute)
	s := m.ended()
	assert.Equal(t, 1, s.Cycles)
	assert.InDelta(t, 50, s.Total[1].Rate, 5)
	assert.Zero(t, s.Total[0].Misses)
	assert.InDelta(t, 70, s.Total[1].Misses, 10, "not the 168 of the cycle before")
}

// Some controllers set their counters back a moment after the start.
func TestCountersSetBackJustAfterTheStart(t *testing.T) {
	m := newMill(t, 200, 0.05)
	m.rpm, m.shown[0] = 0, 168
	m.run(5 * time.Second)
	m.start(750)
	m.shown[0] = 168
	m.run(500 * time.Millisecond)
	m.shown[0] = 0
	m.mark(gear.Drive)
	m.run(4 * time.Minute)
	s := m.ended()
	assert.Zero(t, s.Unknown.Misses, "the first window is whole")
	assert.InDelta(t, 50, s.Total[0].Rate, 3)
}

func TestNewCycles(t *testing.T) {
	const rate = 0.04
	tests := []struct {
		name   string
		change func(m *mill) // between two runs of four minutes
		cycles int
	}{
		{"stopped and started", func(m *mill) { m.stand(5 * time.Second); m.start(750) }, 2},
		{"stopped at the lights, the counter going on", func(m *mill) {
			m.rpm = 0
			m.run(5 * time.Second)
			m.rpm = 750
		}, 2},
		{"restarted while the link was lost", func(m *mill) {
			m.pass(20 * time.Second)
			clear(m.counted)
			m.refresh()
			m.pass(10 * time.Second)
		}, 1},
		{"counter set back on the run", func(m *mill) { clear(m.counted); m.refresh() }, 1},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			m := newMill(t, 200, rate, 0)
			m.mark(gear.Drive)
			m.run(4 * time.Minute)
			tt.change(m)
			m.mark(gear.Drive)
			m.run(4 * time.Minute)
			s := m.ended()
			assert.Equal(t, tt.cycles, s.Cycles)
			assert.InDelta(t, 1000*rate, s.Total[0].Rate, 2)
			assert.InDelta(t, 2*1500, s.Total[0].Firings, 450, "all but windows at the ends of cycles")
			assert.Zero(t, s.Total[1].Misses)
		})
	}
}

// An engine that stops at the lights goes on with its cycle: the first refresh after shows misses from before.
func TestCycleThatGoesOnAfterAStop(t *testing.T) {
	m := newMill(t, 1000, 0.04)
	m.start(750)
	m.mark(gear.Drive)
	m.run(9 * time.Minute) // six refreshes, and three quarters of a period
	m.rpm = 0
	m.run(5 * time.Second)
	m.rpm = 750
	m.run(time.Minute)
	s := m.ended()
	assert.Equal(t, 1000.0, s.Refresh.Revolutions)
	assert.InDelta(t, 20, s.Unknown.Misses, 1)
	assert.InDelta(t, 40, s.Total[0].Rate, 1)
}

// The stop of the engine shows what was counted since the last refresh: it belongs to the running before.
func TestTailIsCountedOnceTheEngineStands(t *testing.T) {
	for _, revs := range []float64{200, 1000, atOnce} {
		t.Run(fmt.Sprint(revs), func(t *testing.T) {
			m := newMill(t, revs, 0.04)
			m.start(750)
			m.mark(gear.Drive)
			m.run(10 * time.Minute)
			turned := m.revolutions
			m.stand(5 * time.Second)
			counted := m.counted[0]
			m.start(750)
			m.run(500 * time.Millisecond)
			s := m.ended()
			assert.InDelta(t, counted, s.Total[0].Misses, 1)
			assert.InDelta(t, turned/2, s.Total[0].Firings, 15)
		})
	}
}

// The same, with too few rises to know the refresh: the held running must not lose its tail.
func TestTailIsCountedWhileTheRefreshIsNotKnown(t *testing.T) {
	m := newMill(t, 1000, 0.01)
	m.start(750)
	m.mark(gear.Drive)
	m.run(2 * time.Minute) // one refresh, and half a period
	m.stand(5 * time.Second)
	counted := m.counted[0]
	m.start(750)
	m.run(5 * time.Second)
	s := m.ended()
	assert.Equal(t, RefreshUnknown, s.Refresh.Kind)
	assert.Equal(t, float64(counted), s.Total[0].Misses)
	assert.InDelta(t, 750, s.Total[0].Firings, 10)
}

// What a counter found running shows at its first refresh is partly older than the watch.
func TestFirstWindowOfAnEngineFoundRunning(t *testing.T) {
	m := newMill(t, 1000, 0.04)
	m.sinceRevs, m.counted[0] = 800, 16 // 20 misses will be shown after 200 revolutions
	m.mark(gear.Drive)
	m.run(13 * time.Minute)
	s := m.ended()
	assert.Equal(t, 1000.0, s.Refresh.Revolutions)
	assert.InDelta(t, 20, s.Unknown.Misses, 1)
	assert.InDelta(t, 16, s.Unknown.Running.Seconds(), 1.5)
	assert.InDelta(t, 40, s.Total[0].Rate, 0.5)
}

func TestSaturatedCounter(t *testing.T) {
	m := newMill(t, 200, 0, 0.5)
	m.counted[1] = counterIsFull - 300
	m.mark(gear.Drive)
	m.refresh()
	m.run(100 * time.Second)
	m.rates[1] = 0 // it would go on, but shows no more
	m.counted[1] = counterIsFull
	m.run(3 * time.Minute)
	s := m.ended()
	c := s.Total[1]
	assert.True(t, c.AtLeast)
	assert.Equal(t, never, c.High)
	assert.LessOrEqual(t, c.Firings, 650.0, "firings after it was full do not count")
	assert.GreaterOrEqual(t, c.Rate, 450.0)
	assert.False(t, s.Total[0].AtLeast)
	assert.Contains(t, s.Notes, Note{Kind: NoteSaturated, Cylinder: 2})
	assert.True(t, inGear(t, s, 2, gear.Drive).AtLeast)
}

func TestFullWindowOverTwoGears(t *testing.T) {
	b := newAccounts()
	park, drive := Condition{Gear: gear.ParkNeutral}.index(), Condition{Gear: gear.Drive}.index()
	w := window{to: place{200, 16}, running: []share{{condition: park, firings: 50}, {condition: drive, firings: 50}}}
	w.misses[0], w.full[0], w.valid[0] = 7, true, true
	b.add(&w)
	assert.True(t, b.gears.cells[gear.ParkNeutral].at(0).atLeast)
	assert.True(t, b.gears.cells[gear.Drive].at(0).atLeast)
	m := newMill(t, 200, 0)
	m.tally.accounts, m.tally.ledger.holding = b, false
	for _, c := range m.tally.Summary().ByGear {
		assert.True(t, c.AtLeast)
		assert.Equal(t, never, c.High)
	}
}

func TestCylinderWithoutACounter(t *testing.T) {
	m := newMill(t, 200, 0.04, 0.04, 0)
	m.silent[1] = true
	m.mark(gear.Drive)
	m.run(4 * time.Minute)
	now := m.tally.Summary().Live
	assert.Negative(t, now.CountAge[1])
	assert.InDelta(t, 0.2, now.CountAge[0].Seconds(), 0.2, "a round of three takes 0.3 s")
	s := m.ended()
	assert.False(t, s.Total[1].Reported)
	assert.Contains(t, s.Notes, Note{Kind: NoteUncounted, Count: 1, Of: 3})
	assert.Equal(t, []int{1}, s.Verdict.Cylinders)
	assert.InDelta(t, 40, s.Total[0].Rate, 2, "the others do not wait for it")
}

// A counter that is no longer read holds up none of the others, and memory does not grow with waiting.
func TestCounterNoLongerRead(t *testing.T) {
	m := newMill(t, 200, 0.04, 0.04)
	m.mark(gear.Drive)
	m.run(4 * time.Minute)
	m.silent[1] = true
	m.run(4 * time.Minute)
	s := m.ended()
	assert.InDelta(t, 3000, s.Total[0].Firings, 110)
	assert.InDelta(t, 1500, s.Total[1].Firings, 110)
	m.silent[0] = true
	m.run(10 * time.Minute)
	assert.Less(t, len(m.tally.ledger.slices), 3)
}

func TestCylinderMap(t *testing.T) {
	layout, err := engine.Plain(4)
	require.NoError(t, err)
	byOrder, err := engine.ParseMap("1,3,4,2", 4)
	require.NoError(t, err)
	m := newMill(t, 200, 0, 0.05, 0, 0) // the second monitor, A3
	m.tally = NewTally(Config{Engine: layout, Map: byOrder})
	m.mark(gear.Drive)
	m.run(4 * time.Minute)
	s := m.ended()
	assert.Equal(t, []int{3}, s.Verdict.Cylinders)
	assert.Contains(t, s.Notes, Note{Kind: NoteMap})
	assert.Equal(t, []int{3}, s.Verdict.Cylinders)
}

func TestCylindersFollowFromTheCounters(t *testing.T) {
	m := newMill(t, 200, 0, 0, 0)
	m.tally = NewTally(Config{})
	assert.Zero(t, m.tally.Summary().Engine.Cylinders)
	m.run(time.Minute)
	assert.Equal(t, 3, m.ended().Engine.Cylinders)
	m.give(test(17, obd.TIDCount, 5), test(200, obd.TIDCount, 5)) // no monitors of cylinders
	assert.Equal(t, 3, m.ended().Engine.Cylinders)
}

func TestMoreMissesThanFirings(t *testing.T) {
	m := newMill(t, 200, 1.5)
	m.mark(gear.Drive)
	m.run(4 * time.Minute)
	s := m.ended()
	assert.Equal(t, NoteSetAside, s.Notes[len(s.Notes)-1].Kind)
	assert.LessOrEqual(t, s.Total[0].Rate, 1000.0)
}
