package car

import (
	"bytes"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// ask is the first answer's bytes of a module, or nil.
func ask(c *Car, s float64, node byte, request ...byte) []byte {
	answers := c.Request(nil, after(s), node, request)
	if len(answers) == 0 {
		return nil
	}
	return answers[0].Data
}

// all is every answer's bytes, in order.
func all(c *Car, s float64, node byte, request ...byte) (data [][]byte) {
	for _, a := range c.Request(nil, after(s), node, request) {
		data = append(data, a.Data)
	}
	return data
}

// lengths of the parameters' data, obd-wire-facts section 6 (published byte counts of two decoders).
var lengths = map[byte]int{
	0x00: 4, 0x01: 4, 0x02: 2, 0x03: 2, 0x04: 1, 0x05: 1, 0x06: 1, 0x07: 1, 0x08: 1, 0x09: 1, 0x0B: 1, 0x0C: 2, 0x0D: 1,
	0x0E: 1, 0x0F: 1, 0x10: 2, 0x11: 1, 0x13: 1, 0x14: 2, 0x15: 2, 0x1C: 1, 0x1F: 2, 0x20: 4, 0x21: 2, 0x2F: 1, 0x30: 1,
	0x31: 2, 0x33: 1, 0x40: 4, 0x41: 4, 0x42: 2, 0x43: 2, 0x44: 2, 0x45: 1, 0x46: 1, 0x49: 1, 0x4D: 2, 0x4E: 2, 0x51: 1,
	0x5C: 1, 0x60: 4, 0x65: 2, 0x80: 4, 0xA0: 4, 0xA4: 4, 0xA6: 4,
}

// supported walks the bitmaps as a tester must: bit 7 of byte A is the first id, and the last bit of a bitmap says
// whether the next may be asked (obd-wire-facts section 1).
func supported(t testing.TB, c *Car, s float64, node byte, prefix ...byte) (ids []byte) {
	t.Helper()
	for base := 0; base < 0x100; base += 0x20 {
		request := append(bytes.Clone(prefix[:1]), byte(base))
		request = append(request, prefix[1:]...)
		b := ask(c, s, node, request...)
		require.GreaterOrEqual(t, len(b), 6, "bitmap %02X", base)
		bits := b[len(b)-4:]
		for i := range 32 {
			if bits[i/8]>>(7-i%8)&1 == 1 {
				ids = append(ids, byte(base+i+1))
			}
		}
		if bits[3]&1 == 0 {
			return ids
		}
	}
	return ids
}

func TestEverySupportedParameterAnswersWithItsLength(t *testing.T) {
	for _, name := range []string{"wren", "curlew-lean-bank", "plover-injector", "rook", "no-gear"} {
		for _, node := range []byte{EngineNode, TransmissionNode} {
			c := mustScenario(t, name, 1)
			if ask(c, 60, node, 0x01, 0x00) == nil {
				continue
			}
			ids := supported(t, c, 60, node, 0x01)
			inIDs := map[byte]bool{0: true}
			for _, id := range ids {
				inIDs[id] = true
				want, known := lengths[id]
				require.True(t, known, "%s %02X: PID %02X has no length here", name, node, id)
				b := ask(c, 60, node, 0x01, id)
				require.Len(t, b, 2+want, "%s PID %02X", name, id)
				require.Equal(t, []byte{0x41, id}, b[:2])
			}
			for id := 0; id < 0x100; id++ {
				if !inIDs[byte(id)] {
					assert.Nil(t, ask(c, 60, node, 0x01, byte(id)), "%s PID %02X", name, id)
				}
			}
		}
	}
}

func TestWhichParametersAreOffered(t *testing.T) {
	has := func(name string, node byte) string {
		return string(supported(t, mustScenario(t, name, 1), 60, node, 0x01))
	}
	engine := has("wren", EngineNode)
	for _, id := range []byte{
		0x01, 0x03, 0x04, 0x05, 0x06, 0x07, 0x0B, 0x0C, 0x0D, 0x0E, 0x0F, 0x10, 0x11, 0x1C, 0x1F, 0x21, 0x2F, 0x30, 0x31,
		0x33, 0x41, 0x42, 0x43, 0x44, 0x45, 0x46, 0x49, 0x4D, 0x4E, 0x51, 0x5C, 0x65, 0xA6,
	} {
		assert.Contains(t, engine, string([]byte{id}), "%02X", id)
	}
	assert.NotContains(t, engine, "\x08", "one bank")
	assert.NotContains(t, engine, "\xA4", "the transmission's")
	assert.Contains(t, has("curlew-lean-bank", EngineNode), "\x08\x09")
	assert.Contains(t, has("wren", TransmissionNode), "\xA4")
	assert.Contains(t, has("plover-injector", EngineNode), "\xA4", "no transmission module")
	for _, node := range []byte{EngineNode, TransmissionNode} {
		assert.NotContains(t, has("no-gear", node), "\xA4")
		assert.NotContains(t, has("no-gear", node), "\x65")
	}
}

// Published examples of the formulas, decode-vectors.csv (libraries and data sheet named there), run the other way.
func TestEncodingAgainstPublishedVectors(t *testing.T) {
	c := mustScenario(t, "healthy", 1)
	cases := []struct {
		name string
		pid  byte
		s    sensors
		want []byte
	}{
		{"rpm 1726, adapter data sheet", 0x0C, sensors{rpm: 1726}, []byte{0x1A, 0xF8}},
		{"rpm 924, package documentation", 0x0C, sensors{rpm: 924}, []byte{0x0E, 0x70}},
		{"rpm 666.75, library test", 0x0C, sensors{rpm: 666.75}, []byte{0x0A, 0x6B}},
		{"load 0", 0x04, sensors{}, []byte{0x00}},
		{"load 100", 0x04, sensors{load: 100}, []byte{0xFF}},
		{"coolant -40", 0x05, sensors{coolant: -40}, []byte{0x00}},
		{"coolant 39", 0x05, sensors{coolant: 39}, []byte{0x4F}},
		{"coolant 70", 0x05, sensors{coolant: 70}, []byte{0x6E}},
		{"coolant 215", 0x05, sensors{coolant: 215}, []byte{0xFF}},
		{"short trim -100", 0x06, sensors{short: [2]float64{-100}}, []byte{0x00}},
		{"short trim 0", 0x06, sensors{}, []byte{0x80}},
		{"short trim 99.2", 0x06, sensors{short: [2]float64{99.21875}}, []byte{0xFF}},
		{"short trim -98.4375", 0x06, sensors{short: [2]float64{-98.4375}}, []byte{0x02}},
		{"long trim bank 2 99.2", 0x09, sensors{long: [2]float64{0, 99.21875}}, []byte{0xFF}},
		{"speed 74", 0x0D, sensors{speed: 74}, []byte{0x4A}},
		{"timing -64", 0x0E, sensors{timing: -64}, []byte{0x00}},
		{"timing 63.5", 0x0E, sensors{timing: 63.5}, []byte{0xFF}},
		{"air 0.01 g/s", 0x10, sensors{air: 0.01}, []byte{0x00, 0x01}},
		{"air 655.35 g/s", 0x10, sensors{air: 655.35}, []byte{0xFF, 0xFF}},
		{"run time 3600 s", 0x1F, sensors{ran: 3600}, []byte{0x0E, 0x10}},
		{"fuel 41.96", 0x2F, sensors{fuel: 41.96}, []byte{0x6B}},
		{"13.2 V", 0x42, sensors{volts: 13.2}, []byte{0x33, 0x90}},
		{"ambient 18", 0x46, sensors{ambient: 18}, []byte{0x3A}},
		{"oil -40", 0x5C, sensors{oil: -40}, []byte{0x00}},
		{"lambda 1 by 2/65536", 0x44, sensors{lambda: 1}, []byte{0x80, 0x00}},
	}
	for _, k := range cases {
		assert.Equal(t, k.want, c.appendSensor(nil, k.pid, &k.s), k.name)
	}
	c.cfg.History.Odometer = 42000
	assert.Equal(t, []byte{0x00, 0x06, 0x68, 0xA0}, c.appendStatus(nil, 0xA6, &c.memory), "odometer 42000 km, library test")
}

// The live values are those of the car, by the formulas of obd-wire-facts section 6.
func TestLiveValuesAreTheCars(t *testing.T) {
	c := mustScenario(t, "wren", 1)
	for s := 30.0; s < 500; s += 17 {
		st := c.State(after(s))
		b := ask(c, s, EngineNode, 0x01, 0x04, 0x05, 0x0C, 0x0D, 0x65, 0x1F)
		require.Len(t, b, 1+2+2+3+2+3+3)
		require.Equal(t, []byte{0x04, 0x05, 0x0C, 0x0D, 0x65, 0x1F}, []byte{b[1], b[3], b[5], b[8], b[10], b[13]})
		assert.InDelta(t, st.Load, float64(b[2])*100/255, 0.2)
		assert.InDelta(t, st.Coolant, float64(b[4])-40, 0.51)
		assert.InDelta(t, st.RPM, (float64(b[6])*256+float64(b[7]))/4, 0.25)
		assert.Equal(t, byte(st.Speed), b[9])
		gears := ask(c, s, TransmissionNode, 0x01, 0xA4)
		// PID 65: bit 1 of A supported, of B drive or reverse. PID A4: bits 0 and 1 of A, gear in the high half of B, ratio
		// by 1000. Gear 0 is neutral.
		assert.Equal(t, byte(0x02), b[11])
		assert.Equal(t, st.Gear != ParkNeutral, b[12] == 0x02)
		assert.Equal(t, byte(0x03), gears[2])
		assert.Equal(t, byte(st.Number)<<4, gears[3])
		if st.Number > 0 {
			assert.InDelta(t, Wren().Ratios[st.Number-1], (float64(gears[4])*256+float64(gears[5]))/1000, 0.001)
		}
	}
}

func TestSeveralParametersInOneRequest(t *testing.T) {
	c := mustScenario(t, "wren", 1)
	// Unsupported ones are left out; each module answers its own (obd-wire-facts section 1).
	b := all(c, 60, 0, 0x01, 0x0C, 0x5E, 0x04, 0xA4)
	require.Len(t, b, 2)
	assert.Equal(t, []byte{0x41, 0x0C, 0x04}, []byte{b[0][0], b[0][1], b[0][4]})
	assert.Len(t, b[0], 1+3+2)
	assert.Equal(t, []byte{0x41, 0x0C, 0xA4}, []byte{b[1][0], b[1][1], b[1][4]})
	assert.Len(t, b[1], 1+3+5)
	assert.Nil(t, ask(c, 60, 0, 0x01, 0x5E), "nothing supported, no answer")
	assert.Nil(t, ask(c, 60, 0, 0x01))
	assert.Nil(t, ask(c, 60, 0, 0x01, 1, 3, 4, 5, 6, 7, 0x0C), "seven are too many")

	rook := mustScenario(t, "rook", 1)
	assert.Nil(t, ask(rook, 60, 0, 0x01, 0x0C, 0x0D), "one a request before CAN")
	assert.Len(t, ask(rook, 60, 0, 0x01, 0x0C), 4)
}

func TestFreezeFrames(t *testing.T) {
	c := mustScenario(t, "wren", 1)
	ids := supported(t, c, 1, EngineNode, 0x02, 0x00)
	assert.NotContains(t, ids, byte(0x01), "PID 01 is not valid in service 02")
	for _, id := range ids {
		if id%0x20 != 0 {
			assert.Len(t, ask(c, 1, EngineNode, 0x02, id, 0), 3+lengths[id], "PID %02X", id)
		}
	}
	assert.Equal(t, []byte{0x42, 0x04, 0x00, 0x59, 0x05, 0x00, 0x83}, ask(c, 1, EngineNode, 0x02, 0x04, 0, 0x05, 0),
		"35 % load, 91 degrees")
	assert.Nil(t, ask(c, 1, EngineNode, 0x02, 0x0C, 1), "there is one frame")
	assert.Nil(t, ask(c, 1, EngineNode, 0x02, 0x0C))
	assert.Nil(t, ask(c, 1, TransmissionNode, 0x02, 0x02, 0))

	healthy := mustScenario(t, "healthy", 1)
	assert.Equal(t, []byte{0x42, 0x02, 0, 0, 0}, ask(healthy, 1, EngineNode, 0x02, 0x02, 0), "0000: no frame stored")
	assert.Nil(t, ask(healthy, 1, EngineNode, 0x02, 0x0C, 0))
}

// CAN: a count, then so many codes. Before CAN: three codes a message, padded with zeros, no count; no permanent codes
// (obd-wire-facts section 1).
func TestCodesOnEachBus(t *testing.T) {
	c := mustScenario(t, "curlew-lean-bank", 1)
	assert.Equal(t, []byte{0x43, 2, 0x03, 0x00, 0x01, 0x74}, ask(c, 1, EngineNode, 0x03))
	assert.Equal(t, []byte{0x43, 0}, ask(c, 1, TransmissionNode, 0x03))
	assert.Equal(t, []byte{0x4A, 0}, ask(c, 1, TransmissionNode, 0x0A))

	rook := mustScenario(t, "rook", 1)
	assert.Equal(t, []byte{0x43, 0x03, 0x02, 0, 0, 0, 0}, ask(rook, 1, EngineNode, 0x03))
	assert.Equal(t, []byte{0x7F, 0x0A, 0x11}, ask(rook, 1, EngineNode, 0x0A))
	for _, code := range []uint16{0x0300, 0x0171, 0x0420} {
		rook.memory.stored.add(code)
	}
	assert.Equal(t, [][]byte{
		{0x43, 0x03, 0x02, 0x03, 0x00, 0x01, 0x71}, {0x43, 0x04, 0x20, 0, 0, 0, 0},
	}, all(rook, 1, EngineNode, 0x03))
	clean := mustScenario(t, "rook-repaired", 1)
	assert.Equal(t, [][]byte{{0x47, 0, 0, 0, 0, 0, 0}}, all(clean, 1, EngineNode, 0x07))
}

// Service 04 with the engine running is refused with 22; with it off it erases all that misfire-rules section 6 lists
// and keeps the permanent codes.
func TestClear(t *testing.T) {
	c := mustScenario(t, "wren", 1)
	require.True(t, c.State(after(60)).Running)
	assert.Equal(t, [][]byte{{0x7F, 0x04, 0x22}, {0x7F, 0x04, 0x22}}, all(c, 60, 0, 0x04))
	assert.Equal(t, []byte{0x43, 1, 3, 2}, ask(c, 60, EngineNode, 0x03))

	c.Do(after(400), KeyOn, 0)
	require.False(t, c.State(after(430)).Running)
	assert.Equal(t, [][]byte{{0x44}, {0x44}}, all(c, 430, 0, 0x04))
	for _, k := range []struct {
		request, want []byte
	}{
		{[]byte{0x03}, []byte{0x43, 0}},
		{[]byte{0x07}, []byte{0x47, 0}},
		{[]byte{0x0A}, []byte{0x4A, 1, 3, 2}},
		{[]byte{0x02, 0x02, 0x00}, []byte{0x42, 0x02, 0x00, 0, 0}},
		{[]byte{0x01, 0x01}, []byte{0x41, 0x01, 0x00, 0x07, 0xE5, 0xE5}},
		{[]byte{0x01, 0x21, 0x30, 0x31, 0x4D, 0x4E}, []byte{0x41, 0x21, 0, 0, 0x30, 0, 0x31, 0, 0, 0x4D, 0, 0, 0x4E, 0, 0}},
		{[]byte{0x01, 0x06, 0x07}, []byte{0x41, 0x06, 0x80, 0x07, 0x80}},
		// never run since the clear: value and limits all zero
		{[]byte{0x06, 0xA3}, []byte{0x46, 0xA3, 0x0B, 0x24, 0, 0, 0, 0, 0, 0, 0xA3, 0x0C, 0x24, 0, 0, 0, 0, 0, 0}},
		{[]byte{0x06, 0x21}, []byte{0x46, 0x21, 0x83, 0x20, 0, 0, 0, 0, 0, 0}},
	} {
		assert.Equal(t, k.want, ask(c, 430, EngineNode, k.request...), "%X", k.request)
	}
	assert.Equal(t, LampOff, c.State(after(430)).Lamp)

	c.Do(after(430), Cruise, 0)
	c.State(after(900))
	status := ask(c, 900, EngineNode, 0x01, 0x01)
	assert.Equal(t, byte(evaporativeMonitor), status[5], "all but the tank's have run again")
	assert.NotEqual(t, []byte{0, 0}, ask(c, 900, EngineNode, 0x06, 0x21)[4:6])
	_, counted := count(t, c, 900, 0xA3)
	assert.EqualValues(t, c.Truth().Shown(2), counted)
	assert.Positive(t, counted)
}

func TestMetersRunOn(t *testing.T) {
	c := mustScenario(t, "wren", 1)
	meter := func(s float64, pid byte) int {
		b := ask(c, s, EngineNode, 0x01, pid)
		v := 0
		for _, x := range b[2:] {
			v = v<<8 | int(x)
		}
		return v
	}
	c.Do(zero, Cruise, 0)
	start := []int{meter(60, 0x31), meter(60, 0x4E), meter(60, 0x21), meter(60, 0x4D), meter(60, 0xA6)}
	c.State(after(60 + 1200))
	now := []int{meter(1260, 0x31), meter(1260, 0x4E), meter(1260, 0x21), meter(1260, 0x4D), meter(1260, 0xA6)}
	km := 1200 * c.State(after(1260)).Speed / 3600
	assert.InDelta(t, km, float64(now[0]-start[0]), 1.1)
	assert.InDelta(t, 20, float64(now[1]-start[1]), 1)
	assert.InDelta(t, km, float64(now[2]-start[2]), 1.1)
	assert.InDelta(t, 20, float64(now[3]-start[3]), 1)
	assert.InDelta(t, km*10, float64(now[4]-start[4]), 4)
	assert.Zero(t, func() int { c = mustScenario(t, "healthy", 1); return meter(60, 0x21) }(), "no lamp, no distance with it")
}

// MID TID UASID value min max, nine bytes a record after the 46 (obd-wire-facts section 2).
func TestOnBoardTests(t *testing.T) {
	for _, name := range []string{"wren", "curlew-lean-bank", "wren-percent", "plover-injector"} {
		c := mustScenario(t, name, 1)
		v := c.Vehicle()
		mids := supported(t, c, 60, EngineNode, 0x06)
		for _, mid := range mids {
			if mid%0x20 == 0 {
				continue
			}
			b := ask(c, 60, EngineNode, 0x06, mid)
			require.Equal(t, byte(0x46), b[0])
			require.Zero(t, (len(b)-1)%9, "MID %02X", mid)
			require.Greater(t, len(b), 1)
			for r := b[1:]; len(r) > 0; r = r[9:] {
				require.Equal(t, mid, r[0], "the id is repeated in each record")
				value, low, high := int(r[3])<<8|int(r[4]), int(r[5])<<8|int(r[6]), int(r[7])<<8|int(r[8])
				require.LessOrEqual(t, low, high)
				require.GreaterOrEqual(t, value, low, "MID %02X TID %02X passes", mid, r[1])
				require.LessOrEqual(t, value, high)
			}
		}
		for i := range v.Cylinders() {
			assert.Contains(t, mids, byte(0xA2+i))
		}
		assert.NotContains(t, mids, byte(0xA2+v.Cylinders()))
		assert.Nil(t, ask(c, 60, TransmissionNode, 0x06, 0xA2))
		assert.Nil(t, ask(c, 60, EngineNode, 0x06, 0xA2+byte(v.Cylinders())))
	}
	c := mustScenario(t, "wren", 1)
	// Six bitmaps in one request, five bytes each, no TID; those past the last supported id are left out.
	b := ask(c, 60, EngineNode, 0x06, 0x00, 0x20, 0x40, 0x60, 0x80, 0xA0)
	require.Len(t, b, 1+6*5)
	assert.Equal(t, []byte{0xA0, 0xF8, 0, 0, 0}, b[26:], "A1, A2 to A5")
	assert.Nil(t, ask(c, 60, EngineNode, 0x06, 0xC0))
}

// Percent records of the misfire monitor: TID 80 and 81, unit 30h, 0.001526 % a bit (uas.csv).
func TestPercentRecords(t *testing.T) {
	c := mustScenario(t, "wren-percent", 1)
	b := ask(c, 300, EngineNode, 0x06, 0xA1)
	require.Len(t, b, 1+4*9)
	tids := []byte{b[2], b[11], b[20], b[29]}
	assert.Equal(t, []byte{0x0B, 0x0C, 0x80, 0x81}, tids)
	limit := func(r []byte) float64 { return float64(int(r[7])<<8|int(r[8])) * 0.001526 }
	value := func(r []byte) float64 { return float64(int(r[3])<<8|int(r[4])) * 0.001526 }
	assert.Equal(t, byte(0x30), b[21])
	assert.InDelta(t, catalystLimit(740, 21), limit(b[19:]), 0.01)
	assert.InDelta(t, c.evaluation.fastLast, value(b[19:]), 0.01)
	assert.InDelta(t, 1.0, limit(b[28:]), 0.01)
	assert.InDelta(t, c.evaluation.slowLast, value(b[28:]), 0.01)
	sum := uint64(0)
	for cyl := 1; cyl <= 4; cyl++ {
		sum += c.Truth().Shown(cyl)
	}
	assert.EqualValues(t, sum, int(b[13])<<8|int(b[14]), "TID 0C of A1 is all cylinders")

	only := ask(mustScenario(t, "plover-injector", 1), 300, EngineNode, 0x06, 0xA1)
	assert.Equal(t, []byte{0x80, 0x81}, []byte{only[2], only[11]}, "on some cars only maker tests")
	assert.Len(t, only, 1+2*9)
}

// Before CAN: TID, component, value, limit; bit 7 of the component says a minimum; no misfire counts
// (obd-wire-facts section 2).
func TestOldOnBoardTests(t *testing.T) {
	c := mustScenario(t, "rook", 1)
	assert.Equal(t, []byte{0x46, 0x00, 0xFF, 0xC4, 0, 0, 0}, ask(c, 1, EngineNode, 0x06, 0x00))
	for _, tid := range []byte{0x01, 0x02, 0x06} {
		for _, b := range all(c, 1, EngineNode, 0x06, tid) {
			require.Len(t, b, 7)
			require.Equal(t, []byte{0x46, tid}, b[:2])
			value, limit := int(b[3])<<8|int(b[4]), int(b[5])<<8|int(b[6])
			if b[2]&0x80 != 0 {
				assert.GreaterOrEqual(t, value, limit)
			} else {
				assert.LessOrEqual(t, value, limit)
			}
		}
	}
	assert.Len(t, all(c, 1, EngineNode, 0x06, 0x06), 2)
	assert.Nil(t, ask(c, 1, EngineNode, 0x06, 0xA2))
}

// Unknown services: silence on CAN, 7F xx 11 on the K-line (obd-wire-facts section 4).
func TestUnknownServices(t *testing.T) {
	for name, want := range map[string][]byte{
		"wren": nil, "wide": nil, "rook-vpw": nil, "rook": {0x7F, 0x22, 0x11}, "rook-kwp": {0x7F, 0x22, 0x11},
	} {
		assert.Equal(t, want, ask(mustScenario(t, name, 1), 1, 0, 0x22, 0xF1, 0x90), name)
	}
}

func TestNodesAnswerForThemselves(t *testing.T) {
	c := mustScenario(t, "wren", 1)
	answers := c.Request(nil, after(60), 0, []byte{0x01, 0x00})
	require.Len(t, answers, 2)
	assert.ElementsMatch(t, []byte{0x10, 0x18}, []byte{answers[0].Module, answers[1].Module})
	assert.LessOrEqual(t, answers[0].Delay, answers[1].Delay)
	for _, node := range []byte{0x10, 0x18} {
		one := c.Request(nil, after(60), node, []byte{0x01, 0x00})
		require.Len(t, one, 1)
		assert.Equal(t, node, one[0].Module)
	}
	assert.Empty(t, c.Request(nil, after(60), 0x28, []byte{0x01, 0x00}))
	assert.Empty(t, c.Request(nil, after(60), 0, nil))
	assert.Len(t, c.Request(answers, after(60), 0x10, []byte{0x03}), 3, "answers are appended")
}

func TestDelays(t *testing.T) {
	for name, want := range map[string][2]time.Duration{
		"wren": {9 * time.Millisecond, 16 * time.Millisecond}, "rook": {30 * time.Millisecond, 50 * time.Millisecond},
		"rook-kwp": {30 * time.Millisecond, 50 * time.Millisecond}, "rook-vpw": {13 * time.Millisecond, 23 * time.Millisecond},
	} {
		c := mustScenario(t, name, 1)
		seen := map[time.Duration]bool{}
		for i := range 200 {
			a := c.Request(nil, after(20+float64(i)/10), EngineNode, []byte{0x01, 0x0C})
			require.Len(t, a, 1)
			require.GreaterOrEqual(t, a[0].Delay, want[0], name)
			require.LessOrEqual(t, a[0].Delay, want[1], name)
			seen[a[0].Delay] = true
		}
		assert.Greater(t, len(seen), 50, "never quite the same")
	}
	cfg := base(Wren())
	cfg.Controller.Latency = 100 * time.Millisecond
	c, err := New(cfg, 1, zero)
	require.NoError(t, err)
	assert.InDelta(t, 100, c.Request(nil, zero, EngineNode, []byte{3})[0].Delay.Seconds()*1000, 26)

	vin := mustScenario(t, "rook", 1).Request(nil, zero, 0, []byte{0x09, 0x02})
	for i := 1; i < len(vin); i++ {
		assert.Greater(t, vin[i].Delay, vin[i-1].Delay, "messages follow one another")
	}
}

func TestAsleepNothingAnswers(t *testing.T) {
	c := mustScenario(t, "ignition-off", 1)
	assert.False(t, c.Ignition(after(5)))
	assert.Nil(t, ask(c, 5, 0, 0x01, 0x00))
	within(t, c.Voltage(after(5)), 12.4, 12.8, "trade-checks: battery, resting")
	standing := mustScenario(t, "engine-off", 1)
	assert.True(t, standing.Ignition(after(5)))
	assert.Equal(t, []byte{0x41, 0x0C, 0, 0}, ask(standing, 500, EngineNode, 0x01, 0x0C))
	_, last := count(t, standing, 500, 0xA3)
	assert.Equal(t, 168, last, "the last driving cycle's")
}

func TestTransmissionFallsSilent(t *testing.T) {
	c := mustScenario(t, "silent-transmission", 1)
	assert.NotNil(t, ask(c, 89, TransmissionNode, 0x01, 0xA4))
	assert.Nil(t, ask(c, 90, TransmissionNode, 0x01, 0xA4))
	assert.NotNil(t, ask(c, 90, EngineNode, 0x01, 0x0C))
}

func TestRequestsCostNoMemory(t *testing.T) {
	c := mustScenario(t, "wren-running", 1)
	var buf []Answer
	requests := [][]byte{{1, 0x0C, 4, 0x0D, 5, 0xA4, 0x65}, {6, 0xA3}, {3}, {2, 2, 0}, {9, 2}, {9, 8}, {1, 0}}
	s, i := 0.0, 0
	step := func() {
		s += 0.025
		i++
		buf = c.Request(buf[:0], after(s), 0, requests[i%len(requests)])
	}
	for range 40000 {
		step()
	}
	assert.Zero(t, testing.AllocsPerRun(2000, step))
}

// A caller that keeps answers may do so as long as it does not hand them back as spare room.
func TestAnswersAreTheCallers(t *testing.T) {
	c := mustScenario(t, "wren", 1)
	kept := c.Request(nil, after(30), 0, []byte{0x09, 0x02})
	vin := bytes.Clone(kept[0].Data)
	for i := range 100 {
		c.Request(nil, after(30+float64(i)), 0, []byte{0x01, 0x0C, 0x04})
	}
	assert.Equal(t, vin, kept[0].Data)
}

func FuzzRequest(f *testing.F) {
	for _, b := range [][]byte{{1, 0x0C}, {2, 2, 0}, {6, 0xA1}, {9, 0x0A}, {4}, {}, {0x7F, 1}, {1, 0, 0x20, 0x40, 0x60, 0x80, 0xA0}} {
		f.Add(uint8(0), uint8(0), b)
		f.Add(uint8(10), uint8(0x10), b)
	}
	scenarios := Scenarios()
	cars := make([]*Car, len(scenarios))
	for i, s := range scenarios {
		c, err := New(s.Config, 1, zero)
		require.NoError(f, err)
		c.State(after(40))
		cars[i] = c
	}
	f.Fuzz(func(t *testing.T, which, node uint8, request []byte) {
		c := cars[int(which)%len(cars)]
		for _, a := range c.Request(nil, after(40), node, request) {
			require.NotEmpty(t, a.Data)
			require.Positive(t, a.Delay)
			if a.Data[0] == 0x7F {
				require.Len(t, a.Data, 3)
				require.Equal(t, request[0], a.Data[1])
				continue
			}
			require.Equal(t, request[0]+0x40, a.Data[0])
			require.True(t, c.Protocol().CAN() || len(a.Data) <= 7, "a frame before CAN holds seven bytes")
		}
	})
}
