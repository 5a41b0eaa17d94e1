package car

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// zero is when every simulation of these tests begins.
var zero = time.Date(2031, 4, 7, 9, 30, 0, 0, time.UTC)

func after(s float64) time.Time { return zero.Add(time.Duration(s * float64(time.Second))) }

func mustScenario(t testing.TB, name string, seed uint64) *Car {
	t.Helper()
	c, err := NewScenario(name, seed, zero)
	require.NoError(t, err)
	return c
}

func TestScenariosBuildAndRun(t *testing.T) {
	seen := map[string]bool{}
	for _, s := range Scenarios() {
		t.Run(s.Name, func(t *testing.T) {
			assert.False(t, seen[s.Name], "the name is used twice")
			seen[s.Name] = true
			assert.NotEmpty(t, s.Summary)
			c, err := New(s.Config, 7, zero)
			require.NoError(t, err)
			c.State(after(600))
			st := c.State(after(600))
			asleep := s.Name == "ignition-off"
			assert.Equal(t, !asleep, st.Awake)
			assert.Equal(t, !asleep && s.Name != "engine-off", st.Running)
		})
	}
}

func TestUnknownScenarioListsNames(t *testing.T) {
	_, err := NewScenario("wrenn", 1, zero)
	require.Error(t, err)
	assert.Contains(t, err.Error(), `"wrenn"`)
	assert.Contains(t, err.Error(), "wren-slow-counter")
	assert.NotContains(t, err.Error(), "\n")
}
