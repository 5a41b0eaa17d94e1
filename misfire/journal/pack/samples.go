package pack

import (
	"encoding/binary"
	"math"
	"math/bits"

	"stumble/obd"
)

// SampleWriter packs samples into a block. The zero value begins one.
type SampleWriter struct {
	sealed
	shapes []writtenShape
	byKeys map[uint64]int // place in shapes by a hash of what the readings are
	count  int
}

// writtenShape is a shape with the readings of its last sample.
type writtenShape []obd.Reading

// Begin starts the next block.
func (w *SampleWriter) Begin() {
	w.begin()
	w.shapes, w.count = w.shapes[:0], 0
	clear(w.byKeys)
}

// Count is the number of samples in the block.
func (w *SampleWriter) Count() int { return w.count }

// Full reports that the block should be ended.
func (w *SampleWriter) Full() bool { return w.size() >= fullPacked }

// Append packs a sample. It is an ErrTooLarge, and not packed, with more than MaxReadings readings or a unit
// longer than 255 bytes.
func (w *SampleWriter) Append(s *obd.Sample) error {
	n, err := w.shape(s.Readings)
	if err != nil {
		return err
	}
	w.count++
	w.open = binary.AppendUvarint(w.open, uint64(n+1))
	w.times(s.Sent, s.Received)
	w.values(w.shapes[n], s.Readings)
	return nil
}

// values packs what differs from the last sample of the shape, and takes it in.
func (w *SampleWriter) values(last, now []obd.Reading) {
	changed := len(w.open)
	for range (len(now) + 7) / 8 {
		w.open = append(w.open, 0)
	}
	var word [8]byte
	for i := range now {
		diff := math.Float64bits(now[i].Value) ^ math.Float64bits(last[i].Value)
		if diff == 0 {
			continue
		}
		w.open[changed+i/8] |= 1 << (i % 8)
		zeros := bits.TrailingZeros64(diff) / 8
		n := 8 - bits.LeadingZeros64(diff)/8 - zeros
		binary.LittleEndian.PutUint64(word[:], diff>>(8*zeros))
		w.open = append(w.open, byte(zeros<<4|n))
		w.open = append(w.open, word[:n]...)
		last[i].Value = now[i].Value
	}
}

// shape finds the shape of readings, or defines it.
func (w *SampleWriter) shape(readings []obd.Reading) (int, error) {
	key := hash(readings)
	if n, ok := w.byKeys[key]; ok && alike(w.shapes[n], readings) {
		return n, nil
	}
	if len(readings) > MaxReadings {
		return 0, ErrTooLarge
	}
	for i := range readings {
		if len(readings[i].Unit) > maxUnit {
			return 0, ErrTooLarge
		}
	}
	if w.byKeys == nil {
		w.byKeys = make(map[uint64]int)
	}
	n := len(w.shapes)
	w.byKeys[key] = n
	w.define(readings)
	return n, nil
}

func (w *SampleWriter) define(readings []obd.Reading) {
	b := append(w.open, 0)
	b = binary.AppendUvarint(b, uint64(len(readings)))
	shape := make(writtenShape, len(readings))
	for i, r := range readings {
		b = binary.AppendUvarint(b, uint64(r.Module.ID))
		b = append(b, r.Module.Bits, byte(r.Service), r.ID, r.Part)
		b = binary.AppendUvarint(b, uint64(len(r.Unit)))
		b = append(b, r.Unit...)
		shape[i] = r
		shape[i].Value = 0
	}
	w.open = b
	w.shapes = append(w.shapes, shape)
}

// hash mixes what the readings are, without their values (FNV-1a over words). Units go with the ids; should two
// shapes ever meet in one hash, alike tells them apart.
func hash(readings []obd.Reading) uint64 {
	const offset, prime = 14695981039346656037, 1099511628211
	h := uint64(offset)
	for i := range readings {
		r := &readings[i]
		h = (h ^ uint64(r.Module.ID)) * prime
		h = (h ^ (uint64(r.Service)<<24 | uint64(r.ID)<<16 | uint64(r.Part)<<8 | uint64(r.Module.Bits))) * prime
	}
	return h ^ uint64(len(readings))
}

func alike(a, b []obd.Reading) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		x, y := &a[i], &b[i]
		if x.Module != y.Module || x.Service != y.Service || x.ID != y.ID || x.Part != y.Part || x.Unit != y.Unit {
			return false
		}
	}
	return true
}

// SampleReader unpacks blocks of samples. The zero value is ready; used for one block after the other it keeps
// its memory.
type SampleReader struct {
	shapes [][]obd.Reading
	units  map[string]obd.Unit
	last   int64
	sample obd.Sample
}

// Read gives each sample of a block to do. The sample and its readings are good until do returns, and must not be
// changed: the next is told by how it differs. The error is do's, or a *DamageError when the rest of the block
// cannot be read.
func (r *SampleReader) Read(block []byte, do func(*obd.Sample) error) error {
	r.shapes, r.last = r.shapes[:0], 0
	return packets(block, func(payload []byte) error {
		c := cursor{data: payload}
		for len(c.data) > 0 {
			tag := c.uvarint()
			if tag == 0 {
				r.define(&c)
			} else if tag > uint64(len(r.shapes)) {
				return errDamaged
			} else {
				r.next(&c, r.shapes[tag-1])
			}
			if c.bad {
				return errDamaged
			}
			if tag == 0 {
				continue
			}
			if err := do(&r.sample); err != nil {
				return err
			}
		}
		return nil
	})
}

func (r *SampleReader) define(c *cursor) {
	n := c.count(MaxReadings)
	if n > len(c.data)/6 { // a reading takes at least six bytes
		c.fail()
		return
	}
	shape := make([]obd.Reading, n)
	for i := range shape {
		id := c.count(math.MaxUint32)
		head := c.take(4)
		unit := c.bytes(maxUnit)
		if c.bad {
			return
		}
		shape[i] = obd.Reading{
			Module:  obd.Module{ID: uint32(id), Bits: head[0]},
			Service: obd.Service(head[1]), ID: head[2], Part: head[3], Unit: r.unit(unit),
		}
	}
	r.shapes = append(r.shapes, shape)
}

// unit keeps one string for each unit.
func (r *SampleReader) unit(text []byte) obd.Unit {
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

// next reads a sample into the reader's own, its values into the shape.
func (r *SampleReader) next(c *cursor, shape []obd.Reading) {
	sent := r.last + c.varint()
	received := sent + c.varint()
	r.last = received
	changed := c.take((len(shape) + 7) / 8)
	if c.bad {
		return
	}
	for at, set := range changed {
		for set != 0 {
			i := at*8 + bits.TrailingZeros8(set)
			set &= set - 1
			if i >= len(shape) || !patch(c, &shape[i].Value) {
				c.fail()
				return
			}
		}
	}
	r.sample = obd.Sample{Sent: Time(sent), Received: Time(received), Readings: shape}
}

// patch reads how a value differs from the last one.
func patch(c *cursor, value *float64) bool {
	data := c.data
	if len(data) == 0 {
		return false
	}
	zeros, n := int(data[0]>>4), int(data[0]&15)
	if n == 0 || zeros+n > 8 || n >= len(data) {
		return false
	}
	var diff uint64
	if len(data) > 8 {
		diff = binary.LittleEndian.Uint64(data[1:]) & (math.MaxUint64 >> (64 - 8*n))
	} else {
		for i := n; i > 0; i-- {
			diff = diff<<8 | uint64(data[i])
		}
	}
	*value = math.Float64frombits(math.Float64bits(*value) ^ diff<<(8*zeros))
	c.data = data[1+n:]
	return true
}
