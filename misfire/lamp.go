package misfire

import "time"

// lamp follows the malfunction indicator lamp. While misfire harms the catalyst it flashes once a second
// (13 CCR 1968.2 (e)(3.4.1)(A)(ii)); the car tells only whether it is commanded on at the moment of asking,
// so flashing is several changes within a short time.
type lamp struct {
	on, known bool
	changes   [flashChanges]time.Time // newest last
	at        time.Time
}

const (
	flashChanges = 4
	flashWithin  = 12 * time.Second
)

func (l *lamp) add(on bool, at time.Time) {
	if l.known && on != l.on {
		copy(l.changes[:], l.changes[1:])
		l.changes[flashChanges-1] = at
	}
	l.on, l.known, l.at = on, true, at
}

func (l *lamp) state() MIL {
	switch {
	case !l.known:
		return MILUnknown
	case !l.changes[0].IsZero() && l.at.Sub(l.changes[0]) <= flashWithin:
		return MILFlashing
	case l.on:
		return MILOn
	}
	return MILOff
}
