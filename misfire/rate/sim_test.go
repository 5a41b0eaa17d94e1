package rate

import (
	"flag"
	"math"
	"math/rand/v2"
	"testing"
)

// long runs the simulations ten times as large.
var long = flag.Bool("long", false, "run the simulations ten times as large")

// simulation leaves a long calculation out of a short run, as that with the race detector: it is the arithmetic of one
// goroutine, which the detector slows tenfold and has nothing to say of.
func simulation(t *testing.T) {
	t.Helper()
	if testing.Short() {
		t.Skip("a long calculation in one goroutine: run without -short")
	}
}

func many(n int) int {
	if *long {
		return 10 * n
	}
	return n
}

// seeded gives each test its own repeatable chance.
func seeded(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 20260401)) }

// A fault draws the misses of one cylinder, block of 100 firings by block.
type fault interface {
	drive(rng *rand.Rand, blocks int) []float64
	rate() float64       // misses per firing, on average
	dispersion() float64 // phi over blocks without end, by theory
	at(rate float64) fault
}

// steady misses independently at each firing.
type steady struct{ r float64 }

func (f steady) rate() float64         { return f.r }
func (f steady) dispersion() float64   { return 1 }
func (f steady) at(rate float64) fault { return steady{rate} }
func (f steady) drive(rng *rand.Rand, blocks int) []float64 {
	out := make([]float64, blocks)
	for i := skip(rng, f.r); i < blocks*100; i += 1 + skip(rng, f.r) {
		out[i/100]++
	}
	return out
}

// badRuns is a two-state chain: in a bad run, of geometric length, each firing
// misses with one chance; between runs none does.
type badRuns struct{ r, length, chance float64 }

func (f badRuns) rate() float64 { return f.r }
func (f badRuns) dispersion() float64 {
	bad := f.r / f.chance
	alike := 1 - 1/f.length - bad/(1-bad)/f.length // of two neighbours' states
	return 1 - f.r + 2*f.chance*(1-bad)*alike/(1-alike)
}
func (f badRuns) at(rate float64) fault { f.r = rate; return f }
func (f badRuns) drive(rng *rand.Rand, blocks int) []float64 {
	out := make([]float64, blocks)
	n := blocks * 100
	bad := f.r / f.chance // share of firings in bad runs
	enter := bad / (1 - bad) / f.length
	i := 0
	if rng.Float64() >= bad {
		i = skip(rng, enter)
	}
	for i < n {
		end := min(n, i+1+skip(rng, 1/f.length))
		for j := i + skip(rng, f.chance); j < end; j += 1 + skip(rng, f.chance) {
			out[j/100]++
		}
		i = end + 1 + skip(rng, enter)
	}
	return out
}

// clusters come at random; each has a geometric number of misses, a random gap
// apart, and they may overlap.
type clusters struct{ r, size, gap float64 }

func (f clusters) rate() float64         { return f.r }
func (f clusters) dispersion() float64   { return 2*f.size - 1 }
func (f clusters) at(rate float64) fault { f.r = rate; return f }
func (f clusters) drive(rng *rand.Rand, blocks int) []float64 {
	out := make([]float64, blocks)
	n := float64(blocks * 100)
	for t := -20 * f.size * f.gap; ; {
		t += rng.ExpFloat64() * f.size / f.r
		if t >= n {
			return out
		}
		at := t
		for range 1 + skip(rng, 1/f.size) {
			if at >= 0 && at < n {
				out[int(at)/100] = min(100, out[int(at)/100]+1)
			}
			at += 1 + rng.ExpFloat64()*(f.gap-1)
		}
	}
}

// wandering has a rate that is gamma-distributed and drawn anew after stretches
// of exponential length.
type wandering struct{ r, shape, stretch float64 }

func (f wandering) rate() float64         { return f.r }
func (f wandering) dispersion() float64   { return 1 + 2*f.r*f.stretch/f.shape }
func (f wandering) at(rate float64) fault { f.r = rate; return f }
func (f wandering) drive(rng *rand.Rand, blocks int) []float64 {
	out := make([]float64, blocks)
	n := float64(blocks * 100)
	for t := 0.0; t < n; {
		end := math.Min(n, t+rng.ExpFloat64()*f.stretch)
		r := f.r * gammaDraw(rng, f.shape) / f.shape
		for at := t + rng.ExpFloat64()/r; at < end; at += rng.ExpFloat64() / r {
			out[int(at)/100] = min(100, out[int(at)/100]+1)
		}
		t = end
	}
	return out
}

// skip is how many firings pass before the next that happens with chance p.
func skip(rng *rand.Rand, p float64) int {
	if p >= 1 {
		return 0
	}
	return int(math.Min(1e12, math.Log(1-rng.Float64())/math.Log1p(-p)))
}

// gammaDraw is Marsaglia and Tsang's method (2000), for shapes of 1 and more.
func gammaDraw(rng *rand.Rand, shape float64) float64 {
	d := shape - 1.0/3
	c := 1 / math.Sqrt(9*d)
	for {
		x := rng.NormFloat64()
		v := math.Pow(1+c*x, 3)
		if v > 0 && math.Log(1-rng.Float64()) < 0.5*x*x+d*(1-v+math.Log(v)) {
			return d * v
		}
	}
}

// poissonDraw is Knuth's method, in parts small enough for it.
func poissonDraw(rng *rand.Rand, mean float64) float64 {
	var k float64
	for ; mean > 30; mean -= 30 {
		k += poissonDraw(rng, 30)
	}
	limit := math.Exp(-mean)
	for p := rng.Float64(); p > limit; p *= rng.Float64() {
		k++
	}
	return k
}

// measured is a drive read every 100 firings, and what its bursts take off the evidence of it.
func measured(blocks []float64) (*Ladder, float64) {
	var l Ladder
	for _, x := range blocks {
		l.Add(x, 100)
	}
	return &l, Guard(Measure(EvidenceLeast, 1, Fitted{&l, l.Total().Rate()}))
}

// TestFaultsAreWhatTheySay: a simulation proves nothing if the simulated car is
// not the one described.
func TestFaultsAreWhatTheySay(t *testing.T) {
	rng := seeded(1)
	for _, f := range []fault{
		steady{0.01}, badRuns{0.01, 5, 0.5}, badRuns{0.01, 40, 0.5}, badRuns{0.03, 300, 0.3},
		clusters{0.01, 3, 4}, clusters{0.01, 10, 4}, wandering{0.01, 1, 300},
	} {
		const blocks = 400_000
		var all, squares float64
		const merged = 100 // blocks of 10,000 firings are longer than any burst
		drive := f.drive(rng, blocks)
		for i := 0; i < blocks; i += merged {
			var x float64
			for _, v := range drive[i : i+merged] {
				x += v
			}
			all += x
			squares += x * x
		}
		groups := float64(blocks / merged)
		mean := all / groups
		phi := (squares/groups - mean*mean) / mean
		within(t, all/(blocks*100), f.rate(), 0.06*f.rate(), "%T rate", f)
		within(t, phi, f.dispersion(), 0.12*f.dispersion(), "%T dispersion", f)
	}
}

func within(t *testing.T, got, want, by float64, format string, args ...any) {
	t.Helper()
	if !(math.Abs(got-want) <= by) {
		t.Errorf(format+": got %v, want %v within %v", append(args, got, want, by)...)
	}
}
