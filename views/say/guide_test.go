package say

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"stumble/misfire/gear"
	"stumble/misfire/guide"
)

// What is asked for, and what became of it, a saying each.
func TestSayings(t *testing.T) {
	w := English()
	for _, c := range []struct {
		say  guide.Saying
		want string
	}{
		{guide.Saying{}, ""},
		{guide.Saying{Kind: guide.DoStep, Step: "cruise"}, "drive a steady 60 to 80 km/h on a level road"},
		{guide.Saying{Kind: guide.DoSelect, Gear: gear.ParkNeutral, Mark: true}, "select Park or Neutral, then mark it: press p"},
		{guide.Saying{Kind: guide.DoSelect, Gear: gear.Drive}, "hold the brake, select Drive"},
		{guide.Saying{Kind: guide.DoSelect, Gear: gear.Reverse, Mark: true}, "hold the brake, select Reverse, then mark it: press r"},
		{guide.Saying{Kind: guide.DoMoreRevs, Value: 2500}, "a little more gas: 2,500 rpm are wanted"},
		{guide.Saying{Kind: guide.DoWarm, Value: 45, Of: 70}, "let it warm up (the coolant has 45 of 70 degrees), or press Enter"},
		{guide.Saying{Kind: guide.DoPause, Value: 3, Mark: true},
			"select Park, let the transmission cool: more than 3 minutes at once in gear on the brake overheat its fluid, then mark it: press p"},
		{guide.Saying{Kind: guide.StepRan, In: 80 * time.Second, Value: 500}, "1:20 in the condition, 500 firings of each cylinder"},
		{guide.Saying{Kind: guide.CutVoid, Cylinder: 1, Why: guide.IdleLeft}, "this cut of cylinder 1 does not count: the engine did not stay at idle"},
		{guide.Saying{Kind: guide.FallMeasured, Cylinder: 2, Value: -0.2}, "cylinder 2 moves the idle by 0 rpm"},
		{guide.Saying{Kind: guide.DoPlugInNow, Cylinder: 1, Value: 10.2},
			"plug cylinder 1 in now, and press Enter: it has been off for 10 seconds"},
		{guide.Saying{Kind: guide.FewRevolutions, Value: 2, Of: 1000}, "only 2 of the counters' refreshes (every 1000 revolutions) in it: repeat it"},
		{guide.Saying{Kind: guide.FewSeconds, Of: 30}, "none of the counters' refreshes (every 30 seconds) in it: repeat it"},
		{guide.Saying{Kind: guide.FewPerhaps, Value: 2, Of: 1000},
			"if this car's counters are refreshed every 1,000 revolutions, only 2 of the refreshes in it"},
		{guide.Saying{Kind: guide.FewFirings, Rate: 2, Value: 1125, Of: 1498},
			"not enough to show a fault of 2 in 1,000 for sure: 1125 firings of 1498"},
	} {
		assert.Equal(t, c.want, w.Saying(c.say))
	}
	for k := guide.DoStart; k <= guide.NoteNoneMoved; k++ {
		assert.NotEmpty(t, w.Saying(guide.Saying{Kind: k, Step: "park", Gear: gear.Drive, Why: guide.IdleLeft}), "%d", k)
	}
}

