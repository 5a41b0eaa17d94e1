package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd/clock"
)

// rookTable is a table for the simulated Rook, whose maker is invented.
func rookTable(t *testing.T, lines ...string) string {
	t.Helper()
	if len(lines) == 0 {
		for c := 1; c <= 4; c++ {
			lines = append(lines, fmt.Sprintf("%d,21 3%d,,1-2,no,1,cycle,", c, c))
		}
	}
	path := filepath.Join(t.TempDir(), "counters.csv")
	text := "cylinder,request,header,bytes,signed,factor,kind,wrap\n" + strings.Join(lines, "\n") + "\n"
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	return path
}

// A whole job on a car before CAN, counted by a table of the user's: checked, confirmed once, kept with the vehicle, then load
// test, repair, proof and report.
func TestWholeJobByATableOfCounters(t *testing.T) {
	if testing.Short() {
		t.Skip("hours of driving")
	}
	s := newDay(t)
	table := rookTable(t)
	o := s.on("rook", "", "intake")
	require.Equal(t, statusDone, o.status, o.errs)
	assert.Contains(t, o.out, "component")
	o = s.on("rook", "no\n", "loadtest", "--plain", "--yes", "--counters", table)
	assert.Equal(t, statusFailed, o.status)
	assert.Contains(t, o.errs, "the word SEND was not typed")
	assert.Contains(t, o.errs, "21 34, to all modules")

	o = s.on("rook", "SEND\n", "loadtest", "--plain", "--yes", "--counters", table)
	require.Equal(t, statusDone, o.status, o.errs)
	assert.Contains(t, o.out, "Cylinder 2 misses")
	assert.Contains(t, o.out, "the counts are the maker's own")
	live := wholeDrives(o.out)
	require.Len(t, live, 4)
	for _, how := range [][]string{{}, {"--anew"}} {
		o = s.run("", append([]string{"playback", "1", "--plain", "--speed", "max"}, how...)...)
		require.Equal(t, statusDone, o.status, o.errs)
		assert.Equal(t, live, wholeDrives(o.out), "%v", how)
	}

	// Kept with the vehicle: nobody is asked again, with the file or without.
	o = s.on("rook", "", "watch", "--plain", "--for", "15m", "--counters", table)
	require.Equal(t, statusDone, o.status, o.errs)
	assert.NotContains(t, o.errs, "SEND")
	require.Equal(t, statusDone, s.on("rook", "CLEAR\n", "clear").status)
	o = s.on("rook-repaired", "", "watch", "--plain", "--for", "40m")
	require.Equal(t, statusDone, o.status, o.errs)
	assert.Contains(t, o.errs+o.out, "counted by the table of counters that worked on this vehicle before")
	require.Len(t, wholeDrives(o.out), 4)
	compared := s.comparison("--job", "1")
	assert.Contains(t, []any{"proven", "not_yet"}, compared["outcome"], compared["sentence"])
	report := s.run("", "report", "1")
	require.Equal(t, statusDone, report.status, report.errs)
	assert.Contains(t, strings.Join(strings.Fields(report.out), " "), "the maker's own")
}

// wholeDrives are the lines of a summary that tell a cylinder's whole drive.
func wholeDrives(out string) (lines []string) {
	for line := range strings.Lines(out) {
		if strings.Contains(line, "whole drive") {
			lines = append(lines, line)
		}
	}
	return lines
}

func TestCountersCheck(t *testing.T) {
	table := rookTable(t, "1,21 31,,1-2,no,1,cycle,", "2,21 3F,,1,no,1,cycle,", "3,21 33,6810F1,3,no,1,cycle,", "4,21 34,,7,,,,")
	check := func(typed, table string) outcome {
		var out, errs buffer
		a := program(t.Context(), clock.NewStepped(morning()), &out, &errs)
		a.in = strings.NewReader(typed)
		return outcome{a.run([]string{"counters", "check", table, "--port", "sim:rook", "--speed", "max"}), out.String(), errs.String()}
	}
	o := check("SEND\n", table)
	require.Equal(t, statusDone, o.status, o.errs)
	text := strings.Join(strings.Fields(o.out), " ")
	assert.Contains(t, text, "cylinder 1: 21 31, 10 answers 61 31 00 00 00, bytes 00 00, 0 misses in this driving cycle")
	assert.Contains(t, text, "cylinder 2: 21 3F: module 10 refused service 21")
	assert.Contains(t, text, "cylinder 3: 21 33, 10 answers 61 33 00 00 00, bytes 00, 0 misses")
	assert.Contains(t, text, "cylinder 4: 21 34, 10 answers 61 34 00 00 00: the answer holds no such bytes")
	assert.Contains(t, o.errs, "21 33, header 6810F1")

	o = check("\n", table)
	assert.Equal(t, statusFailed, o.status)
	assert.Empty(t, o.out)
	o = check("SEND\n", rookTable(t, "1,21 7F,,1,,,,"))
	assert.Equal(t, statusFailed, o.status)
	assert.Contains(t, o.errs, "no counter of the table was told")
}

func TestBadTableOfCounters(t *testing.T) {
	for _, command := range [][]string{{"watch", "--plain", "--counters"}, {"loadtest", "--plain", "--yes", "--counters"}, {"counters", "check"}} {
		bad := rookTable(t, "1,2F 30 01,,1,no,1,cycle,")
		o := stepped(t, append(append(command, bad), "--port", "sim:rook", "--speed", "max")...)
		requireOneLine(t, o, statusFailed, "line 2, column request", "service 2F may not be sent")
		o = stepped(t, append(append(command, filepath.Join(t.TempDir(), "none.csv")), "--port", "sim:rook", "--speed", "max")...)
		assert.Equal(t, statusFailed, o.status)
	}
	var out, errs buffer
	a := program(t.Context(), clock.NewStepped(morning()), &out, &errs)
	a.in = strings.NewReader("SEND\n")
	assert.Equal(t, statusFailed, a.run([]string{"counters", "check", rookTable(t, "1,06 53 01,,1-2,,,,"), "--port", "sim:wren", "--speed", "max"}))
	assert.Contains(t, errs.String(), "this car is on CAN")
	requireOneLine(t, stepped(t, "counters"), statusUsage, "counters check FILE")
	requireOneLine(t, stepped(t, "counters", "check"), statusUsage, "say which table")
}
