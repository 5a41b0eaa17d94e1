package rate

// AverageKept is what the car's own average of misses (SAE J1979, test
// identifier 0B) should show after driving cycles with the given counts, from a
// start value: each cycle counts a tenth, the past nine tenths (from memory of
// the standard). The car rounds as its maker chose; compare within one count.
// It knows no firings, so it is evidence of old faults and a cross-check of the
// per-cycle counts, never a rate.
func AverageKept(start float64, cycles ...float64) float64 {
	average := count(start)
	for _, c := range cycles {
		average = 0.1*count(c) + 0.9*average
	}
	return average
}
