package elm

import (
	"time"

	"stumble/obd"
)

// countBook learns how many lines the car answers each request with. Told that number, the adapter returns
// at once instead of waiting out its time limit for a module that will not speak (data sheet, "Talking to
// the vehicle"). A number is used only after it came out the same a few times running, and is learnt
// afresh every so often: a module may fall silent or begin to speak during a drive.
type countBook struct {
	use    bool
	counts map[countKey]*lineCount
}

// countKey is a request and whom it is for: the header it goes out with, empty for all modules.
type countKey struct {
	req    obd.Request
	header string
}

type lineCount struct {
	lines   int
	agreed  int
	learned time.Time
	failed  int // times that nothing came with a digit and all without
}

const (
	countsToTrust = 2
	countLifetime = 30 * time.Second
	mostLines     = 15 // one hexadecimal digit
	failsToDrop   = 2
)

func newCountBook(use bool) countBook {
	return countBook{use: use, counts: make(map[countKey]*lineCount)}
}

// digit is the number of lines to ask for, or zero to wait them out. expect is what an answer that was never had is taken
// to have, where only one module answers.
func (b *countBook) digit(key countKey, now time.Time, expect int) int {
	if !b.use {
		return 0
	}
	c := b.counts[key]
	if c == nil {
		return min(expect, mostLines)
	}
	if c.failed >= failsToDrop {
		return 0
	}
	if c.agreed < countsToTrust {
		return 0
	}
	if key.header == "" && now.Sub(c.learned) > countLifetime {
		c.agreed = countsToTrust - 1 // one whole wait confirms the number or changes it
		return 0
	}
	return c.lines
}

// learn notes the lines of a good answer.
func (b *countBook) learn(key countKey, lines int, at time.Time) {
	if !b.use || lines < 1 || lines > mostLines {
		return
	}
	c := b.counts[key]
	if c == nil {
		c = &lineCount{}
		b.counts[key] = c
	}
	switch {
	case key.header != "": // one module, one message: when that is whole no more will come
		c.lines, c.agreed, c.learned = lines, countsToTrust, at
	case c.lines != lines:
		c.lines, c.agreed, c.learned = lines, 1, at
	case c.agreed < countsToTrust:
		c.agreed++
		c.learned = at
	}
}

// doubt makes the next answer be waited out.
func (b *countBook) doubt(key countKey) {
	if c := b.counts[key]; c != nil {
		c.agreed = 0
	} else if key.header != "" {
		b.counts[key] = &lineCount{} // what was expected of it was wrong
	}
}

// fail notes that a request brought nothing with a digit and its answer without: some adapters do so now and then, at times
// with some requests alone.
func (b *countBook) fail(key countKey) {
	c := b.counts[key]
	if c == nil {
		c = &lineCount{}
		b.counts[key] = c
	}
	c.failed++
}

// refuse gives the digit up for good: the adapter does not know it.
func (b *countBook) refuse() { b.use = false }

// forget starts from nothing, as with another car or protocol.
func (b *countBook) forget() { clear(b.counts) }
