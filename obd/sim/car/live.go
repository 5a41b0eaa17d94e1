package car

import "math"

// pidSet is the parameters a module supports, as the eight support bitmaps of PID 00, 20 ... E0.
type pidSet [8]uint32

// set builds the bitmaps of some ids. Bit 31 of each word is its first id; bit 0 says that a later word is worth
// asking for.
func set(ids ...byte) (s pidSet) {
	for _, id := range ids {
		s[(id-1)/32] |= 1 << (31 - (id-1)%32)
	}
	for i := len(s) - 2; i >= 0; i-- {
		if s[i+1] != 0 {
			s[i] |= 1
		}
	}
	return s
}

// has reports whether an id is supported: 00 always, bitmaps where something follows.
func (s *pidSet) has(id byte) bool {
	return id == 0 || s[(id-1)/32]>>(31-(id-1)%32)&1 == 1
}

// bitmap appends the four bytes of a bitmap id.
func (s *pidSet) bitmap(dst []byte, id byte) []byte {
	w := s[id/32]
	return append(dst, byte(w>>24), byte(w>>16), byte(w>>8), byte(w))
}

// fitModules settles which parameters each module supports.
func (c *Car) fitModules() {
	v := &c.cfg.Vehicle
	c.tested = c.monitorIDs()
	if !v.Protocol.CAN() {
		c.engine = set(0x01, 0x03, 0x04, 0x05, 0x06, 0x07, 0x0B, 0x0C, 0x0D, 0x0E, 0x0F, 0x11, 0x13, 0x14, 0x15, 0x1C, 0x21)
		c.frozen = set(0x02, 0x03, 0x04, 0x05, 0x06, 0x07, 0x0B, 0x0C, 0x0D)
		return
	}
	ids := []byte{
		0x01, 0x03, 0x04, 0x05, 0x06, 0x07, 0x0B, 0x0C, 0x0D, 0x0E, 0x0F, 0x10, 0x11, 0x1C, 0x1F, 0x21, 0x2F, 0x30,
		0x31, 0x33, 0x41, 0x42, 0x43, 0x44, 0x45, 0x46, 0x49, 0x4D, 0x4E, 0x51, 0x5C, 0xA6,
	}
	frozen := []byte{
		0x02, 0x03, 0x04, 0x05, 0x06, 0x07, 0x0B, 0x0C, 0x0D, 0x0E, 0x0F, 0x10, 0x11, 0x1F, 0x33, 0x42, 0x43, 0x44,
	}
	if len(v.Banks) == 2 {
		ids, frozen = append(ids, 0x08, 0x09), append(frozen, 0x08, 0x09)
	}
	gears := !c.cfg.Controller.WithholdGear
	if gears {
		ids = append(ids, 0x65)
	}
	if gears && !v.Transmission {
		ids = append(ids, 0xA4)
	}
	c.engine, c.frozen = set(ids...), set(frozen...)
	if gears {
		c.transmission = set(0x01, 0x0C, 0x0D, 0x1C, 0xA4)
	} else {
		c.transmission = set(0x01, 0x0C, 0x0D, 0x1C)
	}
}

// answerLive answers up to six PIDs, one before CAN; those that are not supported are left out.
func (c *Car) answerLive(r *reply, pids *pidSet, f *memory, params []byte) {
	most := 1
	if c.cfg.Vehicle.Protocol.CAN() {
		most = 6
	}
	if len(params) == 0 || len(params) > most {
		return
	}
	b := r.begin()
	*b = append(*b, 0x41)
	for _, pid := range params {
		if !pids.has(pid) {
			continue
		}
		*b = append(*b, pid)
		if pid%0x20 == 0 {
			*b = pids.bitmap(*b, pid)
			continue
		}
		*b = c.appendStatus(*b, pid, f)
		*b = c.appendSensor(*b, pid, &c.live)
	}
	r.dropEmpty(1)
}

// answerFrozen answers PID and frame number pairs, up to three on CAN; there is one frame, number 0.
func (c *Car) answerFrozen(r *reply, params []byte) {
	most := 2
	if c.cfg.Vehicle.Protocol.CAN() {
		most = 6
	}
	if len(params) < 2 || len(params) > most || len(params)%2 == 1 {
		return
	}
	f := &c.memory
	b := r.begin()
	*b = append(*b, 0x42)
	for i := 0; i < len(params); i += 2 {
		pid, frame := params[i], params[i+1]
		empty := f.frameCode == 0 && pid%0x20 != 0 && pid != 0x02
		if frame != 0 || empty || !c.frozen.has(pid) {
			continue
		}
		*b = append(*b, pid, frame)
		switch {
		case pid%0x20 == 0:
			*b = c.frozen.bitmap(*b, pid)
		case pid == 0x02:
			*b = append(*b, byte(f.frameCode>>8), byte(f.frameCode))
		default:
			*b = c.appendSensor(*b, pid, &f.frame)
		}
	}
	r.dropEmpty(1)
}

