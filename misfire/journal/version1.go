package journal

import (
	"encoding/binary"
	"errors"
	"hash/crc32"
	"math"
	"math/bits"

	"stumble/obd"
)

// What version 1 of the schema wrote otherwise than the newest. Blocks of samples and exchanges that it packed stay as
// they are, and are read here: to write all drives of a shop anew would take minutes and as much room again, and could
// only lose. A block of version 1 is a row of packets, each
//
//	length  uvarint, bytes of payload
//	check   4 bytes, little-endian, CRC-32C (Castagnoli) of the payload
//	payload records, one after the other, each with a tag (uvarint) before it; a record never crosses packets
//
// What a record defines or leaves behind as "the last" holds to the end of the block. Times are as in block.go.
//
//	samples    tag 0   a shape, numbered from 1: count uvarint, then each reading as in block.go without a value; the last
//	                   values of a new shape are all +0
//	           tag n   a sample of shape n: sent, took, changed: a bit for each reading, lowest first, in whole bytes; then
//	                   for each that changed 1 byte, upper half z and lower half n (1 to 8), and n bytes, lowest first: the
//	                   bits of the value, exclusive-or those of its last value, are that number shifted left by 8 z bits
//	exchanges  tag 0   a request, numbered from 1: length uvarint, bytes
//	           tag 1   an error's text, numbered from 1: length uvarint, text
//	           tag n   an exchange of request n-1: sent, took, number of the error (0 for none), how many edits; each edit:
//	                   keep, drop, length, all uvarint, bytes. The answer is the last one to that request with the edits
//	                   done from its beginning, and its rest kept.

// mostAnswers bounds the bytes of all answers of a block, unpacked.
const mostAnswers = 16 << 20

// packedReader reads blocks of version 1. The zero value is ready.
type packedReader struct {
	shapes   [][]obd.Reading
	requests []packedRequest
	errors   []error
	last     int64
	answers  int
	spare    []byte
}

// packedRequest is a request with its last answer.
type packedRequest struct{ line, answer []byte }

// samples gives each sample of a block to do, as blockReader.samples does; what comes before damage is given out.
func (r *packedReader) samples(block []byte, units *blockReader, do func(*obd.Sample) error) error {
	r.shapes, r.last = r.shapes[:0], 0
	return packets(block, func(c *cursor) error {
		tag := c.count(len(r.shapes))
		switch {
		case c.bad:
			return nil
		case tag == 0:
			r.define(c, units)
			return nil
		}
		s := r.next(c, r.shapes[tag-1])
		if c.bad {
			return nil
		}
		return do(&s)
	})
}

func (r *packedReader) define(c *cursor, units *blockReader) {
	n := c.count(mostReadings)
	if n > len(c.data)/(leastReading-1) {
		c.fail()
		return
	}
	shape := make([]obd.Reading, n)
	for i := range shape {
		shape[i] = units.what(c)
	}
	r.shapes = append(r.shapes, shape)
}

func (r *packedReader) times(c *cursor) (sent, received int64) {
	sent = r.last + c.varint()
	r.last = sent + c.varint()
	return sent, r.last
}

// next reads a sample, its values into the shape.
func (r *packedReader) next(c *cursor, shape []obd.Reading) obd.Sample {
	sent, received := r.times(c)
	for at, set := range c.take((len(shape) + 7) / 8) {
		for ; set != 0; set &= set - 1 {
			i := at*8 + bits.TrailingZeros8(set)
			if i >= len(shape) {
				c.fail()
				return obd.Sample{}
			}
			shape[i].Value = math.Float64frombits(math.Float64bits(shape[i].Value) ^ change(c))
		}
	}
	return obd.Sample{Sent: timeOf(sent), Received: timeOf(received), Readings: shape}
}

