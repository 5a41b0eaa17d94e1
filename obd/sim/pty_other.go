//go:build !linux && !darwin

package sim

import (
	"context"
	"errors"

	"stumble/obd/clock"
)

// ServePTY needs pseudo-terminals, which this system does not have.
func ServePTY(context.Context, clock.Clock, Dial, func(path string)) error {
	return errors.New("no pseudo-terminals on this system: serve the simulated adapter on TCP instead")
}
