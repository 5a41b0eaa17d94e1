package wire

import (
	"cmp"

	"stumble/obd"
	"stumble/views/report"
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
	UDS       bool   `json:"uds"` // told in the words of SAE J1979-2: then each code is in status, too, whole
	Status    []Full `json:"status"`
}

// Full is a trouble code as SAE J1979-2 tells it.
type Full struct {
	Code     string `json:"code"`     // with its type of failure, as P0302-00
	Failure  string `json:"failure"`  // type of failure, two hexadecimal digits
	Status   string `json:"status"`   // the status byte, likewise
	Severity string `json:"severity"` // severity class bits, likewise
	// The bits of the status.
	Failing         bool `json:"failing"`
	FailedThisCycle bool `json:"failed_this_cycle"`
	Pending         bool `json:"pending"`
	Confirmed       bool `json:"confirmed"`
	CheckedClear    bool `json:"complete_since_clear"`
	FailedClear     bool `json:"failed_since_clear"`
	CheckedCycle    bool `json:"complete_this_cycle"`
	Lamp            bool `json:"lamp"`
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
	Module string `json:"module,omitempty"` // left out in a freeze frame, which has it
	PID    string `json:"pid"`              // two hexadecimal digits; several readings may share it
	Name   string `json:"name"`
	Value  Number `json:"value"`
	Unit   string `json:"unit"`            // "" for plain numbers and states
	State  string `json:"state,omitempty"` // the value in words, where it is a state
}

// NewCodes is a code report as it is printed in JSON.
func NewCodes(r *obd.CodeReport) Codes {
	return Codes{Kind: "codes", CodeLists: codeListsObject(r)}
}

func codeListsObject(r *obd.CodeReport) CodeLists {
	return CodeLists{
		Modules: each(r.Modules, moduleCodesObject), FreezeFrames: each(r.Frames, frameObject), Unread: each(r.Unread, unreadObject),
	}
}

// unreadObject is what could not be read, as a line.
func unreadObject(u *obd.Unread) string { return say.English().Unread(u) }

func moduleCodesObject(m *obd.ModuleCodes) ModuleCodes {
	return ModuleCodes{
		Module: m.Module.String(), Stored: each(m.Stored, codeObject), Pending: each(m.Pending, codeObject),
		Permanent: each(m.Permanent, codeObject), UDS: m.UDS, Status: each(m.Status, fullObject),
	}
}

func fullObject(c *obd.CodeStatus) Full {
	return Full{
		Code: c.String(), Failure: report.Hex(c.Failure), Status: report.Hex(byte(c.Status)), Severity: report.Hex(c.Severity),
		Failing: c.Status.Has(obd.StatusFailing), FailedThisCycle: c.Status.Has(obd.StatusFailedCycle),
		Pending: c.Status.Has(obd.StatusPending), Confirmed: c.Status.Has(obd.StatusConfirmed),
		CheckedClear: !c.Status.Has(obd.StatusNotSinceClear), FailedClear: c.Status.Has(obd.StatusFailedSinceClear),
		CheckedCycle: !c.Status.Has(obd.StatusNotThisCycle), Lamp: c.Status.Has(obd.StatusLamp),
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
	pid := report.Hex(r.ID)
	return Reading{
		PID: pid, Name: cmp.Or(report.ReadingName(r), "parameter "+pid), Value: Number(r.Value), Unit: string(r.Unit),
		State: report.ReadingState(r),
	}
}

func liveObject(r *obd.Reading) Reading {
	o := readingObject(r)
	o.Module = r.Module.String()
	return o
}
