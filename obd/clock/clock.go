// Package clock is the only place in the program that asks the system for time. Everything that waits or
// stamps is handed a Clock, so that a ten-minute drive can pass in a second and a test never sleeps.
package clock

import "time"

// Clock tells the time and waits. Implementations are safe for use by several goroutines.
type Clock interface {
	// Now is the current time of this clock.
	Now() time.Time
	// After sends the time once d has passed. A timer that is no longer wanted costs nothing to forget.
	After(d time.Duration) <-chan time.Time
	// NewTicker sends the time every d; it panics when d is not positive, as time.NewTicker does.
	NewTicker(d time.Duration) Ticker
	// SleepUntil returns true once the clock reads at or past t, or false as soon as wake is closed or
	// receives. A wake that is ready already wins even over a time that is past, so that a loop which has
	// fallen behind can still be stopped. A nil wake never wakes.
	SleepUntil(t time.Time, wake <-chan struct{}) bool
}

// Ticker is a repeating timer.
type Ticker interface {
	C() <-chan time.Time
	Stop()
}

// ready reports, without waiting, whether wake has something to say.
func ready(wake <-chan struct{}) bool {
	select {
	case <-wake:
		return true
	default:
		return false
	}
}
