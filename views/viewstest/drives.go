// Package viewstest holds what the tests of views share: invented drives whose rates and limits are computed, readings,
// comparisons, and golden files.
package viewstest

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/misfire/rate"
	"stumble/views"
)

// The drives below are invented, but every rate and limit in them is computed by the rate package from the
// counts given here.

var Began = time.Date(2026, 3, 14, 9, 26, 53, 0, time.UTC)

// LayoutOf is a layout of the table.
func LayoutOf(t testing.TB, key string) engine.Layout {
	t.Helper()
	l, err := engine.Find(key)
	require.NoError(t, err)
	return l
}

// CellOf is a cell of a cylinder in a gear state, warm, with the limits that the counts give it.
func CellOf(cylinder int, g gear.State, o gear.Origin, misses, firings float64) misfire.Cell {
	return misfire.Cell{
		Cylinder: cylinder, Condition: misfire.Condition{Gear: g, Warm: true}, Origin: o,
		Estimate: rate.Interval(misses, firings, 1), Reported: true, Apart: true, Judged: true,
		Running: time.Duration(firings / 6.5 * float64(time.Second)),
	}
}

// WrenSummary is a four that misses on cylinder 2, seldom in park and often in drive.
func WrenSummary(t testing.TB) *misfire.Summary {
	s := &misfire.Summary{
		Start: Began, Now: Began.Add(4*time.Minute + 31*time.Second), Running: 4*time.Minute + 20*time.Second,
		Engine: LayoutOf(t, "i4-1342"), Map: engine.Identity(4), Cycles: 1,
		Live: misfire.Live{
			RPM: 712, Load: 31.4, Speed: 0, Throttle: 12, Coolant: 88,
			Gear: gear.Call{State: gear.Drive, Origin: gear.Marked, Confidence: 0.95}, Running: true, MIL: misfire.MILOn,
			CountAge: []time.Duration{300 * time.Millisecond, 600 * time.Millisecond, 900 * time.Millisecond, 1200 * time.Millisecond},
		},
		Refresh: misfire.Refresh{Kind: misfire.RefreshRevolutions, Revolutions: 200, Rises: 14},
		Verdict: misfire.Verdict{
			Finding:   misfire.Named,
			Cylinders: []int{2}, WorseIn: gear.Drive, Worsening: []int{2},
		},
		Whole: misfire.Whole{
			Catalyst: misfire.Block{Revolutions: 200, Last: 1.0, Worst: 1.5, Limit: 10, Reported: true, Blocks: 16},
			Emission: misfire.Block{Revolutions: 1000, Last: 1.2, Worst: 1.2, Limit: 1, Blocks: 3, Over: 1},
		},
		Unknown:     misfire.Unknown{Running: 11 * time.Second, Misses: 2},
		Unmonitored: 8 * time.Second,
		Averages:    []misfire.Average{{Cylinder: 1, Value: 0}, {Cylinder: 2, Value: 118}, {Cylinder: 3, Value: 1}, {Cylinder: 4, Value: 0}},
		Notes:       []misfire.Note{{Kind: misfire.NoteMap}},
	}
	counts := map[gear.State][4]float64{gear.ParkNeutral: {0, 2, 1, 0}, gear.Drive: {1, 31, 0, 0}, gear.Moving: {0, 9, 0, 0}}
	firings := map[gear.State]float64{gear.ParkNeutral: 1042, gear.Drive: 1000, gear.Moving: 310}
	origins := map[gear.State]gear.Origin{gear.ParkNeutral: gear.Marked, gear.Drive: gear.Marked, gear.Moving: gear.Inferred}
	for _, g := range []gear.State{gear.ParkNeutral, gear.Drive, gear.Moving} {
		for c := 1; c <= 4; c++ {
			s.ByGear = append(s.ByGear, CellOf(c, g, origins[g], counts[g][c-1], firings[g]))
		}
	}
	worst := &s.ByGear[5]
	worst.Worsening, worst.Since, worst.Mixed = true, Began.Add(130*time.Second), 0.12
	for c := 1; c <= 4; c++ {
		sum := 0.0
		for _, n := range counts {
			sum += n[c-1]
		}
		total := CellOf(c, gear.Unknown, gear.None, sum, 2352)
		s.Total = append(s.Total, total)
	}
	s.Total[1].Worsening, s.Total[1].Since = true, worst.Since

	for _, c := range s.ByGear {
		c.Condition.Load, c.Condition.RPM = misfire.BandOfLoad(31), misfire.BandOfRPM(712)
		s.Cells = append(s.Cells, c)
	}
	return s
}