// change reads how the bits of a value differ from the last ones.
func change(c *cursor) (diff uint64) {
	head := c.take(1)
	if c.bad {
		return 0
	}
	zeros, n := int(head[0]>>4), int(head[0]&15)
	if n == 0 || zeros+n > 8 {
		c.fail()
		return 0
	}
	var word [8]byte
	copy(word[zeros:], c.take(n))
	return binary.LittleEndian.Uint64(word[:])
}

// exchanges gives each exchange of a block to do.
func (r *packedReader) exchanges(block []byte, do func(*obd.Exchange) error) error {
	r.requests, r.errors, r.last, r.answers = nil, nil, 0, 0
	return packets(block, func(c *cursor) error {
		tag := c.count(len(r.requests) + 1)
		switch {
		case c.bad:
			return nil
		case tag == 0:
			r.requests = append(r.requests, packedRequest{line: append([]byte(nil), c.bytes(mostText)...)})
			return nil
		case tag == 1:
			r.errors = append(r.errors, errors.New(string(c.bytes(mostText))))
			return nil
		}
		request := &r.requests[tag-2]
		sent, received := r.times(c)
		e := obd.Exchange{Sent: timeOf(sent), Received: timeOf(received), Request: request.line}
		if failed := c.count(len(r.errors)); failed > 0 {
			e.Err = r.errors[failed-1]
		}
		if r.edit(c, request); c.bad {
			return nil
		}
		e.Answer = request.answer
		return do(&e)
	})
}

// edit makes the next answer of the last one.
func (r *packedReader) edit(c *cursor, request *packedRequest) {
	if edits := c.count(mostText); edits > 0 {
		last, now := request.answer, r.spare[:0]
		for range edits {
			keep, drop := c.count(len(last)), c.count(len(last))
			put := c.bytes(mostText)
			if c.bad || keep+drop > len(last) || len(now)+keep+len(put) > mostText {
				c.fail()
				return
			}
			now = append(append(now, last[:keep]...), put...)
			last = last[keep+drop:]
		}
		request.answer, r.spare = append(now, last...), request.answer
	}
	if r.answers += len(request.answer); r.answers > mostAnswers || len(request.answer) > mostText {
		c.fail()
	}
}

// packets gives the records of a block one after the other to read, until its end, damage, or read's error.
func packets(block []byte, read func(*cursor) error) error {
	table := crc32.MakeTable(crc32.Castagnoli)
	for len(block) > 0 {
		n, used := binary.Uvarint(block)
		start := used + 4
		if used <= 0 || start > len(block) || n > uint64(len(block)-start) {
			return &damageError{errors.New("it is cut short")}
		}
		c := cursor{data: block[start : start+int(n)]}
		if crc32.Checksum(c.data, table) != binary.LittleEndian.Uint32(block[used:]) {
			return &damageError{errors.New("its check sum is wrong")}
		}
		for len(c.data) > 0 {
			if err := read(&c); err != nil {
				return err
			}
			if c.bad {
				return &damageError{errLayout}
			}
		}
		block = block[start+int(n):]
	}
	return nil
}

// protocolWords are what version 1 called the protocols of package obd in the drives table.
func protocolWords() map[string]obd.Protocol {
	return map[string]obd.Protocol{
		"not known yet":                   obd.ProtocolUnknown,
		"SAE J1850 PWM":                   obd.J1850PWM,
		"SAE J1850 VPW":                   obd.J1850VPW,
		"ISO 9141-2":                      obd.ISO9141,
		"ISO 14230-4, 5-baud start":       obd.KWP5Baud,
		"ISO 14230-4, fast start":         obd.KWPFast,
		"ISO 15765-4, 11-bit, 500 kbit/s": obd.CAN11At500,
		"ISO 15765-4, 29-bit, 500 kbit/s": obd.CAN29At500,
		"ISO 15765-4, 11-bit, 250 kbit/s": obd.CAN11At250,
		"ISO 15765-4, 29-bit, 250 kbit/s": obd.CAN29At250,
	}
}
