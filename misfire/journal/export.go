package journal

import (
	"context"
	"database/sql"
	"errors"
	"io"
	"os"
	"path/filepath"
)

// ExportJob writes a job with all under it to w, for ImportJob on another computer: a journal file with this one job
// in it. A job with a drive that is being recorded is refused.
func (j *Journal) ExportJob(id int64, w io.Writer) (err error) {
	if _, err := j.Job(id); err != nil {
		return err
	}
	db, err := j.reader()
	if err != nil {
		return err
	}
	ctx := context.Background()
	t, err := db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true}) // one state of the file, whoever writes meanwhile
	if err != nil {
		return j.readFailed(err)
	}
	defer func() { _ = t.Rollback() }()
	var recording int64
	err = t.QueryRowContext(ctx, "SELECT id FROM drives WHERE job_id = ? AND state = 'recording'", id).Scan(&recording)
	if !errors.Is(err, sql.ErrNoRows) {
		return j.readFailed(recordingError(err, recording))
	}
	return inFolder(func(folder string) error {
		path := filepath.Join(folder, "job.db")
		if err := j.exportTo(ctx, path, t, id); err != nil {
			return err
		}
		file, err := os.Open(path)
		if err != nil {
			return err
		}
		defer file.Close()
		_, err = io.Copy(w, file)
		return err
	})
}

// exportTo copies a job into a new file. Nobody else knows of that yet, so it needs no care for crashes.
func (j *Journal) exportTo(ctx context.Context, path string, from querier, job int64) error {
	db, conn, err := connect(path, "_journal_mode=MEMORY&_synchronous=OFF&_foreign_keys=1")
	if err != nil {
		return err
	}
	if err = migrate(ctx, conn, migrations()); err == nil {
		err = transaction(ctx, conn, func(t tx) error {
			c := copier{from: from, to: t, put: func(r *copied) error {
				_, err := t.insertCopy("INSERT", r, 0)
				return err
			}}
			for _, table := range tables() {
				columns, err := c.common(table.name)
				if err != nil {
					return j.readFailed(err)
				}
				if len(columns) == 0 { // a journal of an earlier version that cannot be written
					continue
				}
				_, unread, err := c.rows(table.name, columns, "WHERE "+table.ofJob+" ORDER BY id", job)
				if unread != nil || err != nil {
					return errors.Join(j.readFailed(unread), err)
				}
			}
			return t.exec(protocolCodes()) // for a journal of version 1 that cannot be written
		})
	}
	return errors.Join(err, conn.Close(), db.Close())
}

// inFolder does something in a folder of its own, which is removed afterwards.
func inFolder(do func(folder string) error) error {
	folder, err := os.MkdirTemp("", "stumble-job-")
	if err != nil {
		return err
	}
	return errors.Join(do(folder), os.RemoveAll(folder))
}
