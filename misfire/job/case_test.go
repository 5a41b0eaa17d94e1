package job

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/cause"
	"stumble/misfire/journal"
	"stumble/misfire/proof"
	"stumble/obd"
)

// written is a job with drives of a sample each, an hour apart, that nobody drove.
func written(t *testing.T, drives int) (*journal.Journal, int64) {
	t.Helper()
	j := aJournal(t)
	b, err := j.OpenJob(journal.Job{Vehicle: journal.Vehicle{Name: "Wren"}, Opened: morning()})
	require.NoError(t, err)
	for n := range drives {
		idled(t, j, b.ID, n)
	}
	return j, b.ID
}

// idled adds a drive of one sample to a job, so many hours after the morning.
func idled(t *testing.T, j *journal.Journal, job int64, hours int) {
	t.Helper()
	r, err := j.StartDrive(journal.DriveInfo{Job: job, Started: morning().Add(time.Duration(hours) * time.Hour)})
	require.NoError(t, err)
	e := idling(hours * 3600)
	r.Sample(e.Sample)
	require.NoError(t, r.Finish(nil))
}

// The repair is the last clear, or a later note or mark that begins with "repair"; without one it is the first drive
// against the last. The choice says which rule found it.
func TestChoose(t *testing.T) {
	j, id := written(t, 3)
	choose := func() (Choice, error) {
		c, err := Open(j, id, Options{})
		require.NoError(t, err)
		return c.Choose()
	}
	chosen, err := choose()
	require.NoError(t, err)
	assert.Equal(t, Choice{Rule: FirstAndLast, Before: []int64{1}, After: []int64{3}}, chosen)
	assert.True(t, chosen.Untold())

	j, id = written(t, 1)
	c, err := Open(j, id, Options{})
	require.NoError(t, err)
	clear := morning().Add(90 * time.Minute) // by a clock that runs ahead of the next drive's
	require.NoError(t, c.SaveClear(clear, &Cleared{Sure: true}, &obd.CodeReport{}, "codes cleared"))
	assert.True(t, clear.Equal(c.LastClear()))
	idled(t, j, id, 1)
	idled(t, j, id, 2)
	chosen, err = choose()
	require.NoError(t, err)
	assert.Equal(t, SinceDeed, chosen.Rule)
	assert.Equal(t, ByClear, chosen.Deed.By)
	assert.Equal(t, []int64{1}, chosen.Before)
	assert.Equal(t, []int64{2, 3}, chosen.After)

	require.NoError(t, j.AddNote(id, journal.Note{At: morning().Add(time.Hour), Text: " Repair: new coil"}))
	require.NoError(t, j.AddNote(id, journal.Note{At: morning().Add(-time.Hour), Text: "repaired long ago"}))
	require.NoError(t, j.AddNote(id, journal.Note{At: morning().Add(2 * time.Hour), Text: "to be repaired"}))
	chosen, err = choose()
	require.NoError(t, err)
	assert.Equal(t, ByNote, chosen.Deed.By)
	assert.Equal(t, []int64{2}, chosen.Before, "a drive that begins with the note was not repaired yet")
	assert.Equal(t, []int64{3}, chosen.After)

	require.NoError(t, j.AddNote(id, journal.Note{At: morning().Add(9 * time.Hour), Text: "repair"}))
	_, err = choose()
	var none *ChoiceError
	require.ErrorAs(t, err, &none)
	assert.False(t, none.Before)
	assert.Equal(t, 3, none.Drives)
}

// One drive is not enough, and drives that are all of one side are not either.
func TestChooseWithoutDrives(t *testing.T) {
	j, id := written(t, 1)
	c, err := Open(j, id, Options{})
	require.NoError(t, err)
	_, err = c.Choose()
	var none *ChoiceError
	require.ErrorAs(t, err, &none)
	assert.Equal(t, 1, none.Drives)

	j, id = written(t, 2)
	require.NoError(t, j.AddNote(id, journal.Note{At: morning().Add(-time.Minute), Text: "repair"}))
	c, err = Open(j, id, Options{})
	require.NoError(t, err)
	_, err = c.Choose()
	require.ErrorAs(t, err, &none)
	assert.True(t, none.Before)
}

