package vehicle

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd"
)

// everyPID is a module that supports all the plan knows.
func everyPID() []byte {
	all := append([]byte{obd.PIDStatus}, fastPIDs...)
	return append(append(all, gearPIDs...), slowPIDs...)
}

// withCounts adds a cylinder's counter for each of n cylinders.
func withCounts(c *Capabilities, n int) *Capabilities {
	for i := range n {
		c.Monitors = append(c.Monitors, Monitor{Module: c.Modules[0].Address, MID: obd.MIDCylinder1 + byte(i), Cylinder: i + 1, Counts: true})
	}
	return c
}

// turn is one request of a plan, and when it was made.
type turn struct {
	req string
	at  time.Duration
	it  *item
}

// turns takes a plan's turns for a while, each request taking as long as cost says.
func turns(p *plan, length time.Duration, cost func(*ask) time.Duration) []turn {
	var out []turn
	for now := morning; now.Sub(morning) < length; {
		it := p.next(now)
		d := cost(it.now())
		out = append(out, turn{it.now().req.String(), now.Sub(morning), it})
		it.spent(d)
		now = now.Add(d)
	}
	return out
}

// usual is what a request takes at 115200 baud of a module that answers within 12 ms.
func usual(*ask) time.Duration { return 19 * time.Millisecond }

// longestGap is the longest time without a request that fits, the end included.
func longestGap(all []turn, fits func(string) bool) time.Duration {
	gap, last := time.Duration(0), all[0].at
	for _, t := range all {
		if fits(t.req) {
			gap, last = max(gap, t.at-last), t.at
		}
	}
	return max(gap, all[len(all)-1].at-last)
}

func count(all []turn, fits func(string) bool) (n int) {
	for _, t := range all {
		if fits(t.req) {
			n++
		}
	}
	return n
}

func is(want string) func(string) bool { return func(got string) bool { return got == want } }

// asks reports whether a request of service 01 asks for a PID.
func asks(pid byte) func(string) bool {
	return func(r string) bool {
		for i := 2; i+2 <= len(r) && r[:2] == "01"; i += 2 {
			if r[i:i+2] == fmt.Sprintf("%02x", pid) {
				return true
			}
		}
		return false
	}
}

// On CAN: ten engine speeds a second, a look at the lamp in each half of its flash, the gear as often, nothing forgotten,
// and two thirds of the wire and more for the counters, each as often as the others.
func TestPlanOnCAN(t *testing.T) {
	for _, cylinders := range []int{3, 4, 6, 8, 12, 16} {
		t.Run(fmt.Sprint(cylinders), func(t *testing.T) {
			c := withCounts(capable(obd.CAN11At500, map[uint32][]byte{0x7E8: everyPID()}), cylinders)
			got := turns(newPlan(c, planning{size: batch}), 30*time.Second, usual)
			assert.InDelta(t, 300, count(got, asks(obd.PIDRPM)), 15)
			assert.LessOrEqual(t, longestGap(got, asks(obd.PIDRPM)), 160*time.Millisecond)
			assert.LessOrEqual(t, longestGap(got[40:], asks(obd.PIDStatus)), 500*time.Millisecond, "the lamp")
			assert.LessOrEqual(t, longestGap(got, asks(obd.PIDGear)), 550*time.Millisecond)
			assert.LessOrEqual(t, longestGap(got, asks(obd.PIDFuelSystem)), 250*time.Millisecond, "in the other turns of the lamp's request")
			for _, pid := range slowPIDs {
				assert.LessOrEqual(t, longestGap(got, asks(pid)), 10*time.Second, "PID %02X", pid)
			}
			counts := 0
			for i := range cylinders {
				n := count(got, is(obd.Test(obd.MIDCylinder1+byte(i)).String()))
				counts += n
				assert.InDelta(t, float64(len(got))*0.70/float64(cylinders), float64(n), float64(len(got))*0.06/float64(cylinders)+1, "cylinder %d", i+1)
			}
			assert.Greater(t, float64(counts)/float64(len(got)), 0.66)
		})
	}
}

