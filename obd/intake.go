package obd

import "time"

// ModuleCodes is the trouble codes of one module.
type ModuleCodes struct {
	Module    Module
	Stored    []Code
	Pending   []Code
	Permanent []Code
	UDS       bool // they were told in the words of SAE J1979-2
	// Status is each code with all that a module of SAE J1979-2 tells of it; empty for other modules.
	Status []CodeStatus
}

// CodeReport is all trouble codes of a car, with the moments they were stored at.
type CodeReport struct {
	Modules []ModuleCodes
	Frames  []FreezeFrame
	// Unread is what could not be read and why: an empty list of codes is good news only
	// when the list was read.
	Unread []Unread
}

// Intake is everything a car says of itself before anything is touched.
type Intake struct {
	At       time.Time
	Adapter  string // what the adapter calls itself
	Protocol Protocol
	Voltage  float64 // at the diagnostic socket, V; 0 when the adapter cannot tell

	VIN      string // empty when the car does not tell
	VINCheck bool   // its check digit is right; vehicles outside North America need not have one
	Modules  []ModuleIntake
	CodeReport
	Tests  []TestResult   // service 06 on CAN
	Legacy []LegacyResult // service 06 on older buses
	Live   []Reading      // service 01 at that moment: trims, temperatures, speeds
}

// ModuleIntake is one control module.
type ModuleIntake struct {
	Module       Module
	Name         string // as the module has it; may be empty
	Calibrations []string
	CVNs         []CVN
	Monitors     *Monitors // since the last clear; nil when not told
	ThisCycle    *Monitors // this driving cycle; nil when not told
	UDS          bool      // it says that it speaks OBD on UDS (SAE J1979-2)
	// Checks is how far the checks behind single codes have come, told by modules of SAE J1979-2 alone.
	Checks []CodeCheck
}

// CodeCheck is how far the check behind a code has come. Group is the number of the readiness group it was told in, 0
// when it came with the code's own data: what the numbers mean is in a part of the standard that is not at hand.
type CodeCheck struct {
	CodeStatus
	Group byte
	Ratio *InUse // nil when not told
}

// InUse is how often a check was completed, and how often the conditions for it were met.
type InUse struct {
	Completed int `json:"completed"`
	Met       int `json:"conditions_met"`
}
