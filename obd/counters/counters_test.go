package counters_test

import (
	"encoding/hex"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd"
	"stumble/obd/counters"
)

const head = "cylinder,request,header,bytes,signed,factor,kind,wrap\n"

func TestTable(t *testing.T) {
	table, err := counters.Parse("\ufeff# ours\n" + head + "2, 21 32 , 8110f1 ,1-2,yes,0.5,clear,\n1,213101,,3,,,Clear,200\n")
	require.NoError(t, err)
	require.Len(t, table, 2)
	assert.Equal(t, counters.Counter{Cylinder: 1, Request: obd.NewRequest(0x21, 0x31, 0x01), Component: -1, From: 3, To: 3, Factor: 1,
		Kind: counters.Clear, Wrap: 200}, table[0])
	assert.Equal(t, counters.Counter{Cylinder: 2, Request: obd.NewRequest(0x21, 0x32), Component: -1, Header: "8110F1", From: 1, To: 2,
		Signed: true, Factor: 0.5, Kind: counters.Clear}, table[1])
	assert.Equal(t, [16]float64{200}, table.Wraps())
	assert.Equal(t, []obd.Request{obd.NewRequest(0x21, 0x31, 0x01), obd.NewRequest(0x21, 0x32)}, table.Requests())
}

// A bad row is told with its line, its column and the reason, on one line.
func TestBadRows(t *testing.T) {
	for text, want := range map[string]string{
		"":                                                "line 1: the table is empty",
		"# nothing\n":                                     "line 1: the table is empty",
		head:                                              "line 1: no counter follows",
		"cylinder,request\n1,21 30\n":                     "line 1, column bytes: is missing",
		"cylinder,request,bytes,colour\n":                 `line 1: "colour" is no column; there are cylinder,`,
		"cylinder,request,bytes,bytes\n":                  "line 1, column bytes: is there twice",
		head + "1,21 30,,1,no,1,cycle,,7\n":               "line 2: has 9 fields",
		head + "0,21 30,,1,no,1,cycle,\n":                 `line 2, column cylinder: "0" is no cylinder`,
		head + "17,21 30,,1,no,1,cycle,\n":                "line 2, column cylinder",
		head + "1,2F 30 01,,1,no,1,cycle,\n":              "line 2, column request: service 2F may not be sent",
		head + "1,04,,1,no,1,cycle,\n":                    "line 2, column request: service 04 may not be sent",
		head + "1,14 FF FF FF,,1,no,1,,\n":                "line 2, column request: service 14 may not be sent",
		head + "1,31 01,,1,no,1,,\n":                      "line 2, column request: service 31 may not be sent",
		head + "1,21,,1,no,1,,\n":                         "line 2, column request: \"21\" lacks an identifier",
		head + "1,22 11,,1,no,1,,\n":                      "line 2, column request: \"22 11\" lacks an identifier",
		head + "1,06 53,,1,no,1,,\n":                      "line 2, column request: \"06 53\" is to name a test and its component",
		head + "1,2 1 3,,1,no,1,,\n":                      "line 2, column request: \"2 1 3\" is no request",
		head + "1,22 11 01 11 02 11 03 11,,1":             "line 2, column request: \"22 11 01 11 02 11 03 11\" has 8 bytes, a request holds 7",
		head + "1,21 30,7E,1,no,1,,\n":                    "line 2, column header: \"7E\" is no header",
		head + "1,21 30,7G0,1,no,1,,\n":                   "line 2, column header",
		head + "1,21 30,,0,no,1,,\n":                      "line 2, column bytes: \"0\" names no bytes",
		head + "1,21 30,,3-2,no,1,,\n":                    "line 2, column bytes",
		head + "1,21 30,,1-5,no,1,,\n":                    "line 2, column bytes: \"1-5\" is 5 bytes, a count has 4 at most",
		head + "1,21 30,,1,maybe,1,,\n":                   "line 2, column signed: \"maybe\": say yes or no",
		head + "1,21 30,,1,no,-1,,\n":                     "line 2, column factor: \"-1\" is no factor",
		head + "1,21 30,,1,no,NaN,,\n":                    "line 2, column factor",
		head + "1,21 30,,1,no,Inf,,\n":                    "line 2, column factor",
		head + "1,21 30,,1,no,1,often,\n":                 "line 2, column kind: \"often\" is no kind; there are cycle, clear, revolutions, percent",
		head + "1,21 30,,1,no,1,cycle,257\n":              "line 2, column wrap: \"257\": say at which raw number",
		head + "1,21 30,,1,no,1,percent,99\n":             "line 2, column wrap: a counter of kind percent does not go round",
		head + "1,21 30,,1,yes,1,cycle,99\n":              "line 2, column wrap: a signed counter does not go round",
		head + "1,21 30,,1,,,,\n1,21 31,,1\n":             "line 3, column cylinder: cylinder 1 has a counter already",
		head + "1,21 30,,1,,,cycle\n2,21 31,,1,,,clear\n": "line 3, column kind: one table has one kind, and the lines before say cycle",
		head + "1,\"21 30,,1\n":                           "line 2: is no line of a CSV table",
		strings.Repeat("x", 1<<16+1):                      "line 1: is no table of counters: it is too long",
	} {
		_, err := counters.Parse(text)
		require.Error(t, err, text)
		var bad *counters.RowError
		require.ErrorAs(t, err, &bad)
		assert.Contains(t, err.Error(), want)
		assert.NotContains(t, err.Error(), "\n")
	}
}

