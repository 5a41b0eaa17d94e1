package guide

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// With the limits at 95 %, a fall that is nothing lies beyond them once in twenty. Measured on idles whose wander
// remembers, at the pace of CAN and of a K-line; the quiet stretches are those of a test of four cylinders.
func TestLimitsHold(t *testing.T) {
	idles := 1500
	if testing.Short() {
		idles = 500
	}
	for _, c := range []struct {
		name   string
		every  float64 // seconds between readings
		memory float64 // of the wander
	}{{"CAN", 0.08, 1.5}, {"CAN, quick wander", 0.08, 0.3}, {"CAN, slow wander", 0.08, 4}, {"K-line", 0.45, 1.5}} {
		t.Run(c.name, func(t *testing.T) {
			outside := 0
			for seed := range idles {
				e := newEngine(uint64(seed), 0)
				e.memory = c.memory
				var tr trace
				var quiets []quiet
				at := morning()
				stretch := func(d time.Duration) {
					from := at
					for end := at.Add(d); at.Before(end); at = at.Add(time.Duration(c.every * float64(time.Second))) {
						tr = append(tr, reading{at, e.step(c.every)})
					}
					quiets = append(quiets, quiet{from, at})
					at = at.Add(5 * time.Second)
					e.step(20) // as good as another day
				}
				for range 4 {
					stretch(22 * time.Second)
				}
				n := tr.chance(quiets, usualOff)
				stretch(14 * time.Second)
				fall := tr.fall(quiets[4].from, quiets[4].from.Add(usualOff))
				require.False(t, math.IsNaN(fall))
				if math.Abs(fall) > n.margin(1) {
					outside++
				}
			}
			share := float64(outside) / float64(idles)
			t.Logf("%s: %.3f outside", c.name, share)
			assert.InDelta(t, 0.05, share, 0.03)
		})
	}
}

// The readings must tell, else nothing is said.
func TestTooFewReadings(t *testing.T) {
	var tr trace
	for i := range 100 {
		tr = append(tr, reading{morning().Add(time.Duration(i) * 1500 * time.Millisecond), 740})
	}
	assert.True(t, math.IsNaN(tr.fall(morning(), morning().Add(time.Minute))), "gaps of a second and a half")
	assert.True(t, math.IsNaN(tr.mean(morning().Add(-time.Minute), morning())))
	assert.True(t, math.IsNaN(tr.recent(50)))
	assert.True(t, math.IsInf(tr.chance([]quiet{{morning(), morning().Add(time.Minute)}}, usualOff).margin(1), 1))
	assert.Zero(t, tr.unrest(morning(), morning().Add(time.Minute)))
	assert.True(t, math.IsInf(noise{deviation: 5, freedom: 10}.margin(0), 1))
	assert.InDelta(t, 2.228*5, noise{deviation: 5, freedom: 10}.margin(1), 0.01, "Student's t, 97.5 %, 10 degrees of freedom: 2.228 (any table)")
}

