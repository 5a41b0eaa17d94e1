package main

import (
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/journal"
	"stumble/obd"
)

// The raw exchanges of a drive tell what its samples told: played back, exported and compared, decoded anew it comes
// to the same, mark for mark.
func TestDecodedAnewIsTheDrive(t *testing.T) {
	for _, scenario := range []string{"wren", "rook-kwp"} {
		t.Run(scenario, func(t *testing.T) {
			path := aJournal(t)
			require.Equal(t, statusDone, stepped(t, strings.Fields("watch --plain --for 3m --speed max --port sim:"+scenario+" --journal "+path)...).status)
			for _, command := range []string{"playback 1 --json", "export 1", "export 1 --what tally --format jsonl"} {
				words := append(strings.Fields(command), "--journal", path)
				saved, anew := stepped(t, words...), stepped(t, append(words, "--anew")...)
				requireDone(t, saved)
				requireDone(t, anew)
				require.Equal(t, saved.out, anew.out, command)
			}
		})
	}
}

// Marks come between the readings that they came between.
func TestDecodedAnewKeepsTheMarks(t *testing.T) {
	path := aJournal(t)
	require.Equal(t, statusDone, stepped(t, strings.Fields("loadtest --json --speed max --port sim:wren --journal "+path)...).status)
	saved := stepped(t, "playback", "1", "--json", "--journal", path)
	anew := stepped(t, "playback", "1", "--json", "--anew", "--journal", path)
	requireDone(t, anew)
	assert.Contains(t, anew.out, `"kind":"mark"`)
	assert.Equal(t, summaryOf(t, saved.out), summaryOf(t, anew.out))
}

// A drive that cannot be decoded anew is told so.
func TestDecodedAnewNeedsExchanges(t *testing.T) {
	path := aJournal(t)
	inJournal(t, path, func(j *journal.Journal) {
		r, err := j.StartDrive(journal.DriveInfo{Vehicle: journal.Vehicle{Name: "Wren"}, Started: morning(), Protocol: obd.CAN11At500})
		require.NoError(t, err)
		r.Sample(&obd.Sample{Sent: morning(), Received: morning(), Readings: []obd.Reading{{Service: obd.LiveData, ID: obd.PIDRPM, Value: 800}}})
		require.NoError(t, r.Finish(nil))
		r, err = j.StartDrive(journal.DriveInfo{Vehicle: journal.Vehicle{Name: "Wren"}, Started: morning()})
		require.NoError(t, err)
		r.Sample(&obd.Sample{Sent: morning(), Received: morning(), Readings: []obd.Reading{{Service: obd.LiveData, ID: obd.PIDRPM, Value: 800}}})
		r.Exchange(&obd.Exchange{Sent: morning(), Received: morning(), Request: []byte("010C"), Answer: []byte("NO DATA")})
		require.NoError(t, r.Finish(nil))
	})
	requireOneLine(t, stepped(t, "playback", "1", "--plain", "--anew", "--journal", path), statusFailed, "drive 1 holds no raw exchanges to decode anew: leave --anew out")
	requireOneLine(t, stepped(t, "export", "2", "--anew", "--journal", path, "--out", filepath.Join(t.TempDir(), "x.csv")), statusFailed, "drive 2 does not tell the protocol")
}
