package main

import (
	"strings"
	"testing"
	"time"

	"github.com/gdamore/tcell/v2"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd/clock"
)

// Without a command, on a terminal, the program lists the jobs; from there a drive is played back, and its causes and the
// proof are looked at, as the commands give them. Nothing that is looked at changes the journal.
func TestJobsOnTheScreen(t *testing.T) {
	s := newDay(t)
	s.drive("wren", "8m")
	s.drive("wren-repaired", "8m")
	causes := s.run("", "causes", "1")
	requireDone(t, causes)
	before := s.run("", "jobs", "show", "1", "--json")

	term := &glass{SimulationScreen: tcell.NewSimulationScreen("UTF-8")}
	var out, errs buffer
	a := program(t.Context(), clock.System{}, &out, &errs)
	a.terminal, a.env = term, environment(map[string]string{"STUMBLE_JOURNAL": s.path})
	done := make(chan int, 1)
	go func() { done <- a.run(nil) }()
	shows := func(words string) {
		t.Helper()
		require.Eventually(t, func() bool { return strings.Contains(term.text(), words) }, time.Minute, time.Millisecond, "%s: %s", words, term.text())
	}
	key := func(k tcell.Key, r rune) { term.InjectKey(k, r, tcell.ModNone) }
	shows("Jobs, the newest first")
	key(tcell.KeyEnter, 0)
	shows("drive 1")
	key(tcell.KeyRune, 'c')
	shows("Causes considered")
	sentence, _, _ := strings.Cut(strings.Split(causes.out, "\n")[3], ",")
	shows(sentence)
	key(tcell.KeyEscape, 0)
	key(tcell.KeyRune, 'b')
	shows("Nothing was measured by hand yet.")
	key(tcell.KeyEscape, 0)
	key(tcell.KeyRune, 'p')
	shows("Drives with nothing told between them")
	key(tcell.KeyEscape, 0)
	key(tcell.KeyRune, 'd')
	shows("plays it back")
	key(tcell.KeyEnter, 0)
	shows("playback 00:0")
	key(tcell.KeyRune, ' ')
	shows("paused")
	key(tcell.KeyEscape, 0)
	shows("plays it back")
	key(tcell.KeyRune, 'q')
	require.Equal(t, statusDone, <-done, errs.String())
	assert.Empty(t, out.String())
	assert.Empty(t, errs.String())
	assert.Equal(t, before.out, s.run("", "jobs", "show", "1", "--json").out)
}

// Without a terminal the commands are listed, and that none was named is wrong usage.
func TestNoCommand(t *testing.T) {
	o := stumble(t)
	assert.Equal(t, statusUsage, o.status)
	assert.Empty(t, o.out)
	assert.Contains(t, o.errs, "usage: stumble COMMAND [options]")
}

// Where no journal can be, the list of jobs says what to do.
func TestJobsOnTheScreenWithoutAJournal(t *testing.T) {
	var out, errs buffer
	a := program(t.Context(), clock.System{}, &out, &errs)
	a.terminal = &glass{SimulationScreen: tcell.NewSimulationScreen("UTF-8")}
	requireOneLine(t, outcome{a.run(nil), out.String(), errs.String()}, statusFailed, "no folder for the journal is known")
}
