package journal

import "context"

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
