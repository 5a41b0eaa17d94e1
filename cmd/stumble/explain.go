package main

import (
	"context"
	"errors"
	"strings"

	"stumble/misfire/job"
	"stumble/obd"
	"stumble/obd/elm"
	"stumble/obd/link"
)

// explain is an error on one line that ends in what to do. Errors of links carry their remedy already;
// statuses of the adapter and refusals of a control module get theirs here.
func explain(err error) string {
	if text := refusal(err); text != "" {
		return text
	}
	text := strings.Join(strings.Fields(err.Error()), " ")
	if hint := remedy(err); hint != "" && !strings.Contains(text, hint) {
		text += "; " + hint
	}
	return text
}

func remedy(err error) string {
	var searched *link.BaudError
	var status *elm.Status
	var refused obd.NegativeResponse
	var other job.OtherVehicleError
	switch {
	case errors.As(err, &other):
		return "leave --job out, or give the number of one of this vehicle"
	case errors.Is(err, context.Canceled):
		return "stopped before it was done"
	case errors.As(err, &searched):
		return "" // it tells what to do itself; what one speed gave would contradict it
	case errors.As(err, &status):
		return status.Hint
	case errors.As(err, &refused) && refused.ConditionsNotCorrect():
		return "turn the engine off, leave the ignition on, and try again"
	case errors.As(err, &refused) && refused.Unsupported():
		return "this car does not offer it"
	case errors.As(err, &refused):
		return "wait a moment and try again"
	}
	return ""
}
