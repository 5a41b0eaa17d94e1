package frame_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"stumble/obd/frame"
)

// The VIN answer of the published vectors, as frames of module 7E8.
const (
	vinFirst  = "7E8 10 14 49 02 01 31 44 34"
	vinSecond = "7E8 21 47 50 30 30 52 35 35"
	vinThird  = "7E8 22 42 31 32 33 34 35 36"
	vin       = "7E8=4902013144344750303052353542313233343536"
)

// TestExchanges shows what becomes of whole exchanges, by the rules of ISO 15765-2 and ISO 14230-2.
func TestExchanges(t *testing.T) {
	one := func(s ...string) []string { return s }
	tests := []struct {
		name   string
		format frame.Format
		lines  []string
		want   []string
		err    error // among those of Messages
		bad    error // among those of Line
	}{
		{name: "nothing", format: can11},
		{name: "blank lines are nothing", format: can11, lines: one("", " ", "\r\n")},
		{name: "in order", format: can11, lines: one(vinFirst, vinSecond, vinThird), want: one(vin)},
		{name: "line ends and lower case", format: can11, lines: one(strings.ToLower(vinFirst)+"\r\n", vinSecond+" \r", vinThird+"\n"), want: one(vin)},
		{name: "consecutive frames swapped", format: can11, lines: one(vinFirst, vinThird, vinSecond), want: one(vin)},
		{name: "each frame twice", format: can11, lines: one(vinFirst, vinFirst, vinSecond, vinSecond, vinThird, vinThird), want: one(vin)},
		{name: "a frame again at the end", format: can11, lines: one(vinFirst, vinSecond, vinThird, vinSecond), want: one(vin)},
		{name: "first missing", format: can11, lines: one(vinSecond, vinThird), bad: frame.ErrOrphan},
		{name: "middle missing", format: can11, lines: one(vinFirst, vinThird), err: frame.ErrMissing},
		{name: "last missing", format: can11, lines: one(vinFirst, vinSecond), err: frame.ErrMissing},
		{name: "only the first", format: can11, lines: one(vinFirst), err: frame.ErrMissing},
		{name: "repeated and different", format: can11,
			lines: one(vinFirst, vinSecond, "7E8 21 47 50 30 30 52 35 36", vinThird), err: frame.ErrContradiction},
		{name: "repeated and different after the end", format: can11,
			lines: one(vinFirst, vinSecond, vinThird, "7E8 21 47 50 30 30 52 35 36"), err: frame.ErrContradiction},
		{name: "more frames than the length needs", format: can11,
			lines: one(vinFirst, vinSecond, vinThird, "7E8 23 00 00 00 00 00 00 00"), err: frame.ErrContradiction},
		{name: "a left-over of an earlier exchange does not fill a gap", format: can11,
			lines: one("7E8 22 42 31 32 33 34 35 39", vinFirst, vinSecond), bad: frame.ErrOrphan, err: frame.ErrMissing},
		{name: "a left-over of an earlier exchange does no harm", format: can11,
			lines: one("7E8 22 42 31 32 33 34 35 39", vinFirst, vinSecond, vinThird), bad: frame.ErrOrphan, want: one(vin)},
		{name: "another first frame before the end", format: can11,
			lines: one(vinFirst, "7E8 10 14 49 02 01 31 44 35", vinSecond, vinThird), err: frame.ErrContradiction},
		{name: "the same first frame begins anew", format: can11,
			lines: one(vinFirst, "7E8 21 00 00 00 00 00 00 00", vinFirst, vinSecond, vinThird), want: one(vin)},
		{name: "what began anew is not filled from before", format: can11,
			lines: one(vinFirst, vinThird, vinFirst, vinSecond), err: frame.ErrMissing},
		{name: "two answers, one after the other", format: can11,
			lines: one(vinFirst, vinSecond, vinThird, "7E8 10 08 46 A2 0C 24 00 05", "7E8 21 00 00"), want: one(vin, "7E8=46A20C2400050000")},
		{name: "the same answer with another end is another answer", format: can11,
			lines: one("7E8 10 08 46 A2 0C 24 00 05", "7E8 21 00 00", "7E8 10 08 46 A2 0C 24 00 05", "7E8 21 00 01"),
			want:  one("7E8=46A20C2400050000", "7E8=46A20C2400050001")},
		{name: "last frame trimmed", format: can11, lines: one("7E8 10 08 46 A2 0C 24 00 05", "7E8 21 00 00"), want: one("7E8=46A20C2400050000")},
		{name: "last frame padded", format: can11, lines: one("7E8 10 08 46 A2 0C 24 00 05", "7E8 21 00 00 AA AA AA AA AA"), want: one("7E8=46A20C2400050000")},
		{name: "padded once and trimmed once", format: can11,
			lines: one("7E8 10 08 46 A2 0C 24 00 05", "7E8 21 00 00", "7E8 21 00 00 55 55 55 55 55"), want: one("7E8=46A20C2400050000")},
		{name: "last frame too short", format: can11, lines: one("7E8 10 08 46 A2 0C 24 00 05", "7E8 21 00"), bad: frame.ErrShort, err: frame.ErrMissing},
		{name: "a short frame come again whole", format: can11,
			lines: one("7E8 10 08 46 A2 0C 24 00 05", "7E8 21 00", "7E8 21 00 00"), bad: frame.ErrShort, want: one("7E8=46A20C2400050000")},
		{name: "first frame too short", format: can11, lines: one("7E8 10 14 49 02 01 31 44"), bad: frame.ErrShort},
		{name: "a length that fits a single frame", format: can11, lines: one("7E8 10 07 49 02 01 31 44 34"), bad: frame.ErrLength},
		{name: "flow control is not an answer", format: can11, lines: one("7E0 30 00 00", "7E8 03 41 0D 53"), want: one("7E8=410D53")},
		{name: "no such frame type", format: can11, lines: one("7E8 43 41 0D 53"), bad: frame.ErrFrameType},
		{name: "single frame of no length", format: can11, lines: one("7E8 00 41 0D 53"), bad: frame.ErrLength},
		{name: "single frame longer than a frame", format: can11, lines: one("7E8 08 41 0D 53 00 00 00 00"), bad: frame.ErrLength},
		{name: "single frame cut short", format: can11, lines: one("7E8 04 41 0D 53"), bad: frame.ErrShort},
		{name: "nine bytes", format: can11, lines: one("7E8 03 41 0D 53 00 00 00 00 00"), bad: frame.ErrLong},
		{name: "only an identifier", format: can11, lines: one("7E8"), bad: frame.ErrShort},
		{name: "a character lost", format: can11, lines: one("7E8 03 41 0D 5", "7E8 04 41 0C 1A F8"), want: one("7E8=410C1AF8"), bad: frame.ErrDigits},
		{name: "not an 11-bit identifier", format: can11, lines: one("8E8 03 41 0D 53"), bad: frame.ErrHeader},
		{name: "not a 29-bit identifier", format: can29, lines: one("38 DA F1 10 03 41 0D 53"), bad: frame.ErrHeader},
		{name: "not a diagnostic identifier", format: can11, lines: one("7D8 03 41 0D 53", "010C040D1103"), bad: frame.ErrHeader},
		{name: "not a diagnostic identifier, 29-bit", format: can29, lines: one("18 DB 33 F1 03 41 0D 53"), bad: frame.ErrHeader},
		{name: "a pair of characters lost in the filling", format: can11, lines: one("7E8 03 41 0D 53 AA AA AA"), bad: frame.ErrShort},
		{name: "a pair of characters lost in a last frame", format: can11,
			lines: one("7E8 10 08 46 A2 0C 24 00 05", "7E8 21 00 00 AA AA AA AA"), bad: frame.ErrShort, err: frame.ErrMissing},
		{name: "words", format: can11, lines: one("NO DATA"), bad: frame.ErrNotHex},
		{name: "a numbered line with headers on", format: can11, lines: one("0: 49 02 01 31 44 34"), bad: frame.ErrNotHex},
		{name: "marked damaged", format: can11, lines: one("7E8 03 41 0D 53 <RX ERROR", "7E8 03 41 0D 54"), bad: frame.ErrFlagged, want: one("7E8=410D54")},
		{name: "marked damaged in a message", format: can11, lines: one(vinFirst, vinSecond+" <DATA ERROR", vinThird), bad: frame.ErrFlagged, err: frame.ErrMissing},
		{name: "a gap in one module spares the other", format: can11,
			lines: one(vinFirst, "7E9 10 08 46 A2 0C 24 00 05", vinThird, "7E9 21 00 00"), want: one("7E9=46A20C2400050000"), err: frame.ErrMissing},
		{name: "wait, then the answer", format: can11, lines: one("7E8 03 7F 09 78", vinFirst, vinSecond, vinThird), want: one("7E8=7F0978", vin)},
		{name: "29-bit, two modules", format: can29,
			lines: one("18 DA F1 10 10 08 46 A2 0C 24 00 05", "18DAF118037F0611", "18 DA F1 10 21 00 00"),
			want:  one("18DAF110=46A20C2400050000", "18DAF118=7F0611")},
		{name: "headers before the protocol is known", format: unknown, lines: one("7E8 03 41 0D 53"), bad: frame.ErrProtocol},

		{name: "bare single", format: canBare, lines: one("41 0D 53 "), want: one("-=410D53")},
		{name: "bare single, padded", format: canBare, lines: one("41 0C 0B B1 00 00 00"), want: one("-=410C0BB1000000")},
		{name: "bare, two lines run together", format: canBare, lines: one("410C0BB1410C0BB1"), bad: frame.ErrLong},
		{name: "bare while searching", format: searching, lines: one("41 00 BE 3F B8 13"), want: one("-=4100BE3FB813")},
		{name: "bare, pieces swapped", format: canBare,
			lines: one("014", "0:490201314434", "2:42313233343536", "1:47503030523535"), want: one("-=4902013144344750303052353542313233343536")},
		{name: "bare, piece twice", format: canBare,
			lines: one("014", "0:490201314434", "1:47503030523535", "1:47503030523535", "2:42313233343536"), want: one("-=4902013144344750303052353542313233343536")},
		{name: "bare, piece missing", format: canBare, lines: one("014", "0:490201314434", "2:42313233343536"), err: frame.ErrMissing},
		{name: "bare, first piece missing", format: canBare, lines: one("014", "1:47503030523535", "2:42313233343536"), err: frame.ErrMissing},
		{name: "bare, length missing", format: canBare, lines: one("0:490201314434", "1:47503030523535"), bad: frame.ErrOrphan},
		{name: "bare, two modules interleaved", format: canBare,
			lines: one("013", "013", "0: 49 04 01 35 36 30", "0: 49 04 01 35 36 30", "1: 32 38 39 34 39 41 43", "1: 32 38 39 35 34 41 43", "2: 00 00 00 00 00 00", "2: 00 00 00 00 00 00"),
			err:   frame.ErrAmbiguous},
		{name: "bare, two modules interleaved after a beginning", format: canBare,
			lines: one("013", "0: 49 04 01 35 36 30", "013", "0: 49 04 01 35 36 30", "1: 32 38 39 34 39 41 43", "2: 00 00 00 00 00 00", "1: 32 38 39 35 34 41 43", "2: 00 00 00 00 00 00"),
			err:   frame.ErrAmbiguous},
		{name: "bare, two modules one after the other", format: canBare,
			lines: one("008", "0: 46 A2 0C 24 00 05", "1: 00 00", "008", "0: 46 A3 0C 24 00 06", "1: 00 00"),
			want:  one("-=46A20C2400050000", "-=46A30C2400060000")},
		{name: "bare, second module's length lost", format: canBare,
			lines: one("008", "0: 46 A2 0C 24 00 05", "1: 00 00", "0: 46 A3 0C 24 00 06", "1: 00 00"), err: frame.ErrContradiction},
		{name: "bare, short piece", format: canBare, lines: one("014", "0:4902013144", "1:47503030523535", "2:42313233343536"), bad: frame.ErrShort, err: frame.ErrMissing},
		{name: "bare, long piece", format: canBare, lines: one("014", "0:49020131443447"), bad: frame.ErrLong, err: frame.ErrMissing},
		{name: "bare, impossible length", format: canBare, lines: one("007"), bad: frame.ErrLength},
		{name: "bare, an answer that lost characters is no length", format: canBare, lines: one("41 0"), err: frame.ErrMissing},
		{name: "bare, odd digits", format: canBare, lines: one("41 0C 0B C"), bad: frame.ErrDigits},

		{name: "older bus, bare", format: kwpBare, lines: one("49 02 01 00 00 00 31", "49 02 02 44 34 47 50"), want: one("-=49020100000031", "-=49020244344750")},
		{name: "older bus has no numbered lines", format: kwpBare, lines: one("0: 49 02 01"), bad: frame.ErrNotHex},
		{name: "older bus has no lengths", format: kwpBare, lines: one("014"), bad: frame.ErrDigits},
		{name: "KWP, length in a fourth byte", format: kwp, lines: one("80 F1 10 03 41 0D 53 25"), want: one("10=410D53")},
		{name: "KWP, functional format byte", format: kwp, lines: one("C3 F1 11 41 0D 53 66"), want: one("11=410D53")},
		{name: "KWP, bytes after the stated length", format: kwp, lines: one("83 F1 10 41 0D 53 25 00 00"), want: one("10=410D53")},
		{name: "KWP, shorter than stated", format: kwp, lines: one("84 F1 10 41 0D 53 26"), bad: frame.ErrShort},
		{name: "KWP, no address", format: kwp, lines: one("03 41 0D 53 A4"), bad: frame.ErrHeader},
		{name: "KWP, no data", format: kwp, lines: one("80 F1 10 00 81"), bad: frame.ErrLength},
		{name: "KWP, three bytes", format: kwp, lines: one("83 F1 10"), bad: frame.ErrShort},
		{name: "KWP, sum wrong", format: kwp, lines: one("83 F1 10 41 0D 53 26"), bad: frame.ErrChecksum},
		{name: "ISO 9141, sum wrong", format: iso9141, lines: one("48 6B 10 41 00 B8 7B 30 10 76"), bad: frame.ErrChecksum},
		{name: "ISO 9141, nothing but a header", format: iso9141, lines: one("48 6B 10 C3"), bad: frame.ErrShort},
		{name: "J1850 VPW, CRC wrong", format: j1850VPW, lines: one("48 6B 10 41 00 B8 7B 30 10 F5"), bad: frame.ErrChecksum},
		{name: "J1850 PWM, a sum is no CRC", format: j1850PWM, lines: one("41 6B 10 41 00 B8 7B 30 10 70"), bad: frame.ErrChecksum},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			var a frame.Assembler
			a.Reset(test.format)
			var bad error
			for _, line := range test.lines {
				if err := a.Line([]byte(line)); err != nil {
					bad = err
				}
			}
			messages, err := a.Messages()
			checkError(t, "Line", bad, test.bad)
			checkError(t, "Messages", err, test.err)
			if got := written(messages); !slices.Equal(got, test.want) {
				t.Errorf("messages %v, want %v", got, test.want)
			}
		})
	}
}

func checkError(t *testing.T, what string, got, want error) {
	t.Helper()
	if !errors.Is(got, want) {
		t.Errorf("%s: %v, want %v", what, got, want)
	}
	if got != nil && strings.Contains(got.Error(), "\n") {
		t.Errorf("%s: more than one line: %v", what, got)
	}
}
