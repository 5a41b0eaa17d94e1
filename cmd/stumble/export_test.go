package main

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/parquet-go/parquet-go"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/export"
	"stumble/misfire/journal"
	"stumble/obd/clock"
)

// aDrive is a journal with one recorded drive.
func aDrive(t testing.TB) string {
	t.Helper()
	path := aJournal(t)
	o := simulated(t, path, "watch --plain --for 3m --engine i4-1342")
	require.Equal(t, statusDone, o.status, o.errs)
	return path
}

// exported runs export on drive 1.
func exported(t testing.TB, path, args string, more ...string) outcome {
	t.Helper()
	return stepped(t, append(append(strings.Fields("export 1 --journal "+path), strings.Fields(args)...), more...)...)
}

// Every table holds the same rows in every format, on standard output and in a file.
func TestExport(t *testing.T) {
	path := aDrive(t)
	t.Run("samples", func(t *testing.T) {
		want := 0
		inJournal(t, path, func(j *journal.Journal) {
			require.NoError(t, j.Play(1, func(e journal.Event) error {
				if e.Sample != nil {
					want += len(e.Sample.Readings)
				}
				return nil
			}))
		})
		assert.Len(t, requireSameInAllFormats[export.Sample](t, path, ""), want)
	})
	t.Run("windows", func(t *testing.T) {
		rows := requireSameInAllFormats[export.Window](t, path, "--what windows")
		misses := make(map[int64]float64)
		for _, r := range rows {
			if r.Counted {
				misses[r.Cylinder] += float64(r.Misses)
			}
		}
		for _, c := range requireSameInAllFormats[export.Cell](t, path, "--what tally") {
			if c.Level == "drive" {
				assert.InDelta(t, *c.Misses, misses[c.Cylinder], 1e-9, "misses of cylinder %d", c.Cylinder)
			}
		}
		assert.Positive(t, misses[2], "the worn wire of the Wren's cylinder 2")
	})
}

// The tally that is exported is that of the summary.
func TestExportOfTheTally(t *testing.T) {
	path := aDrive(t)
	o := stepped(t, "playback", "1", "--json", "--journal", path)
	requireDone(t, o)
	summary := summaryOf(t, o.out)
	o = exported(t, path, "--what tally --format jsonl")
	requireDone(t, o)
	byLevel := make(map[any][]map[string]any)
	for line := range strings.Lines(o.out) {
		var row map[string]any
		require.NoError(t, json.Unmarshal([]byte(line), &row))
		byLevel[row["level"]] = append(byLevel[row["level"]], row)
	}
	for level, list := range map[string]string{"condition": "cells", "gear": "by_gear", "drive": "total"} {
		cells := summary[list].([]any)
		require.Len(t, byLevel[level], len(cells), level)
		for i, c := range cells {
			cell, row := c.(map[string]any), byLevel[level][i]
			for _, name := range []string{"cylinder", "gear", "load_band", "rpm_band", "warm", "origin", "reported", "at_least", "apart", "judged", "bursts", "worsening"} {
				assert.Equal(t, cell[name], row[name], "%s: %s", level, name)
			}
			for name, column := range map[string]string{"misses": "misses", "firings": "firings", "seconds": "running_seconds", "rate": "rate_per_1000",
				"low": "low_per_1000", "high": "high_per_1000", "mixed": "mixed", "dispersion": "dispersion"} {
				if cell[name] == nil {
					assert.Nil(t, row[column], "%s: %s", level, name)
					continue
				}
				assert.InDelta(t, cell[name], row[column], 0.5001e-4, "%s: %s, there rounded to four places", level, name)
			}
		}
	}
}

// requireSameInAllFormats exports a table in each format and returns its rows.
func requireSameInAllFormats[R export.Row](t *testing.T, path, args string) []R {
	t.Helper()
	dir := t.TempDir()
	file := func(name string) string {
		o := exported(t, path, args, "--out", filepath.Join(dir, name))
		requireDone(t, o)
		assert.Contains(t, o.out, " of drive 1 in "+filepath.Join(dir, name))
		text, err := os.ReadFile(filepath.Join(dir, name))
		require.NoError(t, err)
		return string(text)
	}
	lines := file("table.jsonl")
	table, err := csv.NewReader(strings.NewReader(file("table.csv"))).ReadAll()
	require.NoError(t, err)
	file("table.parquet")
	rows, err := parquet.ReadFile[R](filepath.Join(dir, "table.parquet"))
	require.NoError(t, err)
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	assert.Len(t, entries, 3, "nothing half is left behind")

	require.Len(t, table, len(rows)+1)
	require.Equal(t, len(rows), strings.Count(lines, "\n"))
	at := 0
	for line := range strings.Lines(lines) {
		row, err := json.Marshal(rows[at])
		require.NoError(t, err)
		require.Equal(t, string(row)+"\n", line)
		at++
		var object map[string]any
		require.NoError(t, json.Unmarshal([]byte(line), &object))
		fields := make([]string, len(object))
		for c, name := range table[0] {
			fields[c] = inCSV(object[name])
		}
		require.Equal(t, fields, table[at])
	}
	for format, text := range map[string]string{"": "", "--format csv": "", "--format jsonl": lines} {
		o := exported(t, path, args+" "+format)
		requireDone(t, o)
		if text != "" {
			assert.Equal(t, text, o.out, format)
		}
		assert.Contains(t, []int{len(rows), len(rows) + 1}, strings.Count(o.out, "\n"), format)
	}
	return rows
}

