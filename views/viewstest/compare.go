package viewstest

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/misfire/proof"
	"stumble/misfire/rate"
	"stumble/obd"
	"stumble/views/report"
)

// Spell is running of one cylinder in one condition.
type Spell struct {
	Cylinder        int
	Gear            gear.State
	Rpm, Load       float64
	Cold            bool
	Misses, Firings float64
}

// Drove is a drive of a four with those spells.
func Drove(t testing.TB, hours int, spells ...Spell) *misfire.Summary {
	start := Began.Add(time.Duration(hours) * time.Hour)
	s := &misfire.Summary{Start: start, Now: start.Add(31 * time.Minute), Running: 30 * time.Minute, Engine: LayoutOf(t, "i4-1342"), Map: engine.Identity(4)}
	for i := range 4 {
		s.Total = append(s.Total, CellOf(i+1, gear.Unknown, gear.None, 0, 0))
	}
	for _, p := range spells {
		c := CellOf(p.Cylinder, p.Gear, gear.Marked, p.Misses, p.Firings)
		c.Condition.Load, c.Condition.RPM, c.Condition.Warm = misfire.BandOfLoad(p.Load), misfire.BandOfRPM(p.Rpm), !p.Cold
		c.RPM, c.Load, c.Decides = p.Rpm, p.Load, rate.Count{Misses: p.Misses, Firings: p.Firings}
		c.Pauses, c.Windows, c.Uneven, c.Guard = spread(p.Misses, p.Firings), int(p.Firings/100), 1, 1
		s.Cells = append(s.Cells, c)
		whole := c
		whole.Condition = misfire.Condition{Gear: p.Gear}
		s.ByGear = append(s.ByGear, whole)
		total := &s.Total[p.Cylinder-1]
		total.Estimate = rate.Interval(total.Misses+p.Misses, total.Firings+p.Firings, 1)
	}
	return s
}

// spread is misses that come evenly, one by one; nil for none.
func spread(misses, firings float64) *rate.PauseTally {
	if misses == 0 {
		return nil
	}
	pauses := new(rate.PauseTally)
	for range int(misses) {
		pauses.Add(0, firings/misses-1)
		pauses.Add(1, 1)
	}
	return pauses
}

// Judged is a comparison of two drives as the program makes it.
func Judged(t testing.TB, before, after *misfire.Summary, swap string) *report.Comparison {
	t.Helper()
	code := func(stored ...obd.Code) *obd.CodeReport {
		return &obd.CodeReport{Modules: []obd.ModuleCodes{{Stored: stored, Permanent: []obd.Code{0x0302}}}}
	}
	cycles := proof.NewCycles(proof.CycleConfig{Cylinders: 4}).Progress()
	in := proof.Input{Before: proof.Side{Drives: []*misfire.Summary{before}, Codes: code(0x0302)},
		After: proof.Side{Drives: []*misfire.Summary{after}, Codes: code(), Cycles: &cycles}}
	c := &report.Comparison{Before: []report.Compared{{Drive: 3, Summary: before}}, After: []report.Compared{{Drive: 5, Summary: after}}, Rules: cycles.Rules(),
		Codes: report.CodesRead{Before: before.Start, After: after.Start}}
	var err error
	c.Result, err = proof.Compare(in)
	require.NoError(t, err)
	ready := proof.ReadinessOf([]obd.Monitors{{}}, 0)
	c.Readiness = &ready
	if swap != "" {
		s, err := proof.ParseSwap(swap)
		require.NoError(t, err)
		c.Swap, err = proof.CompareSwap(in, s)
		require.NoError(t, err)
	}
	return c
}

// Broken is a drive in which cylinder 2 misses in Drive and on the road.
func Broken(t testing.TB) *misfire.Summary {
	return Drove(t, 0,
		Spell{Cylinder: 1, Gear: gear.Drive, Rpm: 690, Load: 34, Firings: 4000}, Spell{Cylinder: 2, Gear: gear.Drive, Rpm: 690, Load: 34, Misses: 124, Firings: 4000},
		Spell{Cylinder: 1, Gear: gear.Moving, Rpm: 2050, Load: 55, Firings: 2000}, Spell{Cylinder: 2, Gear: gear.Moving, Rpm: 2050, Load: 55, Misses: 90, Firings: 2000},
		Spell{Cylinder: 1, Gear: gear.ParkNeutral, Rpm: 750, Load: 21, Firings: 3000}, Spell{Cylinder: 2, Gear: gear.ParkNeutral, Rpm: 750, Load: 21, Misses: 1, Firings: 3000},
		Spell{Cylinder: 2, Gear: gear.Reverse, Rpm: 720, Load: 33, Cold: true, Firings: 300})
}

// Cured is a later drive without a miss, of so many firings of a cylinder in each condition.
func Cured(t testing.TB, firings float64) *misfire.Summary {
	return Drove(t, 24, Spell{Cylinder: 2, Gear: gear.Drive, Rpm: 700, Load: 32, Firings: firings}, Spell{Cylinder: 2, Gear: gear.Moving, Rpm: 2100, Load: 51, Firings: firings},
		Spell{Cylinder: 1, Gear: gear.Drive, Rpm: 700, Load: 32, Firings: firings}, Spell{Cylinder: 1, Gear: gear.Moving, Rpm: 2100, Load: 51, Firings: firings})
}
