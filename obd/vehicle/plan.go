package vehicle

import (
	"slices"

	"stumble/obd"
)

// plan is the order in which a car is polled. The fast requests follow the engine; after every second of them
// stands one of the others: the counters of the cylinders one after the other, and between them, each when it
// is due, the lamp, what the car says of its gear, and a slow value.
type plan struct {
	fast, counts, lamp, gear, slow ring

	tick int
}

const (
	fastPerOther = 2  // fast requests before each of the others
	gearEvery    = 4  // of the others, one asks for the gear
	lampEvery    = 7  // of the others, one asks for the lamp: at the pace of CAN, in each half of its flashes
	slowEvery    = 10 // of the others, one asks for a slow value
	batch        = 6  // PIDs a CAN request holds
)

// fastPIDs follow the engine, the most wanted first. gearPIDs are what the car says of its gear.
var (
	fastPIDs = []byte{obd.PIDRPM, obd.PIDLoad, obd.PIDSpeed, obd.PIDThrottle, obd.PIDFuelSystem}
	gearPIDs = []byte{obd.PIDGear, obd.PIDAuxiliary}
	lampPIDs = []byte{obd.PIDStatus}
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
	p := &plan{gear: ring{every: gearEvery}, lamp: ring{every: lampEvery}, slow: ring{every: slowEvery}}
	fast := supported(c, fastPIDs)
	if size == 1 {
		p.fast.add(alternate(fast))
	} else {
		p.fast.add(batches(fast, size))
	}
	for _, m := range c.Monitors {
		if req := obd.Test(m.MID); m.Counts && !p.counts.holds(req) {
			p.counts.add([]obd.Request{req})
		}
	}
	p.gear.add(batches(supported(c, gearPIDs), size))
	p.lamp.add(batches(supported(c, lampPIDs), 1))
	p.slow.add(batches(supported(c, slowPIDs), size))
	return p
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

// next is the request whose turn it is. It is nil only for an empty plan.
func (p *plan) next() *item {
	for range 2 {
		for _, r := range p.order() {
			if it := r.next(); it != nil {
				return it
			}
		}
		p.refresh() // all of them rest
	}
	return nil
}

// order is which of the rings to ask this time: the first that has something.
func (p *plan) order() [5]*ring {
	if p.tick++; p.tick%(fastPerOther+1) != 0 {
		return [...]*ring{&p.fast, &p.counts, &p.lamp, &p.gear, &p.slow}
	}
	due := p.due()
	if due == nil {
		return [...]*ring{&p.counts, &p.lamp, &p.gear, &p.slow, &p.fast}
	}
	due.since = 0
	return [...]*ring{due, &p.counts, &p.slow, &p.gear, &p.fast}
}

// due is the ring that has waited longest for what it may wait, if any is due; without counts to ask for in the
// meantime one always is.
func (p *plan) due() (most *ring) {
	for _, r := range [...]*ring{&p.lamp, &p.gear, &p.slow} {
		if len(r.items) == 0 {
			continue
		}
		r.since++
		if (r.since >= r.every || len(p.counts.items) == 0) && (most == nil || r.since*most.every > most.since*r.every) {
			most = r
		}
	}
	return most
}

// refresh ends the rest of every request: the car may answer again.
func (p *plan) refresh() {
	for _, r := range [...]*ring{&p.fast, &p.counts, &p.lamp, &p.gear, &p.slow} {
		for i := range r.items {
			r.items[i].missed, r.items[i].rest = 0, 0
		}
	}
}

// empty reports a car that has nothing worth polling.
func (p *plan) empty() bool {
	return len(p.fast.items)+len(p.counts.items)+len(p.gear.items)+len(p.lamp.items)+len(p.slow.items) == 0
}

// ring is requests that are asked in turn.
type ring struct {
	items []item
	at    int
	every int // of the turns that are not the fast requests', one is this ring's
	since int // such turns since its last
}

// item is one request, with what came of it.
type item struct {
	req    obd.Request
	missed int  // times in a row that it brought nothing
	rest   int  // turns to pass it over: it brought nothing of late
	proven bool // it has brought all it asks for
	broken int  // answers in a row that were damaged or lacked something
	since  int  // answers to all requests when it first brought nothing
}

const (
	missesToRest  = 3
	longestRest   = 32 // turns
	breaksToSplit = 3
)

func (r *ring) add(requests []obd.Request) {
	for _, req := range requests {
		r.items = append(r.items, item{req: req})
	}
}

func (r *ring) holds(req obd.Request) bool {
	return slices.ContainsFunc(r.items, func(it item) bool { return it.req == req })
}

// next is the next request that does not rest, nil if there is none.
func (r *ring) next() *item {
	for range r.items {
		it := &r.items[r.at%len(r.items)]
		r.at++
		if it.rest == 0 {
			return it
		}
		it.rest--
	}
	return nil
}

// several reports whether a request asks for more than one PID.
func (it *item) several() bool { return it.req.Service() == obd.LiveData && it.req.Len() > 2 }

// miss notes that the request brought nothing, and lets it rest the longer the more often that happens.
func (it *item) miss() {
	if it.missed++; it.missed >= missesToRest {
		it.rest = min(1<<(it.missed-missesToRest+1), longestRest)
	}
}
