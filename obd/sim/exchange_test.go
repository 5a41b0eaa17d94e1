package sim

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd"
	"stumble/obd/sim/car"
)

// The time-out (ELM327 data sheet, AT ST and AT AT): fixed with AT0, shortened to what the car needs with
// AT1 and AT2, skipped when a count digit tells how many lines will come.
func TestWaiting(t *testing.T) {
	r, _ := connected(t, Config{Baud: 115200})
	lasts := func(request string) time.Duration {
		for range 8 {
			r.say(request)
		}
		_, took := r.say(request)
		return took
	}
	r.setUp("ATAT0")
	fixed := lasts("010D")
	assert.InDelta(t, 208, fixed.Seconds()*1000, 5, "answer after 6 ms, then 200")
	r.setUp("ATST19") // 25 x 4 ms
	assert.InDelta(t, 108, lasts("010D").Seconds()*1000, 5)
	r.setUp("ATST00", "ATAT1")
	careful := lasts("010D")
	r.setUp("ATAT2")
	eager := lasts("010D")
	counted := lasts("010D1")
	assert.Less(t, careful, 70*time.Millisecond)
	assert.Less(t, eager, careful)
	assert.Less(t, counted, 12*time.Millisecond)
	r.setUp("ATST04")
	assert.Less(t, lasts("010D"), 30*time.Millisecond, "ST bounds what was learned")
}

func TestNoDataTakesTheTimeout(t *testing.T) {
	r, _ := connected(t, Config{})
	r.setUp("ATAT0")
	assert.InDelta(t, 200, r.expect("01FF", "NO DATA").Seconds()*1000, 5)
	r.setUp("ATSTFF")
	assert.InDelta(t, 1020, r.expect("01FF", "NO DATA").Seconds()*1000, 5)
}

// A patience that proved too short grows again.
func TestNoDataTeachesPatience(t *testing.T) {
	r, bus := connected(t, Config{})
	for range 10 {
		r.say("010D")
	}
	bus.table["010D"] = []car.Answer{says(0x10, 150, "41 0D 53")}
	answered := 0
	for range 12 {
		if got, _ := r.say("010D"); strings.Contains(got, "410D53") {
			answered++
		}
	}
	require.GreaterOrEqual(t, answered, 8)
}

func TestCountDigit(t *testing.T) {
	r, _ := connected(t, Config{})
	r.expect("01001", "7E8064100BE3FB813")
	r.expect("010D1", "7E906410080000001") // the other module's answer to 0100, which nobody waited for
	r.clk.Advance(time.Second)
	r.expect("0100 2", "7E8064100BE3FB813\r7E906410080000001")
	r.expect("09023", "7E81014490201314434\r7E82147503030523535\r7E82242313233343536")
	r.expect("09021", "7E81014490201314434")
}

func TestPhysicalAddress(t *testing.T) {
	r, bus := connected(t, Config{})
	r.setUp("ATSH7E0")
	r.expect("0100", "7E8064100BE3FB813")
	r.setUp("ATSH7E1")
	r.expect("0100", "7E906410080000001")
	r.setUp("ATSH7E5")
	r.expect("0100", "NO DATA")
	r.setUp("ATSH7DF")
	r.expect("0100", "7E8064100BE3FB813\r7E906410080000001")
	require.Equal(t, []byte{0x10, 0x18, 0}, bus.nodes, "nobody listens at 7E5")

	wide := idling()
	wide.protocol = obd.CAN29At500
	w := newRig(t, Config{Bus: wide})
	w.setUp("ATE0", "ATH1", "ATS0", "ATSP7", "ATSHDA18F1")
	w.expect("0100", "18DAF11806410080000001")
	w.setUp("ATSH18DA10F1")
	w.expect("0100", "18DAF110064100BE3FB813")
	w.setUp("ATSHDB33F1")
	w.expect("01001", "18DAF110064100BE3FB813")
	require.Equal(t, []byte{0x18, 0x10, 0}, wide.nodes)

	older := idling()
	older.protocol = obd.J1850VPW
	o := newRig(t, Config{Bus: older})
	o.setUp("ATE0", "ATSP2", "ATSH6C18F1")
	o.say("0100")
	o.setUp("ATSH686AF1")
	o.say("0100")
	require.Equal(t, []byte{0x18, 0}, older.nodes)
}

