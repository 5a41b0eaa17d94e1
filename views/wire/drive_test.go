package wire

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/views"
	"stumble/views/viewstest"
)

func TestJSONLines(t *testing.T) {
	moving := viewstest.Wren(t)
	moving.Summary.Live.Gear.Number = 3
	var lines bytes.Buffer
	for _, object := range []any{
		NewSample(&views.State{Health: views.Health{PerSecond: math.NaN()}}), NewSample(moving), NewSample(viewstest.Guided(t)), NewSample(viewstest.Rook(t)), NewSample(viewstest.Eight(t)),
		NewMark(viewstest.Wren(t).Notes[2], viewstest.Began), NewMark(views.Mark{At: viewstest.Began, Text: `5 < 6 & "so"`}, time.Time{}),
		NewNotice(viewstest.Began, "the link was lost for 6 s"),
		NewSummary(viewstest.Wren(t)), NewSummary(viewstest.Burst(t)), NewSummary(viewstest.Rook(t)), NewSummary(&views.State{}),
	} {
		require.NoError(t, WriteLine(&lines, object))
	}
	viewstest.RequireGolden(t, "lines.jsonl", lines.String())
}

// TestJSONKeepsItsPromise checks the lines as a reader of the documentation would: every field named for the summary
// is there, numbers are numbers or null, and nothing else changes its type.
func TestJSONKeepsItsPromise(t *testing.T) {
	var line bytes.Buffer
	require.NoError(t, WriteLine(&line, NewSummary(viewstest.Wren(t))))
	assert.Equal(t, 1, strings.Count(line.String(), "\n"))
	var got map[string]any
	require.NoError(t, json.Unmarshal(line.Bytes(), &got))
	for _, field := range []string{"kind", "seconds", "vehicle", "engine", "refresh", "cells", "by_gear", "total", "verdict", "unknown", "exchanges"} {
		assert.Contains(t, got, field)
	}
	assert.Equal(t, "summary", got["kind"])
	assert.Equal(t, map[string]any{"kind": "revolutions", "revolutions": 200.0, "seconds": nil, "rises": 14.0}, got["refresh"])
	verdict := got["verdict"].(map[string]any)
	assert.Equal(t, "D", verdict["worse_in"])
	assert.Equal(t, []any{2.0}, verdict["cylinders"])

	cell := got["cells"].([]any)[5].(map[string]any)
	for field, want := range map[string]any{
		"cylinder": 2.0, "gear": "D", "load_band": "30-40 %", "rpm_band": "under 1000 rpm", "warm": true, "origin": "marked",
		"misses": 31.0, "firings": 1000.0, "rate": 31.0, "mixed": 0.12,
	} {
		assert.Equal(t, want, cell[field], field)
	}
	// Clopper-Pearson limits of 31 in 1,000, from the design's example.
	assert.InDelta(t, 21.1, cell["low"], 0.1)
	assert.InDelta(t, 43.9, cell["high"], 0.2)

	byGear := got["by_gear"].([]any)[5].(map[string]any)
	assert.NotContains(t, byGear, "load_band")
	assert.NotContains(t, byGear, "warm")
	assert.Equal(t, "D", byGear["gear"])
	assert.NotContains(t, got["total"].([]any)[1], "gear")
}

// What is worked out is rounded, what a car says is not.
func TestNumber(t *testing.T) {
	for value, want := range map[float64]string{
		31: "31", 0.1 + 0.2: "0.3", math.Copysign(0, -1): "0", 1234567.5: "1234567.5", 0.00004: "0", -0.00001: "0",
		math.Inf(1): "null", math.Inf(-1): "null", 1e20: "100000000000000000000",
	} {
		got, err := json.Marshal(rounded(value))
		require.NoError(t, err)
		assert.Equal(t, want, string(got))
	}
	exact, err := json.Marshal(Number(2.0 / 65536))
	require.NoError(t, err)
	assert.Equal(t, "0.000030517578125", string(exact))
	got, err := json.Marshal(Number(math.NaN()))
	require.NoError(t, err)
	assert.Equal(t, "null", string(got))
}

func TestStamp(t *testing.T) {
	zone := time.FixedZone("", 2*3600)
	got, err := json.Marshal(Stamp(time.Date(2026, 3, 14, 11, 26, 53, 589_793_238, zone)))
	require.NoError(t, err)
	assert.Equal(t, `"2026-03-14T09:26:53.589Z"`, string(got))
	got, err = json.Marshal(Stamp{})
	require.NoError(t, err)
	assert.Equal(t, "null", string(got))
}
