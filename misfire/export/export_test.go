package export

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/parquet-go/parquet-go"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/misfire/rate"
	"stumble/obd"
)

// morning is when the drives of these tests begin: not in UTC, and not on a whole millisecond.
var morning = time.Date(2026, 3, 2, 9, 0, 0, 120, time.FixedZone("", 2*3600))

func someSamples() []Sample {
	engine := obd.Module{ID: 0x7E8, Bits: 11}
	s := &obd.Sample{Sent: morning.Add(time.Second), Received: morning.Add(1250 * time.Millisecond), Readings: []obd.Reading{
		{Module: engine, Service: obd.LiveData, ID: obd.PIDRPM, Value: 712.25, Unit: obd.RPM},
		{Module: engine, Service: obd.LiveData, ID: obd.PIDCoolant, Value: -40, Unit: obd.Celsius},
		{Module: engine, Service: obd.LiveData, ID: obd.PIDStatus, Part: obd.PartCodeCount, Value: 2, Unit: obd.Counts},
		{Service: obd.TestResults, ID: obd.MIDCylinder1 + 1, Part: obd.TIDCount, Value: 65535, Unit: obd.UnscaledCounts},
		{Service: obd.LiveData, ID: 0xFE, Value: math.NaN()},
	}}
	return AppendSample(nil, morning, s)
}

func someWindows() []Window {
	condition := func(g gear.State) misfire.Condition { return misfire.Condition{Gear: g, Load: 1, RPM: 0, Warm: true} }
	rows := AppendWindow(nil, 1, morning, &misfire.Window{
		From: morning, To: morning.Add(16 * time.Second), Counted: true,
		Stretches: []misfire.Stretch{
			{Condition: condition(gear.ParkNeutral), Firings: 25, Running: 4 * time.Second},
			{Condition: condition(gear.Drive), Firings: 75, Running: 12 * time.Second},
		},
		Counts: []misfire.WindowCount{{Cylinder: 1}, {Cylinder: 2, Misses: 7, AtLeast: true}},
	})
	return AppendWindow(rows, 2, morning, &misfire.Window{
		From: morning.Add(16 * time.Second), To: morning.Add(20 * time.Second), Counts: []misfire.WindowCount{{Cylinder: 1, Misses: 3}}})
}

func someCells() []Cell {
	d := misfire.Condition{Gear: gear.Drive, Load: 1, RPM: 0}
	return Cells(&misfire.Summary{
		Cells: []misfire.Cell{{Cylinder: 2, Condition: d, Origin: gear.Marked, Reported: true, Estimate: rate.Interval(31, 1000, 1), Running: 2 * time.Minute,
			Mixed: 0.02, Apart: true, Judged: true, Worsening: true, Since: morning.Add(time.Minute), RPM: 700, Load: 31.5}},
		ByGear: []misfire.Cell{{Cylinder: 2, Condition: d, Origin: gear.Inferred, Reported: true,
			Estimate: rate.Estimate{Misses: 9, Firings: 100, Rate: 90, Low: 40, High: math.Inf(1), Phi: 2, AtLeast: true}, RPM: 700, Load: 31.5}},
		Total: []misfire.Cell{{Cylinder: 2, Reported: true, Estimate: rate.Interval(31, 2000, 1), RPM: math.NaN(), Load: math.NaN()},
			{Cylinder: 3, Estimate: rate.Interval(0, 2000, 1), RPM: math.NaN(), Load: math.NaN()}},
	})
}

// What was written is what is read: by the readers of others, in every format, to the last bit.
func TestRoundTrip(t *testing.T) {
	t.Run("samples", func(t *testing.T) { roundTrip(t, someSamples()) })
	t.Run("windows", func(t *testing.T) { roundTrip(t, someWindows()) })
	t.Run("tally", func(t *testing.T) { roundTrip(t, someCells()) })
}

func roundTrip[R Row](t *testing.T, rows []R) {
	require.NotEmpty(t, rows)
	assert.Equal(t, rows, parquetRows[R](t, written(t, Parquet, rows)))

	// JSON and CSV hold the same fields; what JSON writes as null is empty in CSV.
	table, err := csv.NewReader(bytes.NewReader(written(t, CSV, rows))).ReadAll()
	require.NoError(t, err)
	require.Len(t, table, len(rows)+1)
	lines := strings.SplitAfter(strings.TrimSuffix(string(written(t, JSONL, rows)), "\n"), "\n")
	require.Len(t, lines, len(rows))
	for i, line := range lines {
		var object map[string]any
		require.NoError(t, json.Unmarshal([]byte(line), &object))
		require.Len(t, object, len(table[0]))
		for c, name := range table[0] {
			require.Contains(t, object, name)
			assert.Equal(t, textOf(object[name]), table[i+1][c], "%s of row %d", name, i+1)
		}
		assert.Equal(t, textOf(valueOf(rows[i])), textOf(object), "row %d", i+1)
	}
}

func written[R Row](t *testing.T, f Format, rows []R) []byte {
	var b bytes.Buffer
	w, err := NewWriter[R](&b, f)
	require.NoError(t, err)
	for i := range rows { // one by one, as a drive gives them
		require.NoError(t, w.Write(rows[i:i+1]))
	}
	require.NoError(t, w.Close())
	require.Equal(t, len(rows), w.Rows())
	return b.Bytes()
}

