package wire

import (
	"time"

	"stumble/obd"
	"stumble/views/report"
)

// Intake is the JSON object of the command intake.
type Intake struct {
	Kind        string         `json:"kind"` // "intake"
	At          *time.Time     `json:"at"`   // to the nanosecond, alone of all times
	Adapter     string         `json:"adapter"`
	Protocol    Protocol       `json:"protocol"`
	Voltage     Number         `json:"voltage"` // V, at the diagnostic socket
	VIN         Word           `json:"vin"`
	VINCheckOK  *bool          `json:"vin_check_digit_ok"` // false proves nothing outside North America
	Modules     []Module       `json:"modules"`
	Codes       CodeLists      `json:"codes"`
	Tests       []OnBoardTest  `json:"tests"`
	LegacyTests []LegacyTest   `json:"legacy_tests"` // of the buses before CAN
	Counts      []MisfireCount `json:"misfire_counts"`
	Live        []Reading      `json:"live"`
	Unread      []string       `json:"unread"` // all that could not be read, codes included
}

// Protocol is a bus protocol, by its ELM327 number.
type Protocol struct {
	Number int    `json:"number"`
	Name   string `json:"name"`
}

// Module is one control module.
type Module struct {
	Module       string      `json:"module"`
	Name         string      `json:"name"`
	Calibrations []string    `json:"calibrations"`
	CVNs         []string    `json:"cvns"`
	SinceClear   *Monitors   `json:"monitors_since_clear"`
	ThisCycle    *Monitors   `json:"monitors_this_cycle"`
	UDS          bool        `json:"uds"`    // it says that it speaks OBD on UDS (SAE J1979-2)
	Checks       []CodeCheck `json:"checks"` // behind single codes, of such a module
}

// CodeCheck is how far the check behind a code has come.
type CodeCheck struct {
	Full
	Group string `json:"group"` // readiness group, two hexadecimal digits; "" when it came with the code's own data
	InUse *InUse `json:"in_use"`
}

// InUse is how often a check was completed, of how often its conditions were met.
type InUse struct {
	Completed int `json:"completed"`
	Met       int `json:"conditions_met"`
}

// Monitors is how far a module's own checks have come.
type Monitors struct {
	Lamp        *bool     `json:"lamp"`  // commanded on; null in this cycle's status, which does not tell
	Codes       *int      `json:"codes"` // stored codes that the module counts; null likewise
	Compression bool      `json:"compression_ignition"`
	Monitors    []Monitor `json:"monitors"`
}

// Monitor is one check.
type Monitor struct {
	Name      string `json:"name"`
	Supported bool   `json:"supported"` // in this cycle's status: enabled
	Complete  bool   `json:"complete"`
}

// OnBoardTest is one on-board test result on CAN. Value and limits are in the unit.
type OnBoardTest struct {
	Module  string `json:"module"`
	Monitor string `json:"monitor"`
	MID     string `json:"mid"`
	TID     string `json:"tid"`
	Name    string `json:"name"`
	Value   Number `json:"value"`
	Min     Number `json:"min"` // null when there is no such limit
	Max     Number `json:"max"`
	Unit    string `json:"unit"`
	Scaled  bool   `json:"scaled"` // false: the scale is not known, values are raw
	Pass    bool   `json:"pass"`   // false also when it has not run
	NotRun  bool   `json:"not_run"`
	Raw     int    `json:"raw"`
	Record  int    `json:"record,omitempty"` // place, from 1, among the results that hang on a code of SAE J1979-2
}

// LegacyTest is one on-board test result of a bus before CAN. Numbers and scale are the maker's.
type LegacyTest struct {
	Module    string `json:"module"`
	TID       string `json:"tid"`
	Component string `json:"component"`
	Value     int    `json:"value"`
	Min       *int   `json:"min"` // one of min and max is null
	Max       *int   `json:"max"`
	Pass      bool   `json:"pass"`
}

// MisfireCount is the misfire counts of one cylinder. They carry no running, so no rate can be made of them.
type MisfireCount struct {
	Module   string `json:"module"`
	Cylinder int    `json:"cylinder"`   // by the standard's numbering
	Current  Number `json:"this_cycle"` // until the engine starts, still the last driving cycle
	Average  Number `json:"average"`    // of the last ten driving cycles
	// Saturated says that this_cycle stands at its end, 65535, and means "or more".
	Saturated bool `json:"saturated"`
	// Records are the counts that hang on the cylinder's code (SAE J1979-2) and do not say which of the two they are.
	Records []int `json:"records"`
}

