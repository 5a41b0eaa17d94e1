package journal

import (
	"errors"
	"fmt"
	"io/fs"
	"syscall"

	"modernc.org/sqlite"
	lib "modernc.org/sqlite/lib"
)

// Kinds of trouble with the file, for errors.Is.
var (
	ErrFull     = errors.New("the disk is full")
	ErrReadOnly = errors.New("it may not be written")
	ErrBusy     = errors.New("another program holds it")
	ErrDamaged  = errors.New("the file is damaged")
	ErrMoved    = errors.New("the file was moved or deleted")
	ErrAbsent   = errors.New("there is no such file or folder")
	ErrDisk     = errors.New("the disk or the folder cannot be used")
	ErrClosed   = errors.New("it was closed")
)

// Errors that waiting does not cure.
var (
	ErrNewer   = errors.New("it was written by a newer version of the program")
	ErrForeign = errors.New("it is the file of another program")
	ErrUnknown = errors.New("not in the journal")
)

// Error says what is wrong with the journal's file and what to do about it.
type Error struct {
	Path  string
	Kind  error // one of those above
	Cause error // what the system said; may be nil
}

func (e *Error) Error() string {
	if hint := e.hint(); hint != "" {
		return fmt.Sprintf("journal %s: %v; %s", e.Path, e.Kind, hint)
	}
	return fmt.Sprintf("journal %s: %v; check the disk (%v)", e.Path, e.Kind, e.Cause)
}

// Unwrap gives the kind and the cause.
func (e *Error) Unwrap() []error { return []error{e.Kind, e.Cause} }

func (e *Error) hint() string {
	switch e.Kind {
	case ErrFull:
		return "make room on it: saving goes on by itself"
	case ErrReadOnly:
		return "allow writing to it and its folder, or name another file with --journal"
	case ErrBusy:
		return "end that program, or wait: saving goes on by itself"
	case ErrDamaged:
		return "start again: then it is set aside, and what can be read of it is saved into a new one"
	case ErrAbsent:
		return "name the right one with --journal, or begin one with an intake or a drive"
	case ErrMoved:
		return "a new one is begun in its place"
	case ErrNewer:
		return "use that version, or name another file with --journal"
	case ErrForeign:
		return "name another file with --journal"
	case ErrClosed:
		return "open it again"
	}
	return ""
}

// trouble puts an error of SQLite or the system into a kind. Other errors, and nil, stay as they are.
func (j *Journal) trouble(err error) error {
	var known *Error
	if err == nil || errors.As(err, &known) {
		return err
	}
	if kind := kindOf(err); kind != nil {
		return &Error{Path: j.path, Kind: kind, Cause: err}
	}
	return err
}

func kindOf(err error) error {
	var failed *sqlite.Error
	if errors.As(err, &failed) {
		return kindOfCode(failed.Code())
	}
	switch {
	case errors.Is(err, syscall.ENOSPC):
		return ErrFull
	case errors.Is(err, fs.ErrPermission), errors.Is(err, syscall.EROFS):
		return ErrReadOnly
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, syscall.ENOTDIR):
		return ErrAbsent
	case isPathError(err):
		return ErrDisk
	}
	return nil
}

func isPathError(err error) bool {
	var path *fs.PathError
	return errors.As(err, &path)
}

func kindOfCode(code int) error {
	if code == lib.SQLITE_IOERR_SHMSIZE { // the index of the log could not be made larger
		return ErrFull
	}
	switch code & 0xff {
	case lib.SQLITE_FULL:
		return ErrFull
	case lib.SQLITE_READONLY, lib.SQLITE_PERM, lib.SQLITE_CANTOPEN, lib.SQLITE_AUTH:
		return ErrReadOnly
	case lib.SQLITE_BUSY, lib.SQLITE_LOCKED:
		return ErrBusy
	case lib.SQLITE_CORRUPT, lib.SQLITE_NOTADB:
		return ErrDamaged
	case lib.SQLITE_IOERR, lib.SQLITE_NOLFS, lib.SQLITE_PROTOCOL:
		return ErrDisk
	}
	return nil
}

// unknown says that a row that the user named is not there.
func unknown(what string, id int64) error {
	return fmt.Errorf("%s %d is %w: list the jobs to see which are", what, id, ErrUnknown)
}
