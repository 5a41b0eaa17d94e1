package misfire

import "stumble/obd"

// counting is the module whose counters are counted: the one that tells the engine speed where it has counters, else the
// first heard. Counters of two modules read as one would jump between the two.
type counting struct {
	module obd.Module
	known  bool
	others bool // another module has counters, too, which are left out
}

// takes reports whether a reading of a counter is of the module that is counted.
func (c *counting) takes(r *obd.Reading) bool {
	c.others = c.others || r.Module != c.module
	return r.Module == c.module
}

// chooseCounting chooses the module by the counters of a sample, before they are taken. When the engine's module comes
// after another, counting begins anew with its own.
func (t *Tally) chooseCounting(s *obd.Sample) {
	engine, found := t.exposure.Engine()
	for i := range s.Readings {
		r := &s.Readings[i]
		if _, is := countReading(r); !is {
			continue
		}
		c := &t.counting
		switch {
		case !c.known:
			c.module, c.known = r.Module, true
		case found && r.Module == engine && c.module != engine:
			c.module = engine
			t.forgetCounts()
		}
	}
}

// forgetCounts drops what was read of counters that are no longer counted, as far as it is not entered.
func (t *Tally) forgetCounts() {
	t.queue.dropCounts()
	t.roads = roads{}
	for i := range t.lanes {
		t.lanes[i].dropBaseline()
		t.lanes[i].reported = false
	}
}
