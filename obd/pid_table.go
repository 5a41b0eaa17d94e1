package obd

// pids is the table of SAE J1979 parameters, by id. Formulas and lengths as several public decoders agree on
// them (checked against testdata/vectors/decode-vectors.csv); the letters in the comments are those of the
// standard: A is the first data byte. Never written to.
var pids = pidTable()

func pidTable() (t [256]PID) {
	put := func(id byte, length int, name string, parts ...Part) {
		t[id] = PID{ID: id, Name: name, Len: length, Parts: parts}
	}
	for id := 0x00; id <= 0xC0; id += int(supportBlock) {
		put(byte(id), 4, "supported parameters")
	}
	putStatus(put)
	putEngine(put)
	putOxygen(put)
	putDistances(put)
	putThrottles(put)
	putLater(put)
	for id := PIDTrimShort1; id <= PIDTrimLong2; id++ {
		t[id].OtherLen = 2 // engines of three or four banks
	}
	for id := 0x55; id <= 0x58; id++ {
		t[id].OtherLen = 1 // engines without banks 3 and 4, on some modules
	}
	return t
}

type putPID func(id byte, length int, name string, parts ...Part)

func putStatus(put putPID) {
	put(PIDStatus, 4, "monitor status since clear",
		Part{Name: "warning lamp", Width: 1, Shift: 7, Mul: 1, Div: 1},
		Part{Name: "stored codes", Unit: Counts, Width: 1, Mask: 0x7F, Mul: 1, Div: 1})
	put(PIDFreezeCode, 2, "code that stored the freeze frame")
	put(PIDFuelSystem, 2, "fuel system state",
		number("fuel system 1", NoUnit, 0, 1), number("fuel system 2", NoUnit, 1, 1))
	put(PIDSecondaryAir, 1, "secondary air state", number("secondary air", NoUnit, 0, 1))
	put(0x13, 1, "oxygen sensors present")
	put(PIDStandard, 1, "standard the vehicle was built to", number("standard", NoUnit, 0, 1))
	put(0x1D, 1, "oxygen sensors present, four banks")
	put(0x1E, 1, "power take-off", Part{Name: "power take-off", Width: 1, Mask: 1, Mul: 1, Div: 1})
	put(PIDStatusThisCycle, 4, "monitor status this driving cycle")
	put(PIDFuelType, 1, "fuel type", number("fuel type", NoUnit, 0, 1))
	put(0x5F, 1, "emission requirements", number("emission requirements", NoUnit, 0, 1))
}

func putEngine(put putPID) {
	put(PIDLoad, 1, "calculated load", percent("calculated load"))
	put(PIDCoolant, 1, "coolant temperature", temperature("coolant temperature"))
	put(PIDTrimShort1, 1, "short-term trim bank 1", trim("bank 1", 0), trim("bank 3", 1))
	put(PIDTrimLong1, 1, "long-term trim bank 1", trim("bank 1", 0), trim("bank 3", 1))
	put(PIDTrimShort2, 1, "short-term trim bank 2", trim("bank 2", 0), trim("bank 4", 1))
	put(PIDTrimLong2, 1, "long-term trim bank 2", trim("bank 2", 0), trim("bank 4", 1))
	put(PIDFuelPressure, 1, "fuel pressure", scaled("fuel pressure", Kilopascals, 0, 1, 3, 1, 0))
	put(PIDManifold, 1, "manifold pressure, absolute", number("manifold pressure", Kilopascals, 0, 1))
	put(PIDRPM, 2, "engine speed", scaled("engine speed", RPM, 0, 2, 1, 4, 0)) // (256A+B)/4
	put(PIDSpeed, 1, "road speed", number("road speed", KilometresHour, 0, 1))
	put(PIDTiming, 1, "ignition timing, cylinder 1, before top dead centre",
		scaled("ignition timing", Degrees, 0, 1, 1, 2, -64)) // A/2 - 64
	put(PIDIntakeAir, 1, "intake air temperature", temperature("intake air temperature"))
	put(PIDAirFlow, 2, "air flow", scaled("air flow", GramsSecond, 0, 2, 1, 100, 0))
	put(PIDThrottle, 1, "throttle position", percent("throttle position"))
	put(PIDRunTime, 2, "time since engine start", number("time since engine start", Seconds, 0, 2))
	put(PIDVoltage, 2, "control module voltage", scaled("voltage", Volts, 0, 2, 1, 1000, 0))
	put(PIDAbsoluteLoad, 2, "absolute load", scaled("absolute load", Percent, 0, 2, 100, 255, 0))
	put(PIDCommandedLambda, 2, "commanded lambda", lambda("commanded lambda"))
	put(PIDOilTemperature, 1, "oil temperature", temperature("oil temperature"))
	put(0x5D, 2, "injection timing", scaled("injection timing", Degrees, 0, 2, 1, 128, -210))
	put(PIDFuelRate, 2, "fuel rate", scaled("fuel rate", LitresHour, 0, 2, 1, 20, 0))
	put(0x61, 1, "torque demanded", scaled("torque demanded", Percent, 0, 1, 1, 1, -125))
	put(0x62, 1, "torque delivered", scaled("torque delivered", Percent, 0, 1, 1, 1, -125))
	put(0x63, 2, "reference torque", number("reference torque", NewtonMetres, 0, 2))
	put(0x64, 5, "torque points",
		scaled("torque at idle", Percent, 0, 1, 1, 1, -125), scaled("torque at point 2", Percent, 1, 1, 1, 1, -125),
		scaled("torque at point 3", Percent, 2, 1, 1, 1, -125), scaled("torque at point 4", Percent, 3, 1, 1, 1, -125),
		scaled("torque at point 5", Percent, 4, 1, 1, 1, -125))
}

