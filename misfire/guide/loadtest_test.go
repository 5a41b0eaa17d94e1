package guide

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/gear"
)

func TestWholeTest(t *testing.T) {
	r := newRig(t, "")
	r.sum.Refresh = every(200)
	r.accuse(30, 1000, 1)
	for i, l := range []misfire.Live{parked(), inDrive(), inR(), raised(), cruising()} {
		r.until(l, Ended)
		r.drive(l, tick)
		assert.Equal(t, All()[i].Key, r.told[len(r.told)-2].Step.Key)
		assert.Equal(t, i+2, r.last().Number)
		assert.Equal(t, 6, r.last().Of)
		assert.Equal(t, Saying{Kind: DoStep, Step: All()[i+1].Key}, r.last().Say)
	}
	r.until(pulling(), Ended)
	assert.Equal(t, AskLast, r.last().Ask, "the last pull's misses are not shown yet")
	waited := r.until(parked(), Over)
	assert.InDelta(t, 16+3, waited.Seconds(), 1, "one refresh of 200 revolutions, and a round of readings")
	assert.Nil(t, r.last().Step)
	assert.Nil(t, r.runner.Status())
	for _, res := range r.results() {
		assert.Equal(t, Done, res.Outcome, res.Step.Key)
		assert.Zero(t, res.Remark, res.Step.Key)
	}
	told := len(r.told)
	r.runner.Skip(r.now)
	r.runner.Repeat(r.now)
	r.runner.Stop(r.now)
	r.drive(parked(), time.Minute)
	assert.Len(t, r.told, told, "nothing is told after the end")
}

// Time out of the condition counts for nothing; what is wrong is told after a while, and again, and that it is right.
func TestOutOfCondition(t *testing.T) {
	r := newRig(t, "drive")
	r.drive(parked(), 12*time.Second)
	require.Equal(t, []Kind{Begun}, r.kinds(), "the driver was just told")
	assert.Equal(t, Saying{Kind: DoSelect, Gear: gear.Drive}, r.runner.Status().Say)
	assert.False(t, r.runner.Status().In)
	r.drive(parked(), 10*time.Second)
	require.Equal(t, []Kind{Begun, Asked}, r.kinds(), "and is told again")
	assert.Equal(t, Saying{Kind: DoSelect, Gear: gear.Drive}, r.last().Say)
	assert.Zero(t, r.results()[0].In)

	r.drive(inDrive(), 30*time.Second)
	require.Equal(t, []Kind{Begun, Asked, Held}, r.kinds())
	assert.True(t, r.runner.Status().In)
	assert.InDelta(t, 30, r.results()[0].In.Seconds(), 1)

	creeping := live(gear.Drive, 750, 34, 3)
	r.drive(creeping, 4*time.Second)
	r.drive(inDrive(), 10*time.Second)
	require.Equal(t, Held, r.last().Kind, "a short slip is not spoken of")
	r.drive(creeping, 8*time.Second)
	require.Equal(t, told(DoStopHold), r.last().Say)
	r.drive(inDrive(), tick)
	require.Equal(t, Held, r.last().Kind)
	assert.InDelta(t, 40, r.results()[0].In.Seconds(), 1)
}

// A link that drops for half a minute: what ran meanwhile nobody knows.
func TestHoleCountsForNothing(t *testing.T) {
	r := newRig(t, "park")
	r.drive(parked(), 20*time.Second)
	before := r.results()[0]
	r.now = r.now.Add(30 * time.Second)
	r.drive(parked(), tick)
	assert.Equal(t, before.In, r.results()[0].In)
	assert.InDelta(t, before.Firings, r.results()[0].Firings, 1e-9)
	r.now = r.now.Add(-time.Minute) // a clock that was set back
	r.drive(parked(), tick)
	assert.Equal(t, before.In, r.results()[0].In)
}

func TestEngineOff(t *testing.T) {
	r := newRig(t, "park,drive")
	r.drive(misfire.Live{}, 30*time.Second)
	assert.Equal(t, told(DoStart), r.last().Say)
	assert.Equal(t, told(DoStart), r.runner.Status().Say)
	r.until(parked(), Held)
}

func TestSkip(t *testing.T) {
	r := newRig(t, "park,drive")
	r.drive(parked(), 10*time.Second)
	r.runner.Skip(r.now)
	assert.Equal(t, []Kind{Begun, Held, Skipped, Begun}, r.kinds())
	assert.Equal(t, "drive", r.last().Step.Key)
	r.runner.Skip(r.now)
	r.until(parked(), Over)
	assert.Equal(t, LeftOut, r.results()[0].Outcome)
	assert.InDelta(t, 10, r.results()[0].In.Seconds(), 1, "what ran is kept")
	assert.Equal(t, LeftOut, r.results()[1].Outcome)
}