// NewIntake is an intake as it is printed in JSON.
func NewIntake(i *obd.Intake) Intake {
	o := Intake{
		Kind: "intake", Voltage: unknown(), VIN: Word(i.VIN), Adapter: i.Adapter, Protocol: Protocol{int(i.Protocol), i.Protocol.String()},
		Modules: each(i.Modules, moduleObject), Codes: codeListsObject(&i.CodeReport),
		Tests: each(i.Tests, onBoardObject), LegacyTests: each(i.Legacy, oldTestObject),
		Counts: each(report.CountsOf(i.Tests), countObject), Live: each(i.Live, liveObject), Unread: each(i.Unread, unreadObject),
	}
	o.Codes.Unread = each(report.CodesUnread(i.Unread), unreadObject)
	if at := i.At.UTC(); !at.IsZero() {
		o.At = &at
	}
	if i.Voltage > 0 {
		o.Voltage = Number(i.Voltage)
	}
	if i.VIN != "" {
		o.VINCheckOK = &i.VINCheck
	}
	return o
}

func moduleObject(m *obd.ModuleIntake) Module {
	return Module{
		Module: m.Module.String(), Name: m.Name, Calibrations: each(m.Calibrations, same),
		CVNs:       each(m.CVNs, func(c *obd.CVN) string { return c.String() }),
		SinceClear: monitorsObject(m.Monitors), ThisCycle: monitorsObject(m.ThisCycle),
		UDS: m.UDS, Checks: each(m.Checks, codeCheckObject),
	}
}

func codeCheckObject(c *obd.CodeCheck) CodeCheck {
	o := CodeCheck{Full: fullObject(&c.CodeStatus)}
	if c.Group != 0 {
		o.Group = report.Hex(c.Group)
	}
	if c.Ratio != nil {
		o.InUse = &InUse{c.Ratio.Completed, c.Ratio.Met}
	}
	return o
}

func monitorsObject(m *obd.Monitors) *Monitors {
	if m == nil {
		return nil
	}
	o := &Monitors{Compression: m.Compression, Monitors: each(m.States, func(s *obd.MonitorState) Monitor {
		return Monitor{Name: s.Monitor.String(), Supported: s.Supported, Complete: s.Complete}
	})}
	if !m.ThisCycle {
		o.Lamp, o.Codes = &m.MIL, &m.Codes
	}
	return o
}

func onBoardObject(r *obd.TestResult) OnBoardTest {
	o := OnBoardTest{
		Module: r.Module.String(), Monitor: obd.MonitorName(r.MID), MID: report.Hex(r.MID), TID: report.Hex(r.TID), Name: obd.TestName(r.TID),
		Value: Number(r.Value), Min: unknown(), Max: unknown(), Unit: string(r.Unit), Scaled: r.Known, Pass: r.Pass, NotRun: r.NotRun, Raw: int(r.Raw),
		Record: int(r.Record),
	}
	if r.MinApplies {
		o.Min = Number(r.MinValue)
	}
	if r.MaxApplies {
		o.Max = Number(r.MaxValue)
	}
	return o
}

func oldTestObject(r *obd.LegacyResult) LegacyTest {
	o := LegacyTest{
		Module: r.Module.String(), TID: report.Hex(r.TID), Component: report.Hex(r.Component), Value: int(r.Value), Pass: r.Pass,
	}
	limit := int(r.Limit)
	if r.LowerLimit {
		o.Min = &limit
	} else {
		o.Max = &limit
	}
	return o
}

func countObject(c *report.CylinderCounts) MisfireCount {
	o := MisfireCount{Records: each(c.Records, func(r **obd.TestResult) int { return int((*r).Raw) }), Module: c.Module.String(), Cylinder: c.Cylinder, Current: unknown(), Average: unknown()}
	if c.Current != nil {
		o.Current, o.Saturated = Number(c.Current.Value), c.Current.Saturated()
	}
	if c.Average != nil {
		o.Average = Number(c.Average.Value)
	}
	return o
}

// IntakeWithCauses is an intake with what may be behind the misfire, by the codes alone.
type IntakeWithCauses struct {
	Intake
	Causes *CausesBrief `json:"causes"`
}
