package obd

import (
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"testing"
)

// TestCheckDigit: 1M8GDM9AXKP042788 is the widely published worked example of the check digit of 49 CFR
// 565.15(c) (from memory); seventeen ones add up to one, which is easy to see.
func TestCheckDigit(t *testing.T) {
	for vin, want := range map[string]bool{
		"1M8GDM9AXKP042788": true, "11111111111111111": true,
		"1M8GDM9A1KP042788": false, "1M8GDM9AXKP042789": false, "1M8GDM9AXKP042798": false,
	} {
		got, err := ValidVIN(vin)
		must(t, err)
		same(t, vin, got, want)
	}
	// Any one digit changed in the example's serial number is found: no weight there is a multiple of 11.
	for i := 12; i < 17; i++ {
		for d := '0'; d <= '9'; d++ {
			vin := []byte("1M8GDM9AXKP042788")
			changed := vin[i] != byte(d)
			vin[i] = byte(d)
			got, err := ValidVIN(string(vin))
			must(t, err)
			same(t, string(vin), got, !changed)
		}
	}
	for _, wrong := range []string{"", "1M8GDM9AXKP04278", "1M8GDM9AXKP0427888", "IM8GDM9AXKP042788", "OM8GDM9AXKP042788", "QM8GDM9AXKP042788", "1m8GDM9AXKP042788", "1M8GDM9AXKP04278 ", "1M8GDM9AXKP04278é"} {
		if _, err := ValidVIN(wrong); err == nil {
			t.Errorf("%q: no error", wrong)
		}
	}
}

func messages(t *testing.T, answers string) []Message {
	t.Helper()
	var out []Message
	for s := range strings.SplitSeq(answers, "|") {
		out = append(out, message(t, s))
	}
	return out
}

const vinPieces = "49020100000031|49020244344750|49020330305235|49020435423132|49020533343536"

func TestVIN(t *testing.T) {
	const can = "4902013144344750303052353542313233343536"
	tests := []struct {
		name     string
		protocol Protocol
		answers  string
		want     string
		wrong    bool
	}{
		{"pieces in another order", J1850VPW, "49020533343536|49020330305235|49020244344750|49020435423132|49020100000031", "1D4GP00R55B123456", false},
		{"a piece twice", J1850VPW, vinPieces + "|49020330305235", "1D4GP00R55B123456", false},
		{"a piece twice, different", J1850VPW, vinPieces + "|49020330305236", "", true},
		{"a piece missing in the middle", J1850VPW, "49020100000031|49020244344750|49020435423132|49020533343536", "", true},
		{"the last piece missing", J1850VPW, "49020100000031|49020244344750|49020330305235|49020435423132", "1D4GP00R55B12", true},
		{"a short piece", J1850VPW, "490201000031", "", true},
		{"a piece numbered zero", J1850VPW, "49020000000031", "", true},
		{"waiting first", CAN11At500, "7F0978|" + can, "1D4GP00R55B123456", false},
		{"twice the same", CAN11At500, can + "|" + can, "1D4GP00R55B123456", false},
		{"twice, different", CAN11At500, can + "|4902013144344750303052353542313233343537", "", true},
		{"other answers beside it", CAN11At500, "410C1AF8|" + can, "1D4GP00R55B123456", false},
		{"one character short", CAN11At500, "49020131443447503030523535423132333435", "1D4GP00R55B12345", true},
		{"never written", CAN11At500, "490201" + strings.Repeat("FF", 17), "", true},
		{"no count", CAN11At500, "4902", "", true},
		{"nothing", CAN11At500, "410C1AF8", "", true},
		{"bus not known", ProtocolUnknown, can, "", true},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			vin, err := DecodeVIN(test.protocol, messages(t, test.answers))
			same(t, "an error", err != nil, test.wrong)
			same(t, "VIN", vin, test.want)
		})
	}
	if _, err := DecodeVIN(CAN11At500, nil); err == nil {
		t.Error("no messages: no error")
	}
	_, err := DecodeVIN(CAN11At500, messages(t, "7F0911"))
	var refusal NegativeResponse
	same(t, "a refusal is told", errors.As(err, &refusal) && refusal.Unsupported(), true)
}

func TestModulesAreNotMixed(t *testing.T) {
	other := Module{ID: 0x7E9, Bits: 11}
	msgs := messages(t, vinPieces)
	msgs[2].Module = other
	_, err := DecodeVIN(J1850VPW, msgs)
	same(t, "an error", err != nil, true)
	same(t, "messages of the first", len(ModuleMessages(msgs, msgs[0].Module)), 4)
	same(t, "messages of the other", len(ModuleMessages(msgs, other)), 1)
}

