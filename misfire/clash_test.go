package misfire

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/engine"
	"stumble/misfire/gear"
)

// The engine fires 1-4-2-5-3-6 (testdata/vectors/engine-layouts.csv): the second place of the order is cylinder 4.
func TestClash(t *testing.T) {
	layout, err := engine.Find("v6-along-142536")
	require.NoError(t, err)
	plain, err := engine.Plain(6)
	require.NoError(t, err)
	byOrder, err := engine.FromFiringOrder(layout)
	require.NoError(t, err)
	second := []float64{0, 0.05, 0, 0, 0, 0}
	for name, tt := range map[string]struct {
		cfg   Config
		rates []float64
		want  *Clash
	}{
		"the second of the firing order":         {Config{Engine: layout, Coded: []int{4}}, second, &Clash{[]int{4}, []int{2}, NumberingByOrder}},
		"not brought together by it":             {Config{Engine: layout, Coded: []int{5}}, second, &Clash{[]int{5}, []int{2}, NumberingOpen}},
		"an order that nobody told":              {Config{Engine: plain, Coded: []int{4}}, second, &Clash{[]int{4}, []int{2}, NumberingOpen}},
		"one of two by it":                       {Config{Engine: layout, Coded: []int{4}}, []float64{0, 0.05, 0.02, 0, 0, 0}, &Clash{[]int{4}, []int{2, 3}, NumberingOpen}},
		"both of two by it":                      {Config{Engine: layout, Coded: []int{4, 2}}, []float64{0, 0.02, 0.05, 0, 0, 0}, nil},
		"the same cylinder":                      {Config{Engine: layout, Coded: []int{2}}, second, nil},
		"one code of two is for the same":        {Config{Engine: layout, Coded: []int{2, 4}}, second, nil},
		"no code":                                {Config{Engine: layout}, second, nil},
		"counts that accuse none":                {Config{Engine: layout, Coded: []int{4}}, make([]float64, 6), nil},
		"the coded one misses, too":              {Config{Engine: layout, Coded: []int{4}}, []float64{0, 0.2, 0, 0.004, 0, 0}, nil},
		"the map of the firing order":            {Config{Engine: layout, Map: byOrder, Coded: []int{4}}, second, nil},
		"the standard's map, told":               {Config{Engine: layout, Map: engine.Identity(6), Coded: []int{4}}, second, &Clash{[]int{4}, []int{2}, NumberingTold}},
		"a code beyond the cylinders of the car": {Config{Engine: layout, Coded: []int{8}}, second, nil},
	} {
		t.Run(name, func(t *testing.T) {
			m := newMill(t, 200, tt.rates...)
			m.tally = NewTally(tt.cfg)
			m.mark(gear.Drive)
			m.run(6 * time.Minute)
			m.tally.Finish()
			v := m.tally.Summary().Verdict
			assert.Equal(t, tt.want, v.Clash, "accused are %v", v.Named())
			assert.Equal(t, tt.want != nil && tt.want.Numbering != NumberingTold, v.Clash.Open())
		})
	}
}
