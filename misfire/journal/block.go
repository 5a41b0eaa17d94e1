package journal

import (
	"bytes"
	"compress/gzip"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"math/bits"

	"stumble/obd"
)

// A block is some ten seconds of a drive: one row of samples or exchanges, which can be read by itself. Its data is a
// gzip stream (RFC 1952) of records, one after the other. A block that is still being filled is stored, not compressed,
// and written anew with each save; when it is full it is compressed. Numbers are the varints of encoding/binary: a
// uvarint is base 128, lowest group first, the top bit set on all but the last byte; a varint is the uvarint of the
// number zigzag-coded. Every record begins with
//
//	sent   varint, nanoseconds since 1970-01-01 UTC minus those the record before it was received (0 before the first)
//	took   varint, received minus sent; both wrap around in 64 bits, and -2^63 is "no time"
//
// A sample goes on with
//
//	count  uvarint, how many readings; each:
//	       module id uvarint, module bits 1 byte, service 1 byte, id 1 byte, part 1 byte,
//	       length of unit uvarint, unit, value uvarint: the 8 bytes of the IEEE 754 double in reverse order, since those
//	       of most numbers end in zeros
//
// and an exchange with
//
//	request, answer   each: length uvarint, bytes
//	error             length + 1 as uvarint, text; 0 for none

// form is how the data of a block is written.
type form int

const (
	formPacked form = 0 // by version 1 of the schema; see version1.go
	formZipped form = 1
)

// Limits of what a block may hold. They are far above what a car says, and keep a damaged or hostile block from asking
// for much memory or time.
const (
	mostReadings = 1 << 12 // in a sample
	mostText     = 1 << 20 // bytes of a request, an answer or an error's text
	mostUnit     = 255
	fullBlock    = 1 << 20                // bytes of records: no more are added
	mostBlock    = fullBlock + 4*mostText // bytes of records in any block that was written
)

var errTooLarge = errors.New("larger than a journal can hold")

// appendTimes begins a record; last is when the one before it was received.
func appendTimes(b []byte, last, sent, received int64) []byte {
	return binary.AppendVarint(binary.AppendVarint(b, sent-last), received-sent)
}

func appendText[T string | []byte](b []byte, text T) []byte {
	return append(binary.AppendUvarint(b, uint64(len(text))), text...)
}

// appendSample adds the record of a sample. It is errTooLarge, and b as it was, beyond the limits.
func appendSample(b []byte, last int64, s *obd.Sample) ([]byte, error) {
	if len(s.Readings) > mostReadings {
		return b, errTooLarge
	}
	for i := range s.Readings {
		if len(s.Readings[i].Unit) > mostUnit {
			return b, errTooLarge
		}
	}
	b = appendTimes(b, last, nanoseconds(s.Sent), nanoseconds(s.Received))
	b = binary.AppendUvarint(b, uint64(len(s.Readings)))
	for i := range s.Readings {
		r := &s.Readings[i]
		b = binary.AppendUvarint(b, uint64(r.Module.ID))
		b = append(b, r.Module.Bits, byte(r.Service), r.ID, r.Part)
		b = appendText(b, string(r.Unit))
		b = binary.AppendUvarint(b, bits.ReverseBytes64(math.Float64bits(r.Value)))
	}
	return b, nil
}

// appendExchange adds the record of an exchange, as appendSample does.
func appendExchange(b []byte, last int64, e *obd.Exchange) ([]byte, error) {
	var failed string
	if e.Err != nil {
		failed = e.Err.Error()
	}
	if max(len(e.Request), len(e.Answer), len(failed)) > mostText {
		return b, errTooLarge
	}
	b = appendTimes(b, last, nanoseconds(e.Sent), nanoseconds(e.Received))
	b = appendText(appendText(b, e.Request), e.Answer)
	if e.Err == nil {
		return append(b, 0), nil
	}
	return append(binary.AppendUvarint(b, uint64(len(failed)+1)), failed...), nil
}

// zipper makes the data of blocks. The zero value is ready.
type zipper struct {
	open, full *gzip.Writer
	out        bytes.Buffer
}

// zip is the data of a block with these records.
func (z *zipper) zip(records []byte, full bool) ([]byte, error) {
	to, level := &z.open, gzip.NoCompression
	if full {
		to, level = &z.full, gzip.DefaultCompression
	}
	z.out.Reset()
	if *to == nil {
		w, err := gzip.NewWriterLevel(&z.out, level)
		if err != nil {
			return nil, err
		}
		*to = w
	}
	(*to).Reset(&z.out)
	_, err := (*to).Write(records)
	err = errors.Join(err, (*to).Close())
	return bytes.Clone(z.out.Bytes()), err
}

// damageError says that a block could not be read to its end.
type damageError struct{ why error }

func (e *damageError) Error() string { return fmt.Sprintf("damaged: %v", e.why) }

// Unwrap gives the reason.
func (e *damageError) Unwrap() error { return e.why }

