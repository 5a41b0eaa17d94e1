package misfire

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/gear"
	"stumble/obd"
)

// byCode tells the counts of a drive as results of codes instead: the average in one place and the count in another.
func byCode(record []obd.Sample, average func(cylinder byte, seconds float64) float64, averageAt, countAt byte) []obd.Sample {
	var out []obd.Sample
	for i := range record {
		s := record[i].Clone()
		for k := range s.Readings {
			r := &s.Readings[k]
			if r.Service != obd.TestResults {
				continue
			}
			r.Service, r.Part = obd.CodeData, countAt
			a := *r
			a.Part, a.Value = averageAt, average(r.ID-obd.MIDCylinder1, s.Sent.Sub(noon).Seconds())
			s.Readings = append(s.Readings, a)
		}
		if averageAt < countAt { // as they lie in the record
			slices.SortStableFunc(s.Readings, func(a, b obd.Reading) int { return int(a.Part) - int(b.Part) })
		}
		out = append(out, s)
	}
	return out
}

func tallied(record []obd.Sample) *Summary {
	tally := NewTally(Config{})
	tally.Mark(noon, gear.Drive)
	for i := range record {
		tally.Add(&record[i])
	}
	tally.Finish()
	return tally.Summary()
}

// Nobody says which result of a code is which. Whatever their order, what is counted is what would be counted of a car that
// names them; the average, which moves when the engine stops, is no miss.
func TestCountsThatDoNotSayWhatTheyAre(t *testing.T) {
	m := newMill(t, 200, 0, 0.03, 0, 0.001)
	m.keep = true
	m.mark(gear.Drive)
	m.run(5 * time.Minute)
	m.rpm = 0
	m.run(20 * time.Second)
	named := tallied(m.record)
	require.Greater(t, named.Total[1].Misses, 20.0)
	moves := func(cylinder byte, seconds float64) float64 {
		if seconds > 310 { // the engine has stopped
			return 14 + float64(cylinder)
		}
		return 11 - float64(cylinder)
	}
	for name, at := range map[string][2]byte{"average first": {0, 1}, "count first": {1, 0}} {
		s := tallied(byCode(m.record, moves, at[0], at[1]))
		assert.Equal(t, estimates(named), estimates(s), name)
		assert.Contains(t, s.Notes, Note{Kind: NoteByCode})
		assert.NotContains(t, named.Notes, Note{Kind: NoteByCode})
	}
}

// Where nothing ever moves nothing is counted, whichever of them is this drive's; and what moves only as the engine stops
// is no miss.
func TestNoneOfThemMoves(t *testing.T) {
	m := newMill(t, 200, 0, 0, 0, 0)
	m.keep = true
	m.mark(gear.Drive)
	m.run(3 * time.Minute)
	m.rpm = 0
	m.run(20 * time.Second)
	for _, at := range [][2]byte{{0, 1}, {1, 0}} {
		s := tallied(byCode(m.record, func(_ byte, seconds float64) float64 {
			if seconds > 190 {
				return 40
			}
			return 30
		}, at[0], at[1]))
		require.Len(t, s.Total, 4)
		for _, c := range s.Total {
			assert.Zero(t, c.Misses)
			assert.Greater(t, c.Firings, 500.0)
		}
	}
}

// A car of the change-over years tells counts in both languages, and those of one stand still: the others are counted from
// where they were first read. Where both move they are one count, not two.
func TestCountsInTwoLanguages(t *testing.T) {
	m := newMill(t, 200, 0, 0.03, 0, 0)
	m.keep = true
	m.mark(gear.Drive)
	m.run(5 * time.Minute)
	want := tallied(m.record)
	for name, standing := range map[string]bool{"those of service 06 stand still": true, "both move": false} {
		var both []obd.Sample
		for i := range m.record {
			s := m.record[i].Clone()
			for k := range s.Readings {
				r := s.Readings[k]
				if r.Service != obd.TestResults {
					continue
				}
				if standing {
					s.Readings[k].Value = 7
				}
				r.Service, r.Part = obd.CodeData, 0
				s.Readings = append(s.Readings, r)
			}
			both = append(both, s)
		}
		assert.Equal(t, estimates(want), estimates(tallied(both)), name)
	}
}
