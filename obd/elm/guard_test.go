package elm

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd"
)

// permitted is the rule of the bus, written down a second time and apart from the guard: SAE J1979 services
// that only read, of services 22 and 19 what SAE J1979-2 reads with, and adapter set-up that puts nothing else on the bus.
var permitted = regexp.MustCompile(`^(0[123679A]([0-9A-F]{2}){0,6}[0-9A-F]?|` +
	`22(F[4-8][0-9A-F]{2}){1,3}[0-9A-F]?|19(4233[0-9A-F]{2}1E|5533|5633[0-9A-F]{2}|04[0-9A-F]{8}|06[0-9A-F]{6}9[12])[0-9A-F]?|` +
	`AT(Z|WS|D|I|@1|FE|E0|L0|S0|H1|CAF1|AL|AT[012]|ST[0-9A-F]{2}|BRTFF|BRD08|SP[0-9A-F]|TP[0-9A-F]|DPN|PC|RV|IGN|SH[0-9A-F]{3}|SH[0-9A-F]{6}|CRA([0-9A-F]{3}|[0-9A-F]{8})?|AR))$`)

func TestGuardAdmitsOnlyReadingServices(t *testing.T) {
	for service := 0; service <= 0xFF; service++ {
		for _, tail := range []string{"", "00", "0C0D", "0C0D11040506", "1"} {
			line := fmt.Sprintf("%02X%s", service, tail)
			err := guard([]byte(line), false)
			switch service {
			case 0x01, 0x02, 0x03, 0x06, 0x07, 0x09, 0x0A:
				assert.NoError(t, err, line)
			default:
				assert.ErrorIs(t, err, ErrForbidden, line)
			}
		}
	}
}

func TestGuardRefuses(t *testing.T) {
	for _, line := range []string{
		"",                                                         // repeats the adapter's last command, whatever it was
		"04",                                                       // clears the codes
		"041",                                                      // the same with a count
		"\r04",                                                     // smuggled behind a line end
		"01\r04",                                                   //
		"010C 04",                                                  // blanks hide nothing
		"010c",                                                     // lower case is not ours
		"01000C0D0F101105",                                         // eight bytes
		"08",                                                       // on-board control
		"10", "11", "14", "27", "2E", "2F", "31", "34", "3B", "3D", // ISO 14229 and 14230 services that change things
		"ATPP2CSV81", "ATBRD23", "ATMA", "ATMR10", "ATSP", "ATSPG", "ATSTF", "ATCRA7", "ATE1", "ATSH7E", "ATR0", "ATLP", "AT", "STI", "ATCM7E8",
		"ATSTAx", "ATSPx", "ATSHxxx", // the x of the list of set-up commands is no digit
		"14FFFF33", "14FFFF331", "14FFFFFF", "14FFFF", // clear, too
		"22", "22F4", "22F40", "22F190", "22F3FF", "22F900", "22F40CF190", "22F40CF40DF404F4", "22F40CF40DF404F405", // others' identifiers
		"19", "1902FF", "1942330F", "194233081F", "1942FF081E", "190603020090", "190603020093", "1906030200FF", "1914", "1A90", // not named
	} {
		assert.ErrorIs(t, guard([]byte(line), false), ErrForbidden, "%q", line)
	}
}

func TestGuardAdmitsItsOwnSetUp(t *testing.T) {
	for _, line := range []string{"ATZ", "ATE0", "ATSP0", "ATSP6", "ATSTFF", "ATSH7E0", "ATSHDA10F1", "ATCRA7E8", "ATCRA18DAF110", "ATCRA", "AT@1"} {
		assert.NoError(t, guard([]byte(line), false), line)
	}
}

// Armed or not, every line of up to four hexadecimal digits: only "04" and "14FFFF33" are let through in addition.
func TestArmedGuardAdmitsOneLineMore(t *testing.T) {
	lines := []string{"", "04", "\r04", "04\r", " 04", "04 ", "0404", "14FFFF33", "14FFFF3", "14FFFF330", "14FFFF", "14FFFF32", "14ffff33", "AT04", "040", "041", "04\x00", "4", "04\r04"}
	for digits := 1; digits <= 4; digits++ {
		for v := range 1 << (4 * digits) {
			lines = append(lines, fmt.Sprintf("%0*X", digits, v))
		}
	}
	for _, line := range lines {
		unarmed := guard([]byte(line), false) == nil
		if strings.HasPrefix(line, "04") && unarmed {
			t.Errorf("%q passes an unarmed guard", line)
		}
		if armed := guard([]byte(line), true) == nil; armed != (unarmed || line == "04" || line == "14FFFF33") {
			t.Errorf("%q passes an armed guard: %v", line, armed)
		}
	}
}

