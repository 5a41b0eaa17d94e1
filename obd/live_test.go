package obd

import (
	"errors"
	"fmt"
	"strings"
	"testing"
)

// TestLengths holds the table's lengths against the byte counts of two public decoders (service 01), by
// length; a slash gives the second length that some modules use.
func TestLengths(t *testing.T) {
	lengths := map[string]string{
		"1": "04 05 0A 0B 0D 0E 0F 11 12 13 1C 1D 1E 2C 2D 2E 2F 30 33 45 46 47 48 49 4A 4B 4C 51 52 5A 5B 5C 5F 61 62",
		"2": "02 03 0C 10 14 15 16 17 18 19 1A 1B 1F 21 22 23 31 32 3C 3D 3E 3F 42 43 44 4D 4E 53 54 59 5D 5E 63 65",
		"3": "67", "5": "64 66",
		"4":   "00 01 20 24 25 26 27 28 29 2A 2B 34 35 36 37 38 39 3A 3B 40 41 4F 50 60 80 A0 A4 A6 C0",
		"1/2": "06 07 08 09", "2/1": "55 56 57 58",
	}
	want := map[byte]string{}
	for length, ids := range lengths {
		for id := range strings.FieldsSeq(ids) {
			want[unhex(t, id)[0]] = length
		}
	}
	for id := range 256 {
		p, ok := DescribePID(byte(id))
		got := ""
		if ok {
			got = fmt.Sprint(p.Len)
		}
		if p.OtherLen != 0 {
			got += fmt.Sprintf("/%d", p.OtherLen)
		}
		same(t, fmt.Sprintf("length of PID %02X", id), got, want[byte(id)])
		if !ok {
			continue
		}
		same(t, fmt.Sprintf("PID %02X batchable", id), p.Batchable(), p.OtherLen == 0 && id%0x20 != 0)
		same(t, "ID", p.ID, byte(id))
		same(t, fmt.Sprintf("PID %02X named", id), p.Name != "", true)
		for _, part := range p.Parts {
			if end := part.At + part.Width; end > max(p.Len, p.OtherLen) || part.Width == 0 || part.Div == 0 || part.Name == "" {
				t.Errorf("PID %02X has a part that cannot be: %+v", id, part)
			}
		}
	}
}

// TestFormulas covers what no published vector does, by the formulas of two public decoders that agree.
func TestFormulas(t *testing.T) {
	tests := []struct {
		answer string
		part   byte
		want   float64
		unit   Unit
	}{
		{"41 01 81 07 65 04", PartMIL, 1, NoUnit},
		{"41 01 81 07 65 04", PartCodeCount, 1, Counts},
		{"41 01 7F 07 65 04", PartMIL, 0, NoUnit},
		{"41 01 7F 07 65 04", PartCodeCount, 127, Counts},
		{"41 12 02", 0, 2, NoUnit},
		{"41 1E 01", 0, 1, NoUnit},
		{"41 1E FE", 0, 0, NoUnit},
		{"41 22 FF FF", 0, 5177.265, Kilopascals},
		{"41 23 FF FF", 0, 655350, Kilopascals},
		{"41 24 80 00 20 00", 0, 1, Ratio},
		{"41 24 80 00 20 00", 1, 1, Volts},
		{"41 2D 00", 0, -100, Percent},
		{"41 32 80 00", 0, -8192, Pascals},
		{"41 32 7F FF", 0, 8191.75, Pascals},
		{"41 34 80 00 80 00", 1, 0, Milliamperes},
		{"41 34 80 00 00 00", 1, -128, Milliamperes},
		{"41 53 FF FF", 0, 327.675, Kilopascals},
		{"41 5D 00 00", 0, -210, Degrees},
		{"41 5D FF FF", 0, 301.9921875, Degrees},
		{"41 61 FF", 0, 130, Percent},
		{"41 63 01 00", 0, 256, NewtonMetres},
		{"41 64 7D 00 FF 7E 7C", 4, -1, Percent},
		{"41 66 03 FF FF 00 20", 0, 2047.96875, GramsSecond},
		{"41 66 03 FF FF 00 20", 1, 1, GramsSecond},
		{"41 67 03 00 FF", 0, -40, Celsius},
		{"41 67 03 00 FF", 1, 215, Celsius},
	}
	for _, test := range tests {
		m := message(t, test.answer)
		r := reading(t, live(t, m), m.Data[1], test.part)
		near(t, fmt.Sprintf("%s part %d", test.answer, test.part), r.Value, test.want, 1e-9)
		same(t, test.answer+" unit", r.Unit, test.unit)
		same(t, test.answer+" module", r.Module, m.Module)
	}
}

