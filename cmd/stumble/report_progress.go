package main

import (
	"fmt"
	"io"
	"sync"
	"time"

	"stumble/misfire/journal"
	"stumble/obd/clock"
)

// progress tells on standard error how far the counting of drives has come, once that takes long enough to be wondered
// at.
type progress struct {
	mu    sync.Mutex // both sides of a comparison are counted at once
	clock clock.Clock
	to    io.Writer
	due   time.Time
	left  int // samples until the clock is looked at again
}

const (
	progressEvery  = time.Second
	progressLooked = 2000 // samples between two looks at the clock, which cost more than counting one
)

func newProgress(c clock.Clock, to io.Writer) *progress {
	return &progress{clock: c, to: to, due: c.Now().Add(progressEvery)}
}

// at tells where in a drive the counting is, at most once a second.
func (p *progress) at(d *journal.Drive, at time.Time) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.left > 0 {
		p.left--
		return
	}
	p.left = progressLooked
	now := p.clock.Now()
	if now.Before(p.due) {
		return
	}
	p.due = now.Add(progressEvery)
	fmt.Fprintf(p.to, "counting drive %d: %v of %v\n", d.ID, at.Sub(d.Started).Round(time.Second), d.Ended.Sub(d.Started).Round(time.Second))
}
