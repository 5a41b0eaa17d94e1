package misfire

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"stumble/misfire/gear"
	"stumble/misfire/rate"
	"stumble/obd"
)

// Two modules answer for the same monitors, the transmission's first and with counts of its own: those of the module
// that tells the engine speed are taken, and of a car where it has none those of the other.
func TestTwoModulesCount(t *testing.T) {
	plain := newMill(t, 200, 0, 0.03, 0, 0)
	plain.keep = true
	plain.mark(gear.Drive)
	plain.run(6 * time.Minute)
	want := played(plain.record, func([]obd.Reading) []obd.Reading { return nil })
	other := func(all []obd.Reading) (more []obd.Reading) {
		for _, r := range all {
			if r.Service == obd.TestResults {
				r.Module, r.Value = tcm, 5000+3*r.Value
				more = append(more, r)
			}
		}
		return more
	}
	both := played(plain.record, other)
	assert.Equal(t, estimates(want), estimates(both))
	assert.Equal(t, want.Verdict, both.Verdict)
	assert.Equal(t, []Note{{Kind: NoteOtherModule}}, slices.DeleteFunc(both.Notes, func(n Note) bool { return slices.Contains(want.Notes, n) }))

	alone := make([]obd.Sample, len(plain.record))
	for i := range plain.record {
		alone[i] = plain.record[i].Clone()
		for k := range alone[i].Readings {
			if r := &alone[i].Readings[k]; r.Service == obd.TestResults {
				r.Module = tcm
			}
		}
	}
	only := played(alone, func([]obd.Reading) []obd.Reading { return nil })
	assert.Equal(t, estimates(want), estimates(only), "the engine's module has no counters")
	assert.Equal(t, want.Notes, only.Notes)
}

func estimates(s *Summary) (all []rate.Estimate) {
	for _, c := range s.Total {
		all = append(all, c.Estimate)
	}
	return all
}

// played counts samples, each with other readings before its own.
func played(record []obd.Sample, before func([]obd.Reading) []obd.Reading) *Summary {
	tally := NewTally(Config{})
	tally.Mark(noon, gear.Drive)
	for i := range record {
		s := record[i].Clone()
		s.Readings = append(before(s.Readings), s.Readings...)
		tally.Add(&s)
	}
	tally.Finish()
	return tally.Summary()
}
