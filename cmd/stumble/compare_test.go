package main

import (
	"encoding/json"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/journal"
)

// drive records a drive.
func (s *day) drive(scenario, length string, more ...string) {
	s.t.Helper()
	o := s.on(scenario, "", append([]string{"watch", "--plain", "--for", length}, more...)...)
	require.Equal(s.t, statusDone, o.status, o.errs)
	require.Contains(s.t, o.errs, "saved in job")
}

// comparison is a comparison as scripts read it.
func (s *day) comparison(args ...string) map[string]any {
	s.t.Helper()
	o := s.run("", append([]string{"compare", "--json"}, args...)...)
	requireDone(s.t, o)
	require.Equal(s.t, 1, strings.Count(o.out, "\n"))
	var object map[string]any
	require.NoError(s.t, json.Unmarshal([]byte(o.out), &object))
	require.Equal(s.t, "comparison", object["kind"])
	return object
}

// requirePage holds a page to its width, and to its title with what it comes to right below.
func requirePage(t testing.TB, o outcome, title, first string) {
	t.Helper()
	for line := range strings.Lines(o.out) {
		assert.LessOrEqual(t, utf8.RuneCountInString(line), textWidth+1, "%s", line)
	}
	assert.True(t, strings.HasPrefix(o.out, title+"\n"+strings.Repeat("=", len(title))+"\n\n"+first), o.out)
	assert.NotContains(t, o.out, "NaN")
	assert.NotContains(t, o.out, "%!")
}

// titleCompared is over the page of a comparison.
const titleCompared = "Before and after the clear"

// A job from the intake to the proof: what the simulated cars are known to be is what the program must find.
func TestCompare(t *testing.T) {
	if testing.Short() {
		t.Skip("hours of driving")
	}
	s := newDay(t)
	require.Equal(t, statusDone, s.on("engine-off", "", "intake").status)
	s.drive("wren", "15m")
	requireOneLine(t, s.run("", "compare", "--job", "1"), statusFailed, "job 1 holds 1 drive", "record it with 'stumble watch'")
	s.drive("wren", "15m", "--seed", "7")
	same := s.comparison("--job", "1")
	assert.Equal(t, "nothing_told", same["outcome"])
	assert.Contains(t, same["chosen"], "the first and the last drive")
	assert.Equal(t, "still_missing", s.comparison("1", "2")["outcome"], "the user says which is before")

	require.Equal(t, statusDone, s.on("engine-off", "CLEAR\n", "clear").status)
	requireOneLine(t, s.run("", "compare", "--job", "1"), statusFailed, "no drive since the clear of", "record one")
	s.drive("wren-repaired", "5m", "--seed", "3")
	soon := s.comparison("--job", "1")
	assert.Equal(t, "not_yet", soon["outcome"])
	assert.Contains(t, soon["chosen"], "the last drive before the clear of")
	require.NotEmpty(t, soon["needed"])
	for _, n := range soon["needed"].([]any) {
		assert.Positive(t, n.(map[string]any)["minutes"])
		assert.Contains(t, []any{"P/N", "D", "R", "moving"}, n.(map[string]any)["gear"])
	}
	assert.Nil(t, soon["codes"], "not read after")

	s.drive("wren-repaired", "20m", "--seed", "4")
	require.Equal(t, statusDone, s.on("wren-repaired", "", "intake").status)
	later := s.comparison("--job", "1")
	assert.Len(t, later["after"], 2, "all drives since")
	assert.Contains(t, []any{"proven", "not_yet"}, later["outcome"], later["sentence"])
	stored := later["codes"].(map[string]any)["stored"].(map[string]any)
	assert.Equal(t, []any{"P0302"}, stored["gone"])
	assert.Equal(t, false, later["readiness"].(map[string]any)["ready"])
	assert.NotEmpty(t, later["rules"])
	assert.Equal(t, 1.0, later["ceiling"])
	assert.Less(t, later["high"], 0.5)
	for _, c := range later["cells"].([]any) {
		cell := c.(map[string]any)
		if cell["failing"] == true {
			assert.EqualValues(t, 2, cell["cylinder"])
			assert.NotNil(t, cell["outcome"])
		}
	}
	other := s.comparison("2", "3", "--strict", "--ceiling", "20")
	assert.Equal(t, 10.0, other["load_tolerance"])
	assert.Equal(t, 20.0, other["ceiling"])
	page := s.run("", "compare", "--job", "1")
	requireDone(t, page)
	word, verdict, told := strings.Cut(later["sentence"].(string), ": ")
	require.True(t, told)
	requirePage(t, page, titleCompared, word+"\n"+strings.ToUpper(verdict[:1])+verdict[1:20])
	for _, part := range []string{"\nBefore   drive 2 of ", "\nAfter    drive 3 of ", "\n         drive 4 of ", "The drives are the last drive before the clear",
		"No longer stored: P0302", "\nNot ready for inspection", "The permanent code goes", "\nCylinder 2: "} {
		assert.Contains(t, page.out, part)
	}

	s.drive("wren-wrong-wire", "15m", "--seed", "5") // drive 5
	s.drive("wren-swapped", "15m", "--seed", "6")    // drive 6
	assert.Equal(t, "still_missing", s.comparison("1", "5")["outcome"])
	moved := s.comparison("1", "6", "--swapped", "wire:1-2")
	assert.Equal(t, "moved", moved["outcome"])
	swap := moved["swap"].(map[string]any)
	assert.Equal(t, "followed", swap["verdict"])
	assert.EqualValues(t, 2, swap["from"])
	assert.EqualValues(t, 1, swap["to"])
	assert.Equal(t, "stayed", s.comparison("1", "5", "--swapped", "wire:1-2")["swap"].(map[string]any)["verdict"])
	page = s.run("", "compare", "1", "6", "--swapped", "wire:1-2")
	requireDone(t, page)
	requirePage(t, page, "Before and after the exchange", "Followed the part\nCylinder 2 no longer misses and cylinder 1 does")

	for _, c := range []struct {
		after, failOn string
		status        int
	}{
		{"5", "not_proven", statusFound}, {"5", "proven,moved,not_yet", statusDone},
		{"6", "still_missing,moved", statusFound}, {"3", "still_missing", statusDone},
	} {
		o := s.run("", "compare", "1", c.after, "--fail-on", c.failOn)
		assert.Equal(t, c.status, o.status, c.failOn)
		assert.NotEmpty(t, o.out, "the page is printed all the same")
	}
	o := s.run("", "compare", "1", "6", "--swapped", "wire:1-2", "--fail-on", "followed")
	assert.Equal(t, statusFound, o.status)
	assert.Equal(t, "stumble: compare: the outcome is followed, which --fail-on names\n", o.errs)

	// A note of a repair moves the line between before and after.
	requireDone(t, s.run("", "jobs", "note", "1", "Repair: other wire"))
	requireOneLine(t, s.run("", "compare", "--job", "1"), statusFailed, `no drive since the note "Repair: other wire"`)

	// What is compared is the drive as playback counts it.
	played := s.run("", "playback", "6", "--json")
	requireDone(t, played)
	summary := jsonLines(t, lastLines(played.out, 1)[0])[0]
	for _, field := range []string{"start", "seconds", "running_seconds"} {
		assert.Equal(t, summary[field], moved["after"].([]any)[0].(map[string]any)[field], field)
	}
}

