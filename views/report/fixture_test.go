package report

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stumble/obd"
	"stumble/obd/clock"
	"stumble/obd/elm"
	"stumble/obd/sim"
	"stumble/obd/vehicle"
)

var (
	noon   = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	engine = obd.Module{ID: 0x7E8, Bits: 11}
	gears  = obd.Module{ID: 0x7E9, Bits: 11}
	kline  = obd.Module{ID: 0x10, Bits: 8}
)

// live builds a reading of a parameter's first part.
func live(m obd.Module, pid byte, value float64) obd.Reading {
	p, _ := obd.DescribePID(pid)
	return obd.Reading{Module: m, Service: obd.LiveData, ID: pid, Value: value, Unit: p.Parts[0].Unit}
}

// frozen builds the readings of a freeze frame from pairs of parameter and value.
func frozen(m obd.Module, pairs ...float64) []obd.Reading {
	var out []obd.Reading
	for ; len(pairs) > 1; pairs = pairs[2:] {
		r := live(m, byte(pairs[0]), pairs[1])
		r.Service = obd.FreezeFrames
		out = append(out, r)
	}
	return out
}

// record decodes one on-board test record of nine bytes.
func record(t testing.TB, m obd.Module, mid, tid, uas byte, value, low, high uint16) obd.TestResult {
	t.Helper()
	data := []byte{0x46, mid, tid, uas}
	for _, v := range []uint16{value, low, high} {
		data = append(data, byte(v>>8), byte(v))
	}
	results, err := obd.DecodeTests(obd.Message{Module: m, Data: data})
	require.NoError(t, err)
	return results[0]
}

// counts are the records of cylinders 1, 2 ... from pairs of current count and average.
func counts(t testing.TB, pairs ...uint16) []obd.TestResult {
	t.Helper()
	var out []obd.TestResult
	for i := 0; i+1 < len(pairs); i += 2 {
		mid := obd.MIDCylinder1 + byte(i/2)
		out = append(out,
			record(t, engine, mid, obd.TIDAverage, 0x24, pairs[i+1], 0, 0xFFFF),
			record(t, engine, mid, obd.TIDCount, 0x24, pairs[i], 0, 0xFFFF))
	}
	return out
}

// status decodes a monitor status of four bytes.
func status(t testing.TB, m obd.Module, pid byte, data ...byte) *obd.Monitors {
	t.Helper()
	out, err := obd.DecodeMonitors(obd.Message{Module: m, Data: append([]byte{0x41, pid}, data...)}, pid)
	require.NoError(t, err)
	return &out
}

func wrenCodes() obd.CodeReport {
	return obd.CodeReport{
		Modules: []obd.ModuleCodes{{
			Module: engine, Stored: []obd.Code{0x0302}, Pending: []obd.Code{0x0302, 0x0171}, Permanent: []obd.Code{0x0302},
		}},
		Frames: []obd.FreezeFrame{{Module: engine, Code: 0x0302, Readings: append(
			frozen(engine, 0x03, 2, 0x04, 34.11764705882353, 0x05, 88, 0x06, 3.90625, 0x07, 6.25, 0x0B, 36, 0x0C, 760.25, 0x0D, 0,
				0x0E, 9.5, 0x11, 15.294117647058824, 0x1F, 1140),
			obd.Reading{Module: engine, Service: obd.FreezeFrames, ID: 0x03, Part: 1})}},
	}
}

func wrenIntake(t testing.TB) *obd.Intake {
	return &obd.Intake{
		At: noon, Adapter: "ELM327 v1.5", Protocol: obd.CAN11At500, Voltage: 13.9, VIN: "0LKWR16A4R0104217", VINCheck: true,
		CodeReport: wrenCodes(),
		Modules: []obd.ModuleIntake{{
			Module: engine, Name: "ECM EngineControl", Calibrations: []string{"LK-W16-0417A", "LK-W16-IGN02"},
			CVNs: []obd.CVN{0x5A31C0DE, 0x00A1B2C3}, Monitors: status(t, engine, obd.PIDStatus, 0x81, 0x07, 0x65, 0x00),
			ThisCycle: status(t, engine, obd.PIDStatusThisCycle, 0x00, 0x17, 0x61, 0x61),
		}},
		Tests: append(counts(t, 3, 1, 412, 268, 9, 2, 2, 1),
			record(t, engine, 0x01, 0x05, 0x10, 38, 0, 100), record(t, engine, 0x21, 0x80, 0x20, 300, 0, 180),
			record(t, engine, 0x35, 0x81, 0xFE, 0xFFF0, 0xFFF8, 0x0010), record(t, engine, 0x3B, 0x82, 0x24, 0, 0, 0),
			record(t, engine, 0xA1, 0x83, 0x7B, 4, 2, 9)),
		Live: []obd.Reading{
			live(engine, 0x03, 2), live(engine, 0x04, 22.7), live(engine, 0x05, 91), live(engine, 0x06, 1.5625),
			live(engine, 0x07, 7.8125), live(engine, 0x0C, 748.5), live(engine, 0x0F, 24), live(engine, 0x21, 212),
			live(engine, 0x30, 41), live(engine, 0x31, 1830), live(engine, 0x4D, 305), live(engine, 0x4E, 2650),
		},
	}
}

