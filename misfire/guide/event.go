package guide

import "time"

// Kind is what an event tells.
type Kind uint8

// Kinds of event.
const (
	Begun    Kind = iota // a step began
	Asked                // something else is asked for than before, or again
	Held                 // the car has come into the condition
	Ended                // the step ran for long enough, or for as long as it may
	Skipped              // the user left the step or cylinder out
	Broken               // the step was broken off
	Repeated             // the user begins the step again
	Counted              // the time that a cylinder may be off runs down: Left is what is left of it
	Late                 // it has run out
	Measured             // a fall was measured
	Void                 // a cut does not count
	Over                 // nothing is left to do, or the user stopped the test
)

// String returns the event as one word: "began", "asked", "held", "ended", "skipped", "broken_off", "repeated", "counted",
// "late", "measured", "void", "over".
func (k Kind) String() string {
	return key(int(k), "began", "asked", "held", "ended", "skipped", "broken_off", "repeated",
		"counted", "late", "measured", "void", "over")
}

// Ask is what is asked of whoever drives or stands at the engine.
type Ask uint8

// Asks.
const (
	AskNothing   Ask = iota // the test has not begun, or is over
	AskStart                // start the engine
	AskCondition            // the step's condition
	AskRest                 // rest between two bursts: drive easily, or let the transmission cool in Park
	AskCool                 // let the catalyst or converter cool
	AskEngineOff            // engine off, ignition on
	AskKeyOff               // ignition off
	AskKeyOn                // ignition on, engine off
	AskLast                 // idle until the counters were refreshed once more
	AskReady                // bring the engine to warm idle in Park or Neutral
	AskBase                 // leave it alone: the idle is measured
	AskUnplug               // unplug the injector
	AskHold                 // leave it so: the fall is measured
	AskPlugIn               // plug it in again
)

// String returns the ask as one word: "nothing", "start", "condition", "rest", "cool", "engine_off", "key_off", "key_on",
// "last", "ready", "base", "unplug", "hold", "plug_in".
func (a Ask) String() string {
	return key(int(a), "nothing", "start", "condition", "rest", "cool", "engine_off", "key_off", "key_on", "last",
		"ready", "base", "unplug", "hold", "plug_in")
}

// key returns one of some names, "?" past their end.
func key(n int, names ...string) string {
	if n < len(names) {
		return names[n]
	}
	return "?"
}

// Place is where in the plan a test is.
type Place struct {
	Step     *Step // of a load test; nil when it is over
	Cylinder int   // of a balance test; 0 before the first and after the last
	Number,
	Of int // the step or cut is Number of Of
	Round        int           // of a balance test, from 1; 0 in a load test
	Left, Length time.Duration // of the step or of what is waited for; 0 where nobody knows
}

// Event is something to tell, to note in the drive, or to obey.
type Event struct {
	Place
	At   time.Time
	Kind Kind
	Ask  Ask
	Say  Saying
}

// Loud reports whether nobody may miss it.
func (e *Event) Loud() bool {
	return e.Kind == Late || e.Kind == Counted || e.Ask == AskPlugIn && e.Kind == Asked
}

// Status is what is asked now, for a screen.
type Status struct {
	Place
	Ask          Ask
	Say          Saying
	In           bool          // the car is in the step's condition: time counts
	Done, Needed float64       // firings of each cylinder; Needed 0 when none are
	Off          time.Duration // how long the cylinder has been off; 0 while it is not
	Falls        []Fall        // measured so far, the newest last
}
