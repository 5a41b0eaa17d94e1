package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"stumble/obd"
	"stumble/obd/vehicle"
	"stumble/views/say"
	"stumble/views/wire"
	"stumble/views/wrap"
)

const doctorAbout = `Examine the adapter in the car it is plugged into: whether it is what it calls itself, what makes it fast
and works, whether it loses, damages or doubles answers, what a request costs, and whether its counts will do for a load test
with this car. Only harmless requests are sent. The car must stand, the ignition be on; with the engine idling it tells most.

What it finds is kept with the adapter; 'stumble ports' tells a line of it. --bundle writes a file to send with a report of a
fault: what was found, and every request with its answer, without VIN, calibrations and codes.`

// examinationLasts is how long is polled.
const examinationLasts = 20 * time.Second

// doctorOptions is what doctor was asked for.
type doctorOptions struct {
	readingOptions
	journal journalOption
	bundle  string
	force   bool
}

// doctorCommand is the command that examines an adapter.
func doctorCommand(a *app) *cobra.Command {
	var o doctorOptions
	c := &cobra.Command{
		Use:     "doctor",
		Short:   "examine the adapter: is it honest, and fast enough for this car?",
		Long:    doctorAbout,
		Example: "stumble doctor --port /dev/ttyUSB0",
		Args:    atMost(0),
		RunE:    func(*cobra.Command, []string) error { return doctor(a, &o) },
	}
	o.flags(c.Flags())
	o.journal.flags(c.Flags())
	c.Flags().StringVar(&o.bundle, "bundle", "", "write what was found, and all that was said, without VIN, to a new `FILE`")
	c.Flags().BoolVar(&o.force, "force", false, "write over a file that is there")
	return c
}

// doctor examines the adapter.
func doctor(a *app, o *doctorOptions) error {
	t, err := a.target(&o.where)
	if err != nil {
		return err
	}
	if o.bundle != "" {
		if err := mayWrite(o.bundle, o.force); err != nil {
			return err
		}
	}
	if t.sim == nil { // what is found is kept; without a journal it is told all the same
		if j, err := a.openJournal(&o.journal, false); err == nil {
			defer j.Close()
			t.recall(j)
		}
	}
	c, err := a.connect(t, nil)
	if err != nil {
		return err
	}
	defer c.Close()
	if !o.asJSON {
		fmt.Fprintf(a.err, "examining for %v; leave the car standing\n", examinationLasts)
	}
	var said []bundled
	x, err := c.Examine(a.ctx, examinationLasts, func(e *obd.Exchange) { said = append(said, newBundled(e)) })
	if err != nil {
		return err
	}
	found := wire.NewDoctor(x, c.Adapter.Protocol().String())
	var written error
	if o.bundle != "" {
		written = writeWhole(o.bundle, o.force, func(w io.Writer) error { return writeBundle(w, &found, said) })
	}
	if o.asJSON {
		return errors.Join(wire.WriteLine(a.out, found), written)
	}
	return errors.Join(a.writeExamination(x), written)
}

func (a *app) writeExamination(x *vehicle.Examination) error {
	for _, line := range say.English().Doctor(x) {
		for _, l := range wrap.Text(line, textWidth) {
			if _, err := fmt.Fprintln(a.out, l); err != nil {
				return err
			}
		}
	}
	return nil
}

// bundled is a request and its answer in a bundle.
type bundled struct {
	At      time.Time `json:"at"`
	TookMS  float64   `json:"took_ms"`
	Request string    `json:"request"`
	Answer  string    `json:"answer"`
	Err     string    `json:"error,omitempty"`
}

// newBundled copies an exchange. What tells one car from another is left out: answers of service 09, and of those that list
// codes.
func newBundled(e *obd.Exchange) bundled {
	s := bundled{At: e.Sent, Request: string(e.Request), Answer: string(e.Answer)}
	s.TookMS = float64(e.Received.Sub(e.Sent).Microseconds()) / 1000
	if e.Err != nil {
		s.Err = e.Err.Error()
	}
	if len(s.Request) >= 2 {
		switch s.Request[:2] {
		case "09", "03", "07", "0A", "02":
			s.Answer = "(left out)"
		}
	}
	return s
}

// writeBundle writes the examination and what was said, a line of JSON each.
func writeBundle(w io.Writer, found *wire.Doctor, said []bundled) error {
	enc := json.NewEncoder(w)
	if err := enc.Encode(found); err != nil {
		return err
	}
	for i := range said {
		if err := enc.Encode(&said[i]); err != nil {
			return err
		}
	}
	return nil
}