// Strip makes seconds of a drive: park, reverse, drive, and off; one cylinder misses in lumps, as a car counts.
func Strip(n, cylinders, bad int) []misfire.Moment {
	random := rand.New(rand.NewPCG(7, 11))
	moments := make([]misfire.Moment, n)
	for i := range moments {
		at := Began.Add(time.Duration(271-n+1+i) * time.Second)
		m := misfire.Moment{At: at, Gear: gear.ParkNeutral, Origin: gear.Marked, RPM: 760 + 8*random.NormFloat64(), Load: 21 + random.NormFloat64()}
		switch left := n - i; {
		case left <= 9:
			m.Gear, m.RPM, m.Load = gear.Drive, m.RPM-45, m.Load+11
		case left <= 14:
			m.Gear, m.Origin, m.RPM, m.Load = gear.Moving, gear.Inferred, 1500+60*float64(left-9), 55
		case left <= 17:
			m.Gear, m.RPM, m.Load = gear.Reverse, m.RPM-40, m.Load+9
		}
		m.Unmonitored = n-i == 10 || n-i == 11
		if i%5 == 2 {
			m.Misses[bad-1] = uint16(1 + random.IntN(3))
		}
		if i == n-6 {
			m.Misses[bad-1] = 14
		}
		if i == n-20 && cylinders > 2 {
			m.Misses[2] = 1
		}
		moments[i] = m
	}
	return moments
}

// Wren is a drive of a four whose cylinder 2 misses, with marks.
func Wren(t testing.TB) *views.State {
	return &views.State{
		Title: "Larkspur Wren 1.6", VIN: "LKSWREN16X0000042", Summary: WrenSummary(t), Strip: Strip(120, 4, 2), Version: 1,
		Health: views.Health{Adapter: "ELM327 v1.5", Protocol: "CAN 11 bit, 500 kbit/s", PerSecond: 14.2, Exchanges: 3711, Recording: "recording"},
		Notes: []views.Mark{
			{At: Began.Add(12 * time.Second), Text: "gear P/N", Gear: gear.ParkNeutral},
			{At: Began.Add(254 * time.Second), Text: "gear R", Gear: gear.Reverse},
			{At: Began.Add(262 * time.Second), Text: "gear D", Gear: gear.Drive},
			{At: Began.Add(266 * time.Second), Text: "pop heard, left side"},
		},
	}
}

// Guided is the same drive within a guided test, with the catalyst in danger.
func Guided(t testing.TB) *views.State {
	s := Wren(t)
	s.Step = &views.Step{
		Number: 2, Of: 6, Name: "Drive at idle", Instruction: "Hold the brake, shift to D, leave the throttle alone.",
		Left: 42 * time.Second, Length: 2 * time.Minute, Done: 612, Needed: 1500,
		Cautions: []string{"parking brake on, wheels chocked, nobody in front or behind."},
	}
	s.Summary.Verdict.EaseOff = true
	s.Summary.Live.MIL = misfire.MILFlashing
	s.Summary.Whole.Catalyst.Last = 12
	return s
}