// curlewIntake is a V6 with two modules, names in many scripts, and much that does not fit.
func curlewIntake(t testing.TB) *obd.Intake {
	i := wrenIntake(t)
	i.Voltage, i.VIN, i.VINCheck = 12.9, "0LKCW30B4P0220871", false
	i.Modules = []obd.ModuleIntake{
		{Module: engine, Name: "Двигатель 3,0 л", Calibrations: []string{"キャリブレーション壱", "محرك"},
			Monitors: status(t, engine, obd.PIDStatus, 0x83, 0x07, 0xE5, 0xE5)},
		{Module: gears, Name: "変速機 👩‍🔧 e\u0301tat \x1b[31m\u202eredro", CVNs: []obd.CVN{1},
			Monitors: status(t, gears, obd.PIDStatus, 0x00, 0x04, 0x00, 0x00)},
	}
	i.CodeReport = obd.CodeReport{
		Modules: []obd.ModuleCodes{
			{Module: engine, Stored: []obd.Code{0x0420, 0x0300, 0x0174, 0x0171, 0x0352}, Pending: []obd.Code{0x0316, 0x0340, 0x1234}},
			{Module: gears, Stored: []obd.Code{0x0300, 0xC100}, Pending: []obd.Code{0x0562}},
		},
		Frames: []obd.FreezeFrame{
			{Module: engine, Code: 0x0300, Readings: frozen(engine, 0x0C, 2150, 0x04, 71)},
			{Module: gears, Frame: 1, Code: 0xC100},
		},
		Unread: []obd.Unread{{What: obd.UnreadPermanent, Why: "module 7E8 refused service 0A: conditions not correct (code 22)"}, {Line: "supply\tvoltage: \x07no answer"}},
	}
	i.Tests = append(counts(t, 40, 12, 65535, 65535, 33, 9, 41, 3, 38, 7, 0, 0),
		record(t, gears, 0xA2, obd.TIDCount, 0x24, 7, 0, 5), record(t, gears, 0xA3, obd.TIDCount, 0x24, 0, 0, 0))
	i.Live = append(i.Live, live(engine, 0x08, -14.0625), live(engine, 0x09, 0))
	return i
}

// rookIntake is a car on the K-line.
func rookIntake(t testing.TB) *obd.Intake {
	return &obd.Intake{
		At: noon, Adapter: "ELM327 v2.1", Protocol: obd.ISO9141, Voltage: 12.1,
		CodeReport: obd.CodeReport{
			Modules: []obd.ModuleCodes{{Module: kline, Stored: []obd.Code{0x0303}}},
			Unread:  []obd.Unread{{What: obd.UnreadPending, Why: "no answer from the car (NO DATA)"}, {What: obd.UnreadFrame, Why: "no answer from the car (NO DATA)"}},
		},
		Modules: []obd.ModuleIntake{{Module: kline, Monitors: status(t, kline, obd.PIDStatus, 0x81, 0x07, 0x25, 0x00)}},
		Legacy: []obd.LegacyResult{
			{Module: kline, TID: 0x05, Component: 0x11, Value: 310, Limit: 250}, {Module: kline, TID: 0x06, Value: 12, Limit: 30, LowerLimit: true},
			{Module: kline, TID: 0x07, Value: 3, Limit: 30, Pass: true},
		},
		Live: []obd.Reading{live(kline, 0x0C, 0), live(kline, 0x05, 19), live(kline, 0x06, 0), live(kline, 0x07, -6.25)},
	}
}

// healthyIntake is a car without a code.
func healthyIntake(t testing.TB) *obd.Intake {
	i := wrenIntake(t)
	i.CodeReport = obd.CodeReport{Modules: []obd.ModuleCodes{{Module: engine}}}
	i.Modules[0].Monitors = status(t, engine, obd.PIDStatus, 0x00, 0x07, 0x65, 0x00)
	i.Tests = append(counts(t, 0, 0, 1, 0, 0, 0, 0, 0), record(t, engine, 0x21, 0x80, 0x20, 100, 0, 180))
	i.Live = []obd.Reading{live(engine, 0x03, 2), live(engine, 0x06, -0.78125), live(engine, 0x07, 1.5625), live(engine, 0x0C, 700)}
	return i
}

func sixteenIntake(t testing.TB) *obd.Intake {
	i := &obd.Intake{Protocol: obd.CAN29At500}
	for n := range uint16(16) {
		i.Tests = append(i.Tests, counts(t, make([]uint16, 2*n+2)...)[2*n:]...)
		i.Tests[len(i.Tests)-1] = record(t, engine, obd.MIDCylinder1+byte(n), obd.TIDCount, 0x24, 11*n*n, 0, 0xFFFF)
	}
	return i
}

// SimulatedIntake reads a car of the simulation through the adapter, as the program does.
func SimulatedIntake(t testing.TB, name string) *obd.Intake {
	t.Helper()
	clk := clock.NewStepped(noon)
	s, err := sim.Open(name, 1, clk)
	require.NoError(t, err)
	a, err := elm.Connect(t.Context(), elm.Config{
		Clock: clk, Dial: func(ctx context.Context) (elm.Link, error) { return s.Dial(ctx) },
	})
	require.NoError(t, err)
	defer a.Close()
	caps, err := vehicle.Discover(t.Context(), a)
	require.NoError(t, err)
	i, err := vehicle.ReadIntake(t.Context(), a, a, caps, nil)
	require.NoError(t, err)
	return i
}

func text(t testing.TB, write func(*strings.Builder) error) string {
	t.Helper()
	var out strings.Builder
	require.NoError(t, write(&out))
	return out.String()
}
