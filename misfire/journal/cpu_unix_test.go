//go:build unix

package journal_test

import (
	"syscall"
	"testing"
	"time"
)

// processor is the processor time that this program has used. On a busy machine it says more than the clock.
func processor(b *testing.B) time.Duration {
	var used syscall.Rusage
	fatal(b, syscall.Getrusage(syscall.RUSAGE_SELF, &used))
	return time.Duration(used.Utime.Nano() + used.Stime.Nano())
}
