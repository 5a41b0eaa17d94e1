package proof_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/proof"
)

// The verdict is watched all the while, looked at every 200 revolutions, on a car that still misses at the rate
// to be beaten: a tenth of the lower limit before. Wrongly "proven" in at most 5.5 % without bursts and 5 % with
// (from 500 seeds; with few, as many as chance allows).
func TestWatchingProvesNothingFalse(t *testing.T) {
	simulation(t)
	for name, f := range map[string]fault{"no bursts": steady{}, "runs of 5": badRuns{5, 0.5}, "runs of 40": badRuns{40, 0.5},
		"runs of 300": badRuns{300, 0.3}, "clusters of 10": clusters{10, 4}} {
		t.Run(name, func(t *testing.T) {
			wrong, ran := 0, 0
			for seed := range *seeds {
				rng := seeded(uint64(seed), 40)
				before := summary(t, idled(2, f.drive(rng, 0.03, 240)))
				line := compare(t, before, summary(t, idle(0, 100, 1)))
				if len(line.Cylinders) == 0 { // no burst in all that running: there is nothing to prove
					continue
				}
				ran++
				if !line.Cylinders[0].Line.Can() {
					continue
				}
				r0 := line.Cylinders[0].Conditions[0].Least / 1000
				looks := int(3 * line.Cylinders[0].Conditions[0].Missing / 100)
				if everProven(t, before, f.drive(rng, r0, looks)) {
					wrong++
				}
			}
			t.Logf("wrongly proven: %d of %d (%.1f %%)", wrong, ran, 100*float64(wrong)/float64(ran))
			most := 0.05
			if name == "no bursts" {
				most = 0.055
			}
			require.LessOrEqual(t, float64(wrong), float64(ran)*most+slack(ran))
		})
	}
}

// slack lets few seeds be as unlucky as chance allows; from 500 on the figure must hold as it stands.
func slack(ran int) float64 {
	if ran >= 400 {
		return 0
	}
	return 3
}

// everProven looks at every block that could bring a proof: before as many firings as are said to be missing
// have run none can.
func everProven(t *testing.T, before *misfire.Summary, after []float64) bool {
	for n := 1; n <= len(after); {
		c := compare(t, before, summary(t, idled(2, after[:n])))
		if c.Outcome == proof.Proven {
			return true
		}
		n += max(1, int(c.Cylinders[0].Conditions[0].Missing/100))
	}
	return false
}

// A repaired car that misses now and then, as often as a healthy one may, is called "still missing" in at most 1
// drive of 100, however often one looks. Its misses come singly or as bunched as they were.
func TestWatchingAccusesNobody(t *testing.T) {
	simulation(t)
	for name, f := range map[string]fault{"no bursts": steady{}, "runs of 5": badRuns{5, 0.5}, "clusters of 10": clusters{10, 4}} {
		t.Run(name, func(t *testing.T) {
			wrong, ran := 0, 0
			for seed := range *seeds {
				rng := seeded(uint64(seed), 41)
				before := summary(t, idled(2, f.drive(rng, 0.03, 240)))
				if everMissing(t, before, f.drive(rng, 0.001, 600)) {
					wrong++
				}
				ran++
			}
			t.Logf("wrongly still missing: %d of %d", wrong, ran)
			require.LessOrEqual(t, float64(wrong), float64(ran)*0.01+slack(ran)/3)
		})
	}
}

// everMissing looks at every block with a miss: the others speak for the repair.
func everMissing(t *testing.T, before *misfire.Summary, after []float64) bool {
	for n, x := range after {
		if x == 0 {
			continue
		}
		c := compare(t, before, summary(t, idled(2, after[:n+1])))
		if c.Outcome == proof.StillMissing || c.Outcome == proof.Improved {
			return true
		}
	}
	return false
}

