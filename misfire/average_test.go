package misfire

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"stumble/misfire/gear"
)

// Test 0B is nine tenths of what it was and a tenth of the cycle's count (SAE J1979, from memory).
func TestAverageIsCheckedAgainstTheCounts(t *testing.T) {
	tests := []struct {
		name string
		keep func(m *mill) // what the car makes of the cycle, after the usual
		odd  *AverageCheck
	}{
		{"as the standard has it", func(*mill) {}, nil},
		{"rounded down", func(m *mill) { m.average[1] -= 0.9 }, nil},
		{"not moved at all", func(m *mill) { m.average[1] = 100 },
			&AverageCheck{Before: 100, After: 100, Counted: 150, Due: 105}},
		{"taken in by half", func(m *mill) { m.average[1] = 125 },
			&AverageCheck{Before: 100, After: 125, Counted: 150, Due: 105}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			m := newMill(t, 200, 0, 0.1)
			m.average = []float64{0, 100}
			m.start(750)
			m.mark(gear.Drive)
			m.run(4 * time.Minute)
			m.stand(0)
			tt.keep(m)
			m.run(5 * time.Second)
			m.start(750)
			m.run(10 * time.Second)
			s := m.ended()
			assert.Equal(t, Average{Cylinder: 2, Value: float64(int(m.average[1] + 0.5))}, s.Averages[1])
			var odd []Note
			for _, n := range s.Notes {
				if n.Kind == NoteAverageDisagrees {
					odd = append(odd, n)
				}
			}
			if tt.odd == nil {
				assert.Empty(t, odd)
				return
			}
			assert.Len(t, odd, 1)
			assert.Equal(t, 2, odd[0].Cylinder)
			assert.InDelta(t, tt.odd.Before, odd[0].Average.Before, 0.5)
			assert.InDelta(t, tt.odd.After, odd[0].Average.After, 0.5)
			assert.InDelta(t, tt.odd.Counted, odd[0].Average.Counted, 0.5)
			assert.InDelta(t, tt.odd.Due, odd[0].Average.Due, 0.5)
		})
	}
}

func TestAverageIsNotCheckedWithoutACycle(t *testing.T) {
	for name, change := range map[string]func(m *mill){
		"no restart":       func(*mill) {},
		"the lights":       func(m *mill) { m.rpm = 0; m.run(5 * time.Second); m.rpm = 750 },
		"a lost link":      func(m *mill) { m.pass(20 * time.Second); clear(m.counted); m.refresh() },
		"an average unset": func(m *mill) { m.average = nil; m.stand(time.Second); m.start(750) },
	} {
		m := newMill(t, 200, 0, 0.1)
		m.average = []float64{0, 100}
		m.mark(gear.Drive)
		m.run(4 * time.Minute)
		change(m)
		m.run(20 * time.Second)
		for _, n := range m.ended().Notes {
			assert.NotEqual(t, NoteAverageDisagrees, n.Kind, name)
		}
	}
}

func TestAverageOfACountNotSeenToItsEnd(t *testing.T) {
	a := newAverage()
	a.began(0)
	a.read(100)
	a.ended(150, false) // it may have gone on to 400
	a.began(0)
	a.read(130)
	assert.Empty(t, a.odd)
	a.ended(500, false)
	a.began(0)
	a.read(100)
	assert.NotEmpty(t, a.odd, "but it cannot have been less")
}
