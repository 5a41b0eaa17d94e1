package report

import (
	"bytes"
	"math"
	"strings"
	"testing"
	"time"
	"unicode"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/bench"
	"stumble/misfire/cause"
	layouts "stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/misfire/proof"
	"stumble/misfire/rate"
	"stumble/obd"
	"stumble/views/wrap"
)

// older is a car without counts of misses: its idle and its codes are all there is.
func older(t testing.TB) *Case {
	t.Helper()
	layout, err := layouts.Plain(4)
	require.NoError(t, err)
	s := &misfire.Summary{
		Start: noon, Now: noon.Add(10 * time.Minute), Running: 10 * time.Minute, Engine: layout, Cycles: 1,
		Verdict: misfire.Verdict{Finding: misfire.Uncounted},
		Idle:    []misfire.IdleDips{{Gear: gear.ParkNeutral, Dips: 2, Minutes: 4, Low: 0.1, High: 1.8}, {Gear: gear.Drive, Dips: 36, Minutes: 4, Low: 6.3, High: 12.5}},
		Notes:   []misfire.Note{{Kind: misfire.NoteNoCounters}},
	}
	for i := 1; i <= 4; i++ {
		s.Total = append(s.Total, misfire.Cell{Cylinder: i})
	}
	d := Drive{Number: 1, Summary: s, Protocol: "ISO 9141-2", Exchanges: 2400, CutOff: true, Lost: 3,
		Gaps: []Gap{{From: noon.Add(time.Minute), To: noon.Add(2 * time.Minute), Text: "samples could not be saved"}}}
	for i := range 600 {
		d.Moments = append(d.Moments, misfire.Moment{At: noon.Add(time.Duration(i) * time.Second), Gear: gear.Drive, RPM: 700, Load: 30})
	}
	in := rookIntake(t)
	return &Case{Made: noon, Job: Job{Number: 7, Vehicle: "Larkspur Rook", Opened: noon}, Before: Visit{At: noon, Intake: in, Codes: &in.CodeReport}, Drives: []Drive{d}}
}

// worked is the repaired car with all that a workshop may have found out besides.
func worked(t testing.TB) *Case {
	t.Helper()
	c := repaired(t)
	c.After = c.Before
	c.After.At = noon.Add(24 * time.Hour)
	c.Readiness = &proof.Readiness{Incomplete: []obd.Monitor{obd.MonitorCatalyst}}
	c.Progress = &proof.Progress{Driving: 2, CleanInRow: 1, WarmUps: 1, ClearWarmUps: 3, ClearKilometres: 160.9344, Now: proof.Cycle{Start: math.NaN(), Coolant: math.NaN()}}
	runs := cause.Telling{Kind: cause.ComeInRuns}
	c.Causes = &cause.Result{
		Basis: cause.FromCounts,
		Ranked: []cause.Ranked{
			{Name: "plug wire or its boot", Cylinders: []int{2}, Share: 0.7, Overturn: cause.Text{Table: "the misses stay with {cyl}", Cylinders: []int{2}},
				For:     []cause.Reason{{Fact: runs}, {Fact: runs}, {Fact: cause.Telling{Kind: cause.CodesName, Cylinders: []int{2}}}},
				Against: []cause.Reason{{Fact: cause.Telling{Kind: cause.MissesKept}}}},
			{Name: "spark plug", Cylinders: []int{2}, Share: 0.29}, {Name: "coil", Share: 0.009}, {Name: "valve", Share: 0.001},
		},
		Next:   &cause.Test{Name: cause.Text{Table: "exchange the wires"}, How: cause.Text{Table: "Change them over."}, Decides: cause.Text{Table: "It follows the wire."}, Minutes: 10, Cautions: []string{"Engine off, key off."}},
		Others: []cause.Test{{Name: cause.Text{Table: "measure the wire"}}},
		Notes:  []cause.Note{{Kind: cause.ClearedLately}},
	}
	c.CausesAlso = []string{"a note of the ranking"}
	for i, judged := range bench.Judge([]bench.Reading{
		{Part: bench.Wire, Cylinder: 1, Quantity: bench.Resistance, Value: 11.6, Unit: "kohm", Length: 0.6},
		{Part: bench.Wire, Cylinder: 2, Quantity: bench.Resistance, Value: math.Inf(1), Unit: "kohm"},
		{Part: bench.Compression, Cylinder: 1, Quantity: bench.Dry, Value: 1241, Unit: "kPa"},
		{Part: bench.Plug, Cylinder: 1, Quantity: bench.Gap, Value: 1.1, Unit: "mm"},
		{Part: bench.Engine, Quantity: bench.Vacuum, Value: 60, Unit: "kPa"},
	}) {
		c.Bench = append(c.Bench, BenchReading{At: noon.Add(time.Duration(i) * time.Minute), Judged: judged})
	}
	return c
}

