package sim

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stumble/obd"
	"stumble/obd/sim/car"
)

func idling() *bench {
	return &bench{protocol: obd.CAN11At500, table: map[string][]car.Answer{
		"0100":     {says(0x10, 8, "41 00 BE 3F B8 13"), says(0x18, 11, "41 00 80 00 00 01")},
		"010D":     {says(0x10, 6, "41 0D 53")},
		"010C0D04": {says(0x10, 6, "41 0C 0B B1 0D 00 04 51")},
		"0902":     {says(0x10, 12, "49 02 01 31 44 34 47 50 30 30 52 35 35 42 31 32 33 34 35 36")},
	}}
}

func TestFirstWords(t *testing.T) {
	r := newRig(t, Config{Bus: idling(), Baud: 115200})
	r.expect("ATZ", "ATZ\r\r\rELM327 v2.2")
	r.expect("ATE0", "ATE0\rOK")
	r.expect("ATS0", "OK")
	r.expect("ATH1", "OK")
	r.expect("ATDPN", "A0")
	r.expect("0100", "SEARCHING...\r7E8064100BE3FB813\r7E906410080000001")
	r.expect("ATDPN", "A6")
	r.expect("010D", "7E803410D53")
	r.expect("", "7E803410D53")
	took := r.expect("010D1", "7E803410D53")
	require.Less(t, took, 12*time.Millisecond)
	r.expect("0902", "7E81014490201314434\r7E82147503030523535\r7E82242313233343536")
	r.expect("01FF", "NO DATA")
	r.expect("F", "?")
	r.expect("01 0G", "?")
}
