package main

import (
	"context"
	"sync"
	"time"

	"stumble/views"
)

// wheel is what the keys of a playback turn: they are pressed in the screen's goroutine and obeyed in the drive's.
type wheel struct {
	mu     sync.Mutex
	paused bool
	times  float64       // how many times as fast as it was
	at     time.Time     // how far the playback is, or is to go
	sought bool          // at is to be gone to
	first  time.Time     // the beginning of the drive
	last   time.Time     // its end
	turned chan struct{} // closed when any of the above was changed
}

// The slowest and the fastest that the keys set.
const slowest, fastest = 0.125, 64

func newWheel(first, last time.Time, times float64) *wheel {
	return &wheel{times: times, at: first, first: first, last: last, turned: make(chan struct{})}
}

// turn changes something under the lock and wakes the drive.
func (w *wheel) turn(change func()) {
	w.mu.Lock()
	defer w.mu.Unlock()
	change()
	close(w.turned)
	w.turned = make(chan struct{})
}

// Pause, Seek and Pace are the keys.
func (w *wheel) Pause(on bool) { w.turn(func() { w.paused = on }) }

func (w *wheel) Seek(by time.Duration) {
	w.turn(func() {
		w.at, w.sought = w.at.Add(by), true
		if w.at.Before(w.first) {
			w.at = w.first
		} else if w.at.After(w.last) {
			w.at = w.last
		}
	})
}

func (w *wheel) Pace(faster bool) {
	w.turn(func() {
		if faster {
			w.times = max(w.times, min(2*w.times, fastest)) // what the command asked for may be faster
		} else {
			w.times = min(w.times, max(w.times/2, slowest))
		}
	})
}

// position is how the wheel stands.
type position struct {
	paused bool
	times  float64
	to     time.Time       // where to go; zero: nowhere else
	turned <-chan struct{} // closed when it is turned on
}

// read tells how the wheel stands once the playback has come to at, and takes the seeking off it.
func (w *wheel) read(at time.Time) position {
	w.mu.Lock()
	defer w.mu.Unlock()
	p := position{paused: w.paused, times: w.times, turned: w.turned}
	if w.sought {
		p.to, w.sought = w.at, false
	} else if at.After(w.at) { // until then it is on its way
		w.at = at
	}
	return p
}

// playback is how the wheel stands, for the screen.
func (w *wheel) playback(over bool) *views.Playback {
	w.mu.Lock()
	defer w.mu.Unlock()
	return &views.Playback{At: w.at.Sub(w.first), Length: w.last.Sub(w.first), Paused: w.paused, Times: w.times, Over: over}
}

// either is ready when one of two is. It is to be stopped.
func either(ctx context.Context, turned <-chan struct{}) (ready <-chan struct{}, stop func()) {
	merged, cancel := context.WithCancel(ctx)
	go func() {
		select {
		case <-turned:
			cancel()
		case <-merged.Done():
		}
	}()
	return merged.Done(), cancel
}
