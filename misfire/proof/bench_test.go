package proof_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stumble/misfire/proof"
)

// Two one-hour drives of the simulated car: the aim is 200 ms.
func BenchmarkCompare(b *testing.B) {
	in := proof.Input{Before: drive(b, "wren", 1, time.Hour).side(), After: drive(b, "wren-improved", 2, time.Hour).side()}
	for b.Loop() {
		_, err := proof.Compare(in)
		require.NoError(b, err)
	}
}

func BenchmarkCompareSwap(b *testing.B) {
	in := proof.Input{Before: drive(b, "wren", 1, time.Hour).side(), After: drive(b, "wren-swapped", 2, time.Hour).side()}
	for b.Loop() {
		_, err := proof.CompareSwap(in, proof.Swap{Part: "wire", A: 1, B: 2})
		require.NoError(b, err)
	}
}
