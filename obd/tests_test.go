package obd

import (
	"fmt"
	"strings"
	"testing"
)

// one decodes an answer of a single test.
func one(t *testing.T, record string) TestResult {
	t.Helper()
	results, err := DecodeTests(message(t, "46"+record))
	must(t, err)
	if len(results) != 1 {
		t.Fatalf("%d results", len(results))
	}
	return results[0]
}

// TestLimits: pass is min <= value <= max, signed by the scaling; the end of the range stands for no limit
// (SAE J1979, and a maker's manual that calls the limits of misfire counts "not applicable").
func TestLimits(t *testing.T) {
	tests := []struct {
		name, record                     string
		pass, minApplies, maxApplies, ok bool
	}{
		{"within", "01 05 10 0048 0000 0064", true, false, true, true},
		{"at the limit", "01 05 10 0064 0000 0064", true, false, true, true},
		{"above", "01 05 10 0065 0000 0064", false, false, true, true},
		{"below", "01 05 10 0009 000A 0064", false, true, true, true},
		{"a count never fails", "A2 0C 24 FFFE 0000 FFFF", true, false, false, true},
		{"7FFF is no limit either", "A2 0C 24 9000 0000 7FFF", true, false, false, true},
		{"signed within", "01 80 96 FFFF 8000 0001", true, false, true, true},
		{"signed below", "01 80 96 FFFE FFFF 0001", false, true, true, true},
		{"signed, no limits", "01 80 96 FFFE 8000 7FFF", true, false, false, true},
		{"signed, zero and 7FFF", "01 80 96 FFFE 0000 7FFF", true, false, false, true},
		{"signed, a real limit of zero", "01 80 96 FFFE 0000 0001", false, true, true, true},
		{"signed, FFFF is -1", "01 80 96 FFFE FFF0 FFFF", true, true, true, true},
		{"limits crossed", "01 80 96 0005 0000 FFFF", true, false, false, true},
		{"unknown scaling, unsigned", "01 80 7F 9000 0001 8000", false, true, true, false},
		{"unknown scaling, signed", "01 80 FF FFFF 8001 0000", true, true, true, false},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			r := one(t, test.record)
			same(t, "Pass", r.Pass, test.pass)
			same(t, "MinApplies", r.MinApplies, test.minApplies)
			same(t, "MaxApplies", r.MaxApplies, test.maxApplies)
			same(t, "Known", r.Known, test.ok)
			same(t, "NotRun", r.NotRun, false)
		})
	}
	r := one(t, "01 80 7F 9000 0001 8000")
	near(t, "a raw value", r.Value, 0x9000, 0)
	same(t, "a raw value's unit", r.Unit, NoUnit)
	near(t, "a raw signed value", one(t, "01 80 FF FFFF 8000 0000").Value, -1, 0)
	same(t, "saturated", one(t, "A2 0C 24 FFFF 0000 FFFF").Saturated(), true)
	same(t, "not saturated", one(t, "A2 0C 24 FFFE 0000 FFFF").Saturated(), false)
	same(t, "another unit at its end", one(t, "A2 80 30 FFFF 0000 FFFF").Saturated(), false)
}

func TestTestErrors(t *testing.T) {
	tests := []struct {
		name, answer string
		kept         int
	}{
		{"empty", "", 0},
		{"nothing in it", "46", 0},
		{"a bitmap", "46 A0 01 02 03 04", 0},
		{"two bitmaps", "46 00 00 00 00 00 20 00 00 00 00", 0},
		{"refused", "7F 06 31", 0},
		{"another service", "41 0C 1A F8", 0},
		{"cut short", "46 A2 0C 24 00 1F 00 00 FF", 0},
		{"second cut short", "46 A2 0C 24 00 1F 00 00 FF FF A2 0B 24", 1},
		{"all one byte and too short", "46 AA AA", 0},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			results, err := DecodeTests(message(t, test.answer))
			same(t, "an error", err != nil, true)
			same(t, "results kept", len(results), test.kept)
			readings, err := AppendCounts(nil, message(t, test.answer))
			same(t, "an error while polling", err != nil, true)
			same(t, "readings kept", len(readings), test.kept)
		})
	}
	results, err := DecodeTests(message(t, "46 A2 0C 24 00 1F 00 00 FF FF AA AA AA"))
	must(t, err)
	same(t, "padding is no error", len(results), 1)
}

