package say

import (
	"math"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/cause"
	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/misfire/proof"
	"stumble/misfire/rate"
	"stumble/obd"
)

var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

// counted is one cylinder's running in one gear state.
type counted struct {
	cylinder        int
	gear            gear.State
	misses, firings float64
	phi             float64
	unjudged        bool
}

// drive is the summary of a four-cylinder drive with this running; cylinders that are not named never missed.
func drive(cells ...counted) *misfire.Summary {
	s := &misfire.Summary{Engine: engine.Layout{Cylinders: 4}, Start: noon, Now: noon.Add(time.Hour), Cycles: 1, Refresh: misfire.Refresh{Kind: misfire.RefreshRevolutions, Revolutions: 200}}
	for i := 1; i <= 4; i++ {
		s.Total = append(s.Total, misfire.Cell{Cylinder: i, Reported: true, Apart: true, Estimate: rate.Interval(0, 0, 1)})
	}
	for _, c := range cells {
		var pauses rate.PauseTally
		each := max(1, (1+c.phi)/2) // misses of a burst, which lie evenly
		for n := c.misses / each; n >= 1; n-- {
			pauses.Add(0, c.firings/(c.misses/each)-1)
			pauses.Add(each, 1)
		}
		cell := misfire.Cell{
			Pauses: &pauses, Windows: int(c.firings / 100), Uneven: max(1, c.phi), Guard: max(1, c.phi),
			Cylinder: c.cylinder, Condition: misfire.Condition{Gear: c.gear, Load: misfire.BandOfLoad(33), RPM: misfire.BandOfRPM(700), Warm: true},
			Estimate: rate.Interval(c.misses, c.firings, max(1, c.phi)), Reported: true, Apart: true, Judged: !c.unjudged, RPM: 700, Load: 33,
			Decides: rate.Count{Misses: c.misses, Firings: c.firings},
		}
		s.Cells = append(s.Cells, cell)
		cell.Condition = misfire.Condition{Gear: c.gear}
		s.ByGear = append(s.ByGear, cell)
		total := &s.Total[c.cylinder-1]
		total.Estimate = rate.Interval(total.Misses+c.misses, total.Firings+c.firings, 1)
	}
	return s
}

func named(s *misfire.Summary, worseIn gear.State, cylinders ...int) *misfire.Summary {
	s.Verdict = misfire.Verdict{Finding: misfire.Named, Cylinders: cylinders, WorseIn: worseIn}
	return s
}

// Codes that name other cylinders than the counts come first, with what would settle it.
func TestClashIsToldFirst(t *testing.T) {
	w := English()
	s := named(drive(counted{cylinder: 2, gear: gear.Drive, misses: 29, firings: 1000}), gear.Drive, 2)
	s.Verdict.Clash = &misfire.Clash{Coded: []int{4}, Counted: []int{2}, Numbering: misfire.NumberingByOrder}
	assert.Equal(t, "The code names cylinder 4, the counts are on 2: if this car numbers its counts by firing order, both mean cylinder 4. "+
		"Settle it before touching a part: unplug one injector at idle and see which counter moves; run again with --map firing-order where it is "+
		"not its own, with --map 1,2,3 and so on where it is. Cylinder 2 misses 29 of 1,000 firings in Drive.", w.Verdict(s))
	s.Verdict.Clash = &misfire.Clash{Coded: []int{1, 4}, Counted: []int{2}}
	assert.Equal(t, "The codes name cylinders 1 and 4, the counts are on 2: the code is older, or this car numbers its counts in its own way. "+
		"Settle it before touching a part: read the codes again; unplug one injector at idle, see which counter moves, and run again with --map. "+
		"Until then no cause is named.", w.Causes(&cause.Result{Basis: cause.NumberingOpen, Clash: s.Verdict.Clash}))
	s.Verdict.Clash.Numbering = misfire.NumberingTold
	assert.Equal(t, "The codes name cylinders 1 and 4, the counts, by the map given, are on 2: the code is older, or the map is wrong. "+
		"Cylinder 2 misses 29 of 1,000 firings in Drive.", w.Verdict(s))
}

// A counter that reached its end tells the least that a rate can be.
func TestAtLeastIsTold(t *testing.T) {
	w := English()
	s := named(drive(counted{cylinder: 2, gear: gear.ParkNeutral, misses: 12, firings: 1000}, counted{cylinder: 2, gear: gear.Drive, misses: 31, firings: 1000}),
		gear.Drive, 2)
	s.ByGear[1].AtLeast = true
	assert.Equal(t, "Cylinder 2 misses at least 31 of 1,000 firings in Drive, 12 in Park or Neutral.", w.Verdict(s))
	s.ByGear, s.Total[1].AtLeast = nil, true
	assert.Equal(t, "Cylinder 2 misses at least 22 of 1,000 firings.", w.Verdict(s))
}

