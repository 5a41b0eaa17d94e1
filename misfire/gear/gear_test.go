package gear_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/gear"
)

func TestBoxesAreReadAsTheyAreWritten(t *testing.T) {
	for _, b := range []gear.Box{gear.NotTold, gear.Manual, gear.Automatic, gear.OtherBox} {
		read, err := gear.ParseBox(b.String())
		require.NoError(t, err)
		assert.Equal(t, b, read)
	}
	_, err := gear.ParseBox("sledge")
	assert.ErrorContains(t, err, "manual, automatic")
}

// Every state has a name of its own and a place in the order.
func TestStatesAreComplete(t *testing.T) {
	names, places := map[string]bool{}, map[gear.State]bool{}
	for _, s := range gear.Order() {
		names[s.String()], places[s] = true, true
	}
	assert.Len(t, names, gear.States)
	assert.Len(t, places, gear.States)
	assert.NotContains(t, gear.Known(), gear.Unknown)
	assert.Equal(t, "?", gear.State(99).String())
	assert.False(t, gear.State(99).Loaded())
}
