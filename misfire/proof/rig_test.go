package proof_test

import (
	"flag"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/misfire/proof"
	"stumble/misfire/rate"
)

// The simulations run few seeds by default; -seeds 500 runs those that the documentation speaks of.
var seeds = flag.Int("seeds", 24, "simulated repairs behind each line")

// simulation leaves a long calculation out of a short run, as that with the race detector: it is the work of one
// goroutine, of which the detector has nothing to say.
func simulation(t *testing.T) {
	t.Helper()
	if testing.Short() {
		t.Skip("a long calculation in one goroutine: run without -short")
	}
}

// spell is one cylinder's running in one condition.
type spell struct {
	cylinder        int
	gear            gear.State
	rpm, load       float64
	cold            bool
	misses, firings float64
	phi             float64 // 0 is 1
	unjudged        bool
	mixed           float64   // firings of mixed windows with misses
	clear           float64   // firings of mixed windows without
	doubt           float64   // misses of the former
	blocks          []float64 // misses of windows of 100 firings; nil spreads them evenly
}

// summary is a drive of a four-cylinder engine with those spells; all cylinders have a counter.
func summary(t testing.TB, spells ...spell) *misfire.Summary {
	t.Helper()
	layout, err := engine.Find("i4-1342")
	require.NoError(t, err)
	s := &misfire.Summary{Engine: layout, Running: time.Hour}
	for i := range layout.Cylinders {
		s.Total = append(s.Total, misfire.Cell{Cylinder: i + 1, Reported: true})
	}
	for _, p := range spells {
		c := p.cell()
		s.Cells = append(s.Cells, c)
		total := &s.Total[p.cylinder-1]
		total.Estimate = rate.Interval(total.Misses+p.misses+p.doubt, total.Firings+c.Firings, 1)
		s.ByGear = intoGear(s.ByGear, c)
	}
	return s
}

func (p spell) cell() misfire.Cell {
	phi := math.Max(1, p.phi)
	all := p.firings + p.mixed + p.clear
	pauses, uneven, guard := p.piled()
	return misfire.Cell{
		Pauses: pauses, Windows: int(p.firings / 100), Uneven: uneven, Guard: guard,
		Cylinder:  p.cylinder,
		Condition: misfire.Condition{Gear: p.gear, Load: misfire.BandOfLoad(p.load), RPM: misfire.BandOfRPM(p.rpm), Warm: !p.cold},
		Origin:    gear.Marked,
		Estimate:  rate.Interval(p.misses+p.doubt, all, phi),
		Reported:  true, Apart: true, Judged: !p.unjudged,
		Mixed: p.mixed / math.Max(1, all),
		RPM:   p.rpm, Load: p.load, Running: time.Duration(2 * all / p.rpm * float64(time.Minute)),
		Decides: rate.Count{Misses: p.misses, Firings: p.firings},
	}
}

// piled is how a spell's misses pile up: as its blocks have it, or in bursts that go with its dispersion, evenly.
func (p spell) piled() (pauses *rate.PauseTally, uneven, guard float64) {
	pauses = &rate.PauseTally{}
	if p.blocks == nil {
		phi := math.Max(1, p.phi)
		each := (1 + phi) / 2 // misses of a burst
		for n := math.Ceil(p.misses / each); n > 0; n-- {
			pauses.Add(0, p.firings/math.Ceil(p.misses/each)-1)
			pauses.Add(math.Min(each, p.misses), 1)
		}
		return pauses, phi, phi
	}
	var l rate.Ladder
	for _, x := range p.blocks {
		pauses.Add(x, 100)
		l.Add(x, 100)
	}
	uneven = 1
	f := rate.Fitted{Ladder: &l, Rate: l.Total().Rate()}
	for _, length := range rate.Measure(10, 1, f).Lengths {
		uneven = math.Max(uneven, length.Phi)
	}
	return pauses, uneven, rate.Guard(rate.Measure(rate.EvidenceLeast, 1, f))
}

func intoGear(all []misfire.Cell, c misfire.Cell) []misfire.Cell {
	for i := range all {
		g := &all[i]
		if g.Cylinder == c.Cylinder && g.Condition.Gear == c.Condition.Gear {
			n, m := g.Firings, c.Firings
			g.RPM, g.Load = (g.RPM*n+c.RPM*m)/(n+m), (g.Load*n+c.Load*m)/(n+m)
			g.Mixed = (g.Mixed*n + c.Mixed*m) / (n + m)
			g.Decides.Misses += c.Decides.Misses
			g.Decides.Firings += c.Decides.Firings
			g.Estimate = rate.Interval(g.Misses+c.Misses, n+m, math.Max(g.Phi, c.Phi))
			g.Judged = g.Judged || c.Judged
			both := g.Pauses.Plus(*c.Pauses)
			g.Pauses, g.Windows = &both, g.Windows+c.Windows
			g.Uneven, g.Guard = math.Max(g.Uneven, c.Uneven), math.Max(g.Guard, c.Guard)
			return all
		}
	}
	c.Condition = misfire.Condition{Gear: c.Condition.Gear}
	return append(all, c)
}

// idle is cylinder 2 at warm idle in Drive.
func idle(misses, firings, phi float64) spell {
	return spell{cylinder: 2, gear: gear.Drive, rpm: 700, load: 33, misses: misses, firings: firings, phi: phi}
}

func sideOf(drives ...*misfire.Summary) proof.Side { return proof.Side{Drives: drives} }

func compare(t testing.TB, before, after *misfire.Summary) *proof.Comparison {
	t.Helper()
	c, err := proof.Compare(proof.Input{Before: sideOf(before), After: sideOf(after)})
	require.NoError(t, err)
	return c
}

// A fault draws the misses of one cylinder, block of 100 firings by block.
type fault interface {
	drive(rng *rand.Rand, rate float64, blocks int) []float64
}

// steady misses independently at each firing.
type steady struct{}

func (steady) drive(rng *rand.Rand, r float64, blocks int) []float64 {
	out := make([]float64, blocks)
	for i := skip(rng, r); i < blocks*100; i += 1 + skip(rng, r) {
		out[i/100]++
	}
	return out
}

// badRuns is a two-state chain: in a bad run, of geometric length, each firing misses with one chance; between
// runs none does.
type badRuns struct{ length, chance float64 }

func (f badRuns) drive(rng *rand.Rand, r float64, blocks int) []float64 {
	out := make([]float64, blocks)
	n := blocks * 100
	bad := r / f.chance
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

// clusters come at random; each has a geometric number of misses, a random gap apart, and they may overlap.
type clusters struct{ size, gap float64 }

func (f clusters) drive(rng *rand.Rand, r float64, blocks int) []float64 {
	out := make([]float64, blocks)
	n := float64(blocks * 100)
	for t := -20 * f.size * f.gap; ; {
		t += rng.ExpFloat64() * f.size / r
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

// skip is how many firings pass before the next that happens with chance p.
func skip(rng *rand.Rand, p float64) int {
	if p >= 1 {
		return 0
	}
	return int(math.Min(1e12, math.Log(1-rng.Float64())/math.Log1p(-p)))
}

// seeded gives each test its own repeatable chance.
func seeded(seed, of uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, of)) }

// idled is a spell of cylinder 2 at idle, as the tally would have it of those blocks of 100 firings.
func idled(cylinder int, blocks []float64) spell {
	misses := 0.0
	for _, x := range blocks {
		misses += x
	}
	s := idle(misses, 100*float64(len(blocks)), 1)
	s.cylinder, s.blocks = cylinder, blocks
	return s
}