// A bank that misses is named with its cylinders.
func TestBankIsNamed(t *testing.T) {
	w := English()
	six := func(misses ...float64) *misfire.Summary {
		s := drive()
		s.Engine = engine.Layout{Cylinders: 6, Banks: [][]int{{1, 2, 3}, {6, 5, 4}}}
		s.Total = nil
		for i, m := range misses {
			s.Total = append(s.Total, misfire.Cell{Cylinder: i + 1, Reported: true, Apart: true, Estimate: rate.Interval(m, 1000, 1)})
		}
		return s
	}
	s := named(six(0, 1, 0, 15, 20, 16), gear.Unknown, 5, 6, 4)
	s.Verdict.Bank = 2
	assert.Equal(t, "Bank 2, cylinders 4, 5 and 6, misses; 5 the most: 20 of 1,000 firings.", w.Verdict(s))
	s = named(six(0, 0, 0, 15, 20, 0), gear.Unknown, 5, 4)
	s.Verdict.Bank = 2
	assert.Equal(t, "Cylinders 5 and 4 miss; 5 the most: 20 of 1,000 firings. It is bank 2 alone: cylinders 4, 5 and 6.", w.Verdict(s))
	s.Verdict.Finding, s.Verdict.Now, s.Verdict.Cylinders = misfire.MissesNow, s.Verdict.Cylinders, nil
	assert.Equal(t, "Cylinders 5 and 4 miss now: 20 misses in 1,000 firings and 15 misses in 1,000 firings; three minutes of running make it sure. "+
		"It is bank 2 alone: cylinders 4, 5 and 6.", unfirm(w.Verdict(s)))
	s = six(0, 0, 1, 6, 5, 7)
	s.Verdict.Finding, s.Verdict.Bank = misfire.BankMisses, 2
	assert.Equal(t, "Bank 2, cylinders 4, 5 and 6, misses in 6.0 of 1,000 firings; none of its cylinders stands out.", w.Verdict(s))
}

// unfirm makes every space one at which a line may be broken.
func unfirm(s string) string { return strings.ReplaceAll(s, "\u00a0", " ") }

// The sentences on a drive, word for word.
func TestVerdict(t *testing.T) {
	w := English()
	with := func(f misfire.Finding, s *misfire.Summary) *misfire.Summary {
		s.Verdict.Finding = f
		return s
	}
	worse := named(drive(counted{cylinder: 2, gear: gear.Drive, misses: 40, firings: 1000}), gear.Drive, 2)
	worse.Total[1].Worsening, worse.Total[1].Since = true, noon.Add(75*time.Minute+5*time.Second)
	four := func(misses ...float64) *misfire.Summary {
		var cells []counted
		for i, m := range misses {
			cells = append(cells, counted{cylinder: i + 1, gear: gear.Drive, misses: m, firings: 1000})
		}
		return drive(cells...)
	}
	older := &misfire.Summary{Idle: []misfire.IdleDips{{Gear: gear.ParkNeutral, Dips: 4, Minutes: 4}, {Gear: gear.Drive, Dips: 24, Minutes: 4}, {Gear: gear.Reverse, Dips: 9, Minutes: 0.2}}}
	for want, s := range map[string]*misfire.Summary{
		"Nothing can be said yet.":                                                   {},
		"Waiting for the engine to run.":                                             with(misfire.EngineAwaited, &misfire.Summary{}),
		"Listening: no counter has been read yet.":                                   with(misfire.CounterAwaited, &misfire.Summary{}),
		"Listening: the counters have not been refreshed yet.":                       with(misfire.RefreshAwaited, four(0, 0)),
		"This car reports no misfire counts; codes, lamp and idle are all there is.": with(misfire.Uncounted, &misfire.Summary{}),
		"This car reports no misfire counts; the idle dips 6 times a minute in Drive, 1 in Park or Neutral: weaker evidence.": with(misfire.Uncounted, older),
		"Cylinder 2 misses 29 of 1,000 firings in Drive, 2.0 in Park or Neutral.": named(drive(counted{cylinder: 2, gear: gear.ParkNeutral, misses: 2, firings: 1000},
			counted{cylinder: 2, gear: gear.Drive, misses: 29, firings: 1000}), gear.Drive, 2),
		"Cylinder 2 misses 39 of 1,000 firings in Drive, none in Park or Neutral.": named(drive(counted{cylinder: 2, gear: gear.ParkNeutral, firings: 1000},
			counted{cylinder: 2, gear: gear.Drive, misses: 39, firings: 1000}), gear.Drive, 2),
		"Cylinder 2 misses 30 of 1,000 firings in Drive.": named(drive(counted{cylinder: 2, gear: gear.Drive, misses: 30, firings: 1000},
			counted{cylinder: 2, gear: gear.Reverse, misses: 5, firings: 100}), gear.Unknown, 2),
		"Cylinders 2 and 3 miss; 2 the most: 40 of 1,000 firings in Drive.":                               named(four(0, 40, 30, 0), gear.Unknown, 2, 3),
		"Cylinders 4, 1 and 2 miss; 4 the most: 50 of 1,000 firings in Drive.":                            named(four(20, 30, 0, 50), gear.Unknown, 4, 1, 2),
		"Cylinder 2 misses 40 of 1,000 firings in Drive; worse since 75:05.":                              worse,
		"3 misses in 1,000 firings of each cylinder, 3 on cylinder 2: too little running to name it yet.": with(misfire.Foremost, four(0, 3, 0, 0)),
		"10 of 1,000 firings miss, spread over the cylinders; none stands out.":                           with(misfire.Spread, four(10, 11, 9, 10)),
		"1 miss in 1,000 firings of each cylinder; no cylinder stands out.":                               with(misfire.NoneStandsOut, four(1, 0, 0, 0)),
		"4 misses in 1,000 firings of each cylinder; no cylinder stands out.":                             with(misfire.NoneStandsOut, four(1, 1, 1, 1)),
		"No miss in 1,000 firings of each cylinder; there may still be up to 1 in 271.":                   with(misfire.NoMiss, four(0, 0, 0, 0)),
	} {
		assert.Equal(t, want, w.Verdict(s))
	}
}

