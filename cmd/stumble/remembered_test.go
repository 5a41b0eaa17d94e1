package main

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/job"
	"stumble/misfire/journal"
	"stumble/obd/vehicle"
)

// What is remembered is shown, can be forgotten by its name or as a whole, and no journal is made by looking.
func TestSettingsShowAndForget(t *testing.T) {
	path := aJournal(t)
	o := stumble(t, "settings", "--journal", path)
	requireDone(t, o)
	assert.Contains(t, o.out, path)
	assert.NoFileExists(t, path)
	requireOneLine(t, stumble(t, "settings", "--journal", path, "--forget", "all"), statusFailed, "nothing is remembered")
	assert.NoFileExists(t, path)

	j, _, err := journal.Open(path, journal.Options{})
	require.NoError(t, err)
	m := &job.Memory{Journal: j, Place: func() string { return "/dev/ttyUSB0" }, Now: morning}
	m.SaveCar("0LKWR16A4R0104217", &vehicle.Capabilities{Modules: []vehicle.Module{{}}})
	m.SaveAdapter(func(k *job.KnownAdapter) { k.Identity, k.Baud = "ELM327 v2.2", 115200 })
	require.NoError(t, j.Close())

	o = stumble(t, "settings", "--journal", path)
	requireDone(t, o)
	for _, want := range []string{"car       0LKWR16A4R0104217, ", "adapter   /dev/ttyUSB0, ", "ELM327 v2.2, 115200 baud", "port      /dev/ttyUSB0, "} {
		assert.Contains(t, o.out, want)
	}
	var listed struct{ Remembered []struct{ Of, Name string } }
	require.NoError(t, json.Unmarshal([]byte(stumble(t, "settings", "--journal", path, "--json").out), &listed))
	assert.Len(t, listed.Remembered, 3)

	requireOneLine(t, stumble(t, "settings", "--journal", path, "--forget", "COM9"), statusFailed, `nothing is remembered by the name "COM9"`)
	assert.Equal(t, "forgotten: /dev/ttyUSB0\n", stumble(t, "settings", "--journal", path, "--forget", "/dev/ttyUSB0").out)
	assert.NotContains(t, stumble(t, "settings", "--journal", path).out, "ttyUSB0")
	assert.Equal(t, "forgotten: 1 thing\n", stumble(t, "settings", "--journal", path, "--forget", "all").out)
}