func TestRepeat(t *testing.T) {
	r := newRig(t, "park,drive")
	r.sum.Refresh = every(200)
	r.accuse(30, 1000, 1)
	r.drive(parked(), 20*time.Second)
	r.runner.Repeat(r.now)
	assert.Equal(t, Repeated, r.last().Kind)
	assert.Zero(t, r.results()[0].In, "from its beginning")
	r.until(parked(), Ended)
	r.runner.Repeat(r.now) // Drive has hardly begun: the step before it is meant
	assert.Equal(t, "park", r.last().Step.Key)
	assert.Equal(t, NotReached, r.results()[1].Outcome)
	r.until(parked(), Ended)
	r.until(inDrive(), Ended)
	assert.Equal(t, Done, r.results()[1].Outcome)
}

func TestStop(t *testing.T) {
	r := newRig(t, "park,drive,reverse")
	r.runner.Skip(r.now) // before the first step there is nothing to skip or repeat
	r.runner.Repeat(r.now)
	require.Empty(t, r.told)
	r.until(parked(), Ended)
	r.drive(inDrive(), 5*time.Second)
	r.runner.Stop(r.now)
	assert.True(t, r.runner.Over())
	assert.Equal(t, Over, r.last().Kind)
	var outcomes []Outcome
	for _, res := range r.results() {
		outcomes = append(outcomes, res.Outcome)
	}
	assert.Equal(t, []Outcome{Done, Stopped, NotReached}, outcomes)

	unbegun := newRig(t, "park")
	unbegun.runner.Stop(unbegun.now)
	assert.Equal(t, []Kind{Over}, unbegun.kinds())
	assert.Equal(t, NotReached, unbegun.results()[0].Outcome)
}

// The catalyst at risk breaks a step off; the second time, or when cooling does not help, the test.
func TestEaseOff(t *testing.T) {
	r := newRig(t, "cruise,pull,park")
	r.drive(cruising(), 20*time.Second)
	r.sum.Verdict.EaseOff = true
	r.drive(cruising(), tick)
	require.Equal(t, Broken, r.last().Kind)
	assert.Equal(t, AskCool, r.last().Ask)
	assert.InDelta(t, 60, r.runner.Status().Left.Seconds(), 1)
	r.sum.Verdict.EaseOff = false
	cooled := r.until(parked(), Begun)
	assert.InDelta(t, 60, cooled.Seconds(), 1)
	assert.Equal(t, "pull", r.last().Step.Key)
	assert.Equal(t, BrokenOff, r.results()[0].Outcome)
	assert.Equal(t, told(CatalystAtRisk), r.results()[0].Remark)

	r.sum.Verdict.EaseOff = true
	r.drive(pulling(), tick)
	assert.Equal(t, Over, r.last().Kind)
	assert.Equal(t, told(ParkAtRisk), r.last().Say)
	assert.Equal(t, NotReached, r.results()[2].Outcome)

	still := newRig(t, "park,drive")
	still.drive(parked(), 10*time.Second)
	still.sum.Verdict.EaseOff = true
	still.until(parked(), Over)
	assert.Equal(t, []Kind{Begun, Held, Broken, Over}, still.kinds(), "no step begins while the catalyst is at risk")
}

// Gas against the brake heats the converter: seconds, not minutes.
func TestStallIsBrokenOff(t *testing.T) {
	stall := live(gear.Drive, 1900, 75, 0)
	r := newRig(t, "drive,park")
	r.drive(inDrive(), 10*time.Second)
	r.drive(stall, 4*time.Second)
	assert.Equal(t, Held, r.last().Kind, "a dab of the pedal")
	r.drive(stall, 2*time.Second)
	assert.Equal(t, Broken, r.last().Kind)
	assert.Equal(t, told(ConverterHeats), r.last().Say)
	r.until(parked(), Begun)
	r.until(parked(), Ended)

	idle := newRig(t, "drive")
	idle.drive(inDrive(), 3*time.Minute)
	assert.NotContains(t, idle.kinds(), Broken, "idle with the brake held is no stall")

	revved := newRig(t, "park")
	revved.drive(live(gear.ParkNeutral, 1900, 25, 0), 30*time.Second)
	assert.NotContains(t, revved.kinds(), Broken)
}