// Figures that cannot be are said, never a panic.
func TestVerdictOfOddSummaries(t *testing.T) {
	w := English()
	for f := misfire.NothingYet; f <= misfire.Named+1; f++ {
		for _, cylinders := range [][]int{{-4, 77}, {3}} {
			s := &misfire.Summary{Verdict: misfire.Verdict{Finding: f, Cylinders: cylinders, WorseIn: gear.State(99)}}
			if f == misfire.Foremost {
				continue // it names a cylinder that missed
			}
			assert.NotEmpty(t, w.Verdict(s))
		}
	}
}

func TestNumbers(t *testing.T) {
	w := English()
	for v, want := range map[float64]string{0: "none", 0.03: "fewer than 0.1", 0.05: "0.1", 2.04: "2.0", 9.94: "9.9", 9.96: "10", 31.4: "31", 1000: "1000"} {
		assert.Equal(t, want, w.Rate(v))
	}
	assert.Equal(t, "an unknown number", w.Rate(math.NaN()))
	for v, want := range map[float64]string{0: "0", 999: "999", 1000: "1,000", 1234567: "1,234,567", -1234: "-1,234"} {
		assert.Equal(t, want, Grouped(v))
	}
	assert.Equal(t, "-", Grouped(math.Inf(1)))
	assert.Equal(t, "0.3", perMinute(0.3))
	assert.Equal(t, "2, 3 and 5", w.Numbers([]int{2, 3, 5}))
	assert.Equal(t, "in an unknown gear", w.InGear(gear.Unknown))
}

// Every note of a drive has words of its own.
func TestEveryNoteIsSaid(t *testing.T) {
	said := make(map[string]bool)
	for k := misfire.NoteNoCounters; k <= misfire.NoteUnread; k++ {
		text := English().Notes(&misfire.Summary{Notes: []misfire.Note{{Kind: k, Cylinder: 2, Count: 1, Of: 3}}})[0]
		assert.NotEmpty(t, text)
		assert.False(t, said[text], text)
		said[text] = true
	}
	odd := misfire.Note{Kind: misfire.NoteAverageDisagrees, Cylinder: 2, Average: misfire.AverageCheck{Before: 100, After: 125, Counted: 150, Due: 105}}
	assert.Equal(t, []string{"the car's own average for cylinder 2 went from 100 to 125 over a driving cycle that counted 150, where 105 was due: this car keeps it in another way"},
		English().Notes(&misfire.Summary{Notes: []misfire.Note{odd}}))
}

