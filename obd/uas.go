package obd

// Scaling is how an on-board test value is to be read: value = raw * mul / div + add.
type Scaling struct {
	Unit          Unit
	Signed        bool // raw is in two's complement
	mul, div, add float64
}

// ScalingOf gives the scaling of a unit-and-scaling id (SAE J1979 appendix E). It is false for an id that
// the table does not have; the raw value is then all there is.
func ScalingOf(uas byte) (Scaling, bool) {
	s := scalings[uas]
	return s, s.div != 0
}

// Value converts a raw value.
func (s Scaling) Value(raw uint16) float64 {
	n := float64(raw)
	if s.Signed {
		n = float64(int16(raw))
	}
	if s.Unit == OnOff {
		n = float64(min(raw, 1))
	}
	return n*s.mul/s.div + s.add
}

// scalings holds the 92 ids of SAE J1979 appendix E and its later additions, as two public decoders and the
// on-board test documents of two makers agree on them (3A to 40, 87, 99, AD, AE and FC: one decoder and one
// table only); checked row by row against testdata/vectors/uas.csv. Factors are kept as fractions so that
// decimal values come out clean. Never written to.
var scalings = [256]Scaling{
	0x01: {UnscaledCounts, false, 1, 1, 0},       // raw value
	0x02: {UnscaledCounts, false, 1, 10, 0},      // raw value
	0x03: {UnscaledCounts, false, 1, 100, 0},     // raw value
	0x04: {UnscaledCounts, false, 1, 1000, 0},    // raw value
	0x05: {UnscaledCounts, false, 305, 1e7, 0},   // raw value
	0x06: {UnscaledCounts, false, 305, 1e6, 0},   // raw value
	0x07: {RPM, false, 1, 4, 0},                  // rotational frequency
	0x08: {KilometresHour, false, 1, 100, 0},     // speed
	0x09: {KilometresHour, false, 1, 1, 0},       // speed
	0x0A: {Millivolts, false, 122, 1000, 0},      // voltage
	0x0B: {Volts, false, 1, 1000, 0},             // voltage
	0x0C: {Volts, false, 1, 100, 0},              // voltage
	0x0D: {Milliamperes, false, 1, 256, 0},       // current
	0x0E: {Amperes, false, 1, 1000, 0},           // current
	0x0F: {Amperes, false, 1, 100, 0},            // current
	0x10: {Milliseconds, false, 1, 1, 0},         // time
	0x11: {Milliseconds, false, 100, 1, 0},       // time
	0x12: {Seconds, false, 1, 1, 0},              // time
	0x13: {Milliohms, false, 1, 1, 0},            // resistance
	0x14: {Ohms, false, 1, 1, 0},                 // resistance
	0x15: {Kilohms, false, 1, 1, 0},              // resistance
	0x16: {Celsius, false, 1, 10, -40},           // temperature
	0x17: {Kilopascals, false, 1, 100, 0},        // pressure (gauge)
	0x18: {Kilopascals, false, 117, 1e4, 0},      // pressure (air)
	0x19: {Kilopascals, false, 79, 1000, 0},      // pressure (fuel)
	0x1A: {Kilopascals, false, 1, 1, 0},          // pressure (gauge)
	0x1B: {Kilopascals, false, 10, 1, 0},         // pressure (diesel)
	0x1C: {Degrees, false, 1, 100, 0},            // angle
	0x1D: {Degrees, false, 1, 2, 0},              // angle
	0x1E: {Ratio, false, 305, 1e7, 0},            // equivalence ratio (lambda)
	0x1F: {Ratio, false, 1, 20, 0},               // air/fuel ratio
	0x20: {Ratio, false, 1, 256, 0},              // ratio
	0x21: {Millihertz, false, 1, 1, 0},           // frequency
	0x22: {Hertz, false, 1, 1, 0},                // frequency
	0x23: {Kilohertz, false, 1, 1, 0},            // frequency
	0x24: {Counts, false, 1, 1, 0},               // counts (the misfire count unit)
	0x25: {Kilometres, false, 1, 1, 0},           // distance
	0x26: {MillivoltsMilli, false, 1, 10, 0},     // voltage per time
	0x27: {GramsSecond, false, 1, 100, 0},        // mass per time
	0x28: {GramsSecond, false, 1, 1, 0},          // mass per time
	0x29: {PascalsSecond, false, 1, 4, 0},        // pressure per time
	0x2A: {KilogramsHour, false, 1, 1000, 0},     // mass per time
	0x2B: {Switches, false, 1, 1, 0},             // switch count
	0x2C: {GramsCylinder, false, 1, 100, 0},      // mass per cylinder
	0x2D: {MilligramStroke, false, 1, 100, 0},    // mass per stroke
	0x2E: {OnOff, false, 1, 1, 0},                // true if any bit set; else false
	0x2F: {Percent, false, 1, 100, 0},            // percent
	0x30: {Percent, false, 1526, 1e6, 0},         // percent (often misfire rate)
	0x31: {Litres, false, 1, 1000, 0},            // volume
	0x32: {Inches, false, 305, 1e7, 0},           // length
	0x33: {Ratio, false, 24414, 1e8, 0},          // equivalence ratio (lambda)
	0x34: {Minutes, false, 1, 1, 0},              // time
	0x35: {Milliseconds, false, 10, 1, 0},        // time
	0x36: {Grams, false, 1, 100, 0},              // mass
	0x37: {Grams, false, 1, 10, 0},               // mass
	0x38: {Grams, false, 1, 1, 0},                // mass
	0x39: {Percent, false, 1, 100, -327.68},      // percent with offset
	0x3A: {Grams, false, 1, 1000, 0},             // mass
	0x3B: {Grams, false, 1, 1e4, 0},              // mass
	0x3C: {Microseconds, false, 1, 10, 0},        // time
	0x3D: {Milliamperes, false, 1, 100, 0},       // current
	0x3E: {SquareMilli, false, 6103516, 1e11, 0}, // area
	0x3F: {Litres, false, 1, 100, 0},             // volume
	0x40: {PartsPerMillion, false, 1, 1, 0},      // concentration
	0x41: {Microamperes, false, 1, 100, 0},       // current
	0x81: {UnscaledCounts, true, 1, 1, 0},        // raw value
	0x82: {UnscaledCounts, true, 1, 10, 0},       // raw value
	0x83: {UnscaledCounts, true, 1, 100, 0},      // raw value
	0x84: {UnscaledCounts, true, 1, 1000, 0},     // raw value
	0x85: {UnscaledCounts, true, 305, 1e7, 0},    // raw value
	0x86: {UnscaledCounts, true, 305, 1e6, 0},    // raw value
	0x87: {PartsPerMillion, true, 1, 1, 0},       // concentration
	0x8A: {Millivolts, true, 122, 1000, 0},       // voltage
	0x8B: {Volts, true, 1, 1000, 0},              // voltage
	0x8C: {Volts, true, 1, 100, 0},               // voltage
	0x8D: {Milliamperes, true, 1, 256, 0},        // current
	0x8E: {Amperes, true, 1, 1000, 0},            // current
	0x90: {Milliseconds, true, 1, 1, 0},          // time
	0x96: {Celsius, true, 1, 10, 0},              // temperature (no offset)
	0x99: {Kilopascals, true, 1, 10, 0},          // pressure
	0x9C: {Degrees, true, 1, 100, 0},             // angle
	0x9D: {Degrees, true, 1, 2, 0},               // angle
	0xA8: {GramsSecond, true, 1, 1, 0},           // mass per time
	0xA9: {PascalsSecond, true, 1, 4, 0},         // pressure per time
	0xAD: {MilligramStroke, true, 1, 100, 0},     // mass per stroke
	0xAE: {MilligramStroke, true, 1, 10, 0},      // mass per stroke
	0xAF: {Percent, true, 1, 100, 0},             // percent
	0xB0: {Percent, true, 3052, 1e6, 0},          // percent
	0xB1: {MillivoltsSec, true, 2, 1, 0},         // voltage per time
	0xFC: {Kilopascals, true, 1, 100, 0},         // pressure
	0xFD: {Kilopascals, true, 1, 1000, 0},        // pressure
	0xFE: {Pascals, true, 1, 4, 0},               // pressure (vapour)
}
