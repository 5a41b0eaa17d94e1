package journal

import (
	"database/sql"
	"errors"
	"slices"
	"time"
)

// batch is what one transaction saves: copies, since recording goes on.
type batch struct {
	streams [2]streamBatch
	marks   []Mark
	upTo    int64     // the newest time in it
	now     time.Time // up to when all of the drive is in it
	at      time.Time // when it was taken
	lost    int
}

type streamBatch struct {
	stream *stream
	rows   []takenRow
	total  int // records saved, when this is
}

// takenRow is what is saved of a block now.
type takenRow struct {
	row
	of           *block
	full, zipped bool
}

// mostAtOnce bounds a transaction after a long time without saving, so that the log does not grow without need.
const mostAtOnce = 4 << 20

// save saves all that is ready.
func (r *Recorder) save() error { return r.saveAll(nil, false) }

// saveAll saves all that is ready, and at the end of a drive that it is finished, with its verdict.
func (r *Recorder) saveAll(verdict []byte, finish bool) error {
	r.saving.Lock()
	defer r.saving.Unlock()
	if r.lock == nil {
		// Without the lock nothing is saved: another program would take the drive for one cut off.
		lock, err := r.journal.lockDrive(r.uid)
		if err != nil {
			return r.failed(err)
		}
		r.lock = lock
	}
	for {
		b, more := r.take()
		err := b.zip(&r.zip)
		if err == nil {
			err = r.write(b, verdict, finish && !more)
		}
		r.settle(b, err == nil)
		if err != nil {
			return r.failed(err)
		}
		if !more {
			return nil
		}
	}
}

// take copies what waits; more tells that it was too much for one transaction.
func (r *Recorder) take() (b batch, more bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	b = batch{marks: slices.Clone(r.marks), upTo: nanoseconds(r.info.Started), now: r.flushed, at: r.now, lost: r.lost}
	r.taken = len(b.marks)
	size := 0
	for i, l := range []*stream{&r.sampled, &r.exchanged} {
		lb := streamBatch{stream: l, total: l.saved}
		for _, w := range l.wait {
			if size > mostAtOnce {
				more, b.now = true, r.saved
				break
			}
			size += len(w.data)
			w.taken = true
			lb.rows = append(lb.rows, takenRow{row: w.row, of: w, full: w.full, zipped: w.zipped})
			lb.total += w.row.count - w.saved
			b.upTo = max(b.upTo, w.end)
		}
		b.streams[i] = lb
	}
	for _, m := range b.marks {
		b.upTo = max(b.upTo, nanoseconds(m.Until))
	}
	return b, more
}

// zip makes the data of each row that has none yet.
func (b *batch) zip(z *zipper) (err error) {
	for _, lb := range b.streams {
		for i := range lb.rows {
			if row := &lb.rows[i]; !row.zipped {
				if row.data, err = z.zip(row.data, row.full); err != nil {
					return err
				}
				row.zipped = row.full
			}
		}
	}
	return nil
}

// write is the transaction. It may be repeated, whatever became of it: a row that is there is written over.
func (r *Recorder) write(b batch, verdict []byte, finish bool) error {
	return r.journal.write(func(t tx) error {
		id, err := r.ensure(t)
		if err != nil {
			return err
		}
		for _, lb := range b.streams {
			for i := range lb.rows {
				if err := t.block(lb.stream.table, id, &lb.rows[i].row); err != nil {
					return err
				}
			}
		}
		for _, m := range b.marks {
			if err := t.mark(id, m); err != nil {
				return err
			}
		}
		state := DriveRecording
		if finish {
			state = DriveFinished
		}
		err = t.exec("UPDATE drives SET state = ?, ended_ns = max(ended_ns, ?), samples = ?, exchanges = ?, lost = ? WHERE id = ?",
			state, b.upTo, b.streams[0].total, b.streams[1].total, b.lost, id)
		if err != nil || !finish || len(verdict) == 0 {
			return err
		}
		uid := r.uid + "-verdict"
		if there, err := t.id("SELECT id FROM verdicts WHERE uid = ?", uid); err != nil || there != 0 {
			return err
		}
		_, err = t.verdict(uid, Verdict{Job: r.job.ID, Drive: id, At: b.at, Kind: VerdictDrive, Data: verdict})
		return err
	})
}

// ensure finds the drive's row, or makes it with its job and vehicle: at the beginning, and in a new file should
// the old one have been set aside or taken away.
func (r *Recorder) ensure(t tx) (int64, error) {
	if r.job.UID == "" && r.info.Job != 0 {
		if err := t.uid(&r.job.UID, r.info.Job); err != nil {
			return 0, err
		}
	}
	if r.job.UID == "" {
		r.job.UID = newUID()
	}
	job, err := t.job(r.job)
	if err != nil {
		return 0, err
	}
	id, err := t.insertDrive(r.uid, job, &r.info)
	if err != nil {
		return 0, err
	}
	r.job.ID = job
	r.mu.Lock()
	r.id = id
	r.mu.Unlock()
	return id, nil
}

// uid finds the UID of a job, if it is there.
func (t tx) uid(uid *string, job int64) error {
	err := t.conn.QueryRowContext(t.ctx, "SELECT uid FROM jobs WHERE id = ?", job).Scan(uid)
	if errors.Is(err, sql.ErrNoRows) {
		return nil
	}
	return err
}

func (t tx) block(table string, drive int64, b *row) error {
	return t.exec("INSERT INTO "+table+` (drive_id, block, first, count, begin_ns, end_ns, data, form) VALUES (?, ?, ?, ?, ?, ?, ?, ?)
		ON CONFLICT (drive_id, block) DO UPDATE SET count = excluded.count, end_ns = excluded.end_ns, data = excluded.data`,
		drive, b.number, b.first, b.count, b.begin, b.end, b.data, b.form)
}

func (t tx) mark(drive int64, m Mark) error {
	return t.exec(`INSERT INTO marks (drive_id, number, after, at_ns, until_ns, kind, gear, text) VALUES (?, ?, ?, ?, ?, ?, ?, ?)
		ON CONFLICT (drive_id, number) DO UPDATE SET until_ns = excluded.until_ns`,
		drive, m.number, m.after, nanoseconds(m.At), nanoseconds(m.Until), m.Kind, gearCodes()[m.Gear], m.Text)
}

// settle lets go of what was taken, and notes what of it is on the disk now.
func (r *Recorder) settle(b batch, saved bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, lb := range b.streams {
		for _, row := range lb.rows {
			of := row.of
			of.taken = false
			if saved {
				of.saved = row.count
			}
			if row.zipped && !of.zipped {
				of.data, of.records, of.zipped = row.data, nil, true // not to be done again, and less to keep
			}
		}
		if saved {
			lb.stream.saved = lb.total
			lb.stream.settle()
		}
	}
	r.taken = 0
	if saved {
		r.marks = r.marks[len(b.marks):]
		if !b.now.IsZero() {
			r.saved = b.now
		}
		r.trouble, r.since = nil, time.Time{}
	}
}

// settle takes from those waiting the blocks that are wholly saved, a full one as it is to stay.
func (l *stream) settle() {
	waiting := l.wait[:0]
	for _, b := range l.wait {
		if b.row.count > b.saved || b.full && !b.zipped {
			waiting = append(waiting, b)
		}
	}
	clear(l.wait[len(waiting):])
	l.wait = waiting
}

func (r *Recorder) failed(err error) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.trouble == nil {
		r.since = r.now
	}
	r.trouble, r.tried = err, r.now
	r.bound() // what this save had taken could not be given up until now
	return err
}
