package viewstest

import (
	"math"
	"strings"

	"stumble/misfire/bench"
	"stumble/views"
)

// Bench is a set of readings with every mark, one of them taken twice and one that this program does not know.
func Bench() *views.Bench {
	b := &views.Bench{Job: 7}
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
		b.Readings = append(b.Readings, views.BenchReading{ID: int64(i), Judgement: j, Then: &then})
	}
	return b
}
