package journal

import (
	"database/sql"
	"fmt"
	"time"
)

// NoteKind is what a note tells of.
type NoteKind string

// Kinds of note.
const (
	NotePlain    NoteKind = ""         // whatever somebody wrote down
	NoteRepaired NoteKind = "repaired" // something was repaired or replaced
	NoteSwapped  NoteKind = "swapped"  // a part changed places between two cylinders
)

// Note is what somebody wrote down about a job, or what was done to the car.
type Note struct {
	ID              int64     // of the note, whatever its version; told by the journal, as Written's default and Until are
	At              time.Time // of a repair or a swap, when it was done
	Text            string
	Kind            NoteKind
	Part            string    // that was repaired or swapped; empty where it was not told
	Cylinder, Other int       // whose part that was, and of a swap the other; 0 where it was not told
	Written         time.Time // when it was typed; zero in a journal that did not keep it
	Order           Order     // which drives it came after
	Until           time.Time // when this version was changed or taken back; zero while it holds
}

// Order tells which drives of a job something came after, where that is known beside its time: clocks may be set, and
// that of a simulated car runs ahead.
type Order struct {
	Known bool
	Drive int64 // the last drive before it; 0 for none
}

// Before reports whether something that is of an order and a time came before a drive began.
func (o Order) Before(at time.Time, d *Drive) bool {
	if o.Known {
		return o.Drive < d.ID // a number is never given twice, and they rise
	}
	return d.Started.After(at)
}

// Now returns the order of what happens now under a job: after all drives that it holds.
func (j *Journal) Now(job int64) (Order, error) {
	ids, err := list(j, func(row scanner) (id int64, err error) {
		err = row.Scan(&id)
		return id, err
	}, "SELECT coalesce(max(id), 0) FROM drives WHERE job_id = ?", job)
	if err != nil || len(ids) == 0 {
		return Order{}, err
	}
	return Order{Known: true, Drive: ids[0]}, nil
}

// orderColumn is the order of a row that keeps it in after_drive, as a number of this file: -1 where it is not known.
// A drive that was deleted takes what came after it along.
const orderColumn = `CASE WHEN after_drive IS NULL THEN -1 WHEN after_drive = '' THEN 0
	ELSE coalesce((SELECT d.id FROM drives d WHERE d.uid = after_drive), -1) END`

func orderOf(drive int64) Order {
	if drive < 0 {
		return Order{}
	}
	return Order{Known: true, Drive: drive}
}

// after is an order as it is stored.
func (t tx) after(o Order) (stored sql.NullString, err error) {
	if !o.Known || o.Drive == 0 {
		return sql.NullString{Valid: o.Known}, nil
	}
	stored.Valid = true
	err = t.conn.QueryRowContext(t.ctx, "SELECT uid FROM drives WHERE id = ?", o.Drive).Scan(&stored.String)
	return stored, err
}

// touch makes a job the one that was in hand last.
func (t tx) touch(job int64, at time.Time) error {
	return t.exec(`UPDATE jobs SET touched = (SELECT max(touched) FROM jobs) + 1, touched_ns = max(touched_ns, ?)
		WHERE id = ?`, nanoseconds(at), job)
}

// AddNote adds a note to a job.
func (j *Journal) AddNote(job int64, n Note) error {
	return j.writeJob(job, func(t tx) error {
		if err := t.touch(job, written(&n)); err != nil {
			return err
		}
		return t.note(newUID(), "", job, &n)
	})
}

// written is when a note was typed, which is when it was done where nothing else is told.
func written(n *Note) time.Time {
	if n.Written.IsZero() {
		return n.At
	}
	return n.Written
}

