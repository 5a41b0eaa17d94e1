package job

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/gear"
)

// What was told of the gearbox is kept with the drive and known of the car the next time; what a guided test asked for
// is kept too, and makes the drive counted again the drive that was seen.
func TestGearboxAndPromptsAreKept(t *testing.T) {
	j := aJournal(t)
	c, _ := plugged(t, "no-gear", 1, morning())
	d := started(t, c, misfire.Config{Gearbox: gear.Automatic})
	d.Until = d.Now().Add(4 * time.Minute)
	s := &Saver{Journal: j}
	require.NoError(t, s.Record(t.Context(), c, d))
	d.Ask(d.Now(), gear.ParkNeutral)
	d.Ask(d.Now().Add(90*time.Second), gear.Drive)
	d.Ask(d.Now().Add(110*time.Second), gear.Unknown)
	require.ErrorIs(t, d.Run(t.Context(), time.Minute, ignore), ErrTimeUp)
	live := d.Finish()
	done, err := s.Finish(nil)
	require.NoError(t, err)

	again, err := (&Options{}).Drive(j, done.Drive)
	require.NoError(t, err)
	assert.Equal(t, gear.Automatic, again.Config.Gearbox)
	summary, err := again.Summarise(t.Context())
	require.NoError(t, err)
	assert.Equal(t, live.Summary.ByGear, summary.ByGear)
	assert.Empty(t, again.State().Marks, "what was asked for is no mark of the driver's")

	vin := live.Setup.VIN
	require.NotEmpty(t, vin)
	assert.Equal(t, gear.Automatic, s.KnownGearbox(vin))
	assert.Equal(t, gear.NotTold, s.KnownGearbox("1LK00000000000009"))
	assert.Equal(t, gear.NotTold, (*Saver)(nil).KnownGearbox(vin))
}
