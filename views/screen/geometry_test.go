package screen

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/views"
	"stumble/views/viewstest"
)

// TestArrangeFitsEverySize looks at each size and load a screen may have: nothing lies outside or over another thing,
// and what must be seen is there.
func TestArrangeFitsEverySize(t *testing.T) {
	for w := MinWidth; w <= 220; w += 7 {
		for h := MinHeight; h <= 70; h += 3 {
			for _, rungs := range []int{0, 1, 3, 4, 6, 8, 12, 16} {
				for _, step := range []int{0, 3, 9} {
					n := needs{
						w: w, h: h, verdict: 2 + rungs%2, step: step, alert: step > 0, rungs: rungs, banks: 1 + rungs%3,
						brackets: rungs / 2, gears: 4 + step%2, notes: step, blank: rungs == 3,
					}
					require.NoError(t, checkPlan(n, arrange(n)), "%+v", n)
				}
			}
		}
	}
}

func checkPlan(n needs, p plan) error {
	rects := map[string]rect{
		"verdict": p.verdict, "car": p.car, "whole": p.whole, "ladder": p.ladder, "strip": p.strip,
		"asides": p.asides, "step": p.step, "alert": p.alert, "health": p.health, "keys": p.keys,
	}
	for name, r := range rects {
		if r.x < 0 || r.y < 0 || r.x+max(r.w, 0) > n.w || r.y+max(r.h, 0) > n.h {
			return fmt.Errorf("%s %+v is outside", name, r)
		}
		for other, o := range rects {
			if name != other && !r.empty() && !o.empty() && r.x < o.x+o.w && o.x < r.x+r.w && r.y < o.y+o.h && o.y < r.y+r.h {
				return fmt.Errorf("%s %+v lies over %s %+v", name, r, other, o)
			}
		}
	}
	for _, name := range []string{"verdict", "car", "ladder", "health", "keys"} {
		if rects[name].empty() {
			return fmt.Errorf("no %s", name)
		}
	}
	if n.alert && p.alert.empty() {
		return fmt.Errorf("no alert")
	}
	shown := n.rungs - p.hidden
	if lines := p.headings() + shown*p.rung; shown < 0 || lines > p.ladder.h {
		return fmt.Errorf("%d rungs of %d lines in %d", shown, p.rung, p.ladder.h)
	}
	if n.rungs <= 9 && p.hidden > 0 {
		return fmt.Errorf("%d rungs hidden", p.hidden)
	}
	return nil
}

func TestArrange(t *testing.T) {
	four := needs{w: 80, h: 24, verdict: 2, rungs: 4, banks: 1, brackets: 2, gears: 4}
	p := arrange(four)
	assert.Equal(t, rect{0, 0, 80, 2}, p.verdict)
	assert.Equal(t, rect{0, 23, 80, 1}, p.keys)
	assert.Equal(t, 4, p.rung, "three lines and air")
	assert.Equal(t, 12, p.cell)
	assert.False(t, p.total)
	assert.True(t, p.asides.empty())

	four.notes = 1
	p = arrange(four)
	assert.Equal(t, 3, p.rung, "what must be known comes before air")
	assert.Equal(t, 3, p.asides.h)

	four.w, four.h = 120, 40
	p = arrange(four)
	assert.True(t, p.total)
	assert.Equal(t, 5, p.rung)

	twelve := needs{w: 60, h: 20, verdict: 2, step: 4, rungs: 12, banks: 2, brackets: 6, gears: 4}
	p = arrange(twelve)
	assert.Zero(t, p.hidden, "the rungs come before the step")
	assert.Zero(t, p.brackets, "too many brackets for so narrow a screen")
	twelve.rungs = 16
	assert.Equal(t, 2, arrange(twelve).hidden)
}

func TestArrangeStripNeverOverlaps(t *testing.T) {
	for cylinders := 0; cylinders <= 16; cylinders++ {
		for w := -1; w <= 120; w++ {
			l, ok := arrangeStrip(w, cylinders)
			if !ok {
				assert.True(t, cylinders == 0 || w < cylinders+stripMinimum)
				continue
			}
			next := l.first + l.lane*cylinders
			require.Less(t, l.gear, l.first)
			if l.rpmW > 0 {
				require.Greater(t, l.rpm, next, "a gap after the lanes")
				next = l.rpm + l.rpmW
			}
			if l.loadW > 0 {
				require.Greater(t, l.load, next)
				next = l.load + l.loadW
			}
			if l.mark >= 0 {
				require.GreaterOrEqual(t, l.mark, next)
				next = l.mark + 1
			}
			if l.notesW > 0 {
				next = l.notes + l.notesW
			}
			require.LessOrEqual(t, next, w, "%d cylinders in %d", cylinders, w)
		}
	}
	l, _ := arrangeStrip(24, 4)
	assert.Equal(t, 2, l.lane)
	assert.True(t, l.together)
	l, _ = arrangeStrip(70, 4)
	assert.Equal(t, 3, l.lane)
	assert.False(t, l.together)
	assert.Positive(t, l.notesW)
}