func TestReceiveFilter(t *testing.T) {
	r, _ := connected(t, Config{})
	for _, c := range [][2]string{
		{"ATCRA7E8", "7E8064100BE3FB813"}, {"ATCRA7E9", "7E906410080000001"}, {"ATCRA7EX", "7E8064100BE3FB813\r7E906410080000001"},
		{"ATCRA7EA", "NO DATA"}, {"ATCRA", "7E8064100BE3FB813\r7E906410080000001"},
	} {
		r.setUp(c[0])
		r.expect("0100", c[1])
	}
	r.setUp("ATCF7E9", "ATCM7FF")
	r.expect("0100", "7E906410080000001")
	r.setUp("ATAR")
	r.expect("01001", "7E8064100BE3FB813")
}

// Without flow control a module sends its first frame and no more (ISO 15765-2).
func TestFlowControl(t *testing.T) {
	r, _ := connected(t, Config{})
	first, whole := "7E81014490201314434", "7E81014490201314434\r7E82147503030523535\r7E82242313233343536"
	r.setUp("ATCFC0")
	r.expect("0902", first)
	r.setUp("ATCFC1")
	r.expect("0902", whole)
	r.setUp("ATFCSH7E1", "ATFCSD300000", "ATFCSM1")
	r.expect("0902", first)
	r.setUp("ATFCSH7E0")
	r.expect("0902", whole)
	quick := r.expect("09023", whole)
	r.setUp("ATFCSD300014", "ATFCSM2") // 20 ms between frames
	slow := r.expect("09023", whole)
	assert.InDelta(t, 40, (slow-quick).Seconds()*1000, 2)
	r.setUp("ATFCSD300100") // one frame and no more
	r.expect("0902", "7E81014490201314434\r7E82147503030523535")
	r.setUp("ATFCSD32")
	r.expect("0902", first)
}

// Frames of several modules share the bus by time, one at a time.
func TestModulesInterleave(t *testing.T) {
	long := strings.Repeat("30 ", 40)
	bus := &bench{protocol: obd.CAN11At500, table: map[string][]car.Answer{"0904": {
		says(0x10, 10, "49 04 01 "+long), says(0x18, 10, "49 04 01 "+long), says(0x28, 11, "7F 09 11")}}}
	r := newRig(t, Config{Bus: bus})
	r.setUp("ATE0", "ATH1", "ATS0")
	got, _ := r.say("0904")
	lines := strings.Split(strings.TrimSuffix(got, "\r\r>"), "\r")[1:]
	require.Len(t, lines, 7+7+1)
	assert.Equal(t, "7E8102B490401303030", lines[0])
	assert.Equal(t, "7E9102B490401303030", lines[1])
	var order strings.Builder
	next := map[string]int{"7E8": 0, "7E9": 0, "7EA": 0}
	for _, line := range lines {
		id := line[:3]
		order.WriteByte(id[2])
		if id != "7EA" && next[id] > 0 {
			assert.Equal(t, byte("0123456789ABCDEF"[next[id]]), line[4], "frames of one module stay in order")
		}
		next[id]++
	}
	assert.Equal(t, map[string]int{"7E8": 7, "7E9": 7, "7EA": 1}, next)
	assert.Contains(t, order.String()[2:], "A", "the short answer comes in between")
	assert.Contains(t, order.String(), "898", "and the long ones alternate")
}

// An answer that comes after the adapter gave up shows in the next exchange, if that is when it comes.
func TestLateAnswer(t *testing.T) {
	r, bus := connected(t, Config{})
	r.setUp("ATAT0", "ATST0A") // 40 ms
	bus.table["0101"] = []car.Answer{says(0x10, 8, "7F 01 78"), says(0x10, 60, "41 01 00 07 65 04")}
	r.expect("0101", "7E8037F0178")
	r.expect("010D", "7E806410100076504\r7E803410D53")
	r.expect("010D", "7E803410D53")
	r.expect("0101", "7E8037F0178")
	r.clk.Advance(time.Second)
	r.expect("010D", "7E803410D53")
}