// What was done parts the drives by their order, though clocks say otherwise; a swap is asked how it came out; a clear
// parts nothing once a repair was told.
func TestDeedsPartTheDrives(t *testing.T) {
	j, id := written(t, 1)
	tell := func(n journal.Note) {
		order, err := j.Now(id)
		require.NoError(t, err)
		n.At, n.Order = morning().Add(20*time.Hour), order
		require.NoError(t, j.AddNote(id, n))
	}
	opened := func() *Case {
		c, err := Open(j, id, Options{})
		require.NoError(t, err)
		return c
	}
	tell(journal.Note{Kind: journal.NoteSwapped, Part: "coil", Cylinder: 5, Other: 3})
	_, err := opened().Choose()
	var none *ChoiceError
	require.ErrorAs(t, err, &none)
	idled(t, j, id, 1)
	c := opened()
	require.NoError(t, c.SaveClear(morning(), &Cleared{}, &obd.CodeReport{}, "codes cleared"))
	chosen, err := opened().Choose()
	require.ErrorAs(t, err, &none, "the clear came last, and no drive since")
	idled(t, j, id, 2)
	chosen, q, err := opened().Recall()
	require.NoError(t, err)
	assert.Equal(t, CodesCleared, chosen.Deed.Kind)
	assert.Nil(t, q.Swap)
	made, err := opened().exchanges()
	require.NoError(t, err)
	assert.Equal(t, []exchange{{swap: proof.Swap{Part: "coil", A: 5, B: 3}, before: []int64{1}, after: []int64{2, 3}}}, made)
	moved, err := opened().moved()
	require.NoError(t, err)
	assert.Equal(t, []bool{false, true, true}, moved)

	tell(journal.Note{Kind: journal.NoteRepaired, Part: "coil", Cylinder: 3, Text: "new coil"})
	idled(t, j, id, 3)
	c = opened()
	require.NoError(t, c.SaveClear(morning().Add(30*time.Hour), &Cleared{}, &obd.CodeReport{}, "codes cleared"))
	idled(t, j, id, 4)
	c = opened()
	chosen, err = c.Choose()
	require.NoError(t, err)
	assert.Equal(t, []int64{3}, chosen.Before)
	assert.Equal(t, []int64{4, 5}, chosen.After)
	assert.Equal(t, "new coil", chosen.Deed.Text)
	moved, err = c.moved()
	require.NoError(t, err)
	assert.Equal(t, []bool{false, true, true, false, false}, moved)
	made, err = c.exchanges()
	require.NoError(t, err)
	assert.Equal(t, []int64{2, 3}, made[0].after, "not those since the repair")

	between, err := c.between([]int64{1}, []int64{2})
	require.NoError(t, err)
	assert.Equal(t, Swapped, between.Kind)
	between, err = c.between([]int64{4}, []int64{5})
	require.NoError(t, err)
	assert.Equal(t, CodesCleared, between.Kind)
}

// Parts that were swapped twice sit where they were.
func TestSwappedBack(t *testing.T) {
	j, id := written(t, 1)
	for n := range 2 {
		order, err := j.Now(id)
		require.NoError(t, err)
		swap := journal.Note{At: morning(), Kind: journal.NoteSwapped, Part: "coil", Cylinder: 5 - 2*n, Other: 3 + 2*n, Order: order}
		require.NoError(t, j.AddNote(id, swap))
		idled(t, j, id, n+1)
	}
	c, err := Open(j, id, Options{})
	require.NoError(t, err)
	moved, err := c.moved()
	require.NoError(t, err)
	assert.Equal(t, []bool{false, true, false}, moved)
}

// A journal without a job says so, and one without the job that is named, too.
func TestOpenNothing(t *testing.T) {
	j := aJournal(t)
	_, err := Open(j, 0, Options{})
	var none NoJobError
	require.ErrorAs(t, err, &none)
	_, err = Open(j, 7, Options{})
	require.ErrorIs(t, err, journal.ErrUnknown)
}

// The newest intake since the last clear is the evidence; one from before it is none.
func TestEvidence(t *testing.T) {
	j, id := written(t, 0)
	for n := range 2 {
		_, err := j.AddIntake(id, &obd.Intake{At: morning().Add(time.Duration(n) * time.Minute)}, journal.Order{})
		require.NoError(t, err)
	}
	c, err := Open(j, id, Options{})
	require.NoError(t, err)
	require.NotNil(t, c.Evidence())
	assert.EqualValues(t, 2, c.Evidence().ID)
	require.NoError(t, c.SaveClear(morning(), &Cleared{}, &obd.CodeReport{}, "codes cleared"))
	assert.False(t, c.LastClear().Before(morning().Add(time.Minute)), "a clear is not older than what it rests on")
	assert.Nil(t, c.Evidence())
}