// errLayout is why records whose check is right still cannot be read: no journal wrote them.
var errLayout = errors.New("it does not follow the layout")

// blockReader reads blocks. The zero value is ready; used for one after the other it keeps its memory.
type blockReader struct {
	zipped  *gzip.Reader
	records bytes.Buffer
	units   map[string]obd.Unit
	packed  packedReader
	sample  obd.Sample
}

// samples gives each sample of a block to do. It is good until do returns, and must not be changed. The error is do's,
// or a *damageError when the rest of the block cannot be read.
func (r *blockReader) samples(b *row, do func(*obd.Sample) error) error {
	if b.form == formPacked {
		return r.packed.samples(b.data, r, do)
	}
	return r.each(b, func(c *cursor, sent, received int64) error {
		r.sample.Sent, r.sample.Received = timeOf(sent), timeOf(received)
		if r.sample.Readings = r.readings(c, r.sample.Readings[:0]); c.bad {
			return nil
		}
		return do(&r.sample)
	})
}

// exchanges gives each exchange of a block to do, as samples does. An error that was recorded comes back as its text.
func (r *blockReader) exchanges(b *row, do func(*obd.Exchange) error) error {
	if b.form == formPacked {
		return r.packed.exchanges(b.data, do)
	}
	var e obd.Exchange
	return r.each(b, func(c *cursor, sent, received int64) error {
		e = obd.Exchange{Sent: timeOf(sent), Received: timeOf(received)}
		e.Request, e.Answer = c.bytes(mostText), c.bytes(mostText)
		if failed := c.count(mostText + 1); failed > 0 {
			e.Err = errors.New(string(c.take(failed - 1)))
		}
		if c.bad {
			return nil
		}
		return do(&e)
	})
}

// each gives the times of each record of a block to read, which reads the rest of it.
func (r *blockReader) each(b *row, read func(c *cursor, sent, received int64) error) error {
	records, err := r.unzip(b)
	if err != nil {
		return &damageError{err}
	}
	c := cursor{data: records}
	for last := int64(0); len(c.data) > 0; {
		sent := last + c.varint()
		last = sent + c.varint()
		if err := read(&c, sent, last); err != nil {
			return err
		}
		if c.bad {
			return &damageError{errLayout}
		}
	}
	return nil
}

// unzip gives the records of a block once its check sum is found right: nothing is told from one that is spoilt.
func (r *blockReader) unzip(b *row) (records []byte, err error) {
	if b.form != formZipped {
		return nil, fmt.Errorf("its form %d is not known", b.form)
	}
	source := bytes.NewReader(b.data)
	if r.zipped == nil {
		r.zipped, err = gzip.NewReader(source)
	} else {
		err = r.zipped.Reset(source)
	}
	if err != nil {
		r.zipped = nil
		return nil, err
	}
	r.records.Reset()
	if _, err := r.records.ReadFrom(io.LimitReader(r.zipped, mostBlock+1)); err != nil {
		return nil, err
	}
	if r.records.Len() > mostBlock {
		return nil, errLayout
	}
	return r.records.Bytes(), nil
}

// leastReading is how many bytes a reading takes at least.
const leastReading = 7

func (r *blockReader) readings(c *cursor, to []obd.Reading) []obd.Reading {
	n := c.count(mostReadings)
	if n > len(c.data)/leastReading {
		c.fail()
		return to
	}
	for range n {
		to = append(to, r.what(c))
		to[len(to)-1].Value = math.Float64frombits(bits.ReverseBytes64(c.uvarint()))
	}
	return to
}

// what reads which value a reading is, and in which unit.
func (r *blockReader) what(c *cursor) obd.Reading {
	id := c.count(math.MaxUint32)
	head := c.take(4)
	unit := c.bytes(mostUnit)
	if c.bad {
		return obd.Reading{}
	}
	return obd.Reading{
		Module:  obd.Module{ID: uint32(id), Bits: head[0]},
		Service: obd.Service(head[1]), ID: head[2], Part: head[3], Unit: r.unit(unit),
	}
}

// unit keeps one string for each unit.
func (r *blockReader) unit(text []byte) obd.Unit {
	if u, ok := r.units[string(text)]; ok {
		return u
	}
	if r.units == nil || len(r.units) > 256 {
		r.units = make(map[string]obd.Unit)
	}
	u := obd.Unit(text)
	r.units[string(u)] = u
	return u
}

// cursor reads records. Its first failure sticks: bad is true from then on and every value is zero.
type cursor struct {
	data []byte
	bad  bool
}

func (c *cursor) fail() { c.data, c.bad = nil, true }

func (c *cursor) uvarint() uint64 {
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

// bytes is a length of at most limit and as many bytes.
func (c *cursor) bytes(limit int) []byte { return c.take(c.count(limit)) }

func (c *cursor) take(n int) []byte {
	if n > len(c.data) {
		c.fail()
		return nil
	}
	b := c.data[:n:n]
	c.data = c.data[n:]
	return b
}
