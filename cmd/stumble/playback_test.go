package main

import (
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/gdamore/tcell/v2"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/engine"
	"stumble/misfire/journal"
	"stumble/obd/clock"
)

// A stored drive looked at later tells what it told live, to the last digit: every line of it, and the summary, whatever
// the car, the adapter and the marks.
func TestPlaybackIsTheDrive(t *testing.T) {
	path := aJournal(t)
	drives := []string{
		"watch --for 4m", "watch --for 3m --seed 2 --engine i4-1342 --map 1,3,4,2", "watch --port sim:wren+dropping-link --for 4m",
		"watch --port sim:rook --for 2m", "watch --port sim:curlew-worn-plug --for 2m", "watch --port sim:engine-off --for 20s",
	}
	for i, command := range drives {
		live := simulated(t, path, command+" --json")
		require.Equal(t, statusDone, live.status, live.errs)
		o := stepped(t, "playback", string(rune('1'+i)), "--json", "--journal", path)
		requireDone(t, o)
		require.Equal(t, ofTheCar(live.out), ofTheCar(o.out), command)
		require.Contains(t, lastLines(o.out, 1)[0], `"kind":"summary"`)
	}
}

// ofTheCar are the lines that a drive and its playback share: not what was told of the link and the recording, which
// is no part of the car.
func ofTheCar(out string) (lines []string) {
	for line := range strings.Lines(out) {
		if !strings.HasPrefix(line, `{"kind":"notice"`) {
			line = strings.ReplaceAll(line, `"link":"adapter lost, seeking it"`, `"link":null`)
			lines = append(lines, line)
		}
	}
	return lines
}

// The marks of a guided drive come back at their places, and with them the same counts.
func TestPlaybackOfALoadtest(t *testing.T) {
	path := aJournal(t)
	live := simulated(t, path, "loadtest --json --yes --steps park,drive")
	require.Equal(t, statusDone, live.status, live.errs)
	o := stepped(t, "playback", "1", "--json", "--journal", path)
	requireDone(t, o)
	marks := func(out string) (all []string) {
		for line := range strings.Lines(out) {
			if strings.HasPrefix(line, `{"kind":"mark"`) {
				all = append(all, line)
			}
		}
		return all
	}
	require.NotEmpty(t, marks(live.out))
	assert.Equal(t, marks(live.out), marks(o.out))
	was, is := summaryOf(t, live.out), summaryOf(t, o.out)
	for _, only := range []string{"steps", "step_notes"} {
		assert.Contains(t, was, only)
		delete(was, only)
	}
	assert.Equal(t, was, is)
}

func summaryOf(t testing.TB, out string) map[string]any {
	t.Helper()
	last := jsonLines(t, lastLines(out, 1)[0])[0]
	require.Equal(t, "summary", last["kind"])
	return last
}

// Lines pass as fast as they can; at a speed they keep to the clock, and what lies before --from takes no time.
func TestPlaybackKeepsToTheClock(t *testing.T) {
	path := aJournal(t)
	require.Equal(t, statusDone, simulated(t, path, "watch --plain --for 2m").status)
	const without = 4 * time.Second // the beginning and the end of a drive lie between samples
	for args, want := range map[string]time.Duration{
		"":                       0,
		"--speed max":            0,
		"--speed 1":              2 * time.Minute,
		"--speed 4":              30 * time.Second,
		"--speed 0.5":            4 * time.Minute,
		"--speed 4 --from 80s":   10 * time.Second,
		"--speed max --from 80s": 0,
	} {
		clk := clock.NewStepped(morning())
		o := stumbleAt(t.Context(), clk, append(strings.Fields("playback 1 --plain --journal "+path), strings.Fields(args)...)...)
		requireDone(t, o)
		assert.InDelta(t, want.Seconds(), clk.Now().Sub(morning()).Seconds(), without.Seconds(), args)
	}
}

// What lies before --from is counted all the same.
func TestPlaybackFrom(t *testing.T) {
	path := aJournal(t)
	require.Equal(t, statusDone, simulated(t, path, "watch --json --for 2m").status)
	whole := stepped(t, "playback", "1", "--json", "--journal", path)
	part := stepped(t, "playback", "1", "--json", "--journal", path, "--from", "80s")
	requireDone(t, part)
	assert.Equal(t, lastLines(whole.out, 1), lastLines(part.out, 1))
	first := jsonLines(t, part.out)[0]
	assert.InDelta(t, 80, first["seconds"], 1)
	requireOneLine(t, stepped(t, "playback", "1", "--json", "--journal", path, "--from", "2h"), statusUsage, "drive 1 lasts 2m0s: give a --from before its end")
}

// The layout and the map are those of the drive unless others are given.
func TestPlaybackWithAnotherMap(t *testing.T) {
	path := aJournal(t)
	require.Equal(t, statusDone, simulated(t, path, "watch --plain --for 3m --engine i4-1342 --map 2,1,3,4").status)
	engineOf := func(args ...string) map[string]any {
		o := stepped(t, append([]string{"playback", "1", "--json", "--journal", path}, args...)...)
		requireDone(t, o)
		return summaryOf(t, o.out)["engine"].(map[string]any)
	}
	assert.Equal(t, "2,1,3,4", engineOf()["map"])
	assert.Equal(t, "i4-1342", engineOf()["layout"])
	assert.Equal(t, "1,3,4,2", engineOf("--map", "firing-order")["map"], "by the layout of the drive")
	assert.Equal(t, "i4-1342", engineOf("--map", "1,3,4,2")["layout"])
	assert.Equal(t, "i4-1243", engineOf("--engine", "i4-1243")["layout"])
	assert.Empty(t, engineOf("--engine", "i4-1243")["map"], "the map of another layout is not taken over")
}

