package main

import (
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"stumble/obd/clock"
)

// A load test runs what the proof of a job still wants, until it is proven.
func TestLoadtestProves(t *testing.T) {
	file := filepath.Join(t.TempDir(), "journal")
	at := morning()
	on := func(args ...string) outcome {
		at = at.Add(time.Hour)
		return stumbleAt(t.Context(), clock.NewStepped(at), append(args, "--journal", file)...)
	}
	done := func(o outcome) { assert.Equal(t, statusDone, o.status, o.errs) }
	test := func(scenario string, args ...string) outcome {
		return on(append([]string{"loadtest", "--port", "sim:" + scenario, "--speed", "max", "--yes", "--plain"}, args...)...)
	}
	done(test("wren", "--complaint", "shudders in gear"))
	requireOneLine(t, test("wren-repaired", "--prove", "1"), statusFailed, "wants one before and one after")
	done(on("jobs", "note", "1", "repair: new wire"))
	done(test("wren-repaired", "--steps", "park,drive"))

	o := test("wren-repaired", "--prove", "1")
	done(o)
	assert.NotContains(t, o.out, "with the brake held, select Reverse", "Drive has shown it")
	assert.Contains(t, o.out, "half to full throttle", "it failed under load")
	proving := strings.Split(strings.Join(strings.Fields(o.out[strings.Index(o.out, "Proof of cylinder"):]), " "), " END: ")
	assert.Contains(t, proving[0], "on the move 0 %")
	assert.Regexp(t, `Proof of cylinder 2: 100 % run \([^)]*on the move 100 %\)\.$`, proving[0], "full, the test ends")
	assert.True(t, strings.HasPrefix(proving[1], "the proof wants no more running "))
	assert.Contains(t, proving[1], "Pull stopped", "before the end of its plan")
	for range 3 {
		if o = test("wren-repaired", "--prove", "1"); o.out == "" {
			break
		}
		done(o)
	}
	assert.Contains(t, o.errs, "job 1 is proven: nothing is left to run")
	assert.Empty(t, o.out)

	done(test("wren"))
	requireOneLine(t, test("wren", "--prove", "1"), statusFailed, "job 1 still misses after the repair", "stumble causes 1")
}

func TestLoadtestProveRefuses(t *testing.T) {
	for _, args := range [][]string{
		{"--prove", "-1"}, {"--prove", "1", "--steps", "park"}, {"--prove", "1", "--no-journal"}, {"--prove", "1", "--new-job"},
		{"--prove", "1", "--job", "2"},
	} {
		requireOneLine(t, stumble(t, append([]string{"loadtest", "--port", "sim"}, args...)...), statusUsage, "stumble: loadtest: ")
	}
}
