package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"runtime"
	"strings"

	"github.com/spf13/cobra"

	"stumble/misfire/job"
	"stumble/misfire/journal"
	"stumble/obd/link"
	"stumble/obd/vehicle"
	"stumble/views/say"
	"stumble/views/wire"
)

const portsAbout = `List this computer's serial ports and ask each whether an adapter answers there, at which speed, and if not, why.
Only the adapter is asked who it is; nothing is sent to a car. Wireless adapters have no serial port: give tcp://HOST:PORT.`

// portsOptions is what ports was asked for.
type portsOptions struct{ asJSON, names bool }

// portsCommand is the command that lists the serial ports and asks each whether an adapter is there.
func portsCommand(a *app) *cobra.Command {
	var o portsOptions
	c := &cobra.Command{
		Use:     "ports [PORT ...]",
		Short:   "list serial ports and which of them answer as an adapter",
		Long:    portsAbout,
		Example: "stumble ports",
		Args:    atMost(100),
		RunE:    func(_ *cobra.Command, args []string) error { return ports(a, &o, args) },
	}
	c.Flags().BoolVar(&o.asJSON, "json", false, "print one JSON object a line")
	c.Flags().BoolVar(&o.names, "names", false, "only list the ports, ask nothing")
	return c
}

// ports lists the serial ports and asks each whether an adapter is there.
func ports(a *app, opts *portsOptions, paths []string) error {
	list, err := link.Ports()
	if err != nil {
		return err
	}
	for _, path := range paths { // ports that the system does not list
		list = append(list, link.Port{Path: path})
	}
	if len(paths) > 0 {
		list = list[len(list)-len(paths):]
	}
	if len(list) == 0 && !opts.asJSON {
		fmt.Fprintln(a.out, "no serial ports found; plug the adapter in, or pair it. A wireless adapter is reached with --port tcp://HOST:PORT.")
		return nil
	}
	memory := a.rememberedAdapters()
	for _, p := range list {
		o := wire.Port{Kind: "port", Port: p}
		if !opts.names {
			a.askPort(&o)
			if x := memory(p.Path); o.Adapter && x != nil {
				o.Examined = say.English().DoctorFinding(x)
			}
		}
		if a.ctx.Err() != nil {
			return a.ctx.Err()
		}
		if opts.asJSON {
			err = wire.WriteLine(a.out, o)
		} else {
			_, err = fmt.Fprintln(a.out, portLine(o, opts.names))
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// rememberedAdapters finds what the last examination of the adapter at a port found, as far as there is a journal; none is
// made.
func (a *app) rememberedAdapters() func(path string) *vehicle.Examination {
	none := func(string) *vehicle.Examination { return nil }
	path, err := journal.DefaultPath(a.env, runtime.GOOS)
	if err != nil {
		return none
	}
	if _, err := os.Stat(path); err != nil {
		return none
	}
	j, _, err := journal.Open(path, journal.Options{})
	if err != nil {
		return none
	}
	defer j.Close()
	all, err := j.Remembered()
	if err != nil {
		return none
	}
	found := map[string]*vehicle.Examination{}
	for i := range all {
		var k job.KnownAdapter
		if all[i].Kind == journal.KnownAdapter && json.Unmarshal(all[i].Data, &k) == nil {
			found[all[i].Name] = k.LastExamination()
		}
	}
	return func(path string) *vehicle.Examination { return found[path] }
}

func (a *app) askPort(o *wire.Port) {
	l, baud, err := findBaud(a.ctx, o.Path, 0, a.clock)
	var silent *link.BaudError
	switch {
	case errors.As(err, &silent): // the line names the port already
		o.Why = silent.Heard() + "; plug it into the diagnostic socket with the ignition on, or this port is something else"
		return
	case err != nil:
		o.Why = explain(err)
		return
	}
	o.Adapter, o.Baud = true, baud
	l.Close()
}

func portLine(o wire.Port, onlyName bool) string {
	line := o.Path
	if o.USB {
		line += strings.TrimRight(fmt.Sprintf("  USB %s:%s %s", o.VendorID, o.ProductID, o.Product), " ")
	}
	switch {
	case onlyName:
		return line
	case o.Adapter && o.Examined != "":
		return fmt.Sprintf("%s  adapter, %d baud. %s", line, o.Baud, o.Examined)
	case o.Adapter:
		return fmt.Sprintf("%s  adapter, %d baud", line, o.Baud)
	}
	return fmt.Sprintf("%s  no adapter: %s", line, o.Why)
}
