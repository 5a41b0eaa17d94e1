package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd/clock"
	"stumble/obd/sim/car"
	"stumble/views/wire"
)

// examined is what the doctor finds of a simulated adapter and car.
func examined(t *testing.T, port string) (d wire.Doctor) {
	t.Helper()
	o := stumbleAt(t.Context(), clock.NewStepped(morning()), "doctor", "--port", "sim:"+port, "--speed", "max", "--json")
	require.Equal(t, statusDone, o.status, o.errs)
	require.NoError(t, json.Unmarshal([]byte(o.out), &d))
	return d
}

// What the doctor finds is what the simulated adapter was made to be.
func TestDoctor(t *testing.T) {
	good := examined(t, "wren+running")
	assert.Equal(t, "Each cylinder every 0.10 s: good for a load test.", good.Sentence)
	assert.False(t, good.Lies)
	assert.Equal(t, map[string]bool{"headers": true, "one_module": true, "count_digit": true, "eager": false,
		"waits_as_told": true, "several_values": true, "two_monitors": false}, good.Levers)
	assert.Zero(t, good.Damaged+good.Doubled+good.Lost)
	assert.Equal(t, 4, good.Counters)

	cheap := examined(t, "wren+running+cheap-adapter")
	assert.True(t, cheap.Lies, "it knows less than its version")
	assert.Contains(t, cheap.Sentence, "use steps of 3 minutes")
	assert.False(t, cheap.Levers["count_digit"])
	assert.False(t, cheap.Levers["waits_as_told"])

	pretender := examined(t, "wren+running+pretender")
	assert.False(t, pretender.Levers["waits_as_told"], "it says OK to ATST and does not mean it")

	never := examined(t, "wren+running+lying-version")
	assert.True(t, never.Lies)
	assert.False(t, never.Real, "there was no version 1.5")

	assert.Positive(t, examined(t, "wren+running+doubling-adapter").Doubled)
	assert.Positive(t, examined(t, "wren+running+noisy-adapter").Damaged)
	assert.Contains(t, examined(t, "wren+running+small-buffer").Sentence, "lists 5 misfire monitors and this adapter brings none of them")
	assert.Contains(t, examined(t, "rook+running").Sentence, "The car tells no misfire counts; engine speed comes")
}

// A car that moves is nobody's to examine, and a bundle tells nothing of whose car it is.
func TestDoctorMinds(t *testing.T) {
	clk := clock.NewStepped(morning())
	file := filepath.Join(t.TempDir(), "bundle")
	o := stumbleAt(t.Context(), clk, "doctor", "--port", "sim:wren+running", "--speed", "max", "--bundle", file)
	require.Equal(t, statusDone, o.status, o.errs)
	assert.Contains(t, o.out, "It calls itself ELM327 v2.2: nothing speaks against that.")
	assert.True(t, strings.HasSuffix(o.out, "good for a load test.\n"), o.out)
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	for _, secret := range []string{"0LKWR", "304C4B", "LKW16", "4C4B57"} { // VIN and calibration, in letters and in hexadecimal
		assert.NotContains(t, string(text), secret)
	}
	assert.Greater(t, strings.Count(string(text), "\n"), 500)
	requireOneLine(t, stumbleAt(t.Context(), clk, "doctor", "--port", "sim:wren+running", "--speed", "max", "--bundle", file), statusFailed, "--force")

	a := program(t.Context(), clk, &buffer{}, &buffer{})
	target, err := a.target(&where{port: "sim:wren+running", speed: speed{most: true}})
	require.NoError(t, err)
	c, err := a.connect(target, nil)
	require.NoError(t, err)
	defer c.Close()
	target.sim.Car.Do(target.clock.Now(), car.Cruise, 0)
	target.clock.SleepUntil(target.clock.Now().Add(30*time.Second), nil)
	_, err = c.Examine(t.Context(), examinationLasts, nil)
	require.ErrorContains(t, err, "the car moves")
}
