package vehicle

import (
	"fmt"
	"testing"

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

// turns takes n turns of a plan and returns the requests.
func turns(p *plan, n int) []string {
	var out []string
	for range n {
		out = append(out, p.next().req.String())
	}
	return out
}

// longestGap is the most turns from one request that fits to the next, the end included.
func longestGap(requests []string, fits func(string) bool) int {
	gap, last := 0, -1
	for i, r := range requests {
		if fits(r) {
			gap, last = max(gap, i-last), i
		}
	}
	return max(gap, len(requests)-last)
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

// On CAN: engine speed in two requests of three, each counter again within a few turns a cylinder, the lamp often
// enough that at 48 requests a second (what a CAN car brings, see the benchmarks) each half second has a look.
func TestPlanOnCAN(t *testing.T) {
	for _, cylinders := range []int{3, 4, 6, 8, 12, 16} {
		t.Run(fmt.Sprint(cylinders), func(t *testing.T) {
			c := withCounts(capable(obd.CAN11At500, map[uint32][]byte{0x7E8: everyPID()}), cylinders)
			got := turns(newPlan(c, batch), 1500)
			rpm := 0
			for _, r := range got {
				if r == "010c040d1103" {
					rpm++
				}
			}
			assert.Equal(t, 1000, rpm, "all that follows the engine in one request, two times of three")
			assert.LessOrEqual(t, longestGap(got, asks(obd.PIDRPM)), 2)
			for i := range cylinders {
				req := obd.Test(obd.MIDCylinder1 + byte(i)).String()
				assert.LessOrEqual(t, longestGap(got, is(req)), 7*cylinders+6, "cylinder %d", i+1)
			}
			assert.LessOrEqual(t, longestGap(got, asks(obd.PIDStatus)), 24, "the lamp")
			assert.LessOrEqual(t, longestGap(got, asks(obd.PIDGear)), 15)
			assert.LessOrEqual(t, longestGap(got, asks(obd.PIDAuxiliary)), 15)
			for _, pid := range slowPIDs {
				assert.LessOrEqual(t, longestGap(got, asks(pid)), 30*8, "PID %02X", pid)
			}
		})
	}
}

// Before CAN one PID a request: engine speed every other time of the fast ones.
func TestPlanBeforeCAN(t *testing.T) {
	c := capable(obd.ISO9141, map[uint32][]byte{0x10: {0x01, 0x03, 0x04, 0x05, 0x06, 0x0C, 0x0D, 0x11}})
	got := turns(newPlan(c, batch), 1200)
	for _, r := range got {
		require.Len(t, r, 4)
	}
	rpm := 0
	for _, r := range got {
		if r == "010c" {
			rpm++
		}
	}
	assert.Equal(t, 400, rpm)
	assert.LessOrEqual(t, longestGap(got, is("010c")), 4)
	for _, pid := range []byte{0x03, 0x04, 0x0D, 0x11} {
		assert.LessOrEqual(t, longestGap(got, asks(pid)), 13, "PID %02X", pid)
	}
	assert.LessOrEqual(t, longestGap(got, asks(obd.PIDStatus)), 9)
}

// A PID whose length is not certain cannot share a request: where it ends would be a guess.
func TestUncertainPIDsAreAskedAlone(t *testing.T) {
	c := capable(obd.CAN11At500, map[uint32][]byte{0x7E8: everyPID()})
	for _, size := range []int{6, 3, 2, 1} {
		for _, r := range turns(newPlan(c, size), 2000) {
			require.LessOrEqual(t, len(r), 2+2*size)
			for pid := obd.PIDTrimShort1; pid <= obd.PIDTrimLong2; pid++ {
				if asks(pid)(r) {
					assert.Len(t, r, 4, "%s", r)
				}
			}
		}
	}
}

func TestPlanOfLittle(t *testing.T) {
	assert.True(t, newPlan(capable(obd.CAN11At500, map[uint32][]byte{0x7E8: {0x1C, 0x21}}), batch).empty())
	assert.Nil(t, newPlan(&Capabilities{}, batch).next())
	for name, test := range map[string]struct {
		pids      []byte
		cylinders int
		want      []string
	}{
		"only speed":         {pids: []byte{0x0D}, want: []string{"010d", "010d", "010d"}},
		"only the lamp":      {pids: []byte{0x01}, want: []string{"0101", "0101", "0101"}},
		"only the gear":      {pids: []byte{0xA4}, want: []string{"01a4", "01a4", "01a4"}},
		"only a slow value":  {pids: []byte{0x05}, want: []string{"0105", "0105", "0105"}},
		"only counts":        {cylinders: 2, want: []string{"06a2", "06a3", "06a2"}},
		"speed and counts":   {pids: []byte{0x0C}, cylinders: 1, want: []string{"010c", "010c", "06a2"}},
		"speed and the lamp": {pids: []byte{0x0C, 0x01}, want: []string{"010c", "010c", "0101"}},
	} {
		p := newPlan(withCounts(capable(obd.CAN11At500, map[uint32][]byte{0x7E8: test.pids}), test.cylinders), batch)
		assert.False(t, p.empty(), name)
		assert.Equal(t, test.want, turns(p, 3), name)
	}
}

// What brings nothing rests longer and longer, but never for good, and its turns go to the others.
func TestRest(t *testing.T) {
	c := withCounts(capable(obd.CAN11At500, map[uint32][]byte{0x7E8: {0x0C}, 0x7E9: {0xA4}}), 2)
	p := newPlan(c, batch)
	asked, got := 0, []string{}
	for range 6000 {
		it := p.next()
		got = append(got, it.req.String())
		if it.req == obd.Live(obd.PIDGear) {
			asked++
			it.miss()
		}
	}
	assert.Greater(t, asked, 10)
	assert.Less(t, asked, 30, "of 500 turns it would have had")
	assert.LessOrEqual(t, longestGap(got, asks(obd.PIDGear)), 15*(longestRest+1))

	p.refresh()
	assert.LessOrEqual(t, longestGap(turns(p, 30), asks(obd.PIDGear)), 15, "after a rest in vain it is asked as before")

	for range 500 { // nothing answers any more: something is asked all the same
		it := p.next()
		require.NotNil(t, it)
		it.miss()
	}
}
