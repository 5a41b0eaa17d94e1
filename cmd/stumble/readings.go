package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"stumble/misfire/cause"
	"stumble/obd/vehicle"
	"stumble/views"
	"stumble/views/report"
)

// textWidth is the width of printed text, in columns.
const textWidth = 80

// codes reads and prints trouble codes.
func codes(a *app, args []string) error {
	f := newFlags("codes", `Read stored, pending and permanent trouble codes with their freeze frame. Nothing is changed in the car.
The ignition must be on; the engine may be off or running.`, "--port /dev/ttyUSB0")
	var w where
	w.flags(f)
	asJSON := f.Bool("json", false, "print one JSON object")
	if _, err := f.parse(a, args, 0); err != nil {
		return err
	}
	t, err := a.target(&w)
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
	if *asJSON {
		return writeJSON(a.out, report.CodesObject(found))
	}
	return report.WriteCodes(a.out, found, textWidth)
}

// intake reads and prints everything before anything is touched.
func intake(a *app, args []string) error {
	f := newFlags("intake", `Read everything before anything is touched: vehicle, calibrations, codes, freeze frame, readiness, on-board test
results with the misfire counts, fuel trims, supply voltage. Nothing is changed in the car.
The ignition must be on; with the engine running the live values mean more.

`+aboutRecording, "--port /dev/ttyUSB0")
	var w where
	w.flags(f)
	var o recordOptions
	o.flags(f)
	asJSON := f.Bool("json", false, "print one JSON object")
	if _, err := f.parse(a, args, 0); err != nil {
		return err
	}
	t, err := a.target(&w)
	if err != nil {
		return err
	}
	k, err := a.saver(t, &o)
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
	if *asJSON {
		return errors.Join(writeJSON(a.out, intakeWithCauses{report.IntakeObject(found), views.NewCausesBrief(likely)}), saved)
	}
	return errors.Join(report.WriteIntake(a.out, found, textWidth), views.WriteCausesBrief(a.out, likely), saved)
}

// intakeWithCauses is an intake with what may be behind the misfire, by the codes alone.
type intakeWithCauses struct {
	report.Intake
	Causes *views.CausesBrief `json:"causes"`
}

func writeJSON(w io.Writer, object any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	return e.Encode(object)
}
