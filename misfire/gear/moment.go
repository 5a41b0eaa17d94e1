package gear

import "time"

// moment is a time in nanoseconds since 1970, 0 for never: what happens at every sample compares several times, which a
// time.Time with its calendar and zone makes costly.
type moment int64

func momentOf(t time.Time) moment {
	if t.IsZero() {
		return 0
	}
	return moment(t.UnixNano())
}

// in is the moment as a time in the zone of another.
func (m moment) in(zone time.Time) time.Time {
	if m == 0 {
		return time.Time{}
	}
	return time.Unix(0, int64(m)).In(zone.Location())
}

// Methods named as those of time.Time do the same.
func (m moment) Sub(o moment) time.Duration { return time.Duration(m - o) }
func (m moment) Add(d time.Duration) moment { return m + moment(d) }
func (m moment) IsZero() bool               { return m == 0 }
func (m moment) After(o moment) bool        { return m > o }
