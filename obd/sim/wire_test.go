package sim

import (
	"encoding/csv"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd"
	"stumble/obd/sim/car"
)

// wires is how each kind of row in decode-vectors.csv was recorded: the bus, and what set the adapter up.
var wires = map[string]struct {
	protocol obd.Protocol
	setUp    []string
	quirks   Quirks
}{
	"isotp_11bit_headers_on_spaces_on":  {obd.CAN11At500, []string{"ATH1"}, Quirks{}},
	"isotp_11bit_headers_on_spaces_off": {obd.CAN11At500, []string{"ATH1", "ATS0"}, Quirks{}},
	"isotp_headers_off_spaces_on":       {obd.CAN11At500, nil, Quirks{}},
	"isotp_headers_off_spaces_off":      {obd.CAN11At500, []string{"ATS0"}, Quirks{}},
	"isotp_headers_off_padding_dropped": {obd.CAN11At500, nil, Quirks{}},
	"isotp_two_ecus_grouped":            {obd.CAN11At500, []string{"ATH1"}, Quirks{}},
	"can_29bit_single_frame_spaces_off": {obd.CAN29At500, []string{"ATH1", "ATS0"}, Quirks{}},
	"can_29bit_four_ecus":               {obd.CAN29At500, []string{"ATH1"}, Quirks{}},
	"can_11bit_padded_frame":            {obd.CAN11At500, []string{"ATH1"}, Quirks{PadsFrames: true}},
	"kwp_frame_checksum":                {obd.KWPFast, []string{"ATH1"}, Quirks{}},
	"iso9141_frame_checksum":            {obd.ISO9141, []string{"ATH1"}, Quirks{}},
	"j1850_vpw_frame_crc":               {obd.J1850VPW, []string{"ATH1"}, Quirks{}},
	"j1850_pwm_frame_crc":               {obd.J1850PWM, []string{"ATH1"}, Quirks{}},
	"j1850_frame_crc":                   {obd.J1850VPW, []string{"ATH1"}, Quirks{}},
}

// The rows of decode-vectors.csv that are recorded adapter output, in the direction of encoding: the car
// says the message, and the adapter must print the recorded text. Trailing spaces are left out of the
// comparison, for the recordings do not agree on them.
func TestRecordedWire(t *testing.T) {
	file, err := os.Open("../../testdata/vectors/decode-vectors.csv")
	require.NoError(t, err)
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	require.NoError(t, err)
	seen := 0
	for _, row := range rows {
		if row[0] != "wire" {
			continue
		}
		seen++
		request, text, what, expected, source := row[1], row[2], row[3], row[4], row[6]
		t.Run(what, func(t *testing.T) {
			wire, known := wires[what]
			require.True(t, known, "no set-up for this kind of row")
			bus := &bench{protocol: wire.protocol, table: map[string][]car.Answer{request: answersOf(what, expected)}}
			r := newRig(t, Config{Bus: bus, Baud: 115200, Quirks: wire.quirks})
			r.setUp(append([]string{"ATE0"}, wire.setUp...)...)
			got, _ := r.say(request)
			_, got, _ = strings.Cut(got, "SEARCHING...\r")
			got = strings.TrimSuffix(got, "\r\r>")
			if what == "isotp_two_ecus_grouped" { // the order between modules is free, and so is what pads the last frame
				assert.Equal(t, perModule(strings.Split(text, "|")), perModule(strings.Split(got, "\r")), source)
				return
			}
			assert.Equal(t, trimmed(text, "|"), trimmed(got, "\r"), source)
		})
	}
	require.Equal(t, 15, seen, "rows of recorded output")
}

var hexWord = regexp.MustCompile(`\b(?:([0-9A-F]{2,8})[=:] ?)?([0-9A-F]{6,})\b`)

// answersOf reads the messages a row expects: "7E8=4904...", "18DAF110: 410D53", or "410D53 sum=25 ok".
func answersOf(what, expected string) []car.Answer {
	nodes := map[string]byte{"": 0x10, "7E8": 0x10, "7E9": 0x18, "18DAF110": 0x10, "40": 0x40, "11": 0x11, "28": 0x28, "18": 0x18}
	var answers []car.Answer
	for i, m := range hexWord.FindAllStringSubmatch(expected, -1) {
		answers = append(answers, says(nodes[m[1]], 8+i, m[2]))
	}
	return answers
}

