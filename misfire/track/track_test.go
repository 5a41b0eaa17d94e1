package track

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"stumble/obd"
)

var (
	noon  = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	motor = obd.Module{ID: 0x7E8, Bits: 11}
	box   = obd.Module{ID: 0x7E9, Bits: 11}
)

func after(seconds float64) time.Time { return noon.Add(time.Duration(seconds * float64(time.Second))) }

func of(m obd.Module, id byte, v float64) *obd.Reading {
	return &obd.Reading{Service: obd.LiveData, ID: id, Module: m, Value: v}
}

// The module with the lowest address that tells an engine speed is the engine's, whoever speaks first.
func TestWhoseWordCounts(t *testing.T) {
	s := New()
	assert.Zero(t, s.RPM.At)
	assert.True(t, math.IsNaN(s.Load.V))
	s.Take(of(box, obd.PIDLoad, 12), after(0))
	assert.Equal(t, 12.0, s.Load.V, "nobody has told an engine speed yet")
	assert.Equal(t, Told|Turned|Started, s.Take(of(box, obd.PIDRPM, 800), after(0.1)))
	assert.Equal(t, Told|Turned, s.Take(of(motor, obd.PIDRPM, 700), after(0.2)))
	assert.Zero(t, s.Take(of(box, obd.PIDRPM, 900), after(0.3)))
	assert.Zero(t, s.Take(of(box, obd.PIDCoolant, 90), after(0.3)))
	assert.False(t, s.Warm())
	assert.Equal(t, Told, s.Take(of(motor, obd.PIDCoolant, 90), after(0.4)))
	assert.True(t, s.Warm())
	engine, found := s.Engine()
	assert.True(t, found)
	assert.Equal(t, motor, engine)

	assert.Equal(t, Told, s.Take(of(box, obd.PIDSpeed, 30), after(1)), "road speed is believed of any")
	assert.Zero(t, s.Take(of(motor, obd.PIDSpeed, 31), after(1.5)), "but of one at a time")
	assert.Equal(t, Told, s.Take(of(motor, obd.PIDSpeed, 31), after(3.1)), "until that falls silent")

	assert.Zero(t, s.Take(of(motor, obd.PIDRPM, math.NaN()), after(4)))
	assert.Zero(t, s.Take(&obd.Reading{Service: obd.TestResults, ID: obd.PIDRPM, Module: motor, Value: 1}, after(4)))
	assert.Zero(t, s.Take(of(motor, obd.PIDTrimShort1, 3), after(4)))
	assert.Equal(t, 700.0, s.RPM.V)
}

// Starts from 400 rpm on; a stop takes two readings under 100 and a second: one spoiled reading is none.
func TestStartsAndStops(t *testing.T) {
	type told struct {
		at, rpm float64
		want    Event
	}
	for name, story := range map[string][]told{
		"cranking is no start":        {{0, 0, 0}, {0.5, 250, 0}, {1, 399, 0}, {1.5, 400, Started}},
		"found running":               {{0, 700, Started}, {1, 700, 0}},
		"one reading of nothing":      {{0, 700, Started}, {0.1, 0, 0}, {0.2, 700, 0}, {5, 0, 0}, {5.1, 700, 0}},
		"two in too little time":      {{0, 700, Started}, {0.1, 0, 0}, {0.9, 0, 0}, {1, 700, 0}},
		"a stop":                      {{0, 700, Started}, {0.1, 99, 0}, {0.6, 0, 0}, {1.1, 0, Stopped}, {2, 0, 0}, {3, 600, Started}},
		"slow is not standing":        {{0, 700, Started}, {1, 100, 0}, {2, 100, 0}, {3, 100, 0}},
		"it stood before a hole":      {{0, 700, Started}, {0.1, 0, 0}, {9, 700, Stopped | Started}},
		"a hole alone tells of none":  {{0, 700, Started}, {9, 700, 0}},
		"two readings are enough":     {{0, 700, Started}, {1, 0, 0}, {2, 0, Stopped}},
		"stood and stands on, seldom": {{0, 700, Started}, {1, 0, 0}, {4, 0, Stopped}},
	} {
		t.Run(name, func(t *testing.T) {
			s := New()
			for _, step := range story {
				assert.Equal(t, Told|Turned|step.want, s.Take(of(motor, obd.PIDRPM, step.rpm), after(step.at)), fmt.Sprint(step.at))
			}
		})
	}
	s := New()
	for _, at := range []float64{0, 0.1, 0.7, 1.2} {
		s.Take(of(motor, obd.PIDRPM, map[bool]float64{true: 700}[at == 0]), after(at))
	}
	assert.False(t, s.Running)
	assert.Equal(t, after(0.1), s.StoodSince())
}

func TestFresh(t *testing.T) {
	v := Unknown()
	assert.False(t, v.Fresh(after(0), time.Hour))
	v = Value{1, after(0)}
	assert.True(t, v.Fresh(after(2), Hole))
	assert.False(t, v.Fresh(after(2.001), Hole))
	assert.Equal(t, after(1), Instant(&obd.Sample{Sent: after(0), Received: after(2)}))
}

// Warm is from 70 degrees Celsius on, 343 K: the end of a warm-up cycle in UN R83 Annex 11 (from memory).
func TestWarm(t *testing.T) {
	for coolant, warm := range map[float64]bool{60: false, 69: false, 70: true, 71: true} {
		s := New()
		s.Take(of(motor, obd.PIDCoolant, coolant), after(0))
		assert.Equal(t, warm, s.Warm(), "%v degrees", coolant)
	}
}
