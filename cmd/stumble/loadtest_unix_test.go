//go:build linux || darwin

package main

import (
	"context"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd/clock"
)

// typist runs a short load test with a terminal to type on.
func typist(t *testing.T, ctx context.Context, types string) outcome {
	t.Helper()
	keyboard, in, err := pty.Open()
	require.NoError(t, err)
	defer in.Close()
	defer keyboard.Close()
	var out, errs buffer
	a := program(ctx, clock.NewStepped(morning()), &out, &errs)
	a.in = in
	done := make(chan int, 1)
	go func() {
		done <- a.run([]string{"loadtest", "--port", "sim:wren", "--speed", "max", "--plain", "--for", "20s"})
	}()
	if types != "" {
		require.Eventually(t, func() bool { return strings.HasSuffix(out.String(), "has read this: ") }, time.Minute, time.Millisecond)
		assert.NotContains(t, out.String(), "NEXT: ", "nothing begins before")
		_, err = io.WriteString(keyboard, types)
		require.NoError(t, err)
	}
	status := <-done
	return outcome{status, out.String(), errs.String()}
}

// Where somebody can type, the cautions must be confirmed.
func TestCautionsAreConfirmed(t *testing.T) {
	o := typist(t, t.Context(), "\n")
	assert.Equal(t, statusDone, o.status, o.errs)
	assert.Contains(t, o.out, "NEXT: ")

	const endOfInput = "\x04"
	o = typist(t, t.Context(), endOfInput)
	assert.Equal(t, statusFailed, o.status)
	assert.Contains(t, o.errs, "press Enter, or say --yes")
	assert.NotContains(t, o.out, "NEXT: ")

	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	o = typist(t, ctx, "")
	assert.Equal(t, statusFailed, o.status)
	assert.NotContains(t, o.out, "NEXT: ")
}
