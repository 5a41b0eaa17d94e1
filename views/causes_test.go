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
)

// explained is causes of a car with those codes.
func explained(t *testing.T, codes ...obd.Code) *Causes {
	t.Helper()
	layout, err := engine.Find("v6-along-142536")
	require.NoError(t, err)
	e := cause.Evidence{Engine: layout, Ignition: cause.CoilOnPlug, Codes: cause.Codes{Read: true, Set: codes}}
	return &Causes{Job: 3, Drives: "drive 5,\x1b[2J running", Ignition: e.Ignition, Result: cause.StandardBook().Explain(e)}
}

func TestWriteCauses(t *testing.T) {
	c := explained(t, 0x0305, 0x0355)
	var text strings.Builder
	require.NoError(t, WriteCauses(&text, c))
	for line := range strings.Lines(text.String()) {
		assert.LessOrEqual(t, width(strings.TrimSuffix(line, "\n")), pageWidth, line)
		assert.Equal(t, strings.TrimRight(line, " "), line)
	}
	assert.NotContains(t, text.String(), "\x1b", "nothing that a terminal would obey")
	for _, part := range []string{"By the codes alone", "P0355 is stored", "      for      ", "      overturn ", "next test ", "  how     ", "  reading ", "  CAUTION ", "cylinder 5"} {
		assert.Contains(t, text.String(), part)
	}
	first := strings.Index(text.String(), c.Result.Ranked[0].Title())
	assert.Positive(t, first)
	assert.Equal(t, 1, strings.Count(text.String(), "overturn the misses stay with cylinder 5 after its coil was moved"))

	nothing := explained(t)
	text.Reset()
	require.NoError(t, WriteCauses(&text, nothing))
	assert.True(t, strings.HasPrefix(text.String(), "Nothing to explain:"), text.String())
	assert.NotContains(t, text.String(), "next test")
	text.Reset()
	require.NoError(t, WriteCausesBrief(&text, nothing.Result))
	require.NoError(t, WriteCausesBrief(&text, nil))
	assert.Empty(t, text.String())
}

// A writer that fails is told of.
func TestWriteCausesFails(t *testing.T) {
	c := explained(t, 0x0305)
	assert.Error(t, WriteCauses(full{}, c))
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

	none, err := json.Marshal(NewCauses(&Causes{Result: explained(t).Result}))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(none, &object))
	for _, unknown := range []string{"job", "from", "ignition", "next_test"} {
		assert.Nil(t, object[unknown], unknown)
	}
	for _, list := range []string{"ranked", "other_tests", "facts", "tests_made", "notes"} {
		assert.Equal(t, []any{}, object[list], list)
	}
	assert.Nil(t, NewCausesBrief(explained(t).Result))
	assert.Len(t, NewCausesBrief(explained(t, 0x0305).Result).Ranked, causesTold)
}

// full is a disk with no room.
type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("no room") }
