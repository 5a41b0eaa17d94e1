package car

import (
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestWhatHappensDependsOnTimeAlone(t *testing.T) {
	for _, name := range []string{"wren", "curlew-lean-bank", "wren-bursty", "dead-cylinder"} {
		t.Run(name, func(t *testing.T) {
			const end = 420
			once := mustScenario(t, name, 42)
			once.State(after(end))

			dense := mustScenario(t, name, 42)
			var buf []Answer
			for s := 0.0; s < end; s += 0.0137 {
				buf = dense.Request(buf[:0], after(s), 0, []byte{0x01, 0x0C, 0x04})
			}
			dense.State(after(end))

			odd := mustScenario(t, name, 42)
			for s := 0.0; s < end; s += 3.333 {
				odd.Ignition(after(s))
				odd.Voltage(after(s - 1)) // backwards counts as now
				odd.Truth()
			}

			want, state := once.Truth(), once.State(after(end))
			assert.Equal(t, want, dense.Truth())
			assert.Equal(t, state, dense.State(after(end)))
			assert.Equal(t, state, odd.State(after(end)))
			assert.Equal(t, want, odd.Truth())
			for _, req := range [][]byte{{1, 0x0C, 0x05, 0x06, 0x07}, {3}, {7}, {6, 0xA3}} {
				assert.Equal(t, ask(once, end, EngineNode, req...), ask(dense, end, EngineNode, req...))
			}
		})
	}
}

func TestSameSeedSameAnswersOtherSeedOtherDrive(t *testing.T) {
	run := func(seed uint64) (all []Answer) {
		c := mustScenario(t, "wren", seed)
		for s := 0.0; s < 200; s += 0.5 {
			all = c.Request(all, after(s), 0, []byte{0x01, 0x0C, 0x0D})
		}
		return all
	}
	a, b, other := run(9), run(9), run(10)
	assert.Equal(t, a, b)
	assert.NotEqual(t, a, other)
}

func TestOrdersTakeEffectAtTheirTime(t *testing.T) {
	run := func(poll float64) Truth {
		c := mustScenario(t, "wren", 1)
		for s := 0.0; s < 100; s += poll {
			c.State(after(s))
		}
		c.Do(after(100.013), DriveIdle, 0)
		c.State(after(200))
		return c.Truth()
	}
	assert.Equal(t, run(0.01), run(50))
}

func TestManyAskersAtOnce(t *testing.T) {
	c := mustScenario(t, "wren", 1)
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			var buf []Answer
			for s := 0.0; s < 60; s += 0.25 {
				buf = c.Request(buf[:0], after(s), 0, []byte{0x06, 0xA3})
				c.State(after(s))
				c.Truth()
				c.Do(after(s), ParkIdle, 0)
			}
		})
	}
	wg.Wait()
	assert.True(t, c.State(after(60)).Running)
}

func TestAnEndlessGapIsCutShort(t *testing.T) {
	c := mustScenario(t, "wren-running", 1)
	at := after(3e8) // ten years
	c.State(at)
	firings := c.Truth().Sum(1, nil).Firings
	assert.InDelta(t, longest.Minutes()*740/2, float64(firings), 3000)
	rpm := c.State(at.Add(grid)).RPM
	assert.InDelta(t, 740, rpm, 60)
}