// values writes readings as PID.PART=VALUE.
func values(readings []Reading) string {
	var out []string
	for _, r := range readings {
		out = append(out, fmt.Sprintf("%02X.%d=%g", r.ID, r.Part, r.Value))
	}
	return strings.Join(out, " ")
}

// TestParts covers the PIDs that tell themselves which of their values are there, the second lengths, and
// padding.
func TestParts(t *testing.T) {
	tests := []struct{ name, answer, want string }{
		{"gear and ratio", "41 A4 03 40 03 E8", "A4.0=4 A4.1=1"},
		{"reserved low nibble", "41 A4 03 41 03 E8", "A4.0=4 A4.1=1"},
		{"neutral", "41 A4 01 0F 00 00", "A4.0=0"},
		{"ratio only", "41 A4 02 40 0E 74", "A4.1=3.7"},
		{"no gear at all", "41 A4 00 40 03 E8", ""},
		{"drive or reverse", "41 65 02 FF", "65.1=1"},
		{"park or neutral", "41 65 02 FD", "65.1=0"},
		{"selector not supported", "41 65 01 03", "65.0=1"},
		{"manual gearbox in gear", "41 65 04 04", "65.2=1"},
		{"glow lamp", "41 65 08 F7", "65.3=0"},
		{"recommended gear", "41 65 10 5F", "65.4=5"},
		{"everything", "41 65 1F 32", "65.0=0 65.1=1 65.2=0 65.3=0 65.4=3"},
		{"oxygen sensor not used for control", "41 15 A0 FF", "15.0=0.8"},
		{"one air flow sensor", "41 66 02 FF FF 00 20", "66.1=1"},
		{"trim of one bank", "41 06 80", "06.0=0"},
		{"trim of banks 1 and 3", "41 06 80 C0", "06.0=0 06.1=50"},
		{"trim of bank 1 among others", "41 06 80 0D 40", "06.0=0 0D.0=64"},
		{"secondary trims", "41 55 C0 80", "55.0=50 55.1=0"},
		{"one secondary trim", "41 55 C0", "55.0=50"},
		{"bitmaps and this cycle's monitors give nothing", "41 00 BE 3F B8 13", ""},
		{"stepped over", "41 41 00 07 65 04 0D 40", "0D.0=64"},
		{"padded with 00", "41 0C 0B B1 00 00 00", "0C.0=748.25"},
		{"padded with 55, which is a PID too", "41 0C 0B B1 55 55 55", "0C.0=748.25"},
		{"padded with AA", "41 0D 40 AA AA AA AA", "0D.0=64"},
		{"padded with FF", "41 0D 40 FF FF FF FF", "0D.0=64"},
		{"padded with CC", "41 0D 40 CC", "0D.0=64"},
		{"a value of zeros is no padding", "41 0C 00 00 0D 00", "0C.0=0 0D.0=0"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			same(t, test.answer, values(live(t, message(t, test.answer))), test.want)
		})
	}
}

