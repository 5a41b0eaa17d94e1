package journal

import (
	"bytes"
	"compress/gzip"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"hash/crc32"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd"
)

var noon = time.Date(2026, 3, 2, 12, 0, 0, 1, time.UTC)

func at(ns int64) time.Time { return noon.Add(time.Duration(ns)) }

func reading(id byte, value float64) obd.Reading {
	return obd.Reading{Module: obd.Module{ID: 0x7E8, Bits: 11}, Service: obd.LiveData, ID: id, Value: value, Unit: obd.RPM}
}

// oddSamples are samples that no car sends and a block must still keep.
func oddSamples() []obd.Sample {
	nan := math.Float64frombits(0x7FF8_0000_DEAD_BEEF)
	many := make([]obd.Reading, 300)
	for i := range many {
		many[i] = obd.Reading{Module: obd.Module{ID: 0x18DAF118, Bits: 29}, Service: 6, ID: byte(i), Part: byte(i >> 4), Value: float64(i) / 3, Unit: "Ω"}
	}
	return []obd.Sample{
		{Sent: at(0), Received: at(20e6), Readings: []obd.Reading{reading(12, 812.25), reading(13, 0)}},
		{Sent: at(20e6), Received: at(40e6), Readings: []obd.Reading{reading(12, 812.25), reading(13, 0)}},
		{Sent: at(40e6), Received: at(60e6), Readings: []obd.Reading{reading(12, math.Copysign(0, -1)), reading(13, nan)}},
		{Sent: at(40e6), Received: at(10e6), Readings: []obd.Reading{reading(12, math.Inf(-1)), reading(13, math.SmallestNonzeroFloat64)}},
		{},
		{Sent: time.Time{}, Received: at(1), Readings: []obd.Reading{reading(12, 1)}},
		{Sent: time.Unix(0, math.MaxInt64/2).UTC(), Received: time.Unix(0, -math.MaxInt64/2).UTC(), Readings: []obd.Reading{reading(12, 1), reading(12, 1)}},
		{Sent: at(0), Received: at(0), Readings: many},
		{Sent: at(0), Received: at(5), Readings: many[100:120]},
	}
}

func oddExchanges() []obd.Exchange {
	return []obd.Exchange{
		{Sent: at(0), Received: at(20e6), Request: []byte("010C"), Answer: []byte("7E804410C0CB0\r\r")},
		{Sent: at(60e6), Received: at(70e6), Request: []byte("010C"), Answer: []byte("NO DATA\r\r"), Err: errors.New("no answer")},
		{Sent: at(71e6), Received: at(72e6), Request: []byte("010C"), Err: errors.New("")},
		{Answer: []byte(strings.Repeat("7E8", 20_000))},
	}
}

// blockOf is a block of samples or exchanges.
func blockOf[T any](t testing.TB, add func([]byte, int64, *T) ([]byte, error), all []T, received func(*T) time.Time, full bool) *row {
	t.Helper()
	var records []byte
	var last int64
	for i := range all {
		var err error
		records, err = add(records, last, &all[i])
		require.NoError(t, err)
		last = nanoseconds(received(&all[i]))
	}
	return zippedRow(t, records, full)
}

func zippedRow(t testing.TB, records []byte, full bool) *row {
	t.Helper()
	var z zipper
	data, err := z.zip(records, full)
	require.NoError(t, err)
	return &row{form: formZipped, data: data}
}

func samplesBlock(t testing.TB, all []obd.Sample, full bool) *row {
	return blockOf(t, appendSample, all, func(s *obd.Sample) time.Time { return s.Received }, full)
}

func exchangesBlock(t testing.TB, all []obd.Exchange, full bool) *row {
	return blockOf(t, appendExchange, all, func(e *obd.Exchange) time.Time { return e.Received }, full)
}

// sameSample compares to the bit: NaN equals itself, and -0 differs from 0.
func sameSample(t testing.TB, want, got *obd.Sample) {
	t.Helper()
	require.Equal(t, want.Sent, got.Sent)
	require.Equal(t, want.Received, got.Received)
	require.Len(t, got.Readings, len(want.Readings))
	for i := range want.Readings {
		w, g := want.Readings[i], got.Readings[i]
		require.Equal(t, math.Float64bits(w.Value), math.Float64bits(g.Value))
		w.Value, g.Value = 0, 0
		require.Equal(t, w, g)
	}
}