// Rook has no counters at all.
func Rook(t testing.TB) *views.State {
	s := Wren(t)
	s.Title, s.Strip, s.Notes = "Larkspur Rook", Strip(40, 4, 2), nil
	for i := range s.Strip {
		s.Strip[i].Misses = [engine.MaxCylinders]uint16{}
	}
	sum := s.Summary
	sum.Verdict = misfire.Verdict{Finding: misfire.Uncounted}
	sum.Refresh, sum.Averages, sum.Unknown = misfire.Refresh{}, nil, misfire.Unknown{}
	sum.Whole = misfire.Whole{
		Catalyst: misfire.Block{Revolutions: 200, Last: math.NaN(), Worst: math.NaN(), Limit: 10},
		Emission: misfire.Block{Revolutions: 1000, Last: math.NaN(), Worst: math.NaN(), Limit: 2},
	}
	sum.Notes = []misfire.Note{{Kind: misfire.NoteNoCounters}}
	sum.Live.CountAge = []time.Duration{-1, -1, -1, -1}
	nan := math.NaN()
	for _, cells := range [][]misfire.Cell{sum.Total, sum.ByGear, sum.Cells} {
		for i := range cells {
			cells[i].Reported, cells[i].Worsening = false, false
			cells[i].Estimate = rate.Estimate{Firings: cells[i].Firings, Rate: nan, Low: nan, High: nan, Phi: 1}
		}
	}
	return s
}

// Eight is a V8 whose link was lost for a while; two cylinders miss.
func Eight(t testing.TB) *views.State {
	s := Wren(t)
	s.Title = "Larkspur eight"
	sum := s.Summary
	sum.Engine = LayoutOf(t, "v8-odd-even-18436572")
	sum.Map = engine.Identity(8)
	sum.Verdict = misfire.Verdict{
		Finding:   misfire.Named,
		Cylinders: []int{6, 1}, WorseIn: gear.Moving,
	}
	sum.ByGear, sum.Total, sum.Cells = nil, nil, nil
	for c := 1; c <= 8; c++ {
		bad := map[int]float64{1: 60, 6: 88}[c]
		sum.ByGear = append(sum.ByGear, CellOf(c, gear.ParkNeutral, gear.Reported, bad/20, 2000), CellOf(c, gear.Moving, gear.Reported, bad, 1000))
		sum.Total = append(sum.Total, CellOf(c, gear.Unknown, gear.None, bad*1.05, 3000))
	}
	sum.Live.CountAge = make([]time.Duration, 8)
	for i := range sum.Live.CountAge {
		sum.Live.CountAge[i] = time.Duration(i+1) * 400 * time.Millisecond
	}
	s.Strip = Strip(60, 8, 6)
	s.Strip = append(s.Strip[:50], s.Strip[56:]...)
	s.Health.Link = "lost, seeking"
	return s
}

// Twelve has more cylinders than most.
func Twelve(t testing.TB) *views.State {
	s := Eight(t)
	s.Health.Link = ""
	s.Summary.Engine = LayoutOf(t, "v12-along-1-7-5-11-3-9-6-12-2-8-4-10")
	for c := 9; c <= 12; c++ {
		s.Summary.ByGear = append(s.Summary.ByGear, CellOf(c, gear.Moving, gear.Reported, 0, 1000))
		s.Summary.Total = append(s.Summary.Total, CellOf(c, gear.Unknown, gear.None, 0, 3000))
	}
	return s
}

// Burst is a drive with everything that makes a rate less sure than it looks.
func Burst(t testing.TB) *views.State {
	s := Wren(t)
	sum := s.Summary
	sum.Map, _ = engine.ParseMap("1,3,4,2", 4)
	sum.ByGear[4].Estimate = rate.AtLeast(65535, 131000, 1)
	worst := &sum.ByGear[5]
	worst.Estimate = rate.Interval(31, 1000, 2.4)
	worst.Bursts, worst.Apart = true, false
	sum.ByGear[6].Estimate = rate.Interval(1200, 1000, 1)
	sum.ByGear[7].Estimate = rate.Interval(0, 0, 1)
	sum.Total[3].Reported = false
	sum.Verdict.EaseOff = true
	return s
}
