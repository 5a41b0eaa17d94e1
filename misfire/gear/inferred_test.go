package gear_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/gear"
)

// simulation leaves a long calculation out of a short run, as that with the race detector: it is the work of one
// goroutine, of which the detector has nothing to say.
func simulation(t *testing.T) {
	t.Helper()
	if testing.Short() {
		t.Skip("a long calculation in one goroutine: run without -short")
	}
}

// backAndForth is park and drive in turn, on the brake.
func backAndForth(r *rig) {
	r.ignite()
	r.run(30 * time.Second)
	for range 5 {
		r.shift(true)
		r.run(40 * time.Second)
		r.shift(false)
		r.run(40 * time.Second)
	}
}

// town is a start, and stops at lights.
func town(r *rig) {
	r.ignite()
	r.run(30 * time.Second)
	r.shift(true)
	r.run(8 * time.Second)
	for range 4 {
		r.drive(45, 20*time.Second)
		r.run(25 * time.Second)
	}
}

func TestACarThatNeverMovedIsNeverCalledInGear(t *testing.T) {
	r := newRig(t, 1)
	r.judge.SetBox(gear.Automatic)
	r.run(3 * time.Second)
	require.Equal(t, gear.Unknown, r.last.State, "engine off says nothing")
	r.ignite()
	r.run(20 * time.Second)
	require.Equal(t, gear.ParkNeutral, r.last.State)
	require.Equal(t, gear.Inferred, r.last.Origin)
	r.shift(true)
	r.run(10 * time.Second)
	require.Equal(t, gear.Unknown, r.last.State)
	assert.Equal(t, gear.HigherIdle, r.last.Reason, "in gear or an accessory")
	r.shift(false)
	r.run(10 * time.Second)
	require.Equal(t, gear.ParkNeutral, r.last.State)
}

func TestOneMarkDatesTheWholeRestBack(t *testing.T) {
	r := newRig(t, 2)
	r.judge.SetBox(gear.Automatic)
	r.ignite()
	r.run(40 * time.Second)
	for i := range 4 {
		r.shift(true)
		r.run(time.Second)
		if i == 1 { // the first was in gear, too, and nobody said so
			r.judge.Mark(r.at, gear.Drive)
		}
		r.run(40 * time.Second)
		r.shift(false)
		r.run(40 * time.Second)
	}
	right, wrong := r.smoothed()
	assert.Greater(t, right, 0.85)
	assert.Less(t, wrong, 0.02)
}

func TestMovingOffDatesTheStartBack(t *testing.T) {
	r := newRig(t, 3)
	r.judge.SetBox(gear.Automatic)
	town(r)
	right, wrong := r.smoothed()
	assert.Greater(t, right, 0.8)
	assert.Less(t, wrong, 0.02)
	shifted := r.start.Add(31 * time.Second)
	for _, s := range r.judge.Spans() {
		if s.Call.State == gear.InGear {
			assert.WithinDuration(t, shifted, s.From, 1300*time.Millisecond, "nine in ten are within 1.3 s")
			break
		}
	}
}

func TestAManualIsFreeWheneverItStands(t *testing.T) {
	r := newRig(t, 4)
	r.judge.SetBox(gear.Manual)
	r.gearLoad, r.gearDrop, r.dipDepth = 0, 0, 0
	r.ignite()
	r.run(30 * time.Second)
	for range 3 {
		r.drive(40, 15*time.Second)
		r.inGear = false
		r.run(20 * time.Second)
		r.accessory(6, 20, 0)
		r.run(10 * time.Second)
		r.accessory(-6, 20, 0)
	}
	for _, s := range r.judge.Spans() {
		assert.NotEqual(t, gear.InGear, s.Call.State)
	}
	right, _ := r.smoothed()
	assert.Greater(t, right, 0.85)
}

// What was asked for holds from the step that answers, under its own name: at rest nothing else tells R from D.
func TestPromptsNameTheState(t *testing.T) {
	r := newRig(t, 5)
	r.judge.SetBox(gear.Automatic)
	r.ignite()
	r.run(20 * time.Second)
	for _, ask := range []gear.State{gear.Drive, gear.ParkNeutral, gear.Reverse} {
		r.judge.Prompt(r.at, ask)
		r.run(1500 * time.Millisecond)
		r.shift(ask.Loaded())
		r.run(20 * time.Second)
		assert.Equal(t, ask, r.last.State)
		assert.Equal(t, gear.Marked, r.last.Origin)
	}
	right, wrong := r.smoothed()
	assert.Greater(t, right, 0.7)
	assert.Zero(t, wrong)
}

// A prompt that nobody obeys names no state of a box whose step would be seen.
func TestAPromptNotObeyedIsNotBelieved(t *testing.T) {
	r := newRig(t, 6)
	r.judge.SetBox(gear.Automatic)
	r.ignite()
	r.run(20 * time.Second)
	r.judge.Prompt(r.at, gear.Drive)
	r.run(30 * time.Second)
	assert.NotEqual(t, gear.Drive, r.last.State)
	r.shift(true)
	r.run(20 * time.Second)
	assert.Equal(t, gear.Drive, r.last.State, "the first step of the right sign answers, however late")
}

func TestAHoleCostsItsOwnTimeAlone(t *testing.T) {
	r := newRig(t, 7)
	r.judge.SetBox(gear.Automatic)
	town(r)
	require.Equal(t, gear.InGear, r.last.State)
	r.at = r.at.Add(5 * time.Second)
	r.run(400 * time.Millisecond)
	assert.Equal(t, gear.Unknown, r.last.State, "the road speed is not sure yet")
	r.run(time.Second)
	assert.Equal(t, gear.InGear, r.last.State)
}

func TestARacingEngineAtRestIsInPark(t *testing.T) {
	r := newRig(t, 8)
	r.ignite()
	r.run(20 * time.Second)
	r.throttle = 15
	r.run(30 * time.Second)
	r.throttle = 0
	r.run(20 * time.Second)
	right, wrong := r.smoothed()
	assert.Greater(t, right, 0.8)
	assert.Zero(t, wrong)
}

func TestToldLaterJudgesThePastAnew(t *testing.T) {
	r := newRig(t, 9)
	town(r)
	before := r.judge.Revision()
	r.judge.SetBox(gear.Automatic)
	assert.Greater(t, r.judge.Revision(), before)
	right, _ := r.smoothed()
	assert.Greater(t, right, 0.8)
}

// A reported gear leaves nothing open.
func TestAReportingCarSettlesAtOnce(t *testing.T) {
	r := newRig(t, 10)
	r.reports = true
	town(r)
	assert.Equal(t, r.at, r.judge.Settled(r.at))
	right, wrong := r.smoothed()
	assert.Greater(t, right, 0.97)
	assert.Less(t, wrong, 0.02)
}

func TestInferringLeavesTheRestOpen(t *testing.T) {
	r := newRig(t, 11)
	town(r)
	assert.True(t, r.judge.Settled(r.at).Before(r.start.Add(5*time.Second)))
}