func TestBlocksComeBackToTheBit(t *testing.T) {
	var r blockReader // used again and again
	for _, full := range []bool{false, true} {
		samples, n := oddSamples(), 0
		require.NoError(t, r.samples(samplesBlock(t, samples, full), func(s *obd.Sample) error {
			sameSample(t, &samples[n], s)
			n++
			return nil
		}))
		assert.Equal(t, len(samples), n)
		exchanges, n := oddExchanges(), 0
		require.NoError(t, r.exchanges(exchangesBlock(t, exchanges, full), func(e *obd.Exchange) error {
			want := &exchanges[n]
			n++
			assert.Equal(t, [2]time.Time{want.Sent, want.Received}, [2]time.Time{e.Sent, e.Received})
			assert.Equal(t, string(want.Request), string(e.Request))
			assert.Equal(t, string(want.Answer), string(e.Answer))
			assert.Equal(t, want.Err == nil, e.Err == nil)
			if want.Err != nil && e.Err != nil {
				assert.Equal(t, want.Err.Error(), e.Err.Error())
			}
			return nil
		}))
		assert.Equal(t, len(exchanges), n)
	}
}

func fromHex(t testing.TB, text string) []byte {
	t.Helper()
	data, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
	require.NoError(t, err)
	return data
}

// The records are written out byte by byte from the layout in block.go, and the gzip stream is opened by the standard
// library's reader.
func TestLayoutIsAsDocumented(t *testing.T) {
	when := func(ns int64) time.Time { return time.Unix(0, ns).UTC() }
	unzipped := func(b *row) []byte {
		z, err := gzip.NewReader(bytes.NewReader(b.data))
		require.NoError(t, err)
		records, err := io.ReadAll(z)
		require.NoError(t, err)
		return records
	}
	b := samplesBlock(t, []obd.Sample{
		{Sent: when(100), Received: when(164), Readings: []obd.Reading{reading(12, 1)}},
		{Sent: when(163), Received: when(170)},
	}, true)
	assert.Equal(t, fromHex(t, "C801 8001"+ // sent 100 after nothing; took 64
		"01 E80F 0B 01 0C 00 03 72706D"+ // one reading: module 7E8 of 11 bits, service 1, PID 0C, part 0, unit rpm
		"BFE003"+ // 1.0 is 3FF0 and six zero bytes; in reverse order F03F
		"01 0E 00"), unzipped(b)) // sent one before the last was received; took 7; no readings
	b = exchangesBlock(t, []obd.Exchange{
		{Sent: when(1), Received: when(2), Request: []byte("010C"), Answer: []byte("AB")},
		{Sent: when(2), Received: when(3), Err: errors.New("e")},
	}, true)
	assert.Equal(t, fromHex(t, "02 02 04 30313043 02 4142 00"+"00 02 00 00 02 65"), unzipped(b))
}

// A block as version 1 packed it, written out from the layout in version1.go.
func TestLayoutOfVersion1IsAsDocumented(t *testing.T) {
	var r blockReader
	var samples []obd.Sample
	data := packet(fromHex(t, "00 01 E80F 0B 01 0C 00 03 72706D"+ // a shape of one reading
		"01 C801 8001 01 62 F03F"+ // a sample: sent 100, took 64; the reading is 3FF0 shifted by six bytes
		"01 01 0E 00")) // sent one before that was received; took 7; nothing changed
	require.NoError(t, r.samples(&row{data: data}, func(s *obd.Sample) error {
		samples = append(samples, s.Clone())
		return nil
	}))
	require.Len(t, samples, 2)
	sameSample(t, &obd.Sample{Sent: timeOf(100), Received: timeOf(164), Readings: []obd.Reading{reading(12, 1)}}, &samples[0])
	sameSample(t, &obd.Sample{Sent: timeOf(163), Received: timeOf(170), Readings: []obd.Reading{reading(12, 1)}}, &samples[1])

	var told []string
	data = packet(fromHex(t, "00 04 30313043"+ // a request
		"02 02 02 00 01 00 00 0A 4142434445464748494A")) // its answer: keep none, drop none, put ten
	data = append(data, packet(fromHex(t, "01 01 65"+ // an error's text
		"02 00 02 01 02 02 01 01 78 06 01 01 79"))...) // again, with error 1: keep 2, drop 1, put x; keep 6, drop 1, put y
	require.NoError(t, r.exchanges(&row{data: data}, func(e *obd.Exchange) error {
		failed := ""
		if e.Err != nil {
			failed = e.Err.Error()
		}
		told = append(told, string(e.Request)+" "+string(e.Answer)+" "+failed)
		return nil
	}))
	assert.Equal(t, []string{"010C ABCDEFGHIJ ", "010C ABxDEFGHIy e"}, told)
}

