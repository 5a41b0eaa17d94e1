//go:build !unix

package journal_test

import (
	"testing"
	"time"
)

// processor is not known here.
func processor(*testing.B) time.Duration { return 0 }
