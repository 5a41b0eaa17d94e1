package gear

import (
	"time"

	"stumble/misfire/gear/lever"
	"stumble/misfire/track"
)

// ticker makes even ticks of readings, whatever the polling rate. Between readings the last one holds.
type ticker struct {
	start, open time.Time // of the drive, and of the open tick
	rpm, load   mean
}

type mean struct{ sum, n float64 }

func (m *mean) add(v float64) { m.sum, m.n = m.sum+v, m.n+1 }

func (m *mean) take(held float64) float64 {
	if m.n > 0 {
		held = m.sum / m.n
	}
	*m = mean{}
	return held
}

const tick = time.Duration(lever.Period * float64(time.Second))

// seconds is a time since the drive began.
func (t *ticker) seconds(at time.Time) float64 { return at.Sub(t.start).Seconds() }

// closeTo hands the ticks that are over by now to the bank. What was not read for longer than a hole makes none.
func (t *ticker) closeTo(now time.Time, s *signals, bank *lever.Bank) {
	if t.start.IsZero() {
		t.start, t.open = now, now
	}
	for now.Sub(t.open) >= tick {
		end := t.open.Add(tick)
		if !s.RPM.Fresh(end, track.Hole) {
			if t.open = now; t.rpm.n > 0 {
				t.rpm, t.load = mean{}, mean{}
			}
			return
		}
		bank.Add(t.seconds(t.open), lever.Tick{
			RPM:      t.rpm.take(s.RPM.V),
			Load:     t.load.take(fresh(&s.Load, end, track.Hole)),
			Speed:    fresh(&s.Speed, end, track.SpeedLasts),
			Pedal:    fresh(&s.Pedal, end, track.SpeedLasts),
			Throttle: fresh(&s.Throttle, end, track.SpeedLasts),
			Volts:    fresh(&s.volts, end, voltsLast),
		})
		t.open = end
	}
}

// voltsLast is how long a voltage speaks for the car: one that is seldom asked tells no sag, but noise.
const voltsLast = time.Second