// showing is a playback of a drive of two minutes on a screen.
type showing struct {
	t         *testing.T
	screen    *glass
	live      string // what the drive printed when it was recorded
	out, errs buffer
	done      chan int
}

// startShowing records the drive and plays it back.
func startShowing(t *testing.T, speed string) *showing {
	t.Helper()
	path := aJournal(t)
	live := simulated(t, path, "watch --plain --for 2m")
	require.Equal(t, statusDone, live.status)
	s := &showing{t: t, screen: &glass{SimulationScreen: tcell.NewSimulationScreen("UTF-8")}, live: live.out, done: make(chan int, 1)}
	a := program(t.Context(), clock.System{}, &s.out, &s.errs)
	a.terminal = s.screen
	go func() { s.done <- a.run([]string{"playback", "1", "--speed", speed, "--journal", path}) }()
	return s
}

func (s *showing) shows(words string) {
	s.t.Helper()
	require.Eventually(s.t, func() bool { return strings.Contains(s.screen.text(), words) }, time.Minute, time.Millisecond, words)
}

// press presses runes and keys.
func (s *showing) press(keys ...any) {
	for _, key := range keys {
		switch key := key.(type) {
		case rune:
			s.screen.InjectKey(tcell.KeyRune, key, tcell.ModNone)
		case tcell.Key:
			s.screen.InjectKey(key, 0, tcell.ModNone)
		}
	}
}

// leave ends the playback, which must have come to the summary of the drive.
func (s *showing) leave() {
	s.t.Helper()
	s.press('q')
	require.Equal(s.t, statusDone, <-s.done, s.errs.String())
	assert.Equal(s.t, lastLines(s.live, 8), lastLines(s.out.String(), 8), "the same summary")
}

// On the screen the drive says that it is played back, stays at its end until the user leaves, and takes no marks.
func TestPlaybackOnTheScreen(t *testing.T) {
	s := startShowing(t, "60")
	s.shows("of 02:00, 60 times as fast")
	s.press('r')
	s.shows("of 02:00, the end")
	assert.NotContains(t, s.screen.text(), "gear R", "what happened is not added to")
	s.leave()
}

// The keys of a playback stop it, take it back and on, and change its pace; however it was gone through, the summary is
// that of the drive.
func TestPlaybackIsTurned(t *testing.T) {
	s := startShowing(t, "0.125")
	s.shows("0.125 times as fast")
	s.press(' ')
	s.shows("of 02:00, paused")
	s.press('>', tcell.KeyRight, tcell.KeyRight)
	s.shows("playback 01:20 of 02:00, paused")
	s.press(tcell.KeyLeft)
	s.shows("playback 01:10 of 02:00, paused")
	s.press('<', '<')
	s.shows("playback 00:00 of 02:00, paused")
	s.press(' ', '+', '+', '+', '+')
	s.shows("2 times as fast")
	s.press('>', '>', '>')
	s.shows("of 02:00, the end")
	s.press('<')
	s.shows("of 02:00, 2 times as fast")
	s.press('>')
	s.shows("of 02:00, the end")
	s.leave()
}

func TestPlaybackThatCannot(t *testing.T) {
	path := aJournal(t)
	inJournal(t, path, func(j *journal.Journal) {
		r, err := j.StartDrive(journal.DriveInfo{Vehicle: journal.Vehicle{Name: "Wren"}, Started: morning(), Map: engine.Map{}})
		require.NoError(t, err)
		require.NoError(t, r.Finish(nil))
	})
	in := func(args string) outcome {
		return stepped(t, append(strings.Fields("playback --plain --journal "+path), strings.Fields(args)...)...)
	}
	requireOneLine(t, in("1"), statusFailed, "drive 1 has no samples: there is nothing to play back")
	requireOneLine(t, in("7"), statusFailed, "drive 7 is not in the journal: list the jobs")
	requireOneLine(t, in(""), statusUsage, "say which drive by its number")
	requireOneLine(t, in("last"), statusUsage, `"last" is no number of a drive`)
	requireOneLine(t, in("1 --json"), statusUsage, "exclude each other")
	requireOneLine(t, in("1 --speed fast"), statusUsage, "give a number up to 1000, or max")
	requireOneLine(t, in("1 --from soon"), statusUsage, "give a length of time")
	requireOneLine(t, stepped(t, "playback", "1", "--speed", "max", "--journal", path), statusUsage, "the screen cannot show a drive at max")
	requireOneLine(t, stepped(t, "playback", "1", "--plain"), statusFailed, "no folder for the journal is known")
	requireOneLine(t, stepped(t, "playback", "1", "--plain", "--journal", newerJournal(t)), statusFailed, "written by a newer version", "another file with --journal")
	requireOneLine(t, stepped(t, "playback", "1", "--plain", "--journal", filepath.Dir(path)), statusFailed, "is not a file: name a file with --journal")
}
