package main

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"stumble/misfire/cause"
	"stumble/obd/vehicle"
	"stumble/views"
	"stumble/views/report"
)

const intakeAbout = `Read everything before anything is touched: vehicle, calibrations, codes, freeze frame, readiness,
on-board test results with the misfire counts, fuel trims, supply voltage. Nothing is changed in the car. The ignition must be on; with the engine running the live values mean more.

` + aboutRecording

// intakeOptions is what intake was asked for.
type intakeOptions struct {
	readingOptions
	record recordOptions
}

func (o *intakeOptions) flags(f *pflag.FlagSet) {
	o.readingOptions.flags(f)
	o.record.flags(f)
}

// intakeCommand is the command that reads and prints everything before anything is touched.
func intakeCommand(a *app) *cobra.Command {
	var o intakeOptions
	c := &cobra.Command{
		Use:     "intake",
		Short:   "read everything before anything is touched",
		Long:    intakeAbout,
		Example: "stumble intake --port /dev/ttyUSB0",
		Args:    atMost(0),
		RunE:    func(*cobra.Command, []string) error { return intake(a, &o) },
	}
	o.flags(c.Flags())
	return c
}

// intake reads and prints everything before anything is touched.
func intake(a *app, o *intakeOptions) error {
	t, err := a.target(&o.where)
	if err != nil {
		return err
	}
	k, err := a.saver(t, &o.record)
	if err != nil {
		return err
	}
	defer k.Close()
	c, err := a.connect(t, nil)
	if err != nil {
		return err
	}
	defer c.Close()
	found, err := vehicle.ReadIntake(a.ctx, c.Adapter, c.Adapter, c.Caps, func(part string) {
		fmt.Fprintf(a.err, "reading %s\n", part)
	})
	if err != nil {
		return err
	}
	setup := t.setup()
	saved := a.saveIntake(k, found, setup.Title) // evidence first
	likely := cause.StandardBook().Explain(cause.Gather(nil, found, setup.Coils()))
	if o.asJSON {
		o := intakeWithCauses{report.IntakeObject(found), views.NewCausesBrief(likely)}
		return errors.Join(writeJSON(a.out, o), saved)
	}
	return errors.Join(report.WriteIntake(a.out, found, textWidth), views.WriteCausesBrief(a.out, likely), saved)
}

// intakeWithCauses is an intake with what may be behind the misfire, by the codes alone.
type intakeWithCauses struct {
	report.Intake
	Causes *views.CausesBrief `json:"causes"`
}
