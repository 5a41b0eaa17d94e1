package gear_test

import (
	"encoding/json"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/gear"
	"stumble/obd"
)

func TestWords(t *testing.T) {
	text, err := json.Marshal([]any{
		gear.Unknown, gear.ParkNeutral, gear.Drive, gear.Reverse, gear.Moving, gear.InGear,
		gear.None, gear.Inferred, gear.Marked, gear.Reported,
	})
	require.NoError(t, err)
	assert.JSONEq(t, `["?","P/N","D","R","moving","D/R","none","inferred","marked","reported"]`, string(text))
	assert.Greater(t, gear.Reported, gear.Marked)
	assert.Greater(t, gear.Marked, gear.Inferred)
}

// teller hands a judge hand-made readings, ten samples a second.
type teller struct {
	judge *gear.Judge
	at    time.Time
}

func newTeller() *teller {
	j := gear.NewJudge()
	j.SetBox(gear.Automatic)
	return &teller{j, time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)}
}

type told map[byte]float64

// say repeats the readings for a while; PID 65 means the drive selector, A4 the gear.
func (l *teller) say(d time.Duration, values told) gear.Call {
	for end := l.at.Add(d); l.at.Before(end); {
		l.at = l.at.Add(100 * time.Millisecond)
		s := obd.Sample{Sent: l.at.Add(-20 * time.Millisecond), Received: l.at}
		for pid, v := range values {
			r := obd.Reading{Service: obd.LiveData, ID: pid, Value: v}
			if pid == obd.PIDAuxiliary {
				r.Part = obd.PartDriveSelector
			}
			s.Readings = append(s.Readings, r)
		}
		l.judge.Add(&s)
	}
	return l.judge.Call()
}

func idle(more told) told {
	v := told{obd.PIDRPM: 750, obd.PIDLoad: 22, obd.PIDSpeed: 0, obd.PIDThrottle: 14}
	for pid, value := range more {
		v[pid] = value
	}
	return v
}

func TestReportBeatsMarkBeatsInference(t *testing.T) {
	l := newTeller()
	l.say(time.Second, idle(told{obd.PIDRPM: 0}))
	require.Equal(t, gear.Inferred, l.say(5*time.Second, idle(nil)).Origin)

	l.judge.Mark(l.at, gear.Drive)
	require.Equal(t, gear.Drive, l.judge.Call().State, "at once, before the next sample")
	call := l.say(time.Second, idle(nil))
	require.Equal(t, gear.Marked, call.Origin)
	require.Equal(t, gear.Drive, call.State)

	call = l.say(time.Second, idle(told{obd.PIDAuxiliary: 0}))
	require.Equal(t, gear.Reported, call.Origin)
	require.Equal(t, gear.ParkNeutral, call.State)
}

func TestAReportThatEndsLeavesNoContradictedMark(t *testing.T) {
	l := newTeller()
	l.judge.Mark(l.at, gear.Drive)
	l.say(4*time.Second, idle(told{obd.PIDAuxiliary: 0}))
	call := l.say(6*time.Second, idle(nil)) // the report grows stale
	assert.Equal(t, gear.ParkNeutral, call.State, "inference goes on from the last report")
	assert.Equal(t, gear.Inferred, call.Origin)
}

func TestAMarkMayComeAMomentBeforeTheLever(t *testing.T) {
	l := newTeller()
	l.say(2*time.Second, idle(told{obd.PIDAuxiliary: 0}))
	l.judge.Mark(l.at, gear.Reverse)
	require.Equal(t, gear.ParkNeutral, l.say(2*time.Second, idle(told{obd.PIDAuxiliary: 0})).State)
	call := l.say(2*time.Second, idle(told{obd.PIDAuxiliary: 1}))
	assert.Equal(t, gear.Reverse, call.State, "PID 65 cannot tell R from D, the mark can")
	assert.Equal(t, gear.Marked, call.Origin)
}

func TestInGearWithoutAMarkIsDriveWithLessConfidence(t *testing.T) {
	l := newTeller()
	unmarked := l.say(2*time.Second, idle(told{obd.PIDAuxiliary: 1}))
	require.Equal(t, gear.Drive, unmarked.State)
	l.judge.Mark(l.at, gear.Drive)
	marked := l.say(time.Second, idle(told{obd.PIDAuxiliary: 1}))
	assert.Equal(t, gear.Reported, marked.Origin)
	assert.Greater(t, marked.Confidence, unmarked.Confidence)
}

