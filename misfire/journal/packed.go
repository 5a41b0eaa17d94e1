package journal

import (
	"strconv"
	"time"

	"stumble/obd"
)

// The packed types are those of package obd with names for JSON. They are what lies in the file, so they change
// only with the schema's version.
type (
	packedIntake struct {
		At       time.Time      `json:"at"`
		Adapter  string         `json:"adapter"`
		Protocol obd.Protocol   `json:"protocol"` // the adapter's number of it
		Voltage  float64        `json:"voltage"`
		VIN      string         `json:"vin"`
		VINCheck bool           `json:"vin_check"`
		Modules  []packedModule `json:"modules"`
		packedCodes
		Tests  []packedTest    `json:"tests"`
		Legacy []packedLegacy  `json:"legacy_tests"`
		Live   []packedReading `json:"live"`
	}
	packedModule struct {
		Module       module          `json:"module"`
		Name         string          `json:"name"`
		Calibrations []string        `json:"calibrations"`
		CVNs         []uint32        `json:"cvns"`
		Monitors     *packedMonitors `json:"monitors"`
		ThisCycle    *packedMonitors `json:"this_cycle"`
	}
	packedMonitors struct {
		Module      module        `json:"module"`
		ThisCycle   bool          `json:"of_this_cycle"`
		MIL         bool          `json:"mil"`
		Codes       int           `json:"codes"`
		Compression bool          `json:"compression_ignition"`
		States      []packedState `json:"states"`
	}
	packedState struct {
		Monitor   byte   `json:"monitor"` // number in package obd
		Name      string `json:"name"`    // for reading
		Supported bool   `json:"supported"`
		Complete  bool   `json:"complete"`
	}
	packedCodes struct {
		Codes  []packedCodeList `json:"codes"`
		Frames []packedFrame    `json:"freeze_frames"`
		Unread []string         `json:"unread"`
	}
	packedCodeList struct {
		Module    module     `json:"module"`
		Stored    []obd.Code `json:"stored"`
		Pending   []obd.Code `json:"pending"`
		Permanent []obd.Code `json:"permanent"`
	}
	packedFrame struct {
		Module   module          `json:"module"`
		Frame    byte            `json:"frame"`
		Code     obd.Code        `json:"code"`
		Readings []packedReading `json:"readings"`
	}
	packedTest struct {
		Module     module   `json:"module"`
		MID        byte     `json:"mid"`
		TID        byte     `json:"tid"`
		UASID      byte     `json:"uasid"`
		Raw        uint16   `json:"raw"`
		Min        uint16   `json:"raw_min"`
		Max        uint16   `json:"raw_max"`
		Value      float64  `json:"value"`
		MinValue   float64  `json:"min"`
		MaxValue   float64  `json:"max"`
		Unit       obd.Unit `json:"unit"`
		Known      bool     `json:"known"`
		NotRun     bool     `json:"not_run"`
		MinApplies bool     `json:"min_applies"`
		MaxApplies bool     `json:"max_applies"`
		Pass       bool     `json:"pass"`
	}
	packedLegacy struct {
		Module     module `json:"module"`
		TID        byte   `json:"tid"`
		Component  byte   `json:"component"`
		LowerLimit bool   `json:"lower_limit"`
		Value      uint16 `json:"value"`
		Limit      uint16 `json:"limit"`
		Pass       bool   `json:"pass"`
	}
	packedReading struct {
		Module  module      `json:"module"`
		Service obd.Service `json:"service"`
		ID      byte        `json:"id"`
		Part    byte        `json:"part"`
		Value   float64     `json:"value"`
		Unit    obd.Unit    `json:"unit"`
	}
)

// module is an obd.Module that JSON can read back: its width is told by how many digits there are.
type module obd.Module

func (m module) MarshalText() ([]byte, error) { return obd.Module(m).MarshalText() }

func (m *module) UnmarshalText(text []byte) error {
	bits, ok := map[int]uint8{2: 8, 3: 11, 8: 29}[len(text)]
	if !ok {
		*m = module{}
		return nil
	}
	id, err := strconv.ParseUint(string(text), 16, 32)
	*m = module{ID: uint32(id), Bits: bits}
	return err
}

// each converts a slice; nil stays nil.
func each[A, B any](from []A, convert func(A) B) []B {
	if from == nil {
		return nil
	}
	to := make([]B, len(from))
	for i, a := range from {
		to[i] = convert(a)
	}
	return to
}

func packIntake(in *obd.Intake) packedIntake {
	return packedIntake{
		At: in.At.UTC(), Adapter: in.Adapter, Protocol: in.Protocol, Voltage: in.Voltage, VIN: in.VIN, VINCheck: in.VINCheck,
		Modules: each(in.Modules, packModule), packedCodes: packCodes(&in.CodeReport),
		Tests: each(in.Tests, packTest), Legacy: each(in.Legacy, packLegacy), Live: each(in.Live, packReading),
	}
}

func (p packedIntake) unpack() *obd.Intake {
	return &obd.Intake{
		At: p.At, Adapter: p.Adapter, Protocol: p.Protocol, Voltage: p.Voltage, VIN: p.VIN, VINCheck: p.VINCheck,
		Modules: each(p.Modules, packedModule.unpack), CodeReport: p.packedCodes.unpack(),
		Tests: each(p.Tests, packedTest.unpack), Legacy: each(p.Legacy, packedLegacy.unpack), Live: each(p.Live, packedReading.unpack),
	}
}

