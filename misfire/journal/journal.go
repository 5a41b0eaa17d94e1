package journal

import (
	"context"
	"crypto/rand"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"sync"
	"time"

	_ "modernc.org/sqlite" // registers the driver
)

// Options tune a journal; the zero value is right outside tests.
type Options struct {
	// Patience is how long to wait for another program that is writing; 0 is five seconds.
	Patience time.Duration
	// Memory is how many bytes of a drive are kept while they cannot be saved; 0 is 32 MiB, some hours.
	Memory int
	// Existing refuses to begin a journal: a file that is not there is an error (ErrAbsent). It is for who only reads.
	Existing bool
}

// Journal is the one file that holds a shop's evidence. It may be used by several goroutines, and its file by
// several programs at once.
type Journal struct {
	path string
	opts Options

	mu      sync.Mutex // guards what follows; held while writing
	db      *sql.DB
	conn    *sql.Conn // nil while the file cannot be written
	file    os.FileInfo
	closed  bool
	notices []Notice

	reading sync.Mutex
	readers *sql.DB

	recording sync.Mutex
	recorders map[*Recorder]struct{}
}

// NoticeKind is what a notice is about.
type NoticeKind string

// The kinds of notices.
const (
	NoticeInterrupted NoticeKind = "interrupted" // Drive was never ended
	NoticeSetAside    NoticeKind = "set_aside"   // the file at Path was damaged, and is kept as Aside
	NoticeTrouble     NoticeKind = "trouble"     // nothing can be saved for now: Err
)

// Notice is something the user must be told about the journal.
type Notice struct {
	Kind NoticeKind
	Err  error // of NoticeTrouble

	// What is saved of an interrupted drive.
	Drive, Job         int64
	Vehicle            string
	Length             time.Duration
	Samples, Exchanges int

	// What was salvaged from a damaged file, and how many rows that are known to have been there were not.
	Path, Aside             string
	Jobs, Drives, Rows, Bad int
}

// Open opens the journal at path, or begins one there, with the folders above it. A file that is damaged is set
// aside as path.damaged-1 (or the next free number) and what can be read of it is saved into a new one; drives that
// a crash cut off are closed. The notices tell of it.
//
// When the file cannot be written for now (full disk, read-only folder, locked by another program) the journal is
// returned all the same, a notice says why, and it is tried again whenever there is something to save; what is
// there can be read if it can be opened at all. An error is what waiting does not cure: the file is another
// program's (ErrForeign) or a newer version's (ErrNewer), path is a folder, or nothing is there to be read (ErrAbsent).
func Open(path string, opts Options) (*Journal, []Notice, error) {
	full, err := filepath.Abs(path)
	if err != nil {
		return nil, nil, fmt.Errorf("journal %s: %w", path, err)
	}
	if info, err := os.Stat(full); err == nil && !info.Mode().IsRegular() {
		return nil, nil, fmt.Errorf("journal %s is not a file: name a file with --journal", path)
	}
	if opts.Patience <= 0 {
		opts.Patience = 5 * time.Second
	}
	if opts.Memory <= 0 {
		opts.Memory = 32 << 20
	}
	j := &Journal{path: full, opts: opts, recorders: make(map[*Recorder]struct{})}
	j.mu.Lock()
	defer j.mu.Unlock()
	if err := j.ready(); err != nil {
		if errors.Is(err, ErrNewer) || errors.Is(err, ErrForeign) || opts.Existing && errors.Is(err, ErrAbsent) {
			return nil, nil, err
		}
		j.note(Notice{Kind: NoticeTrouble, Err: err})
	}
	return j, j.takeNotices(), nil
}

// Path is the journal's file.
func (j *Journal) Path() string { return j.path }

// Notices gives what happened since Open or the last call, such as a file that was set aside in the middle of a
// drive.
func (j *Journal) Notices() []Notice {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.takeNotices()
}

func (j *Journal) note(n Notice) { j.notices = append(j.notices, n) }

func (j *Journal) takeNotices() []Notice {
	n := j.notices
	j.notices = nil
	return n
}

