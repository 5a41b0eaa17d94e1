package cause_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"stumble/misfire"
	"stumble/misfire/cause"
	"stumble/misfire/gear"
	"stumble/obd"
)

var engineModule, otherModule = obd.Module{ID: 0x7E8, Bits: 11}, obd.Module{ID: 0x7E9, Bits: 11}

// teller makes samples of an engine.
type teller struct {
	c  cause.Collector
	at time.Time
}

func (r *teller) tell(values map[byte]float64) {
	s := obd.Sample{Sent: r.at, Received: r.at}
	for id, v := range values {
		s.Readings = append(s.Readings, obd.Reading{Module: engineModule, Service: obd.LiveData, ID: id, Value: v})
	}
	r.c.Add(&s)
	r.at = r.at.Add(time.Second)
}

// runs lets the engine run in one manner for some seconds, trims last.
func (r *teller) runs(seconds int, rpm, load, speed, loop, short, long float64) {
	for range seconds {
		r.tell(map[byte]float64{obd.PIDRPM: rpm, obd.PIDLoad: load, obd.PIDSpeed: speed, obd.PIDFuelSystem: loop})
		r.tell(map[byte]float64{obd.PIDTrimShort1: short, obd.PIDTrimLong1: long, obd.PIDTrimShort2: -short, obd.PIDTrimLong2: long})
	}
}

func TestTrimsByPlace(t *testing.T) {
	r := teller{at: epoch}
	closed, open := float64(obd.ClosedLoop), float64(obd.OpenLoopDrive)
	r.runs(10, 740, 21, 0, closed, 2, 5)
	r.runs(10, 2500, 24, 0, closed, 1, 5)
	r.runs(10, 1900, 40, 60, closed, 0, 5)
	r.runs(10, 3000, 75, 80, closed, -1, 5)
	r.runs(10, 3000, 90, 90, open, 0, 40)
	r.runs(10, 2000, 13, 60, closed, 0, 50) // overrun
	r.runs(10, 1500, 24, 0, closed, 0, 50)  // between idle and raised idle
	trims := r.c.Trims()
	for place, want := range map[cause.TrimPlace]float64{cause.TrimIdle: 7, cause.TrimRaised: 6, cause.TrimCruise: 5, cause.TrimPull: 4} {
		assert.InDelta(t, want, trims[0][place].Mean, 1e-9, place)
		assert.InDelta(t, 10-want, trims[1][place].Mean, 1e-9, "bank 2 %s", place)
		assert.InDelta(t, 8, trims[0][place].Samples, 1, "the first seconds settle")
	}
	var sum cause.Trims
	sum.Add(trims)
	sum.Add(trims)
	assert.Equal(t, trims[0][cause.TrimIdle].Mean, sum[0][cause.TrimIdle].Mean)
	assert.Equal(t, 2*trims[0][cause.TrimIdle].Samples, sum[0][cause.TrimIdle].Samples)
}

// Buses before CAN give one value at a time; a trim is whole once both of its parts were heard.
func TestTrimsOneByOne(t *testing.T) {
	r := teller{at: epoch}
	for range 20 {
		r.tell(map[byte]float64{obd.PIDRPM: 740})
		r.tell(map[byte]float64{obd.PIDFuelSystem: float64(obd.ClosedLoop)})
		r.tell(map[byte]float64{obd.PIDTrimShort1: 1})
	}
	assert.Zero(t, r.c.Trims()[0][cause.TrimIdle].Samples, "no long term yet")
	r.tell(map[byte]float64{obd.PIDTrimLong1: 6})
	assert.InDelta(t, 7, r.c.Trims()[0][cause.TrimIdle].Mean, 1e-9)
	assert.Zero(t, r.c.Trims()[1][cause.TrimIdle].Samples)
}

// What another module says of the engine is not believed, nor are counts or freeze frames taken for trims.
func TestTrimsOfTheEngineAlone(t *testing.T) {
	r := teller{at: epoch}
	r.runs(10, 740, 21, 0, float64(obd.ClosedLoop), 2, 5)
	s := obd.Sample{Sent: r.at, Received: r.at}
	for _, id := range []byte{obd.PIDTrimShort1, obd.PIDTrimLong1} {
		s.Readings = append(s.Readings, obd.Reading{Module: otherModule, Service: obd.LiveData, ID: id, Value: 50},
			obd.Reading{Module: engineModule, Service: obd.FreezeFrames, ID: id, Value: 50},
			obd.Reading{Module: engineModule, Service: obd.LiveData, ID: id, Part: 1, Value: 50})
	}
	r.c.Add(&s)
	assert.InDelta(t, 7, r.c.Trims()[0][cause.TrimIdle].Mean, 1e-9)
}

// A car that does not tell its loop is taken to correct once it is warm.
func TestTrimsWithoutLoop(t *testing.T) {
	for coolant, want := range map[float64]bool{60: false, 80: true} {
		r := teller{at: epoch}
		for range 10 {
			r.tell(map[byte]float64{obd.PIDRPM: 740})
			r.tell(map[byte]float64{obd.PIDCoolant: coolant})
			r.tell(map[byte]float64{obd.PIDTrimShort1: 1, obd.PIDTrimLong1: 1})
		}
		assert.Equal(t, want, r.c.Trims()[0][cause.TrimIdle].Samples > 0, "%v degrees", coolant)
	}
}

// Windows go to the heat they ran in; those of several places, or not counted, nowhere.
func TestHeatOfWindows(t *testing.T) {
	r := teller{at: epoch}
	r.tell(map[byte]float64{obd.PIDRPM: 740})
	r.tell(map[byte]float64{obd.PIDCoolant: 62})
	r.at = epoch.Add(time.Minute)
	r.tell(map[byte]float64{obd.PIDCoolant: 88})
	idle := misfire.Condition{Gear: gear.ParkNeutral, Load: misfire.BandOfLoad(21), RPM: misfire.BandOfRPM(740)}
	busier, moving := idle, misfire.Condition{Gear: gear.Moving, Load: misfire.BandOfLoad(45), RPM: misfire.BandOfRPM(1900)}
	busier.Load = misfire.BandOfLoad(15)
	window := func(at time.Duration, counted bool, conditions ...misfire.Condition) *misfire.Window {
		w := &misfire.Window{From: epoch.Add(at), To: epoch.Add(at + 10*time.Second), Counted: counted,
			Counts: []misfire.WindowCount{{Cylinder: 2, Misses: 3}}}
		for _, c := range conditions {
			w.Stretches = append(w.Stretches, misfire.Stretch{Condition: c, Firings: 50})
		}
		return w
	}
	r.c.AddWindow(window(10*time.Second, true, idle, busier)) // one place though two conditions
	r.c.AddWindow(window(80*time.Second, true, idle))
	r.c.AddWindow(window(20*time.Second, true, idle, moving))
	r.c.AddWindow(window(20*time.Second, false, idle))
	r.c.AddWindow(window(-time.Minute, true, idle)) // before the coolant was known
	heat, found := r.c.Heat(), map[int]cause.Tally{}
	for bin, tally := range heat[1][cause.IdleNeutral] {
		if tally != (cause.Tally{}) {
			found[bin] = tally
		}
	}
	assert.Equal(t, map[int]cause.Tally{5: {Misses: 3, Firings: 100}, 10: {Misses: 3, Firings: 50}}, found)
	assert.Equal(t, cause.Tally{}, heat[1][cause.Cruise][5])
}
