package misfire

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"stumble/misfire/gear"
)

// Misses that make 1 % of a block of 1000 revolutions and 5 % of one of 200, by number of cylinders: 13 CCR 1968.2
// (e)(3.2) has blocks and percentage, the rest is arithmetic: cylinders/2 firings a revolution.
func TestWholeEnginePercentage(t *testing.T) {
	tests := []struct{ cylinders, one1000, five200 int }{
		{3, 15, 15}, {4, 20, 20}, {5, 25, 25}, {6, 30, 30}, {8, 40, 40}, {10, 50, 50}, {12, 60, 60},
	}
	for _, tt := range tests {
		block := func(revs float64, misses int) window {
			w := window{to: place{revs, revs / 12.5}, running: []share{{condition: inDrive, firings: revs / 2}}}
			for i := range tt.cylinders {
				w.valid[i] = true
			}
			w.misses[tt.cylinders-1] = misses
			return w
		}
		e := newWholeEngine()
		w := block(1000, tt.one1000)
		e.emission.add(&w)
		assert.InDelta(t, 1, e.emission.block.Last, 1e-9, "%d cylinders", tt.cylinders)
		w = block(200, tt.five200)
		e.catalyst.add(&w)
		assert.InDelta(t, 5, e.catalyst.block.Last, 1e-9, "%d cylinders", tt.cylinders)
		w = block(200, 100) // one dead cylinder is 100/N percent
		e.catalyst.add(&w)
		assert.InDelta(t, 100/float64(tt.cylinders), e.catalyst.block.Last, 1e-9)
		assert.Equal(t, 1, e.catalyst.block.Over)
		assert.Equal(t, 2, e.catalyst.block.Blocks)
	}
}

func TestBlocksAreFilledWithWholeWindows(t *testing.T) {
	b := newBlockSum(1000, 1)
	assert.True(t, math.IsNaN(b.block.Last) && math.IsNaN(b.block.Worst))
	w := window{to: place{200, 16}, running: []share{{firings: 100}}}
	w.valid[0], w.valid[1], w.misses[1] = true, true, 1
	for range 4 {
		b.add(&w)
	}
	assert.Zero(t, b.block.Blocks)
	b.add(&w)
	assert.Equal(t, 1, b.block.Blocks)
	assert.InDelta(t, 0.5, b.block.Last, 1e-9, "5 of 1,000 firings")
	broken := w
	broken.broken = true
	b.add(&w)
	b.add(&broken)
	for range 4 {
		b.add(&w)
	}
	assert.Equal(t, 1, b.block.Blocks, "a hole begins the block anew")
	b.add(&w)
	assert.Equal(t, 2, b.block.Blocks)
}

// A window longer than the block has one block in it, at least, that is as bad as its mean.
func TestWindowLongerThanTheBlock(t *testing.T) {
	b := newBlockSum(200, 5)
	w := window{to: place{1000, 80}, running: []share{{firings: 500}}}
	w.valid[0], w.misses[0] = true, 50
	b.add(&w)
	assert.InDelta(t, 10, b.block.Last, 1e-9)
	assert.Equal(t, 1, b.block.Over)
}

func TestLimitsOfTheCar(t *testing.T) {
	tests := []struct {
		name               string
		catalyst, emission float64
		want               [2]float64
		reported           [2]bool
	}{
		{"none", math.NaN(), 0, [2]float64{5, 1}, [2]bool{false, false}},
		{"both", 12.5, 2, [2]float64{12.5, 2}, [2]bool{true, true}},
		{"nonsense", 250, -1, [2]float64{5, 1}, [2]bool{false, false}},
	}
	for _, tt := range tests {
		tally := NewTally(Config{})
		tally.SetLimits(tt.catalyst, tt.emission)
		w := tally.Summary().Whole
		assert.Equal(t, tt.want, [2]float64{w.Catalyst.Limit, w.Emission.Limit}, tt.name)
		assert.Equal(t, tt.reported, [2]bool{w.Catalyst.Reported, w.Emission.Reported}, tt.name)
	}
}

func TestEaseOffAboveTheCatalystLimit(t *testing.T) {
	m := newMill(t, 200, 0, 0, 0, 0.3) // 7.5 % of the engine's firings
	m.mark(gear.Drive)
	m.run(4 * time.Minute)
	s := m.ended()
	assert.InDelta(t, 7.5, s.Whole.Catalyst.Last, 0.5)
	assert.True(t, s.Verdict.EaseOff)
	m.tally.SetLimits(10, math.NaN())
	assert.False(t, m.tally.Summary().Verdict.EaseOff)
	m.tally.SetLimits(5, math.NaN())
	m.stand(5 * time.Second)
	assert.False(t, m.ended().Verdict.EaseOff, "the engine stands")
}