func compare(t *testing.T, before, after *misfire.Summary) *proof.Comparison {
	t.Helper()
	c, err := proof.Compare(proof.Input{Before: proof.Side{Drives: []*misfire.Summary{before}}, After: proof.Side{Drives: []*misfire.Summary{after}}})
	require.NoError(t, err)
	return c
}

func inDrive(misses, firings float64) counted {
	return counted{cylinder: 2, gear: gear.Drive, misses: misses, firings: firings}
}

func TestComparison(t *testing.T) {
	w, before := English(), drive(inDrive(60, 2000)) // 30 of 1,000, 23 to 38
	for name, c := range map[string]struct {
		after *misfire.Summary
		want  string
	}{
		"clean and long":   {drive(inDrive(0, 3000)), `^Proven: cylinder 2 no longer misses in conditions similar to those it failed in\. Cylinder 2, in Drive .* no miss in 3,000 firings; if it still missed once in \d+ firings`},
		"clean, too short": {drive(inDrive(0, 1000)), `^Not yet proven: still wanted without a miss: 2 minutes in Drive\. Cylinder 2, in Drive .* wanted: 2 minutes more without a miss\.$`},
		"as before":        {drive(inDrive(30, 1000)), `^Cylinder 2, in Drive at about 700 rpm and 33 % load, warm: still missing, 30 of 1,000 firings \(20 to 43\); before 30`},
		"a quarter of it":  {drive(inDrive(30, 4000)), `improved, not cured: 7\.5 of 1,000 firings .* times \(.*\) as often now\.$`},
		"two later":        {drive(inDrive(2, 3000)), `and each further miss adds 4 minutes\.$`},
		"not driven":       {drive(counted{cylinder: 2, gear: gear.Moving, firings: 3000}), `: not driven in similar conditions after; wanted: `},
	} {
		assert.Regexp(t, c.want, w.Comparison(compare(t, before, c.after)), name)
	}
	assert.Contains(t, w.Comparison(compare(t, drive(inDrive(0, 2000)), drive(inDrive(0, 2000)))), "nothing to judge the drive after by")

	other := drive(inDrive(0, 3000), counted{cylinder: 1, gear: gear.Drive, misses: 90, firings: 3000})
	moved := compare(t, drive(inDrive(90, 3000), counted{cylinder: 1, gear: gear.Drive, firings: 3000}), other)
	assert.Regexp(t, `^Moved: cylinder 1 now misses, 30 of 1,000 firings \(.*\) in Drive; before, cylinder 2 did and it did not`, w.Comparison(moved))
	assert.Regexp(t, `^Cylinder 1 now misses`, w.Headline(moved))

	notes := strings.Join(w.ComparisonNotes(compare(t, drive(inDrive(20, 500)), drive(inDrive(0, 90000)))), "\n")
	assert.Contains(t, notes, "20 bursts of misses in 5 stretches show a fault, but cannot prove its cure")
	assert.Contains(t, notes, "none seen is not none")
}

func TestFilling(t *testing.T) {
	w := English()
	before := drive(inDrive(60, 2000), counted{cylinder: 2, gear: gear.Moving, misses: 30, firings: 1000})
	half := w.Filling(compare(t, before, drive(inDrive(0, 1000))))
	assert.Regexp(t, `^Proof of cylinder\x{a0}2: \d\d\x{a0}% run \(in Drive \d\d\d?\x{a0}%, on the move 0\x{a0}%\)\.$`, half)
	full := w.Filling(compare(t, before, drive(inDrive(0, 5000), counted{cylinder: 2, gear: gear.Moving, firings: 5000})))
	assert.Equal(t, "Proof of cylinder\u00a02: 100\u00a0% run (in Drive 100\u00a0%, on the move 100\u00a0%).", full)
	two := drive(inDrive(60, 2000), counted{cylinder: 3, gear: gear.Drive, misses: 60, firings: 2000})
	assert.Regexp(t, `2: 0.% run \(in Drive 0.%\)\. Proof of cylinder.3: 0.% run`, w.Filling(compare(t, two, drive(inDrive(0, 1)))))
	assert.Empty(t, w.Filling(compare(t, drive(inDrive(0, 2000)), drive(inDrive(0, 2000)))))
	assert.Equal(t, "99", percent(0.9999), "100 is full")
}

