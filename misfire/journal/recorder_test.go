package journal_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/gear"
	"stumble/misfire/journal"
	"stumble/obd"
)

func TestDriveComesBackAsItWas(t *testing.T) {
	j := fresh(t)
	info := wren(t)
	r, err := j.StartDrive(info)
	require.NoError(t, err)
	c := newCar(1)
	before, saidBefore := record(r, c, 700)
	r.Mark(c.now, gear.Drive, "gear D")
	r.Mark(c.now, gear.Unknown, "pop heard")
	after, saidAfter := record(r, c, 900)
	require.NoError(t, r.Finish([]byte(`{"sentence":"Cylinder 2 misses"}`)))

	d, err := j.Drive(r.ID())
	require.NoError(t, err)
	assert.Equal(t, journal.DriveFinished, d.State)
	assert.Equal(t, 1600, d.Samples)
	assert.Equal(t, 1600, d.Exchanges)
	assert.Equal(t, info.Engine, d.Engine)
	assert.Equal(t, info.Map, d.Map)
	assert.Equal(t, morning, d.Started)
	assert.Equal(t, c.now, d.Ended)
	assert.Zero(t, d.Lost)
	samples, marks := played(t, j, d.ID)
	assert.Equal(t, append(before, after...), samples)
	require.Len(t, marks, 2)
	assert.Equal(t, gear.Drive, marks[0].Gear)
	assert.Equal(t, "pop heard", marks[1].Text)
	assert.Equal(t, append(saidBefore, saidAfter...), exchanged(t, j, d.ID))
	verdicts, err := j.Verdicts(d.Job)
	require.NoError(t, err)
	require.Len(t, verdicts, 1)
	assert.Equal(t, c.now, verdicts[0].At)
	assert.JSONEq(t, `{"sentence":"Cylinder 2 misses"}`, string(verdicts[0].Data))
	sound(t, j.Path())
}

func TestMarkComesBetweenItsSamples(t *testing.T) {
	j := fresh(t)
	r, err := j.StartDrive(wren(t))
	require.NoError(t, err)
	c := newCar(2)
	record(r, c, 600)
	r.Mark(c.now, gear.Reverse, "")
	record(r, c, 5)
	require.NoError(t, r.Finish(nil))
	n, at := 0, -1
	require.NoError(t, j.Play(r.ID(), func(e journal.Event) error {
		if e.Mark != nil {
			at = n
		} else {
			n++
		}
		return nil
	}))
	assert.Equal(t, 600, at)
}

func TestNothingWaitsForASecond(t *testing.T) {
	j := fresh(t)
	r, err := j.StartDrive(wren(t))
	require.NoError(t, err)
	c := newCar(3)
	record(r, c, 20)
	assert.Positive(t, r.State().Behind, "not worth a save yet")
	r.Tick(c.now.Add(time.Second / 2))
	require.Eventually(t, func() bool { return r.State().Behind == 0 }, 20*time.Second, time.Millisecond)
	d, err := j.Drive(r.ID())
	require.NoError(t, err)
	assert.Equal(t, 20, d.Samples)
	assert.Equal(t, journal.DriveRecording, d.State)
	samples, _ := played(t, j, d.ID)
	assert.Len(t, samples, 20)
	require.NoError(t, r.Finish(nil))
}

func TestWhatIsTooLargeIsMarked(t *testing.T) {
	j := fresh(t)
	r, err := j.StartDrive(wren(t))
	require.NoError(t, err)
	c := newCar(1)
	record(r, c, 10)
	r.Sample(&obd.Sample{Sent: c.now, Received: c.now, Readings: make([]obd.Reading, journal.MostReadings+1)})
	r.Exchange(&obd.Exchange{Sent: c.now, Received: c.now, Answer: make([]byte, journal.MostText+1)})
	record(r, c, 10)
	assert.Equal(t, 2, r.State().Lost)
	require.NoError(t, r.Finish(nil))
	samples, marks := played(t, j, r.ID())
	assert.Len(t, samples, 20)
	require.Len(t, marks, 2)
	assert.EqualError(t, marks[0].Gap, "one of the samples is larger than a journal can hold")
}

// A clock that is set back makes no drive wait for it to catch up.
func TestClockSetBack(t *testing.T) {
	j := fresh(t)
	r, err := j.StartDrive(wren(t))
	require.NoError(t, err)
	c := newCar(1)
	first, _ := record(r, c, 60)
	c.now = c.now.Add(-time.Hour)
	second, _ := record(r, c, 60)
	settled(t, r, c)
	samples, _ := played(t, j, r.ID())
	assert.Equal(t, append(first, second...), samples)
	require.NoError(t, r.Finish(nil))
}
