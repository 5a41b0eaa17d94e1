package vehicle

import (
	"context"
	"slices"

	"stumble/obd"
)

// Identity is what tells one car from another: its identification number or, of a car that does not tell one, the
// calibrations of its modules.
type Identity struct {
	VIN          string
	Calibrations []string // in order; read only of a car without a VIN
}

// ReadIdentity asks the car who it is. What it does not tell is left empty.
func ReadIdentity(ctx context.Context, car Asker, caps *Capabilities) (id Identity, err error) {
	if id.VIN, _, err = ReadVIN(ctx, car, caps); err != nil || id.VIN != "" || !caps.MayHaveInfo(obd.InfoCalibrations) {
		return id, err
	}
	answer, err := askTwice(ctx, caps.speaking(car, true), obd.Info(obd.InfoCalibrations))
	if err != nil {
		return id, optional(ctx, err)
	}
	for _, m := range modulesOf(answer.Messages) {
		if told, err := obd.DecodeCalibrations(caps.Protocol, obd.ModuleMessages(answer.Messages, m)); err == nil {
			id.Calibrations = append(id.Calibrations, told...)
		}
	}
	slices.Sort(id.Calibrations)
	return id, nil
}

// Known reports whether the car told who it is.
func (id *Identity) Known() bool { return id.VIN != "" || len(id.Calibrations) > 0 }

// Other reports whether two identities are of two cars for certain. Where they have nothing in common to compare, they may
// be one car's.
func (id *Identity) Other(than *Identity) bool {
	if id.VIN != "" && than.VIN != "" {
		return id.VIN != than.VIN
	}
	if len(id.Calibrations) == 0 || len(than.Calibrations) == 0 {
		return false
	}
	return !slices.Equal(id.Calibrations, than.Calibrations)
}

// String is the VIN, or the calibrations, for a message.
func (id *Identity) String() string {
	if id.VIN != "" || len(id.Calibrations) == 0 {
		return id.VIN
	}
	return id.Calibrations[0]
}
