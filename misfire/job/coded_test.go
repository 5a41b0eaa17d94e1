package job

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/cause"
	"stumble/misfire/engine"
	"stumble/misfire/journal"
	"stumble/obd"
	"stumble/obd/vehicle"
)

// A drive that nobody read the codes before reads them itself, whether it is saved or not, and saves them once.
func TestDriveReadsTheCodes(t *testing.T) {
	j := aJournal(t)
	drive := func(s *Saver) []int {
		c, _ := plugged(t, "curlew-firing-order", 1, morning())
		d := started(t, c, misfire.Config{})
		require.NoError(t, s.Record(t.Context(), c, d))
		d.Until = d.Now().Add(10 * time.Second)
		require.ErrorIs(t, d.Run(t.Context(), time.Minute, ignore), ErrTimeUp)
		coded := d.Config.Coded
		d.Finish()
		if s != nil {
			_, err := s.Finish([]byte("{}"))
			require.NoError(t, err)
		}
		return coded
	}
	assert.Equal(t, []int{4}, drive(nil), "not saved")
	assert.Equal(t, []int{4}, drive(&Saver{Journal: j}))
	assert.Equal(t, []int{4}, drive(&Saver{Journal: j, Place: Place{Job: 1}}))
	read, err := j.Intakes(1)
	require.NoError(t, err)
	require.Len(t, read, 1, "once a job")
	assert.Nil(t, read[0].Intake)
	assert.Equal(t, "P0304", read[0].Codes.Modules[0].Stored[0].String())
}

// A car that numbers its counts by firing order stores the code of cylinder 4 and counts on the second place.
func TestCodeAgainstCount(t *testing.T) {
	j := aJournal(t)
	c, _ := plugged(t, "curlew-firing-order", 1, morning())
	read, err := vehicle.ReadIntake(t.Context(), c.Adapter, c.Adapter, c.Caps, nil)
	require.NoError(t, err)
	s := &Saver{Journal: j}
	number, err := s.Intake(read, "Larkspur")
	require.NoError(t, err)
	layout, err := engine.Find("v6-along-142536")
	require.NoError(t, err)
	d := started(t, c, misfire.Config{Engine: layout})
	d.Until = d.Now().Add(12 * time.Minute)
	require.NoError(t, s.Record(t.Context(), c, d))
	require.ErrorIs(t, d.Run(t.Context(), time.Minute, ignore), ErrTimeUp)
	live := d.Finish()
	_, err = s.Finish([]byte("{}"))
	require.NoError(t, err)

	want := &misfire.Clash{Coded: []int{4}, Counted: []int{2}, Numbering: misfire.NumberingByOrder}
	assert.Equal(t, want, live.Summary.Verdict.Clash, "while it is driven")
	assert.Equal(t, cause.NumberingOpen, live.Causes.Basis)

	ranked := func(cylinders string) (*misfire.Summary, *cause.Result) {
		b, err := Open(j, number, Options{Engine: func(cfg misfire.Config) (misfire.Config, error) {
			var err error
			if cylinders != "" {
				cfg.Map, err = engine.ParseMap(cylinders, 6)
			}
			return cfg, err
		}})
		require.NoError(t, err)
		r, err := b.Rank(t.Context(), cause.IgnitionUnknown)
		require.NoError(t, err)
		return r.Drives[0].Summary, r.Result
	}
	sum, result := ranked("")
	assert.Equal(t, want, sum.Verdict.Clash, "counted again")
	assert.Equal(t, &cause.Result{Basis: cause.NumberingOpen, Clash: want}, result, "no part is named, no test but this")

	sum, result = ranked("1,4,2,5,3,6")
	assert.Nil(t, sum.Verdict.Clash)
	assert.Equal(t, []int{4}, sum.Verdict.Cylinders)
	assert.Equal(t, cause.FromCounts, result.Basis)
	require.NotEmpty(t, result.Ranked)

	sum, result = ranked("1,2,3,4,5,6")
	assert.Equal(t, misfire.NumberingTold, sum.Verdict.Clash.Numbering, "settled the other way")
	assert.Equal(t, cause.FromCounts, result.Basis)
	require.NotEmpty(t, result.Ranked)
}

// Which reading of the codes tells of a drive.
func TestCodesOfTheTime(t *testing.T) {
	ended := morning().Add(time.Hour)
	code := func(at time.Time, codes ...obd.Code) *obd.Intake {
		return &obd.Intake{At: at, VIN: "1L4RKSPR000000001", CodeReport: obd.CodeReport{Modules: []obd.ModuleCodes{{Pending: codes}}}}
	}
	for name, tt := range map[string]struct {
		read     []*obd.Intake
		repaired time.Time
		want     []int
	}{
		"never read":                         {},
		"read before":                        {read: []*obd.Intake{code(morning(), 0x0300, 0x0304, 0x0171)}, want: []int{4}},
		"the newest before":                  {read: []*obd.Intake{code(morning(), 0x0304), code(ended.Add(-time.Minute), 0x0302), code(ended.Add(time.Hour), 0x0303)}, want: []int{2}},
		"gone by the newest":                 {read: []*obd.Intake{code(morning(), 0x0304), code(ended.Add(-time.Minute))}},
		"read only after":                    {read: []*obd.Intake{code(ended.Add(time.Minute), 0x0306)}, want: []int{6}},
		"repaired between code and drive":    {read: []*obd.Intake{code(morning(), 0x0304)}, repaired: morning().Add(time.Minute)},
		"repaired between drive and code":    {read: []*obd.Intake{code(ended.Add(time.Hour), 0x0304)}, repaired: ended.Add(time.Minute)},
		"repaired after both":                {read: []*obd.Intake{code(morning(), 0x0304)}, repaired: ended.Add(time.Minute), want: []int{4}},
		"repaired before code and the drive": {read: []*obd.Intake{code(morning().Add(time.Minute), 0x0304)}, repaired: morning(), want: []int{4}},
	} {
		t.Run(name, func(t *testing.T) {
			j := aJournal(t)
			opened, err := j.OpenJob(journal.Job{Vehicle: journal.Vehicle{VIN: "1L4RKSPR000000001"}, Opened: morning()})
			require.NoError(t, err)
			for _, in := range tt.read {
				_, err := j.AddIntake(opened.ID, in, journal.Order{})
				require.NoError(t, err)
			}
			if !tt.repaired.IsZero() {
				require.NoError(t, j.AddNote(opened.ID, journal.Note{At: tt.repaired, Text: "repaired: coil of 4"}))
			}
			assert.Equal(t, tt.want, codedOf(j, opened.ID, 0, ended))
		})
	}
}
