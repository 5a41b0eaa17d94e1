package vehicle

import (
	"context"
	"encoding/csv"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd"
	"stumble/obd/elm"
)

// published finds the response of a row of decode-vectors.csv by its request and what it shows. The row's last
// column names its source.
func published(t *testing.T, request, what string) string {
	t.Helper()
	f, err := os.Open("../../testdata/vectors/decode-vectors.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	i := slices.IndexFunc(rows, func(r []string) bool { return r[1] == request && r[3] == what })
	require.GreaterOrEqual(t, i, 0, "no row for %s %s", request, what)
	return rows[i][2]
}

// counted is a monitor's answer with an average (TID 0B) and a count (TID 0C), unit 24h, limits that do not
// apply: two records of nine bytes as SAE J1979 has them.
func counted(mid byte, average, count int) string {
	return fmt.Sprintf("46%02X0B24%04X0000FFFF%02X0C24%04X0000FFFF", mid, average, mid, count)
}

func pids(s obd.Support) []byte { return slices.Collect(s.All()) }

// Two modules answer each bitmap differently; the first has more to come, the second has not. The engine's
// bitmap is a published one.
func TestTwoModulesWithDifferentBitmaps(t *testing.T) {
	engine := published(t, "0100", "supported_pids") // BE1FA813: 01 03 04 05 06 07 0C 0D 0E 0F 10 11 13 15 1C 1F 20
	car := newScript(t, obd.CAN11At500, map[string]string{
		"0100": "7E8=" + engine + " 7E9=4100" + supports(0, 0x01, 0x0C, 0x0D),
		"0120": "7E8=4120" + supports(0x20, 0x21),
		"0900": "7E9=4900" + supports(0, 0x04) + " 7E8=4900" + supports(0, 0x02, 0x04),
	})
	c, err := Discover(t.Context(), car)
	require.NoError(t, err)
	require.Len(t, c.Modules, 2)
	assert.Equal(t, "7E8", c.Modules[0].Address.String(), "in order of address")
	assert.Equal(t, []byte{0x01, 0x03, 0x04, 0x05, 0x06, 0x07, 0x0C, 0x0D, 0x0E, 0x0F, 0x10, 0x11, 0x13, 0x15, 0x1C, 0x1F, 0x20, 0x21}, pids(c.Modules[0].PIDs))
	assert.Equal(t, []byte{0x01, 0x0C, 0x0D}, pids(c.Modules[1].PIDs), "the second module is heard out though the first has more")
	assert.Equal(t, []byte{0x02, 0x04}, pids(c.Modules[0].Info))
	assert.Equal(t, []byte{0x04}, pids(c.Modules[1].Info))
	assert.True(t, c.Has(0x21))
	assert.False(t, c.Has(0xA4))
	assert.True(t, c.HasInfo(obd.InfoVIN))
	assert.Zero(t, c.Cylinders())
	assert.Equal(t, []string{"010020406080A0", "0100", "0120", "22F810", "0900",
		"060020406080A0", "0600", "0600", "06A1", "06A1", "06A2", "06A2", "06A3", "06A3"}, car.asked, "silence is asked twice")
}

// Monitors A2 to AD are cylinders 1 to 12; AE to B1 are 13 to 16 only if they carry misfire counts, since
// editions of the standard disagree.
func TestManyCylinders(t *testing.T) {
	for _, test := range []struct {
		name      string
		cylinders int
		filters   bool // AE.. B1 are particulate filters here
	}{{"twelve", 12, false}, {"sixteen", 16, false}, {"twelve and particulate filters", 12, true}} {
		t.Run(test.name, func(t *testing.T) {
			said := map[string]string{"0100": "7E8=4100" + supports(0, 0x0C)}
			for base := byte(0); base < 0xA0; base += 0x20 {
				said[fmt.Sprintf("06%02X", base)] = fmt.Sprintf("7E8=46%02X%s", base, supports(base, base+0x20))
			}
			var ids []byte
			for mid := byte(0xA1); mid <= 0xB1; mid++ {
				if mid <= 0xAD || test.cylinders == 16 || test.filters {
					ids = append(ids, mid)
				}
				said[fmt.Sprintf("06%02X", mid)] = "7E8=" + counted(mid, 3, 17)
				if mid > 0xAD && test.filters {
					said[fmt.Sprintf("06%02X", mid)] = fmt.Sprintf("7E8=46%02X822F002400000080", mid)
				}
			}
			said["06A0"] = "7E8=46A0" + supports(0xA0, ids...)
			c, err := Discover(t.Context(), newScript(t, obd.CAN11At500, said))
			require.NoError(t, err)
			assert.True(t, c.General)
			assert.Equal(t, test.cylinders, c.Cylinders())
			require.Len(t, c.Monitors, test.cylinders)
			for i, m := range c.Monitors {
				assert.Equal(t, Monitor{Module: obd.Module{ID: 0x7E8, Bits: 11}, MID: 0xA2 + byte(i), Cylinder: i + 1, Counts: true}, m)
			}
		})
	}
}

// misfireCar supports rpm and the monitors given, with their answers.
func misfireCar(t *testing.T, answers map[byte]string) *script {
	said := map[string]string{"0100": "7E8=4100" + supports(0, 0x0C)}
	for base := byte(0); base < 0xA0; base += 0x20 {
		said[fmt.Sprintf("06%02X", base)] = fmt.Sprintf("7E8=46%02X%s", base, supports(base, base+0x20))
	}
	var ids []byte
	for mid, answer := range answers {
		ids = append(ids, mid)
		said[fmt.Sprintf("06%02X", mid)] = answer
	}
	said["06A0"] = "7E8=46A0" + supports(0xA0, ids...)
	return newScript(t, obd.CAN11At500, said)
}

// Monitor A1 may have no counts but maker's tests in percent against a limit, unit 30h: 100/65535 % a bit (the
// unit-and-scaling table of SAE J1979). The higher limit is taken as the catalyst's.
func TestLimitsOfTheWholeEngine(t *testing.T) {
	const catalyst, emission = "A18130028F00000CCC", "A18030000A00000290" // 0CCC is 5.0 %, 0290 is 1.0 % of 65535
	for name, answer := range map[string]string{
		"catalyst first": "7E8=46" + catalyst + emission,
		"emission first": "7E8=46" + emission + catalyst,
		"beside counts":  "7E8=46A10B2400910000FFFFA10C2400A90000FFFF" + emission + catalyst,
	} {
		c, err := Discover(t.Context(), misfireCar(t, map[byte]string{0xA1: answer}))
		require.NoError(t, err, name)
		assert.True(t, c.General, name)
		assert.InDelta(t, 5.0, c.CatalystLimit, 0.01, name)
		assert.InDelta(t, 1.0, c.EmissionLimit, 0.01, name)
		assert.Zero(t, c.Cylinders(), name)
	}
	for name, answer := range map[string]string{
		"never run":                "7E8=46A18130000000000000A18030000000000000",
		"only counts":              "7E8=" + counted(0xA1, 2, 5),
		"limit is none":            "7E8=46A18130028F0000FFFF",
		"not in percent":           "7E8=46A18124028F00000CCC",
		"a message short":          "7E8=46A18130028F",
		"another module's refusal": "7E9=7F0612",
	} {
		c, err := Discover(t.Context(), misfireCar(t, map[byte]string{0xA1: answer}))
		require.NoError(t, err, name)
		assert.Zero(t, c.CatalystLimit, name)
		assert.Zero(t, c.EmissionLimit, name)
	}
}

// What a monitor must have to be polled for counts: test 0C in the unit of counts, for itself.
func TestMonitorsWithoutCounts(t *testing.T) {
	c, err := Discover(t.Context(), misfireCar(t, map[byte]string{
		0xA2: "7E8=46A20B2400910000FFFF",                                   // the average alone
		0xA3: "7E8=46A30C3000910000FFFF",                                   // test 0C in percent
		0xA4: "7E8=46A40B2400910000FFFFA50C2400070000FFFF",                 // another monitor's count
		0xA5: "7E8=" + counted(0xA5, 0, 0) + " 7E9=" + counted(0xA5, 0, 0), // two modules count one cylinder
		0xA6: "7E8=7F0622",                                                 // refused
		0xA7: "7E8=" + counted(0xA7, 1, 65535),                             // saturated is a count all the same
		0xA8: "7E8=46A80B2400910000FFFFA80C2400",                           // cut short
	}))
	require.NoError(t, err)
	var counts []string
	for _, m := range c.Monitors {
		if m.Counts {
			counts = append(counts, fmt.Sprintf("%v %d", m.Module, m.Cylinder))
		}
	}
	assert.Equal(t, []string{"7E8 4", "7E9 4", "7E8 6"}, counts)
	assert.Equal(t, 6, c.Cylinders())
	assert.Len(t, newPlan(c, planning{size: batch}).counts, 2, "one request reaches both modules of a monitor")
}

// What a car may do without, and what ends the asking.
func TestDiscoverForgives(t *testing.T) {
	lost := errors.New("the plug was pulled")
	for name, test := range map[string]struct {
		fails map[string]error
		want  error
	}{
		"nothing but live data":   {fails: nil},
		"refuses the rest":        {fails: map[string]error{"0900": obd.NegativeResponse{Service: 9, Code: 0x11}, "0600": obd.NegativeResponse{Service: 6, Code: 0x11}}},
		"a later bitmap silent":   {fails: map[string]error{"0120": elm.NoData}},
		"a later bitmap garbled":  {fails: map[string]error{"0120": elm.Garbled}},
		"the first bitmap silent": {fails: map[string]error{"0100": elm.NoData}, want: elm.NoData},
		"ignition off":            {fails: map[string]error{"0900": elm.CANError}, want: elm.CANError},
		"link lost":               {fails: map[string]error{"0600": lost}, want: lost},
	} {
		t.Run(name, func(t *testing.T) {
			car := newScript(t, obd.CAN11At500, map[string]string{"0100": "7E8=4100" + supports(0, 0x0C, 0x20)})
			car.fails = func(req string) error { return test.fails[req] }
			c, err := Discover(t.Context(), car)
			if test.want != nil {
				assert.ErrorIs(t, err, test.want)
				return
			}
			require.NoError(t, err)
			assert.True(t, c.Has(0x0C))
		})
	}
}

// A bitmap that cannot be read spoils neither another module's nor the rest.
func TestDiscoverReadsAroundDamage(t *testing.T) {
	car := newScript(t, obd.CAN11At500, map[string]string{
		"0100": "7E8=410018 7E9=4100" + supports(0, 0x0C, 0x20),
		"0120": "7E9=412018",
		"0900": "7E8=490055",
	})
	c, err := Discover(t.Context(), car)
	require.NoError(t, err)
	assert.True(t, c.Has(0x0C))

	car.said["0100"] = "7E8=410018"
	_, err = Discover(t.Context(), car)
	var malformed *obd.MalformedError
	require.ErrorAs(t, err, &malformed)
	assert.NotContains(t, err.Error(), "\n")
}

// One answer that does not come, or comes spoiled, takes no counter away: it is asked again at once, and what stays unread
// is listed. A car may also answer nothing to its lists, and its monitors and its VIN all the same.
func TestNoAnswerIsNoAnswer(t *testing.T) {
	four := map[byte]string{0xA1: "", 0xA2: "", 0xA3: "", 0xA4: "", 0xA5: ""}
	for mid := range four {
		four[mid] = "7E8=" + counted(mid, 1, 7)
	}
	for name, test := range map[string]struct {
		silent map[string]int // how many times a request is not answered
		unread []obd.Unread
		counts int
	}{
		"the first list once":       {silent: map[string]int{"060020406080A0": 1, "0600": 1}, counts: 4},
		"the list of monitors once": {silent: map[string]int{"060020406080A0": 1, "06A0": 1}, counts: 4},
		"a monitor once":            {silent: map[string]int{"060020406080A0": 1, "06A3": 1}, counts: 4},
		"a monitor for good": {silent: map[string]int{"060020406080A0": 1, "06A3": 1000}, counts: 3,
			unread: []obd.Unread{{What: obd.UnreadTest, ID: 0xA3, Why: elm.NoData.Error()}}},
		"no list at all": {silent: map[string]int{"060020406080A0": 1, "0600": 1000}, counts: 4,
			unread: []obd.Unread{{What: obd.UnreadTests, Why: elm.NoData.Error()}}},
		"nothing of all that": {silent: map[string]int{"06": 1000}, counts: 0, unread: []obd.Unread{{What: obd.UnreadTests, Why: elm.NoData.Error()}}},
	} {
		t.Run(name, func(t *testing.T) {
			car := misfireCar(t, four)
			car.said["0902"] = "7E8=490201" + hex.EncodeToString([]byte("0LKWR16A4R0104217"))
			car.fails = func(req string) error {
				for prefix, n := range test.silent {
					if n > 0 && strings.HasPrefix(req, prefix) {
						test.silent[prefix]--
						return elm.NoData
					}
				}
				return nil
			}
			c, err := Discover(t.Context(), car)
			require.NoError(t, err)
			assert.Len(t, c.Monitors, test.counts)
			assert.Equal(t, test.unread, c.Unread)
			vin, _, err := ReadVIN(t.Context(), car, c)
			require.NoError(t, err)
			assert.Equal(t, "0LKWR16A4R0104217", vin, "no module told which information it has: it is asked for all the same")
		})
	}
}

func TestDiscoverEnds(t *testing.T) {
	ctx, cancel := context.WithCancelCause(t.Context())
	car := newScript(t, obd.CAN11At500, map[string]string{"0100": "7E8=4100" + supports(0, 0x0C)})
	car.fails = func(req string) error {
		if req == "0900" {
			cancel(errOver)
			return elm.NoData
		}
		return nil
	}
	_, err := Discover(ctx, car)
	assert.Error(t, err)
	assert.Equal(t, []string{"010020406080A0", "0100", "22F810", "0900"}, car.asked)
}

// Before CAN there are no counts to ask for. The bitmap answers are framed as those buses frame them (SAE J1979:
// a message count before the bits of service 09).
func TestDiscoverBeforeCAN(t *testing.T) {
	car := newScript(t, obd.ISO9141, map[string]string{
		"0100": "10=4100" + supports(0, 0x01, 0x0C, 0x0D),
		"0900": "10=490001" + supports(0, 0x02),
	})
	c, err := Discover(t.Context(), car)
	require.NoError(t, err)
	assert.Equal(t, "10", c.Modules[0].Address.String())
	assert.True(t, c.HasInfo(obd.InfoVIN))
	assert.Equal(t, []string{"0100", "0900"}, car.asked)
}