func TestLiveErrors(t *testing.T) {
	tests := []struct{ name, answer, kept, err string }{
		{"empty", "", "", "answer  of module 7E8 has 0 bytes, 2 are the least for service 01"},
		{"service only", "41", "", "answer 41 of module 7E8 has 1 bytes, 2 are the least for service 01"},
		{"another service", "46 A2", "", "answer 46 A2 of module 7E8 is not an answer to service 01"},
		{"a request", "01 0C", "", "answer 01 0C of module 7E8 is not an answer to service 01"},
		{"refused", "7F 01 12", "", "module 7E8 refused service 01: sub-function not supported (code 12)"},
		{"half a refusal", "7F 01", "", "answer 7F 01 of module 7E8 is not an answer to service 01"},
		{"no data", "41 0C", "", "module 7E8 sent 0 of the 2 data bytes of PID 0C"},
		{"one byte of two", "41 0C 1A", "", "module 7E8 sent 1 of the 2 data bytes of PID 0C"},
		{"second cut short", "41 0D 40 0C 1A", "0D.0=64", "module 7E8 sent 1 of the 2 data bytes of PID 0C"},
		{"second unknown", "41 0D 40 B0 01 02", "0D.0=64", "module 7E8 sent PID B0, whose length is not known: ask it alone or not at all"},
		{"a tail that only begins like padding", "41 0D 40 00 01", "0D.0=64", "module 7E8 sent 1 of the 4 data bytes of PID 00"},
		{"first unknown", "41 FF FF", "", "module 7E8 sent PID FF, whose length is not known: ask it alone or not at all"},
		{"bank 3 among others cannot be told", "41 06 80 85 0D 40", "06.0=0", "module 7E8 sent PID 85, whose length is not known: ask it alone or not at all"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			before := []Reading{{ID: 0x99}}
			readings, err := AppendLive(before, message(t, test.answer))
			if err == nil {
				t.Fatal("no error")
			}
			same(t, "error", err.Error(), test.err)
			same(t, "readings kept", values(readings[1:]), test.kept)
			same(t, "what was there", readings[0], before[0])
		})
	}
	_, err := AppendLive(nil, message(t, "41 0C 1A"))
	var short *ShortError
	if !errors.As(err, &short) || short.PID != PIDRPM || short.Want != 2 || short.Have != 1 {
		t.Errorf("%#v", err)
	}
	_, err = AppendLive(nil, message(t, "41 B0 1A"))
	var unknown *UnknownPIDError
	if !errors.As(err, &unknown) || unknown.PID != 0xB0 {
		t.Errorf("%#v", err)
	}
}

func TestFrozen(t *testing.T) {
	readings, err := AppendFrozen(nil, message(t, "42 0C 00 20 80"))
	must(t, err)
	same(t, "rpm", values(readings), "0C.0=2080")
	same(t, "Service", readings[0].Service, FreezeFrames)

	_, err = AppendFrozen(nil, message(t, "42 0C 00 20 80 04 01 80"))
	same(t, "two frames in one answer", err != nil, true)
	readings, err = AppendFrozen(nil, message(t, "42 04 00 80 0C 00 20"))
	same(t, "cut short", err != nil, true)
	same(t, "kept", len(readings), 1)
	_, err = AppendFrozen(nil, message(t, "42 0C"))
	same(t, "no frame number", err != nil, true)
	readings, err = AppendFrozen(nil, message(t, "42 02 00 03 01"))
	must(t, err)
	same(t, "readings of the owning code", len(readings), 0)

	code, frame, err := DecodeFrozenCode(message(t, "42 02 01 00 00"))
	must(t, err)
	same(t, "nothing stored", code, 0)
	same(t, "frame", frame, 1)
	for _, wrong := range []string{"42 02 00 03", "42 0C 00 20 80", "7F 02 31", "43 00"} {
		if _, _, err := DecodeFrozenCode(message(t, wrong)); err == nil {
			t.Errorf("%s: no error", wrong)
		}
	}
}

func TestPIDData(t *testing.T) {
	d, ok := PIDData(message(t, "41 0D 40 0C 1A F8"), PIDRPM)
	same(t, "live", fmt.Sprintf("%X %v", d, ok), "1AF8 true")
	d, ok = PIDData(message(t, "42 0C 00 1A F8"), PIDRPM)
	same(t, "frozen", fmt.Sprintf("%X %v", d, ok), "1AF8 true")
	for _, without := range []string{"41 0D 40", "41 0C 1A", "7F 01 12", "", "46 A2"} {
		if d, ok := PIDData(message(t, without), PIDRPM); ok {
			t.Errorf("%s: % X", without, d)
		}
	}
}