// Answers of the layouts of ISO 14230-3 (61 id data), ISO 14229-1 (62 id id data) and SAE J1979 before CAN (46 test component
// value limit); the numbers are ours.
func TestValues(t *testing.T) {
	for _, c := range []struct {
		row, answer, raw string
		value            float64
		ok               bool
	}{
		{"1,21 31,,1-2,,,,", "613100B4", "00b4", 180, true},
		{"1,21 31,,2,,,,", "613100B4", "b4", 180, true},
		{"1,21 31,,2,yes,,,", "613100B4", "b4", -76, true},
		{"1,21 31,,1-2,yes,,,", "6131FFFE", "fffe", -2, true},
		{"1,21 31,,1-2,,0.5,,", "613100B5", "00b5", 90.5, true},
		{"1,21 31 02,,1,,,,", "613107", "07", 7, true},
		{"1,21 31,,1-4,,,,", "6131FFFFFFFF", "ffffffff", 4294967295, true},
		{"1,21 31,,3,,,,", "613100B4", "", 0, false},
		{"1,21 31,,1,,,,", "613207", "", 0, false},
		{"1,22 11 01,,1,,,,", "62110109", "09", 9, true},
		{"1,22 11 01,,1,,,,", "62110209", "", 0, false},
		{"1,22 11 01,,1,,,,", "7F2231", "", 0, false},
		{"1,06 53 02,,1-2,,,,", "465302000C0005", "000c", 12, true},
		{"1,06 53 02,,1-2,,,,", "465303000C0005", "", 0, false},
		{"1,06 53 02,,1-2,,,,", "465382000C0005", "", 0, false},
		{"1,06 53 82,,1-2,,,,", "465382000C0005", "000c", 12, true},
	} {
		table, err := counters.Parse(head + c.row + "\n")
		require.NoError(t, err, c.row)
		data, err := hex.DecodeString(c.answer)
		require.NoError(t, err)
		raw, value, ok := table[0].Value(obd.Message{Data: data})
		assert.Equal(t, c.ok, ok, "%s %s", c.row, c.answer)
		assert.Equal(t, c.raw, hex.EncodeToString(raw), "%s %s", c.row, c.answer)
		assert.Equal(t, c.value, value)
		readings := table.Append(nil, table[0].Request, obd.Message{Data: data})
		assert.Len(t, readings, map[bool]int{true: 1}[c.ok && c.value >= 0], "a count below 0 is none")
	}
}

func TestImpossibleValuesAreLeftOut(t *testing.T) {
	for row, answer := range map[string]string{"1,21 31,,1,,,percent,": "613165", "1,21 31,,1,,,revolutions,": "613165"} {
		table, err := counters.Parse(head + row + "\n")
		require.NoError(t, err)
		data, _ := hex.DecodeString(answer) // 101
		assert.Empty(t, table.Append(nil, table[0].Request, obd.Message{Data: data}))
		require.Error(t, table[0].Plausible(101))
		require.NoError(t, table[0].Plausible(100))
	}
}

func FuzzParse(f *testing.F) {
	f.Add(head+"1,21 30,,1,no,1,cycle,\n", []byte{0x61, 0x30, 1})
	f.Fuzz(func(t *testing.T, text string, answer []byte) {
		table, err := counters.Parse(text)
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Errorf("%q is two lines", err)
			}
			return
		}
		for i := range table {
			if s := table[i].Request.Service(); s != 0x21 && s != 0x22 && s != 0x06 || table[i].Request.Len() > 7 {
				t.Errorf("%q sends %v", text, table[i].Request)
			}
			table[i].Value(obd.Message{Data: answer})
		}
	})
}
