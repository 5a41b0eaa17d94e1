package report

import (
	"cmp"
	"math"
	"slices"
	"time"

	"stumble/obd"
	"stumble/views/say"
)

// Codes is the JSON object of the command codes. Fields are only ever added. A list that is empty is [], a
// single value that is not known is null.
type Codes struct {
	Kind string `json:"kind"` // "codes"
	CodeLists
}

// CodeLists is the trouble codes of all modules.
type CodeLists struct {
	Modules      []ModuleCodes `json:"modules"`
	FreezeFrames []FreezeFrame `json:"freeze_frames"`
	// Unread says what of this could not be read and why: an empty list of codes is good news only when
	// the list was read.
	Unread []string `json:"unread"`
}

// ModuleCodes is the trouble codes of one module, in the module's order.
type ModuleCodes struct {
	Module    string `json:"module"` // address, as 7E8
	Stored    []Code `json:"stored"`
	Pending   []Code `json:"pending"`
	Permanent []Code `json:"permanent"`
}

// Code is one trouble code.
type Code struct {
	Code     string `json:"code"`
	Meaning  string `json:"meaning"`
	Cylinder int    `json:"cylinder,omitempty"` // left out when the code names none
}

// FreezeFrame is what a module kept of the moment it stored a code.
type FreezeFrame struct {
	Module   string    `json:"module"`
	Frame    int       `json:"frame"`
	Code     string    `json:"code"`
	Readings []Reading `json:"readings"`
}

// Reading is one value of a freeze frame, or of live data.
type Reading struct {
	Module string   `json:"module,omitempty"` // left out in a freeze frame, which has it
	PID    string   `json:"pid"`              // two hexadecimal digits; several readings may share it
	Name   string   `json:"name"`
	Value  *float64 `json:"value"`
	Unit   string   `json:"unit"`            // "" for plain numbers and states
	State  string   `json:"state,omitempty"` // the value in words, where it is a state
}

// Intake is the JSON object of the command intake.
type Intake struct {
	Kind        string     `json:"kind"` // "intake"
	At          *time.Time `json:"at"`
	Adapter     string     `json:"adapter"`
	Protocol    Protocol   `json:"protocol"`
	Voltage     *float64   `json:"voltage"` // V, at the diagnostic socket
	VIN         *string    `json:"vin"`
	VINCheckOK  *bool      `json:"vin_check_digit_ok"` // false proves nothing outside North America
	Modules     []Module   `json:"modules"`
	Codes       CodeLists  `json:"codes"`
	Tests       []Test     `json:"tests"`
	LegacyTests []OldTest  `json:"legacy_tests"` // of the buses before CAN
	Counts      []Count    `json:"misfire_counts"`
	Live        []Reading  `json:"live"`
	Unread      []string   `json:"unread"` // all that could not be read, codes included
}

// Protocol is a bus protocol, by its ELM327 number.
type Protocol struct {
	Number int    `json:"number"`
	Name   string `json:"name"`
}

