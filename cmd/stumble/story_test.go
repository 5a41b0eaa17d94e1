package main

import (
	"encoding/json"
	"flag"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// stories asks for every scenario that 'simulate --list' names; without it one of each kind of fault is looked at.
var stories = flag.Bool("stories", false, "hold the pages of every simulated scenario to one story")

// fewStories are one scenario of each kind of fault, and those that tell nothing or little.
func fewStories() []string {
	return []string{"curlew", "curlew-lean-bank", "wren", "wren-coil-hot", "random-leak", "fuel-supply", "dead-cylinder", "plover-compression",
		"rook", "siskin", "wren-bursty", "curlew-firing-order", "healthy"}
}

// story is what the pages of one job say.
type story struct {
	name      string
	sentence  string
	cylinders []int
	gear      string
	part      string
	on        []int
}

func (s story) String() string {
	return fmt.Sprintf("%-26s cylinders %-12v gear %-8s part %s %v", s.name, s.cylinders, s.gear, s.part, s.on)
}

// ending is what a guided drive ends with, as scripts read it.
type ending struct {
	Kind    string
	Verdict struct {
		Sentence  string
		Cylinders []int
		Worse     string `json:"worse_in"`
	}
	Causes *struct {
		Ranked []struct {
			Cause     string
			Cylinders []int
		}
	}
}

// No two pages of a job disagree: what the guided drive ends with is what its job's page, causes, comparison and report say.
// With -v each scenario's story is printed; with -args -stories all of them.
func TestPagesTellOneStory(t *testing.T) {
	if testing.Short() {
		t.Skip("hours of driving")
	}
	names := fewStories()
	if *stories {
		names = nil
		for line := range strings.Lines(stepped(t, "simulate", "--list").out) {
			if name, _, _ := strings.Cut(line, " "); name != "" && name != "\n" {
				names = append(names, name)
			}
		}
	}
	for _, name := range names {
		t.Run(name, func(t *testing.T) { tellStory(t, name) })
	}
}

func tellStory(t *testing.T, name string) {
	s := newDay(t)
	s.on(name, "", "intake") // a car that tells nothing of itself has a story, too
	o := s.on(name, "", "loadtest", "--json", "--yes")
	if o.status != statusDone {
		requireOneLineEnd(t, o)
		return
	}
	var end ending
	lines := strings.Split(strings.TrimSpace(o.out), "\n")
	require.NoError(t, json.Unmarshal([]byte(lines[len(lines)-1]), &end))
	require.Equal(t, "summary", end.Kind)
	told := story{name: name, sentence: end.Verdict.Sentence, cylinders: end.Verdict.Cylinders, gear: end.Verdict.Worse}

	causes := s.causes("1")
	if len(causes.Ranked) > 0 {
		told.part, told.on = causes.Ranked[0].Cause, causes.Ranked[0].Cylinders
	}
	if end.Causes != nil && len(end.Causes.Ranked) > 0 {
		assert.Equal(t, told.part, end.Causes.Ranked[0].Cause, "the drive ends with another part than causes names a moment later")
		assert.Equal(t, told.on, end.Causes.Ranked[0].Cylinders)
	}
	t.Log(told)

	plain := func(text string) string { return strings.Join(strings.Fields(text), " ") }
	shown, report := s.run("", "jobs", "show", "1"), s.run("", "report", "1", "--width", "132")
	assert.Contains(t, plain(shown.out), plain(told.sentence), "the page of the job")
	assert.Contains(t, plain(report.out), plain(told.sentence), "the report")
	if causes.Sentence != "" && len(causes.Ranked) > 0 {
		assert.Contains(t, plain(report.out), plain(causes.Sentence), "the report names the same part")
	}

	require.Equal(t, statusDone, s.on(name, "", "watch", "--plain", "--for", "4m", "--seed", "9").status)
	compared := s.run("", "compare", "--job", "1", "--json")
	if compared.status != statusDone {
		requireOneLineEnd(t, compared) // as of a car without counts
		return
	}
	var object map[string]any
	require.NoError(t, json.Unmarshal([]byte(compared.out), &object))
	assert.Equal(t, "nothing_told", object["outcome"])
	for _, c := range object["cylinders"].([]any) {
		n := int(c.(map[string]any)["cylinder"].(float64))
		assert.True(t, slices.Contains(told.cylinders, n) || strings.Contains(told.sentence, fmt.Sprint(n)), "compare names cylinder %d, the drive does not: %s", n, told)
	}
	report = s.run("", "report", "1", "--width", "132")
	assert.Contains(t, plain(report.out), plain(object["sentence"].(string)), "the report says what compare says")
}

// requireOneLineEnd holds a refusal to ending in one line.
func requireOneLineEnd(t testing.TB, o outcome) {
	t.Helper()
	require.Equal(t, statusFailed, o.status)
	last := lastLines(o.errs, 1)[0]
	require.True(t, strings.HasPrefix(last, "stumble: "), last)
}
