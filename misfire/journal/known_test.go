package journal_test

import (
	"bytes"
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/journal"
)

// What is remembered is kept once for each name, the newest word of it, survives the program, and can be forgotten.
func TestKnown(t *testing.T) {
	j := fresh(t)
	_, found, err := j.Recall(journal.KnownCar, "0LKWR16A4R0104217")
	require.NoError(t, err)
	assert.False(t, found)
	at := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	for i, data := range []string{`{"protocol":6}`, `{"protocol":7}`} {
		require.NoError(t, j.Remember(journal.Known{Kind: journal.KnownCar, Name: "0LKWR16A4R0104217", At: at.Add(time.Duration(i) * time.Hour), Data: json.RawMessage(data)}))
	}
	require.NoError(t, j.Remember(journal.Known{Kind: journal.KnownPort, At: at, Data: json.RawMessage(`"/dev/ttyUSB0"`)}))
	require.Error(t, j.Remember(journal.Known{Kind: journal.KnownPort, At: at, Data: json.RawMessage(`{`)}))
	path := j.Path()
	require.NoError(t, j.Close())
	j, _ = open(t, path)
	k, found, err := j.Recall(journal.KnownCar, "0LKWR16A4R0104217")
	require.NoError(t, err)
	assert.True(t, found)
	assert.Equal(t, at.Add(time.Hour), k.At)
	assert.JSONEq(t, `{"protocol":7}`, string(k.Data))
	all, err := j.Remembered()
	require.NoError(t, err)
	require.Len(t, all, 2)
	assert.Equal(t, journal.KnownCar, all[0].Kind, "the newest first")
	require.NoError(t, j.Forget(journal.KnownCar, "0LKWR16A4R0104217"))
	require.NoError(t, j.Forget(journal.KnownCar, "never seen"))
	all, err = j.Remembered()
	require.NoError(t, err)
	assert.Len(t, all, 1)
	require.NoError(t, j.Forget("", ""))
	all, err = j.Remembered()
	require.NoError(t, err)
	assert.Empty(t, all)
}

// What is remembered of cars and adapters is nobody's job: it is not exported with one.
func TestKnownIsNotExported(t *testing.T) {
	j, _ := open(t, unpackedJournal(t, "version-2"))
	require.NoError(t, j.Remember(journal.Known{Kind: journal.KnownPort, Data: json.RawMessage(`"/dev/ttyUSB0"`)}))
	var exported bytes.Buffer
	require.NoError(t, j.ExportJob(1, &exported))
	other := fresh(t)
	_, err := other.ImportJob(&exported)
	require.NoError(t, err)
	all, err := other.Remembered()
	require.NoError(t, err)
	assert.Empty(t, all)
}
