package proof_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stumble/misfire/proof"
	"stumble/obd"
)

// road drives a car second by second.
type road struct {
	*proof.Cycles
	at     time.Time
	counts float64
}

func newRoad(cfg proof.CycleConfig) *road {
	return &road{Cycles: proof.NewCycles(cfg), at: time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)}
}

func module() obd.Module { return obd.Module{Bits: 11, ID: 0x7E8} }

func (r *road) read(readings ...obd.Reading) {
	for i := range readings {
		readings[i].Module = module()
		if readings[i].Service == 0 {
			readings[i].Service = obd.LiveData
		}
	}
	r.Add(&obd.Sample{Sent: r.at, Received: r.at, Readings: readings})
}

// run goes on for so many seconds.
func (r *road) run(seconds int, rpm, load, speed, coolant float64) {
	for range seconds {
		r.at = r.at.Add(time.Second)
		r.read(obd.Reading{ID: obd.PIDSpeed, Value: speed}, obd.Reading{ID: obd.PIDLoad, Value: load},
			obd.Reading{ID: obd.PIDRPM, Value: rpm}, obd.Reading{ID: obd.PIDCoolant, Value: coolant},
			obd.Reading{Service: obd.TestResults, ID: obd.MIDCylinder1, Part: obd.TIDCount, Value: r.counts})
	}
}

func (r *road) stop() { r.run(2, 0, 0, 0, 90) }

// 13 CCR 1968.2 (c), from memory and service pages: a rise of 22 K to 71 degC (diesel 60). UN R83 Annex 11 has 70.
func TestWarmUpCycle(t *testing.T) {
	for _, c := range []struct {
		diesel   bool
		from, to float64
		want     int
	}{
		{false, 49, 71, 1}, {false, 50, 71, 0}, {false, 50, 72, 1}, {false, 20, 70, 0}, {false, 20, 71, 1}, {false, 80, 101, 0}, {false, 80, 102, 1},
		{true, 38, 60, 1}, {true, 39, 60, 0}, {true, 20, 59, 0},
	} {
		r := newRoad(proof.CycleConfig{Diesel: c.diesel})
		r.run(2, 0, 0, 0, c.from)
		r.run(5, 800, 30, 0, c.from)
		r.run(5, 800, 30, 0, c.to)
		require.Equal(t, c.want, r.Progress().WarmUps, "%+v", c)
		r.run(5, 800, 30, 0, c.to+30)
		r.stop()
		require.LessOrEqual(t, r.Progress().WarmUps, 1, "once a driving cycle")
	}
}

// 13 CCR 1968.2 (d)(4.3.2), from memory and service pages: 600 s running, 300 s of it at 40 km/h or more, 30 s of
// unbroken idle; each at its limit and one second short.
func TestGeneralDenominatorTrip(t *testing.T) {
	for _, c := range []struct {
		idle, fast, slow int
		speed            float64
		want             bool
	}{
		{30, 300, 270, 40, true}, {30, 300, 269, 40, false}, {29, 300, 271, 40, false}, {30, 299, 271, 40, false}, {30, 300, 270, 39, false},
	} {
		r := newRoad(proof.CycleConfig{Cylinders: 4})
		r.run(2, 0, 0, 0, 20)
		r.run(1, 800, 30, 0, 20) // the start
		r.run(c.idle, 800, 30, 0, 20)
		r.run(c.fast, 2000, 40, c.speed, 20)
		r.run(c.slow, 1500, 40, 30, 20)
		require.Equal(t, c.want, r.Progress().Now.Trip, "%+v", c)
	}
	r := newRoad(proof.CycleConfig{Cylinders: 4})
	r.run(400, 2000, 40, 60, 20)
	for range 20 { // idle broken again and again, and racing at rest, are no idle of 30 s
		r.run(20, 800, 30, 0, 20)
		r.run(5, 2500, 30, 0, 20)
	}
	require.False(t, r.Progress().Now.Trip)
}

