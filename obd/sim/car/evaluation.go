package car

// block is a stretch of crank turns over which the share of misses of the whole engine is judged
// (misfire-rules section 2). Turns that cannot be judged do not count towards it.
type block struct {
	turns    float64 // length
	revs     float64
	firings  uint32
	misses   [maxCylinders]uint32
	missed   uint32
	limit    float64 // integrals over the turns: limit in percent, speed, load
	rpm      float64
	load     float64
	finished int // blocks judged since the engine start
}

// mean values over the block so far.
func (b *block) means() (limit, rpm, load float64) {
	return b.limit / b.revs, b.rpm / b.revs, b.load / b.revs
}

// percent is the whole engine's share of misses.
func (b *block) percent() float64 {
	if b.firings == 0 {
		return 0
	}
	return 100 * float64(b.missed) / float64(b.firings)
}

func (b *block) add(revs, limit, rpm, load float64) {
	b.revs += revs
	b.limit += limit * revs
	b.rpm += rpm * revs
	b.load += load * revs
}

func (b *block) fired(cyl int, miss bool) {
	b.firings++
	if miss {
		b.misses[cyl-1]++
		b.missed++
	}
}

// full reports whether the block has its turns.
func (b *block) full() bool { return b.revs >= b.turns }

// next empties the block for the stretch that follows.
func (b *block) next() { *b = block{turns: b.turns, finished: b.finished + 1} }

// reset empties it for a new driving cycle.
func (b *block) reset() { *b = block{turns: b.turns} }

// main is the cylinder that has more than nine of ten of the block's misses, or 0: the rule by which a code may
// name one cylinder alone (13 CCR 1968.2 (e)(3.1.2)-(3.1.3), misfire-rules section 2).
func (b *block) main() int {
	for i, n := range b.misses {
		if n*10 > b.missed*9 {
			return i + 1
		}
	}
	return 0
}

// catalystLimit is the share of misses, in percent, that would overheat the catalyst: about 15 at idle, falling
// with speed and load to the 5 below which a maker need not go.
func catalystLimit(rpm, load float64) float64 { return max(5, 20-load/10-rpm/400) }

// emissionLimit is the share of misses, in percent, that would spoil the exhaust; a maker need not go lower.
const emissionLimit = 1.0

// testCycle reports whether a block lies where the emission test cycle runs, our reading of that region: not
// above 3000 rpm nor 60 % load.
func testCycle(rpm, load float64) bool { return rpm <= 3000 && load <= 60 }

// evaluation is the controller's judgement of misfire over a driving cycle.
type evaluation struct {
	fast, slow         block // 200 and 1,000 turns
	fastOver, slowOver int   // blocks over their limits in this cycle
	fastLast, slowLast float64
	lastBlock          [maxCylinders]uint32 // misses of each cylinder in the last of the fast blocks
	judged             bool                 // fast and slow have a result since the last clear
	judgedSlow         bool
	damaging           bool // catalyst-damaging misfire was called and goes on
}

func newEvaluation() evaluation {
	return evaluation{fast: block{turns: 200}, slow: block{turns: 1000}}
}

// begin is an engine start.
func (e *evaluation) begin() {
	e.fast.reset()
	e.slow.reset()
	e.fastOver, e.slowOver, e.damaging = 0, 0, false
}

// verdict is what a finished block amounts to.
type verdict struct {
	catalyst, emission bool   // an event that sets a code
	over               bool   // the catalyst limit was passed, whether or not it is an event yet
	code               uint16 // P0300 or one cylinder's
	cylinder           int    // named by the code, 0 for several
}

// judge closes blocks that are full.
func (e *evaluation) judge() (v verdict) {
	if e.fast.full() {
		v = e.judgeFast()
	}
	if e.slow.full() {
		if s := e.judgeSlow(); s.emission && !v.catalyst {
			s.over = v.over
			v = s
		}
	}
	return v
}

// judgeFast: the third block over the limit within the test cycle's region, the first elsewhere.
// 13 CCR 1968.2 (e)(3.4.1)(A)(i), misfire-rules section 2.
func (e *evaluation) judgeFast() (v verdict) {
	limit, rpm, load := e.fast.means()
	e.fastLast, e.judged, e.lastBlock = e.fast.percent(), true, e.fast.misses
	if e.fastLast > limit {
		e.fastOver++
		v = named(&e.fast)
		v.over = true
		v.catalyst = e.fastOver >= 3 || !testCycle(rpm, load)
	}
	e.damaging = v.over && (v.catalyst || e.damaging)
	e.fast.next()
	return v
}

// judgeSlow: the first block after the start if over the limit, else the fourth in the cycle.
// 13 CCR 1968.2 (e)(3.4.2), misfire-rules section 2.
func (e *evaluation) judgeSlow() (v verdict) {
	e.slowLast, e.judgedSlow = e.slow.percent(), true
	if e.slowLast > emissionLimit {
		e.slowOver++
		v = named(&e.slow)
		v.emission = e.slow.finished == 0 || e.slowOver >= 4
	}
	e.slow.next()
	return v
}

// named is the code a block calls for.
func named(b *block) verdict {
	cyl := b.main()
	return verdict{code: misfireCode(cyl), cylinder: cyl}
}

// misfireCode is P0300 for 0, else P0301 to P0312; the digits read as decimal.
func misfireCode(cyl int) uint16 {
	return 0x0300 + uint16(cyl/10)<<4 + uint16(cyl%10)
}
