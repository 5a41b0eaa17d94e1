package report

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"stumble/obd"
	"stumble/views/wrap"
)

func intakePage(t testing.TB, i *obd.Intake) string {
	return text(t, func(b *strings.Builder) error { return WriteIntake(b, i, 400) })
}

// Bands of a healthy 12 V system: 12.4 to 12.8 V at rest, 13.2 to 14.8 V charging (common practice, no source).
func TestVoltageRemark(t *testing.T) {
	for _, c := range []struct {
		volts, rpm float64 // rpm -1: not told
		want       string
	}{
		{12.4, 0, "12.4 V"}, {12.39, 0, english(Metric).tell("remark-key-on", "12.4 V")}, {12.8, 0, "12.8 V"}, {12.3, -1, english(Metric).tell("remark-key-on", "12.3 V")},
		{13.2, 700, "13.2 V"}, {13.1, 700, english(Metric).tell("remark-not-charging", "13.1 V")}, {12.1, 700, english(Metric).tell("remark-not-charging", "12.1 V")},
		{14.8, 700, "14.8 V"}, {15.1, 700, english(Metric).tell("remark-volts-high", "15.1 V")}, {0, 700, en("word-not-told")},
	} {
		i := &obd.Intake{Voltage: c.volts}
		if c.rpm >= 0 {
			i.Live = []obd.Reading{live(engine, obd.PIDRPM, c.rpm)}
		}
		assert.Equal(t, c.want, strings.Replace(english(Metric).voltageText(i), wrap.FirmSpace, " ", 1), "%v V at %v rpm", c.volts, c.rpm)
	}
}

// The lamp is off only when every module says so: the one that is silent may be the one that lights it.
func TestLamp(t *testing.T) {
	on, off := &obd.Monitors{MIL: true}, &obd.Monitors{}
	for _, c := range []struct {
		engine, gears *obd.Monitors
		want          string
	}{
		{nil, nil, "not told"}, {off, off, "off"}, {on, off, "on in module 7E8"}, {on, on, "on in modules 7E8 and 7E9"},
		{nil, off, "off in module 7E9, not told by module 7E8"}, {nil, on, "on in module 7E9"},
	} {
		i := &obd.Intake{Modules: []obd.ModuleIntake{{Module: engine, Monitors: c.engine}, {Module: gears, Monitors: c.gears}}}
		assert.Equal(t, c.want, english(Metric).lampText(i))
	}
}

// Within 5 % ideal, within 10 % acceptable; plus adds fuel (trade training, no standard behind it).
func TestTrimWords(t *testing.T) {
	for sum, want := range map[float64]string{
		0: en("trim-within-5"), 5: en("trim-within-5"), -5: en("trim-within-5"), 5.47: en("trim-within-10"), 10: en("trim-within-10"), -10: en("trim-within-10"),
		10.16: en("trim-adds"), -10.16: en("trim-takes"),
	} {
		assert.Equal(t, want, english(Metric).trimWords(sum), "%v", sum)
	}
}

func TestTrims(t *testing.T) {
	i := &obd.Intake{Live: []obd.Reading{
		live(engine, 0x06, 8.59375), live(engine, 0x07, 4.6875), live(engine, 0x09, -0.03),
		{ID: 0x06, Part: 1, Value: -3.125, Unit: obd.Percent}, {ID: 0x07, Part: 1, Value: 0, Unit: obd.Percent},
		live(engine, 0x03, 4), live(engine, 0x0C, 1500),
	}}
	page := intakePage(t, i)
	for _, row := range []string{
		"   1      +8.6 %     +4.7 %   +13.3 %  lean: fuel is added\n",
		"   2    not told      0.0 %\n",
		"   3      -3.1 %      0.0 %    -3.1 %  ideal\n",
		"not in closed loop (open loop, load or overrun)",
		"A miss alone therefore pushes the trim of its bank up",
	} {
		assert.Contains(t, page, row)
	}
	i.Live[len(i.Live)-1].Value = 0
	assert.Contains(t, intakePage(t, i), en("say-trims-at-rest"))
	assert.Contains(t, intakePage(t, &obd.Intake{}), en("say-no-trims"))
}