func TestCompareWhatCannotBe(t *testing.T) {
	s := newDay(t)
	s.drive("wren", "2m")                        // 1
	s.drive("wren", "2m", "--engine", "i4-1342") // 2
	s.drive("wren", "2m", "--engine", "i4-1243") // 3
	s.drive("rook", "1m")                        // 4
	s.drive("rook", "1m")                        // 5
	s.drive("curlew-worn-plug", "1m")            // 6
	s.drive("wren", "2m", "--map", "1,3,4,2")    // 7
	s.look(func(j *journal.Journal) {            // 8, empty
		d, err := j.Drive(1)
		require.NoError(t, err)
		r, err := j.StartDrive(journal.DriveInfo{Job: d.Job, Started: s.hour})
		require.NoError(t, err)
		require.NoError(t, r.Finish(nil))
	})
	for _, c := range []struct {
		args, says string
		status     int
	}{
		{"1 99", "drive 99 is not in the journal", statusFailed},
		{"99 1", "drive 99 is not in the journal", statusFailed},
		{"1 1", "drive 1 is named twice: a drive cannot be compared with itself", statusUsage},
		{"1 2,2", "drive 2 is named twice", statusUsage},
		{"1 6", "drive 1 is of Larkspur Wren 1.6", statusFailed},
		{"4 5", "holds no misfire counts of a running engine: record one on a car that counts", statusFailed},
		{"2 3", "the engines disagree: firing order", statusFailed},
		{"1 7", "the cylinder maps of the drives disagree", statusFailed},
		{"1 8", "drive 8 has no samples", statusFailed},
		{"1", "say which drives by their numbers", statusUsage},
		{"", "say which drives by their numbers", statusUsage},
		{"one 2", `"one" is no number of a drive`, statusUsage},
		{"1, 2", `"" is no number of a drive`, statusUsage},
		{"1 2 3", "one argument too many", statusUsage},
		{"1 2 --job 1", "--job chooses the drives by itself", statusUsage},
		{"--job 77", "job 77 is not in the journal", statusFailed},
		{"--job -1", "is no number of a job", statusUsage},
		{"1 2 --fail-on failed", `--fail-on knows no "failed"`, statusUsage},
		{"1 2 --fail-on followed", `--fail-on knows no "followed"`, statusUsage},
		{"1 2 --swapped wires", "wires", statusUsage},
		{"1 2 --swapped coil:2-2", "names cylinder 2 twice", statusUsage},
		{"1 2 --swapped wire:1-9", "wire:1-9 names cylinder 9, the engine has 4", statusFailed},
		{"1 2 --ceiling 0", "a --ceiling of 0", statusUsage},
		{"1 2 --ceiling NaN", "a --ceiling of NaN", statusUsage},
		{"1 2 --engine rotary", "lists the layouts", statusUsage},
	} {
		t.Run(c.args, func(t *testing.T) {
			requireOneLine(t, s.run("", append([]string{"compare"}, strings.Fields(c.args)...)...), c.status, c.says)
		})
	}
	// What is set on both sides agrees.
	assert.Equal(t, "comparison", s.comparison("2", "3", "--engine", "i4-1342")["kind"])
}
