package main

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"stumble/obd/clock"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// scratch is a directory for what several tests share; it goes with the last of them.
var scratch string

func TestMain(m *testing.M) {
	var err error
	if scratch, err = os.MkdirTemp("", "stumble"); err != nil {
		panic(err)
	}
	goleak.VerifyTestMain(m, goleak.Cleanup(func(status int) {
		os.RemoveAll(scratch)
		os.Exit(status)
	}))
}

// morning is when simulated drives begin in tests.
func morning() time.Time { return time.Date(2026, 11, 25, 8, 30, 0, 0, time.UTC) }

// outcome is what one run of the program left behind.
type outcome struct {
	status    int
	out, errs string
}

// stumble runs the whole program as a shell would, at the system's time.
func stumble(t testing.TB, args ...string) outcome {
	t.Helper()
	var out, errs buffer
	status := run(t.Context(), args, strings.NewReader(""), &out, &errs, environment(nil))
	return outcome{status, out.String(), errs.String()}
}

// stumbleAt runs it by another clock: a stepped one makes a simulated drive the same every time, a scaled one
// shortens what is waited for.
func stumbleAt(ctx context.Context, clk clock.Clock, args ...string) outcome {
	var out, errs buffer
	status := program(ctx, clk, &out, &errs).run(args)
	return outcome{status, out.String(), errs.String()}
}

// program is the program with a clock of its own and no terminal.
func program(ctx context.Context, clk clock.Clock, out, errs *buffer) *app {
	a := newApp(ctx, strings.NewReader(""), out, errs)
	a.env, a.clock, a.terminal = environment(nil), clk, systemTerminal{}
	return a
}

// stepped runs it at a fixed hour.
func stepped(t testing.TB, args ...string) outcome {
	t.Helper()
	return stumbleAt(t.Context(), clock.NewStepped(morning()), args...)
}

func environment(vars map[string]string) func(string) string {
	return func(name string) string { return vars[name] }
}

// buffer is an output that may be read, and waited for, while it is written to. The zero buffer is empty.
type buffer struct {
	mu      sync.Mutex
	bytes   bytes.Buffer
	ended   bool
	changed chan struct{} // closed at the next change; nil when nobody waits
}

func (b *buffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.tell()
	return b.bytes.Write(p)
}

// end says that nothing more will come.
func (b *buffer) end() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.ended = true
	b.tell()
}

func (b *buffer) tell() {
	if b.changed != nil {
		close(b.changed)
		b.changed = nil
	}
}

// await waits until what was written is enough, and is false when it ends before.
func (b *buffer) await(enough func(text string) bool) bool {
	for {
		b.mu.Lock()
		if enough(b.bytes.String()) || b.ended {
			defer b.mu.Unlock()
			return enough(b.bytes.String())
		}
		if b.changed == nil {
			b.changed = make(chan struct{})
		}
		changed := b.changed
		b.mu.Unlock()
		<-changed
	}
}

func (b *buffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.bytes.String()
}

// requireOneLine holds a failure to its form: nothing on standard output, one line on standard error, and in
// it what went wrong and what to do.
func requireOneLine(t testing.TB, o outcome, status int, says ...string) {
	t.Helper()
	assert.Equal(t, status, o.status, "exit status; standard error: %s", o.errs)
	assert.Empty(t, o.out, "standard output")
	require.True(t, strings.HasPrefix(o.errs, "stumble: "), "standard error: %q", o.errs)
	require.Equal(t, 1, strings.Count(o.errs, "\n"), "lines on standard error: %q", o.errs)
	require.True(t, strings.HasSuffix(o.errs, "\n"))
	assert.Less(t, len(o.errs), 300, "a line to be read at once")
	for _, s := range says {
		assert.Contains(t, o.errs, s)
	}
}

// requireDone holds a run to having worked without a word on standard error.
func requireDone(t testing.TB, o outcome) {
	t.Helper()
	require.Equal(t, statusDone, o.status, "standard error: %s", o.errs)
	require.Empty(t, o.errs)
}

// golden compares with a file of testdata, or rewrites it.
func golden(t testing.TB, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
		return
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err, "run with -update to write it")
	require.Equal(t, string(want), got)
}

// jsonLines are the objects of a line stream, each of a kind that is documented.
func jsonLines(t testing.TB, out string) []map[string]any {
	t.Helper()
	var objects []map[string]any
	for line := range strings.Lines(out) {
		var o map[string]any
		require.NoError(t, json.Unmarshal([]byte(line), &o), "%s", line)
		require.Contains(t, []any{"sample", "summary", "mark", "notice", "step"}, o["kind"], "%s", line)
		objects = append(objects, o)
	}
	return objects
}

// lastLines are the last n lines.
func lastLines(text string, n int) []string {
	lines := strings.Split(strings.TrimRight(text, "\n"), "\n")
	return lines[max(len(lines)-n, 0):]
}