func putOxygen(put putPID) {
	for id := byte(0x14); id <= 0x1B; id++ {
		notUsed := trim("trim of that sensor", 1)
		notUsed.None = 0xFF // sensor not used for control
		put(id, 2, "oxygen sensor", scaled("sensor voltage", Volts, 0, 1, 1, 200, 0), notUsed)
	}
	for id := byte(0x24); id <= 0x2B; id++ { // lambda (256A+B)*2/65536, volts (256C+D)*8/65536
		put(id, 4, "wide-range oxygen sensor", lambda("lambda"), scaled("sensor voltage", Volts, 2, 2, 8, 65536, 0))
	}
	for id := byte(0x34); id <= 0x3B; id++ { // lambda as above, pump current (256C+D)/256 - 128
		put(id, 4, "wide-range oxygen sensor", lambda("lambda"), scaled("pump current", Milliamperes, 2, 2, 1, 256, -128))
	}
	for id := byte(0x3C); id <= 0x3F; id++ {
		put(id, 2, "catalyst temperature", scaled("catalyst temperature", Celsius, 0, 2, 1, 10, -40))
	}
	put(0x55, 2, "secondary short-term trim bank 1", trim("bank 1", 0), trim("bank 3", 1))
	put(0x56, 2, "secondary long-term trim bank 1", trim("bank 1", 0), trim("bank 3", 1))
	put(0x57, 2, "secondary short-term trim bank 2", trim("bank 2", 0), trim("bank 4", 1))
	put(0x58, 2, "secondary long-term trim bank 2", trim("bank 2", 0), trim("bank 4", 1))
}

func putDistances(put putPID) {
	put(PIDDistanceMIL, 2, "distance with warning lamp on", number("distance", Kilometres, 0, 2))
	put(PIDWarmUps, 1, "warm-ups since clear", number("warm-ups", Counts, 0, 1))
	put(PIDDistanceClear, 2, "distance since clear", number("distance", Kilometres, 0, 2))
	put(PIDTimeMIL, 2, "running time with warning lamp on", number("time", Minutes, 0, 2))
	put(PIDTimeClear, 2, "time since clear", number("time", Minutes, 0, 2))
	put(PIDOdometer, 4, "odometer", scaled("odometer", Kilometres, 0, 4, 1, 10, 0))
}

func putThrottles(put putPID) {
	put(0x45, 1, "relative throttle position", percent("relative throttle position"))
	put(0x47, 1, "throttle position B", percent("throttle position B"))
	put(0x48, 1, "throttle position C", percent("throttle position C"))
	put(PIDAccelerator, 1, "accelerator position D", percent("accelerator position D"))
	put(0x4A, 1, "accelerator position E", percent("accelerator position E"))
	put(0x4B, 1, "accelerator position F", percent("accelerator position F"))
	put(PIDThrottleCommand, 1, "commanded throttle", percent("commanded throttle"))
	put(0x5A, 1, "relative accelerator position", percent("relative accelerator position"))
}

