package car

import "time"

// ByID is how the modules speak OBD on UDS (SAE J1979-2, obd-on-uds). The zero value is a car that does not.
type ByID struct {
	Speaks        bool
	Classic       bool          // services 01 to 0A are answered as well, as in the years of the change-over
	ClassicStands bool          // and the counts they tell stand still
	OldGearbox    bool          // the transmission module speaks services 01 to 0A alone
	Order         RecordOrder   // of the counts in a code's record
	ByMonitor     bool          // counts are told by identifiers F6A2 and so on, none by a code's record
	Most          int           // identifiers that a request may hold; 0: as many as fit
	Refusal       byte          // of more; 0: none, the module keeps silent
	Slow          time.Duration // what the first record of counts takes after the promise of an answer (78)
	Busy          int           // requests for counts that are turned down at first with "busy, repeat" (21)
	Ragged        bool          // the transmission module's answers are too short for what they should hold
}

// RecordOrder is which counts a code's record holds and in which order.
type RecordOrder uint8

// The orders.
const (
	AverageFirst RecordOrder = iota
	CountFirst
	CountAlone
)

// The services, and the refusals that are left unsaid where a request went to all modules (ISO 14229-1, from memory).
const (
	clearGroup = 0x14
	codeData   = 0x19
	dataByID   = 0x22

	notSupported     = 0x11
	noSubfunction    = 0x12
	wrongLength      = 0x13
	busyRepeat       = 0x21
	engineRuns       = 0x22
	outOfRange       = 0x31
	answerComing     = 0x78
	emissionGroup    = 0x33
	listFormat       = 0x04 // SAE J2012-DA
	misfireSeverity  = 0x20 // to be checked at the next halt
	misfireReadiness = 0x01 // the readiness group of the misfire codes: the number is ours
)

// AnswersSearch reports whether the car answers service 01, by which adapters search for it.
func (c *Car) AnswersSearch() bool {
	by := &c.cfg.Controller.ByID
	return !by.Speaks || by.Classic || by.OldGearbox && c.cfg.Vehicle.Transmission
}

// byID answers in the language of SAE J1979-2; done is false where the module has none or the request is of the other.
func (c *Car) byID(r *reply, request []byte, toAll bool) (done bool) {
	by := &c.cfg.Controller.ByID
	if !by.Speaks || r.node == TransmissionNode && by.OldGearbox {
		return false
	}
	from := len(r.answers)
	service, params := request[0], request[1:]
	switch service {
	case dataByID:
		c.answerIdentifiers(r, params)
	case codeData:
		c.answerCodeData(r, params)
	case clearGroup:
		c.answerClearGroup(r, params)
	default:
		if by.Classic {
			return false
		}
		r.refuse(service, notSupported)
	}
	c.unsaid(r, from, toAll)
	return true
}

// refuse is a negative answer.
func (r *reply) refuse(service, why byte) { r.say(0x7F, service, why) }

// unsaid takes back the refusals that nobody hears of a request to all modules.
func (c *Car) unsaid(r *reply, from int, toAll bool) {
	if !toAll || len(r.answers) == from {
		return
	}
	last := r.answers[len(r.answers)-1].Data
	if len(last) == 3 && last[0] == 0x7F && (last[2] == notSupported || last[2] == noSubfunction || last[2] == outOfRange) {
		r.answers = r.answers[:len(r.answers)-1]
	}
}

// module is what a node keeps: its parameters and its memory.
func (c *Car) module(node byte) (*pidSet, *memory) {
	if node == TransmissionNode {
		return &c.transmission, &c.gearbox
	}
	return &c.engine, &c.memory
}

// answerIdentifiers answers service 22: identifiers that are not there are left out, none at all is out of range.
func (c *Car) answerIdentifiers(r *reply, params []byte) {
	by := &c.cfg.Controller.ByID
	switch n := len(params) / 2; {
	case n == 0 || len(params)%2 == 1:
		r.refuse(dataByID, wrongLength)
		return
	case by.Most > 0 && n > by.Most:
		if by.Refusal != 0 {
			r.refuse(dataByID, by.Refusal)
		}
		return
	}
	c.live.read(&c.machine, &c.mixture, c.volts())
	b := r.begin()
	*b = append(*b, dataByID+0x40)
	for ; len(params) >= 2; params = params[2:] {
		*b = c.appendIdentifier(*b, r.node, params[0], params[1])
	}
	if len(*b) == 1 {
		*b = append((*b)[:0], 0x7F, dataByID, outOfRange)
	}
}

