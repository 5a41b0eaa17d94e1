package misfire

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/gear"
)

// opinions are a judge whose word changes when a test says so.
type opinions struct {
	spans    []gear.Span
	revision int
}

func (o *opinions) Revision() int      { return o.revision }
func (o *opinions) Spans() []gear.Span { return o.spans }

func (o *opinions) say(start time.Time, spans ...gearSpan) {
	o.spans = nil
	for _, s := range spans {
		o.spans = append(o.spans, gear.Span{From: start.Add(seconds(s.from)), Stir: s.stir,
			Call: gear.Call{State: s.state, Origin: s.origin}})
	}
	o.revision++
}

// tenSeconds is a window of ten seconds at 600 rpm with some misses of cylinder 1.
func tenSeconds(from float64, misses int) *window {
	w := &window{from: place{10 * from, from}, to: place{10*from + 100, from + 10}, known: 10,
		running: []share{{condition: Condition{Warm: true}.index(), from: from, to: from + 10, firings: 50, seconds: 10,
			work: work{rpm: 60000, load: 2000}}}}
	w.misses[0], w.valid[0] = misses, true
	return w
}

func firings(b *accounts, s gear.State) float64 {
	if c := b.gears.cells[s]; c != nil {
		return c.firings
	}
	return 0
}

func TestWindowsAreLaidAnewWhenThePastChanges(t *testing.T) {
	start := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	o := &opinions{}
	r := newRelay(o, newAccounts(), &start)
	var final []gear.State
	r.final = func(w *window) { final = append(final, w.running[0].condition.condition().Gear) }
	o.say(start, gearSpan{0, gear.ParkNeutral, gear.Inferred, false})
	for i := range 4 {
		r.take(tenSeconds(10*float64(i), i))
	}
	assert.Equal(t, 200.0, firings(r.current(), gear.ParkNeutral))
	assert.Zero(t, firings(r.accounts, gear.ParkNeutral), "none is booked for good")

	o.say(start, gearSpan{0, gear.ParkNeutral, gear.Inferred, false}, gearSpan{20, gear.InGear, gear.Inferred, false})
	r.take(tenSeconds(40, 4))
	b := r.current()
	assert.InDelta(t, 100, firings(b, gear.ParkNeutral), 1e-9)
	assert.InDelta(t, 150, firings(b, gear.InGear), 1e-9)
	assert.Equal(t, gear.Inferred, b.origin(gear.InGear))
	assert.Equal(t, 9.0, b.gears.cells[gear.InGear].cylinders[0].misses)

	r.settle(30)
	assert.Equal(t, []gear.State{gear.ParkNeutral, gear.ParkNeutral, gear.InGear}, final)
	assert.InDelta(t, 50, firings(r.accounts, gear.InGear), 1e-9)
	assert.InDelta(t, 150, firings(r.current(), gear.InGear), 1e-9, "what is shown stays")

	r.settle(math.Inf(1))
	require.Len(t, final, 5)
	assert.Empty(t, r.held)
	assert.Same(t, r.accounts, r.current())
}

func TestAWindowThatHoldsAShiftIsSplitInTime(t *testing.T) {
	start := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	o := &opinions{}
	r := newRelay(o, newAccounts(), &start)
	o.say(start, gearSpan{0, gear.ParkNeutral, gear.Marked, false}, gearSpan{4, gear.Drive, gear.Marked, false})
	r.refresh()
	w := r.lay(tenSeconds(0, 1), newAccounts())
	require.Len(t, w.running, 2)
	assert.InDelta(t, 20, w.running[0].firings, 1e-9)
	assert.InDelta(t, 30, w.running[1].firings, 1e-9)
	assert.Equal(t, gear.Drive, w.running[1].condition.condition().Gear)
	assert.InDelta(t, 36000, w.running[1].work.rpm, 1e-6)
}

// Moments beside a change belong to no state, but a long lump is not spoiled by a short one.
func TestStirredMomentsBelongToNoState(t *testing.T) {
	start := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	for name, c := range map[string]struct {
		stirTo float64
		park   float64
	}{"long": {2.6, 37}, "short": {0.5, 50}} {
		t.Run(name, func(t *testing.T) {
			o := &opinions{}
			r := newRelay(o, newAccounts(), &start)
			o.say(start, gearSpan{0, gear.ParkNeutral, gear.Inferred, true},
				gearSpan{c.stirTo, gear.ParkNeutral, gear.Inferred, false})
			r.take(tenSeconds(0, 0))
			assert.InDelta(t, c.park, firings(r.current(), gear.ParkNeutral), 1e-9)
		})
	}
}

// A drive of a day keeps no more waiting than one of two hours.
func TestHeldWindowsAreBounded(t *testing.T) {
	start := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	o := &opinions{}
	r := newRelay(o, newAccounts(), &start)
	o.say(start, gearSpan{0, gear.ParkNeutral, gear.Inferred, false})
	for i := range 3 * maxHeld {
		r.take(tenSeconds(10*float64(i), 0))
	}
	assert.LessOrEqual(t, len(r.held), maxHeld)
	assert.InDelta(t, 50*3*maxHeld, firings(r.current(), gear.ParkNeutral), 1e-3, "none is lost")
}
