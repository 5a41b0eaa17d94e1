package frame_test

import (
	"encoding/csv"
	"fmt"
	"os"
	"strings"
	"testing"

	"stumble/obd"
	"stumble/obd/frame"
)

var (
	can11     = frame.Format{Protocol: obd.CAN11At500, Headers: true}
	can29     = frame.Format{Protocol: obd.CAN29At500, Headers: true}
	canBare   = frame.Format{Protocol: obd.CAN11At500}
	kwp       = frame.Format{Protocol: obd.KWPFast, Headers: true}
	iso9141   = frame.Format{Protocol: obd.ISO9141, Headers: true}
	j1850VPW  = frame.Format{Protocol: obd.J1850VPW, Headers: true}
	j1850PWM  = frame.Format{Protocol: obd.J1850PWM, Headers: true}
	kwpBare   = frame.Format{Protocol: obd.KWPFast}
	unknown   = frame.Format{Headers: true}
	searching = frame.Format{} // headers off, protocol not known yet
)

// wireFormats says how the adapter of each vector was set, which the row's name implies.
var wireFormats = map[string]frame.Format{
	"isotp_11bit_headers_on_spaces_on":  can11,
	"isotp_11bit_headers_on_spaces_off": can11,
	"isotp_headers_off_spaces_on":       canBare,
	"isotp_headers_off_spaces_off":      canBare,
	"isotp_headers_off_padding_dropped": canBare,
	"isotp_two_ecus_grouped":            can11,
	"can_29bit_single_frame_spaces_off": can29,
	"can_29bit_four_ecus":               can29,
	"can_11bit_padded_frame":            can11,
	"kwp_frame_checksum":                kwp,
	"iso9141_frame_checksum":            iso9141,
	"j1850_vpw_frame_crc":               j1850VPW,
	"j1850_pwm_frame_crc":               j1850PWM,
	"j1850_frame_crc":                   j1850VPW,
}

// TestPublishedWire runs every row of decode-vectors.csv that is verbatim adapter output; each row names its
// source.
func TestPublishedWire(t *testing.T) {
	seen := map[string]bool{}
	for _, row := range vectorRows(t) {
		if row[0] != "wire" {
			continue
		}
		t.Run(row[3]+"/"+row[1], func(t *testing.T) {
			format, ok := wireFormats[row[3]]
			if !ok {
				t.Fatalf("a kind of row this test does not know: %s", row[3])
			}
			seen[row[3]] = true
			got, err := assemble(t, format, strings.Split(row[2], "|")...)
			if err != nil {
				t.Fatal(err)
			}
			want := strings.Fields(expectedMessages(row[4]))
			if len(got) != len(want) {
				t.Fatalf("%d messages, want %d: %v", len(got), len(want), got)
			}
			for i := range want {
				if !strings.HasSuffix(got[i], want[i]) {
					t.Errorf("message %d is %s, want %s", i+1, got[i], want[i])
				}
			}
		})
	}
	if len(seen) != len(wireFormats) {
		t.Errorf("%d kinds of rows seen, %d expected", len(seen), len(wireFormats))
	}
}

// expectedMessages brings the ways the rows are written ("18DAF110: 410D53", "410D53 sum=25 ok") to
// MODULE=DATA or DATA.
func expectedMessages(s string) string {
	s = strings.ReplaceAll(s, ": ", "=")
	for _, tail := range []string{" sum=", " crc="} {
		if at := strings.Index(s, tail); at >= 0 {
			s = s[:at]
		}
	}
	return s
}

// assemble runs one exchange whose lines are all good, and gives its messages as MODULE=DATA.
func assemble(t testing.TB, f frame.Format, lines ...string) ([]string, error) {
	t.Helper()
	var a frame.Assembler
	a.Reset(f)
	for _, line := range lines {
		if err := a.Line([]byte(line)); err != nil {
			t.Fatalf("line %q: %v", line, err)
		}
	}
	messages, err := a.Messages()
	return written(messages), err
}

func written(messages []obd.Message) []string {
	var out []string
	for _, m := range messages {
		out = append(out, fmt.Sprintf("%v=%X", m.Module, m.Data))
	}
	return out
}

func vectorRows(t testing.TB) [][]string {
	t.Helper()
	f, err := os.Open("../../testdata/vectors/decode-vectors.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
}