// 13 CCR 1968.2 (d)(2.3), (e)(3.4.5), from memory and service pages: the lamp goes out after three driving cycles
// in a row, each with similar conditions, without the fault.
func TestLampGoesOut(t *testing.T) {
	frame := proof.Point{RPM: 700, Load: 35, Warm: proof.Warm}
	r := newRoad(proof.CycleConfig{Cylinders: 4, Similar: []proof.Point{frame}})
	cycle := func(rpm float64, misses float64) {
		r.run(2, 0, 0, 0, 90)
		r.run(90, rpm, 35, 0, 90)
		r.counts += misses
		r.run(90, rpm, 35, 0, 90)
		r.stop()
	}
	cycle(700, 0)
	cycle(700, 0)
	require.Equal(t, 2, r.Progress().CleanInRow)
	cycle(2500, 0) // elsewhere: neither counts nor breaks the row
	require.Equal(t, 2, r.Progress().CleanInRow)
	require.Equal(t, 3, r.Progress().Driving)
	cycle(1075, 19) // 1.0 % of 1,000 revolutions of four cylinders is 20 misses
	require.Equal(t, 3, r.Progress().CleanInRow)
	lamp := r.Progress().Rules()[1]
	require.True(t, lamp.Met)
	cycle(700, 21)
	require.Equal(t, 0, r.Progress().CleanInRow)
	lamp = r.Progress().Rules()[1]
	require.False(t, lamp.Met)
	require.Equal(t, [2]float64{0, 3}, [2]float64{lamp.Done, lamp.Need})
	cycle(1076, 0)
	require.Equal(t, 0, r.Progress().CleanInRow, "376 rpm off are no similar conditions")
}

func TestLastCycleWantsOnlyShutOff(t *testing.T) {
	r := newRoad(proof.CycleConfig{Cylinders: 4})
	r.run(100, 700, 35, 0, 90)
	pending := r.Progress().Rules()[0]
	require.False(t, pending.Met)
	require.True(t, pending.Ending)
	r.EndDrive()
	require.True(t, r.Progress().Rules()[0].Met)
	require.Equal(t, 0, r.Progress().Starts, "it was found running")
}

// The car's own time since start tells of a start that no sample showed.
func TestUnseenRestart(t *testing.T) {
	r := newRoad(proof.CycleConfig{Cylinders: 4})
	r.run(10, 700, 35, 0, 90)
	r.read(obd.Reading{ID: obd.PIDRunTime, Value: 300})
	r.at = r.at.Add(time.Hour)
	r.run(5, 700, 35, 0, 40)
	require.Equal(t, 0, r.Progress().Driving)
	r.read(obd.Reading{ID: obd.PIDRunTime, Value: 8})
	p := r.Progress()
	require.Equal(t, 1, p.Driving)
	require.Equal(t, 1, p.Starts)
	require.Less(t, p.Now.Running, time.Minute, "an hour without samples is no running")
}

func TestPermanentCodeRule(t *testing.T) {
	r := newRoad(proof.CycleConfig{Cylinders: 4})
	r.run(31, 800, 30, 0, 90)
	rule := r.Progress().Rules()[3]
	require.InDelta(t, 570, rule.Lacks.Running.Seconds(), 1)
	require.Equal(t, 300*time.Second, rule.Lacks.AtSpeed)
	require.Zero(t, rule.Lacks.Idle)
	r.run(600, 2000, 40, 60, 90)
	require.True(t, r.Progress().Rules()[3].Ending)
	r.stop()
	require.True(t, r.Progress().Rules()[3].Met)
}

// A station page on 16 CCR 3340.42.2: permanent codes are passed over after 15 warm-ups and 200 miles.
func TestCaliforniaDisregards(t *testing.T) {
	r := newRoad(proof.CycleConfig{})
	require.False(t, r.Progress().Rules()[4].Known)
	for _, c := range []struct {
		warmUps, km float64
		want        bool
	}{{15, 322, true}, {15, 321, false}, {14, 322, false}} {
		r.read(obd.Reading{ID: obd.PIDWarmUps, Value: c.warmUps}, obd.Reading{ID: obd.PIDDistanceClear, Value: c.km})
		require.Equal(t, c.want, r.Progress().Rules()[4].Met, "%+v", c)
	}
}

func TestNoRuleIsMetAtFirst(t *testing.T) {
	for i, rule := range newRoad(proof.CycleConfig{}).Progress().Rules() {
		require.Equal(t, proof.RuleKind(i), rule.Kind)
		require.False(t, rule.Met)
		require.Positive(t, rule.Need)
	}
}

