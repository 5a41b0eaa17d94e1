package journal

import (
	"encoding/json"
	"strings"
	"time"

	"stumble/obd"
)

// The stored types are those of package obd with names for JSON. They are what lies in the file, so they change
// only with the schema's version.
type (
	storedIntake struct {
		At       time.Time      `json:"at"`
		Adapter  string         `json:"adapter"`
		Protocol obd.Protocol   `json:"protocol"` // the adapter's number of it
		Voltage  float64        `json:"voltage"`
		VIN      string         `json:"vin"`
		VINCheck bool           `json:"vin_check"`
		Modules  []storedModule `json:"modules"`
		storedCodes
		Tests  []storedTest    `json:"tests"`
		Legacy []storedLegacy  `json:"legacy_tests"`
		Live   []storedReading `json:"live"`
	}
	storedModule struct {
		Module       obd.Module      `json:"module"`
		Name         string          `json:"name"`
		Calibrations []string        `json:"calibrations"`
		CVNs         []uint32        `json:"cvns"`
		Monitors     *storedMonitors `json:"monitors"`
		ThisCycle    *storedMonitors `json:"this_cycle"`
		UDS          bool            `json:"uds,omitzero"`
		Checks       []storedCheck   `json:"checks,omitempty"`
	}
	storedMonitors struct {
		Module      obd.Module    `json:"module"`
		ThisCycle   bool          `json:"of_this_cycle"`
		MIL         bool          `json:"mil"`
		Codes       int           `json:"codes"`
		Compression bool          `json:"compression_ignition"`
		States      []storedState `json:"states"`
	}
	storedState struct {
		Monitor   byte   `json:"monitor"` // number in package obd
		Name      string `json:"name"`    // for reading
		Supported bool   `json:"supported"`
		Complete  bool   `json:"complete"`
	}
	storedCodes struct {
		Codes  []storedCodeList `json:"codes"`
		Frames []storedFrame    `json:"freeze_frames"`
		Unread []storedUnread   `json:"unread"`
	}
	storedUnread struct {
		What   obd.UnreadKind `json:"what"`
		ID     byte           `json:"id,omitzero"`
		Module *obd.Module    `json:"module,omitzero"`
		Why    string         `json:"why"`
		Line   string         `json:"line,omitzero"` // all that is known of what an earlier program stored
	}
	storedCodeList struct {
		Module    obd.Module `json:"module"`
		Stored    []obd.Code `json:"stored"`
		Pending   []obd.Code `json:"pending"`
		Permanent []obd.Code `json:"permanent"`
		// Of a car of SAE J1979-2: each code whole.
		UDS    bool           `json:"uds,omitzero"`
		Status []storedStatus `json:"status,omitempty"`
	}
	storedStatus struct {
		Code     obd.Code `json:"code"`
		Failure  byte     `json:"failure"`
		Status   byte     `json:"status"`
		Severity byte     `json:"severity"`
	}
	storedCheck struct {
		storedStatus
		Group byte       `json:"group,omitzero"`
		Ratio *obd.InUse `json:"in_use,omitzero"`
	}
	storedFrame struct {
		Module   obd.Module      `json:"module"`
		Frame    byte            `json:"frame"`
		Code     obd.Code        `json:"code"`
		Readings []storedReading `json:"readings"`
	}
	storedTest struct {
		Module     obd.Module `json:"module"`
		MID        byte       `json:"mid"`
		TID        byte       `json:"tid"`
		UASID      byte       `json:"uasid"`
		Raw        uint16     `json:"raw"`
		Min        uint16     `json:"raw_min"`
		Max        uint16     `json:"raw_max"`
		Value      float64    `json:"value"`
		MinValue   float64    `json:"min"`
		MaxValue   float64    `json:"max"`
		Unit       obd.Unit   `json:"unit"`
		Known      bool       `json:"known"`
		NotRun     bool       `json:"not_run"`
		MinApplies bool       `json:"min_applies"`
		MaxApplies bool       `json:"max_applies"`
		Pass       bool       `json:"pass"`
		Record     byte       `json:"record,omitzero"` // of a car of SAE J1979-2
	}
	storedLegacy struct {
		Module     obd.Module `json:"module"`
		TID        byte       `json:"tid"`
		Component  byte       `json:"component"`
		LowerLimit bool       `json:"lower_limit"`
		Value      uint16     `json:"value"`
		Limit      uint16     `json:"limit"`
		Pass       bool       `json:"pass"`
	}
	storedReading struct {
		Module  obd.Module  `json:"module"`
		Service obd.Service `json:"service"`
		ID      byte        `json:"id"`
		Part    byte        `json:"part"`
		Value   float64     `json:"value"`
		Unit    obd.Unit    `json:"unit"`
	}
)

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

func storeIntake(in *obd.Intake) storedIntake {
	return storedIntake{
		At: in.At.UTC(), Adapter: in.Adapter, Protocol: in.Protocol, Voltage: in.Voltage, VIN: in.VIN, VINCheck: in.VINCheck,
		Modules: each(in.Modules, storeModule), storedCodes: storeCodes(&in.CodeReport),
		Tests:  each(in.Tests, func(t obd.TestResult) storedTest { return storedTest(t) }),
		Legacy: each(in.Legacy, func(l obd.LegacyResult) storedLegacy { return storedLegacy(l) }),
		Live:   each(in.Live, storeReading),
	}
}

