// Package uds reads and asks in the language of SAE J1979-2, OBD on UDS: cars that leave services 01 to 0A behind and
// answer services 19 and 22 of ISO 14229 instead. It gives the same typed values as package obd. It is pure.
//
// No real car of this kind was at hand, nor a recording of one. The layouts are those on which public sources agree
// (diagnostic memories of two makers' toolkits, a table of answers for ISO 27145, two libraries and a knowledge base
// of ISO 14229); where one source alone tells, or sources differ, it is said at the place.
package uds

import "stumble/obd"

// Identifiers of service 22: the high byte tells the service of SAE J1979 whose id the low byte is.
const (
	highLive  byte = 0xF4 // PIDs, scaled as ever
	highTests byte = 0xF6 // monitors; that such a car fills them is from memory
	highInfo  byte = 0xF8 // information types, without the count of items

	idProtocol byte = 0x10 // F810: which protocol this is
)

// emissions is the functional group of emission-related systems (ISO 14229-1).
const emissions byte = 0x33

// Subfunctions of service 19.
const (
	byMask      byte = 0x42 // codes of a functional group by status and severity
	permanent   byte = 0x55 // permanent codes of a functional group
	ofReadiness byte = 0x56 // codes of a readiness group, faulty or not: one source
)

// Records of extended data.
const (
	recordInUse   byte = 0x91 // how often the check was completed: two toolkits agree
	recordResults byte = 0x92 // test results of the code: likewise
)

// severities are the classes asked for: all but "no class" (bit 0).
const severities byte = 0x1E

// MostIdentifiers is how many identifiers a request holds that fits one CAN frame.
const MostIdentifiers = (obd.MaxRequest - 1) / 2

// Identify asks which protocol the car speaks for OBD.
func Identify() obd.Request { return obd.NewRequest(obd.DataByID, highInfo, idProtocol) }

// Speaks reports whether an answer to Identify says OBD on UDS: value 01, by two sources. A responder in the field
// counts one byte too few and sends none; that says nothing. Values above 01 are met with, too, their meaning is not
// known, and are taken for the same.
func Speaks(m obd.Message) bool {
	d := m.Data
	return len(d) == 4 && d[0] == obd.DataByID.Response() && d[1] == highInfo && d[2] == idProtocol && d[3] != 0
}

// Stored asks for confirmed codes, Pending for pending ones, Permanent for those that no tool erases.
func Stored() obd.Request { return byStatus(obd.StatusConfirmed) }

// Pending asks for pending codes.
func Pending() obd.Request { return byStatus(obd.StatusPending) }

// byStatus puts the mask of the status before that of the severity, as a library and a table of answers have it; a
// knowledge base prints them the other way round.
func byStatus(s obd.Status) obd.Request {
	return obd.NewRequest(obd.CodeData, byMask, emissions, byte(s), severities)
}

// Permanent asks for permanent codes.
func Permanent() obd.Request { return obd.NewRequest(obd.CodeData, permanent, emissions) }

// Readiness asks for the codes of a readiness group with the state of their checks.
func Readiness(group byte) obd.Request {
	return obd.NewRequest(obd.CodeData, ofReadiness, emissions, group)
}

// Frame records: the first occurrence and the latest (a third toolkit's numbers: one source).
const (
	FirstFrame  byte = 0x00
	LatestFrame byte = 0xF0
)

// Frame asks for a freeze frame of a code.
func Frame(c obd.CodeStatus, record byte) obd.Request {
	return obd.NewRequest(obd.CodeData, obd.CodeFrame, byte(c.Code>>8), byte(c.Code), c.Failure, record)
}

// InUse asks how often the check behind a code was completed.
func InUse(c obd.CodeStatus) obd.Request { return extended(c, recordInUse) }

// Counts asks for the test results that hang on the misfire code of a cylinder, its counts among them.
func Counts(cylinder int) obd.Request { return extended(Misfire(cylinder), recordResults) }

func extended(c obd.CodeStatus, record byte) obd.Request {
	return obd.NewRequest(obd.CodeData, obd.CodeRecord, byte(c.Code>>8), byte(c.Code), c.Failure, record)
}

// MostCylinders is the highest cylinder that has a misfire code of its own.
const MostCylinders = 12

// Misfire is the misfire code of a cylinder, P0301 to P0312: its digits are read as decimal ones.
func Misfire(cylinder int) obd.CodeStatus {
	return obd.CodeStatus{Code: obd.Code(0x0300 + cylinder/10<<4 + cylinder%10)}
}
