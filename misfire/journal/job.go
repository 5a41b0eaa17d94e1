package journal

import (
	"context"
	"strings"
	"time"
)

// Job is one complaint on one vehicle.
type Job struct {
	ID        int64
	UID       string
	Vehicle   Vehicle
	Name      string
	Complaint string
	Opened    time.Time

	// What is under it; told by the journal, not by who saves it.
	Intakes, Drives, Bench, Notes int
	Last                          time.Time // end of its last drive; zero when there is none
	Touched                       int64     // the highest is that of the job that was in hand last
	TouchedAt                     time.Time // when that was; zero in a journal that did not keep it
}

// jobQuery reads jobs; of a file of an older version, which lies on a disk that cannot be written, with oldJobs.
const jobQuery = `SELECT j.id, j.uid, j.name, j.complaint, j.opened_ns, v.id, v.uid, v.vin, v.name, v.layout, v.map, v.note,
	(SELECT count(*) FROM intakes WHERE job_id = j.id), (SELECT count(*) FROM drives WHERE job_id = j.id),
	(SELECT count(*) FROM bench WHERE job_id = j.id), (SELECT count(*) FROM notes WHERE job_id = j.id AND until_ns IS NULL),
	coalesce((SELECT max(ended_ns) FROM drives WHERE job_id = j.id), -9223372036854775808), j.touched, j.touched_ns
	FROM jobs j JOIN vehicles v ON v.id = j.vehicle_id `

// oldJobs makes jobQuery one that a journal before version 4 understands.
func oldJobs() *strings.Replacer {
	return strings.NewReplacer(" AND until_ns IS NULL", "", "j.touched, j.touched_ns", "0, -9223372036854775808")
}

// jobQuery is the query of jobs in this journal, as its version has it.
func (j *Journal) jobQuery() (string, error) {
	version, err := j.version()
	if version < 4 {
		return oldJobs().Replace(jobQuery), err
	}
	return jobQuery, err
}

func readJob(row scanner) (b Job, err error) {
	var opened, last, touched int64
	v := &b.Vehicle
	err = row.Scan(&b.ID, &b.UID, &b.Name, &b.Complaint, &opened, &v.ID, &v.UID, &v.VIN, &v.Name, &v.Layout, &v.Map, &v.Note,
		&b.Intakes, &b.Drives, &b.Bench, &b.Notes, &last, &b.Touched, &touched)
	b.Opened, b.Last, b.TouchedAt = timeOf(opened), timeOf(last), timeOf(touched)
	return b, err
}

// JobFilter chooses jobs; the zero value chooses all.
type JobFilter struct {
	Text  string // in the job's name or complaint, or the vehicle's name or VIN; in either case
	Limit int    // at most so many; 0 for all
}

// Jobs lists jobs, the newest first.
func (j *Journal) Jobs(f JobFilter) ([]Job, error) {
	limit := f.Limit
	if limit <= 0 {
		limit = -1
	}
	query, err := j.jobQuery()
	if err != nil {
		return nil, err
	}
	return list(j, readJob, query+`WHERE ?1 = '' OR instr(lower(j.name || char(10) || j.complaint || char(10) || v.name || char(10) || v.vin), ?1)
		ORDER BY j.id DESC LIMIT ?2`, strings.ToLower(f.Text), limit)
}

// Job finds one job.
func (j *Journal) Job(id int64) (Job, error) {
	query, err := j.jobQuery()
	if err != nil {
		return Job{}, err
	}
	return one(j, readJob, "job", id, query+"WHERE j.id = ?", id)
}

// OpenJob begins a job, with its vehicle found or made as SaveVehicle does it.
func (j *Journal) OpenJob(b Job) (Job, error) {
	b.UID = newUID()
	err := j.write(func(t tx) (err error) {
		b.ID, err = t.job(b)
		return err
	})
	if err != nil {
		return b, err
	}
	return j.Job(b.ID)
}

// job finds a job by its UID, or makes it.
func (t tx) job(b Job) (int64, error) {
	if id, err := t.id("SELECT id FROM jobs WHERE uid = ?", b.UID); err != nil || id != 0 {
		return id, err
	}
	v, err := t.vehicle(b.Vehicle)
	if err != nil {
		return 0, err
	}
	id, err := t.insert("INSERT INTO jobs (uid, vehicle_id, name, complaint, opened_ns) VALUES (?, ?, ?, ?, ?)",
		b.UID, v.ID, b.Name, b.Complaint, nanoseconds(b.Opened))
	if err != nil {
		return 0, err
	}
	return id, t.touch(id, b.Opened)
}

// NameJob gives a job another name.
func (j *Journal) NameJob(id int64, name string) error {
	return j.writeJob(id, func(t tx) error { return t.exec("UPDATE jobs SET name = ? WHERE id = ?", name, id) })
}

// writeJob writes something of a job that must be there.
func (j *Journal) writeJob(id int64, do func(tx) error) error {
	return j.write(func(t tx) error { return t.known("job", "jobs", id, do) })
}

// known does something with a row if it is there.
func (t tx) known(what, table string, id int64, do func(tx) error) error {
	known, err := t.id("SELECT id FROM "+table+" WHERE id = ?", id)
	switch {
	case err != nil:
		return err
	case known == 0:
		return unknown(what, id)
	}
	return do(t)
}

// DeleteJob deletes a job and all under it, for good: what it held is overwritten, and its room given back to the
// disk. The vehicle goes with its last job. Ask first.
func (j *Journal) DeleteJob(id int64) error {
	return j.erase(func(t tx) error {
		return t.known("job", "jobs", id, func(t tx) error {
			if busy, err := t.id("SELECT id FROM drives WHERE job_id = ? AND state = 'recording'", id); err != nil || busy != 0 {
				return recordingError(err, busy)
			}
			if err := t.exec("DELETE FROM jobs WHERE id = ?", id); err != nil {
				return err
			}
			return t.exec("DELETE FROM vehicles WHERE id NOT IN (SELECT vehicle_id FROM jobs)")
		})
	})
}

// erase deletes and overwrites what was deleted, in the log too.
func (j *Journal) erase(do func(tx) error) error {
	err := j.write(func(t tx) error {
		// A setting of the connection, not of the transaction: writing samples would only be slower for it.
		if err := t.exec("PRAGMA secure_delete = ON"); err != nil {
			return err
		}
		return do(t)
	})
	if err != nil {
		return err
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	// Each of these works a page at a time, for as long as rows are asked for.
	for _, tidy := range []string{"PRAGMA secure_delete = OFF", "PRAGMA incremental_vacuum", "PRAGMA wal_checkpoint(TRUNCATE)"} {
		if err := j.runToEnd(tidy); err != nil {
			return j.trouble(err)
		}
	}
	return nil
}

// runToEnd runs a statement to its end and passes over its rows.
func (j *Journal) runToEnd(statement string) error {
	if j.conn == nil {
		return nil
	}
	rows, err := j.conn.QueryContext(context.Background(), statement)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
	}
	return rows.Err()
}