// No word of the method on the screen, whatever came out.
func TestPlainWords(t *testing.T) {
	w, before := English(), drive(counted{cylinder: 2, gear: gear.Drive, misses: 60, firings: 2000, phi: 4})
	bad := regexp.MustCompile(`p-value|significant|sigma|phi|NaN|Inf|\{\d`)
	for _, after := range []*misfire.Summary{drive(inDrive(0, 100)), drive(inDrive(30, 1000)), drive(inDrive(0, 90000)), drive(inDrive(30, 8000))} {
		c := compare(t, before, after)
		text := w.Comparison(c) + strings.Join(w.ComparisonNotes(c), " ") + w.Condition(&c.Cylinders[0].Conditions[0])
		assert.NotRegexp(t, bad, text)
		assert.True(t, strings.HasSuffix(w.Comparison(c), "."), w.Comparison(c))
	}
}

func TestSwap(t *testing.T) {
	both := func(on2, on3, firings float64) *misfire.Summary {
		return drive(inDrive(on2, firings), counted{cylinder: 3, gear: gear.Drive, misses: on3, firings: firings})
	}
	w, before := English(), both(60, 0, 2000)
	for _, c := range []struct {
		after *misfire.Summary
		want  string
	}{
		{both(0, 60, 2000), `^Followed the part: cylinder 2 no longer misses and cylinder 3 does \(.* to 1\): replace the coil that is now on cylinder 3\.$`},
		{both(60, 0, 2000), `^Stayed with the cylinder: cylinder 2 still misses .* the coil is cleared, look at the next part of cylinder 2\.$`},
		{both(60, 60, 2000), `^Both miss: cylinders 2 and 3 .* two faults`},
		{both(0, 0, 2000), `^Neither misses: cylinders 2 and 3 run clean .* flex it and repeat\.$`},
		{both(0, 2, 100), `^Cannot tell yet whether it followed the coil or stayed with cylinder 2 \(so far .* that it followed\): about \d+ minutes? more in Drive would decide it\.$`},
	} {
		r, err := proof.CompareSwap(proof.Input{Before: proof.Side{Drives: []*misfire.Summary{before}}, After: proof.Side{Drives: []*misfire.Summary{c.after}}}, proof.Swap{Part: "coil", A: 2, B: 3})
		require.NoError(t, err)
		assert.Regexp(t, c.want, w.Swap(r))
	}
	r := &proof.SwapResult{Swap: proof.Swap{Part: "coil"}, From: 2, To: 3, MayShareCoil: true, Odds: 3e6, Verdict: proof.FollowedPart}
	assert.Contains(t, w.SwapNotes(r)[1], "may share one coil")
	assert.Contains(t, w.Swap(r), "more than a million to 1")
}

func TestRules(t *testing.T) {
	w := English()
	for kind, want := range map[proof.RuleKind]string{
		proof.PendingGoes:   "3 driving cycles more in similar conditions without misfire, each from engine start to shut-off",
		proof.StoredGoes:    "3 warm-up cycles without misfire after the lamp went out; seen here: 0, each a rise of 22 K to 71 degC or more (diesel 60)",
		proof.PermanentGoes: "in one drive without misfire, still: 570 s running, 300 s at 40 km/h or more; not too high, not too cold",
		proof.Disregarded:   "the car does not tell its warm-ups and distance since clear",
	} {
		r := w.Rule(proof.Rule{Kind: kind, Need: 3, Lacks: proof.TripLacks{Running: 570 * time.Second, AtSpeed: 300 * time.Second}})
		assert.Equal(t, want, r.Text)
		assert.NotEmpty(t, r.Happens)
		assert.NotEmpty(t, r.Unit)
		assert.NotEmpty(t, r.Source)
	}
	assert.Equal(t, "shut the engine off: this driving cycle is the last one needed", w.Rule(proof.Rule{Kind: proof.LampGoesOut, Done: 2, Need: 3, Ending: true}).Text)
	assert.Contains(t, w.Readiness(&proof.Readiness{Ready: true}), "says nothing of a repair")
	assert.Equal(t, "not ready for inspection: catalyst, heated catalyst incomplete, 1 allowed",
		w.Readiness(&proof.Readiness{Incomplete: []obd.Monitor{obd.MonitorCatalyst, obd.MonitorHeatedCatalyst}, Allowed: 1}))
}

func TestCodeChange(t *testing.T) {
	c := &proof.CodeChange{Permanent: proof.Change{Gone: []obd.Code{0x0302}}, Stored: proof.Change{New: []obd.Code{0x0420}}, Unread: true}
	text := strings.Join(English().CodeChange(c), "\n")
	for _, want := range []string{"Permanent code gone: P0302.", "Newly stored: P0420.", "no good news"} {
		assert.Contains(t, text, want)
	}
	assert.Equal(t, []string{"No codes before and none after."}, English().CodeChange(&proof.CodeChange{}))
}