// packet puts a payload of version 1 into a packet with the right check.
func packet(payload []byte) []byte {
	b := binary.AppendUvarint(nil, uint64(len(payload)))
	b = binary.LittleEndian.AppendUint32(b, crc32.Checksum(payload, crc32.MakeTable(crc32.Castagnoli)))
	return append(b, payload...)
}

// Every byte of a block is spoilt in turn: nothing is told from it that was not recorded.
func TestSpoiltBlocksTellNothing(t *testing.T) {
	var r blockReader
	for _, full := range []bool{false, true} {
		whole := samplesBlock(t, oddSamples()[:4], full)
		for i := range whole.data {
			spoilt := &row{form: formZipped, data: bytes.Clone(whole.data)}
			spoilt.data[i] ^= 0x10
			n := 0
			err := r.samples(spoilt, func(s *obd.Sample) error {
				sameSample(t, &oddSamples()[n], s) // only the stream's name, time or system may be what was spoilt
				n++
				return nil
			})
			var damage *damageError
			if err != nil {
				require.ErrorAs(t, err, &damage)
				assert.Zero(t, n)
			}
		}
		for i := range whole.data {
			err := r.samples(&row{form: formZipped, data: whole.data[:i]}, func(*obd.Sample) error { return nil })
			require.ErrorContains(t, err, "damaged: ")
		}
	}
	err := r.samples(&row{form: 7}, nil)
	require.ErrorContains(t, err, "damaged: its form 7 is not known")
}

// What is before damage in a block of version 1 is told, what is behind it is not.
func TestSpoiltPacketsOfVersion1(t *testing.T) {
	first := packet(fromHex(t, "00 01 E80F 0B 01 0C 00 03 72706D 01 C801 8001 01 62 F03F"))
	block := append(bytes.Clone(first), packet(fromHex(t, "01 01 0E 00"))...)
	var r blockReader
	for i := len(first); i < len(block); i++ {
		spoilt := bytes.Clone(block)
		spoilt[i] ^= 0x10
		n := 0
		err := r.samples(&row{data: spoilt}, func(*obd.Sample) error { n++; return nil })
		require.ErrorContains(t, err, "damaged: ")
		assert.Equal(t, 1, n)
	}
}

func TestTooLargeIsRefused(t *testing.T) {
	for _, s := range []obd.Sample{
		{Readings: make([]obd.Reading, 4097)}, {Readings: []obd.Reading{{Unit: obd.Unit(strings.Repeat("m", 256))}}},
	} {
		b, err := appendSample(nil, 0, &s)
		require.ErrorIs(t, err, errTooLarge)
		assert.Empty(t, b)
	}
	long := make([]byte, 1<<20+1)
	for _, e := range []obd.Exchange{{Request: long}, {Answer: long}, {Err: errors.New(string(long))}} {
		b, err := appendExchange(nil, 0, &e)
		require.ErrorIs(t, err, errTooLarge)
		assert.Empty(t, b)
	}
}

// The largest exchange may be the last one of a block that was all but full.
func TestLargestBlockCanBeRead(t *testing.T) {
	records := bytes.Repeat([]byte{0, 0, 0, 0, 0}, fullBlock/5)
	long := make([]byte, mostText)
	records, err := appendExchange(records, 0, &obd.Exchange{Request: long, Answer: long, Err: errors.New(string(long))})
	require.NoError(t, err)
	var r blockReader
	n := 0
	require.NoError(t, r.exchanges(zippedRow(t, records, true), func(*obd.Exchange) error { n++; return nil }))
	assert.Equal(t, fullBlock/5+1, n)
}

