package sim

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd"
	"stumble/obd/clock"
	"stumble/obd/sim/car"
)

func TestProtocolArguments(t *testing.T) {
	r := newRig(t, Config{Bus: idling()})
	r.setUp("ATE0")
	for _, c := range [][2]string{
		{"ATSP06", "6"}, {"ATSPA6", "A6"}, {"ATSP6A", "A6"}, {"ATSP00", "A0"}, {"ATSP C", "C"},
	} {
		r.setUp(c[0])
		r.expect("ATDPN", c[1])
	}
	for _, c := range []string{"ATSP16", "ATSPF", "ATSP", "ATFCSD3", "ATFCSD30000000000000", "ATCF7", "ATCRA7GE", "ATSH7GE", "ATPP0CSV2"} {
		r.expect(c, "?")
	}
}

// A message of more than 63 bytes has its length in a byte of its own (ISO 14230-2; check byte recomputed).
func TestLongKWPMessage(t *testing.T) {
	data := make([]byte, 70)
	for i := range data {
		data[i] = byte(i)
	}
	got := appendOlder(nil, obd.KWPFast, 0x10, data)
	assert.Equal(t, []byte{0x80, 0xF1, 0x10, 70}, got[:4])
	assert.Equal(t, data, got[4:74])
	want := 0x80 + 0xF1 + 0x10 + 70 + 69*70/2
	assert.Equal(t, byte(want), got[74])
	assert.Len(t, got, 75)
}

// STmin: 00..7F milliseconds, F1..F9 hundreds of microseconds, reserved values as the longest (ISO 15765-2).
func TestSeparation(t *testing.T) {
	for b, want := range map[byte]time.Duration{
		0x00: 0, 0x14: 20 * time.Millisecond, 0x7F: 127 * time.Millisecond, 0xF1: 100 * time.Microsecond,
		0xF9: 900 * time.Microsecond, 0x80: 127 * time.Millisecond, 0xFA: 127 * time.Millisecond,
	} {
		assert.Equal(t, want, separation(b), "%02X", b)
	}
}

// With formatting off the PCI byte is the client's own: what is not a single frame asks nothing.
func TestRawFrames(t *testing.T) {
	r, bus := connected(t, Config{})
	r.setUp("ATCAF0")
	r.expect("02010D", "7E803410D5300000000")
	r.expect("300000", "NO DATA")
	require.Equal(t, []string{"010D"}, bus.asked)
}

func TestWideFlowHeader(t *testing.T) {
	bus := idling()
	bus.protocol = obd.CAN29At500
	r := newRig(t, Config{Bus: bus})
	r.setUp("ATE0", "ATSP7", "ATFCSH18DA10F1", "ATFCSD300000", "ATFCSM1")
	got, _ := r.say("0902")
	require.Equal(t, "014 \r0: 49 02 01 31 44 34 \r1: 47 50 30 30 52 35 35 \r2: 42 31 32 33 34 35 36 \r\r>", got)
	r.setUp("ATSHDB44F1")
	r.expect("010D", "NO DATA")
}

// Eight modules have identifiers of their own on 11 bits (ISO 15765-4); a ninth answers from the next, and cannot be asked
// alone.
func TestNineModules(t *testing.T) {
	var all []car.Answer
	for i := range 9 {
		all = append(all, says(byte(0x10+8*i), 5+i, "41 0D 00"))
	}
	bus := &bench{protocol: obd.CAN11At500, table: map[string][]car.Answer{"010D": all}}
	r := newRig(t, Config{Bus: bus})
	r.setUp("ATE0", "ATH1", "ATS0", "ATSP6")
	var want []string
	for i := range 9 {
		want = append(want, fmt.Sprintf("%X03410D00", 0x7E8+i))
	}
	r.expect("010D", strings.Join(want, "\r"))
	r.setUp("ATSH7E3")
	r.expect("010D", "7EB03410D00")
	require.Equal(t, []byte{0, 0x28}, bus.nodes)
}

// More than ISO-TP can carry is not sent at all.
func TestTooLongForCAN(t *testing.T) {
	bus := &bench{protocol: obd.CAN11At500, table: map[string][]car.Answer{"010D": {says(0x10, 5, strings.Repeat("41", 4096))}}}
	r := newRig(t, Config{Bus: bus})
	r.setUp("ATE0", "ATSP6")
	r.expect("010D", "NO DATA")
}

// A session that runs for hours costs no memory.
func TestExchangeCostsNoMemory(t *testing.T) {
	clk := clock.NewStepped(noon)
	bus := &still{says(0x10, 8, "41 0C 0B B1 04 51 0D 00 05 7B 11 2A")}
	l := NewLink(NewAdapter(Config{Bus: bus, Baud: 115200}), clk)
	buf, request := make([]byte, 512), []byte("010C040D0511\r")
	exchange := func() {
		_, _ = l.Write(request)
		_ = l.SetReadDeadline(clk.Now().Add(10 * time.Second))
		for n := 0; n == 0 || buf[n-1] != '>'; {
			var err error
			if n, err = l.Read(buf); err != nil {
				t.Fatal(err)
			}
		}
	}
	exchange()
	require.Zero(t, testing.AllocsPerRun(200, exchange))
}