func (s storedIntake) intake() *obd.Intake {
	return &obd.Intake{
		At: s.At, Adapter: s.Adapter, Protocol: s.Protocol, Voltage: s.Voltage, VIN: s.VIN, VINCheck: s.VINCheck,
		Modules: each(s.Modules, storedModule.module), CodeReport: s.report(),
		Tests:  each(s.Tests, func(t storedTest) obd.TestResult { return obd.TestResult(t) }),
		Legacy: each(s.Legacy, func(l storedLegacy) obd.LegacyResult { return obd.LegacyResult(l) }),
		Live:   each(s.Live, storedReading.reading),
	}
}

func storeModule(m obd.ModuleIntake) storedModule {
	return storedModule{
		Module: m.Module, Name: m.Name, Calibrations: m.Calibrations,
		CVNs:     each(m.CVNs, func(n obd.CVN) uint32 { return uint32(n) }),
		Monitors: storeMonitors(m.Monitors), ThisCycle: storeMonitors(m.ThisCycle), UDS: m.UDS,
		Checks: each(m.Checks, func(c obd.CodeCheck) storedCheck {
			return storedCheck{storedStatus: storeStatus(c.CodeStatus), Group: c.Group, Ratio: c.Ratio}
		}),
	}
}

func storeStatus(c obd.CodeStatus) storedStatus {
	return storedStatus{Code: c.Code, Failure: c.Failure, Status: byte(c.Status), Severity: c.Severity}
}

func (s storedStatus) status() obd.CodeStatus {
	return obd.CodeStatus{Code: s.Code, Failure: s.Failure, Status: obd.Status(s.Status), Severity: s.Severity}
}

func (s storedModule) module() obd.ModuleIntake {
	return obd.ModuleIntake{
		Module: s.Module, Name: s.Name, Calibrations: s.Calibrations,
		CVNs:     each(s.CVNs, func(n uint32) obd.CVN { return obd.CVN(n) }),
		Monitors: s.Monitors.monitors(), ThisCycle: s.ThisCycle.monitors(), UDS: s.UDS,
		Checks: each(s.Checks, func(c storedCheck) obd.CodeCheck {
			return obd.CodeCheck{CodeStatus: c.status(), Group: c.Group, Ratio: c.Ratio}
		}),
	}
}

func storeMonitors(m *obd.Monitors) *storedMonitors {
	if m == nil {
		return nil
	}
	return &storedMonitors{
		Module: m.Module, ThisCycle: m.ThisCycle, MIL: m.MIL, Codes: m.Codes, Compression: m.Compression,
		States: each(m.States, func(s obd.MonitorState) storedState {
			return storedState{Monitor: byte(s.Monitor), Name: s.Monitor.String(), Supported: s.Supported, Complete: s.Complete}
		}),
	}
}

func (s *storedMonitors) monitors() *obd.Monitors {
	if s == nil {
		return nil
	}
	return &obd.Monitors{
		Module: s.Module, ThisCycle: s.ThisCycle, MIL: s.MIL, Codes: s.Codes, Compression: s.Compression,
		States: each(s.States, func(s storedState) obd.MonitorState {
			return obd.MonitorState{Monitor: obd.Monitor(s.Monitor), Supported: s.Supported, Complete: s.Complete}
		}),
	}
}

func storeCodes(r *obd.CodeReport) storedCodes {
	return storedCodes{
		Codes: each(r.Modules, func(m obd.ModuleCodes) storedCodeList {
			return storedCodeList{m.Module, m.Stored, m.Pending, m.Permanent, m.UDS, each(m.Status, storeStatus)}
		}),
		Frames: each(r.Frames, func(f obd.FreezeFrame) storedFrame {
			return storedFrame{Module: f.Module, Frame: f.Frame, Code: f.Code, Readings: each(f.Readings, storeReading)}
		}),
		Unread: each(r.Unread, func(u obd.Unread) storedUnread { return storedUnread(u) }),
	}
}

func (s storedCodes) report() obd.CodeReport {
	return obd.CodeReport{
		Modules: each(s.Codes, func(l storedCodeList) obd.ModuleCodes {
			return obd.ModuleCodes{Module: l.Module, Stored: l.Stored, Pending: l.Pending, Permanent: l.Permanent,
				UDS: l.UDS, Status: each(l.Status, storedStatus.status)}
		}),
		Frames: each(s.Frames, func(f storedFrame) obd.FreezeFrame {
			return obd.FreezeFrame{Module: f.Module, Frame: f.Frame, Code: f.Code, Readings: each(f.Readings, storedReading.reading)}
		}),
		Unread: each(s.Unread, func(u storedUnread) obd.Unread { return obd.Unread(u) }),
	}
}

func storeReading(r obd.Reading) storedReading { return storedReading(r) }

func (s storedReading) reading() obd.Reading { return obd.Reading(s) }

// UnmarshalJSON reads what could not be read. Programs before stored a line of English, which tells by how it begins what
// it is about.
func (s *storedUnread) UnmarshalJSON(data []byte) error {
	type plain storedUnread
	*s = storedUnread{}
	if len(data) == 0 || data[0] != '"' {
		return json.Unmarshal(data, (*plain)(s))
	}
	if err := json.Unmarshal(data, &s.Line); err != nil {
		return err
	}
	for _, old := range [...]struct {
		begins string
		what   obd.UnreadKind
	}{
		{"stored codes", obd.UnreadStored}, {"pending codes", obd.UnreadPending},
		{"permanent codes", obd.UnreadPermanent}, {"freeze frame", obd.UnreadFrame},
	} {
		if strings.HasPrefix(s.Line, old.begins) {
			s.What = old.what
		}
	}
	return nil
}
