package lever_test

import (
	"math"
	"math/rand/v2"
	"runtime"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/gear/lever"
)

// cycling is a car whose air conditioning cycles three times a minute, in park, drive and on the road in turn.
func cycling(seconds float64, take func(at float64, k lever.Tick)) {
	rng := rand.New(rand.NewPCG(1, 1))
	for i := range int(seconds / lever.Period) {
		at := float64(i) * lever.Period
		phase := math.Mod(at, 120)
		k := lever.Tick{RPM: 750, Load: 20, Pedal: 15, Throttle: math.NaN(), Volts: 14.2}
		switch {
		case at < 3:
			k.RPM, k.Load = 0, 0
		case phase >= 80:
			k.Speed, k.RPM, k.Load, k.Pedal = 40, 1700, 35, 22
		case phase >= 40:
			k.RPM, k.Load = 680, 29
		}
		if math.Mod(at, 20) >= 10 {
			k.Load += 6
		}
		k.RPM += 4 * rng.NormFloat64()
		k.Load += 0.4 * rng.NormFloat64()
		take(at, k)
	}
}

// BenchmarkDrive is eight minutes with air conditioning: judged once at the end, and at each event as when watched.
func BenchmarkDrive(b *testing.B) {
	for name, watched := range map[string]bool{"once": false, "watched": true} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				bank := lever.New(lever.Converter)
				cycling(480, func(at float64, k lever.Tick) {
					bank.Add(at, k)
					if watched {
						bank.Spans()
					}
				})
				bank.Spans()
			}
		})
	}
}

// A day costs no more memory than a few hours, and the oldest is final in order.
func TestADayIsFlat(t *testing.T) {
	if testing.Short() {
		t.Skip("a long calculation in one goroutine")
	}
	bank := lever.New(lever.Converter)
	held := func() float64 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return float64(m.HeapAlloc)
	}
	early, settled := 0.0, math.Inf(-1)
	cycling(24*3600, func(at float64, k lever.Tick) {
		bank.Add(at, k)
		if early == 0 && at > 6*3600 {
			early = held()
		}
		if s := bank.Settled(); !math.IsInf(s, 1) {
			require.GreaterOrEqual(t, s, settled)
			settled = s
		}
	})
	assert.Less(t, held(), 1.2*early)
	assert.Greater(t, settled, 20*3600.0)
	spans := append(append([]lever.Span{}, bank.Past()...), bank.Spans()...)
	for i := 1; i < len(spans); i++ {
		require.LessOrEqual(t, spans[i-1].To, spans[i].From)
	}
}