func TestTheSelectorBeatsTheGearNumber(t *testing.T) {
	l := newTeller()
	call := l.say(2*time.Second, idle(told{obd.PIDAuxiliary: 0, obd.PIDGear: 1}))
	assert.Equal(t, gear.ParkNeutral, call.State, "some boxes report first gear in park")
	assert.Zero(t, call.Number)

	l = newTeller()
	call = l.say(2*time.Second, idle(told{obd.PIDGear: 1}))
	assert.Equal(t, gear.Drive, call.State)
	assert.Equal(t, 1, call.Number)
	call = l.say(2*time.Second, idle(told{obd.PIDGear: 0}))
	assert.Equal(t, gear.ParkNeutral, call.State, "gear 0 is neutral")
}

func TestManualGearboxReport(t *testing.T) {
	l := newTeller()
	for _, in := range []float64{0, 1} {
		l.at = l.at.Add(100 * time.Millisecond)
		call, _ := l.judge.Add(&obd.Sample{Sent: l.at, Received: l.at, Readings: []obd.Reading{
			{Service: obd.LiveData, ID: obd.PIDAuxiliary, Part: obd.PartManualGear, Value: in},
		}})
		want := gear.ParkNeutral
		if in == 1 {
			want = gear.Drive
		}
		assert.Equal(t, want, call.State)
		assert.Equal(t, gear.Reported, call.Origin)
	}
}

func TestMoving(t *testing.T) {
	l := newTeller()
	l.say(2*time.Second, idle(nil))
	rolled := l.at.Add(100 * time.Millisecond)
	l.say(300*time.Millisecond, idle(told{obd.PIDSpeed: 2}))
	require.NotEqual(t, gear.Moving, l.say(300*time.Millisecond, idle(told{obd.PIDSpeed: 5})).State, "not yet sustained")
	call := l.say(2*time.Second, idle(told{obd.PIDSpeed: 8}))
	require.Equal(t, gear.Moving, call.State)
	assert.Equal(t, rolled, call.Since, "dated back to the first turn of the wheels")
	assert.Equal(t, gear.Moving, l.say(2*time.Second, idle(told{obd.PIDSpeed: 2})).State, "creeping, as before")

	stood := l.at.Add(100 * time.Millisecond)
	call = l.say(2*time.Second, idle(nil))
	assert.NotEqual(t, gear.Moving, call.State)
	assert.Equal(t, stood, call.Since)
}

func TestOneSpikeOfSpeedIsNoMotion(t *testing.T) {
	l := newTeller()
	l.say(time.Second, idle(told{obd.PIDRPM: 0}))
	l.say(2*time.Second, idle(nil))
	l.say(200*time.Millisecond, idle(told{obd.PIDSpeed: 40}))
	assert.Equal(t, gear.ParkNeutral, l.say(2*time.Second, idle(nil)).State)
}

func TestMovingTakesTheReportedGear(t *testing.T) {
	l := newTeller()
	call := l.say(3*time.Second, told{obd.PIDRPM: 2000, obd.PIDSpeed: 60, obd.PIDGear: 4})
	assert.Equal(t, gear.Call{State: gear.Moving, Number: 4, Origin: gear.Reported, Confidence: call.Confidence, Since: call.Since}, call)

	sure := call.Confidence
	call = l.say(3*time.Second, told{obd.PIDRPM: 800, obd.PIDSpeed: 60, obd.PIDGear: 0})
	assert.Equal(t, gear.Moving, call.State, "coasting in neutral is moving all the same")
	assert.Zero(t, call.Number)
	assert.Less(t, call.Confidence, sure)
}

func TestMotionWithdrawsAMarkOfPark(t *testing.T) {
	l := newTeller()
	l.judge.Mark(l.at, gear.ParkNeutral)
	l.say(time.Second, idle(nil))
	l.say(5*time.Second, idle(told{obd.PIDSpeed: 20}))
	call := l.say(3*time.Second, idle(nil))
	assert.NotEqual(t, gear.ParkNeutral, call.State)
	assert.NotEqual(t, gear.Marked, call.Origin)
}

func TestStandingWithdrawsAMarkOfMoving(t *testing.T) {
	l := newTeller()
	l.say(2*time.Second, idle(told{obd.PIDSpeed: 20}))
	l.judge.Mark(l.at, gear.Moving)
	require.Equal(t, gear.Marked, l.say(time.Second, idle(told{obd.PIDSpeed: 20})).Origin)
	require.Equal(t, gear.InGear, l.say(5*time.Second, idle(nil)).State)
	assert.Equal(t, gear.Inferred, l.say(2*time.Second, idle(told{obd.PIDSpeed: 20})).Origin)
}

func TestReverseCreepStaysReverse(t *testing.T) {
	l := newTeller()
	l.say(time.Second, idle(nil))
	l.judge.Mark(l.at, gear.Reverse)
	require.Equal(t, gear.Reverse, l.say(5*time.Second, idle(told{obd.PIDSpeed: 7})).State)
	assert.Equal(t, gear.Moving, l.say(5*time.Second, idle(told{obd.PIDSpeed: 40})).State, "nobody reverses at 40 km/h")
}

