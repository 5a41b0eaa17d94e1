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
	Order  Order           // which drives of the job it came after
	Intake *obd.Intake     // nil for a code report
	Codes  *obd.CodeReport // that of the intake, or the report alone
}

const (
	kindIntake = "intake"
	kindCodes  = "codes"
)

// AddIntake saves an intake under a job; order tells which drives it came after.
func (j *Journal) AddIntake(job int64, in *obd.Intake, order Order) (int64, error) {
	return j.addReading(job, in.At, order, kindIntake, storeIntake(in))
}

// AddCodes saves trouble codes that were read by themselves, as after a repair.
func (j *Journal) AddCodes(job int64, at time.Time, report *obd.CodeReport, order Order) (int64, error) {
	return j.addReading(job, at, order, kindCodes, storeCodes(report))
}

func (j *Journal) addReading(job int64, at time.Time, order Order, kind string, what any) (id int64, err error) {
	data, err := json.Marshal(what)
	if err != nil {
		return 0, fmt.Errorf("this %s cannot be saved: %w", kind, err)
	}
	uid := newUID()
	err = j.writeJob(job, func(t tx) (err error) {
		after, err := t.after(order)
		if err != nil {
			return err
		}
		id, err = t.insert("INSERT INTO intakes (uid, job_id, at_ns, kind, data, after_drive) VALUES (?, ?, ?, ?, ?, ?)",
			uid, job, nanoseconds(at), kind, string(data), after)
		if err != nil {
			return err
		}
		return t.touch(job, at)
	})
	return id, err
}

// Intakes lists the intakes and code reports of a job, the oldest first.
func (j *Journal) Intakes(job int64) ([]IntakeRecord, error) {
	order := orderColumn
	version, err := j.version()
	switch {
	case err != nil:
		return nil, err
	case version < 4: // on a disk that cannot be written
		order = "-1"
	}
	return list(j, readIntake, "SELECT id, job_id, at_ns, kind, data, "+order+" FROM intakes WHERE job_id = ? ORDER BY id", job)
}

func readIntake(row scanner) (r IntakeRecord, err error) {
	var at, drive int64
	var kind string
	var data []byte
	if err := row.Scan(&r.ID, &r.Job, &at, &kind, &data, &drive); err != nil {
		return r, err
	}
	r.At, r.Order = timeOf(at), orderOf(drive)
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
