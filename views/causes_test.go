package views

import (
	"encoding/json"
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/cause"
	"stumble/misfire/engine"
	"stumble/obd"
	"stumble/views/report"
	"stumble/views/say"
)

// explained is causes of a car with those codes.
func explained(t *testing.T, codes ...obd.Code) *report.Causes {
	t.Helper()
	layout, err := engine.Find("v6-along-142536")
	require.NoError(t, err)
	e := cause.Evidence{Engine: layout, Ignition: cause.CoilOnPlug, Codes: cause.Codes{Read: true, Set: codes}}
	return &report.Causes{Job: 3, Drives: "drive 5,\x1b[2J running", Ignition: e.Ignition, Result: cause.StandardBook().Explain(e)}
}

// A short word of the causes ends other pages; there is none where there is nothing to explain, and a writer that fails
// is told of.
func TestWriteCausesBrief(t *testing.T) {
	var text strings.Builder
	c := explained(t, 0x0305, 0x0355)
	require.NoError(t, WriteCausesBrief(&text, c.Result))
	assert.True(t, strings.HasPrefix(text.String(), "\n"), "it stands off from what is above")
	assert.Equal(t, say.English().Causes(c.Result), strings.Join(strings.Fields(text.String()), " "))
	text.Reset()
	require.NoError(t, WriteCausesBrief(&text, explained(t).Result))
	require.NoError(t, WriteCausesBrief(&text, nil))
	assert.Empty(t, text.String())
	assert.Error(t, WriteCausesBrief(full{}, c.Result))
}

// What is not known is null, a list never is.
func TestCausesObject(t *testing.T) {
	data, err := json.Marshal(NewCauses(explained(t, 0x0305, 0x0355)))
	require.NoError(t, err)
	var object map[string]any
	require.NoError(t, json.Unmarshal(data, &object))
	assert.Equal(t, "causes", object["kind"])
	assert.Equal(t, 3.0, object["job"])
	assert.Equal(t, "each", object["ignition"])
	assert.Equal(t, "codes", object["basis"])
	ranked := object["ranked"].([]any)
	sum := 0.0
	for _, r := range ranked {
		c := r.(map[string]any)
		sum += c["share"].(float64)
		for _, list := range []string{"for", "against", "cylinders"} {
			assert.IsType(t, []any{}, c[list])
		}
		assert.NotContains(t, []string{"plug_wire", "coil_shared"}, c["cause"])
	}
	assert.InDelta(t, 1, sum, 0.002)
	next := object["next_test"].(map[string]any)
	assert.NotEmpty(t, next["cautions"])
	assert.NotEmpty(t, next["outcomes"])

	none, err := json.Marshal(NewCauses(&report.Causes{Result: explained(t).Result}))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(none, &object))
	for _, unknown := range []string{"job", "from", "ignition", "next_test"} {
		assert.Nil(t, object[unknown], unknown)
	}
	for _, list := range []string{"ranked", "other_tests", "facts", "tests_made", "notes"} {
		assert.Equal(t, []any{}, object[list], list)
	}
	assert.Nil(t, NewCausesBrief(explained(t).Result))
	assert.Len(t, NewCausesBrief(explained(t, 0x0305).Result).Ranked, briefTold)
}

// full is a disk with no room.
type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("no room") }