// swapped is a job whose parts were exchanged.
func swapped(t testing.TB) *Case {
	t.Helper()
	c := repaired(t)
	s, err := proof.CompareSwap(proof.Input{
		Before: proof.Side{Drives: []*misfire.Summary{c.Drives[0].Summary}}, After: proof.Side{Drives: []*misfire.Summary{c.Drives[1].Summary}},
	}, proof.Swap{Part: "wire", A: 2, B: 1})
	require.NoError(t, err)
	c.Proof.Swap = s
	return c
}

// allCases are every kind of job.
func allCases(t testing.TB) map[string]*Case {
	all := cases(t)
	all["older"], all["worked"], all["swapped"] = older(t), worked(t), swapped(t)
	return all
}

func reportText(t testing.TB, d *Document, width int) string {
	t.Helper()
	return text(t, func(b *strings.Builder) error { return d.WriteText(b, width) })
}

// requireWhole looks for what must not come through into any form.
func requireWhole(t testing.TB, name, page string) {
	t.Helper()
	for _, broken := range []string{"NaN", "Inf", "%!", "{1}", "{2}", "<nil>", "0001-01-01"} {
		require.NotContains(t, page, broken, name)
	}
}

// Text is fit for a line printer: no line too wide, nothing in it but letters and line ends.
func TestReportTextIsFitForAPrinter(t *testing.T) {
	for name, c := range allCases(t) {
		for _, units := range []Units{Metric, US} {
			d := Compose(c, Options{Units: units})
			for _, columns := range []int{72, 132} {
				page := reportText(t, d, columns)
				requireWhole(t, name, page)
				for line := range strings.Lines(page) {
					line = strings.TrimSuffix(line, "\n")
					require.LessOrEqual(t, width(line), columns, "%s: %q", name, line)
					require.False(t, strings.ContainsFunc(line, func(r rune) bool { return unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) }), "%s: %q", name, line)
					require.Equal(t, strings.TrimRight(line, " "), line, name)
				}
			}
		}
	}
}

func TestReportGolden(t *testing.T) {
	Golden(t, "report-worked.txt", reportText(t, Compose(worked(t), Options{}), 72))
	Golden(t, "report-worked-us.txt", reportText(t, Compose(worked(t), Options{Units: US}), 132))
	Golden(t, "report-older.txt", reportText(t, Compose(older(t), Options{}), 72))
	Golden(t, "report-empty.txt", reportText(t, Compose(&Case{Made: noon}, Options{}), 72))
}

// requireInOrder holds a page to telling some things one after the other.
func requireInOrder(t testing.TB, page string, parts ...string) {
	t.Helper()
	at := 0
	for _, part := range parts {
		next := strings.Index(page[at:], part)
		require.GreaterOrEqual(t, next, 0, "%q does not come after what came before it", part)
		at += next + len(part)
	}
}

