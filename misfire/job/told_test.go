package job

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/cause"
	"stumble/misfire/engine"
	"stumble/misfire/journal"
)

// closedAt is when things are told in these tests.
var closedAt = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

func bookWithJobs(t *testing.T, n int) (*journal.Journal, []int64) {
	t.Helper()
	j, _, err := journal.Open(t.TempDir()+"/journal.db", journal.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, j.Close()) })
	layout, err := engine.Find("i4-1342")
	require.NoError(t, err)
	var ids []int64
	for range n {
		b, err := j.OpenJob(journal.Job{Vehicle: journal.Vehicle{Name: "Larkspur Wren", Layout: layout.Key}, Opened: closedAt})
		require.NoError(t, err)
		ids = append(ids, b.ID)
	}
	return j, ids
}

// What the driver reports is kept with its words, and weighed for what is understood of it.
func TestSymptomsAreKept(t *testing.T) {
	j, ids := bookWithJobs(t, 1)
	heard, err := TakeSymptom(j, ids[0], closedAt, "misses after heavy rain, smells of fuel")
	require.NoError(t, err)
	assert.Equal(t, []cause.Symptom{"wet", "fuel_smell"}, heard)
	heard, err = TakeSymptom(j, ids[0], closedAt, "the radio is loud")
	require.NoError(t, err)
	assert.Empty(t, heard)
	c, err := Open(j, ids[0], Options{})
	require.NoError(t, err)
	assert.Equal(t, []cause.Symptom{"wet", "fuel_smell"}, c.told())
	r, err := c.Rank(t.Context(), cause.CoilOnPlug)
	require.NoError(t, err)
	assert.Equal(t, cause.FromReport, r.Result.Basis)
	p, err := ReadPage(j, ids[0])
	require.NoError(t, err)
	require.Len(t, p.Reported, 2)
	assert.Equal(t, "the radio is loud", p.Reported[1].Text)
	_, err = TakeSymptom(j, 99, closedAt, "wet")
	assert.Error(t, err)
}

// Only what was proven teaches: of three closed jobs, two after a proven repair, one of these ranked right before.
func TestClosedJobsTeach(t *testing.T) {
	j, ids := bookWithJobs(t, 4)
	keep := func(id int64, kind, data string) {
		_, err := j.AddVerdict(journal.Verdict{Job: id, At: closedAt, Kind: kind, Data: []byte(data)})
		require.NoError(t, err)
	}
	proven := `{"outcome":"proven","sentence":"it is cured","ceiling":2,"by_rule":true,"strict":false}`
	keep(ids[0], verdictCauses, `{"ranked":[{"cause":"plug"},{"cause":"coil"}]}`)
	keep(ids[0], verdictComparison, proven)
	keep(ids[1], verdictCauses, `{"ranked":[{"cause":"coil"}]}`)
	keep(ids[1], verdictComparison, proven)
	for i, want := range []bool{true, true, false} {
		c, err := Close(j, ids[i], closedAt, Closing{Cause: "plug", Cylinder: 2})
		require.NoError(t, err)
		assert.Equal(t, want, c.Proven)
	}
	l, err := Learn(j)
	require.NoError(t, err)
	assert.Equal(t, 2, l.Jobs)
	assert.Equal(t, 2, l.Ranked)
	assert.Equal(t, 1, l.Right)
	assert.Equal(t, "plug", l.Moved[0].Key)
	assert.Greater(t, l.Moved[0].To, l.Moved[0].From)

	_, err = Close(j, ids[3], closedAt, Closing{Cause: "gremlin"})
	assert.ErrorAs(t, err, new(UnknownCauseError))
	_, err = Close(j, ids[3], closedAt, Closing{Cause: "plug", Cylinder: 5})
	assert.ErrorAs(t, err, new(NoSuchCylinderError), "a four has no fifth")
	_, err = Close(j, 99, closedAt, Closing{Cause: "plug"})
	assert.Error(t, err)
}
