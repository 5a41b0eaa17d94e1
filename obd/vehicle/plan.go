package vehicle

import "stumble/obd"

// plan is the order in which a car is polled. The fast requests follow the engine; after every second of them
// stands one of the others: the counters of the cylinders one after the other, between them what the car
// says of its gear, and now and then a slow value.
type plan struct {
	fast   []obd.Request // asked in turn
	counts []obd.Request
	gear   []obd.Request
	slow   []obd.Request

	fastAt, countAt, gearAt, slowAt int
	tick, others                    int
}

const (
	fastPerOther = 2  // fast requests before each of the others
	gearEvery    = 4  // of the others, one asks for the gear
	slowEvery    = 10 // of the others, one asks for a slow value
	batch        = 6  // PIDs a CAN request holds
)

// fastPIDs follow the engine, the most wanted first. gearPIDs are what the car says of its gear.
var (
	fastPIDs = []byte{obd.PIDRPM, obd.PIDLoad, obd.PIDSpeed, obd.PIDThrottle, obd.PIDFuelSystem}
	gearPIDs = []byte{obd.PIDGear, obd.PIDAuxiliary}
)

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
	p.gear = batches(supported(c, gearPIDs), size)
	p.slow = slowRequests(c, size)
	return p
}

// slowRequests puts the lamp between the slow values, so that its flashing once a second is not missed.
func slowRequests(c *Capabilities, size int) []obd.Request {
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

// batches packs PIDs into requests of at most size, those whose length is not certain into one each.
func batches(pids []byte, size int) []obd.Request {
	var out []obd.Request
	var together []byte
	for _, id := range pids {
		if d, _ := obd.DescribePID(id); !d.Batchable() {
			out = append(out, obd.Live(id))
			continue
		}
		if together = append(together, id); len(together) == size {
			out = append(out, obd.Live(together...))
			together = together[:0]
		}
	}
	if len(together) > 0 {
		out = append(out, obd.Live(together...))
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
	if len(p.fast) > 0 && (p.tick%(fastPerOther+1) != 0 || p.onlyFast()) {
		return turn(p.fast, &p.fastAt)
	}
	p.others++
	switch {
	case len(p.slow) > 0 && (p.others%slowEvery == 0 || len(p.counts)+len(p.gear) == 0):
		return turn(p.slow, &p.slowAt)
	case len(p.gear) > 0 && (p.others%gearEvery == 1 || len(p.counts) == 0):
		return turn(p.gear, &p.gearAt)
	}
	return turn(p.counts, &p.countAt)
}

func turn(requests []obd.Request, at *int) obd.Request {
	r := requests[*at%len(requests)]
	*at++
	return r
}

func (p *plan) onlyFast() bool { return len(p.counts)+len(p.gear)+len(p.slow) == 0 }

// empty reports a car that has nothing worth polling.
func (p *plan) empty() bool { return len(p.fast) == 0 && p.onlyFast() }
