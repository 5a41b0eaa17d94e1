package export

import (
	"math"
	"strconv"
	"time"
)

// Micros is a time in microseconds since the beginning of 1970, UTC: what Parquet keeps of it.
type Micros int64

func micros(t time.Time) Micros { return Micros(t.UnixMicro()) }

// Time is the time in UTC.
func (m Micros) Time() time.Time { return time.UnixMicro(int64(m)).UTC() }

// String is the time as RFC 3339 has it, always with six places, so that tools see one format all the way down.
func (m Micros) String() string { return m.Time().Format("2006-01-02T15:04:05.000000Z07:00") }

// MarshalText writes the time as String does, in JSON and CSV alike.
func (m Micros) MarshalText() ([]byte, error) { return []byte(m.String()), nil }

// known is a number, or nil when there is none: JSON has no way to write it.
func known(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

// hex is a byte as the trade writes it. The 0x keeps spreadsheets from reading 7E8 as a power of ten and 05 as five.
func hex(b byte) string {
	const digits = "0123456789ABCDEF"
	return string([]byte{'0', 'x', digits[b>>4], digits[b&15]})
}

func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
