package wire

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/views/viewstest"
)

func TestBenchObject(t *testing.T) {
	data, err := json.Marshal(NewBench(viewstest.Bench()))
	require.NoError(t, err)
	var o struct {
		Job      int
		Readings []map[string]any
	}
	require.NoError(t, json.Unmarshal(data, &o))
	assert.Equal(t, 7, o.Job)
	open, redone, unknown := o.Readings[0], o.Readings[1], o.Readings[6]
	assert.Nil(t, open["reading"], "not saved")
	assert.Nil(t, open["value"])
	assert.Equal(t, true, open["open"])
	assert.Equal(t, 0.6, open["length_m"])
	assert.Equal(t, "bad", open["mark"])
	assert.Equal(t, "good", open["mark_then"])
	assert.Nil(t, open["maker"])
	assert.Equal(t, true, redone["redone"])
	assert.Equal(t, "cannot_say", unknown["mark"])
	assert.Equal(t, 0.5, unknown["margin"])
	assert.Nil(t, unknown["rule"])
}
