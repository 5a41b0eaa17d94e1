package misfire

import (
	"math"
	"time"

	"stumble/misfire/engine"
	"stumble/misfire/gear"
)

// Moment is one second of a drive as the strip shows it.
type Moment struct {
	At          time.Time // when the second began
	Gear        gear.State
	Origin      gear.Origin
	RPM, Load   float64 // mean of the second; NaN when nothing was read
	Unmonitored bool    // the controller may not have judged at its last reading
	// Misses is what each cylinder's counter rose by at its reading in this second (index 0 is cylinder 1).
	// The misses themselves happened since the refresh before.
	Misses [engine.MaxCylinders]uint16
}

// keptMoments is how many seconds of the strip are kept.
const keptMoments = 900

// strip keeps the last seconds of a drive in a ring.
type strip struct {
	ring  []Moment
	first int // second, since the tally began, of the oldest moment
	n     int
	sums  struct{ rpm, load, rpms, loads float64 }
}

func newStrip() strip { return strip{ring: make([]Moment, keptMoments)} }

// live enters the newest values.
func (s *strip) live(at, start time.Time, call gear.Call, e *exposure) {
	second := int(at.Sub(start) / time.Second)
	if second < 0 {
		return
	}
	m, fresh := s.moment(second, start)
	if m == nil {
		return
	}
	if fresh {
		s.sums.rpm, s.sums.load, s.sums.rpms, s.sums.loads = 0, 0, 0, 0
	}
	m.Gear, m.Origin = call.State, call.Origin
	if e.RPM.Known() && e.RPM.At.Equal(at) {
		s.sums.rpm += e.RPM.V
		s.sums.rpms++
		m.RPM = s.sums.rpm / s.sums.rpms
		m.Unmonitored = e.Running && !e.monitor.judges(&e.State, e.RPM)
	}
	if e.Load.Known() && e.Load.At.Equal(at) {
		s.sums.load += e.Load.V
		s.sums.loads++
		m.Load = s.sums.load / s.sums.loads
	}
}

// miss enters misses read at a second.
func (s *strip) miss(sec float64, cylinder, misses int) {
	i := int(sec) - s.first
	if i < 0 || i >= s.n {
		return
	}
	m := &s.ring[int(sec)%len(s.ring)]
	m.Misses[cylinder] = uint16(min(int(m.Misses[cylinder])+misses, math.MaxUint16))
}

// moment is the place of a second in the ring, made if it is new; nil when it has gone by.
func (s *strip) moment(second int, start time.Time) (m *Moment, fresh bool) {
	if s.n == 0 {
		s.first = second
	}
	if second < s.first {
		return nil, false
	}
	for last := s.first + s.n - 1; last < second; {
		last++
		if second-last >= len(s.ring) { // a hole longer than the strip: only its end is wanted
			last = second - len(s.ring) + 1
			s.first, s.n = last, 0
		}
		s.ring[last%len(s.ring)] = Moment{At: start.Add(time.Duration(last) * time.Second), RPM: math.NaN(), Load: math.NaN()}
		if s.n == len(s.ring) {
			s.first++
		} else {
			s.n++
		}
		fresh = true
	}
	return &s.ring[second%len(s.ring)], fresh
}

func (s *strip) append(dst []Moment) []Moment {
	for i := range s.n {
		dst = append(dst, s.ring[(s.first+i)%len(s.ring)])
	}
	return dst
}
