package obd

import "fmt"

// Monitor is one self-check of the emission system.
type Monitor byte

// The monitors of PID 01 and 41. Engines with spark ignition have those up to MonitorExhaust, engines with
// compression ignition those after it and the continuous ones.
const (
	MonitorMisfire Monitor = iota
	MonitorFuel
	MonitorComponents
	MonitorCatalyst
	MonitorHeatedCatalyst
	MonitorVapour
	MonitorSecondaryAir
	MonitorCooling // air-conditioning refrigerant, in later editions the particulate filter
	MonitorOxygen
	MonitorOxygenHeater
	MonitorExhaust // exhaust recirculation or variable valve timing, both kinds of engine
	MonitorNMHC
	MonitorNOx
	MonitorBoost
	MonitorExhaustGas
	MonitorParticulate

	reservedBit Monitor = 0xFF
)

// String names the monitor in plain words.
func (m Monitor) String() string {
	names := [...]string{
		MonitorMisfire: "misfire", MonitorFuel: "fuel system", MonitorComponents: "components",
		MonitorCatalyst: "catalyst", MonitorHeatedCatalyst: "heated catalyst", MonitorVapour: "fuel vapour system",
		MonitorSecondaryAir: "secondary air", MonitorCooling: "refrigerant or particulate filter",
		MonitorOxygen: "oxygen sensor", MonitorOxygenHeater: "oxygen sensor heater",
		MonitorExhaust: "exhaust recirculation or valve timing", MonitorNMHC: "NMHC catalyst",
		MonitorNOx: "NOx aftertreatment", MonitorBoost: "boost pressure", MonitorExhaustGas: "exhaust gas sensor",
		MonitorParticulate: "particulate filter",
	}
	if int(m) < len(names) {
		return names[m]
	}
	return fmt.Sprintf("monitor %d", byte(m))
}

// MarshalText writes the monitor's name.
func (m Monitor) MarshalText() ([]byte, error) { return []byte(m.String()), nil }

// MonitorState is how far one monitor has come.
type MonitorState struct {
	Monitor   Monitor
	Supported bool // PID 41: enabled this driving cycle
	Complete  bool // false when not supported
}

// Monitors is the monitor status of one module: PID 01 (since the last clear) or PID 41 (this driving
// cycle).
//
// Layout (SAE J1979): A bit 7 lamp, bits 6-0 stored codes; B bits 0-2 misfire, fuel system, components
// supported, bit 3 compression ignition, bits 4-6 the same three not complete; C supported and D not
// complete of the monitors that do not run all the time.
type Monitors struct {
	Module      Module
	ThisCycle   bool // from PID 41, which tells neither lamp nor codes
	MIL         bool
	Codes       int
	Compression bool
	States      []MonitorState // the three continuous ones first
}

// DecodeMonitors reads the monitor status from a live-data answer that holds pid, PIDStatus or
// PIDStatusThisCycle.
func DecodeMonitors(m Message, pid byte) (Monitors, error) {
	if pid != PIDStatus && pid != PIDStatusThisCycle {
		return Monitors{}, malformed(m, "was read for PID %02X, which is no monitor status", pid)
	}
	if err := expect(m, LiveData, 2); err != nil {
		return Monitors{}, err
	}
	d, ok := PIDData(m, pid)
	if !ok {
		return Monitors{}, malformed(m, "does not hold PID %02X whole", pid)
	}
	out := Monitors{Module: m.Module, ThisCycle: pid == PIDStatusThisCycle, Compression: d[1]&0x08 != 0}
	if !out.ThisCycle {
		out.MIL, out.Codes = d[0]&0x80 != 0, int(d[0]&0x7F)
	}
	for i, monitor := range []Monitor{MonitorMisfire, MonitorFuel, MonitorComponents} {
		out.add(monitor, d[1]>>i, d[1]>>(i+4))
	}
	for i, monitor := range occasional(out.Compression) {
		if monitor != reservedBit {
			out.add(monitor, d[2]>>i, d[3]>>i)
		}
	}
	return out, nil
}

// occasional lists the monitors that do not run all the time, by bit.
func occasional(compression bool) [8]Monitor {
	if compression {
		return [8]Monitor{
			MonitorNMHC, MonitorNOx, reservedBit, MonitorBoost,
			reservedBit, MonitorExhaustGas, MonitorParticulate, MonitorExhaust,
		}
	}
	return [8]Monitor{
		MonitorCatalyst, MonitorHeatedCatalyst, MonitorVapour, MonitorSecondaryAir,
		MonitorCooling, MonitorOxygen, MonitorOxygenHeater, MonitorExhaust,
	}
}

func (m *Monitors) add(monitor Monitor, supported, incomplete byte) {
	s := supported&1 != 0
	m.States = append(m.States, MonitorState{Monitor: monitor, Supported: s, Complete: s && incomplete&1 == 0})
}

// State finds one monitor; false when this kind of engine has none such.
func (m Monitors) State(monitor Monitor) (MonitorState, bool) {
	for _, s := range m.States {
		if s.Monitor == monitor {
			return s, true
		}
	}
	return MonitorState{}, false
}

// Incomplete counts the supported monitors that have not finished.
func (m Monitors) Incomplete() int {
	n := 0
	for _, s := range m.States {
		if s.Supported && !s.Complete {
			n++
		}
	}
	return n
}