// Four decades in 40 cells: ten cells a decade, so a rate of 31 ends at 10 x log10(310) = 24.9.
func TestBar(t *testing.T) {
	for value, want := range map[float64]int{
		0: 0, 0.1: 0, 0.11: 1, 1: 10, 10: 20, 31: 25, 100: 30, 1000: 40, 5000: 40, math.Inf(1): 40, -3: 0,
	} {
		assert.Equal(t, want, barEnd(value, 40), value)
	}
	assert.Zero(t, barEnd(math.NaN(), 40))
	assert.Equal(t, bar{23, 2, 1}, barOf(21.1, 31, 43.9, 40))
	assert.Equal(t, bar{0, 0, 16}, barOf(0, 0, 3.7, 40), "none seen: only the upper limit")
	assert.Equal(t, bar{40, 0, 0}, barOf(997, 1200, 1000, 40), "more misses than firings stays within")
	var marks []int
	for i := range 40 {
		if decadeAt(i, 40) {
			marks = append(marks, i)
		}
	}
	assert.Equal(t, []int{10, 20, 30}, marks)
}

func TestBrackets(t *testing.T) {
	for key, want := range map[string][]bracket{
		"i4-1342":            {{1, 2, 0}, {0, 3, 1}},
		"f4-odd-even-1324":   {{0, 2, 0}, {1, 3, 1}}, // rungs 1 3 | 2 4, pairs 1+2 3+4
		"v6-odd-even-123456": {{2, 3, 0}, {0, 4, 1}, {1, 5, 2}},
		"i3-132":             nil,
	} {
		l := viewstest.LayoutOf(t, key)
		got, columns := bracketsOf(rungsOf(l), l.Pairs)
		assert.Equal(t, want, got, key)
		assert.Equal(t, len(want), columns, key)
	}
	got, _ := bracketsOf(rungsOf(viewstest.LayoutOf(t, "i4-1342")), [][2]int{{1, 9}, {2, 2}})
	assert.Empty(t, got, "pairs that the engine cannot have")
}

func TestRungs(t *testing.T) {
	var order []int
	for _, r := range rungsOf(viewstest.LayoutOf(t, "v8-odd-even-18436572")) {
		order = append(order, r.cylinder)
		assert.Equal(t, r.cylinder == 1 || r.cylinder == 2, r.first)
	}
	assert.Equal(t, []int{1, 3, 5, 7, 2, 4, 6, 8}, order)
}

func TestWorst(t *testing.T) {
	sum := viewstest.WrenSummary(t)
	l := ladderOf(&views.State{Summary: sum})
	require.NotNil(t, l.worst)
	assert.Equal(t, gear.Drive, l.worst.Condition.Gear)
	assert.Equal(t, 2, l.worst.Cylinder)

	sum.Verdict.WorseIn = gear.Unknown
	assert.Equal(t, gear.Drive, ladderOf(&views.State{Summary: sum}).worst.Condition.Gear, "the highest lower limit")
	sum.Verdict.WorseIn = gear.Reverse
	assert.Equal(t, gear.Drive, ladderOf(&views.State{Summary: sum}).worst.Condition.Gear, "no running in reverse")
	sum.Verdict.Cylinders = nil
	assert.Nil(t, ladderOf(&views.State{Summary: sum}).worst, "nothing stands out, however high a rate is")
}

func TestStripRows(t *testing.T) {
	moments := viewstest.Strip(10, 4, 2)
	moments = append(moments[:4], moments[7:]...) // three seconds are missing
	rows := stripRows(moments, 100, 0)
	require.Len(t, rows, 8)
	assert.Nil(t, rows[4].Moment)
	assert.Equal(t, 3*time.Second, rows[4].hole)
	assert.Equal(t, &moments[6], rows[7].Moment)

	assert.Equal(t, rows[5:], stripRows(moments, 3, 0))
	assert.Equal(t, rows[4:7], stripRows(moments, 3, 1))
	assert.Equal(t, rows[:3], stripRows(moments, 3, 99), "turned back no further than the oldest")
	assert.Empty(t, stripRows(nil, 5, 2))
	assert.Empty(t, stripRows(moments, 0, 0))
}

func TestTraceScales(t *testing.T) {
	at := func(rpm float64) []stripRow { return []stripRow{{Moment: &misfire.Moment{RPM: rpm}}, {hole: 1}} }
	for rpm, want := range map[float64]float64{700: 1500, 1501: 3000, 5900: 6000, 7000: 12000, math.NaN(): 1500} {
		assert.Equal(t, want, rpmScale(at(rpm)))
	}
	assert.Equal(t, -1, traceAt(math.NaN(), 100, 10))
	assert.Equal(t, 0, traceAt(-5, 100, 10))
	assert.Equal(t, 5, traceAt(50, 100, 10))
	assert.Equal(t, 9, traceAt(100, 100, 10))
	assert.Equal(t, 9, traceAt(math.Inf(1), 100, 10))
	assert.Equal(t, -1, traceAt(50, 100, 0))
}
