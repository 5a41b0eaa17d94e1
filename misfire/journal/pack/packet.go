package pack

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"math"
	"time"
)

// Limits of what is packed. They are far above what a car says and keep a damaged or hostile block from asking
// for much memory or time.
const (
	MaxReadings = 1 << 12 // readings in a sample
	MaxText     = 1 << 20 // bytes of a request, an answer or an error's text
	maxUnit     = 255
	maxAnswers  = 16 << 20 // bytes of all answers of a block, unpacked
	fullPacked  = 64 << 10 // a block of this size is full
	fullAnswers = 4 << 20  // so is one whose answers are this long, unpacked
)

// ErrTooLarge says that a sample or exchange is beyond the limits and was not packed.
var ErrTooLarge = errors.New("larger than a journal can hold")

// errDamaged is why a payload whose check is right still cannot be read: it was not written by this package.
var errDamaged = errors.New("does not follow the layout")

// DamageError says that a block could not be read to its end. What came before was right and has been given out.
type DamageError struct {
	Offset int // of the packet that cannot be read
	Why    error
}

func (e *DamageError) Error() string {
	return fmt.Sprintf("damaged from byte %d on: %v", e.Offset, e.Why)
}

// Unwrap gives the reason.
func (e *DamageError) Unwrap() error { return e.Why }

// noTime stands for the zero time; lastSecond and its opposite bound the times that can be told.
const (
	noTime     = math.MinInt64
	lastSecond = math.MaxInt64/int64(time.Second) - 1
)

// Nanoseconds is a time as it is stored. The zero time is -2^63; so is any time that nanoseconds since 1970 cannot
// hold in 64 bits, before 1677-09-22 or after 2262-04-10.
func Nanoseconds(t time.Time) int64 {
	if s := t.Unix(); s < -lastSecond || s > lastSecond {
		return noTime
	}
	return t.UnixNano()
}

// Time is the time of Nanoseconds, in UTC; the zero time for numbers that it does not give.
func Time(ns int64) time.Time {
	if ns < -lastSecond*int64(time.Second) || ns >= (lastSecond+1)*int64(time.Second) {
		return time.Time{}
	}
	return time.Unix(0, ns).UTC()
}

// sealed is a block being written: whole packets, and the payload of the one that is open.
type sealed struct {
	data, open []byte
	last       int64 // when the last record was received
}

// Seal ends the open packet and returns the block so far. The bytes returned are never written to again, so they
// may be handed to another goroutine; more may follow them in the block.
func (b *sealed) Seal() []byte {
	if len(b.open) > 0 {
		if b.data == nil {
			b.data = make([]byte, 0, 16<<10)
		}
		b.data = binary.AppendUvarint(b.data, uint64(len(b.open)))
		b.data = binary.LittleEndian.AppendUint32(b.data, crc32.Checksum(b.open, castagnoli()))
		b.data = append(b.data, b.open...)
		b.open = b.open[:0]
	}
	return b.data[:len(b.data):len(b.data)]
}

// size is the length of the block when sealed, but for a few bytes.
func (b *sealed) size() int { return len(b.data) + len(b.open) }

func (b *sealed) begin() { b.data, b.open, b.last = nil, b.open[:0], 0 }

func (b *sealed) times(sent, received time.Time) {
	s, r := Nanoseconds(sent), Nanoseconds(received)
	b.open = binary.AppendVarint(b.open, s-b.last)
	b.open = binary.AppendVarint(b.open, r-s)
	b.last = r
}

// castagnoli is the table that crc32 keeps for the processor's own instruction.
func castagnoli() *crc32.Table { return crc32.MakeTable(crc32.Castagnoli) }

// packets gives the payloads of a block one after the other to read, until the end, damage, or read's error.
// An error of read that is errDamaged is damage.
func packets(block []byte, read func(payload []byte) error) error {
	table := castagnoli()
	for at := 0; at < len(block); {
		n, used := binary.Uvarint(block[at:])
		start := at + used + 4
		if used <= 0 || start > len(block) || n > uint64(len(block)-start) {
			return &DamageError{Offset: at, Why: errors.New("cut short")}
		}
		payload := block[start : start+int(n)]
		if crc32.Checksum(payload, table) != binary.LittleEndian.Uint32(block[start-4:]) {
			return &DamageError{Offset: at, Why: errors.New("its check sum is wrong")}
		}
		if err := read(payload); err != nil {
			if errors.Is(err, errDamaged) {
				return &DamageError{Offset: at, Why: err}
			}
			return err
		}
		at = start + int(n)
	}
	return nil
}

// cursor reads a payload. Its first failure sticks: bad is true from then on and every value is zero.
type cursor struct {
	data []byte
	bad  bool
}

func (c *cursor) fail() {
	c.data, c.bad = nil, true
}

func (c *cursor) uvarint() uint64 {
	if len(c.data) > 0 && c.data[0] < 0x80 {
		v := uint64(c.data[0])
		c.data = c.data[1:]
		return v
	}
	v, n := binary.Uvarint(c.data)
	if n <= 0 {
		c.fail()
		return 0
	}
	c.data = c.data[n:]
	return v
}

func (c *cursor) varint() int64 {
	v := c.uvarint()
	return int64(v>>1) ^ -int64(v&1)
}

// count is a uvarint that may be at most limit.
func (c *cursor) count(limit int) int {
	v := c.uvarint()
	if v > uint64(limit) {
		c.fail()
		return 0
	}
	return int(v)
}

// bytes is a length of at most limit and as many bytes of the payload.
func (c *cursor) bytes(limit int) []byte { return c.take(c.count(limit)) }

func (c *cursor) take(n int) []byte {
	if n > len(c.data) {
		c.fail()
		return nil
	}
	b := c.data[:n]
	c.data = c.data[n:]
	return b
}
