package misfire

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"stumble/obd"
)

// A flashing lamp changes once a second (13 CCR 1968.2 (e)(3.4.1)(A)(ii)); the car tells its state when asked.
func TestLamp(t *testing.T) {
	tests := []struct {
		name  string
		every time.Duration // between two answers
		says  string        // one letter an answer
		want  MIL
	}{
		{"never asked", time.Second, "", MILUnknown},
		{"off", time.Second, "....", MILOff},
		{"steady", time.Second, "########", MILOn},
		{"came on", time.Second, "....####", MILOn},
		{"flashing", 500 * time.Millisecond, "##..##..##..##", MILFlashing},
		{"flashing, seen by fits", 1500 * time.Millisecond, "#.#.##.#", MILFlashing},
		{"flashing stopped, steady", time.Second, "#.#.#.#.############", MILOn},
		{"flashing stopped, off", time.Second, "#.#.#.#.............", MILOff},
		{"two changes are no flashing", time.Second, "##...##", MILOn},
		{"slow changes are none", 10 * time.Second, "#.#.#.#.", MILOff},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var l lamp
			for i, c := range tt.says {
				l.add(c == '#', noon.Add(time.Duration(i)*tt.every))
			}
			assert.Equal(t, tt.want, l.state())
		})
	}
	assert.Equal(t, "off on flashing not known", MILOff.String()+" "+MILOn.String()+" "+MILFlashing.String()+" "+MILUnknown.String())
}

func TestLampOfTheEngineModule(t *testing.T) {
	tally := NewTally(Config{})
	tally.Add(sampleAt(0, live(obd.PIDRPM, 700)))
	other := live(obd.PIDStatus, 1)
	other.Module = tcm
	tally.Add(sampleAt(time.Second, live(obd.PIDStatus, 0), other))
	assert.Equal(t, MILOff, tally.Summary().Live.MIL)
	tally.Add(sampleAt(2*time.Second, live(obd.PIDStatus, 1)))
	assert.Equal(t, MILOn, tally.Summary().Live.MIL)
	codes := live(obd.PIDStatus, 3)
	codes.Part = obd.PartCodeCount
	tally.Add(sampleAt(3*time.Second, codes))
	assert.Equal(t, MILOn, tally.Summary().Live.MIL)
}

func TestFlashingLampSaysEaseOff(t *testing.T) {
	tally := NewTally(Config{})
	for i := range 10 {
		at := time.Duration(i) * time.Second
		tally.Add(sampleAt(at, live(obd.PIDRPM, 700), live(obd.PIDStatus, float64(i%2))))
	}
	s := tally.Summary()
	assert.Equal(t, MILFlashing, s.Live.MIL)
	assert.True(t, s.Verdict.EaseOff)
}