// Events of both tests, read aloud: what is loud begins with it.
func TestEvents(t *testing.T) {
	w := English()
	drive := guide.All()[1]
	step := guide.Place{Step: &drive, Number: 2, Of: 6, Left: 80 * time.Second}
	stop := guide.Saying{Kind: guide.DoStopHold}
	cut := func(number, of, round int, left time.Duration) guide.Place {
		return guide.Place{Cylinder: 2, Number: number, Of: of, Round: round, Left: left}
	}
	unplug, in := guide.Saying{Kind: guide.DoUnplug, Cylinder: 2}, guide.Saying{Kind: guide.DoPlugIn, Cylinder: 2}
	const caution = "\nCAUTION: parking brake on, chocks at both sides, nobody in front or behind"
	for _, c := range []struct {
		event       guide.Event
		words, mark string
	}{
		{guide.Event{Kind: guide.Begun, Place: step, Say: stop},
			"NEXT: stop, and hold the brake ... 1:20 (step 2 of 6, Drive at idle)" + caution, "step drive began"},
		{guide.Event{Kind: guide.Repeated, Place: step, Say: stop},
			"AGAIN: stop, and hold the brake ... 1:20 (step 2 of 6, Drive at idle)" + caution, "step drive repeated"},
		{guide.Event{Kind: guide.Asked, Ask: guide.AskCondition, Place: step, Say: stop}, "NOW: stop, and hold the brake", ""},
		{guide.Event{Kind: guide.Held, Place: step, Say: guide.Saying{Kind: guide.DoKeep}}, "HOLD: keep it so ... 1:20", ""},
		{guide.Event{Kind: guide.Ended, Place: step, Say: guide.Saying{Kind: guide.StepRan, In: 80 * time.Second, Value: 9}},
			"DONE: Drive at idle, 1:20 in the condition, 9 firings of each cylinder", "step drive ended"},
		{guide.Event{Kind: guide.Skipped, Place: step, Say: guide.Saying{Kind: guide.StepLeftOut}}, "SKIPPED: Drive at idle", "step drive skipped"},
		{guide.Event{Kind: guide.Broken, Place: step, Say: guide.Saying{Kind: guide.DoEase}}, "BREAK OFF: ease off, drive on easily",
			"step drive broken off"},
		{guide.Event{Kind: guide.Over, Say: guide.Saying{Kind: guide.AllStepsDone}}, "END: every step is done", "test over: every step is done"},

		{guide.Event{Kind: guide.Asked, Ask: guide.AskReady, Say: guide.Saying{Kind: guide.DoStart}}, "FIRST: start the engine in Park", ""},
		{guide.Event{Kind: guide.Asked, Ask: guide.AskBase, Place: cut(1, 4, 1, 20*time.Second), Say: guide.Saying{Kind: guide.DoLeaveBase}},
			"WAIT: leave it alone: the idle is measured ... 0:20", ""},
		{guide.Event{Kind: guide.Asked, Ask: guide.AskUnplug, Place: cut(2, 4, 1, 0), Say: unplug},
			"NOW: unplug the injector of cylinder 2, then press Enter (cut 2 of 4)", ""},
		{guide.Event{Kind: guide.Asked, Ask: guide.AskUnplug, Place: cut(1, 1, 2, 0), Say: unplug},
			"NOW: unplug the injector of cylinder 2, then press Enter (cut 1 of 1, round 2)", ""},
		{guide.Event{Kind: guide.Asked, Ask: guide.AskHold, Place: cut(1, 1, 1, 10*time.Second), Say: guide.Saying{Kind: guide.DoLeaveOff, Cylinder: 2}},
			"HOLD: cylinder 2 is off: leave it so, the fall is measured", ""},
		{guide.Event{Kind: guide.Asked, Ask: guide.AskPlugIn, Place: cut(1, 1, 1, 6200*time.Millisecond), Say: in},
			"PLUG IN AGAIN: plug the injector of cylinder 2 in again, then press Enter ... 7 seconds left", ""},
		{guide.Event{Kind: guide.Counted, Ask: guide.AskPlugIn, Say: guide.Saying{Kind: guide.SecondLeft, Value: 3}}, "  3 ...", "-"},
		{guide.Event{Kind: guide.Late, Ask: guide.AskPlugIn, Say: guide.Saying{Kind: guide.DoPlugInLost, Cylinder: 2}},
			"TOO LONG: nothing is heard of the car: plug cylinder 2 in now", "-"},
		{guide.Event{Kind: guide.Measured, Say: guide.Saying{Kind: guide.FallMeasured, Cylinder: 2, Value: 52}},
			"FALL: cylinder 2 moves the idle by 52 rpm", "-"},
		{guide.Event{Kind: guide.Skipped, Say: guide.Saying{Kind: guide.CylinderLeftOut, Cylinder: 2}}, "SKIPPED: cylinder 2 is left out", "-"},
	} {
		assert.Equal(t, c.words, w.Event(&c.event))
		if c.mark != "-" {
			assert.Equal(t, c.mark, w.EventMark(&c.event))
		}
	}
}

func TestCautions(t *testing.T) {
	w := English()
	steps := guide.All()
	park, reverse, pull := w.LoadTestCautions(steps[:1]), w.LoadTestCautions(steps[2:3]), w.LoadTestCautions(steps[5:])
	assert.Contains(t, park, "Carbon monoxide kills: run the engine only outdoors or with extraction.")
	assert.Len(t, park, 6)
	assert.Contains(t, reverse[5], "chocks at both sides")
	assert.Len(t, reverse, 7)
	assert.Contains(t, pull[5], "the driver drives, a second person reads")
	for i := range steps {
		assert.NotEqual(t, "", w.StepName(&steps[i]))
		for _, c := range w.StepCautions(&steps[i]) {
			assert.LessOrEqual(t, len(c), 70, "one line of a small screen: %s", c)
		}
	}
	assert.Len(t, w.BalanceCautions(), 7)
	assert.Contains(t, w.BalanceCautions()[0], "Never pull a plug wire")
}

func TestBalanceSentences(t *testing.T) {
	w := English()
	four := guide.CutCylinder{Cylinder: 4, Drop: 12, Low: 6, High: 18, Share: 23.5}
	r := &guide.BalanceResult{Finding: guide.Compared, Median: 51, Weak: []int{4}, Alike: []int{1, 2, 3}, Cylinders: []guide.CutCylinder{four}}
	assert.Equal(t, "Cylinder 4 gives little work: its cut slows the idle by 12 rpm, 24 % of the middle fall, 51 rpm.", w.Balance(r))
	assert.Equal(t, "Cylinders 1, 2 and 3 cannot be told apart: the limits of their falls overlap.", w.BalanceNotes(r)[0])
	r.Doubtful = []int{3}
	assert.Contains(t, w.Balance(r), "51 rpm. Whether cylinder 3 works as the others do cannot be told")
	r.Weak, r.Doubtful = []int{4, 2}, nil
	assert.Contains(t, w.Balance(r), "Cylinders 4 and 2 give little work, the weakest first")
	r.Weak = nil
	assert.Contains(t, w.Balance(r), "No cylinder stands out")
	r.Left, r.Alike = []int{3}, nil
	assert.Equal(t, "Not measured: cylinder 3.", w.BalanceNotes(r)[0])
	for finding, says := range map[guide.Finding]string{guide.NotFelt: "No cut was felt: the middle fall is 51 rpm",
		guide.TooFew: "Too few cylinders were cut to compare them: 3 are needed.", guide.TooShort: "too short a time", guide.NoneCut: "No cylinder was cut."} {
		assert.Contains(t, w.Balance(&guide.BalanceResult{Finding: finding, Median: 51}), says)
	}
	assert.Equal(t, "-", Rounded(math.NaN()))
}
