package guide

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/obd"
)

// The engine must be warm and idle in Park or Neutral before anything is measured; who cannot wait says so.
func TestReady(t *testing.T) {
	r := newCutRig(t, newEngine(1, 70, 70, 70, 70))
	says := func(change func(*misfire.Live), what Saying) {
		t.Helper()
		l := &r.sum.Live
		was := *l
		change(l)
		for range 600 { // 24 seconds, so that it is asked again
			r.tick()
		}
		assert.Equal(t, AskReady, r.runner.ask, what)
		assert.Equal(t, what, r.last().Say)
		*l = was
	}
	says(func(l *misfire.Live) { l.Running = false }, told(DoStart))
	r = newCutRig(t, newEngine(1, 70, 70, 70, 70))
	says(func(l *misfire.Live) { l.Gear.State = gear.Drive }, told(DoStopPark))
	r = newCutRig(t, newEngine(1, 70, 70, 70, 70))
	says(func(l *misfire.Live) { l.Speed = 4 }, told(DoStopPark))
	r = newCutRig(t, newEngine(1, 70, 70, 70, 70))
	says(func(l *misfire.Live) { l.RPM = 2500 }, told(DoIdle))
	r = newCutRig(t, newEngine(1, 70, 70, 70, 70))
	says(func(l *misfire.Live) { l.Coolant = 45 }, Saying{Kind: DoWarm, Value: 45, Of: 70})

	r.sum.Live.Coolant = 45
	r.look()
	r.runner.Confirm(r.now)
	assert.Equal(t, AskBase, r.runner.ask, "measured cold because somebody said so")
	r.ask(AskUnplug)

	unknown := newCutRig(t, newEngine(1, 70, 70, 70, 70))
	unknown.sum.Live.Coolant, unknown.sum.Live.Speed, unknown.sum.Live.Gear = math.NaN(), math.NaN(), gear.Call{}
	unknown.ask(AskUnplug)
	assert.Less(t, unknown.now.Sub(morning()), 25*time.Second, "what the car does not tell is not waited for")
}

// An engine that leaves its idle goes back to the beginning of the cut; one that does so while a cylinder is off spoils
// the cut, which is made again.
func TestDisturbed(t *testing.T) {
	r := newCutRig(t, newEngine(2, 70, 70, 70, 70))
	r.ask(AskUnplug)
	r.act = nil
	r.sum.Live.Gear.State = gear.Drive
	r.look()
	assert.Equal(t, AskReady, r.runner.ask)
	r.sum.Live.Gear.State = gear.ParkNeutral
	r.ask(AskUnplug)
	assert.Equal(t, 1, r.runner.Status().Cylinder)

	r.ask(AskHold)
	r.sum.Live.Running = false
	r.look()
	r.sum.Live.Running = true
	r.until(func() bool { return len(r.of(Void)) == 1 })
	assert.Equal(t, Saying{Kind: CutVoid, Cylinder: 1, Why: IdleLeft}, r.of(Void)[0].Say)
	found := r.run()
	assert.Equal(t, 1, found.Cylinders[0].Cuts, "it was made up for at the end of the round")
	assert.Equal(t, 1, r.runner.done[3].Cylinder)
	assert.Empty(t, found.Weak)
}

// A cylinder whose cuts never count is given up, not cut for ever.
func TestVoidIsGivenUp(t *testing.T) {
	r := newCutRig(t, newEngine(2, 70, 70, 70))
	r.until(func() bool {
		if r.runner.ask == AskHold && r.runner.cylinder() == 2 {
			r.runner.void = ReadSeldom
		}
		return r.runner.Over()
	})
	found := r.runner.Result()
	assert.Zero(t, found.Cylinders[1].Cuts)
	assert.LessOrEqual(t, len(r.of(Void)), mostVoids+MostRounds)
	assert.Equal(t, TooFew, found.Finding)
}

// Reading so seldom that no window holds enough is said of each cut; nothing is made up.
func TestSeldomRead(t *testing.T) {
	r := newCutRig(t, newEngine(2, 70, 70, 70))
	r.every = 1200 * time.Millisecond
	found := r.run()
	assert.Equal(t, NoneCut, found.Finding)
	assert.Equal(t, ReadSeldom, r.of(Void)[0].Say.Why)
}