// A pull is driven in short bursts and never for long.
func TestPullInBursts(t *testing.T) {
	r := newRig(t, "pull")
	r.sum.Refresh = every(1000) // five of them would take 100 s at 3,000 rpm
	var bursts, rests []time.Duration
	for {
		began := r.now
		r.drive(pulling(), tick)
		for r.runner.ask == AskCondition && !r.runner.Over() && r.results()[0].Outcome == Running {
			r.drive(pulling(), tick)
		}
		bursts = append(bursts, r.now.Sub(began))
		if r.results()[0].Outcome != Running {
			break
		}
		began = r.now
		for r.runner.ask == AskRest {
			r.drive(cruising(), tick)
		}
		rests = append(rests, r.now.Sub(began))
	}
	require.Len(t, bursts, 3)
	for _, b := range bursts {
		assert.InDelta(t, 20, b.Seconds(), 5.5)
	}
	require.Len(t, rests, 2)
	for _, d := range rests {
		assert.InDelta(t, 15, d.Seconds(), 1)
	}
	assert.InDelta(t, 60, r.results()[0].In.Seconds(), 1)
	assert.Equal(t, Saying{Kind: FewRevolutions, Value: 3, Of: 1000}, r.results()[0].Remark)
}

// A step that ended before the refresh was known, and turns out too short for it, comes again for what is missing.
func TestTooShortComesAgain(t *testing.T) {
	r := newRig(t, "park,cruise")
	r.until(parked(), Ended)
	assert.InDelta(t, 180, r.results()[0].In.Seconds(), 1)
	r.sum.Refresh = every(1000)
	r.until(cruising(), Ended)
	assert.InDelta(t, 150, r.results()[1].In.Seconds(), 1)
	require.False(t, r.runner.Over())
	r.drive(cruising(), tick)
	assert.Equal(t, "park", r.last().Step.Key)
	more := r.until(parked(), Ended)
	assert.InDelta(t, 220, more.Seconds(), 2, "400 s less the 180 that it has")
	r.until(parked(), Over)

	fast := newRig(t, "park,cruise")
	fast.until(parked(), Ended)
	fast.sum.Refresh = every(200)
	fast.until(cruising(), Ended)
	fast.until(parked(), Over)
	assert.Len(t, fast.told, 8, "began, held, ended twice, the last counts, over: nothing comes again")
}

// One cycle a step: run, key off, key on, read, next.
func TestKeyOff(t *testing.T) {
	r := newRig(t, "park,drive", func(c *LoadConfig) { c.KeyOff = true })
	r.sum.Live.CountAge = []time.Duration{0, 0, 0, 0}
	off := misfire.Live{CountAge: []time.Duration{time.Minute, time.Minute, time.Minute, time.Minute}}
	r.drive(off, 5*time.Second)
	assert.Equal(t, AskStart, r.last().Ask)
	r.drive(parked(), tick)
	assert.Equal(t, AskCondition, r.last().Ask)
	long := r.until(parked(), Ended)
	assert.InDelta(t, 60*unmistaken/750, long.Seconds(), 1, "so long without a refresh is no usual car")
	assert.Equal(t, AskEngineOff, r.last().Ask)
	r.drive(parked(), 30*time.Second)
	assert.Equal(t, AskEngineOff, r.last().Ask, "asked again")
	assert.Equal(t, Asked, r.last().Kind)
	r.drive(off, tick)
	assert.Equal(t, AskKeyOff, r.last().Ask)
	r.drive(off, 5*time.Second)
	assert.Equal(t, AskKeyOff, r.last().Ask)

	r.runner.Asleep(r.now)
	assert.Equal(t, AskKeyOn, r.last().Ask)
	r.now = r.now.Add(20 * time.Second)
	r.drive(parked(), tick) // the first sample need not tell the engine's speed
	r.drive(off, 10*time.Second)
	assert.Equal(t, AskKeyOn, r.runner.ask, "the counters are as of before key-off")
	read := off
	read.CountAge = []time.Duration{time.Second, time.Second, time.Second, time.Minute}
	r.drive(read, 5*time.Second)
	assert.Equal(t, AskKeyOn, r.runner.ask, "cylinder 4 is not read yet")
	read.CountAge = []time.Duration{time.Second, time.Second, time.Second, time.Second}
	r.drive(read, tick)
	assert.Equal(t, "drive", r.last().Step.Key)
	assert.Equal(t, AskStart, r.last().Ask)

	r.sum.Refresh.Kind = misfire.RefreshKeyOff // as the tally has found
	r.drive(inDrive(), tick)
	short := r.until(inDrive(), Ended)
	assert.InDelta(t, 180, short.Seconds(), 1)
	r.drive(off, offFor+2*tick) // its modules stay awake while they are asked
	assert.Equal(t, AskKeyOn, r.last().Ask)
	r.drive(inDrive(), 6*time.Second)
	assert.True(t, r.runner.Over())
	assert.Equal(t, told(CountsLost), r.results()[1].Remark)
	assert.NotEqual(t, CountsLost, r.results()[0].Remark.Kind)
}

