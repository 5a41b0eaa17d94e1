package clock_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"stumble/obd/clock"
)

// A context with an end by a clock is over for whoever looks at or after the end, and wakes whoever waits.
func TestWithEnd(t *testing.T) {
	over := errors.New("over")
	clk := clock.NewStepped(time.Date(2026, 1, 5, 8, 0, 0, 0, time.UTC))
	ctx, stop := clock.WithEnd(t.Context(), clk, clk.Now().Add(10*time.Second), over)
	defer stop()
	clk.Advance(10*time.Second - 1)
	assert.NoError(t, ctx.Err())
	clk.Advance(1)
	assert.ErrorIs(t, ctx.Err(), context.Canceled)
	assert.Equal(t, over, context.Cause(ctx))

	ctx, stop = clock.WithEnd(t.Context(), clk, clk.Now().Add(10*time.Second), over)
	defer stop()
	clk.Advance(15 * time.Second)
	<-ctx.Done()
	assert.Equal(t, over, context.Cause(ctx))

	ctx, stop = clock.WithEnd(t.Context(), clk, clk.Now().Add(time.Hour), over)
	stop()
	stop()
	assert.Error(t, ctx.Err())
	assert.NotEqual(t, over, context.Cause(ctx))
}
