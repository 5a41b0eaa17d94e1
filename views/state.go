// Package views shows a running drive: on a terminal screen, as plain text, and as lines of JSON. It draws what a
// summary says and decides nothing about it: no statistics, no judgement of gear, no clock but the one that
// paces its frames.
package views

import (
	"time"

	"stumble/misfire"
	"stumble/misfire/cause"
	"stumble/misfire/gear"
)

// State is everything the screen shows at one moment. Whoever builds it hands it over for good: neither it nor
// anything it points at may change afterwards, because the screen keeps it while the strip is held.
type State struct {
	Title   string           // vehicle or job, e.g. "Larkspur Wren 1.6"
	VIN     string           // empty when not known
	Summary *misfire.Summary // nil until the first
	Strip   []misfire.Moment // oldest first, newest last, at most some hundreds
	Health  Health           // the adapter
	Step    *Step            // the guided test step that runs; nil when none does
	// Headline is said in place of the drive's verdict while something else matters more; empty says the verdict.
	Headline string
	Alert    string        // a loud one-line warning; empty when there is none
	Second   int           // of a countdown that rings at each; 0 when none runs
	Notes    []Mark        // recent marks, oldest first
	Causes   *cause.Result // what may be behind it, at the end of a drive; nil before
	// Playback is where a stored drive is, nil in a live one.
	Playback *Playback
	Version  uint64 // changes whenever anything above does
	// CoilEach is true for an engine with a coil on every plug: then no cylinders share one, and the brackets
	// that tie those that may are left out.
	CoilEach bool
}

// Health is how the adapter is doing.
type Health struct {
	Adapter   string  // name and version as the adapter gives them
	Protocol  string  // protocol of the car's bus, in words
	PerSecond float64 // exchanges a second of late; NaN when not known
	Exchanges int     // exchanges of this drive
	Link      string  // empty while all is well, else what is wrong: "lost, seeking"
	Recording string  // "recording", "not recorded"; empty shows nothing
}

// Playback is where the playback of a stored drive is.
type Playback struct {
	At, Length time.Duration // since the beginning of the drive, and its length
	Paused     bool
	Over       bool    // the end is reached
	Times      float64 // how many times as fast as it was
}

// Step is one step of a guided test.
type Step struct {
	Number, Of   int // this is step Number of Of
	Name         string
	Instruction  string        // what driver and helper do now
	Left, Length time.Duration // time left, and the whole of it; Length 0 shows no bar
	Done, Needed float64       // firings counted in this step and wanted; Needed 0 shows neither
	Cautions     []string      // one line each
	Enter        string        // what the Enter key says; empty where it says nothing
	Proof        string        // how far the proof has come that the test is to complete; empty where it is to complete none
}

// Mark is a time-stamped note of a drive.
type Mark struct {
	At   time.Time
	Text string
	Gear gear.State // the state that was marked; Unknown for any other note
}

// easeOff is shown when the summary asks for it and the caller has no words of its own.
const easeOff = "EASE OFF: this misfire can overheat the catalyst"

// Warning is the warning to show, empty when there is none.
func (s *State) Warning() string {
	if s.Alert == "" && s.Summary != nil && s.Summary.Verdict.EaseOff {
		return easeOff
	}
	return s.Alert
}

// Began is when the drive began; zero when that is not known.
func (s *State) Began() time.Time {
	if s.Summary != nil && !s.Summary.Start.IsZero() {
		return s.Summary.Start
	}
	if len(s.Strip) > 0 {
		return s.Strip[0].At
	}
	return time.Time{}
}