func TestFuelSystemWords(t *testing.T) {
	seen := map[string]bool{}
	for _, f := range []FuelSystem{0, OpenLoopCold, ClosedLoop, OpenLoopDrive, OpenLoopFault, ClosedLoopHurt, 3} {
		seen[f.String()] = true
	}
	same(t, "different words", len(seen), 7)
	// SAE J1979, PID 03, from memory.
	same(t, "bits", fmt.Sprint(byte(OpenLoopCold), byte(ClosedLoop), byte(OpenLoopDrive), byte(OpenLoopFault), byte(ClosedLoopHurt)), "1 2 4 8 16")
}

func TestDecodingDoesNotAllocate(t *testing.T) {
	live, counts := message(t, "41 0C 1A F8 0D 4A 04 80 A4 03 40 03 E8"), message(t, "46 A2 0B 24 00 03 00 00 FF FF A2 0C 24 00 1F 00 00 FF FF")
	request := Live(PIDRPM, PIDSpeed, PIDLoad, PIDGear)
	buffer := make([]Reading, 0, 16)
	n := testing.AllocsPerRun(100, func() {
		readings, err := AppendLive(buffer, live)
		if err == nil {
			readings, err = AppendCounts(readings, counts)
		}
		if err != nil || len(readings) != 7 || !Answers(request, live) {
			t.Fatal(readings, err)
		}
	})
	near(t, "allocations", n, 0, 0)
}

// FuzzMessage throws any bytes at every decoder: no panic, no reading past the end (the slice has no room
// behind it), no value out of nothing.
func FuzzMessage(f *testing.F) {
	for _, row := range readCSV(f, "decode-vectors.csv") {
		if row[0] != "wire" && row[0] != "UAS" {
			for s := range strings.SplitSeq(row[2], "|") {
				f.Add(unhex(f, s))
			}
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		m := Message{Module: Module{ID: 0x10, Bits: 8}, Data: data[:len(data):len(data)]}
		for _, decode := range []func([]Reading, Message) ([]Reading, error){AppendLive, AppendFrozen, AppendCounts} {
			readings, err := decode(nil, m)
			if len(readings) > 5*len(data) {
				t.Fatalf("%d readings of %d bytes", len(readings), len(data))
			}
			if err != nil && (strings.ContainsRune(err.Error(), '\n') || err.Error() == "") {
				t.Fatalf("%q", err)
			}
		}
		results, _ := DecodeTests(m)
		if len(results)*recordBytes > len(data) {
			t.Fatalf("%d tests of %d bytes", len(results), len(data))
		}
		for _, r := range results {
			MisfireCylinder(r.MID, results)
		}
		_, _ = DecodeLegacyTest(m)
		_, _, _ = DecodeFrozenCode(m)
		_, _ = DecodeMonitors(m, PIDStatus)
		_, _ = DecodeMonitors(m, PIDStatusThisCycle)
		Answers(Live(PIDRPM), m)
		Answers(Frozen(PIDRPM, 0), m)
		if n, ok := DecodeNegative(m); ok && n.Error() == "" {
			t.Fatal("a refusal without words")
		}
		for _, p := range []Protocol{ProtocolUnknown, J1850VPW, CAN11At500} {
			var s Support
			before := s
			if s.Add(p, m) != nil && s != before {
				t.Fatal("a wrong answer added to the set")
			}
			codes, _ := DecodeCodes(p, m)
			if 2*len(codes) > len(data) {
				t.Fatalf("%d codes of %d bytes", len(codes), len(data))
			}
			for _, c := range codes {
				_ = c.Meaning()
			}
			msgs := []Message{m, m}
			vin, err := DecodeVIN(p, msgs)
			if err == nil && len(vin) != vinLength {
				t.Fatalf("%q", vin)
			}
			_, _ = DecodeCalibrations(p, msgs)
			_, _ = DecodeCVNs(p, msgs)
			_, _, _ = DecodeECUName(p, msgs)
		}
	})
}
