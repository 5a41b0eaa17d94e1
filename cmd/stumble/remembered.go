package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"stumble/misfire/job"
	"stumble/misfire/journal"
	"stumble/views"
	"stumble/views/say"
	"stumble/views/wire"
)

const settingsAbout = `Show where the settings and the journal lie, and what the journal remembers of cars, adapters and ports to
begin the sooner the next time: what a car supports, the speed of an adapter, the port that was used last. Nothing of it is
evidence; each is checked before it is believed. --forget takes one of them by its name, or all.`

// settingsOptions is what settings was asked for.
type settingsOptions struct {
	journal  journalOption
	settings settingsOption
	forget   string
	asJSON   bool
}

// settingsCommand is the command that shows what is set and what is remembered, and forgets.
func settingsCommand(a *app) *cobra.Command {
	var o settingsOptions
	c := &cobra.Command{
		Use:     "settings",
		Short:   "show what is set and remembered; forget what is remembered",
		Long:    settingsAbout,
		Example: "stumble settings --forget /dev/ttyUSB0",
		Args:    atMost(0),
		RunE:    func(*cobra.Command, []string) error { return showSettings(a, &o) },
	}
	o.journal.flags(c.Flags())
	o.settings.flags(c.Flags())
	c.Flags().StringVar(&o.forget, "forget", "", "forget what is remembered by this `NAME`: a VIN, a port, or all")
	c.Flags().BoolVar(&o.asJSON, "json", false, "print one JSON object")
	return c
}

// showSettings shows what is set and remembered, or forgets. No journal is made for that.
func showSettings(a *app, o *settingsOptions) error {
	s, err := a.readSettings(&o.settings)
	if err != nil {
		return err
	}
	path, err := a.journalPath(&o.journal)
	if err != nil {
		return err
	}
	found := wire.Settings{Kind: "settings", Settings: wire.Word(s.path), Journal: wire.Word(path), Remembered: []wire.Remembered{}}
	err = a.withJournal(&journalOption{path}, func(j *journal.Journal) error {
		all, err := j.Remembered()
		if err != nil {
			return err
		}
		if o.forget != "" {
			return a.forget(j, all, o.forget)
		}
		for i := range all {
			found.Remembered = append(found.Remembered, remembered(&all[i]))
		}
		return a.writeSettings(&found, o.asJSON)
	})
	switch {
	case !errors.Is(err, journal.ErrAbsent):
		return err
	case o.forget != "":
		return fmt.Errorf("there is no journal %s: nothing is remembered", path)
	}
	return a.writeSettings(&found, o.asJSON)
}

// remembered is what is remembered of one thing, as JSON has it.
func remembered(k *journal.Known) wire.Remembered {
	r := wire.Remembered{Of: string(k.Kind), Name: wire.Word(k.Name), Time: wire.Stamp(k.At)}
	switch k.Kind {
	case journal.KnownPort:
		var place string
		_ = json.Unmarshal(k.Data, &place)
		r.Name = wire.Word(place)
	case journal.KnownAdapter:
		var a job.KnownAdapter
		if json.Unmarshal(k.Data, &a) == nil {
			r.Adapter, r.Baud = wire.Word(a.Identity), a.Baud
			if x := a.LastExamination(); x != nil {
				r.Examined = say.English().DoctorFinding(x)
			}
		}
	}
	return r
}

func (a *app) writeSettings(s *wire.Settings, asJSON bool) error {
	if asJSON {
		return wire.WriteLine(a.out, s)
	}
	file := string(s.Settings)
	if file == "" {
		file = "none"
	}
	if _, err := fmt.Fprintf(a.out, "settings  %s\njournal   %s\n", file, s.Journal); err != nil {
		return err
	}
	for _, r := range s.Remembered {
		line := fmt.Sprintf("%-8s  %s, %s", r.Of, r.Name, views.Minute(time.Time(r.Time)))
		if r.Adapter != "" {
			line += ", " + string(r.Adapter)
		}
		if r.Baud > 0 {
			line += fmt.Sprintf(", %d baud", r.Baud)
		}
		if r.Examined != "" {
			line += ". " + r.Examined
		}
		if _, err := fmt.Fprintln(a.out, line); err != nil {
			return err
		}
	}
	return nil
}

// forget forgets what is remembered by a name, of whatever kind; or all.
func (a *app) forget(j *journal.Journal, all []journal.Known, name string) error {
	if name == "all" {
		if err := j.Forget("", ""); err != nil {
			return err
		}
		_, err := fmt.Fprintf(a.out, "forgotten: %s\n", say.Plural(len(all), "thing", "things"))
		return err
	}
	done := 0
	for i := range all {
		if r := remembered(&all[i]); string(r.Name) == name {
			if err := j.Forget(all[i].Kind, all[i].Name); err != nil {
				return err
			}
			done++
		}
	}
	if done == 0 {
		return fmt.Errorf("nothing is remembered by the name %q; 'stumble settings' lists what is", name)
	}
	_, err := fmt.Fprintf(a.out, "forgotten: %s\n", name)
	return err
}
