package journal_test

import (
	"bytes"
	"math"
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/journal"
	"stumble/obd"
)

// vin is of an invented car, its check digit by 49 CFR 565.15(c).
const vin = "0LKWR16A4R0104217"

var inf = math.Inf(1)

// intake is one with something in every field.
func intake() *obd.Intake {
	engine := obd.Module{ID: 0x7E8, Bits: 11}
	frozen := obd.Reading{Module: engine, Service: obd.FreezeFrames, ID: obd.PIDRPM, Value: 712.25, Unit: obd.RPM}
	return &obd.Intake{
		At: morning, Adapter: "ELM327 v2.1", Protocol: obd.CAN11At500, Voltage: 12.4, VIN: vin, VINCheck: true,
		Modules: []obd.ModuleIntake{{
			Module: engine, Name: "ECM", Calibrations: []string{"WREN16-0042"}, CVNs: []obd.CVN{0x1791BC82},
			Monitors: &obd.Monitors{Module: engine, MIL: true, Codes: 2, States: []obd.MonitorState{{Monitor: obd.MonitorMisfire, Supported: true, Complete: true}}},
		}, {Module: obd.Module{ID: 0x18DAF110, Bits: 29}, ThisCycle: &obd.Monitors{ThisCycle: true, Compression: true}}, {}},
		CodeReport: obd.CodeReport{
			Modules: []obd.ModuleCodes{{Module: engine, Stored: []obd.Code{0x0302}, Pending: []obd.Code{0x0300}, Permanent: []obd.Code{}}},
			Frames:  []obd.FreezeFrame{{Module: engine, Code: 0x0302, Readings: []obd.Reading{frozen}}},
			Unread:  []obd.Unread{{What: obd.UnreadPermanent, Why: "no answer"}, {What: obd.UnreadTest, ID: 0xA2, Module: &obd.Module{ID: 0x7E8, Bits: 11}, Why: "cut"}},
		},
		Tests: []obd.TestResult{{
			Module: engine, MID: obd.MIDCylinder1, TID: obd.TIDCount, UASID: 0x24, Raw: 31, Max: 0xFFFF, Value: 31, MaxValue: 65535,
			Unit: obd.Counts, Known: true, NotRun: true, MinApplies: true, MaxApplies: true, Pass: true,
		}},
		Legacy: []obd.LegacyResult{{Module: obd.Module{ID: 0x10, Bits: 8}, TID: 1, Component: 2, LowerLimit: true, Value: 3, Limit: 4, Pass: true}},
		Live:   []obd.Reading{{Module: engine, Service: obd.LiveData, ID: obd.PIDTrimLong1, Value: 100.0/128*140 - 100, Unit: obd.Percent}},
	}
}

func TestIntakeComesBackAsItWas(t *testing.T) {
	j := fresh(t)
	job, err := j.OpenJob(journal.Job{Vehicle: journal.Vehicle{VIN: vin}, Opened: morning})
	require.NoError(t, err)
	in := intake()
	_, err = j.AddIntake(job.ID, in, journal.Order{})
	require.NoError(t, err)
	_, err = j.AddCodes(job.ID, morning, &in.CodeReport, journal.Order{})
	require.NoError(t, err)
	found, err := j.Intakes(job.ID)
	require.NoError(t, err)
	require.Len(t, found, 2)
	assert.Equal(t, in, found[0].Intake)
	assert.Equal(t, &in.CodeReport, found[0].Codes)
	assert.Nil(t, found[1].Intake)
	assert.Equal(t, &in.CodeReport, found[1].Codes)
	assert.Equal(t, morning, found[1].At)
	in.Voltage = math.NaN()
	_, err = j.AddIntake(job.ID, in, journal.Order{})
	require.ErrorContains(t, err, "cannot be saved")
}

func TestVehicleIsFoundAgain(t *testing.T) {
	j := fresh(t)
	first, err := j.SaveVehicle(journal.Vehicle{VIN: vin, Name: "Wren of the baker"})
	require.NoError(t, err)
	second, err := j.SaveVehicle(journal.Vehicle{VIN: vin, Layout: "i4-1342"})
	require.NoError(t, err)
	assert.Equal(t, first.ID, second.ID)
	assert.Equal(t, "Wren of the baker", second.Name, "what is not told again stays")
	assert.Equal(t, "i4-1342", second.Layout)
	rook, err := j.SaveVehicle(journal.Vehicle{Name: "Larkspur Rook"})
	require.NoError(t, err)
	same, err := j.SaveVehicle(journal.Vehicle{Name: "Larkspur Rook"})
	require.NoError(t, err)
	assert.Equal(t, rook, same)
	rook.Name, rook.Note = "Rook", "no mode 06 counts"
	changed, err := j.SaveVehicle(rook)
	require.NoError(t, err)
	assert.Equal(t, rook, changed)
	all, err := j.Vehicles()
	require.NoError(t, err)
	assert.Equal(t, []journal.Vehicle{rook, second}, all)
	_, err = j.SaveVehicle(journal.Vehicle{})
	require.Error(t, err)
	_, err = j.SaveVehicle(journal.Vehicle{ID: 99, Name: "x"})
	require.ErrorIs(t, err, journal.ErrUnknown)
}

