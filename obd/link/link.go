// Package link carries bytes to and from an adapter: a serial port or a TCP connection. It knows nothing
// of what the bytes mean.
package link

import (
	"errors"
	"io"
	"time"
)

// Link is a byte stream to an adapter. The contract, which package linktest holds every link to:
//
//   - Read gives at least one byte or an error, never zero bytes and no error.
//   - After the deadline Read gives os.ErrDeadlineExceeded (nothing read is lost; a later deadline lets it go
//     on). The zero time means no deadline. A deadline may be moved from another goroutine; a Read under way
//     heeds it within a tenth of a second.
//   - One goroutine reads and one writes at a time.
//   - Close may be called from anywhere and more than once; it makes a Read and a Write under way return.
//     After it every call gives an error that is net.ErrClosed.
//   - A device that went away while open gives an error that is ErrGone.
//
// Deadlines are times of the clock the link was opened with.
type Link interface {
	io.ReadWriteCloser
	SetReadDeadline(t time.Time) error
}

// ErrGone says that the other end went away: the plug was pulled, the connection was reset.
var ErrGone = errors.New("the adapter went away")