// A fault that is still there is found; one that is gone is proven gone.
func TestWatchingFindsWhatIsSo(t *testing.T) {
	simulation(t)
	for name, f := range map[string]fault{"no bursts": steady{}, "runs of 5": badRuns{5, 0.5}} {
		t.Run(name, func(t *testing.T) {
			for seed := range min(*seeds, 100) {
				rng := seeded(uint64(seed), 42)
				before := summary(t, idled(2, f.drive(rng, 0.03, 240)))
				same := compare(t, before, summary(t, idled(2, f.drive(rng, 0.03, 240))))
				require.Equal(t, proof.StillMissing, same.Outcome)
				first := compare(t, before, summary(t, idle(0, 100, 1)))
				require.Equal(t, proof.NotYet, first.Outcome)
				clean := compare(t, before, summary(t, idle(0, 101+first.Cylinders[0].Conditions[0].Missing, 1)))
				require.Equal(t, proof.Proven, clean.Outcome)
				require.Empty(t, clean.Needed)
			}
		})
	}
}

// Swaps, watched all the while: the part took the fault along in half of the drives and not in the others. Read
// wrongly in at most 2 of 100 (each of the two questions errs once in 100 at most).
func TestWatchingSwaps(t *testing.T) {
	simulation(t)
	for name, f := range map[string]fault{"no bursts": steady{}, "runs of 5": badRuns{5, 0.5}, "clusters of 10": clusters{10, 4}} {
		t.Run(name, func(t *testing.T) {
			wrong, right := 0, 0
			for seed := range *seeds {
				rng := seeded(uint64(seed), 43)
				clean := make([]float64, 240)
				before := summary(t, idled(2, f.drive(rng, 0.03, 240)), idled(3, clean))
				on2, on3, want := f.drive(rng, 0.03, 240), steady{}.drive(rng, 0.0005, 240), proof.StayedPut
				if seed%2 == 1 {
					on2, on3, want = on3, on2, proof.FollowedPart
				}
				switch got := firstReading(t, before, on2, on3); got {
				case want:
					right++
				case proof.CannotTell:
				default:
					wrong++
				}
			}
			t.Logf("read rightly %d, wrongly %d of %d", right, wrong, *seeds)
			require.LessOrEqual(t, float64(wrong), 0.02*float64(*seeds)+slack(*seeds)/3)
			require.GreaterOrEqual(t, right, *seeds*9/10)
		})
	}
}

func firstReading(t *testing.T, before *misfire.Summary, on2, on3 []float64) proof.SwapVerdict {
	for n := 1; n <= len(on2); n++ {
		after := summary(t, idled(2, on2[:n]), idled(3, on3[:n]))
		r, err := proof.CompareSwap(proof.Input{Before: sideOf(before), After: sideOf(after)}, proof.Swap{Part: "coil", A: 2, B: 3})
		require.NoError(t, err)
		if r.Verdict != proof.CannotTell {
			return r.Verdict
		}
	}
	return proof.CannotTell
}

// Siblings that miss as often as a healthy cylinder may are not taken for a fault that moved, however often one
// looks.
func TestWatchingMovesNothing(t *testing.T) {
	simulation(t)
	wrong, runs := 0, min(*seeds, 150)
	for seed := range runs {
		rng := seeded(uint64(seed), 44)
		before := summary(t, idled(1, make([]float64, 240)), idled(2, steady{}.drive(rng, 0.03, 240)),
			idled(3, make([]float64, 240)), idled(4, make([]float64, 240)))
		on1, on3, on4 := steady{}.drive(rng, 0.001, 300), steady{}.drive(rng, 0.001, 300), steady{}.drive(rng, 0.001, 300)
		for n := range on1 {
			if on1[n]+on3[n]+on4[n] == 0 {
				continue
			}
			c := compare(t, before, summary(t, idled(1, on1[:n+1]), idled(2, make([]float64, n+1)), idled(3, on3[:n+1]), idled(4, on4[:n+1])))
			if c.Outcome == proof.Moved {
				wrong++
				break
			}
		}
	}
	t.Logf("wrongly moved: %d of %d", wrong, runs)
	require.LessOrEqual(t, float64(wrong), float64(runs)*0.01+slack(runs)/3)
}
