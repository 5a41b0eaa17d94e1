package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"stumble/misfire/cause"
	"stumble/obd"
	"stumble/obd/vehicle"
	"stumble/views"
	"stumble/views/report"
)

// textWidth is the width of printed text, in columns.
const textWidth = 80

const codesAbout = `Read stored, pending and permanent trouble codes with their freeze frame. Nothing is changed in the car.
The ignition must be on; the engine may be off or running.`

// readingOptions is what a one-time reading of the car was asked for.
type readingOptions struct {
	where
	record recordOptions // of intake alone
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
	s, err := a.connectOnce(&o.where)
	if err != nil {
		return err
	}
	defer s.close()
	found, err := vehicle.ReadCodes(a.ctx, s.adapter, s.caps)
	if err != nil {
		return err
	}
	if o.asJSON {
		return writeJSON(a.out, report.CodesObject(found))
	}
	return report.WriteCodes(a.out, found, textWidth)
}

const intakeAbout = `Read everything before anything is touched: vehicle, calibrations, codes, freeze frame, readiness, on-board test
results with the misfire counts, fuel trims, supply voltage. Nothing is changed in the car.
The ignition must be on; with the engine running the live values mean more.

` + aboutRecording

// intakeCommand is the command that reads and prints everything before anything is touched.
func intakeCommand(a *app) *cobra.Command {
	var o readingOptions
	c := &cobra.Command{
		Use:     "intake",
		Short:   "read everything before anything is touched",
		Long:    intakeAbout,
		Example: "stumble intake --port /dev/ttyUSB0",
		Args:    atMost(0),
		RunE:    func(*cobra.Command, []string) error { return intake(a, &o) },
	}
	o.flags(c.Flags())
	o.record.flags(c.Flags())
	return c
}

// intake reads and prints everything before anything is touched.
func intake(a *app, o *readingOptions) error {
	t, err := a.target(&o.where)
	if err != nil {
		return err
	}
	k, err := a.keep(t, &o.record)
	if err != nil {
		return err
	}
	defer k.close()
	s, err := a.connect(t, false, time.Time{})
	if err != nil {
		return err
	}
	defer s.close()
	var found *obd.Intake
	found, err = vehicle.ReadIntake(a.ctx, s.adapter, s.adapter, s.caps, func(part string) {
		fmt.Fprintf(a.err, "reading %s\n", part)
	})
	if err != nil {
		return err
	}
	saved := k.saveIntake(found, titleOf(s)) // evidence first
	likely := cause.StandardBook().Explain(cause.Gather(nil, found, s.ignition()))
	if o.asJSON {
		return errors.Join(writeJSON(a.out, intakeWithCauses{report.IntakeObject(found), views.NewCausesBrief(likely)}), saved)
	}
	return errors.Join(report.WriteIntake(a.out, found, textWidth), views.WriteCausesBrief(a.out, likely), saved)
}

// intakeWithCauses is an intake with what may be behind the misfire, by the codes alone.
type intakeWithCauses struct {
	report.Intake
	Causes *views.CausesBrief `json:"causes"`
}

// connectOnce reaches a car for a one-time reading: a car that does not answer is an error.
func (a *app) connectOnce(w *where) (*session, error) {
	t, err := a.target(w)
	if err != nil {
		return nil, err
	}
	return a.connect(t, false, time.Time{})
}

func writeJSON(w io.Writer, object any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	return e.Encode(object)
}