// The intake before is the newest from before the first drive, else the first of its time, else what is older than the
// drive after: never one from after the repaired car was driven.
func TestIntakeBefore(t *testing.T) {
	at := func(minutes int) time.Time { return morning().Add(time.Duration(minutes) * time.Minute) }
	before := &journal.Drive{DriveInfo: journal.DriveInfo{Started: at(10)}, Ended: at(20)}
	after := &journal.Drive{DriveInfo: journal.DriveInfo{Started: at(40)}, Ended: at(50)}
	record := func(id int64, minutes int) journal.IntakeRecord {
		return journal.IntakeRecord{ID: id, At: at(minutes), Intake: &obd.Intake{}}
	}
	codes := journal.IntakeRecord{ID: 9, At: at(5)} // codes alone are no intake
	for name, c := range map[string]struct {
		records []journal.IntakeRecord
		want    int64
	}{
		"none":               {nil, 0},
		"codes alone":        {[]journal.IntakeRecord{codes}, 0},
		"newest before":      {[]journal.IntakeRecord{record(1, 1), codes, record(2, 9), record(3, 15)}, 2},
		"while driven":       {[]journal.IntakeRecord{record(1, 15), record(2, 30)}, 1},
		"between the drives": {[]journal.IntakeRecord{record(1, 30), record(2, 35)}, 1},
		"too late":           {[]journal.IntakeRecord{record(1, 45)}, 0},
	} {
		found := intakeBefore(c.records, before, after)
		if c.want == 0 {
			assert.Nil(t, found, name)
			continue
		}
		require.NotNil(t, found, name)
		assert.Equal(t, c.want, found.ID, name)
	}
}

// A repaired car is counted and compared; what was compared is remembered once and
// recalled.
func TestRepairedCar(t *testing.T) {
	j := aJournal(t)
	before := drive(t, j, "wren", 1, morning(), 4*time.Minute)
	require.NoError(t, j.AddNote(1, journal.Note{At: morning().Add(30 * time.Minute), Text: "repair: new plug wire on cylinder 2"}))
	after := drive(t, j, "wren-repaired", 3, morning().Add(time.Hour), 7*time.Minute)

	c, err := Open(j, 0, Options{})
	require.NoError(t, err)
	found, err := c.Compare(t.Context(), Question{})
	require.NoError(t, err)
	assert.Equal(t, ByNote, found.Choice.Deed.By)
	assert.Contains(t, []proof.Outcome{proof.NotYet, proof.Proven}, found.Result.Outcome)
	require.NotNil(t, found.Progress)
	for range 2 {
		require.NoError(t, found.Remember(j, morning().Add(3*time.Hour), "it was told so"))
	}

	again := Choice{Before: []int64{before}, After: []int64{after}}
	named, err := Compare(t.Context(), j, again, Question{Strict: true, Swap: &proof.Swap{Part: "wire", A: 2, B: 1}}, Options{})
	require.NoError(t, err)
	assert.Equal(t, 10.0, named.Result.Tolerance.Load)
	require.NotNil(t, named.Swap)
	require.NoError(t, named.Remember(j, morning().Add(3*time.Hour), "it was told so"))

	c, err = Open(j, 1, Options{})
	require.NoError(t, err)
	assert.Len(t, c.Verdicts, 4, "one a drive, and each comparison once")
	chosen, q, err := c.Recall()
	require.NoError(t, err)
	assert.Equal(t, Choice{Rule: AsBefore, Before: []int64{before}, After: []int64{after}, Deed: found.Choice.Deed}, chosen)
	assert.True(t, q.Strict)
	assert.Equal(t, "wire:2-1", q.Swap.String())
	made, err := c.exchanges()
	require.NoError(t, err)
	assert.Equal(t, []exchange{{swap: *q.Swap, before: []int64{before}, after: []int64{after}, question: Question{Strict: true, Ceiling: q.Ceiling}}}, made)

	require.NoError(t, j.DeleteDrive(after))
	drive(t, j, "wren-repaired", 3, morning().Add(2*time.Hour), time.Minute)
	c, err = Open(j, 1, Options{})
	require.NoError(t, err)
	chosen, q, err = c.Recall()
	require.NoError(t, err)
	assert.Equal(t, SinceDeed, chosen.Rule, "one of those that were compared is gone")
	assert.NotNil(t, q.Swap, "it is asked the same")
}

