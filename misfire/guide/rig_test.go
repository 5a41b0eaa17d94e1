package guide

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/misfire/rate"
)

// rig runs a test by hand: the car is whatever the test says it is.
type rig struct {
	t      testing.TB
	runner *LoadTest
	now    time.Time
	sum    misfire.Summary
	told   []Event
}

const tick = 500 * time.Millisecond

func morning() time.Time { return time.Date(2026, 11, 25, 8, 30, 0, 0, time.UTC) }

func newRig(t testing.TB, keys string, change ...func(*LoadConfig)) *rig {
	t.Helper()
	plan, err := Parse(keys)
	require.NoError(t, err)
	cfg := LoadConfig{Steps: plan}
	for _, c := range change {
		c(&cfg)
	}
	r := &rig{t: t, now: morning()}
	r.runner = NewLoadTest(cfg, func(e Event) { r.told = append(r.told, e) })
	r.sum = four()
	return r
}

// four is a four-cylinder engine that counts misses and has shown none.
func four() misfire.Summary {
	var s misfire.Summary
	for i := range 4 {
		s.Total = append(s.Total, misfire.Cell{Cylinder: i + 1, Reported: true, Estimate: rate.Interval(0, 500, 1)})
	}
	return s
}

// live is a running engine.
func live(g gear.State, rpm, load, speed float64) misfire.Live {
	return misfire.Live{Running: true, RPM: rpm, Load: load, Speed: speed, Gear: gear.Call{State: g, Origin: gear.Reported}}
}

func parked() misfire.Live   { return live(gear.ParkNeutral, 750, 22, 0) }
func inDrive() misfire.Live  { return live(gear.Drive, 750, 34, 0) }
func inR() misfire.Live      { return live(gear.Reverse, 750, 34, 0) }
func raised() misfire.Live   { return live(gear.ParkNeutral, 2500, 24, 0) }
func cruising() misfire.Live { return live(gear.Moving, 2000, 38, 70) }
func pulling() misfire.Live  { return live(gear.Moving, 3000, 82, 70) }

// drive lets the car be so for a while.
func (r *rig) drive(l misfire.Live, d time.Duration) {
	r.sum.Live = l
	for end := r.now.Add(d); r.now.Before(end) && !r.runner.Over(); {
		r.now = r.now.Add(tick)
		s := r.sum
		r.runner.Advance(r.now, &s)
	}
}

// until lets the car be so until an event of a kind, at most an hour, and returns how long that was.
func (r *rig) until(l misfire.Live, k Kind) time.Duration {
	r.t.Helper()
	began, seen := r.now, len(r.told)
	for r.now.Sub(began) < time.Hour {
		r.drive(l, tick)
		for _, e := range r.told[seen:] {
			if e.Kind == k {
				return r.now.Sub(began)
			}
		}
		require.False(r.t, r.runner.Over(), "the test ended before %q: %v", k, r.told)
	}
	r.t.Fatalf("no %q within the hour", k)
	return 0
}

// kinds are the events told so far.
func (r *rig) kinds() []Kind {
	var kinds []Kind
	for _, e := range r.told {
		kinds = append(kinds, e.Kind)
	}
	return kinds
}

func (r *rig) last() Event { return r.told[len(r.told)-1] }

func (r *rig) results() []StepResult { s := r.sum; return r.runner.Results(&s) }

// accuse makes cylinder 2 stand out.
func (r *rig) accuse(misses, firings, phi float64) {
	r.sum.Total[1].Estimate = rate.Interval(misses, firings, phi)
	r.sum.Total[1].Bursts = phi > 1
	r.sum.Verdict.Cylinders = []int{2}
}

func every(revolutions float64) misfire.Refresh {
	return misfire.Refresh{Kind: misfire.RefreshRevolutions, Revolutions: revolutions}
}

// cellOf is the running of one cylinder in the condition of a live state.
func cellOf(cylinder int, l misfire.Live, misses, firings float64) misfire.Cell {
	return misfire.Cell{
		Cylinder: cylinder, Reported: true, Apart: true, Estimate: rate.Interval(misses, firings, 1),
		Condition: misfire.Condition{Gear: l.Gear.State, Load: misfire.BandOfLoad(l.Load), RPM: misfire.BandOfRPM(l.RPM), Warm: true},
	}
}
