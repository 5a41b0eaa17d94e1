package wire

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/views/report"
	"stumble/views/viewstest"
)

// What is not known is null, a list never is.
func TestCausesObject(t *testing.T) {
	data, err := json.Marshal(NewCauses(viewstest.Causes(t, 0x0305, 0x0355)))
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

	none, err := json.Marshal(NewCauses(&report.Causes{Result: viewstest.Causes(t).Result}))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(none, &object))
	for _, unknown := range []string{"job", "from", "ignition", "next_test"} {
		assert.Nil(t, object[unknown], unknown)
	}
	for _, list := range []string{"ranked", "other_tests", "facts", "tests_made", "notes"} {
		assert.Equal(t, []any{}, object[list], list)
	}
	assert.Nil(t, NewCausesBrief(viewstest.Causes(t).Result))
	assert.Len(t, NewCausesBrief(viewstest.Causes(t, 0x0305).Result).Ranked, briefTold)
}
