package steps

import "time"

// Kind is what an event tells.
type Kind uint8

// Kinds of event.
const (
	Begun    Kind = iota // a step began; Text is what to do now
	Asked                // something else is asked for than before; Text is what to do now
	Held                 // the car has come into the condition; Text says to keep so
	Ended                // the step ran for long enough, or for as long as it may; Text says how long
	Skipped              // the user left the step out
	Broken               // the step was broken off; Text says why
	Repeated             // the user begins the step again
	Over                 // no step is left, or the user stopped the test; Text says which
)

// String is the event as one word: "began", "asked", "held", "ended", "skipped", "broken_off", "repeated", "over".
func (k Kind) String() string {
	names := [...]string{"began", "asked", "held", "ended", "skipped", "broken_off", "repeated", "over"}
	if int(k) < len(names) {
		return names[k]
	}
	return "?"
}

// Event is something to tell, to note in the drive, or to obey.
type Event struct {
	At   time.Time
	Kind Kind
	Step *Step // nil for Over
	Number,
	Of int // the step is Number of Of
	Text string        // one sentence without full stop
	Left time.Duration // of the step
	Ask  Ask
}

// Ask is what is asked of the driver.
type Ask uint8

// Asks.
const (
	AskNothing   Ask = iota // the test is over
	AskStart                // start the engine
	AskCondition            // the step's condition
	AskRest                 // drive easily between two bursts of a pull
	AskCool                 // let the catalyst or converter cool: idle in Park, or switch off
	AskEngineOff            // engine off, ignition on
	AskKeyOff               // ignition off
	AskKeyOn                // ignition on, engine off
	AskLast                 // idle until the counters were refreshed once more
)