func trimmed(text, separator string) []string {
	lines := strings.Split(text, separator)
	for i := range lines {
		lines[i] = strings.TrimRight(lines[i], " ")
	}
	return lines
}

// perModule groups lines by identifier; of the third frame only the six bytes that belong to the message.
func perModule(lines []string) map[string][]string {
	groups := map[string][]string{}
	for _, line := range lines {
		words := strings.Fields(line)
		if words[1] == "22" {
			words = words[:8]
		}
		groups[words[0]] = append(groups[words[0]], strings.Join(words[1:], " "))
	}
	return groups
}

// The forms of the table "CAN output forms" in the fact sheet, trailing spaces and all (source there:
// commaai/panda elm_wifi.py, ELM327 data sheet pp. 42-45).
func TestFormsOfOneFrame(t *testing.T) {
	for _, c := range []struct {
		name     string
		protocol obd.Protocol
		setUp    []string
		want     string
	}{
		{"headers off, spaces on", obd.CAN11At500, nil, "41 0D 53 "},
		{"headers off, spaces off", obd.CAN11At500, []string{"ATS0"}, "410D53"},
		{"headers on, spaces on", obd.CAN11At500, []string{"ATH1"}, "7E8 03 41 0D 53 "},
		{"headers on, spaces off", obd.CAN11At500, []string{"ATH1", "ATS0"}, "7E803410D53"},
		{"wide, headers on, spaces on", obd.CAN29At500, []string{"ATH1"}, "18 DA F1 10 03 41 0D 53 "},
		{"wide, headers on, spaces off", obd.CAN29At500, []string{"ATH1", "ATS0"}, "18DAF11003410D53"},
		{"data length shown (from memory)", obd.CAN11At500, []string{"ATH1", "ATD1"}, "7E8 8 03 41 0D 53 "},
		{"formatting off: the whole frame", obd.CAN11At500, []string{"ATCAF0"}, "03 41 0D 53 00 00 00 00 "},
		{"KWP, headers off", obd.KWPFast, nil, "41 0D 53 "},
		{"KWP, headers on", obd.KWPFast, []string{"ATH1"}, "83 F1 10 41 0D 53 25 "},
	} {
		t.Run(c.name, func(t *testing.T) {
			bus := &bench{protocol: c.protocol, table: map[string][]car.Answer{"010D": {says(0x10, 6, "41 0D 53")}}}
			r := newRig(t, Config{Bus: bus})
			r.setUp(append([]string{"ATE0"}, c.setUp...)...)
			request := "010D"
			if strings.HasPrefix(c.name, "formatting off") {
				request = "02 01 0D"
			}
			r.expect(request, "SEARCHING...\r"+c.want)
			r.setUp("ATL1")
			got, _ := r.say(request)
			assert.Equal(t, c.want+"\r\n\r\n>", got, "with line feeds")
		})
	}
}

// A long message counts its frames 0 to F and starts over (ISO 15765-2), with and without headers.
func TestLongMessageWraps(t *testing.T) {
	data := "46 " + strings.Repeat("A2 0C 24 00 1F 00 00 FF FF ", 14) // 127 bytes: 1 + 14 records of service 06
	bus := &bench{protocol: obd.CAN11At500, table: map[string][]car.Answer{"06A2": {says(0x10, 8, data)}}}
	r := newRig(t, Config{Bus: bus, Baud: 115200})
	r.setUp("ATE0", "ATS0")
	got, _ := r.say("06A2")
	lines := strings.Split(strings.TrimSuffix(got, "\r\r>"), "\r")[1:]
	require.Len(t, lines, 1+1+18) // length, first frame, (127-6)/7 consecutive frames
	assert.Equal(t, "07F", lines[0])
	for i, line := range lines[1:] {
		assert.Equal(t, "0123456789ABCDEF"[i%16], line[0])
	}
	whole := ""
	for _, line := range lines[1:] {
		whole += line[2:]
	}
	assert.Equal(t, strings.ReplaceAll(data, " ", ""), whole[:2*127])

	r.setUp("ATH1")
	got, _ = r.say("06A2")
	lines = strings.Split(strings.TrimSuffix(got, "\r\r>"), "\r")
	assert.Equal(t, "7E8107F46A20C24001F", lines[0][:19])
	assert.Equal(t, "7E82F", lines[15][:5])
	assert.Equal(t, "7E820", lines[16][:5])
}
