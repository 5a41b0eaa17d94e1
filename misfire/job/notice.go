package job

import (
	"time"

	"stumble/obd"
)

// NoticeKind is what a notice tells.
type NoticeKind uint8

// The kinds of notices, and which fields of a Notice each of them fills beside At.
const (
	LinkLost        NoticeKind = iota // the adapter went away and is sought: Err
	LinkBack                          // it is back
	CarAsleep                         // the car does not answer and is waited for
	CarAwake                          // it answers again
	Recording                         // the drive is saved: Job (0 while a new one cannot be begun), Drive
	RecordingAgain                    // it is saved again: Job, Drive
	NotRecording                      // it is not saved for now: Err
	EngineKnown                       // the engine is that of earlier drives of the vehicle: Layout
	EngineLeftOut                     // that engine is left out, for the car contradicts it: Layout, Cylinders, Counted
	SamplesUnread                     // a stretch of a stored drive cannot be read: Err
	ExchangesUnread                   // exchanges of a stored drive cannot be read; its numbers do not suffer: Err
	CarWaited                         // the car does not answer yet and is waited for: Err
	MonitorsUnread                    // misfire monitors that the car did not answer for: Monitors; they are asked again
	CountersKnown                     // it is counted by the user's table of counters that worked on the vehicle before
	ModulesStrange                    // modules that answer from addresses of no OBD scheme, and are left out: Modules
)

// Notice is something that the user must be told.
type Notice struct {
	Kind       NoticeKind
	At         time.Time // zero where it is of no moment of a drive
	Err        error
	Job, Drive int64
	Layout     string // key of the engine's layout
	Cylinders  int    // of that layout
	Counted    int    // cylinders that the car counts
	Monitors   []byte
	Modules    []obd.Module
}

// String returns the kind as one word: what a drive is marked with where nobody words it.
func (k NoticeKind) String() string {
	return [...]string{
		"link_lost", "link_back", "car_asleep", "car_awake", "recording", "recording_again", "not_recording",
		"engine_known", "engine_left_out", "samples_unread", "exchanges_unread", "car_waited",
		"monitors_unread", "counters_known", "modules_strange",
	}[k]
}