// appendIdentifier appends one identifier and its data, nothing where the module has it not.
func (c *Car) appendIdentifier(dst []byte, node, high, id byte) []byte {
	from := len(dst)
	dst = append(dst, high, id)
	head := len(dst)
	switch high {
	case 0xF4:
		dst = c.appendParameter(dst, node, id)
	case 0xF6:
		dst = c.appendMonitor(dst, node, id)
	case 0xF8:
		dst = c.appendItem(dst, node, id)
	}
	tooShort := c.cfg.Controller.ByID.Ragged && node == TransmissionNode && high == 0xF8 && id == 0x10
	if len(dst) == head && !tooShort {
		return dst[:from]
	}
	return dst
}

// appendParameter is a parameter of service 01.
func (c *Car) appendParameter(dst []byte, node, pid byte) []byte {
	have, kept := c.module(node)
	switch {
	case !have.has(pid):
		return dst
	case pid%0x20 == 0:
		return have.bitmap(dst, pid)
	}
	dst = c.appendStatus(dst, pid, kept)
	return c.appendSensor(dst, pid, &c.live)
}

// appendMonitor is a misfire monitor as eight bytes a test: TID scaling value min max (from memory).
func (c *Car) appendMonitor(dst []byte, node, mid byte) []byte {
	if node != EngineNode || !c.cfg.Controller.ByID.ByMonitor {
		return dst
	}
	cylinders := c.cfg.Vehicle.Cylinders()
	var have pidSet
	for i := range cylinders {
		id := cylinderMonitor + byte(i)
		have[(id-1)/32] |= 1 << (31 - (id-1)%32)
	}
	for i := range 5 { // bitmap after bitmap up to A0
		have[i] |= 1
	}
	switch {
	case mid%0x20 == 0 && have.has(mid):
		return have.bitmap(dst, mid)
	case mid < cylinderMonitor || int(mid-cylinderMonitor) >= cylinders:
		return dst
	}
	cyl := int(mid-cylinderMonitor) + 1
	dst = result(append(dst, 0x0B), 0x24, c.averageOf(cyl), c.countsLimit())
	return result(append(dst, 0x0C), 0x24, c.counters.shown[cyl-1], c.countsLimit())
}

// result appends a scaling of one byte, the value and its limits.
func result(dst []byte, unit byte, value, high uint16) []byte {
	return append(dst, unit, byte(value>>8), byte(value), 0, 0, byte(high>>8), byte(high))
}

func (c *Car) averageOf(cyl int) uint16 {
	return uint16(min(c.counters.average[cyl-1]+0.5, saturated))
}

// countsLimit is the upper limit of a count: none, or zero until an engine has run since the clear.
func (c *Car) countsLimit() uint16 {
	if !c.counters.valid {
		return 0
	}
	return saturated
}

// appendItem is an information type: the items alone, without their number.
func (c *Car) appendItem(dst []byte, node, id byte) []byte {
	v := &c.cfg.Vehicle
	calibration, check, acronym, name := v.Calibration, v.Verification, "ECM", "EngineControl"
	items := set(0x02, 0x04, 0x06, 0x0A, 0x10)
	if node == TransmissionNode {
		calibration, check, acronym, name = v.TransmissionCalibration, v.TransmissionCheck, "TCM", "TransmisCtrl"
		items = set(0x04, 0x06, 0x0A, 0x10)
	}
	short := node == TransmissionNode && c.cfg.Controller.ByID.Ragged
	switch {
	case id == 0x00:
		return items.bitmap(dst, 0)
	case !items.has(id):
		return dst
	}
	switch id {
	case 0x02:
		return append(dst, v.VIN...)
	case 0x04:
		if short {
			return text(dst, calibration, 11)
		}
		return text(dst, calibration, 16)
	case 0x06:
		return long(dst, check)
	case 0x0A:
		return text(append(text(dst, acronym, 4), '-'), name, 15)
	}
	if short {
		return dst // the value is missing
	}
	return append(dst, 0x01) // F810: OBD on UDS
}

// answerClearGroup answers service 14 for the group of emission-related codes.
func (c *Car) answerClearGroup(r *reply, params []byte) {
	switch {
	case len(params) != 3:
		r.refuse(clearGroup, wrongLength)
	case params[0] != 0xFF || params[1] != 0xFF || params[2] != emissionGroup:
		r.refuse(clearGroup, outOfRange)
	case c.machine.running:
		r.refuse(clearGroup, engineRuns)
	default:
		if r.node == TransmissionNode {
			c.gearbox.clear()
		} else {
			c.erase()
		}
		r.say(clearGroup + 0x40)
	}
}