// appendStatus appends the parameters that are of the module's memory: monitors, lamp, meters since the clear.
func (c *Car) appendStatus(dst []byte, pid byte, f *memory) []byte {
	switch pid {
	case 0x01:
		a := byte(f.stored.n)
		if f.mil {
			a |= 0x80
		}
		if f == &c.gearbox {
			return append(dst, a, 0x04, 0, 0)
		}
		return append(dst, a, 0x07, allMonitors, allMonitors&^f.monitors.done())
	case 0x41:
		return append(dst, 0, 0x07, allMonitors, allMonitors&^c.cycle.monitors.done())
	case 0x21:
		return word(dst, lampOnly(f, f.kmMIL))
	case 0x4D:
		return word(dst, lampOnly(f, f.secMIL/60))
	case 0x30:
		return append(dst, byte(f.warmUps))
	case 0x31:
		return word(dst, f.kmClear)
	case 0x4E:
		return word(dst, f.secondsClear/60)
	case 0xA6:
		tenths := uint32((c.cfg.History.Odometer + c.machine.metres/1000) * 10)
		return append(dst, byte(tenths>>24), byte(tenths>>16), byte(tenths>>8), byte(tenths))
	}
	return dst
}

// lampOnly is a meter that counts with the lamp on and reads zero with it off.
func lampOnly(f *memory, value float64) float64 {
	if !f.mil {
		return 0
	}
	return value
}

// appendSensor appends the parameters that are measured or worked out. Formulas: obd-wire-facts section 6.
func (c *Car) appendSensor(dst []byte, pid byte, s *sensors) []byte {
	switch pid {
	case 0x03:
		second := byte(0)
		if len(c.cfg.Vehicle.Banks) == 2 {
			second = s.loop
		}
		return append(dst, s.loop, second)
	case 0x04:
		return share(dst, s.load)
	case 0x05:
		return degrees(dst, s.coolant)
	case 0x06, 0x08:
		return trim(dst, s.short[(pid-0x06)/2])
	case 0x07, 0x09:
		return trim(dst, s.long[(pid-0x07)/2])
	case 0x0B:
		return append(dst, scaled(s.pressure(), 1))
	case 0x0C:
		return word(dst, s.rpm*4)
	case 0x0D:
		return append(dst, byte(min(s.speed, 255)))
	case 0x0E:
		return append(dst, scaled(s.timing+64, 2))
	case 0x0F:
		return degrees(dst, s.intake)
	case 0x10:
		return word(dst, s.air*100)
	case 0x11:
		return share(dst, s.throttle)
	}
	return c.appendSlow(dst, pid, s)
}

// appendSlow is the rest of appendSensor.
func (c *Car) appendSlow(dst []byte, pid byte, s *sensors) []byte {
	switch pid {
	case 0x13:
		return append(dst, 0x03) // bank 1, sensors 1 and 2
	case 0x14:
		return append(dst, scaled(0.45+s.short[0]*0.08, 200), scaled(s.short[0]+100, 1.28))
	case 0x15:
		return append(dst, scaled(0.68, 200), 0xFF) // not used for trim
	case 0x1C:
		if c.cfg.Vehicle.Protocol.CAN() {
			return append(dst, 0x07) // OBD-II and EOBD
		}
		return append(dst, 0x01) // OBD-II
	case 0x1F:
		return word(dst, s.ran)
	case 0x2F:
		return share(dst, s.fuel)
	case 0x33:
		return append(dst, 99)
	case 0x42:
		return word(dst, s.volts*1000)
	case 0x43:
		return word(dst, s.load*0.85*255/100)
	case 0x44:
		return word(dst, s.lambda*32768)
	case 0x45:
		return share(dst, s.throttle-shutThrottle)
	case 0x46:
		return degrees(dst, s.ambient)
	case 0x49:
		return share(dst, 15+s.pedal*0.7)
	case 0x51:
		return append(dst, 0x01) // petrol
	case 0x5C:
		return degrees(dst, s.oil)
	case 0x65:
		status := byte(0)
		if s.inGear {
			status = 0x02
		}
		return append(dst, 0x02, status)
	case 0xA4:
		ratio := uint16(s.ratio*1000 + 0.5)
		return append(dst, 0x03, byte(s.gear)<<4, byte(ratio>>8), byte(ratio))
	}
	return dst
}

// pressure is the manifold's, kPa: some 35 at idle, near the air's outside under full load.
func (s *sensors) pressure() float64 {
	if s.rpm < 50 {
		return 99
	}
	return min(99, 20+s.load*0.78)
}

// scaled is one byte of value times scale, rounded and held within its range.
func scaled(value, scale float64) byte { return byte(max(0, min(255, math.Round(value*scale)))) }

// share is a percentage of 255.
func share(dst []byte, percent float64) []byte { return append(dst, scaled(percent, 2.55)) }

// degrees is a temperature from -40.
func degrees(dst []byte, celsius float64) []byte { return append(dst, scaled(celsius+40, 1)) }

// trim is a correction of -100 to +99 percent.
func trim(dst []byte, percent float64) []byte { return append(dst, scaled(percent+100, 1.28)) }

// word is two bytes, held within their range.
func word(dst []byte, value float64) []byte {
	w := uint16(max(0, min(65535, value)))
	return append(dst, byte(w>>8), byte(w))
}
