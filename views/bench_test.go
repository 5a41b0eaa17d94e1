package views

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/bench"
)

// aBench is a set of readings with every mark, one of them taken twice and one that this program does not know.
func aBench() *Bench {
	b := &Bench{Job: 7}
	readings := []bench.Reading{
		{Part: bench.Wire, Quantity: bench.Resistance, Unit: "kohm", Cylinder: 2, Value: math.Inf(1), Length: 0.6},
		{Part: bench.Wire, Quantity: bench.Resistance, Unit: "kohm", Cylinder: 1, Value: 99, Length: 0.6},
		{Part: bench.Wire, Quantity: bench.Resistance, Unit: "kohm", Cylinder: 1, Value: 12, Length: 0.6},
		{Part: bench.Plug, Quantity: bench.Gap, Unit: "mm", Cylinder: 3, Value: 1.1},
		{Part: bench.Battery, Quantity: bench.Resting, Unit: "V", Value: 12.39},
		{Part: bench.Plug, Quantity: bench.Appearance, Cylinder: 4, Value: math.NaN(), Text: "normal\x1b[2J " + strings.Repeat("very ", 40)},
		{Part: "gearbox", Quantity: "slip", Unit: "%", Value: 3, Margin: 0.5},
	}
	then := bench.Good
	for i, j := range bench.Judge(readings) {
		b.Readings = append(b.Readings, BenchReading{ID: int64(i), Judgement: j, Then: &then})
	}
	return b
}

func TestWriteBench(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, WriteBench(&out, aBench()))
	text := out.String()
	assert.True(t, strings.HasPrefix(text, "Bad: plug wire of cylinder 2. Suspect: battery at rest. Not to be judged yet:\n"), text)
	assert.Contains(t, text, "    1  cylinder 1   99 kohm at 60 cm: measured again later\n    2  cylinder 1   12 kohm at 60 cm: good\n")
	assert.Contains(t, text, "    -  cylinder 2   open at 60 cm: BAD\n")
	assert.Contains(t, text, "    4  engine       12.39 V: SUSPECT\n")
	assert.Contains(t, text, "Gearbox, slip\n    6  engine       3 ± 0.5 %: cannot say\n                    No rule speaks of such a reading.\n")
	assert.NotContains(t, text, "\x1b")
	assert.Less(t, strings.Index(text, "Plug wire\n"), strings.Index(text, "Battery at rest\n"), "in the order of the kinds")
	assert.Equal(t, 1, strings.Count(text, "[1] plug wire, per foot, strict"), text)
	for line := range strings.Lines(text) {
		assert.LessOrEqual(t, width(strings.TrimSuffix(line, "\n")), pageWidth, line)
	}

	out.Reset()
	require.NoError(t, WriteBench(&out, &Bench{}))
	assert.Equal(t, "Nothing was measured by hand yet.\n", out.String())
}

func TestBenchObject(t *testing.T) {
	data, err := json.Marshal(NewBench(aBench()))
	require.NoError(t, err)
	var o struct {
		Job      int
		Readings []map[string]any
	}
	require.NoError(t, json.Unmarshal(data, &o))
	assert.Equal(t, 7, o.Job)
	open, redone, unknown := o.Readings[0], o.Readings[1], o.Readings[6]
	assert.Nil(t, open["reading"], "not saved")
	assert.Nil(t, open["value"])
	assert.Equal(t, true, open["open"])
	assert.Equal(t, 0.6, open["length_m"])
	assert.Equal(t, "bad", open["mark"])
	assert.Equal(t, "good", open["mark_then"])
	assert.Nil(t, open["maker"])
	assert.Equal(t, true, redone["redone"])
	assert.Equal(t, "cannot_say", unknown["mark"])
	assert.Equal(t, 0.5, unknown["margin"])
	assert.Nil(t, unknown["rule"])
}
