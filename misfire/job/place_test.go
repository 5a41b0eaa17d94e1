package job

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/engine"
	"stumble/misfire/journal"
)

// Two cars that tell neither VIN nor name are never taken for one.
func TestPlaceOfNamelessCars(t *testing.T) {
	j := aJournal(t)
	var p Place
	for _, id := range []int64{1, 2} {
		found, begun, err := p.Settle(j, p.Vehicle("", ""), morning())
		require.NoError(t, err)
		assert.True(t, begun)
		assert.Equal(t, id, found.ID)
	}
	p.Name = "grey van"
	for n := range 2 {
		found, begun, err := p.Settle(j, p.Vehicle("", ""), morning())
		require.NoError(t, err)
		assert.Equal(t, n == 0, begun)
		assert.EqualValues(t, 3, found.ID, "the name that was told is that of the car")
	}
}

// The job that is named must be of the vehicle.
func TestPlaceOfAnotherVehicle(t *testing.T) {
	j := aJournal(t)
	first := Place{}
	_, _, err := first.Settle(j, journal.Vehicle{VIN: "1LK00000000000001"}, morning())
	require.NoError(t, err)
	named := Place{Job: 1}
	_, err = named.Find(j, journal.Vehicle{VIN: "1LK00000000000002"})
	var other OtherVehicleError
	require.ErrorAs(t, err, &other)
	assert.EqualValues(t, 1, other.Job.ID)
	found, err := named.Find(j, journal.Vehicle{Name: "a car without a VIN"})
	require.NoError(t, err)
	assert.EqualValues(t, 1, found.ID)
	again := Place{Another: true}
	found, err = again.Find(j, journal.Vehicle{VIN: "1LK00000000000001"})
	require.NoError(t, err)
	assert.Zero(t, found.ID)
}

// A drive in which the car said nothing is not kept, nor is a job that was begun for it; one that was there is.
func TestNothingReadIsNotKept(t *testing.T) {
	j := aJournal(t)
	for _, begun := range []bool{true, false} {
		if !begun {
			drive(t, j, "wren-running", 1, morning(), 10*time.Second)
		}
		c, _ := plugged(t, "wren-running", 1, morning())
		d := started(t, c, misfire.Config{})
		s := &Saver{Journal: j}
		require.NoError(t, s.Record(t.Context(), c, d))
		done, err := s.Finish(nil)
		require.NoError(t, err)
		assert.Equal(t, Saved{}, done)
		all, err := j.Jobs(journal.JobFilter{})
		require.NoError(t, err)
		assert.Equal(t, begun, len(all) == 0)
	}
	drives, err := j.Drives(0)
	require.NoError(t, err)
	assert.Len(t, drives, 1)
}

// The engine that a vehicle was counted by is taken again unless the car contradicts it, and that is told.
func TestKnownEngine(t *testing.T) {
	j := aJournal(t)
	_, err := j.SaveVehicle(journal.Vehicle{VIN: "1LK00000000000001", Layout: "i4-1342", Map: "2,1,3,4"})
	require.NoError(t, err)
	s := &Saver{Journal: j}
	cfg, told := s.KnownEngine("1LK00000000000001", misfire.Config{}, 4)
	assert.Equal(t, "i4-1342", cfg.Engine.Key)
	assert.Equal(t, "2,1,3,4", cfg.Map.String())
	assert.Equal(t, &Notice{Kind: EngineKnown, Layout: "i4-1342", Cylinders: 4}, told)
	cfg, told = s.KnownEngine("1LK00000000000001", misfire.Config{}, 6)
	assert.Zero(t, cfg.Engine.Cylinders)
	assert.Equal(t, &Notice{Kind: EngineLeftOut, Layout: "i4-1342", Cylinders: 4, Counted: 6}, told)
	_, told = s.KnownEngine("1LK00000000000002", misfire.Config{}, 4)
	assert.Nil(t, told)
	_, told = (*Saver)(nil).KnownEngine("1LK00000000000001", misfire.Config{}, 4)
	assert.Nil(t, told)
}

// An engine or a map that the car contradicts is refused.
func TestFitEngine(t *testing.T) {
	var cfg misfire.Config
	require.NoError(t, FitEngine(&cfg, 6))
	assert.Equal(t, 6, cfg.Engine.Cylinders)
	var misfit *MisfitError
	require.ErrorAs(t, FitEngine(&cfg, 8), &misfit)
	assert.Equal(t, MisfitError{Cylinders: 6, Counted: 8}, *misfit)
	var err error
	cfg.Map, err = engine.ParseMap("1,3,4,2", 4)
	require.NoError(t, err)
	require.ErrorAs(t, FitEngine(&cfg, 0), &misfit)
	assert.Equal(t, MisfitError{Cylinders: 6, Mapped: 4}, *misfit)
}
