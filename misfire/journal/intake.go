package journal

import (
	"encoding/json"
	"fmt"
	"time"

	"stumble/obd"
)

// IntakeRecord is one saved intake or code report.
type IntakeRecord struct {
	ID     int64
	Job    int64
	At     time.Time
	Intake *obd.Intake     // nil for a code report
	Codes  *obd.CodeReport // that of the intake, or the report alone
}

const (
	kindIntake = "intake"
	kindCodes  = "codes"
)

// AddIntake saves an intake under a job.
func (j *Journal) AddIntake(job int64, in *obd.Intake) (int64, error) {
	return j.addReading(job, in.At, kindIntake, storeIntake(in))
}

// AddCodes saves trouble codes that were read by themselves, as after a repair.
func (j *Journal) AddCodes(job int64, at time.Time, report *obd.CodeReport) (int64, error) {
	return j.addReading(job, at, kindCodes, storeCodes(report))
}

func (j *Journal) addReading(job int64, at time.Time, kind string, what any) (id int64, err error) {
	data, err := json.Marshal(what)
	if err != nil {
		return 0, fmt.Errorf("this %s cannot be saved: %w", kind, err)
	}
	uid := newUID()
	err = j.writeJob(job, func(t tx) (err error) {
		id, err = t.insert("INSERT INTO intakes (uid, job_id, at_ns, kind, data) VALUES (?, ?, ?, ?, ?)", uid, job, nanoseconds(at), kind, string(data))
		return err
	})
	return id, err
}

// Intakes lists the intakes and code reports of a job, the oldest first.
func (j *Journal) Intakes(job int64) ([]IntakeRecord, error) {
	return list(j, readIntake, "SELECT id, job_id, at_ns, kind, data FROM intakes WHERE job_id = ? ORDER BY id", job)
}

func readIntake(row scanner) (r IntakeRecord, err error) {
	var at int64
	var kind string
	var data []byte
	if err := row.Scan(&r.ID, &r.Job, &at, &kind, &data); err != nil {
		return r, err
	}
	r.At = timeOf(at)
	in, err := readStored(kind, data)
	if err != nil {
		return r, fmt.Errorf("the %s of %v cannot be read: %w", kind, r.At, err)
	}
	if r.Codes = &in.CodeReport; kind == kindIntake {
		r.Intake = in
	}
	return r, nil
}

// readStored reads what was saved; of a code report only the codes are set.
func readStored(kind string, data []byte) (*obd.Intake, error) {
	if kind == kindCodes {
		var codes storedCodes
		err := json.Unmarshal(data, &codes)
		return &obd.Intake{CodeReport: codes.report()}, err
	}
	var in storedIntake
	err := json.Unmarshal(data, &in)
	return in.intake(), err
}