func TestCounts(t *testing.T) {
	i := &obd.Intake{Protocol: obd.CAN11At500, Tests: counts(t, 0, 0, 90, 4, 10, 0, 0, 0)}
	page := intakePage(t, i)
	assert.Contains(t, page, "this or last drive", "whether the engine runs was not told")
	assert.Contains(t, page, "Cylinder 2 has 90 % of the 100 misses counted in that drive.")
	assert.Contains(t, page, "A count is not a rate")
	i.Live = []obd.Reading{live(engine, obd.PIDRPM, 0)}
	assert.Contains(t, intakePage(t, i), "cylinder  last drive")
	assert.Contains(t, intakePage(t, i), en("say-last-drive"))
	i.Live[0].Value = 600
	assert.Contains(t, intakePage(t, i), "cylinder  this drive")
	assert.NotContains(t, intakePage(t, i), en("say-last-drive"))

	// Two cylinders above a tenth each: 13 CCR 1968.2 (e)(3.1.3).
	i.Tests = counts(t, 0, 0, 89, 4, 11, 0, 0, 0)
	assert.Contains(t, intakePage(t, i), "Cylinders 2 and 3 have 100 % of the 100 misses")
	i.Tests = counts(t, 0, 0, 9, 0, 0, 0)
	assert.NotContains(t, intakePage(t, i), "misses counted in that drive", "of a handful a share says nothing")
	i.Tests = counts(t, 500, 0, 0xFFFF, 0)
	page = intakePage(t, i)
	assert.Contains(t, page, "65535 or more")
	assert.NotContains(t, page, "misses counted in that drive", "a full counter hides the shares")
	i.Tests = nil
	assert.Contains(t, intakePage(t, i), en("say-no-counts"))
	i.Protocol = obd.KWPFast
	assert.Contains(t, intakePage(t, i), en("say-counts-older"))
}

// Monitors AE to B1 are cylinders 13 to 16 only where they carry counts.
func TestFilterIsNoCylinder(t *testing.T) {
	i := &obd.Intake{Tests: []obd.TestResult{record(t, engine, 0xB1, 0x80, 0x24, 50, 0, 10)}}
	assert.Empty(t, CountsOf(i.Tests))
	assert.Contains(t, intakePage(t, i), "monitor B1  maker's test 80     50  not over 10")
}

func TestReadinessAfterClear(t *testing.T) {
	for _, c := range []struct {
		c, d byte // supported and not complete
		want bool
	}{{0x65, 0x65, true}, {0x65, 0x05, true}, {0x65, 0x01, false}, {0x65, 0x00, false}, {0, 0, false}} {
		i := &obd.Intake{Modules: []obd.ModuleIntake{{Module: engine, Monitors: status(t, engine, obd.PIDStatus, 0, 0x07, c.c, c.d)}}}
		assert.Equal(t, c.want, strings.Contains(intakePage(t, i), en("say-lately-cleared")), "%02X %02X", c.c, c.d)
	}
}

func TestMiscount(t *testing.T) {
	i := wrenIntake(t)
	assert.NotContains(t, intakePage(t, i), "its list holds")
	i.Modules[0].Monitors.Codes = 2
	assert.Contains(t, intakePage(t, i), "Module 7E8 counts 2 stored codes, and its list holds 1.")
	i.Unread = []obd.Unread{{What: obd.UnreadStored, Why: "cut short"}}
	assert.NotContains(t, intakePage(t, i), "its list holds", "the list itself is in doubt")
}

func TestReadingNames(t *testing.T) {
	for _, c := range []struct {
		id, part byte
		want     string
	}{
		{0x0C, 0, "engine speed"}, {0x06, 0, "short-term trim bank 1"}, {0x06, 1, "short-term trim bank 3"},
		{0x09, 1, "long-term trim bank 4"}, {0x56, 0, "secondary long-term trim bank 1"}, {0x14, 1, "oxygen sensor, trim of that sensor"},
		{0x24, 0, "wide-range oxygen sensor, lambda"}, {0x01, 0, "warning lamp"}, {0xA4, 1, "gear ratio"}, {0xEE, 0, "parameter EE"},
		{0x0C, 9, "parameter 0C"},
	} {
		assert.Equal(t, c.want, english(Metric).nameOf(&obd.Reading{ID: c.id, Part: c.part}))
	}
}

// The words are those of a workshop: what the standard calls its numbers stays out of them.
func TestNoJargon(t *testing.T) {
	for name, i := range Intakes(t) {
		page := intakePage(t, i)
		for _, word := range []string{"PID", "MID", "TID", "UAS", "p-value", "significant", "sigma"} {
			assert.NotContains(t, page, word, name)
		}
	}
}

// A car of the simulation, read through the adapter as the program reads any car.
func TestSimulatedCars(t *testing.T) {
	for name, want := range map[string][]string{
		"wren": {"0LKWR16A4R0104217, check digit right", "P0302  Misses counted on cylinder 2.", "The moment P0302 was stored",
			"Cylinder 2 has", "LKW16-AT-0417B"},
		"rook": {"ISO 9141-2", "permanent  " + en("word-older"), en("say-counts-older"), "The moment P0302 was stored"},
	} {
		i := SimulatedIntake(t, name)
		page := intakePage(t, i)
		for _, s := range want {
			assert.Contains(t, page, s, name)
		}
		for line := range strings.Lines(text(t, func(b *strings.Builder) error { return WriteIntake(b, i, 72) })) {
			assert.LessOrEqual(t, width(strings.TrimSuffix(line, "\n")), 72, name)
		}
	}
}
