package car

import (
	"time"

	"stumble/obd"
)

// siskinComplaint is a new car of four cylinders that speaks OBD on UDS alone: the coil of cylinder 3 breaks down.
func siskinComplaint() Config {
	c := complaint(Siskin(), 0x0303,
		&Frame{Load: 41, RPM: 1510, Coolant: 91, Speed: 24, Short: 1.2, Long: 1.8, Ran: 1240, Drive: true}, Breakdown{Cylinder: 3})
	c.Coolant = 84
	c.Controller.ByID = ByID{Speaks: true}
	c.History.Last = []int{0, 1, 188, 0}
	c.History.Average = []float64{0, 0.4, 74, 0.2}
	return c
}

// heronComplaint is the same with eight cylinders, and two coils that break down.
func heronComplaint() Config {
	c := complaint(Heron(), 0x0307,
		&Frame{Load: 44, RPM: 1380, Coolant: 93, Speed: 27, Short: 0.9, Long: 1.1, Ran: 1460, Drive: true}, Breakdown{Cylinder: 7})
	c.Coolant = 84
	c.Controller.ByID = ByID{Speaks: true, Order: CountFirst}
	c.History.Last = []int{0, 0, 1, 0, 0, 0, 203, 0}
	c.History.Average = []float64{0, 0, 0.2, 0, 0.1, 0, 81, 0}
	return c
}

// newer are cars that speak OBD on UDS, each after its own fashion: nobody has met enough real ones to know.
func newer() []Scenario {
	with := func(c Config, change func(*Config)) Config {
		change(&c)
		return c
	}
	siskin := func(change func(*ByID)) Config {
		return with(siskinComplaint(), func(c *Config) { change(&c.Controller.ByID) })
	}
	return []Scenario{
		{"siskin-both", "the Siskin answering services 01 to 0A as well, as in the years of the change-over",
			siskin(func(b *ByID) { b.Classic = true })},
		{"siskin-both-standing", "the same, with counts of service 06 that stand still: only those of the codes move",
			siskin(func(b *ByID) { b.Classic, b.ClassicStands = true, true })},
		{"siskin-old-gearbox", "the Siskin whose transmission module speaks services 01 to 0A alone",
			siskin(func(b *ByID) { b.OldGearbox = true })},
		{"siskin-alone", "the Siskin with one count a code, and a module that takes its time and is busy at first",
			siskin(func(b *ByID) { b.Order, b.Slow, b.Busy = CountAlone, 4800*time.Millisecond, 2 })},
		{"siskin-by-monitor", "the Siskin with its counts behind identifiers F6A2 and on, none with the codes",
			siskin(func(b *ByID) { b.ByMonitor = true })},
		{"siskin-one-at-a-time", "the Siskin refusing more than one identifier a request",
			siskin(func(b *ByID) { b.Most, b.Refusal = 1, wrongLength })},
		{"siskin-silent-limit", "the Siskin keeping silent where a request holds more than two identifiers",
			siskin(func(b *ByID) { b.Most = 2 })},
		{"siskin-ragged", "the Siskin whose transmission module sends answers that are too short",
			siskin(func(b *ByID) { b.Ragged = true })},
		{"siskin-wide", "the Siskin with 29-bit CAN identifiers",
			with(siskinComplaint(), func(c *Config) { c.Vehicle.Protocol = obd.CAN29At500 })},
		{"heron-slow-can", "the Heron on CAN at 250 kbit/s with 29-bit identifiers",
			with(heronComplaint(), func(c *Config) { c.Vehicle.Protocol = obd.CAN29At250 })},
	}
}
