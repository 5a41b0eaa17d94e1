package main

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd/clock"
)

// at runs the program at an hour of the test's own, which does not go on by itself: what a script does that follows one
// simulated drive upon the other as fast as it can.
func (s *day) at(hour time.Time, args ...string) outcome {
	s.t.Helper()
	var out, errs buffer
	a := program(s.t.Context(), clock.NewStepped(hour), &out, &errs)
	status := a.run(append(args, "--journal", s.path))
	return outcome{status, out.String(), errs.String()}
}

// A swap that was told, or that compare was told of, parts the drives for every page, and every page says what to replace.
func TestOneStoryOfASwap(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes of driving")
	}
	const replace = "replace the wire that is now on cylinder 1"
	for name, told := range map[string][][]string{
		"told as a swap":       {{"swapped", "1", "wire:1-2"}, {"compare", "--job", "1"}},
		"told to compare":      {{"jobs", "note", "1", "wires of cylinders 1 and 2 exchanged"}, {"compare", "--job", "1", "--swapped", "wire:1-2"}},
		"by numbers of drives": {{"jobs", "note", "1", "wires moved"}, {"compare", "1", "2", "--swapped", "wire:1-2"}},
	} {
		t.Run(name, func(t *testing.T) {
			s := newDay(t)
			require.Equal(t, statusDone, s.on("wren", "", "intake").status)
			s.drive("wren", "9m", "--engine", "i4-1342")
			require.Equal(t, statusDone, s.run("", told[0]...).status)
			s.drive("wren-swapped", "9m", "--engine", "i4-1342")
			compared := s.run("", told[1]...)
			requirePage(t, compared, "Before and after the exchange", "Followed the part\n")
			object := s.comparison(told[1][1:]...)
			assert.Empty(t, object["needed"], "no minutes are asked for a proof")
			assert.Empty(t, object["checks"])
			assert.Equal(t, "swap", object["between"])
			pages := map[string]string{
				"compare": compared.out, "causes": s.run("", "causes", "1").out, "report": s.run("", "report", "1").out, "jobs show": s.run("", "jobs", "show", "1").out,
			}
			for page, text := range pages {
				text = strings.Join(strings.Fields(text), " ")
				assert.Contains(t, text, replace, page)
				for _, word := range []string{"Look at what was moved", "Another cylinder misses now", "still wanted", "the repair did not", "code names cylinder 2, the counts"} {
					if word != "code names cylinder 2, the counts" || name == "told as a swap" || page != "jobs show" {
						assert.NotContains(t, text, word, page)
					}
				}
			}
			causes := s.causes("1")
			assert.Equal(t, "plug_wire", causes.Ranked[0].Cause)
			assert.Equal(t, []int{2}, causes.Ranked[0].Cylinders)
			assert.Greater(t, float64(causes.Ranked[0].Share), 0.9)
			assert.Contains(t, string(causes.Drives), "drive 1,", "drives before and after are not pooled")
			assert.NotContains(t, string(causes.Drives), "drives")
		})
	}
}

// A fault that goes by itself between two drives is not proven cured, and one that stays was not repaired in vain: nobody
// told of a repair, so no page speaks of one, and each asks.
func TestNothingToldBetweenDrives(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes of driving")
	}
	for second, says := range map[string]string{
		"wren":          "Cylinder 2 misses in the first of these drives and in the last.",
		"wren-repaired": "Cylinder 2 missed in the first of these drives and was not seen to in the last",
	} {
		t.Run(second, func(t *testing.T) {
			s := newDay(t)
			s.drive("wren", "9m")
			s.drive(second, "9m")
			for page, args := range map[string][]string{"compare": {"compare", "--job", "1"}, "report": {"report", "1"}} {
				o := s.run("", args...)
				requireDone(t, o)
				first, _, _ := strings.Cut(o.out, "What was c") // compared, or counted
				first = strings.Join(strings.Fields(first), " ")
				assert.Contains(t, first, says, page)
				assert.Contains(t, first, "Was something done between them?", page)
				for _, word := range []string{"the repair", "Proven", "proven", "did not cure", "Still missing"} {
					assert.NotContains(t, first, word, page)
				}
			}
			object := s.comparison("--job", "1")
			assert.Equal(t, "nothing_told", object["outcome"])
			assert.Equal(t, "nothing", object["between"])
			assert.Empty(t, object["needed"])
			found := s.run("", "compare", "--job", "1", "--fail-on", "not_proven")
			assert.Equal(t, statusFound, found.status)
			assert.Contains(t, string(s.causes("1").Drives), "drives 1 and 2", "they are one evidence")
			requireOneLine(t, s.on("wren", "", "loadtest", "--prove", "1", "--plain", "--yes"), statusFailed, "knows of no repair to prove", "stumble repaired 1")

			// Told late it is dated, and judged.
			requireDone(t, s.run("", "repaired", "1", "new wire", "--at", s.hour.Add(-5*time.Hour).Local().Format("2006-01-02 15:04"), "--cylinder", "2", "--part", "wire"))
			requireOneLine(t, s.run("", "compare", "--job", "1"), statusFailed, "no drive since the repair \"new wire\"")
			at := morning().Add(90 * time.Minute).Local().Format("2006-01-02 15:04")
			requireDone(t, s.run("", "jobs", "edit-note", "1", "new wire on 2", "--at", at))
			judged := s.comparison("--job", "1")
			assert.Equal(t, "repair", judged["between"])
			assert.NotEqual(t, "nothing_told", judged["outcome"])
			requireDone(t, s.run("", "jobs", "remove-note", "1"))
			assert.Equal(t, "nothing_told", s.comparison("--job", "1")["outcome"])
			history := s.run("", "jobs", "history", "1")
			requireDone(t, history)
			assert.Equal(t, 2, strings.Count(history.out, "repaired 1"))
			assert.Contains(t, history.out, "changed")
			assert.Contains(t, history.out, "taken back")
		})
	}
}