// EPA420-R-01-015, as quoted on a service page: two monitors may be incomplete on cars of 1996 to 2000, one later.
func TestReadiness(t *testing.T) {
	car := func(incomplete int) []obd.Monitors {
		m := obd.Monitors{States: []obd.MonitorState{{Monitor: obd.MonitorMisfire, Supported: true, Complete: true}}}
		for i := range 4 {
			m.States = append(m.States, obd.MonitorState{Monitor: obd.MonitorCatalyst + obd.Monitor(i), Supported: true, Complete: i >= incomplete})
		}
		return []obd.Monitors{m}
	}
	for _, c := range []struct {
		year, incomplete int
		want             bool
	}{{1996, 2, true}, {2000, 2, true}, {2000, 3, false}, {2001, 1, true}, {2001, 2, false}, {0, 1, true}, {0, 2, false}} {
		r := proof.ReadinessOf(car(c.incomplete), c.year)
		require.Equal(t, c.want, r.Ready, "%+v", c)
		require.Len(t, r.Incomplete, c.incomplete)
	}
}

// A code that is gone after a clear proves nothing; a permanent code that is gone does.
func TestCodesBeforeAndAfter(t *testing.T) {
	report := func(stored, permanent []obd.Code) *obd.CodeReport {
		return &obd.CodeReport{Modules: []obd.ModuleCodes{{Module: module(), Stored: stored, Permanent: permanent}, {Stored: stored}}}
	}
	in := proof.Input{Before: sideOf(summary(t, idle(60, 2000, 1))), After: sideOf(summary(t, idle(0, 9000, 1)))}
	got, err := proof.Compare(in)
	require.NoError(t, err)
	require.Nil(t, got.Codes, "not read")
	in.Before.Codes = report([]obd.Code{0x0302, 0x0171}, []obd.Code{0x0302})
	in.After.Codes = report([]obd.Code{0x0171, 0x0420}, nil)
	got, err = proof.Compare(in)
	require.NoError(t, err)
	require.Equal(t, proof.Change{Gone: []obd.Code{0x0302}, Kept: []obd.Code{0x0171}, New: []obd.Code{0x0420}}, got.Codes.Stored)
	require.Equal(t, proof.Change{Gone: []obd.Code{0x0302}}, got.Codes.Permanent)
	require.False(t, got.Codes.Unread)
	in.After.Codes.Unread = []obd.Unread{{What: obd.UnreadStored, Why: "no answer"}}
	got, err = proof.Compare(in)
	require.NoError(t, err)
	require.True(t, got.Codes.Unread)
}

func BenchmarkCycles(b *testing.B) {
	r := newRoad(proof.CycleConfig{Cylinders: 4, Similar: []proof.Point{{RPM: 700, Load: 30}}})
	s := &obd.Sample{Readings: []obd.Reading{{Module: module(), Service: obd.LiveData, ID: obd.PIDRPM, Value: 800}, {Module: module(), Service: obd.LiveData, ID: obd.PIDLoad, Value: 30}}}
	b.ReportAllocs()
	for b.Loop() {
		r.at = r.at.Add(100 * time.Millisecond)
		s.Sent, s.Received = r.at, r.at
		r.Add(s)
	}
}

// The car's own rules in figures: 13 CCR 1968.2 (e)(3.4), (d)(2.3), (d)(2.4), from memory and service pages (three makers
// print 40 warm-ups, one older page 80); 16 CCR 3340.42.2 as a station page has it, 15 warm-ups.
func TestFiguresOfTheRules(t *testing.T) {
	needs := map[proof.RuleKind]float64{}
	for _, r := range newRoad(proof.CycleConfig{Cylinders: 4}).Progress().Rules() {
		needs[r.Kind] = r.Need
	}
	require.Equal(t, map[proof.RuleKind]float64{proof.PendingGoes: 1, proof.LampGoesOut: 3, proof.StoredGoes: 40, proof.PermanentGoes: 1,
		proof.Disregarded: 15}, needs)
}

// The idle of a trip is at rest, a mile an hour at most (1.6 km/h; from memory), with nobody on the pedal: under 1,500 rpm,
// cold as it may be (common practice, no source).
func TestTripIdlesAtRest(t *testing.T) {
	for _, c := range []struct {
		rpm, speed float64
		want       bool
	}{{800, 0, true}, {800, 1, true}, {800, 2, false}, {800, 10, false}, {1499, 0, true}, {1500, 0, false}} {
		r := newRoad(proof.CycleConfig{Cylinders: 4})
		r.run(1, 800, 30, 30, 20)
		r.run(31, c.rpm, 30, c.speed, 20)
		r.run(700, 2000, 40, 60, 20)
		require.Equal(t, c.want, r.Progress().Now.Trip, "%+v", c)
	}
}