// By hand: falls of 60, 50, 52 and 12 have the median 51, of which 12 is 23.5 %.
func TestResult(t *testing.T) {
	n := noise{deviation: 3, freedom: 20} // t is 2.086
	r := result([]int{1, 3, 4, 2}, [][]float64{{60}, {50, 54}, {12}, {50}}, 740, n)
	assert.InDelta(t, 51, r.Median, 1e-9)
	weak := r.Cylinders[3]
	assert.Equal(t, 4, weak.Cylinder)
	assert.InDelta(t, 12, weak.Drop, 1e-9)
	assert.InDelta(t, 12-6.258, weak.Low, 0.01)
	assert.InDelta(t, 23.5, weak.Share, 0.05)
	assert.Equal(t, Weak, weak.Verdict)
	assert.Equal(t, []int{4}, r.Weak)
	assert.InDelta(t, 6.258/math.Sqrt2, r.Cylinders[2].Margin(), 0.01, "two cuts")
	assert.Equal(t, []int{1, 2, 3}, r.Alike)
	assert.Equal(t, Compared, r.Finding)

	findings := func(falls ...[]float64) BalanceResult { return result([]int{1, 2, 3}, falls, 740, n) }
	assert.Equal(t, []int{3}, findings([]float64{50}, []float64{52}, []float64{25}).Doubtful)
	two := result([]int{1, 2, 3, 4, 5, 6}, [][]float64{{50}, {9}, {48}, {5}, {51}, {52}}, 740, n)
	assert.Equal(t, []int{4, 2}, two.Weak)
	even := findings([]float64{50}, []float64{52}, []float64{51})
	assert.Equal(t, Compared, even.Finding)
	assert.Empty(t, append(even.Weak, even.Doubtful...))
	assert.Equal(t, NotFelt, findings([]float64{2}, []float64{1}, []float64{3}).Finding)
	few := findings([]float64{50}, []float64{52}, nil)
	assert.Equal(t, TooFew, few.Finding)
	assert.Equal(t, []int{3}, few.Left)
	assert.Equal(t, TooShort, result([]int{1, 2, 3}, [][]float64{{50}, {52}, {51}}, 740, noise{}).Finding)
	none := result([]int{1, 2, 3}, [][]float64{nil, nil, nil}, math.NaN(), n)
	assert.Equal(t, NoneCut, none.Finding)
	assert.Empty(t, none.Left, "who cut none left none out")
	left := result([]int{1, 2, 3, 4}, [][]float64{{50}, {52}, nil, {51}}, 740, n)
	assert.Equal(t, []int{3}, left.Left)
	assert.Equal(t, NotCut, left.Cylinders[2].Verdict)
}

// The weak cylinder is named and no other, on engines of four and six, at the pace of CAN and of a K-line, with hands that
// press Enter and hands that leave it to the engine.
func TestWeakestIsNamed(t *testing.T) {
	seeds := uint64(12)
	if testing.Short() {
		seeds = 4
	}
	for _, c := range []struct {
		name  string
		pulls []float64
		every time.Duration
		weak  []int
		sure  float64 // in how many of the tests every weak one is named
	}{
		{"dead", []float64{70, 72, 68, 0}, 40 * time.Millisecond, []int{4}, 1},
		{"a fifth", []float64{70, 14, 68, 71}, 40 * time.Millisecond, []int{2}, 0.75},
		{"two of six", []float64{55, 3, 56, 54, 57, 5}, 40 * time.Millisecond, []int{2, 6}, 0.75},
		{"K-line", []float64{80, 80, 5, 80}, 450 * time.Millisecond, []int{3}, 0.9},
		{"all alike", []float64{70, 70, 70, 70}, 40 * time.Millisecond, nil, 1},
		{"a little less", []float64{70, 70, 56, 70}, 40 * time.Millisecond, nil, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			named := 0
			for seed := range seeds {
				r := newCutRig(t, newEngine(seed, c.pulls...))
				r.every = c.every
				found := r.run()
				assert.Subset(t, c.weak, found.Weak, "seed %d: %v", seed, found)
				for _, weak := range c.weak { // named, or at least in doubt
					assert.Contains(t, append(found.Weak, found.Doubtful...), weak, "seed %d: %v", seed, found)
				}
				if len(found.Weak) == len(c.weak) {
					named++
				}
				assert.InDelta(t, 740, found.Base, 12)
				assert.Empty(t, r.of(Late))
				assert.Equal(t, AskNothing, r.runner.ask)
			}
			t.Logf("named in %d of %d", named, seeds)
			assert.GreaterOrEqual(t, float64(named), c.sure*float64(seeds))
		})
	}
}

// Whatever cannot be told is cut again, and then said to be in doubt.
func TestDoubtIsCutAgain(t *testing.T) {
	r := newCutRig(t, newEngine(3, 40, 40, 20, 40), func(c *BalanceConfig) { c.Rounds = 2 })
	found := r.run()
	var rounds []string
	for _, f := range r.runner.done {
		rounds = append(rounds, fmt.Sprint(f.Round, ":", f.Cylinder))
	}
	assert.Contains(t, rounds, "2:3")
	assert.NotContains(t, rounds, "3:3")
	assert.Contains(t, found.Doubtful, 3)
	assert.Equal(t, 2, found.Cylinders[2].Cuts)
}