func putLater(put putPID) {
	put(0x22, 2, "rail pressure over manifold", scaled("rail pressure", Kilopascals, 0, 2, 79, 1000, 0))
	put(0x23, 2, "rail pressure", scaled("rail pressure", Kilopascals, 0, 2, 10, 1, 0))
	put(0x2C, 1, "commanded exhaust recirculation", percent("commanded exhaust recirculation"))
	put(0x2D, 1, "exhaust recirculation error", trim("exhaust recirculation error", 0))
	put(0x2E, 1, "commanded purge", percent("commanded purge"))
	put(PIDFuelLevel, 1, "fuel level", percent("fuel level"))
	put(0x32, 2, "vapour pressure", Part{Name: "vapour pressure", Unit: Pascals, Width: 2, Signed: true, Mul: 1, Div: 4})
	put(PIDBarometer, 1, "barometric pressure", number("barometric pressure", Kilopascals, 0, 1))
	put(PIDAmbient, 1, "ambient temperature", temperature("ambient temperature"))
	put(0x4F, 4, "largest values of other parameters")
	put(0x50, 4, "largest air flow value")
	put(0x52, 1, "alcohol in fuel", percent("alcohol in fuel"))
	put(0x53, 2, "vapour pressure, absolute", scaled("vapour pressure", Kilopascals, 0, 2, 1, 200, 0))
	put(0x54, 2, "vapour pressure, wide range") // two's complement or offset by 32767: decoders disagree
	put(0x59, 2, "rail pressure, absolute", scaled("rail pressure", Kilopascals, 0, 2, 10, 1, 0))
	put(0x5B, 1, "hybrid battery charge", percent("hybrid battery charge"))
	// Support bits in A, states in B; bit 0 is the power take-off (one old public decoder counts from bit 7).
	put(PIDAuxiliary, 2, "auxiliary inputs and outputs",
		Part{Name: "power take-off", At: 1, Width: 1, Mask: 1, Mul: 1, Div: 1, Needs: 1 << 0},
		Part{Name: "selector in drive or reverse", At: 1, Width: 1, Shift: 1, Mask: 1, Mul: 1, Div: 1, Needs: 1 << 1},
		Part{Name: "manual gearbox in gear", At: 1, Width: 1, Shift: 2, Mask: 1, Mul: 1, Div: 1, Needs: 1 << 2},
		Part{Name: "glow lamp", At: 1, Width: 1, Shift: 3, Mask: 1, Mul: 1, Div: 1, Needs: 1 << 3},
		Part{Name: "recommended gear", At: 1, Width: 1, Shift: 4, Mul: 1, Div: 1, Needs: 1 << 4})
	put(PIDAirFlowSensors, 5, "air flow sensors",
		Part{Name: "air flow sensor A", Unit: GramsSecond, At: 1, Width: 2, Mul: 1, Div: 32, Needs: 1 << 0},
		Part{Name: "air flow sensor B", Unit: GramsSecond, At: 3, Width: 2, Mul: 1, Div: 32, Needs: 1 << 1})
	put(PIDCoolantSensors, 3, "coolant temperature sensors",
		Part{Name: "coolant temperature sensor 1", Unit: Celsius, At: 1, Width: 1, Mul: 1, Div: 1, Add: -40, Needs: 1 << 0},
		Part{Name: "coolant temperature sensor 2", Unit: Celsius, At: 2, Width: 1, Mul: 1, Div: 1, Add: -40, Needs: 1 << 1})
	// Support bits in A; gear in the high nibble of B, whose low nibble is reserved and not always zero;
	// ratio (256C+D)/1000.
	put(PIDGear, 4, "actual gear",
		Part{Name: "gear", At: 1, Width: 1, Shift: 4, Mul: 1, Div: 1, Needs: 1 << 0},
		Part{Name: "gear ratio", Unit: Ratio, At: 2, Width: 2, Mul: 1, Div: 1000, Needs: 1 << 1})
}

func scaled(name string, unit Unit, at, width int, mul, div, add float64) Part {
	return Part{Name: name, Unit: unit, At: at, Width: width, Mul: mul, Div: div, Add: add}
}

func number(name string, unit Unit, at, width int) Part {
	return scaled(name, unit, at, width, 1, 1, 0)
}

// percent is A*100/255.
func percent(name string) Part { return scaled(name, Percent, 0, 1, 100, 255, 0) }

// temperature is A-40.
func temperature(name string) Part { return scaled(name, Celsius, 0, 1, 1, 1, -40) }

// trim is (x-128)*100/128: positive adds fuel.
func trim(name string, at int) Part { return scaled(name, Percent, at, 1, 100, 128, -100) }

// lambda is (256A+B)*2/65536.
func lambda(name string) Part { return scaled(name, Ratio, 0, 2, 2, 65536, 0) }
