package car

// sensors is what the engine controller measures and works out at one moment: what service 01 shows and a
// freeze frame keeps.
type sensors struct {
	rpm, load, coolant, intake, ambient, oil float64
	speed                                    float64 // km/h
	short, long                              [2]float64
	loop                                     byte // PID 03
	air                                      float64
	throttle, pedal                          float64 // percent
	timing                                   float64
	ran                                      float64 // seconds since the start
	fuel                                     float64
	volts                                    float64
	lambda                                   float64
	inGear                                   bool
	gear                                     int
	ratio                                    float64
}

// The states of the fuel system, PID 03.
const (
	openCold   = 0x01 // open loop, not yet warm enough
	closedLoop = 0x02
	openLoad   = 0x04 // open loop because of high load, or fuel cut on overrun
)

// Throttle angles in percent: on its stop, and sprung open a little with the engine off.
const (
	shutThrottle = 9
	restThrottle = 16
)

// loop is the state of the fuel system.
func (m *machine) loop() byte {
	switch {
	case !m.running:
		return 0
	case m.coolant < 40 || m.ran < 12:
		return openCold
	case m.fuelCut || m.load > 86:
		return openLoad
	}
	return closedLoop
}

// read fills in the sensors from the machine.
func (s *sensors) read(m *machine, x *mixture, volts float64) {
	*s = sensors{
		rpm: m.crank, load: m.load, coolant: m.coolant, intake: m.intake, ambient: m.ambient, oil: m.oil,
		speed: m.speed * 3.6, short: x.short, long: x.long, loop: m.loop(), air: m.air(),
		ran: m.ran, fuel: m.fuel, volts: volts, lambda: 1,
		inGear: m.selector != park, gear: m.gear,
	}
	s.timing = 10 + max(0, min(24, (m.crank-700)/70)) - max(0, m.load-50)/4
	s.throttle = shutThrottle + max(0, m.load-shutLoad)*0.75
	switch m.foot {
	case raising:
		s.pedal = 8
	case holding, pulling:
		s.pedal = max(0, m.load-shutLoad)
	}
	switch {
	case m.fuelCut:
		s.lambda = 1.999
	case s.loop == openLoad:
		s.lambda = 0.9
	case s.loop == openCold:
		s.lambda = 0.97
	}
	if !m.running {
		s.timing, s.throttle = 0, restThrottle
	}
	switch m.selector {
	case drive:
		s.ratio = m.v.Ratios[m.gear-1]
	case reverse:
		s.ratio = m.v.Reverse
	}
}

// mixture is the controller's fuel trim, bank by bank.
type mixture struct {
	short, long [2]float64 // percent
	missed      [2]float64 // share of the bank's firings that missed, over the last seconds
	ripple      float64    // phase of the closed loop's swing
}

// step follows the need for fuel over a tenth of a second. An unburnt charge sends its oxygen to the sensor, so
// misses ask for fuel too (misfire-rules section 11).
func (x *mixture) step(m *machine, faults []Fault, c *Conditions) {
	const dt = 5 * tick
	if m.loop() != closedLoop {
		x.short = [2]float64{}
		return
	}
	if x.ripple += dt / 0.9; x.ripple >= 1 {
		x.ripple--
	}
	for bank := range m.v.Banks {
		need := 0.8 + 150*x.missed[bank]
		for _, f := range faults {
			need += f.trim(m.v, c, bank)
		}
		x.missed[bank] -= x.missed[bank] * dt / 4
		need = max(-45, min(45, need))
		short := need - x.long[bank] + 2*(x.ripple-0.5)
		x.short[bank] = max(-25, min(25, short))
		if m.coolant >= 70 {
			x.long[bank] += (need - x.long[bank]) * dt / 45
			x.long[bank] = max(-25, min(25, x.long[bank]))
		}
	}
}
