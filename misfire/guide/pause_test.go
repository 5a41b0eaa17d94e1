package guide

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/gear"
)

// obeying drives as the test asks until it is over, and returns for how long at once it was in gear on the brake, and for
// how long in Park.
func (r *rig) obeying() (inGear, inPark []time.Duration) {
	r.t.Helper()
	was := gear.Unknown
	for began := r.now; !r.runner.Over(); {
		require.Less(r.t, r.now.Sub(began), time.Hour)
		l := parked()
		if s := r.runner.Status(); s != nil && s.Ask == AskCondition && s.Step.OnBrake() {
			l = live(s.Step.Gear, 750, 34, 0)
		}
		of := &inGear
		if l.Gear.State == gear.ParkNeutral {
			of = &inPark
		}
		if onBrake := l.Gear.State != gear.ParkNeutral; len(*of) == 0 || onBrake == (was == gear.ParkNeutral) {
			*of = append(*of, 0)
		}
		was = l.Gear.State
		r.drive(l, tick)
		(*of)[len(*of)-1] += tick
	}
	return inGear, inPark
}

// No more than three minutes at once in gear on the brake, then a minute in Park: the transmission has to cool (common
// practice, no source). The transmission does not know of steps.
func TestPauseForTheTransmission(t *testing.T) {
	r := newRig(t, "drive:4m,reverse:2m,drive:4m")
	inGear, _ := r.obeying()
	for _, d := range inGear {
		assert.LessOrEqual(t, d, 3*time.Minute+2*time.Second)
	}
	asked := 0
	for _, e := range r.told {
		if e.Say.Kind == DoPause {
			asked++
			assert.InDelta(t, 3, e.Say.Value, 1e-9, "and it says why")
		}
	}
	assert.Equal(t, 3, asked, "ten minutes in pieces of three")
	for i, want := range []time.Duration{4 * time.Minute, 2 * time.Minute, 4 * time.Minute} {
		assert.InDelta(t, want.Seconds(), r.results()[i].In.Seconds(), 1)
	}
}

// A pause counts from when the car is in Park, and is asked for again until it is.
func TestPauseWaitsForPark(t *testing.T) {
	r := newRig(t, "reverse:4m")
	r.drive(inR(), 3*time.Minute+time.Second)
	require.Equal(t, AskRest, r.last().Ask)
	assert.Equal(t, Saying{Kind: DoPause, Mark: true, Value: 3}, r.last().Say, "Reverse ends with a mark")
	told := len(r.told)
	r.drive(inR(), 2*time.Minute)
	assert.Equal(t, AskRest, r.last().Ask)
	assert.Greater(t, len(r.told), told+3)
	left := r.runner.Status().Left
	assert.InDelta(t, 120, left.Seconds(), 2, "a minute in Park, and one in Reverse")
	r.drive(parked(), time.Minute+time.Second)
	assert.Equal(t, AskCondition, r.last().Ask)
	r.until(inR(), Ended)
}

// A step on a hot transmission begins with the pause when less than half a minute of the three is left for it (common
// practice, no source).
func TestPauseBeforeAStep(t *testing.T) {
	for length, ask := range map[string]Ask{"140s": AskCondition, "149s": AskCondition, "152s": AskRest} {
		r := newRig(t, "drive:"+length+",reverse:2m")
		r.until(inDrive(), Ended)
		assert.Equal(t, "reverse", r.last().Step.Key)
		assert.Equal(t, ask, r.last().Ask, length)
	}
}