// Close saves what drives still hold in memory and closes the file. Drives that were not finished stay so: the
// next Open calls them interrupted. The error is what could not be saved.
func (j *Journal) Close() error {
	var failed []error
	for _, r := range j.active() {
		failed = append(failed, r.abandon())
	}
	j.closeReaders()
	j.mu.Lock()
	defer j.mu.Unlock()
	j.closed = true
	return errors.Join(append(failed, j.drop())...)
}

// ready makes sure that the file can be written. j.mu is held.
func (j *Journal) ready() error {
	if j.closed {
		return &Error{Path: j.path, Kind: ErrClosed}
	}
	if j.conn != nil {
		if j.unmoved() {
			return nil
		}
		j.drop()
		j.note(Notice{Kind: NoticeTrouble, Err: &Error{Path: j.path, Kind: ErrMoved}})
	}
	err := j.open()
	if errors.Is(j.trouble(err), ErrDamaged) {
		if err = j.setAside(); err == nil {
			err = j.open()
		}
	}
	if err != nil {
		j.drop()
		return j.trouble(err)
	}
	if err := j.closeInterrupted(); err != nil {
		j.drop()
		return err
	}
	return nil
}

// unmoved reports whether the open file is still the one at path: SQLite would go on writing to a deleted one.
func (j *Journal) unmoved() bool {
	now, err := os.Stat(j.path)
	return err == nil && os.SameFile(now, j.file)
}

// open connects, checks the file and brings it up to date.
func (j *Journal) open() error {
	if err := j.begin(); err != nil {
		return err
	}
	db, conn, err := connect(j.path, j.writing())
	if err != nil {
		return err
	}
	j.db, j.conn = db, conn
	if err := j.prepare(); err != nil {
		j.drop()
		return err
	}
	j.file, err = os.Stat(j.path)
	return err
}

// begin makes sure that there is a file, which none but its owner may read. SQLite gives its other files the same rights.
func (j *Journal) begin() error {
	if !j.opts.Existing {
		if err := os.MkdirAll(filepath.Dir(j.path), 0o700); err != nil {
			return err
		}
	}
	if err := j.adoptSalvaged(); err != nil {
		return err
	}
	if j.opts.Existing {
		_, err := os.Stat(j.path)
		return err
	}
	file, err := os.OpenFile(j.path, os.O_CREATE|os.O_RDONLY, 0o600)
	if err != nil {
		return err
	}
	return file.Close()
}

func (j *Journal) prepare() error {
	ctx := context.Background()
	id, err := identify(ctx, j.conn)
	if err != nil {
		return err
	}
	switch {
	case id.tables > 0 && id.application != applicationID:
		return &Error{Path: j.path, Kind: ErrForeign}
	case id.version > newest:
		return &Error{Path: j.path, Kind: ErrNewer}
	}
	if id.version > 0 {
		if err := j.examine(ctx); err != nil {
			return err
		}
	}
	if err := migrate(ctx, j.conn, migrations()); err != nil {
		return err
	}
	if err := walMode(ctx, j.conn); err != nil {
		return err
	}
	// SQLite opens what may not be written for reading and says so only now.
	return transaction(ctx, j.conn, func(tx) error { return nil })
}

// walMode turns the write-ahead log on. SQLite does not wait for a lock here, so another program that does the same
// at this moment is waited for with a transaction, which does.
func walMode(ctx context.Context, conn *sql.Conn) error {
	const most = 10
	var err error
	for range most {
		var mode string
		if err = conn.QueryRowContext(ctx, "PRAGMA journal_mode = WAL").Scan(&mode); kindOf(err) != ErrBusy {
			return err
		}
		if err = transaction(ctx, conn, func(tx) error { return nil }); err != nil {
			return err
		}
	}
	return err
}

// drop closes the connection for writing.
func (j *Journal) drop() error {
	if j.conn == nil {
		return nil
	}
	err := errors.Join(j.conn.Close(), j.db.Close())
	j.conn, j.db = nil, nil
	return err
}