func TestInfoItems(t *testing.T) {
	legacy := "49040135363032|49040238393439|49040341430000|49040400000000"
	ids, err := DecodeCalibrations(KWPFast, messages(t, legacy))
	must(t, err)
	same(t, "calibrations before CAN", strings.Join(ids, " "), "56028949AC")
	ids, err = DecodeCalibrations(KWPFast, messages(t, legacy+"|49040535363032"))
	same(t, "an item cut short", err != nil, true)
	same(t, "kept", strings.Join(ids, " "), "56028949AC")
	_, err = DecodeCalibrations(CAN11At500, messages(t, "490402"+strings.Repeat("41", 16)))
	same(t, "fewer than counted", err != nil, true)

	cvns, err := DecodeCVNs(ISO9141, messages(t, "4906010000ABCD|49060241424344"))
	must(t, err)
	same(t, "numbers before CAN", fmt.Sprint(cvns), "[0000ABCD 41424344]")
	text, err := json.Marshal(cvns)
	must(t, err)
	same(t, "JSON", string(text), `["0000ABCD","41424344"]`)

	acronym, name, err := DecodeECUName(J1850VPW, messages(t, "490A0145434D00|490A022D456E67|490A03696E6520|490A04436F6E74|490A05726F6C00"))
	must(t, err)
	same(t, "name before CAN", acronym+"/"+name, "ECM/Engine Control")
	_, _, err = DecodeECUName(CAN11At500, messages(t, "490A0145434D"))
	same(t, "a short name", err != nil, true)
	acronym, _, err = DecodeECUName(CAN11At500, messages(t, "490A00"))
	must(t, err)
	same(t, "none", acronym, "")
}

func TestRefusals(t *testing.T) {
	// ISO 14230-3 and ISO 15031-5; 31, 33 and 7F from memory.
	kinds := map[byte]string{
		0x10: "unsupported", 0x11: "unsupported", 0x12: "unsupported", 0x31: "unsupported", 0x7F: "unsupported",
		0x21: "busy", 0x22: "conditions", 0x78: "pending",
	}
	meanings := map[string]bool{}
	for code := range 256 {
		n, ok := DecodeNegative(message(t, fmt.Sprintf("7F 04 %02X", code)))
		same(t, "a refusal", ok, true)
		kind := ""
		for name, is := range map[string]bool{"unsupported": n.Unsupported(), "busy": n.Busy(), "conditions": n.ConditionsNotCorrect(), "pending": n.Pending()} {
			if is {
				kind += name
			}
		}
		same(t, fmt.Sprintf("code %02X", code), kind, kinds[byte(code)])
		meanings[n.Meaning()] = true
	}
	same(t, "different meanings", len(meanings), 12)
	n, _ := DecodeNegative(message(t, "7F 04 22"))
	same(t, "the error", n.Error(), "module 7E8 refused service 04: conditions not correct (code 22)")
	for _, none := range []string{"", "7F", "7F 04", "44"} {
		if _, ok := DecodeNegative(message(t, none)); ok {
			t.Errorf("%s is taken for a refusal", none)
		}
	}
}

func TestAnswers(t *testing.T) {
	tests := []struct {
		request Request
		answer  string
		want    bool
	}{
		{Live(PIDRPM), "41 0C 1A F8", true},
		{Live(PIDRPM), "41 0D 40", false},
		{Live(PIDRPM, PIDSpeed), "41 0D 40 0C 1A F8", true},
		{Live(PIDRPM, PIDSpeed), "41 0D 40", true},
		{Live(PIDRPM), "41 0C 1A F8 0D 40", false},
		{Live(PIDRPM, PIDLoad), "41 0C 1A F8 0D 40", false},
		{Live(PIDRPM), "41 0C 1A F8 00 00 00", true},
		{Live(PIDRPM), "41 0C 1A", true},
		{Live(PIDSpeed), "41 0C 1A", false},
		{Live(0xB0), "41 B0 01 02", true},
		{Live(PIDRPM), "41 B0 01 02", false},
		{Live(PIDRPM), "41", false},
		{Live(PIDRPM), "", false},
		{Live(PIDRPM), "7F 01 12", true},
		{Live(PIDRPM), "7F 06 12", false},
		{Live(PIDRPM), "7F 01", false},
		{Live(PIDRPM), "46 0C", false},
		{Live(0x00, 0x20), "41 20 80 00 00 00", true},
		{Frozen(PIDRPM, 0), "42 0C 00 20 80", true},
		{Frozen(PIDRPM, 0), "42 0C 01 20 80", false},
		{Frozen(PIDRPM, 0), "42 0D 00 20", false},
		{Frozen(PIDRPM, 0), "42 0C", false},
		{NewRequest(FreezeFrames, PIDRPM, 0, PIDLoad, 0), "42 04 00 80 0C 00 20 80", true},
		{Test(0xA2), "46 A2 0C 24 00 05 00 00 FF FF", true},
		{Test(0xA2), "46 A3 0C 24 00 05 00 00 FF FF", false},
		{Test(0xA2), "46", false},
		{Info(InfoVIN), "49 02 01 31", true},
		{Info(InfoVIN), "49 04 01 31", false},
		{NewRequest(StoredCodes), "43 00", true},
		{NewRequest(StoredCodes), "47 00", false},
		{NewRequest(PendingCodes), "47 00", true},
		{NewRequest(PermanentCodes), "4A 00", true},
		{NewRequest(ClearCodes), "44", true},
		{Request{}, "41 0C", false},
	}
	for _, test := range tests {
		same(t, fmt.Sprintf("%q answering %v", test.answer, test.request), Answers(test.request, message(t, test.answer)), test.want)
	}
}