func packModule(m obd.ModuleIntake) packedModule {
	return packedModule{
		Module: module(m.Module), Name: m.Name, Calibrations: m.Calibrations,
		CVNs:     each(m.CVNs, func(n obd.CVN) uint32 { return uint32(n) }),
		Monitors: packMonitors(m.Monitors), ThisCycle: packMonitors(m.ThisCycle),
	}
}

func (p packedModule) unpack() obd.ModuleIntake {
	return obd.ModuleIntake{
		Module: obd.Module(p.Module), Name: p.Name, Calibrations: p.Calibrations,
		CVNs:     each(p.CVNs, func(n uint32) obd.CVN { return obd.CVN(n) }),
		Monitors: p.Monitors.unpack(), ThisCycle: p.ThisCycle.unpack(),
	}
}

func packMonitors(m *obd.Monitors) *packedMonitors {
	if m == nil {
		return nil
	}
	return &packedMonitors{
		Module: module(m.Module), ThisCycle: m.ThisCycle, MIL: m.MIL, Codes: m.Codes, Compression: m.Compression,
		States: each(m.States, func(s obd.MonitorState) packedState {
			return packedState{Monitor: byte(s.Monitor), Name: s.Monitor.String(), Supported: s.Supported, Complete: s.Complete}
		}),
	}
}

func (p *packedMonitors) unpack() *obd.Monitors {
	if p == nil {
		return nil
	}
	return &obd.Monitors{
		Module: obd.Module(p.Module), ThisCycle: p.ThisCycle, MIL: p.MIL, Codes: p.Codes, Compression: p.Compression,
		States: each(p.States, func(s packedState) obd.MonitorState {
			return obd.MonitorState{Monitor: obd.Monitor(s.Monitor), Supported: s.Supported, Complete: s.Complete}
		}),
	}
}

func packCodes(r *obd.CodeReport) packedCodes {
	return packedCodes{
		Codes: each(r.Modules, func(m obd.ModuleCodes) packedCodeList {
			return packedCodeList{Module: module(m.Module), Stored: m.Stored, Pending: m.Pending, Permanent: m.Permanent}
		}),
		Frames: each(r.Frames, func(f obd.FreezeFrame) packedFrame {
			return packedFrame{Module: module(f.Module), Frame: f.Frame, Code: f.Code, Readings: each(f.Readings, packReading)}
		}),
		Unread: r.Unread,
	}
}

func (p packedCodes) unpack() obd.CodeReport {
	return obd.CodeReport{
		Modules: each(p.Codes, func(m packedCodeList) obd.ModuleCodes {
			return obd.ModuleCodes{Module: obd.Module(m.Module), Stored: m.Stored, Pending: m.Pending, Permanent: m.Permanent}
		}),
		Frames: each(p.Frames, func(f packedFrame) obd.FreezeFrame {
			return obd.FreezeFrame{Module: obd.Module(f.Module), Frame: f.Frame, Code: f.Code, Readings: each(f.Readings, packedReading.unpack)}
		}),
		Unread: p.Unread,
	}
}

func packTest(t obd.TestResult) packedTest {
	return packedTest{
		Module: module(t.Module), MID: t.MID, TID: t.TID, UASID: t.UASID, Raw: t.Raw, Min: t.Min, Max: t.Max,
		Value: t.Value, MinValue: t.MinValue, MaxValue: t.MaxValue, Unit: t.Unit,
		Known: t.Known, NotRun: t.NotRun, MinApplies: t.MinApplies, MaxApplies: t.MaxApplies, Pass: t.Pass,
	}
}

func (p packedTest) unpack() obd.TestResult {
	return obd.TestResult{
		Module: obd.Module(p.Module), MID: p.MID, TID: p.TID, UASID: p.UASID, Raw: p.Raw, Min: p.Min, Max: p.Max,
		Value: p.Value, MinValue: p.MinValue, MaxValue: p.MaxValue, Unit: p.Unit,
		Known: p.Known, NotRun: p.NotRun, MinApplies: p.MinApplies, MaxApplies: p.MaxApplies, Pass: p.Pass,
	}
}

func packLegacy(l obd.LegacyResult) packedLegacy {
	return packedLegacy{
		Module: module(l.Module), TID: l.TID, Component: l.Component, LowerLimit: l.LowerLimit,
		Value: l.Value, Limit: l.Limit, Pass: l.Pass,
	}
}

func (p packedLegacy) unpack() obd.LegacyResult {
	return obd.LegacyResult{
		Module: obd.Module(p.Module), TID: p.TID, Component: p.Component, LowerLimit: p.LowerLimit,
		Value: p.Value, Limit: p.Limit, Pass: p.Pass,
	}
}

func packReading(r obd.Reading) packedReading {
	return packedReading{Module: module(r.Module), Service: r.Service, ID: r.ID, Part: r.Part, Value: r.Value, Unit: r.Unit}
}

func (p packedReading) unpack() obd.Reading {
	return obd.Reading{Module: obd.Module(p.Module), Service: p.Service, ID: p.ID, Part: p.Part, Value: p.Value, Unit: p.Unit}
}