// write does a transaction. After a failure of the file the connection is made anew next time: the disk may have
// been changed, the file set aside.
func (j *Journal) write(do func(tx) error) error {
	j.mu.Lock()
	defer j.mu.Unlock()
	if err := j.ready(); err != nil {
		return err
	}
	err := j.trouble(transaction(context.Background(), j.conn, do))
	var trouble *Error
	if errors.As(err, &trouble) {
		j.suspect(err)
		j.drop()
	}
	return err
}

// reader is the pool for reading, which never waits for a writer.
func (j *Journal) reader() (*sql.DB, error) {
	j.reading.Lock()
	defer j.reading.Unlock()
	if j.readers != nil {
		return j.readers, nil
	}
	if _, err := os.Stat(j.path); err != nil {
		return nil, j.trouble(err)
	}
	for _, how := range []string{"mode=ro", "mode=ro&immutable=1"} { // the second for a read-only disk
		db, conn, err := connect(j.path, how+"&_busy_timeout="+millis(j.opts.Patience)+safe)
		if err != nil {
			return nil, j.trouble(err)
		}
		id, err := identify(context.Background(), conn)
		conn.Close()
		switch {
		case err == nil && id.application == applicationID && id.version > 0 && id.version <= newest:
			j.readers = db
			return db, nil
		case err == nil:
			err = &Error{Path: j.path, Kind: ErrReadOnly, Cause: errors.New("it is no journal yet")}
		}
		db.Close()
		if err = j.trouble(err); !errors.Is(err, ErrReadOnly) || how != "mode=ro" {
			return nil, err
		}
	}
	return nil, &Error{Path: j.path, Kind: ErrReadOnly}
}

func (j *Journal) closeReaders() {
	j.reading.Lock()
	defer j.reading.Unlock()
	if j.readers != nil {
		j.readers.Close()
		j.readers = nil
	}
}

// safe are the settings for files that anybody may have touched: nothing in their schema is run.
const safe = "&_dqs=0&_defensive=1&_pragma=trusted_schema(0)&_pragma=cell_size_check(1)"

// writing are the settings of the writing connection. A commit is on the disk before the next one begins: a pulled
// plug loses no more than a killed program.
func (j *Journal) writing() string {
	return "_busy_timeout=" + millis(j.opts.Patience) + "&_foreign_keys=1&_synchronous=FULL&_pragma=journal_size_limit(4194304)" + safe
}

func millis(d time.Duration) string { return fmt.Sprint(d.Milliseconds()) }

// connect opens a file of SQLite with one connection in hand.
func connect(path, settings string) (*sql.DB, *sql.Conn, error) {
	name := (&url.URL{Scheme: "file", OmitHost: true, Path: filepath.ToSlash(path)}).String()
	db, err := sql.Open("sqlite", name+"?"+settings)
	if err != nil {
		return nil, nil, err
	}
	conn, err := db.Conn(context.Background())
	if err != nil {
		db.Close()
		return nil, nil, err
	}
	return db, conn, nil
}

// tx is a transaction on the writing connection.
type tx struct {
	ctx  context.Context
	conn *sql.Conn
}

func transaction(ctx context.Context, conn *sql.Conn, do func(tx) error) error {
	t := tx{ctx, conn}
	if err := t.exec("BEGIN IMMEDIATE"); err != nil {
		return err
	}
	err := do(t)
	if err == nil {
		err = t.exec("COMMIT")
	}
	if err != nil {
		// SQLite may have rolled back by itself; then this fails, and rightly so.
		_ = t.exec("ROLLBACK")
	}
	return err
}

func (t tx) exec(query string, args ...any) error {
	_, err := t.conn.ExecContext(t.ctx, query, args...)
	return err
}

// insert is exec that gives the id of the new row.
func (t tx) insert(query string, args ...any) (int64, error) {
	result, err := t.conn.ExecContext(t.ctx, query, args...)
	if err != nil {
		return 0, err
	}
	return result.LastInsertId()
}

// id finds one id; 0 when there is none.
func (t tx) id(query string, args ...any) (int64, error) {
	var id int64
	err := t.conn.QueryRowContext(t.ctx, query, args...).Scan(&id)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, nil
	}
	return id, err
}

// newUID names a row for good.
func newUID() string { return rand.Text() }
