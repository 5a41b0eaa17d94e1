package misfire_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
)

// The windows that are given out are those that the summary is made of: their firings and misses add up to it.
func TestWindowsAddUp(t *testing.T) {
	for _, scenario := range []string{"wren", "wren-slow-counter", "wren-live-counter", "curlew-worn-plug", "no-gear"} {
		t.Run(scenario, func(t *testing.T) {
			r := newRig(t, scenario, 3)
			misses, firings := make(map[int]float64), make(map[int]float64)
			var end time.Time
			r.tally.EachWindow(func(w *misfire.Window) {
				assert.False(t, w.From.Before(end), "in order, and none twice")
				assert.False(t, w.To.Before(w.From))
				end = w.To
				if !w.Counted {
					return
				}
				for _, c := range w.Counts {
					misses[c.Cylinder] += float64(c.Misses)
					for _, s := range w.Stretches {
						firings[c.Cylinder] += s.Firings
					}
				}
			})
			r.run(0, 5*time.Minute)
			r.tally.Finish()
			require.False(t, end.IsZero())
			for _, c := range r.tally.Summary().Total {
				if !c.Reported {
					assert.Zero(t, firings[c.Cylinder], "cylinder %d has no counter", c.Cylinder)
					continue
				}
				assert.InDelta(t, c.Misses, misses[c.Cylinder], 1e-9, "misses of cylinder %d", c.Cylinder)
				assert.InDelta(t, c.Firings, firings[c.Cylinder], 1e-6*c.Firings, "firings of cylinder %d", c.Cylinder)
			}
		})
	}
}