// Module is one control module.
type Module struct {
	Module       string    `json:"module"`
	Name         string    `json:"name"`
	Calibrations []string  `json:"calibrations"`
	CVNs         []string  `json:"cvns"`
	SinceClear   *Monitors `json:"monitors_since_clear"`
	ThisCycle    *Monitors `json:"monitors_this_cycle"`
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

// Test is one on-board test result on CAN. Value and limits are in the unit.
type Test struct {
	Module  string   `json:"module"`
	Monitor string   `json:"monitor"`
	MID     string   `json:"mid"`
	TID     string   `json:"tid"`
	Name    string   `json:"name"`
	Value   *float64 `json:"value"`
	Min     *float64 `json:"min"` // null when there is no such limit
	Max     *float64 `json:"max"`
	Unit    string   `json:"unit"`
	Scaled  bool     `json:"scaled"` // false: the scale is not known, values are raw
	Pass    bool     `json:"pass"`   // false also when it has not run
	NotRun  bool     `json:"not_run"`
	Raw     int      `json:"raw"`
}

// OldTest is one on-board test result of a bus before CAN. Numbers and scale are the maker's.
type OldTest struct {
	Module    string `json:"module"`
	TID       string `json:"tid"`
	Component string `json:"component"`
	Value     int    `json:"value"`
	Min       *int   `json:"min"` // one of min and max is null
	Max       *int   `json:"max"`
	Pass      bool   `json:"pass"`
}

// Count is the misfire counts of one cylinder. They carry no running, so no rate can be made of them.
type Count struct {
	Module   string   `json:"module"`
	Cylinder int      `json:"cylinder"`   // by the standard's numbering
	Current  *float64 `json:"this_cycle"` // until the engine starts, still the last driving cycle
	Average  *float64 `json:"average"`    // of the last ten driving cycles
	// Saturated says that this_cycle stands at its end, 65535, and means "or more".
	Saturated bool `json:"saturated"`
}

// CodesObject is a code report as it is printed in JSON.
func CodesObject(r *obd.CodeReport) Codes {
	return Codes{Kind: "codes", CodeLists: codeListsObject(r)}
}

// IntakeObject is an intake as it is printed in JSON.
func IntakeObject(i *obd.Intake) Intake {
	o := Intake{
		Kind: "intake", Adapter: i.Adapter, Protocol: Protocol{int(i.Protocol), i.Protocol.String()},
		Modules: each(i.Modules, moduleObject), Codes: codeListsObject(&i.CodeReport),
		Tests: each(i.Tests, testObject), LegacyTests: each(i.Legacy, oldTestObject),
		Counts: each(countsOf(i.Tests), countObject), Live: each(i.Live, liveObject), Unread: each(i.Unread, unreadObject),
	}
	o.Codes.Unread = each(codesUnread(i.Unread), unreadObject)
	if !i.At.IsZero() {
		o.At = &i.At
	}
	if i.Voltage > 0 {
		o.Voltage = finite(i.Voltage)
	}
	if i.VIN != "" {
		o.VIN, o.VINCheckOK = &i.VIN, &i.VINCheck
	}
	return o
}

// each maps a list; none becomes an empty list, which JSON shows as [].
func each[A, B any](list []A, f func(*A) B) []B {
	out := make([]B, len(list))
	for i := range list {
		out[i] = f(&list[i])
	}
	return out
}

func same[A any](a *A) A { return *a }

// finite is a number, or nil for what JSON cannot hold.
func finite(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

func codeListsObject(r *obd.CodeReport) CodeLists {
	return CodeLists{
		Modules: each(r.Modules, moduleCodesObject), FreezeFrames: each(r.Frames, frameObject), Unread: each(r.Unread, unreadObject),
	}
}

// unreadObject is what could not be read, as a line.
func unreadObject(u *obd.Unread) string { return say.English().Unread(u) }

// codesUnread picks what is about codes and their freeze frames.
func codesUnread(unread []obd.Unread) []obd.Unread {
	return slices.DeleteFunc(slices.Clone(unread), func(u obd.Unread) bool { return !u.Codes() })
}

func moduleCodesObject(m *obd.ModuleCodes) ModuleCodes {
	return ModuleCodes{
		Module: m.Module.String(), Stored: each(m.Stored, codeObject), Pending: each(m.Pending, codeObject),
		Permanent: each(m.Permanent, codeObject),
	}
}

func codeObject(c *obd.Code) Code {
	info := obd.DescribeCode(*c)
	return Code{Code: c.String(), Meaning: info.Meaning, Cylinder: info.Cylinder}
}

func frameObject(f *obd.FreezeFrame) FreezeFrame {
	return FreezeFrame{
		Module: f.Module.String(), Frame: int(f.Frame), Code: f.Code.String(), Readings: each(f.Readings, readingObject),
	}
}

func readingObject(r *obd.Reading) Reading {
	return Reading{PID: hex(r.ID), Name: cmp.Or(readingName(r), "parameter "+hex(r.ID)), Value: finite(r.Value), Unit: string(r.Unit), State: readingState(r)}
}

func liveObject(r *obd.Reading) Reading {
	o := readingObject(r)
	o.Module = r.Module.String()
	return o
}

func moduleObject(m *obd.ModuleIntake) Module {
	return Module{
		Module: m.Module.String(), Name: m.Name, Calibrations: each(m.Calibrations, same),
		CVNs:       each(m.CVNs, func(c *obd.CVN) string { return c.String() }),
		SinceClear: monitorsObject(m.Monitors), ThisCycle: monitorsObject(m.ThisCycle),
	}
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

func testObject(r *obd.TestResult) Test {
	o := Test{
		Module: r.Module.String(), Monitor: obd.MonitorName(r.MID), MID: hex(r.MID), TID: hex(r.TID), Name: obd.TestName(r.TID),
		Value: finite(r.Value), Unit: string(r.Unit), Scaled: r.Known, Pass: r.Pass, NotRun: r.NotRun, Raw: int(r.Raw),
	}
	if r.MinApplies {
		o.Min = finite(r.MinValue)
	}
	if r.MaxApplies {
		o.Max = finite(r.MaxValue)
	}
	return o
}

func oldTestObject(r *obd.LegacyResult) OldTest {
	o := OldTest{
		Module: r.Module.String(), TID: hex(r.TID), Component: hex(r.Component), Value: int(r.Value), Pass: r.Pass,
	}
	limit := int(r.Limit)
	if r.LowerLimit {
		o.Min = &limit
	} else {
		o.Max = &limit
	}
	return o
}

func countObject(c *cylinderCounts) Count {
	o := Count{Module: c.module.String(), Cylinder: c.cylinder}
	if c.current != nil {
		o.Current, o.Saturated = finite(c.current.Value), c.current.Saturated()
	}
	if c.average != nil {
		o.Average = finite(c.average.Value)
	}
	return o
}
