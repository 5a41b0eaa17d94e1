package journal_test

import (
	"bytes"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/journal"
)

// A note that is changed or taken back stays in the history, and what holds is listed in the order it was first written.
func TestNotesKeepAHistory(t *testing.T) {
	j := fresh(t)
	job, err := j.OpenJob(journal.Job{Vehicle: journal.Vehicle{Name: "Larkspur Wren"}, Opened: morning})
	require.NoError(t, err)
	at := func(minutes int) time.Time { return morning.Add(time.Duration(minutes) * time.Minute) }
	require.NoError(t, j.AddNote(job.ID, journal.Note{At: at(0), Text: "wire 2 looks burnt"}))
	done := journal.Note{
		At: at(1), Written: at(5), Text: "new wire", Kind: journal.NoteRepaired, Part: "wire", Cylinder: 2, Order: journal.Order{Known: true},
	}
	require.NoError(t, j.AddNote(job.ID, done))
	held, err := j.Notes(job.ID)
	require.NoError(t, err)
	require.Len(t, held, 2)
	done.ID = held[1].ID
	assert.Equal(t, done, held[1])

	first := held[0]
	first.Text, first.Written = "wire 3 looks burnt", at(9)
	require.NoError(t, j.ChangeNote(first))
	held, err = j.Notes(job.ID)
	require.NoError(t, err)
	assert.Equal(t, []journal.Note{first, done}, held)
	found, of, err := j.FindNote(first.ID)
	require.NoError(t, err)
	assert.Equal(t, first, found)
	assert.Equal(t, job.ID, of)

	require.NoError(t, j.RemoveNote(done.ID, at(12)))
	held, err = j.Notes(job.ID)
	require.NoError(t, err)
	assert.Equal(t, []journal.Note{first}, held)
	all, err := j.NoteHistory(job.ID)
	require.NoError(t, err)
	require.Len(t, all, 3)
	assert.Equal(t, "wire 2 looks burnt", all[0].Text)
	assert.Equal(t, at(9), all[0].Until)
	assert.Equal(t, at(12), all[2].Until)
	counted, err := j.Job(job.ID)
	require.NoError(t, err)
	assert.Equal(t, 1, counted.Notes)

	require.ErrorIs(t, j.RemoveNote(done.ID, at(13)), journal.ErrUnknown)
	require.ErrorIs(t, j.ChangeNote(journal.Note{ID: 77}), journal.ErrUnknown)
	_, _, err = j.FindNote(done.ID)
	require.ErrorIs(t, err, journal.ErrUnknown)
}

// What came after which drive is kept beside the time, goes to another journal with the job, and is forgotten with the
// drive.
func TestOrderOutlivesTheClock(t *testing.T) {
	j := fresh(t)
	info := wren(t)
	first, err := j.StartDrive(info)
	require.NoError(t, err)
	require.NoError(t, first.Finish(nil))
	d, err := j.Drive(first.ID())
	require.NoError(t, err)
	now, err := j.Now(d.Job)
	require.NoError(t, err)
	assert.Equal(t, journal.Order{Known: true, Drive: d.ID}, now)
	late := d.Started.Add(time.Hour)
	require.NoError(t, j.AddNote(d.Job, journal.Note{At: late, Order: now}))
	info.Job, info.Started = d.Job, d.Started.Add(time.Minute) // by its clock before the note
	second, err := j.StartDrive(info)
	require.NoError(t, err)
	require.NoError(t, second.Finish(nil))

	to := fresh(t)
	other, err := to.StartDrive(wren(t))
	require.NoError(t, err)
	require.NoError(t, other.Finish(nil))
	found, err := to.ImportJob(bytes.NewReader(exported(t, j, d.Job)))
	require.NoError(t, err)
	for in, job := range map[*journal.Journal]int64{j: d.Job, to: found.Job} {
		notes, err := in.Notes(job)
		require.NoError(t, err)
		drives, err := in.Drives(job)
		require.NoError(t, err)
		require.Len(t, drives, 2)
		assert.False(t, notes[0].Order.Before(notes[0].At, &drives[0]))
		assert.True(t, notes[0].Order.Before(notes[0].At, &drives[1]))
		require.NoError(t, in.DeleteDrive(drives[0].ID))
		notes, err = in.Notes(job)
		require.NoError(t, err)
		assert.False(t, notes[0].Order.Known, "now its time alone tells")
		assert.False(t, notes[0].Order.Before(notes[0].At, &drives[1]))
	}
}

// The job that something was last saved in is the one in hand.
func TestJobInHand(t *testing.T) {
	j := fresh(t)
	var ids []int64
	for range 3 {
		job, err := j.OpenJob(journal.Job{Vehicle: journal.Vehicle{Name: "car"}, Opened: morning})
		require.NoError(t, err)
		ids = append(ids, job.ID)
	}
	inHand := func() int64 {
		all, err := j.Jobs(journal.JobFilter{})
		require.NoError(t, err)
		last := all[0]
		for _, b := range all {
			if b.Touched > last.Touched {
				last = b
			}
		}
		return last.ID
	}
	assert.Equal(t, ids[2], inHand())
	require.NoError(t, j.AddNote(ids[0], journal.Note{At: morning.Add(time.Hour), Text: "again"}))
	assert.Equal(t, ids[0], inHand())
	_, err := j.AddBench(journal.BenchReading{Job: ids[1], At: morning, Kind: "plug"}) // by a clock that is behind
	require.NoError(t, err)
	assert.Equal(t, ids[1], inHand())
	job, err := j.Job(ids[0])
	require.NoError(t, err)
	assert.Equal(t, morning.Add(time.Hour), job.TouchedAt)
}