func TestKeyOffSkipStillEndsTheCycle(t *testing.T) {
	r := newRig(t, "park,drive", func(c *LoadConfig) { c.KeyOff = true })
	r.drive(parked(), 10*time.Second)
	r.runner.Skip(r.now)
	assert.Equal(t, AskEngineOff, r.last().Ask, "else its misses would be laid to the next step")
	r.runner.Skip(r.now)
	assert.Equal(t, "drive", r.last().Step.Key)
}

// Whatever the car does and whoever presses keys, time in a condition is never more than time, and Left never negative.
func TestAnything(t *testing.T) {
	for seed := range uint64(40) {
		rng := rand.New(rand.NewPCG(seed, 7))
		r := newRig(t, "", func(c *LoadConfig) { c.KeyOff = seed%3 == 0 })
		states := []misfire.Live{{}, parked(), inDrive(), inR(), raised(), cruising(), pulling(), live(gear.Drive, 1900, 70, 0), live(gear.Unknown, 900, 20, 0)}
		for range 400 {
			r.sum.Verdict.EaseOff = rng.IntN(60) == 0
			if rng.IntN(20) == 0 {
				r.sum.Refresh = []misfire.Refresh{{}, every(200), every(1000), {Kind: misfire.RefreshAtOnce}}[rng.IntN(4)]
			}
			r.drive(states[rng.IntN(len(states))], time.Duration(rng.IntN(20))*time.Second)
			switch rng.IntN(40) {
			case 0:
				r.runner.Skip(r.now)
			case 1:
				r.runner.Repeat(r.now)
			case 2:
				r.runner.Asleep(r.now)
				r.now = r.now.Add(30 * time.Second)
			}
			if s := r.runner.Status(); s != nil {
				require.GreaterOrEqual(t, s.Left, time.Duration(0))
				require.NotEmpty(t, s.Say)
				require.True(t, s.Number >= 1 && s.Number <= s.Of)
			}
		}
		r.runner.Stop(r.now)
		require.Equal(t, Over, r.last().Kind)
		in := time.Duration(0)
		for _, res := range r.results() {
			in += res.In
			require.NotEqual(t, Running, res.Outcome)
		}
		require.LessOrEqual(t, in, r.now.Sub(morning()))
	}
}

// A car whose engine cannot be stopped with the ignition on falls asleep at once.
func TestKeyOffAtOnce(t *testing.T) {
	r := newRig(t, "park,drive", func(c *LoadConfig) { c.KeyOff = true })
	r.until(parked(), Ended)
	r.runner.Asleep(r.now)
	assert.Equal(t, AskKeyOn, r.last().Ask)
}

// A car found to refresh only at key-off is led so without having been told.
func TestKeyOffFound(t *testing.T) {
	r := newRig(t, "park,drive")
	r.sum.Refresh.Kind = misfire.RefreshKeyOff
	r.until(parked(), Ended)
	assert.Equal(t, AskEngineOff, r.last().Ask)
}

// A car that shows no count of misses is waited for five seconds, then led all the same; one that does begins at once
// (common practice, no source).
func TestFirstLookLastsFiveSeconds(t *testing.T) {
	r := newRig(t, "park")
	r.drive(parked(), tick)
	assert.Equal(t, []Kind{Begun}, r.kinds())
	r = newRig(t, "park")
	for i := range r.sum.Total {
		r.sum.Total[i] = misfire.Cell{Cylinder: i + 1}
	}
	r.drive(parked(), 5*time.Second)
	assert.Empty(t, r.kinds())
	r.drive(parked(), tick)
	assert.Equal(t, []Kind{Begun}, r.kinds())
}

// What is read within five seconds of the ignition being on again is not believed yet (common practice, no source).
func TestKeyOnWaitsFiveSeconds(t *testing.T) {
	r := newRig(t, "park,drive", func(c *LoadConfig) { c.KeyOff = true })
	r.until(parked(), Ended)
	read := misfire.Live{CountAge: []time.Duration{tick, tick, tick, tick}}
	r.drive(read, tick)
	r.runner.Asleep(r.now)
	require.Equal(t, AskKeyOn, r.last().Ask)
	r.drive(read, 4500*time.Millisecond)
	assert.Equal(t, AskKeyOn, r.last().Ask)
	r.drive(read, time.Second)
	assert.Equal(t, AskStart, r.last().Ask)
}