// A few bytes that unzip to very many, and lengths and counts far beyond what follows, ask for no memory: a sample's
// readings are bounded by the bytes that are there.
func TestHostileBlocksAskForNoMemory(t *testing.T) {
	bomb := zippedRow(t, make([]byte, 64<<20), true)
	assert.Less(t, len(bomb.data), 1<<17)
	counts := zippedRow(t, binary.AppendUvarint([]byte{0, 0}, mostReadings), true)
	texts := zippedRow(t, binary.AppendUvarint([]byte{0, 0}, mostText), true)
	shape := &row{data: packet(binary.AppendUvarint([]byte{0}, mostReadings))}
	for name, read := range map[string]func(r *blockReader) error{
		"bomb":   func(r *blockReader) error { return r.samples(bomb, func(*obd.Sample) error { return nil }) },
		"counts": func(r *blockReader) error { return r.samples(counts, func(*obd.Sample) error { return nil }) },
		"texts":  func(r *blockReader) error { return r.exchanges(texts, func(*obd.Exchange) error { return nil }) },
		"shape":  func(r *blockReader) error { return r.samples(shape, func(*obd.Sample) error { return nil }) },
	} {
		t.Run(name, func(t *testing.T) {
			var r blockReader
			require.ErrorContains(t, read(&r), "does not follow the layout")
			assert.LessOrEqual(t, r.records.Cap(), 2*mostBlock+bytes.MinRead*2)
			assert.Zero(t, cap(r.sample.Readings))
			assert.Empty(t, r.packed.shapes)
		})
	}
}

// In a block of version 1 a few bytes may repeat a long answer: no more than sixteen MiB are given out.
func TestAnswersOfVersion1AreBounded(t *testing.T) {
	payload := append(fromHex(t, "00 00 02 00 00 00 01 00 00"), appendText(nil, make([]byte, mostText))...)
	payload = append(payload, bytes.Repeat(fromHex(t, "02 00 00 00 00"), 40)...)
	var r blockReader
	n := 0
	err := r.exchanges(&row{data: packet(payload)}, func(e *obd.Exchange) error {
		assert.Len(t, e.Answer, 1<<20)
		n++
		return nil
	})
	require.ErrorContains(t, err, "does not follow the layout")
	assert.Equal(t, 16, n)
}

func TestStopsWithTheCallersError(t *testing.T) {
	enough := errors.New("enough")
	var r blockReader
	n := 0
	assert.Equal(t, enough, r.samples(samplesBlock(t, oddSamples(), true), func(*obd.Sample) error { n++; return enough }))
	assert.Equal(t, 1, n)
}

// FuzzBlock reads anything as the records of either form: no panic, no more memory than the limits allow, and samples
// that can be read come back the same when they are written again.
func FuzzBlock(f *testing.F) {
	for _, b := range []*row{samplesBlock(f, oddSamples()[:5], true), exchangesBlock(f, oddExchanges()[:3], true)} {
		z, err := gzip.NewReader(bytes.NewReader(b.data))
		require.NoError(f, err)
		records, err := io.ReadAll(z)
		require.NoError(f, err)
		f.Add(records)
	}
	f.Add([]byte("\x00\x01\xe8\x0f\x0b\x01\x0c\x00\x03rpm\x01\xc8\x01\x80\x01\x01b\xf0?"))
	f.Add([]byte("\x00\x04010C\x02\x02\x02\x00\x01\x00\x00\x0aABCDEFGHIJ\x01\x01e"))
	f.Fuzz(func(t *testing.T, data []byte) {
		var r blockReader
		ignore := func(*obd.Sample) error { return nil }
		for _, b := range []*row{{form: formZipped, data: data}, {form: formPacked, data: data}, {form: formPacked, data: packet(data)}, zippedRow(t, data, false)} {
			var damage *damageError
			if err := r.samples(b, ignore); err != nil {
				require.ErrorAs(t, err, &damage)
			}
			total := 0
			if err := r.exchanges(b, func(e *obd.Exchange) error { total += len(e.Answer); return nil }); err != nil {
				require.ErrorAs(t, err, &damage)
			}
			require.LessOrEqual(t, total, mostAnswers)
		}
		var samples []obd.Sample
		_ = r.samples(zippedRow(t, data, false), func(s *obd.Sample) error {
			samples = append(samples, s.Clone())
			return nil
		})
		i := 0
		require.NoError(t, r.samples(samplesBlock(t, samples, false), func(s *obd.Sample) error {
			sameSample(t, &samples[i], s)
			i++
			return nil
		}))
		require.Len(t, samples, i)
	})
}
