package cause_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"stumble/misfire/cause"
	"stumble/obd"
)

const labFast = cause.Fast

// labTell adds what the driver reports.
func labTell(t testing.TB, e *cause.Evidence, keys []string) {
	t.Helper()
	known, _ := cause.StandardBook().Symptoms()
	for _, key := range keys {
		require.Contains(t, known, cause.Symptom(key))
		e.Told = append(e.Told, cause.Symptom(key))
	}
}

// labKnown tells whether the book holds a cause.
func labKnown(book *cause.Book) func(string) bool {
	held := make(map[string]bool)
	for _, i := range []cause.Ignition{cause.CoilOnPlug, cause.SharedCoils} {
		r := book.Explain(cause.Evidence{Ignition: i, Trims: cause.Trims{{}, {{Mean: 1, Samples: 3}}}, Codes: cause.Codes{Set: []obd.Code{0x0301}}})
		for _, c := range r.Ranked {
			held[c.Key] = true
		}
	}
	return func(key string) bool { return held[key] }
}

func labAlias(right []string, _ func(string) bool) []string { return right }
