package main

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Whole jobs on cars of SAE J1979-2, of four and of eight cylinders: intake, load test, causes, clear, the repaired car,
// proof and report. No real car of this kind was at hand, and every page says so.
func TestWholeJobOnAModernCar(t *testing.T) {
	if testing.Short() {
		t.Skip("hours of driving")
	}
	for _, c := range []struct {
		scenario, engine string
		cylinders, sick  int
		countAt          string // the place of this drive's count in a code's record
	}{
		{"siskin", "4", 4, 3, "0x01"},
		{"heron", "v8-along-15486372", 8, 7, "0x00"},
	} {
		t.Run(c.scenario, func(t *testing.T) {
			t.Parallel()
			s := newDay(t)
			code := fmt.Sprintf("P030%d", c.sick)
			o := s.on(c.scenario, "", "intake")
			require.Equal(t, statusDone, o.status, o.errs)
			for _, wanted := range []string{code + "-00, no further type of failure", "Nothing about real cars of this kind", "OBD on UDS (SAE J1979-2)",
				"The moment " + code + " was stored", "checks behind single codes", "603 of 612", "complete is earned"} {
				assert.Contains(t, strings.Join(strings.Fields(o.out), " "), wanted)
			}
			o = s.on(c.scenario, "", "loadtest", "--plain", "--yes", "--engine", c.engine)
			require.Equal(t, statusDone, o.status, o.errs)
			assert.Contains(t, o.out, fmt.Sprintf("Cylinder %d misses", c.sick))
			assert.Contains(t, strings.Join(strings.Fields(o.out), " "), "nothing about real cars of this kind is confirmed")
			s.requireCountsAsRead(1, c.cylinders, c.sick, c.countAt)
			causes := s.run("", "causes", "1", "--json")
			requireDone(t, causes)
			assert.Contains(t, causes.out, fmt.Sprintf(`"cylinders":[%d]`, c.sick))

			o = s.on(c.scenario, "CLEAR\n", "clear")
			require.Equal(t, statusDone, o.status, o.errs)
			assert.Contains(t, o.out, "Gone: "+code)
			s.drive(c.scenario+"-repaired", "45m", "--seed", "4", "--engine", c.engine)
			require.Equal(t, statusDone, s.on(c.scenario+"-repaired", "", "intake").status)
			compared := s.comparison("--job", "1")
			assert.Contains(t, []any{"proven", "not_yet"}, compared["outcome"], compared["sentence"])
			report := s.run("", "report", "1")
			requireDone(t, report)
			assert.Contains(t, strings.Join(strings.Fields(report.out), " "), "Nothing about real cars of this kind")
			assert.Contains(t, report.out, code)
		})
	}
}

// requireCountsAsRead holds what was counted of a drive to the last reading of each counter, which began at zero.
func (s *day) requireCountsAsRead(drive, cylinders, sick int, countAt string) {
	s.t.Helper()
	o := s.run("", "playback", strconv.Itoa(drive), "--json", "--speed", "max")
	requireDone(s.t, o)
	lines := strings.Split(strings.TrimSpace(o.out), "\n")
	var summary struct {
		Total []struct {
			Cylinder int
			Misses   float64
		}
	}
	require.NoError(s.t, json.Unmarshal([]byte(lines[len(lines)-1]), &summary))
	require.Len(s.t, summary.Total, cylinders)

	o = s.run("", "export", strconv.Itoa(drive), "--format", "csv")
	requireDone(s.t, o)
	rows, err := csv.NewReader(strings.NewReader(o.out)).ReadAll()
	require.NoError(s.t, err)
	at := map[string]int{}
	for i, name := range rows[0] {
		at[name] = i
	}
	last := map[int]float64{}
	for _, row := range rows[1:] {
		if row[at["service"]] != "0x19" || row[at["part"]] != countAt {
			continue
		}
		id, err := strconv.ParseUint(row[at["id"]], 0, 8)
		require.NoError(s.t, err)
		value, err := strconv.ParseFloat(row[at["value"]], 64)
		require.NoError(s.t, err)
		last[int(id)-0xA1] = value
	}
	for _, c := range summary.Total {
		assert.Equal(s.t, last[c.Cylinder], c.Misses, "cylinder %d", c.Cylinder)
	}
	assert.Greater(s.t, last[sick], 40.0)
}