// Every set-up command of up to three characters: none passes that the rule, written down a second time, does not hold.
func TestGuardOfShortSetUp(t *testing.T) {
	const letters = "@0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
	lines := []string{"AT"}
	for from := 0; len(lines[from]) < len("ATxxx"); from++ {
		for _, c := range letters {
			lines = append(lines, lines[from]+string(c))
		}
	}
	for _, line := range lines {
		if got, want := guard([]byte(line), false) == nil, permitted.MatchString(line); got != want {
			t.Errorf("guard(%q) admits: %v, the rule says %v", line, got, want)
		}
	}
}

func FuzzGuard(f *testing.F) {
	for _, line := range []string{"010C", "04", "ATZ", "ATSP6", "0100411", "\r04", "", "ATSTAx", "ATSPx", "22F40CF40D2", "1906030200921", "14FFFF33"} {
		f.Add([]byte(line))
	}
	f.Fuzz(func(t *testing.T, line []byte) {
		if got, want := guard(line, false) == nil, permitted.Match(line) && !strings.ContainsAny(string(line), "\r\n"); got != want {
			t.Errorf("guard(%q) admits: %v, the rule says %v", line, got, want)
		}
		if got, want := guard(line, true) == nil, guard(line, false) == nil || string(line) == "04" || string(line) == "14FFFF33"; got != want {
			t.Errorf("armed, guard(%q) admits: %v, the rule says %v", line, got, want)
		}
	})
}

// One place arms the guard.
func TestOnlyClearArms(t *testing.T) {
	assert.Len(t, places(t, "armed, a.patience = true", "armed = true", "armed: true", "&a.armed"), 1)
	for _, place := range append(places(t, "clearOnce("), places(t, "obd.Clear")...) {
		assert.Regexp(t, `^clear\.go:`, place)
	}
}

// Everything written to a link passes the one function that asks the guard.
func TestOnlyOnePlaceWrites(t *testing.T) {
	places := places(t, ".Write", "io.Copy", "Fprint")
	require.Len(t, places, 1, "only send may write")
	assert.Contains(t, places[0], "a.link.Write(a.out)")
}

// places are the lines of this package that hold one of some words.
func places(t *testing.T, words ...string) (places []string) {
	t.Helper()
	files, err := filepath.Glob("*.go")
	require.NoError(t, err)
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		text, err := os.ReadFile(name)
		require.NoError(t, err)
		for n, line := range strings.Split(string(text), "\n") {
			if slices.ContainsFunc(words, func(w string) bool { return strings.Contains(line, w) }) {
				places = append(places, fmt.Sprintf("%s:%d: %s", name, n+1, strings.TrimSpace(line)))
			}
		}
	}
	return places
}

// Of a user's table of counters the guard lets through what was admitted and nothing more, whatever is admitted.
func TestGuardOfAdmittedRequests(t *testing.T) {
	admitted := []string{"2131", "221101", "21300102030405", "04", "14FFFF33", "2E110100", "10C0", "31010203", "ATMA", ""}
	for line, may := range map[string]bool{
		"2131": true, "21311": true, "221101": true, "2211012": true, "21300102030405": true, "213001020304051": true,
		"2132": false, "21": false, "213100": false, "22110": false, "221102": false, "2130010203040506": false, "21312 ": false,
		"04": false, "041": false, "14FFFF33": false, "2E110100": false, "10C0": false, "31010203": false, "ATMA": false, "": false,
	} {
		assert.Equal(t, may, guard([]byte(line), false, admitted...) == nil, "%q", line)
		assert.ErrorIs(t, guard([]byte("2131"), false), ErrForbidden, "without a table")
	}
	a := &Adapter{}
	require.ErrorIs(t, a.Admit([]obd.Request{obd.NewRequest(0x2E, 1, 2, 3)}), ErrForbidden)
	require.ErrorIs(t, a.Admit([]obd.Request{obd.NewRequest(obd.ClearCodes)}), ErrForbidden)
	require.NoError(t, a.Admit([]obd.Request{obd.NewRequest(0x21, 0x31), obd.NewRequest(0x22, 0x11, 1), obd.Test(0x53)}))
	assert.Equal(t, []string{"2131", "221101"}, a.admitted)
}
