package obd

import "fmt"

// CodeStatus is a trouble code as SAE J1979-2 tells it: three bytes, of which the third is the type of failure, and
// what the module knows of it.
type CodeStatus struct {
	Code     Code // the first two bytes, as other cars write it
	Failure  byte // type of failure (SAE J2012-DA); 0 says nothing more
	Status   Status
	Severity byte // severity class bits; 0 where not told
}

// String is the code as the trade writes all of it: P0302-00.
func (c CodeStatus) String() string { return fmt.Sprintf("%v-%02X", c.Code, c.Failure) }

// Status is the status byte of a code (ISO 14229-1, by two public descriptions that agree).
type Status byte

// The bits of a status.
const (
	StatusFailing     Status = 1 << iota // at this moment
	StatusFailedCycle                    // in this driving cycle
	StatusPending
	StatusConfirmed
	StatusNotSinceClear // the check has not been completed since the clear
	StatusFailedSinceClear
	StatusNotThisCycle // the check has not been completed in this driving cycle
	StatusLamp         // asks for the lamp
)

// Has reports whether a bit is set.
func (s Status) Has(bit Status) bool { return s&bit != 0 }
