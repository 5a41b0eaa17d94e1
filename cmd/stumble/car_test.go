package main

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"testing/synctest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd/clock"
	"stumble/views/wire"
)

// The coil of cylinder 5 of the demo's own car breaks down hot and under load; the demo must find that by itself,
// follow it to cylinder 3, and find that the repair helped. In short that takes about a page and a half.
func TestDemoDoesTheWholeJob(t *testing.T) {
	if testing.Short() {
		t.Skip("hours of driving")
	}
	o := stumble(t, "demo", "--plain")
	requireDone(t, o)
	assert.InDelta(t, 120, strings.Count(o.out, "\n"), 15, "lines")
	before, rest, whole := strings.Cut(o.out, "THE TEST")
	require.True(t, whole)
	swapped, after, whole := strings.Cut(rest, "THE REPAIR")
	require.True(t, whole)
	for _, part := range []string{"THE COMPLAINT", "THE EVIDENCE", "FROM COLD", "WARM"} {
		assert.Contains(t, before, part)
	}
	assert.Regexp(t, `\nstored +P0305`, before)
	assert.Regexp(t, `\npending +P0303`, before)
	assert.Equal(t, 2, strings.Count(before, "\nCylinder 5 misses "), "from cold and warm")
	assert.Regexp(t, `Most likely: coil of its own, cylinder 5 `, before)
	assert.Regexp(t, `\snext:\sexchange\sthe\scoils\sof\scylinder\s5\s`, before)
	assert.Contains(t, before, "when as hot as it gets", "heat speaks for the coil")
	assert.Contains(t, swapped, "\nCylinder 3 misses ")
	assert.Contains(t, swapped, "\nFollowed the part\n")
	assert.Regexp(t, `Most likely: coil of its own that was on cylinder 5 and is now on cylinder 3\s+\(over 95 %\): a test has shown it`, swapped)
	assert.Contains(t, after, "\nNot yet proven\nStill wanted without a miss: ", "a drive round the block proves nothing")
	assert.Contains(t, after, "\nGone: P0303, P0305.\n")
	assert.Regexp(t, `\nstored +none`, after)
	proven := strings.Count(after, "\nProven\nCylinder 3 no longer misses")
	assert.Equal(t, 2, proven, "by the comparison and in the report")
	rate := func(gear string) float64 {
		return number(t, before, `(?m)^  5  `+gear+`, \w+ +[\d.,]+ +[\d.,]+ +([\d.,]+)`)
	}
	park, inDrive, moving := rate("P/N"), rate("D"), rate("moving")
	assert.Greater(t, inDrive, 3*park, "rare in Park, frequent in Drive")
	assert.Greater(t, moving, inDrive, "worse under load")
}

// What the demo is told to keep is kept: the job for other commands, and the report. Told to, it shows all.
func TestDemoKeepsWhatItIsTold(t *testing.T) {
	if testing.Short() {
		t.Skip("hours of driving")
	}
	folder := t.TempDir()
	path, page := filepath.Join(folder, "job.db"), filepath.Join(folder, "curlew.html")
	o := stepped(t, "demo", "--plain", "--full", "--journal", path, "--report", page)
	require.Equal(t, statusDone, o.status, o.errs)
	assert.Contains(t, o.out, "\nDONE: Drive at idle")
	assert.Contains(t, o.out, "\nWhat is not known\n")
	written, err := os.ReadFile(page)
	require.NoError(t, err)
	assert.Contains(t, string(written), "<!DOCTYPE html>")
	shown := stepped(t, "jobs", "show", "1", "--journal", path)
	requireDone(t, shown)
	assert.Regexp(t, `\nrepaired \d+ .*new coil on cylinder 3`, shown.out)
	assert.Regexp(t, `\ncompared +.*Proven: cylinder 3 no longer misses`, shown.out)
	requireOneLine(t, stepped(t, "demo", "--plain", "--journal", path), statusUsage, "is there already: name a new file")
	requireOneLine(t, stepped(t, "demo", "--plain", "--report", filepath.Join(folder, "curlew.doc")), statusUsage, "let it end in .html or .pdf")
}

// number is what the first group of a pattern matches, as a number.
func number(t testing.TB, text, pattern string) float64 {
	t.Helper()
	found := regexp.MustCompile(pattern).FindStringSubmatch(text)
	require.NotNil(t, found, "%s in:\n%s", pattern, text)
	var v float64
	require.NoError(t, json.Unmarshal([]byte(strings.ReplaceAll(found[1], ",", "")), &v))
	return v
}

// At a given hour and with a given seed a drive is the same every time, to the letter.
func TestSameSeedSameDrive(t *testing.T) {
	for _, args := range []string{"watch --port sim:wren --speed max --for 2m --json", "intake --port sim:wren --speed max --json"} {
		once := stepped(t, strings.Fields(args)...)
		require.Equal(t, statusDone, once.status, once.errs)
		assert.Equal(t, once, stepped(t, strings.Fields(args)...), args)
		other := stepped(t, append(strings.Fields(args), "--seed", "2")...)
		if args != "intake --port sim:wren --speed max --json" { // read with the engine off: chance has no part in it
			assert.NotEqual(t, once.out, other.out, args)
		}
	}
}

