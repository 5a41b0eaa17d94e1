package job_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/misfire/job"
	"stumble/misfire/proof"
)

func TestWantedSteps(t *testing.T) {
	lacks := func(g gear.State, rpm, load, minutes float64) proof.Condition {
		return proof.Condition{Where: misfire.Condition{Gear: g}, At: proof.Point{RPM: rpm, Load: load}, Failing: true, Missing: 1, Minutes: minutes}
	}
	done := lacks(gear.Reverse, 700, 30, 9)
	done.Outcome = proof.Proven
	c := job.Comparison{Result: &proof.Comparison{Cylinders: []proof.Cylinder{
		{Cylinder: 2, Conditions: []proof.Condition{lacks(gear.Drive, 690, 34, 0.1), lacks(gear.Moving, 3400, 82, 4), lacks(gear.Moving, 2000, 30, 1), done}},
		{Cylinder: 4, Conditions: []proof.Condition{lacks(gear.Moving, 2900, 74, 1), lacks(gear.Moving, 2000, 30, 0.5), lacks(gear.ParkNeutral, 2500, 20, 500)}},
	}}}
	plan, err := c.Wanted()
	require.NoError(t, err)
	var keys []string
	var lengths []time.Duration
	for _, s := range plan {
		keys, lengths = append(keys, s.Key), append(lengths, s.Least)
	}
	assert.Equal(t, []string{"raised", "pull", "cruise", "drive"}, keys, "longest first, each once")
	assert.Equal(t, []time.Duration{time.Hour, 380 * time.Second, 80 * time.Second, 30 * time.Second}, lengths)
	c.Result.Cylinders = nil
	plan, err = c.Wanted()
	require.NoError(t, err)
	assert.Empty(t, plan)
}
