package obd

// PIDs of services 01 and 02 that the program calls by name (SAE J1979).
const (
	PIDStatus          byte = 0x01
	PIDFreezeCode      byte = 0x02
	PIDFuelSystem      byte = 0x03
	PIDLoad            byte = 0x04
	PIDCoolant         byte = 0x05
	PIDTrimShort1      byte = 0x06
	PIDTrimLong1       byte = 0x07
	PIDTrimShort2      byte = 0x08
	PIDTrimLong2       byte = 0x09
	PIDFuelPressure    byte = 0x0A
	PIDManifold        byte = 0x0B
	PIDRPM             byte = 0x0C
	PIDSpeed           byte = 0x0D
	PIDTiming          byte = 0x0E
	PIDIntakeAir       byte = 0x0F
	PIDAirFlow         byte = 0x10
	PIDThrottle        byte = 0x11
	PIDSecondaryAir    byte = 0x12
	PIDStandard        byte = 0x1C
	PIDRunTime         byte = 0x1F
	PIDDistanceMIL     byte = 0x21
	PIDFuelLevel       byte = 0x2F
	PIDWarmUps         byte = 0x30
	PIDDistanceClear   byte = 0x31
	PIDBarometer       byte = 0x33
	PIDStatusThisCycle byte = 0x41
	PIDVoltage         byte = 0x42
	PIDAbsoluteLoad    byte = 0x43
	PIDCommandedLambda byte = 0x44
	PIDAmbient         byte = 0x46
	PIDAccelerator     byte = 0x49
	PIDThrottleCommand byte = 0x4C
	PIDTimeMIL         byte = 0x4D
	PIDTimeClear       byte = 0x4E
	PIDFuelType        byte = 0x51
	PIDOilTemperature  byte = 0x5C
	PIDFuelRate        byte = 0x5E
	PIDAuxiliary       byte = 0x65
	PIDAirFlowSensors  byte = 0x66
	PIDCoolantSensors  byte = 0x67
	PIDGear            byte = 0xA4
	PIDOdometer        byte = 0xA6
	supportBlock       byte = 0x20 // every such id is a bitmap of the 32 ids after it
)

// Parts of readings that are not a single number.
const (
	PartMIL       byte = 0 // PIDStatus: 1 when the lamp is commanded on
	PartCodeCount byte = 1 // PIDStatus: stored codes of that module

	PartFuelSystem1 byte = 0 // PIDFuelSystem: a FuelSystem value
	PartFuelSystem2 byte = 1 // PIDFuelSystem: a FuelSystem value

	PartPowerTakeOff    byte = 0 // PIDAuxiliary: 1 when active
	PartDriveSelector   byte = 1 // PIDAuxiliary: 0 park or neutral, 1 drive or reverse
	PartManualGear      byte = 2 // PIDAuxiliary: 0 neutral or clutch in, 1 in gear
	PartGlowLamp        byte = 3 // PIDAuxiliary: 1 when lit
	PartRecommendedGear byte = 4 // PIDAuxiliary: 1 to 15, 0 none

	PartGearNumber byte = 0 // PIDGear: 0 is neutral
	PartGearRatio  byte = 1 // PIDGear: as the module reports it

	PartSensorVolts byte = 0 // conventional oxygen sensors, PIDs 14 to 1B
	PartSensorTrim  byte = 1 // conventional oxygen sensors, PIDs 14 to 1B; left out when not used for control
)

// FuelSystem is how fuel is governed, as a reading of PIDFuelSystem has it (SAE J1979, from memory). At
// most one bit is set; 0 means the engine has no such fuel system, or is off.
type FuelSystem byte

// The states of a fuel system.
const (
	OpenLoopCold   FuelSystem = 1 << iota // not yet warm enough for closed loop
	ClosedLoop                            // governed by the oxygen sensors
	OpenLoopDrive                         // by driving: full load, or fuel cut on overrun
	OpenLoopFault                         // by a fault
	ClosedLoopHurt                        // governed, but an oxygen sensor is at fault
)

// String is the state in words.
func (f FuelSystem) String() string {
	switch f {
	case 0:
		return "none or off"
	case OpenLoopCold:
		return "open loop, not warm yet"
	case ClosedLoop:
		return "closed loop"
	case OpenLoopDrive:
		return "open loop, load or overrun"
	case OpenLoopFault:
		return "open loop, fault"
	case ClosedLoopHurt:
		return "closed loop, sensor fault"
	}
	return "unknown fuel system state"
}

// PID describes one parameter of service 01 and 02.
type PID struct {
	ID   byte
	Name string // in plain words
	Len  int    // data bytes
	// OtherLen is a second length that some modules use, 0 when there is none. Such a PID must be asked
	// alone: in an answer with several PIDs nobody could tell where it ends.
	OtherLen int
	Parts    []Part // in order of Reading.Part; empty when the PID is known by length only
}

// Batchable reports whether the PID may be asked together with others.
func (p PID) Batchable() bool { return p.OtherLen == 0 && p.ID%supportBlock != 0 }

// Part describes one value of a PID: value = raw * Mul / Div + Add, where raw is Width bytes from At,
// big-endian, shifted right by Shift and masked by Mask (0: no mask).
type Part struct {
	Name          string
	Unit          Unit
	At, Width     int
	Shift         uint
	Mask          uint32
	Signed        bool
	Mul, Div, Add float64
	Needs         byte // a bit of the first byte that says whether the value is there; 0: always
	None          byte // a raw value that means "not used"; 0: no such value
}

// value decodes one part; ok is false when the data has no such value.
func (p *Part) value(data []byte) (v float64, ok bool) {
	if p.At+p.Width > len(data) || p.Needs != 0 && data[0]&p.Needs == 0 {
		return 0, false
	}
	var raw uint32
	for _, b := range data[p.At : p.At+p.Width] {
		raw = raw<<8 | uint32(b)
	}
	if p.None != 0 && raw == uint32(p.None) {
		return 0, false
	}
	raw >>= p.Shift
	if p.Mask != 0 {
		raw &= p.Mask
	}
	n := float64(raw)
	if p.Signed {
		n = float64(int32(raw<<(32-8*p.Width)) >> (32 - 8*p.Width))
	}
	return n*p.Mul/p.Div + p.Add, true
}

// DescribePID gives what is known of a PID. It is false for a PID whose length is not known.
func DescribePID(id byte) (PID, bool) {
	p := &pids[id]
	return *p, p.Len > 0
}
