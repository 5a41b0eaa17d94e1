package balance

import "time"

// Ask is what is asked of whoever is at the engine.
type Ask uint8

// Asks.
const (
	AskNothing Ask = iota // the test is over
	AskReady              // bring the engine to warm idle in Park or Neutral
	AskBase               // leave it alone: the idle is measured
	AskUnplug             // unplug the injector
	AskHold               // leave it so: the fall is measured
	AskPlugIn             // plug it in again
	AskCool               // leave it alone: the catalyst cools
)

// String is the ask as one word: "nothing", "ready", "base", "unplug", "hold", "plug_in", "cool".
func (a Ask) String() string {
	names := [...]string{"nothing", "ready", "base", "unplug", "hold", "plug_in", "cool"}
	if int(a) < len(names) {
		return names[a]
	}
	return "?"
}

// Kind is what an event tells.
type Kind uint8

// Kinds of event.
const (
	Asked    Kind = iota // something else is asked for than before, or again; Text is what to do now
	Counted              // the time that the cylinder may be off runs down: Left is what is left of it
	Late                 // it has run out
	Measured             // a fall was measured; Text says which
	Void                 // a cut does not count; Text says why
	Skipped              // the user left the cylinder out
	Over                 // nothing is left to do, or the user stopped the test; Text says which
)

// String is the event as one word: "asked", "counted", "late", "measured", "void", "skipped", "over".
func (k Kind) String() string {
	names := [...]string{"asked", "counted", "late", "measured", "void", "skipped", "over"}
	if int(k) < len(names) {
		return names[k]
	}
	return "?"
}

// Event is something to tell, or to obey.
type Event struct {
	At       time.Time
	Kind     Kind
	Ask      Ask
	Cylinder int // 0 before the first and after the last
	Number,
	Of int // the cut is Number of Of in this round
	Round int    // from 1
	Text  string // one sentence without full stop
	Left  time.Duration
}

// Loud reports whether nobody may miss it.
func (e *Event) Loud() bool {
	return e.Kind == Late || e.Kind == Counted || e.Ask == AskPlugIn && e.Kind == Asked
}

// Status is what is asked now, for a screen.
type Status struct {
	Ask          Ask
	Cylinder     int // 0: none yet
	Number, Of   int
	Round        int
	Say          string        // what to do now
	Left, Length time.Duration // of what is waited for; 0 where nothing is
	Off          time.Duration // how long the cylinder has been off; 0 while it is not
	Falls        []Fall        // measured so far, the newest last
}

// Fall is one measured fall.
type Fall struct {
	Cylinder, Round int
	RPM             float64
}
