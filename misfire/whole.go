package misfire

import "math"

// The two blocks of crank revolutions over which whole-engine misfire is judged, and the limits taken when
// the car does not tell its own: the least that a maker must be allowed (13 CCR 1968.2 (e)(3.2.1) and
// (e)(3.2.2), from memory; service pages agree). Real catalyst limits run from 5 to 30 % and fall with
// speed and load.
const (
	catalystRevolutions = 200
	emissionRevolutions = 1000
	catalystLimit       = 5.0 // percent
	emissionLimit       = 1.0 // percent
	blockSlack          = 0.1 // of its length, that a block may be longer since windows are not split
)

// wholeEngine sums all cylinders over blocks of revolutions.
type wholeEngine struct {
	catalyst, emission blockSum
}

// blockSum fills one block after another with whole windows.
type blockSum struct {
	revolutions     float64
	firings, misses float64
	filled          float64
	block           Block
}

func newWholeEngine() wholeEngine {
	return wholeEngine{
		catalyst: newBlockSum(catalystRevolutions, catalystLimit),
		emission: newBlockSum(emissionRevolutions, emissionLimit),
	}
}

func newBlockSum(revolutions, limit float64) blockSum {
	return blockSum{revolutions: revolutions,
		block: Block{Revolutions: revolutions, Last: math.NaN(), Worst: math.NaN(), Limit: limit}}
}

func (e *wholeEngine) add(w *window) {
	e.catalyst.add(w)
	e.emission.add(w)
}

// limits sets the car's own limits where it told them; NaN leaves the default.
func (e *wholeEngine) limits(catalyst, emission float64) {
	e.catalyst.limit(catalyst)
	e.emission.limit(emission)
}

func (b *blockSum) limit(percent float64) {
	if percent > 0 && percent <= 100 {
		b.block.Limit, b.block.Reported = percent, true
	}
}

// add fills the block. A window longer than a block stands for the worst block in it, which is as bad as its mean
// at least. One with a hole begins the block anew.
func (b *blockSum) add(w *window) {
	perCylinder := 0.0
	for _, s := range w.running {
		perCylinder += s.firings
	}
	if w.broken || 2*perCylinder > b.revolutions*(1+blockSlack) {
		b.filled, b.firings, b.misses = 0, 0, 0
	}
	if w.broken {
		return
	}
	b.filled += 2 * perCylinder
	for i, valid := range w.valid {
		if valid {
			b.firings += perCylinder
			b.misses += float64(w.misses[i])
		}
	}
	if b.filled < b.revolutions*(1-blockSlack/2) {
		return
	}
	if b.firings > 0 {
		b.close(100 * b.misses / b.firings)
	}
	b.filled, b.firings, b.misses = 0, 0, 0
}

func (b *blockSum) close(percent float64) {
	b.block.Blocks++
	b.block.Last = percent
	if !(percent <= b.block.Worst) {
		b.block.Worst = percent
	}
	if percent > b.block.Limit {
		b.block.Over++
	}
}
