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

// idling is a car with two modules that answers a handful of requests.
func idling() *bench {
	return &bench{protocol: obd.CAN11At500, table: map[string][]car.Answer{
		"0100": {says(0x10, 8, "41 00 BE 3F B8 13"), says(0x18, 11, "41 00 80 00 00 01")},
		"010D": {says(0x10, 6, "41 0D 53")},
		"0902": {says(0x10, 12, "49 02 01 31 44 34 47 50 30 30 52 35 35 42 31 32 33 34 35 36")},
	}}
}

// connected is a rig on an idling car, its adapter set up as a program would and the protocol found.
func connected(t *testing.T, cfg Config) (*rig, *bench) {
	t.Helper()
	bus := idling()
	cfg.Bus = bus
	r := newRig(t, cfg)
	r.setUp("ATE0", "ATS0", "ATH1")
	r.say("0100")
	bus.asked, bus.nodes = nil, nil
	return r, bus
}

// Replies of section 8 of the fact sheet (source there: ELM327 data sheet pp. 10-29, elm_wifi.py).
func TestReplies(t *testing.T) {
	r := newRig(t, Config{Bus: idling(), Baud: 115200})
	r.expect("ATZ", "ATZ\r\r\rELM327 v2.2")
	r.expect("ATE0", "ATE0\rOK")
	for _, c := range [][2]string{
		{"ATZ", "\r\rELM327 v2.2"}, {"ATE0", "ATE0\rOK"}, // echo is on again after a reset
		{"ATI", "ELM327 v2.2"},
		{"at i", "ELM327 v2.2"}, // case and spaces do not matter
		{"AT@1", "OBDII to RS232 Interpreter"},
		{"ATRV", "12.3V"},
		{"ATIGN", "ON"},
		{"ATDP", "AUTO"}, {"ATDPN", "A0"},
		{"ATL0", "OK"}, {"ATS0", "OK"}, {"ATS1", "OK"}, {"ATH1", "OK"}, {"ATH0", "OK"},
		{"ATCAF0", "OK"}, {"ATCAF1", "OK"}, {"ATAL", "OK"}, {"ATNL", "OK"},
		{"ATAT0", "OK"}, {"ATAT1", "OK"}, {"ATAT2", "OK"}, {"ATAT3", "?"},
		{"ATST32", "OK"}, {"ATST 00", "OK"}, {"ATST", "?"}, {"ATST123", "?"},
		{"ATSP6", "OK"}, {"ATDPN", "6"}, {"ATDP", "ISO 15765-4 (CAN 11/500)"},
		{"ATSPA3", "OK"}, {"ATDPN", "A3"}, {"ATDP", "AUTO, ISO 9141-2"},
		{"ATSPG", "?"}, {"ATSPD", "?"}, {"ATTP7", "OK"}, {"ATDPN", "7"}, {"ATTPA0", "OK"}, {"ATSP0", "OK"},
		{"ATSH7E0", "OK"}, {"ATSH DA 10 F1", "OK"}, {"ATSH18DB33F1", "OK"}, {"ATSH7E", "?"},
		{"ATCRA7E8", "OK"}, {"ATCRA 7EX", "OK"}, {"ATCRA", "OK"}, {"ATAR", "OK"}, {"ATCRA7", "?"},
		{"ATCF7E8", "OK"}, {"ATCM7FF", "OK"}, {"ATCP18", "OK"},
		{"ATFCSM1", "?"}, {"ATFCSH7E0", "OK"}, {"ATFCSD300000", "OK"}, {"ATFCSM1", "OK"}, {"ATFCSM0", "OK"},
		{"ATCFC0", "OK"}, {"ATCFC1", "OK"}, {"ATR0", "OK"}, {"ATR1", "OK"},
		{"ATSW92", "OK"}, {"ATWM C133F13E", "OK"}, {"ATKW0", "OK"}, {"ATIB10", "OK"}, {"ATIB11", "?"},
		{"ATM0", "OK"}, {"ATSS", "OK"}, {"ATCSM1", "OK"}, {"ATAMT20", "OK"}, {"ATFE", "OK"}, {"ATPC", "OK"},
		{"ATPP 0C SV 23", "OK"}, {"ATPP 0C ON", "OK"}, {"ATPP0C", "?"},
		{"ATBRD10", "?"}, {"ATXYZ", "?"}, {"AT", "?"},
		{"ATD", "OK"}, // defaults, echo included
		{"ATWS", "ATWS\r\r\rELM327 v2.2"},
	} {
		r.expect(c[0], c[1])
	}
	got, _ := r.say("ATPPS")
	assert.Equal(t, 1+12+1, strings.Count(got, "\r"), "echo, twelve lines, a blank one")
}

func TestNotHexadecimal(t *testing.T) {
	r, bus := connected(t, Config{})
	for _, c := range []string{"F", "01 0G", ".", "0102030405060708", strings.Repeat("0", 300), "XX"} {
		r.expect(c, "?")
	}
	require.Empty(t, bus.asked)
	r.setUp("ATAL")
	r.expect("0102030405060708", "NO DATA")
	require.Equal(t, []string{"0102030405060708"}, bus.asked)
}

func TestLoneReturnRepeats(t *testing.T) {
	r := newRig(t, Config{Bus: idling()})
	r.expect("", "\r?")
	r.setUp("ATE0")
	r.expect("", "OK")
	r.expect("ATDPN", "A0")
	r.expect("", "A0")
}

