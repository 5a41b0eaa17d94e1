package balance

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
	r := newRig(t, newEngine(1, 70, 70, 70, 70))
	says := func(change func(*misfire.Live), words string) {
		t.Helper()
		l := &r.sum.Live
		was := *l
		change(l)
		for range 600 { // 24 seconds, so that it is asked again
			r.tick()
		}
		assert.Equal(t, AskReady, r.runner.ask, words)
		assert.Equal(t, words, r.last().Text)
		*l = was
	}
	says(func(l *misfire.Live) { l.Running = false }, "start the engine in Park")
	r = newRig(t, newEngine(1, 70, 70, 70, 70))
	says(func(l *misfire.Live) { l.Gear.State = gear.Drive }, "stop, and select Park or Neutral")
	r = newRig(t, newEngine(1, 70, 70, 70, 70))
	says(func(l *misfire.Live) { l.Speed = 4 }, "stop, and select Park or Neutral")
	r = newRig(t, newEngine(1, 70, 70, 70, 70))
	says(func(l *misfire.Live) { l.RPM = 2500 }, "foot off the pedal: let it idle")
	r = newRig(t, newEngine(1, 70, 70, 70, 70))
	says(func(l *misfire.Live) { l.Coolant = 45 }, "let it warm up (the coolant has 45 of 70 degrees), or press Enter")

	r.sum.Live.Coolant = 45
	r.look()
	r.runner.Confirm(r.now)
	assert.Equal(t, AskBase, r.runner.ask, "measured cold because somebody said so")
	r.ask(AskUnplug)

	unknown := newRig(t, newEngine(1, 70, 70, 70, 70))
	unknown.sum.Live.Coolant, unknown.sum.Live.Speed, unknown.sum.Live.Gear = math.NaN(), math.NaN(), gear.Call{}
	unknown.ask(AskUnplug)
	assert.Less(t, unknown.now.Sub(morning()), 25*time.Second, "what the car does not tell is not waited for")
}

// An engine that leaves its idle goes back to the beginning of the cut; one that does so while a cylinder is off spoils
// the cut, which is made again.
func TestDisturbed(t *testing.T) {
	r := newRig(t, newEngine(2, 70, 70, 70, 70))
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
	assert.Equal(t, "this cut of cylinder 1 does not count: the engine did not stay at idle", r.of(Void)[0].Text)
	found := r.run()
	assert.Equal(t, 1, found.Cylinders[0].Cuts, "it was made up for at the end of the round")
	assert.Equal(t, 1, r.runner.done[3].Cylinder)
	assert.Empty(t, found.Weak)
}

// A cylinder whose cuts never count is given up, not cut for ever.
func TestVoidIsGivenUp(t *testing.T) {
	r := newRig(t, newEngine(2, 70, 70, 70))
	r.until(func() bool {
		if r.runner.ask == AskHold && r.runner.cylinder() == 2 {
			r.runner.void = "spoilt"
		}
		return r.runner.Over()
	})
	found := r.runner.Result()
	assert.Zero(t, found.Cylinders[1].Cuts)
	assert.LessOrEqual(t, len(r.of(Void)), mostVoids+MostRounds)
	assert.Contains(t, found.Sentence, "Too few cylinders were cut")
}

// Reading so seldom that no window holds enough is said of each cut; nothing is made up.
func TestSeldomRead(t *testing.T) {
	r := newRig(t, newEngine(2, 70, 70, 70))
	r.every = 1200 * time.Millisecond
	found := r.run()
	assert.Contains(t, found.Sentence, "No cylinder was cut")
	assert.Contains(t, r.of(Void)[0].Text, "the engine's speed was read too seldom")
}

func TestSkip(t *testing.T) {
	r := newRig(t, newEngine(4, 70, 70, 70, 70))
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
	assert.Contains(t, found.Sentence, "Too few cylinders")
}

// Repeat takes back the last fall and cuts that cylinder again.
func TestRepeat(t *testing.T) {
	r := newRig(t, newEngine(4, 70, 70, 70, 70))
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
		r := newRig(t, newEngine(4, 70, 70, 70, 70))
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
	r := newRig(t, newEngine(4, 70, 70, 70, 70))
	r.ask(AskUnplug)
	r.runner.Lost(r.now)
	assert.Empty(t, r.of(Late), "none is off")
	r.ask(AskHold)
	r.runner.Lost(r.now)
	assert.Equal(t, AskPlugIn, r.runner.ask)
	assert.Equal(t, "nothing is heard of the car: plug cylinder 1 in now", r.last().Text)
	r.until(func() bool { return len(r.of(Void)) > 0 })
	assert.Contains(t, r.of(Void)[0].Text, "nothing was heard of the car")
}

// Only the engine module's own speed counts.
func TestOtherModulesSpeed(t *testing.T) {
	r := NewRunner(Config{Cylinders: []int{1, 2, 3}}, func(Event) {})
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

func TestWords(t *testing.T) {
	for a := AskNothing; a <= AskCool; a++ {
		assert.NotEqual(t, "?", a.String())
	}
	for k := Asked; k <= Over; k++ {
		assert.NotEqual(t, "?", k.String())
	}
	for v := NotCut; v <= Weak; v++ {
		assert.NotEqual(t, "?", v.String())
	}
	assert.Equal(t, "?", Ask(99).String())
	assert.Equal(t, "?", Kind(99).String())
	assert.Equal(t, "?", Verdict(99).String())
	text, err := Weak.MarshalText()
	assert.NoError(t, err)
	assert.Equal(t, "gives_little_work", string(text))
	assert.Len(t, Cautions(), 7)
	assert.Contains(t, Cautions()[0], "Never pull a plug wire")
}