func TestUnknownWithdrawsTheMark(t *testing.T) {
	l := newTeller()
	l.judge.Mark(l.at, gear.Reverse)
	l.say(time.Second, idle(nil))
	l.judge.Mark(l.at, gear.Unknown)
	assert.NotEqual(t, gear.Marked, l.judge.Call().Origin)
}

func TestAStartWithdrawsAMarkOfGear(t *testing.T) {
	l := newTeller()
	l.say(time.Second, idle(nil))
	l.judge.Mark(l.at, gear.Drive)
	l.say(10*time.Second, idle(nil))
	l.say(2*time.Second, idle(told{obd.PIDRPM: 0}))
	call := l.say(2*time.Second, idle(nil))
	assert.NotEqual(t, gear.Marked, call.Origin)
}

func TestNoEngineSpeedNoInference(t *testing.T) {
	l := newTeller()
	l.say(time.Second, idle(told{obd.PIDRPM: 0}))
	require.Equal(t, gear.ParkNeutral, l.say(5*time.Second, idle(nil)).State)
	call := l.say(3*time.Second, told{obd.PIDSpeed: 0, obd.PIDThrottle: 14})
	assert.Equal(t, gear.Unknown, call.State)
	assert.Equal(t, gear.None, call.Origin)
	assert.Zero(t, call.Confidence)
}

// Ratios of an invented five-speed car, rpm per km/h.
func TestGearNumbersFromRevolutionsPerDistance(t *testing.T) {
	ratios := []float64{130, 74, 48, 36, 28}
	l := newTeller()
	drive := func() (numbers []int) {
		for i, ratio := range ratios {
			speed := []float64{20, 32, 45, 60, 80}[i]
			call := l.say(5*time.Second, told{obd.PIDRPM: ratio * speed, obd.PIDSpeed: speed})
			numbers = append(numbers, call.Number)
		}
		return numbers
	}
	drive()
	assert.Equal(t, []int{1, 2, 3, 4, 5}, drive())

	slipping := told{obd.PIDRPM: 0, obd.PIDSpeed: 50}
	for rpm := 1500.0; rpm < 3000; rpm += 50 {
		slipping[obd.PIDRPM] = rpm
		assert.Zero(t, l.say(400*time.Millisecond, slipping).Number, "nothing is held")
	}
}

func TestNoGearNumberUntilFirstGearWasSeen(t *testing.T) {
	l := newTeller()
	call := l.say(10*time.Second, told{obd.PIDRPM: 2240, obd.PIDSpeed: 80})
	assert.Equal(t, gear.Moving, call.State)
	assert.Zero(t, call.Number)
}

func TestFreezeFramesAndOtherServicesAreNoNews(t *testing.T) {
	l := newTeller()
	l.say(2*time.Second, idle(nil))
	before := l.judge.Call()
	l.at = l.at.Add(100 * time.Millisecond)
	call, changed := l.judge.Add(&obd.Sample{Sent: l.at, Received: l.at, Readings: []obd.Reading{
		{Service: obd.FreezeFrames, ID: obd.PIDSpeed, Value: 90},
		{Service: obd.TestResults, ID: obd.PIDRPM, Value: 3000},
	}})
	assert.False(t, changed)
	assert.Equal(t, before.State, call.State)
}

func TestAddDoesNotAllocate(t *testing.T) {
	r := newRig(t, 1)
	backAndForth(r)
	readings := []obd.Reading{
		{Service: obd.LiveData, ID: obd.PIDRPM}, {Service: obd.LiveData, ID: obd.PIDLoad},
		{Service: obd.LiveData, ID: obd.PIDSpeed}, {Service: obd.LiveData, ID: obd.PIDThrottle, Value: 14},
	}
	s := obd.Sample{Readings: readings}
	at, i := r.at, 0
	assert.Zero(t, testing.AllocsPerRun(5000, func() {
		i++
		at = at.Add(100 * time.Millisecond)
		s.Sent, s.Received = at, at
		readings[0].Value, readings[1].Value = 750+float64(i%7), 22+float64(i/200%2*9)
		readings[2].Value = float64(i / 1500 % 2 * 40)
		r.judge.Add(&s)
	}))
}

