package misfire_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/obd/counters"
)

// rooks are tables for the simulated cars before CAN; the places are invented.
func rooks() map[string]string {
	table := func(head, line string) string {
		text := head + "\n"
		for c := 1; c <= 4; c++ {
			text += strings.ReplaceAll(line, "#", fmt.Sprint(c)) + "\n"
		}
		return text
	}
	return map[string]string{
		"rook":     table("cylinder,request,bytes", "#,21 3#,1-2"),
		"rook-vpw": table("cylinder,request,header,bytes,kind,wrap", "#,22 11 0#,6C10F1,1,clear,256"),
		"rook-kwp": table("cylinder,request,bytes,factor,kind", "#,21 A5,#,0.3921568627,percent"),
		"rook-pwm": table("cylinder,request,bytes,kind", "#,06 53 0#,1-2,revolutions"),
	}
}

// owned drives a car by a table of its maker's counters: what was counted of cylinder 2 and in all, and what the car counted.
func owned(t *testing.T, scenario string, seed uint64, length time.Duration) (s *misfire.Summary, shown float64) {
	t.Helper()
	r := setOff(t, scenario, seed)
	require.Zero(t, r.caps.Cylinders())
	var err error
	r.caps.Counters, err = counters.Parse(rooks()[scenario])
	require.NoError(t, err)
	require.NoError(t, r.adapter.Admit(r.caps.Counters.Requests()))
	s = r.count(misfire.NewTally(misfire.Config{Engine: r.plain(), Wraps: r.caps.Counters.Wraps()}), length, nil)
	for c := 1; c <= 4; c++ {
		shown += float64(r.sim.Car.Truth().Shown(c))
	}
	return s, shown
}

func counted(s *misfire.Summary) (all float64) {
	for _, c := range s.Total {
		all += c.Misses
	}
	return all
}

// Counters that add up, one of a byte that goes round among them, give what the car counted, to the miss.
func TestOwnCountersAreTheCars(t *testing.T) {
	for _, scenario := range []string{"rook", "rook-vpw"} {
		for seed := range uint64(4) {
			s, shown := owned(t, scenario, seed, 18*time.Minute)
			assert.Equal(t, shown, counted(s), "%s, seed %d", scenario, seed)
			assert.Equal(t, []int{2}, s.Verdict.Cylinders)
			assert.Contains(t, s.Notes, misfire.Note{Kind: misfire.NoteOwnCounts})
			if scenario == "rook-vpw" {
				assert.Greater(t, shown, 256.0, "it has gone round")
			}
		}
	}
}

// Counts of the last 200 turns, as such or in percent: one block is taken for every 200 turns, so that what is counted is
// what was missed in the mean, and the rate of a sound cylinder is nothing.
func TestOwnBlocksCountInTheMean(t *testing.T) {
	const seeds = 12
	for _, scenario := range []string{"rook-kwp", "rook-pwm"} {
		took, truth := 0.0, 0.0
		for seed := range uint64(seeds) {
			s, shown := owned(t, scenario, seed, 15*time.Minute)
			took, truth = took+counted(s), truth+shown
			assert.Equal(t, []int{2}, s.Verdict.Cylinders, "%s, seed %d", scenario, seed)
			assert.LessOrEqual(t, s.Total[0].Misses, 3.0)
			assert.Contains(t, s.Notes, misfire.Note{Kind: misfire.NoteOwnBlocks})
		}
		t.Logf("%s: %.0f of %.0f", scenario, took, truth)
		assert.InEpsilon(t, truth, took, 0.05, scenario)
	}
}
