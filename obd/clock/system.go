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

// SleepUntil waits for t on the system's timer.
func (System) SleepUntil(t time.Time, wake <-chan struct{}) bool {
	d := time.Until(t)
	if d <= 0 {
		return true
	}
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return true
	case <-wake:
		return false
	}
}

type systemTicker struct{ *time.Ticker }

func (t systemTicker) C() <-chan time.Time { return t.Ticker.C }

// Scaled runs a number of times as fast as the system's clock, from the moment it was made: a drive of the
// simulated car can be watched at ten times its speed.
type Scaled struct {
	start  time.Time
	factor float64
}

// NewScaled returns a clock that starts at the system's time and runs factor times as fast. A factor that
// is not positive is taken as 1.
func NewScaled(factor float64) *Scaled {
	if !(factor > 0) {
		factor = 1
	}
	return &Scaled{start: time.Now(), factor: factor}
}

// Now returns the scaled time.
func (c *Scaled) Now() time.Time {
	return c.start.Add(time.Duration(float64(time.Since(c.start)) * c.factor))
}

// After waits d of scaled time.
func (c *Scaled) After(d time.Duration) <-chan time.Time {
	out := make(chan time.Time, 1)
	time.AfterFunc(c.real(d), func() { out <- c.Now() })
	return out
}

// NewTicker ticks every d of scaled time.
func (c *Scaled) NewTicker(d time.Duration) Ticker {
	return systemTicker{time.NewTicker(max(c.real(d), 1))}
}

// SleepUntil waits until the scaled time is t.
func (c *Scaled) SleepUntil(t time.Time, wake <-chan struct{}) bool {
	for {
		left := t.Sub(c.Now())
		if left <= 0 {
			return true
		}
		timer := time.NewTimer(max(c.real(left), 1))
		select {
		case <-timer.C:
		case <-wake:
			timer.Stop()
			return false
		}
	}
}

func (c *Scaled) real(d time.Duration) time.Duration {
	return time.Duration(float64(d) / c.factor)
}
