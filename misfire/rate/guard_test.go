package rate

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// The guards are rules of our own, found by simulation (the laboratory of package misfire); their figures are written down
// here a second time. An excess of dispersion counts beyond what chance makes of it, the square root of 2/(blocks-1).

func TestGuardFigures(t *testing.T) {
	long := Bursts{Misses: 400, Firings: 10_000, Windows: 100, Missed: 90, Largest: 1}
	with := func(change func(*Bursts)) Bursts {
		b := long
		change(&b)
		return b
	}
	four := []Length{{Blocks: 51, Phi: 1}, {Blocks: 51, Phi: 1}, {Blocks: 51, Phi: 1}, {Blocks: 51, Phi: 1}}
	for name, c := range map[string]struct {
		b    Bursts
		want float64
	}{
		"steady":                    {long, 1},
		"the first moment":          {with(func(b *Bursts) { b.Firings = 0 }), 4},
		"the first seconds":         {with(func(b *Bursts) { b.Firings = 100 }), 2},
		"half a minute":             {with(func(b *Bursts) { b.Firings = 300 }), 1},
		"dispersion":                {with(func(b *Bursts) { b.Lengths = []Length{{Blocks: 51, Phi: 3}} }), 1 + 1.5*(3-1-0.2)},
		"as chance has it":          {with(func(b *Bursts) { b.Lengths = []Length{{Blocks: 51, Phi: 1.19}} }), 1},
		"one burst of ten":          {with(func(b *Bursts) { b.Misses, b.Largest = 10, 10 }), 3 * 10 / (1 + 10/4.0)},
		"one of ten among forty":    {with(func(b *Bursts) { b.Misses, b.Largest = 40, 10 }), 3 * 10 / (1 + 40/4.0)},
		"eleven windows":            {with(func(b *Bursts) { b.Misses, b.Windows, b.Missed = 20, 11, 4 }), 5},
		"twelve windows":            {with(func(b *Bursts) { b.Misses, b.Windows, b.Missed = 20, 12, 4 }), 1},
		"few, and none of them":     {with(func(b *Bursts) { b.Misses, b.Windows, b.Missed = 0, 11, 0 }), 3},
		"few, and a miss in each":   {with(func(b *Bursts) { b.Misses, b.Windows, b.Missed = 24, 8, 8 }), 3},
		"growing over four lengths": {with(func(b *Bursts) { b.Lengths, b.Rise, b.Growth = four, 1, 6 }), 7},
		"growing over three":        {with(func(b *Bursts) { b.Lengths, b.Rise, b.Growth = four[1:], 1, 6 }), 1},
	} {
		require.InDelta(t, c.want, Guard(c.b), 1e-9, name)
	}
}

// Of a change: dispersion counts 1.5 times and the largest burst twice where the part before is steady, 2 and 4 times where
// it may not be; of the part before, 1.5 and 3 times its largest burst.
func TestChangeGuardFigures(t *testing.T) {
	quiet := Bursts{Misses: 400, Firings: 10_000, Windows: 100, Missed: 90, Largest: 1}
	dispersed, burst, few := quiet, quiet, quiet
	dispersed.Lengths = []Length{{Blocks: 51, Phi: 3}}
	burst.Misses, burst.Largest = 40, 10
	few.Misses, few.Windows, few.Missed = 20, 11, 4
	for name, c := range map[string]struct {
		b, before, after Bursts
		steady, strict   float64
	}{
		"nothing":                {quiet, quiet, quiet, 1, 3},
		"dispersion":             {dispersed, quiet, quiet, 1 + 1.5*1.8, 1 + 2*1.8},
		"dispersion before":      {quiet, dispersed, quiet, 1 + 1.5*1.8, 1 + 2*1.8},
		"dispersion after":       {quiet, quiet, dispersed, 1 + 1.5*1.8, 1 + 2*1.8},
		"a burst of ten in all":  {burst, quiet, quiet, 2 * 10 / 11.0, 4 * 10 / 11.0},
		"a burst of ten before":  {quiet, burst, quiet, 15, 30},
		"few windows after":      {quiet, quiet, few, 5, 5},
		"few windows before":     {quiet, few, quiet, 1, 3},
		"a burst of four before": {quiet, Bursts{Misses: 400, Firings: 10_000, Windows: 100, Largest: 4}, quiet, 6, 12},
	} {
		require.InDelta(t, c.steady, SteadyGuard(c.b, c.before, c.after), 1e-9, "%s, steady", name)
		require.InDelta(t, c.strict, StrictGuard(c.b, c.before, c.after), 1e-9, "%s, strict", name)
	}
	for cylinders, want := range map[int]float64{1: 6.5, 4: 6.5, 8: 6.5 + math.Ln2, 12: 6.5 + math.Log(3)} {
		require.InDelta(t, want, ChangeThreshold(cylinders), 1e-9, "%d cylinders", cylinders)
	}
}

// Running shows no bursts with fewer than three misses, or with eight that came one by one in 6,000 firings.
func TestSteadyFigures(t *testing.T) {
	for misses, want := range map[float64]bool{0: true, 2: true, 3: false, 7: false, 8: true} {
		b := Bursts{Misses: misses, Firings: 6000, Windows: 60, Missed: int(misses), Largest: 1, Lengths: []Length{{Blocks: 60, Phi: 1}}}
		require.Equal(t, want, b.Steady(), "%v misses", misses)
		b.Largest = 3
		require.Equal(t, misses < 3, b.Steady(), "%v misses, three together", misses)
	}
}

// Ten misses in 100 firings are a larger burst than twelve in 10,000, where ten are due: a window with the most misses need
// not be the burst.
func TestTheLargestBurstIsNotTheFullestWindow(t *testing.T) {
	var l Ladder
	for range 8 {
		l.Add(12, 10_000)
	}
	l.Add(10, 100)
	for range 7 {
		l.Add(12, 10_000)
	}
	require.Greater(t, Measure(EvidenceLeast, 1, Fitted{Ladder: &l, Rate: 0.001}).Largest, 8.0)
}
