package journal_test

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	_ "modernc.org/sqlite"

	"stumble/misfire/engine"
	"stumble/misfire/journal"
	"stumble/obd"
)

// morning is when every drive of these tests begins.
var morning = time.Date(2026, 3, 2, 8, 0, 0, 123456789, time.UTC)

// car makes up what an eight-cylinder car says at some fifty exchanges a second: six PIDs at a time, and the
// counters of one cylinder after the other. Everything is in the layout of the standard, and decoded by package obd.
type car struct {
	dice     *rand.Rand
	now      time.Time
	turn     int
	rpm      float64
	counts   [8]uint16
	exchange obd.Exchange
	sample   obd.Sample
}

func newCar(seed uint64) *car {
	return &car{dice: rand.New(rand.NewPCG(seed, 1)), now: morning, rpm: 750}
}

// next is the next exchange and what it told. They are good until the next call.
func (c *car) next() (*obd.Exchange, *obd.Sample) {
	c.now = c.now.Add(time.Duration(30_000 + c.dice.IntN(90_000)))
	sent := c.now
	c.now = c.now.Add(time.Duration(18_500_000 + c.dice.IntN(2_500_000)))
	var request string
	var data []byte
	readings := c.sample.Readings[:0]
	var err error
	engine := obd.Module{ID: 0x7E8, Bits: 11}
	if c.turn%2 == 0 {
		request, data = "010C0D0411050B1", c.live()
		readings, err = obd.AppendLive(readings, obd.Message{Module: engine, Data: data})
	} else {
		cylinder := c.turn / 2 % 8
		request, data = fmt.Sprintf("06%02X2", int(obd.MIDCylinder1)+cylinder), c.count(cylinder)
		readings, err = obd.AppendCounts(readings, obd.Message{Module: engine, Data: data})
	}
	if err != nil {
		panic(err)
	}
	c.turn++
	c.exchange = obd.Exchange{Sent: sent, Received: c.now, Request: []byte(request), Answer: isoTP(data)}
	c.sample = obd.Sample{Sent: sent, Received: c.now, Readings: readings}
	return &c.exchange, &c.sample
}

func (c *car) live() []byte {
	c.rpm += c.dice.NormFloat64()*12 - (c.rpm-1500)/200
	c.rpm = math.Max(c.rpm, 600)
	raw := uint16(c.rpm * 4)
	noise := func(base, spread int) byte { return byte(base + c.dice.IntN(spread)) }
	return []byte{0x41, 0x0C, byte(raw >> 8), byte(raw), 0x0D, noise(40, 2), 0x04, noise(80, 9), 0x11, noise(30, 4), 0x05, 130, 0x0B, noise(40, 5)}
}

func (c *car) count(cylinder int) []byte {
	if c.dice.IntN(40) == 0 {
		c.counts[cylinder]++
	}
	n := c.counts[cylinder]
	mid := obd.MIDCylinder1 + byte(cylinder)
	return []byte{0x46, mid, obd.TIDAverage, 0x24, 0, 2, 0, 0, 0xFF, 0xFF, mid, obd.TIDCount, 0x24, byte(n >> 8), byte(n), 0, 0, 0xFF, 0xFF}
}

// isoTP writes a message as an adapter prints it with headers and without spaces (ISO 15765-2: first and
// consecutive frames).
func isoTP(data []byte) (text []byte) {
	text = fmt.Appendf(text, "7E810%02X%X\r", len(data), data[:6])
	for n, rest := 1, data[6:]; len(rest) > 0; n++ {
		frame := make([]byte, 7)
		rest = rest[copy(frame, rest):]
		text = fmt.Appendf(text, "7E82%X%X\r", n&15, frame)
	}
	return append(text, '\r')
}

// open opens a journal that is closed at the test's end.
func open(t testing.TB, path string) (*journal.Journal, []journal.Notice) {
	t.Helper()
	j, notices, err := journal.Open(path, journal.Options{Patience: 50 * time.Millisecond})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, j.Close()) })
	return j, notices
}

func fresh(t testing.TB) *journal.Journal {
	t.Helper()
	j, notices := open(t, filepath.Join(t.TempDir(), "data", "journal.db"))
	require.Empty(t, notices)
	return j
}

// wren is a drive of the invented car that the examples are about.
func wren(t testing.TB) journal.DriveInfo {
	t.Helper()
	layout, err := engine.Find("i4-1342")
	require.NoError(t, err)
	return journal.DriveInfo{
		Vehicle: journal.Vehicle{Name: "Larkspur Wren", Layout: layout.Key},
		JobName: "stumbles in Drive", Name: "before", Started: morning,
		Adapter: "ELM327 v2.1", Protocol: obd.CAN11At500,
		Engine: layout, Map: engine.Identity(4), Catalyst: 12.5, Emission: math.NaN(), Setup: []byte(`{"for":"test"}`),
	}
}

// record drives for some exchanges and returns what was recorded.
func record(r *journal.Recorder, c *car, exchanges int) (told []obd.Sample, said []obd.Exchange) {
	for range exchanges {
		e, s := c.next()
		r.Exchange(e)
		r.Sample(s)
		told = append(told, s.Clone())
		kept := *e
		kept.Request, kept.Answer = append([]byte(nil), e.Request...), append([]byte(nil), e.Answer...)
		said = append(said, kept)
	}
	return told, said
}

// played collects a drive.
func played(t testing.TB, j *journal.Journal, drive int64) (samples []obd.Sample, marks []journal.Mark) {
	t.Helper()
	require.NoError(t, j.Play(drive, func(e journal.Event) error {
		if e.Sample != nil {
			samples = append(samples, e.Sample.Clone())
		} else {
			marks = append(marks, *e.Mark)
		}
		return nil
	}))
	return samples, marks
}

func exchanged(t testing.TB, j *journal.Journal, drive int64) (all []obd.Exchange) {
	t.Helper()
	require.NoError(t, j.Exchanges(drive, func(e *obd.Exchange) error {
		kept := *e
		kept.Request, kept.Answer = append([]byte(nil), e.Request...), append([]byte(nil), e.Answer...)
		all = append(all, kept)
		return nil
	}))
	return all
}

// sound asks SQLite itself whether a file is whole, with foreign keys.
func sound(t testing.TB, path string) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	require.NoError(t, err)
	defer db.Close()
	var found string
	require.NoError(t, db.QueryRow("PRAGMA integrity_check").Scan(&found))
	require.Equal(t, "ok", found)
	rows, err := db.QueryContext(context.Background(), "PRAGMA foreign_key_check")
	require.NoError(t, err)
	defer rows.Close()
	require.False(t, rows.Next(), "a row without its parent")
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return !errors.Is(err, os.ErrNotExist)
}
