package uds_test

import (
	"encoding/csv"
	"encoding/hex"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd"
	"stumble/obd/uds"
)

// vector is one row of uds-vectors.csv. Its last columns name how sure the layout is and where it is from: none of them
// was captured on a car.
type vector struct {
	request  obd.Request
	message  obd.Message
	expected string
}

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	require.NoError(t, err, s)
	return b
}

// TestVectors runs every row.
func TestVectors(t *testing.T) {
	f, err := os.Open("../../testdata/vectors/uds-vectors.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(rows), 35)
	checks := map[string]func(*testing.T, vector) (told string, err error){
		"speaks": speaks, "bitmap": bitmap, "classic": classic, "vin": info, "calibrations": info, "cvns": info, "name": info,
		"refused": classic, "codes": codes, "counts": counts, "in-use": inUse, "frame": frame, "cleared": cleared,
	}
	for _, row := range rows[1:] {
		t.Run(row[2]+"/"+row[1], func(t *testing.T) {
			require.Contains(t, []string{"two sources", "one source", "from memory", "built"}, row[4], "how sure it is")
			require.NotEmpty(t, row[5], "a vector without a source")
			request := unhex(t, row[0])
			v := vector{obd.NewRequest(obd.Service(request[0]), request[1:]...),
				obd.Message{Module: obd.Module{ID: 0x7E8, Bits: 11}, Data: unhex(t, row[1])}, row[3]}
			kind, wrong := strings.CutSuffix(row[2], "-error")
			wrong = wrong || kind == "refused"
			told, err := checks[kind](t, v)
			if wrong {
				require.ErrorContains(t, err, row[3])
				return
			}
			require.NoError(t, err)
			assert.Equal(t, row[3], told)
			if _, refused := obd.DecodeNegative(v.message); !refused {
				assert.True(t, obd.Answers(v.request, v.message), "it answers the request")
			}
		})
	}
}

func speaks(_ *testing.T, v vector) (string, error) {
	if uds.Speaks(v.message) {
		return "yes", nil
	}
	return "no", nil
}

func older(t *testing.T, v vector) (obd.Message, error) {
	t.Helper()
	data, err := uds.AppendClassic(nil, v.request, v.message)
	return obd.Message{Module: v.message.Module, Data: data}, err
}

func classic(t *testing.T, v vector) (string, error) {
	m, err := older(t, v)
	return strings.ToUpper(hex.EncodeToString(m.Data)), err
}

func bitmap(t *testing.T, v vector) (string, error) {
	m, err := older(t, v)
	require.NoError(t, err)
	var have obd.Support
	if err := have.Add(obd.CAN11At500, m); err != nil {
		return "", err
	}
	var ids []string
	for id := range have.All() {
		ids = append(ids, fmt.Sprintf("%02X", id))
	}
	return strings.Join(ids, " "), nil
}

func info(t *testing.T, v vector) (string, error) {
	m, err := older(t, v)
	require.NoError(t, err)
	messages := []obd.Message{m}
	switch m.Data[1] {
	case obd.InfoVIN:
		return obd.DecodeVIN(obd.CAN11At500, messages)
	case obd.InfoCalibrations:
		all, err := obd.DecodeCalibrations(obd.CAN11At500, messages)
		return strings.Join(all, "|"), err
	case obd.InfoECUName:
		acronym, name, err := obd.DecodeECUName(obd.CAN11At500, messages)
		return acronym + " " + name, err
	}
	all, err := obd.DecodeCVNs(obd.CAN11At500, messages)
	var text []string
	for _, n := range all {
		text = append(text, n.String())
	}
	return strings.Join(text, "|"), err
}

func codes(_ *testing.T, v vector) (string, error) {
	all, err := uds.DecodeCodes(v.message)
	var text []string
	for _, c := range all {
		text = append(text, fmt.Sprintf("%v severity %02X status %02X", c, c.Severity, byte(c.Status)))
	}
	return strings.Join(text, "|"), err
}

func counts(t *testing.T, v vector) (string, error) {
	readings, err := uds.AppendCounts(nil, v.message)
	if err != nil {
		assert.Empty(t, readings, "all of a record or nothing")
		return "", err
	}
	_, results, err := uds.DecodeCounts(v.message)
	require.NoError(t, err)
	text := ""
	for i, r := range results {
		if i == 0 {
			text = fmt.Sprintf("%d:", r.MID-obd.MIDMisfire)
		}
		if r.Unit != obd.Counts {
			text += " -"
			continue
		}
		require.NotEmpty(t, readings)
		assert.EqualValues(t, i, readings[0].Part)
		assert.Equal(t, r.Value, readings[0].Value)
		assert.Equal(t, r.MID, readings[0].ID)
		text += fmt.Sprintf(" %.0f", readings[0].Value)
		readings = readings[1:]
	}
	assert.Empty(t, readings)
	return text, nil
}

func inUse(_ *testing.T, v vector) (string, error) {
	_, r, _, err := uds.DecodeInUse(v.message)
	return fmt.Sprintf("%d of %d", r.Completed, r.Met), err
}

func frame(_ *testing.T, v vector) (string, error) {
	_, f, _, err := uds.DecodeFrame(v.message)
	var text []string
	for _, r := range f.Readings {
		text = append(text, strings.TrimSuffix(strings.TrimRight(fmt.Sprintf("%02X=%.3f", r.ID, r.Value), "0"), "."))
	}
	return strings.Join(text, " "), err
}

func cleared(*testing.T, vector) (string, error) { return "", nil }

// What is asked for, byte for byte (ISO 14229-1 by three public descriptions; the order of the masks: two of them).
func TestRequests(t *testing.T) {
	code := obd.CodeStatus{Code: 0x0302, Failure: 0x1F}
	for want, req := range map[string]obd.Request{
		"22f810": uds.Identify(), "194233081e": uds.Stored(), "194233041e": uds.Pending(), "195533": uds.Permanent(),
		"19563305": uds.Readiness(5), "190403021f00": uds.Frame(code, uds.FirstFrame), "190403021ff0": uds.Frame(code, uds.LatestFrame),
		"190603021f91": uds.InUse(code), "190603020092": uds.Counts(2), "190603100092": uds.Counts(10), "190603120092": uds.Counts(12),
	} {
		assert.Equal(t, want, req.String())
	}
	for from, want := range map[obd.Request]string{
		obd.Live(0x0C): "22f40c", obd.Live(0x0C, 0x0D, 0x04): "22f40cf40df404", obd.Info(2): "22f802", obd.Test(0xA2): "22f6a2",
	} {
		got, ok := uds.FromClassic(from)
		assert.True(t, ok)
		assert.Equal(t, want, got.String())
	}
	for _, none := range []obd.Request{obd.Live(1, 2, 3, 4), obd.NewRequest(obd.StoredCodes), obd.Frozen(2, 0), obd.NewRequest(obd.LiveData)} {
		_, ok := uds.FromClassic(none)
		assert.False(t, ok, none.String())
	}
}

// An answer to another request of the same service is not taken for this one's.
func TestAnswers(t *testing.T) {
	for _, c := range []struct {
		req, answer string
		is          bool
	}{
		{"22F40C", "62F40D20", false}, {"22F40CF40D", "62F40D20", true}, {"22F40C", "62F4", false},
		{"194233081E", "594233FF1E04", true}, {"194233081E", "595533FF04", false}, {"195533", "595534FF04", false},
		{"190603020092", "5906030200409201", true}, {"190603020092", "5906030300409201", false}, {"190603020092", "5906030200409101", false},
		{"190603020092", "590603020040", true}, {"190603020092", "5904030200409201", false}, {"190603020092", "7F1978", true},
		{"190603020092", "7F2278", false}, {"14FFFF33", "54", true},
	} {
		r := unhex(t, c.req)
		got := obd.Answers(obd.NewRequest(obd.Service(r[0]), r[1:]...), obd.Message{Data: unhex(t, c.answer)})
		assert.Equal(t, c.is, got, "%s answered %s", c.req, c.answer)
	}
}

// Old and new notation of a code are one code; what is behind the dash is its type of failure.
func TestNotation(t *testing.T) {
	found, err := uds.DecodeCodes(obd.Message{Data: unhex(t, "595533FF04 03020008 56789A08 A5B6C708")})
	require.NoError(t, err)
	require.Len(t, found, 3)
	old, err := obd.ParseCode("P0302")
	require.NoError(t, err)
	assert.Equal(t, old, found[0].Code)
	assert.Equal(t, "P0302-00", found[0].String())
	assert.Equal(t, "C1678-9A", found[1].String(), "knowledge base of ISO 14229, recomputed")
	assert.Equal(t, "B25B6-C7", found[2].String(), "knowledge base of ISO 14229, recomputed")
}

func TestPollingAllocatesNothing(t *testing.T) {
	m := obd.Message{Data: unhex(t, "59060302002F92020024000C0000FFFF0024012F0000FFFF")}
	dst := make([]obd.Reading, 0, 8)
	assert.Zero(t, testing.AllocsPerRun(100, func() { dst, _ = uds.AppendCounts(dst[:0], m) }))
	assert.Len(t, dst, 2)
}

func FuzzDecoders(f *testing.F) {
	for _, s := range []string{"59060302002F92020024000C0000FFFF0024012F0000FFFF", "594233081E040825221F0C", "59040302002F0001F40C1784", "62F40C0BB8F40D20"} {
		b, _ := hex.DecodeString(s)
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		m := obd.Message{Data: data}
		_, _ = uds.DecodeCodes(m)
		_, results, _ := uds.DecodeCounts(m)
		readings, err := uds.AppendCounts(nil, m)
		if err != nil && len(readings) > 0 || len(readings) > len(results) {
			t.Errorf("%X: %d readings of %d results, %v", data, len(readings), len(results), err)
		}
		_, _, _, _ = uds.DecodeFrame(m)
		_, _, _, _ = uds.DecodeInUse(m)
		for _, req := range []obd.Request{obd.NewRequest(obd.DataByID, 0xF4, 0x0C), obd.NewRequest(obd.DataByID, 0xF8, 0x04), obd.NewRequest(obd.DataByID, 0xF6, 0xA2)} {
			if out, err := uds.AppendClassic(nil, req, m); err != nil && len(out) > 0 {
				t.Errorf("%X: %X beside %v", data, out, err)
			}
		}
	})
}