func TestCodesAsJSON(t *testing.T) {
	o := stepped(t, "codes", "--port", "sim:wren", "--speed", "max", "--json")
	requireDone(t, o)
	var found wire.Codes
	require.NoError(t, json.Unmarshal([]byte(o.out), &found))
	assert.Equal(t, "codes", found.Kind)
	require.NotEmpty(t, found.Modules)
	engine := found.Modules[0]
	assert.Equal(t, "7E8", engine.Module)
	for name, list := range map[string][]wire.Code{"stored": engine.Stored, "pending": engine.Pending, "permanent": engine.Permanent} {
		require.Len(t, list, 1, name)
		assert.Equal(t, "P0302", list[0].Code)
		assert.Equal(t, 2, list[0].Cylinder)
	}
	require.Len(t, found.FreezeFrames, 1)
	frame := found.FreezeFrames[0]
	assert.Equal(t, "P0302", frame.Code)
	for _, r := range frame.Readings {
		if r.PID == "0C" {
			assert.InDelta(t, 672, float64(r.Value), 0.5, "as the simulated car's history has it")
			return
		}
	}
	t.Error("the freeze frame has no engine speed")
}

func TestReadingsAsText(t *testing.T) {
	for _, scenario := range []string{"wren", "curlew-worn-plug", "rook", "healthy", "engine-off"} {
		port := "sim:" + scenario
		for _, command := range []string{"codes", "intake"} {
			o := stepped(t, command, "--port", port, "--speed", "max")
			require.Equal(t, statusDone, o.status, o.errs)
			golden(t, command+"-"+scenario+".txt", o.out)
		}
	}
}

// With the ignition off a one-time reading says so; a watch waits until its time is over.
func TestIgnitionOff(t *testing.T) {
	for _, command := range []string{"codes", "intake"} {
		o := stepped(t, command, "--port", "sim:ignition-off", "--speed", "max")
		requireOneLine(t, o, statusFailed, "turn the ignition on")
	}
	o := stepped(t, "watch", "--port", "sim:ignition-off", "--speed", "max", "--for", "1m", "--plain")
	assert.Equal(t, statusFailed, o.status)
	assert.Empty(t, o.out)
	lines := lastLines(o.errs, 3)
	require.Len(t, lines, 2)
	assert.Contains(t, lines[0], "waiting for the car: ")
	assert.Contains(t, lines[0], "turn the ignition on")
	assert.Contains(t, lines[1], "turn the ignition on")
}

// An engine that does not run has no misses, and nothing is said about its health.
func TestEngineStopped(t *testing.T) {
	o := stepped(t, "watch", "--port", "sim:engine-off", "--speed", "max", "--for", "1m", "--json")
	requireDone(t, o)
	objects := jsonLines(t, o.out)
	summary := objects[len(objects)-1]
	assert.EqualValues(t, 0, summary["running_seconds"])
	for _, c := range summary["total"].([]any) {
		total := c.(map[string]any)
		assert.EqualValues(t, 0, total["misses"])
		assert.EqualValues(t, 0, total["firings"])
		assert.Nil(t, total["rate"])
	}
	assert.NotContains(t, summary["verdict"].(map[string]any)["sentence"], "No miss")
}

// A line stream is samples in order of time, then one summary that agrees with the last of them.
func TestWatchAsJSON(t *testing.T) {
	o := stepped(t, "watch", "--port", "sim:wren", "--speed", "max", "--for", "5m", "--json")
	requireDone(t, o)
	objects := jsonLines(t, o.out)
	before := math.Inf(-1)
	for _, sample := range objects[:len(objects)-1] {
		require.Equal(t, "sample", sample["kind"])
		require.Greater(t, sample["seconds"], before)
		before = sample["seconds"].(float64)
		require.Len(t, sample["cylinders"], 4)
	}
	summary := objects[len(objects)-1]
	require.Equal(t, "summary", summary["kind"])
	assert.InDelta(t, 300, summary["seconds"], 1)
	assert.Contains(t, summary["verdict"].(map[string]any)["sentence"], "ylinder 2")
	for _, name := range []string{"vehicle", "engine", "refresh", "cells", "by_gear", "total", "unknown", "exchanges"} {
		assert.Contains(t, summary, name)
	}
}

// A link that breaks and comes back is told of, and the drive goes on.
func TestLinkThatDrops(t *testing.T) {
	o := stepped(t, "watch", "--port", "sim:wren+dropping-link", "--speed", "max", "--for", "4m", "--json")
	requireDone(t, o)
	var notices []string
	for _, line := range jsonLines(t, o.out) {
		if line["kind"] == "notice" {
			notices = append(notices, line["text"].(string))
		}
	}
	require.NotEmpty(t, notices)
	assert.Contains(t, notices[0], "the adapter went away")
	assert.Contains(t, notices, "the adapter is back")
}

// A car without counts is watched all the same; what it does not report is not shown as naught.
func TestCarWithoutCounts(t *testing.T) {
	o := stepped(t, "watch", "--port", "sim:rook", "--speed", "max", "--for", "3m", "--plain")
	requireDone(t, o)
	assert.Contains(t, o.out, "misses not reported by this car")
	assert.Contains(t, o.out, "This car reports no misfire counts")
}

// At the car's own pace a watch ends when its time is over.
func TestWatchEndsInTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		began := clock.System{}.Now()
		o := stumble(t, "watch", "--port", "sim:wren", "--for", "90s", "--plain")
		requireDone(t, o)
		took := clock.System{}.Now().Sub(began)
		assert.InDelta(t, 95, took.Seconds(), 10, "start-up, and the time asked for")
	})
}