// An owner reads first what came out of it; what a technician checks it by comes after.
func TestReportOrder(t *testing.T) {
	page := reportText(t, Compose(worked(t), Options{}), 132)
	requireInOrder(t, page, "Corner Garage", en("title-report"), "Larkspur Wren", "Jerks in Drive at the lights", en("head-work"), "Before and after the repair",
		en("head-drives"), en("title-codes"), en("head-codes"), "The moment P0302 was stored", en("head-causes"), "Next test: exchange the wires",
		en("head-bench"), en("head-car-itself"), en("head-inspection"), en("head-measured"), en("head-unknown"), en("head-marks"), en("head-care"),
		en("head-signatures"), en("sign-technician"), en("sign-owner"))
}

func TestReportOfNothing(t *testing.T) {
	page := reportText(t, Compose(&Case{Made: noon}, Options{}), 72)
	for _, part := range []string{en("outcome-nothing"), "No drive is recorded in this job", "not told", en("say-codes-never-read"), en("sign-owner")} {
		assert.Contains(t, page, part)
	}
	for _, head := range []string{en("head-comparison"), en("head-drives"), en("head-causes"), en("head-bench"), en("head-measured"), en("head-marks")} {
		assert.NotContains(t, page, head)
	}
}

// A car without counts is told by weaker evidence, called so.
func TestReportWithoutCounts(t *testing.T) {
	page := reportText(t, Compose(older(t), Options{}), 400)
	for _, part := range []string{en("outcome-weaker"), "9.0 (6.3 to 13)", "0.5 (0.1 to 1.8)", "does not report misses by cylinder", en("refresh-none"),
		"1 gap, 1 min in all; 3 samples and exchanges could not be saved; " + en("drive-cut-off"), "Drive 1 has a gap from 01:00 to 02:00. Samples could not be saved.",
		"Misses are not counted by this car."} {
		assert.Contains(t, page, part)
	}
	assert.NotContains(t, page, "misses per 1,000 firings by cylinder")
}

// The drives that are not compared are named, and no more is told of them.
func TestDrivesThatAreNotCompared(t *testing.T) {
	c := repaired(t)
	other := c.Drives[0]
	other.Number, other.Side, other.Name = 9, SideNone, "the way home"
	c.Drives = append(c.Drives, other)
	page := reportText(t, Compose(c, Options{}), 132)
	assert.Contains(t, page, "the way home")
	assert.NotContains(t, page, "Drive 9")
	c.Proof = &Proof{Why: "the engines disagree: set the right layout on both"}
	page = reportText(t, Compose(c, Options{}), 132)
	assert.Contains(t, page, "Before and after were not compared. The engines disagree: set the right layout on both.")
	assert.Contains(t, page, "Drive 9")
}

// The verdict is one sentence, whatever the outcome.
func TestHeadline(t *testing.T) {
	failing := func(most rate.Count) []proof.Cylinder {
		return []proof.Cylinder{{Cylinder: 2, Conditions: []proof.Condition{{Failing: true, Most: most}, {Most: rate.Count{Firings: 1e6}}}}}
	}
	w := english(Metric)
	for _, c := range []struct {
		result proof.Comparison
		want   string
	}{
		{proof.Comparison{Outcome: proof.Proven, Cylinders: failing(rate.Count{})}, "Cylinder 2 no longer misses in conditions similar to those it failed in."},
		{proof.Comparison{Outcome: proof.NotYet}, "The drive before shows no cylinder that misses beyond doubt: there is nothing to judge the drive after by."},
		{proof.Comparison{Outcome: proof.NotYet, Cylinders: failing(rate.Count{})}, "Cylinder 2 was not driven since the repair in the conditions it failed in."},
		{proof.Comparison{Outcome: proof.NotYet, Cylinders: failing(rate.Count{Firings: 1234})},
			"Cylinder 2 has not missed since the repair in the conditions it failed in, but 1,234 firings are too few to call it proven."},
		{proof.Comparison{Outcome: proof.NotYet, Cylinders: failing(rate.Count{Misses: 1, Firings: 900})},
			"Cylinder 2 had 1 miss in 900 firings since the repair in the conditions it failed in: too little running to tell."},
	} {
		assert.Equal(t, c.want, strings.ReplaceAll(w.headline(&c.result), wrap.FirmSpace, " "))
	}
}

