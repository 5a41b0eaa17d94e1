package misfire

import (
	"stumble/misfire/rate"
)

// apportion shares one cylinder's misses out over the groups of a breakdown by maximum likelihood, as package
// rate describes. The answer is by group; groups that lie in no mixed window with misses stand for themselves
// and are left out. Without such windows it is nil. Limits are those of misses that come alone.
func (l *breakdown) apportion(cylinder int, still bool) []rate.Apart {
	if len(l.mixed[cylinder]) == 0 {
		return nil
	}
	var lumps rate.Lumps
	var parts []rate.Part
	for i := range l.mixed[cylinder] {
		m := &l.mixed[cylinder][i]
		parts = parts[:0]
		for k, g := range m.groups {
			parts = append(parts, rate.Part{Condition: g, Firings: m.firings[k]})
		}
		lumps.Add(m.misses, parts...)
	}
	for g, t := range l.of(cylinder) {
		if t.mixed > 0 {
			t = t.seen(still)
			lumps.Add(t.misses, rate.Part{Condition: g, Firings: t.firings + t.clear})
		}
	}
	if len(l.cells) > mostGroups {
		return lumps.Share()
	}
	return lumps.Fit(1)
}
