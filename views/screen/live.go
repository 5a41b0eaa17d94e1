package screen

import (
	"stumble/misfire/gear"
	"stumble/views"
	"time"
)

// Source gives the state to show. State must be cheap and give the same pointer while nothing has changed; it
// is called from the screen's goroutine, up to thirty times a second.
type Source interface{ State() *views.State }

// Actions is what the keys do. All are called from the screen's goroutine and must not block.
type Actions interface {
	Mark(gear.State)  // the driver or helper says which gear is in
	Note(text string) // a note was typed; never empty
	StepSkip()
	StepRepeat()
	StepStop()
	Quit() // the user wants to leave; Run returns right after
}

// Confirmer is what the Enter key does where a step asks to be told that something has been done. The Actions of such a
// step are a Confirmer too; it must not block.
type Confirmer interface {
	Confirm()
}

// Player is what the keys do that only a playback has. The Actions of one are a Player too; all must not block.
type Player interface {
	Pause(on bool)
	Seek(by time.Duration) // from where it is; past the ends it stops there
	Pace(faster bool)
}