// Raw fuel in the catalyst is the one finding that cannot wait.
func TestEaseOffIsSaidFirst(t *testing.T) {
	c := repaired(t)
	summary := *c.Drives[1].Summary
	summary.Whole.Catalyst.Over = 1
	c.Drives[1].Summary = &summary
	requireInOrder(t, reportText(t, Compose(c, Options{}), 132), "can overheat the catalyst", en("head-work"))
	assert.NotContains(t, reportText(t, Compose(repaired(t), Options{}), 132), "can overheat the catalyst was seen")
}

// Factors of NIST Special Publication 811 (2008), appendix B: 1 mile 1.609344 km; degree Fahrenheit; 1 psi 6.894757
// kPa; 1 inch of mercury (32 F) 3.38638 kPa; 1 inch 25.4 mm.
func TestUnits(t *testing.T) {
	w := english(US)
	for _, c := range []struct {
		reading obd.Reading
		want    string
	}{
		{live(engine, obd.PIDCoolant, 100), "212 °F"}, {live(engine, obd.PIDCoolant, -40), "-40 °F"}, {live(engine, obd.PIDSpeed, 160.9344), "100 mph"},
		{live(engine, obd.PIDManifold, 101.325), "29.9 inHg"}, {live(engine, obd.PIDFuelPressure, 344.73785), "50.0 psi"}, {live(engine, obd.PIDRPM, 750), "750 rpm"},
		{live(engine, obd.PIDDistanceMIL, 1609.344), "1000 mi"},
	} {
		assert.Equal(t, c.want, strings.ReplaceAll(w.readingText(&c.reading), wrap.FirmSpace, " "))
	}
	us := reportText(t, Compose(worked(t), Options{Units: US}), 132)
	for _, part := range []string{"180 psi", "17.72 inHg", "0.043 in", "3 warm-ups and 100 mi", "190 °F"} {
		assert.Contains(t, us, part)
	}
	metric := reportText(t, Compose(worked(t), Options{}), 132)
	for _, unit := range []string{" psi", " inHg", " °F", " mi,", " mph"} {
		assert.NotContains(t, metric, unit)
	}
}

// Figures are written so that none is never a little, nor a little none.
func TestFigures(t *testing.T) {
	w := english(Metric)
	for v, want := range map[float64]string{0: "0", 0.004: "under 0.005", 0.005: "0.01", 0.0994: "0.10", 0.0996: "0.1", 9.96: "10.0", 31.04: "31.0",
		99.94: "99.9", 99.96: "100", 1234.4: "1,234", math.NaN(): "no number", math.Inf(1): "no number"} {
		assert.Equal(t, want, w.figureOf(v), "%v", v)
	}
	for v, want := range map[float64]string{0: "0", 9.94: "9.9", 9.96: "10", 43.9: "44", 0.02: "0.02", math.NaN(): "no number"} {
		assert.Equal(t, want, w.limit(v), "%v", v)
	}
	for v, want := range map[float64]string{0: "0", 0.001: "under 0.005", 0.08: "0.08", 9.99: "9.99", 9.996: "10", 70: "70"} {
		assert.Equal(t, want, w.ratio(v), "%v", v)
	}
	for v, want := range map[float64]string{0: "0 %", 0.01: "under 0.05 %", 1.24: "1.2 %", 25: "25 %"} {
		assert.Equal(t, want, strings.ReplaceAll(w.percent(v), wrap.FirmSpace, " "), "%v", v)
	}
	for d, want := range map[time.Duration]string{0: "0 s", 59 * time.Second: "59 s", time.Minute: "1 min", 61 * time.Second: "1 min 1 s",
		time.Hour + 90*time.Second: "1 h 1 min", 10 * time.Hour: "10 h 0 min"} {
		assert.Equal(t, want, strings.ReplaceAll(w.length(d), wrap.FirmSpace, " "), "%v", d)
	}
	for d, want := range map[time.Duration]string{-time.Second: "00:00", 130 * time.Second: "02:10", time.Hour + 130*time.Second: "1:02:10", 10 * time.Hour: "10:00:00"} {
		assert.Equal(t, want, into(d), "%v", d)
	}
	for m, want := range map[float64]string{0.2: "1 min", 9.1: "10 min", 90: "90 min", 91: "1.6 h", 601: "more than 10 hours", math.NaN(): "more than 10 hours"} {
		assert.Equal(t, want, strings.ReplaceAll(w.runningTime(m), wrap.FirmSpace, " "), "%v", m)
	}
}

