package journal

import (
	"context"
	"database/sql"
	"errors"
)

// Disconnect closes the file with all in it, as after an error of the disk, for tests that spoil it then.
func (j *Journal) Disconnect() error {
	j.mu.Lock()
	defer j.mu.Unlock()
	if _, err := j.conn.ExecContext(context.Background(), "PRAGMA wal_checkpoint(TRUNCATE)"); err != nil {
		return err
	}
	return j.drop()
}

// Save saves what is ready, in the caller's goroutine.
func (r *Recorder) Save() error { return r.save() }

// The limits of what a block may hold.
const (
	MostReadings = mostReadings
	MostText     = mostText
)

// Settings reads back how the connections for writing and reading are set.
func (j *Journal) Settings() (writing, reading map[string]string, err error) {
	db, err := j.reader()
	if err != nil {
		return nil, nil, err
	}
	read := func(from interface {
		QueryRowContext(context.Context, string, ...any) *sql.Row
	}) map[string]string {
		found := make(map[string]string)
		for _, name := range []string{"synchronous", "journal_mode", "foreign_keys", "trusted_schema", "cell_size_check",
			"secure_delete", "journal_size_limit", "busy_timeout", "auto_vacuum"} {
			var value string
			err = errors.Join(err, from.QueryRowContext(context.Background(), "PRAGMA "+name).Scan(&value))
			found[name] = value
		}
		return found
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	return read(j.conn), read(db), err
}
