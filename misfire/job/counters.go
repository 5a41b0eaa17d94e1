package job

import (
	"errors"
	"time"

	"stumble/misfire/journal"
	"stumble/obd"
	"stumble/obd/counters"
)

// KnownCounters returns the user's table of counters that worked on a vehicle, empty where none is known.
func (s *Saver) KnownCounters(vin string) (text string) {
	if s != nil && vin != "" {
		(&Memory{Journal: s.Journal}).recall(journal.KnownCounters, vin, &text)
	}
	return text
}

// SaveCounters keeps a user's table of counters with a vehicle that it worked on.
func (s *Saver) SaveCounters(vin, text string, now time.Time) {
	if s != nil && vin != "" && s.KnownCounters(vin) != text {
		(&Memory{Journal: s.Journal, Now: func() time.Time { return now }}).remember(journal.KnownCounters, vin, text)
	}
}

// ErrTestOnCAN says that a table asks for a test and its component, which a car on CAN does not have.
var ErrTestOnCAN = errors.New("the table reads service 06 with a component, as before CAN; this car is on CAN, where it would read something else")

// UseCounters has the car counted by the user's own table of the maker's counters, whose requests the user has seen and
// confirmed. The error is a RowError of package counters, or that one of them may not be sent.
func (c *Car) UseCounters(text string) error {
	table, err := counters.Parse(text)
	if err != nil {
		return err
	}
	for i := range table {
		if table[i].Component >= 0 && c.Caps.Protocol.CAN() {
			return ErrTestOnCAN
		}
	}
	if err := c.Adapter.Admit(table.Requests()); err != nil {
		return err
	}
	c.Caps.Counters, c.counters = table, text
	return nil
}

// counted notes that the user's table told something: it is kept with the vehicle.
func (c *Car) counted(s *obd.Sample) {
	if c.counters == "" || c.worked {
		return
	}
	for i := range s.Readings {
		if s.Readings[i].Service == obd.LocalData {
			c.worked = true
			c.saver.SaveCounters(c.id.VIN, c.counters, c.Now())
			return
		}
	}
}

// recallCounters takes up the table that worked on this vehicle before, where none is given.
func (c *Car) recallCounters(told func(Notice)) {
	text := c.saver.KnownCounters(c.id.VIN)
	if c.counters != "" || text == "" || c.UseCounters(text) != nil {
		return
	}
	if told != nil {
		told(Notice{Kind: CountersKnown, Counted: c.Caps.Cylinders()})
	}
}
