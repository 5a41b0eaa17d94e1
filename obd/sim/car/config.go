package car

import (
	"errors"
	"fmt"
	"time"
)

// Config is a car with its faults, its history and its driver.
type Config struct {
	Vehicle    Vehicle
	Controller Controller
	Faults     []Fault
	Burst      Burst // zero: every firing for itself
	History    History
	Script     Script  // empty: idling in Park for good
	Coolant    float64 // degrees Celsius at the start; 0 means 20
	Running    bool    // the engine already runs when the simulation begins
}

// Controller is how the control modules behave.
type Controller struct {
	Refresh       Refresh
	ByFiringOrder bool          // monitors A2, A3 ... are in firing order instead of cylinder numbers
	Totals        bool          // monitor A1 carries TID 0B and 0C over all cylinders
	Percent       bool          // monitor A1 carries TID 80 and 81: percent of misses against both limits
	CutsFuel      bool          // shuts a damaging cylinder's injector until the next start, with P0363
	Pairs         bool          // answers two monitors in one request of service 06
	WithholdGear  bool          // neither PID A4 nor PID 65
	SilentAfter   time.Duration // the transmission module falls silent this long after the beginning; 0 never
	Latency       time.Duration // from request to answer of the engine module; 0 means the bus's usual
	Own           OwnCounts     // misfire counts in the maker's own data
	ByID          ByID          // the language of SAE J1979-2 beside that of SAE J1979, or in its place
}

// History is what the modules hold when the simulation begins.
type History struct {
	Stored, Pending, Permanent []uint16 // trouble codes as two bytes, P0302 is 0x0302
	Frame                      *Frame   // conditions of the freeze frame; needs a code in Stored or Pending
	Last                       []int    // misses of each cylinder in the last driving cycle, cylinder 1 first
	Average                    []float64
	Cleared                    bool // codes were cleared just now: nothing is ready, counts have never run
	WarmUps                    int  // since the codes were cleared
	Kilometres, Minutes        int  // since the codes were cleared
	LampKilometres             int  // with the lamp on
	LampMinutes                int
	Odometer                   float64 // km
}

// Frame is the moment a freeze frame was stored.
type Frame struct {
	Load, RPM, Coolant, Speed float64 // percent, rpm, degrees Celsius, km/h
	Short, Long               float64 // fuel trim of bank 1, percent
	Ran                       float64 // seconds since the start
	Drive                     bool
}

// check finds what cannot be simulated.
func (c *Config) check() error {
	v := &c.Vehicle
	n := v.Cylinders()
	switch {
	case n < 1 || n > maxCylinders:
		return fmt.Errorf("car: a firing order of 1 to %d cylinders is needed, this one has %d", maxCylinders, n)
	case len(v.VIN) != 17:
		return fmt.Errorf("car: a VIN has 17 characters, %q has %d", v.VIN, len(v.VIN))
	case len(v.Calibration) > 16 || len(v.TransmissionCalibration) > 16:
		return errors.New("car: a calibration id has at most 16 characters")
	case v.Transmission && !v.Protocol.CAN():
		return errors.New("car: a transmission module of its own is simulated on CAN only")
	case c.Controller.ByID.Speaks && !v.Protocol.CAN():
		return errors.New("car: OBD on UDS is simulated on CAN only")
	case len(v.Banks) < 1 || len(v.Banks) > 2:
		return errors.New("car: a vehicle has one bank or two")
	case len(v.Ratios) < 1 || len(v.Ratios) > 15:
		return errors.New("car: a vehicle has 1 to 15 forward gears")
	case c.Burst.Run > 1 && (c.Burst.Share <= 0 || c.Burst.Share >= 1):
		return errors.New("car: the share of firings in bad spells must lie between 0 and 1")
	case len(c.Script.Steps) > 0 && (c.Script.Loop < 0 || c.Script.Loop >= len(c.Script.Steps)):
		return errors.New("car: a script must loop to one of its own steps")
	case len(c.History.Last) > n || len(c.History.Average) > n:
		return fmt.Errorf("car: the history has counts for more than the %d cylinders of the %s", n, v.Name)
	}
	for _, s := range c.Script.Steps {
		if s.Unplugged < 0 || s.Unplugged > n {
			return fmt.Errorf("car: the script unplugs cylinder %d, but the %s has cylinders 1 to %d", s.Unplugged, v.Name, n)
		}
	}
	if err := v.checkNumbers(); err != nil {
		return err
	}
	for _, f := range c.Faults {
		if err := misplaced(v, f); err != nil {
			return err
		}
	}
	return nil
}

// checkNumbers wants each cylinder once in the firing order and once in the banks.
func (v *Vehicle) checkNumbers() error {
	var fires, sits [maxCylinders + 1]int
	for _, cyl := range v.FiringOrder {
		if cyl < 1 || cyl > v.Cylinders() {
			return fmt.Errorf("car: the firing order names cylinder %d of %d", cyl, v.Cylinders())
		}
		fires[cyl]++
	}
	for _, bank := range v.Banks {
		for _, cyl := range bank {
			if cyl < 1 || cyl > v.Cylinders() {
				return fmt.Errorf("car: a bank names cylinder %d of %d", cyl, v.Cylinders())
			}
			sits[cyl]++
		}
	}
	for cyl := 1; cyl <= v.Cylinders(); cyl++ {
		if fires[cyl] != 1 || sits[cyl] != 1 {
			return fmt.Errorf("car: cylinder %d must be once in the firing order and once in a bank", cyl)
		}
	}
	return nil
}