func TestAppendCounts(t *testing.T) {
	tests := []struct{ name, records, want string }{
		{"both counts", "A2 0B 24 0003 0000 FFFF  A2 0C 24 001F 0000 FFFF", "A2.0B=3counts A2.0C=31counts"},
		{"zero, never run", "A2 0C 24 0000 0000 0000", "A2.0C=0counts"},
		{"saturated", "A2 0C 24 FFFF 0000 FFFF", "A2.0C=65535counts"},
		{"a count in another unit is not taken for a count", "A2 0C 30 001F 0000 FFFF", ""},
		{"maker's percent", "A2 80 30 1000 0000 2000", "A2.80=6.250496%"},
		{"unknown scaling", "A2 80 7F 1000 0000 2000", ""},
		{"whole engine", "A1 0C 24 0005 0000 FFFF", "A1.0C=5counts"},
		{"another monitor", "21 0C 24 0005 0000 FFFF", ""},
		{"cylinder 12", "AD 0C 24 0005 0000 FFFF", "AD.0C=5counts"},
		{"cylinder 16", "B1 0C 24 0005 0000 FFFF", "B1.0C=5counts"},
		{"a particulate filter", "B1 80 24 0005 0000 FFFF", ""},
		{"beyond", "B2 0C 24 0005 0000 FFFF", ""},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			readings, err := AppendCounts(nil, message(t, "46"+test.records))
			must(t, err)
			var got []string
			for _, r := range readings {
				same(t, "Service", r.Service, TestResults)
				got = append(got, fmt.Sprintf("%02X.%02X=%.7g%s", r.ID, r.Part, r.Value, r.Unit))
			}
			same(t, "readings", strings.Join(got, " "), test.want)
		})
	}
}

func TestMisfireCylinder(t *testing.T) {
	filter := []TestResult{{MID: 0xB0, TID: 0x80}, {MID: 0xB1, TID: TIDCount}}
	for mid := range 256 {
		want := 0
		switch {
		case mid >= 0xA2 && mid <= 0xAD: // SAE J1979, appendix D
			want = mid - 0xA1
		case mid == 0xB1: // carries counts here; B0 does not
			want = 16
		}
		got, ok := MisfireCylinder(byte(mid), filter)
		same(t, fmt.Sprintf("MID %02X", mid), got, want)
		same(t, fmt.Sprintf("MID %02X", mid), ok, want != 0)
	}
	for i, mid := range []byte{0xAE, 0xAF, 0xB0, 0xB1} {
		got, _ := MisfireCylinder(mid, []TestResult{{MID: mid, TID: TIDAverage}})
		same(t, fmt.Sprintf("MID %02X with counts", mid), got, 13+i)
	}
}

func TestNames(t *testing.T) {
	monitors := map[byte]string{
		0x01: "oxygen sensor 1 of bank 1", 0x06: "oxygen sensor 2 of bank 2", 0x10: "oxygen sensor 4 of bank 4",
		0x22: "catalyst of bank 2", 0x31: "exhaust recirculation of bank 1", 0x35: "valve timing of bank 1",
		0x39: "vapour leak, filler cap off", 0x3A: "vapour leak, 0.090 inch", 0x3B: "vapour leak, 0.040 inch",
		0x3C: "vapour leak, 0.020 inch", 0x3D: "purge flow", 0x41: "heater of oxygen sensor 1 of bank 1",
		0x50: "heater of oxygen sensor 4 of bank 4", 0x61: "heated catalyst of bank 1", 0x71: "secondary air 1",
		0x81: "fuel system of bank 1", 0x86: "boost pressure of bank 2", 0x90: "NOx adsorber of bank 1",
		0x99: "NOx catalyst of bank 2", 0xA1: "misfire of the whole engine", 0xA2: "misfire of cylinder 1",
		0xAD: "misfire of cylinder 12", 0xE1: "maker's monitor E1", 0xB1: "monitor B1", 0x11: "monitor 11",
	}
	for mid, want := range monitors {
		same(t, fmt.Sprintf("MID %02X", mid), MonitorName(mid), want)
	}
	tests := map[byte]string{
		0x0B: "misses, average of the last ten driving cycles", 0x0C: "misses, this driving cycle",
		0x80: "maker's test 80", 0xFE: "maker's test FE", 0xFF: "test FF", 0x00: "test 00", 0x0D: "test 0D",
	}
	for tid, want := range tests {
		same(t, fmt.Sprintf("TID %02X", tid), TestName(tid), want)
	}
	seen := map[string]bool{}
	for tid := range byte(0x0D) {
		seen[TestName(tid)] = true
	}
	same(t, "different names", len(seen), 13)
}

func TestLegacyTest(t *testing.T) {
	tests := []struct {
		answer string
		pass   bool
	}{
		{"46 06 03 00 5A 00 5A", true}, {"46 06 03 00 5B 00 5A", false}, // upper limit
		{"46 06 83 00 5A 00 5A", true}, {"46 06 83 00 59 00 5A", false}, // lower limit
	}
	for _, test := range tests {
		r, err := DecodeLegacyTest(message(t, test.answer))
		must(t, err)
		same(t, test.answer, r.Pass, test.pass)
		same(t, "Component", r.Component, 3)
	}
	for _, wrong := range []string{"46 06 03 00 5A 00", "46 06 03 00 5A 00 5A 00", "7F 06 11"} {
		if _, err := DecodeLegacyTest(message(t, wrong)); err == nil {
			t.Errorf("%s: no error", wrong)
		}
	}
}
