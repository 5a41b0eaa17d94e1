package journal

import (
	"context"
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// A drive that is being recorded has a file of its own beside the journal, locked for as long as the program lives.
// The system lets go of the lock however the program ends, so another program can tell a drive that goes on from
// one that a crash cut off. SQLite does the locking: it knows how on every system.

const lockMark = ".live-"

// driveLock is the lock of one drive.
type driveLock struct {
	path string
	db   *sql.DB
	conn *sql.Conn
}

func (j *Journal) lockPath(uid string) string { return j.path + lockMark + uid }

// lockDrive takes the lock of a drive.
func (j *Journal) lockDrive(uid string) (*driveLock, error) {
	if err := os.MkdirAll(filepath.Dir(j.path), 0o700); err != nil {
		return nil, j.trouble(err)
	}
	l, err := lock(j.lockPath(uid))
	return l, j.trouble(err)
}

func lock(path string) (*driveLock, error) {
	db, conn, err := connect(path, "_journal_mode=MEMORY")
	if err != nil {
		return nil, err
	}
	l := &driveLock{path: path, db: db, conn: conn}
	if _, err := conn.ExecContext(context.Background(), "BEGIN EXCLUSIVE"); err != nil {
		l.release()
		return nil, err
	}
	return l, nil
}

func (l *driveLock) release() {
	l.conn.Close()
	l.db.Close()
}

// end lets go of the lock and removes its file.
func (l *driveLock) end() {
	l.release()
	os.Remove(l.path)
}

// isRecorded reports whether some program is recording a drive. A lock left by a crash is removed.
func (j *Journal) isRecorded(uid string) bool {
	path := j.lockPath(uid)
	if _, err := os.Stat(path); err != nil {
		return false
	}
	l, err := lock(path)
	if kindOf(err) == ErrBusy {
		return true
	}
	if err == nil {
		l.end()
	}
	return false
}

// othersRecord reports whether another program records into this journal. Locks left by crashes are removed.
func (j *Journal) othersRecord() bool {
	files, err := filepath.Glob(escapeGlob(j.path) + lockMark + "*")
	if err != nil {
		return false
	}
	own, alive := j.ownDrives(), false
	for _, file := range files {
		uid := strings.TrimPrefix(file, j.path+lockMark)
		if strings.Contains(uid, "-") || own[uid] { // SQLite's own files, or ours
			continue
		}
		alive = j.isRecorded(uid) || alive
	}
	return alive
}

func escapeGlob(path string) string {
	return strings.NewReplacer(`*`, `[*]`, `?`, `[?]`, `[`, `[[]`).Replace(path)
}

func (j *Journal) active() []*Recorder {
	j.recording.Lock()
	defer j.recording.Unlock()
	var all []*Recorder
	for r := range j.recorders {
		all = append(all, r)
	}
	return all
}

func (j *Journal) ownDrives() map[string]bool {
	own := make(map[string]bool)
	for _, r := range j.active() {
		own[r.uid] = true
	}
	return own
}

// cutOff is a drive that nobody ended.
type cutOff struct {
	id, job            int64
	uid, vehicle       string
	started, ended     int64
	samples, exchanges int
}

// closeInterrupted ends the drives that a crash cut off, and says what of them is saved. j.mu is held.
func (j *Journal) closeInterrupted() error {
	j.othersRecord() // for the locks of drives of which no row was saved
	open, err := j.unfinished()
	if err != nil || len(open) == 0 {
		return j.trouble(err)
	}
	own := j.ownDrives()
	for _, d := range open {
		if own[d.uid] || j.isRecorded(d.uid) {
			continue
		}
		err := transaction(context.Background(), j.conn, func(t tx) error {
			return t.exec("UPDATE drives SET state = 'interrupted' WHERE id = ? AND state = 'recording'", d.id)
		})
		if err != nil {
			return j.trouble(err)
		}
		j.note(Notice{Kind: NoticeInterrupted, Drive: d.id, Job: d.job, Vehicle: d.vehicle, Samples: d.samples, Exchanges: d.exchanges,
			Length: timeOf(d.ended).Sub(timeOf(d.started)).Round(time.Second)})
	}
	return nil
}

func (j *Journal) unfinished() (all []cutOff, err error) {
	rows, err := j.conn.QueryContext(context.Background(), `SELECT d.id, d.job_id, d.uid, v.name, d.started_ns, d.ended_ns, d.samples, d.exchanges
		FROM drives d JOIN jobs j ON j.id = d.job_id JOIN vehicles v ON v.id = j.vehicle_id WHERE d.state = 'recording' ORDER BY d.id`)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		var d cutOff
		if err := rows.Scan(&d.id, &d.job, &d.uid, &d.vehicle, &d.started, &d.ended, &d.samples, &d.exchanges); err != nil {
			return nil, err
		}
		all = append(all, d)
	}
	return all, rows.Err()
}
