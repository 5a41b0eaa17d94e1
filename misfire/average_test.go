package misfire

import (
	"strings"
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
		say  string
	}{
		{"as the standard has it", func(*mill) {}, ""},
		{"rounded down", func(m *mill) { m.average[1] -= 0.9 }, ""},
		{"not moved at all", func(m *mill) { m.average[1] = 100 },
			"the car's own average for cylinder 2 went from 100 to 100 over a driving cycle that counted 150, where 105 was due: this car keeps it in another way"},
		{"taken in by half", func(m *mill) { m.average[1] = 125 },
			"the car's own average for cylinder 2 went from 100 to 125 over a driving cycle that counted 150, where 105 was due: this car keeps it in another way"},
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
			said := ""
			for _, n := range s.Notes {
				if strings.Contains(n, "own average") {
					said = n
				}
			}
			assert.Equal(t, tt.say, said)
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
		assert.NotContains(t, strings.Join(m.ended().Notes, "\n"), "own average", name)
	}
}

func TestAverageOfACountNotSeenToItsEnd(t *testing.T) {
	a := newAverage()
	a.began(0)
	a.read(100, 1)
	a.ended(150, false) // it may have gone on to 400
	a.began(0)
	a.read(130, 1)
	assert.Empty(t, a.odd)
	a.ended(500, false)
	a.began(0)
	a.read(100, 1)
	assert.NotEmpty(t, a.odd, "but it cannot have been less")
}