// However slow the wire, nobody starves: the counters keep half of it, the engine's speed comes twice a second, which
// leaves no hole (they begin at two seconds).
func TestPlanOnASlowWire(t *testing.T) {
	c := withCounts(capable(obd.CAN11At500, map[uint32][]byte{0x7E8: everyPID()}), 12)
	for _, cost := range []time.Duration{40, 80, 150, 250} {
		got := turns(newPlan(c, planning{size: batch}), 2*time.Minute, func(*ask) time.Duration { return cost * time.Millisecond })
		assert.LessOrEqual(t, longestGap(got, asks(obd.PIDRPM)), 1500*time.Millisecond, cost)
		counts := count(got, func(r string) bool { return r[:2] == "06" })
		assert.Greater(t, float64(counts)/float64(len(got)), 0.3, cost)
		for _, pid := range everyPID() {
			assert.LessOrEqual(t, longestGap(got, asks(pid)), time.Minute, "PID %02X at %v", pid, cost)
		}
	}
}

// Before CAN, and where there is nothing to count, engine speed comes two times of three.
func TestPlanBeforeCAN(t *testing.T) {
	c := capable(obd.ISO9141, map[uint32][]byte{0x10: {0x01, 0x03, 0x04, 0x05, 0x06, 0x0C, 0x0D, 0x11}})
	got := turns(newPlan(c, planning{size: batch}), 100*time.Second, func(*ask) time.Duration { return 140 * time.Millisecond })
	for _, r := range got {
		require.Len(t, r.req, 4)
	}
	assert.InDelta(t, 2.0/3, float64(count(got, is("010c")))/float64(len(got)), 0.01)
	assert.LessOrEqual(t, longestGap(got, is("010c")), 300*time.Millisecond)
	assert.LessOrEqual(t, longestGap(got, is("0104")), 2200*time.Millisecond, "the load, which tells the gear")
	for _, pid := range []byte{0x03, 0x0D, 0x11} {
		assert.LessOrEqual(t, longestGap(got, asks(pid)), 8*time.Second, "PID %02X", pid)
	}
	assert.LessOrEqual(t, longestGap(got, asks(obd.PIDStatus)), 8*time.Second)
}

// A PID whose length is not certain cannot share a request: where it ends would be a guess.
func TestUncertainPIDsAreAskedAlone(t *testing.T) {
	c := capable(obd.CAN11At500, map[uint32][]byte{0x7E8: everyPID()})
	for _, size := range []int{6, 3, 2, 1} {
		for _, r := range turns(newPlan(c, planning{size: size}), 30*time.Second, usual) {
			require.LessOrEqual(t, len(r.req), 2+2*size)
			for pid := obd.PIDTrimShort1; pid <= obd.PIDTrimLong2; pid++ {
				if asks(pid)(r.req) {
					assert.Len(t, r.req, 4, "%s", r.req)
				}
			}
		}
	}
}

func TestPlanOfLittle(t *testing.T) {
	assert.True(t, newPlan(capable(obd.CAN11At500, map[uint32][]byte{0x7E8: {0x1C, 0x21}}), planning{size: batch}).empty())
	assert.Nil(t, newPlan(&Capabilities{}, planning{size: batch}).next(morning))
	for name, test := range map[string]struct {
		pids      []byte
		cylinders int
		want      []string
	}{
		"only speed":         {pids: []byte{0x0D}, want: []string{"010d"}},
		"only the lamp":      {pids: []byte{0x01}, want: []string{"0101"}},
		"only the gear":      {pids: []byte{0xA4}, want: []string{"01a4"}},
		"only a slow value":  {pids: []byte{0x05}, want: []string{"0105"}},
		"only counts":        {cylinders: 2, want: []string{"06a2", "06a3"}},
		"speed and counts":   {pids: []byte{0x0C}, cylinders: 1, want: []string{"010c", "06a2"}},
		"speed and the lamp": {pids: []byte{0x0C, 0x01}, want: []string{"010c", "010c01"}},
	} {
		p := newPlan(withCounts(capable(obd.CAN11At500, map[uint32][]byte{0x7E8: test.pids}), test.cylinders), planning{size: batch})
		assert.False(t, p.empty(), name)
		seen := map[string]bool{}
		for _, r := range turns(p, 2*time.Second, usual) {
			seen[r.req] = true
		}
		for _, want := range test.want {
			assert.True(t, seen[want], "%s: %s", name, want)
		}
		assert.Len(t, seen, len(test.want), name)
	}
}