// Whatever comes, a call makes sense.
func FuzzJudge(f *testing.F) {
	f.Add(uint64(1), uint16(300))
	f.Add(uint64(2), uint16(3000))
	f.Fuzz(func(t *testing.T, seed uint64, n uint16) {
		rng := rand.New(rand.NewPCG(seed, 3))
		j := gear.NewJudge()
		at := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
		pids := []byte{obd.PIDRPM, obd.PIDLoad, obd.PIDSpeed, obd.PIDThrottle, obd.PIDAccelerator, obd.PIDAuxiliary, obd.PIDGear}
		for range n {
			at = at.Add(time.Duration(rng.ExpFloat64() * float64(200*time.Millisecond)))
			if rng.IntN(100) == 0 {
				at = at.Add(time.Duration(rng.IntN(20)) * time.Second)
			}
			if rng.IntN(50) == 0 {
				j.Mark(at, gear.State(rng.IntN(gear.States)))
			}
			if rng.IntN(60) == 0 {
				j.Prompt(at, gear.State(rng.IntN(gear.States)))
			}
			s := obd.Sample{Sent: at, Received: at}
			for range rng.IntN(4) {
				scale := []float64{1, 10, 1000}[rng.IntN(3)]
				s.Readings = append(s.Readings, obd.Reading{
					Service: obd.LiveData, ID: pids[rng.IntN(len(pids))], Part: byte(rng.IntN(3)), Value: rng.Float64() * scale,
				})
			}
			call, _ := j.Add(&s)
			require.Less(t, int(call.State), gear.States)
			require.GreaterOrEqual(t, call.Confidence, 0.0)
			require.LessOrEqual(t, call.Confidence, 1.0)
			require.False(t, call.Since.After(at))
			require.Equal(t, call.State == gear.Unknown, call.Origin == gear.None)
			require.GreaterOrEqual(t, call.Number, 0)
			spans := j.Spans()
			for i := 1; i < len(spans); i++ {
				require.True(t, spans[i-1].From.Before(spans[i].From), "in order of time")
			}
		}
	})
}

func BenchmarkAdd(b *testing.B) {
	j := gear.NewJudge()
	at := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	s := obd.Sample{Readings: []obd.Reading{
		{Service: obd.LiveData, ID: obd.PIDRPM, Value: 750}, {Service: obd.LiveData, ID: obd.PIDLoad, Value: 22},
		{Service: obd.LiveData, ID: obd.PIDSpeed}, {Service: obd.LiveData, ID: obd.PIDThrottle, Value: 14},
	}}
	b.ReportAllocs()
	for b.Loop() {
		at = at.Add(100 * time.Millisecond)
		s.Sent, s.Received = at, at
		j.Add(&s)
	}
}

// A car moves from more than 3 km/h on, for 0.6 s (common practice, no source).
func TestMovesFromFour(t *testing.T) {
	for speed, moves := range map[float64]bool{3: false, 4: true} {
		l := newTeller()
		l.say(2*time.Second, idle(nil))
		call := l.say(2*time.Second, idle(told{obd.PIDSpeed: speed}))
		assert.Equal(t, moves, call.State == gear.Moving, "%v km/h", speed)
	}
}

// A road speed speaks for the car for four seconds, no longer (common practice, no source).
func TestSpeedLastsFourSeconds(t *testing.T) {
	l := newTeller()
	l.say(3*time.Second, told{obd.PIDRPM: 2000, obd.PIDSpeed: 60})
	require.Equal(t, gear.Moving, l.say(4*time.Second, told{obd.PIDRPM: 2000}).State)
	assert.Equal(t, gear.Unknown, l.say(200*time.Millisecond, told{obd.PIDRPM: 2000}).State)
}

// Gears that lie 20 % apart, as close ones do (common practice, no source), are two.
func TestCloseGearsAreTwo(t *testing.T) {
	l := newTeller()
	for range 2 {
		l.say(5*time.Second, told{obd.PIDRPM: 130 * 40, obd.PIDSpeed: 40})
		call := l.say(5*time.Second, told{obd.PIDRPM: 108 * 45, obd.PIDSpeed: 45})
		assert.Equal(t, 2, call.Number)
	}
}

// A mark that is withdrawn was right until then: inference takes over from there and not from when the car came to rest.
func TestTheMarkedPastStays(t *testing.T) {
	l := newTeller()
	l.say(2*time.Second, idle(nil))
	l.judge.Mark(l.at, gear.Drive)
	marked := l.at
	l.say(10*time.Second, idle(nil))
	l.judge.Mark(l.at, gear.Unknown)
	withdrawn := l.at
	l.say(10*time.Second, idle(nil))
	assert.Equal(t, gear.Drive, at(l.judge, withdrawn.Add(-time.Second)).State)
	assert.Equal(t, gear.Marked, at(l.judge, marked.Add(time.Second)).Origin)
}

// at is what is said of a time.
func at(j *gear.Judge, when time.Time) (c gear.Call) {
	for _, s := range j.Spans() {
		if !s.From.After(when) {
			c = s.Call
		}
	}
	return c
}
