package vehicle

import "stumble/obd"

// plan is the order in which a car is polled. Between any two turns of the fast requests, which follow the
// engine, stands one of the others: the counters of the cylinders one after the other, and now and then a
// slow value.
type plan struct {
	fast   []obd.Request // asked in turn
	counts []obd.Request
	slow   []obd.Request

	fastAt, countAt, slowAt int
	tick                    int
}

const (
	// slowEvery is how many counters are asked between two slow values.
	slowEvery = 8
	// fastPerOther is how many fast requests go before each of the others.
	fastPerOther = 2
	batch        = 6 // PIDs a CAN request holds
)

// fastPIDs follow the engine and the gear, the most wanted first. The gear is what the car says of it.
var fastPIDs = []byte{obd.PIDRPM, obd.PIDLoad, obd.PIDSpeed, obd.PIDThrottle, obd.PIDFuelSystem}

// slowPIDs change slowly or matter little.
var slowPIDs = []byte{obd.PIDCoolant, obd.PIDTrimShort1, obd.PIDTrimLong1, obd.PIDTrimShort2, obd.PIDTrimLong2,
	obd.PIDVoltage, obd.PIDManifold, obd.PIDTiming, obd.PIDIntakeAir, obd.PIDAirFlow, obd.PIDAccelerator, obd.PIDRunTime}

// newPlan makes the plan for a car; size is the most PIDs a request may hold, 1 before CAN.
func newPlan(c *Capabilities, size int) *plan {
	if !c.Protocol.CAN() {
		size = 1
	}
	size = min(max(size, 1), batch)
	p := &plan{}
	fast := supported(c, fastPIDs)
	if gear := gearPID(c); gear != 0 {
		fast = append(fast, gear)
	}
	if size == 1 {
		p.fast = alternate(fast)
	} else {
		p.fast = batches(fast, size)
	}
	for _, m := range c.Monitors {
		if m.Counts {
			p.counts = append(p.counts, obd.Test(m.MID))
		}
	}
	p.slow = p.slowRequests(c, size)
	return p
}

// slowRequests puts the lamp between the slow values, so that its flashing once a second is not missed.
func (p *plan) slowRequests(c *Capabilities, size int) []obd.Request {
	var slow []obd.Request
	status := c.Has(obd.PIDStatus)
	for _, r := range batches(supported(c, slowPIDs), size) {
		if status {
			slow = append(slow, obd.Live(obd.PIDStatus))
		}
		slow = append(slow, r)
	}
	if len(slow) == 0 && status {
		slow = append(slow, obd.Live(obd.PIDStatus))
	}
	return slow
}

func supported(c *Capabilities, pids []byte) []byte {
	var have []byte
	for _, id := range pids {
		if c.Has(id) {
			have = append(have, id)
		}
	}
	return have
}

// gearPID is the better of the two PIDs that tell the gear, 0 where there is neither.
func gearPID(c *Capabilities) byte {
	for _, id := range [...]byte{obd.PIDGear, obd.PIDAuxiliary} {
		if c.Has(id) {
			return id
		}
	}
	return 0
}

func batches(pids []byte, size int) []obd.Request {
	var out []obd.Request
	for len(pids) > 0 {
		n := min(size, len(pids))
		out = append(out, obd.Live(pids[:n]...))
		pids = pids[n:]
	}
	return out
}

// alternate asks for the first PID between any two of the others: with one PID a request, engine speed comes
// every other time, since all exposure hangs on it.
func alternate(pids []byte) []obd.Request {
	if len(pids) < 2 {
		return batches(pids, 1)
	}
	var out []obd.Request
	for _, id := range pids[1:] {
		out = append(out, obd.Live(pids[0]), obd.Live(id))
	}
	return out
}

// next is the request whose turn it is.
func (p *plan) next() obd.Request {
	p.tick++
	if len(p.fast) > 0 && (p.tick%(fastPerOther+1) != 0 || len(p.counts)+len(p.slow) == 0) {
		return turn(p.fast, &p.fastAt)
	}
	due := p.tick / (fastPerOther + 1)
	if len(p.slow) > 0 && (len(p.counts) == 0 || due%slowEvery == 0) {
		return turn(p.slow, &p.slowAt)
	}
	return turn(p.counts, &p.countAt)
}

func turn(requests []obd.Request, at *int) obd.Request {
	r := requests[*at%len(requests)]
	*at++
	return r
}

// empty reports a car that has nothing worth polling.
func (p *plan) empty() bool { return len(p.fast)+len(p.counts)+len(p.slow) == 0 }
