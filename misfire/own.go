package misfire

import (
	"math"

	"stumble/misfire/engine"
	"stumble/obd"
	"stumble/obd/counters"
)

// A car of the time before the standard's counts may tell misses in its maker's own data, by a table of the user's. Counts
// that add up are followed like any counter, one that goes round from where it was last believed. A count of the last 200
// turns is another kind: each block of turns is a draw of a hundred firings. One block is taken for every 200 turns, so that
// each firing counts once in the mean, and what was taken adds up to a counter that rises once a block.

// block is how many turns such a count is of.
const ownBlock = 200.0

// own follows one cylinder's count of the last block.
type own struct {
	known bool
	next  float64 // revolutions, when the next block is taken
	sum   float64 // misses taken
}

// ownReading notes what a reading of the user's table is of.
func (e *event) ownReading(r *obd.Reading) {
	kind := counters.Kind(r.Part)
	e.own, e.block, e.share = true, !kind.Adds(), r.Value
	e.value = int(math.Round(r.Value))
}

// unwind is the value of a counter that goes round: the least that is not below what was last believed. A counter that
// began anew looks like a rise by more than ran, and is found out so.
func (t *Tally) unwind(e *event, l *lane) {
	wrap := int(math.Round(t.cfg.Wraps[e.cylinder]))
	if !e.own || wrap < 2 || !l.based || e.value < 0 {
		return
	}
	e.value = l.value + ((e.value-l.value)%wrap+wrap)%wrap
}

// takeBlock makes a counter of a count of the last block. It reports whether the counter has run long enough to begin with:
// the first block may be one of before.
func (t *Tally) takeBlock(e *event, l *lane, standing bool) (settled bool) {
	b, rev := &t.blocks[e.cylinder], t.judged // turns that are not judged belong to no block
	switch {
	case standing:
	case !b.known, rev-b.next > ownBlock: // the first reading, or too long unread: a block was missed
		if l.based {
			l.dropBaseline()
		}
		*b = own{known: true, next: rev + ownBlock}
	case !l.based && rev >= b.next:
		settled, b.next = true, rev+ownBlock
	case l.based && rev >= b.next:
		b.sum += min(e.share, ownBlock/2)
		b.next += ownBlock
	}
	e.value = int(math.Round(b.sum))
	return settled || l.based
}

// dropBlocks forgets the blocks: the engine was started anew.
func (t *Tally) dropBlocks() { t.blocks = [engine.MaxCylinders]own{} }
