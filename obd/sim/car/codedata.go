package car

// answerCodeData answers service 19: lists of codes, and what is kept with one code.
func (c *Car) answerCodeData(r *reply, params []byte) {
	_, kept := c.module(r.node)
	switch {
	case len(params) == 4 && params[0] == 0x42 && params[1] == emissionGroup:
		c.listByStatus(r, kept, params[2])
	case len(params) == 2 && params[0] == 0x55 && params[1] == emissionGroup:
		b := r.begin()
		*b = append(*b, codeData+0x40, 0x55, emissionGroup, 0xFF, listFormat)
		for _, code := range kept.permanent.all() {
			*b = c.appendCode(*b, code, c.status(kept, code))
		}
	case len(params) == 3 && params[0] == 0x56 && params[1] == emissionGroup:
		c.listReadiness(r, kept, params[2])
	case len(params) == 5 && params[0] == 0x04:
		c.answerFrame(r, kept, params)
	case len(params) == 5 && params[0] == 0x06:
		c.answerRecord(r, kept, params)
	case len(params) > 0 && (params[0] == 0x42 || params[0] == 0x55 || params[0] == 0x56 || params[0] == 0x04 || params[0] == 0x06):
		r.refuse(codeData, wrongLength)
	default:
		r.refuse(codeData, noSubfunction)
	}
}

// appendCode is three bytes of code and one of status.
func (c *Car) appendCode(dst []byte, code uint16, status byte) []byte {
	return append(dst, byte(code>>8), byte(code), failure(code), status)
}

// failure is the type of failure a code is told with: coil and injector circuits are open, others say nothing more.
func failure(code uint16) byte {
	if code>>4 == 0x035 || code>>4 == 0x020 {
		return 0x13
	}
	return 0
}

// status is a code's status byte: failing, failed this cycle, pending, confirmed, not run since the clear, failed
// since the clear, not run this cycle, lamp.
func (c *Car) status(f *memory, code uint16) (status byte) {
	pending, stored := f.pending.holds(code), f.stored.holds(code)
	misfire := f == &c.memory && code>>8 == 0x03 && code < 0x0320
	switch {
	case pending && f.detected:
		status |= 0x02 | 0x04
	case pending:
		status |= 0x04
	}
	if stored {
		status |= 0x08
	}
	if stored || pending {
		status |= 0x20
	}
	if stored && f.mil {
		status |= 0x80
	}
	if misfire && !c.evaluation.judgedSlow {
		status |= 0x10
	}
	if misfire && c.evaluation.slow.finished == 0 {
		status |= 0x40
	}
	return status
}

func (l *codeList) holds(code uint16) bool {
	for _, c := range l.all() {
		if c == code {
			return true
		}
	}
	return false
}

// listByStatus lists the codes that have any bit of a mask, each behind its severity.
func (c *Car) listByStatus(r *reply, f *memory, mask byte) {
	b := r.begin()
	*b = append(*b, codeData+0x40, 0x42, emissionGroup, 0xFF, 0x1E, listFormat)
	seen := codeList{}
	for _, l := range []*codeList{&f.stored, &f.pending} {
		for _, code := range l.all() {
			if status := c.status(f, code); status&mask != 0 && !seen.holds(code) {
				seen.add(code)
				*b = c.appendCode(append(*b, misfireSeverity), code, status)
			}
		}
	}
	if r.node == TransmissionNode && c.cfg.Controller.ByID.Ragged {
		*b = append(*b, misfireSeverity, 0x07, 0x00) // a code that ends too soon
	}
}

// listReadiness lists the misfire codes with the state of their checks, whether anything is wrong or not.
func (c *Car) listReadiness(r *reply, f *memory, group byte) {
	if r.node != EngineNode || group != misfireReadiness {
		r.refuse(codeData, outOfRange)
		return
	}
	b := r.begin()
	*b = append(*b, codeData+0x40, 0x56, emissionGroup, 0xFF, listFormat, group)
	for cyl := range c.cfg.Vehicle.Cylinders() + 1 {
		code := misfireCode(cyl)
		*b = c.appendCode(*b, code, c.status(f, code))
	}
}

// answerFrame is the one freeze frame that is kept, of its first occurrence: identifiers with their data.
func (c *Car) answerFrame(r *reply, f *memory, params []byte) {
	code := uint16(params[1])<<8 | uint16(params[2])
	if r.node != EngineNode || f.frameCode == 0 || code != f.frameCode || params[3] != failure(code) || params[4] != 0x00 {
		r.refuse(codeData, outOfRange)
		return
	}
	b := r.begin()
	*b = append(c.appendCode(append(*b, codeData+0x40, 0x04), code, c.status(f, code)), 0x00, 0)
	count := len(*b) - 1
	for pid := byte(0x03); pid < 0x60; pid++ {
		if pid%0x20 != 0 && c.frozen.has(pid) {
			*b = c.appendSensor(append(*b, 0xF4, pid), pid, &f.frame)
			(*b)[count]++
		}
	}
}

// answerRecord is a record of extended data: 91 in-use counts, 92 the test results of a cylinder's misfire code.
func (c *Car) answerRecord(r *reply, f *memory, params []byte) {
	by := &c.cfg.Controller.ByID
	code := uint16(params[1])<<8 | uint16(params[2])
	cyl := c.cylinderOf(code)
	if r.node != EngineNode || cyl == 0 || params[3] != 0 {
		r.refuse(codeData, outOfRange)
		return
	}
	head := func() *[]byte {
		b := r.begin()
		*b = append(c.appendCode(append(*b, codeData+0x40, 0x06), code, c.status(f, code)), params[4])
		return b
	}
	switch {
	case params[4] == 0x91:
		b := head()
		trips := 612 + c.cycles
		*b = append(*b, byte((trips-9)>>8), byte(trips-9), byte(trips>>8), byte(trips))
	case params[4] == 0x92 && !by.ByMonitor:
		if c.turnedDown < by.Busy {
			c.turnedDown++
			r.refuse(codeData, busyRepeat)
			return
		}
		if by.Slow > 0 && !c.promised {
			c.promised = true
			r.refuse(codeData, answerComing)
			r.delay += by.Slow
		}
		b := head()
		*b = c.appendResults(*b, cyl)
	default:
		r.refuse(codeData, outOfRange)
	}
}

// cylinderOf is the cylinder that a misfire code names, 0 for none of this engine.
func (c *Car) cylinderOf(code uint16) int {
	for cyl := 1; cyl <= c.cfg.Vehicle.Cylinders(); cyl++ {
		if misfireCode(cyl) == code {
			return cyl
		}
	}
	return 0
}

// appendResults is the number of results and each: a scaling of two bytes, the value and its limits. None says what it
// tests.
func (c *Car) appendResults(dst []byte, cyl int) []byte {
	if c.cfg.Controller.ByFiringOrder {
		cyl = c.cfg.Vehicle.FiringOrder[cyl-1]
	}
	average, count, high := c.averageOf(cyl), c.counters.shown[cyl-1], c.countsLimit()
	values := []uint16{average, count}
	switch c.cfg.Controller.ByID.Order {
	case CountFirst:
		values = []uint16{count, average}
	case CountAlone:
		values = []uint16{count}
	}
	dst = append(dst, byte(len(values)))
	for _, v := range values {
		dst = result(append(dst, 0x00), 0x24, v, high)
	}
	return dst
}
