package obd

import "time"

// ModuleCodes is the trouble codes of one module.
type ModuleCodes struct {
	Module    Module
	Stored    []Code
	Pending   []Code
	Permanent []Code
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
}