func TestJobsAreListedAndFound(t *testing.T) {
	j := fresh(t)
	job := worked(t, j)
	other, err := j.OpenJob(journal.Job{Vehicle: journal.Vehicle{Name: "Larkspur Curlew"}, Name: "rough when cold", Opened: morning})
	require.NoError(t, err)
	for text, want := range map[string][]int64{"": {other.ID, job.ID}, "WREN": {job.ID}, "cold": {other.ID}, "r16a4": {job.ID}, "shakes": {job.ID}, "plover": nil} {
		found, err := j.Jobs(journal.JobFilter{Text: text})
		require.NoError(t, err)
		var ids []int64
		for _, b := range found {
			ids = append(ids, b.ID)
		}
		assert.Equal(t, want, ids, text)
	}
	one, err := j.Jobs(journal.JobFilter{Limit: 1})
	require.NoError(t, err)
	assert.Len(t, one, 1)
	assert.Equal(t, [4]int{2, 1, 1, 1}, [4]int{job.Intakes, job.Drives, job.Bench, job.Notes})
	require.NoError(t, j.NameJob(job.ID, "wire 2"))
	job, err = j.Job(job.ID)
	require.NoError(t, err)
	assert.Equal(t, "wire 2", job.Name)
	notes, err := j.Notes(job.ID)
	require.NoError(t, err)
	assert.Equal(t, []journal.Note{{ID: 1, At: morning, Written: morning, Text: "wire of cylinder 2 looks burnt"}}, notes)
	verdicts, err := j.Verdicts(job.ID)
	require.NoError(t, err)
	require.Len(t, verdicts, 2)
	assert.NotZero(t, verdicts[0].Drive)
	assert.Zero(t, verdicts[1].Drive)
}

func TestDeletedJobLeavesNothing(t *testing.T) {
	j := fresh(t)
	job := worked(t, j)
	require.NoError(t, j.AddNote(job.ID, journal.Note{At: morning, Text: "secret of the customer"}))
	require.NoError(t, j.Disconnect()) // all of it is in the file, none in the log
	before, err := os.Stat(j.Path())
	require.NoError(t, err)
	require.NoError(t, j.DeleteJob(job.ID))
	jobs, err := j.Jobs(journal.JobFilter{})
	require.NoError(t, err)
	assert.Empty(t, jobs)
	vehicles, err := j.Vehicles()
	require.NoError(t, err)
	assert.Empty(t, vehicles)
	after, err := os.Stat(j.Path())
	require.NoError(t, err)
	assert.Less(t, after.Size(), before.Size(), "the room is given back")
	for _, file := range []string{j.Path(), j.Path() + "-wal"} {
		data, err := os.ReadFile(file)
		require.NoError(t, err)
		assert.False(t, bytes.Contains(data, []byte("secret of the customer")), file)
		assert.False(t, bytes.Contains(data, []byte(vin)), file)
	}
	sound(t, j.Path())
	next, err := j.OpenJob(journal.Job{Vehicle: journal.Vehicle{Name: "Larkspur Wren"}, Opened: morning})
	require.NoError(t, err)
	assert.Greater(t, next.ID, job.ID, "a job's number is never given again")
}

func TestDeletedDriveLeavesItsJob(t *testing.T) {
	j := fresh(t)
	job := worked(t, j)
	drives, err := j.Drives(job.ID)
	require.NoError(t, err)
	require.NoError(t, j.NameDrive(drives[0].ID, "after"))
	named, err := j.Drive(drives[0].ID)
	require.NoError(t, err)
	assert.Equal(t, "after", named.Name)
	require.NoError(t, j.DeleteDrive(drives[0].ID))
	job, err = j.Job(job.ID)
	require.NoError(t, err)
	assert.Zero(t, job.Drives)
	assert.Equal(t, 2, job.Intakes)
	verdicts, err := j.Verdicts(job.ID)
	require.NoError(t, err)
	assert.Len(t, verdicts, 1, "the drive's went with it")
	sound(t, j.Path())
}

func TestBenchReadings(t *testing.T) {
	j := fresh(t)
	job := worked(t, j)
	told := journal.BenchReading{Job: job.ID, At: morning, Kind: "plug", Cylinder: 2, Quantity: "look", Value: math.NaN(), Text: "oily", Judged: []byte(`{"bad":false}`)}
	id, err := j.AddBench(told)
	require.NoError(t, err)
	all, err := j.BenchReadings(job.ID)
	require.NoError(t, err)
	require.Len(t, all, 2)
	assert.True(t, math.IsNaN(all[1].Value))
	all[1].Value, told.Value, told.ID = 0, 0, id
	assert.Equal(t, told, all[1])
	require.NoError(t, j.DeleteBench(id))
	all, err = j.BenchReadings(job.ID)
	require.NoError(t, err)
	assert.Len(t, all, 1)
	_, err = j.AddBench(journal.BenchReading{Job: job.ID, Judged: []byte("{")})
	require.ErrorContains(t, err, "not JSON")
	_, err = j.AddVerdict(journal.Verdict{Job: job.ID})
	require.ErrorContains(t, err, "not JSON")
	_, err = j.StartDrive(journal.DriveInfo{Setup: []byte("{")})
	require.ErrorContains(t, err, "not JSON")
}