func parquetRows[R Row](t *testing.T, file []byte) []R {
	rows, err := parquet.Read[R](bytes.NewReader(file), int64(len(file)))
	require.NoError(t, err)
	return rows
}

// textOf is a value of JSON as CSV has it.
func textOf(v any) string {
	switch v := v.(type) {
	case nil:
		return ""
	case string:
		return v
	case float64:
		return number(v)
	}
	text, err := json.Marshal(v)
	if err != nil {
		return err.Error()
	}
	return string(text)
}

// valueOf is a row by the names of its Parquet columns.
func valueOf(row any) map[string]any {
	object := make(map[string]any)
	v := reflect.ValueOf(row)
	for i := range v.NumField() {
		name, _, _ := strings.Cut(v.Type().Field(i).Tag.Get("parquet"), ",")
		object[name] = v.Field(i).Interface()
	}
	return object
}

// Other readers see times as times and words as words.
func TestParquetTypes(t *testing.T) {
	file := written(t, Parquet, someCells())
	f, err := parquet.OpenFile(bytes.NewReader(file), int64(len(file)))
	require.NoError(t, err)
	schema := f.Schema().String()
	assert.Contains(t, schema, "optional int64 worse_since_utc (TIMESTAMP(isAdjustedToUTC=true,unit=MICROS))")
	assert.Contains(t, schema, "required binary level (STRING)")
	assert.Contains(t, schema, "optional boolean warm")
	assert.Contains(t, schema, "required double firings")
}

func TestSampleRows(t *testing.T) {
	rows := someSamples()
	value := 712.25
	assert.Equal(t, Sample{Time: Micros(morning.Add(1250 * time.Millisecond).UnixMicro()), Seconds: 1.25, Answer: 0.25, Module: "0x7E8",
		Service: "0x01", ID: "0x0C", Part: "0x00", Name: "engine speed", Value: &value, Unit: "rpm"}, rows[0])
	assert.Equal(t, "2026-03-02T07:00:01.250000Z", rows[0].Time.String(), "in UTC")
	assert.Equal(t, "monitor status since clear: stored codes", rows[2].Name)
	assert.Equal(t, "misfire of cylinder 2: misses, this driving cycle", rows[3].Name)
	assert.Equal(t, [...]string{"", "0x06", "0xA3", "0x0C"}, [...]string{rows[3].Module, rows[3].Service, rows[3].ID, rows[3].Part})
	assert.Nil(t, rows[4].Value, "no number is no value")
}

// A window stands under the condition that most of it ran in, and says how much did not.
func TestWindowRows(t *testing.T) {
	rows := someWindows()
	require.Len(t, rows, 3)
	assert.Equal(t, "D", rows[1].Gear)
	assert.Equal(t, 0.25, rows[1].Mixed)
	assert.Equal(t, 100.0, rows[1].Firings)
	assert.Equal(t, 16.0, rows[1].Running)
	assert.EqualValues(t, 7, rows[1].Misses)
	assert.Equal(t, "?", rows[2].Gear, "nothing of it may be judged")
	assert.Nil(t, rows[2].Warm)
	assert.Zero(t, rows[2].Mixed)
	assert.False(t, rows[2].Counted)
}

func TestCellRows(t *testing.T) {
	rows := someCells()
	require.Len(t, rows, 4)
	assert.Equal(t, "under 1000 rpm", *rows[0].RPMBand)
	assert.Nil(t, rows[1].High, "only 'at least' is known")
	assert.Nil(t, rows[1].RPMBand)
	assert.Equal(t, "inferred", *rows[1].Origin)
	assert.Nil(t, rows[2].Gear)
	assert.Nil(t, rows[3].Misses, "without a counter nothing is known")
}

func TestFormats(t *testing.T) {
	for path, want := range map[string]Format{"": CSV, "a": CSV, "a.csv": CSV, "b.JSONL": JSONL, "c.parquet": Parquet, "parquet": CSV, "d.txt": CSV} {
		assert.Equal(t, want, FormatOf(path), path)
	}
	for _, f := range Formats() {
		got, err := ParseFormat(string(f))
		require.NoError(t, err)
		assert.Equal(t, f, got)
	}
	_, err := ParseFormat("xml")
	assert.EqualError(t, err, `there is no format "xml": give csv, jsonl or parquet`)
}

// narrow takes so many bytes and no more.
type narrow struct{ left int }

func (n *narrow) Write(p []byte) (int, error) {
	if n.left -= len(p); n.left < 0 {
		return 0, errors.New("no space")
	}
	return len(p), nil
}

// A disk that fills up is an error, at the latest at the end, wherever in the file it does.
func TestWriterThatFails(t *testing.T) {
	rows := someCells()
	for _, f := range Formats() {
		whole := len(written(t, f, rows))
		for room := 0; room < whole; room += 1 + whole/20 {
			w, err := NewWriter[Cell](&narrow{room}, f)
			if err == nil {
				err = errors.Join(w.Write(rows), w.Close())
			}
			require.ErrorContains(t, err, "no space", "%s with room for %d bytes", f, room)
		}
	}
}