// inCSV is a value of JSON as CSV has it.
func inCSV(v any) string {
	switch v := v.(type) {
	case string:
		return v
	case float64:
		return strconv.FormatFloat(v, 'f', -1, 64)
	case bool:
		return strconv.FormatBool(v)
	}
	return ""
}

func TestExportThatCannot(t *testing.T) {
	path := aDrive(t)
	dir := t.TempDir()
	there := filepath.Join(dir, "there.csv")
	require.NoError(t, os.WriteFile(there, []byte("mine"), 0o600))
	inJournal(t, path, func(j *journal.Journal) {
		r, err := j.StartDrive(journal.DriveInfo{Vehicle: journal.Vehicle{Name: "Wren"}, Started: morning()})
		require.NoError(t, err)
		require.NoError(t, r.Finish(nil))
	})
	for _, c := range []struct {
		args, says string
		status     int
	}{
		{"", "say which drive by its number", statusUsage},
		{"last", `"last" is no number of a drive`, statusUsage},
		{"1 2", `"2" is one argument too many`, statusUsage},
		{"9", "drive 9 is not in the journal", statusFailed},
		{"2", "drive 2 has no samples: there is nothing to export", statusFailed},
		{"1 --what everything", `there is no table "everything": give samples, windows, tally`, statusUsage},
		{"1 --format xml", `there is no format "xml": give csv, jsonl or parquet`, statusUsage},
		{"1 --format parquet", "name a file with --out", statusUsage},
		{"1 --out " + there, "is there already: name a new file, or replace it with --force", statusFailed},
		{"1 --out " + dir, "is not a plain file: name another", statusFailed},
		{"1 --force --out " + dir, "is not a plain file: name another", statusFailed},
		{"1 --out " + filepath.Join(dir, "none", "a.csv"), "the file cannot be made: ", statusFailed},
		{"1 --out " + filepath.Join(there, "a.csv"), "the file cannot be made: ", statusFailed},
	} {
		t.Run(c.args, func(t *testing.T) {
			requireOneLine(t, stepped(t, append([]string{"export", "--journal", path}, strings.Fields(c.args)...)...), c.status, c.says)
		})
	}
	text, err := os.ReadFile(there)
	require.NoError(t, err)
	assert.Equal(t, "mine", string(text))

	requireDone(t, exported(t, path, "--what tally --force --out "+there))
	text, err = os.ReadFile(there)
	require.NoError(t, err)
	assert.True(t, strings.HasPrefix(string(text), "level,cylinder,"))
}

// A drive that is not exported to its end leaves no file, and the one that was there as it was.
func TestExportLeavesNoHalfFile(t *testing.T) {
	path := aDrive(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	for _, what := range tables() {
		dir := t.TempDir()
		there := filepath.Join(dir, "there.parquet")
		require.NoError(t, os.WriteFile(there, []byte("mine"), 0o600))
		o := stumbleAt(ctx, clock.NewStepped(morning()), "export", "1", "--what", what, "--force", "--out", there, "--journal", path)
		requireOneLine(t, o, statusFailed, "stopped before it was done")
		entries, err := os.ReadDir(dir)
		require.NoError(t, err)
		assert.Len(t, entries, 1)
		text, err := os.ReadFile(there)
		require.NoError(t, err)
		assert.Equal(t, "mine", string(text))
	}
}

// What standard output does not take is said on one line.
func TestExportToAClosedPipe(t *testing.T) {
	path := aDrive(t)
	for _, what := range tables() {
		for _, format := range []string{"csv", "jsonl"} {
			var errs buffer
			args := []string{"export", "1", "--what", what, "--format", format, "--journal", path}
			status := run(t.Context(), args, strings.NewReader(""), &full{}, &errs, environment(nil))
			requireOneLine(t, outcome{status: status, errs: errs.String()}, statusFailed, "cannot write the result: ", os.ErrClosed.Error())
		}
	}
}
