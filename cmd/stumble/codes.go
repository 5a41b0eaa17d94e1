package main

import (
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"stumble/obd/vehicle"
	"stumble/views/report"
)

const codesAbout = `Read stored, pending and permanent trouble codes with their freeze frame. Nothing is changed
in the car. The ignition must be on; the engine may be off or running.`

// readingOptions is what a one-time reading of the car was asked for.
type readingOptions struct {
	where
	asJSON bool
}

func (o *readingOptions) flags(f *pflag.FlagSet) {
	o.where.flags(f)
	f.BoolVar(&o.asJSON, "json", false, "print one JSON object")
}

// codesCommand is the command that reads and prints trouble codes.
func codesCommand(a *app) *cobra.Command {
	var o readingOptions
	c := &cobra.Command{
		Use:     "codes",
		Short:   "read stored, pending and permanent trouble codes",
		Long:    codesAbout,
		Example: "stumble codes --port /dev/ttyUSB0",
		Args:    atMost(0),
		RunE:    func(*cobra.Command, []string) error { return codes(a, &o) },
	}
	o.flags(c.Flags())
	return c
}

// codes reads and prints trouble codes.
func codes(a *app, o *readingOptions) error {
	t, err := a.target(&o.where)
	if err != nil {
		return err
	}
	c, err := a.connect(t, nil)
	if err != nil {
		return err
	}
	defer c.Close()
	found, err := vehicle.ReadCodes(a.ctx, c.Adapter, c.Caps)
	if err != nil {
		return err
	}
	if o.asJSON {
		return writeJSON(a.out, report.CodesObject(found))
	}
	return report.WriteCodes(a.out, found, textWidth)
}
