package pack_test

import (
	"encoding/binary"
	"errors"
	"hash/crc32"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stumble/misfire/journal/pack"
	"stumble/obd"
)

// framed puts a payload into a packet with the right check, so that fuzzing gets past it.
func framed(payload []byte) []byte {
	b := binary.AppendUvarint(nil, uint64(len(payload)))
	b = binary.LittleEndian.AppendUint32(b, crc32.Checksum(payload, crc32.MakeTable(crc32.Castagnoli)))
	return append(b, payload...)
}

// FuzzReadSamples reads anything: no panic, and what can be read packs to something that reads the same.
func FuzzReadSamples(f *testing.F) {
	var w pack.SampleWriter
	for _, s := range oddities() {
		require.NoError(f, w.Append(&s))
	}
	block := w.Seal()
	_, n := binary.Uvarint(block)
	f.Add(block[n+4:])
	f.Fuzz(func(t *testing.T, payload []byte) {
		var r pack.SampleReader
		_ = r.Read(payload, func(*obd.Sample) error { return nil })
		var samples []obd.Sample
		_ = r.Read(framed(payload), func(s *obd.Sample) error {
			samples = append(samples, s.Clone())
			return nil
		})
		var again pack.SampleWriter
		for i := range samples {
			require.NoError(t, again.Append(&samples[i]))
		}
		i := 0
		require.NoError(t, r.Read(again.Seal(), func(s *obd.Sample) error {
			same(t, samples[i], *s)
			i++
			return nil
		}))
		require.Len(t, samples, i)
	})
}

// FuzzReadExchanges reads anything: no panic, no more memory than the limits allow.
func FuzzReadExchanges(f *testing.F) {
	var w pack.ExchangeWriter
	for _, e := range exchanges()[:8] {
		require.NoError(f, w.Append(&e))
	}
	block := w.Seal()
	_, n := binary.Uvarint(block)
	f.Add(block[n+4:])
	f.Fuzz(func(t *testing.T, payload []byte) {
		var r pack.ExchangeReader
		_ = r.Read(payload, func(*obd.Exchange) error { return nil })
		total := 0
		err := r.Read(framed(payload), func(e *obd.Exchange) error {
			total += len(e.Answer)
			return nil
		})
		require.LessOrEqual(t, total, 16<<20)
		var damage *pack.DamageError
		if err != nil {
			require.ErrorAs(t, err, &damage)
		}
	})
}

// FuzzRoundTrip packs samples and exchanges made of anything.
func FuzzRoundTrip(f *testing.F) {
	f.Add(int64(1), int64(2), uint64(3), uint64(4), []byte("010C"), []byte("41 0C"), []byte("41 0D"), "no answer")
	f.Fuzz(func(t *testing.T, sent, received int64, one, two uint64, request, answer, next []byte, failed string) {
		readings := func(v uint64) []obd.Reading {
			return []obd.Reading{reading(1, math.Float64frombits(v)), reading(2, math.Float64frombits(v^two))}
		}
		when := func(ns int64) time.Time { return pack.Time(pack.Nanoseconds(time.Unix(0, ns))) }
		samples := []obd.Sample{
			{Sent: when(sent), Received: when(received), Readings: readings(one)},
			{Sent: when(received), Received: when(sent), Readings: readings(two)},
		}
		var w pack.SampleWriter
		for i := range samples {
			require.NoError(t, w.Append(&samples[i]))
		}
		i := 0
		var r pack.SampleReader
		require.NoError(t, r.Read(w.Seal(), func(s *obd.Sample) error {
			same(t, samples[i], *s)
			i++
			return nil
		}))
		var x pack.ExchangeWriter
		said := []obd.Exchange{
			{Sent: when(sent), Received: when(received), Request: request, Answer: answer},
			{Sent: when(received), Received: when(sent), Request: request, Answer: next, Err: errors.New(failed)},
			{Request: next, Answer: request},
		}
		for i := range said {
			require.NoError(t, x.Append(&said[i]))
		}
		i = 0
		var xr pack.ExchangeReader
		require.NoError(t, xr.Read(x.Seal(), func(e *obd.Exchange) error {
			require.Equal(t, string(said[i].Request), string(e.Request))
			require.Equal(t, string(said[i].Answer), string(e.Answer))
			require.Equal(t, said[i].Sent, e.Sent)
			i++
			return nil
		}))
	})
}