// No number is broken over two lines, even in the widest table of the longest drive.
func TestNumbersAreKeptWhole(t *testing.T) {
	w := english(Metric)
	for v, want := range map[float64]string{0: "0", 999_999: "999,999", 999_999.6: "1.00M", 12_345_678: "12.35M", math.NaN(): "no number"} {
		assert.Equal(t, want, w.compact(v), "%v", v)
	}
	d := newDocument(Metric)
	c := crowded(t)
	d.show((&writer{Document: d, Case: c}).rateTable(&c.Drives[0]))
	table := reportText(t, d, 72)
	assert.NotRegexp(t, `(?m)\d,\d{0,2}( |$)`, table[strings.Index(table, "---"):])
}

// What has no place in a condition, and what was read without a number, is said in words.
func TestCellsWithoutARate(t *testing.T) {
	w := english(Metric)
	assert.Equal(t, "not driven", w.cell(nil))
	assert.Equal(t, "not told", w.cell(&misfire.Cell{}))
	assert.Equal(t, "not driven", w.cell(&misfire.Cell{Reported: true, Estimate: rate.Interval(0, 0, 1)}))
	full := rate.Estimate{Misses: 60, Firings: 1000, Rate: 60, Low: 50.9, High: math.Inf(1), AtLeast: true, Phi: 1}
	assert.Equal(t, "50.9 or more\nnot under 51\n60 of 1,000", w.cell(&misfire.Cell{Reported: true, Estimate: full}))
}

// Groups reach over their columns, a band over all, and a total is parted from what it sums up.
func TestTableKinds(t *testing.T) {
	tab := &table{caption: "Figures", groups: []span{{"", 1}, {"before", 2}}, columns: []column{{title: "what"}, {title: "a", right: true}, {title: "b", right: true}}}
	tab.band("Cylinder 2")
	tab.add("x", "1", "22")
	tab.band("Cylinder 3")
	tab.addKind(rowLoud, "y", "333", "4")
	tab.addKind(rowTotal, "all", "334", "26")
	d := newDocument(Metric)
	d.show(tab)
	assert.Equal(t, "Figures\n\n      before\n      -------\nwhat    a   b\n----  ---  --\nCylinder 2\nx       1  22\n\nCylinder 3\ny     333   4\n----  ---  --\nall   334  26\n",
		reportText(t, d, 72))
}

// Words are cut only where nothing else gives way.
func TestWordsAreKeptWhole(t *testing.T) {
	tab := &table{columns: []column{{title: "monitored"}, {title: "refresh"}, {title: "note"}}}
	tab.add("1 2 3 4 5 6 7 8", "every 200 revolutions", "one two three four five six seven")
	d := newDocument(Metric)
	d.show(tab)
	page := reportText(t, d, 40)
	for _, word := range []string{"monitored", "revolutions", "seven"} {
		assert.Contains(t, page, word)
	}
}

// A report is made from what it was given, not from where or when.
func TestReportIsTheSameEveryTime(t *testing.T) {
	var first, second bytes.Buffer
	require.NoError(t, Compose(worked(t), Options{}).WriteHTML(&first))
	require.NoError(t, Compose(worked(t), Options{}).WriteHTML(&second))
	assert.True(t, bytes.Equal(first.Bytes(), second.Bytes()))
	assert.ErrorIs(t, Compose(worked(t), Options{}).WriteHTML(full{}), errFull)
	assert.ErrorIs(t, Compose(worked(t), Options{}).WriteText(full{}, 72), errFull)
}
