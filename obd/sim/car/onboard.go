package car

// Monitors of service 06 on CAN, by their id (obd-wire-facts section 2).
const (
	misfireMonitor  = 0xA1
	cylinderMonitor = 0xA2 // cylinder 1; the others follow
)

// record appends one test result: MID TID UASID value min max.
func record(dst []byte, mid, tid, unit byte, value, low, high uint16) []byte {
	return append(dst, mid, tid, unit, byte(value>>8), byte(value), byte(low>>8), byte(low), byte(high>>8), byte(high))
}

// monitorIDs are the on-board monitors of the engine module.
func (c *Car) monitorIDs() pidSet {
	ids := []byte{0x01, 0x02, 0x21, 0x3C, 0x41, 0x42, misfireMonitor}
	if len(c.cfg.Vehicle.Banks) == 2 {
		ids = append(ids, 0x05, 0x06, 0x22)
	}
	for i := range c.cfg.Vehicle.Cylinders() {
		ids = append(ids, cylinderMonitor+byte(i))
	}
	return set(ids...)
}

// answerTests answers service 06 on CAN: up to six bitmaps, or one monitor's records; two monitors' where it allows that.
func (c *Car) answerTests(r *reply, params []byte) {
	if len(params) == 0 || len(params) > 6 {
		return
	}
	b := r.begin()
	*b = append(*b, 0x46)
	for _, mid := range params {
		switch {
		case !c.tested.has(mid):
		case mid%0x20 == 0:
			*b = c.tested.bitmap(append(*b, mid), mid)
		case len(params) == 1 || len(params) == 2 && c.cfg.Controller.Pairs:
			*b = c.appendTests(*b, mid)
		}
	}
	r.dropEmpty(1)
}

func (c *Car) appendTests(dst []byte, mid byte) []byte {
	switch {
	case mid == misfireMonitor:
		return c.appendMisfire(dst)
	case mid >= cylinderMonitor && mid < cylinderMonitor+maxCylinders:
		return c.appendCounts(dst, mid)
	}
	return c.appendOther(dst, mid)
}

// appendCounts is one cylinder's average and count. Until an engine has run since the clear the test has not
// run: value and limits all zero.
func (c *Car) appendCounts(dst []byte, mid byte) []byte {
	cyl := int(mid-cylinderMonitor) + 1
	if c.cfg.Controller.ByFiringOrder {
		cyl = c.cfg.Vehicle.FiringOrder[cyl-1]
	}
	k := &c.counters
	high := uint16(saturated)
	if !k.valid {
		high = 0
	}
	dst = record(dst, mid, 0x0B, 0x24, uint16(min(k.average[cyl-1]+0.5, saturated)), 0, high)
	count := k.shown[cyl-1]
	if c.cfg.Controller.ByID.ClassicStands {
		count = 0
	}
	return record(dst, mid, 0x0C, 0x24, count, 0, high)
}

// appendMisfire is the misfire monitor in general: totals, and the maker's tests 80 and 81, the share of misses
// in the last catalyst and emission blocks against their limits, unit 30h: 100/65535 percent a bit.
func (c *Car) appendMisfire(dst []byte) []byte {
	opt := &c.cfg.Controller
	k, e := &c.counters, &c.evaluation
	high := uint16(saturated)
	if !k.valid {
		high = 0
	}
	if opt.Totals || !opt.Percent {
		dst = record(dst, misfireMonitor, 0x0B, 0x24, k.totalAverage(), 0, high)
		dst = record(dst, misfireMonitor, 0x0C, 0x24, k.total(), 0, high)
	}
	if opt.Percent {
		dst = percentRecord(dst, 0x80, e.judged, e.fastLast, catalystLimit(c.cfg.Vehicle.Idle, c.cfg.Vehicle.IdleLoad))
		dst = percentRecord(dst, 0x81, e.judgedSlow, e.slowLast, emissionLimit)
	}
	return dst
}

func percentRecord(dst []byte, tid byte, ran bool, value, limit float64) []byte {
	if !ran {
		return record(dst, misfireMonitor, tid, 0x30, 0, 0, 0)
	}
	const bit = 100.0 / 65535
	return record(dst, misfireMonitor, tid, 0x30, uint16(value/bit+0.5), 0, uint16(limit/bit+0.5))
}

// appendOther is the monitors beside misfire, with results a sound car would show once they have run.
func (c *Car) appendOther(dst []byte, mid byte) []byte {
	done := c.memory.monitors.done()
	type test struct {
		tid, unit        byte
		value, low, high uint16
	}
	var tests [2]test
	var n int
	ran := done&oxygenMonitor != 0
	switch mid {
	case 0x01, 0x05: // sensor ahead of the catalyst: switch times, ms
		tests, n = [2]test{{0x05, 0x10, 61, 0, 110}, {0x06, 0x10, 58, 0, 110}}, 2
	case 0x02, 0x06: // sensor behind it: lowest and highest voltage, mV by 0.122
		tests, n = [2]test{{0x07, 0x0A, 0x03E0, 0, 0x0CD8}, {0x08, 0x0A, 0x1A40, 0x11F6, 0xFFFF}}, 2
	case 0x21, 0x22: // catalyst: a maker's ratio
		tests, n, ran = [2]test{{0x83, 0x20, 0x001F, 0, 0x0080}}, 1, done&catalystMonitor != 0
	case 0x3C: // evaporative system, 0.020 inch: a maker's pressure drop
		tests, n, ran = [2]test{{0x86, 0x24, 212, 0, 540}}, 1, done&evaporativeMonitor != 0
	case 0x41, 0x42: // heaters: current, mA by 1/256 of an ampere
		tests, n, ran = [2]test{{0x87, 0x0D, 0x9800, 0x4000, 0xF000}}, 1, done&heaterMonitor != 0
	}
	for _, t := range tests[:n] {
		if !ran {
			t.value, t.low, t.high = 0, 0, 0
		}
		dst = record(dst, mid, t.tid, t.unit, t.value, t.low, t.high)
	}
	return dst
}

// answerOldTests answers service 06 before CAN: a message for each component and limit, raw maker values, no
// misfire counts. Bit 7 of the component says that the limit is a minimum.
func (c *Car) answerOldTests(r *reply, params []byte) {
	if len(params) != 1 {
		return
	}
	say := func(tid, component byte, value, limit uint16) {
		r.say(0x46, tid, component, byte(value>>8), byte(value), byte(limit>>8), byte(limit))
	}
	done := c.memory.monitors.done()
	value := func(ran byte, v uint16) uint16 {
		if done&ran == 0 {
			return 0
		}
		return v
	}
	switch params[0] {
	case 0x00:
		r.say(0x46, 0x00, 0xFF, 0xC4, 0, 0, 0) // tests 01, 02 and 06
	case 0x01: // oxygen sensor
		say(0x01, 0x01, value(oxygenMonitor, 90), 160)
		say(0x01, 0x81, value(oxygenMonitor, 90), 20)
	case 0x02: // catalyst
		say(0x02, 0x11, value(catalystMonitor, 31), 128)
	case 0x06: // valves
		say(0x06, 0x03, value(valveMonitor, 2400), 40000)
		say(0x06, 0x85, value(valveMonitor, 90), 10)
	}
}
