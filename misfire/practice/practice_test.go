package practice

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/gear"
	"stumble/misfire/guide"
	"stumble/obd/sim/car"
)

func running(t *testing.T) (*car.Car, time.Time) {
	t.Helper()
	at := time.Date(2026, 11, 25, 8, 30, 0, 0, time.UTC)
	c, err := car.NewScenario("wren-running", 1, at)
	require.NoError(t, err)
	return c, at
}

// The driver brings the car into the gear of each step, and the helper marks it once, when it has been in for a while.
func TestDriver(t *testing.T) {
	plan, err := guide.Parse("drive,reverse,park")
	require.NoError(t, err)
	c, at := running(t)
	d := NewDriver(c)
	for i := range plan {
		d.Obey(guide.Event{At: at, Kind: guide.Begun, Place: guide.Place{Step: &plan[i]}, Ask: guide.AskCondition})
		var marked []gear.State
		for end := at.Add(time.Minute); at.Before(end); at = at.Add(100 * time.Millisecond) {
			if g := d.Mark(at); g != gear.Unknown {
				marked = append(marked, g)
				assert.Equal(t, g, seen(c.State(at).Gear), "what is marked is in")
			}
		}
		assert.Equal(t, []gear.State{plan[i].Gear}, marked, plan[i].Key)
	}
	d.Obey(guide.Event{At: at, Kind: guide.Asked, Place: guide.Place{Step: &plan[0]}, Ask: guide.AskKeyOff})
	assert.False(t, c.State(at.Add(10*time.Second)).Running)
}

// The technician takes his time to the connector, does what is asked, and presses Enter after it.
func TestTechnician(t *testing.T) {
	c, at := running(t)
	var pressed []time.Time
	tech := NewTechnician(c, func(at time.Time) { pressed = append(pressed, at) })
	tech.Idle(at)
	for _, ask := range []guide.Ask{guide.AskHold, guide.AskUnplug, guide.AskPlugIn} {
		pressed = nil
		tech.Obey(guide.Event{At: at, Kind: guide.Asked, Ask: ask, Place: guide.Place{Cylinder: 3}})
		asked := at
		for end := at.Add(10 * time.Second); at.Before(end); at = at.Add(100 * time.Millisecond) {
			require.NoError(t, tech.Work(at))
		}
		if ask == guide.AskHold {
			assert.Empty(t, pressed, "there is nothing to do")
			continue
		}
		require.Len(t, pressed, 1)
		assert.Equal(t, toConnector+toKey, pressed[0].Sub(asked))
	}
}
