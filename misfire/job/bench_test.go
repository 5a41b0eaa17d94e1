package job

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/bench"
	"stumble/misfire/guide"
)

func wire(cylinder int, ohm float64) bench.Reading {
	return bench.Reading{Part: bench.Wire, Quantity: bench.Resistance, Unit: "ohm", Cylinder: cylinder, Value: ohm}
}

// A bench begins its job with its first reading, learns the engine once, and judges each reading among all.
func TestBench(t *testing.T) {
	j := aJournal(t)
	_, err := OpenBench(j, Place{})
	var none NoJobError
	require.ErrorAs(t, err, &none)

	b, err := OpenBench(j, Place{Another: true, Complaint: "jerks"})
	require.NoError(t, err)
	b.Layout = "i4-1342"
	n, err := b.Add(morning(), []bench.Reading{wire(1, 12000), wire(2, 12500)})
	require.NoError(t, err)
	assert.Equal(t, 2, n)
	assert.Equal(t, nameless, b.Job.Vehicle.Name)
	assert.Equal(t, "jerks", b.Job.Complaint)

	b, err = OpenBench(j, Place{})
	require.NoError(t, err)
	require.Len(t, b.Readings, 2)
	require.NotNil(t, b.Readings[0].Then)
	cylinders, err := b.Cylinders()
	require.NoError(t, err)
	assert.Equal(t, 4, cylinders)
	b.Layout = "v6-123456"
	_, err = b.Add(morning(), []bench.Reading{wire(3, 12100)})
	require.NoError(t, err)
	assert.Equal(t, "i4-1342", b.Job.Vehicle.Layout, "what is known of the vehicle is not overwritten")

	found, number, err := FindReading(j, 0, b.Readings[2].ID)
	require.NoError(t, err)
	assert.EqualValues(t, 1, number)
	assert.Equal(t, 3, found.Cylinder)
	_, _, err = FindReading(j, 1, 99)
	assert.Equal(t, NoReadingError{1, 99}, err)
}

// Without a journal readings are only kept in mind.
func TestBenchWithoutAJournal(t *testing.T) {
	var b Bench
	n, err := b.Add(morning(), []bench.Reading{wire(1, 12000)})
	require.NoError(t, err)
	assert.Equal(t, 1, n)
	assert.Zero(t, b.Readings[0].ID)
}

// The falls of a balance test are readings to a tenth; a cylinder that was not cut has none.
func TestBalanceReadings(t *testing.T) {
	found := &guide.BalanceResult{Cylinders: []guide.CutCylinder{
		{Cylinder: 1, Cuts: 1, Drop: 88.26, Low: 80, High: 96.5}, {Cylinder: 2},
	}}
	all := BalanceReadings(found)
	require.Len(t, all, 1)
	assert.Equal(t, 88.3, all[0].Value)
	assert.InDelta(t, 8.25, all[0].Margin, 0.06)
}