func TestSkipCut(t *testing.T) {
	r := newCutRig(t, newEngine(4, 70, 70, 70, 70))
	r.runner.Skip(r.now) // nothing to skip yet
	r.ask(AskUnplug)
	r.act = nil
	r.runner.Skip(r.now)
	assert.Equal(t, 2, r.runner.Status().Cylinder)
	assert.Len(t, r.of(Skipped), 1)
	r.ask(AskHold)
	r.runner.Skip(r.now) // cylinder 2, which is off
	r.ask(AskCool)
	assert.Equal(t, 2, r.runner.Status().Cylinder, "it is asked to be plugged in all the same")
	found := r.run()
	assert.Equal(t, []int{0, 0, 1, 1}, []int{found.Cylinders[0].Cuts, found.Cylinders[1].Cuts, found.Cylinders[2].Cuts, found.Cylinders[3].Cuts})
	assert.Equal(t, TooFew, found.Finding)
}

// Repeat takes back the last fall and cuts that cylinder again.
func TestRepeatCut(t *testing.T) {
	r := newCutRig(t, newEngine(4, 70, 70, 70, 70))
	r.ask(AskUnplug)
	r.runner.Repeat(r.now) // nothing to repeat yet
	assert.Equal(t, AskUnplug, r.runner.ask)
	r.until(func() bool { return len(r.of(Measured)) == 1 })
	r.runner.Repeat(r.now)
	r.ask(AskUnplug)
	assert.Equal(t, 1, r.runner.Status().Cylinder)
	r.until(func() bool { return len(r.of(Measured)) == 2 })
	r.ask(AskUnplug)
	assert.Equal(t, 2, r.runner.Status().Cylinder)
	r.act = nil
	r.runner.Repeat(r.now)
	assert.Equal(t, 1, r.runner.Status().Cylinder)
	found := r.run()
	for _, c := range found.Cylinders {
		assert.Equal(t, 1, c.Cuts)
	}
}

// The catalyst cools for longer while the lamp flashes.
func TestFlashingLamp(t *testing.T) {
	cools := func(mil misfire.MIL) time.Duration {
		r := newCutRig(t, newEngine(4, 70, 70, 70, 70))
		r.ask(AskCool)
		r.sum.Live.MIL = mil
		from := r.now
		r.ask(AskUnplug)
		return r.now.Sub(from)
	}
	assert.InDelta(t, 30, cools(misfire.MILOn).Seconds(), 1)
	assert.InDelta(t, 60, cools(misfire.MILFlashing).Seconds(), 1)
}

// Nobody counts for a cylinder that is off once nothing is heard of the car.
func TestLost(t *testing.T) {
	r := newCutRig(t, newEngine(4, 70, 70, 70, 70))
	r.ask(AskUnplug)
	r.runner.Lost(r.now)
	assert.Empty(t, r.of(Late), "none is off")
	r.ask(AskHold)
	r.runner.Lost(r.now)
	assert.Equal(t, AskPlugIn, r.runner.ask)
	assert.Equal(t, Saying{Kind: DoPlugInLost, Cylinder: 1}, r.last().Say)
	r.until(func() bool { return len(r.of(Void)) > 0 })
	assert.Equal(t, CarNotHeard, r.of(Void)[0].Say.Why)
}

// Only the engine module's own speed counts.
func TestOtherModulesSpeed(t *testing.T) {
	r := NewBalanceTest(BalanceConfig{Cylinders: []int{1, 2, 3}}, func(Event) {})
	at := morning()
	sample := func(readings ...obd.Reading) {
		at = at.Add(time.Second)
		r.Add(&obd.Sample{Sent: at, Received: at.Add(20 * time.Millisecond), Readings: readings})
	}
	other := speedOf(100)
	other.Module.ID = 0x7E9
	sample(speedOf(740), other, obd.Reading{Module: module(), Service: obd.LiveData, ID: obd.PIDLoad, Value: 21})
	sample(speedOf(math.NaN()))
	sample(other)
	at = at.Add(-3 * time.Second)
	sample(speedOf(750)) // older than what was read
	assert.Equal(t, trace{{morning().Add(time.Second + 10*time.Millisecond), 740}}, r.trace)
}