// Practised as fast as the computer can, a drive begins after a note and before it by its clock: what was done first is
// first all the same, for repairs, swaps, clears and readings of the codes.
func TestOrderOfDeedsNotOfClocks(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes of driving")
	}
	s := newDay(t)
	hour := morning()
	on := func(scenario string, args ...string) {
		t.Helper()
		o := s.at(hour, append(args, "--port", "sim:"+scenario, "--speed", "max")...)
		require.Equal(t, statusDone, o.status, o.errs)
	}
	on("wren", "intake")
	on("wren", "watch", "--plain", "--for", "9m")
	hour = hour.Add(20 * time.Second) // the laptop's clock, a few seconds on: the drive ran minutes ahead
	require.Equal(t, statusDone, s.at(hour, "repaired", "1", "new wire").status)
	hour = hour.Add(-15 * time.Second) // and a clock that was set back
	on("wren-repaired", "watch", "--plain", "--for", "9m")
	on("wren-repaired", "intake")
	o := s.at(hour, "compare", "--job", "1")
	requireDone(t, o)
	assert.Contains(t, o.out, "Before   drive 1 of")
	assert.Contains(t, o.out, "After    drive 2 of")
	assert.Contains(t, o.out, "No longer stored: P0302", "the second intake is one after")
}

// Deeds that cannot be are refused in one line, and nothing is kept.
func TestDeedsRefuse(t *testing.T) {
	s := newDay(t)
	require.Equal(t, statusDone, s.on("wren", "", "intake").status)
	for _, c := range []struct {
		args   []string
		status int
		says   string
	}{
		{[]string{"repaired"}, statusUsage, "say which job by its number"},
		{[]string{"repaired", "one", "x"}, statusUsage, `"one" is no number of a job`},
		{[]string{"repaired", "1"}, statusUsage, "say what was repaired"},
		{[]string{"repaired", "9", "x"}, statusFailed, "job 9 is not in the journal"},
		{[]string{"repaired", "1", "x", "--cylinder", "7"}, statusUsage, "has 4 cylinders, no cylinder 7"},
		{[]string{"repaired", "1", "x", "--cylinder", "-1"}, statusUsage, "no number of a cylinder"},
		{[]string{"repaired", "1", "x", "--at", "soon"}, statusUsage, `--at "soon" is no time`},
		{[]string{"repaired", "1", "x", "--at", "2099-01-01"}, statusUsage, "still to come"},
		{[]string{"swapped", "1"}, statusUsage, "say which parts changed places"},
		{[]string{"swapped", "1", "coil:5-3"}, statusUsage, "no cylinder 5"},
		{[]string{"swapped", "1", "coil:2"}, statusUsage, "is no swap"},
		{[]string{"swapped", "1", "piston:1-2"}, statusUsage, "cannot be swapped"},
		{[]string{"jobs", "edit-note", "7", "x"}, statusFailed, "note 7 is not in the journal"},
		{[]string{"jobs", "remove-note", "x"}, statusUsage, "is no number of a note"},
		{[]string{"jobs", "show", "1", "--at", "12:00"}, statusUsage, "--at dates a note"},
		{[]string{"jobs", "history", "7"}, statusFailed, "job 7 is not in the journal"},
	} {
		requireOneLine(t, s.run("", c.args...), c.status, c.says)
	}
	shown := s.run("", "jobs", "show", "1", "--json")
	assert.Contains(t, shown.out, `"notes":[]`)
}

// With two cars in hand today whatever names no job is refused without a terminal, and every answer names the car. A day
// later the one that was in hand last is meant.
func TestJobInHand(t *testing.T) {
	s := newDay(t)
	require.Equal(t, statusDone, s.on("wren", "", "intake").status)
	require.Equal(t, statusDone, s.on("curlew", "", "intake").status)
	for _, c := range []struct{ args, named string }{
		{"bench battery 12.6V", "'stumble bench --job 2'"}, {"bench", "'stumble bench --job 2'"}, {"report", "'stumble report 2'"}, {"causes", "'stumble causes 2'"},
	} {
		requireOneLine(t, s.run("", strings.Fields(c.args)...), statusUsage, "2 jobs were in hand today (2 Larkspur Curlew", "1 Larkspur Wren", c.named)
	}
	requireOneLine(t, s.run("", "bench", "plug-gap", "5=1.1mm", "--job", "1"), statusUsage, "cylinder 5")
	o := s.run("", "bench", "plug-gap", "1=1.1mm", "--job", "1")
	require.Equal(t, statusDone, o.status)
	assert.Contains(t, o.out, "Job 1, Larkspur Wren")

	s.hour = s.hour.Add(24 * time.Hour)
	o = s.run("", "bench")
	requireDone(t, o)
	assert.Contains(t, o.out, "Job 1, Larkspur Wren", "in hand last, though begun first")
	noted := s.run("", "jobs", "note", "2", "tow bar fitted")
	requireDone(t, noted)
	assert.Contains(t, noted.out, "noted in job 2, Larkspur Curlew")
	o = s.run("", "causes")
	requireDone(t, o)
	assert.Contains(t, o.out, "Job 2, Larkspur Curlew")
}
