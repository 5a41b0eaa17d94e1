package clock

import "time"

// System is the computer's own clock.
type System struct{}

// Now returns the system's time.
func (System) Now() time.Time { return time.Now() }

// After is time.After.
func (System) After(d time.Duration) <-chan time.Time { return time.After(d) }

// NewTicker is time.NewTicker.
func (System) NewTicker(d time.Duration) Ticker { return systemTicker{time.NewTicker(d)} }

// SleepUntil waits for t on the system's timer, again if somebody put the clock back meanwhile.
func (System) SleepUntil(t time.Time, wake <-chan struct{}) bool {
	return sleep(func() time.Duration { return time.Until(t) }, wake)
}

type systemTicker struct{ *time.Ticker }

func (t systemTicker) C() <-chan time.Time { return t.Ticker.C }

// sleep waits on the system's timer until left, asked anew each time, is used up.
func sleep(left func() time.Duration, wake <-chan struct{}) bool {
	if ready(wake) {
		return false
	}
	for d := left(); d > 0; d = left() {
		timer := time.NewTimer(d)
		select {
		case <-timer.C:
		case <-wake:
			timer.Stop()
			return false
		}
	}
	return true
}
