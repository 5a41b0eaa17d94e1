package journal

import (
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"regexp"
)

// salvaged counts what could be read from a damaged file.
type salvaged struct {
	jobs, drives, rows int
	unreadable         int // rows known to have been there; more may have been
}

// orphans give rows that lost their parent a new one, so that nothing read is thrown away.
const orphans = `
INSERT INTO vehicles (id, uid, vin, name, layout, map, note)
SELECT DISTINCT vehicle_id, 'salvaged-vehicle-' || hex(randomblob(10)), '', 'salvaged vehicle', '', '', '' FROM jobs WHERE vehicle_id NOT IN (SELECT id FROM vehicles);
INSERT INTO drives (id, uid, job_id, name, state, started_ns, ended_ns, adapter, protocol, layout, engine, map, setup, samples, exchanges, lost)
SELECT drive_id, 'salvaged-drive-' || hex(randomblob(10)),
       (SELECT max(j) + 1 FROM (SELECT 0 AS j UNION ALL SELECT max(id) FROM jobs UNION ALL SELECT max(job_id) FROM drives UNION ALL SELECT max(job_id) FROM notes
        UNION ALL SELECT max(job_id) FROM intakes UNION ALL SELECT max(job_id) FROM bench UNION ALL SELECT max(job_id) FROM verdicts)),
       'salvaged drive', 'interrupted', min(begin_ns), max(end_ns), '', '', '', '{}', '', '', 0, 0, 0
FROM (SELECT drive_id, begin_ns, end_ns FROM samples UNION ALL SELECT drive_id, begin_ns, end_ns FROM exchanges UNION ALL SELECT drive_id, at_ns, until_ns FROM marks)
WHERE drive_id NOT IN (SELECT id FROM drives) GROUP BY drive_id;
UPDATE drives SET samples = (SELECT coalesce(sum(count), 0) FROM samples WHERE drive_id = drives.id), exchanges = (SELECT coalesce(sum(count), 0) FROM exchanges WHERE drive_id = drives.id);
UPDATE verdicts SET drive_id = NULL WHERE drive_id NOT IN (SELECT id FROM drives);
INSERT INTO vehicles (uid, vin, name, layout, map, note)
SELECT 'salvaged-' || hex(randomblob(10)), '', 'salvaged', '', '', '' WHERE EXISTS (SELECT 1 FROM drives WHERE job_id NOT IN (SELECT id FROM jobs)
UNION ALL SELECT 1 FROM notes WHERE job_id NOT IN (SELECT id FROM jobs) UNION ALL SELECT 1 FROM intakes WHERE job_id NOT IN (SELECT id FROM jobs)
UNION ALL SELECT 1 FROM bench WHERE job_id NOT IN (SELECT id FROM jobs) UNION ALL SELECT 1 FROM verdicts WHERE job_id NOT IN (SELECT id FROM jobs));
INSERT INTO jobs (id, uid, vehicle_id, name, complaint, opened_ns)
SELECT job_id, 'salvaged-job-' || hex(randomblob(10)), (SELECT max(id) FROM vehicles), 'salvaged job', '', min(at) FROM (
SELECT job_id, started_ns AS at FROM drives UNION ALL SELECT job_id, at_ns FROM notes UNION ALL SELECT job_id, at_ns FROM intakes
UNION ALL SELECT job_id, at_ns FROM bench UNION ALL SELECT job_id, at_ns FROM verdicts)
WHERE job_id NOT IN (SELECT id FROM jobs) GROUP BY job_id;`

// salvage reads what can be read of the damaged file into a new one beside it. The damaged file is not touched:
// SQLite would mend it in its own way, so a copy is read.
func (j *Journal) salvage() (found salvaged, err error) {
	ctx := context.Background()
	from, to := j.path+copyMark, j.path+partMark
	if err := copyFile(j.path, from); err != nil {
		return found, err
	}
	if err := copyFile(j.path+"-wal", from+"-wal"); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return found, err
	}
	newDB, into, err := connect(to, "_synchronous=FULL")
	if err != nil {
		return found, err
	}
	if err = migrate(ctx, into, migrations()); err == nil {
		found, err = salvageInto(ctx, into, from, j.path+firstMark)
	}
	if err = errors.Join(err, into.Close(), newDB.Close()); err != nil {
		return found, err
	}
	return found, os.Rename(to, j.path+salvagedMark)
}

func salvageInto(ctx context.Context, into *sql.Conn, from, first string) (found salvaged, err error) {
	oldDB, old, err := connectDamaged(ctx, from, first)
	if err != nil {
		// Nothing of it can be read.
		return found, nil
	}
	defer oldDB.Close()
	defer old.Close()
	err = transaction(ctx, into, func(t tx) error {
		for _, table := range tables() {
			if err := found.table(t, old, table.name); err != nil {
				return err
			}
		}
		if err := t.exec(protocolCodes() + orphans); err != nil {
			return err
		}
		if err := into.QueryRowContext(ctx, "SELECT count(*) FROM jobs").Scan(&found.jobs); err != nil {
			return err
		}
		return into.QueryRowContext(ctx, "SELECT count(*) FROM drives").Scan(&found.drives)
	})
	return found, err
}

