package misfire_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
)

// Cars of SAE J1979-2, through adapter, dialogue and poller: whatever order a code's counts are in, in whichever language
// the others are told, what is counted is what the car counted, and of each cylinder. No real car of this kind was at hand.
func TestModernCountsAreTheCars(t *testing.T) {
	for name, minutes := range map[string]time.Duration{
		"siskin": 6, "heron": 8, "siskin-both": 5, "siskin-both-standing": 5, "siskin-old-gearbox": 5, "siskin-alone": 5,
		"siskin-by-monitor": 5, "siskin-one-at-a-time": 5, "siskin-silent-limit": 5, "siskin-wide": 5, "heron-slow-can": 5,
		"siskin-ragged": 5, "siskin+dropping-link": 6, "siskin+cheap-adapter": 6,
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := setOff(t, name, 1)
			require.Len(t, r.sim.Car.Vehicle().FiringOrder, r.caps.Cylinders())
			summary := r.count(misfire.NewTally(misfire.Config{Engine: r.plain()}), minutes*time.Minute, nil)
			truth, counted, shown := r.sim.Car.Truth(), summary.Unknown.Misses, 0
			for _, c := range summary.Total {
				counted, shown = counted+int(c.Misses), shown+int(truth.Shown(c.Cylinder))
				assert.LessOrEqual(t, c.Misses, float64(truth.Shown(c.Cylinder)), "cylinder %d", c.Cylinder)
				assert.Greater(t, c.Firings, 800.0)
			}
			assert.Greater(t, shown, 40, "there is something to count")
			if strings.Contains(name, "cheap") { // it is found late: some ran before the first reading
				assert.Greater(t, counted, shown*3/4)
				return
			}
			assert.Equal(t, shown, counted, "all that the car shows, of the cylinders or, where the link was away, of nobody knows which condition")
		})
	}
}
