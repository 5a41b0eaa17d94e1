package vehicle

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"stumble/obd"
)

// The best that any plan could bring over a wire, from nothing but bytes and delays. It asks what the plan asks, at the
// paces that the plan wants: it spends no time on learning, on setting headers, on waiting for what does not come, nor on
// a request that comes in the way of another. What is left of the wire is the counters'.
//
// The figures are the simulated adapter's and the standards': ten bits a byte on the serial line; half a millisecond from a
// carriage return to the bus; a CAN frame of 122 bits and a fifth of a millisecond between frames (ISO 11898-1, with a
// tenth for stuff bits); 0.3 ms to the flow control (common practice, no source); ISO 9141-2 and ISO 14230-2 as to bytes
// and gaps, from memory.

// cost is how long an exchange takes at best: characters typed, bytes of the answer, delay of the module.
func (w wire) cost(typed, payload int, delay time.Duration) time.Duration {
	var char time.Duration
	if w.baud > 0 {
		char = 10 * time.Second / time.Duration(w.baud)
	}
	at := time.Duration(typed+1)*char + 500*time.Microsecond
	if !w.protocol.CAN() {
		return w.olderCost(at, char, typed/2, payload, delay)
	}
	const frame, gap, flow = 244 * time.Microsecond, 200 * time.Microsecond, 300 * time.Microsecond
	at += frame + delay + frame // of the request; of the first frame of the answer
	lines := []int{3 + 2*(1+payload) + 1}
	if payload > 7 {
		lines = []int{20}
		for rest := payload - 6; rest > 0; rest -= 7 {
			lines = append(lines, 3+2*(1+min(rest, 7))+1)
		}
	}
	printed := at
	for i, chars := range lines {
		switch i {
		case 0:
		case 1:
			at += flow + frame + frame + gap
		default:
			at += frame + gap
		}
		printed = max(printed, at) + time.Duration(chars)*char
	}
	return printed + 2*char + 2*w.latency // blank line and prompt
}

// olderCost is cost on the buses before CAN, from when the request is ready to go out.
func (w wire) olderCost(at, char time.Duration, asked, payload int, delay time.Duration) time.Duration {
	bytes := func(n int, each time.Duration) time.Duration { return time.Duration(n) * each }
	chars := bytes(2*(3+payload+1)+1+2, char)
	switch w.protocol {
	case obd.J1850PWM:
		return at + bytes(asked+4, 8*time.Second/41600) + delay + bytes(payload+4, 8*time.Second/41600) + chars
	case obd.J1850VPW:
		return at + bytes(asked+4, 8*time.Second/10400) + delay + bytes(payload+4, 8*time.Second/10400) + chars
	}
	const each = 10 * time.Second / 10400
	idle := 55 * time.Millisecond // between the answer before and the request, in which the adapter prints
	return max(at+chars, idle) + bytes(asked+4, each+5*time.Millisecond) + delay + bytes(payload+4, each)
}

// moduleDelay is what the simulated modules take unless they are told otherwise.
func (w wire) moduleDelay() time.Duration {
	switch {
	case w.delay > 0:
		return w.delay
	case w.protocol.CAN():
		return 12 * time.Millisecond
	case w.protocol.J1850():
		return 18 * time.Millisecond
	}
	return 40 * time.Millisecond
}

// bound is the most counts a second, and the least age of the oldest, as a mean over time; before CAN the most engine
// speeds a second.
func (w wire) bound() (counts float64, oldest time.Duration, rpm float64) {
	d := w.moduleDelay()
	if !w.protocol.CAN() {
		// Two speeds (four bytes) to each other value (three bytes and more).
		speed, other := w.cost(5, 4, d), w.cost(5, 3, d)
		return 0, 0, 2 / (2*speed + other).Seconds()
	}
	share := func(every time.Duration, share int, cost time.Duration) float64 {
		return cost.Seconds() / max(every, time.Duration(share)*cost).Seconds()
	}
	// 41 0C xx xx 04 xx 0D xx 11 xx 03 xx xx, and with the lamp and PID 65 in the place of 03.
	plain, ride := w.cost(13, 13, d), w.cost(15, 18, d)
	rides := float64(fastEvery) / float64(lampEvery)
	fast := time.Duration((1-rides)*float64(plain) + rides*float64(ride))
	gear := w.cost(5, 6, d+3*time.Millisecond) // A4 of the transmission, four bytes
	slow := w.cost(15, 17, d)                  // 05 42 0B 0E 0F 10 and 49 1F in turn
	single := w.cost(5, 3, d)                  // a trim
	left := 1 - share(fastEvery, fastShare, fast) - share(gearEvery, gearShare, gear) -
		share(slowEvery/2, slowShare, slow) - share(alone, slowShare, single)
	count, each := w.cost(5, 19, d), 1.0 // 46 and two records of nine bytes
	if w.pairs {
		count, each = w.cost(7, 37, d), 2
	}
	counts = each * left / count.Seconds()
	round := float64(w.cylinders) / counts
	return counts, time.Duration(round * (1 - each/(2*float64(w.cylinders))) * float64(time.Second)), 1 / max(fastEvery, fastShare*fast).Seconds()
}

// TestNearTheBound holds every wire to nine tenths of the best that could be had of it, and the firings to a thousandth.
// Simulated time is the same on every computer.
func TestNearTheBound(t *testing.T) {
	for _, w := range wires() {
		t.Run(w.String(), func(t *testing.T) {
			p := w.measure(t)
			counts, oldest, rpm := w.bound()
			t.Log(w.row(p))
			assert.LessOrEqual(t, p.error, 0.1, "percent of the firings")
			assert.LessOrEqual(t, p.rpm, 3*max(rpm, 1), "a bound of the speeds before CAN")
			if !w.protocol.CAN() {
				assert.GreaterOrEqual(t, p.rpm, 0.9*rpm)
				assert.LessOrEqual(t, p.rpm, 1.01*rpm, "no plan beats the bound")
				return
			}
			assert.GreaterOrEqual(t, p.counts, 0.9*counts)
			assert.LessOrEqual(t, p.counts, 1.03*counts, "no plan beats the bound, but by what chance does to delays")
			assert.LessOrEqual(t, 0.9*p.oldest.Seconds(), oldest.Seconds())
		})
	}
}

// row is a line of the table in DEVELOPERS.md.
func (w wire) row(p pace) string {
	counts, oldest, rpm := w.bound()
	if !w.protocol.CAN() {
		return fmt.Sprintf("%-28v %6d baud %28s  speeds %5.1f/s of %5.1f (%.2f)  firings %.3f %%", w.protocol, w.baud, "", p.rpm, rpm, p.rpm/rpm, p.error)
	}
	return fmt.Sprintf("%7d baud %2d cylinders %5v  counts %6.1f/s of %6.1f (%.2f)  oldest %5.3f s of %5.3f (%.2f)  speeds %4.1f/s  firings %.3f %%",
		w.baud, w.cylinders, w.delay, p.counts, counts, p.counts/counts, p.oldest.Seconds(), oldest.Seconds(), oldest.Seconds()/p.oldest.Seconds(), p.rpm, p.error)
}