// What one module alone has is asked of that module alone, what several tell of all of them; how long an answer will be is
// reckoned from the lengths that SAE J1979 gives the PIDs, in frames of ISO 15765-2.
func TestWhoIsAsked(t *testing.T) {
	c := withCounts(capable(obd.CAN11At500, map[uint32][]byte{0x7E8: {0x0C, 0x04, 0x0D, 0x11, 0x03, 0x01, 0x65, 0x05, 0x06}, 0x7E9: {0x0C, 0x0D, 0xA4, 0x65}}), 1)
	p := newPlan(c, planning{size: batch})
	asked := map[string]*ask{}
	for _, it := range append(p.timed, p.counts...) {
		for i := range it.asks {
			asked[it.asks[i].req.String()] = &it.asks[i]
		}
	}
	asked["rider"] = &p.fast.rider
	for req, want := range map[string]struct {
		module uint32
		lines  int
	}{
		"010c040d1103": {0x7E8, 2}, // 41, 3, 2, 2, 2 and 3 bytes: thirteen
		"rider":        {0x7E8, 3}, // 41, 3, 2, 2, 2, 5 and 3
		"01a465":       {0, 0},     // the gear of one module, the lever of both
		"0105":         {0x7E8, 1},
		"0106":         {0x7E8, 0}, // one byte or two
		"06a2":         {0x7E8, 0},
	} {
		a := asked[req]
		require.NotNil(t, a, req)
		assert.Equal(t, want.module, a.module.ID, req)
		assert.Equal(t, want.module != 0, a.one, req)
		assert.Equal(t, want.lines, a.lines, req)
	}
	assert.Equal(t, "010c040d110165", p.fast.rider.req.String())
}

// Frames by length: seven bytes are one, a first frame holds six, each further one seven (ISO 15765-2).
func TestFrames(t *testing.T) {
	for n, want := range map[int]int{1: 1, 7: 1, 8: 2, 13: 2, 14: 3, 19: 3, 20: 3, 21: 4, 37: 6} {
		assert.Equal(t, want, framesOf(n), n)
	}
}

// What brings nothing rests longer and longer, but never for good, and its turns go to the others.
func TestRest(t *testing.T) {
	c := withCounts(capable(obd.CAN11At500, map[uint32][]byte{0x7E8: {0x0C}, 0x7E9: {0xA4}}), 2)
	p := newPlan(c, planning{size: batch})
	asked := 0
	var got []turn
	for now := morning; now.Sub(morning) < 2*time.Minute; now = now.Add(19 * time.Millisecond) {
		it := p.next(now)
		got = append(got, turn{it.now().req.String(), now.Sub(morning), it})
		it.spent(19 * time.Millisecond)
		if it.now().req == obd.Live(obd.PIDGear) {
			asked++
			it.miss(now)
		}
	}
	assert.Greater(t, asked, 10)
	assert.Less(t, asked, 30, "of 300 turns it would have had")
	assert.LessOrEqual(t, longestGap(got, asks(obd.PIDGear)), longestRest+time.Second)

	p.refresh()
	for range 500 { // nothing answers any more: something is asked all the same
		it := p.next(morning)
		require.NotNil(t, it)
		it.miss(morning)
	}
}

// A counter that moves as fast as it is read is read twice as often as the others, and they not less than their share.
func TestLivelyCounter(t *testing.T) {
	c := withCounts(capable(obd.CAN11At500, map[uint32][]byte{0x7E8: {0x0C}}), 6)
	p := newPlan(c, planning{size: batch})
	n := map[string]int{}
	moved := 0.0
	for now := morning; now.Sub(morning) < time.Minute; now = now.Add(19 * time.Millisecond) {
		it := p.next(now)
		req := it.now().req.String()
		n[req]++
		if req == "06a4" {
			moved++
			it.moved(moved)
		}
	}
	assert.InDelta(t, 2, float64(n["06a4"])/float64(n["06a2"]), 0.35)
	for _, other := range []string{"06a3", "06a5", "06a6", "06a7"} {
		assert.InEpsilon(t, n["06a2"], n[other], 0.05)
	}
}
