package frame

import (
	"bytes"
	"errors"

	"stumble/obd"
)

// Format is how the adapter prints.
type Format struct {
	Protocol obd.Protocol
	Headers  bool // AT H1: identifier or header first, and all bytes of the frame
}

// What one exchange may hold. The longest real answers (on-board test results of several modules) stay far
// below; a babbling or hostile adapter is cut off here.
const (
	maxLine   = 264     // bytes printed on one line; ISO 14230-2 allows 4 + 255 + 1
	maxParts  = 1024    // messages
	maxData   = 1 << 16 // bytes of all messages
	maxFilled = 16      // kinds of padding remembered from one exchange to the next: two for each of eight modules
)

// Assembler collects the lines of one exchange. Its buffers are used again, so that a running poll does
// not allocate. It is not safe for use by several goroutines.
//
// Frames of one module are taken to follow their first frame, as the bus sends them; within a message they
// may be out of order. A consecutive frame before any first frame is a left-over of an earlier exchange and
// is refused: put into the new message it could make a wrong value.
type Assembler struct {
	format Format
	digits [2 * maxLine]byte // hexadecimal digits of the line in hand, as numbers
	bytes  [maxLine]byte
	data   []byte
	parts  []part
	out    []obd.Message
	filled []filled // what was learnt of modules, beyond Reset
}

// Reset forgets the lines and begins a new exchange. What stays is which modules fill their frames up.
func (a *Assembler) Reset(f Format) {
	a.format = f
	a.data = a.data[:0]
	a.parts = a.parts[:0]
	a.out = a.out[:0]
}

// Line takes in one adapter line. Spaces, case and the line's end do not matter; an empty line is nothing.
// An error is a *LineError and concerns that line only.
func (a *Assembler) Line(line []byte) error {
	if err := a.take(line); err != nil {
		return &LineError{Line: excerpt(bytes.TrimSpace(line)), Err: err}
	}
	return nil
}

// Messages returns the whole messages by order of their first frames, and a joined *MessageError for each
// that stayed incomplete or contradicted itself. The messages are good until the next Reset or Messages.
func (a *Assembler) Messages() ([]obd.Message, error) {
	a.out = a.out[:0]
	var errs []error
	for i := range a.parts {
		p := &a.parts[i]
		if !p.whole() {
			errs = append(errs, messageError(p))
			continue
		}
		end := p.at + p.size
		a.out = append(a.out, obd.Message{Module: p.module, Data: a.data[p.at:end:end]})
	}
	return a.out, errors.Join(errs...)
}

func messageError(p *part) error {
	e := &MessageError{Module: p.module, Size: p.size, Frames: p.frames, Seen: p.frames - p.missing, Err: p.err}
	if e.Err == nil {
		e.Err = ErrMissing
	}
	return e
}

func (a *Assembler) take(line []byte) error {
	if bytes.IndexByte(line, '<') >= 0 {
		return ErrFlagged
	}
	digits, number, err := a.scan(line)
	if err != nil {
		return err
	}
	switch {
	case len(digits) == 0 && number < 0:
		return nil
	case !a.format.Headers:
		return a.bare(digits, number)
	case a.format.Protocol.CAN():
		return a.can(digits)
	case a.format.Protocol == obd.ProtocolUnknown:
		return ErrProtocol
	}
	return a.legacy(digits)
}

// begin adds an empty message of a given size.
func (a *Assembler) begin(module obd.Module, size int) (*part, error) {
	if len(a.parts) == maxParts || len(a.data)+size > maxData {
		return nil, ErrFull
	}
	at := len(a.data)
	a.data = append(a.data, make([]byte, size)...)
	a.parts = append(a.parts, part{module: module, at: at, size: size})
	return &a.parts[len(a.parts)-1], nil
}

// add takes in a message that came in one piece.
func (a *Assembler) add(module obd.Module, data []byte) error {
	p, err := a.begin(module, len(data))
	if err != nil {
		return err
	}
	copy(a.message(p), data)
	return nil
}

// beginSplit adds a message that will come in several frames.
func (a *Assembler) beginSplit(module obd.Module, size int) (*part, error) {
	p, err := a.begin(module, size)
	if err != nil {
		return nil, err
	}
	p.split = true
	p.frames = 1 + (size-firstBytes+nextBytes-1)/nextBytes
	p.restart()
	return p, nil
}

// lastSplit is the module's latest message of several frames, or nil.
func (a *Assembler) lastSplit(module obd.Module) *part {
	for i := len(a.parts) - 1; i >= 0; i-- {
		if p := &a.parts[i]; p.split && p.module == module {
			return p
		}
	}
	return nil
}

func (a *Assembler) message(p *part) []byte { return a.data[p.at : p.at+p.size] }
