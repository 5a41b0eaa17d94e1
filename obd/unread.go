package obd

// UnreadKind is what could not be read of a car.
type UnreadKind string

// What there is to read. The words are stored.
const (
	UnreadStored       UnreadKind = "stored_codes"
	UnreadPending      UnreadKind = "pending_codes"
	UnreadPermanent    UnreadKind = "permanent_codes"
	UnreadFrame        UnreadKind = "freeze_frame"
	UnreadLists        UnreadKind = "all_lists" // of codes
	UnreadVoltage      UnreadKind = "voltage"
	UnreadVIN          UnreadKind = "vin"
	UnreadNames        UnreadKind = "module_names"
	UnreadCalibrations UnreadKind = "calibrations"
	UnreadCVNs         UnreadKind = "cvns"
	UnreadMonitors     UnreadKind = "monitors"
	UnreadTests        UnreadKind = "tests"       // which there are
	UnreadTest         UnreadKind = "test"        // ID: its monitor
	UnreadLegacyTest   UnreadKind = "legacy_test" // ID: its number
	UnreadLive         UnreadKind = "live"        // of a module
	UnreadPID          UnreadKind = "pid"         // ID
)

// Unread is something that could not be read, and why.
type Unread struct {
	What   UnreadKind
	ID     byte
	Module *Module // whose it is; nil: of the whole car
	Why    string  // what the error told
	// Line is all that an intake stored by an earlier program tells: a line in English.
	Line string
}

// Codes reports whether it is about codes or their freeze frames.
func (u *Unread) Codes() bool {
	switch u.What {
	case UnreadStored, UnreadPending, UnreadPermanent, UnreadFrame, UnreadLists:
		return true
	}
	return false
}
