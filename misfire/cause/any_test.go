package cause

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/bench"
	"stumble/misfire/engine"
	"stumble/misfire/proof"
	"stumble/obd"
)

// anything is evidence of any car in any state, sense or nonsense.
func anything(rng *rand.Rand) Evidence {
	layouts := engine.Layouts()
	e := Evidence{Ignition: Ignition(rng.IntN(4))}
	if rng.IntN(3) > 0 {
		e.Engine = layouts[rng.IntN(len(layouts))]
	}
	count := func() Count {
		n := rng.Float64() * 3000 * float64(rng.IntN(2))
		x := n * math.Pow(rng.Float64(), 6)
		return Count{Misses: x, Firings: n, Effective: x / (1 + 3*rng.Float64())}
	}
	for range rng.IntN(2) * rng.IntN(13) {
		c := Cylinder{Counted: rng.IntN(5) > 0, Judged: rng.IntN(2) == 0, Bursts: rng.IntN(2) == 0}
		for p := range Places {
			c.At[p] = [2]Count{count(), count()}
			c.Total.add(c.at(Place(p)))
		}
		e.Cylinders = append(e.Cylinders, c)
		for p := range Places {
			for b := range heatBins {
				n := count()
				e.Heat[len(e.Cylinders)-1][p][b] = Tally{n.Misses, n.Firings}
			}
		}
	}
	for range rng.IntN(2) * rng.IntN(9) {
		e.Last = append(e.Last, float64(rng.IntN(300)))
	}
	for bank := range e.Trims {
		for p := range TrimPlaces {
			e.Trims[bank][p] = Trim{rng.NormFloat64() * 12, rng.IntN(2) * rng.IntN(50)}
		}
	}
	codes := []obd.Code{0x0300, 0x0302, 0x0308, 0x0312, 0x0171, 0x0175, 0x0352, 0x0203, 0x0335, 0x0016, 0x0087, 0x0420, 0xFFFF, 0}
	for range rng.IntN(4) {
		e.Codes.Set = append(e.Codes.Set, codes[rng.IntN(len(codes))])
	}
	e.Codes.Read, e.Codes.Cleared = rng.IntN(2) == 0, rng.IntN(4) == 0
	if rng.IntN(2) == 0 {
		e.Codes.Frame = &Frame{rng.Float64() * 100, rng.Float64() * 4000, rng.Float64() * 100, math.NaN()}
	}
	if rng.IntN(2) == 0 {
		e.Dips = [2]Tally{{float64(rng.IntN(20)), 600}, {float64(rng.IntN(20)), 600 * rng.Float64()}}
	}
	e.Bench = bench.Judge(measurements(rng))
	for range rng.IntN(3) {
		parts := proof.Parts()
		e.Swaps = append(e.Swaps, proof.SwapResult{Swap: proof.Swap{Part: parts[rng.IntN(len(parts))], A: 2, B: 3},
			Verdict: proof.SwapVerdict(rng.IntN(5)), From: 1 + rng.IntN(4), To: 3})
	}
	return e
}

func measurements(rng *rand.Rand) (all []bench.Reading) {
	kinds := bench.Kinds()
	values := []float64{0, 1, 5, 12, 700, 1200, -3, math.Inf(1), math.NaN()}
	texts := []string{"", "wet", "normal", "worn, 1.4 mm", "weak", "none", "odd words"}
	for range rng.IntN(12) {
		k := kinds[rng.IntN(len(kinds))]
		all = append(all, bench.Reading{Part: k.Part, Quantity: k.Quantity, Unit: k.Unit, Cylinder: rng.IntN(7),
			Value: values[rng.IntN(len(values))], Text: texts[rng.IntN(len(texts))]})
	}
	return all
}

// requireSound holds a result to being one.
func requireSound(t *testing.T, r *Result) {
	t.Helper()
	if r.Basis == Nothing {
		require.Empty(t, r.Ranked)
		return
	}
	sum := 0.0
	for _, c := range r.Ranked {
		require.False(t, math.IsNaN(c.Share) || c.Share < 0 || c.Share > 1)
		sum += c.Share
		for _, reason := range append(append([]Reason{}, c.For...), c.Against...) {
			require.NotEmpty(t, reason.Fact)
			require.NotEmpty(t, reason.Why)
			require.False(t, math.IsNaN(reason.Times))
		}
	}
	require.InDelta(t, 1, sum, 1e-9)
	for _, f := range r.Facts {
		requireWeights(t, f.Feature, f.Weights)
	}
	for _, f := range r.Done {
		requireWeights(t, f.Test, f.Weights)
	}
	if r.Next != nil {
		require.False(t, math.IsNaN(r.Next.Bits))
	}
}

func requireWeights(t *testing.T, of string, weights []float64) {
	t.Helper()
	sum := 0.0
	for _, w := range weights {
		require.False(t, math.IsNaN(w) || w < -1e-9, "%s: %v", of, weights)
		sum += w
	}
	require.InDelta(t, 1, sum, 1e-6, "%s: %v", of, weights)
}

// Whatever is told, sense or nonsense, the answer is sound.
func TestAnythingIsExplained(t *testing.T) {
	n := 2000
	if testing.Short() {
		n = 300
	}
	book := StandardBook()
	bases := make(map[Basis]int)
	for seed := range uint64(n) {
		r := book.Explain(anything(rand.New(rand.NewPCG(seed, 5))))
		requireSound(t, r)
		bases[r.Basis]++
	}
	for _, b := range []Basis{Nothing, FromCodes, FromLastCycle, FromDips, FromCounts} {
		assert.Positive(t, bases[b], "%s was never met", b)
	}
}
