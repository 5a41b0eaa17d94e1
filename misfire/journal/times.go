package journal

import (
	"math"
	"time"
)

// noTime stands for the zero time; lastSecond and its opposite bound the times that can be told.
const (
	noTime     = math.MinInt64
	lastSecond = math.MaxInt64/int64(time.Second) - 1
)

// nanoseconds is a time as it is stored, since 1970. The zero time is -2^63; so is any time that 64 bits of nanoseconds
// cannot hold, before 1677-09-22 or after 2262-04-10.
func nanoseconds(t time.Time) int64 {
	if s := t.Unix(); s < -lastSecond || s > lastSecond {
		return noTime
	}
	return t.UnixNano()
}

// timeOf is the time of nanoseconds, in UTC; the zero time for numbers that it does not give.
func timeOf(ns int64) time.Time {
	if ns < -lastSecond*int64(time.Second) || ns >= (lastSecond+1)*int64(time.Second) {
		return time.Time{}
	}
	return time.Unix(0, ns).UTC()
}