// connectDamaged opens a copy of a damaged file, with a new first page, made in another file, when its own is spoilt.
func connectDamaged(ctx context.Context, path, first string) (*sql.DB, *sql.Conn, error) {
	open := func() (*sql.DB, *sql.Conn, error) {
		db, conn, err := connect(path, safe)
		if err != nil {
			return nil, nil, err
		}
		if id, err := identify(ctx, conn); err != nil || id.application != applicationID {
			conn.Close()
			db.Close()
			return nil, nil, errors.Join(err, ErrDamaged)
		}
		return db, conn, nil
	}
	if db, conn, err := open(); err == nil {
		return db, conn, nil
	}
	if err := errors.Join(makeFirst(ctx, first), transplant(path, first)); err != nil {
		return nil, nil, err
	}
	return open()
}

// makeFirst makes a file whose first page alone tells where the tables of a journal begin. That is on the same pages in
// every journal, because all were made by the same statements in the same order, and a version only adds columns; the
// schema's own pages may differ, and are done without: it is written without comments, and what only writing needs is
// left out.
func makeFirst(ctx context.Context, path string) error {
	db, conn, err := connect(path, "_journal_mode=MEMORY")
	if err != nil {
		return err
	}
	bare := regexp.MustCompile(`(?m) *--.*$| REFERENCES \w+ \(id\)( ON DELETE CASCADE)?| NOT NULL`).ReplaceAllString(schema, "")
	bare = regexp.MustCompile(`\s+`).ReplaceAllString(bare, " ")
	_, err = conn.ExecContext(ctx, fmt.Sprintf(`PRAGMA auto_vacuum = INCREMENTAL; %s; PRAGMA application_id = %d; PRAGMA user_version = %d;
		CREATE TEMP TABLE needed AS SELECT * FROM sqlite_schema WHERE type = 'table' OR sql IS NULL;
		PRAGMA writable_schema = ON; DELETE FROM sqlite_schema; INSERT INTO sqlite_schema SELECT * FROM needed`, bare, applicationID, newest))
	return errors.Join(err, conn.Close(), db.Close())
}

// transplant puts the first page of such a file onto a damaged one. The places of the header are those of the
// SQLite file format, "The Database Header".
func transplant(path, first string) error {
	const (
		pageSize                                   = 4096
		writeVersion, readVersion, counter         = 18, 19, 24
		pages, freeTrunk, freePages, validFor      = 28, 32, 36, 92
		writeAhead                            byte = 2
	)
	source, err := os.Open(first)
	if err != nil {
		return err
	}
	defer source.Close()
	page := make([]byte, pageSize)
	if _, err := io.ReadFull(source, page); err != nil {
		return err
	}
	target, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	defer target.Close()
	info, err := target.Stat()
	if err != nil {
		return err
	}
	page[writeVersion], page[readVersion] = writeAhead, writeAhead
	binary.BigEndian.PutUint32(page[pages:], uint32(info.Size()/pageSize))
	binary.BigEndian.PutUint32(page[freeTrunk:], 0)
	binary.BigEndian.PutUint32(page[freePages:], 0)
	copy(page[validFor:validFor+4], page[counter:counter+4])
	_, err = target.WriteAt(page, 0)
	return err
}

// most is how many rows of a table are tried one by one.
const most = 1 << 20

// table copies the rows of a table that can be read: up from its beginning and down from its end as far as that goes,
// and row by row between.
func (s *salvaged) table(t tx, old *sql.Conn, name string) error {
	read := 0
	c := copier{from: old, to: t, put: func(r *copied) error {
		switch _, err := t.insertCopy("INSERT OR IGNORE", r, 0); {
		case err == nil:
			read++
		case kindOf(err) == nil: // the row breaks a rule of the schema: its bytes are spoilt
			s.unreadable++
		default:
			return err
		}
		return nil
	}}
	defer func() { s.rows += read }()
	columns, err := c.common(name)
	if err != nil || len(columns) == 0 || columns[0].name != "id" {
		return nil // the damaged file cannot tell
	}
	low, unread, err := c.rows(name, columns, "ORDER BY id")
	if err != nil || unread == nil {
		return err
	}
	high, _, err := c.rows(name, columns, "WHERE id > ? ORDER BY id DESC", low)
	for id := low + 1; err == nil && id < high && id-low < most; id++ {
		before := read + s.unreadable
		_, unread, err = c.rows(name, columns, "WHERE id = ?", id)
		if unread != nil && read+s.unreadable == before {
			s.unreadable++
		}
	}
	return err
}

func copyFile(from, to string) (err error) {
	source, err := os.Open(from)
	if err != nil {
		return err
	}
	defer source.Close()
	target, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, target.Close()) }()
	_, err = io.Copy(target, source)
	return err
}