// The newest reading since the repaired car was first driven is that of after.
func TestCodesRead(t *testing.T) {
	j, id := written(t, 2)
	for _, minutes := range []int{-10, 30, 61, 70} {
		at := morning().Add(time.Duration(minutes) * time.Minute)
		_, err := j.AddIntake(id, &obd.Intake{At: at}, journal.Order{})
		require.NoError(t, err)
	}
	before, err := j.Drive(1)
	require.NoError(t, err)
	after, err := j.Drive(2)
	require.NoError(t, err)
	read, err := codesRead(j, &before, &after)
	require.NoError(t, err)
	assert.EqualValues(t, 1, read.Before.ID)
	assert.EqualValues(t, 4, read.After.ID)
	read, err = codesRead(j, &after, &before)
	require.NoError(t, err)
	assert.EqualValues(t, 2, read.Before.ID)
	assert.EqualValues(t, 4, read.After.ID)
}

// Causes are ranked by the drives before the repair, or by those since when it misses still; never by drives after parts
// were exchanged.
func TestFaultyDrives(t *testing.T) {
	j, id := written(t, 4)
	found := &Comparison{
		Choice: Choice{Before: []int64{1}, After: []int64{2}}, Question: Question{Swap: &proof.Swap{Part: "coil", A: 5, B: 3}},
		Before: []*Counted{{Stored: journal.Drive{DriveInfo: journal.DriveInfo{Job: id}}}},
		Result: &proof.Comparison{}, Swap: &proof.SwapResult{},
	}
	require.NoError(t, found.Remember(j, morning(), ""))
	require.NoError(t, j.AddNote(id, journal.Note{At: morning().Add(150 * time.Minute), Text: "repair"}))
	c, err := Open(j, id, Options{})
	require.NoError(t, err)
	repair, err := c.LastRepair()
	require.NoError(t, err)
	all := make([]*Counted, len(c.Drives))
	for i := range all {
		all[i] = &Counted{Stored: c.Drives[i], Summary: &misfire.Summary{}}
	}
	chosen, left, err := c.faulty(all)
	require.NoError(t, err)
	assert.Equal(t, []*Counted{all[0]}, chosen, "nobody put the coils back before the repair")
	swapped := []LeftOut{{Kind: AfterExchange, Drive: 2}, {Kind: AfterExchange, Drive: 3}}
	assert.Equal(t, append(slices.Clone(swapped), LeftOut{Kind: Cured, Repair: repair}), left)
	all[3].Summary.Verdict.Cylinders = []int{5}
	chosen, left, err = c.faulty(all)
	require.NoError(t, err)
	assert.Equal(t, []*Counted{all[3]}, chosen)
	assert.Equal(t, append(slices.Clone(swapped), LeftOut{Kind: BeforeRepair, Repair: repair}), left)
	chosen, left, err = c.faulty(all[3:])
	require.NoError(t, err)
	assert.Equal(t, []*Counted{all[3]}, chosen)
	assert.Empty(t, left, "there was nothing else")
}

// A report gathers the comparison, the causes and the strips, and counts each drive once.
func TestReport(t *testing.T) {
	j := aJournal(t)
	drive(t, j, "wren", 1, morning(), 3*time.Minute)
	drive(t, j, "wren-repaired", 3, morning().Add(time.Hour), 6*time.Minute)
	drive(t, j, "wren-repaired", 4, morning().Add(2*time.Hour), 6*time.Minute)
	require.NoError(t, j.AddNote(1, journal.Note{At: morning().Add(90 * time.Minute), Text: "repair"}))
	c, err := Open(j, 1, Options{})
	require.NoError(t, err)
	r, err := c.Report(t.Context())
	require.NoError(t, err)
	require.NotNil(t, r.Compared, "%v", r.Why)
	var sides []Side
	for _, d := range r.Drives {
		sides = append(sides, d.Side)
		if d.Side == NoSide {
			assert.Empty(t, d.Moments)
			continue
		}
		assert.InDelta(t, d.Stored.Ended.Sub(d.Stored.Started).Seconds(), len(d.Moments), 5, "a moment a second, from beginning to end")
	}
	assert.Equal(t, []Side{NoSide, SideBefore, SideAfter}, sides)
	assert.Same(t, r.Compared.Before[0], r.Drives[1].Counted, "it was counted once")
	require.NotNil(t, r.Causes)
	assert.NotNil(t, r.Progress)
	ranked, err := c.Rank(t.Context(), cause.SharedCoils)
	require.NoError(t, err)
	assert.Equal(t, cause.SharedCoils, ranked.Ignition)
	assert.Same(t, r.Drives[0].Counted, ranked.Drives[0])
}