func TestStopped(t *testing.T) {
	r, bus := connected(t, Config{Baud: 115200})
	bus.table["0101"] = []car.Answer{says(0x10, 50, "41 01 00 07 65 04")}
	_, err := r.link.Write([]byte("0101\r"))
	require.NoError(t, err)
	r.clk.Advance(20 * time.Millisecond)
	r.expect("ATZ", "STOPPED") // the first byte interrupts, the others come before the prompt and are lost
	r.silence(time.Second)

	_, err = r.link.Write([]byte("01FF\r"))
	require.NoError(t, err)
	r.clk.Advance(20 * time.Millisecond)
	_, err = r.link.Write([]byte("."))
	require.NoError(t, err)
	require.Equal(t, "STOPPED\r\r>", r.toPrompt())
	r.expect("010D", "7E803410D53")
}

// What was there when the byte came is still sent; what comes on the bus later may show in the next exchange.
func TestStoppedBetweenAnswers(t *testing.T) {
	r, bus := connected(t, Config{})
	bus.table["0101"] = []car.Answer{says(0x10, 5, "41 01 00 07 65 04"), says(0x18, 30, "41 01 00 04 00 00")}
	_, err := r.link.Write([]byte("0101\r"))
	require.NoError(t, err)
	r.clk.Advance(20 * time.Millisecond)
	r.expect(".", "7E806410100076504\rSTOPPED")
	r.expect("010D", "7E803410D53\r7E906410100040000")
}

func TestStoppedSearch(t *testing.T) {
	r := newRig(t, Config{Bus: idling()})
	r.setUp("ATE0")
	_, err := r.link.Write([]byte("0100\r"))
	require.NoError(t, err)
	r.clk.Advance(200 * time.Millisecond)
	r.expect(".", "SEARCHING...\rSTOPPED")
	r.expect("ATDPN", "A0")
	_, err = r.link.Write([]byte("ATMA\r"))
	require.NoError(t, err)
	r.silence(time.Minute)
	r.expect(".", "STOPPED")
}

// Bytes sent while a setting is being made are lost: the prompt is the only sign that the next may come.
func TestSentTooEarly(t *testing.T) {
	r, _ := connected(t, Config{Baud: 115200})
	r.expect("ATS1\rATH0", "OK")
	r.silence(time.Second)
	r.expect("010D", "7E8 03 41 0D 53 ")
}

func TestLowPower(t *testing.T) {
	r, _ := connected(t, Config{})
	r.setUp("ATLP")
	r.expect(" ", "\r\rELM327 v2.2")
	r.expect("ATI", "ATI\rELM327 v2.2")
}

func TestResponsesOff(t *testing.T) {
	r, bus := connected(t, Config{})
	r.setUp("ATR0")
	got, took := r.say("010D")
	require.Equal(t, "\r>", got)
	require.Less(t, took, 2*time.Millisecond)
	require.Equal(t, []string{"010D"}, bus.asked)
}

// The chip's transmit buffer of 512 bytes overruns when a car says more than a slow line can carry.
func TestBufferFull(t *testing.T) {
	bus := &bench{protocol: obd.CAN11At500, table: map[string][]car.Answer{
		"06A2": {says(0x10, 8, "46"+strings.Repeat("A20C240000000000FF", 20))}}}
	r := newRig(t, Config{Bus: bus, Baud: 9600})
	r.setUp("ATE0", "ATH1")
	got, _ := r.say("06A2")
	require.Contains(t, got, "7E8 10 B5 46")
	require.True(t, strings.HasSuffix(got, "\rBUFFER FULL\r\r>"), got)
	require.Less(t, strings.Count(got, "\r"), 24)
	r.setUp("ATS0", "ATFCSD300019", "ATFCSM2") // shorter lines, 25 ms apart
	got, _ = r.say("06A2")
	require.NotContains(t, got, "FULL")
	require.Equal(t, 25, strings.Count(got, "7E82"), "(181-6)/7 consecutive frames")
}
