package frame

import (
	"errors"
	"fmt"

	"stumble/obd"
)

// What can be wrong with a line or a message. They come wrapped in a *LineError or a *MessageError.
var (
	ErrNotHex        = errors.New("not hexadecimal")
	ErrDigits        = errors.New("the number of digits does not fit: characters were lost")
	ErrFlagged       = errors.New("the adapter marked it as damaged")
	ErrShort         = errors.New("too short")
	ErrLong          = errors.New("too long")
	ErrHeader        = errors.New("not a header of this protocol")
	ErrLength        = errors.New("impossible length")
	ErrChecksum      = errors.New("checksum does not match")
	ErrFrameType     = errors.New("not a frame type of ISO 15765-2")
	ErrOrphan        = errors.New("a continuation without a beginning")
	ErrFull          = errors.New("more than one exchange may hold")
	ErrMissing       = errors.New("frames are missing")
	ErrContradiction = errors.New("frames contradict each other")
	ErrAmbiguous     = errors.New("answers of several modules are mixed and headers are off")
	ErrProtocol      = errors.New("headers cannot be read before the protocol is known")
)

// LineError says what is wrong with one adapter line. That line was left out; the others still count.
type LineError struct {
	Line string // the line as printed, cut to a readable length
	Err  error
}

func (e *LineError) Error() string { return fmt.Sprintf("adapter line %q: %v", e.Line, e.Err) }

// Unwrap gives one of the errors above.
func (e *LineError) Unwrap() error { return e.Err }

// MessageError says why a message of several frames was withheld.
type MessageError struct {
	Module obd.Module
	Size   int // bytes the message was to have
	Frames int // frames it was to have
	Seen   int // frames that came
	Err    error
}

func (e *MessageError) Error() string {
	return fmt.Sprintf("message of %d bytes from module %v: %v (%d of %d frames seen)",
		e.Size, e.Module, e.Err, e.Seen, e.Frames)
}

// Unwrap gives one of the errors above.
func (e *MessageError) Unwrap() error { return e.Err }

// excerpt is the beginning of a line, for an error to show.
func excerpt(line []byte) string {
	const most = 48
	if len(line) > most {
		return string(line[:most]) + "..."
	}
	return string(line)
}
