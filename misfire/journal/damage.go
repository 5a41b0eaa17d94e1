package journal

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
)

// suspectMark is the ending of an empty file beside the journal that asks for a whole check at the next start.
const suspectMark = ".suspect"

// suspect remembers an error that tells of damage, so that the next one to open the file checks all of it.
func (j *Journal) suspect(err error) {
	if errors.Is(err, ErrDamaged) {
		// Without the mark the damage is met again, only later.
		_ = os.WriteFile(j.path+suspectMark, nil, 0o600)
	}
}

// wholeCheckUpTo is the size up to which the file is checked from end to end after a crash: at most some seconds.
const wholeCheckUpTo = 256 << 20

// examine looks for damage: the file's length and the small tables always, all of it after a crash or when damage
// was met. The samples, by far the most of the file, carry check sums of their own.
func (j *Journal) examine(ctx context.Context) error {
	cut, size, err := j.truncated(ctx)
	if err != nil {
		return err
	}
	if cut {
		return j.damaged(errors.New("it is cut short"))
	}
	_, marked := os.Stat(j.path + suspectMark)
	crashed, err := j.crashed()
	if err != nil {
		return err
	}
	checks := []string{"quick_check(vehicles)", "quick_check(jobs)", "quick_check(drives)"}
	if marked == nil || crashed && size <= wholeCheckUpTo {
		checks = []string{"quick_check"}
	}
	for _, check := range checks {
		var found string
		if err := j.conn.QueryRowContext(ctx, "PRAGMA "+check).Scan(&found); err != nil {
			return err
		}
		if found != "ok" {
			return j.damaged(errors.New(found))
		}
	}
	if marked == nil {
		return os.Remove(j.path + suspectMark)
	}
	return nil
}

func (j *Journal) damaged(why error) error { return &Error{Path: j.path, Kind: ErrDamaged, Cause: why} }

// truncated reports whether pages are missing at the file's end. While they are still in the log none are.
func (j *Journal) truncated(ctx context.Context) (cut bool, size int64, err error) {
	var busy, logged, moved int
	if err := j.conn.QueryRowContext(ctx, "PRAGMA wal_checkpoint(PASSIVE)").Scan(&busy, &logged, &moved); err != nil {
		return false, 0, err
	}
	var pages, each int64
	if err := j.conn.QueryRowContext(ctx, "PRAGMA page_count").Scan(&pages); err != nil {
		return false, 0, err
	}
	if err := j.conn.QueryRowContext(ctx, "PRAGMA page_size").Scan(&each); err != nil {
		return false, 0, err
	}
	info, err := os.Stat(j.path)
	if err != nil {
		return false, 0, err
	}
	return logged == moved && info.Size() < pages*each, info.Size(), nil
}

// crashed reports whether a drive was being recorded and no program is doing so any more.
func (j *Journal) crashed() (bool, error) {
	open, err := j.unfinished()
	if err != nil {
		return false, err
	}
	own := j.ownDrives()
	for _, d := range open {
		if !own[d.uid] && !j.isRecorded(d.uid) {
			return true, nil
		}
	}
	return false, nil
}

// Names beside the journal while it is being salvaged.
const (
	copyMark     = ".copy"     // of the damaged file, to be read
	partMark     = ".part"     // the new file, not whole yet
	firstMark    = ".first"    // a file for its first page alone
	salvagedMark = ".salvaged" // the new file, whole
)

// setAside salvages the damaged file into a new one, renames it, and puts the new one in its place. Killed at any
// moment it leaves the damaged file or the whole new one. j.mu is held.
func (j *Journal) setAside() error {
	if j.othersRecord() {
		return &Error{Path: j.path, Kind: ErrBusy, Cause: ErrDamaged}
	}
	j.closeReaders()
	defer removeDatabase(j.path + copyMark)
	defer removeDatabase(j.path + firstMark)
	for _, left := range []string{copyMark, firstMark, partMark, salvagedMark} {
		removeDatabase(j.path + left)
	}
	found, err := j.salvage()
	if err != nil {
		return err
	}
	aside := j.freeName()
	// The log goes first: left behind it would be taken for the new file's.
	if err := os.Rename(j.path+"-wal", aside+"-wal"); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if err := os.Rename(j.path, aside); err != nil {
		return err
	}
	removeAll(j.path+"-shm", j.path+suspectMark)
	if err := j.adoptSalvaged(); err != nil {
		return err
	}
	j.note(Notice{Kind: NoticeSetAside, Path: j.path, Aside: aside, Jobs: found.jobs, Drives: found.drives, Rows: found.rows, Bad: found.unreadable})
	return nil
}

func (j *Journal) freeName() string {
	for n := 1; ; n++ {
		name := fmt.Sprintf("%s.damaged-%d", j.path, n)
		if _, err := os.Lstat(name); errors.Is(err, fs.ErrNotExist) {
			return name
		}
	}
}

// adoptSalvaged puts a whole salvaged file in the journal's place if there is none.
func (j *Journal) adoptSalvaged() error {
	if _, err := os.Stat(j.path); !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	err := os.Rename(j.path+salvagedMark, j.path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}

func removeDatabase(path string) { removeAll(path, path+"-wal", path+"-shm", path+"-journal") }

func removeAll(paths ...string) {
	for _, path := range paths {
		os.Remove(path)
	}
}
