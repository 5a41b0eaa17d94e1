package guide

import (
	"time"

	"stumble/misfire/gear"
)

// Saying is one thing to tell, as a kind with its numbers. The zero Saying is nothing.
type Saying struct {
	Kind      SayingKind
	Step      string     // key of the step that is meant
	Gear      gear.State // to be selected
	Mark      bool       // and to be marked by the helper, where the car does not tell it
	Cylinder  int
	Value, Of float64       // a number, and what it is held against
	Rate      float64       // misses per 1,000 firings
	In        time.Duration // in the condition
	Why       SayingKind
}

// SayingKind is what is told. What its numbers are stands beside it.
type SayingKind uint8

// Kinds of what is told.
const (
	Nothing SayingKind = iota

	// What is asked for.
	DoStep       // Step: what it asks for
	DoStart      // start the engine in Park
	DoSelect     // Gear, Mark
	DoStopHold   // stop, and hold the brake
	DoPedal      // foot off the pedal
	DoMoreRevs   // Value: rpm wanted
	DoFewerRevs  // Value: rpm wanted
	DoFaster     // on the road
	DoSlower     // on the road
	DoSteady     // less gas: the speed is to be steady
	DoPull       // more gas
	DoEase       // drive on easily
	DoPause      // Mark; Park, for the transmission to cool; Value: minutes that it may be in gear on the brake at once
	DoEngineOff  // stop, Park, engine off, ignition on: so that the tally sees it stop
	DoKeyOff     // ignition off
	DoKeyOn      // ignition on, engine off
	DoLast       // idle in Park: the last counts are on their way
	DoKeep       // keep it so
	DoStopPark   // stop, and select Park or Neutral
	DoIdle       // foot off the pedal, for a balance test
	DoWarm       // Value: degrees C of the coolant, Of: wanted
	DoReady      // idle with all loads off
	DoLeaveBase  // leave it alone: the idle is measured
	DoUnplug     // Cylinder
	DoLeaveOff   // Cylinder is off: its fall is measured
	DoPlugIn     // Cylinder
	DoLeaveCool  // leave it alone: the catalyst cools
	DoLeaveFlash // the same while the lamp flashes
	DoPlugInNow  // Cylinder; Value: seconds that it has been off
	DoPlugInLost // Cylinder: nothing is heard of the car

	// What happened.
	StepRan         // In, Value: firings of each cylinder
	StepLeftOut     // by the user
	CylinderLeftOut // Cylinder
	SecondLeft      // Value
	FallMeasured    // Cylinder, Value: rpm
	CutVoid         // Cylinder, Why

	// Why a step was broken off, or a cut does not count.
	ConverterHeats   // gas against the brake
	CatalystAtRisk   // the first time
	CatalystStill    // as heavy a misfire as before
	CountsLost       // the engine was started before they were read
	IdleLeft         // the engine did not stay at idle
	ReadSeldom       // the engine's speed was
	CarNotHeard      // while the cylinder was off
	LeftOutMeanwhile // the cylinder was left out while it was off

	// How a test ended.
	AllStepsDone
	ParkAtRisk // the catalyst is at risk: the test is over
	TestStopped
	NothingWanted // the proof that it runs for is reached, as far as running can, or broken
	AllCut
	StoppedWhileOff // Cylinder is to be plugged in again

	// What a finished step was too short for.
	FewRevolutions // Value: refreshes in it, Of: revolutions between them
	FewSeconds     // Value: refreshes in it, Of: seconds between them
	FewPerhaps     // Value: refreshes in it, if they come at the longest usual interval
	FewFirings     // Rate: of the fault looked for; Value: firings, Of: wanted

	// What a reader must know of the whole test.
	NoteNoCounts
	NoteNoneMoved
)

// told returns a saying without numbers.
func told(k SayingKind) Saying { return Saying{Kind: k} }
