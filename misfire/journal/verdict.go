package journal

import (
	"database/sql"
	"time"
)

// Verdict is what was concluded, as it was concluded then: JSON of whoever concluded it.
type Verdict struct {
	ID    int64
	Job   int64
	Drive int64 // 0: of the job as a whole
	At    time.Time
	Kind  string // VerdictDrive, or the caller's word
	Data  []byte
}

// VerdictDrive is the kind of the verdict that Finish saves.
const VerdictDrive = "drive"

// AddVerdict saves a verdict under a job, and returns its ID.
func (j *Journal) AddVerdict(v Verdict) (id int64, err error) {
	if len(v.Data) == 0 || !jsonOrEmpty(v.Data) {
		return 0, errNoJSON
	}
	uid := newUID()
	err = j.writeJob(v.Job, func(t tx) (err error) {
		if id, err = t.verdict(uid, v); err != nil {
			return err
		}
		return t.touch(v.Job, v.At)
	})
	return id, err
}

func (t tx) verdict(uid string, v Verdict) (int64, error) {
	drive := sql.NullInt64{Int64: v.Drive, Valid: v.Drive != 0}
	return t.insert("INSERT INTO verdicts (uid, job_id, drive_id, at_ns, kind, data) VALUES (?, ?, ?, ?, ?, ?)",
		uid, v.Job, drive, nanoseconds(v.At), v.Kind, string(v.Data))
}

// Verdicts lists the verdicts of a job and its drives in the order they were saved.
func (j *Journal) Verdicts(job int64) ([]Verdict, error) {
	return list(j, func(row scanner) (v Verdict, err error) {
		var at int64
		err = row.Scan(&v.ID, &v.Job, &v.Drive, &at, &v.Kind, &v.Data)
		v.At = timeOf(at)
		return v, err
	}, "SELECT id, job_id, coalesce(drive_id, 0), at_ns, kind, data FROM verdicts WHERE job_id = ? ORDER BY id", job)
}
