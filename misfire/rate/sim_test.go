package rate

import (
	"math"
	"math/rand/v2"
)

// A fault draws the misses of one cylinder, block of 100 firings by block.
type fault interface {
	drive(rng *rand.Rand, blocks int) []float64
}

type steady struct{ rate float64 }

func (f steady) drive(rng *rand.Rand, blocks int) []float64 {
	out := make([]float64, blocks)
	n := blocks * 100
	for i := skip(rng, f.rate); i < n; i += 1 + skip(rng, f.rate) {
		out[i/100]++
	}
	return out
}

func skip(rng *rand.Rand, p float64) int {
	if p >= 1 {
		return 0
	}
	s := math.Log(1-rng.Float64()) / math.Log1p(-p)
	return int(math.Min(s, 1e12))
}

// badRuns: two states, bad runs geometric with mean length run, chance of a miss in a bad run.
type badRuns struct{ rate, run, chance float64 }

func (f badRuns) drive(rng *rand.Rand, blocks int) []float64 {
	out := make([]float64, blocks)
	n := blocks * 100
	bad := f.rate / f.chance // share of firings in bad runs
	enter := 1 / f.run * bad / (1 - bad)
	i := 0
	if rng.Float64() >= bad {
		i = skip(rng, enter)
	}
	for i < n {
		length := 1 + skip(rng, 1/f.run)
		for j := i + skip(rng, f.chance); j < min(i+length, n); j += 1 + skip(rng, f.chance) {
			out[j/100]++
		}
		i += length + 1 + skip(rng, enter)
	}
	return out
}

// clusters: compound Poisson, geometric sizes, gaps between.
type clusters struct{ rate, size, gap float64 }

func (f clusters) drive(rng *rand.Rand, blocks int) []float64 {
	out := make([]float64, blocks)
	n := float64(blocks * 100)
	lead := 20 * f.size * f.gap
	for t := -lead; ; {
		t += rng.ExpFloat64() * f.size / f.rate
		if t >= n {
			return out
		}
		at := t
		for range 1 + skip(rng, 1/f.size) {
			if at >= n {
				break
			}
			if at >= 0 {
				out[int(at)/100]++
			}
			at += 1 + rng.ExpFloat64()*(f.gap-1)
		}
	}
}

// wandering: the rate is gamma-distributed (shape), redrawn after exponential stretches.
type wandering struct{ rate, shape, stretch float64 }

func (f wandering) drive(rng *rand.Rand, blocks int) []float64 {
	out := make([]float64, blocks)
	n := float64(blocks * 100)
	for t := 0.0; t < n; {
		end := math.Min(n, t+rng.ExpFloat64()*f.stretch)
		r := f.rate * gammaDraw(rng, f.shape) / f.shape
		for at := t + rng.ExpFloat64()/r; at < end; at += rng.ExpFloat64() / r {
			if out[int(at)/100] < 100 {
				out[int(at)/100]++
			}
		}
		t = end
	}
	return out
}

// gammaDraw is Marsaglia and Tsang's method (2000) for shape >= 1, boosted below.
func gammaDraw(rng *rand.Rand, shape float64) float64 {
	if shape < 1 {
		return gammaDraw(rng, shape+1) * math.Pow(rng.Float64(), 1/shape)
	}
	d := shape - 1.0/3
	c := 1 / math.Sqrt(9*d)
	for {
		x := rng.NormFloat64()
		v := 1 + c*x
		if v <= 0 {
			continue
		}
		v = v * v * v
		if math.Log(1-rng.Float64()) < 0.5*x*x+d*(1-v+math.Log(v)) {
			return d * v
		}
	}
}
