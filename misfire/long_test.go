package misfire_test

import (
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/obd"
)

// The simulated Wren idles in Drive; five minutes in, cylinder 2 misses three times as often.
func TestWorseningIsNamedAndDated(t *testing.T) {
	const began = 5 * time.Minute
	type alarm struct {
		at, since time.Duration
		cylinders []int
	}
	n := min(drives(), 100)
	alarms := overSeeds(n, func(seed uint64) alarm {
		r := newRig(t, "wren-worsening", seed)
		for at := time.Duration(0); at < 30*time.Minute; at += 20 * time.Second {
			r.run(at, at+20*time.Second)
			if g := r.tally.Glance(); len(g.Verdict.Worsening) > 0 {
				return alarm{at + 20*time.Second, g.Total[1].Since.Sub(epoch), g.Verdict.Worsening}
			}
		}
		return alarm{}
	})
	found, early, dated := 0, 0, 0
	for _, a := range alarms {
		switch {
		case a.cylinders == nil:
		case a.at < began:
			early++
		default:
			found++
			assert.Equal(t, []int{2}, a.cylinders)
			dated += count((a.since - began).Abs() <= 2*time.Minute)
		}
	}
	t.Logf("of %d drives: %d named after the change, %d of them dated within two minutes, %d before it", n, found, dated, early)
	assert.LessOrEqual(t, early, fewer(n, 0.02))
	// What is believed of bursts of any kind is believed later of misses that come one by one.
	assert.GreaterOrEqual(t, found, n-fewer(n, 0.2))
	assert.GreaterOrEqual(t, dated, found-fewer(found, 0.15))
}

// Hours at one steady rate: false alarms of worsening come no oftener than promised for misses seen.
func TestSteadyHours(t *testing.T) {
	hours := 20
	if testing.Short() {
		hours = 2
	}
	misses, false_ := 0.0, 0
	for _, seed := range overSeeds(4, func(seed uint64) *misfire.Summary {
		r := newRig(t, "wren-running", seed)
		r.pace = slow
		length := time.Duration(hours) * time.Hour / 4
		r.run(0, length)
		return r.finish(length, false).summary
	}) {
		false_ += len(seed.Verdict.Worsening)
		for _, c := range seed.Total {
			misses += c.Misses / c.Phi
		}
	}
	t.Logf("%d false alarms in %d hours and %.0f effective misses", false_, hours, misses)
	assert.LessOrEqual(t, false_, 1, "one in 20 hours of an engine is what may be")
}

func hour(t testing.TB) []obd.Sample { return record(t, "wren", time.Hour) }

// play adds recorded samples as if they came that much later.
func play(tally *misfire.Tally, samples []obd.Sample, later time.Duration) {
	for i := range samples {
		s := samples[i]
		s.Sent, s.Received = s.Sent.Add(later), s.Received.Add(later)
		tally.Add(&s)
	}
}

func TestAddDoesNotAllocate(t *testing.T) {
	if testing.Short() {
		t.Skip("the race detector allocates")
	}
	samples := hour(t)
	tally := misfire.NewTally(misfire.Config{})
	play(tally, samples, 0) // all conditions seen
	later := time.Hour
	perHour := testing.AllocsPerRun(3, func() {
		play(tally, samples, later)
		later += time.Hour
	})
	// A sample that ends no window allocates nothing; what is asked of a cylinder as its windows end does, and new mixtures
	// of conditions do for a while.
	assert.Less(t, perHour/float64(len(samples)), 0.1, "allocations a sample")
}

// Memory goes with the conditions seen, not with the time.
func TestMemoryIsOfConditionsNotTime(t *testing.T) {
	if testing.Short() {
		t.Skip("long")
	}
	samples := hour(t)
	tally := misfire.NewTally(misfire.Config{})
	held := func() uint64 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	empty := held()
	var sizes []uint64
	for h := range 24 {
		play(tally, samples, time.Duration(h)*time.Hour)
		if h == 11 || h == 23 {
			sizes = append(sizes, held()-empty)
		}
	}
	require.Len(t, sizes, 2)
	t.Logf("%d kB after 12 hours, %d kB after 24", sizes[0]/1024, sizes[1]/1024)
	assert.Less(t, float64(sizes[1]), 1.2*float64(sizes[0]))
	runtime.KeepAlive(tally)
	runtime.KeepAlive(samples)
}
