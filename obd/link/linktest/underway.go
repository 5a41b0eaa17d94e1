package linktest

import (
	"bytes"
	"runtime"
	"testing"
	"time"

	"stumble/obd/clock"
)

// patience ends a test of a link that hangs. No test that passes ever waits for it.
const patience = 30 * time.Second

// result is what a Read or a Write gave.
type result struct {
	n   int
	err error
}

// start calls a Read or a Write in a goroutine.
func start(call func() (int, error)) <-chan result {
	done := make(chan result, 1)
	go underWay(call, done)
	return done
}

// underWay is a function of its own so that waitUnderWay knows it in a trace.
func underWay(call func() (int, error), done chan<- result) {
	n, err := call()
	done <- result{n, err}
}

func await(t *testing.T, done <-chan result) result {
	t.Helper()
	select {
	case r := <-done:
		return r
	case <-clock.System{}.After(patience):
		t.Fatal("the link hangs")
		return result{}
	}
}

// waitUnderWay waits until what start started waits for something itself, or has ended: from then on the
// test may do what is to disturb it. Asking the runtime is the one way to know without sleeping and hoping.
func waitUnderWay(t *testing.T) {
	t.Helper()
	limit := clock.System{}.Now().Add(patience)
	trace := make([]byte, 1<<20)
	for anyRuns(trace[:runtime.Stack(trace, true)]) {
		if (clock.System{}).Now().After(limit) {
			t.Fatal("the link never waits: it runs in a circle")
		}
		runtime.Gosched()
	}
}

// anyRuns looks for an underWay goroutine that is neither waiting nor in the operating system.
func anyRuns(trace []byte) bool {
	for goroutine := range bytes.SplitSeq(trace, []byte("\n\n")) {
		state, _, _ := bytes.Cut(goroutine, []byte("\n"))
		if bytes.Contains(goroutine, []byte("linktest.underWay(")) &&
			(bytes.Contains(state, []byte("[run"))) { // running, runnable
			return true
		}
	}
	return false
}
