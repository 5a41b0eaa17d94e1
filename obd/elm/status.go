package elm

import (
	"bytes"
	"errors"
)

// Remedy is what to do about a status that came where data was expected.
type Remedy uint8

const (
	RemedyNone         Remedy = iota // nothing is wrong: there is simply no such answer
	RemedyAskAgain                   // the same request, a moment later
	RemedyStartAgain                 // the adapter lost its settings: run the start-up again
	RemedyWaitIgnition               // nobody is awake on the bus: wait until the ignition is on
	RemedyAskForLess                 // the answer is too long for this adapter: ask for less at a time
	RemedyTellUser                   // only a person can put it right
)

// Status is a word of the adapter in place of data, as an error. Compare with errors.Is.
type Status struct {
	text    string // as the adapter prints it, spaces out, upper case
	meaning string
	Hint    string // what to do, for a person
	Remedy  Remedy
}

// Error is the adapter's word and what it means, on one line.
func (s *Status) Error() string { return s.meaning }

// The statuses of the ELM327 data sheet and of adapters compatible with it (data sheet pages 87-89).
var (
	NoData = &Status{"NODATA", "no answer from the car (NO DATA)",
		"the car does not support this, or its ignition is off", RemedyNone}
	NotUnderstood = &Status{"?", "the adapter does not know this command (?)",
		"this adapter lacks a function; another one may do", RemedyNone}
	NoVehicle = &Status{"UNABLETOCONNECT", "the adapter found no car on any bus (UNABLE TO CONNECT)",
		"turn the ignition on and seat the plug firmly", RemedyWaitIgnition}
	CANError = &Status{"CANERROR", "nobody acknowledged on the CAN bus (CAN ERROR)",
		"turn the ignition on; if it is on, check the plug and the bus wiring", RemedyWaitIgnition}
	BusInitError = &Status{"BUSINIT:ERROR", "the control module did not wake up on the K-line (BUS INIT: ERROR)",
		"turn the ignition on and try again", RemedyWaitIgnition}
	BusBusy = &Status{"BUSBUSY", "the bus never falls silent (BUS BUSY)",
		"check the plug and the bus wiring for a short", RemedyTellUser}
	BusError = &Status{"BUSERROR", "the bus carries an invalid signal (BUS ERROR)",
		"check the plug and the bus wiring", RemedyTellUser}
	FeedbackError = &Status{"FBERROR", "the adapter cannot hear its own signal (FB ERROR)",
		"check the plug and the wiring, or try another adapter", RemedyTellUser}
	DataError = &Status{"DATAERROR", "the answer was too short or garbled (DATA ERROR)",
		"check the plug if this goes on", RemedyAskAgain}
	DamagedLine = &Status{"<DATAERROR", "a line of the answer arrived damaged (<DATA ERROR)",
		"check the plug if this goes on", RemedyAskAgain}
	DamagedFrame = &Status{"<RXERROR", "a CAN frame arrived damaged (<RX ERROR)",
		"check the plug if this goes on", RemedyAskAgain}
	BufferFull = &Status{"BUFFERFULL", "the adapter could not pass the answer on fast enough (BUFFER FULL)",
		"use a faster connection to the adapter", RemedyAskForLess}
	Stopped       = &Status{"STOPPED", "the adapter was interrupted (STOPPED)", "try again", RemedyAskAgain}
	ActivityAlert = &Status{"ACTALERT", "the adapter is about to fall asleep (ACT ALERT)", "try again", RemedyAskAgain}
	LowPower      = &Status{"LPALERT", "the adapter is falling asleep (LP ALERT)",
		"wake it: pull the plug and put it back", RemedyStartAgain}
	LowVoltageReset = &Status{"LVRESET", "the supply voltage dropped and the adapter restarted (LV RESET)",
		"check the battery and the plug", RemedyStartAgain}
	InternalError = &Status{"ERR", "the adapter reports an internal fault (ERR)",
		"pull the plug and put it back", RemedyStartAgain}
	Rebooted  = &Status{"ELM", "the adapter restarted by itself", "check the plug and the battery", RemedyStartAgain}
	OutOfStep = &Status{"OK", "the adapter answered an earlier command", "try again", RemedyStartAgain}
)