// note inserts a version of a note; of is the uid of the first, empty for that itself.
func (t tx) note(uid, of string, job int64, n *Note) error {
	after, err := t.after(n.Order)
	if err != nil {
		return err
	}
	return t.exec(`INSERT INTO notes (uid, job_id, at_ns, text, kind, part, cylinder, other, written_ns, after_drive, version_of)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		uid, job, nanoseconds(n.At), n.Text, string(n.Kind), n.Part, n.Cylinder, n.Other, nanoseconds(written(n)), after, of)
}

// Notes lists the notes of a job as they hold, in the order they were added.
func (j *Journal) Notes(job int64) ([]Note, error) { return j.notes(job, false) }

// NoteHistory lists every version of the notes of a job, those of one note together, the oldest first.
func (j *Journal) NoteHistory(job int64) ([]Note, error) { return j.notes(job, true) }

func (j *Journal) notes(job int64, all bool) ([]Note, error) {
	version, err := j.version()
	if err != nil {
		return nil, err
	}
	if version < 4 { // on a disk that cannot be written
		return list(j, func(row scanner) (n Note, err error) {
			var at int64
			err = row.Scan(&n.ID, &at, &n.Text)
			n.At = timeOf(at)
			return n, err
		}, "SELECT id, at_ns, text FROM notes WHERE job_id = ? ORDER BY id", job)
	}
	return list(j, readNote, fmt.Sprintf(`SELECT coalesce((SELECT f.id FROM notes f WHERE f.uid = n.version_of), id) AS note,
		at_ns, text, kind, part, cylinder, other, written_ns, %s, until_ns
		FROM notes n WHERE job_id = ?1 AND (?2 OR until_ns IS NULL) ORDER BY note, id`, orderColumn), job, all)
}

func readNote(row scanner) (n Note, err error) {
	var at, typed, drive int64
	var until sql.NullInt64
	err = row.Scan(&n.ID, &at, &n.Text, &n.Kind, &n.Part, &n.Cylinder, &n.Other, &typed, &drive, &until)
	n.At, n.Written, n.Order = timeOf(at), timeOf(typed), orderOf(drive)
	if until.Valid {
		n.Until = timeOf(until.Int64)
	}
	return n, err
}

// FindNote finds a note that holds by its number, and the job it is under.
func (j *Journal) FindNote(id int64) (n Note, job int64, err error) {
	jobs, err := list(j, func(row scanner) (job int64, err error) {
		err = row.Scan(&job)
		return job, err
	}, "SELECT job_id FROM notes WHERE id = ?", id)
	if err != nil || len(jobs) == 0 {
		if err == nil {
			err = unknown("note", id)
		}
		return n, 0, err
	}
	all, err := j.Notes(jobs[0])
	for _, n := range all {
		if n.ID == id {
			return n, jobs[0], err
		}
	}
	if err == nil {
		err = unknown("note", id)
	}
	return n, 0, err
}

// ChangeNote puts another version in the place of a note, which stays in its history. n.ID says which.
func (j *Journal) ChangeNote(n Note) error {
	return j.endNote(n.ID, n.Written, func(t tx, job int64, first string) error { return t.note(newUID(), first, job, &n) })
}

// RemoveNote takes a note back. It stays in the history.
func (j *Journal) RemoveNote(id int64, at time.Time) error {
	return j.endNote(id, at, func(tx, int64, string) error { return nil })
}

// endNote ends the version of a note that holds, and does what follows with the uid of its first version.
func (j *Journal) endNote(id int64, at time.Time, then func(t tx, job int64, first string) error) error {
	return j.write(func(t tx) error {
		var job int64
		var first string
		err := t.conn.QueryRowContext(t.ctx, "SELECT job_id, uid FROM notes WHERE id = ? AND version_of = ''", id).Scan(&job, &first)
		if err != nil {
			return unknown("note", id)
		}
		held, err := t.id("SELECT id FROM notes WHERE (uid = ?1 OR version_of = ?1) AND until_ns IS NULL", first)
		switch {
		case err != nil:
			return err
		case held == 0:
			return unknown("note", id)
		}
		if err := t.exec("UPDATE notes SET until_ns = ? WHERE id = ?", nanoseconds(at), held); err != nil {
			return err
		}
		if err := t.touch(job, at); err != nil {
			return err
		}
		return then(t, job, first)
	})
}