// The engine shows by itself when it is cut and when it works again; a weak cylinder needs the key.
func TestFallAndRiseAreSeen(t *testing.T) {
	r := newCutRig(t, newEngine(5, 80, 80, 80, 80))
	r.presses = false
	found := r.run()
	assert.Empty(t, found.Weak)
	for _, c := range found.Cylinders {
		assert.Equal(t, 1, c.Cuts)
		assert.InDelta(t, 40, c.Drop, 15)
	}
	assert.Empty(t, r.of(Late))

	r = newCutRig(t, newEngine(5, 0, 80, 80, 80))
	r.presses = false
	r.ask(AskUnplug)
	for range 1500 { // a minute
		r.tick()
	}
	assert.Equal(t, AskUnplug, r.runner.ask, "nothing is seen of a dead cylinder")
	assert.GreaterOrEqual(t, len(r.of(Asked)), 5, "and it is asked again")
	r.runner.Confirm(r.now)
	assert.Equal(t, AskHold, r.runner.ask)
	r.runner.Confirm(r.now.Add(100 * time.Millisecond))
	assert.Equal(t, AskHold, r.runner.ask, "pressed twice is pressed once")
	r.ask(AskPlugIn)
	r.runner.Confirm(r.now.Add(200 * time.Millisecond))
	assert.Equal(t, AskPlugIn, r.runner.ask, "nobody is as quick as that: it was meant for the cut")
	r.until(func() bool { return len(r.of(Late)) > 2 })
	r.runner.Confirm(r.now)
	assert.Equal(t, AskCool, r.runner.ask)
}

// Ten seconds are the limit (trade-checks "cylinder cut test, duration", common practice, no source): the last five are
// counted, and past them it is said again and again.
func TestTimeLimit(t *testing.T) {
	assert.Equal(t, 10*time.Second, LongestOff)
	r := newCutRig(t, newEngine(1, 80, 80, 80, 80))
	r.ask(AskPlugIn)
	r.slow = time.Hour
	r.act = nil // nobody plugs it in
	off := r.runner.off
	r.until(func() bool { return len(r.of(Late)) == 3 })
	var counted []float64
	for _, e := range r.of(Counted) {
		counted = append(counted, e.Say.Value)
		assert.True(t, e.Loud())
	}
	assert.Equal(t, []float64{5, 4, 3, 2, 1}, counted)
	late := r.of(Late)
	assert.InDelta(t, 10, late[0].At.Sub(off).Seconds(), 0.25)
	assert.InDelta(t, 2, late[1].At.Sub(late[0].At).Seconds(), 0.25)
	assert.Equal(t, DoPlugInNow, late[0].Say.Kind)
	assert.InDelta(t, 10, late[0].Say.Value, 0.25)
	assert.True(t, late[0].Loud())
	assert.Greater(t, r.runner.Status().Off, LongestOff)
	r.runner.Stop(r.now)
	assert.Equal(t, Saying{Kind: StoppedWhileOff, Cylinder: 1}, r.last().Say)
}

// A random look at the whole state machine: whatever is pressed and whatever the car does, it neither panics nor asks for
// a second cylinder while one is off.
func TestWhateverIsPressed(t *testing.T) {
	for seed := range uint64(30) {
		rng := rand.New(rand.NewPCG(seed, 1))
		r := newCutRig(t, newEngine(seed, 70, 70, 10, 70))
		r.every = 200 * time.Millisecond
		off := 0
		for range 3000 {
			if r.runner.Over() {
				break
			}
			switch rng.IntN(60) {
			case 0:
				r.runner.Confirm(r.now)
			case 1:
				r.runner.Skip(r.now)
			case 2:
				r.runner.Repeat(r.now)
			case 3:
				r.sum.Live.Running = !r.sum.Live.Running
			case 4:
				r.sum.Live.Running = true
			}
			r.tick()
			s := r.runner.Status()
			if s == nil {
				continue
			}
			if off > 0 && s.Off > 0 {
				require.Equal(t, off, s.Cylinder)
			}
			if off = 0; s.Off > 0 {
				off = s.Cylinder
			}
			require.LessOrEqual(t, s.Number, s.Of)
			_ = r.runner.Result()
		}
		r.runner.Stop(r.now)
		assert.True(t, r.runner.Over())
		assert.Nil(t, r.runner.Status())
		r.runner.Stop(r.now)
		r.runner.Confirm(r.now)
		assert.Len(t, r.of(Over), 1)
	}
}
