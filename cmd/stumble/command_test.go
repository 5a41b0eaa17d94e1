package main

import (
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd/clock"
)

// commands are all commands of the program, those of the library included.
func commands(t testing.TB) []*cobra.Command {
	t.Helper()
	all := newRoot(program(t.Context(), clock.NewStepped(morning()), &buffer{}, &buffer{})).Commands()
	require.NotEmpty(t, all)
	return all
}

// Where the shell asks what may follow, the commands, the options and their values are told. The request is the one
// that the library's scripts make.
func TestCompletion(t *testing.T) {
	for _, shell := range []string{"bash", "zsh", "fish", "powershell"} {
		o := stumble(t, "completion", shell)
		requireDone(t, o)
		assert.Contains(t, o.out, "stumble", shell)
		assert.Contains(t, o.out, cobra.ShellCompRequestCmd, shell)
	}
	for typed, wants := range map[string][]string{
		"co":                        {"codes", "compare", "completion"},
		"watch --en":                {"--engine", "--engines"},
		"watch --engine v6":         {"v6-"},
		"codes --port sim:wren":     {"sim:wren", "sim:wren-repaired"},
		"simulate roo":              {"rook"},
		"export 1 --what ":          {"samples", "windows", "tally"},
		"help lo":                   {"loadtest"},
		"compare 1 2 --fail-on sti": {"still_missing"},
	} {
		words := strings.Split(typed, " ")
		o := stumble(t, append([]string{cobra.ShellCompRequestCmd}, words...)...)
		require.Equal(t, statusDone, o.status, "%s: %s", typed, o.errs)
		for _, want := range wants {
			assert.Contains(t, "\n"+o.out, "\n"+want, "after %q", typed)
		}
	}
}

// A page for each command, with what its help says, whatever stands for structure in it.
func TestManual(t *testing.T) {
	folder := t.TempDir()
	requireDone(t, stepped(t, "man", folder))
	pages, err := filepath.Glob(filepath.Join(folder, "*.1"))
	require.NoError(t, err)
	for _, c := range commands(t) {
		if c.Name() == "help" {
			continue // the library leaves it out
		}
		assert.True(t, slices.Contains(pages, filepath.Join(folder, "stumble-"+c.Name()+".1")), c.Name())
	}
	text, err := os.ReadFile(filepath.Join(folder, "stumble-jobs.1"))
	require.NoError(t, err)
	page := string(text)
	assert.Contains(t, page, "stumble jobs show JOB            vehicle, intakes, drives, notes by number", "as it is to be typed")
	assert.Contains(t, page, "Nov 2026", "by the program's clock")
	assert.NotContains(t, page, "Auto generated")

	requireOneLine(t, stumble(t, "man"), statusUsage, "say into which folder")
	requireOneLine(t, stumble(t, "man", filepath.Join(folder, "none")), statusFailed, "is no folder: make it first")
}

func TestVersion(t *testing.T) {
	o := stumble(t, "--version")
	requireDone(t, o)
	assert.Regexp(t, `^stumble \S.*go1\.\d+`, o.out)
	assert.Equal(t, 1, strings.Count(o.out, "\n"))

	assert.Equal(t, "v1.2.3 commit 0123456789ab and changes of 2026-11-25 go1.26.8 linux/amd64", version(debug.BuildInfo{
		GoVersion: "go1.26.8", Main: debug.Module{Version: "v1.2.3"}, Settings: []debug.BuildSetting{
			{Key: "GOOS", Value: "linux"}, {Key: "GOARCH", Value: "amd64"}, {Key: "vcs.time", Value: "2026-11-25T08:30:00Z"},
			{Key: "vcs.revision", Value: "0123456789abcdef0123456789abcdef01234567"}, {Key: "vcs.modified", Value: "true"}}}))
	assert.Equal(t, "(unknown version)", version(debug.BuildInfo{}))
}

// Options may stand before an argument and after it, and before the command.
func TestOptionsStandAnywhere(t *testing.T) {
	want := stumble(t, "ports", "--names", "/dev/ttyUSB7", "/dev/ttyUSB8")
	requireDone(t, want)
	assert.Equal(t, want, stumble(t, "ports", "/dev/ttyUSB7", "--names", "/dev/ttyUSB8"))
	assert.Equal(t, want, stumble(t, "ports", "/dev/ttyUSB7", "/dev/ttyUSB8", "--names=true"))
}