func TestEcho(t *testing.T) {
	r := newRig(t, Config{Bus: idling(), Baud: 9600})
	_, err := r.link.Write([]byte("at"))
	require.NoError(t, err)
	got := make([]byte, 16)
	n, err := r.link.Read(got)
	require.NoError(t, err)
	require.Equal(t, "at", string(got[:n]), "characters come back as they are typed, before the command is done")
	require.Equal(t, 3*(time.Second/960), r.clk.Now().Sub(noon), "two in, and the last one out: ten bits each at 9600")
	r.expect(" i", " i\rELM327 v2.2")
	r.setUp("ATE0", "ATL1")
	got2, _ := r.say("ATE1")
	require.Equal(t, "OK\r\n\r\n>", got2)
	got2, _ = r.say("ATI")
	require.Equal(t, "ATI\r\nELM327 v2.2\r\n\r\n>", got2)
}

func TestSearch(t *testing.T) {
	for _, p := range []obd.Protocol{1, 2, 3, 4, 5, 6, 7, 8, 9} {
		t.Run(p.String(), func(t *testing.T) {
			bus := idling()
			bus.protocol = p
			r := newRig(t, Config{Bus: bus, Baud: 115200})
			r.setUp("ATE0")
			took := r.expect("010D", "SEARCHING...\r41 0D 53 ")
			if p.CAN() {
				assert.GreaterOrEqual(t, took, 800*time.Millisecond)
				assert.LessOrEqual(t, took, 3*time.Second)
			}
			assert.LessOrEqual(t, took, 10*time.Second)
			r.expect("ATDPN", "A"+string('0'+byte(p)))
			r.expect("010D", "41 0D 53 ")
			got, _ := r.say("ATZ")
			require.Contains(t, got, "ELM327")
			r.setUp("ATE0")
			r.expect("ATDPN", "A"+string('0'+byte(p)))
			again := r.expect("010D", "SEARCHING...\r41 0D 53 ")
			assert.Less(t, again, time.Second, "the protocol found is remembered and tried first")
		})
	}
}

func TestNobodyHome(t *testing.T) {
	bus := idling()
	bus.asleep = true
	r := newRig(t, Config{Bus: bus, Baud: 115200})
	r.setUp("ATE0")
	r.expect("ATIGN", "OFF")
	took := r.expect("0100", "SEARCHING...\rUNABLE TO CONNECT")
	assert.Greater(t, took, 3*time.Second)
	r.expect("ATDPN", "A0")
	for command, want := range map[string]string{
		"ATSP6": "CAN ERROR", "ATSP9": "CAN ERROR", "ATSPB": "CAN ERROR", "ATSP1": "NO DATA", "ATSP2": "NO DATA",
		"ATSP3": "BUS INIT: ...ERROR", "ATSP4": "BUS INIT: ...ERROR", "ATSP5": "BUS INIT: ...ERROR",
	} {
		r.setUp(command)
		r.expect("0100", want)
	}
	require.Empty(t, bus.asked)
}

// A protocol set by hand that is not the car's: no acknowledge at another speed, acknowledged but not
// understood with identifiers of the other width.
func TestWrongProtocol(t *testing.T) {
	r := newRig(t, Config{Bus: idling()})
	r.setUp("ATE0", "ATSP8")
	r.expect("0100", "CAN ERROR")
	r.setUp("ATSP7")
	r.expect("0100", "NO DATA")
	r.setUp("ATSP5")
	r.expect("0100", "BUS INIT: ...ERROR")
	r.setUp("ATSP6")
	r.expect("010D", "41 0D 53 ")
}

func TestIgnitionTurnedOff(t *testing.T) {
	r, bus := connected(t, Config{})
	bus.asleep = true
	r.expect("010D", "CAN ERROR")
	r.expect("010D", "SEARCHING...\rUNABLE TO CONNECT")
	bus.asleep = false
	r.expect("010D", "SEARCHING...\r7E803410D53")
}

// "BUS INIT: ...OK" after a slow start, "BUS INIT: OK" after a fast one (ELM327 data sheet p. 33).
func TestBusInit(t *testing.T) {
	for p, want := range map[obd.Protocol]string{obd.ISO9141: "BUS INIT: ...OK", obd.KWP5Baud: "BUS INIT: ...OK", obd.KWPFast: "BUS INIT: OK"} {
		bus := idling()
		bus.protocol = p
		r := newRig(t, Config{Bus: bus, Baud: 38400})
		r.setUp("ATE0", "ATSP"+string('0'+byte(p)))
		r.expect("010D", want+"\r41 0D 53 ")
		r.expect("010D", "41 0D 53 ")
		r.clk.Advance(time.Minute)
		r.expect("010D", "41 0D 53 ") // kept awake
		r.setUp("ATSW00")
		r.clk.Advance(time.Minute)
		r.expect("010D", want+"\r41 0D 53 ")
		r.setUp("ATPC")
		r.expect("010D", want+"\r41 0D 53 ")
	}
}

// Before CAN every message is an answer of its own: a VIN is five (ELM327 data sheet p. 42).
func TestVINBeforeCAN(t *testing.T) {
	bus := &bench{protocol: obd.ISO9141, table: map[string][]car.Answer{"0902": {
		says(0x10, 40, "49 02 01 00 00 00 31"), says(0x10, 90, "49 02 02 44 34 47 50"), says(0x10, 140, "49 02 03 30 30 52 35"),
		says(0x10, 190, "49 02 04 35 42 31 32"), says(0x10, 240, "49 02 05 33 34 35 36"),
	}}}
	r := newRig(t, Config{Bus: bus, Baud: 38400})
	r.setUp("ATE0", "ATSP3")
	r.say("0100")
	all := "49 02 01 00 00 00 31 \r49 02 02 44 34 47 50 \r49 02 03 30 30 52 35 \r49 02 04 35 42 31 32 \r49 02 05 33 34 35 36 "
	waited := r.expect("0902", all)
	counted := r.expect("09025", all)
	assert.Less(t, counted, waited)
	r.expect("09021", "49 02 01 00 00 00 31 ")
}
