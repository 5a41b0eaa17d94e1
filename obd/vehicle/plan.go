package vehicle

import (
	"math"
	"slices"
	"time"

	"stumble/obd"
	"stumble/obd/uds"
)

// plan decides what is asked next. Each request has a pace that its worth sets: engine speed as often as the integral of
// its revolutions wants, the lamp at the pace of its flash, what changes slowly seldom; none takes more of the wire than
// its share, by what it was measured to cost. All the rest of the wire is the counters', the oldest first. A car without
// counters is asked for its engine speed two times of three, since the dips of its idle are all there is to count.
type plan struct {
	fast   *item   // what follows the engine, its speed among it
	timed  []*item // the others that have a pace, fast among them
	counts []*item // the counters of the cylinders

	tick int
}

// The paces of a CAN car, and of the wire the shares beyond which a request is asked less often. Ten engine speeds a second
// integrate a hard pull, its shifts among it, to within a few ten thousandths (see BenchmarkPace); twenty follow a shift.
const (
	fastEvery   = 100 * time.Millisecond
	shiftEvery  = 50 * time.Millisecond
	followEvery = 150 * time.Millisecond // what follows the engine and does not fit with its speed
	lampEvery   = 400 * time.Millisecond // a look in each half of its flashes, which are one a second (13 CCR 1968.2 (e)(3.4.1))
	gearEvery   = 400 * time.Millisecond
	slowEvery   = 3 * time.Second
	slowestFast = 500 * time.Millisecond // of the engine speed, however slow the wire: beyond two seconds nobody knows what ran
	alone       = time.Second            // between slow values that must be asked alone
	questEvery  = 5 * time.Second        // between questions for what was not answered at the start
	batch       = 6                      // PIDs a CAN request holds

	fastShare, followShare, lampShare, gearShare, slowShare = 4, 8, 12, 16, 40 // one part of so many of the wire
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

// planning is what a plan is made by, beside what the car supports.
type planning struct {
	size  int  // the most PIDs a request may hold, 1 before CAN
	pairs bool // two monitors in one request
	plain bool // nothing rides on the fast request: its answer came damaged when it did
}

// newPlan makes the plan for a car.
func newPlan(c *Capabilities, with planning) *plan {
	if !c.Protocol.CAN() {
		with.size = 1
	}
	b := builder{caps: c, plain: with.plain, size: min(max(with.size, 1), batch)}
	b.module, b.known = c.engineModule()
	b.p = &plan{}
	if c.Protocol.CAN() {
		b.fastCAN()
	} else {
		b.fastOlder()
	}
	b.slow()
	b.counters(with.pairs)
	return b.p
}

// engineModule is the module that is asked for the engine's values: that with the lowest address of those that tell an
// engine speed.
func (c *Capabilities) engineModule() (obd.Module, bool) {
	for _, m := range c.Modules {
		if m.PIDs.Has(obd.PIDRPM) {
			return m.Address, true
		}
	}
	return obd.Module{}, false
}

// builder puts a plan together.
type builder struct {
	p      *plan
	caps   *Capabilities
	size   int
	module obd.Module
	known  bool // the engine's module
	plain  bool
}

// add adds a request, or several that are asked in turn, with their pace and share; nil for none.
func (b *builder) add(every time.Duration, share int, requests ...obd.Request) *item {
	if len(requests) == 0 {
		return nil
	}
	it := &item{every: every, share: share}
	for _, req := range requests {
		it.asks = append(it.asks, b.ask(req))
	}
	b.p.timed = append(b.p.timed, it)
	return it
}

// ask addresses a request: to one module where that alone has what is asked for, or has all that the others have, else to
// all of them.
func (b *builder) ask(req obd.Request) ask {
	a := ask{req: req}
	if !b.caps.Protocol.CAN() || req.Service() != obd.LiveData {
		return a
	}
	if b.known && b.has(b.module, req.Params()) {
		a.module, a.one = b.module, true
	} else {
		a.module, a.one = b.only(req.Params())
	}
	if a.one {
		a.lines = b.caps.linesOf(a.module, req)
	}
	return a
}

func (b *builder) has(m obd.Module, pids []byte) bool {
	i := slices.IndexFunc(b.caps.Modules, func(x Module) bool { return x.Address == m })
	return i >= 0 && !slices.ContainsFunc(pids, func(pid byte) bool { return !b.caps.Modules[i].PIDs.Has(pid) })
}

// only is the one module that has any of the PIDs.
func (b *builder) only(pids []byte) (m obd.Module, one bool) {
	for _, pid := range pids {
		for _, x := range b.caps.withPID(pid) {
			if one && x != m {
				return obd.Module{}, false
			}
			m, one = x, true
		}
	}
	return m, one
}

// linesOf is how many frames a module's answer takes, 0 where that is not known.
func (c *Capabilities) linesOf(m obd.Module, req obd.Request) int {
	i := slices.IndexFunc(c.Modules, func(x Module) bool { return x.Address == m })
	if i < 0 || !c.Protocol.CAN() {
		return 0
	}
	n := 1
	for _, pid := range req.Params() {
		d, known := obd.DescribePID(pid)
		switch {
		case !c.Modules[i].PIDs.Has(pid):
			continue
		case !known || !d.Batchable():
			return 0
		}
		n += 1 + d.Len
	}
	return framesOf(n)
}

// framesOf is how many CAN frames a message takes (ISO 15765-2: seven bytes in a single frame, six in a first one).
func framesOf(n int) int {
	if n <= 7 {
		return 1
	}
	return 1 + (n-6+6)/7
}

// fastCAN plans what follows the engine on CAN: all of it in one request, and with every fourth or so the lamp and the
// engine module's word of the gear, which cost a frame more and no request of their own.
func (b *builder) fastCAN() {
	fast := supported(b.caps, fastPIDs)
	if len(fast) == 0 {
		b.lampAndGear(supported(b.caps, gearPIDs))
		return
	}
	requests := batches(fast, b.size)
	b.p.fast = b.add(fastEvery, fastShare, requests[0])
	b.p.fast.slowest = slowestFast
	b.add(followEvery, followShare, requests[1:]...)
	gears, rides := supported(b.caps, gearPIDs), b.rider(fast)
	if rides == nil {
		b.lampAndGear(gears)
		return
	}
	b.p.fast.rider, b.p.fast.riderEvery = b.ask(obd.Live(rides...)), lampEvery-fastEvery/2 // it rides on the fast request, which may come late
	var left []byte                                                                        // what another module alone tells of the gear
	for _, pid := range gears {
		if !slices.Contains(rides, pid) || len(b.caps.withPID(pid)) > 1 {
			left = append(left, pid)
		}
	}
	b.add(gearEvery, gearShare, batches(left, b.size)...)
}

// rider is the fast request with the lamp and what the engine's module tells of the gear in the place of the fuel system;
// nil where there is no room, or no lamp.
func (b *builder) rider(fast []byte) []byte {
	if b.plain || b.size < batch || !b.known || !b.has(b.module, fast) || !b.has(b.module, lampPIDs) {
		return nil
	}
	ride := slices.Clone(lampPIDs)
	for _, pid := range gearPIDs {
		if d, _ := obd.DescribePID(pid); d.Batchable() && b.has(b.module, []byte{pid}) && len(ride) < 2 {
			ride = append(ride, pid)
		}
	}
	return append(slices.Clone(fast[:min(len(fast), batch-len(ride))]), ride...)
}

func (b *builder) lampAndGear(gears []byte) {
	b.add(lampEvery, lampShare, batches(supported(b.caps, lampPIDs), 1)...)
	b.add(gearEvery, gearShare, batches(gears, b.size)...)
}

// fastOlder plans what follows the engine where a request holds one PID: its speed by itself, then its load between any
// two of the others.
func (b *builder) fastOlder() {
	fast := supported(b.caps, fastPIDs)
	if len(fast) > 0 {
		b.p.fast = b.add(fastEvery, fastShare, obd.Live(fast[0]))
		var turns []obd.Request
		for i, pid := range fast[1:] {
			if i > 0 {
				turns = append(turns, obd.Live(fast[1]))
			}
			turns = append(turns, obd.Live(pid))
		}
		b.add(followEvery, followShare/2, turns...)
	}
	b.add(4*lampEvery, lampShare, batches(supported(b.caps, lampPIDs), 1)...)
	b.add(4*gearEvery, gearShare, batches(supported(b.caps, gearPIDs), 1)...)
}

// slow plans what changes slowly: what may be asked together in turn, and what must be asked alone in turn.
func (b *builder) slow() {
	var single, several []obd.Request
	for _, req := range batches(supported(b.caps, slowPIDs), b.size) {
		if req.Len() > 2 {
			several = append(several, req)
		} else {
			single = append(single, req)
		}
	}
	b.add(slowEvery/time.Duration(max(len(several), 1)), slowShare, several...)
	b.add(alone, slowShare, single...)
}

// counters plans the counters: one monitor a request, or two where the car has shown that it allows it.
func (b *builder) counters(pairs bool) {
	if len(b.caps.Counters) > 0 {
		b.own()
		return
	}
	var mids []byte
	modules := map[byte][]obd.Module{}
	for _, m := range b.caps.Monitors {
		if m.Counts && !m.ByCode {
			if !slices.Contains(mids, m.MID) {
				mids = append(mids, m.MID)
			}
			modules[m.MID] = append(modules[m.MID], m.Module)
		}
	}
	slices.Sort(mids)
	for len(mids) > 0 {
		n := 1
		if pairs && len(mids) > 1 && slices.Equal(modules[mids[0]], modules[mids[1]]) {
			n = 2
		}
		a := ask{req: obd.NewRequest(obd.TestResults, mids[:n]...)}
		if of := modules[mids[0]]; len(of) == 1 && b.caps.Protocol.CAN() {
			a.module, a.one = of[0], true
		}
		b.p.counts = append(b.p.counts, &item{asks: []ask{a}})
		mids = mids[n:]
	}
	for i := range b.caps.Monitors {
		if m := &b.caps.Monitors[i]; m.Counts && m.ByCode {
			b.p.counts = append(b.p.counts, &item{asks: []ask{{req: uds.Counts(m.Cylinder), module: m.Module, one: true}}})
		}
	}
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

// next is what to ask now. It is nil only for an empty plan.
func (p *plan) next(now time.Time) *item {
	it := p.choose(now)
	if it == nil { // all of them rest
		p.refresh()
		it = p.choose(now)
	}
	if it != nil {
		it.turn(now)
	}
	return it
}

func (p *plan) choose(now time.Time) *item {
	due, overdue := p.due(now)
	counter := p.counter(now)
	switch {
	case counter == nil && p.fast != nil && !p.fast.rests(now):
		// Nothing to count: engine speed two times of three.
		if p.tick++; p.tick%3 != 0 || due == nil {
			return p.fast
		}
		return due
	case due != nil && (overdue >= 1 || counter == nil):
		return due
	case counter != nil:
		return counter
	}
	return p.fast
}

// due is the request with a pace that is the most overdue, and how many times its pace it has waited. Without counters the
// fast request is not among them: it has its turns anyway.
func (p *plan) due(now time.Time) (most *item, overdue float64) {
	for _, it := range p.timed {
		if it.rests(now) || it == p.fast && len(p.counts) == 0 {
			continue
		}
		if it != p.fast && it.asked.IsZero() && p.uncounted() {
			continue // the counters first: what is missed until they were read once cannot be placed
		}
		waited := it.waited(now)
		if most == nil || waited > overdue {
			most, overdue = it, waited
		}
	}
	return most, overdue
}

// uncounted reports that a counter was not asked yet.
func (p *plan) uncounted() bool {
	return len(p.counts) > 0 && slices.ContainsFunc(p.counts, func(it *item) bool { return it.asked.IsZero() })
}

// counter is the counter whose turn it is: that which was asked longest ago. One that moves as fast as it is asked counts
// as twice as old.
func (p *plan) counter(now time.Time) (oldest *item) {
	var most time.Duration
	for _, it := range p.counts {
		if it.rests(now) {
			continue
		}
		age := now.Sub(it.asked)
		if it.lively() {
			age *= 2
		}
		if oldest == nil || age > most {
			oldest, most = it, age
		}
	}
	return oldest
}

// refresh ends the rest of every request: the car may answer again.
func (p *plan) refresh() {
	for _, list := range [...][]*item{p.timed, p.counts} {
		for _, it := range list {
			it.missed, it.until = 0, time.Time{}
		}
	}
}

// empty reports a car that has nothing worth polling.
func (p *plan) empty() bool { return len(p.timed)+len(p.counts) == 0 }

// ask is a request and whom it is for.
type ask struct {
	req    obd.Request
	module obd.Module
	one    bool // for that module alone
	lines  int  // of its answer, 0 where that is not known
	own    bool // of the user's table of counters, under the header that it names
	header string
	proven bool // it has brought all it asks for
	broken int  // answers in a row that were damaged or lacked something
}

// item is what is asked again and again, with what came of it.
type item struct {
	asks    []ask // in turn
	at      int
	every   time.Duration // its pace; 0: whenever there is time
	share   int           // of the wire: one part of so many
	slowest time.Duration // pace that it keeps at least, its share notwithstanding; 0: none
	asked   time.Time     // last
	next    time.Time     // when its pace wants it next
	cost    time.Duration // of one asking, as measured of late

	rider      ask // asked in the place of the others every so often; none without a request
	riderEvery time.Duration
	rode       time.Time
	riding     bool

	missed int       // times in a row that it brought nothing
	until  time.Time // rests until then: it brought nothing of late
	since  int       // answers to all requests when it first brought nothing
	last   float64   // sum of the counts it brought
	moves  uint8     // whether they had moved, the last time in the lowest bit
}

const (
	missesToRest  = 3
	firstRest     = 500 * time.Millisecond
	longestRest   = 10 * time.Second
	breaksToSplit = 3
)

// turn notes that the item is asked now, and sets what it asks.
func (it *item) turn(now time.Time) {
	it.asked = now
	// What came late through another request comes the sooner the next time: its pace is kept in the mean.
	if it.next = it.next.Add(it.pace()); it.next.Before(now.Add(it.pace() / 2)) {
		it.next = now.Add(it.pace())
	}
	it.riding = it.rider.req.Len() > 0 && !it.riding && now.Sub(it.rode) >= it.riderEvery
	if it.riding {
		it.rode = now
		return
	}
	it.at = (it.at + 1) % len(it.asks)
}

// now is what it asks.
func (it *item) now() *ask {
	if it.riding {
		return &it.rider
	}
	return &it.asks[it.at]
}

func (it *item) rests(now time.Time) bool { return now.Before(it.until) }

// pace is how often it is asked: as its worth wants, and no more than its share of the wire allows.
func (it *item) pace() time.Duration {
	p := max(it.every, time.Duration(it.share)*it.cost)
	if it.slowest > 0 {
		p = min(p, it.slowest)
	}
	return p
}

// waited is how many times its pace it has waited; 1 is when it is due.
func (it *item) waited(now time.Time) float64 {
	if it.asked.IsZero() {
		return math.MaxFloat32
	}
	return 1 + float64(now.Sub(it.next))/float64(it.pace())
}

// spent notes what an asking took.
func (it *item) spent(d time.Duration) {
	if it.cost == 0 {
		it.cost = d
	}
	it.cost += (d - it.cost) / 4
}

// moved notes the counts that were read.
func (it *item) moved(counts float64) {
	it.moves <<= 1
	if counts != it.last {
		it.moves |= 1
	}
	it.last = counts
}

// lively reports a counter that moved at three of the last eight readings or more: one that the car brings up to date
// about as often as it is read.
func (it *item) lively() bool {
	n := 0
	for m := it.moves; m != 0; m &= m - 1 {
		n++
	}
	return n >= 3
}

// several reports whether it asks for more than one PID.
func (a *ask) several() bool { return a.req.Service() == obd.LiveData && a.req.Len() > 2 }

// miss notes that the request brought nothing, and lets it rest the longer the more often that happens.
func (it *item) miss(now time.Time) {
	if it.missed++; it.missed >= missesToRest {
		it.until = now.Add(min(firstRest<<min(it.missed-missesToRest, 8), longestRest))
	}
}