// Conditions that the adapter has no word for.
var (
	// Silent says that nothing at all came back within the time limit.
	Silent = &Status{"", "no answer from the adapter", "check that this is the adapter's port and that it has power", RemedyStartAgain}
	// Unfinished says that an answer began and then stopped short of the prompt.
	Unfinished = &Status{"", "the adapter broke off in the middle of an answer", "check the plug and the connection", RemedyStartAgain}
	// NotAnAdapter says that what answers does not speak as an ELM327-compatible adapter does.
	NotAnAdapter = &Status{"", "what answers on this port is no ELM327-compatible adapter", "choose another port, or another speed", RemedyTellUser}
	// NoAnswer says that lines came, but none that belongs to the request.
	NoAnswer = &Status{"", "none of the lines that came answers the request", "try again", RemedyAskAgain}
	// Garbled says that a line was no data and no known status.
	Garbled = &Status{"", "the answer arrived garbled", "check the connection to the adapter", RemedyAskAgain}
)

// statuses in the order they are looked for: longer texts before those they begin with.
var statuses = []*Status{
	NoData, NoVehicle, CANError, BusBusy, BusError, FeedbackError, DataError, BufferFull,
	Stopped, ActivityAlert, LowPower, LowVoltageReset, InternalError, Rebooted,
}

// RemedyFor is the remedy of the status within err, or RemedyTellUser when there is none.
func RemedyFor(err error) Remedy {
	var s *Status
	if errors.As(err, &s) {
		return s.Remedy
	}
	return RemedyTellUser
}

// unbidden reports a status that may come at any moment: the prompt behind it then is not that of the line which
// was sent last.
func unbidden(s *Status) bool { return alarm(s) || s == Rebooted || s == OutOfStep }

// unset reports a status after which none of the adapter's settings can be relied on.
func unset(s *Status) bool {
	return s == LowPower || s == LowVoltageReset || s == InternalError || s == Rebooted
}

// alarm reports an unbidden status that is no answer to a set-up command either.
func alarm(s *Status) bool {
	switch s {
	case Stopped, ActivityAlert, LowPower, LowVoltageReset, InternalError:
		return true
	}
	return false
}

// word reads one line that is not plain data: upper-cased, spaces out. It returns what data was glued to
// a progress text (SEARCHING..., BUS INIT: ...OK), or the status that the line is.
func word(line []byte) (data []byte, status *Status) {
	switch {
	case bytes.HasPrefix(line, []byte("SEARCHING")):
		return afterDots(line[len("SEARCHING"):])
	case bytes.HasPrefix(line, []byte("BUSINIT:")):
		return afterInit(line[len("BUSINIT:"):])
	case bytes.HasSuffix(line, []byte(DamagedLine.text)):
		return nil, DamagedLine
	case bytes.HasSuffix(line, []byte(DamagedFrame.text)):
		return nil, DamagedFrame
	case string(line) == OutOfStep.text:
		return nil, OutOfStep
	case bytes.Contains(line, []byte(NotUnderstood.text)):
		return nil, NotUnderstood
	}
	text := bytes.TrimLeft(line, "!<")
	for _, s := range statuses {
		if bytes.Contains(text, []byte(s.text)) {
			return nil, s
		}
	}
	return nil, Garbled
}

// afterDots strips the dots that show progress and looks at what follows them.
func afterDots(rest []byte) ([]byte, *Status) {
	rest = bytes.TrimLeft(rest, ".")
	if len(rest) == 0 || isData(rest) {
		return rest, nil
	}
	return word(rest)
}

func afterInit(rest []byte) ([]byte, *Status) {
	rest = bytes.TrimLeft(rest, ".")
	if bytes.HasPrefix(rest, []byte("ERROR")) {
		return nil, BusInitError
	}
	return afterDots(bytes.TrimPrefix(rest, []byte("OK")))
}

// isData reports whether a line is hexadecimal, perhaps with the colon of a numbered line.
func isData(line []byte) bool {
	for i, c := range line {
		if !isHexDigit(c) && (c != ':' || i != 1) {
			return false
		}
	}
	return len(line) > 0
}
